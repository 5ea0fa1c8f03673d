"""The whole job out of its steps' draws: totals, supplies, cautions, the price below which materials are not paid.

Pure. A total's draws are the sum of its steps' draws, world by world; its quantiles are taken last (METHODS 2).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from inventory.numerics.lognormal import Floats
from jobs.numerics.ladder_choice import ChosenSteps
from jobs.numerics.ladder_facts import FloorZone, Key, LadderRefused, LadderSettings, Supply
from jobs.numerics.ladder_result import Amount, LadderPlan, StepPlan, SupplyUse, Totals

# The code of the rule behind each amount of a step; those of tanks and edges depend on what goes along.
RULES: Mapping[str, str] = {
    "worked_m2": "area_times_passes",
    "reference_m2": "worked_times_factor",
    "edge_worked_m2": "edge_width_times_passes",
    "hours": "running_and_changes",
    "elapsed_hours": "machine_and_edges",
    "water_l": "flow_while_running",
    "cleaner_l": "cleaner_ratio",
    "slurry_l": "recovered_water_and_solids",
    "solids_kg": "depth_removed",
}
WHOLE = ("fills", "empties")  # counts
TOTALS_ONLY = ("tools", "machines")  # money: steps say their own
_CAUTIONS_ALWAYS = ("battery", "lifting")


@dataclass(frozen=True)
class StepDone:
    """A finished step: its plan, and by name the draws that totals are made of, (d,) each."""

    plan: StepPlan
    draws: Mapping[str, Floats]


@dataclass(frozen=True)
class PriceFloor:
    """What the materials of a job cost: a price below it pays for no tool set.

    tools, supplies, together: of the whole job; per_m2: together by planned area. complete: False where a step or a
    supply has no price or no life and stands outside.
    """

    tools: Amount
    supplies: Amount
    together: Amount
    per_m2: Amount
    complete: bool


def price_floor(plan: LadderPlan) -> PriceFloor:
    """The price floor for tools and supplies out, with low and high; nothing of crew, machines or profit is in it."""
    together, area = plan.totals.materials, plan.area_m2
    per_m2 = Amount(
        together.low / area, together.likely / area, together.high / area, together.mean / area, "by_planned_area"
    )
    complete = not plan.without_price and not plan.without_life
    return PriceFloor(plan.totals.tools, plan.totals.supplies, together, per_m2, complete)


def zone_of_area(area_m2: float, *, key: Key = "floor", hardness: str = "unknown", surface: str = "raw") -> FloorZone:
    """A floor of which nothing but the area is known, for a bid in a minute.

    Its edge is that of a square of this area: our assumption, walls and shelving make it longer.
    Raises: LadderRefused for no area.
    """
    edge_m = 4 * math.sqrt(area_m2) if math.isfinite(area_m2) and area_m2 > 0 else 0.0
    return FloorZone(key, area_m2, edge_m, hardness, surface)


def supply_uses(
    supplies: Sequence[Supply],
    zones: Sequence[FloorZone],
    chosen: Sequence[ChosenSteps],
    areas: Mapping[Key, Floats],
) -> tuple[tuple[SupplyUse, ...], Floats]:
    """What is used of each supply, and the draws of what all with a price cost, (d,).

    A supply of one step counts for the floors that take the step, others once for every floor.
    """
    uses: list[SupplyUse] = []
    total = np.zeros_like(next(iter(areas.values())))
    for supply in supplies:
        amount = np.zeros_like(total)
        for zone, one in zip(zones, chosen, strict=True):
            if supply.step is None or any(step.key == supply.step for step in one.steps):
                amount = amount + areas[zone.key] * supply.per_m2 + zone.edge_m * supply.per_edge_m
        cost = None if supply.price is None else amount * supply.price
        if cost is not None:
            total = total + cost
        uses.append(
            SupplyUse(
                supply.key,
                Amount.of(amount, "use_by_area_and_edge"),
                None if cost is None else Amount.of(cost, "price_by_use"),
            )
        )
    return tuple(uses), total


def totals_of(
    settings: LadderSettings, shift_h: float, zones: Sequence[FloorZone], done: Sequence[StepDone], supplies: Floats
) -> Totals:
    """Totals of all steps; supplies: draws of their cost, (d,).

    shift_h: hours of work in a shift; shifts = elapsed hours over it, rounded up in each world.
    """
    if not done:
        raise LadderRefused("no_steps", "`done` must hold at least one step; got none.")
    sums: dict[str, Floats] = {name: np.sum([one.draws[name] for one in done], axis=0) for name in done[0].draws}
    crew = None if settings.crew_per_h is None else sums["elapsed_hours"] * settings.crew_per_h
    rented = bool(np.any(sums["machines"] > 0))
    materials = sums["tools"] + supplies
    cost = materials + sums["machines"] + (0.0 if crew is None else crew)
    said = {
        name: Amount.of(draws, "sum_of_steps", whole=name in WHOLE)
        for name, draws in sums.items()
        if name not in TOTALS_ONLY
    }
    return Totals(
        shifts=Amount.of(np.ceil(sums["elapsed_hours"] / shift_h - 1e-9), "elapsed_over_shift", whole=True),
        tools=Amount.of(sums["tools"], "sum_of_steps"),
        supplies=Amount.of(supplies, "sum_of_supplies"),
        materials=Amount.of(materials, "tools_and_supplies"),
        crew=None if crew is None else Amount.of(crew, "crew_by_hour"),
        machines=Amount.of(sums["machines"], "rent_by_hour") if rented else None,
        cost=Amount.of(cost, "all_that_is_known"),
        tool_changes=sum(one.plan.tool_change for one in done),
        sections=sum(math.ceil(zone.area_m2 / (zone.section_m2 or settings.section_m2) - 1e-9) for zone in zones),
        **said,
    )


def cautions_of(done: Sequence[StepDone]) -> tuple[str, ...]:
    """Topics of the usual cautions this work calls for; makers' sheets and local codes come before them.

    Dust stands at every job: worked wet it is kept down, dry it is only worked with extraction (REFERENCES S1, S3).
    Wet work: alkaline slurry (S7, S8), waste water by local rules (S9), a floor that slips.
    """
    wet = any(one.plan.water == "wet" for one in done)
    return ("silica_dust", *(("slurry", "waste_water", "wet_floor") if wet else ()), *_CAUTIONS_ALWAYS)
