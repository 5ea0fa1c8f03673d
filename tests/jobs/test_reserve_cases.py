"""Reservations made by hand: each reason, locks that do not fit, leftovers, changes by hand, what is refused."""

import math
from dataclasses import replace

import numpy as np
import pytest

from jobs.numerics.reserve import (
    Effect,
    LoadToPlan,
    PlanRules,
    Reason,
    SetToPlan,
    ToBuy,
    Trouble,
    TypeToPlan,
    WhyNone,
    consequence,
    reserve,
    standing,
    with_present,
)


def _type(sets=(), loads=(), **more) -> TypeToPlan:
    return TypeToPlan(1, 1000.0, tuple(sets), tuple(loads), **more)


def _load(number: int, area_m2: float, day: float = 0.0, **more) -> LoadToPlan:
    return LoadToPlan(number, area_m2, 24 * day, 24 * day + 8, **more)


def _leftover(number: int, sure_m2: float = 50.0, likely_m2: float = 300.0) -> SetToPlan:
    return SetToPlan(number, sure_m2, half_rating_chance=0.2, likely_m2=likely_m2)


def _one(kind, load_id=1, **more):
    return reserve([kind], **more).choice(load_id)


# --- reasons ---


def test_the_smallest_set_that_surely_finishes_is_taken():
    choice = _one(_type([SetToPlan(1, 900.0), SetToPlan(2, 500.0), SetToPlan(3, 300.0)], [_load(1, 400.0)]))

    assert (choice.seats, choice.reason) == ((2,), Reason.SMALLEST)


def test_the_only_one_ready_in_time_is_said_to_be_so():
    choice = _one(_type([SetToPlan(1, 900.0), SetToPlan(2, 500.0, ready_h=1.0)], [_load(1, 400.0)]))

    assert (choice.seats, choice.reason) == ((1,), Reason.ONLY_READY)


def test_a_set_is_ready_at_the_very_hour():
    choice = _one(_type([SetToPlan(1, 400.0, ready_h=24.0)], [_load(1, 400.0, day=1)], buy_ready_h=math.inf))

    assert choice.seats == (1,)


def test_a_fresh_set_is_opened_only_where_no_part_worn_one_finishes():
    sets = [SetToPlan(1, 300.0), SetToPlan(2, 1000.0, is_fresh=True)]

    choice = _one(_type(sets, [_load(1, 400.0)]))

    assert (choice.seats, choice.reason) == ((2,), Reason.FRESH)


def test_what_no_set_does_is_to_be_bought_and_two_jobs_share_what_they_can():
    plan = reserve([_type([], [_load(1, 400.0), _load(2, 400.0, day=3), _load(3, 400.0, day=3)])])

    assert [choice.reason for choice in plan.choices] == [Reason.TO_BUY] * 3
    assert {choice.seats for choice in plan.choices} == {(ToBuy(1),), (ToBuy(2),)}
    assert plan.to_buy == {1: 2}


def test_a_fresh_set_here_goes_before_one_to_buy():
    assert _one(_type([SetToPlan(7, 1000.0, is_fresh=True)], [_load(1, 400.0)])).seats == (7,)


def test_work_goes_on_with_a_set_in_use_before_another_is_opened():
    sets = [SetToPlan(1, 1000.0, is_fresh=True), SetToPlan(2, 1000.0, is_fresh=True)]

    plan = reserve([_type(sets, [_load(1, 500.0), _load(2, 500.0, day=2)])])

    assert plan.choice(1).seats == plan.choice(2).seats
    assert plan.cost == pytest.approx(1.0)


def test_turn_keeps_a_set_from_the_next_job():
    kind = _type([SetToPlan(1, 900.0)], [_load(1, 400.0, turn_h=72.0), _load(2, 400.0, day=2)], buy_ready_h=math.inf)

    plan = reserve([kind])

    assert sorted(choice.seats for choice in plan.choices) == [(), (1,)]
    assert {choice.why_none for choice in plan.choices} == {None, WhyNone.TAKEN}


