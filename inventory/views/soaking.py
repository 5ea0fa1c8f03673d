"""What the soak pages show: tubs as lanes on a time line, their sentences, what must go in by when. Doors: ``tubs``."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.gauge import GaugeFace
from inventory.ledger.soak import is_hot
from inventory.ledger.soak_facts import Reading, Recipe
from inventory.models import Person, SetState
from inventory.queries.catalogue import ladder
from inventory.queries.open_water import open_needs
from inventory.queries.tubs import InWater, Tub, WaterNeed, tubs_of, water_needs
from inventory.rights import Right
from inventory.soak_picture import Lane, LaneKind, Scale, Water, day_line, vessel
from inventory.soak_words import GAUGE_STATES
from inventory.times import when_for, zone_of
from inventory.units import show_hours, show_temperature
from inventory.views.soak_lanes import LaneShown, folded, some_lines
from inventory.views.soak_needs import (
    first_group,
    headline,
    need_line,
    open_headline,
    open_line,
    put_action,
    tub_for,
)

# Water from here on scalds: 120 F, third-degree burns in 5 min (REFERENCES S5).
SCALDS_C = 48.88
_DAYS_BACK, _DAYS = 2, 6
_ROOM_SHOWN, _OPEN_SHOWN, _LATER_SHOWN = 24, 12, 24
# So many sets are confirmed with one tap.
_CONFIRMED_AT_ONCE = 60
_KINDS: dict[str, LaneKind] = {
    "soaking": "soaking",
    "soaked, not confirmed": "soaked",
    "conditioned": "conditioned",
}


@dataclass
class TubShown:
    """A tub as the page shows it."""

    tub: Tub
    lanes: list[LaneShown]
    recipes: list[str]
    read: str
    read_words: str
    hot_lines: list[str]
    due: str
    told: list[str]
    full: str
    scalds: bool
    drawing: str
    rooms: str
    done_label: str
    done_ids: str


def soak_page(person: Person, now: datetime) -> dict[str, Any]:
    """Everything of the soak page; about thirty queries for any number of sets."""
    branch = person.branch
    tubs = tubs_of(branch, now)
    needs = water_needs(branch, tubs, now)
    scale, rungs, names = _scale(person, now), ladder(branch), names_of(tubs)
    group, without = first_group(needs), open_needs(branch, tubs, now)
    into, first = tub_for(group, tubs), {need.state.pk for need in group}
    later = [need for need in needs if need.state.pk not in first]
    shown = [_shown(tub, tubs, group if tub is into else [], person, now, scale, rungs, names) for tub in tubs]
    return {
        "days": day_line(scale),
        "tubs": shown,
        "ladder_count": max((count for _place, count in rungs.values()), default=0),
        "may": {
            "scan": person.can(Right.SCAN),
            "confirm": person.can(Right.CONFIRM_SOAK),
            "run_shop": person.can(Right.RUN_SHOP),
        },
        "put": put_action(group, into) if person.can(Right.SCAN) else None,
        "later": [need_line(need, person, now) for need in later[:_LATER_SHOWN]],
        "later_more": max(0, len(later) - _LATER_SHOWN),
        "open_steps": [open_line(need, tubs, person, now) for need in without[:_OPEN_SHOWN]],
        "open_more": max(0, len(without) - _OPEN_SHOWN),
        **headline(tubs, needs, group, into, person, now),
        **(open_headline(without, person, now) if without and not group else {}),
    }


def face_of(state: SetState, water: str, rungs: dict[int, tuple[int, int]], name: str = "") -> GaugeFace | None:
    """A set's plain gauge in a tub; None for a type off the ladder."""
    place, count = rungs.get(state.tool_set.tool_type_id, (0, 0))
    if count == 0:
        return None
    bond = state.tool_set.tool_type.bond
    return GaugeFace(place, count, bond, where="in_water", water=water, plain=True, name=name)  # type: ignore[arg-type]


def _scale(person: Person, now: datetime) -> Scale:
    """Six days of the branch's calendar, the third is today."""
    zone = zone_of(person.branch)
    today = now.astimezone(zone).date()
    days = [today + timedelta(days=n - _DAYS_BACK) for n in range(_DAYS + 1)]
    midnights = [datetime(day.year, day.month, day.day, tzinfo=zone) for day in days]
    shown = [
        (at, str(formats.date_format(day, "D j")), day == today)
        for at, day in zip(midnights[:-1], days[:-1], strict=True)
    ]
    return Scale(shown, midnights[-1], now, _("now %(time)s") % {"time": when_for(person, now, now)})


