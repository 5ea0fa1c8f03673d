"""Measure a set: heights as entered, judged against its type and against what was read before."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.ledger import NewLine, NewPiece, Recorded, Who, already, lock_states, record
from inventory.heights import Heights
from inventory.ledger.steps import HEIGHT_RISE_MM
from inventory.models import Branch, Person, SetState, ToolSet, ToolType
from inventory.pieces_words import pieces_of
from inventory.refusals import Refused
from inventory.shop_settings import settings_of
from inventory.times import zone_of
from inventory.units import judge_height, show_height
from inventory.wear_rows import falls_without_work

__all__ = ["HeightDoubted", "HeightRefused", "Heights", "height_columns", "measure"]

# Kept to a ten-thousandth of a millimetre, far below any gauge: sums of such numbers then compare as people expect.
_PLACES = 4


class HeightRefused(Refused):
    """The height cannot be."""

    code = "height"


class HeightDoubted(Refused):
    """The height is unlikely: correct it, or say that it is right."""

    code = "height_doubted"


def inside_mm(heights: Heights, tool_type: ToolType) -> list[float]:
    """What each of these heights is without the backing, mm."""
    off = tool_type.backing_mm if heights.with_backing else 0.0
    return [round(amount.si - off, _PLACES) for amount in heights.pieces]


def height_columns(
    heights: Heights, tool_type: ToolType, person: Person, *, pieces: int | None = None
) -> dict[str, Any]:
    """The ledger's columns for these heights, in mm without the backing.

    pieces: how many the set has now; None: as many as its type.
    Raises HeightRefused for what cannot be, HeightDoubted for what is unlikely and not said to be right.
    """
    if not heights.pieces:
        raise HeightRefused(_("No height was typed."), _("Type the lowest piece's height."), field="height")
    most = tool_type.pieces_per_set if pieces is None else pieces
    if len(heights.pieces) > max(most, 1):
        raise HeightRefused(
            ngettext(
                "%(typed)d heights were typed, the set has %(count)d piece.",
                "%(typed)d heights were typed, the set has %(count)d pieces.",
                most,
            )
            % {"typed": len(heights.pieces), "count": most},
            _("Type one for each piece it has; say first if pieces were changed."),
            field="height",
        )
    inside = inside_mm(heights, tool_type)
    for height_mm in inside:
        judge(height_mm, tool_type, person, sure=heights.sure)
    lowest = min(range(len(inside)), key=inside.__getitem__)
    columns: dict[str, Any] = {
        "lowest_height_mm": inside[lowest],
        "with_backing": heights.with_backing,
        "amount_value": str(heights.pieces[lowest].value)[:24],
        "amount_unit": heights.pieces[lowest].unit,
    }
    if len(inside) > 1:
        columns["mean_height_mm"] = round(sum(inside) / len(inside), _PLACES)
    elif heights.mean is not None:
        columns["mean_height_mm"] = _mean_mm(heights, inside[0], tool_type, person)
    return columns


def judge(height_mm: float, tool_type: ToolType, person: Person, *, sure: bool, field: str = "height") -> None:
    """Hold one height, mm without backing, against its type. Raises HeightRefused, HeightDoubted."""
    judged = judge_height(
        height_mm,
        person.units,  # type: ignore[arg-type]
        new_height_mm=tool_type.new_height_mm,
        retire_height_mm=tool_type.retire_height_mm,
        backing_mm=tool_type.backing_mm or None,
    )
    if judged.answer == "refuse":
        raise HeightRefused(judged.sentence, field=field)
    if judged.answer == "ask" and not sure:
        raise HeightDoubted(judged.sentence, field=field)


def _mean_mm(heights: Heights, lowest_mm: float, tool_type: ToolType, person: Person) -> float:
    assert heights.mean is not None
    mean_mm = round(heights.mean.si - (tool_type.backing_mm if heights.with_backing else 0.0), _PLACES)
    judge(mean_mm, tool_type, person, sure=heights.sure, field="mean")
    if mean_mm < lowest_mm:
        units: Any = person.units
        raise HeightRefused(
            _("The mean, %(mean)s, is under the lowest piece, %(lowest)s.")
            % {"mean": show_height(mean_mm, units), "lowest": show_height(lowest_mm, units)},
            _("Look whether the two are in each other's field."),
            field="mean",
        )
    return mean_mm


def spread_mm(heights: Heights, tool_type: ToolType, pieces: int) -> float:
    """How far the pieces differ, mm: highest less lowest; of lowest and mean alone the least that it can be.

    pieces: how many the set has, one or more. With the mean M of n pieces and the lowest L the highest is at least
    L + n/(n-1) (M-L).
    """
    inside = inside_mm(heights, tool_type)
    if heights.mean is None or len(inside) > 1 or pieces < 2:
        return max(inside) - min(inside)
    off = tool_type.backing_mm if heights.with_backing else 0.0
    return (heights.mean.si - off - inside[0]) * pieces / (pieces - 1)


def check_not_risen(state: SetState, lowest_mm: float, person: Person, *, sure: bool, field: str = "height") -> None:
    """Ask about a height above the last one read: abrasive does not grow.

    lowest_mm: without backing. What is within three reading errors is no rise. Raises HeightDoubted.
    """
    before = state.lowest_height_mm
    if sure or before is None or lowest_mm <= before + HEIGHT_RISE_MM:
        return
    units: Any = person.units
    raise HeightDoubted(
        _("%(now)s is higher than %(before)s, which was read last. Is it right?")
        % {"now": show_height(lowest_mm, units), "before": show_height(before, units)},
        _("Measure again; look whether it is this set, and whether its pieces were changed."),
        field=field,
    )


def check_not_fallen(
    state: SetState,
    tool_type: ToolType,
    lowest_mm: float,
    person: Person,
    *,
    sure: bool,
    field: str = "height",
    taken_mm: float = 0.0,
) -> None:
    """Ask about a height that fell without work to fall by: something was not logged, or it is not this set's.

    lowest_mm: without backing; taken_mm: what may have been taken off it since otherwise. Raises HeightDoubted.
    """
    if sure or not falls_without_work(tool_type, state.wear, lowest_mm + taken_mm):
        return
    units: Any = person.units
    before = state.lowest_height_mm if state.lowest_height_mm is not None else tool_type.new_height_mm
    if before is None:
        return
    raise HeightDoubted(
        _("%(now)s after %(before)s: the work logged since cannot have worn so much. Is it right?")
        % {"now": show_height(lowest_mm, units), "before": show_height(before, units)},
        _(
            "Measure again; look whether it is this set. If it is right, log the work that is missing: "
            "until then the wear counts from this height."
        ),
        field=field,
    )


def aside_line(tool_set: ToolSet, differ_mm: float, limit_mm: float, person: Person) -> NewLine:
    """The line that sets a set aside because its pieces differ too much."""
    units: Any = person.units
    why = _("pieces differ by %(spread)s, more than %(limit)s") % {
        "spread": show_height(differ_mm, units),
        "limit": show_height(limit_mm, units),
    }
    return NewLine("set_aside", tool_set, None, {"why": why})


def spread_limit(branch: Branch, now: datetime) -> float:
    """The spread of heights, mm, above which the shop sets a set aside."""
    limit: float = settings_of(branch, today=now.astimezone(zone_of(branch)).date())["height_spread_mm"]
    return limit


def piece_rows(heights: Heights, tool_set: ToolSet) -> tuple[NewPiece, ...]:
    """Each piece with its height, where each was measured; nothing where only the lowest was."""
    inside = inside_mm(heights, tool_set.tool_type)
    if len(inside) < 2:
        return ()
    return tuple(NewPiece(number, height, tool_set, tool_set) for number, height in enumerate(inside, start=1))


def measure(who: Who, branch: Branch, tool_set: ToolSet, heights: Heights, *, now: datetime) -> Recorded:
    """Keep a set's heights; pieces that differ by more than the shop's limit set it aside in the same act.

    Raises HeightRefused; HeightDoubted for what is unlikely or has risen and was not said to be right.
    """
    person, tool_type = who.entered_by or who.done_by, tool_set.tool_type
    with transaction.atomic():
        state = lock_states([tool_set])[tool_set.pk]
        if (known := already(who.act_id)) is not None:
            return known
        pieces = pieces_of(state, tool_type)
        columns = height_columns(heights, tool_type, person, pieces=pieces)
        check_not_risen(state, columns["lowest_height_mm"], person, sure=heights.sure)
        check_not_fallen(state, tool_type, columns["lowest_height_mm"], person, sure=heights.sure)
        lines = [NewLine("measured", tool_set, None, columns, pieces=piece_rows(heights, tool_set))]
        differ, limit = spread_mm(heights, tool_type, pieces), spread_limit(branch, now)
        if differ > limit and state.fitness == "usable":
            lines.append(aside_line(tool_set, differ, limit, person))
        return record(who, branch, lines, now=now)
