"""Where a set is, said by whoever sees it: move, see, find, where the others are. ``custody`` gives these on too."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.gate import AlreadyThere, check_here, check_ours, holder_of, name_of, where_of
from inventory.actions.ledger import NewLine, Recorded, Who, already, lock_states, record
from inventory.models import Branch, Entry, Outing, Place, SetState, ToolSet
from inventory.models.choices import LeftHow, PlaceKind, SoakNeed
from inventory.queries.soak import Waters, states_with_types, waters_of
from inventory.refusals import Refused

# What a bucket or a crate may stand in or on.
_HOLDS_PLACES = (PlaceKind.RACK, PlaceKind.CRATE, PlaceKind.VAN, PlaceKind.SITE, PlaceKind.SUPPLIER, PlaceKind.UNKNOWN)
_SHOP_PLACES = (PlaceKind.RACK, PlaceKind.TUB, PlaceKind.CRATE)


def move(
    who: Who,
    branch: Branch,
    tool_set: ToolSet,
    place: Place,
    *,
    now: datetime,
    peg: str = "",
    left_how: str | None = None,
) -> Recorded:
    """Put a set in another place; out of a tub this ends its soak, into a tub one begins. A missing set is found.

    Raises NotReceived, Elsewhere (out, and the place is the shop's: it is scanned in), AlreadyThere.
    """
    person = who.entered_by or who.done_by
    with transaction.atomic():
        state = locked_states([tool_set])[tool_set.pk]
        if (known := already(who.act_id)) is not None:
            return known
        check_ours(state, branch)
        if place.kind in _SHOP_PLACES:
            check_here(state, None, now, person)
        check_moves(state, place, peg)
        columns: dict[str, Any] = {"to_place": place, "peg": peg or None}
        if place.kind == PlaceKind.TUB:
            return record(who, branch, [NewLine("soak_begun", tool_set, None, columns)], now=now)
        kind = "found" if missing(state) else "moved"
        if kind == "moved" and left_how:
            columns["left_how"] = left_how
        return record(who, branch, [NewLine(kind, tool_set, None, columns)], now=now)


def move_place(
    who: Who, branch: Branch, place: Place, inside: Place, tool_sets: Sequence[ToolSet], *, now: datetime
) -> Recorded:
    """Move a bucket or crate with the sets that are in it: one act, a line for the place and one a set (LEDGER 22).

    Raises Refused when the place is not one that moves, or would lie in itself, also by way of others.
    """
    if (known := already(who.act_id)) is not None:
        return known
    if place.kind not in (PlaceKind.BUCKET, PlaceKind.CRATE):
        raise Refused(_("%(place)s stays where it is.") % {"place": place.name}, _("Move the sets instead."))
    with transaction.atomic():
        _check_lies(place, inside, lock_movable(branch))
        lines = [NewLine("moved", None, place, {"to_place": inside})]
        lines += [NewLine("seen", tool_set, None, {"to_place": place}) for tool_set in once(tool_sets)]
        return record(who, branch, lines, now=now)


def lock_movable(branch: Branch) -> dict[UUID, Place]:
    """The branch's buckets and crates by id, all locked: two moves at once cannot close a ring that neither sees."""
    rows = Place.objects.select_for_update().filter(branch=branch, kind__in=(PlaceKind.BUCKET, PlaceKind.CRATE))
    return {row.pk: row for row in rows.order_by("pk")}


def check_no_ring(branch: Branch, place_ids: Iterable[UUID]) -> None:
    """Refuse what let one of these places lie in itself by way of others, once it is written.

    A move that is undone puts a place back where it was, though what it lay in may lie in it by now. Raises Refused.
    """
    movable = lock_movable(branch)
    for place_id in place_ids:
        place = movable.get(place_id)
        passed: list[UUID] = []
        one = place
        while one is not None and one.inside_id is not None and one.pk not in passed:
            passed.append(one.pk)
            if one.inside_id == place_id:
                assert place is not None
                raise Refused(
                    _("%(place)s would lie in itself: %(inside)s has been put into it since.")
                    % {"place": place.name, "inside": movable[passed[1] if len(passed) > 1 else place_id].name},
                    _("Move that out first."),
                )
            one = movable.get(one.inside_id)


def _check_lies(place: Place, inside: Place, movable: Mapping[UUID, Place]) -> None:
    """Refuse a place that would lie in itself, directly or by way of others, and one put into a bucket.

    movable: the branch's buckets and crates, by id.
    """
    if inside.pk == place.pk:
        raise Refused(_("%(place)s cannot lie in itself.") % {"place": place.name}, _("Choose another place."))
    passed: list[Place] = []
    one: Place | None = movable.get(inside.pk)
    while one is not None and one not in passed:
        passed.append(one)
        if one.inside_id == place.pk:
            raise Refused(
                _("%(inside)s lies in %(place)s by the ledger, so %(place)s cannot lie in it.")
                % {"inside": inside.name, "place": place.name},
                _("Move %(inside)s out first.") % {"inside": passed[-1].name},
            )
        one = movable.get(one.inside_id) if one.inside_id is not None else None
    if inside.kind not in _HOLDS_PLACES:
        raise Refused(
            _("%(inside)s is a %(kind)s: it holds sets, no buckets and no crates.")
            % {"inside": inside.name, "kind": inside.get_kind_display().lower()},
            _("Choose a rack, a van, a site or a crate."),
        )


def seen(
    who: Who, branch: Branch, tool_set: ToolSet, *, now: datetime, place: Place | None = None, peg: str = ""
) -> Recorded:
    """Say that a set was seen, and where if that is known.

    Raises NotReceived, OtherBranch.
    """
    with transaction.atomic():
        check_ours(locked_states([tool_set])[tool_set.pk], branch)
        if (known := already(who.act_id)) is not None:
            return known
        columns = {"to_place": place, "peg": peg or None}
        return record(who, branch, [NewLine("seen", tool_set, None, columns)], now=now)


def found(who: Who, branch: Branch, tool_set: ToolSet, place: Place, *, now: datetime, peg: str = "") -> Recorded:
    """Say that a missing or written-off set is there after all: undoes both.

    Raises NotReceived, OtherBranch, AlreadyThere when it was not missing.
    """
    with transaction.atomic():
        state = locked_states([tool_set])[tool_set.pk]
        if (known := already(who.act_id)) is not None:
            return known
        check_ours(state, branch)
        if not missing(state) and state.fitness_why != "written_off":
            raise AlreadyThere(
                _("%(set)s was not missing: %(where)s.")
                % {"set": name_of(state), "where": where_of(state) or holder_of(state) or _("no place known")},
                _("Move it if it hangs somewhere else."),
            )
        columns = {"to_place": place, "peg": peg or None}
        lines = [NewLine("found", tool_set, None, columns)]
        if place.kind == PlaceKind.TUB and tool_set.tool_type.soak_need != SoakNeed.NONE:
            # It lies in water from now on, as far as anybody knows; what it lay there unseen counts for nothing.
            lines.append(NewLine("soak_begun", tool_set, None, dict(columns)))
        return record(who, branch, lines, now=now)


def say_where(
    who: Who,
    branch: Branch,
    tool_sets: Sequence[ToolSet],
    answer: str,
    *,
    now: datetime,
    place: Place | None = None,
    shift_uuid: UUID | None = None,
) -> Recorded:
    """Answer "Where are the others?" for sets that stay out, once for all of them.

    answer: a LeftHow, or "lost". They stay on their outing; lost ones go missing; those left in the van lie in the van
    of their outing.
    Raises Refused when no set is named.
    """
    if not tool_sets:
        raise Refused(_("No set was named."), _("Choose the sets the answer is for."))
    with transaction.atomic():
        states = locked_states(tool_sets)
        if (known := already(who.act_id)) is not None:
            return known
        lines: list[NewLine] = []
        vans: dict[UUID | None, UUID] = {}
        if answer == LeftHow.IN_VAN and place is None:
            out = [state.outing_id for state in states.values() if state.outing_id is not None]
            rows = Outing.objects.filter(pk__in=out, van__isnull=False).values_list("pk", "van_id")
            vans = {pk: van_id for pk, van_id in rows if van_id is not None}
        for tool_set in once(tool_sets):
            check_ours(states[tool_set.pk], branch)
            if answer == "lost":
                columns: dict[str, Any] = {"trouble_kind": "lost", "outing": states[tool_set.pk].outing}
                lines.append(NewLine("trouble", tool_set, None, columns | {"shift_uuid": shift_uuid}))
            else:
                van = vans.get(states[tool_set.pk].outing_id)
                to = {"to_place_id": van} if van is not None else {"to_place": place}
                columns = {"left_how": LeftHow(answer), "shift_uuid": shift_uuid, **to}
                lines.append(NewLine("seen", tool_set, None, columns))
        return record(who, branch, lines, now=now)


def home_pegs(set_ids: Iterable[UUID]) -> dict[UUID, tuple[UUID, str]]:
    """Rack and peg where each set hung last, by set id; "" where the rack has no pegs or nobody said; one query."""
    rows = (
        Entry.objects.filter(tool_set_id__in=list(set_ids), to_place__kind=PlaceKind.RACK)
        .order_by("act__happened_at", "line_no")
        .values_list("tool_set_id", "to_place_id", "peg")
    )
    homes: dict[UUID, tuple[UUID, str]] = {}
    for set_id, place_id, peg in rows:
        if set_id is None or place_id is None:
            continue
        known = homes.get(set_id)
        # Hung back without a word of the peg: the one it had there before.
        homes[set_id] = (place_id, peg or (known[1] if known and known[0] == place_id else ""))
    return homes


def once(tool_sets: Iterable[ToolSet]) -> list[ToolSet]:
    return list({tool_set.pk: tool_set for tool_set in tool_sets}.values())


def locked_states(tool_sets: Sequence[ToolSet]) -> dict[UUID, SetState]:
    """The states under lock, with what sentences need loaded."""
    lock_states(tool_sets)
    return {state.pk: state for state in states_with_types(tool_set.pk for tool_set in tool_sets)}


def locked(tool_sets: Sequence[ToolSet], branch: Branch, now: datetime) -> tuple[dict[UUID, SetState], Waters]:
    states = locked_states(tool_sets)
    return states, waters_of(states.values(), branch, at=now)


def missing(state: SetState) -> bool:
    return state.place is not None and state.place.kind == PlaceKind.UNKNOWN


def check_moves(state: SetState, place: Place, peg: str) -> None:
    if state.place_id == place.pk and (not peg or peg == state.peg):
        raise AlreadyThere(
            _("%(set)s is in %(place)s already.") % {"set": name_of(state), "place": where_of(state) or place.name},
            _("Scan the next one."),
        )
