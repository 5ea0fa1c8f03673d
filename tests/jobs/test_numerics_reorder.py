"""What to order by when: published newsvendor levels, cases by hand, and what must follow from what."""

import math
from dataclasses import replace
from datetime import date
from uuid import UUID

import numpy as np
import pytest
from scipy import stats

from inventory import calendar
from inventory.numerics.lead_time import LeadTime, fit_lead_time
from inventory.numerics.lognormal import Belief
from jobs.numerics.rack import Horizon, PlannedStep, RackSet, TypeOnRack
from jobs.numerics.reorder import _latest, forecast_need, smallest_level
from tests.jobs.lives import exact, worn

# Monday 2 March 2026, a week of five days, no closed days.
SHOP = calendar.ShopCalendar("UTC", dict.fromkeys(range(5), ((calendar.time(7), calendar.time(17)),)))
TODAY = date(2026, 3, 2)
HORIZON = Horizon(calendar.working_days_ahead(SHOP, TODAY, 181))


def _sharp(value: float) -> Belief:
    return Belief(np.array([math.log(value)]), np.array([1e-9]), np.array([1.0]))


def _exact_type(life_m2: float = 1000.0, lead_days: float | None = 9.5, **more) -> TypeOnRack:
    """Sets that last exactly so long, orders that take exactly ten working days."""
    lead = None if lead_days is None else LeadTime(_sharp(lead_days), 0, 0)
    return TypeOnRack(1, exact(life_m2), lead, **more)


def _sure_step(number: int, day: int, area_m2: float = 900.0, **more) -> PlannedStep:
    return PlannedStep(number, number, 1, day, area_m2, area_error=0.0, confirmed=True, **more)


def _one(kind, sets, steps, certainty=0.95, seed=1, draws=200, horizon=HORIZON):
    (answer,) = forecast_need([kind], sets, steps, horizon, certainty, seed, draws=draws)
    return answer


# --- levels ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("mean", "levels"), [(2, [4, 5, 6]), (3, [5, 6, 8]), (5, [8, 9, 11])])
def test_the_level_for_poisson_need_is_the_published_quantile(mean, levels):
    need = np.random.default_rng(1).poisson(mean, 200_000)  # REFERENCES I23, scipy

    assert [smallest_level(need, certainty) for certainty in (0.90, 0.95, 0.99)] == levels


def test_the_level_is_the_newsvendors():
    newsvendor = pytest.importorskip("stockpyl.newsvendor")
    even = (np.arange(100_000) + 0.5) / 100_000

    # Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed., as stockpyl packs it (REFERENCES I7, I8, I11, I12).
    for holding, missing, mean, sd, known in (
        (2, 18, 120, 10, 132.815515655446),
        (0.18, 0.70, 50, 8, 56.60395592743389),
        (0.18, 0.70, 250, 8 * math.sqrt(5), 264.76689437415484),
    ):
        level = newsvendor.newsvendor_normal(holding, missing, mean, sd)[0]
        need = stats.norm.ppf(even, mean, sd)
        assert level == pytest.approx(known)
        assert smallest_level(need, missing / (holding + missing)) == math.ceil(known)
        assert np.quantile(need, missing / (holding + missing)) == pytest.approx(known, abs=1e-3)
    assert smallest_level(np.random.default_rng(2).poisson(18, 200_000), 270 / 470) == 19


def test_the_level_for_a_printed_distribution_is_the_books():
    # REFERENCES I13 (Snyder & Shen problem 4.7b): h 0.5M, p 1M -> S 5.
    need = np.repeat(np.arange(1, 9), [25, 5, 10, 20, 15, 10, 10, 5])

    assert smallest_level(need, 1 / 1.5) == 5


def test_a_level_on_the_very_share_needs_no_set_more():
    assert smallest_level(np.array([0] * 95 + [1] * 5), 0.95) == 0
    assert smallest_level(np.array([0] * 94 + [1] * 6), 0.95) == 1


def test_the_last_safe_day_has_no_more_than_the_share_before_it():
    assert _latest(np.arange(100.0), 0.95) == 5.0
    assert _latest(np.arange(100.0)[::-1], 0.9) == 10.0
    assert _latest(np.array([3.0, np.inf]), 0.6) == 3.0
    assert _latest(np.array([3.0, np.inf]), 0.5) == math.inf


