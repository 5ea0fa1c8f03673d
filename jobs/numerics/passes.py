"""How many passes a step takes: what is common practice, moved by what the shop logged (METHODS 2).

A Dirichlet over 1 to 12 passes per step kind and floor class: the record counts as it is, the practice as four steps
of record. Pure: arrays in, frozen dataclasses out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from inventory.numerics.lognormal import Floats, Ints

MOST_PASSES = 12  # our assumption, METHODS 2
PSEUDO_COUNTS = 4.0  # our assumption, METHODS 2

# Passes and their chances before anything is logged. Ranges of the first and later steps are common practice without
# a published source, their weights our assumption (METHODS 2). An upkeep run as one cross-hatch (two passes), one less
# or one more: our assumption. A hand tool goes along the edge as often as the machine over the floor: our assumption.
_PRACTICE: Mapping[str, Mapping[int, float]] = MappingProxyType(
    {
        "first_cut": {6: 0.25, 7: 0.5, 8: 0.25},
        "later": {4: 0.2, 5: 0.6, 6: 0.2},
        "edge": {4: 0.2, 5: 0.6, 6: 0.2},
        "upkeep": {1: 0.25, 2: 0.5, 3: 0.25},
    }
)
STEP_KINDS = tuple(_PRACTICE)


@dataclass(frozen=True)
class PassChances:
    """chances: (12,) chance of 1...12 passes, summing to 1. logged: finished steps of record behind them (0: none)."""

    chances: Floats
    logged: int

    @property
    def mean(self) -> float:
        """Expected passes."""
        return float(self.chances @ _COUNTS)

    @property
    def planned(self) -> int:
        """The passes to plan with: the median."""
        return self.at(0.5)

    def at(self, share: float) -> int:
        """Smallest number of passes that is enough with at least this chance (0 < share <= 1)."""
        if not 0 < share <= 1:
            raise ValueError(f"`share` must lie above 0 and at most at 1; got {share}.")
        return int(_place(self.chances, np.array([share - 1e-12]))[0])


_COUNTS = np.arange(1, MOST_PASSES + 1)


def practice(step_kind: str) -> PassChances:
    """The passes of a step kind before anything is logged.

    step_kind: "first_cut", "later", "edge" or "upkeep".
    Raises: ValueError for another kind.
    Source: common practice and our assumption, see `_PRACTICE`.
    """
    if step_kind not in _PRACTICE:
        raise ValueError(f"`step_kind` must be one of {', '.join(STEP_KINDS)}; got {step_kind!r}.")
    chances = np.zeros(MOST_PASSES)
    for passes, chance in _PRACTICE[step_kind].items():
        chances[passes - 1] = chance
    return PassChances(chances, 0)


def learn_passes(step_kind: str, logged: npt.ArrayLike, pseudo_counts: float = PSEUDO_COUNTS) -> PassChances:
    """Chances of 1...12 passes after `logged` finished steps of one kind on one floor class.

    logged: (n,) whole passes of each finished step, in any order; more than 12 counts as 12 (a step redone).
    pseudo_counts: how many steps of record the practice is worth.
    Raises: ValueError for a step of no passes or of part of one, pseudo_counts not above 0, an unknown kind.
    Source: Dirichlet-multinomial, mean of the posterior: (count + 4 x practice) / (n + 4), METHODS 2.
    """
    start = practice(step_kind)
    passes = np.asarray(logged, dtype=np.float64).reshape(-1)
    wrong = passes[~((passes >= 1) & (passes == np.floor(passes)) & np.isfinite(passes))]
    if wrong.size:
        raise ValueError(f"`logged` must be whole passes, 1 or more; got {wrong[0]:g}.")
    if not 0 < pseudo_counts < np.inf:
        raise ValueError(f"`pseudo_counts` must be above 0; got {pseudo_counts}.")
    counts = np.bincount(np.minimum(passes, MOST_PASSES).astype(np.int64), minlength=MOST_PASSES + 1)[1:]
    return PassChances((counts + pseudo_counts * start.chances) / (passes.size + pseudo_counts), int(passes.size))


def learn_by_class(logged: Iterable[tuple[str, int]], pseudo_counts: float = PSEUDO_COUNTS) -> dict[str, PassChances]:
    """What finished steps teach, by floor class.

    logged: (floor class, passes) of each finished step on one floor; the class is "hardness|surface|wet or dry|step
    kind", so that step kinds are kept apart. Classes nobody logged are not in the answer: `practice` holds for them.
    Raises: ValueError for a class of another form, and as `learn_passes`.
    """
    by_class: dict[str, list[int]] = {}
    for floor_class, passes in logged:
        if floor_class.count("|") != 3:
            raise ValueError(
                f"`logged` must name floors as hardness|surface|wet or dry|step kind; got {floor_class!r}."
            )
        by_class.setdefault(floor_class, []).append(passes)
    return {
        floor_class: learn_passes(floor_class.rsplit("|", 1)[1], passes, pseudo_counts)
        for floor_class, passes in by_class.items()
    }


def draw_passes(known: PassChances, uniforms: Floats) -> Ints:
    """Passes drawn by these chances, (d,), from uniforms (d,) in [0, 1)."""
    return _place(known.chances, uniforms)


def _place(chances: Floats, uniforms: Floats) -> Ints:
    cumulated = np.cumsum(chances)
    # Rounding may leave the sum a hair under 1: the last number with any chance takes the rest.
    last = int(np.flatnonzero(chances)[-1])
    return np.asarray(np.minimum(np.searchsorted(cumulated, uniforms, side="right"), last) + 1)
