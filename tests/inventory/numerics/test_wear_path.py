"""The wear of one set along its record: against conditioning one multivariate normal, and at its limits."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from inventory.numerics.life import lives
from inventory.numerics.wear import BASIS_ERROR, Ended, FloorFactors, Segments, WearRecord
from inventory.numerics.wear_fit import TypeFit, fit
from inventory.numerics.wear_path import rate_range, wear_path

NAN = float("nan")


def record(*rows: tuple[float, float, float], **more: Any) -> WearRecord:
    """One set, rated 5,000 m2 for 12 mm: stretches of (area, wear read or NaN, wear it begins again with or NaN)."""
    k = len(rows)
    area = np.array([[row[0]] for row in rows]).reshape(k, 1)
    square = np.zeros((k, 1, 4))
    square[:, 0, 0] = area[:, 0] ** 2
    forget = more.pop("forget", np.zeros(k, dtype=np.bool_))
    segments = Segments(
        np.zeros(k, dtype=np.int64),
        area,
        square,
        np.array([row[1] for row in rows]).reshape(k),
        np.full(k, 0.3),
        np.array([row[2] for row in rows]).reshape(k),
        np.full(k, 0.3),
        forget,
    )
    facts: dict[str, Any] = {
        "rated_m2": 5000.0,
        "bond": "resin",
        "usable_mm": 12.0,
        "usable_error_mm": 0.5,
        "classes": ("medium",),
        "start_mm": np.zeros(1),
        "start_error_mm": np.zeros(1),
        "from_new": np.ones(1, dtype=np.bool_),
        "ended": np.array([Ended.RUNNING]),
        "segments": segments,
    }
    return WearRecord(**(facts | more))


FACTORS = FloorFactors.of_shop(("medium",), [1.0])


def fitted(one: WearRecord) -> TypeFit:
    found = fit([one], FACTORS).per_type[0]
    assert found is not None
    return found


def pinned(one: WearRecord, tau: float, theta: float) -> TypeFit:
    """A fit that knows noise and rate: sigma and d so small that the grid holds one point."""
    known = fitted(one)
    return replace(
        known,
        centre=theta,
        beta=0.0,
        half_width=1e-6,
        d=np.zeros(1),
        sigma=np.array([1e-7]),
        tau=np.array([tau]),
        weight=np.ones((1, 1, 1)),
    )


def test_the_middle_of_the_path_is_the_conditional_mean_of_all_readings() -> None:
    # Given rate and noise, wear at the ends of stretches and the readings are one multivariate normal; conditioning it
    # (any text book of probability) must give what the recursion backwards gives.
    areas, read = np.array([800.0, 600.0, 900.0]), np.array([2.6, NAN, 4.4])
    one = record(*[(area, wear, NAN) for area, wear in zip(areas, read, strict=True)], ended=np.array([Ended.OTHER]))
    rate, tau = 12 / 5000, 0.3
    path = wear_path(one, pinned(one, tau, math.log(rate)), FACTORS, in_fit=False)
    # A stretch that ends with nothing joins the next.
    steps = np.array([800.0, 1500.0])
    squares = np.array([800.0**2, 600.0**2 + 900.0**2])
    noise = rate**2 * (tau**2 + BASIS_ERROR[0] ** 2) * squares
    reach = np.tril(np.ones((2, 2)))
    mean, cov = reach @ (rate * steps), reach @ np.diag(noise) @ reach.T
    gain = cov @ np.linalg.inv(cov + 0.09 * np.eye(2))
    smooth = mean + gain @ (np.array([2.6, 4.4]) - mean)
    sd = np.sqrt(np.diag(cov - gain @ cov))
    assert path.reference_m2 == pytest.approx([0, 800, 2300])
    assert path.wear_mm[0] == pytest.approx([0, 0, 0], abs=0.02)
    assert path.wear_mm[1:, 1] == pytest.approx(smooth, abs=0.01)
    assert path.wear_mm[1:, 2] - path.wear_mm[1:, 1] == pytest.approx(1.2816 * sd, rel=0.03)


def test_today_agrees_with_a_reading_that_was_just_taken() -> None:
    one = record((1500.0, 3.0, NAN), (500.0, 4.1, NAN))
    path = wear_path(one, fitted(one), FACTORS)
    assert path.wear_mm[-1, 1] == pytest.approx(4.1, abs=0.2)
    assert path.wear_mm[-1, 2] - path.wear_mm[-1, 0] < 2 * 1.2816 * 0.3


def test_without_readings_the_path_is_wide_and_knows_that_the_set_still_runs() -> None:
    one = record((4800.0, NAN, NAN))
    path = wear_path(one, fitted(one), FACTORS)
    assert path.wear_mm[-1, 2] - path.wear_mm[-1, 0] > 2
    # It is past most of its rated life and runs: worn beyond its end is hardly believed.
    assert path.wear_mm[-1, 2] < 12.5


def test_a_set_that_never_worked_stands_at_new() -> None:
    path = wear_path(record(), fitted(record()), FACTORS)
    assert path.reference_m2.tolist() == [0]
    assert path.wear_mm[0] == pytest.approx([0, 0, 0], abs=0.02)


def test_dressing_begins_a_new_run_at_the_height_after_it() -> None:
    one = record((1500.0, 3.0, 3.8), (500.0, NAN, NAN))
    path = wear_path(one, fitted(one), FACTORS)
    assert path.run.tolist() == [0, 0, 1, 1]
    assert path.row.tolist() == [-1, 0, -1, 1]
    assert path.reference_m2 == pytest.approx([0, 1500, 1500, 2000])
    assert path.wear_mm[1, 1] == pytest.approx(3.0, abs=0.3)
    assert path.wear_mm[2, 1] == pytest.approx(3.8, abs=0.1)
    assert path.wear_mm[3, 1] > path.wear_mm[2, 1]


def test_a_new_start_with_nothing_worked_since_is_a_point_of_its_own() -> None:
    path = wear_path(one := record((1500.0, 3.0, 3.8)), fitted(one), FACTORS)
    assert path.run.tolist() == [0, 0, 1]
    assert path.wear_mm[-1, 1] == pytest.approx(3.8, abs=0.1)


def test_after_most_pieces_were_changed_the_path_begins_there() -> None:
    one = record((1500.0, 3.0, 0.0), (500.0, 1.2, NAN), forget=np.array([True, False]))
    path = wear_path(one, fitted(one), FACTORS)
    assert path.run.tolist() == [0, 0]
    assert path.reference_m2 == pytest.approx([1500, 2000])


def test_a_worn_out_set_ends_at_its_retire_height() -> None:
    one = record((4000.0, NAN, NAN), ended=np.array([Ended.WORN]))
    path = wear_path(one, fitted(one), FACTORS)
    assert path.wear_mm[-1, 1] == pytest.approx(12.0, abs=0.3)


def test_the_path_never_falls_and_its_ends_are_in_order() -> None:
    rng = np.random.default_rng(4)
    for _number in range(20):
        rows = [(rng.uniform(50, 900), rng.uniform(0, 12) if rng.random() < 0.5 else NAN, NAN) for _at in range(8)]
        one = record(*rows)
        path = wear_path(one, fitted(one), FACTORS)
        assert np.isfinite(path.wear_mm).all()
        assert (np.diff(path.wear_mm, axis=0) >= -1e-9).all()
        assert (np.diff(path.wear_mm, axis=1) >= 0).all()


def test_more_than_one_set_is_refused() -> None:
    one = record((100.0, NAN, NAN))
    two = replace(one, start_mm=np.zeros(2), start_error_mm=np.zeros(2), from_new=np.ones(2, dtype=np.bool_))
    two = replace(two, ended=np.zeros(2, dtype=np.int64))
    with pytest.raises(ValueError, match="one set; got 2"):
        wear_path(two, fitted(one), FACTORS)


def test_the_rate_of_a_set_follows_its_readings() -> None:
    slow, fast = record((2000.0, 3.0, NAN)), record((2000.0, 7.0, NAN))
    found = []
    for one in (slow, fast):
        known = lives(one, fitted(one), FACTORS)
        low, likely, high = rate_range(known)
        assert low < likely < high
        found.append(likely)
    assert found[0] < 12 / 5000 < found[1]
    ended = record((2000.0, 7.0, NAN), ended=np.array([Ended.WORN]))
    assert all(math.isnan(one) for one in rate_range(lives(ended, fitted(ended), FACTORS)))
