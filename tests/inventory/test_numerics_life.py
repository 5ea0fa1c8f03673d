"""Life left against NIST, published field data, lifelines, scipy and a slow naive version written differently."""

import math
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from inventory.numerics import life, lognormal
from inventory.numerics.life import LifePrior, Readings, chance_to_finish, chance_two_finish, fit_population, life_left

# NIST/SEMATECH e-Handbook 8.4.1.3: 20 units, 10 fail, 10 removed at 500 h (REFERENCES R1, R2).
NIST_FAIL = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
NIST_HOURS = [*NIST_FAIL, *[500] * 10]
NIST_ENDED = [True] * 10 + [False] * 10
# O'Connor 1985 p. 85, shock absorbers, km (R15).
SHOCK_KM = [6700, 6950, 7820, 8790, 9120, 9660, 9820, 11310, 11690, 11850, 11880, 12140, 12200, 12870, 13150, 13330]
SHOCK_KM += [13470, 14040, 14300, 17520, 17540, 17890, 18450, 18960, 18980, 19410, 20100, 20100, 20150, 20320, 20900]
SHOCK_KM += [22700, 23490, 26510, 27410, 27490, 27890, 28100]
SHOCK_ENDED = [i in {0, 4, 12, 14, 18, 19, 26, 30, 31, 33, 35} for i in range(38)]
# Lieblein & Zelen 1956, ball bearings, millions of turns, all failed (R16; values as printed there, from memory, and
# confirmed by the published fits).
BEARINGS = [17.88, 28.92, 33.0, 41.52, 42.12, 45.6, 48.4, 51.84, 51.96, 54.12, 55.56, 67.8, 68.64, 68.64, 68.88]
BEARINGS += [84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.4]
# NIST/SEMATECH 8.4.2.2, 85 C cell: 100 on test, 5 fail, stop at 1000 h (R7).
ARRHENIUS_85 = [401, 428, 695, 725, 738, *[1000] * 95]


def test_censored_lognormal_gives_the_nist_fit():
    fitted = lognormal.most_likely(lognormal.make_record(NIST_HOURS, NIST_ENDED))

    # R2; that fit's own optimiser stopped at relative 1e-5, so 1e-4 is what the reference can hold.
    assert fitted.mu == pytest.approx(6.225998, rel=1e-4)
    assert fitted.sigma == pytest.approx(0.908907, rel=1e-4)
    assert 4 - 2 * fitted.log_likelihood == pytest.approx(154.39, abs=0.005)  # AIC as NIST prints it


@pytest.mark.parametrize(
    ("ages", "ended", "mu", "sigma", "log_likelihood"),
    [
        (SHOCK_KM, SHOCK_ENDED, 10.14475, 0.530051, -124.609),  # R15
        (BEARINGS, [True] * 23, 4.15040, 0.521691, -113.129),  # R16
        (ARRHENIUS_85, [True] * 5 + [False] * 95, 8.891, 1.21, -53.4),  # R7, as printed
    ],
)
def test_censored_lognormal_gives_published_fits(ages, ended, mu, sigma, log_likelihood):
    fitted = lognormal.most_likely(lognormal.make_record(ages, ended))

    printed = mu == 8.891
    assert fitted.mu == pytest.approx(mu, abs=5e-4 if printed else 1e-4)
    assert fitted.sigma == pytest.approx(sigma, abs=5e-3 if printed else 1e-4)
    assert fitted.log_likelihood == pytest.approx(log_likelihood, abs=0.06 if printed else 1e-3)


def test_censored_lognormal_agrees_with_scipy():
    shape, _, scale = stats.lognorm.fit(stats.CensoredData(uncensored=NIST_FAIL, right=[500] * 10), floc=0)

    fitted = lognormal.most_likely(lognormal.make_record(NIST_HOURS, NIST_ENDED))

    assert (fitted.mu, fitted.sigma) == pytest.approx((math.log(scale), shape), rel=1e-4)


