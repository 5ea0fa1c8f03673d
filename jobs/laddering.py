"""The one bridge from rows to the ladder numerics: what the shop has and knows, as a question for a plan (METHODS 2).

``shop_ladder`` reads everything once, whatever the number of jobs; ``question_of`` and ``steps_for`` ask nothing more.
Prices are read for everybody and shown only to who may see money: that is the page's part.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any
from uuid import UUID

from inventory.estimate import learnt_of, new_life_of, ratings, types_with_fits
from inventory.models import Branch, Machine, ToolType
from inventory.models.choices import Condition, MachineKind, WetDry
from inventory.queries.catalogue import price_of
from inventory.shop_settings import ShopSettings, floor_factor, settings_of
from jobs.models import JobPlan, PlanStep
from jobs.numerics.ladder import LadderQuestion
from jobs.numerics.ladder_choice import ChosenSteps, choose_steps
from jobs.numerics.ladder_facts import (
    FloorZone,
    JobKind,
    LadderMachine,
    LadderRefused,
    LadderSettings,
    LadderStep,
    Misfit,
    Supply,
    floor_classes,
    life_from_rating,
    misfits,
)
from jobs.numerics.ladder_production import machine_for
from jobs.numerics.passes import PassChances, learn_by_class, practice
from jobs.plan_draft import PlannedZone
from jobs.queries.passes import finished_steps

HAND_KINDS = (MachineKind.HAND, MachineKind.EDGE)
# A shift of which nobody said how long it is: a night of 8 hours, our assumption.
SHIFT_H = 8.0
SUPPLIES = ("densifier", "guard", "edge_discs")


@dataclass(frozen=True)
class ShopLadder:
    """What plans are made of, read once. types: in use, by id; machines: those with a path on record, coarse facts.

    rows: every machine in use, by id; without_path: names of those that no hours can be worked out for.
    """

    settings: ShopSettings
    types: Mapping[int, ToolType]
    steps: tuple[LadderStep, ...]
    machines: tuple[LadderMachine, ...]
    rows: Mapping[int, Machine]
    without_path: tuple[str, ...]
    learnt: Mapping[str, PassChances]
    currency: str

    @property
    def numbers(self) -> LadderSettings:
        """The shop's settings as the ladder plan takes them."""
        return ladder_settings(self.settings)


def shop_ladder(branch: Branch, today: date) -> ShopLadder:
    """Tool types with price and life, machines, settings and learnt passes of a shop: eight queries, always."""
    settings = settings_of(branch, today=today)
    every = types_with_fits()
    rated = ratings(every)
    used = [one for one in every if one.active]
    prices = price_of((one.pk for one in used), today)
    spoken = {price.currency for price in prices.values()}
    currency = branch.currency if branch.currency in spoken or not spoken else sorted(spoken)[0]
    # Amounts of another currency do not add up: those types count as without a price.
    known = {pk: float(price.price) for pk, price in prices.items() if price.currency == currency}
    steps = [_step(one, rated, known.get(one.pk)) for one in used]
    rows = list(Machine.objects.filter(branch=branch, active=True).order_by("name"))
    return ShopLadder(
        settings=settings,
        types={one.pk: one for one in used},
        steps=tuple(sorted(steps, key=lambda step: (step.place, step.key))),
        machines=tuple(machine_of(row, settings) for row in rows if row.path_m),
        rows={row.pk: row for row in rows},
        without_path=tuple(row.name for row in rows if not row.path_m),
        learnt=learn_by_class(finished_steps(branch)),
        currency=currency,
    )


def step_of(tool_type: ToolType, **more: Any) -> LadderStep:
    """A tool type as a step of the ladder; a grit label that is no number takes no part in ratios."""
    return LadderStep(
        key=tool_type.pk,
        place=tool_type.ladder_place,
        grit=grit_number(tool_type.grit),
        bond=tool_type.bond,
        pieces=tool_type.pieces_per_set,
        mount=tool_type.mount,
        rotation=tool_type.rotation,
        wet_dry=tool_type.wet_dry,
        **more,
    )


def why_not(tool_type: ToolType, row: Machine) -> tuple[Misfit, ...]:
    """Why a tool type's sets do not fit a machine: the one rule that plans, pages and reservations go by."""
    # Neither path nor speed has a say in it.
    machine = LadderMachine(row.pk, 1.0, 1.0, 1.0, row.pieces_per_load, row.mount, row.rotation, row.wet_dry)
    return misfits(step_of(tool_type), machine)


def machine_of(row: Machine, settings: ShopSettings) -> LadderMachine:
    """A machine with a path on record, as the plan takes it; without speeds it goes at the shop's walking speed."""
    assert row.path_m
    usual = settings["work_speed"]
    low = row.speed_low_m_per_min or row.speed_high_m_per_min or usual
    return LadderMachine(
        key=row.pk,
        path_m=row.path_m,
        speed_low_m_per_min=low,
        speed_high_m_per_min=max(low, row.speed_high_m_per_min or low),
        pieces=row.pieces_per_load,
        mount=row.mount,
        rotation=row.rotation,
        wet_dry=row.wet_dry,
        overlap_m=min(settings["overlap_mm"] / 1000, 0.5 * row.path_m),
        tank_l=row.tank_l or None,
        recovery_tank_l=row.recovery_tank_l or None,
        hand=row.kind in HAND_KINDS,
    )


