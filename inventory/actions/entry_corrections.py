"""Saying one's own entry anew: how large the area was, how high the set. The old one is voided, named and kept."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from inventory.actions.corrections import VoidRefused, replace_entry
from inventory.actions.ledger import NewLine, Recorded, Who
from inventory.actions.measure import Heights, height_columns
from inventory.actions.work import WorkAsked, WorkRefused
from inventory.ledger import kinds
from inventory.models import Branch, Entry
from inventory.models.choices import Basis, Kind
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
    columns = _kept(entry) | {
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
    columns = height_columns(heights, entry.tool_set.tool_type, who.entered_by or who.done_by)
    line = NewLine("measured", entry.tool_set, None, columns)
    return replace_entry(who, branch, entry, [line], why, now=now, shift_closed=shift_closed)


def _kept(entry: Entry) -> dict[str, Any]:
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
