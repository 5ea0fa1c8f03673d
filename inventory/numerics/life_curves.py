"""Chances of life left as a few curves per set, small enough to be stored: what pages read instead of a fit.

Areas are reference areas [m2]. Read back, the curves answer as inventory.numerics.life does, by interpolation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inventory.numerics.life import KNOTS, Lives, Points, survive
from inventory.numerics.lognormal import Floats, Ints

_SPREAD_OUT = np.linspace(0.0, 1.0, KNOTS) ** 1.5  # dense near 0
_NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
_NODE_WEIGHTS = _NODE_WEIGHTS / _NODE_WEIGHTS.sum()


@dataclass(frozen=True)
class LifeCurves:
    """P(left > area) of n sets at KNOTS areas, 0 to ``top_m2``, dense near 0.

    top_m2: (n,). tau: (t,) noises of one use; tau_weight: (n, t) how far each set's record believes them, sums to 1.
    usual: (n, r) when the work ahead comes in usual uses; step: (n, r) when it is one step on one floor; still: (n, t,
    r) by noise, floor noise left out (it is taken in where two sets share a floor).
    """

    top_m2: Floats
    tau: Floats
    tau_weight: Floats
    usual: Floats
    step: Floats
    still: Floats

    @property
    def size(self) -> int:
        return int(self.top_m2.shape[0])

    @property
    def area_m2(self) -> Floats:
        """The knots, (n, r)."""
        return np.asarray(self.top_m2[:, None] * _SPREAD_OUT)

    def part(self, positions: Ints) -> LifeCurves:
        """Some of the sets, in the order given."""
        rows = (a[positions] for a in (self.tau_weight, self.usual, self.step, self.still))
        return LifeCurves(self.top_m2[positions], self.tau, *rows)

    def to_bytes(self) -> list[bytes]:
        """One string of 32-bit numbers a set; from_bytes reads them."""
        n, t = self.tau_weight.shape
        tau = np.broadcast_to(self.tau, (n, t))
        parts = (np.full((n, 1), t), self.top_m2[:, None], tau, self.tau_weight, self.usual, self.step)
        rows = np.concatenate([*parts, self.still.reshape(n, -1)], axis=1).astype("<f4")
        return [row.tobytes() for row in rows]

    @classmethod
    def from_bytes(cls, stored: list[bytes]) -> LifeCurves:
        """Raises: ValueError for what to_bytes did not write, or sets of different noises."""
        if not stored:
            empty = np.zeros((0, KNOTS))
            return cls(np.zeros(0), np.zeros(0), np.zeros((0, 0)), empty, empty, np.zeros((0, 0, KNOTS)))
        if len({len(one) for one in stored}) != 1 or len(stored[0]) % 4 or not stored[0]:
            raise ValueError("`stored` must be strings of one length, as `to_bytes` gave them.")
        rows = np.frombuffer(b"".join(bytes(one) for one in stored), dtype="<f4").reshape(len(stored), -1)
        rows = rows.astype(np.float64)
        t = int(rows[0, 0])
        if rows.shape[1] != 2 + 2 * t + (2 + t) * KNOTS:
            raise ValueError("`stored` must be strings that `to_bytes` gave.")
        cuts = np.cumsum([1, 1, t, t, KNOTS, KNOTS])
        _t, top, tau, weight, usual, step, still = np.split(rows, cuts, axis=1)
        return cls(top[:, 0], tau[0], weight, usual, step, still.reshape(len(stored), t, KNOTS))

    def chance_to_finish(self, area_m2: Floats) -> Floats:
        """P(each set does one step of its reference area), (n,), for area (n,)."""
        return _at(self.step, self.top_m2, np.asarray(area_m2, dtype=np.float64)[:, None])[:, 0]

    def chance_with(self, first: int, area_m2: float) -> Floats:
        """P(set ``first`` and each set together do one step of this reference area), (n,); for itself: alone.

        The floor's noise hits both, so it is taken outside (METHODS 1.2), by noise as both records believe it.
        """
        alone = self.chance_to_finish(np.full(self.size, area_m2))
        together = self._both(first, area_m2)
        both = np.maximum(together, np.maximum(alone, alone[first]))
        both[first] = alone[first]
        return np.clip(both, 0.0, 1.0)

    def _both(self, first: int, area_m2: float) -> Floats:
        """The two chances folded over the floor's noise, all noises and nodes at once, (n,)."""
        n, noises = self.tau_weight.shape
        area = area_m2 * np.exp(self.tau[:, None] * _NODES - np.square(self.tau)[:, None] / 2)
        knots = area[..., None] * np.linspace(0.0, 1.0, KNOTS)
        top = np.full(noises, self.top_m2[first])
        one = _at(self.still[first], top, knots.reshape(noises, -1)).reshape(knots.shape)
        rest = area[..., None] - (knots[..., 1:] + knots[..., :-1]) / 2
        asked = np.broadcast_to(rest.reshape(noises, -1), (n, noises, _NODES.size * (KNOTS - 1)))
        curves, tops = self.still.reshape(n * noises, -1), np.repeat(self.top_m2, noises)
        other = _at(curves, tops, asked.reshape(n * noises, -1)).reshape(n, *rest.shape)
        finish = one[..., -1] + np.einsum("ntkr,tkr->ntk", other, one[..., :-1] - one[..., 1:])
        share = (self.tau_weight[first] + self.tau_weight) / 2
        return np.asarray(np.einsum("nt,ntk,k->n", share, finish, _NODE_WEIGHTS))


