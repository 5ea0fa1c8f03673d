"""One act with lines about sets and rows about a shift."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.ledger import NewLine, Recorded, SameKeyOtherContent, Who, already, lock_states, record
from inventory.models import Branch
from jobs.models import ShiftEntry


def record_shift(
    who: Who, branch: Branch, lines: Sequence[NewLine], rows: Sequence[ShiftEntry], *, now: datetime
) -> Recorded:
    """Write one act with lines about sets and rows about the shift. The same act again changes nothing.

    Raises SameKeyOtherContent when the act's key holds other rows.
    """
    with transaction.atomic():
        lock_states([line.tool_set for line in lines if line.tool_set is not None])
        known = already(who.act_id)
        if known is not None:
            if _said(known.act.shift_entries.order_by("line_no")) != _said(rows):
                raise SameKeyOtherContent(
                    _("This was sent before with another content."), _("What came now is kept for the shop manager.")
                )
            return known
        recorded = record(who, branch, lines, now=now)
        for number, row in enumerate(rows, start=1):
            row.act, row.line_no = recorded.act, number
        ShiftEntry.objects.bulk_create(rows)
        return recorded


def _said(rows: Any) -> list[tuple[Any, ...]]:
    return [
        (
            str(row.kind),
            row.job_id,
            row.shift_uuid,
            row.step_key,
            row.floor_uuid,
            row.left_how,
            row.reading,
            row.void_target,
        )
        for row in rows
    ]
