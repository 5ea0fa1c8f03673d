"""Curves kept for pages answer as the wear model does, and come back from the database as they went."""

from __future__ import annotations

import numpy as np
import pytest

from inventory.numerics.life import Lives, chance_to_finish, chance_two_finish, lives
from inventory.numerics.life_curves import LifeCurves, curves_of
from inventory.numerics.wear import Ended, Segments, WearRecord
from inventory.numerics.wear_fit import TypeFit, fit

USED = (0.0, 800.0, 2500.0, 4200.0, 5800.0)


@pytest.fixture(scope="module")
def known() -> tuple[Lives, TypeFit]:
    """Five sets of one type: new to nearly worn, the middle one read, and one that ended worn out."""
    n = len(USED) + 1
    area = np.array([*USED, 5000.0])[:, None]
    square = np.zeros((n, 1, 4))
    square[:, 0, 0] = area[:, 0] ** 2 / 10
    wear = np.full(n, np.nan)
    wear[2] = 5.0
    segments = Segments(
        np.arange(n), area, square, wear, np.full(n, 0.3), np.full(n, np.nan), np.full(n, 0.3), np.zeros(n, dtype=bool)
    )
    ended = np.array([Ended.RUNNING] * (n - 1) + [Ended.WORN])
    zero = np.zeros(n)
    record = WearRecord(6000.0, "resin", 12.0, 0.48, ("floor",), zero, zero, np.ones(n, dtype=bool), ended, segments)
    type_fit = fit([record], [1.0]).per_type[0]
    assert type_fit is not None
    return lives(record, type_fit, [1.0]), type_fit


def test_a_step_and_a_pair_have_the_models_chances(known: tuple[Lives, TypeFit]) -> None:
    left, type_fit = known
    curves = curves_of(left, type_fit.tau)
    for area in (1.0, 150.0, 900.0, 2500.0, 6000.0, 20_000.0):
        exact = chance_to_finish(left, area)
        ours = curves.chance_to_finish(np.full(curves.size, area))
        # Straight lines between knots: within .004 where it matters, .008 in the far tail.
        assert ours[exact > 0.05] == pytest.approx(exact[exact > 0.05], abs=0.004)
        assert ours == pytest.approx(exact, abs=0.008)
        for first in (0, 2, 4):
            together = curves.chance_with(first, area)
            for other in range(len(USED)):
                if other != first:
                    pair = chance_two_finish(left, first, other, area)
                    assert together[other] == pytest.approx(pair, abs=0.008)
            assert (together >= exact[first] - 0.008).all()


def test_what_is_kept_comes_back_within_seven_digits(known: tuple[Lives, TypeFit]) -> None:
    left, type_fit = known
    curves = curves_of(left, type_fit.tau)
    again = LifeCurves.from_bytes(curves.to_bytes())
    for name in ("top_m2", "tau", "tau_weight", "usual", "step", "still"):
        assert getattr(again, name) == pytest.approx(getattr(curves, name), rel=1e-6, abs=1e-7)
    part = again.part(np.array([3, 1]))
    assert part.chance_to_finish(np.array([500.0, 500.0])) == pytest.approx(
        again.chance_to_finish(np.full(again.size, 500.0))[[3, 1]]
    )


def test_curves_fall_from_one_and_a_worn_out_set_has_none(known: tuple[Lives, TypeFit]) -> None:
    left, type_fit = known
    curves = curves_of(left, type_fit.tau)
    for curve in (curves.usual, curves.step):
        assert (np.diff(curve, axis=1) <= 0).all()
        assert curve[:, 0].tolist() == [1.0] * len(USED) + [0.0]
    assert curves.tau_weight.sum(axis=1) == pytest.approx([1.0] * len(USED) + [0.0])
    assert curves.chance_to_finish(np.full(curves.size, 0.0)).tolist() == [1.0] * curves.size
    assert curves.chance_to_finish(np.full(curves.size, 10.0))[-1] == 0.0


def test_nothing_kept_is_no_curve_and_strings_of_others_are_refused() -> None:
    assert LifeCurves.from_bytes([]).size == 0
    for strange in ([b""], [b"abc"], [np.array([5.0, 1.0], dtype="<f4").tobytes()], [b"1234", b"12345678"]):
        with pytest.raises(ValueError, match="`stored` must be strings"):
            LifeCurves.from_bytes(strange)
