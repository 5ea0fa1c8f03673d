"""Life left in tool sets, first version: a lognormal life around the supplier's rating, corrected by the shop's record.

Areas are reference areas [m2] (worked area x floor factor). The wear model of METHODS 1 replaces this behind the same
calls. What this version leaves out: noise of the single floor ahead, dressing and changed pieces, pooling of types.

Why heights are already in: a reading says how much of this set's own life its area has cost, which is a second, direct
look at ln(life). Tried on 180 simulated types (the generator of METHODS 1.6, one floor class, one reading a life): with
3 worn-out sets a type the 80 % range held 77 % and the CRPS fell from 17.3 to 13.8 % of rated by using them, with 10 it
held 82 % and fell from 15.4 to 12.3 %.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from inventory.numerics import lognormal
from inventory.numerics.lognormal import Belief, Floats, floats

HOPEFUL_LN = 0.10  # the rating is some 10 % hopeful: our assumption, METHODS 1.1
CENTRE_SD = 0.35  # SD of a type's ln(median life) around that: our assumption, METHODS 1.1
SPREAD = 0.30  # median SD of ln(life) between sets of one type: our assumption, METHODS 1.1
SPREAD_LN_SD = 0.5  # our assumption, METHODS 1.1
FLOOR_NOISE = 0.25  # relative noise of one use: our assumption, METHODS 0
USES_PER_LIFE = 12  # a usual life holds about so many uses: our assumption (the generator of METHODS 1.6)
END_ERROR_SHARE = 0.04  # SD of the true end, as a share of usable height: our assumption, METHODS 0
READING_ERROR_SHARE = 0.025  # SD of a reading, 0.3 mm of 12 mm: our assumption, METHODS 0
_LEAST_SHARE = 0.01  # wear read as less than this counts as this: its error is then larger than itself anyway
_KNOTS = (np.linspace(0.0, 1.0, 97) ** 3) * 8.0  # of max(rated, used); dense near 0


@dataclass(frozen=True)
class LifePrior:
    """What is believed of a type before its record: ln(median life) ~ N(ln rated - hopeful_ln, centre_sd^2)."""

    hopeful_ln: float = HOPEFUL_LN
    centre_sd: float = CENTRE_SD
    spread: float = SPREAD
    spread_ln_sd: float = SPREAD_LN_SD


@dataclass(frozen=True)
class Readings:
    """The wear read on each set, arrays (n,): NaN in both where a set has no usable reading.

    area_m2: reference area between the height it starts from (new, or the first reading of an opening entry) and the
    latest reading [m2]. share_gone: usable height lost between those two, over new minus retire height [-].
    error_share: SD of share_gone [-] (0.3 mm over the usable height; times sqrt 2 when both ends were read).
    """

    area_m2: npt.ArrayLike
    share_gone: npt.ArrayLike
    error_share: npt.ArrayLike = READING_ERROR_SHARE


@dataclass(frozen=True)
class LifePopulation:
    """What is known of the lives of one tool type: rated coverage [m2], belief, size of the record."""

    rated_m2: float
    belief: Belief
    worn_out: int
    sets: int

    @cached_property
    def new_life(self) -> LifeLeft:
        """Life of a new set."""
        return life_left(self, [0.0])

    @property
    def median_m2(self) -> float:
        return float(self.new_life.likely_m2[0])


@dataclass(frozen=True)
class LifeLeft:
    """Reference area still in each of n sets [m2].

    at_least_m2, likely_m2, up_to_m2: (n,) P10, P50, P90. area_m2, survival: (n, r) P(left > area), non-increasing.
    """

    at_least_m2: Floats
    likely_m2: Floats
    up_to_m2: Floats
    area_m2: Floats
    survival: Floats


def _hints(readings: Readings | None, rated_m2: float, n: int) -> tuple[Floats | None, Floats | None]:
    """ln(life) read off the heights, and its SD, per set.

    Wear goes with reference area (METHODS 1.1), so area / share gone is a reading of this set's whole life. Its
    relative error: the reading's, the true end's, and the noise of the uses in between, summed as independent.
    """
    if readings is None:
        return None, None
    area = np.atleast_1d(np.asarray(readings.area_m2, dtype=np.float64))
    share = np.atleast_1d(np.asarray(readings.share_gone, dtype=np.float64))
    error = np.broadcast_to(np.asarray(readings.error_share, dtype=np.float64), (n,))
    if area.shape != (n,) or share.shape != (n,):
        raise ValueError(f"`readings` must have {n} values, one per set; got {area.size} and {share.size}.")
    has = np.isfinite(area) & np.isfinite(share)
    if (has & (area < 0)).any():
        raise ValueError(f"`readings.area_m2` must be 0 or more; got {area[has & (area < 0)][0]:g}.")
    # Worn below the retire height reads as more than 1; what no pair of new and retire height can give is refused.
    wild = has & ((share < -1) | (share > 4))
    if wild.any():
        raise ValueError(f"`readings.share_gone` must lie between -1 and 4; got {share[wild][0]:g}.")
    if not (np.isfinite(error) & (error > 0)).all():
        raise ValueError("`readings.error_share` must be above 0.")
    has &= area > 0
    safe_area = np.where(has, area, 1.0)
    safe_share = np.clip(np.where(has, share, 1.0), _LEAST_SHARE, None)
    one_use = FLOOR_NOISE**2 * np.minimum(1.0, rated_m2 / USES_PER_LIFE / safe_area)
    sd = np.sqrt(np.square(error / safe_share) + END_ERROR_SHARE**2 + one_use)
    return np.where(has, np.log(safe_area / safe_share), 0.0), np.where(has, sd, np.inf)


def _record(
    rated_m2: float,
    used_m2: npt.ArrayLike,
    ended_worn: npt.ArrayLike,
    entered_at_m2: npt.ArrayLike | None,
    entered_error_m2: npt.ArrayLike | None,
    readings: Readings | None,
) -> lognormal.Record:
    n = np.size(used_m2)
    hint, hint_sd = _hints(readings, rated_m2, n)
    return lognormal.make_record(
        used_m2,
        ended_worn,
        0.0 if entered_at_m2 is None else entered_at_m2,
        0.0 if entered_error_m2 is None else entered_error_m2,
        hint,
        hint_sd,
        name="used_m2",
    )


def fit_population(
    rated_m2: float,
    used_m2: npt.ArrayLike,
    ended_worn: npt.ArrayLike,
    entered_at_m2: npt.ArrayLike | None = None,
    *,
    entered_error_m2: npt.ArrayLike | None = None,
    readings: Readings | None = None,
    prior: LifePrior | None = None,
) -> LifePopulation:
    """Learn the lives of one tool type from all its sets, running and gone.

    rated_m2: the supplier's rated coverage [m2 reference area], > 0.
    used_m2: (n,) reference area each set has behind it, its believed past included [m2].
    ended_worn: (n,) True only for a set that ended *worn*; running, lost, broken, changed early are False.
    entered_at_m2: (n,) reference area a set was believed to have used when its record began (0 = seen from new): such a
        life is left-truncated there. entered_error_m2: (n,) SD of that belief [m2].
    readings: wear read on sets still running (see `Readings`); ignored for worn-out sets, whose end says more.
    Returns: LifePopulation. No sets at all give the prior: wide and finite.
    Raises: ValueError naming the parameter.
    Limits: one lognormal per type; rating within a factor of about 5 of the truth.
    Source: METHODS 1.1 (priors) and 1.8; left truncation and censoring as in Meeker & Escobar (from memory).
    """
    rated = float(rated_m2)
    if not np.isfinite(rated) or rated <= 0:
        raise ValueError(f"`rated_m2` must be above 0; got {rated_m2}.")
    record = _record(rated, used_m2, ended_worn, entered_at_m2, entered_error_m2, readings)
    start = prior or LifePrior()
    belief = lognormal.fit(
        lognormal.Prior(np.log(rated) - start.hopeful_ln, start.centre_sd, start.spread, start.spread_ln_sd), record
    )
    return LifePopulation(rated, belief, int(record.ended.sum()), record.size)


def _running(
    population: LifePopulation,
    used_m2: npt.ArrayLike,
    entered_at_m2: npt.ArrayLike | None,
    entered_error_m2: npt.ArrayLike | None,
    readings: Readings | None,
) -> lognormal.Record:
    running = np.zeros(np.size(used_m2), dtype=np.bool_)
    return _record(population.rated_m2, used_m2, running, entered_at_m2, entered_error_m2, readings)


def life_left(
    population: LifePopulation,
    used_m2: npt.ArrayLike,
    *,
    entered_at_m2: npt.ArrayLike | None = None,
    entered_error_m2: npt.ArrayLike | None = None,
    readings: Readings | None = None,
    in_record: bool = True,
) -> LifeLeft:
    """Reference area left in each of n running sets, given what each has used.

    Arguments as in `fit_population`, for running sets only. in_record: the sets were part of the fit (usual); False for
    sets the population has not seen. For worked area of a floor divide by its floor factor.
    Returns: LifeLeft, all finite; up_to is cut at 8 times the larger of rated and used.
    Raises: ValueError naming the parameter.
    """
    record = _running(population, used_m2, entered_at_m2, entered_error_m2, readings)
    area = np.maximum(record.seen, population.rated_m2)[:, None] * _KNOTS[None, :]
    survival = lognormal.survive_more(population.belief, record, area, in_record=in_record)
    survival = np.minimum.accumulate(survival, axis=1)
    low, mid, high = (_area_at(area, survival, share) for share in (0.9, 0.5, 0.1))
    return LifeLeft(low, mid, high, area, survival)


def _area_at(area_m2: Floats, survival: Floats, share: float) -> Floats:
    """Area at which each row's survival has fallen to the share, (n,), linear between knots."""
    last = area_m2.shape[1] - 1
    after = np.clip((survival > share).sum(axis=1), 1, last)
    rows = np.arange(area_m2.shape[0])
    s0, s1 = survival[rows, after - 1], survival[rows, after]
    a0, a1 = area_m2[rows, after - 1], area_m2[rows, after]
    part = np.clip((s0 - share) / np.maximum(s0 - s1, 1e-300), 0.0, 1.0)
    return np.asarray(a0 + part * (a1 - a0))


