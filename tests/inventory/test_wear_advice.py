"""The rules of what to do with a set at its end (METHODS 1.2 and 3): plain numbers in, advice out."""

from __future__ import annotations

from uuid import UUID

from inventory.wear_advice import PAIR, RUN_OUT, TOO_LITTLE, WORN, Limits, Standing, pairs_of, retire_advice, run_outs

LIMITS = Limits(finish_limit=0.9, leftover_limit=0.5, retire_area_m2=60.0)
ONE, TWO, THREE, SURE = (UUID(int=number) for number in range(1, 5))


def stands(set_id: UUID = ONE, low: float | None = 5.0, **more: object) -> Standing:
    return Standing(set_id, low, 2.0, **{"small": 0.99, "half": 0.3, **more})  # type: ignore[arg-type]


def test_a_lowest_height_at_the_retire_height_is_worn_whatever_its_chances() -> None:
    for low, kind in ((2.0, WORN), (1.4, WORN), (2.1, None)):
        advice = retire_advice(stands(low=low, small=0.99, steps=(0.95,)), LIMITS)
        assert (advice.kind if advice else None) == kind
    assert retire_advice(Standing(ONE, 0.1, None, small=0.9), LIMITS) is None


def test_a_set_that_hardly_does_a_small_floor_retires_unless_a_planned_step_is_surely_within_it() -> None:
    advice = retire_advice(stands(small=0.49, steps=(0.1, 0.89)), LIMITS)
    assert advice is not None
    assert (advice.kind, advice.planned) == (TOO_LITTLE, True)
    unplanned = retire_advice(stands(small=0.49), LIMITS)
    assert unplanned is not None
    assert not unplanned.planned
    assert retire_advice(stands(small=0.5, steps=(0.0,)), LIMITS) is None
    assert retire_advice(stands(small=0.49, steps=(0.9,)), LIMITS) is None
    assert retire_advice(stands(low=None, small=None), LIMITS) is None


def test_a_leftover_does_half_its_rating_with_less_than_an_even_chance() -> None:
    assert stands(half=0.49).leftover(LIMITS)
    assert not stands(half=0.5).leftover(LIMITS)
    assert not stands(half=None).leftover(LIMITS)


def test_two_leftovers_go_together_where_neither_does_it_alone_the_one_with_less_first() -> None:
    alone = {ONE: [0.4, 0.95], TWO: [0.6, 0.2], THREE: [0.1, 0.1]}
    chances = {(0, ONE, TWO): 0.93, (0, ONE, THREE): 0.91, (1, ONE, TWO): 0.99, (1, TWO, THREE): 0.92}
    found = pairs_of(chances, alone, LIMITS)
    assert [(one.kind, one.set_id, one.step, one.other, one.chance) for one in found] == [
        (PAIR, ONE, 0, TWO, 0.93),
        (PAIR, TWO, 0, ONE, 0.93),
    ]
    # Freed of the first step, the second one has its own pair, without the set that does it alone.
    found = pairs_of({key: chance for key, chance in chances.items() if key[0] == 1}, alone, LIMITS)
    assert [(one.set_id, one.other) for one in found] == [(THREE, TWO), (TWO, THREE)]
    assert pairs_of({(0, ONE, TWO): 0.899}, alone, LIMITS) == []


def test_one_leftover_to_a_step_goes_first_of_two_and_the_others_wait() -> None:
    left = [stands(ONE, steps=(0.2, 0.1)), stands(TWO, steps=(0.7, 0.6)), stands(THREE, steps=(0.95, 0.93))]
    behind = {0: (SURE, {ONE: 0.97, TWO: 0.99, THREE: 1.0})}
    found = {one.set_id: one for one in run_outs(left, behind, LIMITS)}
    assert (found[TWO].kind, found[TWO].step, found[TWO].other, found[TWO].chance) == (RUN_OUT, 0, SURE, 0.99)
    assert (found[ONE].kind, found[ONE].step) == (RUN_OUT, None)
    assert THREE not in found  # it goes alone wherever it is wanted
    assert [one.step for one in run_outs([stands(ONE)], {}, LIMITS)] == [None]
