"""Rows of the plan's form before they are forms: those that show a draft, one more or one less, a proposed ladder."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from inventory.models import Branch, ToolType
from inventory.models.choices import StepKind, WetDry
from inventory.rights import Right
from inventory.times import zone_of
from jobs.forms.plan import Rows
from jobs.models import PlanShift
from jobs.plan_draft import PlanDraft

# Passes proposed for a ladder: first step 6 to 8, later ones about 5 (common practice).
FIRST_PASSES, LATER_PASSES = 7, 5
# A night shift, for a shop that never planned one (our assumption).
FIRST_HOURS = {"starts": "20:00", "ends": "04:00"}


def rows_of(draft: PlanDraft, zone: ZoneInfo) -> dict[str, Rows]:
    """The rows that show a draft."""
    zone_of_key = {row.filled().key: row.zone.pk for row in draft.zones}
    return {
        "zones": [
            {
                "key": row.key,
                "zone": row.zone.pk,
                "area_m2": row.area_m2,
                "edge_m": row.edge_m,
                "hardness": row.hardness or "",
                "surface": row.surface or "",
                "coating": row.coating or "",
                "condition": row.condition or "",
            }
            for row in draft.zones
        ],
        "steps": [
            {
                "key": row.key,
                "zone": zone_of_key.get(row.zone_key),
                "tool_type": row.tool_type.pk,
                "passes": row.passes,
                "step_kind": row.step_kind,
                "wet_dry": row.wet_dry,
                "shift": str(row.shift_key or ""),
            }
            for row in draft.steps
        ],
        "shifts": [
            {
                "key": row.key,
                "day": f"{row.starts_at.astimezone(zone):%Y-%m-%d}",
                "starts": f"{row.starts_at.astimezone(zone):%H:%M}",
                "ends": f"{row.ends_at.astimezone(zone):%H:%M}",
                "lead": row.lead.pk if row.lead else None,
                "machines": [one.pk for one in row.machines],
            }
            for row in draft.shifts
        ],
    }


def usual_shift(branch: Branch) -> dict[str, Any]:
    """Hours, lead and machines of the shift planned last, for the next one; a night for a shop without any."""
    last = (
        PlanShift.objects.filter(plan__job__branch=branch)
        .select_related("lead")
        .prefetch_related("machine_rows__machine")
        .order_by("-plan__recorded_at", "-starts_at", "-pk")
        .first()
    )
    if last is None:
        return dict(FIRST_HOURS)
    zone = zone_of(branch)
    return {
        "starts": f"{last.starts_at.astimezone(zone):%H:%M}",
        "ends": f"{last.ends_at.astimezone(zone):%H:%M}",
        "lead": last.lead_id if last.lead and last.lead.is_active and last.lead.can(Right.LOG_WORK) else None,
        "machines": [row.machine_id for row in last.machine_rows.all() if row.machine.active],
    }


def add_row(
    rows: dict[str, Rows], prefix: str, *, starts_on: str = "", usual: Mapping[str, Any] | None = None
) -> dict[str, Rows]:
    """One more row; a shift follows the last one by a day, at its hours, with its lead and machines.

    starts_on: the day the job starts, for the first shift; usual: hours, lead and machines where no row says them.
    """
    new: dict[str, Any] = {"key": uuid4() if prefix != "zones" else ""}
    last = rows[prefix][-1] if rows[prefix] else {}
    if prefix == "shifts":
        usual = usual or FIRST_HOURS
        new |= {name: last.get(name) or usual.get(name) for name in ("starts", "ends", "lead", "machines")}
        try:
            day, later = (last["day"], 1) if last.get("day") else (starts_on, 0)
            at = datetime.strptime(str(day), "%Y-%m-%d") + timedelta(days=later)  # noqa: DTZ007  # a day, no instant
            new["day"] = f"{at:%Y-%m-%d}"
        except (ValueError, OverflowError):  # not a day, or no day follows it
            pass
    if prefix == "steps":
        new |= {"zone": last.get("zone"), "passes": LATER_PASSES, "step_kind": StepKind.LATER, "wet_dry": WetDry.WET}
    return {**rows, prefix: [*rows[prefix], new]}


def drop_row(rows: dict[str, Rows], prefix: str, number: int) -> dict[str, Rows]:
    """One row less; steps that named the shift go by turn again."""
    gone = rows[prefix][number : number + 1]
    kept = {**rows, prefix: [row for place, row in enumerate(rows[prefix]) if place != number]}
    if prefix == "shifts" and gone:
        key = str(gone[0].get("key"))
        kept["steps"] = [
            {**row, "shift": "" if str(row.get("shift")) == key else row.get("shift")} for row in rows["steps"]
        ]
    return kept


def propose_ladder(rows: dict[str, Rows], tool_types: Sequence[ToolType], first: str, last: str) -> dict[str, Rows]:
    """Rows for the shop's ladder on every floor without steps: from the first tool type to the last, coarse to fine.

    7 passes for the first step, 5 for later ones (common practice: 6 to 8, then about 5).
    """
    ids = [str(one.pk) for one in tool_types]
    begin = ids.index(first) if first in ids else 0
    end = ids.index(last) + 1 if last in ids else len(ids)
    with_steps = {str(row.get("zone")) for row in rows["steps"]}
    steps = [row for row in rows["steps"] if row.get("zone") and row.get("tool_type")]
    for floor in (row for row in rows["zones"] if row.get("zone") and str(row["zone"]) not in with_steps):
        for number, tool_type in enumerate(tool_types[begin:end]):
            wet_dry = WetDry.WET if tool_type.wet_dry == WetDry.EITHER else tool_type.wet_dry
            steps.append(
                {
                    "key": uuid4(),
                    "zone": floor["zone"],
                    "tool_type": tool_type.pk,
                    "passes": FIRST_PASSES if number == 0 else LATER_PASSES,
                    "step_kind": StepKind.FIRST_CUT if number == 0 else StepKind.LATER,
                    "wet_dry": wet_dry,
                    "shift": "",
                }
            )
    return {**rows, "steps": steps}