def test_a_wet_set_of_a_job_called_off_goes_first_while_it_is_wet():
    sets = [SetToPlan(1, 500.0), SetToPlan(2, 700.0, wet_until_h=30.0)]

    assert _one(_type(sets, [_load(1, 400.0, day=1)])).reason == Reason.WET_ALREADY
    assert _one(_type(sets, [_load(1, 400.0, day=2)])).seats == (1,)


def test_a_load_over_a_new_set_takes_two_of_which_the_poorer_goes_first():
    kind = _type([SetToPlan(1, 900.0), SetToPlan(2, 700.0), SetToPlan(3, 200.0)], [_load(1, 1300.0)])

    choice = _one(kind)

    assert (choice.seats, choice.reason) == ((2, 1), Reason.TWO_SETS)


def test_two_sets_are_taken_only_when_together_they_reach_the_limit():
    asked = []

    def pair(one, other, area_m2):
        asked.append((one, other, area_m2))
        return 0.95 if None in (one, other) or {one, other} == {1, 3} else 0.5

    sets = [SetToPlan(1, 900.0), SetToPlan(2, 700.0), SetToPlan(3, 900.0)]

    choice = _one(_type(sets, [_load(1, 1300.0)], pair_chance=pair))

    assert set(choice.seats) == {1, 3}
    assert (1, 2, 1300.0) in asked


@pytest.mark.parametrize(
    ("kind", "why"),
    [
        (_type([], [_load(1, 2100.0)]), WhyNone.TOO_LARGE),
        (_type([], [_load(1, 1500.0)], pair_chance=lambda *_: 0.89), WhyNone.TOO_LARGE),
        (
            _type([SetToPlan(1, 900.0)], [_load(1, 400.0)], fits=np.array([[False]]), new_fits=np.array([False])),
            WhyNone.NO_FIT,
        ),
        (_type([SetToPlan(1, 900.0, ready_h=9.0)], [_load(1, 400.0)], buy_ready_h=99.0), WhyNone.NOT_READY),
        (_type([SetToPlan(1, 300.0)], [_load(1, 400.0)], buy_ready_h=math.inf), WhyNone.SHORT),
        (_type([], [_load(1, 400.0, weight=0.1)]), WhyNone.UNLIKELY),
    ],
)
def test_why_a_load_has_no_set_is_said(kind, why):
    choice = _one(kind)

    assert (choice.seats, choice.reason, choice.why_none) == ((), Reason.NONE, why)


# --- leftovers ---


def test_a_leftover_goes_first_and_a_sure_set_stands_behind_it():
    choice = _one(_type([_leftover(1), SetToPlan(2, 900.0)], [_load(1, 400.0)]))

    assert (choice.seats, choice.reason) == ((1, 2), Reason.LEFTOVER_FIRST)


def test_a_leftover_that_surely_finishes_goes_alone():
    choice = _one(_type([_leftover(1, sure_m2=450.0), SetToPlan(2, 900.0)], [_load(1, 400.0)]))

    assert choice.seats == (1,)


def test_a_leftover_waits_for_the_smaller_step_it_surely_finishes():
    kind = _type([_leftover(1, sure_m2=100.0), SetToPlan(2, 500.0)], [_load(1, 500.0), _load(2, 80.0, day=5)])

    plan = reserve([kind])

    assert [choice.seats for choice in plan.choices] == [(2,), (1,)]


def test_a_leftover_goes_where_it_runs_to_its_end():
    sets = [_leftover(1, 10.0, likely_m2=600.0), SetToPlan(2, 800.0), SetToPlan(3, 800.0)]

    plan = reserve([_type(sets, [_load(1, 200.0), _load(2, 700.0, day=1), _load(3, 100.0, day=2)])])

    assert [len(choice.seats) for choice in plan.choices] == [1, 2, 1]
    assert plan.choice(2).seats[0] == 1


