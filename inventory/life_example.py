"""How the life left of one set comes about, step by step, in numbers: of a set of the shop, or of one made up.

The same functions as everywhere else do the work (inventory.wear_model); this only lays their numbers open. Areas are
m2, heights mm.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

import numpy as np

from inventory.life_record import model_of_set
from inventory.models import SetState, ToolType
from inventory.models.choices import Fitness, RetiredWhy
from inventory.numerics.life import chance_to_finish
from inventory.numerics.wear_path import rate_range, wear_path
from inventory.shop_settings import REFERENCE_CLASS, ShopSettings, floor_factor
from inventory.wear_model import TypeModel, fit_models
from inventory.wear_rows import SetRow, scale_of

__all__ = ["Example", "FloorWorked", "Step", "example_of", "made_up"]


@dataclass(frozen=True)
class FloorWorked:
    """What a set worked on one kind of floor. floor_class: "hardness|surface|wet or dry|step kind"."""

    floor_class: str
    worked_m2: float
    factor: float

    @property
    def reference_m2(self) -> float:
        """Worked area x floor factor."""
        return self.worked_m2 * self.factor


@dataclass(frozen=True)
class Example:
    """The numbers of one set in the order in which they come about.

    past_m2: reference area believed, of a set with an unknown past. usable_mm: new less retire height; heights: read so
    far; today_mm: likely today, at least, up to. own_m2, type_m2: reference area that the usable height lasts at this
    set's rate, and at that of the type's middle set: at least, likely, up to. left_m2: at least, likely, up to.
    """

    tool_type: ToolType
    floors: tuple[FloorWorked, ...]
    past_m2: float
    used_m2: float
    new_mm: float | None
    retire_mm: float | None
    usable_mm: float
    heights: tuple[float, ...]
    today_mm: tuple[float, float, float]
    rated_m2: float
    worn_out: int
    type_m2: tuple[float, float, float]
    own_m2: tuple[float, float, float]
    left_m2: tuple[float, float, float]
    usual_class: str
    factor: float
    model: TypeModel
    place: int

    @property
    def left_on_floor_m2(self) -> tuple[float, float, float]:
        """Life left as worked area of the floor it usually works on."""
        low, likely, high = self.left_m2
        return low / self.factor, likely / self.factor, high / self.factor

    def step_of(self, reference_m2: float) -> Step:
        """The chance that it finishes a step of so much reference area."""
        known = self.model.lives(np.array([self.place]))
        return Step(reference_m2, float(chance_to_finish(known, reference_m2)[0]))


@dataclass(frozen=True)
class Step:
    """A step ahead: reference area asked of the set, and the chance that it finishes it."""

    reference_m2: float
    chance: float


def example_of(state: SetState, settings: ShopSettings) -> Example | None:
    """The numbers of a set of the shop that runs; None where nothing can be said. state: with its type. Two queries."""
    if state.fitness == Fitness.RETIRED:
        return None
    model = model_of_set(state, settings)
    return None if model is None else _example(model, 0, state.wear, settings)


def made_up(settings: ShopSettings) -> Example:
    """The numbers of an invented set of an invented type of which three sets wore out; by the shop's own factors."""
    tool_type = ToolType(
        pk=0, name="400", grit="400", bond="resin", ladder_place=6, mount="", pieces_per_set=3, new_height_mm=12.0,
        retire_height_mm=2.0, rated_coverage_m2=5000.0,
    )  # fmt: skip
    later = REFERENCE_CLASS.replace("any", "ground")
    rows = [
        SetRow(UUID(int=number), _wear([({later: whole}, None)]), Fitness.RETIRED, RetiredWhy.WORN)
        for number, whole in enumerate((4300.0, 5200.0, 4700.0), 1)
    ]
    hard = later.replace("medium", "hard")
    wear = _wear([({later: 800.0}, None), ({hard: 1500.0}, 7.4)])
    rows.append(SetRow(UUID(int=9), wear))
    model = fit_models([tool_type], {0: rows}, replace(settings, floors={}), {0: 5000.0})[0]
    return _example(model, 3, wear, settings)


def _wear(stretches: list[tuple[dict[str, float], float | None]]) -> dict[str, Any]:
    """A new set's wear as states keep it: each area one measured use."""
    return {
        "opening": "new",
        "start_mm": None,
        "stretches": [
            {
                "at": f"2025-05-{10 + number}T12:00:00.000000+00:00" if read is not None else "",
                "entry": "",
                "areas": {key: [area, area * area, 0.0, 0.0, 0.0] for key, area in areas.items()},
                "read_mm": read,
                "restart": None,
            }
            for number, (areas, read) in enumerate(stretches)
        ],
    }


def _example(model: TypeModel, place: int, wear: Mapping[str, Any], settings: ShopSettings) -> Example:
    alone = replace(model, rows=(model.rows[place],), record=model.part(np.array([place])))
    known = model.lives(np.array([place]))
    usable = float(model.record.usable_mm)
    path = wear_path(alone.record, model.fit, model.factors, as_fitted=model.before(np.array([place])))
    scale = replace(scale_of(model.tool_type), usable_mm=usable)
    high, likely, low = np.maximum(scale.retire_mm + usable - path.wear_mm[-1], 0.0).tolist()
    load = alone.record.load_now
    # As a whole set: with pieces missing each of the others wears faster by the same floor.
    rates = [rate / (1.0 if load is None else float(load[0])) for rate in rate_range(known)]
    floors = _floors(alone)
    usual = max(floors, key=lambda one: one.worked_m2).floor_class if floors else REFERENCE_CLASS
    middle = model.fit.life_range_m2
    used = float(alone.used_m2[0])
    return Example(
        tool_type=model.tool_type,
        floors=floors,
        past_m2=max(used - sum(one.reference_m2 for one in floors), 0.0),
        used_m2=used,
        new_mm=model.tool_type.new_height_mm,
        retire_mm=model.tool_type.retire_height_mm,
        usable_mm=usable,
        heights=tuple(one["read_mm"] for one in wear.get("stretches", ()) if one["read_mm"] is not None),
        today_mm=(low, likely, high),
        rated_m2=model.rated_m2,
        worn_out=model.worn_out,
        type_m2=middle,
        own_m2=(usable / rates[2], usable / rates[1], usable / rates[0]),
        left_m2=(float(known.at_least_m2[0]), float(known.likely_m2[0]), float(known.up_to_m2[0])),
        usual_class=usual,
        factor=floor_factor(settings, *usual.split("|")),
        model=model,
        place=place,
    )


def _floors(alone: TypeModel) -> tuple[FloorWorked, ...]:
    """By kind of floor what the set worked, most first."""
    area = alone.record.segments.area_m2.sum(axis=0)
    factor = alone.factors.row(alone.record.classes)
    found = [
        FloorWorked(key, float(one), float(cost))
        for key, one, cost in zip(alone.record.classes, area, factor, strict=True)
        if one > 0
    ]
    return tuple(sorted(found, key=lambda one: -one.worked_m2))
