"""Floor factors learnt from the shop's record, around the shop's own (METHODS 1.1)."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize
from scipy.special import logsumexp

from inventory.numerics.lognormal import Floats
from inventory.numerics.wear import FloorFactors, Segments, WearRecord, tables, theta_grid
from inventory.numerics.wear_fit import VERSION, hyper_rows, rating_centre, scaled_evidence, unpack
from inventory.numerics.wear_options import WearOptions, log_normal_weights

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

    types = [_Type.of(r, options) for r in rated]

    def losses(b: Floats) -> Floats:
        """Loss (p,) at several points b (p, free) at once."""
        factor = np.tile(shop.own, (b.shape[0], 1))
        factor[:, free] *= np.exp(b)
        evidence = sum((one.log_evidence(factor) for one in types), np.zeros(b.shape[0]))
        return np.asarray(0.5 * np.square(b / FACTOR_SD).sum(axis=1) - evidence)

    def with_gradient(b: Floats) -> tuple[float, Floats]:
        found = losses(b + STEP * np.vstack([np.zeros(free.size), np.eye(free.size)]))
        return float(found[0]), (found[1:] - found[0]) / STEP

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
    known[free] = np.clip(1.0 - np.diag(np.linalg.inv(_curvature(losses, found.x))) / FACTOR_SD**2, 0.0, 1.0)
    return FloorFactors(classes, factor, shop.own, known)


@dataclass(frozen=True)
class _Type:
    """One tool type and what does not change with the factors; log_prior: (h,) of the rows."""

    record: WearRecord
    tau: float
    grid: Floats
    rows: Floats
    found_rows: Floats | None
    log_prior: Floats

    @classmethod
    def of(cls, record: WearRecord, options: WearOptions) -> _Type:
        centre = rating_centre(record, options)
        grid = theta_grid(centre, options.half_width, options.points)
        d = options.d(options.d_sd)
        return cls(
            record,
            options.tau_middle,
            grid,
            hyper_rows(grid, centre + d, options.sigma),
            None if record.from_new.all() else hyper_rows(grid, centre + d, options.sigma, found=True),
            (log_normal_weights(d, options.d_sd)[:, None] + options.log_sigma_prior).ravel(),
        )

    def log_evidence(self, factor: Floats) -> Floats:
        """Log evidence (p,) at the usual tau of factors (p, classes), hyper-parameters averaged over."""
        out = []
        # Some at a time: many sets and classes would make one large block.
        for some in np.array_split(factor, max(1, factor.shape[0] * self.record.size // 2000)):
            many = _repeated(self.record, some)
            part = tables(many, np.ones(1), self.tau, self.grid)
            full = part.ll + part.ll_service
            _, top, evidence = scaled_evidence(full, self.rows, self.found_rows, many.from_new)
            logs = (np.log(evidence[0]) + top[0][:, None]).reshape(some.shape[0], self.record.size, -1).sum(axis=1)
            out.append(logsumexp(logs + self.log_prior, axis=1))
        return np.concatenate(out)


def _repeated(record: WearRecord, factor: Floats) -> WearRecord:
    """The record once for each row of factor (p, classes), as sets of their own, areas as reference areas."""
    seg, p, n = record.segments, factor.shape[0], record.size
    segments = Segments(
        (seg.set_index + n * np.arange(p)[:, None]).ravel(),
        (factor @ seg.area_m2.T).reshape(-1, 1),
        np.einsum("pc,kcb->pkb", np.square(factor), seg.square_m4).reshape(-1, 1, seg.square_m4.shape[2]),
        np.tile(seg.wear_mm, p),
        np.tile(seg.error_mm, p),
        np.tile(seg.restart_mm, p),
        np.tile(seg.restart_error_mm, p),
        np.tile(seg.forget, p),
        seg.load if seg.load is None else np.tile(seg.load, p),
    )
    return replace(
        record,
        classes=("reference",),
        start_mm=np.tile(record.start_mm, p),
        start_error_mm=np.tile(record.start_error_mm, p),
        from_new=np.tile(record.from_new, p),
        ended=np.tile(record.ended, p),
        segments=segments,
        load_now=None,
    )


def _curvature(losses: Callable[[Floats], Floats], at: Floats) -> Floats:
    """Second differences of the loss (c, c); kept at least as curved as the belief alone."""
    c, h = at.size, _CURVE_STEP
    unit = h * np.eye(c)
    first, second = np.tril_indices(c, -1)
    values = losses(at + np.vstack([np.zeros(c), unit, -unit, unit[first] + unit[second]]))
    middle, up, down, both = values[0], values[1 : c + 1], values[c + 1 : 2 * c + 1], values[2 * c + 1 :]
    out = np.diag((up + down - 2 * middle) / h**2)
    out[first, second] = out[second, first] = (both - up[first] - up[second] + middle) / h**2
    size, vectors = np.linalg.eigh(out)
    return np.asarray((vectors * np.maximum(size, 1.0 / FACTOR_SD**2)) @ vectors.T)


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