# --- by hand --------------------------------------------------------------------------------------------------------


def test_without_chance_the_order_is_due_ten_working_days_before_the_set_is_needed():
    answer = _one(_exact_type(), [], [_sure_step(1, 60), _sure_step(2, 70)])

    # Day 60 is Friday 1 May, working day 44 from today; ten earlier is Friday 17 April.
    assert calendar.add_working_days(SHOP, TODAY, 44) == date(2026, 5, 1)
    assert answer.short_day == answer.likely_short_day == 60
    assert answer.short_chance == 1.0
    assert answer.order_by_working_days == 34
    assert calendar.add_working_days(SHOP, TODAY, 34) == date(2026, 4, 17)
    assert not answer.order_now
    # It lasts over review and cover, 7 + 28 days from 1 May on: both jobs.
    assert answer.order_sets == 2
    assert answer.sure == 1.0
    assert (answer.fresh, answer.on_order) == (0, 0)
    assert [(d.job_id, d.weight, d.sets) for d in answer.drivers] == [(1, 1.0, 1.0), (2, 1.0, 1.0)]
    assert answer.need_sets.likely[8] == 1
    assert answer.need_sets_so_far.likely[[7, 8, 9, 10, 25]].tolist() == [0, 1, 1, 2, 2]
    assert answer.need_area_m2.mean.sum() == pytest.approx(1800)
    assert answer.short_chance_by_week[[7, 8]].tolist() == [0.0, 1.0]


def test_fresh_sets_and_sets_on_order_put_the_order_off():
    steps = [_sure_step(k, 30 * k) for k in range(1, 6)]

    none = _one(_exact_type(), [], steps)
    one_here = _one(_exact_type(), [RackSet(1, 1)], steps)
    one_here_one_coming = _one(_exact_type(arrival_days=(20,)), [RackSet(1, 1)], steps)

    assert [a.short_day for a in (none, one_here, one_here_one_coming)] == [30, 60, 90]
    assert none.order_by_working_days < one_here.order_by_working_days < one_here_one_coming.order_by_working_days
    assert (one_here_one_coming.fresh, one_here_one_coming.on_order) == (1, 1)


def test_a_set_on_order_that_comes_too_late_is_a_shortage():
    answer = _one(_exact_type(arrival_days=(50,)), [], [_sure_step(1, 30)])

    assert answer.short_day == 30
    assert answer.order_by_working_days is None
    # Expected on the very day it is wanted: counted on.
    assert _one(_exact_type(arrival_days=(30,)), [], [_sure_step(1, 30)]).short_day is None


def test_an_order_that_should_have_been_placed_says_by_how_much_and_what_it_still_averts():
    # Planned for Thursday 12 March, working day 8: an order of today is here on Monday 16 March, day 14. The start
    # slips by 3 (SD 7) days, so on or after day 14 with a chance of 1 - Phi((3.5 - 3) / 7) = 0.47 (by hand).
    step = PlannedStep(1, 1, 1, 10, 900.0, area_error=0.0)
    answer = _one(_exact_type(), [], [step], draws=2000)

    # The least start, day 7 = working day 5, less ten.
    assert answer.order_by_working_days == 5 - 10
    assert answer.order_now
    assert answer.order_sets == 1
    assert answer.sure == 1.0
    assert answer.early_chance == pytest.approx(1 - 0.47, abs=0.03)
    assert answer.short_chance_by_week[-1] == 1.0


def test_a_need_that_ends_before_an_order_is_here_orders_nothing_and_is_said():
    # Ten working days from Monday 2 March: the order is here on Monday 16 March, day 14.
    steps = [_sure_step(1, 7), _sure_step(2, 13, award_chance=0.5)]
    answer = _one(_exact_type(), [], steps, draws=2000)

    assert (answer.order_by_working_days, answer.order_sets, answer.order_now) == (None, 0, False)
    assert (answer.early_day, answer.early_chance, answer.sure) == (7, 1.0, 1.0)
    assert [d.job_id for d in answer.early_drivers] == [1, 2]
    assert answer.early_drivers[1].weight == pytest.approx(0.5, abs=0.05)
    # On the very day it is here it helps.
    on_the_day = _one(_exact_type(), [], [_sure_step(1, 14)])
    assert (on_the_day.order_by_working_days, on_the_day.order_sets, on_the_day.early_chance) == (0, 1, 0.0)


