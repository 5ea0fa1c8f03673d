"""One lead, machine or set on two shifts at once: what a plan does not say by itself; constant queries."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db.models import F

from inventory.models import Branch, Recipe
from inventory.models.choices import SoakNeed
from jobs.models import PlanShift, Reservation, Standing
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


@dataclass(frozen=True)
class Wanted:
    """A shift of another job that a set is meant for. soak: not at that time, but too near to soak the set between."""

    job: str
    shift: PlanShift
    soak: bool = False


def wanted_elsewhere(branch: Branch, but: Iterable[UUID], since: datetime, until: datetime) -> dict[UUID, list[Wanted]]:
    """The shifts of other jobs than ``but``, won or bid, that run in this time, by the set meant for them, by start.

    A reservation holds for every shift of its job from its first to its last. Two queries.
    """
    rows = list(
        Reservation.objects.filter(job__branch=branch, ended_at__isnull=True)
        .exclude(job_id__in=list(but))
        .select_related("job")
        .order_by("made_at")
    )
    shifts = PlanShift.objects.filter(
        plan__job__in={row.job_id for row in rows},
        plan__standing__in=(Standing.WON, Standing.BID),
        plan__number=F("plan__job__plan_number"),
    )
    by_job: dict[UUID, list[PlanShift]] = {}
    for shift in shifts.select_related("plan").order_by("starts_at", "pk"):
        by_job.setdefault(shift.plan.job_id, []).append(shift)
    found: dict[UUID, list[Wanted]] = {}
    for row in rows:
        mine = by_job.get(row.job_id, [])
        starts = {shift.key: shift.starts_at for shift in mine}
        if row.from_shift not in starts:
            continue
        first, last = starts[row.from_shift], starts.get(row.to_shift, starts[row.from_shift])
        for shift in mine:
            if first <= shift.starts_at <= last and shift.starts_at < until and shift.ends_at > since:
                found.setdefault(row.tool_set_id, []).append(Wanted(row.job.name, shift))
    return {key: sorted(wanted, key=lambda one: one.shift.starts_at) for key, wanted in found.items()}


def soak_turns(type_ids: Iterable[int], day: date) -> dict[int, timedelta]:
    """How long a set of these types lies in water before it may leave again, by type; one query.

    The shorter way of the recipe that holds on the day; types that need no soaking are not in it.
    """
    rows = Recipe.objects.filter(
        tool_type_id__in=list(type_ids), tool_type__soak_need=SoakNeed.REQUIRED, valid_from__lte=day
    )
    return {
        row.tool_type_id: timedelta(hours=min(row.cold_hours, row.hot_hours or row.cold_hours))
        for row in rows.order_by("valid_from", "recorded_at", "pk")
    }


def set_clash(
    wanted: Iterable[Wanted], leaves_at: datetime, ends_at: datetime, *, loading: timedelta, turn: timedelta
) -> Wanted | None:
    """Of the shifts a set is meant for, the first that runs while it would be out, else the first too near to soak it.

    The set is out from leaves_at to ends_at; a shift's sets leave ``loading`` before it starts; turn: see soak_turns.
    """
    near = None
    for one in wanted:
        theirs = one.shift.starts_at - loading
        if theirs < ends_at and leaves_at < one.shift.ends_at:
            return one
        between = max(theirs - ends_at, leaves_at - one.shift.ends_at)
        if near is None and between < turn:
            near = replace(one, soak=True)
    return near


def _at_once(one: PlanShift, other: PlanShift) -> bool:
    return one.starts_at < other.ends_at and other.starts_at < one.ends_at
