"""What the page of one tub and the page for putting sets in show. Doors: ``tubs``."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from django.urls import reverse
from django.utils import formats
from django.utils.translation import gettext as _

from inventory.actions.gate import where_of
from inventory.chart import Chart, nice_ticks
from inventory.forms.soak import TakeOutForm
from inventory.hooks import next_use
from inventory.models import Branch, Person, Place, SetState
from inventory.models.choices import PlaceKind
from inventory.queries.catalogue import ladder
from inventory.queries.custody import places_for, states_by_ids
from inventory.queries.opening import open_text
from inventory.queries.soak import states_with_types, waters_of
from inventory.queries.tubs import (
    READINGS_FOR,
    DryType,
    Tub,
    WaterReading,
    dry_sets,
    every_reading,
    not_at_hand,
    tubs_of,
    water_needs,
)
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.times import when_for, zone_of
from inventory.units import UNITS, from_si, show_entered, show_temperature, unit_for
from inventory.views import soaking, verdicts
from inventory.views.verdicts import Verdict

_CHART_DAYS = 4


def said_ready(person: Person, states: Sequence[SetState], now: datetime, *, since: datetime | None = None) -> str:
    """When the sets just put in will be ready: "Ready Sat 10:00.", the latest of them; "" where nothing says so.

    since: when they went in, where that was before now.
    """
    fresh = states_with_types(state.pk for state in states)
    waters = waters_of(fresh, person.branch, at=now)
    answers = [waters.now(state.pk, now) for state in fresh]
    known = [answer.expected_ready_at for answer in answers if answer.expected_ready_at is not None]
    if known:
        return _("Ready %(when)s.") % {"when": when_for(person, max(known), now)}
    if answers and all(answer.state in ("conditioned", "soaked, not confirmed") for answer in answers):
        if since is not None and all(answer.ready_at is not None and answer.ready_at > since for answer in answers):
            return _("The hours are done.")
        return _("Not dried out yet: its earlier soak still counts.")
    return ""


def tub_context(person: Person, place: Place, now: datetime) -> dict[str, Any]:
    """The tub's page; about twenty queries for any number of sets and readings."""
    branch = person.branch
    tub = tubs_of(branch, now, only=place.pk)[0]
    rungs, names = ladder(branch), soaking.names_of([tub])
    lanes = soaking.lanes_of(tub, person, now, rungs, names)
    rows = every_reading(place, now - READINGS_FOR)
    places = places_for(branch, [PlaceKind.RACK, PlaceKind.CRATE, PlaceKind.BUCKET, PlaceKind.TUB])
    return {
        "tub": tub,
        "place": place,
        "lanes": lanes,
        "told": soaking.told_of(tub, person, now),
        "hot_lines": soaking.hot_lines_of(tub),
        "due": soaking.due_of(tub, person, now),
        "scalds": place.thermostat or (tub.last is not None and tub.last.temperature_c >= soaking.SCALDS_C),
        "read": show_temperature(tub.last.temperature_c, person.units) if tub.last else "",  # type: ignore[arg-type]
        "read_at": soaking.at_words(person, tub.last.at, now) if tub.last else "",
        "charts": _charts(tub, person, now),
        "rows": [_row(row, person, now) for row in rows],
        "other_tubs": any(one.kind == PlaceKind.TUB and one != place for one in places),
        "take_form": TakeOutForm(
            initial={"place": TakeOutForm.HOME},
            places=[one for one in places if one != place],
            person=person,
            now=now,
        ),
        "ladder_count": max((count for _place, count in rungs.values()), default=0),
        "may": {"scan": person.can(Right.SCAN), "confirm": person.can(Right.CONFIRM_SOAK)},
        "done_ids": ",".join(str(one.state.pk) for one in tub.done),
        "done": len(tub.done),
    }


def _row(row: WaterReading, person: Person, now: datetime) -> dict[str, Any]:
    late = row.recorded_at - row.at > timedelta(minutes=5)
    return {
        "id": row.entry_id,
        "at": when_for(person, row.at, now),
        "shown": show_temperature(row.temperature_c, person.units),  # type: ignore[arg-type]  # a closed choice of two
        "entered": _as_entered(row, person),
        "by": row.by,
        "late": when_for(person, row.recorded_at, now) if late else "",
        "voided": row.voided,
    }


def _as_entered(row: WaterReading, person: Person) -> str:
    """What was typed, where it was typed in another unit than the person reads."""
    if not row.unit or row.unit == unit_for("temperature", person.units):  # type: ignore[arg-type]
        return ""
    return show_entered(float(row.value), row.unit)


def _charts(tub: Tub, person: Person, now: datetime) -> list[str]:
    """The readings of the last days as a line, wide and for the phone; none without readings."""
    start = now - timedelta(days=_CHART_DAYS)
    shown = [reading for reading in tub.readings if reading.at >= start]
    if not shown:
        return []
    unit = unit_for("temperature", person.units)  # type: ignore[arg-type]  # a closed choice of two
    points = [((reading.at - start) / timedelta(hours=1), from_si(reading.temperature_c, unit)) for reading in shown]
    limits = sorted({one.recipe.hot_limit_c for one in tub.sets if one.recipe.hot_limit_c is not None})
    lines = [from_si(limit, unit) for limit in limits[:2]]
    values = [value for _x, value in points] + lines
    low, high = min(values) - 4, max(values) + 4
    hours = _CHART_DAYS * 24.0
    sentence = _("Water of %(tub)s over %(days)s days, last read %(t)s at %(when)s.") % {
        "tub": tub.place.name,
        "days": _CHART_DAYS,
        "t": show_temperature(shown[-1].temperature_c, person.units),  # type: ignore[arg-type]
        "when": when_for(person, shown[-1].at, now),
    }
    drawings = []
    for width, height, css in ((640, 240, "wide-only"), (358, 220, "small-only")):
        chart = Chart(width, height, x=(0, hours), y=(low, high), left=66, right=24)
        chart.grid([(tick, f"{tick:g} {UNITS[unit].symbol}") for tick in nice_ticks(low, high, 4)])
        chart.foot(_midnights(person, start, now, short=width < 400))
        for limit in lines:
            chart.line([(0, limit), (hours, limit)], "likely planned")
            chart.words(0, limit, _("hot from here"), "quiet", dx=6, dy=-6)
        chart.line(points, "likely")
        for x, y in points:
            chart.point(x, y)
        drawings.append(chart.svg(sentence, css))
    return drawings


