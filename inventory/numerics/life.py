"""Life left in tool sets from the wear model: ranges, chances, capacities (METHODS 1.2).

Areas are reference areas [m2] (worked area x floor factor): divide by a floor's factor for its worked area. A set's
posterior over wear rate and noise is kept as a list of weighted points; survival is averaged, never parameters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, ndtr

from inventory.numerics.lognormal import Bools, Floats, Ints, floats
from inventory.numerics.wear import (
    Ended,
    FloorFactors,
    Segments,
    SetTables,
    WearRecord,
    check_record,
    some_sets,
    tables,
)
from inventory.numerics.wear_fit import SETS_AT_ONCE, TypeFit, product, scaled_evidence

KNOTS = 64  # of a pair and of capacities, METHODS 1.2
_LEAST_WEIGHT = 1e-8  # of the heaviest point: lighter ones are left out of the answers
_EDGE_SHARE = 0.5  # so much of the weight at the ends of the theta grid makes a record doubtful
_DEEP = -6.0  # below this many SD a ratio of two tails is taken in logs
_ROWS_AT_ONCE = 4096  # what stays in a processor's cache; the answer does not depend on it
_SPREAD_OUT = np.square(np.linspace(0.0, 1.0, 112))  # knots of a life curve, dense near 0, METHODS 1.2
_NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
_NODE_WEIGHTS = _NODE_WEIGHTS / _NODE_WEIGHTS.sum()


@dataclass(frozen=True)
class Points:
    """Posterior of n sets as weighted points, k in all; set i has points start[i] ... start[i + 1] - 1.

    weight: (k,) sums to 1 per set. rate: (k,) wear by the work to come, with the pieces that the set has now [mm /
    reference m2]. room_mm: (k,) usable height not yet worn;
    below 0 where a set runs longer than it should. variance_mm2: (k,) of that. tau: (k,) noise of one use.
    """

    start: Ints
    weight: Floats
    rate: Floats
    room_mm: Floats
    variance_mm2: Floats
    tau: Floats

    @classmethod
    def joined(cls, parts: Sequence[Points]) -> Points:
        """The sets of several, one after the other."""
        if len(parts) == 1:
            return parts[0]
        counts = np.concatenate([np.diff(p.start) for p in parts])
        rows = ("weight", "rate", "room_mm", "variance_mm2", "tau")
        return cls(
            np.append(0, np.cumsum(counts)), *(np.concatenate([getattr(p, name) for p in parts]) for name in rows)
        )

    @property
    def set_of(self) -> Ints:
        """Set of each point, (k,)."""
        return np.repeat(np.arange(self.start.size - 1), np.diff(self.start))

    def one(self, i: int) -> Points:
        """The points of one set."""
        at = slice(int(self.start[i]), int(self.start[i + 1]))
        rows = (a[at] for a in (self.weight, self.rate, self.room_mm, self.variance_mm2, self.tau))
        return Points(np.array([0, at.stop - at.start], dtype=np.int64), *rows)

    def total(self, values: Floats) -> Floats:
        """Sum of values (k, ...) over the points of each set, (n, ...); 0 for sets without points."""
        out = np.zeros((self.start.size - 1, *values.shape[1:]))
        filled = np.flatnonzero(np.diff(self.start))
        if filled.size:
            out[filled] = np.add.reduceat(values, self.start[filled], axis=0)
        return out


@dataclass(frozen=True)
class Lives:
    """Reference area still in each of n sets of one type [m2]; a set that ended worn out has none.

    at_least_m2, likely_m2, up_to_m2: (n,) P10, P50, P90. remaining_share: (n,) expected share of usable height left.
    area_m2, survival: (n, r) P(left > area), from 1 at area 0, non-increasing. doubtful: (n,) the set's record lies at
    or beyond the edge of what the model holds possible: an area or height keyed wrong is likelier.
    """

    at_least_m2: Floats
    likely_m2: Floats
    up_to_m2: Floats
    remaining_share: Floats
    area_m2: Floats
    survival: Floats
    doubtful: Bools
    points: Points
    usable_mm: float
    use_m2: float

    @property
    def size(self) -> int:
        return int(self.likely_m2.shape[0])


@dataclass(frozen=True)
class Capacities:
    """Largest area each of n sets still does with the chance asked for, after more use; see `chance_capacity`.

    used_m2: (n, r) reference area used from now on, evenly spaced from 0. area_m2: (n, r).
    """

    used_m2: Floats
    area_m2: Floats


def posterior(
    record: WearRecord,
    type_fit: TypeFit,
    factors: FloorFactors | npt.ArrayLike,
    *,
    in_fit: bool = True,
    as_fitted: WearRecord | None = None,
) -> tuple[SetTables, Floats, Bools]:
    """Tables of the sets, posterior weight of every theta and tau (t, n, g) that sums to 1 per set, and doubtful (n,).

    in_fit: the record is the one the type was fitted to, so each set's own evidence is taken out of the type's weights
    before it is used again (leave-one-out). as_fitted: the same sets as they stood at the fit, for sets that have had
    entries since; without it and with in_fit False the sets count as unseen by the fit.
    """
    part = tables(record, factors, type_fit.tau, type_fit.grid)
    found = None if record.from_new.all() else type_fit.found_rows
    like, top, evidence = scaled_evidence(part.ll + part.ll_service, type_fit.rows, found, record.from_new)
    with np.errstate(divide="ignore"):
        logs = np.broadcast_to(np.log(type_fit.flat_weight)[:, None, :], evidence.shape)
    if as_fitted is not None:
        if as_fitted.size != record.size:
            raise ValueError(f"`as_fitted` must hold the same {record.size} sets; got {as_fitted.size}.")
        old = tables(as_fitted, factors, type_fit.tau, type_fit.grid)
        _, old_top, old_evidence = scaled_evidence(old.ll + old.ll_service, type_fit.rows, found, as_fitted.from_new)
        logs = logs - np.log(old_evidence) + (top - old_top)[..., None]
    elif in_fit:
        logs = logs - np.log(evidence)
    else:
        logs = logs + top[..., None]
    share = np.exp(logs - logs.max(axis=(0, 2), keepdims=True))
    weight = product(share, type_fit.rows)
    if found is not None:
        weight[:, ~record.from_new] = product(share[:, ~record.from_new], found)
    prior = weight
    weight = weight * like
    total = weight.sum(axis=(0, 2))
    lost = ~(total > 1e-290)
    if lost.any():  # nothing fits the record: the type's answer, not the set's
        weight[:, lost] = prior[:, lost]
        total = weight.sum(axis=(0, 2))
    weight = np.asarray(weight / total[:, None])
    ends = weight[..., [0, 1, -2, -1]].sum(axis=(0, 2))
    return part, weight, lost | (ends > _EDGE_SHARE)


def _points(record: WearRecord, part: SetTables, weight: Floats) -> Points:
    """Posterior weights (t, n, g) as points, those of no weight and of worn-out sets left out."""
    by_set = weight.transpose(1, 0, 2)
    kept = by_set > _LEAST_WEIGHT * by_set.max(axis=(1, 2), keepdims=True)
    kept &= (record.ended != Ended.WORN)[:, None, None]
    n, t, g = np.nonzero(kept)
    start = np.append(0, np.cumsum(np.bincount(n, minlength=record.size))).astype(np.int64)
    chosen = weight[t, n, g]
    points = Points(
        start,
        chosen,
        np.exp(part.grid)[g] if record.load_now is None else np.exp(part.grid)[g] * record.load_now[n],
        record.usable_mm - part.mean_mm[t, n, g],
        part.variance_mm2[t, n, g] + record.usable_error_mm**2,
        part.tau[t],
    )
    return replace(points, weight=chosen / points.total(chosen)[n])


def survive(points: Points, area: Floats, noise_m4: Floats | float) -> Floats:
    """P(left > area), (n, r), for reference area (n, r); noise_m4 (n, r): sum over uses of their squares, for tau^2."""
    n, r = area.shape
    out = np.zeros((n, r))
    noise = np.broadcast_to(np.asarray(noise_m4, dtype=np.float64), (n, r))
    sets, size = points.set_of, points.weight.size
    now = points.room_mm / np.sqrt(points.variance_mm2)
    deep = now < _DEEP
    alive = ndtr(np.where(deep, 0.0, now))
    share = points.weight / alive
    square = np.square(points.rate * points.tau)
    # Blocks end where a set ends, so that each set is added up in one piece.
    begin = 0
    while begin < size:
        last = min(begin + _ROWS_AT_ONCE, size) - 1
        end = int(points.start[sets[last]]) if last + 1 < size else size
        if end <= begin:
            end = int(points.start[sets[last] + 1])
        at = slice(begin, end)
        own = sets[at]
        z = points.room_mm[at, None] - points.rate[at, None] * area[own]
        z /= np.sqrt(points.variance_mm2[at, None] + square[at, None] * noise[own])
        # For wear beyond the usable height the chance would rise as the variance grows: clamped point by point.
        kept = share[at, None] * np.minimum(ndtr(z), alive[at, None])
        low = np.flatnonzero(deep[at])
        if low.size:
            ratio = log_ndtr(z[low]) - log_ndtr(now[at][low])[:, None]
            kept[low] = points.weight[at][low, None] * np.exp(np.minimum(ratio, 0.0))
        first = np.flatnonzero(np.diff(own, prepend=-1))
        out[own[first]] = np.add.reduceat(kept, first, axis=0)
        begin = end
    return np.clip(out, 0.0, 1.0)


def _reach(points: Points, use_m2: float) -> Floats:
    """Area that a set hardly outlives, (n,) [m2]: the top of its knots."""
    n = points.start.size - 1
    if not points.weight.size:
        return np.ones(n)
    sd = np.sqrt(points.variance_mm2)
    to_end = np.maximum(points.room_mm, 0.0) / points.rate
    far = to_end + 4.0 * sd / points.rate + 4.0 * points.tau * np.sqrt(use_m2 * (to_end + sd / points.rate))
    heaviest = np.zeros(n)
    np.maximum.at(heaviest, points.set_of, points.weight)
    top = np.zeros(n)
    counts = points.weight > 1e-4 * heaviest[points.set_of]
    np.maximum.at(top, points.set_of[counts], far[counts])
    return np.where(top > 0, top, 1.0)


def _quantile(area: Floats, survival: Floats, share: float) -> Floats:
    """Area not outlived with chance `share`, (n,), by interpolation of falling survival (n, r)."""
    below = survival <= 1 - share
    below[:, -1] = True
    k = np.maximum(below.argmax(axis=1), 1)
    rows = np.arange(area.shape[0])
    high, low = survival[rows, k - 1], survival[rows, k]
    part = np.clip((high - (1 - share)) / np.maximum(high - low, 1e-300), 0.0, 1.0)
    return np.asarray(area[rows, k - 1] + part * (area[rows, k] - area[rows, k - 1]))


def _lives(record: WearRecord, type_fit: TypeFit, points: Points, doubtful: Bools) -> Lives:
    area = _reach(points, type_fit.use_m2)[:, None] * _SPREAD_OUT
    survival = survive(points, area, type_fit.use_m2 * area)
    survival[:, 0] = 1.0
    worn = record.ended == Ended.WORN
    survival[worn, 1:] = 0.0
    survival = np.minimum.accumulate(survival, axis=1)
    low, middle, high = (np.where(worn, 0.0, _quantile(area, survival, share)) for share in (0.1, 0.5, 0.9))
    room = points.total(points.weight * np.maximum(points.room_mm, 0.0)) / record.usable_mm
    return Lives(low, middle, high, room, area, survival, doubtful, points, float(record.usable_mm), type_fit.use_m2)


def lives(
    record: WearRecord,
    type_fit: TypeFit,
    factors: FloorFactors | npt.ArrayLike,
    *,
    in_fit: bool = True,
    as_fitted: WearRecord | None = None,
) -> Lives:
    """Life left of every set of a record, all of one tool type; lost and broken sets as if they still ran.

    in_fit, as_fitted: see `posterior`. Raises: ValueError as `wear.check_record`.
    Limits: future uses are of the type's usual size; METHODS 1.6 says how far the ranges held on simulated shops.
    """
    check_record(record)
    points, doubtful = [], []
    for begin in range(0, max(record.size, 1), SETS_AT_ONCE):
        some, before = (one and some_sets(one, begin, begin + SETS_AT_ONCE) for one in (record, as_fitted))
        assert some is not None
        part, weight, odd = posterior(some, type_fit, factors, in_fit=in_fit, as_fitted=before)
        points.append(_points(some, part, weight))
        doubtful.append(odd)
    return _lives(record, type_fit, Points.joined(points), np.concatenate(doubtful))


def fresh(record: WearRecord, n: int = 1) -> WearRecord:
    """Record of n new sets of the same type that have not worked yet."""
    zero = np.zeros(n)
    none, running = Segments.none(len(record.classes)), np.zeros(n, dtype=np.int64)
    return replace(
        record,
        start_mm=zero,
        start_error_mm=zero,
        from_new=np.ones(n, dtype=np.bool_),
        ended=running,
        segments=none,
        load_now=None,
    )


def new_life(record: WearRecord, type_fit: TypeFit) -> Lives:
    """Life of one new set of the type that `record` belongs to."""
    return lives(fresh(record), type_fit, np.ones(len(record.classes)), in_fit=False)


def chance_to_finish(known: Lives, area_m2: npt.ArrayLike) -> Floats:
    """P(the set does one step of this reference area), (n,), for area (n,) or one number.

    The whole step is one use: its floor noise does not average out (METHODS 1.2).
    Raises: ValueError for an area below 0.
    """
    area = floats("area_m2", area_m2, at_least=0, size=known.size) if known.size else np.zeros(0)
    chance = survive(known.points, area[:, None], np.square(area)[:, None])[:, 0]
    return np.where(area > 0, chance, 1.0)


def chance_two_finish(known: Lives, i: int, j: int, area_m2: float) -> float:
    """P(sets i and j together do one step of this reference area).

    The floor's noise hits both, so it is integrated outside (5 Gauss-Hermite nodes of ln noise), METHODS 1.2.
    Raises: ValueError for an area below 0 or one set named twice.
    """
    area = float(floats("area_m2", area_m2, at_least=0)[0])
    if i == j:
        raise ValueError(f"`i` and `j` must be two different sets; got {i} twice.")
    if area <= 0:
        return 1.0
    alone = float(max(chance_to_finish(known, area)[[i, j]]))
    pair = [known.points.one(i), known.points.one(j)]
    if not all(p.weight.size for p in pair):
        return alone
    total = weight = 0.0
    for tau in np.unique(np.concatenate([p.tau for p in pair])):
        parts = [_at_noise(p, tau) for p in pair]
        # Each set weighs the noise by its own record; both share one floor, so by both records.
        share = parts[0][1] + parts[1][1]
        if share <= 0 or not all(p.weight.size for p, _ in parts):
            continue
        weight += share
        for node, node_weight in zip(_NODES, _NODE_WEIGHTS, strict=True):
            wanted = area * float(np.exp(tau * node - tau * tau / 2))
            total += share * node_weight * _two_without_noise(parts[0][0], parts[1][0], wanted)
    both = total / weight if weight > 0 else alone
    return min(max(both, alone), 1.0)


def _at_noise(points: Points, tau: float) -> tuple[Points, float]:
    """One set's points of one noise, weights made 1, and the weight they had."""
    at = points.tau == tau
    weight = float(points.weight[at].sum())
    rows = (
        a[at]
        for a in (points.weight / max(weight, 1e-300), points.rate, points.room_mm, points.variance_mm2, points.tau)
    )
    return Points(np.array([0, int(at.sum())], dtype=np.int64), *rows), weight


