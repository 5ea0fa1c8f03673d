"""What the plans ask of sets and outings: the answers `inventory` gets through its hooks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import F, Q
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.hooks import Found, NextUse, PlannedUse
from inventory.models import Branch, Outing
from inventory.shop_settings import ShopSettings, floor_factor, settings_of
from inventory.times import show_day, show_time, zone_of
from jobs.models import JobPlan, PlanStep, PlanZone, Reservation, ShiftOuting, Site, Standing
from jobs.queries.clash import wanted_elsewhere
from jobs.queries.plan import Night, current_plans, nights_of, share_of_step, zone_of_step
from jobs.queries.shift import logged_on, outings_of

# What is left of a step below this share of it is rounding between units: the step is done (our assumption).
ROUNDING = 0.005


def factor_of(settings: ShopSettings, step: PlanStep, zone: PlanZone) -> float:
    """The floor factor of a step on its zone; "either" counts as wet."""
    wet_dry = "wet" if step.wet_dry == "either" else step.wet_dry
    return floor_factor(settings, zone.hardness, zone.surface, wet_dry, step.step_kind)


def reference_of(settings: ShopSettings, plan: JobPlan, step: PlanStep, zone: PlanZone) -> float:
    """Reference area, m2, that a step asks of its sets on one of its shifts: floor x passes x floor factor x share."""
    return zone.area_m2 * step.passes * share_of_step(plan, step) * factor_of(settings, step, zone)


@dataclass(frozen=True)
class Asked:
    """What steps of a shift ask of their sets, as planned less what is logged: worked area and reference area, m2.

    floor_factor: of the steps as planned, which is what is left to say of them once all is logged.
    """

    worked_m2: float
    reference_m2: float
    planned_m2: float
    floor_factor: float = 1.0

    @property
    def factor(self) -> float:
        """Reference area by worked area: the floors' factor, the mean over the steps, also when they are done."""
        return self.reference_m2 / self.worked_m2 if self.worked_m2 else self.floor_factor

    @property
    def done(self) -> bool:
        """Whether all of it is logged, but for rounding."""
        return self.worked_m2 <= ROUNDING * self.planned_m2


def steps_by_type(night: Night) -> list[list[PlanStep]]:
    """The steps of a shift that have a floor, those of one tool type together: floors of a job share the set."""
    found: dict[int, list[PlanStep]] = {}
    for step in night.steps:
        if zone_of_step(night.plan, step) is not None:
            found.setdefault(step.tool_type_id, []).append(step)
    return list(found.values())


def asked_of(
    settings: ShopSettings, night: Night, steps: Sequence[PlanStep], logged: Mapping[tuple[UUID, UUID], float]
) -> Asked:
    """What these steps still ask on a shift. logged: worked area, m2, by (shift, step), see ``logged_on``."""
    worked = reference = planned = planned_reference = 0.0
    for step in steps:
        zone = zone_of_step(night.plan, step)
        whole = zone.area_m2 * step.passes * share_of_step(night.plan, step) if zone is not None else 0.0
        if zone is None or whole <= 0:
            continue
        left = max(0.0, whole - logged.get((night.shift.key, step.key), 0.0))
        left = 0.0 if left <= ROUNDING * whole else left
        planned, worked = planned + whole, worked + left
        asks = reference_of(settings, night.plan, step, zone)
        planned_reference, reference = planned_reference + asks, reference + asks * left / whole
    return Asked(worked, reference, planned, planned_reference / planned if planned else 1.0)


def step_starts_at(night: Night, step: PlanStep) -> datetime:
    """When a step of a shift is planned to start: the shift's time shared out over its steps by area x passes."""
    weights = []
    for one in night.steps:
        zone = zone_of_step(night.plan, one)
        weights.append((zone.area_m2 if zone else 0.0) * one.passes)
    total = sum(weights)
    before = sum(weight for one, weight in zip(night.steps, weights, strict=True) if one.order < step.order)
    share = before / total if total else 0.0
    return night.shift.starts_at + (night.shift.ends_at - night.shift.starts_at) * share


def open_reservations(jobs: Iterable[UUID]) -> dict[UUID, list[Reservation]]:
    """Reservations that hold, by step key, first before second; one query."""
    found: dict[UUID, list[Reservation]] = {}
    rows = Reservation.objects.filter(job_id__in=list(jobs), ended_at__isnull=True)
    for row in rows.select_related("tool_set__tool_type", "tool_set__state").order_by("order", "made_at"):
        found.setdefault(row.step_key, []).append(row)
    return found


def spoken_for(branch: Branch, but: Iterable[UUID], since: datetime, until: datetime) -> dict[UUID, str]:
    """The sets that other jobs than ``but`` want on a shift in this time, with the job's name; two queries."""
    return {set_id: wanted[0].job for set_id, wanted in wanted_elsewhere(branch, but, since, until).items()}


