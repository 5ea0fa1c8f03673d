"""Corrections: an entry is voided, or replaced by another, or what contradicts is settled. Nothing is ever changed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from uuid import UUID, uuid4

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.later_pieces import check_no_later_pieces
from inventory.actions.ledger import NewLine, Recorded, Who, already, lock_states, record, void
from inventory.actions.photos import remove_with
from inventory.flags import FLAG_WORDS
from inventory.ledger.facts import facts_from_json
from inventory.models import Branch, Entry, Place, SetState, ToolSet
from inventory.queries.ledger import same_sets, standing
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.said_text import trimmed

# What the shop manager answers a flag with. "accept" lets a held-back act count; the others only close the flag.
ANSWERS = ("accept", "leave_out", "seen", "corrected")


class VoidRefused(Refused):
    """An entry may not be voided as things stand."""

    code = "void"


class NotYourEntry(VoidRefused):
    """Somebody else's entry, or one's own after the shift was closed: that takes the right to settle."""

    code = "not_your_entry"


class SettleRefused(Refused):
    """A flag cannot be settled so."""

    code = "settle"


def void_entry(
    who: Who, branch: Branch, entry: Entry, why: str, *, now: datetime, shift_closed: bool = False
) -> Recorded:
    """Void an entry, saying why; of a "pieces changed" act all of it, in the ledgers of all its sets.

    shift_closed: whether the shift that the entry belongs to is closed (the caller knows); then, and for the entries of
    others, it takes the right to settle. An entry that is voided already stays as it is: the answer is what voided it.
    Raises NotYourEntry; VoidRefused for a void, an empty reason, a beginning with later entries, or an entry that was
    corrected meanwhile: what it was corrected to stands, and would go on standing; LaterPieces where the set's pieces
    were changed again since.
    """
    with transaction.atomic():
        if (known := already(who.act_id)) is not None:
            return known
        targets = _whole(entry)
        lock_states(_sets_of(targets))
        check_may_void(who, entry, shift_closed=shift_closed)
        if (voided := _voided_by(targets)) is not None:
            _check_not_corrected(voided, entry)
            return voided
        _check_beginning(targets)
        check_no_later_pieces(targets, now)
        if entry.kind in ("trouble", "retired"):
            remove_with(who.entered_by or who.done_by, entry.act, now=now)
        return record(who, branch, [void(target, _said(why)) for target in reversed(targets)], now=now)


def replace_entry(
    who: Who,
    branch: Branch,
    entry: Entry,
    new_lines: Sequence[NewLine],
    why: str,
    *,
    now: datetime,
    shift_closed: bool = False,
) -> Recorded:
    """Void an entry and write what is right instead, in one act; the new lines name the entry they replace.

    new_lines: what to write instead; their time is the act's (``who.happened_at``: when it really happened). Unlike
    void_entry a beginning may be replaced by another beginning: the set keeps one.
    Raises as void_entry, and VoidRefused when the entry is voided already.
    """
    with transaction.atomic():
        if (known := already(who.act_id)) is not None:
            return known
        targets = _whole(entry)
        lock_states([*_sets_of(targets), *(line.tool_set for line in new_lines if line.tool_set is not None)])
        check_may_void(who, entry, shift_closed=shift_closed)
        if _voided_by(targets) is not None:
            raise VoidRefused(
                _("That entry is voided already, nothing was written."), _("Look at the ledger as it is now.")
            )
        check_no_later_pieces(targets, now)
        if entry.kind in _BEGINNINGS and any(line.kind in _BEGINNINGS for line in new_lines):
            # The set keeps a beginning, so it keeps what was said with the first, too.
            targets = [target for target in targets if target.pk == entry.pk]
        else:
            _check_beginning(targets)
        lines = [void(target, _said(why)) for target in reversed(targets)]
        lines += [
            NewLine(line.kind, line.tool_set, line.place, {**line.columns, "replaces": entry.pk}, line.id, line.pieces)
            for line in new_lines
        ]
        return record(who, branch, lines, now=now)


def settle_flag(
    who: Who, branch: Branch, tool_set: ToolSet, entry_id: UUID, flag_code: str, answer: str, why: str, *, now: datetime
) -> Recorded:
    """Settle a flag of a set: it no longer asks; an accepted held-back act counts from then on.

    entry_id: the entry that the flag stands on; answer: one of ANSWERS. Of a held-back act every line is answered, in
    the ledgers of all its sets and places. A flag settled so before is answered with what settled it.
    Raises SettleRefused without the right to settle, for an unknown answer, or when the set has no such flag.
    """
    with transaction.atomic():
        if (known := already(who.act_id)) is not None:
            return known
        entry = Entry.objects.select_related("act", "tool_set", "place").filter(pk=entry_id).first()
        held = entry is not None and flag_code == "held_back"
        lines = list(entry.act.entries.select_related("tool_set", "place")) if entry and held else []
        state = lock_states([tool_set, *_sets_of(lines)])[tool_set.pk]
        _check_settle(who, flag_code, answer)
        if (said := _settled_by(state, entry_id, flag_code, answer)) is not None:
            return said
        if [str(entry_id), flag_code] not in facts_from_json(state.facts).flags:
            raise SettleRefused(
                _("This set has no such flag any more: it was settled, or what it stood on was voided or corrected."),
                _("Look at the set's card as it is now."),
            )
        columns = {"flag_code": flag_code, "answer": answer, "why": why.strip() or None}
        if not held:
            # In the ledger of the set that the entry speaks of: one that is the same as this may hold it.
            about = entry.tool_set if entry is not None and entry.tool_set is not None else tool_set
            return record(
                who, branch, [NewLine("settled", about, None, {"settles_target": entry_id, **columns})], now=now
            )
        return record(who, branch, _answers_to(lines, columns), now=now)


def settle_held(who: Who, branch: Branch, entry: Entry, answer: str, *, now: datetime) -> Recorded:
    """Answer a held-back act about places alone: accepted it counts from then on, all its lines.

    entry: one of its lines; answer: "accept" or "leave_out". Answered so before, it is answered with that.
    Raises SettleRefused without the right to settle, for another answer, or when it waits for none.
    """
    with transaction.atomic():
        if (known := already(who.act_id)) is not None:
            return known
        # A place has no state to lock: its row stands for it, so that two answers come one after the other.
        list(Place.objects.select_for_update().filter(pk=entry.place_id or uuid4()).values_list("pk"))
        _check_settle(who, "held_back", answer)
        lines = list(entry.act.entries.select_related("tool_set", "place"))
        said = Entry.objects.filter(kind="settled", flag_code="held_back", settles_target=entry.pk)
        stands = said.filter(pk__in=standing(said)).select_related("act").first()
        if stands is not None and stands.answer == answer:
            return Recorded(stands.act, tuple(stands.act.entries.order_by("line_no")), again=True)
        if stands is not None or not entry.act.held_back or any(line.tool_set_id for line in lines):
            raise SettleRefused(_("That is answered already, or asks nothing."), _("Open the morning page again."))
        return record(who, branch, _answers_to(lines, {"flag_code": "held_back", "answer": answer}), now=now)


def _answers_to(lines: Iterable[Entry], columns: dict[str, str | None]) -> list[NewLine]:
    """An answer to each line of an act, in the ledger that the line stands in."""
    return [NewLine("settled", line.tool_set, line.place, {"settles_target": line.pk, **columns}) for line in lines]


def check_may_void(who: Who, entry: Entry, *, shift_closed: bool = False) -> None:
    """Refuse to void what is not one's own any more, and what cannot be voided at all.

    Raises NotYourEntry, VoidRefused.
    """
    if entry.kind == "voided":
        raise VoidRefused(_("A void cannot be voided."), _("Enter again what was voided by mistake."))
    person = who.entered_by or who.done_by
    if person.can(Right.SETTLE):
        return
    own = person.pk in (entry.act.done_by_id, entry.act.entered_by_id)
    if not own:
        raise NotYourEntry(
            _("%(person)s entered this, not you.") % {"person": entry.act.done_by.name},
            _("Ask the shop manager to void it."),
        )
    if shift_closed:
        raise NotYourEntry(_("The shift of this entry is closed."), _("Ask the shop manager to void it."))


_BEGINNINGS = ("received", "opening")


def _whole(entry: Entry) -> list[Entry]:
    """The entry with what stands or falls with it.

    Of a "pieces changed" act all its lines, whichever of them was named; of a set's beginning what was said of the set
    in the same act, such as its label.
    """
    lines = list(
        Entry.objects.select_related("act", "tool_set", "place").filter(act_id=entry.act_id).order_by("line_no")
    )
    with_it = [line for line in lines if line.kind not in ("voided", "settled")]
    if entry.kind == "pieces_changed":
        return with_it
    if entry.kind in _BEGINNINGS:
        return [line for line in with_it if line.tool_set_id == entry.tool_set_id]
    return [line for line in lines if line.pk == entry.pk]


def _sets_of(entries: Iterable[Entry]) -> list[ToolSet]:
    return [entry.tool_set for entry in entries if entry.tool_set is not None]


def _said(why: str) -> str:
    if not trimmed(why):
        raise VoidRefused(_("A void says why."), _("Write a few words, such as “wrong set”."), field="why")
    return why.strip()[: Entry._meta.get_field("why").max_length]


def _voided_by(targets: Sequence[Entry]) -> Recorded | None:
    """What voided these entries, if something did: of a "pieces changed" act the void of any such line voids all."""
    about = {
        target.pk: (target.tool_set_id, target.place_id)
        for target in targets
        if len(targets) == 1 or target.kind in ("pieces_changed", *_BEGINNINGS)
    }
    voids = Entry.objects.filter(kind="voided", void_target__in=list(about))
    rows = voids.filter(pk__in=standing(voids)).select_related("act").order_by("act__recorded_at", "pk")
    for entry in rows:
        if entry.void_target is not None and about[entry.void_target] == (entry.tool_set_id, entry.place_id):
            return Recorded(entry.act, tuple(entry.act.entries.order_by("line_no")), again=True)
    return None


def _check_not_corrected(voided: Recorded, entry: Entry) -> None:
    """Refuse where what voided an entry put something else in its place, which stands."""
    instead = Entry.objects.filter(act=voided.act, replaces=entry.pk)
    if standing(instead):
        raise VoidRefused(
            _("That entry was corrected meanwhile by %(person)s, nothing was voided.")
            % {"person": voided.act.done_by.name},
            _("Look at the ledger as it is now, and void what it was corrected to."),
        )


def _check_beginning(targets: Sequence[Entry]) -> None:
    """Refuse to take a set's beginning away while later entries of it stand."""
    begun = [entry for entry in targets if entry.kind in _BEGINNINGS and entry.tool_set_id is not None]
    for entry in begun:
        others = (
            Entry.objects.filter(tool_set_id=entry.tool_set_id)
            .exclude(pk__in=[target.pk for target in targets])
            .exclude(kind__in=("voided", "settled"))
        )
        later = others.filter(pk__in=standing(others))
        # Another beginning that stands keeps the set known: then this one is the doubled one.
        if not later.filter(kind__in=_BEGINNINGS).exists() and (count := later.count()):
            raise VoidRefused(
                ngettext(
                    "%(set)s has %(count)d later entry; without its beginning it would hang in the air.",
                    "%(set)s has %(count)d later entries; without its beginning they would hang in the air.",
                    count,
                )
                % {"set": _name_of(entry), "count": count},
                _("Void those first, the newest first."),
            )


