"""What the plans say: the version that holds, now or as it was known then; who goes where tonight; a step's nights."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import F, OuterRef, Prefetch, QuerySet, Subquery

from inventory.models import Branch, Person
from jobs.models import Job, JobPlan, PlanShift, PlanShiftMachine, PlanStep, PlanZone, Standing

# Standings under which a shift is meant to take place.
GOING = (Standing.WON, Standing.DONE)


def current_plans(
    branch: Branch,
    known_by: datetime | None = None,
    *,
    standings: Iterable[str] | None = None,
    jobs: Iterable[UUID] | None = None,
) -> list[JobPlan]:
    """The version that holds of each job, whole: five queries for any number of jobs.

    known_by: as it was known at that instant (a version recorded later does not count). standings, jobs: only these.
    Each plan has job, job.site, zones with zone, steps with tool type, shifts with lead and machines prefetched; steps
    by ``order``, shifts by start.
    """
    plans = JobPlan.objects.filter(job__branch=branch)
    if known_by is None:
        plans = plans.filter(number=F("job__plan_number"))
    else:
        newest = JobPlan.objects.filter(job=OuterRef("job"), recorded_at__lte=known_by).order_by("-number")
        plans = plans.filter(pk=Subquery(newest.values("pk")[:1]))
    if standings is not None:
        plans = plans.filter(standing__in=list(standings))
    if jobs is not None:
        plans = plans.filter(job_id__in=list(jobs))
    return list(whole(plans).order_by("starts_on", "job__name"))


def whole(plans: QuerySet[JobPlan]) -> QuerySet[JobPlan]:
    """These versions with everything that belongs to them prefetched."""
    return plans.select_related("job__site__place", "job__branch", "recorded_by").prefetch_related(
        Prefetch("zones", PlanZone.objects.select_related("zone").order_by("zone__name", "pk")),
        Prefetch("steps", PlanStep.objects.select_related("tool_type").order_by("order", "pk")),
        Prefetch("shifts", PlanShift.objects.select_related("lead").order_by("starts_at", "pk")),
        Prefetch("shifts__machine_rows", PlanShiftMachine.objects.select_related("machine").order_by("machine__name")),
    )


def plan_of(job: Job, known_by: datetime | None = None, *, number: int | None = None) -> JobPlan | None:
    """The version of a job that holds (or held then, or has this number), whole; None before the first."""
    plans = JobPlan.objects.filter(job=job)
    if known_by is not None:
        plans = plans.filter(recorded_at__lte=known_by)
    if number is not None:
        plans = plans.filter(number=number)
    return whole(plans).order_by("-number").first()


def versions_of(job: Job) -> list[JobPlan]:
    """Every version of a job, the newest first, whole."""
    return list(whole(JobPlan.objects.filter(job=job)).order_by("-number"))


@dataclass(frozen=True)
class Night:
    """One shift of a job by the plan that holds: which of how many, and the steps meant for it."""

    plan: JobPlan
    shift: PlanShift
    number: int
    of: int
    steps: tuple[PlanStep, ...]

    @property
    def job(self) -> Job:
        """The job of the shift."""
        return self.plan.job


def nights_of(plan: JobPlan) -> list[Night]:
    """The shifts of a whole plan, in order, each with its steps."""
    shifts = list(plan.shifts.all())
    return [
        Night(plan, shift, number, len(shifts), tuple(steps_of(plan, shift)))
        for number, shift in enumerate(shifts, start=1)
    ]


def tonight(
    branch: Branch, since: datetime, until: datetime, *, lead: Person | None = None, known_by: datetime | None = None
) -> list[Night]:
    """The shifts that start from ``since`` on and before ``until``, of jobs won or done, by start."""
    starting = PlanShift.objects.filter(
        plan__job__branch=branch, starts_at__gte=since, starts_at__lt=until, plan__standing__in=GOING
    )
    if known_by is None:
        starting = starting.filter(plan__number=F("plan__job__plan_number"))
    if lead is not None:
        starting = starting.filter(lead=lead)
    jobs = set(starting.values_list("plan__job_id", flat=True))
    plans = current_plans(branch, known_by, standings=GOING, jobs=jobs)
    found = [
        night
        for plan in plans
        for night in nights_of(plan)
        if since <= night.shift.starts_at < until and (lead is None or night.shift.lead_id == lead.pk)
    ]
    return sorted(found, key=lambda night: (night.shift.starts_at, night.job.name))


def ended_nights(branch: Branch, since: datetime, until: datetime) -> list[Night]:
    """The shifts that ended after ``since`` and up to ``until``, of jobs won or done, by start."""
    ended = PlanShift.objects.filter(
        plan__job__branch=branch,
        ends_at__gt=since,
        ends_at__lte=until,
        plan__standing__in=GOING,
        plan__number=F("plan__job__plan_number"),
    )
    plans = current_plans(branch, standings=GOING, jobs=set(ended.values_list("plan__job_id", flat=True)))
    found = [night for plan in plans for night in nights_of(plan) if since < night.shift.ends_at <= until]
    return sorted(found, key=lambda night: (night.shift.starts_at, night.job.name))


def night_of(job: Job, shift_key: UUID) -> Night | None:
    """The shift of this key by the plan that holds, or None when the plan has it no more."""
    plan = plan_of(job)
    return None if plan is None else next((n for n in nights_of(plan) if n.shift.key == shift_key), None)


def shifts_of_step(plan: JobPlan, step: PlanStep) -> list[PlanShift]:
    """The shifts a step is meant for: the one it names; steps that name none are spread over the shifts in order.

    Of n such steps and m shifts step k gets the shifts from k·m/n up to (k+1)·m/n, at least one (our assumption: steps
    take about the same time).
    """
    shifts = list(plan.shifts.all())
    if not shifts:
        return []
    named = [shift for shift in shifts if shift.key == step.shift_key]
    if named:
        return named
    loose = _loose_steps(plan)
    number, count = loose.index(step.key), len(loose)
    first = number * len(shifts) // count
    after = max(first + 1, (number + 1) * len(shifts) // count)
    return shifts[first:after]


def _loose_steps(plan: JobPlan) -> list[UUID]:
    """Keys of the steps without a shift of their own, coarse to fine over all floors."""
    keys = {shift.key for shift in plan.shifts.all()}
    loose = [step for step in plan.steps.all() if step.shift_key not in keys]
    return [step.key for step in sorted(loose, key=lambda step: (step.tool_type.ladder_place, step.order, step.pk))]


def steps_of(plan: JobPlan, shift: PlanShift) -> list[PlanStep]:
    """The steps meant for a shift, in the order they are run."""
    return [step for step in plan.steps.all() if any(one.key == shift.key for one in shifts_of_step(plan, step))]


def share_of_step(plan: JobPlan, step: PlanStep) -> float:
    """The share of a step's floor that is planned for one of its shifts: 1 over their number."""
    return 1.0 / max(1, len(shifts_of_step(plan, step)))


def zone_of_step(plan: JobPlan, step: PlanStep) -> PlanZone | None:
    """The planned floor a step is for."""
    return next((zone for zone in plan.zones.all() if zone.key == step.zone_key), None)
