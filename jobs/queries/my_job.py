"""A crew lead's shift: which it is, how far each step is, which set is for the step that runs now."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Exists, OuterRef

from inventory import estimate
from inventory.ledger.conditioning import Conditioning
from inventory.models import Entry, Outing, Person, SetState
from inventory.models.choices import Face, Fitness, PlaceKind, TroubleKind
from inventory.queries.soak import waters_of
from inventory.shop_settings import settings_of
from inventory.times import zone_of
from jobs.models import PlanStep, PlanZone, Reservation, ShiftEntry
from jobs.queries.plan import Night, tonight, zone_of_step
from jobs.queries.shift import closed_shifts, outings_for, sets_out, standing_rows, work_logged
from jobs.queries.uses import ROUNDING, asked_of, open_reservations, steps_by_type

# A shift is the one to run from so long before its start until so long after its end (our assumption).
_BEFORE, _AFTER = timedelta(hours=18), timedelta(hours=8)
# One that ended so long ago still comes before the next (our assumption).
_CLOSING = timedelta(hours=3)


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
        return int(self.logged_m2 / self.zone.area_m2 + ROUNDING)

    @property
    def passes_over(self) -> float:
        """Passes logged, averaged over the whole floor, down to a tenth: half the floor twice is one pass."""
        return int(10 * (self.logged_m2 / self.zone.area_m2 + ROUNDING)) / 10

    @property
    def this_pass_m2(self) -> float:
        """What is logged of the pass that runs."""
        return max(0.0, self.logged_m2 - self.passes_done * self.zone.area_m2)

    @property
    def complete(self) -> bool:
        """Whether the planned passes are logged."""
        return self.logged_m2 >= self.planned_m2 * (1 - ROUNDING)


@dataclass(frozen=True)
class SetNow:
    """A set out on the shift with its water, life and chance of doing what is left of its steps on the shift.

    trouble: "aside", "glazed", "ran_dry" or "": in trouble it is not said to be enough. With another set that goes
    with it, chance is of both together, and turn says whether it goes first (1) or second (2) of the two.
    """

    state: SetState
    conditioning: Conditioning
    life: estimate.SetLife | None
    chance: float | None = None
    needs_m2: float | None = None
    trouble: str = ""
    other: SetState | None = None
    turn: int = 0


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
    # Sets meant for each step, by step key, first before second.
    meant: Mapping[UUID, Sequence[Reservation]]
    # Sets lost on this shift and not found since.
    lost: tuple[SetState, ...] = ()

    def meant_for(self, step: PlanStep) -> list[SetState]:
        """The sets meant for a step."""
        return [row.tool_set.state for row in self.meant.get(step.key, ())]

    def sets_for(self, step: PlanStep) -> list[SetNow]:
        """The sets out for a step: those that can work, the first of two, those meant for it, before the others."""
        mine = [one for one in self.sets if one.state.tool_set.tool_type_id == step.tool_type_id]
        step_key = str(step.key)
        return sorted(mine, key=lambda one: (bool(one.trouble), one.turn, one.state.facts.get("step_key") != step_key))

    def lost_for(self, step: PlanStep) -> list[SetState]:
        """The sets of a step's type that were lost on this shift."""
        return [state for state in self.lost if state.tool_set.tool_type_id == step.tool_type_id]


def shifts_of(person: Person, now: datetime) -> list[Night]:
    """The shifts this person leads about now, the one to run first.

    One that runs, then one that ended within three hours (it wants closing), then those to come, then older ones;
    closed ones last.
    """
    nights = tonight(person.branch, now - timedelta(hours=24), now + _BEFORE, lead=person)
    nights = [night for night in nights if night.shift.ends_at + _AFTER > now]
    closed = closed_shifts([night.shift.key for night in nights])

    def order(night: Night) -> tuple[bool, int, datetime]:
        shift = night.shift
        if shift.starts_at <= now <= shift.ends_at + _CLOSING:
            rank = 0 if now <= shift.ends_at else 1
        else:
            rank = 2 if shift.starts_at > now else 3
        return (shift.key in closed, rank, shift.starts_at)

    return sorted(nights, key=order)


def shift_of(person: Person, now: datetime) -> Night | None:
    """The shift this person leads now or next, see ``shifts_of``."""
    return next(iter(shifts_of(person, now)), None)


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
    outing = outings_for([night], now).get(key)
    current = next((doing for doing in steps if not doing.even), None)
    on_this = {(key, doing.step.key): doing.logged_here_m2 for doing in steps}
    meant = open_reservations([night.job.pk])
    told = _told(key)
    worked = {line.entry.tool_set_id: line.entry.act.happened_at for line in logged}
    dry = {
        line.tool_set_id
        for line in told
        if line.trouble_kind == TroubleKind.RAN_DRY
        and (line.tool_set_id not in worked or worked[line.tool_set_id] <= line.act.happened_at)
    }
    gone = [line.tool_set.state for line in told if line.tool_set and line.trouble_kind == TroubleKind.LOST]
    lost = {state.pk: state for state in gone if state.place is not None and state.place.kind == PlaceKind.UNKNOWN}
    sets = _sets(night, outing, on_this, meant, {one for one in dry if one is not None}, now)
    mine_rows = [row for row in rows if row.shift_uuid == key]
    left = next((row for row in reversed(mine_rows) if row.kind == ShiftEntry.Kind.LEFT), None)
    closed = next((row for row in mine_rows if row.kind == ShiftEntry.Kind.CLOSED), None)
    return Running(night, outing, tuple(steps), tuple(sets), current, left, closed, meant, tuple(lost.values()))