def test_what_an_order_cannot_reach_does_not_raise_what_is_ordered_for_later():
    early, later = [_sure_step(1, 3), _sure_step(2, 4)], [_sure_step(3, 60)]

    both, alone = _one(_exact_type(), [], early + later), _one(_exact_type(), [], later)

    assert (both.order_by_working_days, both.order_sets, both.sure) == (34, 1, 1.0)
    assert (alone.order_by_working_days, alone.order_sets, alone.sure) == (34, 1, 1.0)
    assert (both.early_day, both.early_chance, alone.early_chance) == (3, 1.0, 0.0)


def test_a_shortage_as_rare_as_the_certainty_leaves_open_is_not_early():
    rare = _one(_exact_type(), [], [_sure_step(1, 3, award_chance=0.03)], draws=2000)

    assert rare.early_day is None
    assert 0 < rare.early_chance < 0.05


def test_a_set_borrowed_for_early_work_leaves_the_one_on_order_for_later_work():
    steps = [_sure_step(1, 5), _sure_step(2, 60)]
    answer = _one(_exact_type(arrival_days=(20,)), [], steps)

    assert (answer.early_day, answer.order_by_working_days, answer.order_sets, answer.sure) == (5, None, 0, 1.0)


def _busy_shop(seed: int, sets: int) -> tuple[TypeOnRack, list[RackSet], list[PlannedStep]]:
    """A supplier of about ten days, sets that last as they may, a job every few days from tomorrow on."""
    dice = np.random.default_rng(seed)
    steps = [
        PlannedStep(10 * k, 10 * k, 1, int(day), float(dice.uniform(300, 1500)), confirmed=bool(dice.random() < 0.5))
        for k, day in enumerate(dice.integers(1, 150, 30))
    ]
    kind = TypeOnRack(1, worn(2000.0), fit_lead_time(10.0, [9.0, 12.0, 14.0]))
    return kind, [RackSet(1000 + k, 1) for k in range(sets)], steps


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("sets", [0, 3])
def test_what_was_advised_and_ordered_is_not_advised_again(seed, sets):
    kind, rack, steps = _busy_shop(seed, sets)
    first = _one(kind, rack, steps, draws=1000)
    assert first.order_sets

    after = _one(replace(kind, waited_days=(0,) * first.order_sets), rack, steps, draws=1000)

    # Not before the next review, a week, has passed.
    assert after.order_by_working_days is None or after.order_by_working_days > 5
    # And what must come at once, asked for, is not asked for again.
    rushed = _one(replace(kind, waited_days=(0,) * (first.order_sets + first.rush_sets)), rack, steps, draws=1000)
    assert rushed.rush_sets == 0
    assert sets or first.rush_sets > 0


def test_a_set_on_order_comes_by_the_lead_time_and_the_longer_waited_for_the_later():
    kind = replace(_exact_type(), lead=fit_lead_time(10.0))
    steps = [_sure_step(1, 16)]  # Wednesday 18 March, working day 12

    fresh_order, old_order = (
        _one(replace(kind, waited_days=(age,)), [], steps, draws=2000).short_chance_by_week[-1] for age in (0, 6)
    )

    # 10 days said are believed to be 11, give or take 42 % (0.30 of the word and 0.30 between orders): after day 12
    # with a chance of about 1 - Phi(ln(12 / 11.05) / 0.42) = 0.42 (by hand).
    assert fresh_order == pytest.approx(0.42, abs=0.06)
    assert old_order < fresh_order
    with pytest.raises(ValueError, match="waited_days"):
        _one(replace(kind, lead=None, waited_days=(0,)), [], steps)


def test_what_is_to_be_ordered_within_the_week_is_ordered_today_while_sets_are_missing():
    # Tomorrow's job nothing reaches; that of day 16 asks for an order on working day 12 - 10 = 2.
    steps = [_sure_step(1, 1), _sure_step(2, 16)]

    assert _one(_exact_type(), [], steps).order_now
    # Without the job of tomorrow there is time.
    assert _one(_exact_type(), [], steps[1:]).order_by_working_days == 2
    # What lies further off than the next review may wait.
    assert _one(_exact_type(), [], [_sure_step(1, 1), _sure_step(2, 60)]).order_by_working_days == 34