def test_left_truncated_lives_agree_with_lifelines():
    lifelines = pytest.importorskip("lifelines")
    entry = np.array([0, 50, 100, 0, 200, 30, 300, 0, 10, 350, *[400] * 5, *[0] * 5], dtype=float)
    other = lifelines.LogNormalFitter().fit(np.array(NIST_HOURS, float), np.array(NIST_ENDED), entry=entry)

    fitted = lognormal.most_likely(lognormal.make_record(NIST_HOURS, NIST_ENDED, entry))

    assert (fitted.mu, fitted.sigma) == pytest.approx((other.mu_, other.sigma_), rel=1e-4)
    assert fitted.log_likelihood == pytest.approx(other.log_likelihood_, abs=1e-4)


def test_with_a_flat_prior_the_likeliest_grid_point_is_the_nist_fit():
    flat = LifePrior(centre_sd=20.0, spread=0.9, spread_ln_sd=20.0)

    known = fit_population(500, NIST_HOURS, NIST_ENDED, prior=flat)

    top = int(np.argmax(known.belief.weight))
    step = np.diff(np.unique(known.belief.mu))[0]
    ln_step = np.diff(np.unique(np.log(known.belief.sigma)))[0]
    assert known.belief.mu[top] == pytest.approx(6.225998, abs=step)
    assert math.log(known.belief.sigma[top]) == pytest.approx(math.log(0.908907), abs=ln_step)
    assert known.worn_out == 10
    assert known.sets == 20


def _one_point(mu, sigma, rated=500.0):
    belief = lognormal.Belief(np.array([mu]), np.array([sigma]), np.array([1.0]))
    return life.LifePopulation(rated, belief, 0, 0)


def test_life_left_after_300_hours_is_the_closed_form():
    known = _one_point(6.225998, 0.908907)  # R6

    left = life_left(known, [300.0, 0.0])

    assert left.likely_m2[0] == pytest.approx(402.8918, rel=2e-3)  # median remaining given 300 h
    assert left.at_least_m2[1] == pytest.approx(157.7777, rel=2e-3)  # B10 from new
    assert left.likely_m2[1] == pytest.approx(505.7275, rel=2e-3)
    assert chance_to_finish(known, [300.0], 402.8918)[0] == pytest.approx(0.5, abs=1e-6)


def test_lognormal_survival_is_the_handbook_value():
    # NIST/SEMATECH 8.1.6.4 (R13): T50 20000, sigma .5, F(5000) = .0027806
    chance = chance_to_finish(_one_point(math.log(20000), 0.5), [0.0], 5000)[0]

    assert 1 - chance == pytest.approx(0.002780618, abs=1e-8)


def _naive_survival(rated, sets, used, more):
    """Posterior predictive by Simpson's rule on a wide fixed grid, with scipy's distributions."""
    mus = np.linspace(math.log(rated) - 2.1, math.log(rated) + 1.9, 161)[:, None]
    ln_sigmas = np.linspace(math.log(0.3) - 2.5, math.log(0.3) + 2.5, 121)[None, :]
    curve = stats.lognorm(np.exp(ln_sigmas), scale=np.exp(mus))
    posterior = stats.norm.pdf(mus, math.log(rated) - 0.10, 0.35) * stats.norm.pdf(ln_sigmas, math.log(0.30), 0.5)
    for age, ended, entry in sets:
        posterior = posterior * (curve.pdf(age) if ended else curve.sf(age)) / curve.sf(entry)
    finishes = posterior * np.exp(curve.logsf(used + more) - curve.logsf(used))
    return integrate.simpson(integrate.simpson(finishes)) / integrate.simpson(integrate.simpson(posterior))


def test_the_predictive_agrees_with_a_slow_naive_version():
    sets = [(2100.0, True, 0.0), (3300.0, False, 900.0)]
    known = fit_population(4000, [2100, 3300], [True, False], [0, 900])

    assert chance_to_finish(known, [3300.0], 800.0, entered_at_m2=[900.0])[0] == pytest.approx(
        _naive_survival(4000, sets, 3300.0, 800.0), abs=2e-4
    )