def _told(shift_key: UUID) -> list[Entry]:
    """The sets said on a shift to have run dry or to be lost, as it stands: not voided, nor looked at since."""
    since = Entry.objects.filter(
        kind__in=["cleared", "dressed"],
        tool_set_id=OuterRef("tool_set_id"),
        act__held_back="",
        act__happened_at__gt=OuterRef("act__happened_at"),
    )
    voided = Entry.objects.filter(kind="voided", act__held_back="", void_target=OuterRef("pk"))
    kinds = [TroubleKind.RAN_DRY, TroubleKind.LOST]
    told = Entry.objects.filter(kind="trouble", shift_uuid=shift_key, trouble_kind__in=kinds, act__held_back="")
    told = told.exclude(Exists(voided)).exclude(Exists(since))
    return list(told.select_related("act", "tool_set__state__tool_set__tool_type", "tool_set__state__place"))


def _trouble(state: SetState, dry: Collection[UUID]) -> str:
    """What keeps a set that is out from working, a key of ``SetNow.trouble``."""
    if state.fitness != Fitness.USABLE:
        return "aside"
    if state.face == Face.GLAZED:
        return "glazed"
    return "ran_dry" if state.pk in dry else ""


def _sets(
    night: Night,
    outing: Outing | None,
    logged: Mapping[tuple[UUID, UUID], float],
    meant: Mapping[UUID, Sequence[Reservation]],
    dry: Collection[UUID],
    now: datetime,
) -> list[SetNow]:
    states = sets_out([outing.pk]) if outing else []
    if not states:
        return []
    branch = night.job.branch
    settings = settings_of(branch, today=now.astimezone(zone_of(branch)).date())
    waters = waters_of(states, branch, at=now)
    types = {state.tool_set.tool_type_id: state.tool_set.tool_type for state in states}
    records = estimate.records(settings, types=types.values())
    lives = estimate.lives(records)
    asked = {steps[0].tool_type_id: asked_of(settings, night, steps, logged) for steps in steps_by_type(night)}
    wanted = {
        state.pk: asked[type_id].reference_m2
        for state in states
        if (type_id := state.tool_set.tool_type_id) in asked and asked[type_id].reference_m2 > 0
    }
    chances = estimate.chances_to_finish(records, wanted) if wanted else {}
    troubles = {state.pk: _trouble(state, dry) for state in states}
    others: dict[UUID, tuple[SetState, int]] = {}
    for steps in steps_by_type(night):  # two sets that go together finish together
        record = records.get(steps[0].tool_type_id)
        pair = _pair([s for s in states if s.tool_set.tool_type_id == steps[0].tool_type_id], steps, meant, troubles)
        ids = {state.pk for state in pair}
        if len(pair) == 2 and record is not None and ids <= wanted.keys() & set(record.set_ids):
            first, second = pair if _both_meant(ids, steps, meant) else sorted(pair, key=lambda one: chances[one.pk])
            chances |= dict.fromkeys(ids, estimate.chance_of_pair(record, first.pk, second.pk, wanted[first.pk]))
            others |= {first.pk: (second, 1), second.pk: (first, 2)}
    return [
        SetNow(
            state, waters.now(state.pk, now), lives.get(state.pk), chances.get(state.pk), wanted.get(state.pk),
            troubles[state.pk], *others.get(state.pk, (None, 0)),
        )
        for state in states
    ]  # fmt: skip


def _pair(
    out: list[SetState],
    steps: Sequence[PlanStep],
    meant: Mapping[UUID, Sequence[Reservation]],
    troubles: Mapping[UUID, str],
) -> list[SetState]:
    """The two of a grit that go together, those meant first and in their order; one in trouble goes with none."""
    able = [state for state in out if not troubles[state.pk]]
    order = _meant_sets(steps, meant)
    return sorted(able, key=lambda one: order.index(one.pk) if one.pk in order else len(order))[:2]


def _both_meant(ids: set[UUID], steps: Sequence[PlanStep], meant: Mapping[UUID, Sequence[Reservation]]) -> bool:
    """Whether the plan says which of two goes first; else what has less left does."""
    return ids <= set(_meant_sets(steps, meant))


def _meant_sets(steps: Sequence[PlanStep], meant: Mapping[UUID, Sequence[Reservation]]) -> list[UUID]:
    return list(dict.fromkeys(row.tool_set_id for step in steps for row in meant.get(step.key, ())))
