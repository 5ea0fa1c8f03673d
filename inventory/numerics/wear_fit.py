"""What the shop's record says of a tool type's wear: hyper-parameters by quadrature (METHODS 1.1).

theta of a set ~ N(centre + beta + d, sigma^2): the centre is the supplier's rating, beta the shift of all types of one
bond, d the type's own, sigma the spread between sets. tau is the noise of one use. No sampling: every value of every
hyper-parameter on a grid is weighed by the evidence of the type's sets.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import logsumexp

from inventory.numerics.lognormal import Floats
from inventory.numerics.wear import (
    Ended,
    FloorFactors,
    WearRecord,
    check_record,
    factor_row,
    some_sets,
    tables,
    theta_grid,
    usual_use,
)
from inventory.numerics.wear_options import WearOptions, log_normal_weights

VERSION = 1
LEAST_EVIDENCE = 1e-300  # floor of one set's evidence, METHODS 1.7
USES_PER_LIFE = 12.0  # a usual life holds about so many uses, used where nothing is logged: our assumption
SETS_AT_ONCE = 512  # bounds the memory of one block
_MOST_MOVES = 12  # of a type's centre towards its record: a factor of thousands
_PRODUCT = 250_000  # multiplications in one piece of `product`


@dataclass(frozen=True)
class TypeFit:
    """What is known of one tool type: small enough to be stored, enough to answer for any set of the type.

    rated_m2: None if the supplier gave none. centre: theta of the prior [ln(mm / reference m2)]; beta, d (d,), sigma
    (s,), tau (t,): hyper-grid. weight: (t, d, s), sums to 1. use_m2: usual use, reference area [m2]. Counts of the
    record behind it. pooled: True where types of one bond were learnt together. rating_doubtful: the record lies so far
    from the rating that a wrong unit or a slip of the pen is likelier; the type is then learnt from its record alone.
    """

    rated_m2: float | None
    bond: str
    usable_mm: float
    usable_error_mm: float
    centre: float
    half_width: float
    points: int
    beta: float
    d: Floats
    sigma: Floats
    tau: Floats
    weight: Floats
    use_m2: float
    sets: int
    worn_out: int
    readings: int
    pooled: bool
    rating_doubtful: bool = False

    @cached_property
    def grid(self) -> Floats:
        return theta_grid(self.centre, self.half_width, self.points)

    @cached_property
    def rows(self) -> Floats:
        """Prior of theta of a set that came new at each hyper-point, (d * s, g)."""
        return hyper_rows(self.grid, self.centre + self.beta + self.d, self.sigma)

    @cached_property
    def found_rows(self) -> Floats:
        """The same for sets found in service."""
        return hyper_rows(self.grid, self.centre + self.beta + self.d, self.sigma, found=True)

    @property
    def flat_weight(self) -> Floats:
        """(t, d * s)."""
        return self.weight.reshape(self.tau.size, -1)

    @property
    def tau_weight(self) -> Floats:
        """How far the record believes each noise, (t,)."""
        return self.weight.sum(axis=(1, 2))

    @property
    def likely_tau(self) -> float:
        """Mean noise of one use [-]."""
        return float(self.tau_weight @ self.tau)

    def median_life_m2(self, share: float = 0.5) -> float:
        """Life of the type's middle set [reference m2] that is not exceeded with this chance, by what is known now."""
        return self.usable_mm / float(
            np.exp(self.centre + self.beta + _weighted_quantile(self.d, self._d_weight, 1 - share))
        )

    @property
    def life_range_m2(self) -> tuple[float, float, float]:
        """P10, P50, P90 of the type's median life [reference m2]: how well the type is known, not how sets differ."""
        return self.median_life_m2(0.1), self.median_life_m2(0.5), self.median_life_m2(0.9)

    @property
    def rate_against_rating(self) -> float | None:
        """How many times faster the type wears than its rating says; None without a rating."""
        return None if self.rated_m2 is None else self.rated_m2 / self.median_life_m2()

    @property
    def mean_theta(self) -> float:
        """Mean of the type's theta by what is known now [ln(mm / reference m2)]."""
        return self.centre + self.beta + float(self._d_weight @ self.d)

    @property
    def _d_weight(self) -> Floats:
        return self.weight.sum(axis=(0, 2))

    def to_json(self) -> dict[str, Any]:
        """Plain lists and numbers, with a version number."""
        plain = {f.name: getattr(self, f.name) for f in fields(self)}
        return {"version": VERSION} | {k: v.tolist() if isinstance(v, np.ndarray) else v for k, v in plain.items()}

    @classmethod
    def from_json(cls, stored: dict[str, Any] | str) -> TypeFit:
        """Read what `to_json` gave.

        Raises: ValueError for another version or missing parts.
        """
        return cls(**unpack(cls, stored, ("d", "sigma", "tau", "weight")))


