"""Simulated shops in the words of the wear model: what the shop wrote down, as `WearRecord`."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from inventory.numerics.wear import Ended, Segments, WearRecord
from tests.simulated.scenarios import Scenario
from tests.simulated.shops import CLASSES, READING_ERROR_MM, USABLE_MM, USABLE_SPREAD_MM, Row, ShopStory, TypeStory

Floats = npt.NDArray[np.float64]
BOND = "metal"
USABLE_ERROR_MM = max(0.04 * USABLE_MM, 0.2)  # what a shop assumes of the true end (METHODS 0); the truth is .5
assert abs(USABLE_ERROR_MM - USABLE_SPREAD_MM) < 0.03


def _wear_kept(wear_mm: float) -> float:
    """A height above new is kept down to three reading errors; beyond, the page refuses it (METHODS 1.7)."""
    return float(max(wear_mm, -3 * READING_ERROR_MM))


def _segments(rows: list[tuple[int, Row]]) -> Segments:
    if not rows:
        return Segments.none(len(CLASSES))
    k = len(rows)
    restart = np.array([_wear_kept(row.restart_mm) for _, row in rows])
    return Segments(
        set_index=np.array([i for i, _ in rows], dtype=np.int64),
        area_m2=np.stack([row.area_m2 for _, row in rows]),
        square_m4=np.stack([row.square_m4 for _, row in rows]),
        wear_mm=np.array([_wear_kept(row.wear_mm) for _, row in rows]),
        error_mm=np.full(k, READING_ERROR_MM),
        restart_mm=restart,
        restart_error_mm=np.full(k, READING_ERROR_MM),
        forget=np.array([row.forget for _, row in rows], dtype=np.bool_),
        load=np.array([row.load for _, row in rows]),
    )


def wear_record(story: TypeStory) -> WearRecord:
    """Return what the shop knows of one tool type."""
    sets = story.sets
    return WearRecord(
        rated_m2=story.rated_m2,
        bond=BOND,
        usable_mm=USABLE_MM,
        usable_error_mm=USABLE_ERROR_MM,
        classes=CLASSES,
        start_mm=np.array([_wear_kept(tool.start_mm) for tool in sets]),
        start_error_mm=np.array([tool.start_error_mm for tool in sets]),
        from_new=np.array([tool.from_new for tool in sets], dtype=np.bool_),
        ended=np.array([Ended(tool.ended) for tool in sets], dtype=np.int64),
        segments=_segments([(i, row) for i, tool in enumerate(sets) for row in tool.rows]),
        load_now=np.array([tool.known_load for tool in sets]),
    )


def scored_sets(story: TypeStory, scenario: Scenario) -> npt.NDArray[np.intp]:
    """Positions within `running` of the sets whose prediction is scored."""
    sets = [story.sets[i] for i in story.running]
    match scenario.scored:
        case "dressed":
            keep = [tool.dressed > 0 for tool in sets]
        case "pieces":
            keep = [tool.changed > 0 for tool in sets]
        case _:
            keep = [True] * len(sets)
    return np.flatnonzero(keep)


def along_path(story: TypeStory, factors: Floats, picked: npt.NDArray[np.intp], r: Floats) -> Floats:
    """Return the worked area that reference areas r (n, k) by `factors` are worth along the sets' own future uses, m2.

    A prediction "so much reference area is left" is read along the uses that really came, by the rule's own factors; so
    every rule is scored in the same floor, and a wrong factor costs it what it costs the shop.
    """
    out = np.empty(r.shape)
    for row, i in enumerate(picked):
        future = story.futures[i]
        reference = np.concatenate([[0.0], np.cumsum(factors[future.kind] * future.area_m2)])
        worked = np.concatenate([[0.0], np.cumsum(future.area_m2)])
        beyond = np.maximum(r[row] - reference[-1], 0.0) * worked[-1] / reference[-1]
        out[row] = np.interp(r[row], reference, worked) + beyond
    return out


def truths(story: TypeStory, picked: npt.NDArray[np.intp]) -> Floats:
    """Worked area that the picked sets then did until they were worn, m2."""
    return np.array([story.futures[i].worked_m2 for i in picked])


def logged_area(story: TypeStory, factors: Floats) -> Floats:
    """Reference area that the shop logged for each set, by some factors, (sets,)."""
    return np.array([float(tool.area_by_class() @ factors) for tool in story.sets])


__all__ = ["ShopStory", "along_path", "logged_area", "scored_sets", "truths", "wear_record"]
