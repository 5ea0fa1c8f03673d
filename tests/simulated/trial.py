"""One simulated shop: every rule says how much life is left of each set in service, and is scored by what came."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.simulated import baselines, model, oracle, scores
from tests.simulated.records import along_path, logged_area, scored_sets, truths, wear_record
from tests.simulated.scenarios import Scenario, shop_seed
from tests.simulated.shops import WORN, ShopStory, TypeStory, simulate

Floats = npt.NDArray[np.float64]
Picked = npt.NDArray[np.intp]

POINT_RULES = ("rated", "mean")
CURVE_RULES = ("weibull", "lognormal", "model", "oracle")
RULES = (*POINT_RULES, *CURVE_RULES)
# Knots of the survival curves in shares of the rated life, dense near 0 (METHODS 1.2: about 110 knots, 0...4).
SHARES = 4.0 * np.linspace(0, 1, 111) ** 2


@dataclass(frozen=True)
class ShopScores:
    """Scores of one shop, one row per scored set; areas are worked areas in shares of the rating.

    crps: (rule, sets) by RULES. low, middle, high: (rule, sets) by CURVE_RULES: P10, P50, P90. truth: (sets,). seconds:
    of the factors' fit, the types' fit, the answers, all. one_*, two_*: chances said and whether it happened.
    """

    crps: Floats
    low: Floats
    middle: Floats
    high: Floats
    truth: Floats
    seconds: Floats
    one_said: Floats
    one_was: npt.NDArray[np.bool_]
    two_said: Floats
    two_was: npt.NDArray[np.bool_]
    learnt_ln_factor_error: Floats  # (classes,) ln(learnt / true); the shop's own is the scenario's spread


def quantile(knots: Floats, survival: Floats, share: float) -> Floats:
    """Return the life left that falls short with probability `share`, straight between knots; (n, k) each."""
    return np.array([np.interp(share, 1 - s, r) for r, s in zip(knots, survival, strict=True)])


def _censored(fit: Callable[..., baselines.Weibull | baselines.Lognormal], story: TypeStory, age: Floats,
              picked: Picked, knots: Floats) -> Floats:  # fmt: skip
    """Survival by a censored fit of the type's own lives; without any end there is none: the rating, exponentially."""
    ended = np.array([tool.ended == WORN and tool.from_new for tool in story.sets])
    ages = age[np.array(story.running)[picked]]
    if not (ended & (age > 0)).any():
        return np.asarray(np.exp(-np.broadcast_to(knots / story.rated_m2, (len(picked), len(knots)))))
    return fit(age, ended).left_survival(ages, np.broadcast_to(knots, (len(picked), len(knots))))


@dataclass
class _Rows:
    crps: list[Floats]
    low: list[Floats]
    middle: list[Floats]
    high: list[Floats]
    truth: list[Floats]


def _score_type(story: TypeStory, shop: ShopStory, picked: Picked, answers: model.Answers, rows: _Rows) -> None:
    """Score every rule on one tool type."""
    own, true = shop.own_factors, shop.true_factors
    truth = truths(story, picked)
    age = logged_area(story, own)
    ages = age[np.array(story.running)[picked]]
    lives = age[[i for i, tool in enumerate(story.sets) if tool.ended == WORN and tool.from_new]]
    points = [
        baselines.rated_less_area(story.rated_m2, ages),
        baselines.mean_less_area(lives, ages, story.rated_m2),
    ]
    crps = [np.abs(along_path(story, own, picked, p[:, None])[:, 0] - truth) for p in points]
    knots = SHARES * story.rated_m2
    same = np.broadcast_to(knots, (len(picked), len(knots)))
    curves = [
        (own, same, _censored(baselines.fit_weibull, story, age, picked, knots)),
        (own, same, _censored(baselines.fit_lognormal, story, age, picked, knots)),
        (answers.factors, answers.knots, answers.survival),
        (true, same, oracle.survival(story, true, picked, knots)),
    ]
    low, middle, high = [], [], []
    for factors, r, survival in curves:
        path = along_path(story, factors, picked, r)
        crps.append(scores.crps_of_curve(path, survival, truth))
        low.append(quantile(path, survival, 0.1))
        middle.append(quantile(path, survival, 0.5))
        high.append(quantile(path, survival, 0.9))
    rated = story.rated_m2
    for column, values in zip((rows.crps, rows.low, rows.middle, rows.high), (crps, low, middle, high), strict=True):
        column.append(np.stack(values) / rated)
    rows.truth.append(truth / rated)


def run_shop(scenario: Scenario, worn: int, seed: int, number: int, *, learn_factors: bool = True) -> ShopScores | None:
    """Make shop `number` of a cell and score all rules on it; None when it has no set to score."""
    shop = simulate(shop_seed(seed, worn, number), scenario, worn)
    records = [wear_record(story) for story in shop.types]
    begun = time.perf_counter()
    fitted = model.Fitted.of(records, shop.own_factors, learn_factors=learn_factors)
    rows = _Rows([], [], [], [], [])
    dice = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(worn, number, 1)))
    chances: list[list[tuple[float, bool]]] = [[], []]
    answering = 0.0
    for at, story in enumerate(shop.types):
        picked = scored_sets(story, scenario)
        if not len(picked):
            continue
        start = time.perf_counter()
        lives = fitted.lives(at)
        answers = fitted.answers(lives, np.array(story.running)[picked])
        answering += time.perf_counter() - start
        _score_type(story, shop, picked, answers, rows)
        if scenario.chances:
            for mine, found in zip(chances, model.chances(fitted, at, lives, shop, scenario, dice), strict=True):
                mine.extend(found)
    if not rows.truth:
        return None
    crps, low, middle, high = (np.concatenate(part, axis=1) for part in (rows.crps, rows.low, rows.middle, rows.high))
    one, two = ((np.array([c[0] for c in part]), np.array([c[1] for c in part], dtype=bool)) for part in chances)
    return ShopScores(
        crps,
        low,
        middle,
        high,
        truth=np.concatenate(rows.truth),
        seconds=np.array([fitted.factor_seconds, fitted.fit_seconds, answering, time.perf_counter() - begun]),
        one_said=one[0],
        one_was=one[1],
        two_said=two[0],
        two_was=two[1],
        learnt_ln_factor_error=np.log(fitted.factors.factor / shop.true_factors),
    )
