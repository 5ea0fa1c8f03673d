"""Censored fits against NIST/SEMATECH, published field data, lifelines and scipy (R1-R3, R6-R9, R15, R16, R24)."""

import math

import numpy as np
import pytest
from scipy import optimize, stats

from tests.simulated import baselines

# NIST/SEMATECH e-Handbook 8.4.1.3: 20 units, 10 fail, 10 removed at 500 h (R1).
NIST_FAIL = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
NIST_HOURS = np.array([*NIST_FAIL, *[500] * 10], float)
NIST_ENDED = np.arange(20) < 10
# NIST/SEMATECH 8.4.2.2 (R7): lognormal cells of an Arrhenius test, all stop at 1000 h.
FAILED_85 = [401, 428, 695, 725, 738]
FAILED_105 = [171, 187, 189, 266, 275, 285, 301, 302, 305, 316, 317, 324, 349, 350, 386, 405, 480, 493, 530, 534, 536]
FAILED_105 += [567, 589, 598, 599, 614, 620, 650, 668, 685, 718, 795, 854, 917, 926]
FAILED_125 = [24, 42, 92, 93, 141, 142, 143, 159, 181, 188, 194, 199, 207, 213, 243, 256, 259, 290, 294, 305, 392, 454]
FAILED_125 += [502, 696]
CELLS = {85: (FAILED_85, 100), 105: (FAILED_105, 50), 125: (FAILED_125, 25)}
# O'Connor 1985 p. 85, shock absorbers, km (R15).
SHOCK_KM = [6700, 6950, 7820, 8790, 9120, 9660, 9820, 11310, 11690, 11850, 11880, 12140, 12200, 12870, 13150, 13330]
SHOCK_KM += [13470, 14040, 14300, 17520, 17540, 17890, 18450, 18960, 18980, 19410, 20100, 20100, 20150, 20320, 20900]
SHOCK_KM += [22700, 23490, 26510, 27410, 27490, 27890, 28100]
SHOCK_ENDED = np.isin(np.arange(38), [0, 4, 12, 14, 18, 19, 26, 30, 31, 33, 35])
# Lieblein & Zelen 1956, ball bearings, millions of turns, all failed (R16; data from memory, confirmed by the fits).
BEARINGS = [17.88, 28.92, 33.0, 41.52, 42.12, 45.6, 48.4, 51.84, 51.96, 54.12, 55.56, 67.8, 68.64, 68.64, 68.88]
BEARINGS += [84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.4]
# Nelson's diesel generator fans, hours (R24; data from memory, confirmed by the fits): 12 of 70 fail.
FAN_FAIL = [450, 1150, 1150, 1600, 2070, 2070, 2080, 3100, 3450, 4600, 6100, 8750]
FAN_RUNS = {
    460: 1, 1560: 1, 1660: 1, 1850: 5, 2030: 3, 2200: 1, 3000: 4, 3200: 1, 3750: 2, 4150: 4, 4300: 4, 4850: 4, 5000: 3,
    6100: 3, 6300: 1, 6450: 2, 6700: 1, 7450: 1, 7800: 2, 8100: 2, 8200: 1, 8500: 3, 8750: 2, 9400: 1, 9900: 1,
    10100: 3, 11500: 1,
}  # fmt: skip


def cell(celsius: int):
    failed, total = CELLS[celsius]
    return np.array([*failed, *[1000] * (total - len(failed))], float), np.arange(total) < len(failed)


def fans():
    runs = [hours for hours, count in FAN_RUNS.items() for _ in range(count)]
    return np.array([*FAN_FAIL, *runs], float), np.arange(len(FAN_FAIL) + len(runs)) < len(FAN_FAIL)


def test_censored_weibull_is_the_nist_fit():
    fitted = baselines.fit_weibull(NIST_HOURS, NIST_ENDED)

    assert fitted.scale == pytest.approx(606.5280, abs=2e-3)  # R1
    assert fitted.shape == pytest.approx(1.7208, abs=5e-5)
    assert fitted.log_likelihood == pytest.approx(-75.135, abs=5e-4)
    assert 4 - 2 * fitted.log_likelihood == pytest.approx(154.27, abs=5e-3)
    mean = fitted.scale * math.gamma(1 + 1 / fitted.shape)
    spread = fitted.scale * math.sqrt(math.gamma(1 + 2 / fitted.shape) - math.gamma(1 + 1 / fitted.shape) ** 2)
    assert (mean, spread) == pytest.approx((540.737, 323.806), abs=5e-3)