def grit_number(label: str) -> float | None:
    """The number of a grit label, None where it is no number above zero."""
    try:
        number = float(label)
    except ValueError:
        return None
    return number if math.isfinite(number) and number > 0 else None


def ladder_settings(settings: ShopSettings) -> LadderSettings:
    """The shop's settings as the numerics take them, in SI."""
    return LadderSettings(
        speed_m_per_min=settings["work_speed"],
        overlap_m=settings["overlap_mm"] / 1000,
        efficiency=settings["efficiency"],
        change_h=settings["change_minutes"] / 60,
        refill_h=settings["refill_minutes"] / 60,
        flow_l_per_min=settings["flow_l_per_min"],
        cleaner_ratio=settings["cleaner_ratio"],
        recovered_share=settings["recovered_share"],
        first_depth_mm=settings["first_depth_mm"],
        later_depth_mm=settings["later_depth_mm"],
        edge_width_m=settings["edge_width_mm"] / 1000,
        edge_m2_per_h=settings["edge_m2_per_h"],
        section_m2=settings["section_m2"],
        area_sd=settings["area_spread"],
        grit_ratio=settings["grit_ratio"],
        hole_ratio=settings["hole_ratio"],
        finish_limit=settings["finish_limit"],
        last_grit_by_level=(
            settings["last_grit_flat"],
            settings["last_grit_satin"],
            settings["last_grit_polished"],
            math.inf,
        ),
    )


def floor_of(row: PlannedZone, steps: Collection[int] | None = None) -> FloorZone:
    """A planned floor as the plan takes it. steps: ids of the tool types a person chose for it, None: by rule."""
    return FloorZone(
        key=row.key,
        area_m2=row.area_m2,
        edge_m=row.edge_m,
        hardness=row.hardness,
        surface=row.surface,
        coating=row.coating,
        condition=None if row.condition == Condition.UNKNOWN else row.condition,  # type: ignore[arg-type]
        section_m2=row.zone.section_m2,
        steps=None if steps is None else tuple(steps),
    )


def one_a_place(steps: Iterable[LadderStep], machines: Sequence[LadderMachine]) -> tuple[LadderStep, ...]:
    """The ladder with one tool type a place: the first that fits a machine, then one with a price, then the oldest.

    Our assumption, for a shop that keeps several types of one grit; a person's own steps are taken as they are.
    """
    chosen: dict[int, LadderStep] = {}
    for step in steps:
        before = chosen.get(step.place)
        if before is None or _rank(step, machines) < _rank(before, machines):
            chosen[step.place] = step
    return tuple(chosen[place] for place in sorted(chosen))


def _rank(step: LadderStep, machines: Sequence[LadderMachine]) -> tuple[bool, bool, int]:
    fits = any(not misfits(step, machine) for machine in machines if not machine.hand)
    return (not fits, step.price is None, step.key)


def question_of(
    shop: ShopLadder,
    zones: Sequence[FloorZone],
    *,
    kind: str,
    finish_level: int,
    machines: Collection[int] | None = None,
    own_passes: Mapping[tuple[UUID, int], int] | None = None,
    shift_h: float = SHIFT_H,
) -> LadderQuestion:
    """A question for ``plan_ladder``. machines: ids of those that go along, None for all the shop has.

    own_passes: passes a person set, by (floor's key, tool type's id). No query.
    """
    going = tuple(one for one in shop.machines if machines is None or one.key in machines)
    named = {key for zone in zones for key in zone.steps or ()}
    ladder = one_a_place(shop.steps, going)
    if named:
        # A person's own steps stand, whatever else has their place.
        places = {step.place for step in shop.steps if step.key in named}
        own = [step for step in shop.steps if step.key in named]
        ladder = _apart([*own, *(step for step in ladder if step.place not in places)])
    return LadderQuestion(
        zones=tuple(zones),
        ladder=ladder,
        machines=going,
        factors={name: floor_factor(shop.settings, *name.split("|")) for name in floor_classes(zones)},
        finish_level=finish_level,
        kind=kind,  # type: ignore[arg-type]
        shift_h=shift_h,
        learnt=shop.learnt,
        own_passes=own_passes or {},
        supplies=supplies_of(shop.settings),
        settings=shop.numbers,
    )


def _apart(steps: Iterable[LadderStep]) -> tuple[LadderStep, ...]:
    """Steps of one place set apart, in order, so that a floor may take both (our assumption: the older type first)."""
    ordered = sorted(steps, key=lambda step: (step.place, step.grit or 0.0, step.key))
    before = [None, *ordered]
    return tuple(
        # Two types of one grit are one rung: the second takes no part in ratios.
        replace(step, place=place, grit=None if was and (was.bond, was.grit) == (step.bond, step.grit) else step.grit)
        for place, (was, step) in enumerate(zip(before, ordered, strict=False))
    )


