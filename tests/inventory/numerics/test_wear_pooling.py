"""Noise and spread learnt from all types at once: against a sum over every possible truth, and limits."""

import itertools
import math

import numpy as np
import pytest
from scipy import stats

from inventory.numerics.wear_fit import TypeFit, WearOptions
from inventory.numerics.wear_pooling import TYPES_DIFFER, pool_spread

OPTIONS = WearOptions(tau=(0.2, 0.3), spread_points=3, d_points=2)


def type_fit(bond: str, evidence: np.ndarray) -> TypeFit:
    """A fit whose record has this likelihood (tau, d, sigma)."""
    prior = np.exp(OPTIONS.log_tau_prior)[:, None, None] * np.exp(OPTIONS.log_sigma_prior)
    weight = prior * evidence
    return TypeFit(
        5000.0, bond, 12.0, 0.5, -6.0, 1.8, 81, 0.0, np.array([-0.1, 0.1]), OPTIONS.sigma, np.array(OPTIONS.tau),
        weight / weight.sum(), 500.0, 5, 3, 9, False, False,
    )  # fmt: skip


def naive(fits_evidence, bonds, which):
    """Weight (tau, d, sigma) of one type, summed over tau, each bond's sigma and each type's own."""
    ln_sigma = np.log(OPTIONS.sigma)
    near = np.array([stats.norm.pdf(ln_sigma, s, TYPES_DIFFER) for s in ln_sigma])  # [bond's, own]
    near /= near.sum(axis=1, keepdims=True)
    names = sorted(set(bonds))
    out = np.zeros(fits_evidence[0].shape)
    for t in range(2):
        for bond_sigma in itertools.product(range(3), repeat=len(names)):
            for own in itertools.product(range(3), repeat=len(bonds)):
                chance = math.exp(OPTIONS.log_tau_prior[t])
                chance *= math.prod(math.exp(OPTIONS.log_sigma_prior[s]) for s in bond_sigma)
                for i, evidence in enumerate(fits_evidence):
                    chance *= near[bond_sigma[names.index(bonds[i])], own[i]]
                    if i != which:
                        chance *= evidence[t, :, own[i]].mean()
                out[t, :, own[which]] += chance * fits_evidence[which][t, :, own[which]]
    return out / out.sum()


@pytest.mark.parametrize("bonds", [("metal", "metal", "resin"), ("metal", "metal", "metal")])
def test_pooling_is_the_sum_over_every_possible_truth(bonds):
    rng = np.random.default_rng(2)
    evidence = [np.exp(rng.normal(0, 2, (2, 2, 3))) for _ in bonds]
    pooled = pool_spread([type_fit(b, e) for b, e in zip(bonds, evidence, strict=True)], OPTIONS)
    for i, one in enumerate(pooled):
        assert one is not None
        assert one.weight == pytest.approx(naive(evidence, bonds, i), abs=1e-12)


def test_one_type_alone_and_types_without_fit_stay_as_they_are():
    one = type_fit("metal", np.ones((2, 2, 3)))
    assert pool_spread([one], OPTIONS) == (one,)
    assert pool_spread([None, one], OPTIONS) == (None, one)
    assert pool_spread([], OPTIONS) == ()
    two = pool_spread([one, None, one], OPTIONS)
    assert two[1] is None
    assert two[0] is not None
    assert two[0].weight.sum() == pytest.approx(1)


def test_evidence_beyond_any_float_still_sums_to_one():
    strong = np.ones((2, 2, 3))
    strong[0] = 1e-290
    pooled = pool_spread([type_fit("metal", strong)] * 5, OPTIONS)
    for one in pooled:
        assert one is not None
        assert np.isfinite(one.weight).all()
        assert one.tau_weight == pytest.approx([0, 1])


def test_fits_made_with_other_grids_are_refused():
    one = type_fit("metal", np.ones((2, 2, 3)))
    with pytest.raises(ValueError, match="other grids"):
        pool_spread([one, one])
