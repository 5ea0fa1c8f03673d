"""Sets with pieces missing: each piece does its share of what is missing, in the wear so far and in what is left.

Our assumption: a piece wears by the floor it works. No source outside.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from uuid import UUID

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.ledger.line import Line
from inventory.models import ToolType
from inventory.numerics.life import Lives, chance_capacity, chance_to_finish, lives
from inventory.numerics.life_curves import curves_of
from inventory.numerics.wear import FloorFactors, WearRecord
from inventory.numerics.wear_draws import draw_life_left
from inventory.numerics.wear_fit import TypeFit, fit
from inventory.numerics.wear_path import wear_path
from inventory.wear_rows import SetRow, record_of, scale_of
from jobs.numerics.lives import WearLives
from tests.inventory.ledger.test_wear import BORN, line, worked
from tests.inventory.test_wear_rows import row_of, tool_type

KIND: ToolType = tool_type(pieces_per_set=6)
LIFE = [worked(hour, 500.0, visit_uuid=f"visit {hour}") for hour in range(1, 13)]


def pieces(hour: float, count: int, came_in: int = 0, **columns: Any) -> Line:
    return line("pieces_changed", hour, pieces=count, pieces_in=came_in, **columns)


def record(*rows: SetRow) -> WearRecord:
    return record_of(KIND, [replace(row, set_id=UUID(int=number)) for number, row in enumerate(rows)], scale_of(KIND))


def learnt(found: WearRecord) -> tuple[TypeFit, FloorFactors]:
    factors = FloorFactors.of_shop(found.classes, np.ones(len(found.classes)))
    fitted = fit([found], factors).per_type[0]
    assert fitted is not None
    return fitted, factors


WHOLE = [row_of(BORN, *LIFE, line("retired", 13, retired_why="worn")), row_of(BORN, *LIFE[:3])]
FIT, FACTORS = learnt(record(*WHOLE))


def life(*lines: Line) -> Lives:
    """Life left of one set that the type's fit never saw."""
    return lives(record(row_of(*lines)), FIT, FACTORS, in_fit=False)


def test_a_set_that_was_whole_all_its_life_is_reckoned_as_before_to_the_last_bit() -> None:
    now = record(row_of(BORN, *LIFE[:4], pieces(5.5, 6, 1), *LIFE[5:7]))
    plain = replace(now, segments=replace(now.segments, load=None), load_now=None)
    with_load, without = (lives(one, FIT, FACTORS, in_fit=False) for one in (now, plain))
    assert (with_load.survival == without.survival).all()
    assert (with_load.likely_m2, with_load.remaining_share) == (without.likely_m2, without.remaining_share)


@pytest.mark.parametrize("kept", [1, 2, 3, 5])
def test_half_the_pieces_are_half_the_life_left(kept: int) -> None:
    share = kept / 6
    whole, part = life(BORN, *LIFE[:2]), life(BORN, *LIFE[:2], pieces(5, kept))
    # The height is what it was; the floor that it does is less. A use wears more of it, so the range may be wider.
    assert part.remaining_share == pytest.approx(whole.remaining_share)
    assert part.likely_m2 == pytest.approx(share * whole.likely_m2, rel=0.03)
    area = 0.8 * share * whole.likely_m2
    # Exactly so in a step, where the noise goes with the step: the same chance for that share of the floor.
    assert chance_to_finish(part, area) == pytest.approx(chance_to_finish(whole, area / share), abs=1e-12)
    assert chance_capacity(part, 0.9).area_m2[0, 0] < chance_capacity(whole, 0.9).area_m2[0, 0]