def test_a_rush_is_for_what_no_order_reaches_and_comes_in_whole_packs():
    steps = [_sure_step(1, 1), _sure_step(2, 2), _sure_step(3, 60)]

    assert _one(_exact_type(), [], steps).rush_sets == 2
    assert _one(_exact_type(pack=3), [], steps).rush_sets == 3
    # What is on order and only comes late is hurried, not ordered once more.
    assert _one(_exact_type(waited_days=(0, 0)), [], steps).rush_sets == 0
    assert _one(_exact_type(), [RackSet(1, 1), RackSet(2, 1)], steps).rush_sets == 0


def test_orders_come_in_whole_packs_and_not_below_the_least():
    steps = [_sure_step(1, 60), _sure_step(2, 61), _sure_step(3, 62), _sure_step(4, 63)]

    assert _one(_exact_type(pack=3), [], steps).order_sets == 6
    assert _one(_exact_type(minimum=10), [], steps).order_sets == 10


def test_a_job_half_won_is_ordered_for_only_when_one_wants_to_be_that_sure():
    steps = [_sure_step(1, 60, award_chance=0.2)]

    careful, bold = _one(_exact_type(), [], steps, 0.9), _one(_exact_type(), [], steps, 0.7)

    assert careful.order_sets == 1
    assert careful.drivers[0].weight == pytest.approx(0.2, abs=0.07)
    assert bold.order_by_working_days is None
    assert bold.order_sets == 0
    assert bold.short_day is None
    assert bold.short_chance == pytest.approx(0.2, abs=0.07)
    assert bold.sure == pytest.approx(0.8, abs=0.07)


def test_poisson_need_while_an_order_lasts_gives_the_poisson_level():
    # One fresh set per step, 250 bids of 2 % = Poisson(5), all while an order of today lasts (here on day 14, for 35
    # days): REFERENCES I23 again, end to end.
    kind = _exact_type(turn_days=400)
    steps = [_sure_step(k, 14 + k % 34, 50.0, award_chance=0.02) for k in range(250)]

    answers = [_one(kind, [], steps, certainty, 3, 8000) for certainty in (0.90, 0.95, 0.99)]

    assert [a.order_sets for a in answers] == [8, 9, 11]
    assert all(a.order_now for a in answers)
    assert [a.sure for a in answers] == pytest.approx(stats.poisson.cdf([8, 9, 11], 5), abs=0.01)


# --- what must follow from what -------------------------------------------------------------------------------------

RACK = [RackSet(k, 1, 1500.0 + 200 * k) for k in range(4)] + [RackSet(9, 1)]
JOBS = [
    PlannedStep(job, 10 * job + k, 1, 14 * job + k, 700.0, 0.8 if job > 4 else 1.0)
    for job in range(1, 12)
    for k in (0, 1)
]


def _real_type(ended=(), lead=(15, [14, 19])) -> TypeOnRack:
    return TypeOnRack(1, worn(6000, RACK, ended), fit_lead_time(*lead))


def test_three_worn_out_sets_at_half_their_rating_move_the_order_by_date():
    before = _one(_real_type(), RACK, JOBS, draws=2000)
    after = _one(_real_type(ended=[2900.0, 3000.0, 3100.0]), RACK, JOBS, draws=2000)

    assert after.life_here_m2[1] < 0.7 * before.life_here_m2[1]
    assert after.need_sets.mean.sum() > before.need_sets.mean.sum() + 0.5
    assert after.order_by_working_days is not None
    assert before.order_by_working_days is None or after.order_by_working_days < before.order_by_working_days - 5
    assert after.order_sets >= 1


def test_the_same_input_gives_the_same_answer_in_any_order():
    one, two = _one(_real_type(), RACK, JOBS), _one(_real_type(), RACK[::-1], JOBS[::-1])

    for field in (
        "order_by_working_days",
        "order_sets",
        "sure",
        "life_here_m2",
        "short_day",
        "short_chance",
        "drivers",
    ):
        assert getattr(one, field) == getattr(two, field)
    assert np.array_equal(one.need_sets.mean, two.need_sets.mean)