def test_a_leftover_is_not_put_before_another_nor_before_a_persons_choice():
    two = _type([_leftover(1, 450.0), _leftover(2, 50.0)], [_load(1, 400.0)], buy_ready_h=math.inf)
    chosen = _type([_leftover(1), SetToPlan(2, 900.0)], [_load(1, 400.0, present=(2,), locked=(2,))])

    assert _one(two).seats == (1,)
    assert _one(chosen).seats == (2,)


def test_a_leftover_serves_one_step_only_and_never_two_at_once():
    sets = [_leftover(1), _leftover(2), *(SetToPlan(n, 500.0) for n in range(3, 7))]

    plan = reserve([_type(sets, [_load(n, 400.0, day=n // 2) for n in range(1, 5)])])

    first = [choice.seats[0] for choice in plan.choices if len(choice.seats) == 2]
    assert sorted(first) == [1, 2]


def test_the_leftover_limit_is_a_rule_of_the_shop():
    kind = _type([SetToPlan(1, 50.0, half_rating_chance=0.45), SetToPlan(2, 900.0)], [_load(1, 400.0)])

    assert _one(kind).seats == (1, 2)
    assert _one(kind, rules=PlanRules(leftover_limit=0.45)).seats == (2,)


# --- locks ---


def test_a_persons_choice_stays_and_counts():
    kind = _type(
        [SetToPlan(1, 500.0), SetToPlan(2, 900.0)],
        [_load(1, 400.0, present=(2,), locked=(2,)), _load(2, 600.0, day=2)],
        buy_ready_h=math.inf,
    )

    plan = reserve([kind])

    assert (plan.choice(1).seats, plan.choice(1).reason, plan.choice(1).troubles) == ((2,), Reason.YOUR_CHOICE, ())
    assert plan.choice(2).why_none == WhyNone.TAKEN


def test_a_persons_choice_that_does_not_fit_is_kept_and_reported():
    sets = [SetToPlan(1, 300.0, ready_h=5.0)]
    no = np.array([[False]])

    choice = _one(_type(sets, [_load(1, 400.0, present=(1,), locked=(1,))], fits=no))

    assert choice.seats == (1,)
    assert choice.troubles == (Trouble.NO_FIT, Trouble.NOT_READY, Trouble.SHORT)


def test_a_short_choice_gets_a_sure_set_behind_it_but_none_is_bought_for_it():
    loads = [_load(1, 400.0, present=(1,), locked=(1,))]

    with_one = _one(_type([SetToPlan(1, 300.0), SetToPlan(2, 500.0)], loads))
    without = _one(_type([SetToPlan(1, 300.0)], loads))

    assert (with_one.seats, with_one.troubles) == ((1, 2), ())
    assert (without.seats, without.troubles) == ((1,), (Trouble.SHORT,))


def test_a_locked_set_that_is_gone_is_kept_by_its_name():
    choice = _one(_type([SetToPlan(2, 900.0)], [_load(1, 400.0, present=(9,), locked=(9,))]))

    assert (choice.seats, choice.troubles) == ((9,), (Trouble.GONE,))


def test_one_set_locked_on_two_jobs_at_once_stays_on_both_and_both_say_so():
    loads = [_load(n, 400.0, present=(1,), locked=(1,)) for n in (1, 2)]

    plan = reserve([_type([SetToPlan(1, 900.0)], loads)])

    assert [choice.seats for choice in plan.choices] == [(1,), (1,)]
    assert [choice.troubles for choice in plan.choices] == [(Trouble.CLASH,), (Trouble.CLASH,)]


def test_of_locks_that_are_too_much_together_the_later_is_short():
    loads = [_load(n, 600.0, day=n, present=(1,), locked=(1,)) for n in (1, 2)]

    plan = reserve([_type([SetToPlan(1, 900.0)], loads)])

    assert [choice.troubles for choice in plan.choices] == [(), (Trouble.SHORT,)]


# --- keeping and changing ---


def test_a_choice_is_kept_though_a_smaller_set_would_do():
    kind = _type([SetToPlan(1, 500.0), SetToPlan(2, 900.0)], [_load(1, 400.0, present=(2,))])

    for most_changes in (None, 2):
        choice = _one(kind, most_changes=most_changes)
        assert (choice.seats, choice.reason, choice.changed) == ((2,), Reason.KEPT, False)


def test_a_new_job_may_move_one_to_save_a_fresh_set():
    sets = [SetToPlan(1, 500.0), SetToPlan(2, 900.0), SetToPlan(3, 1000.0, is_fresh=True)]
    kind = _type(sets, [_load(1, 400.0, present=(2,)), _load(2, 800.0)])

    moved, not_moved = (reserve([kind], most_changes=most) for most in (1, 0))

    assert [choice.seats for choice in moved.choices] == [(1,), (2,)]
    assert [choice.seats for choice in not_moved.choices] == [(2,), (3,)]


def test_the_few_changes_are_few_over_all_types_together():
    def kind(number: int) -> TypeToPlan:
        sets = [SetToPlan(10 * number + 1, 500.0), SetToPlan(10 * number + 2, 900.0)]
        loads = [_load(10 * number + 1, 400.0, present=(10 * number + 2,)), _load(10 * number + 2, 800.0)]
        return TypeToPlan(number, 1000.0, tuple(sets), tuple(loads))

    plan = reserve([kind(number) for number in range(1, 6)], most_changes=2)

    assert sum(choice.changed for choice in plan.choices) == 2
    assert sum(plan.to_buy.values()) == 3


def test_a_job_moved_into_anothers_time_gives_way():
    kind = _type([SetToPlan(1, 900.0), SetToPlan(2, 900.0)], [_load(1, 300.0, present=(1,)), _load(2, 300.0, day=3)])
    kind = replace(kind, loads=(kind.loads[0], replace(kind.loads[1], start_h=4.0, end_h=9.0, present=(1,))))

    plan = reserve([kind], most_changes=2)

    assert sorted(choice.seats for choice in plan.choices) == [(1,), (2,)]


def test_a_set_goes_on_at_the_very_hour_it_is_free():
    loads = [LoadToPlan(1, 300.0, 0.0, 6.0, 2.0), LoadToPlan(2, 300.0, 8.0, 16.0)]

    plan = reserve([_type([SetToPlan(1, 600.0)], loads, buy_ready_h=math.inf)])

    assert [choice.seats for choice in plan.choices] == [(1,), (1,)]


def test_new_leftovers_are_put_before_kept_choices_only_as_often_as_may_change():
    sets = [*(_leftover(n) for n in range(1, 5)), *(SetToPlan(n, 500.0) for n in range(5, 9))]
    kind = _type(sets, [_load(n, 400.0, present=(n + 4,)) for n in range(1, 5)])

    few, all_of_them = (reserve([kind], most_changes=most) for most in (2, 4))

    assert sum(choice.changed for choice in few.choices) == 2
    assert sum(choice.changed for choice in all_of_them.choices) == 4


def test_two_sets_that_do_not_finish_together_any_more_are_not_kept():
    sets = [SetToPlan(n, 900.0) for n in (1, 2, 3)]
    kind = _type(sets, [_load(1, 1300.0, present=(1, 2))], buy_ready_h=math.inf)

    same = _one(kind, most_changes=0)
    worse = _one(replace(kind, pair_chance=lambda a, b, _: 0.95 if 3 in (a, b) else 0.5), most_changes=0)

    assert same.seats == (1, 2)
    assert 3 in worse.seats
    assert len(worse.seats) == 2


def test_new_work_does_not_take_what_two_sets_need_together():
    sets = [SetToPlan(1, 1000.0), SetToPlan(2, 1000.0)]
    loads = [_load(1, 1400.0, day=5, present=(1, 2)), _load(2, 300.0)]
    kind = _type(sets, loads, buy_ready_h=math.inf, pair_chance=lambda a, b, area: min(1.0, 2 - area / 1500))

    plan = reserve([kind], most_changes=2)

    assert [choice.seats for choice in plan.choices] == [(1, 2), ()]
    assert plan.choice(2).why_none == WhyNone.TAKEN


def test_what_a_change_by_hand_does_to_others_is_said():
    sets = [SetToPlan(1, 500.0), SetToPlan(2, 900.0)]
    plan = reserve([_type(sets, [_load(1, 400.0), _load(2, 800.0), _load(3, 90.0, day=9)], buy_ready_h=math.inf)])
    assert [choice.seats for choice in plan.choices][:2] == [(1,), (2,)]

    shown = consequence(plan, 1, 2)

    assert (shown.seats, shown.troubles) == ((2,), ())
    assert [(c.load_id, c.before, c.after, c.effect) for c in shown.changes] == [(2, (2,), (), Effect.LOSES)]
    assert shown.extra_cost == pytest.approx(5.0)  # both sets stay in use: load 3 keeps the first


def test_a_swap_by_hand_gives_the_other_job_the_freed_set():
    plan = reserve([_type([SetToPlan(1, 500.0), SetToPlan(2, 900.0)], [_load(1, 400.0), _load(2, 450.0)])])
    mine, other = plan.choice(1).seats[0], plan.choice(2).seats[0]

    assert isinstance(other, int)
    shown = consequence(plan, 1, other)

    assert [(c.load_id, c.after, c.effect) for c in shown.changes] == [(2, (mine,), Effect.OTHER)]
    assert shown.extra_cost == pytest.approx(0.0)


def test_a_short_set_by_hand_goes_first_and_the_one_there_stays_behind():
    plan = reserve([_type([SetToPlan(1, 300.0), SetToPlan(2, 900.0)], [_load(1, 400.0)])])

    assert consequence(plan, 1, 1).seats == (1, 2)


def test_how_each_set_stands_to_a_load():
    sets = [SetToPlan(1, 500.0), SetToPlan(2, 900.0), SetToPlan(3, 300.0, ready_h=9.0), SetToPlan(4, 600.0)]
    plan = reserve([_type(sets, [_load(1, 400.0), _load(2, 800.0)])])

    found = {one.set_id: one for one in standing(plan, 1)}

    assert next(iter(found)) == 1
    assert [found[n].is_free for n in (1, 2, 3, 4)] == [True, False, False, True]
    assert (found[2].ousts, found[2].spare_m2, found[2].troubles) == ((2,), 500.0, ())
    assert found[3].troubles == (Trouble.NOT_READY, Trouble.SHORT)
    assert found[4].spare_m2 == 200.0


def test_an_empty_shop_has_an_empty_plan():
    assert reserve([]).choices == ()
    assert reserve([_type([SetToPlan(1, 500.0)])]).choices == ()


def test_what_a_plan_chose_becomes_what_is():
    kind = _type([SetToPlan(1, 500.0)], [_load(1, 400.0)])

    assert with_present([kind], reserve([kind]))[0].loads[0].present == (1,)


# --- refused ---


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        (_type([SetToPlan(1, -1.0)]), "`capacity_m2` must be 0 or more; got -1.0 of set 1"),
        (_type([SetToPlan(1, math.nan)]), "`capacity_m2` must be 0 or more; got nan of set 1"),
        (_type([SetToPlan(1, 1.0, ready_h=math.nan)]), "`ready_h` must be a number; got nan"),
        (_type([SetToPlan(1, 1.0, half_rating_chance=1.5)]), "`half_rating_chance` must lie between 0 and 1; got 1.5"),
        (_type([SetToPlan(1, 1.0, likely_m2=-2.0)]), "`likely_m2` must be 0 or more; got -2.0"),
        (_type([SetToPlan(1, 1.0, wet_until_h=math.nan)]), "`wet_until_h` must be a number or None; got nan"),
        (_type([SetToPlan(1, 1.0), SetToPlan(1, 2.0)]), "`set_id` must be given once; got 1"),
        (_type([SetToPlan(-1, 1.0)]), "`key` must be 0 or more; got -1"),
        (_type([], [_load(1, 0.0)]), "`area_m2` must be above 0; got 0.0 of load 1"),
        (_type([], [LoadToPlan(1, 5.0, 8.0, 8.0)]), "`end_h` must come after `start_h`; got 8.0 to 8.0 of load 1"),
        (_type([], [_load(1, 5.0, turn_h=-1.0)]), "`turn_h` must be 0 or more; got -1.0"),
        (_type([], [_load(1, 5.0, weight=0.0)]), "`weight` must be above 0, up to 1; got 0.0"),
        (_type([], [_load(1, 5.0, present=(1, 1))]), r"`present` must be at most two different sets; got \(1, 1\)"),
        (_type([], [_load(1, 5.0, present=(ToBuy(0),))]), "`present` must number a set to buy 1 to 2000; got 0"),
        (_type([], [_load(1, 5.0, locked=(3,))]), r"`locked` must be among `present`; got \(3,\)"),
        (_type([], [_load(1, 5.0), _load(1, 6.0)]), "`load_id` must be given once; got 1"),
        (
            _type([], [_load(1, 5.0)], fits=np.ones((2, 0), dtype=bool)),
            r"`fits` must be true or false in shape \(1, 0\)",
        ),
        (_type([], [_load(1, 5.0)], new_fits=np.array([1])), "`new_fits` must be true or false in shape"),
        (_type(buy_ready_h=math.nan), "`buy_ready_h` must be a number; got nan"),
        (TypeToPlan(1, 0.0), "`new_capacity_m2` must be above 0; got 0.0 of type 1"),
    ],
)
def test_what_no_rack_or_plan_can_hold_is_refused_by_name_and_value(kind, words):
    with pytest.raises(ValueError, match=words):
        reserve([kind])


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"seed": -1}, "`seed` must be 0 or more; got -1"),
        ({"most_changes": -1}, "`most_changes` must be 0 or more, or None; got -1"),
        ({"rules": PlanRules(finish_limit=1.0)}, "`finish_limit` must lie between 0 and 1; got 1.0"),
        ({"rules": PlanRules(leftover_limit=0.0)}, "`leftover_limit` must lie between 0 and 1; got 0.0"),
        ({"rules": PlanRules(moved_cost=-0.1)}, "`moved_cost` must be 0 or more; got -0.1"),
        ({"rules": PlanRules(rounds=-1)}, "`rounds` must be 0 or more; got -1"),
    ],
)
def test_rules_that_make_no_sense_are_refused(asked, words):
    with pytest.raises(ValueError, match=words):
        reserve([_type()], **asked)


def test_a_change_of_what_is_not_there_is_refused():
    plan = reserve([_type([SetToPlan(1, 500.0)], [_load(1, 400.0)])])

    with pytest.raises(ValueError, match="`load_id` must be in the plan; got 8"):
        consequence(plan, 8, 1)
    with pytest.raises(ValueError, match="`set_id` must be a set of type 1; got 8"):
        consequence(plan, 1, 8)
    with pytest.raises(ValueError, match="`in_place_of` must be what load 1 runs on; got 8"):
        consequence(plan, 1, 1, in_place_of=8)
    with pytest.raises(ValueError, match="`load_id` must be in the plan; got 8"):
        standing(plan, 8)
    with pytest.raises(ValueError, match="`load_id` must be in the plan; got 8"):
        plan.choice(8)
