"""What a ladder plan says: amounts with low, likely and high, by step and in all, each with the rule it came from.

Pure. Quantiles are of the draws of that very amount: totals are never sums of quantiles (METHODS 2). Means do add up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from inventory.numerics.lognormal import Floats
from jobs.numerics.ladder_choice import ChosenSteps, SkippedGrit
from jobs.numerics.ladder_facts import JobKind, Key

SHARES = (0.1, 0.5, 0.9)


@dataclass(frozen=True)
class Amount:
    """An amount as drawn: low (P10), likely (P50), high (P90), its mean, and the code of the rule behind it."""

    low: float
    likely: float
    high: float
    mean: float
    rule: str

    @classmethod
    def of(cls, draws: Floats, rule: str, *, whole: bool = False) -> Amount:
        """From draws (d,); whole: counts, whose quantiles are numbers that were drawn."""
        ordered = np.sort(draws)
        low, likely, high = (_counted(ordered, share) if whole else _between(ordered, share) for share in SHARES)
        return cls(low, likely, high, float(draws.mean()), rule)


def _counted(ordered: Floats, share: float) -> float:
    """The smallest of sorted draws with at least this share at or below it: numpy's "inverted_cdf".

    A plan takes hundreds of quantiles of few draws: numpy's own function costs ten times as much as the sorting.
    """
    return float(ordered[max(0, math.ceil(len(ordered) * share) - 1)])


def _between(ordered: Floats, share: float) -> float:
    """The quantile between neighbours of sorted draws: numpy's "linear"."""
    place = (len(ordered) - 1) * share
    below = math.floor(place)
    low, high, part = float(ordered[below]), float(ordered[min(below + 1, len(ordered) - 1)]), place - below
    return low + (high - low) * part if part < 0.5 else high - (high - low) * (1 - part)


@dataclass(frozen=True)
class ZoneStep:
    """One step on one floor.

    step_kind: first_cut, later or upkeep. floor_class, factor: what its reference area is counted with. passes: rule
    passes_practice, passes_learnt (`logged` steps of record) or passes_own. planned_passes: whole, for the plan.
    worked_m2, reference_m2, hours: machine. sections: pieces the floor is worked through in.
    """

    zone: Key
    step_kind: str
    floor_class: str
    factor: float
    planned_passes: int
    logged: int
    sections: int
    passes: Amount
    worked_m2: Amount
    reference_m2: Amount
    hours: Amount


@dataclass(frozen=True)
class StepPlan:
    """One step of the ladder over all floors that take it.

    machine: the one that runs it (rule: widest output of those that fit). water: wet or dry. speed_rule: speed_working
    (about 1 mph lies in its range) or speed_middle. tool_change: whether its set is put on after another one.
    production_m2_per_h: finished area an hour, all passes done. sets_needed: with at least the shop's chance, if all
    are new; None without a life. share_used: of one new set's life. tool_cost: None without price or life. slurry_l:
    0 where worked dry. fills, empties: 0 without a tank, see their rules.
    """

    step: Key
    bond: str
    grit: float | None
    machine: Key
    water: str
    speed_m_per_min: float
    speed_rule: str
    tool_change: bool
    zones: tuple[ZoneStep, ...]
    area_m2: Amount
    worked_m2: Amount
    reference_m2: Amount
    production_m2_per_h: Amount
    hours: Amount
    edge_worked_m2: Amount
    edge_hours: Amount
    elapsed_hours: Amount
    water_l: Amount
    cleaner_l: Amount
    fills: Amount
    empties: Amount
    slurry_l: Amount
    solids_kg: Amount
    share_used: Amount | None
    sets_needed: int | None
    tool_cost: Amount | None


@dataclass(frozen=True)
class SupplyUse:
    """What is used of one supply; cost None without a price."""

    supply: Key
    amount: Amount
    cost: Amount | None


@dataclass(frozen=True)
class Totals:
    """The whole job. hours: machines'; elapsed_hours: of the crew, edges beside the machine or after it (setting).

    Costs in the shop's currency. tools, supplies: of what has a price. materials: both. crew, machines: None where no
    hourly rate is known; cost: all that is known together.
    """

    worked_m2: Amount
    reference_m2: Amount
    edge_worked_m2: Amount
    hours: Amount
    edge_hours: Amount
    elapsed_hours: Amount
    shifts: Amount
    water_l: Amount
    cleaner_l: Amount
    fills: Amount
    empties: Amount
    slurry_l: Amount
    solids_kg: Amount
    tools: Amount
    supplies: Amount
    materials: Amount
    crew: Amount | None
    machines: Amount | None
    cost: Amount
    tool_changes: int
    sections: int


@dataclass(frozen=True)
class LadderPlan:
    """A whole plan. area_m2, edge_m: as given. without_price, without_life: steps and supplies left out of the costs.

    cautions: topics of the usual cautions that this work calls for.
    """

    kind: JobKind
    finish_level: int
    area_m2: float
    edge_m: float
    chosen: tuple[ChosenSteps, ...]
    steps: tuple[StepPlan, ...]
    supplies: tuple[SupplyUse, ...]
    totals: Totals
    skipped: tuple[SkippedGrit, ...]
    without_price: tuple[Key, ...]
    without_life: tuple[Key, ...]
    cautions: tuple[str, ...]
