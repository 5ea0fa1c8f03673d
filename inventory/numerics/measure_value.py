"""What one height reading is worth before a set's next step (METHODS 1.5): whether to ask for it at scan-in, and why.

Using a set that then dies on the job costs more than leaving one that would have finished. A reading is worth the
loss that it is expected to save: nothing where the answer is sure either way, most where it may turn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

from inventory.numerics.life import Lives, Points
from inventory.numerics.lognormal import Bools, Floats, floats
from inventory.numerics.wear import READING_ERROR_MM
from inventory.numerics.wear_fit import TypeFit

FINISH_LIMIT = 0.9  # the chance from which a set is taken for a step; measured, METHODS 1.2
ASK_FROM = 0.01  # a reading worth less is not asked for: our assumption, METHODS 1.5
READINGS = 15  # readings tried, METHODS 1.5
REACH_SD = 4.5  # on so many SD of what may be read; dense in the middle, for a chance near 1 is all in the tail
_BEND = 1.8
_STEPS = np.linspace(-1.0, 1.0, READINGS)
_AT_SD = REACH_SD * np.sinh(_BEND * _STEPS) / np.sinh(_BEND)
_STANDS_FOR = np.cosh(_BEND * _STEPS)  # width of the stretch each reading stands for, but for a factor
_SETS_AT_ONCE = 512  # bounds memory; the answer does not depend on it


@dataclass(frozen=True)
class ReadingValues:
    """What a height would be worth for each of n sets.

    value: (n,) loss saved, in steps wrongly left: 1 is one step for which a good set was left unused. ask: (n,) it is
    worth asking. chance: (n,) of finishing the step as known now. chance_low, chance_high: (n,) between which the
    chance then lies 8 times in 10. turns_at_mm: (n,) the wear at which the answer turns (less: take the set), NaN
    where no likely reading turns it. area_m2: (n,) reference area of the step asked about. planned: (n,) False where
    no step was planned and the type's usual one stood in.
    """

    value: Floats
    ask: Bools
    chance: Floats
    chance_low: Floats
    chance_high: Floats
    turns_at_mm: Floats
    area_m2: Floats
    planned: Bools


def decision_loss(chance: Floats, finish_limit: float = FINISH_LIMIT) -> Floats:
    """Expected loss of the better choice: used and it dies p*/(1 - p*), left though it would have finished 1.

    The two are equal at `finish_limit` p*, so that this limit is the right one (METHODS 1.5).
    """
    return np.minimum(finish_limit / (1.0 - finish_limit) * (1.0 - chance), chance)


def reading_values(
    known: Lives,
    type_fit: TypeFit,
    area_m2: npt.ArrayLike | None = None,
    *,
    finish_limit: float = FINISH_LIMIT,
    error_mm: float = READING_ERROR_MM,
) -> ReadingValues:
    """Value of one height reading for each set's next planned step, all sets of one tool type.

    area_m2: (n,) reference area of the next step [m2], NaN where none is planned: then the type's usual use stands in
    (our assumption); one number for all, or None for no plan at all. error_mm: SD of the reading.
    Raises: ValueError for an area below 0, a limit outside 0...1, or an error not above 0.
    Limits: one step, one reading; a set that ended worn out is worth no reading. What later steps gain is not counted.
    Source: METHODS 1.5 (expected value of information; the losses and the limit are measured there).
    """
    if not 0 < finish_limit < 1:
        raise ValueError(f"`finish_limit` must lie between 0 and 1, both left out; got {finish_limit}.")
    if not (np.isfinite(error_mm) and error_mm > 0):
        raise ValueError(f"`error_mm` must be above 0; got {error_mm}.")
    n = known.size
    given = np.asarray(np.nan if area_m2 is None else area_m2, dtype=np.float64)
    given = np.broadcast_to(given, (n,)).copy() if given.ndim == 0 else given
    if given.shape != (n,):
        raise ValueError(f"`area_m2` must have {n} values, one per set; got {given.size}.")
    planned = ~np.isnan(given)
    area = np.where(planned, given, type_fit.use_m2)
    if n:
        floats("area_m2", area, at_least=0, size=n)
    out = np.zeros((4, n))
    turns = np.full(n, np.nan)
    usable_error_2 = type_fit.usable_error_mm**2
    for begin in range(0, n, _SETS_AT_ONCE):
        some = slice(begin, min(begin + _SETS_AT_ONCE, n))
        points = _some(known.points, some)
        wear, share, chance = _after(points, area[some], known.usable_mm, usable_error_2, error_mm)
        now = np.clip((share * chance).sum(axis=1), 0.0, 1.0)
        saved = decision_loss(now, finish_limit) - (share * decision_loss(chance, finish_limit)).sum(axis=1)
        low, high = _range(share, chance)
        out[:, some] = np.maximum(saved, 0.0), now, low, high
        turns[some] = _turn(wear, chance, finish_limit)
    value, now, low, high = out
    return ReadingValues(value, value >= ASK_FROM, now, low, high, turns, area, planned)


def _some(points: Points, some: slice) -> Points:
    """The points of some sets in a row."""
    start = points.start[some.start : some.stop + 1]
    at = slice(int(start[0]), int(start[-1]))
    rows = (a[at] for a in (points.weight, points.rate, points.room_mm, points.variance_mm2, points.tau))
    return Points(start - start[0], *rows)


def _after(
    points: Points, area: Floats, usable_mm: float, usable_error_2: float, error_mm: float
) -> tuple[Floats, Floats, Floats]:
    """Readings that may come (n, READINGS) [mm of wear], the probability of each, and the chance to finish after it.

    The chance now is the mean of the chances then, to the last digit: both come from these readings, so a reading is
    never worth less than nothing.
    """
    sets, n = points.set_of, points.start.size - 1
    mean = usable_mm - points.room_mm
    known_2 = np.maximum(points.variance_mm2 - usable_error_2, 0.0)  # of the wear itself
    total = known_2 + error_mm**2
    middle = points.total(points.weight * mean)
    spread = points.total(points.weight * (total + np.square(mean - middle[sets])))
    wear = middle[:, None] + np.sqrt(spread)[:, None] * _AT_SD
    off = wear[sets] - mean[:, None]
    gain = (known_2 / total)[:, None]
    room = points.room_mm[:, None] - gain * off
    left_2 = (gain[:, 0] * error_mm**2 + usable_error_2)[:, None]
    need = points.rate * area[sets]
    noise = np.square(points.tau * need)
    alive = log_ndtr(room / np.sqrt(left_2))
    done = log_ndtr((room - need[:, None]) / np.sqrt(left_2 + noise[:, None]))
    # Weight without "it is still in service", which every reading answers anew (METHODS 1.1 item 4).
    before = np.log(points.weight) - log_ndtr(points.room_mm / np.sqrt(points.variance_mm2))
    logs = before[:, None] - 0.5 * (np.log(total)[:, None] + np.square(off) / total[:, None]) + alive
    top = np.full(n, -np.inf)
    np.maximum.at(top, sets, logs.max(axis=1))
    joint = np.exp(logs - top[sets][:, None]) * _STANDS_FOR
    sums = points.total(joint)
    finished = points.total(joint * np.exp(np.minimum(done - alive, 0.0)))
    chance = np.where(sums > 0, finished / np.maximum(sums, 1e-300), 0.0)
    weight = sums.sum(axis=1, keepdims=True)
    share = np.where(weight > 0, sums / np.where(weight > 0, weight, 1.0), 1.0 / READINGS)
    return wear, share, np.clip(chance, 0.0, 1.0)


def _range(share: Floats, chance: Floats) -> tuple[Floats, Floats]:
    """Chances not exceeded with probability .1 and .9, (n,) each."""
    order = np.argsort(chance, axis=1)
    chance = np.take_along_axis(chance, order, axis=1)
    reached = np.cumsum(np.take_along_axis(share, order, axis=1), axis=1)
    rows = np.arange(chance.shape[0])
    low, high = ((reached >= part - 1e-12).argmax(axis=1) for part in (0.1, 0.9))
    return chance[rows, low], chance[rows, high]


def _turn(wear: Floats, chance: Floats, limit: float) -> Floats:
    """Wear at which the chance falls below the limit, (n,), NaN where it does not within the readings tried."""
    out = np.full(wear.shape[0], np.nan)
    good = chance >= limit
    falls = good[:, :-1] & ~good[:, 1:]
    rows = np.flatnonzero(falls.any(axis=1))
    k = falls[rows].argmax(axis=1)
    before, after = chance[rows, k], chance[rows, k + 1]
    part = (before - limit) / np.maximum(before - after, 1e-300)
    out[rows] = wear[rows, k] + part * (wear[rows, k + 1] - wear[rows, k])
    return out
