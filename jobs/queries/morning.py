"""What last night left unanswered, and what has been answered since: a constant number of queries."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import F

from inventory.ledger.facts import iso
from inventory.models import Act, Branch, Entry, Outing, SetState, ToolSet
from inventory.models.choices import LeftHow
from inventory.queries.held import held_about_places
from jobs.models import PlanStep, PlanZone, ShiftEntry
from jobs.queries.plan import Night, ended_nights, share_of_step, zone_of_step
from jobs.queries.shift import Logged, outings_of, scanned_out_on, sets_out, standing_rows, work_logged

# Nights that ended longer ago are asked about no more: their work is stored as guessed by then (our assumption).
LOOK_BACK = timedelta(days=4)
# Of a step without a night of its own this share of its planned work counts as the whole (our assumption).
_ABOUT_DONE = 0.9
OVERRIDES = ("gate_overridden", "gate_not_asked")


@dataclass(frozen=True)
class NoWork:
    """A step of an ended shift without any work logged. sets: that were out for it; area_m2: of a pass, of them all."""

    night: Night
    step: PlanStep
    zone: PlanZone
    area_m2: float
    sets: tuple[ToolSet, ...]

    @property
    def key(self) -> str:
        """What the answer is about."""
        return f"work-{self.night.shift.key}-{self.step.key}"

    @property
    def worked_m2(self) -> float:
        """Area of a pass x planned passes."""
        return self.area_m2 * self.step.passes


@dataclass(frozen=True)
class NotBack:
    """Sets of an outing that is over, of which nobody has said where they are. of: how many left with it."""

    outing: Outing
    states: tuple[SetState, ...]
    of: int
    night: Night | None = None

    @property
    def key(self) -> str:
        """What the answer is about."""
        return f"back-{self.outing.pk}"


@dataclass(frozen=True)
class HowLeft:
    """An ended shift whose sets stay out, and nobody has said how they were left."""

    night: Night
    outing: Outing
    states: tuple[SetState, ...]

    @property
    def key(self) -> str:
        """What the answer is about."""
        return f"left-{self.night.shift.key}"


@dataclass(frozen=True)
class Flagged:
    """An open flag of a set: the entry that raised it, and the entry it contradicts if one is known."""

    state: SetState
    entry: Entry
    code: str
    before: Entry | None = None

    @property
    def key(self) -> str:
        """What the answer is about."""
        return f"flag-{self.entry.pk}-{self.code}"


@dataclass(frozen=True)
class HeldBack:
    """A held-back act about places alone, such as a reading of a tub. entry: its first line."""

    entry: Entry

    @property
    def key(self) -> str:
        """What the answer is about."""
        return f"held-{self.entry.pk}"


Asked = NoWork | NotBack | HowLeft | Flagged | HeldBack


@dataclass(frozen=True)
class Answered:
    """An act that answered one of the questions, with its lines."""

    act: Act
    entries: tuple[Entry, ...] = ()
    rows: tuple[ShiftEntry, ...] = ()
    night: Night | None = None


@dataclass(frozen=True)
class Morning:
    """The questions, those that stop the night first; what was answered since the day began; the count of sets.

    back, in_water, elsewhere: sets of the nights that ended since ``since``.
    """

    asked: tuple[Asked, ...]
    # Flags that were raised before the days the morning asks about, and are still open.
    older: tuple[Flagged, ...]
    answered: tuple[Answered, ...]
    nights: tuple[Night, ...]
    back: int = 0
    in_water: int = 0
    elsewhere: int = 0


@dataclass
class _Read:
    """What is on record of the nights, read once."""

    nights: list[Night]
    outings: dict[UUID, Outing]
    logged: list[Logged]
    rows: list[ShiftEntry]
    out: dict[UUID, list[SetState]] = field(default_factory=dict)
    left: dict[UUID, list[Entry]] = field(default_factory=dict)


def morning_of(branch: Branch, now: datetime, day_began: datetime) -> Morning:
    """What is missing from the nights that ended in the last days, and what was answered since the day began."""
    read = _read(branch, now)
    asked: list[Asked] = [*_no_work(read), *_not_back(read, branch, now)]
    waiting = {question.outing.pk for question in asked if isinstance(question, NotBack)}
    asked += _how_left(read, waiting)
    flags = _flagged(branch)
    asked += [flag for flag in flags if flag.entry.act.recorded_at > now - LOOK_BACK]
    # However old: no page but this one asks about them.
    asked += [HeldBack(entry) for entry in held_about_places(branch)]
    older = tuple(flag for flag in flags if flag.entry.act.recorded_at <= now - LOOK_BACK)
    back, in_water, elsewhere = _counts(read, day_began)
    recent = tuple(night for night in read.nights if night.shift.ends_at > day_began - timedelta(hours=12))
    return Morning(tuple(asked), older, tuple(_answered(read, branch, day_began)), recent, back, in_water, elsewhere)


def unlogged(branch: Branch, now: datetime) -> list[NoWork]:
    """The steps of ended shifts without any work logged (nine queries)."""
    return _no_work(_read(branch, now))


def _read(branch: Branch, now: datetime) -> _Read:
    nights = ended_nights(branch, now - LOOK_BACK, now)
    keys = {night.shift.key for night in nights}
    every = keys | {shift.key for night in nights for shift in night.plan.shifts.all()}
    outings = outings_of(keys)
    ids = {outing.pk for outing in outings.values()}
    read = _Read(nights, outings, work_logged(shift_keys=every), standing_rows(keys))
    for state in sets_out(ids):
        if state.outing_id is not None:
            read.out.setdefault(state.outing_id, []).append(state)
    read.left = scanned_out_on(ids)
    return read


def _no_work(read: _Read) -> list[NoWork]:
    found = []
    done = {(line.entry.shift_uuid, line.entry.step_key) for line in read.logged}
    worked_shifts = {line.entry.shift_uuid for line in read.logged}
    said_none = {(row.shift_uuid, row.step_key) for row in read.rows if row.kind == ShiftEntry.Kind.NO_WORK}
    by_step: dict[UUID, float] = {}
    for line in read.logged:
        if line.counts and line.entry.step_key is not None:
            by_step[line.entry.step_key] = by_step.get(line.entry.step_key, 0.0) + line.area_m2
    for night in read.nights:
        key = night.shift.key
        if (key, None) in said_none:
            continue
        for step in night.steps:
            zone = zone_of_step(night.plan, step)
            if zone is None or (key, step.key) in done or (key, step.key) in said_none:
                continue
            if step.shift_key != key:
                # Its night is our guess: a shift with other work logged, or a step done on another night, says enough.
                planned = zone.area_m2 * step.passes
                if key in worked_shifts or by_step.get(step.key, 0.0) >= _ABOUT_DONE * planned:
                    continue
            area_m2 = zone.area_m2 * share_of_step(night.plan, step)
            found.append(NoWork(night, step, zone, area_m2, _sets_for(read, night, step)))
    return found


def _sets_for(read: _Read, night: Night, step: PlanStep) -> tuple[ToolSet, ...]:
    """The sets that were out for a step: of its tool type, on the shift's outing, meant for it or for none."""
    outing = read.outings.get(night.shift.key)
    if outing is None:
        return ()
    sets = {
        entry.tool_set_id: entry.tool_set
        for entry in read.left.get(outing.pk, [])
        if entry.tool_set is not None
        and entry.tool_set.tool_type_id == step.tool_type_id
        and entry.step_key in (None, step.key)
        and entry.act.happened_at <= night.shift.ends_at
    }
    return tuple(sets.values())


