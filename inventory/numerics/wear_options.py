"""The beliefs and grids the wear model starts from (METHODS 1.1)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from inventory.numerics.lognormal import Floats


@dataclass(frozen=True)
class WearOptions:
    """The grids and beliefs of METHODS 1.1, all our assumptions until the record speaks.

    tau, tau_ln_sd: noise of one use, and SD of ln tau around the middle one. hopeful_ln: ratings are so much hopeful.
    d_sd, d_sd_pooled, d_sd_unrated: SD of a type around its rating, around its bond, around its bond without a rating.
    spread, spread_ln_sd: sigma's median and SD of ln sigma. beta, beta_sd: shift of a bond; pool: whether bonds are
    learnt together at all. half_width, points: of the theta grid.
    """

    tau: tuple[float, ...] = (0.10, 0.16, 0.25, 0.40, 0.60)
    tau_middle: float = 0.25
    tau_ln_sd: float = 0.6
    hopeful_ln: float = 0.10
    d_points: int = 25
    d_sd: float = 0.35
    d_sd_pooled: float = 0.20
    d_sd_unrated: float = 0.70
    spread_points: int = 9
    spread: float = 0.30
    spread_ln_sd: float = 0.5
    beta: tuple[float, ...] = tuple(round(-0.4 + 0.1 * k, 10) for k in range(13))
    beta_sd: float = 0.35
    pool: bool = True
    half_width: float = 1.8
    points: int = 81

    @property
    def sigma(self) -> Floats:
        reach = 2.2 * self.spread_ln_sd
        return self.spread * np.exp(np.linspace(-reach, reach, self.spread_points))

    @property
    def log_sigma_prior(self) -> Floats:
        return log_normal_weights(np.log(self.sigma / self.spread), self.spread_ln_sd)

    @property
    def log_tau_prior(self) -> Floats:
        if len(self.tau) == 1:
            return np.zeros(1)
        return log_normal_weights(np.log(np.asarray(self.tau) / self.tau_middle), self.tau_ln_sd)

    def d(self, sd: float) -> Floats:
        """Offsets (d,) of a type, +-3 SD."""
        return np.linspace(-3 * sd, 3 * sd, self.d_points)


def log_normal_weights(offset: Floats, sd: float) -> Floats:
    """Log of normal weights at these offsets, scaled to sum 1; flat for an infinite SD."""
    logs = -0.5 * np.square(offset / sd)
    return np.asarray(logs - logsumexp(logs))
