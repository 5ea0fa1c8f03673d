"""The generator itself: what it says is true of a shop must be what it simulated (METHODS 1.6)."""

import numpy as np
import pytest

from inventory.numerics.wear import check_record
from tests.simulated.records import along_path, logged_area, scored_sets, truths, wear_record
from tests.simulated.scenarios import CELLS, shop_seed, variant
from tests.simulated.shops import (
    OWN_FACTORS,
    RATED_M2,
    USABLE_MM,
    WORN,
    clock_from_height,
    height_from_clock,
    simulate,
)


def shop_of(name="base", worn=3, number=0, **changes):
    return simulate(shop_seed(7, worn, number), variant(name, **changes), worn)


def lives_ended(shop):
    """Of all sets worn out from new: logged life, true reference m2, over what rate and height say of it."""
    return np.array(
        [
            tool.area_by_class() @ shop.true_factors * np.exp(tool.ln_rate) / tool.usable_mm
            for story in shop.types
            for tool in story.sets
            if tool.ended == WORN and tool.from_new
        ]
    )


@pytest.mark.parametrize("name", list(CELLS))
def test_every_cell_makes_records_that_the_model_takes(name):
    scenario = CELLS[name]
    for worn in scenario.worn[:2]:
        shop = simulate(shop_seed(7, worn, 3), scenario, worn)
        for story, rated in zip(shop.types, RATED_M2, strict=True):
            record = wear_record(story)
            check_record(record)
            assert record.rated_m2 == rated
            assert (record.ended == WORN).sum() == worn
            assert len(story.futures) == len(story.running) == (8 if scenario.opening else {3: 6, 10: 8, 30: 12}[worn])
            assert all(future.true_m2 > 0 for future in story.futures)


def test_the_same_dice_make_the_same_shop_and_others_another():
    one, again, other = shop_of(), shop_of(), shop_of(number=1)

    assert [f.true_m2 for s in one.types for f in s.futures] == [f.true_m2 for s in again.types for f in s.futures]
    assert one.true_factors.tolist() != other.true_factors.tolist()


def test_a_set_wears_out_when_its_own_rate_says_give_or_take_the_floors():
    found = np.concatenate([lives_ended(shop_of(worn=10, number=k)) for k in range(10)])

    # Noise .25 a use over a life of ten or so uses of unequal size: SD about .1; its mean is near 1.
    assert found.size == 600
    assert found.mean() == pytest.approx(1, abs=0.03)
    assert 0.06 < found.std() < 0.2


def test_under_reported_area_makes_logged_lives_an_eighth_too_short():
    found = np.concatenate([lives_ended(shop_of("unlogged", worn=10, number=k)) for k in range(10)])

    # 5 % of uses not logged, 30 % of the others' area at .6-.95, mean .775: .95 - .30 x .225 = .8825.
    assert found.mean() == pytest.approx(0.8825, abs=0.04)


@pytest.mark.parametrize(("name", "spread"), [("base", 0.25), ("spread", 0.45), ("weibull", np.pi / np.sqrt(6) / 3)])
def test_rates_of_a_type_spread_as_the_cell_says(name, spread):
    off = [
        tool.ln_rate - story.mean_ln_rate
        for k in range(6)
        for story in shop_of(name, worn=10, number=k).types
        for tool in story.sets
    ]

    assert np.std(off) == pytest.approx(spread, rel=0.1)  # SD of ln of a Weibull of shape 3: pi / (3 sqrt 6)
    assert np.mean(off) == pytest.approx(0, abs=0.05)


def test_ratings_are_hopeful_by_what_the_cell_says():
    off = {
        name: np.mean(
            [
                story.mean_ln_rate - np.log(USABLE_MM / story.rated_m2)
                for k in range(30)
                for story in shop_of(name, worn=3, number=k).types
            ]
        )
        for name in ("base", "hopeful")
    }

    assert off["hopeful"] - off["base"] == pytest.approx(0.5, abs=0.06)  # e^.5 = 1.65
    assert off["base"] == pytest.approx(0.15, abs=0.12)


def test_life_left_is_where_the_future_uses_wear_the_set_out():
    for name in ("base", "height"):
        story, scenario = shop_of(name).types[2], CELLS[name]
        for i, future in zip(story.running, story.futures, strict=True):
            tool = story.sets[i]
            left_mm = clock_from_height(tool.usable_mm, scenario) - tool.clock
            # Mean 1 of the floors' noise: over many sets true life left is left height over rate; one set may be off.
            assert future.true_m2 * np.exp(tool.ln_rate) / left_mm == pytest.approx(1, abs=0.75)


