"""What a height is worth: against integrals, a slow version written differently, and what a shop may expect."""

import functools
import math
import warnings
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.integrate import quad

from inventory.numerics import measure_value
from inventory.numerics.life import Lives, Points, chance_to_finish, lives
from inventory.numerics.measure_value import ASK_FROM, decision_loss, reading_values
from inventory.numerics.wear import Ended
from inventory.numerics.wear_fit import fit
from tests.inventory.numerics.wear_cases import OWN, OneSet, Stretch, random_sets, record


@functools.cache
def learnt():
    """A type with thirty sets, learnt; its lives."""
    judged = record(random_sets(np.random.default_rng(11), 30))
    type_fit = fit([judged], OWN).per_type[0]
    assert type_fit is not None
    return judged, type_fit, lives(judged, type_fit, OWN)


@pytest.fixture
def rack():
    return learnt()


def one_point(type_fit, wear: float, sd: float, rate: float, tau: float) -> Lives:
    """One set whose rate and noise are known and whose wear is normal."""
    points = Points(np.array([0, 1]), np.ones(1), np.array([rate]), np.array([12.0 - wear]),
                    np.array([sd**2 + type_fit.usable_error_mm**2]), np.array([tau]))  # fmt: skip
    row = np.zeros(1)
    return Lives(row, row, row, row, np.ones((1, 2)), np.ones((1, 2)), np.zeros(1, dtype=bool), points, 12.0, 500.0)


def slow_value(wear, sd, rate, tau, area, error, usable_error):
    """Loss saved for one known rate: wear normal, alive so far; integrated over readings by quadrature."""
    total = math.hypot(sd, error)

    def then(y):
        gain = sd**2 / total**2
        middle, left = wear + gain * (y - wear), math.sqrt(gain * error**2 + usable_error**2)
        alive = stats.norm.cdf((12 - middle) / left)
        done = stats.norm.cdf((12 - middle - rate * area) / math.hypot(left, rate * area * tau))
        return stats.norm.pdf(y, wear, total) * alive, min(done / alive, 1.0)

    def over(f):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return quad(f, wear - 8 * total, wear + 8 * total, limit=400, points=[wear])[0]

    mass = over(lambda y: then(y)[0])
    chance = over(lambda y: math.prod(then(y))) / mass

    def loss(p):
        return min(9 * (1 - p), p)

    return chance, loss(chance) - over(lambda y: then(y)[0] * loss(then(y)[1])) / mass


@pytest.mark.parametrize(("wear", "sd", "area"), [(8.0, 1.0, 1000.0), (9.0, 1.5, 500.0), (6.0, 0.8, 2000.0)])
def test_the_value_for_a_known_rate_is_the_integral(rack, wear, sd, area):
    _, type_fit, _ = rack
    known = one_point(type_fit, wear, sd, 0.0024, 0.25)
    chance, value = slow_value(wear, sd, 0.0024, 0.25, area, 0.3, type_fit.usable_error_mm)
    found = reading_values(known, type_fit, area)
    assert found.chance[0] == pytest.approx(chance, abs=0.005)
    assert found.value[0] == pytest.approx(value, abs=0.03)


def test_more_readings_tried_come_closer_to_the_integral(rack, monkeypatch):
    _, type_fit, _ = rack
    known = one_point(type_fit, 8.0, 1.0, 0.0024, 0.25)
    _, value = slow_value(8.0, 1.0, 0.0024, 0.25, 1000.0, 0.3, type_fit.usable_error_mm)
    steps = np.linspace(-1, 1, 401)
    monkeypatch.setattr(measure_value, "READINGS", 401)
    monkeypatch.setattr(measure_value, "_AT_SD", 6 * steps)
    monkeypatch.setattr(measure_value, "_STANDS_FOR", np.ones(401))
    assert reading_values(known, type_fit, 1000.0).value[0] == pytest.approx(value, abs=1e-3)


def test_the_loss_is_equal_at_the_limit_and_nothing_when_sure():
    assert decision_loss(np.array([0.0, 0.5, 0.9, 0.95, 1.0])) == pytest.approx([0, 0.5, 0.9, 0.45, 0])


def test_all_sets_at_once_agree_with_each_alone(rack):
    judged, type_fit, known = rack
    every = reading_values(known, type_fit, 900.0)
    for i in range(judged.size):
        own = replace(known, likely_m2=known.likely_m2[i : i + 1], points=known.points.one(i))
        alone = reading_values(own, type_fit, 900.0)
        for name in ("value", "chance", "chance_low", "chance_high"):
            assert getattr(alone, name)[0] == pytest.approx(getattr(every, name)[i], abs=1e-12)