def names_of(tubs: Iterable[Tub]) -> dict[str, str]:
    """Names of those who confirmed, by id as the ledger keeps it; one query."""
    ids = {one.answer.confirmed.by for tub in tubs for one in tub.sets if one.answer.confirmed is not None}
    return {str(pk): name for pk, name in Person.objects.filter(pk__in=ids).values_list("pk", "name")}


def _shown(
    tub: Tub,
    tubs: list[Tub],
    planned: list[WaterNeed],
    person: Person,
    now: datetime,
    scale: Scale,
    rungs: dict[int, tuple[int, int]],
    names: dict[str, str],
) -> TubShown:
    lanes = folded(lanes_of(tub, person, now, rungs, names), person, now)
    drawn = [*lanes, *_planned(planned, person, now, rungs)]
    limits = {one.recipe.hot_limit_c for one in tub.sets if one.recipe.hot_limit_c is not None}
    limit = min(limits) if limits else None
    hot = runs_hot(tub)
    units: Any = person.units
    water = Water(())
    if limit is not None and hot and tub.last is not None:
        water = Water(
            [(reading.at, reading.temperature_c) for reading in tub.readings],
            limit,
            _("%(limit)s, hot from here") % {"limit": show_temperature(limit, units)},
            show_temperature(tub.last.temperature_c, units),
        )
    drawing = vessel(
        [Lane(one.grit, one.faces, one.kind, one.begun_at, one.ready_at, one.words, one.codes) for one in drawn],
        water,
        scale,
        _sentence(tub, drawn),
    )
    done = tub.done[:_CONFIRMED_AT_ONCE]
    grits = {one.state.tool_set.tool_type.grit for one in done}
    label = ngettext("Confirm %(n)s set", "Confirm %(n)s sets", len(done)) % {"n": len(done)}
    if len(done) == 1:
        label = _("Confirm the %(grit)s") % {"grit": grits.pop()}
    elif len(tub.done) > len(done):
        label = _("Confirm %(n)s of %(all)s sets") % {"n": len(done), "all": len(tub.done)}
    last = tub.last
    return TubShown(
        tub=tub,
        lanes=lanes,
        recipes=_recipe_words({one.recipe for one in tub.sets}, hot, units),
        read=show_temperature(last.temperature_c, units) if last else "",
        read_words=_("read %(when)s") % {"when": when_for(person, last.at, now)} if last else _("No reading yet"),
        hot_lines=some_lines(hot_lines_of(tub)),
        due=due_of(tub, person, now),
        told=some_lines(told_of(tub, person, now)),
        full=_full(tub, tubs, person, now),
        scalds=tub.place.thermostat or (last is not None and last.temperature_c >= SCALDS_C),
        drawing=drawing,
        rooms=_rooms(tub),
        done_label=label if done else "",
        done_ids=",".join(str(one.state.pk) for one in done),
    )


def runs_hot(tub: Tub) -> bool:
    """Whether hot recipes matter in this tub: it is on a thermostat, or was read hot while its sets lay in it."""
    begun = min((one.begun_at for one in tub.sets if one.begun_at is not None), default=None)
    seen = any(
        is_hot(Reading(reading.at, reading.temperature_c), one.recipe)
        for one in tub.sets
        for reading in tub.readings
        if begun is not None and reading.at >= begun
    )
    return tub.place.thermostat or seen


def lanes_of(
    tub: Tub, person: Person, now: datetime, rungs: dict[int, tuple[int, int]], names: dict[str, str]
) -> list[LaneShown]:
    """The sets of a tub, those of one type that began and end together in one lane, the longest in water first."""
    lanes: dict[tuple[Any, ...], LaneShown] = {}
    for one in tub.sets:
        kind, words = _KINDS.get(one.answer.state, "unknown"), _lane_words(one, person, now, names)
        key = (one.state.tool_set.tool_type_id, one.begun_at, kind, words)
        lane = lanes.get(key)
        if lane is None:
            state = GAUGE_STATES[one.answer.state]
            grit = one.state.tool_set.tool_type.grit
            ready_at = one.begun_at if one.back else one.ready_at
            lane = lanes[key] = LaneShown(grit, 0, [], kind, words, state, one.begun_at, ready_at)
        face = face_of(one.state, GAUGE_STATES[one.answer.state], rungs)
        lane.count += 1
        lane.sets.append(one.state)
        if face is not None:
            lane.faces.append(face)
    return sorted(lanes.values(), key=lambda lane: (lane.begun_at or now, lane.grit))


