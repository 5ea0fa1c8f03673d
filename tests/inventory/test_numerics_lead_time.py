"""Lead time: the prior of the supplier's word, orders received and open, and published life-data fits."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from inventory.numerics.lead_time import LeadTime, fit_lead_time


def _lead(*arguments) -> LeadTime:
    lead = fit_lead_time(*arguments)
    assert lead is not None
    return lead


def test_only_the_suppliers_word_gives_its_prior():
    # Independent of our grid: ln L = ln 20 + .1 + .3 Z1 + .3 e^{.4 Z2} Z3, drawn.
    rng = np.random.default_rng(2)
    z = rng.standard_normal((3, 400_000))
    drawn = np.exp(math.log(20) + 0.1 + 0.3 * z[0] + 0.3 * np.exp(0.4 * z[1]) * z[2])

    lead = _lead(20)

    assert lead.quantile(0.5) == pytest.approx(20 * math.exp(0.1), rel=1e-3)
    for share in (0.1, 0.8, 0.95):
        assert lead.quantile(share) == pytest.approx(np.quantile(drawn, share), rel=0.01)


def test_many_orders_overrule_the_word():
    # NIST/SEMATECH 8.4.1.3 lives taken as days, ten received and ten still open at 500 (R2: median 505.7), forty
    # times over so that the record outweighs the prior.
    fail = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386] * 40

    lead = _lead(None, fail, [500] * 400)

    assert lead.quantile(0.5) == pytest.approx(505.7, rel=0.015)
    assert (lead.received, lead.still_open) == (400, 400)


def test_an_open_order_grown_old_makes_the_next_one_later():
    known = _lead(10, [10, 11, 9])
    waiting = _lead(10, [10, 11, 9], [30])

    assert waiting.quantile(0.9) > 1.1 * known.quantile(0.9)


def test_an_order_placed_today_says_nothing_yet():
    assert _lead(10, [], [0]).quantile(0.9) == pytest.approx(_lead(10).quantile(0.9), rel=1e-6)


def test_drawn_lead_times_follow_the_quantiles():
    lead = _lead(15, [18, 25], [4])
    rng = np.random.default_rng(1)

    drawn = lead.draw(rng.random(100_000), rng.random(100_000))

    for share in (0.1, 0.5, 0.95):
        assert np.quantile(drawn, share) == pytest.approx(lead.quantile(share), rel=0.02)


def test_the_stated_range_of_the_next_order_holds():
    # METHODS 5.1: after 3 orders the next lies in its 80 % range .80 of the time, under its P95 .94-.95.
    rng = np.random.default_rng(8)
    inside, under = [], []
    for _ in range(150):
        m = math.log(15) + 0.1 + 0.3 * rng.standard_normal()
        s = 0.3 * math.exp(0.4 * rng.standard_normal())
        lead = _lead(15, np.exp(m + s * rng.standard_normal(3)))
        inside.append(np.diff(stats.norm.cdf(np.log([lead.quantile(0.1), lead.quantile(0.9)]), m, s))[0])
        under.append(stats.norm.cdf(math.log(lead.quantile(0.95)), m, s))

    assert np.mean(inside) == pytest.approx(0.80, abs=0.03)
    assert np.mean(under) == pytest.approx(0.945, abs=0.02)


def test_nothing_known_is_none():
    assert fit_lead_time(None) is None
    assert fit_lead_time(None, [], [12]) is None


@settings(max_examples=30, deadline=None)
@given(
    word=st.one_of(st.none(), st.floats(0.5, 300)),
    received=st.lists(st.integers(0, 400), max_size=6),
    waiting=st.lists(st.integers(0, 400), max_size=4),
)
def test_quantiles_are_finite_and_rise(word, received, waiting):
    lead = fit_lead_time(word, received, waiting)
    if lead is None:
        return

    days = [lead.quantile(share) for share in (0.05, 0.5, 0.95)]

    assert all(math.isfinite(day) and day > 0 for day in days)
    assert days == sorted(days)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((0,), "`word_days` must be above 0; got 0"),
        ((math.inf,), "`word_days` must be above 0; got inf"),
        ((10, [-1]), "`received_days` must be 0 or more; got -1"),
        ((10, [], [math.nan]), "`open_days` must hold finite numbers; got nan"),
    ],
)
def test_what_cannot_be_is_refused_by_name(arguments, words):
    with pytest.raises(ValueError, match=words):
        fit_lead_time(*arguments)


@pytest.mark.parametrize("share", [0, 1, -0.1])
def test_a_certain_lead_time_is_refused(share):
    with pytest.raises(ValueError, match="`share` must lie between 0 and 1"):
        _lead(10).quantile(share)
