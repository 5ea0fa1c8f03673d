"""Whole lives of single sets, sound ones and such with one known fault, for the wear alarms (METHODS 1.4).

The shop around them is simulated as ever; its record is what the alarms may learn from. The sets judged here are
further sets of the same shop, followed from new (or from where a rack was taken over) until they are worn out, none
of them lost.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from inventory.numerics.wear import WearRecord
from tests.simulated.records import wear_record
from tests.simulated.scenarios import Scenario
from tests.simulated.shops import (
    FIRST_CUT,
    OWN_FACTORS,
    RATED_M2,
    RUNNING,
    USABLE_MM,
    WORN,
    ToolSet,
    TypeStory,
    _Dice,
    _Rack,
    clock_from_height,
    simulate_type,
)

Floats = npt.NDArray[np.float64]
SOUND = "healthy"
FAULTS = ("fast_later", "slow_later", "fast_new", "slow_new", "mis_keyed", "unlogged")
TITLES = {
    SOUND: "sound",
    "fast_later": "1.8 times too fast from a third of its life on",
    "slow_later": "slowed to half from a third of its life on",
    "fast_new": "1.8 times too fast from new",
    "slow_new": "half speed from new",
    "mis_keyed": "height mis-keyed by 3 of 12 mm",
    "unlogged": "a fifth of a life unlogged",
}
_PACE = {"fast_later": 1.8, "fast_new": 1.8, "slow_later": 0.5, "slow_new": 0.5}
MIS_KEYED_MM = 3.0
UNLOGGED_SHARE = 0.2


@dataclass(frozen=True)
class TypeLives:
    """One tool type: the record it is learnt from, and the lives to be judged with the fault of each."""

    record: WearRecord
    judged: WearRecord
    fault: tuple[str, ...]


def one_life(dice: _Dice, scenario: Scenario, mean: float, factors: Floats, fault: str) -> ToolSet:
    """Follow one set until it is worn: from new, or as the scenario's racks are taken over from where it stood then.

    Shares of its life (a third, a fifth) are of the life that the shop saw.
    """
    rack = _Rack(dice.rng, scenario, mean, factors, dice, 0)
    tool = rack.fresh()
    if scenario.opening:
        rack.enter(tool)
    hole = dice.rng.uniform(0.1, 0.7) if fault == "unlogged" else 2.0
    end, begun = clock_from_height(tool.usable_mm, scenario), tool.clock
    gone = 0.0  # with pieces changed the clock goes back: a fault that has begun stays
    while tool.ended == RUNNING:
        use = next(dice.uses)
        gone = max(gone, (tool.clock - begun) / (end - begun))
        pace = _PACE.get(fault, 1.0) if fault.endswith("new") or gone >= 1 / 3 else 1.0
        added = float(np.exp(tool.ln_rate)) * tool.load * factors[use.kind] * use.area_m2 * use.noise * pace
        share = min(1.0, (end - tool.clock) / added)
        tool.clock += added * share
        if not hole <= gone < hole + UNLOGGED_SHARE:
            tool.log(use.kind, use.area_m2 * share * use.logged, use.basis)
        if share < 1.0:
            tool.ended = WORN
            tool.close()
        else:
            rack.after(tool, use)
    return tool


def _mis_key(rng: np.random.Generator, tool: ToolSet) -> bool:
    """Move one height by 3 mm, up or down; up only where it stays below the new height. False without a height."""
    read = [row for row in tool.rows if np.isfinite(row.wear_mm)]
    if not read:
        return False
    row = read[int(rng.integers(len(read)))]
    up = row.wear_mm > MIS_KEYED_MM and rng.random() < 0.5
    row.wear_mm += -MIS_KEYED_MM if up else MIS_KEYED_MM
    return True


def _asked_for(tool: ToolSet, scenario: Scenario) -> bool:
    """Whether a life is one that the scenario is about: dressed, pieces changed or lost, where it is about those."""
    return {"dressed": tool.dressed, "pieces": tool.changed}.get(scenario.scored, 1) > 0


def lives_of_type(
    rng: np.random.Generator, dice: _Dice, scenario: Scenario, mean: float, factors: Floats, counts: dict[str, int]
) -> tuple[list[ToolSet], tuple[str, ...]]:
    """Draw so many lives of each fault."""
    tools: list[ToolSet] = []
    for fault, count in counts.items():
        while count:
            tool = one_life(dice, scenario, mean, factors, fault)
            if not _asked_for(tool, scenario) or (fault == "mis_keyed" and not _mis_key(rng, tool)):
                continue
            tools.append(tool)
            count -= 1
    return tools, tuple(fault for fault, count in counts.items() for _ in range(count))


def simulate_lives(
    seed: np.random.SeedSequence, scenario: Scenario, worn: int, counts: dict[str, int], types_differ: float = 0.0
) -> tuple[TypeLives, ...]:
    """Make one shop of six types as `shops.simulate` does, and further lives of each type to be judged.

    types_differ: SD of ln of the spread of rates among the six types, which else is the same for all.
    """
    rng = np.random.default_rng(seed)
    factors = OWN_FACTORS * np.exp(rng.normal(0, 1, 6) * scenario.factor_spread)
    factors[0] = 1.0
    mix = rng.dirichlet((2.0, 1.2, 1.2))
    shift = rng.normal(0.15, 0.2) + scenario.hopeful
    found = []
    for rated, first in zip(RATED_M2, FIRST_CUT, strict=True):
        mean = np.log(USABLE_MM / rated) + shift + rng.normal(0, 0.2)
        own = scenario
        if types_differ:
            own = replace(scenario, rate_spread=scenario.rate_spread * float(np.exp(rng.normal(0, types_differ))))
        story = simulate_type(rng, own, worn, rated, mean, factors, mix, first)
        tools, fault = lives_of_type(rng, _Dice(rng, own, mix, first), own, mean, factors, counts)
        judged = wear_record(TypeStory(rated, mean, tuple(tools), (), ()))
        found.append(TypeLives(wear_record(story), judged, fault))
    return tuple(found)


__all__ = ["FAULTS", "SOUND", "TITLES", "TypeLives", "simulate_lives"]
