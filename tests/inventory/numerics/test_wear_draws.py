"""Lives drawn world by world: the same spread as the answers, the same dice the same lives."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.numerics.life import lives, new_life, survive
from inventory.numerics.wear import Ended, WearRecord
from inventory.numerics.wear_draws import choose_worlds, draw_life_left, draw_new_lives
from inventory.numerics.wear_fit import TypeFit, fit
from tests.inventory.numerics.wear_cases import OWN, OneSet, Stretch, random_sets, record

SETS = [
    *random_sets(np.random.default_rng(41), 12),
    OneSet([Stretch([200, 0, 0], 7.5)], start=6.0, start_error=1.44, from_new=False),
    OneSet([Stretch([20_000, 0, 0])]),  # far beyond its life, still running
]
MADE = record(SETS)


def fit_of(made: WearRecord) -> TypeFit:
    got = fit([made], OWN).per_type[0]
    assert got is not None
    return got


FIT = fit_of(MADE)
RUNNING = np.flatnonzero(MADE.ended != Ended.WORN)
DRAWS = 20_000


def dice(seed: int, n: int = MADE.size, draws: int = DRAWS):
    rng = np.random.default_rng(seed)
    return rng.random(draws), rng.random((n, draws)), rng.random((n, draws))


def test_draws_spread_as_the_answers_without_noise_of_floors_to_come():
    left = draw_life_left(MADE, FIT, OWN, *dice(1))
    known = lives(MADE, FIT, OWN)
    assert np.isfinite(left).all()
    assert (left >= 0).all()
    for share in (0.1, 0.5, 0.9):
        drawn = np.quantile(left, share, axis=1)
        at = survive(known.points, drawn[:, None], 0.0)[:, 0]
        assert at[RUNNING] == pytest.approx(1 - share, abs=0.02)
    assert (left[MADE.ended == Ended.WORN] == 0).all()


def test_new_lives_spread_as_a_new_sets_answer():
    world, theta, end = dice(2, 3)
    drawn = draw_new_lives(MADE, FIT, world, theta, end)
    known = new_life(MADE, FIT)
    for share in (0.1, 0.5, 0.9):
        for row in drawn:
            at = survive(known.points, np.array([[np.quantile(row, share)]]), 0.0)[0, 0]
            assert at == pytest.approx(1 - share, abs=0.015)


def test_sets_of_one_type_share_its_truth_in_a_world():
    new = record([OneSet(), OneSet()])
    known = fit_of(new)
    drawn = np.log(draw_life_left(new, known, OWN, *dice(3, 2)))
    # Prior: type SD .35 against .30 or more between sets; correlation about .35^2 / (.35^2 + E sigma^2).
    spread = float(known.weight.sum(axis=(0, 1)) @ np.square(known.sigma))
    wanted = 0.35**2 / (0.35**2 + spread)
    assert np.corrcoef(drawn)[0, 1] == pytest.approx(wanted, abs=0.06)


def test_the_same_dice_give_the_same_lives_whatever_else_is_drawn():
    world, theta, end = dice(4, draws=500)
    whole = draw_life_left(MADE, FIT, OWN, world, theta, end)
    assert np.array_equal(whole, draw_life_left(MADE, FIT, OWN, world, theta, end))
    some = draw_life_left(MADE, FIT, OWN, world[100:200], theta[:, 100:200], end[:, 100:200])
    assert some == pytest.approx(whole[:, 100:200], rel=1e-12)
    i = int(RUNNING[0])
    alone = draw_life_left(record([SETS[i]]), FIT, OWN, world, theta[i : i + 1], end[i : i + 1])
    assert alone[0] == pytest.approx(whole[i], rel=1e-12)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6))
def test_a_luckier_end_is_a_longer_life(seed):
    world, theta, end = dice(seed, draws=50)
    low = draw_life_left(MADE, FIT, OWN, world, theta, end * 0.5)
    high = draw_life_left(MADE, FIT, OWN, world, theta, 0.5 + end * 0.5)
    assert np.isfinite(low).all()
    assert ((low <= high + 1e-9).all()) or ((low + 1e-9 >= high).all())


def test_worlds_come_as_often_as_they_are_believed():
    tau, hyper = choose_worlds(FIT, (np.arange(50_000) + 0.5) / 50_000)
    assert np.bincount(tau, minlength=5) / 50_000 == pytest.approx(FIT.tau_weight, abs=1e-3)
    assert np.bincount(hyper, minlength=225) / 50_000 == pytest.approx(FIT.flat_weight.sum(axis=0), abs=1e-3)
    assert choose_worlds(FIT, np.array([0.0, 1.0]))[0].max() <= 4


def test_the_ends_of_the_dice_are_finite():
    n = MADE.size
    for value in (0.0, 1.0):
        full = np.full((n, 3), value)
        assert np.isfinite(draw_life_left(MADE, FIT, OWN, np.full(3, value), full, full)).all()


def test_dice_of_another_shape_are_refused():
    world, theta, end = dice(5, draws=10)
    with pytest.raises(ValueError, match="`uniform_theta` must have shape"):
        draw_life_left(MADE, FIT, OWN, world, theta[:2], end)
    with pytest.raises(ValueError, match="`uniform_end` must have shape"):
        draw_life_left(MADE, FIT, OWN, world, theta, end[:, :3])
    assert draw_life_left(record([]), FIT, OWN, world, theta[:0], end[:0]).shape == (0, 10)
