"""What holds for every reservation: locks, times, capacities, sameness, and few changes."""

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.numerics.reserve import LoadToPlan, Plan, PlanRules, SetToPlan, TypeToPlan, consequence, reserve, with_present
from jobs.numerics.reserve_task import Bools
from tests.jobs.reserve_shops import faults_of

QUICK = PlanRules(rounds=10, placing_rounds=5)
HOURS = st.integers(0, 40).map(float)


def pair_chance(_one: object, _other: object, area_m2: float) -> float:
    """Return a chance that reaches the limit up to 1,650 m2, what the two did before counted in."""
    return min(1.0, 2.0 - area_m2 / 1500.0)


@st.composite
def shops(draw, locks: bool = False) -> list[TypeToPlan]:
    """One to three tool types with up to 6 sets and 8 loads each; areas that often just fit."""
    types = []
    for number in range(draw(st.integers(1, 3))):
        m, n = draw(st.integers(0, 6)), draw(st.integers(1, 8))
        sets = []
        for i in range(m):
            fresh = draw(st.booleans())
            sets.append(
                SetToPlan(
                    100 * number + i + 1,
                    1000.0 if fresh else 100.0 * draw(st.integers(0, 10)),
                    draw(HOURS),
                    fresh,
                    draw(st.sampled_from([0.2, 1.0])),
                    100.0 * draw(st.integers(0, 8)),
                    draw(st.none() | HOURS),
                )
            )
        loads = []
        for j in range(n):
            start = draw(HOURS)
            own = draw(st.lists(st.sampled_from([one.set_id for one in sets]), max_size=2, unique=True)) if sets else []
            own = own if locks and draw(st.integers(0, 3)) == 0 else []
            loads.append(
                LoadToPlan(
                    100 * number + j + 1,
                    100.0 * draw(st.integers(1, 14)),
                    start,
                    start + draw(st.integers(1, 15)),
                    float(draw(st.integers(0, 6))),
                    draw(st.sampled_from([1.0, 0.5])),
                    tuple(own),
                    tuple(own),
                )
            )
        fits = draw(st.lists(st.booleans(), min_size=m * n, max_size=m * n))
        types.append(
            TypeToPlan(
                number + 1,
                1000.0,
                tuple(sets),
                tuple(loads),
                fits=np.array(fits, dtype=np.bool_).reshape(n, m) | (np.arange(n * m).reshape(n, m) % 3 > 0),
                buy_ready_h=draw(st.sampled_from([0.0, 20.0, float("inf")])),
                pair_chance=draw(st.sampled_from([None, pair_chance])),
            )
        )
    return types


def fits_of(kind: TypeToPlan) -> Bools:
    """Return which loads fit which sets."""
    assert kind.fits is not None
    return kind.fits


def seats(plan: Plan) -> dict[object, object]:
    """Return what each load runs on."""
    return {choice.load_id: choice.seats for choice in plan.choices}


@settings(max_examples=50, deadline=None)
@given(shops(locks=True))
def test_locks_are_kept_no_set_is_in_two_places_and_none_is_overfilled(types):
    anew = reserve(types, QUICK)

    kept = reserve(with_present(types, anew), QUICK, most_changes=2)

    assert faults_of(anew, types) == []
    assert faults_of(kept, types) == []


@settings(max_examples=30, deadline=None)
@given(shops(locks=True), st.randoms(use_true_random=False))
def test_the_same_shop_gets_the_same_plan_in_whatever_order_it_is_told(types, random):
    def shuffled(kind: TypeToPlan) -> TypeToPlan:
        sets, loads = list(range(len(kind.sets))), list(range(len(kind.loads)))
        random.shuffle(sets)
        random.shuffle(loads)
        return replace(
            kind,
            sets=tuple(kind.sets[k] for k in sets),
            loads=tuple(kind.loads[k] for k in loads),
            fits=fits_of(kind)[loads][:, sets],
        )

    told_otherwise = [shuffled(kind) for kind in types]
    random.shuffle(told_otherwise)

    first, again, otherwise = (reserve(told, QUICK) for told in (types, types, told_otherwise))

    assert first.choices == again.choices
    assert first.choices == otherwise.choices
    assert first.costs == again.costs == otherwise.costs


@settings(max_examples=30, deadline=None)
@given(shops())
def test_when_nothing_changes_no_choice_does(types):
    anew = reserve(types, QUICK)

    again = reserve(with_present(types, anew), QUICK, most_changes=2)

    assert seats(again) == seats(anew)


@settings(max_examples=70, deadline=None)
@given(shops(), st.data())
def test_one_added_job_changes_at_most_two_other_choices(types, data):
    # The job has a load of every type; it is last in time, first, or in between, as drawn.
    added = {data.draw(st.sampled_from([load.load_id for load in kind.loads])) for kind in types}
    keep = [[k for k, load in enumerate(kind.loads) if load.load_id not in added] for kind in types]
    before = [
        replace(kind, loads=tuple(kind.loads[k] for k in own), fits=fits_of(kind)[own])
        for kind, own in zip(types, keep, strict=True)
    ]
    anew = reserve(before, QUICK)

    after = reserve(with_present(types, anew), QUICK, most_changes=2)

    others = [choice for choice in after.choices if choice.load_id not in added]
    assert sum(choice.changed for choice in others) <= 2
    assert faults_of(after, types) == []


@settings(max_examples=40, deadline=None)
@given(shops(), st.data())
def test_a_set_that_is_gone_changes_its_own_loads_and_at_most_two_others(types, data):
    anew = reserve(types, QUICK)
    kind = types[0]
    if not kind.sets:
        return
    gone = data.draw(st.sampled_from([one.set_id for one in kind.sets]))
    left = [k for k, one in enumerate(kind.sets) if one.set_id != gone]
    without = [replace(kind, sets=tuple(kind.sets[k] for k in left), fits=fits_of(kind)[:, left]), *types[1:]]

    after = reserve(with_present(without, anew), QUICK, most_changes=2)

    hit = {choice.load_id for choice in anew.choices if gone in choice.seats}
    assert sum(choice.changed for choice in after.choices if choice.load_id not in hit) <= 2
    assert all(gone not in choice.seats for choice in after.choices)
    assert faults_of(after, without) == []


@settings(max_examples=40, deadline=None)
@given(shops(), st.data())
def test_the_consequence_shown_is_what_the_next_plan_does(types, data):
    kind = next((kind for kind in types if kind.sets), None)
    if kind is None:
        return
    anew = reserve(types, QUICK)
    load = data.draw(st.sampled_from(kind.loads))
    chosen = data.draw(st.sampled_from(kind.sets)).set_id

    shown = consequence(anew, load.load_id, chosen)

    assert chosen in shown.seats
    told = with_present(types, anew)
    locked = [
        replace(
            own,
            loads=tuple(
                replace(one, present=shown.seats, locked=(chosen,)) if one.load_id == load.load_id else one
                for one in own.loads
            ),
        )
        for own in told
    ]
    after = seats(reserve(locked, QUICK, most_changes=2))
    assert after[load.load_id] == shown.seats
    before = seats(anew)
    named = {change.load_id: change.after for change in shown.changes}
    for other in kind.loads:
        if other.load_id != load.load_id:
            assert after[other.load_id] == named.get(other.load_id, before[other.load_id])