def chance_to_finish(
    population: LifePopulation,
    used_m2: npt.ArrayLike,
    area_m2: npt.ArrayLike,
    *,
    entered_at_m2: npt.ArrayLike | None = None,
    entered_error_m2: npt.ArrayLike | None = None,
    readings: Readings | None = None,
    in_record: bool = True,
) -> Floats:
    """Chance (n,) that each set still has `area_m2` of reference area in it (one value, or one per set).

    Raises: ValueError naming the parameter. Limits: the area is taken as known.
    """
    record = _running(population, used_m2, entered_at_m2, entered_error_m2, readings)
    wanted = floats("area_m2", area_m2, at_least=0, size=record.size)
    return lognormal.survive_more(population.belief, record, wanted[:, None], in_record=in_record)[:, 0]


def draw_life_left(
    population: LifePopulation,
    used_m2: npt.ArrayLike,
    uniform_type: Floats,
    uniform_sets: Floats,
    *,
    entered_at_m2: npt.ArrayLike | None = None,
    entered_error_m2: npt.ArrayLike | None = None,
    readings: Readings | None = None,
) -> Floats:
    """Reference area left in each of n sets in each of d imagined worlds, (n, d) [m2].

    uniform_type: (d,) in [0, 1), one per world: every set of a type shares the world's true median and spread, so that
    a hopeful rating hits the whole rack at once. uniform_sets: (n, d). New sets: used 0. Sets are those of the record.
    Raises: ValueError naming the parameter.
    """
    record = _running(population, used_m2, entered_at_m2, entered_error_m2, readings)
    if uniform_sets.shape != (record.size, uniform_type.size):
        raise ValueError(
            f"`uniform_sets` must have shape ({record.size}, {uniform_type.size}); got {uniform_sets.shape}."
        )
    points = lognormal.choose_points(population.belief, uniform_type)
    return lognormal.draw_left(population.belief, record, points, uniform_sets)