def _last_nights(read: _Read) -> dict[UUID, Night]:
    """The last ended shift of each outing."""
    last: dict[UUID, Night] = {}
    for night in read.nights:
        outing = read.outings.get(night.shift.key)
        if outing is not None:
            last[outing.pk] = night
    return last


def _goes_on(night: Night, now: datetime) -> bool:
    """Whether the job's next shift is near enough that its sets stay out for it."""
    ahead = [shift.starts_at for shift in night.plan.shifts.all() if shift.starts_at > night.shift.starts_at]
    return any(starts - night.shift.ends_at <= LOOK_BACK and starts > now - timedelta(hours=1) for starts in ahead)


def _said_since(state: SetState, after: datetime) -> bool:
    said = state.facts.get("left_how_at")
    return said is not None and said > iso(after)


def _not_back(read: _Read, branch: Branch, now: datetime) -> list[NotBack]:
    last = _last_nights(read)
    due = SetState.objects.filter(
        outing__branch=branch, outing__due_at__lte=now, outing__closed_at__isnull=True, main_id=F("tool_set_id")
    )
    due = due.select_related("tool_set__tool_type", "place", "outing__van", "outing__holder_person")
    by_outing: dict[UUID, list[SetState]] = {}
    for state in due.order_by("outing__leaves_at", "tool_set__tool_type__ladder_place", "code"):
        if state.outing_id is not None:
            by_outing.setdefault(state.outing_id, []).append(state)
    came_back = {
        row.shift_uuid: row.act.happened_at
        for row in read.rows
        if row.kind == ShiftEntry.Kind.LEFT and row.left_how == LeftHow.CAME_BACK
    }
    found = []
    for outing_id, states in by_outing.items():
        outing, night = states[0].outing, last.get(outing_id)
        if outing is None or (night is not None and _goes_on(night, now)):
            continue
        after = outing.due_at if night is None else came_back.get(night.shift.key, night.shift.starts_at)
        assert after is not None  # the query asks for it
        open_states = tuple(state for state in states if not _said_since(state, after))
        if open_states:
            left = {entry.tool_set_id for entry in read.left.get(outing_id, [])} | {state.pk for state in states}
            found.append(NotBack(outing, open_states, len(left), night))
    return found


def _how_left(read: _Read, waiting: set[UUID]) -> list[HowLeft]:
    said = {row.shift_uuid for row in read.rows if row.kind == ShiftEntry.Kind.LEFT}
    found = []
    for outing_id, night in _last_nights(read).items():
        if outing_id in waiting or night.shift.key in said:
            continue
        states = tuple(state for state in read.out.get(outing_id, []) if not _said_since(state, night.shift.starts_at))
        if states:
            found.append(HowLeft(night, read.outings[night.shift.key], states))
    return found


