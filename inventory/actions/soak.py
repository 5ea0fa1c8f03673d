"""What people do with water: put sets in a tub, read its water, confirm a soak by name, take sets out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.custody import locked, locked_states, once
from inventory.actions.fitting import DoesNotFit, record_fitting
from inventory.actions.gate import NeedsRight, check_here, check_ours, name_of, where_of
from inventory.actions.lay_there import beginnings_before
from inventory.actions.ledger import NewLine, Recorded, Who, already, record
from inventory.actions.water_checks import NeedsNoSoak, TubFull, check_room, check_room_since, check_soakable, room_left
from inventory.models import Branch, Place, SetState, ToolSet
from inventory.models.choices import LeftHow, PlaceKind
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.soak_words import soak_words
from inventory.units import Amount
from inventory.units.limits import judge_temperature

__all__ = [
    "DoesNotFit",
    "NeedsNoSoak",
    "NeedsRight",
    "NotReady",
    "NotSoaking",
    "NotWater",
    "TubFull",
    "WaterDoubted",
    "WaterRefused",
    "confirm",
    "put_in",
    "read_water",
    "room_left",
    "take_out",
]


class NotWater(Refused):
    """The place is no tub and no bucket."""

    code = "not_water"


class NotSoaking(Refused):
    """The set lies in no tub."""

    code = "not_soaking"


class NotReady(Refused):
    """The set's hours are not done, so there is nothing to confirm."""

    code = "not_ready"


class WaterRefused(Refused):
    """The temperature cannot be."""

    code = "water"


class WaterDoubted(Refused):
    """The temperature is unlikely: correct it, or say that it is right."""

    code = "water_doubted"


def put_in(
    who: Who, branch: Branch, tool_sets: Sequence[ToolSet], tub: Place, *, now: datetime, peg: str = ""
) -> Recorded:
    """Put sets in a tub (or a bucket): their soak begins.

    The tub's row is locked too, so that two people cannot fill the last place twice.
    Said of a time gone by, it must fit what the ledger has of that time and after; of a set labelled while it lay there
    the opening is said anew, of that time. Raises NotWater, TubFull,
    NeedsNoSoak, DoesNotFit, and the gate's refusals for a set that is elsewhere or not ours.
    """
    sets = once(tool_sets)
    with transaction.atomic():
        if tub.kind not in (PlaceKind.TUB, PlaceKind.BUCKET):
            raise NotWater(_("%(place)s holds no water.") % {"place": tub.name}, _("Choose a tub or a bucket."))
        Place.objects.select_for_update().get(pk=tub.pk)
        states = locked_states(sets)
        if (known := already(who.act_id)) is not None:
            return known
        for state in states.values():
            _check_soakable(state, branch, tub, now, who)
        _check_room(tub, states, who, now)
        lines = beginnings_before(who, list(states.values()))
        lines += [NewLine("soak_begun", tool_set, None, {"to_place": tub, "peg": peg or None}) for tool_set in sets]
        return record_fitting(who, branch, lines, states, now=now, then=lambda fresh: fresh.place_id == tub.pk)