def test_wear_that_changes_with_height_runs_at_the_rates_given():
    scenario = CELLS["height"]
    heights = np.array([0.0, 1.0, 1.5, 5.0, 8.5, 11.0])
    clocks = np.array([clock_from_height(h, scenario) for h in heights])

    assert [height_from_clock(c, scenario) for c in clocks] == pytest.approx(heights.tolist())
    assert np.diff(heights) / np.diff(clocks) == pytest.approx([1.6, 1.6, 0.85, 0.85, 1.15])
    assert clock_from_height(7.0, CELLS["base"]) == 7.0


def test_readings_come_as_often_as_the_cell_says_and_miss_by_their_error():
    def rows(name):
        shops = [shop_of(name, worn=10, number=k) for k in range(4)]
        return [row for shop in shops for story in shop.types for tool in story.sets for row in tool.rows]

    assert not any(np.isfinite(row.wear_mm) for row in rows("no_readings"))
    assert np.isfinite([row.wear_mm for row in rows("read40")]).sum() > 2 * np.isfinite(
        [row.wear_mm for row in rows("base")]
    ).sum()  # fmt: skip


def test_a_rack_taken_over_is_half_worn_and_its_slow_sets_are_over_represented():
    shops = [shop_of("open_height", worn=0, number=k) for k in range(30)]
    worn = np.array([tool.clock for shop in shops for story in shop.types for tool in story.sets])
    slow = np.array([t.ln_rate - story.mean_ln_rate for shop in shops for story in shop.types for t in story.sets])

    assert worn.mean() == pytest.approx(6.0, abs=0.2)  # uniform over 12 mm
    assert worn.std() == pytest.approx(12 / np.sqrt(12), rel=0.1)
    assert slow.mean() == pytest.approx(-(0.25**2), abs=0.025)  # length bias: mean mu - sigma^2


def test_what_an_opening_entry_says_is_near_what_is_true():
    seen = {}
    for opening in ("open_height", "open_about", "open_unknown"):
        shops = [shop_of(opening, worn=0, number=k) for k in range(20)]
        tools = [tool for shop in shops for story in shop.types for tool in story.sets]
        seen[opening] = np.array([[tool.start_mm - tool.clock, tool.start_error_mm] for tool in tools])

    for off in seen.values():
        assert np.sqrt(np.mean(off[:, 0] ** 2)) == pytest.approx(off[0, 1], rel=0.2)


def test_guessed_areas_miss_by_what_their_basis_says():
    shops = [shop_of("guessed_half", worn=10, number=k) for k in range(3)]
    exact = [shop_of("base", worn=10, number=k) for k in range(3)]
    squares = sum(row.square_m4 for shop in shops for story in shop.types for t in story.sets for row in t.rows)

    assert (squares.sum(axis=0) > 0).all()  # all four bases occur
    assert squares.sum(axis=0)[3] > squares.sum(axis=0)[2]
    spread = [np.concatenate([lives_ended(shop) for shop in group]).std() for group in (exact, shops)]
    assert spread[1] > spread[0]


def test_only_dressed_or_changed_sets_are_scored_in_their_cells():
    for name, attribute in (("dressed", "dressed"), ("piece4", "changed")):
        for story in shop_of(name, worn=10).types:
            picked = scored_sets(story, CELLS[name])
            assert [i for i, at in enumerate(story.running) if getattr(story.sets[at], attribute)] == picked.tolist()


def test_a_prediction_is_read_along_the_uses_that_came():
    shop = shop_of("factors")
    story = shop.types[0]
    everyone = np.arange(len(story.running))
    r = np.broadcast_to(np.linspace(0, 4 * story.rated_m2, 30), (len(everyone), 30))

    plain = along_path(story, np.ones(6), everyone, r)
    true = along_path(story, shop.true_factors, everyone, r)
    doubled = along_path(story, 2 * shop.true_factors, everyone, 2 * r)

    assert plain == pytest.approx(r)
    assert doubled == pytest.approx(true)  # twice the factor: half the floor
    assert (np.diff(true, axis=1) > 0).all()
    ends = along_path(story, shop.true_factors, everyone, np.array([[f.true_m2] for f in story.futures]))
    assert ends[:, 0] == pytest.approx(truths(story, everyone))  # the truth lies on the path


def test_logged_area_is_the_sum_over_the_sets_stretches():
    story = shop_of().types[1]
    record = wear_record(story)
    by_row = np.bincount(record.segments.set_index, record.segments.area_m2 @ OWN_FACTORS, minlength=record.size)

    assert logged_area(story, OWN_FACTORS) == pytest.approx(by_row)
