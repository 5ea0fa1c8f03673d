"""Undo: void an act, by a new act that says why. One's own; others' with the right to settle."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from inventory import hooks
from inventory.actions.corrections import void_entry
from inventory.actions.later_pieces import check_no_later_pieces
from inventory.actions.ledger import Recorded, Who, already, lock_states, record, void
from inventory.actions.photos import remove_with
from inventory.actions.sighting import check_no_ring, lock_movable
from inventory.models import Act, Branch, Entry, Outing, ToolSet
from inventory.queries.ledger import standing, voided
from inventory.refusals import Refused
from inventory.rights import Right

# "Undo" on a running page means what one did just now; older acts are voided from the set's card (our assumption).
_JUST_NOW = timedelta(hours=12)


class NothingToUndo(Refused):
    """There is no act of one's own to undo, or it is undone already."""

    code = "nothing_to_undo"


class NotYours(Refused):
    """Somebody else's act; only whoever settles may void it."""

    code = "not_yours"


class ShiftsAct(Refused):
    """What was said of a shift; it is undone where the whole of it can be."""

    code = "shifts_act"


class SaidAnew(Refused):
    """A correction of a soak; it is corrected again, not undone."""

    code = "said_anew"


class LaterEntries(Refused):
    """A set's beginning with later entries: those are voided first."""

    code = "later_entries"


def undo(who: Who, branch: Branch, target: Act, why: str, *, now: datetime) -> Recorded:
    """Void every line of an act that still stands.

    Raises NotYours (also own entries of a closed shift), NothingToUndo (voided already, or itself a void), ShiftsAct,
    LaterEntries (DESIGN 3), LaterPieces, and Refused where a bucket or crate would come to lie in itself.
    """
    person = who.entered_by or who.done_by
    if person.pk not in (target.done_by_id, target.entered_by_id) and not person.can(Right.SETTLE):
        raise NotYours(
            _("%(person)s wrote that.") % {"person": target.done_by.name}, _("Ask the shop manager to void it.")
        )
    with transaction.atomic():
        entries = list(target.entries.select_related("tool_set", "place").order_by("line_no"))
        lock_states([entry.tool_set for entry in entries if entry.tool_set is not None])
        if (known := already(who.act_id)) is not None:
            return known
        gone = voided(target.entries.all())
        standing = [entry for entry in entries if entry.kind != "voided" and entry.pk not in gone]
        if not standing:
            raise NothingToUndo(_("That is undone already."), _("Nothing more to do."))
        _check_shift(who, target, standing)
        check_beginnings(standing)
        check_not_moved_tubs(standing)
        check_no_later_pieces(standing, now)
        reason = why.strip()[:400] or _("undone")
        moved = {entry.place_id for entry in standing if entry.kind == "moved"} - {None}
        if moved:
            lock_movable(branch)
        recorded = record(who, branch, [void(entry, reason) for entry in reversed(standing)], now=now)
        remove_with(person, target, now=now)
        if moved:
            check_no_ring(branch, moved)  # type: ignore[arg-type]  # None is taken out above
        return recorded


def undo_last(who: Who, branch: Branch, *, now: datetime, why: str = "") -> tuple[Recorded, Act]:
    """Void the last thing this person did on this device, and say which act that was.

    Raises NothingToUndo.
    """
    if (known := already(who.act_id)) is not None:
        return known, Act.objects.get(entries=known.entries[0].void_target)
    last = last_act(who, now)
    if last is None:
        raise NothingToUndo(_("Nothing of yours is left to undo."), _("Older entries are voided on the set's card."))
    return undo(who, branch, last, why, now=now), last


def undo_out(who: Who, branch: Branch, tool_set: ToolSet, outing: Outing, *, now: datetime) -> Recorded:
    """Void how a set came onto an outing, the others that left in the same act stay out.

    Raises NothingToUndo (it is not out with it), NotYourEntry.
    """
    if (known := already(who.act_id)) is not None:
        return known
    lines = Entry.objects.filter(tool_set=tool_set, outing=outing, kind__in=("scanned_out", "handed_over"))
    newest = lines.filter(pk__in=standing(lines)).select_related("act").order_by("act__happened_at", "pk").last()
    if newest is None or tool_set.state.outing_id != outing.pk:
        raise NothingToUndo(_("It is not out with this any more."), _("Nothing more to do."))
    closed = bool(newest.shift_uuid and hooks.closed_shifts([newest.shift_uuid]))
    return void_entry(who, branch, newest, _("not to go"), now=now, shift_closed=closed)


def last_act(who: Who, now: datetime) -> Act | None:
    """The newest act of this person on this device that is no void and is not voided as a whole."""
    acts = (
        Act.objects.filter(
            entered_by=who.entered_by or who.done_by, device=who.device, recorded_at__gte=now - _JUST_NOW
        )
        .exclude(entries__kind="voided")
        .order_by("-recorded_at", "-device_seq")
        .prefetch_related("entries")[:20]
    )
    gone = voided(Entry.objects.filter(act__in=[act.pk for act in acts]))
    return next((act for act in acts if any(entry.pk not in gone for entry in act.entries.all())), None)


def _check_shift(who: Who, target: Act, standing: list[Entry]) -> None:
    """Leave a closed shift's entries to whoever settles, and what was said of a shift itself to the page of its job."""
    shifts = {entry.shift_uuid for entry in standing} - {None}
    if shifts and not (who.entered_by or who.done_by).can(Right.SETTLE) and hooks.closed_shifts(shifts):  # type: ignore[arg-type]
        raise NotYours(_("The shift of this entry is closed."), _("Ask the shop manager to void it."))
    if hooks.said_of_shifts([target.pk]):
        raise ShiftsAct(_("That was said of the whole shift."), _("Undo it on the job's page."))


def check_not_moved_tubs(standing: list[Entry]) -> None:
    """Refuse to void that sets lay in another tub: the soak they were in went with it, so they would be left dry."""
    if any(entry.kind == "soak_begun" and entry.replaces is not None for entry in standing):
        raise SaidAnew(
            _("That said anew of a soak where or when it was; without it the sets would be in no water."),
            _("Say on the tub's page in which tub they lie, or correct the time on the set's card."),
        )


def check_beginnings(standing: list[Entry]) -> None:
    """Refuse to void a receipt or opening while later entries of the set stand."""
    begun = {entry.tool_set_id for entry in standing if entry.kind in ("received", "opening")}
    if not begun:
        return
    mine = {entry.pk for entry in standing}
    later = Entry.objects.filter(tool_set_id__in=begun).exclude(pk__in=mine).exclude(kind="voided")
    if set(later.values_list("pk", flat=True)) - voided(later):
        raise LaterEntries(_("The set has later entries."), _("Void those first, then its beginning."))