def _planned(
    needs: list[WaterNeed], person: Person, now: datetime, rungs: dict[int, tuple[int, int]]
) -> list[LaneShown]:
    """What is proposed to go in, dotted, from now on."""
    lanes: dict[int, LaneShown] = {}
    for need in needs:
        tool_type = need.state.tool_set.tool_type
        words = _("%(when)s if put in now") % {"when": when_for(person, need.ready_at, now)}
        if need.keeps:
            words = _("Stays wet through if put in now")
        lane = lanes.setdefault(
            tool_type.pk, LaneShown(tool_type.grit, 0, [], "planned", words, "dry", now, need.ready_at)
        )
        lane.count += 1
        lane.sets.append(need.state)
        face = face_of(need.state, "", rungs)
        if face is not None:
            lane.faces.append(face)
    return list(lanes.values())


def _lane_words(one: InWater, person: Person, now: datetime, names: dict[str, str]) -> str:
    answer = one.answer
    if one.begun_at is None:
        return _("Lies here; when it went in was never entered")
    if answer.state == "conditioned" and answer.confirmed is not None:
        by, at = names.get(answer.confirmed.by, ""), when_for(person, answer.confirmed.at, now)
        return _("Conditioned, confirmed %(when)s by %(name)s") % {"when": at, "name": by}
    if answer.state == "soaked, not confirmed" and answer.ready_at is not None:
        if one.back:
            words = _("Soaked %(when)s, back in water before it dried out, not confirmed")
            return words % {"when": when_for(person, answer.ready_at, now)}
        return _("Soaked since %(when)s, not confirmed") % {"when": when_for(person, answer.ready_at, now)}
    if answer.state == "not needed":
        return _("Needs no water")
    if answer.state != "soaking":
        return _("In water since %(when)s, soak need not known") % {"when": when_for(person, one.begun_at, now)}
    if one.ahead is None:
        return _("No end in sight: heat the tub and read it")
    if answer.why.key == "read_to_finish":
        return _("Hot hours done: read the tub")
    words, ahead = when_for(person, one.ahead.ready_at, now), one.ahead
    if ahead.kind != "hot" and ahead.hot_at is not None and ahead.hot_at < ahead.ready_at:
        return _("%(when)s; sooner if it is read hot now: %(hot)s") % {
            "when": words,
            "hot": when_for(person, ahead.hot_at, now),
        }
    return _("%(when)s, read it then") % {"when": words} if one.ahead.kind == "hot" else words


def _recipe_words(recipes: set[Recipe], hot: bool, units: Any) -> list[str]:
    """ "cold, 72 h", and where the tub is hot "hot, 31 h at 130 °F or above"."""
    words = []
    for recipe in sorted(recipes, key=lambda one: (one.hot_hours or 0, one.cold_hours or 0)):
        if hot and recipe.hot_hours is not None and recipe.hot_limit_c is not None:
            line = _("hot, %(hours)s at %(limit)s or above") % {
                "hours": show_hours(recipe.hot_hours),
                "limit": show_temperature(recipe.hot_limit_c, units),
            }
        elif recipe.cold_hours is not None:
            line = _("cold, %(hours)s") % {"hours": show_hours(recipe.cold_hours)}
        else:
            continue
        if line not in words:
            words.append(line)
    return words


def hot_lines_of(tub: Tub) -> list[str]:
    """The hours of each soak that counted hot: "800: 21 h of 31 h were hot"."""
    lines: list[str] = []
    for one in tub.sets:
        if one.answer.state != "soaking" or not one.answer.soak.hot_hours or one.recipe.hot_hours is None:
            continue
        words = _("%(grit)s: %(have)s of %(need)s were hot") % {
            "grit": one.state.tool_set.tool_type.grit,
            "have": show_hours(one.answer.soak.hot_hours),
            "need": show_hours(one.recipe.hot_hours),
        }
        if words not in lines:
            lines.append(words)
    return lines


def due_of(tub: Tub, person: Person, now: datetime) -> str:
    """When a hot tub must be read next: at the end of a soak, or before the last reading stops counting."""
    ahead = [one.ahead for one in tub.sets if one.ahead is not None]
    due = [at for one in ahead for at in (one.read_at, one.vouched_until) if at is not None]
    if not due:
        return ""
    at = min(due)
    return _("Read it now") if at <= now else _("Read it by %(when)s") % {"when": when_for(person, at, now)}