def test_the_curvature_at_the_nist_fit_gives_its_standard_errors():
    fitted = baselines.fit_weibull(NIST_HOURS, NIST_ENDED)

    def likelihood(scale, shape):
        z = (NIST_HOURS / scale) ** shape
        ends = np.log(shape / scale) + (shape - 1) * np.log(NIST_HOURS / scale)
        return float(ends[NIST_ENDED].sum() - z.sum())

    steps = np.array([0.5, 0.002])
    at = np.array([fitted.scale, fitted.shape])
    curve = np.zeros((2, 2))
    for i in range(2):
        for j in range(2):
            for si, sj, sign in ((1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1)):
                moved = at + si * steps * (np.arange(2) == i) + sj * steps * (np.arange(2) == j)
                curve[i, j] -= sign * likelihood(*moved) / (4 * steps[i] * steps[j])
    errors = np.sqrt(np.diag(np.linalg.inv(curve)))

    assert errors == pytest.approx([124.9106, 0.502151], rel=2e-4)  # R3


def test_censored_lognormal_is_the_nist_fit():
    fitted = baselines.fit_lognormal(NIST_HOURS, NIST_ENDED)

    assert 4 - 2 * fitted.log_likelihood == pytest.approx(154.39, abs=5e-3)  # R2, AIC as NIST prints it
    assert (fitted.mu, fitted.sigma) == pytest.approx((6.225998, 0.908907), rel=1e-4)


def test_life_left_at_300_hours_is_the_reference():
    weibull = baselines.fit_weibull(NIST_HOURS, NIST_ENDED)
    lognormal = baselines.fit_lognormal(NIST_HOURS, NIST_ENDED)
    at, new = np.array([300.0]), np.array([0.0])

    assert weibull.left_quantile(at, 0.5)[0] == pytest.approx(303.3251, rel=1e-4)  # R6
    assert weibull.left_survival(at, np.array([[100.0]]))[0, 0] == pytest.approx(0.826338, abs=1e-5)
    assert weibull.left_quantile(new, 0.1)[0] == pytest.approx(164.0224, rel=1e-4)
    ahead = np.linspace(0, 20000, 400001)
    mean = np.trapezoid(weibull.left_survival(at, ahead[None, :])[0], ahead)
    assert mean == pytest.approx(364.7043, rel=1e-4)
    assert lognormal.left_quantile(at, 0.5)[0] == pytest.approx(402.8918, rel=2e-4)
    assert lognormal.left_quantile(new, 0.1)[0] == pytest.approx(157.7777, rel=2e-4)


@pytest.mark.parametrize(
    ("celsius", "mu", "sigma", "log_likelihood"),
    [(85, 8.891, 1.21, -53.4), (105, 6.470, 0.715, -265.2), (125, 5.33, 0.81, -156.5)],
)
def test_censored_lognormal_is_the_nist_arrhenius_cells(celsius, mu, sigma, log_likelihood):
    fitted = baselines.fit_lognormal(*cell(celsius))

    assert fitted.mu == pytest.approx(mu, abs=6e-3)  # R7, as printed
    assert fitted.sigma == pytest.approx(sigma, abs=6e-3)
    assert fitted.log_likelihood == pytest.approx(log_likelihood, abs=0.06)


def test_the_nist_cells_together_have_the_printed_likelihood():
    total = sum(baselines.fit_lognormal(*cell(celsius)).log_likelihood for celsius in CELLS)

    assert total == pytest.approx(-475.1119, abs=1e-3)  # R7


@pytest.mark.parametrize(
    ("fit", "slope", "intercept", "log_likelihood"),
    [
        (baselines.fit_lognormal, 0.862903, -19.906175, -476.708914),
        (baselines.fit_weibull, 0.851193, -19.174068, -483.532),
    ],
    ids=["lognormal R8", "Weibull R9"],
)
def test_the_cells_in_one_model_of_temperature_are_the_nist_fit(fit, slope, intercept, log_likelihood):
    # ln life = intercept + slope x + scatter: lives over exp(slope x) are one population; the best slope is sought.
    parts = [(1 / (8.617e-5 * (celsius + 273.16)), *cell(celsius)) for celsius in CELLS]
    ended = np.concatenate([part[2] for part in parts])
    x = np.concatenate([np.full(len(part[1]), part[0]) for part in parts])
    hours = np.concatenate([part[1] for part in parts])

    def profile(at):
        return fit(hours / np.exp(at * x), ended).log_likelihood - at * x[ended].sum()

    found = optimize.minimize_scalar(
        lambda at: -profile(at), bounds=(0.5, 1.3), method="bounded", options={"xatol": 1e-7}
    )

    fitted = fit(hours / np.exp(found.x * x), ended)
    assert found.x == pytest.approx(slope, rel=1e-4)
    assert -found.fun == pytest.approx(log_likelihood, abs=1e-3)
    if isinstance(fitted, baselines.Lognormal):
        assert (fitted.mu, fitted.sigma) == pytest.approx((intercept, 0.771986), rel=2e-4)
        assert 2 * (-475.1119 + found.fun) == pytest.approx(3.194015, abs=3e-3)  # against separate cells
    else:
        assert (math.log(fitted.scale), fitted.shape) == pytest.approx((intercept, 1.559825), rel=2e-4)


