"""The wear model as the app uses it, asked about one simulated shop: factors once, all types, then each set."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inventory.numerics import life as answers_of
from inventory.numerics.wear import FloorFactors, WearRecord
from inventory.numerics.wear_factors import fit_factors
from inventory.numerics.wear_fit import WearFit, WearOptions, fit
from tests.simulated.scenarios import Scenario
from tests.simulated.shops import CLASSES, FIRST_CUT, ShopStory, TypeStory, clock_from_height

Floats = npt.NDArray[np.float64]
Chances = list[tuple[float, bool]]
REFERENCE_CLASS = CLASSES[0]
STEPS = 3  # steps tried per tool type, of one set and of two


@dataclass(frozen=True)
class Answers:
    """Survival of some sets on knots of reference area by the learnt factors; knots, survival: (n, k)."""

    factors: Floats
    knots: Floats
    survival: Floats


@dataclass(frozen=True)
class Fitted:
    """Everything learnt from one shop's record."""

    records: Sequence[WearRecord]
    factors: FloorFactors
    fit: WearFit
    factor_seconds: float
    fit_seconds: float

    @classmethod
    def of(
        cls,
        records: Sequence[WearRecord],
        own: Floats,
        *,
        learn_factors: bool = True,
        options: WearOptions | None = None,
    ) -> Fitted:
        """Learn factors (unless told not to), then all types."""
        start = time.perf_counter()
        factors = FloorFactors.of_shop(CLASSES, own)
        if learn_factors:
            factors = fit_factors(records, own, REFERENCE_CLASS)
        middle = time.perf_counter()
        fitted = fit(records, factors, options=options)
        return cls(records, factors, fitted, middle - start, time.perf_counter() - middle)

    def lives(self, at: int) -> answers_of.Lives:
        """Life left of all sets of type `at`."""
        type_fit = self.fit.per_type[at]
        assert type_fit is not None
        return answers_of.lives(self.records[at], type_fit, self.factors)

    def answers(self, lives: answers_of.Lives, sets: npt.NDArray[np.intp]) -> Answers:
        """Survival of some sets."""
        return Answers(self.factors.factor, lives.area_m2[sets], lives.survival[sets])


def chances(
    fitted: Fitted, at: int, lives: answers_of.Lives, shop: ShopStory, scenario: Scenario, rng: np.random.Generator
) -> tuple[Chances, Chances]:
    """Say chances of finishing some steps with one set and with two, with whether they then did.

    Steps are as large as what the sets hold, so that the chances spread over 0...1. One step is on one floor: its noise
    hits both sets of a pair alike.
    """
    story = shop.types[at]
    if len(story.running) < 2:
        return [], []
    ones: Chances = []
    twos: Chances = []
    for k in range(2 * STEPS):
        i, j = (story.running[x] for x in rng.choice(len(story.running), 2, replace=False))
        kind = int(rng.integers(3)) + 3 * int(rng.random() < FIRST_CUT[at])
        noise = float(np.exp(rng.normal(-(0.25**2) / 2, 0.25)))
        share = rng.uniform(0.2, 1.1)
        held = lives.likely_m2[i] + (lives.likely_m2[j] if k >= STEPS else 0.0)
        area = share * held / fitted.factors.factor[kind]  # worked area of the step
        asked = float(area * fitted.factors.factor[kind])
        true = float(area * shop.true_factors[kind] * noise)
        if k < STEPS:
            said = float(answers_of.chance_to_finish(lives, asked)[i])
            ones.append((said, _holds(story, i, scenario) >= true))
        else:
            said = answers_of.chance_two_finish(lives, i, j, asked)
            twos.append((said, _holds(story, i, scenario) + _holds(story, j, scenario) >= true))
    return ones, twos


def _holds(story: TypeStory, i: int, scenario: Scenario) -> float:
    """What a set truly still holds on floors without noise, reference m2."""
    tool = story.sets[i]
    return (clock_from_height(tool.usable_mm, scenario) - tool.clock) / (float(np.exp(tool.ln_rate)) * tool.load)