def told_of(tub: Tub, person: Person, now: datetime) -> list[str]:
    """What changed the end of a soak: "Fell to 118 °F at 02:10: ready Fri 12:40 by the cold recipe."."""
    said: list[str] = []
    units: Any = person.units
    for one in tub.sets:
        why = one.answer.why
        at, temperature = why.values.get("temperature_at"), why.values.get("temperature_c")
        if why.key != "cooled" or not isinstance(at, datetime) or not isinstance(temperature, float):
            continue
        fell = _fell(tub, one.recipe, at)
        values = {
            "temperature": show_temperature(fell.temperature_c if fell else temperature, units),
            "when": at_words(person, fell.at if fell else at, now),
            "ready": when_for(person, one.ahead.ready_at, now) if one.ahead else "",
        }
        if one.ahead is None:
            words = _("Fell to %(temperature)s %(when)s: heat it and read it again.") % values
        elif one.ahead.kind == "mixed":
            words = _("Fell to %(temperature)s %(when)s: ready %(ready)s, hot and cold hours together.") % values
        else:
            words = _("Fell to %(temperature)s %(when)s: ready %(ready)s by the cold recipe.") % values
        if words not in said:
            said.append(words)
    return said


def at_words(person: Person, at: datetime, now: datetime) -> str:
    """ "at 02:10" today, "Tue 20:10" on another day."""
    zone = zone_of(person.branch)
    words = when_for(person, at, now)
    today = at.astimezone(zone).date() == now.astimezone(zone).date()
    return _("at %(time)s") % {"time": words} if today else words


def _fell(tub: Tub, recipe: Recipe, last: datetime) -> Any:
    """The first reading of the cold stretch that lasts until now."""
    found = None
    for reading in reversed([reading for reading in tub.readings if reading.at <= last]):
        if is_hot(Reading(reading.at, reading.temperature_c), recipe):
            break
        found = reading
    return found


def _full(tub: Tub, tubs: list[Tub], person: Person, now: datetime) -> str:
    """ "Tub 1 is full until Thu 08:00. Tub 3 has 10 places."; nothing while there is room."""
    if tub.room != 0:
        return ""
    coming = [one.ready_at for one in tub.sets if one.ready_at is not None]
    name = tub.place.name
    if any(one.answer.state in ("conditioned", "soaked, not confirmed") for one in tub.sets) or not coming:
        first = _("%(tub)s is full; what is done may come out.") % {"tub": name}
    else:
        first = _("%(tub)s is full until %(when)s.") % {"tub": name, "when": when_for(person, min(coming), now)}
    roomy = max((one for one in tubs if one.room), key=lambda one: one.room or 0, default=None)
    if roomy is None or roomy.room is None:
        return first
    words = ngettext("%(tub)s has %(n)s place.", "%(tub)s has %(n)s places.", roomy.room)
    return f"{first} {words % {'tub': roomy.place.name, 'n': roomy.room}}"


def _rooms(tub: Tub) -> str:
    """One box a place, filled where a set lies; decoration beside the words."""
    room = tub.place.room_sets
    if room is None or not 0 < room <= _ROOM_SHOWN:
        return ""
    boxes = "".join(
        f'<path class="{"taken" if number < len(tub.sets) else "free"}" '
        f'd="M{1 + 13.5 * (number % 12)} {1 + 20 * (number // 12)}h10v15h-10z"/>'
        for number in range(room)
    )
    height = 17 + 20 * ((room - 1) // 12)
    return f'<svg class="rooms" aria-hidden="true" width="{13.5 * min(room, 12)}" height="{height}">{boxes}</svg>'


def _sentence(tub: Tub, lanes: list[LaneShown]) -> str:
    """What the picture of a tub says, read out."""
    if not lanes:
        return _("%(tub)s: empty") % {"tub": tub.place.name}
    parts = [
        ", ".join(part for part in (lane.grit, _sets(lane.count), lane.codes) if part) + f": {lane.words}"
        for lane in lanes
    ]
    return _("%(tub)s: %(lanes)s") % {"tub": tub.place.name, "lanes": "; ".join(parts)}


def _sets(count: int) -> str:
    return ngettext("%(n)s set", "%(n)s sets", count) % {"n": count}
