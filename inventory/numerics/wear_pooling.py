"""Noise of floors and spread of rates, learnt from all tool types of a shop at once.

One type has some twenty sets: too few to tell whether its floors differ by 16 or by 40 %. But the floors are the
same for every type, and how much sets of one type differ is much alike among types of one bond. Wear alarms live on
both figures, for they say what is usual.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from inventory.numerics.lognormal import Floats
from inventory.numerics.wear_fit import TypeFit, WearOptions

TYPES_DIFFER = 0.2  # SD of ln sigma among types of one bond: our assumption
_LEAST = 1e-300


def pool_spread(fits: Sequence[TypeFit | None], options: WearOptions | None = None) -> tuple[TypeFit | None, ...]:
    """The same fits with the noise of one use (tau) learnt from all types, the spread (sigma) from those of its bond.

    fits: as `wear_fit.fit` gives them; options: those it was called with. tau is one figure for the shop; a type's
    sigma lies around its bond's, off by `TYPES_DIFFER`. d, beta and all else stay as they are given tau and sigma.
    Returns: one fit per fit given, None where None was given; their weights sum to 1.
    Raises: ValueError for fits made with other grids than `options` says.
    Limits: sets of other types count as independent; with one type only, nothing changes but by `TYPES_DIFFER`.
    Source: our own, measured in `tests.simulated.alarms`.
    """
    options = options or WearOptions()
    known = [one for one in fits if one is not None]
    for one in known:
        if one.tau.size != len(options.tau) or one.sigma.size != options.sigma.size:
            raise ValueError("`options` must be those the fits were made with: tau and sigma are other grids.")
    if len(known) < 2:
        return tuple(fits)
    prior = options.log_tau_prior[:, None] + options.log_sigma_prior
    # Evidence of each type for tau and its own sigma, d averaged over: (t, s).
    evidence = [np.log(np.maximum(one.weight.sum(axis=1), _LEAST)) - prior for one in known]
    ln_sigma = np.log(options.sigma)
    near = np.exp(-0.5 * np.square((ln_sigma[:, None] - ln_sigma) / TYPES_DIFFER))
    near /= near.sum(axis=0)  # P(own sigma, by row | the bond's, by column)
    bonds = [one.bond or f"\0{i}" for i, one in enumerate(known)]
    heard = [_log(_exp(logs) @ near) + logs.max() for logs in evidence]  # of the bond's sigma, (t, s)
    by_bond = {bond: np.sum([h for h, b in zip(heard, bonds, strict=True) if b == bond], axis=0) for bond in bonds}
    # What each bond as a whole says of tau: its sigma averaged over, (t,).
    of_tau = {}
    for bond, logs in by_bond.items():
        both = logs + options.log_sigma_prior
        of_tau[bond] = _log(_exp(both).sum(axis=1)) + both.max()
    out: list[TypeFit | None] = []
    position = 0
    for given in fits:
        if given is None:
            out.append(None)
            continue
        bond = bonds[position]
        others = by_bond[bond] - heard[position] + options.log_sigma_prior
        elsewhere = options.log_tau_prior + sum((v for b, v in of_tau.items() if b != bond), np.zeros(len(options.tau)))
        logs = evidence[position] + _log(_exp(others) @ near.T) + others.max() + elsewhere[:, None]
        share = _exp(logs)
        weight = given.weight / np.maximum(given.weight.sum(axis=1, keepdims=True), _LEAST) * share[:, None, :]
        out.append(replace(given, weight=weight / weight.sum()))
        position += 1
    return tuple(out)


def _exp(logs: Floats) -> Floats:
    return np.asarray(np.exp(logs - logs.max()))


def _log(values: Floats) -> Floats:
    return np.asarray(np.log(np.maximum(values, _LEAST)))
