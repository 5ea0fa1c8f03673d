"""What to order by when: the decision on top of `demand` (METHODS 5.2), first version.

A later issue replaces what is behind `forecast_need`, not the call. What this version leaves out: order costs and price
breaks, budgets, the rule that holds a shown date steady from day to day, the re-run of each job for its weight.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inventory.numerics.lognormal import Floats, Ints
from jobs.numerics.demand import DRAWS, NeedDraws, simulate_need
from jobs.numerics.dice import Key, Purpose, uniforms
from jobs.numerics.rack import Horizon, PlannedStep, RackSet, TypeOnRack, week_of

CERTAINTY = 0.95


@dataclass(frozen=True)
class WeekRange:
    """A quantity per week, each (weeks,): P10, P50, P90 and mean over the imagined worlds."""

    low: Floats
    likely: Floats
    high: Floats
    mean: Floats


@dataclass(frozen=True)
class Driver:
    """A job behind an order: share of worlds in which it opens a fresh set in time, and how many on average.

    Among `early_drivers`: in which it wants a fresh set that is not there, and how many.
    """

    job_id: Key
    weight: float
    sets: float


@dataclass(frozen=True)
class ReorderAnswer:
    """What the reorder page says of one tool type. Days are calendar days from today unless they say working days.

    need_area_m2, need_sets, need_sets_so_far: wanted reference area, fresh sets to be opened, and the same added up.
    need_area_so_far_m2: the reference area added up; its middle half of the worlds (P25, P75) in need_area_half_m2.
    life_here_m2: (at least, likely, up to) reference area left in all sets here, fresh ones included.
    fresh, on_order: unused sets here, sets on order.
    short_chance_by_week: (weeks,) chance that by the end of that week a fresh set was wanted and none was there, sets
    on order counted from their expected day, nothing more being ordered.
    short_day, short_chance: first day by which that chance exceeds 1 - certainty, and the chance by then; None, and the
    chance over the whole horizon, when it never does. likely_short_day: the same for an even chance.
    early_day, early_chance: the same for shortages that come before anything ordered today can be here, lead time drawn
    in each world: an order does not help against them. early_drivers: the jobs that then want a set, by falling weight.
    rush_sets: how many sets more, over what is on order, would avert them with the certainty if they came at once, in
    whole packs; they come on top of `order_sets`, which leave to them what falls early.
    order_by_working_days: last working day, counted from today, on which ordering keeps the certainty; below 0 that day
    has passed and an order today still averts something; None when no order can avert anything more than the certainty
    leaves open within the horizon, or the lead time is unknown.
    order_now: it is today or has passed. order_sets: how many to order on that day (never before today) so that none
    is missing from their arrival on, over review and cover; 0 when an order helps nothing, None when the lead time is
    unknown.
    sure: the chance, really given by the whole number of sets, that none is missing from the arrival on to the end of
    that span; without an order, from the arrival of one placed today to the horizon. None likewise.
    lead_likely_days, lead_sure_days: lead time [working days], median and at the certainty; None when unknown.
    drivers: jobs by falling weight, only those that open a fresh set at all over that span.
    gaps: what was missing: "no planned work", "no lead time".
    """

    type_id: Key
    need_area_m2: WeekRange
    need_sets: WeekRange
    need_sets_so_far: WeekRange
    life_here_m2: tuple[float, float, float]
    fresh: int
    on_order: int
    short_chance_by_week: Floats
    short_day: int | None
    short_chance: float
    likely_short_day: int | None
    order_by_working_days: int | None
    order_now: bool
    order_sets: int | None
    sure: float | None
    lead_likely_days: float | None
    lead_sure_days: float | None
    drivers: tuple[Driver, ...]
    gaps: tuple[str, ...]
    need_area_so_far_m2: WeekRange
    need_area_half_m2: tuple[Floats, Floats]
    early_day: int | None
    early_chance: float
    early_drivers: tuple[Driver, ...]
    rush_sets: int = 0


def forecast_need(
    types: Sequence[TypeOnRack],
    sets: Sequence[RackSet],
    steps: Sequence[PlannedStep],
    horizon: Horizon,
    certainty: float = CERTAINTY,
    seed: int = 0,
    *,
    draws: int = DRAWS,
) -> tuple[ReorderAnswer, ...]:
    """Forecast each tool type's need against the rack, and say what to order by when.

    types, sets, steps: see `demand`; sets are the usable ones, steps those not yet done. seed: the shop's stored
    integer. Returns: one answer per type, in the order of `types`. Deterministic; types do not touch one another.
    Raises: ValueError naming the parameter: certainty must lie above 0.5 and at or below 1 - 1/draws (nothing is
    certain, and so many draws cannot show more); a set or step of a type that is not among `types`.
    Limits: what an order must last for is cut at the horizon.
    Source: METHODS 5.1-5.3.
    """
    if draws < 1:
        raise ValueError(f"`draws` must be 1 or more; got {draws}.")
    if not 0.5 < certainty <= 1 - 1 / draws:
        raise ValueError(
            f"`certainty` must lie above 0.5 and at or below {1 - 1 / draws:g} with {draws} draws; got {certainty}. "
            "Nothing is certain: choose a little less."
        )
    if seed < 0:
        raise ValueError(f"`seed` must be 0 or more; got {seed}.")
    known = {kind.type_id for kind in types}
    every: list[RackSet | PlannedStep] = [*sets, *steps]
    for one in every:
        if one.type_id not in known:
            raise ValueError(f"`types` must hold every type of a set or step; {one.type_id} is missing.")
    answers = []
    for kind in types:
        need = simulate_need(
            kind,
            [s for s in sets if s.type_id == kind.type_id],
            [s for s in steps if s.type_id == kind.type_id],
            horizon,
            seed,
            draws,
        )
        answers.append(_answer(kind, need, horizon, certainty, seed))
    return tuple(answers)


def smallest_level(need: Ints | Floats, certainty: float) -> int:
    """Smallest whole number s with share(need <= s) >= certainty, from draws of need (d,)."""
    ranked = np.sort(np.asarray(need))
    at = int(np.ceil(certainty * ranked.size - 1e-9)) - 1
    return int(np.ceil(ranked[max(0, at)]))


def _latest(values: Floats, certainty: float) -> float:
    """Largest t below which at most a share 1 - certainty of the values lie."""
    at = int(np.floor((1 - certainty) * values.size + 1e-9))
    return float(np.sort(values)[min(at, values.size - 1)])


def _range(draws: Floats) -> WeekRange:
    low, likely, high = np.quantile(draws, [0.1, 0.5, 0.9], axis=1, method="inverted_cdf")
    return WeekRange(low, likely, high, draws.mean(axis=1))


def _opened_by_week(open_day: Floats, horizon: Horizon) -> Floats:
    out = np.zeros((horizon.weeks, open_day.shape[1]))
    rows, columns = np.nonzero(np.isfinite(open_day))
    np.add.at(out, (week_of(open_day[rows, columns], horizon), columns), 1.0)
    return out


def _missing(need: NeedDraws, arrivals: Floats) -> npt.NDArray[np.bool_]:
    """Which openings (m, d) find no set there, nothing more being ordered. arrivals: (n, d) days of what is on order.

    A missing set is rushed, borrowed, or the job moved: what arrives later is there for later work (our assumption).
    """
    there = np.full(need.open_day.shape, need.fresh, dtype=np.int64)
    for arrival in arrivals:
        there += need.open_day >= arrival
    wanted = np.isfinite(need.open_day)
    missing = np.zeros(need.open_day.shape, dtype=np.bool_)
    served = np.zeros(need.open_day.shape[1], dtype=np.int64)
    for k in range(need.open_day.shape[0]):
        missing[k] = wanted[k] & (served >= there[k])
        served += wanted[k] & ~missing[k]
    return missing


def _arrivals(kind: TypeOnRack, horizon: Horizon, dice: Floats) -> Floats:
    """The day of each set on order in each world, (n, d)."""
    draws = dice.shape[1]
    days = [np.full(draws, float(day)) for day in kind.arrival_days]
    if kind.lead is not None:
        # Those ordered on one day come on one day; the same dice as an order of today: ordered, it comes as it was
        # reckoned with when it was advised.
        by_age = {
            age: _arrival(0, np.ceil(kind.lead.draw_rest(float(age), *dice)), horizon) for age in {*kind.waited_days}
        }
        days += [by_age[age] for age in kind.waited_days]
    return np.array(days).reshape(len(days), draws)


def _first(days: Floats, which: npt.NDArray[np.bool_]) -> Floats:
    """Day of the first of these openings, per world; infinite where none."""
    return np.asarray(np.where(which, days, np.inf).min(axis=0, initial=np.inf))


def _answer(kind: TypeOnRack, need: NeedDraws, horizon: Horizon, certainty: float, seed: int) -> ReorderAnswer:
    draws = need.life_here_m2.size
    opened = _opened_by_week(need.open_day, horizon)
    low, likely, high = np.quantile(need.life_here_m2, [0.1, 0.5, 0.9])
    area_so_far = np.cumsum(need.area_m2, axis=0)
    quarter, three_quarters = np.quantile(area_so_far, [0.25, 0.75], axis=1)
    # The lead time's own dice, one order per world, independent of the work.
    dice = uniforms(seed, Purpose.LEAD_TIME, kind.type_id, 2, draws)
    missing = _missing(need, _arrivals(kind, horizon, dice))
    short = _first(need.open_day, missing)
    week_ends = horizon.first_week_days - 1 + 7 * np.arange(horizon.weeks)
    short_day = _latest(short, certainty)
    even = _latest(short, 0.5)
    gaps = [] if need.jobs else ["no planned work"]
    rush = 0
    order_by: int | None = None
    order_sets: int | None = None
    sure: float | None = None
    lead_likely = lead_sure = None
    span = np.full(draws, float(horizon.days))
    early = np.zeros(missing.shape, dtype=np.bool_)
    if kind.lead is None:
        gaps.append("no lead time")
    else:
        lead_likely, lead_sure = kind.lead.quantile(0.5), kind.lead.quantile(certainty)
        lead = np.ceil(kind.lead.draw(*dice))
        early = missing & (need.open_day < _arrival(0, lead, horizon))
        # What is on order is not ordered again because it comes late.
        beyond = missing & (np.arange(missing.shape[0])[:, None] >= need.fresh + kind.on_order)
        order_by = _order_by(need.open_day, beyond, lead, horizon, certainty, kind.review_days)
        rush = smallest_level((early & beyond).sum(axis=0), certainty)
        start = 0 if order_by is None else max(order_by, 0)
        here = _arrival(start, lead, horizon)
        if order_by is not None:
            span = np.minimum(here + kind.review_days + kind.cover_days, horizon.days)
        in_time = (need.open_day >= here) & (need.open_day <= span)
        if order_by is None:
            order_sets = 0
        else:
            order_sets = _whole_packs(max(1, smallest_level((beyond & in_time).sum(axis=0), certainty)), kind)
        sure = float(((missing & in_time).sum(axis=0) <= order_sets).mean())
    early_short = _first(need.open_day, early)
    early_day = _latest(early_short, certainty)
    return ReorderAnswer(
        type_id=kind.type_id,
        need_area_m2=_range(need.area_m2),
        need_sets=_range(opened),
        need_sets_so_far=_range(np.cumsum(opened, axis=0)),
        life_here_m2=(float(low), float(likely), float(high)),
        fresh=need.fresh,
        on_order=kind.on_order,
        short_chance_by_week=np.array([(short <= day).mean() for day in week_ends]),
        short_day=int(short_day) if np.isfinite(short_day) else None,
        short_chance=float((short <= min(short_day, horizon.days)).mean()),
        likely_short_day=int(even) if np.isfinite(even) else None,
        order_by_working_days=order_by,
        order_now=order_by is not None and order_by <= 0,
        order_sets=order_sets,
        sure=sure,
        lead_likely_days=lead_likely,
        lead_sure_days=lead_sure,
        drivers=_drivers(need, need.open_day <= span),
        gaps=tuple(gaps),
        need_area_so_far_m2=_range(area_so_far),
        need_area_half_m2=(quarter, three_quarters),
        early_day=int(early_day) if np.isfinite(early_day) else None,
        early_chance=float(np.isfinite(early_short).mean()),
        early_drivers=_drivers(need, early),
        rush_sets=_whole_packs(rush, kind) if rush else 0,
    )


def _order_by(
    open_day: Floats, beyond: npt.NDArray[np.bool_], lead: Floats, horizon: Horizon, certainty: float, review_days: int
) -> int | None:
    """Last working day, from today, on which an order comes too late in at most a share 1 - certainty of the worlds.

    Too late: the first opening beyond what is here and on order falls before the order is here, lead time drawn anew in
    each world. (Shop's crossing day less a fixed lead time would leave out that both are uncertain.) Where even an
    order of today is too late in more worlds than that, only the openings it can still serve count: of the worlds that
    have one a share 1 - certainty may be lost by waiting; None when they are so few themselves. What is to be ordered
    before the next review is then ordered at once: while sets are missing nobody waits two days to order.
    """
    last = _latest(_slack(_first(open_day, beyond), lead, horizon), certainty)
    if not np.isfinite(last):
        return None
    if last >= 0:
        return int(np.floor(last))
    helped = _slack(_first(open_day, beyond & (open_day >= _arrival(0, lead, horizon))), lead, horizon)
    helped = helped[np.isfinite(helped)]
    if helped.size <= (1 - certainty) * lead.size + 1e-9:
        return None
    wait = int(np.floor(_latest(helped, certainty)))
    soon = horizon.working_days[min(review_days, horizon.days)]
    return wait if wait > max(0, soon) else int(np.floor(last))


def _slack(day: Floats, lead: Floats, horizon: Horizon) -> Floats:
    """Working day, from today, on which an order for that day is to be placed, per world; infinite where none."""
    work = np.asarray(horizon.working_days, dtype=np.float64)
    there = np.isfinite(day)
    return np.asarray(np.where(there, work[np.where(there, day, 0).astype(np.int64)] - lead, np.inf))


def _arrival(start: int, lead: Floats, horizon: Horizon) -> Floats:
    """Calendar day on which an order of that working day is here, per world; beyond the horizon the day after it."""
    work = np.asarray(horizon.working_days[: horizon.days + 1], dtype=np.float64)
    return np.searchsorted(work, start + lead, side="left").astype(np.float64)


def _whole_packs(wanted: int, kind: TypeOnRack) -> int:
    return -(-max(wanted, kind.minimum) // kind.pack) * kind.pack


def _drivers(need: NeedDraws, which: npt.NDArray[np.bool_]) -> tuple[Driver, ...]:
    found = []
    counted = np.where(which, need.open_job, -1)
    for index, job in enumerate(need.jobs):
        by_world = (counted == index).sum(axis=0)
        if by_world.any():
            found.append(Driver(job, float((by_world > 0).mean()), float(by_world.mean())))
    # Ties by sets, then in the order of time: the same input tells the same story.
    return tuple(sorted(found, key=lambda driver: (-driver.weight, -driver.sets)))
