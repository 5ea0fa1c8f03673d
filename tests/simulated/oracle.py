"""The oracle: knows mean ln rate and floor factors of the shop, holds rates normal with SD .25 and floors .25 noisy.

Written apart from the wear model, set by set in plain loops over its rows, so that it also checks the model's filter.
Where the model's assumptions fail the oracle's fail too: there it is no bound (METHODS 1.6).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

from tests.simulated.records import USABLE_ERROR_MM
from tests.simulated.scenarios import BASES_ERROR
from tests.simulated.shops import FLOOR_NOISE, READING_ERROR_MM, USABLE_MM, ToolSet, TypeStory

Floats = npt.NDArray[np.float64]
SPREAD = 0.25
_THETA = np.linspace(-4.5, 4.5, 121)  # SDs of the rate
_ERROR_2 = np.square(np.array(BASES_ERROR))


def _posterior(
    tool: ToolSet, mean_ln_rate: float, factors: Floats, noise: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """One set: rate as a whole set, log weight (without "still in service"), wear and variance at each, each (121,)."""
    centre = mean_ln_rate if tool.from_new else mean_ln_rate - SPREAD**2
    theta = centre + SPREAD * _THETA
    rate = np.exp(theta)
    log_prior = -0.5 * _THETA**2
    ll = np.zeros_like(theta)
    wear = np.full_like(theta, tool.start_mm)
    variance = np.full_like(theta, tool.start_error_mm**2)
    for row in tool.rows:
        wear = wear + rate * row.load * float(factors @ row.area_m2)
        squares = row.load**2 * (factors**2 @ row.square_m4)
        variance = variance + rate**2 * float(squares @ (noise**2 + _ERROR_2))
        if np.isfinite(row.wear_mm):
            total = variance + READING_ERROR_MM**2
            ll -= 0.5 * (np.log(total) + (row.wear_mm - wear) ** 2 / total)
            wear = wear + variance / total * (row.wear_mm - wear)
            variance = variance * READING_ERROR_MM**2 / total
        if np.isfinite(row.restart_mm):
            wear = np.full_like(theta, row.restart_mm)
            variance = np.full_like(theta, READING_ERROR_MM**2)
            if row.forget:
                ll = np.zeros_like(theta)
    return rate, log_prior + ll, wear, variance


def usual_use(story: TypeStory, factors: Floats) -> float:
    """Sum of squares over sum of reference area of all logged uses of the type, m2."""
    area = sum(float(factors @ row.area_m2) for tool in story.sets for row in tool.rows)
    square = sum(float(factors**2 @ row.square_m4.sum(axis=1)) for tool in story.sets for row in tool.rows)
    return square / area if area > 0 else story.rated_m2 / 12


def survival(
    story: TypeStory, factors: Floats, picked: npt.NDArray[np.intp], knots: Floats, noise: float = FLOOR_NOISE
) -> Floats:
    """P(life left > r) of the picked sets in service, (n, k), r in reference m2 by `factors`."""
    use = usual_use(story, factors)
    out = np.empty((len(picked), len(knots)))
    for at, i in enumerate(picked):
        tool = story.sets[story.running[i]]
        rate, logs, wear, variance = _posterior(tool, story.mean_ln_rate, factors, noise)
        rate = rate * tool.load
        now = log_ndtr((USABLE_MM - wear) / np.sqrt(variance + USABLE_ERROR_MM**2))
        spread = np.sqrt(variance + USABLE_ERROR_MM**2 + rate**2 * noise**2 * use * knots[:, None])
        later = np.minimum(log_ndtr((USABLE_MM - wear - rate * knots[:, None]) / spread), now)
        top = (logs + now).max()  # in logs: a record against all odds must not come out as 0 by 0
        out[at] = np.minimum.accumulate(np.exp(logs + later - top).sum(axis=1) / np.exp(logs + now - top).sum())
    return out
