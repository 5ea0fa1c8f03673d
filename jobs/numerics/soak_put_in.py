"""By when one set goes in the water: the latest staffed instant from which it is ready in time (METHODS 4).

Hours are counted by the one credit function that counts them as facts, `inventory.ledger.soak.ready_at`: what is
planned here is what the gate will later see, if the tub is read as planned. Pure: the calendar and instants come in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from inventory.calendar import (
    NoWorkingDay,
    ShopCalendar,
    is_staffed,
    last_staffed,
    local_day,
    next_staffed,
    staffed_hours,
    staffed_spans,
)
from inventory.ledger.soak import ReadyAnswer, ready_at
from inventory.ledger.soak_facts import Kind, Reading, Recipe, SoakSettings, Spell, TubFacts, utc

_MINUTE = timedelta(minutes=1)
_TUB = "the tub asked about"


class SoakRefused(ValueError):
    """A set that cannot be soaked for its start. code: why, for the page's own sentence; the text names the value."""

    def __init__(self, code: str, text: str) -> None:
        super().__init__(text)
        self.code = code


@dataclass(frozen=True)
class PutIn:
    """put_in_at: latest staffed instant; ready_at: when its recipe is met from there; kind: by which recipe.

    read_at: when somebody must read the tub for that, the proving reading last; () for a cold soak.
    """

    put_in_at: datetime
    ready_at: datetime
    kind: Kind
    read_at: tuple[datetime, ...] = ()


def planned_readings(
    calendar: ShopCalendar, recipe: Recipe, put_in_at: datetime, take_out_at: datetime
) -> tuple[Reading, ...]:
    """Readings of a hot tub as they are planned: at put-in, every staffed whole hour, and take-out if it is staffed.

    Each at the recipe's hot limit: the tub is to be kept that hot. None without a hot recipe.
    """
    if recipe.hot_limit_c is None:
        return ()
    instants = {put_in_at, *staffed_hours(calendar, put_in_at, take_out_at)}
    if is_staffed(calendar, take_out_at):
        instants.add(take_out_at)
    return tuple(Reading(at, recipe.hot_limit_c) for at in sorted(instants))


def ready_if_put_in(
    recipe: Recipe,
    settings: SoakSettings,
    put_in_at: datetime,
    take_out_at: datetime,
    *,
    readings: Sequence[Reading] = (),
    thermostat: bool = False,
) -> ReadyAnswer:
    """What a set put in at one instant has earned by another, by the function that counts facts.

    readings: of its tub; none: cold. Raises: ValueError for an instant without a zone.
    """
    spell = Spell(_TUB, put_in_at, None)
    return ready_at([spell], {_TUB: TubFacts(tuple(readings), thermostat)}, recipe, settings, take_out_at)


def latest_cold(
    recipe: Recipe, settings: SoakSettings, calendar: ShopCalendar, need_at: datetime, not_before: datetime
) -> PutIn | None:
    """The latest staffed instant from `not_before` on from which time alone makes a set ready by need_at; None: late.

    Raises: ValueError for an instant without a zone.
    """
    need_at, not_before = utc(need_at), utc(not_before)
    if recipe.cold_hours is None:
        return None
    try:
        at = last_staffed(calendar, need_at - timedelta(hours=recipe.cold_hours))
    except NoWorkingDay:
        return None
    if at < not_before:
        return None
    answer = ready_if_put_in(recipe, settings, at, need_at)
    return None if answer.ready_at is None else PutIn(at, answer.ready_at, "cold")


