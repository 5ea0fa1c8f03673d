"""Hours in water: when a soaking set is ready, counted exactly.

Pure: facts in, answers out; no queries, no clock. Arithmetic is in whole microseconds of UTC: the ready instant is
solved, not searched for. Rules: DESIGN 4 "Soak", METHODS 4; whether a set counts as conditioned is asked of
`conditioning.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from inventory.ledger.soak_facts import (
    Kind,
    Reading,
    Recipe,
    SoakSettings,
    Spell,
    TubFacts,
    TubId,
    utc,
)

# A reading of 130 F kept with one decimal of a degree Celsius is 54.4, the limit 54.444: still the same reading. Less
# than 0.1 F (0.0556 C), so 129.9 F stays below 130 F. Our assumption.
HOT_TOLERANCE_C = 0.05

_NOTHING = timedelta(0)
_MICROSECOND = timedelta(microseconds=1)
_HOUR = timedelta(hours=1)


Run = tuple[Spell, ...]


@dataclass(frozen=True)
class ReadyAnswer:
    """What one soak has earned.

    ready_at: the instant the recipe was met, None while it is not. kind: by which recipe. proved_at: the hot reading
    that vouches for the end of a hot soak. hot_hours, total_hours: earned so far in water. missing_hours_cold,
    missing_hours_hot: what each recipe still asks for (None: no such recipe; 0 once ready). reading_due_since: the
    hot hours are full since then, only a hot reading is missing. begun_at, ended_at: of the soak (ended_at None: in
    water). tub_id: where.
    """

    ready_at: datetime | None = None
    kind: Kind | None = None
    proved_at: datetime | None = None
    hot_hours: float = 0.0
    total_hours: float = 0.0
    missing_hours_cold: float | None = None
    missing_hours_hot: float | None = None
    reading_due_since: datetime | None = None
    begun_at: datetime | None = None
    ended_at: datetime | None = None
    tub_id: TubId | None = None


@dataclass(frozen=True)
class Projection:
    """When a set in water will be ready, if it stays there.

    ready_at, kind: the earliest of the three below that can be counted on: of a hot tub whose last reading vouches no
    more only what time alone gives, so that no promise moves on with the clock. cold_at: by time alone. hot_at,
    mixed_at: if the water stays as hot as it was last read (hot_at: and is read now, where nothing vouches any more),
    None when it was not hot (`at` itself when the hours are full and only wait for a reading). read_at: when the tub
    must be read for the hot recipe to count. vouched_until: when the last
    hot reading stops counting unless the tub is read again.
    """

    ready_at: datetime
    kind: Kind
    cold_at: datetime | None = None
    hot_at: datetime | None = None
    mixed_at: datetime | None = None
    read_at: datetime | None = None
    vouched_until: datetime | None = None


@dataclass(frozen=True)
class _Stretch:
    """A length of time in water, hot or not throughout."""

    start: datetime
    end: datetime
    hot: bool


@dataclass(frozen=True)
class _Earned:
    """Times in water counted over stretches, and the instants at which each recipe's count was full."""

    hot: timedelta
    total: timedelta
    cold_at: datetime | None
    hot_at: datetime | None
    mixed_at: datetime | None


def tidy(spells: Iterable[Spell], at: datetime) -> tuple[Spell, ...]:
    """Return the spells known at an instant: in order, without overlap, cut at `at` (ended_at None: still in water).

    A spell that begins while another is open ends that one: a set is in one tub at a time.
    """
    at = utc(at)
    ordered: list[Spell] = []
    for spell in sorted(spells, key=lambda spell: spell.begun_at):
        ended_at = spell.ended_at
        if spell.begun_at > at or (ended_at is not None and ended_at <= spell.begun_at):
            continue
        if ordered:
            before = ordered[-1]
            if before.ended_at is None or before.ended_at > spell.begun_at:
                ordered[-1] = replace(before, ended_at=spell.begun_at)
                if before.begun_at == spell.begun_at:
                    ordered.pop()
        ordered.append(replace(spell, ended_at=None if ended_at is None or ended_at > at else ended_at))
    return tuple(ordered)


def runs(spells: Iterable[Spell], settings: SoakSettings, at: datetime) -> tuple[Run, ...]:
    """Return the soaks the spells make up: spells in one tub with less than the interruption between them are one soak.

    An interruption as long as the setting or longer, or another tub, starts again (DESIGN 4).
    """
    soaks: list[list[Spell]] = []
    for spell in tidy(spells, at):
        last = soaks[-1][-1] if soaks else None
        goes_on = (
            last is not None
            and last.ended_at is not None
            and last.tub_id == spell.tub_id
            # Back at the very minute is no interruption, even where the setting is 0.
            and (spell.begun_at == last.ended_at or spell.begun_at - last.ended_at < settings.interruption)
        )
        if goes_on:
            soaks[-1].append(spell)
        else:
            soaks.append([spell])
    return tuple(tuple(soak) for soak in soaks)


