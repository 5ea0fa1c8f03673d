"""The oracle against the wear model's filter, a plain draw of lives, and its own promise on base shops."""

import numpy as np
import pytest
from scipy.special import log_ndtr

from inventory.numerics.wear import tables
from tests.simulated import oracle, scores
from tests.simulated.records import USABLE_ERROR_MM, along_path, scored_sets, truths, wear_record
from tests.simulated.scenarios import CELLS, shop_seed
from tests.simulated.shops import FLOOR_NOISE, USABLE_MM, simulate
from tests.simulated.trial import SHARES, quantile


@pytest.mark.parametrize("name", ["base", "read40", "guessed", "dressed", "piece4", "open_about"])
def test_the_models_filter_gives_the_oracles_wear_and_likelihood(name):
    shop = simulate(shop_seed(3, 10, 1), CELLS[name], 10)
    for story in shop.types[:3]:
        record = wear_record(story)
        for i in story.running:
            tool = story.sets[i]
            rate, logs, wear, variance = oracle._posterior(tool, story.mean_ln_rate, shop.true_factors, FLOOR_NOISE)
            part = tables(record, shop.true_factors, FLOOR_NOISE, np.log(rate))

            assert part.mean_mm[0, i] == pytest.approx(wear, rel=1e-9, abs=1e-9)
            assert part.variance_mm2[0, i] == pytest.approx(variance, rel=1e-7, abs=1e-12)
            off = part.ll[0, i] - 0.5 * oracle._THETA**2 - logs  # apart by a constant: ln 2 pi is left out there
            assert off == pytest.approx(off[0], abs=1e-6)
            service = log_ndtr((USABLE_MM - wear) / np.sqrt(variance + USABLE_ERROR_MM**2))
            assert part.ll_service[0, i] == pytest.approx(service, rel=1e-6, abs=1e-9)


def test_a_new_sets_survival_is_what_plain_draws_of_lives_give():
    shop = simulate(shop_seed(3, 3, 2), CELLS["base"], 3)
    story = shop.types[0]
    unused = [at for at, i in enumerate(story.running) if not story.sets[i].rows]
    if not unused:
        story.sets[story.running[0]].rows.clear()
        unused = [0]
    knots = np.linspace(0, 3 * story.rated_m2, 60)
    found = oracle.survival(story, shop.true_factors, np.array(unused[:1]), knots)[0]
    rng = np.random.default_rng(2)
    rate = np.exp(rng.normal(story.mean_ln_rate, oracle.SPREAD, 40000))
    usable = rng.normal(USABLE_MM, USABLE_ERROR_MM, 40000)
    use = oracle.usual_use(story, shop.true_factors)
    # Equal uses of the usual size, each with its own floor noise, until the height is gone.
    floors = np.cumsum(1 + FLOOR_NOISE * rng.standard_normal((40000, 60)), axis=1) * use * rate[:, None]
    lives = (floors < usable[:, None]).sum(axis=1) * use

    drawn = np.array([(lives > r).mean() for r in knots])
    # Lives come in whole uses here: compare within one use either way.
    late = np.interp(knots + use, knots, found)
    early = np.interp(np.maximum(knots - use, 0), knots, found)
    assert ((drawn >= late - 0.02) & (drawn <= early + 0.02)).all()


def test_the_oracle_keeps_its_80_percent_range_on_base_shops():
    inside, crps_curve = [], []
    for number in range(12):
        shop = simulate(shop_seed(21, 10, number), CELLS["base"], 10)
        for story in shop.types:
            picked = scored_sets(story, CELLS["base"])
            knots = SHARES * story.rated_m2
            curve = oracle.survival(story, shop.true_factors, picked, knots)
            same = along_path(story, shop.true_factors, picked, np.broadcast_to(knots, curve.shape))
            truth = truths(story, picked)
            inside.append(scores.inside(truth, quantile(same, curve, 0.1), quantile(same, curve, 0.9)))
            crps_curve.append(scores.crps_of_curve(same, curve, truth) / story.rated_m2)

    # 576 sets, s.e. .017; it knows everything but the sets themselves.
    assert np.concatenate(inside).mean() == pytest.approx(0.80, abs=0.05)
    assert 0.05 < np.concatenate(crps_curve).mean() < 0.14


def test_an_impossible_record_still_gives_a_falling_curve():
    shop = simulate(shop_seed(3, 3, 2), CELLS["base"], 3)
    story = shop.types[1]
    tool = story.sets[story.running[0]]
    tool.close(wear_mm=40.0)  # far beyond what can be worn off
    curve = oracle.survival(story, shop.true_factors, np.array([0]), SHARES * story.rated_m2)[0]

    assert np.isfinite(curve).all()
    assert (np.diff(curve) <= 0).all()
