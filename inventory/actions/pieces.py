"""Pieces changed: broken ones out, new ones in, a part of a load run on purpose, two remnants made into one set.

One act with a line in the ledger of each set it is about (LEDGER 3): each piece with where it came from and went.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.gate import NotUsable, check_ours, name_of
from inventory.actions.ledger import NewLine, NewPiece, Recorded, Who, already, lock_states, record
from inventory.actions.measure import (
    HeightDoubted,
    aside_line,
    height_columns,
    inside_mm,
    judge,
    spread_limit,
    spread_mm,
)
from inventory.height_now import heights_now
from inventory.heights import Heights
from inventory.models import Branch, Person, SetState, ToolSet, ToolType
from inventory.models.choices import Fitness, RetiredWhy
from inventory.pieces_words import pieces_of
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.units import Amount, show_height

_WHY_LENGTH = 400


class PiecesRefused(Refused):
    """So many pieces cannot have gone where they are said to have gone."""

    code = "pieces"


class PiecesDiffer(HeightDoubted):
    """The pieces would differ by more than the shop's limit: choose others, or keep it, and the set is set aside."""

    code = "pieces_differ"


@dataclass(frozen=True)
class Change:
    """What was done with the pieces of one set.

    out: taken out (broken, or to run on part of the heads); new: new ones put in; new_height: of one of those.
    heights: of the set afterwards (its sure also keeps what differs); why: as said.
    """

    out: int = 0
    new: int = 0
    new_height: Amount | None = None
    heights: Heights | None = None
    sure: bool = False
    why: str = ""


@dataclass(frozen=True)
class Joining:
    """How pieces of another set come into this one.

    moved: so many come; out: so many of this set's own are taken out first; heights: of this set afterwards.
    retire_rest: the other set ends with it, else what is left of it stays a remnant.
    """

    moved: int
    out: int = 0
    heights: Heights | None = None
    sure: bool = False
    retire_rest: bool = False
    why: str = ""


def change_pieces(who: Who, branch: Branch, tool_set: ToolSet, change: Change, *, now: datetime) -> Recorded:
    """Keep which pieces of a set were taken out and which new ones put in.

    With fewer than its type has it is a remnant and runs on part of a machine's heads. Pieces that differ by more than
    the shop's limit are asked about, and kept they set the set aside in the same act.
    Raises PiecesRefused, PiecesDiffer, HeightRefused, HeightDoubted, NotUsable when it is retired, NotReceived.
    """
    with transaction.atomic():
        state = _state(tool_set, branch)
        if (known := already(who.act_id)) is not None:
            return known
        _check_works(state)
        lines = change_lines(who, branch, state, pieces_of(state, tool_set.tool_type), change, now=now)
        return record(who, branch, lines, now=now)


def join_sets(
    who: Who, branch: Branch, tool_set: ToolSet, other: ToolSet, joining: Joining, *, now: datetime
) -> Recorded:
    """Put pieces of another set of the same type into this one: one act, a line in both ledgers.

    What is left of the other stays a remnant, or it is retired (changed early); with no piece left it is retired.
    Raises PiecesRefused, PiecesDiffer, HeightRefused, HeightDoubted, NotUsable when this one is retired, NotReceived.
    """
    if other.pk == tool_set.pk:
        raise PiecesRefused(_("That is the same set."), _("Choose the set that the pieces come from."), field="other")
    with transaction.atomic():
        lock_states([tool_set, other])
        if (known := already(who.act_id)) is not None:
            return known
        by_id = {state.pk: state for state in states_with_types([tool_set.pk, other.pk])}
        for state in by_id.values():
            check_ours(state, branch)
        mine, theirs = by_id[tool_set.pk], by_id[other.pk]
        if other.tool_type_id != tool_set.tool_type_id:
            raise PiecesRefused(
                _("%(other)s is %(type)s, this is %(own)s.")
                % {"other": name_of(theirs), "type": other.tool_type.name, "own": tool_set.tool_type.name},
                _("Pieces of one type only run together. Choose another set."),
                field="other",
            )
        _check_works(mine)
        counts = (pieces_of(mine, tool_set.tool_type), pieces_of(theirs, other.tool_type))
        lines = join_lines(who, branch, mine, theirs, counts, joining, now=now)
        return record(who, branch, lines, now=now)