def test_a_set_left_out_of_the_record_gets_the_same_life_as_one_in_it():
    # Leave-one-out identity, METHODS 1.8: its own survival counts once, whichever way round.
    used = np.array([2500.0, 1800.0, 2900.0, 3100.0])
    ended = np.array([True, True, False, False])
    with_it = fit_population(4000, used, ended)
    without = fit_population(4000, used[:3], ended[:3])

    inside = life_left(with_it, [3100.0])
    outside = life_left(without, [3100.0], in_record=False)

    assert inside.likely_m2[0] == pytest.approx(outside.likely_m2[0], rel=2e-3)
    assert inside.up_to_m2[0] == pytest.approx(outside.up_to_m2[0], rel=2e-3)


def test_no_record_gives_the_prior_wide_and_finite():
    known = fit_population(5000, [], [])

    new = known.new_life
    assert known.median_m2 == pytest.approx(5000 * math.exp(-0.10), rel=5e-3)
    assert 0 < new.at_least_m2[0] < new.likely_m2[0] < new.up_to_m2[0] < 15000
    assert known.worn_out == 0


def test_three_worn_out_sets_ending_at_half_their_rating_move_life_left():
    before = fit_population(6000, [1500.0], [False])
    after = fit_population(6000, [1500.0, 2900.0, 3000.0, 3100.0], [False, True, True, True])

    left_before = life_left(before, [1500.0])
    left_after = life_left(after, [1500.0])

    assert left_before.likely_m2[0] > 3500
    assert left_after.likely_m2[0] < 0.55 * left_before.likely_m2[0]
    assert left_after.up_to_m2[0] < left_before.up_to_m2[0]
    assert chance_to_finish(after, [1500.0], 2000.0)[0] < 0.6 < 0.75 < chance_to_finish(before, [1500.0], 2000.0)[0]


def test_lost_sets_are_no_evidence_of_a_short_life():
    lost_early = fit_population(6000, [500.0, 600.0, 550.0], [False, False, False])

    assert lost_early.median_m2 == pytest.approx(fit_population(6000, [], []).median_m2, rel=0.02)


def test_survivors_found_in_service_do_not_make_lives_look_longer_than_they_are():
    # Ten sets found at 4,500 of 6,000 m2 and still there say nothing yet about the years before they were found.
    truncated = fit_population(6000, [4500.0] * 10, [False] * 10, [4500.0] * 10)
    taken_for_new = fit_population(6000, [4500.0] * 10, [False] * 10)

    assert truncated.median_m2 == pytest.approx(fit_population(6000, [], []).median_m2, rel=0.02)
    assert taken_for_new.median_m2 > 1.1 * truncated.median_m2


def test_an_unsure_past_widens_the_range():
    known = fit_population(6000, [3000.0], [False], [3000.0], entered_error_m2=[0.29 * 6000])
    unsure = life_left(known, [3000.0], entered_at_m2=[3000.0], entered_error_m2=[0.29 * 6000])
    sure = life_left(known, [3000.0], entered_at_m2=[3000.0])

    width_unsure = unsure.up_to_m2[0] - unsure.at_least_m2[0]
    assert width_unsure > 1.05 * (sure.up_to_m2[0] - sure.at_least_m2[0])


def test_a_height_reading_shortens_or_lengthens_life_left_and_narrows_it():
    used = [2000.0, 2000.0, 2000.0]
    readings = Readings(area_m2=[2000.0, 2000.0, np.nan], share_gone=[0.7, 0.2, np.nan])
    known = fit_population(5000, used, [False] * 3, readings=readings)

    left = life_left(known, used, readings=readings)

    assert left.likely_m2[0] < left.likely_m2[2] < left.likely_m2[1]
    width = left.up_to_m2 - left.at_least_m2
    assert width[0] < width[2]
    # The worn one: 2,000 m2 took 70 %, so 857 m2 by its own rate; the type pulls it up a little.
    assert 700 < left.likely_m2[0] < 1300


