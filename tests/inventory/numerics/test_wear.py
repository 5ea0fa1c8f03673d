"""The filter of one set: against a slow version written differently, least squares, and what it must refuse."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from inventory.numerics.wear import (
    BASIS_ERROR,
    Ended,
    FloorFactors,
    Segments,
    check_record,
    tables,
    theta_grid,
    use_squares,
)
from tests.inventory.numerics.wear_cases import (
    CLASSES,
    NAN,
    OWN,
    OneSet,
    Stretch,
    random_sets,
    readings,
    record,
    squares,
)

GRID = theta_grid(math.log(12 / 5000) + 0.1)


def brute_force(one: OneSet, tau: float, theta: float, usable: float = 12.0, usable_error: float = 0.5):
    """Log-likelihood, chance of being in service, mean and variance of the wear now, of one set at one theta.

    Written the other way round: all readings since one start are one multivariate normal, and the present is its
    conditional; no filter.
    """
    rate, total = math.exp(theta), 0.0
    start = (one.start, one.start_error**2)
    steps: list[tuple[float, float, float, float]] = []  # wear, its variance, reading, error of the reading

    def settle() -> tuple[float, float, float]:
        """Log-likelihood of the readings since the start; mean and variance of the wear now."""
        if not steps:
            return 0.0, *start
        wear, noise, seen, error = (np.array(column) for column in zip(*steps, strict=True))
        reach = np.tril(np.ones((len(steps), len(steps))))
        mean, cov = start[0] + reach @ wear, start[1] + reach @ np.diag(noise) @ reach.T
        at = np.flatnonzero(~np.isnan(seen))
        if not at.size:
            return 0.0, mean[-1], cov[-1, -1]
        of_readings = cov[np.ix_(at, at)] + np.diag(error[at] ** 2)
        off = seen[at] - mean[at]
        gain = np.linalg.solve(of_readings, cov[at, -1])
        ll = stats.multivariate_normal(np.zeros(at.size), of_readings).logpdf(off)
        return float(ll), mean[-1] + gain @ off, cov[-1, -1] - gain @ cov[at, -1]

    for row in one.rows:
        square = squares(row.area) if row.square is None else row.square
        pairs = [(c, b) for c in range(3) for b in range(4)]
        noise = rate**2 * sum(OWN[c] ** 2 * square[c, b] * (tau**2 + BASIS_ERROR[b] ** 2) for c, b in pairs)
        wear = rate * sum(f * a for f, a in zip(OWN, row.area, strict=True))
        steps.append((wear, noise, row.wear, row.error))
        if not math.isnan(row.restart):
            total = 0.0 if row.forget else total + settle()[0]
            start, steps = (row.restart, 0.3**2), []
    if one.ended == Ended.WORN:
        steps.append((0.0, 0.0, usable, usable_error))
    ll, mean, variance = settle()
    service = stats.norm.logcdf((usable - mean) / math.sqrt(variance + usable_error**2))
    return total + ll, 0.0 if one.ended == Ended.WORN else float(service), mean, variance


def odd_sets() -> list[OneSet]:
    """One of everything: opening entry, two bases, dressing, changed pieces, lost, no work at all."""
    mixed = np.zeros((3, 4))
    mixed[0] = [100.0**2, 50.0**2, 0, 80.0**2]
    return [
        OneSet([Stretch([300, 0, 0], 1.0), Stretch([0, 200, 100]), Stretch([230, 0, 0], 2.2)]),
        OneSet([Stretch([900, 0, 0]), Stretch([0, 0, 4000])], Ended.WORN),
        OneSet([Stretch([400, 0, 0], 1.4, restart=1.6), Stretch([300, 0, 0], 2.6)]),
        OneSet([Stretch([400, 0, 0], 1.4, restart=0.9, forget=True), Stretch([300, 0, 0], 1.6), Stretch([10, 0, 0])]),
        OneSet([Stretch([0, 500, 0])], Ended.OTHER, start=6.0, start_error=1.44, from_new=False),
        OneSet([Stretch([230, 0, 0], 0.4, square=mixed)], start=3.0, start_error=0.3, from_new=False),
        OneSet(),
        OneSet([Stretch([800, 0, 0], 3.0), Stretch([2000, 0, 0], 10.5)], Ended.WORN),
        OneSet([Stretch([0, 0, 0], 0.2)]),
    ]


@pytest.mark.parametrize("tau", [0.1, 0.25, 0.6])
def test_the_filter_equals_a_multivariate_normal_written_out(tau):
    sets = odd_sets()
    got = tables(record(sets), OWN, tau, GRID)
    for i, one in enumerate(sets):
        for g in (0, 17, 40, 63, 80):
            wanted = brute_force(one, tau, GRID[g])
            found = [a[0, i, g] for a in (got.ll, got.ll_service, got.mean_mm, got.variance_mm2)]
            assert found == pytest.approx(wanted, rel=1e-9, abs=1e-9), (i, g)


def test_all_noises_at_once_equal_one_at_a_time():
    made = record(random_sets(np.random.default_rng(4), 150))
    many = tables(made, OWN, (0.1, 0.25, 0.6), GRID)
    for t, tau in enumerate((0.1, 0.25, 0.6)):
        single = tables(made, OWN, tau, GRID)
        assert np.array_equal(many.ll[t], single.ll[0])
        assert np.array_equal(many.variance_mm2[t], single.variance_mm2[0])


def peak(theta: np.ndarray, ll: np.ndarray) -> float:
    """Top of a parabola through the best grid point and its neighbours."""
    k = int(np.argmax(ll))
    a, b, c = ll[k - 1 : k + 2]
    return float(theta[k] + 0.5 * (a - c) / (a - 2 * b + c) * (theta[1] - theta[0]))


# NIST/SEMATECH e-Handbook 8.4.2.3: percent loss of 15 units at 200, 500, 1000 h, fails at 30 % (REFERENCES R11); time
# to 30 % on a straight line through the origin, unit by unit, by least squares (R12).
LOSS = [0.87, 0.33, 0.94, 0.72, 0.66, 1.48, 0.96, 2.91, 1.98, 0.99, 2.81, 2.13, 5.67, 4.28, 2.14]
LOSS += [1.41, 3.61, 2.13, 4.36, 6.91, 2.47, 8.99, 5.72, 9.82, 17.37, 5.71, 17.69, 11.54, 19.55, 34.84]
LOSS += [24.58, 9.73, 4.74, 23.61, 10.90, 62.02, 24.07, 11.53, 58.21, 27.85, 124.10, 48.06, 23.72, 117.20, 54.97]
CROSSINGS = [10392.05, 14461.88, 5291.95, 7148.13, 13986.27, 5354.92, 1689.44, 2610.28, 1527.71, 861.78]
CROSSINGS += [241.84, 623.78, 1271.65, 256.25, 544.50]


def test_readings_alone_give_the_least_squares_rate_of_the_handbook():
    wear = np.array(LOSS).reshape(3, 3, 5).transpose(0, 2, 1).reshape(15, 3)
    made = record(
        [readings([200, 500, 1000], w.tolist()) for w in wear], usable=30.0, usable_error=0.2, classes=("any",)
    )
    grid = theta_grid(math.log(30 / 2000), 4.0, 8001)
    got = tables(made, [1.0], 0.0, grid)
    found = [30.0 / math.exp(peak(grid, got.ll[0, i])) for i in range(15)]
    assert found == pytest.approx(CROSSINGS, rel=2e-5, abs=0.01)


def test_a_falling_measure_with_an_unknown_start_gives_the_handbooks_crossings():
    # Tobias & Trindade p. 216 (US NIST Dataplot TOB216B.DAT, REFERENCES R20): threshold voltage, fails below 0.5.
    volts = [(0.99, 0.83, 0.68), (0.82, 0.72, 0.65), (0.96, 0.88, 0.80), (0.87, 0.72, 0.60), (0.91, 0.85, 0.78)]
    # Wear = 1 - volts, in hundredths, so that one unit of reading error suits; usable 50.
    sets = [
        OneSet(
            [Stretch([0.0 if t == 0 else 500.0], 100 * (1 - v), square=np.zeros((1, 4))) for t, v in enumerate(unit)],
            start_error=1e4,
        )
        for unit in volts
    ]
    made = record(sets, usable=50.0, usable_error=0.2, classes=("any",))
    grid = theta_grid(math.log(0.02), 2.0, 20001)
    got = tables(made, [1.0], 0.0, grid)
    crossings = []
    for i in range(5):
        theta = peak(grid, got.ll[0, i])
        now = np.interp(theta, grid, got.mean_mm[0, i])
        crossings.append(1000 + (50.0 - now) / math.exp(theta))
    assert crossings == pytest.approx([1575.27, 1852.94, 2875.00, 1351.85, 3166.67], abs=0.01)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 2), st.integers(0, 2), st.integers(0, 3), st.floats(0, 900)), min_size=1, max_size=8
    ),
    st.floats(0.05, 0.95),
)
def test_two_entries_of_one_visit_count_as_one(entries, share):
    whole = use_squares(*np.array(entries).T)
    split = [(v, c, b, a * part) for v, c, b, a in entries for part in (share, 1 - share)]
    for (_, one), (_, two) in zip(sorted(whole.items()), sorted(use_squares(*np.array(split).T).items()), strict=True):
        assert two == pytest.approx(one, rel=1e-9, abs=1e-6)


def test_one_visit_is_noisier_than_two():
    one, two = (use_squares([1, v], [0, 0], [0, 0], [100.0, 100.0])[0].sum() for v in (1, 2))
    assert (one, two) == (40000.0, 20000.0)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 12))
def test_rows_without_a_reading_may_be_split_or_joined(seed, parts):
    rng = np.random.default_rng(seed)
    area = rng.uniform(0, 500, (parts, 3))
    square = np.stack([np.diag(a**2)[:, :1] @ np.ones((1, 4)) for a in area]) * rng.uniform(0, 1, (parts, 3, 4))
    split = OneSet([Stretch(a, square=s) for a, s in zip(area, square, strict=True)])
    split.rows[-1].wear = 4.0
    joined = OneSet([Stretch(area.sum(axis=0), 4.0, square=square.sum(axis=0))])
    got = tables(record([split, joined]), OWN, 0.25, GRID)
    for values in (got.ll, got.ll_service, got.mean_mm, got.variance_mm2):
        assert values[0, 0] == pytest.approx(values[0, 1], rel=1e-9, abs=1e-12)


def test_the_order_of_sets_does_not_matter():
    sets = [*odd_sets(), *random_sets(np.random.default_rng(9), 140)]
    shuffled = np.random.default_rng(1).permutation(len(sets))
    one = tables(record(sets), OWN, (0.16, 0.4), GRID)
    two = tables(record([sets[i] for i in shuffled]), OWN, (0.16, 0.4), GRID)
    assert np.array_equal(one.ll[:, shuffled], two.ll)
    assert np.array_equal(one.mean_mm[:, shuffled], two.mean_mm)


def test_no_work_says_nothing():
    got = tables(record([OneSet(), OneSet([Stretch([0, 0, 0])])]), OWN, 0.25, GRID)
    assert np.ptp(got.ll + got.ll_service, axis=2).max() == 0.0


def test_a_reading_never_widens_the_wear_that_is_known():
    rng = np.random.default_rng(3)
    sets = random_sets(rng, 60)
    for one in sets:
        one.ended = Ended.RUNNING
    more = [replace(one, rows=[*one.rows, Stretch([0, 0, 0], 5.0)]) for one in sets]
    before, after = (tables(record(s), OWN, 0.25, GRID).variance_mm2 for s in (sets, more))
    assert (after <= before + 1e-12).all()
    assert (after >= 0).all()


def test_the_watcher_sees_each_reading_before_it_is_taken_in():
    made = record(odd_sets())
    seen: list[int] = []

    def watch(rows, ll, mean, variance):
        assert ll.shape == mean.shape == variance.shape == (1, rows.size, GRID.size)
        seen.extend(rows.tolist())

    tables(made, OWN, 0.25, GRID, watch=watch)
    assert sorted(seen) == np.flatnonzero(~np.isnan(made.segments.wear_mm)).tolist()


def test_heights_a_little_above_new_are_kept_and_far_above_are_refused():
    check_record(record([OneSet([Stretch([100, 0, 0], -0.9)])]))
    with pytest.raises(ValueError, match=r"above the new height; got 0\.95 mm above"):
        check_record(record([OneSet([Stretch([100, 0, 0], -0.95)])]))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"rated_m2": 0.0}, "`rated_m2` must be above 0"),
        ({"rated_m2": NAN}, "`rated_m2` must be above 0"),
        ({"usable_mm": -1.0}, "`usable_mm` must be above 0 and at most 1e[+]06; got -1.0"),
        ({"usable_error_mm": 0.0}, "`usable_error_mm` must be above 0"),
        ({"ended": np.zeros(2, dtype=np.int64)}, "`ended` must have 1 values"),
        ({"start_error_mm": np.array([-1.0])}, "`start_error_mm` must be 0 or more"),
        ({"start_mm": np.array([NAN])}, "`start_mm` must be finite"),
    ],
)
def test_what_no_shop_can_have_recorded_is_refused_by_name(change, words):
    with pytest.raises(ValueError, match=words):
        check_record(replace(record([OneSet([Stretch([100, 0, 0], 1.0)])]), **change))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"area_m2": np.array([[-1.0, 0, 0]])}, "`area_m2` must be 0 or more, at most 1e[+]09; got -1"),
        ({"area_m2": np.array([[NAN, 0, 0]])}, "`area_m2` must be 0 or more, at most 1e[+]09; got nan"),
        ({"square_m4": np.full((1, 3, 4), -1.0)}, "`square_m4` must be 0 or more"),
        ({"square_m4": np.zeros((1, 3, 3))}, "`square_m4` must have shape"),
        ({"error_mm": np.array([0.0])}, "error of `wear_mm` must be above 0"),
        ({"error_mm": np.array([NAN])}, "error of `wear_mm` must be above 0"),
        ({"wear_mm": np.array([1e9])}, "`wear_mm` must lie within"),
        ({"set_index": np.array([1])}, "`set_index` must rise"),
        ({"set_index": np.array([-1])}, "`set_index` must rise"),
    ],
)
def test_rows_that_cannot_be_are_refused_by_name(change, words):
    made = record([OneSet([Stretch([100, 0, 0], 1.0)])])
    with pytest.raises(ValueError, match=words):
        tables(replace(made, segments=replace(made.segments, **change)), OWN, 0.25, GRID)


def test_a_floor_class_without_a_factor_is_named():
    factors = FloorFactors.of_shop(CLASSES[:2], OWN[:2])
    with pytest.raises(ValueError, match="no factor for floor class 'hard"):
        tables(record([OneSet([Stretch([1, 0, 0])])]), factors, 0.25, GRID)
    with pytest.raises(ValueError, match="`own` must be above 0; got 0"):
        FloorFactors.of_shop(CLASSES, [1, 0, 1])
    with pytest.raises(ValueError, match="must have 3 values"):
        FloorFactors.of_shop(CLASSES, [1, 1])


def test_learnt_factors_are_found_by_name_whatever_the_order():
    turned = FloorFactors.of_shop(CLASSES[::-1], OWN[::-1])
    made = record(odd_sets())
    assert np.array_equal(tables(made, turned, 0.25, GRID).ll, tables(made, OWN, 0.25, GRID).ll)


def test_an_empty_type_has_empty_tables():
    assert tables(record([]), OWN, (0.1, 0.2), GRID).ll.shape == (2, 0, 81)
    assert Segments.none(3).square_m4.shape == (0, 3, 4)