def test_wanting_to_be_surer_orders_earlier_and_no_less():
    kind = _real_type(ended=[2900.0, 3000.0, 3100.0])
    answers = [_one(kind, RACK, JOBS, certainty, draws=1000) for certainty in (0.6, 0.8, 0.9, 0.95, 0.98)]

    dates = [a.order_by_working_days for a in answers]
    assert dates == sorted(dates, reverse=True)
    assert dates[0] > dates[-1]
    # Certainty is held by the whole number of sets at least as well as asked.
    assert all(a.sure >= c for a, c in zip(answers, (0.6, 0.8, 0.9, 0.95, 0.98), strict=True))


def test_a_slower_supplier_is_ordered_from_earlier():
    quick = _one(_real_type(ended=[3000.0], lead=(5, [5, 6])), RACK, JOBS, draws=1000)
    slow = _one(_real_type(ended=[3000.0], lead=(30, [29, 33])), RACK, JOBS, draws=1000)

    assert slow.order_by_working_days < quick.order_by_working_days - 15
    assert slow.lead_likely_days > quick.lead_likely_days
    assert slow.short_day == quick.short_day


def test_ranges_stay_in_order():
    answer = _one(_real_type(ended=[3000.0]), RACK, JOBS, draws=500)

    for week in (answer.need_area_m2, answer.need_sets, answer.need_sets_so_far):
        assert (week.low <= week.likely).all()
        assert (week.likely <= week.high).all()
        assert week.mean.shape == (26,)
    assert answer.life_here_m2 == tuple(sorted(answer.life_here_m2))
    assert (np.diff(answer.short_chance_by_week) >= 0).all()
    assert answer.lead_likely_days < answer.lead_sure_days
    assert [d.weight for d in answer.drivers] == sorted((d.weight for d in answer.drivers), reverse=True)


def test_each_type_is_answered_by_itself():
    other = replace(_real_type(), type_id=UUID(int=2**100 + 5))
    theirs = [replace(s, type_id=other.type_id) for s in JOBS[:4]]

    both = forecast_need([_real_type(), other], RACK, [*JOBS, *theirs], HORIZON, 0.9, 4, draws=300)
    alone = forecast_need([_real_type()], RACK, JOBS, HORIZON, 0.9, 4, draws=300)

    assert [a.type_id for a in both] == [1, UUID(int=2**100 + 5)]
    assert both[0].order_by_working_days == alone[0].order_by_working_days
    assert both[0].sure == alone[0].sure
    assert both[1].life_here_m2 == (0.0, 0.0, 0.0)


# --- edges and refusals ---------------------------------------------------------------------------------------------


def test_no_planned_work_needs_nothing_and_says_why():
    answer = _one(_real_type(), RACK, [])

    assert answer.gaps == ("no planned work",)
    assert answer.need_sets.mean.tolist() == [0.0] * 26
    assert (answer.order_by_working_days, answer.order_sets, answer.sure) == (None, 0, 1.0)
    assert (answer.short_day, answer.short_chance, answer.drivers) == (None, 0.0, ())


def test_no_known_lead_time_gives_no_date_but_still_the_shortage():
    answer = _one(_exact_type(lead_days=None), [], [_sure_step(1, 60)])

    assert answer.gaps == ("no lead time",)
    assert answer.short_day == 60
    assert (answer.order_by_working_days, answer.order_sets, answer.sure) == (None, None, None)
    assert (answer.lead_likely_days, answer.lead_sure_days, answer.order_now) == (None, None, False)
    assert answer.drivers[0].job_id == 1


def test_a_rack_without_a_single_set_is_answered():
    answer = _one(_real_type(), [], JOBS)

    assert answer.life_here_m2 == (0.0, 0.0, 0.0)
    assert answer.order_now
    assert answer.order_sets >= 1


@pytest.mark.parametrize("certainty", [1.0, 0.999, 0.5, 0.0, 1.5, math.nan])
def test_being_quite_certain_is_refused(certainty):
    with pytest.raises(ValueError, match=r"`certainty` must lie above 0.5 and at or below 0.995 with 200 draws; got"):
        _one(_exact_type(), [], [], certainty)


def test_what_cannot_be_is_refused_by_name():
    with pytest.raises(ValueError, match="`draws` must be 1 or more; got 0"):
        _one(_exact_type(), [], [], draws=0)
    with pytest.raises(ValueError, match="`seed` must be 0 or more; got -1"):
        _one(_exact_type(), [], [], seed=-1)
    with pytest.raises(ValueError, match="`types` must hold every type of a set or step; 5 is missing"):
        _one(_exact_type(), [RackSet(1, 5)], [])