def _flagged(branch: Branch) -> list[Flagged]:
    """Open flags of the branch's sets: overrides first, then what contradicts; two queries and the entry before."""
    states = SetState.objects.filter(branch=branch, open_flags__gt=0, main_id=F("tool_set_id"))
    open_flags = [
        (state, UUID(entry_id), code)
        for state in states.select_related("tool_set__tool_type", "place", "outing").order_by("code")
        for entry_id, code in state.facts.get("flags", [])
        if [entry_id, code] not in state.facts.get("settled", [])
    ]
    entries = Entry.objects.select_related("act__done_by", "outing", "to_place").in_bulk(
        [entry_id for _state, entry_id, _code in open_flags]
    )
    outs: dict[UUID, list[Entry]] = {}
    clashing = [state.pk for state, _entry, code in open_flags if code == "taken_by_two"]
    for entry in (
        Entry.objects.filter(tool_set_id__in=clashing, kind__in=["scanned_out", "handed_over"])
        .select_related("act__done_by", "outing")
        .order_by("act__happened_at", "line_no")
    ):
        if entry.tool_set_id is not None:
            outs.setdefault(entry.tool_set_id, []).append(entry)
    found = []
    for state, entry_id, code in open_flags:
        raised = entries.get(entry_id)
        if raised is not None:
            earlier = [
                entry
                for entry in outs.get(state.pk, [])
                if entry.act.happened_at <= raised.act.happened_at and entry.outing_id != raised.outing_id
            ]
            before = earlier[-1] if code == "taken_by_two" and earlier else None
            found.append(Flagged(state, raised, code, before))
    return sorted(found, key=lambda one: (one.code not in OVERRIDES, one.entry.act.happened_at))


def _answered(read: _Read, branch: Branch, day_began: datetime) -> Iterable[Answered]:
    """What was answered since the day began: planned or guessed work, no work, how left, where, settled flags."""
    nights = {night.shift.key: night for night in read.nights}
    acts: dict[UUID, tuple[Act, list[Entry], list[ShiftEntry], Night | None]] = {}

    def add(act: Act, night: Night | None, entry: Entry | None = None, row: ShiftEntry | None = None) -> None:
        kept = acts.setdefault(act.pk, (act, [], [], night))
        if entry is not None:
            kept[1].append(entry)
        if row is not None:
            kept[2].append(row)

    for line in read.logged:
        night = nights.get(line.entry.shift_uuid) if line.entry.shift_uuid else None
        if night is not None and line.entry.basis in ("planned", "guessed") and line.entry.act.recorded_at >= day_began:
            add(line.entry.act, night, entry=line.entry)
    for row in read.rows:
        night = nights[row.shift_uuid]
        answers = row.kind in (ShiftEntry.Kind.NO_WORK, ShiftEntry.Kind.LEFT)
        # What the crew lead says at the end of the shift is no answer of the morning.
        by_lead = row.act.entered_by_id == night.shift.lead_id
        if answers and not by_lead and row.act.recorded_at >= max(day_began, night.shift.ends_at):
            add(row.act, night, row=row)
    said = list(
        Entry.objects.filter(
            kind__in=["settled", "seen", "trouble"], act__branch=branch, act__recorded_at__gte=day_began
        )
        .select_related("act__done_by", "tool_set__state", "tool_set__tool_type", "place")
        .order_by("act__recorded_at", "line_no")
    )
    voids = Entry.objects.filter(kind="voided", void_target__in=[entry.pk for entry in said])
    voided = set(voids.values_list("void_target", flat=True))
    for entry in said:
        night = nights.get(entry.shift_uuid) if entry.shift_uuid else None
        about_night = (
            night is not None
            and entry.act.recorded_at >= night.shift.ends_at
            and entry.act.entered_by_id != night.shift.lead_id
        )
        if entry.pk not in voided and (entry.kind == "settled" or (about_night and entry.act_id not in acts)):
            add(entry.act, night, entry=entry)
        elif entry.act_id in acts and entry.pk not in voided:
            acts[entry.act_id][1].append(entry)
    for act, entries, rows, night in acts.values():
        yield Answered(act, tuple(entries), tuple(rows), night)


def _counts(read: _Read, day_began: datetime) -> tuple[int, int, int]:
    """Sets of the nights that ended since noon before the day: back, still out in water, still out otherwise."""
    recent = [night for night in read.nights if night.shift.ends_at > day_began - timedelta(hours=12)]
    ids = {read.outings[night.shift.key].pk for night in recent if night.shift.key in read.outings}
    out = {state.pk: state for outing_id in ids for state in read.out.get(outing_id, [])}
    left = {entry.tool_set_id for outing_id in ids for entry in read.left.get(outing_id, [])}
    in_water = sum(1 for state in out.values() if state.facts.get("left_how") == "in_water")
    return len(left - set(out)), in_water, len(out) - in_water
