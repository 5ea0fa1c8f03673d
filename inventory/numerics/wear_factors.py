"""Floor factors learnt from the shop's record, around the shop's own (METHODS 1.1)."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import fields
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize
from scipy.special import logsumexp

from inventory.numerics.lognormal import Floats
from inventory.numerics.wear import FloorFactors, WearRecord, theta_grid
from inventory.numerics.wear_fit import VERSION, WearOptions, log_evidence, log_normal_weights, rating_centre, unpack

FACTOR_SD = 0.25  # SD of ln(true factor / shop's own): our assumption, METHODS 1.1
STEP = 1e-3  # of the numerical gradient, METHODS 1.1
MOST_STEPS = 12  # of the search, METHODS 1.1
_CURVE_STEP = 0.02  # of the second differences


def fit_factors(
    records: Sequence[WearRecord],
    own: npt.ArrayLike,
    reference_class: str,
    *,
    options: WearOptions | None = None,
) -> FloorFactors:
    """Learn the floor factors of the classes that have work behind them.

    records: one per tool type, all with the same classes; types without a rating add nothing. own: (classes,) the
    shop's own factors. reference_class: stays as it is, for factors are relative to it.
    Returns: FloorFactors; `record` is 1 - posterior variance / prior variance of ln(factor).
    Raises: ValueError for classes that differ, a reference class that is not among them, factors not above 0.
    Limits: a normal peak is assumed for `record`; tau is held at its usual value, 0.25.
    """
    options = options or WearOptions()
    classes = records[0].classes if records else ()
    if not records:
        raise ValueError("`records` must hold at least one tool type.")
    if any(r.classes != classes for r in records):
        raise ValueError("`records` must all have the same floor classes in the same order.")
    if reference_class not in classes:
        raise ValueError(f"`reference_class` must be one of the floor classes {classes}; got {reference_class!r}.")
    shop = FloorFactors.of_shop(classes, own)
    rated = [r for r in records if r.rated_m2 is not None and r.segments.set_index.size]
    worked = np.zeros(len(classes), dtype=np.bool_)
    for r in rated:
        worked |= r.segments.area_m2.sum(axis=0) > 0
    free = np.flatnonzero(worked & (np.array(classes) != reference_class))
    if not free.size:
        return shop

    def loss(b: Floats) -> float:
        factor = shop.own.copy()
        factor[free] *= np.exp(b)
        evidence = sum(_type_evidence(r, factor, options) for r in rated)
        return float(0.5 * np.square(b / FACTOR_SD).sum() - evidence)

    def with_gradient(b: Floats) -> tuple[float, Floats]:
        here = loss(b)
        return here, np.array([(loss(b + STEP * e) - here) / STEP for e in np.eye(free.size)])

    found = minimize(
        with_gradient,
        np.zeros(free.size),
        jac=True,
        method="L-BFGS-B",
        bounds=[(-5 * FACTOR_SD, 5 * FACTOR_SD)] * free.size,
        options={"maxiter": MOST_STEPS},
    )
    factor, known = shop.own.copy(), np.zeros(len(classes))
    factor[free] *= np.exp(found.x)
    known[free] = np.clip(1.0 - np.diag(np.linalg.inv(_curvature(loss, found.x))) / FACTOR_SD**2, 0.0, 1.0)
    return FloorFactors(classes, factor, shop.own, known)


def _type_evidence(record: WearRecord, factor: Floats, options: WearOptions) -> float:
    """Log evidence of one type at the usual tau, hyper-parameters averaged over."""
    centre = rating_centre(record, options)
    grid = theta_grid(centre, options.half_width, options.points)
    d = options.d(options.d_sd)
    logs = log_evidence(record, factor, grid, centre + d, options.sigma, options.tau_middle)[0]
    return float(logsumexp(logs + log_normal_weights(d, options.d_sd)[:, None] + options.log_sigma_prior))


def _curvature(loss: Any, at: Floats) -> Floats:
    """Second differences of the loss (c, c); kept at least as curved as the belief alone."""
    c, h = at.size, _CURVE_STEP
    unit = h * np.eye(c)
    middle = loss(at)
    up = np.array([loss(at + e) for e in unit])
    down = np.array([loss(at - e) for e in unit])
    out = np.diag((up + down - 2 * middle) / h**2)
    for i in range(c):
        for j in range(i):
            both = loss(at + unit[i] + unit[j])
            out[i, j] = out[j, i] = (both - up[i] - up[j] + middle) / h**2
    values, vectors = np.linalg.eigh(out)
    return np.asarray((vectors * np.maximum(values, 1.0 / FACTOR_SD**2)) @ vectors.T)


def factors_to_json(factors: FloorFactors) -> dict[str, Any]:
    """Plain lists and numbers, with a version number."""
    plain = {f.name: getattr(factors, f.name) for f in fields(factors)}
    return {"version": VERSION} | {k: v.tolist() if isinstance(v, np.ndarray) else list(v) for k, v in plain.items()}


def factors_from_json(stored: dict[str, Any] | str) -> FloorFactors:
    """Read what `factors_to_json` gave.

    Raises: ValueError for another version or missing parts.
    """
    found = json.loads(stored) if isinstance(stored, str) else stored
    parts = unpack(FloorFactors, found, ("factor", "own", "record"))
    return FloorFactors(**(parts | {"classes": tuple(parts["classes"])}))
