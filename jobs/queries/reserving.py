"""The rows a reservation of all planned work stands on: loads ahead with what is meant for them; sets that can work."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import F, Q

from inventory.models import Branch, SetState
from inventory.models.choices import Fitness, PlaceKind
from inventory.shop_settings import ShopSettings
from jobs.models import Job, JobPlan, PlanShift, PlanStep, Reservation, ShiftOuting, Standing
from jobs.queries.plan import Night, current_plans, nights_of, shifts_of_step
from jobs.queries.shift import NIGHTS_APART, closed_shifts, logged_on, outings_for
from jobs.queries.tonight import leaves_at_of
from jobs.queries.uses import asked_of, open_reservations, steps_by_type

PLANNED = (Standing.WON, Standing.BID)


@dataclass(frozen=True)
class LoadAhead:
    """The steps of one tool type of a job over nights that follow each other: what one set, or two, runs through.

    key: of its first step. nights: those still to come. reference_m2, worked_m2: as planned less what is logged.
    rows: reservations that hold for its steps, first before second. out: sets of the type that are out with the job.
    """

    key: UUID
    plan: JobPlan
    steps: tuple[PlanStep, ...]
    nights: tuple[Night, ...]
    leaves_at: datetime
    reference_m2: float
    worked_m2: float
    rows: tuple[Reservation, ...]
    out: tuple[UUID, ...] = ()

    @property
    def job(self) -> Job:
        """Its job."""
        return self.plan.job

    @property
    def type_id(self) -> int:
        """The tool type it asks for."""
        return self.steps[0].tool_type_id

    @property
    def ends_at(self) -> datetime:
        """The end of its last night."""
        return self.nights[-1].shift.ends_at

    @property
    def factor(self) -> float:
        """Reference area by worked area."""
        return self.reference_m2 / self.worked_m2 if self.worked_m2 else 1.0

    @property
    def weight(self) -> float:
        """How much it counts: 1 once the job is won, the award chance before (our assumption)."""
        return 1.0 if self.plan.standing == Standing.WON else self.plan.award_chance

    def span_of(self, step: PlanStep) -> tuple[UUID, UUID]:
        """The first and the last shift that the plan means a step for."""
        shifts = shifts_of_step(self.plan, step)
        return shifts[0].key, shifts[-1].key


@dataclass(frozen=True)
class LoadsAhead:
    """All of them, the soonest first; without_night: names of jobs with steps that have no shift yet."""

    loads: tuple[LoadAhead, ...]
    without_night: tuple[str, ...]


@dataclass(frozen=True)
class _Unit:
    """Nights that share a step, and what they ask of a tool type."""

    nights: tuple[Night, ...]
    steps: tuple[PlanStep, ...]
    reference_m2: float
    worked_m2: float


def loads_ahead(
    branch: Branch, settings: ShopSettings, new_capacity: Mapping[int, float], now: datetime, ahead: timedelta
) -> LoadsAhead:
    """The loads of shifts to come of jobs won and of bids with a chance; a constant number of queries.

    new_capacity: reference m2 that a new set surely does, by tool type. Nights of a job follow each other on one load
    while no more lies between them than an outing spans, one new set surely does them, and nobody means other sets for
    them (our assumption); what one night asks stays together, however much it is.
    """
    coming = PlanShift.objects.filter(
        Q(plan__award_chance__gt=0) | Q(plan__standing=Standing.WON),
        plan__job__branch=branch,
        plan__standing__in=PLANNED,
        plan__number=F("plan__job__plan_number"),
        ends_at__gt=now,
        starts_at__lt=now + ahead,
    )
    jobs = set(coming.values_list("plan__job_id", flat=True))
    bare = PlanStep.objects.filter(
        plan__job__branch=branch,
        plan__standing__in=PLANNED,
        plan__number=F("plan__job__plan_number"),
        plan__starts_on__gte=now.date() - timedelta(days=28),
        plan__starts_on__lt=(now + ahead).date(),
        plan__shifts__isnull=True,
    )
    without = tuple(sorted(set(bare.values_list("plan__job__name", flat=True))))
    plans = current_plans(branch, standings=PLANNED, jobs=jobs)
    nights = [night for plan in plans for night in nights_of(plan)]
    keys = [night.shift.key for night in nights]
    reserved, logged, closed = open_reservations(jobs), logged_on(keys), closed_shifts(keys)
    open_nights = [n for n in nights if n.shift.ends_at > now and n.shift.key not in closed]
    outings = outings_for(open_nights, now)
    out = _out_with(jobs)
    units: dict[tuple[UUID, int], list[_Unit]] = defaultdict(list)
    for night in open_nights:
        if night.shift.starts_at >= now + ahead:
            continue
        for steps in steps_by_type(night):
            asked = asked_of(settings, night, steps, logged)
            if asked.done or asked.reference_m2 <= 0:
                continue
            _add(units[night.job.pk, steps[0].tool_type_id], night, steps, asked.reference_m2, asked.worked_m2)
    loads: list[LoadAhead] = []
    for (job_id, type_id), some in units.items():
        groups = _grouped(some, new_capacity.get(type_id, 0.0), reserved)
        leaves = [min(leaves_at_of(n, outings, settings) for u in group for n in u.nights) for group in groups]
        mine = [_load(group, reserved, at) for group, at in zip(groups, leaves, strict=True)]
        loads += _with_out(mine, out.get((job_id, type_id), []))
    return LoadsAhead(tuple(sorted(loads, key=lambda one: (one.leaves_at, one.job.name, one.type_id))), without)


def _add(units: list[_Unit], night: Night, steps: Sequence[PlanStep], reference: float, worked: float) -> None:
    last = units[-1] if units else None
    if last is not None and {step.key for step in last.steps} & {step.key for step in steps}:
        units.pop()
        both = {step.key: step for step in (*last.steps, *steps)}
        units.append(
            _Unit((*last.nights, night), tuple(both.values()), last.reference_m2 + reference, last.worked_m2 + worked)
        )
    else:
        units.append(_Unit((night,), tuple(steps), reference, worked))


def _grouped(
    units: Iterable[_Unit], capacity_m2: float, reserved: Mapping[UUID, list[Reservation]]
) -> list[list[_Unit]]:
    groups: list[list[_Unit]] = []
    for unit in units:
        last = groups[-1] if groups else None
        if last is not None:
            near = unit.nights[0].shift.starts_at - last[-1].nights[-1].shift.ends_at <= NIGHTS_APART
            one_does = sum(one.reference_m2 for one in (*last, unit)) <= capacity_m2
            meant = [_first_meant(one, reserved) for one in (*last, unit)]
            alike = len({some for some in meant if some}) <= 1
            if near and one_does and alike:
                last.append(unit)
                continue
        groups.append([unit])
    return groups


def _first_meant(unit: _Unit, reserved: Mapping[UUID, list[Reservation]]) -> UUID | None:
    rows = [row for step in unit.steps for row in reserved.get(step.key, [])]
    return next((row.tool_set_id for row in rows if row.order == 1), None)


def _load(group: Sequence[_Unit], reserved: Mapping[UUID, list[Reservation]], leaves_at: datetime) -> LoadAhead:
    nights = tuple(night for unit in group for night in unit.nights)
    steps = tuple({step.key: step for unit in group for step in unit.steps}.values())
    rows = [row for step in steps for row in reserved.get(step.key, [])]
    return LoadAhead(
        steps[0].key,
        nights[0].plan,
        steps,
        nights,
        leaves_at,
        sum(unit.reference_m2 for unit in group),
        sum(unit.worked_m2 for unit in group),
        tuple(sorted(rows, key=lambda row: row.order)),
    )


def _with_out(loads: Sequence[LoadAhead], out: Sequence[UUID]) -> list[LoadAhead]:
    """What is out with the job works on the load it is meant for, else on the first one; two at most on each."""
    meant = {row.tool_set_id for load in loads for row in load.rows}
    found = []
    for number, load in enumerate(loads):
        mine = list(dict.fromkeys(row.tool_set_id for row in load.rows if row.tool_set_id in out))
        mine += [pk for pk in out if pk not in meant and number == 0]
        found.append(replace(load, out=tuple(mine[:2])))
    return found


def _out_with(jobs: Collection[UUID]) -> dict[tuple[UUID, int], list[UUID]]:
    """The sets that are out with these jobs, by job and tool type; two queries."""
    rows = dict(ShiftOuting.objects.filter(job_id__in=list(jobs)).values_list("outing_id", "job_id"))
    states = SetState.objects.filter(outing_id__in=list(rows), main_id=F("tool_set_id"), fitness=Fitness.USABLE)
    found: dict[tuple[UUID, int], list[UUID]] = defaultdict(list)
    for pk, outing_id, type_id in states.order_by("code", "pk").values_list(
        "pk", "outing_id", "tool_set__tool_type_id"
    ):
        found[rows[outing_id], type_id].append(pk)
    return found


def sets_that_can_work(branch: Branch, type_ids: Iterable[int]) -> list[SetState]:
    """The sets of these types that are usable and not missing, whatever they are doing now; one query."""
    return list(
        SetState.objects.filter(
            branch=branch,
            main_id=F("tool_set_id"),
            tool_set__tool_type_id__in=list(type_ids),
            fitness=Fitness.USABLE,
        )
        .exclude(opening="")
        .exclude(place__kind__in=(PlaceKind.UNKNOWN, PlaceKind.SUPPLIER))
        .select_related("tool_set__tool_type", "place", "outing__van", "holder_person")
        .order_by("code", "pk")
    )


def called_off(branch: Branch) -> set[UUID]:
    """The sets that were meant for jobs when these were cancelled or lost; one query."""
    rows = Reservation.objects.filter(
        Q(ended_at__isnull=True) | Q(ended_at__gte=F("job__plans__recorded_at")),
        job__branch=branch,
        job__plans__number=F("job__plan_number"),
        job__plans__standing__in=(Standing.CANCELLED, Standing.LOST),
    )
    return set(rows.values_list("tool_set_id", flat=True))
