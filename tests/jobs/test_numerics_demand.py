"""Need for fresh sets: special cases by hand, Poisson need, a slow naive version, and what must follow from what."""

import math
from dataclasses import replace
from uuid import UUID

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from jobs.numerics import demand
from jobs.numerics.demand import simulate_need
from jobs.numerics.dice import Purpose, uniforms
from jobs.numerics.rack import Horizon, PlannedStep, RackSet, TypeOnRack, horizon_days, week_of
from tests.jobs.lives import exact, worn

HORIZON = Horizon([day * 5 // 7 for day in range(182)])


def _step(number: int, day: int, area_m2: float, **more) -> PlannedStep:
    return PlannedStep(number, number, 1, day, area_m2, area_error=0.0, confirmed=True, **more)


def _openings(need):
    """Days of the openings in the first world."""
    return [int(day) for day in need.open_day[:, 0] if np.isfinite(day)]


def test_without_chance_the_openings_are_those_counted_by_hand():
    kind = TypeOnRack(1, exact(1000.0), turn_days=1)
    steps = [_step(1, 3, 400), _step(2, 10, 500), _step(3, 17, 650), _step(4, 24, 2400)]

    need = simulate_need(kind, [], steps, HORIZON, 0, 3)

    # Day 3 opens one (left 600); day 10 takes it (left 100: a leftover); day 17 wears that out and opens another (left
    # 450: a leftover); day 24 wears that out, 1,950 to go: two more.
    assert _openings(need) == [3, 17, 24, 24]
    assert need.open_job[:4, 0].tolist() == [0, 2, 3, 3]
    assert need.jobs == (1, 2, 3, 4)


def test_sets_busy_on_one_job_cannot_serve_another_the_same_day():
    kind = TypeOnRack(1, exact(1000.0), turn_days=3)

    assert _openings(simulate_need(kind, [], [_step(1, 5, 100), _step(2, 7, 100)], HORIZON, 0, 1)) == [5, 7]
    assert _openings(simulate_need(kind, [], [_step(1, 5, 100), _step(2, 8, 100)], HORIZON, 0, 1)) == [5]


def test_the_smallest_set_that_surely_finishes_is_taken():
    rack = [RackSet(1, 1, used_m2=100.0), RackSet(2, 1, used_m2=400.0)]
    kind = TypeOnRack(1, exact(1000.0, rack), turn_days=1)

    # The set with 600 left does the 550, so that the one with 900 is there for the large step.
    assert _openings(simulate_need(kind, rack, [_step(1, 1, 550), _step(2, 9, 880)], HORIZON, 0, 1)) == []


def test_a_step_too_large_for_any_set_takes_the_richest_part_worn_ones_first():
    rack = [RackSet(1, 1, 400.0), RackSet(2, 1, 400.0)]
    kind = TypeOnRack(1, exact(1000.0, rack))

    # 600 + 600 of what is there, 900 of a fresh one; fresh ones first would have opened two.
    assert _openings(simulate_need(kind, rack, [_step(1, 1, 2100)], HORIZON, 0, 1)) == [1]


def test_a_set_that_is_all_but_gone_is_not_sent_out_again():
    steps = [_step(1, 1, 580), _step(2, 9, 1010)]

    def opened(used_m2, steps):
        rack = [RackSet(1, 1, used_m2)]
        return _openings(simulate_need(TypeOnRack(1, exact(1000.0, rack)), rack, steps, HORIZON, 0, 1))

    # The first step leaves 20 in the set, not worth carrying (under 5 % of a life here): two fresh ones for the second.
    assert opened(400.0, steps) == [9, 9]
    assert opened(980.0, steps[1:]) == [9, 9]


def test_a_set_still_out_is_not_counted_on():
    def opened(ready_day):
        rack = [RackSet(1, 1, 100.0, ready_day=ready_day)]
        kind = TypeOnRack(1, exact(1000.0, rack))
        return _openings(simulate_need(kind, rack, [_step(1, 5, 300)], HORIZON, 0, 1))

    assert opened(6) == [5]
    assert opened(5) == []


def test_one_fresh_set_per_step_gives_poisson_need():
    # METHODS 5.2: one new set per step, Poisson arrivals -> Poisson quantiles. 250 bids of 2 % are nearly Poisson(5),
    # whose quantiles .90/.95/.99 are 8, 9, 11 (REFERENCES I23, scipy).
    kind = TypeOnRack(1, exact(1000.0), turn_days=400)
    steps = [_step(k, k % 100, 50, award_chance=0.02) for k in range(250)]

    need = simulate_need(kind, [], steps, HORIZON, 3, 8000)

    opened = np.isfinite(need.open_day).sum(axis=0)
    assert opened.mean() == pytest.approx(5.0, abs=0.08)
    assert opened.var() == pytest.approx(4.9, abs=0.25)
    assert np.quantile(opened, [0.90, 0.95, 0.99], method="inverted_cdf").tolist() == [8, 9, 11]
    assert stats.poisson.ppf([0.90, 0.95, 0.99], 5).tolist() == [8, 9, 11]


def test_wanted_area_is_weighed_by_award_chance():
    kind = TypeOnRack(1, worn(5000))
    steps = [
        PlannedStep(1, 1, 1, 3, 800.0, award_chance=1.0, confirmed=True),
        PlannedStep(2, 2, 1, 3, 1000.0, award_chance=0.3, confirmed=True),
        PlannedStep(3, 3, 1, 9, 500.0, award_chance=0.0, confirmed=True),
    ]

    need = simulate_need(kind, [], steps, HORIZON, 5, 4000)

    assert need.area_m2[0].mean() == pytest.approx(800 + 0.3 * 1000, rel=0.03)
    assert need.area_m2[1:].sum() == 0


def test_an_unconfirmed_start_slips_by_a_few_days_and_never_before_today():
    slipping = [PlannedStep(1, 1, 1, 20, 100.0), PlannedStep(1, 2, 1, 1, 100.0)]

    days = demand._work(slipping, HORIZON, 4, 5000)[1]

    # Mean of a normal (3, 7) cut at -3, by hand: -3 + 6 Phi(6/7) + 7 phi(6/7) = 0.76 more than 3.
    cut_normal = 6 * stats.norm.cdf(6 / 7) + 7 * stats.norm.pdf(6 / 7)
    assert days[0].mean() == pytest.approx(20 - 3 + cut_normal, abs=0.3)
    assert days[0].min() == 17
    assert days[1].min() == 0
    # Both steps are of one job: they move together.
    assert (days[0] - 20)[days[1] > 0].tolist() == (days[1] - 1)[days[1] > 0].tolist()


def test_weeks_are_calendar_weeks():
    horizon = Horizon(list(range(60)), weeks=3, first_week_days=3)  # a Friday

    assert horizon.days == horizon_days(3, 3) == 16
    assert week_of(np.array([0.0, 2, 3, 9, 10, 16]), horizon).tolist() == [0, 0, 1, 1, 2, 2]


def _naive(kind, worn, lives, news, tables, steps, days, areas, world):
    """One world at a time, plain Python, the rule of DESIGN 4 written out as one reads it."""
    rated = kind.lives.rated_m2

    def belief(table, row, used):
        return float(np.interp(used, tables.step_m2 * np.arange(65), table[row]))

    sets = [
        {"row": k + 1, "left": lives[k, world], "used": 0.0, "ready": float(s.ready_day)} for k, s in enumerate(worn)
    ]
    sets = [s for s in sets if belief(tables.likely, s["row"], 0.0) >= 60]
    openings: list[float] = []
    for k in sorted(range(len(steps)), key=lambda k: days[k, world]):
        day, rest = days[k, world], areas[k, world]
        if not math.isfinite(day):
            continue
        ratio = steps[k].area_m2 / rest
        while True:
            planned = rest * ratio
            ready = [s for s in sets if s["ready"] <= day and s["left"] > 0]
            sure = {id(s): belief(tables.sure, s["row"], s["used"]) for s in ready}
            leftovers = [s for s in ready if belief(tables.likely, s["row"], s["used"]) < rated / 2]
            finishing = [s for s in ready if sure[id(s)] >= planned]
            if leftovers:
                taken = min(leftovers, key=lambda s: sure[id(s)])
            elif finishing:
                taken = min(finishing, key=lambda s: sure[id(s)])
            elif ready and planned > tables.sure[0, 0]:
                taken = max(ready, key=lambda s: sure[id(s)])
            else:
                taken = {"row": 0, "left": news[len(openings), world], "used": 0.0, "ready": day}
                sets.append(taken)
                openings.append(day)
            worked = min(rest, taken["left"])
            taken["left"] -= worked
            taken["used"] += worked
            taken["ready"] = day + kind.turn_days
            rest -= worked
            if belief(tables.likely, taken["row"], taken["used"]) < 60 or rest > 0:
                sets.remove(taken)
            if rest <= 0:
                break
    return openings


def test_handing_out_sets_agrees_with_a_slow_naive_version():
    rng = np.random.default_rng(12)
    rack = [RackSet(1, 1, 1500.0), RackSet(2, 1, 2500.0), RackSet(3, 1, 800.0, ready_day=9)]
    kind = TypeOnRack(1, worn(3000, rack, [2900.0]))
    steps = [
        PlannedStep(k, k, 1, int(rng.integers(0, 120)), float(rng.lognormal(6.3, 0.8)), award_chance=0.7)
        for k in range(25)
    ]
    steps.sort(key=lambda step: (step.day, step.job_id))
    draws, seed = 120, 21
    world = uniforms(seed, Purpose.TOOL_TYPE, 1, 1, draws)[0]
    lives = demand._lives_of(kind, rack, world, seed, draws)
    news = demand._new_lives(kind, range(40), world, seed, draws)
    _, days, areas = demand._work(steps, HORIZON, seed, draws)
    areas = areas * demand._floor_noise(kind, steps, world, seed)
    tables = demand._planners_tables(kind, rack)

    need = simulate_need(kind, rack, steps, HORIZON, seed, draws)

    for w in range(draws):
        ours = need.open_day[:, w][np.isfinite(need.open_day[:, w])].tolist()
        assert ours == _naive(kind, rack, lives, news, tables, steps, days, areas, w)


RACK = [RackSet(1, 1, 1000.0), RackSet(2, 1, 2000.0)]
KIND = TypeOnRack(1, worn(3000, RACK))
STEPS = [PlannedStep(k, 10 + k, 1, 5 * k, 700.0, award_chance=0.8) for k in range(12)]


@settings(max_examples=15, deadline=None)
@given(used=st.floats(1, 3500), seed=st.integers(0, 10_000))
def test_mean_need_falls_when_a_set_is_added(used, seed):
    more = [*RACK, RackSet(3, 1, used)]
    kind = TypeOnRack(1, worn(3000, more))

    before = np.isfinite(simulate_need(kind, RACK, STEPS, HORIZON, seed, 400).open_day).sum() / 400
    after = np.isfinite(simulate_need(kind, more, STEPS, HORIZON, seed, 400).open_day).sum() / 400

    # Same dice; a set with next to nothing left may shift who works when, but costs no more than a hair.
    assert after <= before + 0.03


def test_the_same_input_gives_the_same_answer_in_any_order():
    rack = [RackSet(UUID(int=7), 1, 1000.0), RackSet(UUID(int=3), 1, 2000.0)]

    one = simulate_need(TypeOnRack(1, worn(3000, rack)), rack, STEPS, HORIZON, 9, 300)
    two = simulate_need(TypeOnRack(1, worn(3000, rack)), rack[::-1], STEPS[::-1], HORIZON, 9, 300)

    assert np.array_equal(one.open_day, two.open_day)
    assert np.array_equal(one.open_job, two.open_job)
    assert np.array_equal(one.life_here_m2, two.life_here_m2)
    assert one.jobs == two.jobs


def test_another_seed_gives_another_answer_close_by():
    one = simulate_need(KIND, [], STEPS, HORIZON, 9, 2000)
    two = simulate_need(KIND, [], STEPS, HORIZON, 10, 2000)

    assert not np.array_equal(one.open_day, two.open_day)
    assert np.isfinite(one.open_day).sum() == pytest.approx(np.isfinite(two.open_day).sum(), rel=0.02)


def test_the_planners_tables_agree_with_the_chance_to_live_on():
    tables = demand._planners_tables(KIND, RACK)

    # After x more use a set is sure of the area it finishes with 90 %, having done x: S(x + a) / S(x).
    for row, key in ((1, 1), (2, 2)):
        (area,), (survival,) = KIND.lives.survival([key])
        for knot in (0, 4, 12):
            more = knot * tables.step_m2
            reach = [more, more + tables.sure[row, knot], more + tables.likely[row, knot]]
            now, sure, likely = np.interp(reach, area, survival)
            assert sure / now == pytest.approx(0.9, abs=0.01)
            assert likely / now == pytest.approx(0.5, abs=0.01)


def test_a_floor_that_wears_more_meets_every_set_alike_and_on_average_nothing_changes():
    world = uniforms(3, Purpose.TOOL_TYPE, 1, 1, 20_000)[0]

    noise = demand._floor_noise(KIND, STEPS[:3], world, 3)

    assert noise.mean(axis=1) == pytest.approx(np.ones(3), abs=0.02)
    tau = KIND.lives.floor_noise(world)
    assert set(np.unique(tau)) <= set(KIND.lives.fit.tau)
    # Lognormal with SD tau of ln, by hand: variance exp(tau^2) - 1, averaged over the worlds' tau.
    assert noise.var() == pytest.approx(np.expm1(np.square(tau)).mean(), rel=0.1)


def test_taking_a_job_away_leaves_the_dice_of_the_others():
    with_it = simulate_need(KIND, [], STEPS, HORIZON, 9, 200)
    without = simulate_need(KIND, [], STEPS[1:], HORIZON, 9, 200)
    only = simulate_need(KIND, [], STEPS[:1], HORIZON, 9, 200)

    assert with_it.area_m2 - only.area_m2 == pytest.approx(without.area_m2)


def test_life_here_adds_up_fresh_and_part_worn_sets():
    rack = [RackSet(1, 1), RackSet(2, 1), RackSet(3, 1, 300.0)]
    kind = TypeOnRack(1, exact(1000.0, rack))

    need = simulate_need(kind, rack, [], HORIZON, 0, 5)

    assert need.life_here_m2 == pytest.approx(np.full(5, 2700.0))
    assert need.fresh == 2
    assert need.area_m2.sum() == 0
    assert not np.isfinite(need.open_day).any()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"draws": 0}, "`draws` must be 1 or more; got 0"),
        ({"steps": [_step(1, 1, -5.0)]}, "`area_m2` of step 1 must be above 0, up to 200000; got -5"),
        ({"steps": [_step(1, 1, math.nan)]}, "`area_m2` of step 1 must be above 0"),
        ({"steps": [_step(1, 1, 1e9)]}, "`area_m2` of step 1 must be above 0, up to 200000"),
        ({"steps": [_step(1, 1, 5.0, award_chance=1.2)]}, "`award_chance` of step 1 must lie between 0 and 1; got 1.2"),
        ({"steps": [replace(_step(1, 1, 5.0), area_error=-1)]}, "`area_error` of step 1 must lie between 0 and 2"),
        ({"sets": [RackSet(1, 2)]}, "`type_id` must be 1 for all sets and steps; got 2"),
        ({"sets": [RackSet(1, 1, used_m2=-3.0)]}, "`used_m2` must be 0 or more; got -3"),
        ({"horizon": Horizon([0, 1, 2])}, "`working_days` must reach day 181; got 2"),
        ({"horizon": Horizon([0] * 200, weeks=0)}, "`horizon` must have 1 or more weeks"),
        ({"horizon": Horizon([3, *range(199)])}, "`working_days` must not fall"),
        ({"kind": TypeOnRack(1, exact(1000.0), pack=0)}, "`pack` and `minimum` 1 or more"),
        ({"seed": -1}, "expected non-negative integer"),
    ],
)
def test_what_cannot_be_is_refused_by_name(change, words):
    arguments = {"kind": TypeOnRack(1, exact(1000.0)), "sets": [], "steps": [], "horizon": HORIZON}
    arguments |= {"seed": 0, "draws": 10}

    with pytest.raises(ValueError, match=words):
        simulate_need(**(arguments | change))