def take_out(
    who: Who,
    branch: Branch,
    tool_sets: Sequence[ToolSet],
    place: Place,
    *,
    now: datetime,
    peg: str = "",
    homes: Mapping[UUID, tuple[Place, str]] | None = None,
    out_of: Place | None = None,
) -> Recorded:
    """Take sets out of their tub to another place: their soak ends. Into a bucket they go on hanging in water; in
    another tub the next soak begins.

    homes: place and peg of single sets, by set id; they go there instead. out_of: the tub they are said to lie in.
    Raises NotSoaking; TubFull and NeedsNoSoak of another tub; DoesNotFit for a time gone by that does not fit the
    ledger.
    """
    sets = once(tool_sets)
    with transaction.atomic():
        if place.kind == PlaceKind.TUB:
            Place.objects.select_for_update().get(pk=place.pk)
        states = locked_states(sets)
        if (known := already(who.act_id)) is not None:
            return known
        for state in states.values():
            check_ours(state, branch)
            if not state.soaking:
                raise NotSoaking(
                    _("%(set)s lies in no tub.") % {"set": name_of(state)}, _("Move it instead, or put it in a tub.")
                )
            if out_of is not None and state.place_id != out_of.pk:
                raise NotSoaking(
                    _("%(set)s does not lie in %(tub)s: %(where)s.")
                    % {"set": name_of(state), "tub": out_of.name, "where": where_of(state)},
                    _("Take it out there."),
                )
            if place.kind == PlaceKind.TUB and state.pk not in (homes or {}):
                check_soakable(state, place)
        if place.kind == PlaceKind.TUB:
            _check_room(place, {pk: state for pk, state in states.items() if pk not in (homes or {})}, who, now)
        lines = []
        wet: set[UUID] = set()
        for tool_set in sets:
            to, on = (homes or {}).get(tool_set.pk, (place, peg))
            left_how = LeftHow.IN_WATER if to.kind == PlaceKind.BUCKET else None
            columns = {"to_place": to, "peg": on or None, "left_how": left_how}
            lines.append(NewLine("soak_ended", tool_set, None, columns))
            if to.kind == PlaceKind.TUB:
                wet.add(tool_set.pk)
                lines.append(NewLine("soak_begun", tool_set, None, {"to_place": to, "peg": on or None}))
        return record_fitting(
            who, branch, lines, states, now=now, then=lambda fresh: fresh.soaking == (fresh.pk in wet)
        )


def confirm(who: Who, branch: Branch, tool_sets: Sequence[ToolSet], *, now: datetime) -> Recorded:
    """Confirm by name that sets whose hours are done are wet through.

    Raises NeedsRight, and NotReady saying until when a set soaks or that it is dry.
    """
    person = who.done_by
    if not person.can(Right.CONFIRM_SOAK):
        raise NeedsRight(
            _("%(person)s may not confirm a soak.") % {"person": person.name},
            _("Ask a crew lead or the shop manager to confirm it."),
        )
    sets = once(tool_sets)
    with transaction.atomic():
        states, waters = locked(sets, branch, now)
        if (known := already(who.act_id)) is not None:
            return known
        for state in states.values():
            check_ours(state, branch)
            answer = waters.now(state.pk, now)
            if answer.state != "soaked, not confirmed":
                words = soak_words(answer, branch, now, units=person.units, clock_24h=person.clock_24h)
                raise NotReady(
                    _("%(set)s: %(state)s.") % {"set": name_of(state), "state": words.line},
                    _("Only a set whose hours are done and that nobody confirmed is confirmed."),
                )
        return record(who, branch, [NewLine("conditioning_confirmed", tool_set) for tool_set in sets], now=now)


def read_water(who: Who, branch: Branch, tub: Place, water: Amount, *, now: datetime, sure: bool = False) -> Recorded:
    """Write down a tub's water temperature; it counts for every set that lay in it then.

    water: the temperature in degrees Celsius with value and unit as entered; sure: an unlikely one is kept.
    Raises NotWater, WaterRefused, WaterDoubted.
    """
    if tub.kind not in (PlaceKind.TUB, PlaceKind.BUCKET):
        raise NotWater(_("%(place)s holds no water.") % {"place": tub.name}, _("Choose a tub or a bucket."))
    judged = judge_temperature(water.si, who.done_by.units)  # type: ignore[arg-type]  # the choices are the same
    if judged.answer == "refuse":
        raise WaterRefused(judged.sentence, field="water")
    if judged.answer == "ask" and not sure:
        raise WaterDoubted(judged.sentence, field="water")
    columns = {"temperature_c": water.si, "amount_value": str(water.value)[:24], "amount_unit": water.unit}
    return record(who, branch, [NewLine("water_read", None, tub, columns)], now=now)


def _check_room(tub: Place, states: Mapping[UUID, SetState], who: Who, now: datetime) -> None:
    """Refuse more sets than the tub has room for: now, and at the time gone by at which they are said to have gone in.

    Raises TubFull.
    """
    check_room(tub, sum(state.place_id != tub.pk for state in states.values()))
    if who.happened_at is not None:
        check_room_since(tub, set(states), who.happened_at, who.done_by, now)


def _check_soakable(state: SetState, branch: Branch, tub: Place, now: datetime, who: Who) -> None:
    check_ours(state, branch)
    if tub.kind == PlaceKind.TUB:
        check_here(state, None, now, who.done_by)
    check_soakable(state, tub)
