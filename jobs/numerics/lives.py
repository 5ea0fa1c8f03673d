"""What the forecast asks of a tool type's lives: what the planner believes of each set, and lives in imagined worlds.

Areas are reference areas [m2].
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from inventory.numerics.life import Lives, lives, new_life
from inventory.numerics.lognormal import Floats
from inventory.numerics.wear import FloorFactors, WearRecord
from inventory.numerics.wear_draws import choose_worlds, draw_life_left, draw_new_lives
from inventory.numerics.wear_fit import TypeFit
from jobs.numerics.dice import Key


class LivesOfType(Protocol):
    """A tool type's lives. rated_m2: the rating its rules go by [m2]."""

    @property
    def rated_m2(self) -> float: ...

    def survival(self, sets: Sequence[Key]) -> tuple[Floats, Floats]:
        """Rising areas from 0 and P(left > area) of these sets, each (n, r)."""

    def new_survival(self) -> tuple[Floats, Floats]:
        """The same of one new set, each (1, r)."""

    def draw(self, sets: Sequence[Key], world: Floats, theta: Floats, end: Floats) -> Floats:
        """Area left in these sets, (n, d); world (d,), theta and end (n, d) are uniforms."""

    def draw_new(self, world: Floats, theta: Floats, end: Floats) -> Floats:
        """Life of new sets in the same worlds, (n, d)."""

    def floor_noise(self, world: Floats) -> Floats:
        """Relative noise of one step on one floor in each world, (d,)."""


@dataclass(frozen=True)
class WearLives:
    """Lives by the wear model. record: the part-worn sets of the rack, in the order of `sets`.

    as_fitted: the same sets as they stood when the type was fitted, None: as now.
    """

    rated_m2: float
    sets: tuple[Key, ...]
    record: WearRecord
    fit: TypeFit
    factors: FloorFactors
    as_fitted: WearRecord | None = None

    @cached_property
    def _place(self) -> Mapping[Key, int]:
        return {key: place for place, key in enumerate(self.sets)}

    @cached_property
    def _known(self) -> Lives:
        return lives(self.record, self.fit, self.factors, as_fitted=self.as_fitted)

    @cached_property
    def _new(self) -> Lives:
        return new_life(self.record, self.fit)

    def survival(self, sets: Sequence[Key]) -> tuple[Floats, Floats]:
        """As the protocol says."""
        at = [self._place[key] for key in sets]
        return self._known.area_m2[at], self._known.survival[at]

    def new_survival(self) -> tuple[Floats, Floats]:
        """As the protocol says."""
        return self._new.area_m2, self._new.survival

    def draw(self, sets: Sequence[Key], world: Floats, theta: Floats, end: Floats) -> Floats:
        """As the protocol says. One type's truth is drawn per world and shared by its sets (METHODS 5.1)."""
        whole = np.full((2, self.record.size, world.size), 0.5)
        at = [self._place[key] for key in sets]
        whole[0, at], whole[1, at] = theta, end
        return draw_life_left(self.record, self.fit, self.factors, world, whole[0], whole[1])[at]

    def draw_new(self, world: Floats, theta: Floats, end: Floats) -> Floats:
        """As the protocol says."""
        return draw_new_lives(self.record, self.fit, world, theta, end)

    def floor_noise(self, world: Floats) -> Floats:
        """As the protocol says."""
        return np.asarray(self.fit.tau[choose_worlds(self.fit, world)[0]])
