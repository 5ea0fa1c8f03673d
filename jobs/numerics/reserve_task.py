"""What a reservation is told: per tool type the sets, the loads of steps that want one, and the rules (METHODS 3).

Areas are reference areas [m2]; times are hours from one common instant, as the caller likes it.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.numerics.dice import Key, number_of

Bools = npt.NDArray[np.bool_]
# Chance that two sets together do an area [m2], given as (one, other, area); None stands for a new set.
PairChance = Callable[[Key | None, Key | None, float], float]
MOST_LOADS = 2000  # per tool type; beyond it a plan takes minutes
HAIR = 1e-9


@dataclass(frozen=True, order=True)
class ToBuy:
    """A set that would have to be bought; loads that name the same number share it. number: 1, 2, ..."""

    number: int


Seat = Key | ToBuy  # what a load runs on


@dataclass(frozen=True)
class SetToPlan:
    """A usable set of one tool type.

    capacity_m2: largest area it finishes with the shop's limit (`life.chance_capacity`). ready_h: first hour it can
    start a step. half_rating_chance: chance that it does half its rating. likely_m2: area it does with an even chance,
    0 when nobody asked. wet_until_h: until when it is wet from a job that was called off; None: it is not.
    """

    set_id: Key
    capacity_m2: float
    ready_h: float = 0.0
    is_fresh: bool = False
    half_rating_chance: float = 1.0
    likely_m2: float = 0.0
    wet_until_h: float | None = None


@dataclass(frozen=True)
class LoadToPlan:
    """One load of a step: what one set, or two after one another, runs through; a job's nights on it are one load.

    end_h: end of the work; turn_h: hours after it until the set can start another step (travel, drying or soaking; 0
    while it stays wet). weight: how much it counts to have a set, 1 once the job is won (our assumption: the award
    chance before). present: what it runs on now, in order (first, second). locked: which of these a person chose.
    """

    load_id: Key
    area_m2: float
    start_h: float
    end_h: float
    turn_h: float = 0.0
    weight: float = 1.0
    present: tuple[Seat, ...] = ()
    locked: tuple[Key, ...] = ()

    @property
    def until_h(self) -> float:
        """When the set can start another step."""
        return self.end_h + self.turn_h


@dataclass(frozen=True, eq=False)
class TypeToPlan:
    """One tool type's sets and loads.

    new_capacity_m2: what a new set finishes with the shop's limit. fits: (loads, sets) whether mount, pieces and
    rotation of the set fit the load's machine; None: all do. new_fits: (loads,) the same of a new set. buy_ready_h:
    first hour a set ordered now can start a step, infinite: none can be had. pair_chance: None: two sets do an area
    whose halves each of them finishes with the limit.
    """

    type_id: Key
    new_capacity_m2: float
    sets: tuple[SetToPlan, ...] = ()
    loads: tuple[LoadToPlan, ...] = ()
    fits: Bools | None = None
    new_fits: Bools | None = None
    buy_ready_h: float = 0.0
    pair_chance: PairChance | None = None


@dataclass(frozen=True)
class PlanRules:
    """What a plan weighs against what: METHODS 3; all costs and the bonus are our assumptions.

    fresh_cost: opening a fresh set; bought_cost: one to buy, a hair dearer than what lies there; worn_cost +
    worn_share_cost * capacity / new capacity: using a part-worn one; moved_cost: each item moved off its present set;
    left_out_cost: each load without a set, times its weight; wet_bonus: off the cost of a set still wet from a job
    called off when its first step starts.
    finish_limit: chance two sets must reach together. leftover_limit: a set that does half its rating with less is a
    leftover. rounds: of ruin and recreate, per tool type; placing_rounds: the same where only few loads are free.
    """

    finish_limit: float = 0.90
    leftover_limit: float = 0.50
    fresh_cost: float = 1.0
    bought_cost: float = 1.01
    worn_cost: float = 0.02
    worn_share_cost: float = 0.10
    moved_cost: float = 0.30
    left_out_cost: float = 5.0
    wet_bonus: float = 0.05
    rounds: int = 400
    placing_rounds: int = 40


def in_order(kind: TypeToPlan) -> TypeToPlan:
    """The same type with sets and loads by their keys: the order in which they are told must not matter."""
    sets = sorted(range(len(kind.sets)), key=lambda k: number_of(kind.sets[k].set_id))
    loads = sorted(range(len(kind.loads)), key=lambda k: number_of(kind.loads[k].load_id))
    fits, new_fits = fit_arrays(kind)
    return TypeToPlan(
        kind.type_id,
        kind.new_capacity_m2,
        tuple(kind.sets[k] for k in sets),
        tuple(kind.loads[k] for k in loads),
        fits[np.ix_(loads, sets)],
        new_fits[loads],
        kind.buy_ready_h,
        kind.pair_chance,
    )


def fit_arrays(kind: TypeToPlan) -> tuple[Bools, Bools]:
    """Return `fits` and `new_fits` with their defaults filled in."""
    shape = (len(kind.loads), len(kind.sets))
    fits = np.ones(shape, dtype=np.bool_) if kind.fits is None else np.asarray(kind.fits)
    new_fits = np.ones(shape[0], dtype=np.bool_) if kind.new_fits is None else np.asarray(kind.new_fits)
    return fits, new_fits


def check(types: Sequence[TypeToPlan], rules: PlanRules, seed: int, most_changes: int | None) -> None:
    """Refuse what no rack or plan can hold.

    Raises: ValueError naming the parameter, what it must be and what came.
    """
    if seed < 0:
        raise ValueError(f"`seed` must be 0 or more; got {seed}.")
    if most_changes is not None and most_changes < 0:
        raise ValueError(f"`most_changes` must be 0 or more, or None; got {most_changes}.")
    _check_rules(rules)
    for name, keys in (
        ("type_id", [kind.type_id for kind in types]),
        ("load_id", [load.load_id for kind in types for load in kind.loads]),
        ("set_id", [one.set_id for kind in types for one in kind.sets]),
    ):
        for key in keys:
            number_of(key)
        if twice := [key for key, times in Counter(keys).items() if times > 1]:
            raise ValueError(f"`{name}` must be given once; got {twice[0]} more than once.")
    for kind in types:
        _check_type(kind)


def _check_rules(rules: PlanRules) -> None:
    for name in ("finish_limit", "leftover_limit"):
        if not 0 < getattr(rules, name) < 1:
            raise ValueError(f"`{name}` must lie between 0 and 1; got {getattr(rules, name)}.")
    costs = ("fresh_cost", "bought_cost", "worn_cost", "worn_share_cost", "moved_cost", "left_out_cost", "wet_bonus")
    for name in (*costs, "rounds", "placing_rounds"):
        if not 0 <= getattr(rules, name) < math.inf:
            raise ValueError(f"`{name}` must be 0 or more; got {getattr(rules, name)}.")


def _check_type(kind: TypeToPlan) -> None:
    if not 0 < kind.new_capacity_m2 < math.inf:
        raise ValueError(f"`new_capacity_m2` must be above 0; got {kind.new_capacity_m2} of type {kind.type_id}.")
    if math.isnan(kind.buy_ready_h):
        raise ValueError(f"`buy_ready_h` must be a number; got {kind.buy_ready_h} of type {kind.type_id}.")
    if len(kind.loads) > MOST_LOADS:
        raise ValueError(f"`loads` must be {MOST_LOADS} or fewer of a type; got {len(kind.loads)}.")
    fits, new_fits = fit_arrays(kind)
    for name, array, shape in (
        ("fits", fits, (len(kind.loads), len(kind.sets))),
        ("new_fits", new_fits, (len(kind.loads),)),
    ):
        if array.shape != shape or array.dtype != np.bool_:
            raise ValueError(f"`{name}` must be true or false in shape {shape}; got {array.dtype} in {array.shape}.")
    for one in kind.sets:
        if not 0 <= one.capacity_m2 < math.inf:
            raise ValueError(f"`capacity_m2` must be 0 or more; got {one.capacity_m2} of set {one.set_id}.")
        if math.isnan(one.ready_h):
            raise ValueError(f"`ready_h` must be a number; got {one.ready_h} of set {one.set_id}.")
        if not 0 <= one.half_rating_chance <= 1:
            raise ValueError(
                f"`half_rating_chance` must lie between 0 and 1; got {one.half_rating_chance} of set {one.set_id}."
            )
        if not 0 <= one.likely_m2 < math.inf:
            raise ValueError(f"`likely_m2` must be 0 or more; got {one.likely_m2} of set {one.set_id}.")
        if one.wet_until_h is not None and math.isnan(one.wet_until_h):
            raise ValueError(f"`wet_until_h` must be a number or None; got {one.wet_until_h} of set {one.set_id}.")
    for load in kind.loads:
        _check_load(load)


def _check_load(load: LoadToPlan) -> None:
    if not 0 < load.area_m2 < math.inf:
        raise ValueError(f"`area_m2` must be above 0; got {load.area_m2} of load {load.load_id}.")
    if not -math.inf < load.start_h < load.end_h < math.inf:
        raise ValueError(
            f"`end_h` must come after `start_h`; got {load.start_h} to {load.end_h} of load {load.load_id}."
        )
    if not 0 <= load.turn_h < math.inf:
        raise ValueError(f"`turn_h` must be 0 or more; got {load.turn_h} of load {load.load_id}.")
    if not 0 < load.weight <= 1:
        raise ValueError(f"`weight` must be above 0, up to 1; got {load.weight} of load {load.load_id}.")
    if len(load.present) > 2 or len(set(load.present)) < len(load.present):
        raise ValueError(f"`present` must be at most two different sets; got {load.present} of load {load.load_id}.")
    for seat in load.present:
        if isinstance(seat, ToBuy) and not 1 <= seat.number <= MOST_LOADS:
            raise ValueError(f"`present` must number a set to buy 1 to {MOST_LOADS}; got {seat.number}.")
    if not set(load.locked) <= set(load.present) or len(set(load.locked)) < len(load.locked):
        raise ValueError(f"`locked` must be among `present`; got {load.locked} of load {load.load_id}.")
    if any(isinstance(seat, ToBuy) for seat in load.locked):
        raise ValueError(f"`locked` must name sets that are here; got {load.locked} of load {load.load_id}.")
