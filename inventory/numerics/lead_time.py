"""Lead time of a supplier in working days: the supplier's word, corrected by the shop's own orders (METHODS 5.1)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inventory.numerics import lognormal
from inventory.numerics.lognormal import Belief, Floats, floats

LATE_LN = 0.10  # suppliers' words are some 10 % short: our assumption, METHODS 5.1
WORD_SD = 0.30  # our assumption, METHODS 5.1
SPREAD = 0.30  # median SD of ln(lead time) between orders: our assumption, METHODS 5.1
SPREAD_LN_SD = 0.4  # our assumption, METHODS 5.1
NO_WORD_DAYS = 15.0  # centre when there are orders but no word, three weeks: our assumption
NO_WORD_SD = 1.0  # and how little that says: our assumption
_SAME_DAY = 0.5  # an order received on the day it was placed took half a day


@dataclass(frozen=True)
class LeadTime:
    """Lead time of the next order: belief, and the record behind it (orders received, orders still open)."""

    belief: Belief
    received: int
    still_open: int

    def quantile(self, share: float) -> float:
        """Working days that the next order does not exceed with this chance, 0 < share < 1.

        Raises: ValueError when share is 0, 1 or beyond.
        """
        if not 0 < share < 1:
            raise ValueError(f"`share` must lie between 0 and 1, both left out; got {share}.")
        low, high = _SAME_DAY / 100, 1e5
        for _ in range(50):  # bisection on a log scale, exact to far below a day
            middle = (low * high) ** 0.5
            late = lognormal.survive_new(self.belief, np.array([middle]))[0] > 1 - share
            low, high = (middle, high) if late else (low, middle)
        return float((low * high) ** 0.5)

    def draw(self, uniform_supplier: Floats, uniform_order: Floats) -> Floats:
        """Lead times [working days] (d,) of one order in each of d imagined worlds, from two rows of uniforms (d,)."""
        return self.draw_rest(0.0, uniform_supplier, uniform_order)

    def draw_rest(self, age_days: float, uniform_supplier: Floats, uniform_order: Floats) -> Floats:
        """Working days (d,) that an order of this age, not here yet, still takes in each world.

        Raises: ValueError for an age below 0.
        """
        points = lognormal.choose_points(self.belief, uniform_supplier)
        waiting = lognormal.make_record([age_days], [False])
        return lognormal.draw_left(self.belief, waiting, points, uniform_order[None, :])[0]


def fit_lead_time(
    word_days: float | None,
    received_days: npt.ArrayLike = (),
    open_days: npt.ArrayLike = (),
) -> LeadTime | None:
    """Learn a supplier's lead time.

    word_days: what the supplier says [working days], None if nothing was said.
    received_days: (n,) working days each received order took. open_days: (m,) age of each order still open: it will
    take longer than that (censored; left out, the lead time would look shorter than it is, METHODS 5.1).
    Returns: LeadTime; None when there is neither a word nor a received order, for then nothing is known.
    Raises: ValueError naming the parameter.
    Limits: orders of one supplier alike and independent.
    """
    received = floats("received_days", received_days, at_least=0) if np.size(received_days) else np.zeros(0)
    still_open = floats("open_days", open_days, at_least=0) if np.size(open_days) else np.zeros(0)
    if word_days is not None and not (np.isfinite(word_days) and word_days > 0):
        raise ValueError(f"`word_days` must be above 0; got {word_days}.")
    if word_days is None and received.size == 0:
        return None
    if word_days is None:
        prior = lognormal.Prior(float(np.log(NO_WORD_DAYS)), NO_WORD_SD, SPREAD, SPREAD_LN_SD)
    else:
        prior = lognormal.Prior(float(np.log(word_days)) + LATE_LN, WORD_SD, SPREAD, SPREAD_LN_SD)
    record = lognormal.make_record(
        np.concatenate([np.maximum(received, _SAME_DAY), still_open]),
        np.concatenate([np.ones(received.size, dtype=np.bool_), np.zeros(still_open.size, dtype=np.bool_)]),
    )
    return LeadTime(lognormal.fit(prior, record), int(received.size), int(still_open.size))