def test_curves_and_draws_count_the_missing_pieces_alike() -> None:
    whole, part = record(row_of(BORN, *LIFE[:2])), record(row_of(BORN, *LIFE[:2], pieces(5, 3)))
    curves = [curves_of(lives(one, FIT, FACTORS, in_fit=False), FIT.tau) for one in (whole, part)]
    assert curves[1].chance_to_finish(np.array([900.0])) == pytest.approx(
        curves[0].chance_to_finish(np.array([1800.0])), abs=0.005
    )
    rng = np.random.default_rng(4)
    world, theta, end = rng.random(400), rng.random((1, 400)), rng.random((1, 400))
    drawn = [draw_life_left(one, FIT, FACTORS, world, theta, end) for one in (whole, part)]
    assert drawn[1] == pytest.approx(drawn[0] / 2)
    # As the forecast asks it.
    asked = [
        WearLives(6000.0, ("a",), one, FIT, FACTORS, one).draw(["a"], world, theta, end)  # type: ignore[arg-type, list-item]
        for one in (whole, part)
    ]
    assert asked[1] == pytest.approx(asked[0] / 2)


def test_a_piece_put_back_restores_the_life_left() -> None:
    gone, back = pieces(5, 3), pieces(6, 6, 3)
    assert life(BORN, *LIFE[:2], gone, back).likely_m2 == pytest.approx(life(BORN, *LIFE[:2]).likely_m2)


def test_work_done_with_half_the_pieces_has_worn_them_twice_as_much() -> None:
    # Without a height each way to the same wear of a piece says the same of what it has left.
    half = life(BORN, pieces(0.5, 3), *LIFE[:2], pieces(5, 6, 3))
    twice = life(BORN, *[worked(hour, 1000.0, visit_uuid=f"visit {hour}") for hour in (1, 2)])
    assert half.likely_m2 == pytest.approx(twice.likely_m2)
    assert half.remaining_share == pytest.approx(twice.remaining_share)


def test_a_set_that_came_with_pieces_missing_counts_so_from_its_beginning() -> None:
    part = record(row_of(line("received", 0, branch="1", pieces=4), *LIFE[:2]))
    assert part.segments.load is not None
    assert part.load_now is not None
    assert (part.segments.load.tolist(), part.load_now.tolist()) == ([1.5], [1.5])


def test_heights_read_before_and_after_a_piece_was_lost_lie_on_one_path() -> None:
    # 1 mm after 1,000 m2 whole, 2 mm more after 1,000 m2 on half the pieces: the same rate all along.
    lines = [
        BORN, *LIFE[:2], line("measured", 2.5, lowest_height_mm=11.0), pieces(2.6, 3),
        *LIFE[2:4], line("measured", 4.5, lowest_height_mm=9.0),
    ]  # fmt: skip
    one = record(row_of(*lines))
    path = wear_path(one, FIT, FACTORS, in_fit=False)
    # Drawn over the floor that was really worked.
    assert path.reference_m2.tolist() == [0.0, 1000.0, 2000.0]
    assert path.wear_mm[:, 1] == pytest.approx([0.0, 1.0, 3.0], abs=0.15)
    steady = record(row_of(BORN, *LIFE[:6], line("measured", 7, lowest_height_mm=9.0)))
    known, other = (lives(each, FIT, FACTORS, in_fit=False) for each in (one, steady))
    assert known.remaining_share == pytest.approx(other.remaining_share, abs=0.02)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 6), st.floats(1.0, 900.0)), min_size=1, max_size=5))
def test_whatever_pieces_a_set_had_the_floor_behind_it_is_what_was_logged(steps: list[tuple[int, float]]) -> None:
    lines = [BORN]
    for number, (count, area) in enumerate(steps):
        lines += [pieces(2 * number + 1, count), worked(2 * number + 2, area, visit_uuid=f"visit {number}")]
    found = record(row_of(*lines))
    load = found.segments.load
    assert load is not None
    assert found.segments.area_m2.sum() == pytest.approx(sum(area for _count, area in steps))
    worn = (found.segments.area_m2.sum(axis=1) * load).sum()
    assert worn == pytest.approx(sum(area * 6 / count for count, area in steps))
