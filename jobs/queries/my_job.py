"""A crew lead's shift: which it is, how far each step is, which set is for the step that runs now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from inventory import estimate
from inventory.ledger.conditioning import Conditioning
from inventory.models import Outing, Person, SetState
from inventory.queries.soak import waters_of
from inventory.shop_settings import floor_factor, settings_of
from inventory.times import zone_of
from jobs.models import PlanStep, PlanZone, ShiftEntry
from jobs.queries.plan import Night, tonight, zone_of_step
from jobs.queries.shift import outings_of, sets_out, standing_rows, work_logged

# A shift is the one to run from so long before its start until so long after its end (our assumption).
_BEFORE, _AFTER = timedelta(hours=18), timedelta(hours=8)


@dataclass(frozen=True)
class Doing:
    """A step on the shift: worked area logged over all nights and on this one, m2; even: the floor looks even."""

    step: PlanStep
    zone: PlanZone
    logged_m2: float
    logged_here_m2: float
    even: bool

    @property
    def planned_m2(self) -> float:
        """Floor x planned passes."""
        return self.zone.area_m2 * self.step.passes

    @property
    def passes_done(self) -> int:
        """Whole passes logged over the floor."""
        return int(self.logged_m2 / self.zone.area_m2 + 1e-6)

    @property
    def this_pass_m2(self) -> float:
        """What is logged of the pass that runs."""
        return max(0.0, self.logged_m2 - self.passes_done * self.zone.area_m2)

    @property
    def complete(self) -> bool:
        """Whether the planned passes are logged."""
        return self.logged_m2 >= self.planned_m2 * (1 - 1e-6)


@dataclass(frozen=True)
class SetNow:
    """A set out on the shift with its water, life and chance of doing what is left of the step."""

    state: SetState
    conditioning: Conditioning
    life: estimate.SetLife | None
    chance: float | None = None
    needs_m2: float | None = None


@dataclass(frozen=True)
class Running:
    """The shift as its lead sees it. now: the first step without "looks even", None when all have it."""

    night: Night
    outing: Outing | None
    steps: tuple[Doing, ...]
    sets: tuple[SetNow, ...]
    now: Doing | None
    left: ShiftEntry | None
    closed: ShiftEntry | None

    def sets_for(self, step: PlanStep) -> list[SetNow]:
        """The sets out for a step, those meant for it first."""
        mine = [one for one in self.sets if one.state.tool_set.tool_type_id == step.tool_type_id]
        return sorted(mine, key=lambda one: one.state.facts.get("step_key") != str(step.key))


def shift_of(person: Person, now: datetime) -> Night | None:
    """The shift this person leads now or next; one that runs comes before one to come, a closed one last."""
    nights = tonight(person.branch, now - timedelta(hours=24), now + _BEFORE, lead=person)
    nights = [night for night in nights if night.shift.ends_at + _AFTER > now]
    closed = {
        row.shift_uuid
        for row in standing_rows([night.shift.key for night in nights])
        if row.kind == ShiftEntry.Kind.CLOSED
    }
    order = sorted(nights, key=lambda night: (night.shift.key in closed, night.shift.starts_at))
    return order[0] if order else None


def running(night: Night, now: datetime) -> Running:
    """Everything My job shows of a shift; a constant number of queries."""
    key = night.shift.key
    rows = standing_rows([shift.key for shift in night.plan.shifts.all()])
    even = {row.step_key for row in rows if row.kind == ShiftEntry.Kind.FLOOR_EVEN}
    logged = [line for line in work_logged(job=night.job) if line.counts]
    steps = []
    for step in night.steps:
        zone = zone_of_step(night.plan, step)
        if zone is not None:
            mine = [line for line in logged if line.entry.step_key == step.key]
            here = sum(line.area_m2 for line in mine if line.entry.shift_uuid == key)
            steps.append(Doing(step, zone, sum(line.area_m2 for line in mine), here, step.key in even))
    outing = outings_of([key]).get(key)
    current = next((doing for doing in steps if not doing.even), None)
    sets = _sets(night, outing, current, now)
    mine_rows = [row for row in rows if row.shift_uuid == key]
    left = next((row for row in reversed(mine_rows) if row.kind == ShiftEntry.Kind.LEFT), None)
    closed = next((row for row in mine_rows if row.kind == ShiftEntry.Kind.CLOSED), None)
    return Running(night, outing, tuple(steps), tuple(sets), current, left, closed)


def _sets(night: Night, outing: Outing | None, current: Doing | None, now: datetime) -> list[SetNow]:
    states = sets_out([outing.pk]) if outing else []
    if not states:
        return []
    branch = night.job.branch
    settings = settings_of(branch, today=now.astimezone(zone_of(branch)).date())
    waters = waters_of(states, branch, at=now)
    types = {state.tool_set.tool_type_id: state.tool_set.tool_type for state in states}
    records = estimate.records(settings, types=types.values())
    lives = estimate.lives(records)
    wanted: dict[UUID, float] = {}
    if current is not None:
        step, zone = current.step, current.zone
        wet_dry = "wet" if step.wet_dry == "either" else step.wet_dry
        factor = floor_factor(settings, zone.hardness, zone.surface, wet_dry, step.step_kind)
        needs = max(0.0, current.planned_m2 - current.logged_m2) * factor
        if needs > 0:
            wanted = {state.pk: needs for state in states if state.tool_set.tool_type_id == step.tool_type_id}
    chances = estimate.chances_to_finish(records, wanted) if wanted else {}
    return [
        SetNow(state, waters.now(state.pk, now), lives.get(state.pk), chances.get(state.pk), wanted.get(state.pk))
        for state in states
    ]
