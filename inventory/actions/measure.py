"""Measure a set: heights as entered, judged against its type."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.ledger import NewLine, Recorded, Who, already, lock_states, record
from inventory.heights import Heights
from inventory.models import Branch, Person, ToolSet, ToolType
from inventory.refusals import Refused
from inventory.shop_settings import settings_of
from inventory.times import zone_of
from inventory.units import judge_height, show_height

__all__ = ["HeightDoubted", "HeightRefused", "Heights", "height_columns", "measure"]


class HeightRefused(Refused):
    """The height cannot be."""

    code = "height"


class HeightDoubted(Refused):
    """The height is unlikely: correct it, or say that it is right."""

    code = "height_doubted"


def height_columns(heights: Heights, tool_type: ToolType, person: Person) -> dict[str, Any]:
    """The ledger's columns for these heights, in mm without the backing.

    Raises HeightRefused for what cannot be, HeightDoubted for what is unlikely and not said to be right.
    """
    if not heights.pieces:
        raise HeightRefused(_("No height was typed."), _("Type the lowest piece's height."), field="height")
    off = tool_type.backing_mm if heights.with_backing else 0.0
    inside = [amount.si - off for amount in heights.pieces]
    for height_mm in inside:
        judged = judge_height(
            height_mm,
            person.units,  # type: ignore[arg-type]
            new_height_mm=tool_type.new_height_mm,
            retire_height_mm=tool_type.retire_height_mm,
            backing_mm=tool_type.backing_mm or None,
        )
        if judged.answer == "refuse":
            raise HeightRefused(judged.sentence, field="height")
        if judged.answer == "ask" and not heights.sure:
            raise HeightDoubted(judged.sentence, field="height")
    lowest = min(range(len(inside)), key=inside.__getitem__)
    columns: dict[str, Any] = {
        "lowest_height_mm": round(inside[lowest], 4),
        "with_backing": heights.with_backing,
        "amount_value": str(heights.pieces[lowest].value)[:24],
        "amount_unit": heights.pieces[lowest].unit,
    }
    if len(inside) > 1:
        columns["mean_height_mm"] = round(sum(inside) / len(inside), 4)
    return columns


def measure(who: Who, branch: Branch, tool_set: ToolSet, heights: Heights, *, now: datetime) -> Recorded:
    """Keep a set's heights; pieces that differ by more than the shop's limit set it aside in the same act.

    Raises HeightRefused, HeightDoubted.
    """
    person = who.entered_by or who.done_by
    columns = height_columns(heights, tool_set.tool_type, person)
    with transaction.atomic():
        states = lock_states([tool_set])
        if (known := already(who.act_id)) is not None:
            return known
        lines = [NewLine("measured", tool_set, None, columns)]
        values = [amount.si for amount in heights.pieces]
        limit = settings_of(branch, today=now.astimezone(zone_of(branch)).date())["height_spread_mm"]
        if max(values) - min(values) > limit and states[tool_set.pk].fitness == "usable":
            why = _("pieces differ by %(spread)s, more than %(limit)s") % {
                "spread": show_height(max(values) - min(values), person.units),  # type: ignore[arg-type]
                "limit": show_height(limit, person.units),  # type: ignore[arg-type]
            }
            lines.append(NewLine("set_aside", tool_set, None, {"why": why}))
        return record(who, branch, lines, now=now)
