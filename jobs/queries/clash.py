"""One lead or one machine on two shifts at once: what a plan does not say by itself; constant queries."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.db.models import F

from inventory.models import Branch
from jobs.models import PlanShift, Standing
from jobs.queries.plan import Night


@dataclass(frozen=True)
class Clash:
    """A person or machine (who) that is on another job's shift at the same time."""

    who: str
    other: PlanShift


def clashes_of(branch: Branch, nights: Iterable[Night]) -> dict[UUID, list[Clash]]:
    """The clashes of these shifts with shifts of other jobs, won or bid, by the shift's key; two queries.

    Shifts that only touch (one ends when the other starts) do not clash.
    """
    mine = list(nights)
    if not mine:
        return {}
    others = list(
        PlanShift.objects.filter(
            plan__job__branch=branch,
            plan__standing__in=(Standing.WON, Standing.BID),
            plan__number=F("plan__job__plan_number"),
            starts_at__lt=max(night.shift.ends_at for night in mine),
            ends_at__gt=min(night.shift.starts_at for night in mine),
        )
        .select_related("plan__job", "lead")
        .prefetch_related("machine_rows__machine")
        .order_by("starts_at", "pk")
    )
    found: dict[UUID, list[Clash]] = {}
    for night in mine:
        shift = night.shift
        machines = {row.machine_id: row.machine.name for row in shift.machine_rows.all()}
        for other in others:
            if other.plan.job_id == night.job.pk or not _at_once(shift, other):
                continue
            names = [shift.lead.name] if shift.lead is not None and shift.lead_id == other.lead_id else []
            names += [machines[row.machine_id] for row in other.machine_rows.all() if row.machine_id in machines]
            found.setdefault(shift.key, []).extend(Clash(name, other) for name in names)
    return {key: clashes for key, clashes in found.items() if clashes}


def _at_once(one: PlanShift, other: PlanShift) -> bool:
    return one.starts_at < other.ends_at and other.starts_at < one.ends_at