def supplies_of(settings: ShopSettings) -> tuple[Supply, ...]:
    """What the shop said it uses by area and edge; what it said nothing of is left out. No prices are kept of them."""
    said = (
        Supply("densifier", per_m2=settings["densifier_l_per_m2"]),
        Supply("guard", per_m2=settings["guard_l_per_m2"]),
        Supply("edge_discs", per_edge_m=settings["edge_discs_per_m"]),
    )
    return tuple(one for one in said if one.per_m2 or one.per_edge_m)


@dataclass(frozen=True)
class ProposedStep:
    """A step proposed for one floor. passes: to plan with; rule: passes_practice or passes_learnt."""

    tool_type: ToolType
    passes: int
    step_kind: str
    wet_dry: str
    rule: str
    logged: int


@dataclass(frozen=True)
class ProposedLadder:
    """The steps proposed for one floor and the rules they came from."""

    chosen: ChosenSteps
    steps: tuple[ProposedStep, ...]


def steps_for(
    shop: ShopLadder, zone: FloorZone, *, kind: JobKind, finish_level: int, machines: Collection[int] | None = None
) -> ProposedLadder:
    """Steps and passes of one floor by its condition, the wanted finish and what was logged. No query.

    Raises: LadderRefused as ``choose_steps``, and for a step that no machine going along fits.
    """
    going = tuple(one for one in shop.machines if machines is None or one.key in machines)
    chosen = choose_steps(zone, kind, finish_level, one_a_place(shop.steps, going), shop.numbers)
    steps = []
    for step, step_kind in zip(chosen.steps, chosen.kinds, strict=True):
        water = step.wet_dry
        if going:
            machine = machine_for(step, going, shop.numbers)
            water = WetDry.DRY if WetDry.DRY in (step.wet_dry, machine.wet_dry) else WetDry.WET
        water = WetDry.DRY if water == WetDry.DRY else WetDry.WET
        known = shop.learnt.get(zone.floor_class(water, step_kind))
        chances = known or practice(step_kind)
        rule = "passes_practice" if known is None else "passes_learnt"
        steps.append(ProposedStep(shop.types[step.key], chances.planned, step_kind, water, rule, chances.logged))
    return ProposedLadder(chosen, tuple(steps))


def question_of_plan(shop: ShopLadder, plan: JobPlan) -> LadderQuestion:
    """The question a kept plan asks: its own floors, steps, passes and machines; whole plan prefetched, no query.

    Raises: LadderRefused for a plan without floors or steps, or with a tool type that is out of use.
    """
    steps = list(plan.steps.all())
    if not steps:
        raise LadderRefused("no_steps", "`plan` must have at least one step; got none.")
    by_zone: dict[UUID, list[PlanStep]] = {}
    for step in steps:
        by_zone.setdefault(step.zone_key, []).append(step)
    zones = [
        floor_of(planned_zone(row), [step.tool_type_id for step in by_zone[row.key]])
        for row in plan.zones.all()
        if row.key in by_zone
    ]
    machines = {row.machine_id for shift in plan.shifts.all() for row in shift.machine_rows.all()}
    machines &= {one.key for one in shop.machines}
    lengths = [(shift.ends_at - shift.starts_at).total_seconds() / 3600 for shift in plan.shifts.all()]
    known = {step.tool_type_id: step.tool_type for step in steps}
    missing = [one for pk, one in known.items() if pk not in shop.types]
    if missing:
        # Out of use since: planned all the same, nothing known of price and life.
        more = tuple(step_of(one) for one in missing)
        shop = replace(shop, types={**shop.types, **{one.pk: one for one in missing}}, steps=(*shop.steps, *more))
    return question_of(
        shop,
        zones,
        kind=plan.kind,
        finish_level=plan.finish_level or 1,
        machines=machines or None,
        own_passes={(step.zone_key, step.tool_type_id): step.passes for step in steps},
        shift_h=sum(lengths) / len(lengths) if lengths else SHIFT_H,
    )


def planned_zone(row: Any) -> PlannedZone:
    """A kept floor of a version as plain values."""
    return PlannedZone(
        row.zone, row.area_m2, row.edge_m, row.hardness, row.surface, row.coating, row.key, row.condition
    )


def _step(tool_type: ToolType, rated: Mapping[int, float], price: float | None) -> LadderStep:
    learnt = learnt_of(tool_type)
    if learnt is not None:
        low, likely, high = new_life_of(learnt)
        return step_of(tool_type, life_m2=(low, likely, high), price=price)
    life = life_from_rating(rated[tool_type.pk]) if tool_type.pk in rated else None
    return step_of(tool_type, life_m2=life, price=price)


__all__ = [
    "ProposedLadder",
    "ProposedStep",
    "ShopLadder",
    "floor_of",
    "ladder_settings",
    "machine_of",
    "question_of",
    "question_of_plan",
    "shop_ladder",
    "step_of",
    "steps_for",
    "why_not",
]
