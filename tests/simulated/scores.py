"""Scores of predicted ranges and chances against what happened (METHODS 6; REFERENCES F6-F11).

A predicted life is a survival curve on knots: S(r) = P(life left > r), straight between knots.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def crps_of_curve(knots: Floats, survival: Floats, truth: Floats) -> Floats:
    """Continuous ranked probability score of n survival curves, in the unit of the knots, (n,).

    knots: (n, k) rising, the first at the lower end of the support. survival: (n, k). truth: (n,) >= knots[:, 0].
    The integral of (F(r) - 1{r >= truth})^2 is exact for curves straight between knots; beyond the last knot all
    that is left of the curve counts as ending there.
    """
    below = 1.0 - survival
    at = np.stack([np.interp(y, k, f) for y, k, f in zip(truth, knots, below, strict=True)])
    left, right = knots[:, :-1], knots[:, 1:]
    f_left, f_right = below[:, :-1], below[:, 1:]
    split = np.clip(truth[:, None], left, right)
    f_split = np.where(truth[:, None] <= left, f_left, np.where(truth[:, None] >= right, f_right, at[:, None]))
    under = (split - left) * (f_left**2 + f_left * f_split + f_split**2) / 3
    above = (right - split) * ((1 - f_split) ** 2 + (1 - f_split) * (1 - f_right) + (1 - f_right) ** 2) / 3
    beyond = np.maximum(truth - knots[:, -1], 0.0)  # by then the curve has ended
    return np.asarray((under + above).sum(axis=1) + beyond)


def crps_of_draws(draws: Floats, truth: float) -> float:
    """CRPS of an ensemble, "nrg" form: mean |X - y| less half the mean |X - X'| (F8: .75; the fair one is .333)."""
    ordered = np.sort(draws)
    n = len(ordered)
    spread = float((2 * np.arange(1, n + 1) - n - 1) @ ordered) / n**2
    return float(np.abs(ordered - truth).mean()) - spread


def pinball(truth: Floats, quantile: Floats, level: float) -> Floats:
    """Pinball loss of a predicted quantile: level (y - q) above it, (1 - level) (q - y) below it (F6)."""
    return np.asarray(np.maximum(level * (truth - quantile), (level - 1) * (truth - quantile)))


def interval_score(truth: Floats, low: Floats, high: Floats, outside: float) -> Floats:
    """Interval score of a central range that leaves `outside` out: width plus 2/outside times the miss (F10)."""
    miss = np.maximum(low - truth, 0) + np.maximum(truth - high, 0)
    return np.asarray(high - low + 2 / outside * miss)


def inside(truth: Floats, low: Floats, high: Floats) -> npt.NDArray[np.bool_]:
    """Say which truths lie in their range, ends included (F11)."""
    return np.asarray((low <= truth) & (truth <= high))


def log_score(said: Floats, happened: npt.NDArray[np.bool_]) -> Floats:
    """Return -ln of the chance given to what happened; chances are clipped to .005-.995 (METHODS 6)."""
    clipped = np.clip(said, 0.005, 0.995)
    return np.asarray(-np.log(np.where(happened, clipped, 1 - clipped)))


@dataclass(frozen=True)
class Band:
    """Chances said within one band against how often it happened."""

    low: float
    high: float
    count: int
    said: float
    was: float
    error: float  # standard error of `was`, by shop


def calibration(
    said: Floats,
    happened: npt.NDArray[np.bool_],
    shop: npt.NDArray[np.intp],
    edges: tuple[float, ...] = (0.0, 0.3, 0.6, 0.8, 0.9, 0.97, 1.0),
) -> list[Band]:
    """Set chances against what happened, band by band; bands without cases are left out."""
    bands = []
    for low, high in pairwise(edges):
        here = (said >= low) & ((said < high) | (high == edges[-1]))
        if here.any():
            was = happened[here].astype(float)
            error = bootstrap_error(lambda values: float(values.mean()), was, shop=shop[here])
            bands.append(Band(low, high, int(here.sum()), float(said[here].mean()), float(was.mean()), error))
    return bands


def bootstrap_error(
    statistic: Callable[..., float], *columns: Floats, shop: npt.NDArray[np.intp], rounds: int = 200, seed: int = 1
) -> float:
    """Standard error of a statistic of row-wise columns, drawing whole shops again: sets of one shop go together."""
    names, where = np.unique(shop, return_inverse=True)
    if len(names) < 2:
        return float("nan")
    rows = [np.flatnonzero(where == i) for i in range(len(names))]
    rng = np.random.default_rng(seed)
    values = []
    for _ in range(rounds):
        picked = np.concatenate([rows[i] for i in rng.integers(0, len(names), len(names))])
        values.append(statistic(*(column[picked] for column in columns)))
    return float(np.std(values, ddof=1))