@pytest.mark.parametrize(
    ("age", "ended", "scale", "shape", "mu", "sigma"),
    [
        (np.array(SHOCK_KM, float), SHOCK_ENDED, 27718.72, 3.160468, 10.14475, 0.530051),  # R15
        (np.array(BEARINGS), np.ones(23, bool), 81.8745, 2.101849, 4.15040, 0.521691),  # R16
        (*fans(), 26296.85, 1.058453, 10.14327, 1.67962),  # R24
    ],
    ids=["shock absorbers", "ball bearings", "diesel fans"],
)
def test_censored_fits_are_the_published_ones(age, ended, scale, shape, mu, sigma):
    weibull, lognormal = baselines.fit_weibull(age, ended), baselines.fit_lognormal(age, ended)

    assert (weibull.scale, weibull.shape) == pytest.approx((scale, shape), rel=1e-4)
    assert (lognormal.mu, lognormal.sigma) == pytest.approx((mu, sigma), rel=1e-4)


@pytest.mark.parametrize("seed", range(4))
def test_censored_fits_agree_with_scipy_and_lifelines(seed):
    lifelines = pytest.importorskip("lifelines")
    rng = np.random.default_rng(seed)
    life, stop = 4000 * rng.weibull(3, 12), rng.uniform(500, 6000, 12)
    age, ended = np.minimum(life, stop), life <= stop
    assert 2 <= ended.sum() < 12
    weibull, lognormal = baselines.fit_weibull(age, ended), baselines.fit_lognormal(age, ended)

    data = stats.CensoredData(uncensored=age[ended], right=age[~ended])
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    sigma, _, median = stats.lognorm.fit(data, floc=0)
    other, log_other = lifelines.WeibullFitter().fit(age, ended), lifelines.LogNormalFitter().fit(age, ended)

    assert (weibull.scale, weibull.shape) == pytest.approx((scale, shape), rel=1e-3)
    assert (lognormal.mu, lognormal.sigma) == pytest.approx((math.log(median), sigma), rel=1e-3)
    assert (weibull.scale, weibull.shape) == pytest.approx((other.lambda_, other.rho_), rel=1e-3)
    assert weibull.log_likelihood >= other.log_likelihood_ - 1e-6
    assert lognormal.log_likelihood >= log_other.log_likelihood_ - 1e-6


def test_the_scale_is_where_632_of_a_thousand_have_ended_and_not_the_median():
    law = baselines.Weibull(5000.0, 1.7, 0.0)

    assert 1 - law.survival(np.array([5000.0]))[0] == pytest.approx(1 - 1 / math.e, abs=1e-12)  # R14
    assert law.left_quantile(np.array([0.0]), 0.5)[0] == pytest.approx(5000 * math.log(2) ** (1 / 1.7))  # R21's trap


def test_an_unused_set_has_its_whole_life_left():
    law = baselines.Lognormal(8.0, 0.4, 0.0)
    ahead = np.linspace(0, 9000, 50)[None, :]

    assert law.left_survival(np.array([0.0]), ahead)[0] == pytest.approx(
        stats.lognorm.sf(ahead[0], 0.4, scale=math.exp(8))
    )


def test_without_an_end_no_maximum_likelihood_is_made_up():
    for fit in (baselines.fit_weibull, baselines.fit_lognormal):
        with pytest.raises(ValueError, match="one end"):
            fit(np.array([5.0, 3.0]), np.array([False, False]))


def test_simple_rules_never_go_below_nothing():
    age = np.array([0.0, 500.0, 9000.0])

    assert baselines.rated_less_area(4000, age).tolist() == [4000, 3500, 0]
    assert baselines.mean_less_area(np.array([3000.0, 5000.0]), age, 9.0).tolist() == [4000, 3500, 0]
    assert baselines.mean_less_area(np.array([]), age, 1000.0).tolist() == [1000, 500, 0]
