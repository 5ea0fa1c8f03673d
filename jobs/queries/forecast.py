"""The rows a reorder forecast stands on: planned steps not yet done, sets that can work, what was used before."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db.models import F, FloatField, Sum

from inventory.ledger.facts import SetFacts
from inventory.models import Branch, Entry, Outing, SetState, ToolSet
from inventory.models.choices import Fitness, OutingKind, PlaceKind
from inventory.shop_settings import ShopSettings, floor_factor
from inventory.times import zone_of
from jobs.models import JobPlan, ShiftOuting, Standing
from jobs.queries.plan import current_plans, shifts_of_step, zone_of_step
from jobs.queries.shift import even_steps, work_logged

# A bid whose start lies further back was forgotten, not postponed: our assumption.
STALE_BID = timedelta(days=28)
USED_WEEKS = 52


@dataclass(frozen=True)
class StepAhead:
    """A planned step that is not done: what is left of it in reference area, m2, and the day it is meant for."""

    plan: JobPlan
    key: UUID
    tool_type_id: int
    day: date
    area_m2: float


@dataclass(frozen=True)
class Ahead:
    """All of them, and the bids that were left out because their start has long passed.

    bare: plans without any step, which ask for nothing until somebody plans them.
    """

    steps: tuple[StepAhead, ...]
    plans: tuple[JobPlan, ...]
    stale_bids: tuple[str, ...]
    bare: tuple[JobPlan, ...] = ()


def steps_ahead(branch: Branch, settings: ShopSettings, *, now: datetime, known_by: datetime | None = None) -> Ahead:
    """The planned steps of bids and won jobs from now on; eight queries for any number of jobs.

    A step's area is floor x passes x floor factor, less what was logged on it; nothing once its floor looked even. Of a
    won job a step whose nights have all ended is done; a start that has passed without nights counts from today. A bid
    counts from its planned day on.
    """
    today = now.astimezone(zone_of(branch)).date()
    every = current_plans(branch, known_by, standings=(Standing.BID, Standing.WON))
    stale = [p for p in every if p.standing == Standing.BID and p.starts_on < today - STALE_BID]
    gone = {plan.pk for plan in stale}
    plans = [plan for plan in every if plan.pk not in gone]
    done: dict[UUID, float] = defaultdict(float)
    for line in work_logged(jobs=[plan.job_id for plan in plans], known_by=known_by):
        if line.counts and line.entry.step_key is not None:
            done[line.entry.step_key] += line.area_m2
    even = even_steps([step.key for plan in plans for step in plan.steps.all()], known_by=known_by)
    steps = []
    for plan in plans:
        for step in plan.steps.all():
            zone = zone_of_step(plan, step)
            nights = shifts_of_step(plan, step)
            to_come = [night for night in nights if night.ends_at > now]
            if zone is None or (nights and not to_come and plan.standing == Standing.WON):
                continue
            left = zone.area_m2 * step.passes - done[step.key]
            if left <= 0 or step.key in even:
                continue
            day = to_come[0].starts_at.astimezone(zone_of(branch)).date() if to_come else plan.starts_on
            factor = floor_factor(settings, zone.hardness, zone.surface, step.wet_dry, step.step_kind)
            steps.append(StepAhead(plan, step.key, step.tool_type_id, max(day, today), left * factor))
    bare = tuple(plan for plan in plans if not plan.steps.all() and plan.starts_on >= today - STALE_BID)
    return Ahead(tuple(steps), tuple(plans), tuple(plan.job.name for plan in stale), bare)


@dataclass(frozen=True)
class SetsNow:
    """Which sets can work and from which day, by set id, and how many of each type cannot: set aside, missing."""

    ready_on: Mapping[UUID, date]
    aside: Mapping[int, int]
    missing: Mapping[int, int]


def sets_now(
    branch: Branch, steps: Sequence[StepAhead], *, today: date, known: Mapping[UUID, SetFacts] | None = None
) -> SetsNow:
    """The sets of a branch that are not retired; two queries (three with ``known``: by these facts, not the states).

    A set out with a job that still has steps of its type works there now; any other set out is ready when it is due
    back, one that is overdue from today. Water makes no set wait here: a fresh one would have to lie in it as well.
    """
    rows = _rows_now(branch) if known is None else _rows_known(branch, known)
    outings = {row[4] for row in rows if row[4] is not None and row[5] == OutingKind.JOB}
    jobs_of: dict[UUID, set[UUID]] = defaultdict(set)
    for shared, job_id in ShiftOuting.objects.filter(outing_id__in=outings).values_list("outing_id", "job_id"):
        jobs_of[shared].add(job_id)
    wanted = {(step.plan.job_id, step.tool_type_id) for step in steps}
    zone = zone_of(branch)
    ready: dict[UUID, date] = {}
    aside: dict[int, int] = defaultdict(int)
    missing: dict[int, int] = defaultdict(int)
    for set_id, type_id, fitness, gone, outing_id, _kind, due_at in rows:
        if fitness == Fitness.SET_ASIDE:
            aside[type_id] += 1
        elif gone:
            missing[type_id] += 1
        elif outing_id is None or any((job, type_id) in wanted for job in jobs_of[outing_id]) or due_at is None:
            ready[set_id] = today
        else:
            ready[set_id] = max(today, due_at.astimezone(zone).date())
    return SetsNow(ready, aside, missing)


# Of a set: its id, type, fitness, whether its place is unknown, outing, the outing's kind and due time.
_SetRow = tuple[UUID, int, str, bool, UUID | None, str | None, datetime | None]


def _rows_now(branch: Branch) -> list[_SetRow]:
    states = SetState.objects.filter(branch=branch, main_id=F("tool_set_id")).exclude(fitness=Fitness.RETIRED)
    columns = ("tool_set_id", "tool_set__tool_type_id", "fitness", "place__kind", "outing_id")
    rows = states.exclude(opening="").values_list(*columns, "outing__kind", "outing__due_at")
    return [(pk, kind, fit, place == PlaceKind.UNKNOWN, *outing) for pk, kind, fit, place, *outing in rows]


def _rows_known(branch: Branch, known: Mapping[UUID, SetFacts]) -> list[_SetRow]:
    mine = {
        pk: facts for pk, facts in known.items() if facts.branch == str(branch.pk) and facts.fitness != Fitness.RETIRED
    }
    types = dict(ToolSet.objects.filter(pk__in=list(mine)).values_list("pk", "tool_type_id"))
    outings = Outing.objects.in_bulk([UUID(facts.outing) for facts in mine.values() if facts.outing])
    rows: list[_SetRow] = []
    for pk, facts in mine.items():
        outing = outings.get(UUID(facts.outing)) if facts.outing else None
        said = (None, None, None) if outing is None else (outing.pk, outing.kind, outing.due_at)
        rows.append((pk, types[pk], facts.fitness, facts.missing, *said))
    return rows


def used_per_week(
    branch: Branch, settings: ShopSettings, *, now: datetime, known_by: datetime | None = None
) -> dict[int, float]:
    """Reference area, m2, worked a week by each tool type over the last 52 weeks (or since work began); one query.

    Planned and guessed lines beside stronger ones are not told apart here: this is the coarse word of the past.
    """
    since = now - timedelta(weeks=USED_WEEKS)
    lines = Entry.objects.filter(
        kind="worked", act__branch=branch, act__held_back="", act__happened_at__gte=since, act__happened_at__lte=now
    )
    voids = Entry.objects.filter(kind="voided", act__held_back="")
    if known_by is not None:
        lines, voids = lines.filter(act__recorded_at__lte=known_by), voids.filter(act__recorded_at__lte=known_by)
    rows = (
        lines.exclude(pk__in=voids.values("void_target"))
        .values_list("tool_set__tool_type_id", "hardness", "surface", "wet_dry", "step_kind")
        .annotate(area=Sum(F("area_m2") * F("passes"), output_field=FloatField()))
    )
    found: dict[int, float] = defaultdict(float)
    for type_id, hardness, surface, wet_dry, step_kind, area in rows:
        found[type_id] += (area or 0.0) * floor_factor(settings, hardness, surface, wet_dry, step_kind)
    return {type_id: area / USED_WEEKS for type_id, area in found.items() if area > 0}
