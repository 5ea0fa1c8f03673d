"""Censored lognormal lives against NIST, published field data, lifelines, scipy and a slow naive version."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from inventory.numerics import lognormal

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


def _fit(rated, used, ended, entered=0.0):
    record = lognormal.make_record(used, ended, entered)
    return lognormal.fit(lognormal.Prior(math.log(rated) - 0.10, 0.35, 0.30, 0.5), record)


def _running(used, entered=0.0):
    return lognormal.make_record([used], [False], entered)


def _one_point(mu, sigma):
    return lognormal.Belief(np.array([mu]), np.array([sigma]), np.array([1.0]))


def test_with_a_flat_prior_the_likeliest_grid_point_is_the_nist_fit():
    flat = lognormal.Prior(math.log(500) - 0.1, 20.0, 0.9, 20.0)

    belief = lognormal.fit(flat, lognormal.make_record(NIST_HOURS, NIST_ENDED))

    top = int(np.argmax(belief.weight))
    step = np.diff(np.unique(belief.mu))[0]
    ln_step = np.diff(np.unique(np.log(belief.sigma)))[0]
    assert belief.mu[top] == pytest.approx(6.225998, abs=step)
    assert math.log(belief.sigma[top]) == pytest.approx(math.log(0.908907), abs=ln_step)


def test_life_left_after_300_hours_is_the_closed_form():
    known = _one_point(6.225998, 0.908907)  # R6

    # Median remaining given 300 h; B10 and median from new.
    assert lognormal.survive_more(known, _running(300.0), np.array([[402.8918]]))[0, 0] == pytest.approx(0.5, abs=1e-6)
    assert lognormal.survive_new(known, np.array([157.7777, 505.7275])) == pytest.approx([0.9, 0.5], abs=1e-6)


def test_lognormal_survival_is_the_handbook_value():
    # NIST/SEMATECH 8.1.6.4 (R13): T50 20000, sigma .5, F(5000) = .0027806
    chance = lognormal.survive_new(_one_point(math.log(20000), 0.5), np.array([5000.0]))[0]

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
    known = _fit(4000, [2100, 3300], [True, False], [0, 900])

    chance = lognormal.survive_more(known, _running(3300.0, 900.0), np.array([[800.0]]))[0, 0]

    assert chance == pytest.approx(_naive_survival(4000, sets, 3300.0, 800.0), abs=2e-4)


def test_what_is_left_out_of_the_record_gets_the_same_life_as_what_is_in_it():
    # Leave-one-out identity, METHODS 1.8: its own survival counts once, whichever way round.
    used, ended = [2500.0, 1800.0, 2900.0, 3100.0], [True, True, False, False]
    areas = np.array([[500.0, 2000.0, 5000.0]])

    inside = lognormal.survive_more(_fit(4000, used, ended), _running(3100.0), areas)
    outside = lognormal.survive_more(_fit(4000, used[:3], ended[:3]), _running(3100.0), areas, in_record=False)

    assert inside == pytest.approx(outside, abs=1e-3)