def plan_of_outing(outing_id: UUID) -> list[PlannedUse]:
    """What the shifts of an outing ask for, coarse to fine; a constant number of queries.

    Steps of one tool type on a shift are one use: they share the set, and the set must do all of them.
    """
    outing = Outing.objects.select_related("branch").filter(pk=outing_id).first()
    rows = {row.shift_uuid: row.job_id for row in ShiftOuting.objects.filter(outing_id=outing_id)}
    if outing is None or not rows:
        return []
    plans = current_plans(outing.branch, jobs=set(rows.values()))
    reserved = open_reservations(set(rows.values()))
    logged = logged_on(rows)
    settings = settings_of(outing.branch, today=outing.leaves_at.astimezone(zone_of(outing.branch)).date())
    found: list[PlannedUse] = []
    seen: set[UUID] = set()
    for night in (night for plan in plans for night in nights_of(plan) if night.shift.key in rows):
        groups = steps_by_type(night)
        for number, steps in enumerate(groups, start=1):
            if steps[0].key in seen:
                continue
            seen |= {step.key for step in steps}
            asked = asked_of(settings, night, steps, logged)
            sets = dict.fromkeys(row.tool_set_id for step in steps for row in reserved.get(step.key, []))
            found.append(
                PlannedUse(
                    step_key=str(steps[0].key),
                    shift_uuid=night.shift.key,
                    grit=steps[0].tool_type.grit,
                    ladder_place=steps[0].tool_type.ladder_place,
                    starts_at=min(step_starts_at(night, step) for step in steps),
                    reference_m2=asked.reference_m2,
                    factor=asked.factor,
                    sets=tuple(sets),
                    where=_("step %(n)s of %(of)s") % {"n": number, "of": len(groups)},
                )
            )
    return sorted(found, key=lambda use: (use.ladder_place, use.starts_at))


def next_uses(set_ids: Iterable[UUID], now: datetime) -> dict[UUID, NextUse]:
    """What each set is reserved for next, from running and coming shifts; a constant number of queries."""
    wanted = list(set_ids)
    rows = list(
        Reservation.objects.filter(tool_set_id__in=wanted, ended_at__isnull=True)
        .exclude(job__plans__isnull=True)
        .select_related("job__branch")
        .distinct()
    )
    if not rows:
        return {}
    branch = rows[0].job.branch
    plans = current_plans(branch, standings=(Standing.WON, Standing.BID), jobs={row.job_id for row in rows})
    nights = {night.shift.key: night for plan in plans for night in nights_of(plan)}
    outings, logged = outings_of(nights), logged_on(nights)
    pairs = [one for group in open_reservations({row.job_id for row in rows}).values() for one in group]
    settings = settings_of(branch, today=now.astimezone(zone_of(branch)).date())
    found: dict[UUID, NextUse] = {}
    for row in rows:
        for night in _nights_between(nights, row, now):
            use = _next_use(row, night, pairs, outings.get(night.shift.key), settings, branch, now, logged)
            known = found.get(row.tool_set_id)
            if use is not None and (known is None or use.starts_at < known.starts_at):
                found[row.tool_set_id] = use
            break
    return found


def _nights_between(nights: dict[UUID, Night], row: Reservation, now: datetime) -> list[Night]:
    first, last = nights.get(row.from_shift), nights.get(row.to_shift)
    if first is None:
        return []
    until = (last or first).shift.starts_at
    mine = [night for night in nights.values() if night.job.pk == row.job_id]
    return sorted(
        (n for n in mine if first.shift.starts_at <= n.shift.starts_at <= until and n.shift.ends_at > now),
        key=lambda night: night.shift.starts_at,
    )


def _next_use(
    row: Reservation,
    night: Night,
    rows: list[Reservation],
    outing: Outing | None,
    settings: ShopSettings,
    branch: Branch,
    now: datetime,
    logged: Mapping[tuple[UUID, UUID], float],
) -> NextUse | None:
    step = next((one for one in night.plan.steps.all() if one.key == row.step_key), None)
    zone = zone_of_step(night.plan, step) if step else None
    if step is None or zone is None:
        return None
    groups = steps_by_type(night)
    number, steps = next(
        ((n, group) for n, group in enumerate(groups, start=1) if step.key in {one.key for one in group}),
        (step.order, [step]),
    )
    keys, asked = {one.key for one in steps}, asked_of(settings, night, steps, logged)
    # A step of several nights is meant for all of them, whichever of them this is.
    starts_at = min(step_starts_at(night, one) for one in steps)
    local, today = night.shift.starts_at.astimezone(zone_of(branch)), now.astimezone(zone_of(branch)).date()
    day = _("tonight") if local.date() == today else show_day(local.date())
    companion = next(
        (one.tool_set_id for one in rows if one.step_key in keys and one.tool_set_id != row.tool_set_id), None
    )
    floors = [floor.zone.name for one in steps if (floor := zone_of_step(night.plan, one)) is not None]
    return NextUse(
        words=_("%(job)s, %(day)s %(time)s, step %(n)s of %(of)s")
        % {
            "job": night.job.name,
            "day": day,
            "time": show_time(night.shift.starts_at, branch),
            "n": number,
            "of": len(groups) or len(steps),
        },
        outing=outing.pk if outing else None,
        outing_name=outing.name if outing else "",
        starts_at=starts_at,
        leaves_at=outing.leaves_at if outing else night.shift.starts_at - timedelta(hours=settings["loading_hours"]),
        reference_m2=asked.reference_m2,
        factor=asked.factor,
        companion=companion,
        hardness=zone.hardness,
        floor_words=", ".join(dict.fromkeys(floors)),
        url=reverse("jobs:job", args=[night.job.pk]),
    )


def find_jobs(text: str, branch_id: int) -> list[Found]:
    """Jobs and sites whose names hold the text, the newest jobs first; three queries."""
    plans = JobPlan.objects.filter(
        Q(job__name__icontains=text) | Q(job__site__name__icontains=text),
        job__branch_id=branch_id,
        number=F("job__plan_number"),
    )
    found = [
        Found(
            plan.job.name,
            f"{plan.job.site.name} · {plan.get_standing_display()}",
            reverse("jobs:job", args=[plan.job_id]),
        )
        for plan in plans.select_related("job__site").order_by("-starts_on")[:20]
    ]
    sites = Site.objects.filter(branch_id=branch_id, name__icontains=text).order_by("name")[:20]
    return found + [Found(site.name, site.address, reverse("jobs:site", args=[site.pk])) for site in sites]
