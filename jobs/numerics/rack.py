"""What a reorder forecast is told: tool types, the sets on the rack, the planned steps, how far to look.

Areas are reference areas [m2]; days are calendar days from today.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from inventory.numerics.lead_time import LeadTime
from inventory.numerics.lognormal import Floats, Ints
from jobs.numerics.dice import Key
from jobs.numerics.lives import LivesOfType

AREA_ERROR = 0.12  # relative SD of true against planned area: our assumption, METHODS 5.1
_MOST_SETS_PER_STEP = 200


@dataclass(frozen=True)
class RackSet:
    """A usable set of the shop, wherever it lies.

    used_m2: reference area behind it, its believed past included; 0 = fresh. What is left in it says the type's
    `LivesOfType`. ready_day: first day it can go out.
    """

    set_id: Key
    type_id: Key
    used_m2: float = 0.0
    ready_day: int = 0

    @property
    def is_fresh(self) -> bool:
        return self.used_m2 <= 0


@dataclass(frozen=True)
class PlannedStep:
    """One set's worth of planned work: a step of a job on one load (two machines = two steps with half the area).

    day: planned start. area_m2: reference area of the whole step, passes included. award_chance: 1 once won.
    area_error: relative SD of the true area (passes included). confirmed: the date does not slip.
    """

    job_id: Key
    step_id: Key
    type_id: Key
    day: int
    area_m2: float
    award_chance: float = 1.0
    area_error: float = AREA_ERROR
    confirmed: bool = False


@dataclass(frozen=True)
class TypeOnRack:
    """A tool type as the purchaser knows it.

    lives: what is known of its sets' lives; it holds every part-worn set of the rack. lead: None when nobody knows the
    supplier's. arrival_days: the day of each set on order that was promised one. waited_days: of every other set on
    order the working days since it was ordered; it comes by the lead time, given that it took so long already, in each
    world by the dice of an order placed today (asks a lead). turn_days: days from one step's start until the set can
    start another (drying, soaking, travel). review_days: how often somebody looks at what to order. cover_days: how
    long an order is to last beyond its lead time and the review. pack, minimum: sets per pack, least sets per order.
    """

    type_id: Key
    lives: LivesOfType
    lead: LeadTime | None = None
    arrival_days: tuple[int, ...] = ()
    waited_days: tuple[int, ...] = ()
    turn_days: int = 2
    review_days: int = 7
    cover_days: int = 28
    pack: int = 1
    minimum: int = 1

    @property
    def on_order(self) -> int:
        """Sets on order."""
        return len(self.arrival_days) + len(self.waited_days)


@dataclass(frozen=True)
class Horizon:
    """How far is looked. working_days: working days from today to day d, d = 0...days (`calendar.working_days_ahead`).

    first_week_days: days of the current week still to come, today included (7 on a Monday), so that weeks are
    calendar weeks; weeks: how many, the current one counted.
    """

    working_days: Sequence[int]
    weeks: int = 26
    first_week_days: int = 7

    @property
    def days(self) -> int:
        return horizon_days(self.weeks, self.first_week_days)


def horizon_days(weeks: int = 26, first_week_days: int = 7) -> int:
    """Days looked ahead: the last day of the last week."""
    return first_week_days + 7 * (weeks - 1) - 1


def week_of(days: Floats, horizon: Horizon) -> Ints:
    """Index of the calendar week of each (finite) day."""
    return np.asarray((days.astype(np.int64) - horizon.first_week_days) // 7 + 1, dtype=np.int64)


def check_inputs(
    kind: TypeOnRack, sets: Sequence[RackSet], steps: Sequence[PlannedStep], horizon: Horizon, draws: int
) -> None:
    """Refuse what no rack, plan or calendar can hold. Raises: ValueError naming the parameter."""
    if draws < 1:
        raise ValueError(f"`draws` must be 1 or more; got {draws}.")
    if horizon.weeks < 1 or not 1 <= horizon.first_week_days <= 7:
        raise ValueError(
            f"`horizon` must have 1 or more weeks and 1 to 7 days in the first; got {horizon.weeks} and "
            f"{horizon.first_week_days}."
        )
    if len(horizon.working_days) < horizon.days + 1:
        raise ValueError(f"`working_days` must reach day {horizon.days}; got {len(horizon.working_days) - 1}.")
    if any(later < earlier for earlier, later in pairwise(horizon.working_days)):
        raise ValueError("`working_days` must not fall from one day to the next.")
    if min(kind.turn_days, kind.review_days, kind.cover_days) < 0 or min(kind.pack, kind.minimum) < 1:
        raise ValueError("`turn_days`, `review_days`, `cover_days` must be 0 or more, `pack` and `minimum` 1 or more.")
    if kind.waited_days and (kind.lead is None or min(kind.waited_days) < 0):
        raise ValueError("`waited_days` must be 0 or more, and the lead time known.")
    every: list[RackSet | PlannedStep] = [*sets, *steps]
    for one in every:
        if one.type_id != kind.type_id:
            raise ValueError(f"`type_id` must be {kind.type_id} for all sets and steps; got {one.type_id}.")
    for one_set in sets:
        if not one_set.used_m2 >= 0:
            raise ValueError(f"`used_m2` must be 0 or more; got {one_set.used_m2:g} of set {one_set.set_id}.")
    most = _MOST_SETS_PER_STEP * kind.lives.rated_m2
    for step in steps:
        if not 0 < step.area_m2 <= most:
            raise ValueError(f"`area_m2` of step {step.step_id} must be above 0, up to {most:g}; got {step.area_m2}.")
        if not 0 <= step.award_chance <= 1:
            raise ValueError(
                f"`award_chance` of step {step.step_id} must lie between 0 and 1; got {step.award_chance}."
            )
        if not 0 <= step.area_error <= 2:
            raise ValueError(f"`area_error` of step {step.step_id} must lie between 0 and 2; got {step.area_error}.")
