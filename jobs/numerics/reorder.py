"""What to order by when: the decision on top of `demand` (METHODS 5.2), first version.

A later issue replaces what is behind `forecast_need`, not the call. What this version leaves out: order costs and price
breaks, budgets, the rule that holds a shown date steady from day to day, the re-run of each job for its weight.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

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
    """A job behind an order: share of worlds in which it opens a fresh set in time, and how many on average."""

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
    order_by_working_days: last working day, counted from today, on which ordering keeps the certainty; below 0 that day
    has passed; None when nothing need be ordered within the horizon or the lead time is unknown.
    order_now: it is today or has passed. order_sets: how many to order on that day (never before today) so that they
    last over lead time, review and cover; 0 when nothing need be ordered, None when the lead time is unknown.
    sure: the chance, really given by the whole number of sets, that none is missing over that span; None likewise.
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


def _first_short(need: NeedDraws, arrivals: Sequence[int]) -> Floats:
    """Day of the first opening for which no set is there, per world; infinite where none."""
    ranked = np.sort(np.asarray(arrivals, dtype=np.float64))
    there = need.fresh + np.searchsorted(ranked, need.open_day, side="right")
    missing = np.isfinite(need.open_day) & (np.arange(need.open_day.shape[0])[:, None] >= there)
    return np.asarray(np.where(missing, need.open_day, np.inf).min(axis=0))


def _answer(kind: TypeOnRack, need: NeedDraws, horizon: Horizon, certainty: float, seed: int) -> ReorderAnswer:
    draws = need.life_here_m2.size
    opened = _opened_by_week(need.open_day, horizon)
    low, likely, high = np.quantile(need.life_here_m2, [0.1, 0.5, 0.9])
    area_so_far = np.cumsum(need.area_m2, axis=0)
    quarter, three_quarters = np.quantile(area_so_far, [0.25, 0.75], axis=1)
    short = _first_short(need, kind.arrival_days)
    week_ends = horizon.first_week_days - 1 + 7 * np.arange(horizon.weeks)
    short_day = _latest(short, certainty)
    even = _latest(short, 0.5)
    gaps = [] if need.jobs else ["no planned work"]
    position = need.fresh + len(kind.arrival_days)
    order_by: int | None = None
    order_sets: int | None = None
    sure: float | None = None
    lead_likely = lead_sure = None
    span = np.full(draws, float(horizon.days))
    if kind.lead is None:
        gaps.append("no lead time")
    else:
        lead_likely, lead_sure = kind.lead.quantile(0.5), kind.lead.quantile(certainty)
        # The lead time's own dice, one order per world, independent of the work.
        lead = np.ceil(kind.lead.draw(*uniforms(seed, Purpose.LEAD_TIME, kind.type_id, 2, draws)))
        order_by = _order_by(need.open_day, position, lead, horizon, certainty)
        if order_by is None:
            order_sets = 0
        else:
            span = _span_end(max(order_by, 0), lead, kind, horizon)
        count = (need.open_day <= span).sum(axis=0)
        if order_by is not None:
            order_sets = _whole_packs(max(1, smallest_level(count, certainty) - position), kind)
        sure = float((count <= position + (order_sets or 0)).mean())
    return ReorderAnswer(
        type_id=kind.type_id,
        need_area_m2=_range(need.area_m2),
        need_sets=_range(opened),
        need_sets_so_far=_range(np.cumsum(opened, axis=0)),
        life_here_m2=(float(low), float(likely), float(high)),
        fresh=need.fresh,
        on_order=len(kind.arrival_days),
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
        drivers=_drivers(need, span),
        gaps=tuple(gaps),
        need_area_so_far_m2=_range(area_so_far),
        need_area_half_m2=(quarter, three_quarters),
    )


def _order_by(open_day: Floats, position: int, lead: Floats, horizon: Horizon, certainty: float) -> int | None:
    """Last working day, from today, on which an order comes too late in at most a share 1 - certainty of the worlds.

    Too late: the opening that exceeds what is here and on order falls before the order is here, lead time drawn anew in
    each world. (Shop's crossing day less a fixed lead time would leave out that both are uncertain.)
    """
    if position >= open_day.shape[0]:
        return None
    crossing = open_day[position]
    work = np.asarray(horizon.working_days, dtype=np.float64)
    wanted = np.where(
        np.isfinite(crossing), work[np.where(np.isfinite(crossing), crossing, 0).astype(np.int64)], np.inf
    )
    last = _latest(wanted - lead, certainty)
    return int(np.floor(last)) if np.isfinite(last) else None


def _span_end(start: int, lead: Floats, kind: TypeOnRack, horizon: Horizon) -> Floats:
    """Calendar day until which an order of that working day is to last, per world."""
    work = np.asarray(horizon.working_days[: horizon.days + 1], dtype=np.float64)
    here = np.searchsorted(work, start + lead, side="left").astype(np.float64)
    return np.minimum(here + kind.review_days + kind.cover_days, horizon.days)


def _whole_packs(wanted: int, kind: TypeOnRack) -> int:
    return -(-max(wanted, kind.minimum) // kind.pack) * kind.pack


def _drivers(need: NeedDraws, span: Floats) -> tuple[Driver, ...]:
    found = []
    counted = np.where(need.open_day <= span, need.open_job, -1)
    for index, job in enumerate(need.jobs):
        by_world = (counted == index).sum(axis=0)
        if by_world.any():
            found.append(Driver(job, float((by_world > 0).mean()), float(by_world.mean())))
    # Ties by sets, then in the order of time: the same input tells the same story.
    return tuple(sorted(found, key=lambda driver: (-driver.weight, -driver.sets)))
