"""What several sets of one tool type still do together: one figure for the rack, Reorder and whoever asks. Pure.

Areas are reference areas, m2.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from math import sqrt
from typing import Protocol

# What is known of a type before any of its sets is worn out is worth so many that were: the neighbours of its bond,
# its rating, and heights read of sets in use. Our assumption.
KNOWN_BEFORE = 3.0
_REACH = 1.2816  # from the median to P10 or P90 of a normal distribution, in standard deviations


class LifeLeft(Protocol):
    """Life left of one set, and how many sets of its type ended worn."""

    @property
    def at_least_m2(self) -> float: ...
    @property
    def likely_m2(self) -> float: ...
    @property
    def up_to_m2(self) -> float: ...
    @property
    def worn_out(self) -> int: ...


def together(lives: Iterable[LifeLeft]) -> tuple[float, float, float]:
    """Life of several sets of one type together, reference m2: at least, likely, up to (P10, P50, P90).

    Of one set its own three figures; of none zeros. Means add up, medians do not: the mean of each is taken as 0.3 P10
    + 0.4 P50 + 0.3 P90 (Swanson's rule, from memory), and the median of the sum lies below its mean by its third
    cumulant over six variances (Cornish and Fisher 1938, first term, from memory). Of each set's doubt a share
    1 / (4 + n), n sets of the type worn out, is the type's and adds up; the rest is the set's own and evens out.
    Our approximation: on the demo's ten types the likely value lies within 3 % of the forecast's draws, the range is
    7 to 76 % wider.
    """
    found = list(lives)
    if len(found) < 2:
        return (found[0].at_least_m2, found[0].likely_m2, found[0].up_to_m2) if found else (0.0, 0.0, 0.0)
    shared = 1 / (1 + KNOWN_BEFORE + min(life.worn_out for life in found))

    def spread(distance: Callable[[LifeLeft], float]) -> float:
        plain = sum(distance(life) for life in found)
        return sqrt(shared * plain * plain + (1 - shared) * sum(distance(life) ** 2 for life in found))

    def wide(life: LifeLeft) -> float:
        return (life.up_to_m2 - life.at_least_m2) / (2 * _REACH)

    def lean(life: LifeLeft) -> float:
        return 0.3 * (life.up_to_m2 - 2 * life.likely_m2 + life.at_least_m2)

    all_lean, variance = sum(lean(life) for life in found), spread(wide) ** 2
    mean = sum(life.likely_m2 for life in found) + all_lean
    off = 0.0
    if variance > 0:
        # The lean that is the type's stays in the sum, that of each set is lost among many.
        part = shared**1.5
        plain = sum(wide(life) for life in found)
        own = sum(lean(life) * wide(life) ** 2 for life in found)
        off = ((1 - part) * own + part * all_lean * plain * plain) / variance
    likely = mean - off
    # And the range is as wide as the two sides make it, leaning by as much as is left.
    down, up = (
        spread(lambda life: life.likely_m2 - life.at_least_m2),
        spread(lambda life: life.up_to_m2 - life.likely_m2),
    )
    half, tilt = (down + up) / 2, (off / all_lean if all_lean else 1.0) * (up - down) / 2
    return max(0.0, likely - half + tilt), likely, likely + half + tilt