def change_lines(
    who: Who, branch: Branch, state: SetState, before: int, change: Change, *, now: datetime
) -> list[NewLine]:
    """The lines of ``change_pieces``. before: pieces the set had. Raises as it."""
    tool_set, person = state.tool_set, who.entered_by or who.done_by
    tool_type = tool_set.tool_type
    after = _check_counts(tool_type, before, change.out, change.new)
    new_mm = None
    if change.new_height is not None and change.new:
        new_mm = round(change.new_height.si, 4)
        judge(new_mm, tool_type, person, sure=change.sure, field="new_height")
    heights = change.heights
    if heights is None and new_mm is not None and change.new == after and change.new_height is not None:
        # Every piece is a new one: what they read is what the set is.
        heights = Heights((change.new_height,), sure=change.sure)
    coming = new_mm if new_mm is not None else tool_type.new_height_mm
    stay = heights_now([state], branch, now).values() if change.new < after else ()
    known = [one.now_mm for one in stay]
    if change.new and coming is not None:
        known.append(coming)
    likely = any(one.likely_mm is not None for one in stay)
    columns = _columns(heights, tool_type, person, after)
    aside = _aside(branch, state, heights, known, after, person, likely=likely, sure=change.sure, now=now)
    rows = _stay(tool_set, before - change.out)
    rows += [NewPiece(len(rows) + number, new_mm, None, tool_set) for number in range(1, change.new + 1)]
    rows += [NewPiece(len(rows) + number, None, tool_set, None) for number in range(1, change.out + 1)]
    columns |= {"pieces": after, "why": _short(change.why)}
    return [NewLine("pieces_changed", tool_set, None, columns, pieces=tuple(rows)), *aside]


def join_lines(
    who: Who,
    branch: Branch,
    mine: SetState,
    theirs: SetState,
    counts: tuple[int, int],
    joining: Joining,
    *,
    now: datetime,
) -> list[NewLine]:
    """The lines of ``join_sets``. counts: pieces this set had, and the other. Raises as it."""
    tool_set, other, person = mine.tool_set, theirs.tool_set, who.entered_by or who.done_by
    before, theirs_before = counts
    moved = joining.moved
    if moved < 1:
        raise PiecesRefused(_("No piece would move."), _("Write how many come in, 1 or more."), field="moved")
    if moved > theirs_before:
        raise PiecesRefused(
            ngettext(
                "%(set)s has %(count)d piece, not %(moved)d.",
                "%(set)s has %(count)d pieces, not %(moved)d.",
                theirs_before,
            )
            % {"set": name_of(theirs), "count": theirs_before, "moved": moved},
            _("Write how many really come in, or say first what it has."),
            field="moved",
        )
    after = _check_counts(tool_set.tool_type, before, joining.out, moved, field="moved")
    come = heights_now([mine, theirs] if before > joining.out else [theirs], branch, now).values()
    known, likely = [one.now_mm for one in come], any(one.likely_mm is not None for one in come)
    columns = _columns(joining.heights, tool_set.tool_type, person, after)
    aside = _aside(branch, mine, joining.heights, known, after, person, likely=likely, sure=joining.sure, now=now)
    rows = _stay(tool_set, before - joining.out)
    rows += [NewPiece(len(rows) + number, None, other, tool_set) for number in range(1, moved + 1)]
    rows += [NewPiece(len(rows) + number, None, tool_set, None) for number in range(1, joining.out + 1)]
    why = _short(joining.why)
    columns |= {"pieces": after, "other_set": other, "why": why}
    left = theirs_before - moved
    theirs_rows = _stay(other, left)
    theirs_rows += [NewPiece(left + number, None, other, tool_set) for number in range(1, moved + 1)]
    given = {"other_set": tool_set, "why": why}
    lines = [
        NewLine("pieces_changed", tool_set, None, columns, pieces=tuple(rows)),
        NewLine("pieces_changed", other, None, given | {"pieces": left}, pieces=tuple(theirs_rows)),
    ]
    if (left == 0 or joining.retire_rest) and theirs.fitness != Fitness.RETIRED:
        said = _("its pieces went into %(set)s") % {"set": name_of(mine)}
        lines.append(NewLine("retired", other, None, {"retired_why": RetiredWhy.CHANGED_EARLY, "why": said}))
    return [*lines, *aside]


