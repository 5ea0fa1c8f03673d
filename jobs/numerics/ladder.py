"""The ladder plan: from floors, finish and machines to steps, passes, hours, water, slurry, costs (METHODS 2).

`plan_ladder` checks, draws 1,000 worlds from a seed, and reports P10, P50 and P90 of every amount. In one world each
floor has one true area, each machine one efficiency, each tool type one life, each step on a floor its own passes.
Production = (path - overlap) x speed x efficiency / passes: REFERENCES P15. Pure: no Django, no clock.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from inventory.numerics.lognormal import Floats
from jobs.numerics.ladder_choice import ChosenSteps, checked_ladder, choose_steps
from jobs.numerics.ladder_facts import (
    JOB_KINDS,
    FloorZone,
    JobKind,
    Key,
    LadderMachine,
    LadderRefused,
    LadderSettings,
    LadderStep,
    Supply,
    check_factors,
)
from jobs.numerics.ladder_production import (
    cleaner_l,
    edge_hours,
    machine_for,
    pass_output,
    tank_loads,
    working_speed,
)
from jobs.numerics.ladder_result import Amount, LadderPlan, StepPlan, ZoneStep
from jobs.numerics.ladder_totals import RULES, TOTALS_ONLY, WHOLE, StepDone, cautions_of, supply_uses, totals_of
from jobs.numerics.passes import MOST_PASSES, PassChances, draw_passes, practice

DRAWS = 1000  # METHODS 2
_P90 = 1.2815515655446004  # of the normal distribution
# What one kind of thing draws its dice by; part of every answer with one seed, so never reuse a number.
_AREA, _EFFICIENCY, _LIFE, _PASSES = 1, 2, 3, 4


@dataclass(frozen=True)
class LadderQuestion:
    """What is asked.

    factors: reference areas one area of a floor class costs, by "hardness|surface|wet or dry|step kind". learnt: passes
    learnt, by floor class; practice where a class is missing. own_passes: passes a person set, by (zone, step).
    shift_h: hours of work in one shift.
    """

    zones: tuple[FloorZone, ...]
    ladder: tuple[LadderStep, ...]
    machines: tuple[LadderMachine, ...]
    factors: Mapping[str, float]
    finish_level: int
    kind: JobKind = "full"
    shift_h: float = 8.0
    learnt: Mapping[str, PassChances] = field(default_factory=dict)
    own_passes: Mapping[tuple[Key, Key], int] = field(default_factory=dict)
    supplies: tuple[Supply, ...] = ()
    settings: LadderSettings = field(default_factory=LadderSettings)


class _Dice:
    """Draws by what they are for and a place in the question, so that a floor more leaves the others as they were."""

    def __init__(self, seed: int, draws: int) -> None:
        if seed < 0:
            raise ValueError(f"`seed` must be 0 or more; got {seed}.")
        if draws < 1:
            raise ValueError(f"`draws` must be 1 or more; got {draws}.")
        self.seed, self.draws = seed, draws

    def _of(self, *key: int) -> np.random.Generator:
        return np.random.Generator(np.random.PCG64(np.random.SeedSequence(entropy=self.seed, spawn_key=key)))

    def around_one(self, sd: float, *key: int) -> Floats:
        """Lognormal with mean 1 and this SD of its logarithm, (d,)."""
        return np.asarray(np.exp(sd * self._of(*key).standard_normal(self.draws) - sd * sd / 2))

    def normal(self, *key: int) -> Floats:
        return self._of(*key).standard_normal(self.draws)

    def uniform(self, *key: int) -> Floats:
        return self._of(*key).random(self.draws)


@dataclass
class _StepDraws:
    """What a step came to in each world, (d,) each; mended in place while floors are added."""

    area: Floats
    worked: Floats
    reference: Floats
    running_h: Floats
    edge_worked: Floats
    solids_l: Floats
    zones: list[ZoneStep]


def plan_ladder(question: LadderQuestion, seed: int = 0, draws: int = DRAWS) -> LadderPlan:
    """The whole plan of a job, every amount with low, likely and high.

    seed: the shop's dice, 0 or more; the same question and seed give the same plan. draws: imagined worlds, d.
    Returns one StepPlan a step of the ladder, coarse to fine, over all floors that take it; quantities as METHODS 2.
    Raises: LadderRefused, naming the parameter and its value, for anything the plan cannot be made of: it is whole or
    refused.
    Limits: one machine runs one step; areas, efficiency and lives are drawn independently; slurry and solids are rough
    figures (depth removed is our assumption) and say nothing about what may be discharged (REFERENCES S7 to S9).
    """
    zones, settings = question.zones, question.settings
    if not zones:
        raise LadderRefused("no_zone", "`zones` must hold at least one floor; got none. Add a floor first.")
    if len({zone.key for zone in zones}) < len(zones):
        raise LadderRefused("zone_twice", "`zones` must hold each floor once; one key stands in it twice.")
    if question.kind not in JOB_KINDS:
        raise LadderRefused("kind", f"`kind` must be one of {', '.join(JOB_KINDS)}; got {question.kind!r}.")
    if not (math.isfinite(question.shift_h) and question.shift_h > 0):
        raise LadderRefused("shift", f"`shift_h` must be above 0; got {question.shift_h!r}.", value=question.shift_h)
    ladder = checked_ladder(question.ladder)
    chosen = tuple(choose_steps(zone, question.kind, question.finish_level, ladder, settings) for zone in zones)
    used = [step for step in ladder if any(step in one.steps for one in chosen)]
    running = {step.key: machine_for(step, question.machines, settings) for step in used}
    dice = _Dice(seed, draws)
    sd = settings.upkeep_area_sd if question.kind == "upkeep" else settings.area_sd
    areas = {
        zone.key: zone.area_m2 * settings.area_bias * dice.around_one(sd, _AREA, place)
        for place, zone in enumerate(zones)
    }
    efficiency = {
        machine.key: np.minimum(
            1.0,
            (machine.efficiency or settings.efficiency) * dice.around_one(settings.efficiency_sd, _EFFICIENCY, place),
        )
        for place, machine in enumerate(question.machines)
    }
    done: list[StepDone] = []
    for place, step in enumerate(used):
        machine = running[step.key]
        change = any(running[earlier.key] is machine for earlier in used[:place])
        done.append(
            _step(question, chosen, step, machine, dice, areas, efficiency, ladder.index(step), tool_change=change)
        )
    supplies, supply_cost = supply_uses(question.supplies, question.zones, chosen, areas)
    return LadderPlan(
        kind=question.kind,
        finish_level=question.finish_level,
        area_m2=math.fsum(zone.area_m2 for zone in zones),
        edge_m=math.fsum(zone.edge_m for zone in zones),
        chosen=chosen,
        steps=tuple(one.plan for one in done),
        supplies=supplies,
        totals=totals_of(question.settings, question.shift_h, question.zones, done, supply_cost),
        skipped=tuple({(s.coarser, s.finer): s for one in chosen for s in one.skipped}.values()),
        without_price=tuple(
            [step.key for step in used if step.price is None] + [use.supply for use in supplies if use.cost is None]
        ),
        without_life=tuple(step.key for step in used if step.life_m2 is None),
        cautions=cautions_of(done),
    )


def _passes(
    question: LadderQuestion, zone: FloorZone, step: LadderStep, floor_class: str, kind: str
) -> tuple[PassChances, str]:
    own = question.own_passes.get((zone.key, step.key))
    if own is not None:
        if own != int(own) or not 1 <= own <= MOST_PASSES:
            raise LadderRefused(
                "own_passes",
                f"`own_passes` of {step.key!r} on zone {zone.key!r} must be 1 to {MOST_PASSES}, whole; got {own}.",
                value=own,
            )
        chances = np.zeros(MOST_PASSES)
        chances[int(own) - 1] = 1.0
        return PassChances(chances, 0), "passes_own"
    known = question.learnt.get(floor_class)
    return (known, "passes_learnt") if known is not None else (practice(kind), "passes_practice")


def _step(
    question: LadderQuestion,
    chosen: Sequence[ChosenSteps],
    step: LadderStep,
    machine: LadderMachine,
    dice: _Dice,
    areas: Mapping[Key, Floats],
    efficiency: Mapping[Key, Floats],
    rung: int,
    *,
    tool_change: bool,
) -> StepDone:
    """One step of the ladder over all floors that take it."""
    settings = question.settings
    water = "dry" if "dry" in (step.wet_dry, machine.wet_dry) else "wet"
    speed, speed_rule = working_speed(machine, settings)
    a_pass_h = pass_output(machine, settings, efficiency[machine.key])  # m2 of one pass an hour, (d,)
    nothing = np.zeros(dice.draws)
    sums = _StepDraws(nothing, nothing, nothing, nothing, nothing, nothing, [])
    for place, (zone, one) in enumerate(zip(question.zones, chosen, strict=True)):
        if step in one.steps:
            kind = one.kinds[one.steps.index(step)]
            _add_zone(question, sums, zone, step, kind, water, areas[zone.key], a_pass_h, dice, (_PASSES, place, rung))
    flow = settings.flow_l_per_min if machine.flow_l_per_min is None else machine.flow_l_per_min
    water_l = sums.running_h * 60 * flow if water == "wet" else nothing
    recovered = settings.recovered_share * water_l
    fills, fills_rule = tank_loads(water_l, machine.tank_l, "tank_emptied_each_change", "no_tank_said")
    empties, empties_rule = tank_loads(recovered, machine.recovery_tank_l, "recovered_share", "no_recovery_tank_said")
    hours = sums.running_h + tool_change * settings.change_h + np.maximum(fills - 1, 0) * settings.refill_h
    edge_h, edge_rule = edge_hours(question.machines, settings, sums.edge_worked, efficiency)
    elapsed = np.maximum(hours, edge_h) if settings.edge_alongside else hours + edge_h
    share, cost, sets = None, None, None
    if step.life_m2 is not None:
        share = sums.reference / _life(step.life_m2, dice.normal(_LIFE, rung))
        sets = max(1, math.ceil(np.quantile(share, settings.finish_limit, method="inverted_cdf") - 1e-9))
        cost = None if step.price is None else share * step.price
    draws = {
        "worked_m2": sums.worked,
        "reference_m2": sums.reference,
        "edge_worked_m2": sums.edge_worked,
        "hours": hours,
        "edge_hours": edge_h,
        "elapsed_hours": elapsed,
        "water_l": water_l,
        "cleaner_l": cleaner_l(water_l, settings.cleaner_ratio),
        "fills": fills,
        "empties": empties,
        "slurry_l": recovered + sums.solids_l if water == "wet" else nothing,
        "solids_kg": sums.solids_l * settings.solids_kg_per_l,
        "tools": nothing if cost is None else cost,
        "machines": hours * (machine.rate_per_h or 0.0),
    }
    rules = {**RULES, "fills": fills_rule, "empties": empties_rule, "edge_hours": edge_rule}
    if water == "dry":
        rules |= dict.fromkeys(("water_l", "cleaner_l", "fills", "empties", "slurry_l"), "worked_dry")
    said = {name: Amount.of(draws[name], rules[name], whole=name in WHOLE) for name in draws if name not in TOTALS_ONLY}
    plan = StepPlan(
        step=step.key,
        bond=step.bond,
        grit=step.grit,
        machine=machine.key,
        water=water,
        speed_m_per_min=speed,
        speed_rule=speed_rule,
        tool_change=tool_change,
        zones=tuple(sums.zones),
        area_m2=Amount.of(sums.area, "area_error"),
        production_m2_per_h=Amount.of(sums.area / sums.running_h, "production"),
        share_used=None if share is None else Amount.of(share, "share_of_life"),
        sets_needed=sets,
        tool_cost=None if cost is None else Amount.of(cost, "price_by_share_used"),
        **said,
    )
    return StepDone(plan, draws)


def _add_zone(
    question: LadderQuestion,
    sums: _StepDraws,
    zone: FloorZone,
    step: LadderStep,
    kind: str,
    water: str,
    area: Floats,
    a_pass_h: Floats,
    dice: _Dice,
    key: tuple[int, ...],
) -> None:
    """Add one floor to a step's draws."""
    settings = question.settings
    floor_class = zone.floor_class(water, kind)
    check_factors(question.factors, [floor_class])
    factor = question.factors[floor_class]
    known, rule = _passes(question, zone, step, floor_class, kind)
    passes = draw_passes(known, dice.uniform(*key))
    worked = area * passes
    running_h = worked / a_pass_h
    edge_known = question.learnt.get(zone.floor_class(water, "edge"))
    # The same uniforms: a floor that asks for many passes asks for many along its edge too.
    edge_passes = passes if edge_known is None else draw_passes(edge_known, dice.uniform(*key))
    depth_mm = settings.first_depth_mm if kind == "first_cut" else settings.later_depth_mm
    sums.area = sums.area + area
    sums.worked = sums.worked + worked
    sums.reference = sums.reference + worked * factor
    sums.running_h = sums.running_h + running_h
    sums.edge_worked = sums.edge_worked + zone.edge_m * settings.edge_width_m * edge_passes
    sums.solids_l = sums.solids_l + area * depth_mm  # m2 x mm = L
    sums.zones.append(
        ZoneStep(
            zone=zone.key,
            step_kind=kind,
            floor_class=floor_class,
            factor=factor,
            planned_passes=known.planned,
            logged=known.logged,
            sections=math.ceil(zone.area_m2 / (zone.section_m2 or settings.section_m2) - 1e-9),
            passes=Amount.of(passes.astype(np.float64), rule, whole=True),
            worked_m2=Amount.of(worked, "area_times_passes"),
            reference_m2=Amount.of(worked * factor, "worked_times_factor"),
            hours=Amount.of(running_h, "production"),
        )
    )


def _life(life_m2: tuple[float, float, float], normal: Floats) -> Floats:
    """Lives of new sets drawn through P10, P50 and P90, (d,): lognormal on either side of the median.

    Our assumption: the wear model's own draws need the whole record, a bid is to be had in a minute.
    """
    low, likely, high = life_m2
    sd = np.where(normal < 0, math.log(likely / low), math.log(high / likely)) / _P90
    return np.asarray(likely * np.exp(sd * normal))