def test_a_set_read_as_worn_through_has_almost_nothing_left():
    readings = Readings(area_m2=[3000.0], share_gone=[1.05])
    known = fit_population(5000, [3000.0], [False], readings=readings)

    assert life_left(known, [3000.0], readings=readings).likely_m2[0] < 500


def test_the_reading_of_a_set_that_ended_worn_says_nothing_more():
    plain = fit_population(5000, [4000.0, 1000.0], [True, False])
    read = fit_population(5000, [4000.0, 1000.0], [True, False], readings=Readings([2000.0, np.nan], [0.9, np.nan]))

    assert np.array_equal(plain.belief.weight, read.belief.weight)


def test_two_sets_agree_with_drawing_them():
    known = fit_population(4000, [2000.0, 1500.0, 3000.0], [False, False, True])
    rng = np.random.default_rng(7)
    left = life.draw_life_left(known, [2000.0, 1500.0], rng.random(200_000), rng.random((2, 200_000)))

    both = chance_two_finish(known, 2000.0, 1500.0, 3000.0)

    assert both == pytest.approx((left.sum(axis=0) >= 3000).mean(), abs=0.005)
    assert both >= max(chance_to_finish(known, [2000.0, 1500.0], 3000.0))


def test_drawn_lives_follow_the_stated_range_also_with_an_unsure_past_and_a_reading():
    readings = Readings(area_m2=[np.nan, 1500.0], share_gone=[np.nan, 0.5])
    known = fit_population(
        4000, [2200.0, 1500.0], [False, False], [2000.0, 0.0], entered_error_m2=[800.0, 0.0], readings=readings
    )
    stated = life_left(
        known, [2200.0, 1500.0], entered_at_m2=[2000.0, 0.0], entered_error_m2=[800.0, 0.0], readings=readings
    )
    rng = np.random.default_rng(11)

    drawn = life.draw_life_left(
        known,
        [2200.0, 1500.0],
        rng.random(100_000),
        rng.random((2, 100_000)),
        entered_at_m2=[2000.0, 0.0],
        entered_error_m2=[800.0, 0.0],
        readings=readings,
    )

    # A set in the record: the true (mu, sigma) of a draw is from the same belief, so ranges must agree.
    low, mid, high = np.quantile(drawn, [0.1, 0.5, 0.9], axis=1)
    assert low == pytest.approx(stated.at_least_m2, rel=0.03)
    assert mid == pytest.approx(stated.likely_m2, rel=0.03)
    assert high == pytest.approx(stated.up_to_m2, rel=0.03)


def test_remaining_share_is_one_when_new_and_agrees_with_drawing():
    known = fit_population(4000, [3000.0, 2500.0], [True, False])
    left = life_left(known, [0.0, 2500.0])
    rng = np.random.default_rng(3)
    drawn = life.draw_life_left(known, [2500.0], rng.random(100_000), rng.random((1, 100_000)))

    share = life.remaining_share(left, [0.0, 2500.0])

    assert share[0] == pytest.approx(1.0, abs=1e-3)
    assert share[1] == pytest.approx((drawn / (2500 + drawn)).mean(), abs=0.01)


@cache
def _known():
    return fit_population(6000, [5200.0, 4100.0, 2500.0, 700.0], [True, True, False, False])


@settings(max_examples=40, deadline=None)
@given(used=st.floats(0, 15_000), more=st.floats(1, 4_000))
def test_life_left_falls_with_use_up_to_a_usual_life_and_stays_in_order(used, more):
    left = life_left(_known(), [used, used + more])

    assert np.isfinite([left.at_least_m2, left.likely_m2, left.up_to_m2]).all()
    assert (left.at_least_m2 <= left.likely_m2).all()
    assert (left.likely_m2 <= left.up_to_m2).all()
    assert (np.diff(left.survival, axis=1) <= 0).all()
    assert left.survival[:, 0] == pytest.approx([1.0, 1.0])
    # Beyond about its likely whole life a survivor proves itself tough, and the same record may promise it more again.
    if used + more <= _known().median_m2:
        assert left.likely_m2[1] < left.likely_m2[0]


