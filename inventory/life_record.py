"""From one set's rows to what its life curve shows: readings, the wear path by the model, steps. Two queries.

The bridge beside inventory.estimate for a single set's page. Areas are reference areas, m2, heights mm.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np

from inventory import estimate
from inventory.estimate import SetLife, TypeModel
from inventory.life_curve import CurveFacts, CurvePoint, CurveStep, PathPoint
from inventory.models import SetState
from inventory.numerics.wear_path import wear_path
from inventory.shop_settings import ShopSettings, class_learnt
from inventory.wear_rows import FELL, PASSED_OVER, Scale, heights_doubted, scale_of

MOST_DRAWN = 300  # readings, the newest: more could not be told apart, and would make a page of megabytes


def model_of_set(state: SetState, settings: ShopSettings) -> TypeModel | None:
    """The wear model of a set's type with the record of that set alone; None where nothing can be said."""
    type_id = state.tool_set.tool_type_id
    model = estimate.models(settings, type_ids={type_id}, sets=[state.pk]).get(type_id)
    return None if model is None or model.set_ids != (state.pk,) else model


def curve_facts(
    state: SetState, model: TypeModel, life: SetLife | None, ladder: tuple[int, int], begun_at: datetime | None
) -> CurveFacts | None:
    """What the life curve of a set is drawn from; None for a type without its two heights.

    state: with its type; model: of this set alone (model_of_set). life: None for a retired set. ladder: its place and
    the number of places. begun_at: when the set began, for a height read then.
    """
    tool_type = state.tool_set.tool_type
    if tool_type.new_height_mm is None or tool_type.retire_height_mm is None:
        return None
    scale = replace(scale_of(tool_type), usable_mm=model.record.usable_mm)
    here = model.record.segments.area_m2 @ model.factors.row(model.record.classes)
    used = float(model.used_m2[0])
    past = max(used - float(here.sum()), 0.0)
    points, steps = _seen(state.wear, model, scale, past, begun_at)
    return CurveFacts(
        new_mm=tool_type.new_height_mm,
        retire_mm=tool_type.retire_height_mm,
        rated_m2=tool_type.rated_coverage_m2,
        life=life,
        points=points[-MOST_DRAWN:],
        runs=_runs(model, scale, past),
        steps=steps,
        place=ladder[0],
        count=ladder[1],
        past_m2=past,
        readings=len(points),
    )


def height_today(model: TypeModel) -> PathPoint | None:
    """The lowest piece today by the model of one set alone; None for a type without its two heights."""
    if model.tool_type.new_height_mm is None or model.tool_type.retire_height_mm is None:
        return None
    scale = replace(scale_of(model.tool_type), usable_mm=model.record.usable_mm)
    return _runs(model, scale, 0.0)[-1][-1]


def _runs(model: TypeModel, scale: Scale, past_m2: float) -> tuple[tuple[PathPoint, ...], ...]:
    path = wear_path(model.record, model.fit, model.factors, as_fitted=model.before(np.array([0])))
    height = np.maximum(scale.retire_mm + scale.usable_mm - path.wear_mm, 0.0)
    found: dict[int, list[PathPoint]] = {}
    for area, (high, likely, low), run in zip(path.reference_m2, height.tolist(), path.run.tolist(), strict=True):
        found.setdefault(run, []).append(PathPoint(past_m2 + float(area), low, likely, high))
    return tuple(tuple(points) for points in found.values())


def _seen(
    wear: Mapping[str, Any], model: TypeModel, scale: Scale, past_m2: float, begun_at: datetime | None
) -> tuple[tuple[CurvePoint, ...], tuple[CurveStep, ...]]:
    """Every height read and every new start, where it lies on the set's way."""
    factor = dict(zip(model.factors.classes, model.factors.factor.tolist(), strict=True))
    doubted = heights_doubted(model.tool_type, wear, scale)
    points: list[CurvePoint] = []
    steps: list[CurveStep] = []
    used = past_m2
    if wear.get("start_mm") is not None and begun_at is not None:
        points.append(CurvePoint(begun_at, used, wear["start_mm"]))
    for one in wear.get("stretches", ()):
        used += sum(area[0] * factor[class_learnt(key)] for key, area in one["areas"].items())
        if not one["at"]:
            continue
        at = datetime.fromisoformat(one["at"])
        if one["read_mm"] is not None:
            seen = doubted.get(one["entry"])
            points.append(CurvePoint(at, used, one["read_mm"], seen == PASSED_OVER))
            if seen == FELL:
                steps.append(CurveStep(at, used, "unlogged", None, one["read_mm"]))
        if (restart := one["restart"]) is not None:
            steps.append(CurveStep(at, used, restart["why"], one["read_mm"], restart["height_mm"]))
    return tuple(points), tuple(steps[-MOST_DRAWN:])
