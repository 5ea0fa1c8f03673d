"""Saying one's own entry anew: how large the area was, how high the set, when it went into water or came out.

The old entry is voided, named and kept.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.corrections import VoidRefused, replace_entry
from inventory.actions.dressing import Dressing, dressing_columns
from inventory.actions.fitting import DoesNotFit, check_fits
from inventory.actions.gate import name_of
from inventory.actions.later_pieces import check_no_later_pieces
from inventory.actions.ledger import NewLine, Recorded, Who, already, lock_states
from inventory.actions.measure import Heights, height_columns, piece_rows
from inventory.actions.pieces import Change, Joining, change_lines, join_lines
from inventory.actions.work import WorkAsked, WorkRefused
from inventory.ledger import kinds
from inventory.models import Branch, Entry, SetState
from inventory.models.choices import Basis, Fitness, Kind
from inventory.pieces_words import pieces_of
from inventory.queries.ledger import voided
from inventory.queries.soak import states_with_types
from inventory.times import when_for
from inventory.units import Amount, Units, judge_area, judge_passes

# Not copied into the corrected entry: what it replaces and why are said anew.
_ANEW = ("replaces", "why", "amount_value", "amount_unit", "stands_instead")


def correct_worked(
    who: Who,
    branch: Branch,
    entry: Entry,
    area: Amount,
    passes: int,
    why: str,
    *,
    now: datetime,
    units: Units = "us",
    sure: bool = False,
    shift_closed: bool = False,
) -> Recorded:
    """Say anew what area, m2 of one pass, and how many passes an entry worked; all else of it stays.

    who: with the time it really happened. What was guessed or planned counts as said by a person from then on.
    Raises WorkRefused, WorkAsked (unlikely and not said to be right), and as replace_entry.
    """
    if entry.kind != Kind.WORKED:
        raise VoidRefused(_("That entry is no work."), _("Void it, and enter what is right."))
    for field_name, judged in (("area", judge_area(area.si, units)), ("passes", judge_passes(passes))):
        if judged.answer == "refuse":
            raise WorkRefused(judged.sentence, field=field_name)
        if judged.answer == "ask" and not sure:
            raise WorkAsked(judged.sentence, field=field_name)
    columns = kept_columns(entry) | {
        "area_m2": area.si,
        "passes": passes,
        "basis": Basis.MEASURED if entry.basis in (Basis.GUESSED, Basis.PLANNED) else entry.basis,
        "amount_value": str(area.value)[:24],
        "amount_unit": area.unit,
    }
    line = NewLine("worked", entry.tool_set, None, columns)
    return replace_entry(who, branch, entry, [line], why, now=now, shift_closed=shift_closed)


def correct_height(
    who: Who, branch: Branch, entry: Entry, heights: Heights, why: str, *, now: datetime, shift_closed: bool = False
) -> Recorded:
    """Say anew how high a set was when it was measured.

    Raises HeightRefused, HeightDoubted, and as replace_entry.
    """
    if entry.kind != Kind.MEASURED or entry.tool_set is None:
        raise VoidRefused(_("That entry is no measurement."), _("Void it, and enter what is right."))
    (state,) = states_with_types([entry.tool_set.pk])
    pieces = max(pieces_of(state, entry.tool_set.tool_type), len(heights.pieces))
    columns = height_columns(heights, entry.tool_set.tool_type, who.entered_by or who.done_by, pieces=pieces)
    line = NewLine("measured", entry.tool_set, None, columns, pieces=piece_rows(heights, entry.tool_set))
    return replace_entry(who, branch, entry, [line], why, now=now, shift_closed=shift_closed)


def correct_dressed(
    who: Who, branch: Branch, entry: Entry, dressing: Dressing, why: str, *, now: datetime, shift_closed: bool = False
) -> Recorded:
    """Say anew how a set was dressed.

    Raises DressingRefused, HeightRefused, HeightDoubted, and as replace_entry.
    """
    if entry.kind != Kind.DRESSED or entry.tool_set is None:
        raise VoidRefused(_("That entry is no dressing."), _("Void it, and enter what is right."))
    columns = dressing_columns(dressing, entry.tool_set.tool_type, who.entered_by or who.done_by)
    line = NewLine("dressed", entry.tool_set, None, columns)
    return replace_entry(who, branch, entry, [line], why, now=now, shift_closed=shift_closed)


def correct_pieces(
    who: Who,
    branch: Branch,
    entry: Entry,
    said: Change | Joining,
    why: str,
    *,
    now: datetime,
    shift_closed: bool = False,
) -> Recorded:
    """Say anew which pieces came and went; of two sets in the ledgers of both. Heights are checked as the act's own.

    said: of the kind that the entry was, a Joining as the set saw it that the pieces went into (``joined``).
    Raises PiecesRefused, PiecesDiffer, HeightRefused, HeightDoubted, and as replace_entry.
    """
    if entry.kind != Kind.PIECES_CHANGED or entry.tool_set is None or (isinstance(said, Joining) != joined(entry)):
        raise VoidRefused(_("That entry is no such change of pieces."), _("Void it, and enter what is right."))
    lines = [one for one in entry.act.entries.order_by("line_no") if one.kind == Kind.PIECES_CHANGED]
    with transaction.atomic():
        lock_states([one.tool_set for one in lines if one.tool_set is not None])
        if (known := already(who.act_id)) is not None:
            return known
        if not voided(Entry.objects.filter(pk__in=[one.pk for one in lines])):
            check_no_later_pieces(lines, now)
        ids = [one.tool_set_id for one in lines if one.tool_set_id is not None]
        states = {state.pk: state for state in states_with_types(ids)}
        for one in entry.act.entries.filter(kind__in=(Kind.RETIRED, Kind.SET_ASIDE)):
            # As it was before: what this act retired or set aside is usable still.
            states[one.tool_set_id].fitness = Fitness.USABLE
        if isinstance(said, Change):
            new = change_lines(who, branch, states[entry.tool_set_id], had(entry), said, now=now)
        else:
            into, other = lines[0], lines[1]
            mine, theirs = states[into.tool_set_id], states[other.tool_set_id]
            new = join_lines(who, branch, mine, theirs, (had(into), had(other)), said, now=now)
        return replace_entry(who, branch, entry, new, why, now=now, shift_closed=shift_closed)


def joined(entry: Entry) -> bool:
    """Whether a "pieces changed" entry speaks of two sets."""
    return entry.other_set_id is not None


def had(entry: Entry) -> int:
    """How many pieces the set of a "pieces changed" entry had before it, by the pieces on record with it."""
    return entry.piece_rows.filter(from_set_id=entry.tool_set_id).count()


def correct_soak_time(
    who: Who, branch: Branch, entry: Entry, why: str, *, now: datetime, shift_closed: bool = False
) -> Recorded:
    """Say anew when a set went into water or came out of it; where it went stays.

    who: with the time it really happened, not one to come. Raises VoidRefused for another kind or a time to come,
    DoesNotFit for a time that contradicts what the ledger has before or after, and as replace_entry.
    """
    if entry.kind not in (Kind.SOAK_BEGUN, Kind.SOAK_ENDED) or entry.tool_set is None:
        raise VoidRefused(_("That entry is no soak."), _("Void it, and enter what is right."))
    if who.happened_at is None or who.happened_at > now:
        raise VoidRefused(_("That time has not come yet."), _("Write when it happened: now at the latest."), field="at")
    with transaction.atomic():
        lock_states([entry.tool_set])
        before = states_with_types([entry.tool_set.pk])
        line = NewLine(entry.kind, entry.tool_set, None, kept_columns(entry))
        done = replace_entry(who, branch, entry, [line], why, now=now, shift_closed=shift_closed)
        fresh = states_with_types([entry.tool_set.pk])
        check_fits(before, fresh, who, now)
        if not done.again:
            _check_same_end(before[0], fresh[0], who, now)
    return done


def _check_same_end(before: SetState, after: SetState, who: Who, now: datetime) -> None:
    """Refuse a time that would leave the set somewhere else than it is now: something lies between."""
    if (before.place_id, before.soaking, before.outing_id) != (after.place_id, after.soaking, after.outing_id):
        when = when_for(who.done_by, who.happened_at or now, now)
        raise DoesNotFit(
            _("With %(when)s, %(set)s would not be where it is by its ledger.") % {"when": when, "set": name_of(after)},
            _("Choose a time that fits what happened before and after, or void what is wrong first."),
        )


def kept_columns(entry: Entry) -> dict[str, Any]:
    """The columns of an entry that its correction keeps; relations by their ids."""
    found: dict[str, Any] = {}
    for name in kinds.COLUMNS:
        if name in _ANEW:
            continue
        column = Entry._meta.get_field(name).attname  # type: ignore[union-attr]
        value = getattr(entry, column)
        if value is not None:
            found[column] = value
    return found