@settings(max_examples=25, deadline=None)
@given(
    used=st.lists(st.floats(0, 100_000), min_size=1, max_size=6),
    data=st.data(),
    rated=st.floats(100, 20_000),
)
def test_any_record_gives_finite_lives(used, data, rated):
    ended = [data.draw(st.booleans()) and u > 0 for u in used]
    entered = [u * data.draw(st.floats(0, 1)) for u in used]

    known = fit_population(rated, used, ended, entered)
    left = life_left(known, used, entered_at_m2=entered)

    assert known.belief.weight.sum() == pytest.approx(1)
    assert np.isfinite(left.up_to_m2).all()
    assert (left.at_least_m2 >= 0).all()
    assert (left.at_least_m2 <= left.likely_m2).all()
    assert (left.likely_m2 <= left.up_to_m2).all()


def test_more_worn_out_sets_narrow_the_range_on_average():
    rng = np.random.default_rng(5)
    widths: dict[int, list[float]] = {n: [] for n in (0, 1, 3, 10)}
    for _ in range(30):
        mu = math.log(5000) - 0.1 + 0.35 * rng.standard_normal()
        lives = np.exp(mu + 0.25 * rng.standard_normal(10))
        for n, kept in widths.items():
            new = fit_population(5000, lives[:n], [True] * n).new_life
            kept.append(math.log(new.up_to_m2[0] / new.at_least_m2[0]))

    averages = [float(np.mean(kept)) for kept in widths.values()]
    assert averages == sorted(averages, reverse=True)


def test_the_stated_range_holds_as_often_as_it_says():
    # Types drawn from the prior itself, 3 worn-out sets each: 80 % ranges of the next life should hold about 80 %.
    rng = np.random.default_rng(17)
    inside = []
    for _ in range(120):
        mu = math.log(5000) - 0.1 + 0.35 * rng.standard_normal()
        sigma = 0.30 * math.exp(0.5 * rng.standard_normal())
        lives = np.exp(mu + sigma * rng.standard_normal(13))
        new = fit_population(5000, lives[:3], [True] * 3).new_life
        inside.append(np.mean((lives[3:] >= new.at_least_m2[0]) & (lives[3:] <= new.up_to_m2[0])))

    assert 0.76 < np.mean(inside) < 0.84


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"rated_m2": 0, "used_m2": [], "ended_worn": []}, "`rated_m2` must be above 0; got 0"),
        ({"rated_m2": 5, "used_m2": [-1.0], "ended_worn": [False]}, "`used_m2` must be 0 or more; got -1"),
        ({"rated_m2": 5, "used_m2": [math.nan], "ended_worn": [False]}, "`used_m2` must hold finite numbers; got nan"),
        ({"rated_m2": 5, "used_m2": [0.0], "ended_worn": [True]}, "`used_m2` must be above 0 for a life that ended"),
        ({"rated_m2": 5, "used_m2": [1.0, 2.0], "ended_worn": [True] * 3}, "`ended` must have 2 values"),
        (
            {"rated_m2": 5, "used_m2": [1.0], "ended_worn": [False], "entered_at_m2": [2.0]},
            "`entered` must not exceed `used_m2`; got 2 against 1",
        ),
    ],
)
def test_what_cannot_be_is_refused_by_name(arguments, words):
    with pytest.raises(ValueError, match=words):
        fit_population(**arguments)


def test_a_reading_that_cannot_be_is_refused_by_name():
    with pytest.raises(ValueError, match=r"`readings.share_gone` must lie between -1 and 4; got 5"):
        fit_population(5000, [10.0], [False], readings=Readings([10.0], [5.0]))
    with pytest.raises(ValueError, match="`area_m2` must be 0 or more; got -1"):
        chance_to_finish(_known(), [0.0], -1.0)
