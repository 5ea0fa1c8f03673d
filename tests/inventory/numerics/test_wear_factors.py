"""Floor factors learnt: the record moves them to the truth, silence leaves them, and how much record is told."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import logsumexp

from inventory.numerics.wear import Ended, FloorFactors, theta_grid
from inventory.numerics.wear_factors import (
    FACTOR_SD,
    _curvature,
    _Type,
    factors_from_json,
    factors_to_json,
    fit_factors,
)
from inventory.numerics.wear_fit import WearOptions, log_evidence, log_normal_weights
from tests.inventory.numerics.wear_cases import CLASSES, OWN, OneSet, Stretch, random_sets, record

RECORDS = [
    record(random_sets(np.random.default_rng(seed), 40, rated=rated), rated=rated)
    for seed, rated in ((31, 3000.0), (32, 5000.0))
]


def test_wrong_factors_are_drawn_to_the_true_ones():
    wrong = OWN * np.array([1.0, math.exp(0.4), math.exp(-0.4)])
    got = fit_factors(RECORDS, wrong, CLASSES[0])
    before, after = np.abs(np.log(wrong / OWN)), np.abs(np.log(got.factor / OWN))
    assert (after[1:] < 0.5 * before[1:]).all()
    assert got.factor[0] == got.own[0] == 1.0
    assert (got.record[1:] > 0.7).all()
    assert got.record[0] == 0.0
    assert np.array_equal(got.own, wrong)


def test_a_class_without_work_stays_the_shops_own():
    sets = [OneSet([Stretch([500, 300, 0])] * 6, Ended.WORN) for _ in range(4)]
    got = fit_factors([record(sets)], OWN, CLASSES[0])
    assert got.factor[2] == OWN[2]
    assert got.record[2] == 0.0
    assert got.factor[1] != OWN[1]


def test_without_a_record_or_ratings_nothing_is_learnt():
    for made in (record([]), record([OneSet()]), replace(RECORDS[0], rated_m2=None)):
        got = fit_factors([made], OWN, CLASSES[0])
        assert np.array_equal(got.factor, OWN)
        assert (got.record == 0).all()


def test_more_record_stands_behind_a_factor_the_more_sets_there_are():
    few = record(random_sets(np.random.default_rng(31), 6, rated=3000.0), rated=3000.0)
    assert (fit_factors([few], OWN, CLASSES[0]).record[1:] < fit_factors(RECORDS[:1], OWN, CLASSES[0]).record[1:]).all()


def test_classes_always_worked_in_the_same_mix_are_not_both_known():
    # Soft and hard always together: their sum is learnt, their difference is not.
    rng = np.random.default_rng(3)
    sets = []
    for _ in range(40):
        wear, rows = 0.0, []
        for _ in range(8):
            area = [0.0, 200.0, 200.0] if rng.random() < 0.5 else [400.0, 0.0, 0.0]
            wear += 12 / 5000 * float((OWN * area) @ np.exp(rng.normal(-0.03, 0.25, 3)))
            rows.append(Stretch(area))
        rows[-1].wear = wear
        sets.append(OneSet(rows))
    got = fit_factors([record(sets)], OWN, CLASSES[0])
    # With 1.3 soft + .8 hard known exactly, and nothing of their difference, it would be .73 and .27.
    assert 0.2 < got.record[1] < 0.76
    assert got.record[2] < 0.4


def test_the_curvature_of_a_bowl_is_its_matrix():
    bowl = np.array([[30.0, 5.0], [5.0, 40.0]])
    assert _curvature(lambda b: 0.5 * np.einsum("pi,ij,pj->p", b, bowl, b), np.array([0.1, -0.2])) == pytest.approx(
        bowl, rel=1e-6
    )
    flat = _curvature(lambda b: np.zeros(b.shape[0]), np.zeros(2))
    assert np.diag(np.linalg.inv(flat)) == pytest.approx([FACTOR_SD**2] * 2)


def test_factors_go_through_json_and_back():
    got = fit_factors(RECORDS[:1], OWN, CLASSES[0])
    again = factors_from_json(json.dumps(factors_to_json(got)))
    assert factors_to_json(again) == factors_to_json(got)
    assert again.classes == got.classes
    assert isinstance(again, FloorFactors)
    with pytest.raises(ValueError, match="another version"):
        factors_from_json(factors_to_json(got) | {"version": 7})


def test_what_does_not_fit_is_refused():
    with pytest.raises(ValueError, match="at least one tool type"):
        fit_factors([], OWN, CLASSES[0])
    with pytest.raises(ValueError, match="the same floor classes"):
        fit_factors([RECORDS[0], record([], classes=CLASSES[::-1])], OWN, CLASSES[0])
    with pytest.raises(ValueError, match="`reference_class` must be one of"):
        fit_factors(RECORDS, OWN, "moon dust")
    with pytest.raises(ValueError, match="`own` must be above 0; got -1"):
        fit_factors(RECORDS, [1, -1, 1], CLASSES[0])


def test_the_evidence_of_many_factors_at_once_is_that_of_each():
    """Against the fit's own evidence, which takes one row of factors at a time."""
    found = OneSet([Stretch([500, 90, 0], 7.0)], start=6.0, start_error=1.4, from_new=False)
    made = record([*random_sets(np.random.default_rng(6), 8), found])
    options = WearOptions()
    factor = OWN * np.exp(np.random.default_rng(7).normal(0, 0.2, (4, 3)))
    got = _Type.of(made, options).log_evidence(factor)
    d = options.d(options.d_sd)
    prior = log_normal_weights(d, options.d_sd)[:, None] + options.log_sigma_prior
    centre = math.log(12 / 5000) + 0.1
    wanted = [
        logsumexp(log_evidence(made, f, theta_grid(centre), centre + d, options.sigma, 0.25)[0] + prior) for f in factor
    ]
    assert got == pytest.approx(wanted, rel=1e-10)
