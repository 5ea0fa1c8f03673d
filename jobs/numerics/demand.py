"""Need for fresh sets: the planned steps run against the rack in many imagined worlds (METHODS 5.1), first version.

In each world bids are won or lost, starts slip, areas come out larger or smaller, and sets last as long as they may.
The steps take sets as the shop does: leftovers first, else the smallest set that surely finishes, else a fresh one.
What this version leaves out: work nobody knows of yet, learnt award chances and slips, losses, reservations.
Areas are reference areas [m2]; days are calendar days from today.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from inventory.numerics.lognormal import Floats, Ints
from jobs.numerics.dice import Key, Purpose, number_of, uniforms
from jobs.numerics.rack import Horizon, PlannedStep, RackSet, TypeOnRack, check_inputs, week_of

DRAWS = 2000
FINISH_LIMIT = 0.90  # METHODS 3
LEFTOVER_SHARE = 0.5  # a set that does half its rating with less than an even chance is a leftover, METHODS 3
CULL_M2 = 60.0  # a set with less than an even chance of this is not sent out, METHODS 1.2: our assumption
SLIP_DAYS = (3.0, 7.0, -3.0)  # mean, SD, least slip of an unconfirmed start: our assumption, METHODS 5.1
_KNOTS = 65


@dataclass(frozen=True)
class NeedDraws:
    """One type in d imagined worlds.

    open_day: (m, d) day of the k-th opening of a fresh set, infinite where there is none, rising along m.
    open_job: (m, d) index into `jobs` of the job that opened it, -1 where none. area_m2: (weeks, d) wanted area.
    life_here_m2: (d,) life left in all sets of the type here. fresh: unused sets here.
    """

    jobs: tuple[Key, ...]
    open_day: Floats
    open_job: Ints
    area_m2: Floats
    life_here_m2: Floats
    fresh: int


@dataclass
class _Bins:
    """Working state of the sets of one type, arrays (b, d); fresh sets are appended as they are opened."""

    left: Floats
    used: Floats
    capacity: Floats
    leftover: npt.NDArray[np.bool_]
    ready: Floats
    table: Ints  # (b,) row of the tables

    def grow(self, rows: Floats, capacity: float, leftover: bool) -> None:
        """Append unopened sets with these lives (k, d)."""
        shape = rows.shape
        self.left = np.concatenate([self.left, rows])
        self.used = np.concatenate([self.used, np.zeros(shape)])
        # Unopened sets cannot be chosen: they become ready when opened.
        self.capacity = np.concatenate([self.capacity, np.full(shape, capacity)])
        self.leftover = np.concatenate([self.leftover, np.full(shape, leftover)])
        self.ready = np.concatenate([self.ready, np.full(shape, np.inf)])
        self.table = np.concatenate([self.table, np.zeros(shape[0], dtype=np.int64)])


@dataclass(frozen=True)
class _Tables:
    """What the planner believes of a set after more use, by set and 65 steps of use: sure area, and likely left."""

    step_m2: float
    sure: Floats
    likely: Floats


def simulate_need(
    kind: TypeOnRack,
    sets: Sequence[RackSet],
    steps: Sequence[PlannedStep],
    horizon: Horizon,
    seed: int,
    draws: int = DRAWS,
) -> NeedDraws:
    """Run the planned steps of one tool type against its sets in `draws` imagined worlds.

    sets, steps: those of this type; their order does not matter. Same input, same seed: same answer; a step or set
    taken away leaves the dice of all others as they were.
    Raises: ValueError naming the parameter.
    Limits: as the module says; a step is at most 200 rated lives.
    """
    check_inputs(kind, sets, steps, horizon, draws)
    ordered = sorted(steps, key=lambda s: (s.day, number_of(s.job_id), number_of(s.step_id)))
    worn = sorted((s for s in sets if not s.is_fresh), key=lambda s: number_of(s.set_id))
    fresh = sum(s.is_fresh for s in sets)
    world = uniforms(seed, Purpose.TOOL_TYPE, kind.type_id, 1, draws)[0]

    lives = _lives_of(kind, worn, world, seed, draws)
    news = _new_lives(kind, range(max(8, fresh)), world, seed, draws)
    life_here = lives.sum(axis=0) + news[:fresh].sum(axis=0)
    jobs, days, areas = _work(ordered, horizon, seed, draws)
    weeks = _by_week(days, areas, horizon)
    wear = areas * _floor_noise(kind, ordered, world, seed)
    open_day, open_job = _run(kind, worn, lives, news, world, ordered, jobs, days, wear, seed)
    return NeedDraws(jobs, open_day, open_job, weeks, life_here, fresh)


def _lives_of(kind: TypeOnRack, worn: Sequence[RackSet], world: Floats, seed: int, draws: int) -> Floats:
    """Life left of the part-worn sets, (n, d)."""
    if not worn:
        return np.zeros((0, draws))
    dice = np.stack([uniforms(seed, Purpose.TOOL_SET, s.set_id, 2, draws) for s in worn])
    return kind.lives.draw([s.set_id for s in worn], world, dice[:, 0], dice[:, 1])


def _planners_tables(kind: TypeOnRack, worn: Sequence[RackSet]) -> _Tables:
    """Tables with a fresh set in row 0 and the part-worn sets behind it."""
    tables = _tables(*kind.lives.new_survival(), kind.lives.rated_m2)
    if not worn:
        return tables
    others = _tables(*kind.lives.survival([s.set_id for s in worn]), kind.lives.rated_m2)
    return _Tables(
        tables.step_m2,
        np.concatenate([tables.sure, others.sure]),
        np.concatenate([tables.likely, others.likely]),
    )


def _new_lives(kind: TypeOnRack, slots: range, world: Floats, seed: int, draws: int) -> Floats:
    """Lives of the fresh sets of these slots, (k, d)."""
    dice = np.stack([uniforms(seed, Purpose.NEW_SET, kind.type_id, 2, draws, slot) for slot in slots])
    return kind.lives.draw_new(world, dice[:, 0], dice[:, 1])


def _work(
    steps: Sequence[PlannedStep], horizon: Horizon, seed: int, draws: int
) -> tuple[tuple[Key, ...], Floats, Floats]:
    """Jobs in order, and per step and world its day (infinite: not won, or beyond the horizon) and its true area."""
    jobs: dict[Key, Floats] = {}
    days, areas = np.empty((len(steps), draws)), np.empty((len(steps), draws))
    mean, sd, least = SLIP_DAYS
    for k, step in enumerate(steps):
        if step.job_id not in jobs:
            jobs[step.job_id] = uniforms(seed, Purpose.JOB, step.job_id, 2, draws)
        won, slip = jobs[step.job_id]
        start = np.full(draws, float(step.day))
        if not step.confirmed:
            # One slip per job: its steps move together.
            start += np.round(np.maximum(least, mean + sd * ndtri(np.clip(slip, 1e-12, None))))
        start = np.maximum(start, 0.0)
        days[k] = np.where((won < step.award_chance) & (start <= horizon.days), start, np.inf)
        noise = ndtri(np.clip(uniforms(seed, Purpose.STEP, step.step_id, 1, draws)[0], 1e-12, None))
        areas[k] = step.area_m2 * np.exp(step.area_error * noise - step.area_error**2 / 2)
    return tuple(jobs), days, areas


def _by_week(days: Floats, areas: Floats, horizon: Horizon) -> Floats:
    """Wanted area per week and world, (weeks, d)."""
    out = np.zeros((horizon.weeks, days.shape[1]))
    columns = np.arange(days.shape[1])
    for day, area in zip(days, areas, strict=True):
        there = np.isfinite(day)
        out[week_of(day[there], horizon), columns[there]] += area[there]
    return out


def _floor_noise(kind: TypeOnRack, steps: Sequence[PlannedStep], world: Floats, seed: int) -> Floats:
    """How much more than its area each step wears a set in each world, (steps, d), mean 1: METHODS 5.1 item 3.

    The floor's own: every set that works on the step meets it.
    """
    tau = kind.lives.floor_noise(world)
    out = np.ones((len(steps), world.size))
    for k, step in enumerate(steps):
        dice = uniforms(seed, Purpose.STEP, step.step_id, 2, world.size)[1]
        out[k] = np.exp(tau * ndtri(np.clip(dice, 1e-12, None)) - tau * tau / 2)
    return out


def _tables(area_m2: Floats, survival_of: Floats, rated_m2: float) -> _Tables:
    """Sure (P10) and likely (P50) life left after x more use, per set, (b, 65), from its survival S: METHODS 1.2.

    After x more the chance of a further area a is S(x + a) / S(x): no draws in it, so the dice move no decision rule.
    """
    step = 2.0 * rated_m2 / (_KNOTS - 1)
    used = step * np.arange(_KNOTS)
    sure, likely = (np.zeros((area_m2.shape[0], _KNOTS)) for _ in range(2))
    for row, (area, survival) in enumerate(zip(area_m2, survival_of, strict=True)):
        now = np.interp(used, area, survival)
        for out, share in ((sure, FINISH_LIMIT), (likely, 0.5)):
            reach = np.interp(share * now, survival[::-1], area[::-1])
            out[row] = np.where(now > 1e-6, np.maximum(reach - used, 0.0), 0.0)
    # A survivor that proves tough may be promised more again; the planner does not count on it.
    return _Tables(step, np.minimum.accumulate(sure, axis=1), np.minimum.accumulate(likely, axis=1))


def _look_up(tables: _Tables, table: Floats, row: Ints, used_m2: Floats) -> Floats:
    at = np.minimum(used_m2 / tables.step_m2, _KNOTS - 1.001)
    low = at.astype(np.int64)
    part = at - low
    return np.asarray(table[row, low] * (1 - part) + table[row, low + 1] * part)


def _run(
    kind: TypeOnRack,
    worn: Sequence[RackSet],
    lives: Floats,
    news: Floats,
    world: Floats,
    steps: Sequence[PlannedStep],
    jobs: tuple[Key, ...],
    days: Floats,
    areas: Floats,
    seed: int,
) -> tuple[Floats, Ints]:
    """Hand sets to steps in the order of time, in all worlds at once; the openings per world come back."""
    draws = world.size
    rated = kind.lives.rated_m2
    tables = _planners_tables(kind, worn)
    leftover_m2, cull_m2 = LEFTOVER_SHARE * rated, min(CULL_M2, 0.05 * rated)
    sure_new, likely_new = float(tables.sure[0, 0]), float(tables.likely[0, 0])
    shape = lives.shape
    sure, likely = tables.sure[1:, :1], tables.likely[1:, :1]
    ready = np.array([float(s.ready_day) for s in worn]).reshape(-1, 1)
    bins = _Bins(
        left=lives.copy(),
        used=np.zeros(shape),
        capacity=np.broadcast_to(sure, shape).copy(),
        leftover=np.broadcast_to(likely < leftover_m2, shape).copy(),
        ready=np.broadcast_to(np.where(likely >= cull_m2, ready, np.inf), shape).copy(),
        table=np.arange(1, len(worn) + 1),
    )
    bins.grow(news, sure_new, likely_new < leftover_m2)
    opened = np.zeros(draws, dtype=np.int64)
    open_day = np.full((news.shape[0], draws), np.inf)
    open_job = np.full((news.shape[0], draws), -1, dtype=np.int64)
    job_index = {job: k for k, job in enumerate(jobs)}
    step_job = np.array([job_index[s.job_id] for s in steps], dtype=np.int64)
    planned = np.array([s.area_m2 for s in steps])
    order = np.argsort(days, axis=0, kind="stable")
    events = int(np.isfinite(days).sum(axis=0).max(initial=0))
    for event in range(events):
        step = order[event]
        where = np.flatnonzero(np.isfinite(days[step, np.arange(draws)]))
        step = step[where]
        day, rest, wanted = days[step, where], areas[step, where], planned[step]
        shrink = wanted / rest
        while where.size:
            # Unopened slots are never ready: only the rows in use are looked at.
            rows = max(1, len(worn) + int(opened.max()))
            chosen, none = _choose(bins, rows, where, day, wanted, sure_new)
            if none.any():
                top = int(opened[where[none]].max()) + 1
                if top > open_day.shape[0]:
                    more = _new_lives(kind, range(open_day.shape[0], 2 * open_day.shape[0]), world, seed, draws)
                    bins.grow(more, sure_new, likely_new < leftover_m2)
                    open_day = np.concatenate([open_day, np.full(more.shape, np.inf)])
                    open_job = np.concatenate([open_job, np.full(more.shape, -1, dtype=np.int64)])
                at = where[none]
                open_day[opened[at], at] = day[none]
                open_job[opened[at], at] = step_job[step[none]]
                chosen[none] = len(worn) + opened[at]
                opened[at] += 1
            life = bins.left[chosen, where]
            done = life >= rest
            take = np.where(done, rest, life)
            bins.left[chosen, where] = life - take
            bins.used[chosen, where] += take
            used, row = bins.used[chosen, where], bins.table[chosen]
            bins.capacity[chosen, where] = _look_up(tables, tables.sure, row, used)
            now_likely = _look_up(tables, tables.likely, row, used)
            bins.leftover[chosen, where] = now_likely < leftover_m2
            bins.ready[chosen, where] = np.where(done & (now_likely >= cull_m2), day + kind.turn_days, np.inf)
            going = ~done
            rest = (rest - take)[going]
            where, day, step, shrink = where[going], day[going], step[going], shrink[going]
            wanted = rest * shrink
    return open_day, open_job


def _choose(
    bins: _Bins, rows: int, where: Ints, day: Floats, wanted: Floats, sure_new: float
) -> tuple[Ints, npt.NDArray[np.bool_]]:
    """The set each world takes for its step, and where only a fresh one will do.

    In this order: a leftover, the poorest first (a sure set goes behind it); the smallest set that surely finishes; and
    for a step too large for any one set, the richest part-worn set, so that stubs do not pile up.
    """
    capacity = bins.capacity[:rows, where]
    far = 1e12
    cost = np.where(capacity >= wanted, far + capacity, np.where(wanted > sure_new, 3 * far - capacity, np.inf))
    cost = np.where(bins.leftover[:rows, where], capacity, cost)
    cost = np.where(bins.ready[:rows, where] <= day, cost, np.inf)
    chosen = cost.argmin(axis=0)
    none = ~np.isfinite(cost[chosen, np.arange(where.size)])
    return chosen, none