def _at(curve: Floats, top: Floats, area: Floats) -> Floats:
    """Curves (n, r) at areas (n, k), straight between knots; 1 at nothing, what is left at the top beyond it."""
    place = np.clip(area / top[:, None], 0.0, 1.0) ** (2.0 / 3.0) * (KNOTS - 1)
    below = np.minimum(place.astype(np.int64), KNOTS - 2)
    low = _SPREAD_OUT[below]
    part = (np.clip(area / top[:, None], 0.0, 1.0) - low) / (_SPREAD_OUT[below + 1] - low)
    rows = np.arange(curve.shape[0])[:, None]
    found = curve[rows, below] * (1 - part) + curve[rows, below + 1] * part
    return np.where(area > 0, np.clip(found, 0.0, 1.0), 1.0)


def curves_of(known: Lives, tau: Floats) -> LifeCurves:
    """The curves of these sets. tau: (t,) the noises of the fit. A set that ended worn out has nothing left."""
    points, n = known.points, known.size
    top = np.maximum(known.area_m2[:, -1], 1e-6)
    area = top[:, None] * _SPREAD_OUT
    usual, step = survive(points, area, known.use_m2 * area), survive(points, area, np.square(area))
    weight = np.zeros((n, tau.size))
    still = np.zeros((n, tau.size, KNOTS))
    for t, value in enumerate(tau):
        part, weight[:, t] = _of_noise(points, float(value))
        still[:, t] = survive(part, area, 0.0)
    curves = [usual, step, still]
    for curve in curves:
        curve[..., 0] = np.where(weight.sum(axis=1) > 0, 1.0, 0.0).reshape(-1, *([1] * (curve.ndim - 2)))
        np.minimum.accumulate(curve, axis=-1, out=curve)
    return LifeCurves(top, np.asarray(tau, dtype=np.float64), weight, usual, step, still)


def _of_noise(points: Points, tau: float) -> tuple[Points, Floats]:
    """The points of one noise, weights made 1 for every set, and the weight they had, (n,)."""
    at = points.tau == tau
    count = np.bincount(points.set_of[at], minlength=points.start.size - 1)
    start = np.append(0, np.cumsum(count)).astype(np.int64)
    rows = [a[at] for a in (points.weight, points.rate, points.room_mm, points.variance_mm2, points.tau)]
    part = Points(start, *rows)
    whole = part.total(part.weight)
    scaled = part.weight / np.maximum(whole, 1e-300)[part.set_of]
    return Points(start, scaled, *rows[1:]), whole