@settings(max_examples=30, deadline=None)
@given(area=st.floats(0, 50_000), error=st.floats(0.01, 50), limit=st.floats(0.05, 0.99))
def test_a_height_is_never_worth_less_than_nothing(area, error, limit):
    _, type_fit, known = learnt()
    found = reading_values(known, type_fit, area, finish_limit=limit, error_mm=error)
    assert (found.value >= 0).all()
    assert (found.value <= decision_loss(found.chance, limit) + 1e-12).all()
    for name in ("value", "chance", "chance_low", "chance_high"):
        assert np.isfinite(getattr(found, name)).all()
    assert (found.chance_low <= found.chance_high).all()
    assert ((found.chance >= 0) & (found.chance <= 1)).all()


def test_the_chance_now_is_the_one_shown_elsewhere(rack):
    _, type_fit, known = rack
    for area in (200.0, 800.0, 2000.0):
        assert reading_values(known, type_fit, area).chance == pytest.approx(chance_to_finish(known, area), abs=0.01)


def test_sure_hopeless_and_worn_out_sets_are_not_asked(rack):
    judged, type_fit, known = rack
    for area in (0.0, 1e-3, 1e6):
        found = reading_values(known, type_fit, area)
        assert found.value == pytest.approx(np.zeros(judged.size), abs=1e-4)
        assert not found.ask.any()
    worn = judged.ended == Ended.WORN
    usual = reading_values(known, type_fit)
    assert worn.any()
    assert (usual.value[worn] == 0).all()
    assert (usual.chance[worn] == 0).all()


def test_a_reading_that_says_nothing_is_worth_nothing(rack):
    _, type_fit, known = rack
    assert reading_values(known, type_fit, 900.0, error_mm=1000.0).value.max() < 1e-3
    assert reading_values(known, type_fit, 900.0).value.max() > 0.1


def test_after_a_height_the_next_is_worth_less(rack):
    _, type_fit, _ = rack
    unread = OneSet([Stretch([600.0, 0.0, 0.0])] * 6)
    read = OneSet([*unread.rows[:5], replace(unread.rows[5], wear=8.5)])
    before, after = (
        reading_values(lives(record([one]), type_fit, OWN, in_fit=False), type_fit, 900.0) for one in (unread, read)
    )
    assert before.ask[0]
    assert before.value[0] > 0.05
    assert after.value[0] < 0.5 * before.value[0]
    assert after.chance_high[0] - after.chance_low[0] < before.chance_high[0] - before.chance_low[0]


def test_it_turns_where_a_height_read_so_turns_the_answer(rack):
    _, type_fit, _ = rack
    unread = OneSet([Stretch([600.0, 0.0, 0.0])] * 6)
    turn = reading_values(lives(record([unread]), type_fit, OWN, in_fit=False), type_fit, 900.0).turns_at_mm[0]
    for wear, good in ((turn - 0.5, True), (turn + 0.5, False)):
        read = OneSet([*unread.rows[:5], replace(unread.rows[5], wear=wear)])
        known = lives(record([read]), type_fit, OWN, in_fit=False)
        assert (chance_to_finish(known, 900.0)[0] >= 0.9) == good


def test_without_a_planned_step_the_types_usual_use_stands_in(rack):
    judged, type_fit, known = rack
    area = np.full(judged.size, np.nan)
    area[0] = 900.0
    found = reading_values(known, type_fit, area)
    assert found.planned.tolist() == [True] + [False] * (judged.size - 1)
    assert found.area_m2[0] == 900.0
    assert (found.area_m2[1:] == type_fit.use_m2).all()
    assert found.value[1:] == pytest.approx(reading_values(known, type_fit).value[1:])
    assert (found.ask == (found.value >= ASK_FROM)).all()


def test_what_no_shop_can_mean_is_refused_by_name(rack):
    _, type_fit, known = rack
    with pytest.raises(ValueError, match="`area_m2` must be 0 or more; got -1"):
        reading_values(known, type_fit, -1.0)
    with pytest.raises(ValueError, match="30 values, one per set; got 2"):
        reading_values(known, type_fit, [1.0, 2.0])
    with pytest.raises(ValueError, match="`finish_limit`"):
        reading_values(known, type_fit, finish_limit=1.0)
    with pytest.raises(ValueError, match="`error_mm`"):
        reading_values(known, type_fit, error_mm=0.0)
    assert reading_values(lives(record([]), type_fit, OWN), type_fit).value.shape == (0,)