def _midnights(person: Person, start: datetime, now: datetime, *, short: bool) -> list[tuple[float, str]]:
    zone = zone_of(person.branch)
    first = start.astimezone(zone).date()
    marks = []
    for ahead in range(1, _CHART_DAYS + 1):
        day = first + timedelta(days=ahead)
        at = datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)
        if at < now:
            marks.append(((at - start) / timedelta(hours=1), str(formats.date_format(day, "D" if short else "D j"))))
    return marks


@dataclass(frozen=True)
class ScannedPut:
    """A scan while sets are chosen: the sets chosen with it, the tub they go into, and why it is neither.

    which: of several sets that go by one own code, the question which one, with a button each.
    """

    chosen: list[UUID]
    into: UUID | None
    refused: Refused | None = None
    which: Verdict | None = None


def scanned_put(text: str, branch: Branch, chosen: Sequence[UUID], into: UUID | None) -> ScannedPut:
    """What a scan does while sets are chosen; nothing is put in yet."""
    opened = open_text(text, branch)
    if opened.tool_set is not None:
        return ScannedPut(list(dict.fromkeys([opened.tool_set.pk, *chosen])), into)
    if opened.place is not None and opened.place.kind == PlaceKind.TUB:
        return ScannedPut(list(chosen), opened.place.pk)
    if opened.several:
        kept = {"sets": ",".join(map(str, chosen)), "tub": str(into or "")}
        states, url = verdicts.states_of(opened), reverse("inventory:soak_put")
        which = verdicts.which(opened.text, states, url, {})
        which.actions = verdicts.which_actions(states, url, kept, "take")
        return ScannedPut(list(chosen), into, which=which)
    sentence = opened.sentence or _("%(code)s is no set and no tub.") % {"code": opened.code}
    return ScannedPut(list(chosen), into, Refused(sentence, _("Scan a set's label, or a tub's.")))


def put_context(
    person: Person,
    now: datetime,
    type_text: str,
    chosen: Sequence[UUID],
    types: Iterable[DryType],
    into: UUID | None = None,
) -> dict[str, Any]:
    """The page for putting sets in: tubs with their room, types with dry sets, the sets of the chosen type.

    chosen: sets already picked, such as those of a label that was scanned; they are listed first. into: the tub named.
    """
    branch, kinds = person.branch, list(types)
    tubs = tubs_of(branch, now)
    type_id = int(type_text) if type_text.isdecimal() and len(type_text) < 12 else None
    if not type_text and not chosen and sum(one.sets for one in kinds) > 40:
        # Too many for one page: the type that must go in first, else the coarsest.
        needs = [need for need in water_needs(branch, tubs, now) if not need.in_water]
        type_id = needs[0].state.tool_set.tool_type_id if needs else kinds[0].tool_type.pk
    rows = dry_sets(branch, now, type_id=type_id)
    known = {state.pk for state, _answer in rows}
    picked = states_by_ids([pk for pk in chosen if pk not in known], branch)
    states = [*picked, *(state for state, _answer in rows)]
    uses = next_use([state.pk for state in states], now)
    groups: dict[int, dict[str, Any]] = {}
    for state in sorted(states, key=lambda one: one.tool_set.tool_type.ladder_place):
        tool_type = state.tool_set.tool_type
        group = groups.setdefault(tool_type.pk, {"tool_type": tool_type, "sets": []})
        use = uses.get(state.pk)
        group["sets"].append(
            {
                "state": state,
                "where": where_of(state) or _("no place known"),
                "use": use.words if use else "",
                "chosen": state.pk in chosen,
            }
        )
    roomy = max((tub for tub in tubs if tub.room != 0), key=lambda tub: tub.room or 1, default=None)
    return {
        "tubs": [
            {"tub": tub, "likely": tub.place.pk == into if into else tub is roomy}
            for tub in tubs
            if tub.place.kind == PlaceKind.TUB
        ],
        "chosen": len(chosen),
        "picked": [row for group in groups.values() for row in group["sets"] if row["chosen"]],
        "roomy": roomy,
        "types": kinds,
        "type_id": type_id,
        "groups": [
            {**group, "sets": others}
            for group in groups.values()
            if (others := [row for row in group["sets"] if not row["chosen"]])
        ],
        "left_out": [_left_out(state, person, now) for state in not_at_hand(branch, type_id=type_id)],
        "more": sum(one.sets for one in kinds if type_id in (None, one.tool_type.pk)) > len(rows),
    }


def _left_out(state: SetState, person: Person, now: datetime) -> dict[str, Any]:
    """A set that is not offered, and why: nobody knows where it is, or it is at a supplier."""
    since = state.facts.get("place_since")
    if state.place is not None and state.place.kind == PlaceKind.SUPPLIER:
        why = _("at %(place)s") % {"place": state.place.name}
    elif since:
        why = _("missing since %(when)s") % {"when": when_for(person, datetime.fromisoformat(since), now)}
    else:
        why = _("missing")
    return {"state": state, "why": why, "missing": state.place is not None and state.place.kind == PlaceKind.UNKNOWN}
