"""Sets that lie in another tub than was entered: the beginning of their soak is said anew, its hours go on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from inventory import hooks
from inventory.actions.corrections import check_may_void
from inventory.actions.custody import locked_states, once
from inventory.actions.entry_corrections import kept_columns
from inventory.actions.fitting import record_fitting
from inventory.actions.gate import check_ours, name_of
from inventory.actions.ledger import NewLine, Recorded, Who, already, void
from inventory.actions.soak import NotSoaking, NotWater
from inventory.actions.water_checks import check_room, check_room_since, check_soakable
from inventory.models import Branch, Entry, Place, SetState, ToolSet
from inventory.models.choices import Kind, PlaceKind
from inventory.queries.ledger import standing
from inventory.refusals import Refused


class NotOneTime(Refused):
    """The sets went in at different times, and one act has one time."""

    code = "not_one_time"


def lay_in(who: Who, branch: Branch, tool_sets: Sequence[ToolSet], tub: Place, *, now: datetime) -> Recorded:
    """Say that sets have lain in this tub since they went in, not in the one that was entered.

    One act: the entries that put them in are voided, and the same ones with this tub stand in their place, at the same
    time. So the soak's hours stay, and this tub's readings count for it. Who moves a set now takes it out into the
    other tub instead.
    Raises NotWater, NotSoaking, NotOneTime, TubFull, NeedsNoSoak, NotYourEntry, DoesNotFit.
    """
    sets = once(tool_sets)
    with transaction.atomic():
        if tub.kind != PlaceKind.TUB:
            raise NotWater(_("%(place)s is no tub.") % {"place": tub.name}, _("Choose the tub they lie in."))
        Place.objects.select_for_update().get(pk=tub.pk)
        states = locked_states(sets)
        if (known := already(who.act_id)) is not None:
            return known
        begun = _beginnings(list(states.values()))
        for state in states.values():
            check_ours(state, branch)
            if not state.soaking or state.pk not in begun:
                raise NotSoaking(_("%(set)s lies in no tub.") % {"set": name_of(state)}, _("Put it in a tub instead."))
            check_soakable(state, tub)
            entry = begun[state.pk]
            closed = bool(entry.shift_uuid and hooks.closed_shifts([entry.shift_uuid]))
            check_may_void(who, entry, shift_closed=closed)
        times = {entry.act.happened_at for entry in begun.values()}
        if len(times) != 1:
            raise NotOneTime(_("They went in at different times."), _("Choose those that went in together."))
        at = times.pop()
        check_room(tub, sum(state.place_id != tub.pk for state in states.values()))
        check_room_since(tub, set(states), at, who.done_by, now)
        entries = [begun[tool_set.pk] for tool_set in sets]
        lines = [void(entry, _("It lies in %(tub)s.") % {"tub": tub.name}) for entry in entries]
        for entry in entries:
            columns = {**kept_columns(entry), "to_place_id": tub.pk, "replaces": entry.pk}
            columns.pop("peg", None)
            lines.append(NewLine(Kind.SOAK_BEGUN, entry.tool_set, None, columns))
        by = replace(who, happened_at=at, time_known=entries[0].act.time_known)
        return record_fitting(by, branch, lines, states, now=now, then=lambda fresh: _lies(fresh, tub))


def _lies(state: SetState, tub: Place) -> bool:
    return state.soaking and state.place_id == tub.pk


def _beginnings(states: Sequence[SetState]) -> dict[object, Entry]:
    """The entry that began the soak each set is in, by set id."""
    lines = Entry.objects.filter(tool_set__in=[state.pk for state in states], kind=Kind.SOAK_BEGUN)
    rows = (
        lines.filter(pk__in=standing(lines)).select_related("act", "tool_set").order_by("act__happened_at", "line_no")
    )
    return {row.tool_set_id: row for row in rows}
