"""Sets coming in: from an outing, from another place, or found. ``custody`` gives these on too."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.utils.translation import gettext as _

from inventory.actions.gate import Elsewhere, Passed, check_ours, name_of, where_of
from inventory.actions.ledger import NewLine, Recorded, Who, already, record
from inventory.actions.measure import Heights, height_columns
from inventory.actions.sighting import check_moves, locked_states, missing, once
from inventory.actions.water_checks import check_room, check_soakable
from inventory.models import Branch, Entry, Person, Place, SetState, ToolSet
from inventory.models.choices import LeftHow, PlaceKind
from inventory.refusals import Refused
from inventory.times import when_for


class StillToLeave(Elsewhere):
    """The set is on an outing that has not left yet: taking it back is said twice."""

    code = "still_to_leave"


class Soaking(Refused):
    """The set lies in a tub: scanning it in elsewhere would end its soak unasked."""

    code = "soaking"


@dataclass(frozen=True)
class ScannedMany:
    """What became of each set of a list: those written in one act, and those refused with why."""

    recorded: Recorded | None
    taken: tuple[ToolSet, ...]
    refused: tuple[tuple[ToolSet, Refused], ...]
    passed: Mapping[UUID, Passed]


def scan_in(
    who: Who,
    branch: Branch,
    tool_set: ToolSet,
    place: Place,
    *,
    now: datetime,
    peg: str = "",
    heights: Heights | None = None,
    left_how: str = LeftHow.CAME_BACK,
    ask: bool = False,
) -> Recorded:
    """Take a set back into a place of the shop: from an outing, from another place, or found when it was missing.

    Put into a tub, its soak begins. A set that lies in another tub stays there (Soaking): moving it would end its soak.
    ask: a set on an outing that has not left yet, and with which nobody worked, is asked about first (StillToLeave).
    Raises NotReceived, AlreadyThere, StillToLeave, Soaking, NeedsNoSoak, TubFull, HeightRefused.
    """
    many = scan_in_many(
        who,
        branch,
        [tool_set],
        place,
        now=now,
        pegs={tool_set.pk: peg} if peg else None,
        heights={tool_set.pk: heights} if heights else None,
        left_how=left_how,
        ask=ask,
    )
    if many.refused:
        raise many.refused[0][1]
    assert many.recorded is not None
    return many.recorded


def scan_in_many(
    who: Who,
    branch: Branch,
    tool_sets: Sequence[ToolSet],
    place: Place,
    *,
    now: datetime,
    pegs: Mapping[UUID, str] | None = None,
    heights: Mapping[UUID, Heights] | None = None,
    left_how: str = LeftHow.CAME_BACK,
    homes: Mapping[UUID, tuple[Place, str]] | None = None,
    ask: bool = False,
) -> ScannedMany:
    """Take several sets back in one act; each that cannot come in is given back with why.

    homes: place and peg of single sets, by set id; they go there instead. ask: as ``scan_in`` says.
    """
    person = who.entered_by or who.done_by
    with transaction.atomic():
        if place.kind == PlaceKind.TUB:
            # Locked, so that two people cannot fill the last place twice.
            Place.objects.select_for_update().get(pk=place.pk)
        states = locked_states(tool_sets)
        if (known := already(who.act_id)) is not None:
            return again(known, tool_sets)
        worked = _worked_on({state.outing_id for state in states.values()}) if ask else frozenset()
        lines: list[NewLine] = []
        refused: list[tuple[ToolSet, Refused]] = []
        for tool_set in once(tool_sets):
            measured, state = (heights or {}).get(tool_set.pk), states[tool_set.pk]
            to, peg = (homes or {}).get(tool_set.pk, (place, (pegs or {}).get(tool_set.pk, "")))
            try:
                if ask and state.outing_id not in worked:
                    _check_left(state, now, person)
                if to.kind == PlaceKind.TUB:
                    check_soakable(state, to)
                    coming = sum(line.kind == "soak_begun" for line in lines)
                    check_room(to, coming + (state.place_id != to.pk))
                lines += _in_lines(state, to, branch, person, peg, measured, left_how)
            except Refused as refusal:
                refused.append((tool_set, refusal))
        if not lines:
            return ScannedMany(None, (), tuple(refused), {})
        recorded = record(who, branch, lines, now=now)
    kept = {line.tool_set.pk for line in lines if line.tool_set is not None}
    taken = tuple(tool_set for tool_set in once(tool_sets) if tool_set.pk in kept)
    return ScannedMany(recorded, taken, tuple(refused), {})


def again(known: Recorded, tool_sets: Sequence[ToolSet]) -> ScannedMany:
    kept = {entry.tool_set_id for entry in known.entries}
    return ScannedMany(known, tuple(tool_set for tool_set in tool_sets if tool_set.pk in kept), (), {})


def _worked_on(outings: Collection[UUID | None]) -> frozenset[UUID | None]:
    """The outings that work was logged on: those have left, whatever their leaving time says; one query."""
    rows = Entry.objects.filter(kind="worked", outing_id__in=[pk for pk in outings if pk is not None])
    voided = Entry.objects.filter(kind="voided", void_target=OuterRef("pk"), act__held_back="")
    return frozenset(rows.exclude(Exists(voided)).values_list("outing_id", flat=True))


def _check_left(state: SetState, now: datetime, person: Person) -> None:
    outing = state.outing
    if outing is None or outing.closed_at is not None or outing.leaves_at <= now:
        return
    since = state.facts.get("out_since")
    raise StillToLeave(
        _("%(set)s is on %(outing)s, which leaves %(when)s.")
        % {"set": name_of(state), "outing": outing.name, "when": when_for(person, outing.leaves_at, now)},
        _("Take it back only if it is not to go."),
        outing=outing,
        holder=outing.name,
        since=datetime.fromisoformat(since) if since else None,
    )


def _in_lines(
    state: SetState, place: Place, branch: Branch, person: Person, peg: str, heights: Heights | None, left_how: str
) -> list[NewLine]:
    """The lines that bring one set in, or a refusal."""
    tool_set = state.tool_set
    if not state.facts.get("born"):
        check_ours(state, branch)
    transferred = state.branch_id is not None and state.branch_id != branch.pk
    if state.outing_id is None and transferred:
        check_ours(state, branch)
    columns: dict[str, Any] = {"to_place": place, "peg": peg or None}
    lines: list[NewLine] = []
    if state.outing_id is not None:
        measured = height_columns(heights, tool_set.tool_type, person) if heights else {}
        columns |= {"left_how": left_how, "outing": state.outing, "branch": branch if transferred else None, **measured}
        lines.append(NewLine("scanned_in", tool_set, None, columns))
    else:
        if not missing(state):
            check_moves(state, place, peg)
        if state.soaking and state.place_id != place.pk:
            raise Soaking(
                _("%(set)s lies in %(tub)s.") % {"set": name_of(state), "tub": where_of(state)},
                _("Taking it out ends its soak: do that on the soak page."),
            )
        if place.kind != PlaceKind.TUB or missing(state):
            lines.append(NewLine("found" if missing(state) else "moved", tool_set, None, columns))
        if heights:
            columns = height_columns(heights, tool_set.tool_type, person)
            lines.append(NewLine("measured", tool_set, None, columns))
    if place.kind == PlaceKind.TUB:
        lines.append(NewLine("soak_begun", tool_set, None, {"to_place": place, "peg": peg or None}))
    return lines
