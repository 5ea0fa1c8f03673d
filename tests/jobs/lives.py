"""Lives for tests of the need forecast: a world without chance, and the wear model from used areas alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from inventory.numerics.lognormal import Floats
from inventory.numerics.wear import Ended, FloorFactors, Segments, WearRecord
from inventory.numerics.wear_fit import fit
from jobs.numerics.dice import Key
from jobs.numerics.lives import WearLives
from jobs.numerics.rack import RackSet

USABLE_MM = 12.0


@dataclass(frozen=True)
class ExactLives:
    """Every set of the type lasts exactly so long, and everybody knows it. used: area behind the part-worn sets."""

    life_m2: float
    rated_m2: float
    used: dict[Key, float] = field(default_factory=dict)

    def survival(self, sets: Sequence[Key]) -> tuple[Floats, Floats]:
        left = np.array([self.life_m2 - self.used[key] for key in sets])[:, None]
        area = left * np.array([0.0, 1.0 - 1e-9, 1.0, 2.0])
        return area, np.broadcast_to(np.array([1.0, 1.0, 0.0, 0.0]), area.shape)

    def new_survival(self) -> tuple[Floats, Floats]:
        return ExactLives(self.life_m2, self.rated_m2, {0: 0.0}).survival([0])

    def draw(self, sets: Sequence[Key], world: Floats, theta: Floats, end: Floats) -> Floats:
        left = np.array([self.life_m2 - self.used[key] for key in sets])
        return np.broadcast_to(left[:, None], theta.shape).copy()

    def draw_new(self, world: Floats, theta: Floats, end: Floats) -> Floats:
        return np.full(theta.shape, self.life_m2)

    def floor_noise(self, world: Floats) -> Floats:
        return np.zeros(world.shape)


def exact(life_m2: float, rack: Sequence[RackSet] = (), rated_m2: float | None = None) -> ExactLives:
    """A world without chance, with these sets on the rack."""
    return ExactLives(life_m2, rated_m2 or life_m2, {one.set_id: one.used_m2 for one in rack})


def worn(rated_m2: float, rack: Sequence[RackSet] = (), ended_m2: Sequence[float] = ()) -> WearLives:
    """The wear model's lives: the rack's part-worn sets, each used twelve times so far, and sets that ended worn."""
    here = [one for one in rack if one.used_m2 > 0]
    whole = _record(rated_m2, [*(one.used_m2 for one in here), *ended_m2], len(here))
    factors = FloorFactors.of_shop(whole.classes, [1.0])
    found = fit([whole], factors).per_type[0]
    assert found is not None
    part = _record(rated_m2, [one.used_m2 for one in here], len(here))
    return WearLives(rated_m2, tuple(one.set_id for one in here), part, found, factors)


def _record(rated_m2: float, used: Sequence[float], running: int) -> WearRecord:
    n, area = len(used), np.asarray(used, dtype=np.float64).reshape(-1, 1)
    square = np.zeros((n, 1, 4))
    square[:, :, 0] = np.square(area) / 12
    none = np.full(n, np.nan)
    return WearRecord(
        rated_m2,
        "resin",
        USABLE_MM,
        0.48,
        ("medium|any|wet|later",),
        np.zeros(n),
        np.zeros(n),
        np.ones(n, dtype=np.bool_),
        np.array([Ended.RUNNING] * running + [Ended.WORN] * (n - running), dtype=np.int64),
        Segments(np.arange(n), area, square, none, none, none, none, np.zeros(n, dtype=np.bool_)),
    )
