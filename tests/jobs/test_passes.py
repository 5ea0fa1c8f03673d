"""Passes: common practice, and what the shop's record makes of it."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from jobs.numerics.passes import (
    MOST_PASSES,
    STEP_KINDS,
    draw_passes,
    learn_by_class,
    learn_passes,
    practice,
)


def test_before_any_record_passes_are_as_the_trade_does_them():
    # METHODS 2: first step 6, 7, 8 with .25 .5 .25; later 4, 5, 6 with .2 .6 .2; common practice, no source.
    assert practice("first_cut").chances.tolist() == [0, 0, 0, 0, 0, 0.25, 0.5, 0.25, 0, 0, 0, 0]
    assert practice("later").chances.tolist() == [0, 0, 0, 0.2, 0.6, 0.2, 0, 0, 0, 0, 0, 0]
    assert (practice("first_cut").mean, practice("later").mean) == (7.0, 5.0)
    assert (practice("first_cut").planned, practice("later").planned) == (7, 5)


def test_four_steps_of_record_weigh_as_much_as_the_practice():
    known = learn_passes("later", [3, 3, 3, 3])

    assert known.logged == 4
    assert known.chances.tolist() == pytest.approx([0, 0, 0.5, 0.1, 0.3, 0.1, 0, 0, 0, 0, 0, 0])
    assert known.mean == pytest.approx(4.0)


def test_the_mean_is_that_of_the_dirichlet_posterior():
    # Outside: scipy's Dirichlet distribution with the posterior's parameters; practice times 4 plus counts. Its zeros
    # are left out, scipy takes parameters above 0 only.
    logged = [5, 6, 6, 7, 9, 12]
    alpha = 4 * practice("first_cut").chances + np.bincount(logged, minlength=13)[1:]
    there = alpha > 0

    learnt = learn_passes("first_cut", logged).chances

    assert learnt[there].tolist() == pytest.approx(stats.dirichlet(alpha[there]).mean().tolist(), abs=1e-12)
    assert learnt[~there].tolist() == [0.0] * int((~there).sum())


def test_a_long_record_is_believed_over_the_practice():
    rng = np.random.default_rng(11)

    known = learn_passes("later", rng.choice([8, 9], size=4000))

    assert known.chances[7] + known.chances[8] > 0.998
    assert known.mean == pytest.approx(8.5, abs=0.05)


def test_a_step_redone_many_times_counts_as_twelve():
    assert learn_passes("later", [30]).chances[11] == pytest.approx(0.2)


@given(
    kind=st.sampled_from(STEP_KINDS),
    logged=st.lists(st.integers(1, 40), max_size=60),
    pseudo=st.floats(0.01, 100),
)
def test_chances_sum_to_one_and_the_order_of_the_record_says_nothing(kind, logged, pseudo):
    known, turned = learn_passes(kind, logged, pseudo), learn_passes(kind, logged[::-1], pseudo)

    assert known.chances.sum() == pytest.approx(1.0)
    assert (known.chances >= 0).all()
    assert known.chances.tolist() == turned.chances.tolist()
    assert 1 <= known.at(0.1) <= known.planned <= known.at(0.9) <= MOST_PASSES


def test_draws_follow_the_chances():
    known = learn_passes("later", [3, 4, 4, 5, 7])
    drawn = draw_passes(known, np.random.default_rng(5).random(40_000))

    shares = np.bincount(drawn, minlength=13)[1:] / drawn.size

    # 40,000 draws: a share is known to .0025 (one standard error); five of them.
    assert np.abs(shares - known.chances).max() < 0.0125
    assert set(drawn.tolist()) == {3, 4, 5, 6, 7}


def test_the_edges_of_the_dice_draw_passes_that_can_be():
    known = practice("first_cut")

    assert draw_passes(known, np.array([0.0, np.nextafter(1.0, 0.0)])).tolist() == [6, 8]


def test_classes_are_learnt_apart():
    learnt = learn_by_class(
        [
            ("hard|raw|wet|first_cut", 9),
            ("hard|raw|wet|later", 4),
            ("hard|raw|wet|first_cut", 9),
            ("soft|raw|wet|later", 6),
        ]
    )

    assert sorted((name, known.logged) for name, known in learnt.items()) == [
        ("hard|raw|wet|first_cut", 2),
        ("hard|raw|wet|later", 1),
        ("soft|raw|wet|later", 1),
    ]
    assert learnt["hard|raw|wet|first_cut"].mean == pytest.approx((2 * 9 + 4 * 7) / 6)


@pytest.mark.parametrize("wrong", [0, -1, 2.5, math.nan, math.inf])
def test_a_step_of_no_passes_is_refused(wrong):
    with pytest.raises(ValueError, match="`logged` must be whole passes, 1 or more; got"):
        learn_passes("later", [5, wrong])


def test_an_unknown_kind_a_class_of_another_form_and_no_pseudo_counts_are_refused():
    with pytest.raises(ValueError, match="`step_kind` must be one of first_cut, later, edge, upkeep; got 'middle'"):
        practice("middle")
    with pytest.raises(ValueError, match=r"`logged` must name floors as .*; got 'hard'"):
        learn_by_class([("hard", 5)])
    with pytest.raises(ValueError, match="`pseudo_counts` must be above 0; got 0"):
        learn_passes("later", [], 0)
    with pytest.raises(ValueError, match="`share` must lie above 0"):
        practice("later").at(0)