def _name_of(entry: Entry) -> str:
    state = SetState.objects.filter(pk=entry.tool_set_id).only("code").first()
    return state.code if state is not None and state.code else str(_("This set"))


def _check_settle(who: Who, flag_code: str, answer: str) -> None:
    person = who.entered_by or who.done_by
    if not person.can(Right.SETTLE):
        raise SettleRefused(
            _("You may not settle what contradicts."), _("Ask the shop manager; nothing is lost meanwhile.")
        )
    if flag_code not in FLAG_WORDS or answer not in ANSWERS:
        raise SettleRefused(
            _("That is none of the answers to what does not fit here."),
            _("Take one of those on the set's card."),
            field="answer",
        )


def _settled_by(state: SetState, entry_id: UUID, flag_code: str, answer: str) -> Recorded | None:
    """What settled this flag in the same way, if something did."""
    group = same_sets([state.tool_set_id])[state.tool_set_id]
    answers = Entry.objects.filter(
        kind="settled", settles_target=entry_id, flag_code=flag_code, answer=answer, tool_set_id__in=group
    )
    stands = answers.filter(pk__in=standing(answers)).select_related("act").order_by("act__recorded_at").first()
    if stands is None:
        return None
    return Recorded(stands.act, tuple(stands.act.entries.order_by("line_no")), again=True)
