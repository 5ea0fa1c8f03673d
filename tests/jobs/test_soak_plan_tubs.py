"""Room in tubs: left-edge against every arrangement there is."""

from datetime import UTC, datetime, timedelta
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.numerics.soak_tubs import Stay, assign_tubs, busiest, fullest_with_room

START = datetime(2026, 11, 23, tzinfo=UTC)


def stay(key, begun, ended, slots=1):
    return Stay(key, START + timedelta(hours=begun), START + timedelta(hours=ended), slots)


def overfull(placed, rooms):
    """Whether any tub holds more than it can at any hour, hour by hour."""
    return any(
        sum(one.slots for one in stays if one.begun_at <= START + timedelta(hours=hour) < one.ended_at) > rooms[key]
        for key, stays in placed.items()
        for hour in range(40)
    )


SPANS = st.lists(st.tuples(st.integers(0, 20), st.integers(1, 12)), min_size=1, max_size=6)


@settings(max_examples=150, deadline=None)
@given(spans=SPANS, rooms=st.lists(st.integers(1, 2), min_size=1, max_size=3))
def test_every_set_finds_a_tub_if_and_only_if_never_more_lie_than_there_are_slots(spans, rooms):
    stays = [stay(number, begun, begun + long) for number, (begun, long) in enumerate(spans)]
    room = dict(enumerate(rooms))

    found = assign_tubs(stays, room)

    most = max(sum(1 for begun, long in spans if begun <= hour < begun + long) for hour in range(40))
    every = (dict(zip(range(len(stays)), choice, strict=True)) for choice in product(room, repeat=len(stays)))
    possible = any(
        not overfull({tub: [one for one in stays if choice[one.key] == tub] for tub in room}, room) for choice in every
    )
    assert (None not in found.values()) == possible == (most <= sum(rooms))
    assert not overfull({tub: [one for one in stays if found[one.key] == tub] for tub in room}, room)


@given(
    spans=st.lists(st.tuples(st.integers(0, 20), st.integers(1, 12), st.integers(1, 4)), max_size=12),
    rooms=st.lists(st.integers(1, 6), min_size=1, max_size=3),
)
def test_sets_of_several_slots_never_overfill_a_tub(spans, rooms):
    stays = [stay(number, begun, begun + long, slots) for number, (begun, long, slots) in enumerate(spans)]
    room = dict(enumerate(rooms))

    found = assign_tubs(stays, room)

    assert not overfull({tub: [one for one in stays if found[one.key] == tub] for tub in room}, room)
    assert all(found[one.key] is None for one in stays if one.slots > max(rooms))


def test_the_fullest_tub_that_still_has_room_is_taken():
    lying = {"big": [stay("a", 0, 10)], "small": [stay("b", 0, 10)], "empty": []}
    rooms = {"empty": 2, "big": 4, "small": 2}
    hours = (START + timedelta(hours=2), START + timedelta(hours=5))

    assert fullest_with_room(rooms, lying, *hours, 1) == "small"
    assert fullest_with_room(rooms, lying, *hours, 2) == "empty"
    assert fullest_with_room(rooms, lying, *hours, 3) == "big"
    assert fullest_with_room(rooms, lying, *hours, 4) is None


def test_a_slot_left_at_an_instant_is_free_at_that_instant():
    assert busiest([stay("a", 0, 5), stay("b", 5, 9)], START, START + timedelta(hours=12)) == 1
    assert busiest([], START, START + timedelta(hours=12)) == 0
    assert assign_tubs([stay("a", 0, 5), stay("b", 5, 9)], {"tub": 1}) == {"a": "tub", "b": "tub"}
    assert assign_tubs([stay("a", 1, 5)], {"tub": 1}, {"tub": [stay("old", 0, 3)]}) == {"a": None}


def test_a_stay_that_cannot_be_is_refused():
    with pytest.raises(ValueError, match="`ended_at` of 'a' must be after"):
        stay("a", 5, 5)
    with pytest.raises(ValueError, match="`slots` of 'a' must be 1 or more; got 0"):
        stay("a", 0, 5, 0)
    with pytest.raises(ValueError, match="`rooms` of 'tub' must be 1 or more; got 0"):
        assign_tubs([], {"tub": 0})
    with pytest.raises(ValueError, match="`stays` must have one key each"):
        assign_tubs([stay("a", 0, 5), stay("a", 6, 7)], {"tub": 1})
