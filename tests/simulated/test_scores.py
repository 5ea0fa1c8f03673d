"""Scores against closed forms, published values (REFERENCES F6-F11) and scipy."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from tests.simulated import scores


def curve_of(law, reach: float, points: int = 40001):
    knots = np.linspace(law.ppf(0.5) - reach, law.ppf(0.5) + reach, points)
    return knots[None, :], law.sf(knots)[None, :]


@pytest.mark.parametrize(
    ("law", "truth", "published"),
    [
        (stats.norm(0, 1), 0.0, (math.sqrt(2) - 1) / math.sqrt(math.pi)),  # Gneiting & Raftery 2007; F7: .2336949773
        (stats.norm(10, 2), 13.0, 1.9888480080),  # F7, two packages
        (stats.norm(0, 1), -2.0, None),
        (stats.lognorm(0.5, scale=3), 4.2, None),
    ],
)
def test_crps_of_a_curve_is_the_closed_form_and_the_integral(law, truth, published):
    knots, survival = curve_of(law, 12 * law.std())

    found = float(scores.crps_of_curve(knots, survival, np.array([truth]))[0])

    spread = law.std()
    low = integrate.quad(lambda r: law.cdf(r) ** 2, truth - 30 * spread, truth, limit=200)[0]
    high = integrate.quad(lambda r: law.sf(r) ** 2, truth, truth + 30 * spread, limit=200)[0]
    assert found == pytest.approx(low + high, rel=1e-5)
    if published is not None:
        assert found == pytest.approx(published, abs=1e-6)


def test_crps_is_exact_for_straight_curves_even_on_two_knots():
    # Uniform on 0...1: integral of (F - 1{r >= y})^2 = y^3/3 + (1-y)^3/3.
    knots, survival = np.array([[0.0, 1.0]]), np.array([[1.0, 0.0]])
    for y in (0.0, 0.3, 1.0):
        assert scores.crps_of_curve(knots, survival, np.array([y]))[0] == pytest.approx((y**3 + (1 - y) ** 3) / 3)
    assert scores.crps_of_curve(knots, survival, np.array([1.5]))[0] == pytest.approx(1 / 3 + 0.5)


@given(st.lists(st.floats(0, 50), min_size=1, max_size=12), st.floats(0, 60))
def test_crps_of_draws_is_crps_of_their_step_curve(draws, truth):
    values = np.array(draws)
    width = 1e-7
    steps = np.unique(values)
    knots = np.concatenate([[-1.0], np.sort(np.concatenate([steps, steps + width])), [100.0]])
    survival = np.array([(values > r - width / 2).mean() for r in knots])

    found = float(scores.crps_of_curve(knots[None, :], survival[None, :], np.array([truth]))[0])

    assert found == pytest.approx(scores.crps_of_draws(values, truth), abs=1e-5)


def test_crps_of_draws_is_the_published_value_and_absolute_error_for_one_draw():
    assert scores.crps_of_draws(np.array([1.0, 2, 4, 7]), 3.0) == pytest.approx(0.75)  # F8 "nrg"; the fair one is .333
    assert scores.crps_of_draws(np.array([5.0]), 3.0) == 2.0


def test_crps_of_poisson_draws_tends_to_the_published_value():
    quantiles = stats.poisson.ppf((np.arange(20000) + 0.5) / 20000, 2.5)

    assert scores.crps_of_draws(quantiles, 3.0) == pytest.approx(0.4576085205, abs=1e-4)  # F9


def test_pinball_is_the_published_example():
    truth = np.array([1.0, 2, 3])
    assert scores.pinball(truth, np.array([0.0, 2, 3]), 0.1).mean() == pytest.approx(1 / 30)  # F6
    assert scores.pinball(truth, np.array([1.0, 2, 4]), 0.1).mean() == pytest.approx(0.3)
    assert scores.pinball(truth, np.array([0.0, 2, 3]), 0.9).mean() == pytest.approx(0.3)
    assert scores.pinball(truth, np.array([1.0, 2, 4]), 0.9).mean() == pytest.approx(1 / 30)


def test_crps_is_twice_the_mean_pinball_over_all_levels():
    law, truth = stats.norm(10, 2), 13.0
    levels = (np.arange(20000) + 0.5) / 20000

    mean = 2 * np.mean([scores.pinball(np.array(truth), law.ppf(levels[k]), levels[k]) for k in range(0, 20000, 4)])

    assert mean == pytest.approx(1.988848, abs=2e-3)


def test_interval_score_is_the_published_example():
    found = scores.interval_score(np.array([12.0, 6, 3]), np.full(3, 4.0), np.full(3, 10.0), 0.1)

    assert found == pytest.approx([46, 6, 26])  # F10


def test_coverage_of_a_true_range_lies_in_the_binomial_band():
    rng = np.random.default_rng(11)
    low, high = stats.norm.ppf(0.05), stats.norm.ppf(0.95)
    bands = [stats.binom.ppf([0.025, 0.975], n, 0.9).tolist() for n in (100, 200)]
    assert bands == [[84, 95], [171, 188]]  # F11

    counts = [scores.inside(rng.standard_normal(200), np.full(200, low), np.full(200, high)).sum() for _ in range(400)]

    assert np.mean([171 <= count <= 188 for count in counts]) >= 0.93  # 95 % or a little more, counts being whole


def test_calibrated_chances_are_found_calibrated_and_false_ones_are_not():
    rng = np.random.default_rng(3)
    said = rng.random(20000)
    shop = rng.integers(0, 50, 20000)

    right = scores.calibration(said, rng.random(20000) < said, shop)
    wrong = scores.calibration(said, rng.random(20000) < said**2, shop)

    assert all(abs(band.was - band.said) < 4 * band.error for band in right)
    assert any(abs(band.was - band.said) > 6 * band.error for band in wrong)
    assert sum(band.count for band in right) == 20000


def test_bootstrap_by_shop_sees_that_sets_of_a_shop_go_together():
    rng = np.random.default_rng(5)
    shop = np.repeat(np.arange(60), 36)
    together = rng.standard_normal(60)[shop]
    apart = rng.standard_normal(60 * 36)

    def error(values):
        return scores.bootstrap_error(lambda column: float(column.mean()), values, shop=shop, rounds=400)

    assert error(together) == pytest.approx(1 / math.sqrt(60), rel=0.25)
    assert error(apart) == pytest.approx(1 / math.sqrt(60 * 36), rel=0.25)


def test_log_score_clips_what_was_said_for_sure():
    found = scores.log_score(np.array([1.0, 1.0, 0.8]), np.array([True, False, False]))

    assert found == pytest.approx([-math.log(0.995), -math.log(0.005), -math.log(0.2)])