@dataclass(frozen=True)
class WearFit:
    """All types together; per_type: one per record in the order given, None where nothing can be said (left_out).

    A type is left out when it has no rating and no other type of its bond has one.
    """

    per_type: tuple[TypeFit | None, ...]

    @property
    def left_out(self) -> tuple[int, ...]:
        return tuple(i for i, one in enumerate(self.per_type) if one is None)


def unpack(cls: Any, stored: dict[str, Any] | str, arrays: Sequence[str]) -> dict[str, Any]:
    """Fields of a stored dataclass, lists made arrays again.

    Raises: ValueError for another version or missing parts.
    """
    found = json.loads(stored) if isinstance(stored, str) else dict(stored)
    if found.pop("version", None) != VERSION:
        raise ValueError(f"Stored under another version than {VERSION}: fit again.")
    wanted = {f.name for f in fields(cls)}
    if set(found) != wanted:
        raise ValueError(f"Stored parts do not fit: {sorted(set(found) ^ wanted)}; fit again.")
    return found | {name: np.asarray(found[name], dtype=np.float64) for name in arrays}


def _weighted_quantile(values: Floats, weight: Floats, share: float) -> float:
    """Quantile of evenly spaced values that each stand for their whole step."""
    step = values[1] - values[0] if values.size > 1 else 0.0
    edges = np.append(values - step / 2, values[-1] + step / 2)
    return float(np.interp(share, np.append(0.0, np.cumsum(weight)) / weight.sum(), edges))


def hyper_rows(grid: Floats, mu: Floats, sigma: Floats, *, found: bool = False) -> Floats:
    """Prior of theta for every pair of mu (m,) and sigma (s,): (m * s, g), each row sums to 1.

    found: sets found in service are survivors, slow ones over-represented: mean mu - sigma^2 (length bias).
    """
    middle = mu[:, None] - (np.square(sigma) if found else 0.0)
    logs = -0.5 * np.square((grid - middle[..., None]) / sigma[:, None])
    rows = np.exp(logs - logs.max(axis=-1, keepdims=True)).reshape(-1, grid.size)
    return np.asarray(rows / rows.sum(axis=1, keepdims=True))