def latest_hot(
    recipe: Recipe,
    settings: SoakSettings,
    calendar: ShopCalendar,
    need_at: datetime,
    not_before: datetime,
    *,
    thermostat: bool = False,
) -> PutIn | None:
    """The latest staffed instant, to the minute, from which a hot tub read as planned makes a set ready by need_at.

    A night unattended earns no more than one reading vouches for (4 h, 14 h on a thermostat: settings), and the hours
    need a hot reading at their end: the credit function decides. None: late, or the type has no hot recipe.
    Searched by halving: put in earlier, a set is never ready later (held by tests).
    Raises: ValueError for an instant without a zone.
    """
    need_at, not_before = utc(need_at), utc(not_before)
    if recipe.hot_hours is None or not_before >= need_at:
        return None

    # The hours at which the tub is read do not depend on when this set goes in: listed once.
    hours = planned_readings(calendar, recipe, not_before, need_at)[1:]

    def answer(at: datetime) -> ReadyAnswer:
        readings = _from_put_in(recipe, at, hours)
        return ready_if_put_in(recipe, settings, at, need_at, readings=readings, thermostat=thermostat)

    spans = staffed_between(calendar, not_before, need_at)
    low, high = -1, len(spans) - 1  # the last span whose opening is early enough
    while low < high:
        middle = (low + high + 1) // 2
        if answer(spans[middle][0]).ready_at is not None:
            low = middle
        else:
            high = middle - 1
    if low < 0:
        return None
    start, end = spans[low]
    first, last = 0, (end - start) // _MINUTE
    while first < last:
        middle = (first + last + 1) // 2
        if answer(start + middle * _MINUTE).ready_at is not None:
            first = middle
        else:
            last = middle - 1
    put_in_at = start + first * _MINUTE
    found = answer(put_in_at)
    if found.ready_at is None or found.kind is None:
        return None
    until = found.proved_at or found.ready_at
    must_read = tuple(reading.at for reading in _from_put_in(recipe, put_in_at, hours) if reading.at <= until)
    return PutIn(put_in_at, found.ready_at, found.kind, () if found.kind == "cold" else must_read)


def _from_put_in(recipe: Recipe, put_in_at: datetime, hours: Sequence[Reading]) -> tuple[Reading, ...]:
    """The readings at put-in and at the planned hours after it."""
    first = Reading(put_in_at, recipe.hot_limit_c if recipe.hot_limit_c is not None else 0.0)
    return (first, *(reading for reading in hours if reading.at > put_in_at))


def latest_put_in(
    recipe: Recipe,
    settings: SoakSettings,
    calendar: ShopCalendar,
    need_at: datetime,
    now: datetime,
    *,
    hot_tub: bool = False,
    thermostat: bool = False,
) -> PutIn:
    """The latest put-in of one set: cold where that still does, else hot where a tub can be heated and read.

    need_at: when it must be ready; now: nothing is put in before.
    Raises: SoakRefused when need_at is past, nobody is there before it, or no recipe is in time any more.
    """
    need_at, now = utc(need_at), utc(now)
    not_before = first_put_in(calendar, need_at, now)
    found = latest_cold(recipe, settings, calendar, need_at, not_before)
    if found is None and hot_tub:
        found = latest_hot(recipe, settings, calendar, need_at, not_before, thermostat=thermostat)
    if found is None:
        raise SoakRefused(
            "too_late",
            f"`need_at` {need_at:%Y-%m-%d %H:%M} is too soon for a set put in at {not_before:%Y-%m-%d %H:%M}. "
            "Choose another set, or leave later.",
        )
    return found


def first_put_in(calendar: ShopCalendar, need_at: datetime, now: datetime) -> datetime:
    """The first instant from now on at which somebody can put a set in water, before need_at.

    Raises: SoakRefused when need_at is past, or nobody is there before it.
    """
    need_at, now = utc(need_at), utc(now)
    if need_at <= now:
        raise SoakRefused("past", f"`need_at` must lie after {now:%Y-%m-%d %H:%M}; got {need_at:%Y-%m-%d %H:%M}.")
    try:
        at = next_staffed(calendar, now)
    except NoWorkingDay:
        at = need_at
    if at >= need_at:
        raise SoakRefused(
            "no_staffed_hour",
            f"`calendar` has nobody there between {now:%Y-%m-%d %H:%M} and {need_at:%Y-%m-%d %H:%M}. "
            "Open the shop for an hour, choose a wet set, or leave later.",
        )
    return at


def staffed_between(calendar: ShopCalendar, start: datetime, end: datetime) -> list[tuple[datetime, datetime]]:
    """Spans in [start, end] in which somebody is there, joined where they touch, in order (UTC)."""
    day, last = local_day(calendar, start) - timedelta(days=1), local_day(calendar, end)
    joined: list[tuple[datetime, datetime]] = []
    while day <= last:
        for opens, closes in staffed_spans(calendar, day):
            opens, closes = max(opens, start), min(closes, end)
            if opens > closes:
                continue
            if joined and opens <= joined[-1][1]:
                joined[-1] = (joined[-1][0], max(closes, joined[-1][1]))
            else:
                joined.append((opens, closes))
        day += timedelta(days=1)
    return joined


def cold_only(recipe: Recipe) -> Recipe:
    """The same recipe without its hot soak."""
    return replace(recipe, hot_hours=None, hot_limit_c=None, mixed_credit=False)
