"""The simple rules that the wear model has to beat: none of them looks at heights (METHODS 1.6).

Ages are reference areas in m2 by the shop's own floor factors. Rated less area, mean past life less area, censored
Weibull and lognormal maximum likelihood with the life left given that the set has come so far.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.special import log_ndtr, ndtr, ndtri

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
_LEAST_SPREAD = 0.01  # of ln life: ends that (almost) coincide would give a spread of nothing


@dataclass(frozen=True)
class Weibull:
    """Life ~ Weibull(shape, scale), with the log likelihood reached."""

    scale: float
    shape: float
    log_likelihood: float

    def survival(self, age: Floats) -> Floats:
        """P(life > age)."""
        return np.asarray(np.exp(-((age / self.scale) ** self.shape)))

    def left_survival(self, age: Floats, ahead: Floats) -> Floats:
        """P(life > age + ahead | life > age); age (n,), ahead (n, k)."""
        before = (age[:, None] / self.scale) ** self.shape
        return np.asarray(np.exp(before - ((age[:, None] + ahead) / self.scale) ** self.shape))

    def left_quantile(self, age: Floats, share: float) -> Floats:
        """Return the life left that falls short with probability `share`."""
        total = (age / self.scale) ** self.shape - np.log1p(-share)
        return np.asarray(self.scale * total ** (1 / self.shape) - age)


@dataclass(frozen=True)
class Lognormal:
    """ln life ~ N(mu, sigma^2), with the log likelihood reached."""

    mu: float
    sigma: float
    log_likelihood: float

    def _z(self, age: Floats) -> Floats:
        with np.errstate(divide="ignore"):
            return np.asarray((np.log(age) - self.mu) / self.sigma)

    def survival(self, age: Floats) -> Floats:
        """P(life > age)."""
        return np.asarray(ndtr(-self._z(age)))

    def left_survival(self, age: Floats, ahead: Floats) -> Floats:
        """P(life > age + ahead | life > age); age (n,), ahead (n, k)."""
        before = log_ndtr(-self._z(age))[:, None]
        return np.asarray(np.exp(log_ndtr(-self._z(age[:, None] + ahead)) - before))

    def left_quantile(self, age: Floats, share: float) -> Floats:
        """Return the life left that falls short with probability `share`."""
        tail = ndtr(-self._z(age)) * (1 - share)
        return np.asarray(np.exp(self.mu - self.sigma * ndtri(np.maximum(tail, 1e-300))) - age)


def fit_weibull(age: Floats, ended: Bools) -> Weibull:
    """Maximum likelihood of right-censored lives; needs one end at least (Raises: ValueError).

    The scale is eliminated: scale^b = sum t^b / ends; the shape solves one monotone equation.
    """
    lives, ends = _checked(age, ended)
    unit = float(lives.max())
    logs = np.log(lives / unit)
    mean_end = float(logs[ended[age > 0]].mean())

    def slope(shape: float) -> float:
        powers = np.exp(shape * logs)
        return float(powers @ logs / powers.sum() - 1 / shape - mean_end)

    high = 1 / _LEAST_SPREAD
    shape = brentq(slope, 1e-3, high, xtol=1e-12, rtol=1e-12) if slope(high) > 0 else high
    total = float(np.exp(shape * logs).sum())
    scale = unit * (total / ends) ** (1 / shape)
    likelihood = (
        ends * (np.log(shape) - shape * np.log(scale)) + (shape - 1) * np.log(lives)[ended[age > 0]].sum() - ends
    )
    return Weibull(scale, float(shape), float(likelihood))


def fit_lognormal(age: Floats, ended: Bools) -> Lognormal:
    """Maximum likelihood of right-censored lives by expectation and Newton steps on (mu, ln sigma).

    Needs one end at least (Raises: ValueError); a spread below .01 is held there.
    """
    lives, ends = _checked(age, ended)
    logs, seen = np.log(lives), ended[age > 0]

    def likelihood(mu: float, sigma: float) -> float:
        z = (logs - mu) / sigma
        return float(-0.5 * (z[seen] ** 2).sum() - ends * (np.log(sigma) + 0.5 * np.log(2 * np.pi))
                     + log_ndtr(-z[~seen]).sum())  # fmt: skip

    mu, sigma = float(logs[seen].mean()), max(float(logs.std()), 0.1)
    for _ in range(2000):  # expectation-maximisation: every step rises, so it cannot run away
        z = (logs[~seen] - mu) / sigma
        hazard = np.exp(-0.5 * z**2 - 0.5 * np.log(2 * np.pi) - log_ndtr(-z))
        first = mu + sigma * hazard
        second = mu**2 + sigma**2 + sigma * hazard * (logs[~seen] + mu)
        new_mu = (logs[seen].sum() + first.sum()) / len(logs)
        spread = ((logs[seen] ** 2).sum() + second.sum()) / len(logs) - new_mu**2
        new_sigma = max(float(np.sqrt(max(spread, 0.0))), _LEAST_SPREAD)
        moved = abs(new_mu - mu) + abs(new_sigma - sigma)
        mu, sigma = float(new_mu), new_sigma
        if moved < 1e-10:
            break
    # logs in ln m2; the likelihood of the lives themselves carries the further factor 1/t of each end
    return Lognormal(mu, sigma, likelihood(mu, sigma) - float(logs[seen].sum()))


def _checked(age: Floats, ended: Bools) -> tuple[Floats, int]:
    """Return the lives above 0 (others say nothing) and the number of ends."""
    if not (ended & (age > 0)).any():
        raise ValueError("A maximum likelihood of lives needs one end at least.")
    return age[age > 0], int((ended & (age > 0)).sum())


def rated_less_area(rated_m2: float, age: Floats) -> Floats:
    """Life left by the supplier's rating: rated less used, never below 0."""
    return np.asarray(np.maximum(rated_m2 - age, 0.0))


def mean_less_area(lives: Floats, age: Floats, rated_m2: float) -> Floats:
    """Life left by the mean of past lives (the rating where there is none), never below 0."""
    usual = float(lives.mean()) if len(lives) else rated_m2
    return np.asarray(np.maximum(usual - age, 0.0))