def product(many: Floats, matrix: Floats) -> Floats:
    """Matrix product many (t, n, a) @ matrix (a, b), (t, n, b), in small pieces.

    Pieces this small are not spread over threads by the linear algebra library: on a busy machine its waiting threads
    cost five times what they gain (seen by us on two shared cores).
    """
    rows = many.reshape(-1, many.shape[2])
    out = np.empty((rows.shape[0], matrix.shape[1]))
    piece = max(1, _PRODUCT // matrix.size)
    for begin in range(0, rows.shape[0], piece):
        np.matmul(rows[begin : begin + piece], matrix, out=out[begin : begin + piece])
    return out.reshape(*many.shape[:2], matrix.shape[1])


def scaled_evidence(
    full: Floats, rows: Floats, found_rows: Floats | None, from_new: npt.NDArray[np.bool_]
) -> tuple[Floats, Floats, Floats]:
    """Likelihood of each set over theta, exp(full - top) (t, n, g); top (t, n); evidence over exp(top), (t, n, h).

    full: (t, n, g) log-likelihood, "still running" included. The evidence is floored at 1e-300. found_rows may be None
    where every set came new.
    """
    top = full.max(axis=2)
    like = np.exp(full - top[..., None])
    evidence = product(like, rows.T)
    if found_rows is not None and not from_new.all():
        evidence[:, ~from_new] = product(like[:, ~from_new], found_rows.T)
    return like, top, np.maximum(evidence, LEAST_EVIDENCE)


def log_evidence(
    record: WearRecord,
    factors: FloorFactors | npt.ArrayLike,
    grid: Floats,
    mu: Floats,
    sigma: Floats,
    tau: npt.ArrayLike,
) -> Floats:
    """Sum over the sets of a type of ln evidence, (t, m, s), at mu (m,), sigma (s,) and tau (t,)."""
    rows = hyper_rows(grid, mu, sigma)
    found_rows = None if record.from_new.all() else hyper_rows(grid, mu, sigma, found=True)
    total = np.zeros((np.size(tau), rows.shape[0]))
    check_record(record)
    for begin in range(0, record.size, SETS_AT_ONCE):
        some = some_sets(record, begin, begin + SETS_AT_ONCE)
        part = tables(some, factors, tau, grid)
        _, top, evidence = scaled_evidence(part.ll + part.ll_service, rows, found_rows, some.from_new)
        total += np.log(evidence).sum(axis=1) + top.sum(axis=1)[:, None]
    return total.reshape(total.shape[0], mu.size, sigma.size)


def rating_centre(record: WearRecord, options: WearOptions) -> float:
    assert record.rated_m2 is not None
    return float(np.log(record.usable_mm / record.rated_m2) + options.hopeful_ln)


def _type_fit(
    record: WearRecord,
    factors: FloorFactors | npt.ArrayLike,
    options: WearOptions,
    centre: float,
    sd: float,
    beta: float,
    logs: Floats,
    doubtful: bool = False,
) -> TypeFit:
    """Pack one type: logs (t, d, s) is its log evidence at the grid d of SD `sd` around centre + beta."""
    d = options.d(sd)
    logs = logs + options.log_tau_prior[:, None, None] + log_normal_weights(d, sd)[:, None] + options.log_sigma_prior
    weight = np.exp(logs - logs.max())
    area, square = usual_use(record, factor_row(factors, record.classes))
    return TypeFit(
        rated_m2=record.rated_m2,
        bond=record.bond,
        usable_mm=float(record.usable_mm),
        usable_error_mm=float(record.usable_error_mm),
        centre=centre,
        half_width=_half_width(options, sd),
        points=_points(options, sd),
        beta=beta,
        d=d,
        sigma=options.sigma,
        tau=np.asarray(options.tau, dtype=np.float64),
        weight=weight / weight.sum(),
        use_m2=square / area if area > 0 else record.usable_mm / float(np.exp(centre)) / USES_PER_LIFE,
        sets=record.size,
        worn_out=int((record.ended == Ended.WORN).sum()),
        readings=int((~np.isnan(record.segments.wear_mm)).sum()),
        pooled=sd == options.d_sd_pooled,
        rating_doubtful=doubtful,
    )


def _points(options: WearOptions, sd: float) -> int:
    """A type that is less known needs a wider grid of the same step."""
    step = 2 * options.half_width / (options.points - 1)
    extra = max(0.0, 3 * (sd - options.d_sd))
    return options.points + 2 * int(np.ceil(extra / step - 1e-9))


def _half_width(options: WearOptions, sd: float) -> float:
    return options.half_width * (_points(options, sd) - 1) / (options.points - 1)


def _at_edge(weight: Floats) -> int:
    """-1 or 1 where most of the weight over d (d,) lies on the two points of that end, else 0."""
    ends = (weight[:2].sum(), weight[-2:].sum())
    return 0 if weight.size < 5 or max(ends) < weight.sum() / 2 else -1 if ends[0] > ends[1] else 1


def _fit_alone(
    record: WearRecord,
    factors: FloorFactors | npt.ArrayLike,
    options: WearOptions,
    centre: float,
    sd: float,
    doubtful: bool = False,
) -> TypeFit:
    """One type around a centre; where the record lies beyond what the rating allows, the centre moves to the record."""
    for _ in range(_MOST_MOVES):
        grid = theta_grid(centre, _half_width(options, sd), _points(options, sd))
        logs = log_evidence(record, factors, grid, centre + options.d(sd), options.sigma, options.tau)
        fitted = _type_fit(record, factors, options, centre, sd, 0.0, logs, doubtful)
        move = _at_edge(fitted.weight.sum(axis=(0, 2)))
        if not move:
            break
        doubtful, sd, centre = True, options.d_sd_unrated, centre + move * 3 * sd
    return fitted


def _fit_bond(
    records: Sequence[WearRecord], factors: FloorFactors | npt.ArrayLike, options: WearOptions
) -> list[TypeFit]:
    """Types of one bond: the beta of greatest evidence, then each type around it ("d2" of METHODS 1.1).

    A type whose record lies beyond what its rating allows does not speak for its bond: it is learnt alone.
    """
    beta = np.asarray(options.beta)
    sd = options.d_sd_pooled
    d = options.d(sd)
    # Many pairs of beta and d fall together: the evidence is worked out once for each sum.
    offset, place = np.unique(np.round(beta[:, None] + d, 9), return_inverse=True)
    place = place.reshape(beta.size, d.size)
    prior = options.log_tau_prior[:, None, None] + log_normal_weights(d, sd)[:, None] + options.log_sigma_prior
    spread = log_normal_weights(offset, float(np.hypot(sd, options.beta_sd)))
    total = log_normal_weights(beta, options.beta_sd)
    logs: list[Floats | None] = []
    for record in records:
        centre = rating_centre(record, options)
        grid = theta_grid(centre, options.half_width, options.points)
        one = log_evidence(record, factors, grid, centre + offset, options.sigma, options.tau)
        alone = logsumexp(one + options.log_tau_prior[:, None, None] + options.log_sigma_prior, axis=(0, 2)) + spread
        if beta.size > 1 and _at_edge(np.exp(alone - alone.max())):
            logs.append(None)
            continue
        logs.append(one)
        total = total + logsumexp(one[:, place] + prior[:, None], axis=(0, 2, 3))
    best = int(np.argmax(total))
    shift = float(beta[best])
    return [
        _fit_alone(record, factors, options, rating_centre(record, options), options.d_sd)
        if one is None
        else _type_fit(record, factors, options, rating_centre(record, options), sd, shift, one[:, place[best]])
        for record, one in zip(records, logs, strict=True)
    ]


def fit_again(
    record: WearRecord,
    factors: FloorFactors | npt.ArrayLike,
    known: TypeFit,
    *,
    options: WearOptions | None = None,
) -> TypeFit:
    """Fit one type with what has come since; the shift of its bond, or the rate lent to it, stays as `known` has it.

    Raises: ValueError as `wear.check_record`, and where rating or bond are no longer those `known` was fitted with.
    """
    options = options or WearOptions()
    if (record.rated_m2, record.bond) != (known.rated_m2, known.bond):
        raise ValueError("`record` must have the rating and bond of `known`: fit all types of the bond instead.")
    if known.pooled:
        return _fit_bond([record], factors, replace(options, beta=(known.beta,)))[0]
    narrow = record.rated_m2 is not None and not known.rating_doubtful
    sd = options.d_sd if narrow else options.d_sd_unrated
    return _fit_alone(record, factors, options, known.centre, sd, known.rating_doubtful)


def fit(
    records: Sequence[WearRecord],
    factors: FloorFactors | npt.ArrayLike,
    *,
    options: WearOptions | None = None,
) -> WearFit:
    """Learn all tool types of the shop.

    records: one per type. factors: of the floor classes, learnt or an array in the order of each record's classes.
    Types of one bond (not "") that have ratings are learnt together; a type without a rating takes the mean rate of its
    bond's types, and is left out where there is none.
    Raises: ValueError as `wear.check_record`.
    Limits: METHODS 1.6 says how far the answers held on simulated shops.
    """
    options = options or WearOptions()
    out: list[TypeFit | None] = [None] * len(records)
    bonds: dict[str, list[int]] = {}
    for i, record in enumerate(records):
        if record.rated_m2 is not None:
            # A bond nobody named is no bond: such types stand alone.
            bonds.setdefault(record.bond or f"\0{i}", []).append(i)
    for members in bonds.values():
        if options.pool and len(members) > 1:
            fitted = _fit_bond([records[i] for i in members], factors, options)
        else:
            fitted = [
                _fit_alone(records[i], factors, options, rating_centre(records[i], options), options.d_sd)
                for i in members
            ]
        for i, one in zip(members, fitted, strict=True):
            out[i] = one
    for i, record in enumerate(records):
        kin = [out[k] for k in bonds.get(record.bond, [])] if record.bond else []
        means = [one.mean_theta for one in kin if one is not None and not one.rating_doubtful]
        if out[i] is None and means:
            out[i] = _fit_alone(record, factors, options, float(np.mean(means)), options.d_sd_unrated)
    return WearFit(tuple(out))