def chance_two_finish(
    population: LifePopulation,
    first_used_m2: float,
    second_used_m2: float,
    area_m2: float,
    *,
    knots: int = 64,
    in_record: bool = True,
) -> float:
    """Chance that two sets of one type, one after the other, finish `area_m2` of reference area together.

    P(R1 + R2 >= a) = S1(a) + sum_j [S1(r_j) - S1(r_j+1)] S2(a - r_mid) (METHODS 1.2), done per grid point of the belief
    and then averaged: both sets share one true type, so their lives are not independent.
    Raises: ValueError naming the parameter.
    """
    area = float(floats("area_m2", area_m2, at_least=0, size=1)[0])
    if area == 0:
        return 1.0
    grid = np.linspace(0.0, area, knots + 1)
    middle = area - (grid[1:] + grid[:-1]) / 2
    record = _running(population, [first_used_m2, second_used_m2], None, None, None)
    weight = population.belief.weight
    if not in_record:
        logs = lognormal.log_evidence(record, population.belief.mu, population.belief.sigma).sum(axis=0)
        weight = weight * np.exp(logs - logs.max())
        weight = weight / weight.sum()
    first = lognormal.survival_by_point(population.belief, record.part(slice(0, 1)), grid[None, :])[0]
    second = lognormal.survival_by_point(population.belief, record.part(slice(1, 2)), middle[None, :])[0]
    both = first[-1] + ((first[:-1] - first[1:]) * second).sum(axis=0)
    return float(np.clip(weight @ both, 0.0, 1.0))


def remaining_share(left: LifeLeft, used_m2: npt.ArrayLike) -> Floats:
    """Expected share of its whole life that each set still has, (n,), 0 to 1: E[left / (used + left)].

    left: of the same sets, in the same order. Raises: ValueError naming the parameter.
    """
    used = floats("used_m2", used_m2, at_least=0, size=left.area_m2.shape[0])
    share = left.area_m2 / np.maximum(used[:, None] + left.area_m2, 1e-12)
    middle = (left.survival[:, 1:] + left.survival[:, :-1]) / 2
    # A new set has all of its life before it, whatever that will be: the first step of the sum is the whole.
    rise = np.diff(share, axis=1)
    rise[:, 0] = np.where(used == 0, 1.0, rise[:, 0])
    middle[:, 0] = np.where(used == 0, 1.0, middle[:, 0])
    return np.clip((rise * middle).sum(axis=1), 0.0, 1.0)
