"""Censored lognormal lives with a prior: the one routine behind tool life and lead time.

ln(life) ~ N(mu, sigma^2). What has been seen of each life is a `Record`; the belief about (mu, sigma) after seeing it
is a `Belief`, a weighted grid. Ages are in whatever unit the caller uses throughout (reference m2, working days).
Formulas: METHODS 1.1, 1.8 and 5.1; the conjugate step for a hint is the textbook normal-normal update.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, ndtr, ndtri, ndtri_exp

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

_TINY = 1e-12
_LOG_2PI = float(np.log(2 * np.pi))
# Five equally likely points of a standard normal, stretched to SD 1: enough for the little that is known of a past.
_FIVE = ndtri((np.arange(5) + 0.5) / 5)
_ENTRY_NODES: Floats = np.asarray(_FIVE / _FIVE.std(), dtype=np.float64)
_GRID = (17, 11)  # points over mu and ln sigma; on a smooth peak steps under one SD integrate to 1e-6
_GRID_REACH = 4.5  # posterior SDs to either side
_LEAST_WEIGHT = 1e-6  # of the heaviest point: lighter ones are left out of the answers, for speed
_CELLS_AT_ONCE = 1_500_000  # bounds the memory of one block of the predictive


@dataclass(frozen=True)
class Prior:
    """Starting belief: mu ~ N(centre, centre_sd^2), ln sigma ~ N(ln spread, spread_ln_sd^2), independent."""

    centre: float
    centre_sd: float
    spread: float
    spread_ln_sd: float


@dataclass(frozen=True)
class Record:
    """What has been seen of n lives.

    seen: (n,) age reached, or age at the end. since: (n,) the part of it that was watched. ended: (n,) True where the
    end itself was seen; others still run or left for another reason (censored). entered: (n, k) equally likely ages at
    which watching began (left truncation; 0 = from new). hint, hint_sd: (n,) a direct reading of ln(life) and its SD;
    SD infinite = none.
    """

    seen: Floats
    since: Floats
    ended: Bools
    entered: Floats
    hint: Floats
    hint_sd: Floats

    @property
    def size(self) -> int:
        return int(self.seen.shape[0])

    def part(self, where: slice | npt.NDArray[np.intp]) -> Record:
        """The same record for some of the lives."""
        return Record(
            self.seen[where],
            self.since[where],
            self.ended[where],
            self.entered[where],
            self.hint[where],
            self.hint_sd[where],
        )


@dataclass(frozen=True)
class Belief:
    """Weighted grid over (mu, sigma): mu, sigma, weight are (h,), weights sum to 1."""

    mu: Floats
    sigma: Floats
    weight: Floats

    @property
    def mean_mu(self) -> float:
        return float(self.weight @ self.mu)

    @property
    def mean_sigma(self) -> float:
        return float(self.weight @ self.sigma)


@dataclass(frozen=True)
class MostLikely:
    """Censored maximum-likelihood fit: mu and sigma of ln(life), and the log-likelihood."""

    mu: float
    sigma: float
    log_likelihood: float


def floats(name: str, values: npt.ArrayLike, *, at_least: float | None = None, size: int | None = None) -> Floats:
    """Check one argument and return it as a one-dimensional float array.

    Raises: ValueError naming the parameter, the rule and what came in.
    """
    array = np.atleast_1d(np.asarray(values, dtype=np.float64))
    if array.ndim != 1:
        raise ValueError(f"`{name}` must be one row of numbers; got shape {array.shape}.")
    if size is not None and array.size == 1 and size != 1:
        array = np.full(size, array[0])
    if size is not None and array.size != size:
        raise ValueError(f"`{name}` must have {size} values, one per set; got {array.size}.")
    wrong = ~np.isfinite(array)
    if wrong.any():
        raise ValueError(f"`{name}` must hold finite numbers; got {array[wrong][0]}.")
    if at_least is not None and (array < at_least).any():
        raise ValueError(f"`{name}` must be {at_least:g} or more; got {array[array < at_least][0]:g}.")
    return array


def make_record(
    seen: npt.ArrayLike,
    ended: npt.ArrayLike,
    entered: npt.ArrayLike = 0.0,
    entered_error: npt.ArrayLike = 0.0,
    hint: npt.ArrayLike | None = None,
    hint_sd: npt.ArrayLike | None = None,
    *,
    name: str = "seen",
) -> Record:
    """Check and pack what has been seen; see `Record`. `entered_error` is the SD of a guessed past.

    Raises: ValueError for negative or non-finite ages, an end at age 0, an entry after the age reached.
    """
    ages = floats(name, seen, at_least=0) if np.size(seen) else np.zeros(0)
    n = ages.size
    ends = np.atleast_1d(np.asarray(ended, dtype=np.bool_)) if np.size(ended) else np.zeros(0, dtype=np.bool_)
    if ends.size == 1 and n != 1:
        ends = np.full(n, ends[0])
    if ends.size != n:
        raise ValueError(f"`ended` must have {n} values, one per set; got {ends.size}.")
    begin = floats("entered", entered, at_least=0, size=n) if n else np.zeros(0)
    error = floats("entered_error", entered_error, at_least=0, size=n) if n else np.zeros(0)
    if (begin > ages + 1e-9).any():
        k = int(np.argmax(begin > ages + 1e-9))
        raise ValueError(f"`entered` must not exceed `{name}`; got {begin[k]:g} against {ages[k]:g}.")
    if (ends & (ages <= 0)).any():
        raise ValueError(f"`{name}` must be above 0 for a life that ended; got 0.")
    if (error > 0).any():
        entry = np.maximum(begin[:, None] + error[:, None] * _ENTRY_NODES, 0.0)
    else:
        entry = begin[:, None]
    reading = np.zeros(n) if hint is None else np.asarray(hint, dtype=np.float64)
    reading_sd = np.full(n, np.inf) if hint_sd is None else np.asarray(hint_sd, dtype=np.float64)
    # Age and entry move together: a set believed to be further on when it came has that much more behind it now.
    return Record(ages, np.maximum(ages - begin, 0.0), ends, entry, reading, np.where(ends, np.inf, reading_sd))


def _given_hint(record: Record, mu: Floats, sigma: Floats) -> tuple[Floats, Floats, Floats]:
    """Mean, SD of ln(life) and log evidence of the hint, each (n, h), for mu, sigma that broadcast to (n, h)."""
    precision = (1.0 / np.square(record.hint_sd))[:, None]
    variance = 1.0 / (1.0 / np.square(sigma) + precision)
    mean = variance * (mu / np.square(sigma) + record.hint[:, None] * precision)
    has = np.isfinite(record.hint_sd)[:, None]
    total = np.square(sigma) + np.where(has, np.square(np.where(has, record.hint_sd[:, None], 0.0)), 0.0)
    evidence = -0.5 * (_LOG_2PI + np.log(total) + np.square(record.hint[:, None] - mu) / total)
    return mean, np.sqrt(variance), np.where(has, evidence, 0.0)


def _log_mean(logs: Floats, axis: int) -> Floats:
    """Logarithm of the mean of exponentials along an axis, without underflow."""
    top = logs.max(axis=axis, keepdims=True)
    return np.asarray(np.log(np.exp(logs - top).mean(axis=axis)) + np.squeeze(top, axis))


def log_evidence(record: Record, mu: Floats, sigma: Floats) -> Floats:
    """Log-likelihood (n, h) of each life at h points (mu, sigma): ended lives by density, others by survival."""
    mean, sd, evidence = _given_hint(record, mu[None, :], sigma[None, :])
    mean, sd = mean[:, None, :], sd[:, None, :]
    log_entry = np.log(np.maximum(record.entered, _TINY))[:, :, None]
    log_age = np.log(np.maximum(record.entered + record.since[:, None], _TINY))[:, :, None]
    z = (log_age - mean) / sd
    before = log_ndtr((mean - log_entry) / sd)
    density = -0.5 * (_LOG_2PI + np.square(z)) - np.log(sd) - log_age
    return evidence + _log_mean(np.where(record.ended[:, None, None], density, log_ndtr(-z)) - before, axis=1)


def fit(prior: Prior, record: Record) -> Belief:
    """Belief about (mu, sigma) after the record: grid quadrature, the grid moved and narrowed onto the posterior.

    Limits: the grid is rectangular over mu and ln sigma, +-4.5 posterior SD; a posterior with two far-apart peaks is
    not expected of one tool type and would be cut.
    """
    middle = np.array([prior.centre, np.log(prior.spread)])
    half = np.array([6 * prior.centre_sd, 4 * prior.spread_ln_sd])
    for _ in range(30):
        steps = 2 * half / (np.array(_GRID) - 1)
        mu, ln_sigma = (
            axis.ravel()
            for axis in np.meshgrid(
                *(np.linspace(m - w, m + w, k) for m, w, k in zip(middle, half, _GRID, strict=True)), indexing="ij"
            )
        )
        logs = -0.5 * np.square((mu - prior.centre) / prior.centre_sd)
        logs -= 0.5 * np.square((ln_sigma - np.log(prior.spread)) / prior.spread_ln_sd)
        # Many sets of one type (imports) would make one large block: add them up piece by piece.
        for start in range(0, record.size, 200):
            logs += log_evidence(record.part(slice(start, start + 200)), mu, np.exp(ln_sigma)).sum(axis=0)
        weight = np.exp(logs - logs.max())
        weight /= weight.sum()
        points = np.stack([mu, ln_sigma])
        middle = points @ weight
        sd = np.sqrt(np.square(points - middle[:, None]) @ weight)
        wanted = _GRID_REACH * np.maximum(sd, 0.6 * steps)
        settled = bool((steps <= 0.95 * sd).all() and (half <= 1.5 * wanted).all())
        half = np.minimum(wanted, half * 1.5)
        if settled:
            break
    kept = weight > _LEAST_WEIGHT * weight.max()
    return Belief(mu[kept], np.exp(ln_sigma[kept]), weight[kept] / weight[kept].sum())


def most_likely(record: Record) -> MostLikely:
    """Maximum of the censored lognormal likelihood, no prior: the baseline of METHODS 1.6, and our outside check.

    Raises: ValueError unless at least two lives ended (the maximum would not exist).
    """
    if int(record.ended.sum()) < 2:
        raise ValueError(f"`ended` must be True for at least 2 lives; got {int(record.ended.sum())}.")
    logs = np.log(record.seen[record.ended])
    middle = np.array([logs.mean(), np.log(max(float(logs.std()), 1e-3))])
    half = np.array([3.0, 3.0])
    best = -np.inf
    for _ in range(60):
        mu, ln_sigma = (
            a.ravel() for a in np.meshgrid(*(np.linspace(m - w, m + w, 9) for m, w in zip(middle, half, strict=True)))
        )
        total = log_evidence(record, mu, np.exp(ln_sigma)).sum(axis=0)
        top = int(np.argmax(total))
        moved = abs(mu[top] - middle[0]) > 0.7 * half[0] or abs(ln_sigma[top] - middle[1]) > 0.7 * half[1]
        middle, best = np.array([mu[top], ln_sigma[top]]), float(total[top])
        half = half if moved else half * 0.6
    return MostLikely(float(middle[0]), float(np.exp(middle[1])), best)


def _survival_by_point(record: Record, mean: Floats, sd: Floats, more: Floats) -> Floats:
    """P(life > seen + more | alive) at each point: (n, r, h) from mean, sd (n, h) and more (n, r)."""
    age = (record.entered + record.since[:, None])[:, :, None, None]  # n k 1 1
    m, s = mean[:, None, None, :], sd[:, None, None, :]
    later = log_ndtr((m - np.log(np.maximum(age + more[:, None, :, None], _TINY))) / s)
    if record.entered.shape[1] == 1:
        return np.asarray(np.exp(later - log_ndtr((m - np.log(np.maximum(age, _TINY))) / s))[:, 0])
    entry = log_ndtr((m - np.log(np.maximum(record.entered, _TINY))[:, :, None, None]) / s)
    now = log_ndtr((m - np.log(np.maximum(age, _TINY))) / s)
    return np.asarray(np.exp(_log_mean(later - entry, axis=1) - _log_mean(now - entry, axis=1)))


def survival_by_point(belief: Belief, record: Record, more: Floats) -> Floats:
    """P(life > seen + more | alive) at each grid point of the belief, (n, r, h), unweighted, for more (n, r)."""
    mean, sd, _ = _given_hint(record, belief.mu[None, :], belief.sigma[None, :])
    return _survival_by_point(record, mean, sd, more)


def survive_more(belief: Belief, record: Record, more: Floats, *, in_record: bool = True) -> Floats:
    """P(life > seen + more | alive at seen), shape (n, r), for more of shape (n, r).

    `in_record`: the lives were part of the record the belief was fitted to, so their having survived is already in
    the weights; False for lives the belief has not seen (their survival is then weighed in here).
    """
    out = np.empty(more.shape)
    block = max(1, _CELLS_AT_ONCE // max(1, more.shape[1] * belief.mu.size * record.entered.shape[1]))
    for start in range(0, record.size, block):
        part = record.part(slice(start, start + block))
        mean, sd, _ = _given_hint(part, belief.mu[None, :], belief.sigma[None, :])
        weight = np.broadcast_to(belief.weight, mean.shape)
        if not in_record:
            logs = np.log(np.maximum(weight, 1e-300)) + log_evidence(part, belief.mu, belief.sigma)
            weight = np.exp(logs - logs.max(axis=1, keepdims=True))
            weight = weight / weight.sum(axis=1, keepdims=True)
        curve = _survival_by_point(part, mean, sd, more[start : start + block])
        out[start : start + block] = np.einsum("nrh,nh->nr", curve, weight)
    return np.clip(out, 0.0, 1.0)


def choose_points(belief: Belief, uniform: Floats) -> npt.NDArray[np.intp]:
    """Grid point per draw, (d,), from uniforms (d,): all lives of one draw share it, as they share one true type."""
    picked = np.searchsorted(np.cumsum(belief.weight), uniform, side="right")
    return np.minimum(picked, belief.mu.size - 1)


def draw_left(belief: Belief, record: Record, points: npt.NDArray[np.intp], uniform: Floats) -> Floats:
    """Age still to come per life and draw, (n, d), given points (d,) from `choose_points` and uniforms (n, d)."""
    mean, sd, _ = _given_hint(record, belief.mu[points][None, :], belief.sigma[points][None, :])
    share = np.clip(uniform, 1e-12, 1 - 1e-12)
    ages = record.entered + record.since[:, None]  # n k
    if ages.shape[1] == 1:
        age = np.broadcast_to(ages, mean.shape)
    else:
        log_age = np.log(np.maximum(ages, _TINY))[:, :, None]
        log_entry = np.log(np.maximum(record.entered, _TINY))[:, :, None]
        alive = log_ndtr((mean[:, None] - log_age) / sd[:, None]) - log_ndtr((mean[:, None] - log_entry) / sd[:, None])
        odds = np.exp(alive - alive.max(axis=1, keepdims=True))
        ladder = np.cumsum(odds / odds.sum(axis=1, keepdims=True), axis=1)  # n k d
        node = np.minimum((share[:, None, :] >= ladder).sum(axis=1), ages.shape[1] - 1)
        top = np.take_along_axis(ladder, node[:, None, :], axis=1)[:, 0]
        low = np.where(node > 0, np.take_along_axis(ladder, np.maximum(node - 1, 0)[:, None, :], axis=1)[:, 0], 0.0)
        share = np.clip((share - low) / np.maximum(top - low, 1e-12), 1e-12, 1 - 1e-12)
        age = np.take_along_axis(ages, node, axis=1)
    log_alive = log_ndtr((mean - np.log(np.maximum(age, _TINY))) / sd)
    end = np.exp(np.minimum(mean - sd * ndtri_exp(np.log(share) + log_alive), 600.0))
    return np.maximum(end - age, 0.0)


def survive_new(belief: Belief, ages: Floats) -> Floats:
    """P(a new life > age), (r,), for ages (r,)."""
    z = (belief.mu[None, :] - np.log(np.maximum(ages, _TINY))[:, None]) / belief.sigma[None, :]
    return np.asarray(ndtr(z) @ belief.weight)