def is_hot(reading: Reading, recipe: Recipe) -> bool:
    """Return whether a reading is at or above the recipe's hot limit (never without a hot recipe)."""
    return recipe.hot_limit_c is not None and reading.temperature_c >= recipe.hot_limit_c - HOT_TOLERANCE_C


def _stretches(run: Run, tub: TubFacts, recipe: Recipe, settings: SoakSettings, at: datetime) -> list[_Stretch]:
    """Cut the run's time in water, up to `at`, into hot and other stretches.

    A reading vouches from its instant until the next reading, at most for the vouching time.
    """
    stretches: list[_Stretch] = []
    for spell in run:
        cursor, end = spell.begun_at, spell.ended_at or at
        first = tub.last_until(cursor)
        later = [reading for reading in tub.from_on(cursor) if cursor < reading.at < end]
        readings = ([first] if first else []) + later
        for place, reading in enumerate(readings):
            following = readings[place + 1].at if place + 1 < len(readings) else end
            hot_from, hot_to = max(reading.at, cursor), min(following, reading.at + settings.vouch(tub, reading), end)
            if is_hot(reading, recipe) and hot_to > hot_from:
                if hot_from > cursor:
                    stretches.append(_Stretch(cursor, hot_from, hot=False))
                stretches.append(_Stretch(hot_from, hot_to, hot=True))
                cursor = hot_to
        if end > cursor:
            stretches.append(_Stretch(cursor, end, hot=False))
    return stretches


def _hours(hours: float | None) -> timedelta | None:
    return None if hours is None else timedelta(hours=hours)


def _count(stretches: Iterable[_Stretch], recipe: Recipe) -> _Earned:
    """Add up the stretches and solve for the instants at which each recipe's count is full."""
    cold_need, hot_need = _hours(recipe.cold_hours), _hours(recipe.hot_hours)
    hot = total = _NOTHING
    cold_at = hot_at = mixed_at = None
    for stretch in stretches:
        length = stretch.end - stretch.start
        if cold_at is None and cold_need is not None and total + length >= cold_need:
            cold_at = stretch.start + (cold_need - total)
        if hot_at is None and hot_need is not None and stretch.hot and hot + length >= hot_need:
            hot_at = stretch.start + (hot_need - hot)
        if mixed_at is None and recipe.mixed_credit and cold_need is not None and hot_need is not None:
            more = mixed_remainder(hot, total, cold_need, hot_need, hot_from_here=stretch.hot)
            if more <= length:
                mixed_at = stretch.start + more
        total += length
        hot += length if stretch.hot else _NOTHING
    return _Earned(hot, total, cold_at, hot_at, mixed_at)