def _two_without_noise(one: Points, other: Points, area: float) -> float:
    knots = np.linspace(0.0, area, KNOTS)[None, :]
    first = np.minimum.accumulate(survive(one, knots, 0.0)[0])
    second = survive(other, area - (knots[:, 1:] + knots[:, :-1]) / 2, 0.0)[0]
    return float(first[-1] + (first[:-1] - first[1:]) @ second)


def share_used(known: Lives, area_m2: npt.ArrayLike) -> Floats:
    """Share of usable height that this reference area is expected to take, (n,)."""
    area = floats("area_m2", area_m2, at_least=0, size=known.size) if known.size else np.zeros(0)
    return known.points.total(known.points.weight * known.points.rate) * area / known.usable_mm


def chance_capacity(known: Lives, p: float) -> Capacities:
    """C_p(u): the largest reference area a with S(u + a) >= p S(u), u the area used since now (METHODS 1.2).

    Raises: ValueError unless 0 < p < 1.
    """
    if not 0 < p < 1:
        raise ValueError(f"`p` must lie between 0 and 1, both left out; got {p}.")
    top = known.area_m2[:, -1]
    used = top[:, None] * np.linspace(0.0, 1.0, KNOTS)
    area = np.zeros(used.shape)
    for i in range(known.size):
        if known.survival[i, 1] <= 0:
            continue
        here = np.interp(used[i], known.area_m2[i], known.survival[i])
        # Falling to rising for interp; ties: the largest area of that survival comes first from the far end.
        reach = np.interp(p * here, known.survival[i, ::-1], known.area_m2[i, ::-1])
        area[i] = np.where(here > 0, np.maximum(reach - used[i], 0.0), 0.0)
    return Capacities(used, area)