def _check_counts(tool_type: ToolType, before: int, out: int, new: int, field: str = "new") -> int:
    """How many pieces the set has afterwards. Raises PiecesRefused."""
    if out < 0 or new < 0 or (out == 0 and new == 0):
        raise PiecesRefused(_("No piece would change."), _("Write how many came out or went in."), field="out")
    if out > before:
        raise PiecesRefused(
            ngettext(
                "%(out)d came out, but the set has %(count)d piece.",
                "%(out)d came out, but the set has %(count)d pieces.",
                before,
            )
            % {"out": out, "count": before},
            _("Write how many of its own came out."),
            field="out",
        )
    after, most = before - out + new, tool_type.pieces_per_set
    if after > most:
        raise PiecesRefused(
            ngettext(
                "That makes %(after)d pieces; a set of this type has %(most)d.",
                "That makes %(after)d pieces; a set of this type has %(most)d.",
                most,
            )
            % {"after": after, "most": most},
            _("Write how many came out as well, or how many really went in."),
            field=field,
        )
    if after == 0:
        raise PiecesRefused(
            _("That leaves no piece in it."), _("Retire the set, or write what went in instead."), field="out"
        )
    return after


def _columns(heights: Heights | None, tool_type: ToolType, person: Person, pieces: int) -> dict[str, Any]:
    return {} if heights is None else height_columns(heights, tool_type, person, pieces=pieces)


def _aside(
    branch: Branch,
    state: SetState,
    heights: Heights | None,
    known_mm: list[float],
    pieces: int,
    person: Person,
    *,
    likely: bool,
    sure: bool,
    now: datetime,
) -> list[NewLine]:
    """Ask where the pieces will differ too much; said to be right, the line that sets the set aside.

    heights: as typed of the set afterwards; known_mm: else how high the pieces that come together stand today.
    likely: some of these worked since they were read, so their height is what is likely by now.
    """
    tool_type, limit = state.tool_set.tool_type, spread_limit(branch, now)
    if heights is not None:
        typed = inside_mm(heights, tool_type)
        differ = spread_mm(heights, tool_type, pieces)
        if len(typed) == 1 and heights.mean is None and known_mm:
            differ = max(known_mm) - typed[0]
    else:
        differ = max(known_mm) - min(known_mm) if known_mm else 0.0
    if differ <= limit:
        return []
    units: Any = person.units
    if not sure:
        raise PiecesDiffer(
            (
                _("The pieces will likely differ by %(spread)s, as they stand today; the shop's limit is %(limit)s.")
                if likely and (heights is None or len(heights.pieces) == 1)
                else _("The pieces will differ by %(spread)s; the shop's limit is %(limit)s.")
            )
            % {"spread": show_height(differ, units), "limit": show_height(limit, units)},
            _("Choose pieces of nearly one height. Keep it, and the set is set aside until somebody has looked."),
            field="sure",
        )
    return [aside_line(state.tool_set, differ, limit, person)] if state.fitness == Fitness.USABLE else []


def _stay(tool_set: ToolSet, count: int) -> list[NewPiece]:
    return [NewPiece(number, None, tool_set, tool_set) for number in range(1, count + 1)]


def _short(why: str) -> str | None:
    return why.strip()[:_WHY_LENGTH] or None


def _state(tool_set: ToolSet, branch: Branch) -> SetState:
    lock_states([tool_set])
    (state,) = states_with_types([tool_set.pk])
    check_ours(state, branch)
    return state


def _check_works(state: SetState) -> None:
    if state.fitness == Fitness.RETIRED:
        raise NotUsable(
            _("%(set)s is retired.") % {"set": name_of(state)},
            _("Clear it first if it is to work again, or put its pieces into another set from that one's page."),
        )
