"""The wear of one set along its own record, as it is believed now: what a life curve draws.

Given its rate and the noise of a use, a set's wear is Gaussian (inventory.numerics.wear). Every reading says something
of the wear before it too: it is carried backwards, and averaged over the rates and noises the whole record leaves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from inventory.numerics.life import Lives, posterior
from inventory.numerics.lognormal import Floats, Ints
from inventory.numerics.wear import BASIS_ERROR, Ended, FloorFactors, WearRecord, factor_row, stretches
from inventory.numerics.wear_fit import TypeFit

SHARES = (0.1, 0.5, 0.9)
_LEAST_WEIGHT = 1e-4  # of the heaviest point: lighter ones move no line of a drawing
_STEPS = 241  # of the heights looked at
_LEAST_SD_MM = 0.01  # a wear known better than this is drawn as a point


@dataclass(frozen=True)
class WearPath:
    """Wear of one set, k points in the order of its record: each stretch from its beginning to its end.

    reference_m2: (k,) reference area worked since the record begins, by whatever pieces the set had. wear_mm: (k, 3)
    P10, P50, P90. run: (k,) number of the run; where pieces were dressed or changed the next one begins. row: (k,) the
    row of the record's segments that ends there, -1 at the beginning of a run. The last point is now, of a set that
    runs: given that it still does.
    """

    reference_m2: Floats
    wear_mm: Floats
    run: Ints
    row: Ints


@dataclass(frozen=True)
class _Run:
    """What lies between two new starts: areas as a whole set wears by them (j,), noise by tau (t, j), readings and
    errors (j,) NaN = none; worked: areas as they were worked (j,)."""

    begin_m2: float
    start_mm: float
    start_error_mm: float
    area: Floats
    noise: Floats
    wear: Floats
    error: Floats
    row: Ints
    worked: Floats


def wear_path(
    record: WearRecord,
    type_fit: TypeFit,
    factors: FloorFactors,
    *,
    in_fit: bool = True,
    as_fitted: WearRecord | None = None,
) -> WearPath:
    """The wear of one set along its record, with its range.

    record: of that set alone. in_fit, as_fitted: see ``life.posterior``.
    Raises: ValueError for a record of more or fewer sets, and as ``wear.check_record``.
    Limits: after more than half the pieces were changed nothing is said of the wear before (METHODS 1.1 item 6); of a
    set that runs only the last point knows that it still does, the points before are kept from lying above it.
    """
    if record.size != 1:
        raise ValueError(f"`record` must be of one set; got {record.size}.")
    part, weight, _odd = posterior(record, type_fit, factors, in_fit=in_fit, as_fitted=as_fitted)
    share = weight[:, 0]
    t, g = np.nonzero(share > _LEAST_WEIGHT * share.max())
    chosen = share[t, g] / share[t, g].sum()
    rate = np.exp(part.grid)[g]
    running = record.ended[0] == Ended.RUNNING
    found: list[tuple[Floats, Floats, Ints]] = []
    runs = _runs(record, factors, part.tau)
    for run in runs:
        mean, variance = _smooth(run, rate, t)
        # Looked at for the whole run at once: of one that still runs the last point knows that it does.
        known = running and run is runs[-1]
        wear = _quantiles(chosen, mean, variance, record.usable_mm, record.usable_error_mm if known else None)
        wear = np.minimum.accumulate(wear[::-1], axis=0)[::-1]
        area = run.begin_m2 + np.append(0.0, np.cumsum(run.worked))
        found.append((area, wear, np.append(-1, run.row).astype(np.int64)))
    number = np.repeat(np.arange(len(found)), [area.size for area, _wear, _row in found])
    area, wear, row = (np.concatenate([one[at] for one in found]) for at in range(3))
    return WearPath(area, wear, number, row)


def _runs(record: WearRecord, factors: FloorFactors, tau: Floats) -> list[_Run]:
    """The runs of the record since most of the pieces were changed last; the last one may have no stretch yet."""
    part, seg = stretches(record, factor_row(factors, record.classes)), record.segments
    noise = np.square(tau)[:, None] * part.square_m4.sum(axis=1) + part.square_m4 @ np.square(BASIS_ERROR)
    count = part.row.size
    start, error = float(record.start_mm[0]), float(record.start_error_mm[0])
    runs: list[_Run] = []
    behind, begin = 0.0, 0
    for end in [*np.flatnonzero(~np.isnan(seg.restart_mm[part.row])).tolist(), count]:
        at = slice(begin, end + 1)
        rows, area, worked = part.row[at], part.reference_m2[at], part.worked_m2[at]
        height, off = seg.wear_mm[rows], seg.error_mm[rows]
        runs.append(_Run(behind, start, error, area, noise[:, at], height, off, rows, worked))
        if end == count:
            break
        behind, begin = behind + float(worked.sum()), end + 1
        start, error = float(seg.restart_mm[rows[-1]]), float(seg.restart_error_mm[rows[-1]])
        if seg.forget[rows[-1]]:
            runs = []
    last = runs[-1]
    if record.ended[0] == Ended.WORN and last.row.size and np.isnan(last.wear[-1]):
        last.wear[-1], last.error[-1] = record.usable_mm, record.usable_error_mm
    return runs


def _smooth(run: _Run, rate: Floats, t: Ints) -> tuple[Floats, Floats]:
    """Mean and variance of wear at the j + 1 ends of stretches by all readings of the run, (j + 1, p).

    rate: (p,) mm per m2; t: (p,) which noise. Kalman filter, then the Rauch-Tung-Striebel recursion backwards.
    """
    count, square = run.area.size, np.square(rate)
    mean, variance = np.empty((count + 1, rate.size)), np.empty((count + 1, rate.size))
    ahead_mean, ahead_variance = np.empty_like(mean), np.empty_like(variance)
    mean[0], variance[0] = run.start_mm, run.start_error_mm**2
    for j in range(count):
        ahead_mean[j + 1] = m = mean[j] + rate * run.area[j]
        ahead_variance[j + 1] = p = variance[j] + square * run.noise[t, j]
        if not np.isnan(run.wear[j]):
            gain = p / (p + run.error[j] ** 2)
            m, p = m + gain * (run.wear[j] - m), p * (1 - gain)
        mean[j + 1], variance[j + 1] = m, p
    for j in range(count - 1, -1, -1):
        back = variance[j] / np.maximum(ahead_variance[j + 1], 1e-300)
        mean[j] += back * (mean[j + 1] - ahead_mean[j + 1])
        variance[j] += np.square(back) * (variance[j + 1] - ahead_variance[j + 1])
    return mean, np.maximum(variance, 0.0)


def _quantiles(weight: Floats, mean: Floats, variance: Floats, usable_mm: float, end_error_mm: float | None) -> Floats:
    """Wear not exceeded with SHARES, (k, 3), of mixtures of normals (k, p).

    end_error_mm: SD of the wear at which a set is worn out: the last one is then taken given that it still runs.
    """
    sd = np.maximum(np.sqrt(variance), _LEAST_SD_MM)
    out = np.empty((mean.shape[0], len(SHARES)))
    for j, (m, s) in enumerate(zip(mean, sd, strict=True)):
        y = np.linspace((m - 4 * s).min(), (m + 4 * s).max(), _STEPS)
        below = ndtr((y[:, None] - m) / s)
        if end_error_mm is not None and j == mean.shape[0] - 1:
            held = np.diff(below, axis=0) * ndtr((usable_mm - (y[1:] + y[:-1]) / 2) / end_error_mm)[:, None]
            total = held.sum(axis=0)
            # Weights already know that the set runs; here each point's own wear is cut back to that.
            shape = np.where(total > 1e-12, held / np.maximum(total, 1e-300), 0.0) @ weight
            whole = shape.sum()
            chance = np.append(0.0, np.cumsum(shape)) / whole if whole > 1e-6 else below @ weight
        else:
            chance = below @ weight
        out[j] = np.interp(SHARES, chance, y)
    return out


def rate_range(known: Lives, i: int = 0) -> tuple[float, float, float]:
    """Wear rate of one of these sets by its type and its own record: P10, P50, P90 [mm / reference m2].

    NaN for a set that ended worn out: nothing of it is kept.
    """
    points = known.points.one(i)
    if not points.weight.size:
        return (float("nan"),) * 3
    order = np.argsort(points.rate)
    chance = np.cumsum(points.weight[order])
    middle = chance - points.weight[order] / 2
    low, likely, high = np.interp(SHARES, middle / chance[-1], points.rate[order]).tolist()
    return low, likely, high