def mixed_remainder(
    hot: timedelta, total: timedelta, cold_need: timedelta, hot_need: timedelta, *, hot_from_here: bool
) -> timedelta:
    """Return the time still to lie until hot / hot need + (total - hot) / cold need reaches 1 (METHODS 4).

    In whole microseconds, rounded up: hours of one kind count at one rate, so one division solves it.
    """
    h, t, c, n = (span // _MICROSECOND for span in (hot, total, cold_need, hot_need))
    owed = max(0, n * c - h * c - (t - h) * n)
    return -(-owed // (c if hot_from_here else n)) * _MICROSECOND


def _proof(
    full_at: datetime, run: Run, tub: TubFacts, recipe: Recipe, settings: SoakSettings, at: datetime
) -> tuple[datetime, datetime] | None:
    """Return (ready, reading) of a hot soak with its hours full at `full_at`; None without a hot reading at its end.

    The first reading at or after that instant proves it, while the set lies in the tub or was lifted out for less
    than an interruption. When that one is cold the water had cooled before anybody looked: ready is then the first
    hot reading taken later while the set lies in the same soak, never before it.
    """
    ended_at = run[-1].ended_at
    cooled = False
    for reading in tub.from_on(full_at):
        if reading.at > at or (ended_at is not None and reading.at - ended_at >= settings.interruption):
            return None
        if not is_hot(reading, recipe):
            cooled = True
        elif not cooled:
            return full_at, reading.at
        elif any(spell.begun_at <= reading.at <= (spell.ended_at or at) for spell in run):
            return reading.at, reading.at
    return None


def run_ready(
    run: Run, tubs: Mapping[TubId, TubFacts], recipe: Recipe, settings: SoakSettings, at: datetime
) -> ReadyAnswer:
    """Return what one soak has earned by `at` (see `ready_at`, which picks the latest)."""
    tub, recipe = tubs.get(run[0].tub_id) or TubFacts(), run[0].recipe or recipe
    earned = _count(_stretches(run, tub, recipe, settings, at), recipe)
    proof = _proof(earned.hot_at, run, tub, recipe, settings, at) if earned.hot_at else None
    # On a tie the plainest reason is told: by the cold recipe, then by the hot one.
    candidates: list[tuple[datetime, Kind]] = []
    if earned.cold_at:
        candidates.append((earned.cold_at, "cold"))
    if proof:
        candidates.append((proof[0], "hot"))
    if earned.mixed_at:
        candidates.append((earned.mixed_at, "mixed"))
    ready, kind = min(candidates, key=lambda candidate: candidate[0]) if candidates else (None, None)

    def missing(need: float | None, have: timedelta) -> float | None:
        return None if need is None else 0.0 if ready else max(0.0, need - have / _HOUR)

    return ReadyAnswer(
        ready_at=ready,
        kind=kind,
        proved_at=proof[1] if proof and kind == "hot" else None,
        hot_hours=earned.hot / _HOUR,
        total_hours=earned.total / _HOUR,
        missing_hours_cold=missing(recipe.cold_hours, earned.total),
        missing_hours_hot=missing(recipe.hot_hours, earned.hot),
        reading_due_since=earned.hot_at if ready is None else None,
        begun_at=run[0].begun_at,
        ended_at=run[-1].ended_at,
        tub_id=run[0].tub_id,
    )


def ready_at(
    spells: Iterable[Spell], tubs: Mapping[TubId, TubFacts], recipe: Recipe, settings: SoakSettings, at: datetime
) -> ReadyAnswer:
    """Return what the latest soak has earned by `at`, and the instant it was ready.

    spells: in any order. tubs: readings by tub, late ones included; a tub without an entry has no readings. `at`:
    spells and readings after it are not looked at; an open spell lasts until then, so `at` may lie ahead (no reading
    is invented).

    Ready at the first of: time in water >= cold need; vouched hot time >= hot need, with a hot reading at or after
    that instant; with mixed credit allowed, hot / hot need + other / cold need >= 1. Mixed credit asks for no reading
    at its end: a shop that allows it takes the vouched hours as they stand (METHODS 4). Minutes lifted out count for
    nothing.

    Raises: ValueError when `at` has no time zone.
    """
    at = utc(at)
    soaks = runs(spells, settings, at)
    if not soaks:
        return ReadyAnswer(missing_hours_cold=recipe.cold_hours, missing_hours_hot=recipe.hot_hours)
    return run_ready(soaks[-1], tubs, recipe, settings, at)


def expected_ready_at(
    spells: Iterable[Spell], tubs: Mapping[TubId, TubFacts], recipe: Recipe, settings: SoakSettings, at: datetime
) -> Projection | None:
    """Return when the set now in water will be ready if it stays there; None when it is out of water or ready already.

    By time for the cold recipe; by the hot one (and by mixed credit) if the water keeps what it was last read and is
    read on time: nothing is earned between the end of the last vouching and `at`. None too when nothing leads to an
    end (no cold recipe and water not hot).

    Raises: ValueError when `at` has no time zone.
    """
    at = utc(at)
    soaks = runs(spells, settings, at)
    if not soaks or soaks[-1][-1].ended_at is not None:
        return None
    run = soaks[-1]
    tub, recipe = tubs.get(run[0].tub_id) or TubFacts(), run[0].recipe or recipe
    earned = _count(_stretches(run, tub, recipe, settings, at), recipe)
    if run_ready(run, tubs, recipe, settings, at).ready_at is not None:
        return None
    cold_need, hot_need = _hours(recipe.cold_hours), _hours(recipe.hot_hours)
    last = tub.last_until(at)
    vouched_until = last.at + settings.vouch(tub, last) if last is not None and is_hot(last, recipe) else None
    keeps_hot = vouched_until is not None
    counts_hot = vouched_until is not None and (vouched_until > at or earned.hot_at is not None or cold_need is None)
    candidates: list[tuple[datetime, Kind]] = []
    cold_at = hot_at = mixed_at = None
    if cold_need is not None:
        cold_at = at + (cold_need - earned.total)
        candidates.append((cold_at, "cold"))
    if hot_need is not None and keeps_hot:
        hot_at = at + max(_NOTHING, hot_need - earned.hot)
        if counts_hot:
            candidates.append((hot_at, "hot"))
    if recipe.mixed_credit and cold_need is not None and hot_need is not None:
        mixed_at = at + mixed_remainder(earned.hot, earned.total, cold_need, hot_need, hot_from_here=counts_hot)
        candidates.append((mixed_at, "mixed"))
    if not candidates:
        return None
    ready, kind = min(candidates, key=lambda candidate: candidate[0])
    return Projection(
        ready_at=ready,
        kind=kind,
        cold_at=cold_at,
        hot_at=hot_at,
        mixed_at=mixed_at,
        read_at=hot_at,
        vouched_until=vouched_until,
    )
