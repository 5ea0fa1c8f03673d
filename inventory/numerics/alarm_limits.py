"""Limits of the wear alarms, and how a shop's own record widens them where floors surprise more than is usual.

Scale: -ln of a chance, or ln of a likelihood ratio. Set on simulated shops (`tests.simulated.alarms`, seeds 11 and 12:
base, heavy tails, wear that changes with height; 4 and 5: heavy tails where little is read) for less than one sound set
in a hundred alarmed in its whole life where the model's assumptions hold, 1.5 elsewhere, with a fifth to spare. METHODS
1.4 had 8.1, 8.1, 5.4 and 5.25, without `wear_pooling`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inventory.numerics.lognormal import Floats, Ints

LOG_FASTER_LIMIT, LOG_SLOWER_LIMIT = 9.5, 8.5
TYPE_FASTER_LIMIT, TYPE_SLOWER_LIMIT = 7.4, 7.0
CHANGE_FASTER_LIMIT, CHANGE_SLOWER_LIMIT = 4.2, 4.5

# A set is told to have slowed down only from where so much of its usable height was gone: our assumption, that a new
# face may wear faster than what lies under it. On shops where the first eighth wears 1.6 times and the next half .85
# times as fast as usual, seven of ten false alarms of a slowing began before a quarter, and two of ten true ones.
RUN_IN_SHARE = 0.25

_FROM = 3.0  # surprises above this are counted
_ANCHOR = 2.0  # and limits stretched beyond this
_USUAL = 10.0  # surprises of usual size that the belief "nothing unusual" is worth
_MOST = 5.0  # of one surprise: a mis-keyed height alone must not still all alarms
_BY_LUCK = 0.1  # so far above 1 the mean comes in a shop with nothing unusual
_POWER = 4.0  # tails that are heavier than exponential get heavier outwards


@dataclass(frozen=True)
class Surprises:
    """Heights of a shop that surprised: how many, and by how much in all."""

    count: float = 0.0
    total: float = 0.0

    @classmethod
    def of(cls, strength: Floats) -> Surprises:
        """From -ln of one-sided chances of heights, (k,)."""
        over = np.minimum(strength[strength > _FROM] - _FROM, _MOST)
        return cls(float(over.size), float(over.sum()))

    def stretch(self, count: Floats | float = 0.0, total: Floats | float = 0.0) -> Floats:
        """How far limits are stretched, 1 or more, without these (a set's own) surprises.

        Where the model holds, -ln of a chance is exponential with mean 1, and so is what exceeds any threshold. Where
        single floors wear far more than floors usually do, the excess is larger: then the same limit is passed by
        chance more often. Source: peaks over a threshold, with our own constants, measured as said above.
        """
        mean = (_USUAL + np.maximum(self.total - total, 0.0)) / (_USUAL + np.maximum(self.count - count, 0.0))
        return np.asarray(np.maximum(1.0, mean - _BY_LUCK) ** _POWER)


@dataclass(frozen=True)
class Tails:
    """What surprised in a shop's own record: too much wear (`faster`), too little (`slower`)."""

    faster: Surprises = Surprises()
    slower: Surprises = Surprises()

    def of(self, direction: str) -> Surprises:
        return self.faster if direction == "faster" else self.slower


def stretched(usual: float, stretch: Floats | float) -> Floats:
    """The limit that stands in for the usual one."""
    return np.asarray(_ANCHOR + (usual - _ANCHOR) * stretch)


def own_surprises(strength: Floats, owner: Ints, sets: int) -> tuple[Floats, Floats]:
    """Count and total of each set's own surprises, (n,) each; strength, owner: (k,) by look."""
    passed = strength > _FROM
    over = np.where(passed, np.minimum(strength - _FROM, _MOST), 0.0)
    count, total = (np.bincount(owner, weights=w, minlength=sets) for w in (passed.astype(np.float64), over))
    return np.asarray(count, dtype=np.float64), np.asarray(total, dtype=np.float64)
