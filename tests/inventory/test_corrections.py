"""Corrections: voiding, replacing, settling; who may, and what is refused."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from inventory.actions.corrections import (
    NotYourEntry,
    SettleRefused,
    VoidRefused,
    replace_entry,
    settle_flag,
    void_entry,
)
from inventory.actions.ledger import NewLine, record, void
from inventory.models import Act, Entry, Label, SetState
from inventory.models.choices import Source
from tests.cast import NOW, hours, make_cast, make_outing, make_place, make_set, make_type, uuid, who, write

pytestmark = pytest.mark.django_db
EARLIER, LATER = NOW + hours(1), NOW + hours(5)


@pytest.fixture
def world() -> Any:
    cast = make_cast()
    cast.rack, cast.other_rack = make_place(cast.branch), make_place(cast.branch)
    cast.tool_set = make_set(cast, make_type(), cast.rack, code="GL-AAAAAA")
    return cast


def by(person: Any, cast: Any, **more: Any) -> Any:
    return who(person, cast.device, LATER, **more)


def moved_by(person: Any, cast: Any, at: Any = EARLIER) -> Entry:
    line = NewLine("moved", cast.tool_set, None, {"to_place": cast.other_rack})
    return record(who(person, cast.device, at), cast.branch, [line], now=at).entries[0]


def state_of(tool_set: Any) -> SetState:
    return SetState.objects.get(pk=tool_set.pk)


def test_ones_own_entry_is_voided_with_a_reason(world: Any) -> None:
    entry = moved_by(world.dag, world)
    done = void_entry(by(world.dag, world), world.branch, entry, " wrong rack ", now=LATER)
    assert [(line.kind, line.void_target, line.why) for line in done.entries] == [("voided", entry.pk, "wrong rack")]
    assert state_of(world.tool_set).place_id == world.rack.pk
    assert Entry.objects.filter(pk=entry.pk).exists()


def test_voiding_twice_answers_with_what_voided_it_and_writes_nothing(world: Any) -> None:
    entry = moved_by(world.dag, world)
    first = void_entry(by(world.dag, world), world.branch, entry, "wrong rack", now=LATER)
    acts = Act.objects.count()
    again = void_entry(by(world.ines, world), world.branch, entry, "wrong rack", now=LATER)
    assert (again.again, again.act.pk, Act.objects.count()) == (True, first.act.pk, acts)


def test_the_same_request_twice_is_one_act(world: Any) -> None:
    entry, request = moved_by(world.dag, world), by(world.dag, world, act_id=uuid(77))
    void_entry(request, world.branch, entry, "wrong rack", now=LATER)
    assert void_entry(request, world.branch, entry, "wrong rack", now=LATER).again
    assert Entry.objects.filter(kind="voided").count() == 1


def test_an_entry_of_somebody_else_takes_the_right_to_settle(world: Any) -> None:
    entry = moved_by(world.dag, world)
    with pytest.raises(NotYourEntry, match=r"Dag P\. entered this, not you\. Ask|Dag P\. entered this, not you\."):
        void_entry(by(world.teo, world), world.branch, entry, "mine now", now=LATER)
    assert state_of(world.tool_set).place_id == world.other_rack.pk
    void_entry(by(world.ines, world), world.branch, entry, "he was mistaken", now=LATER)
    assert state_of(world.tool_set).place_id == world.rack.pk


def test_after_the_shift_is_closed_only_the_shop_manager_voids(world: Any) -> None:
    entry = moved_by(world.dag, world)
    with pytest.raises(NotYourEntry, match="The shift of this entry is closed"):
        void_entry(by(world.dag, world), world.branch, entry, "late thought", now=LATER, shift_closed=True)
    void_entry(by(world.ines, world), world.branch, entry, "he told me", now=LATER, shift_closed=True)
    assert state_of(world.tool_set).place_id == world.rack.pk


def test_a_void_without_a_reason_and_a_void_of_a_void_are_refused(world: Any) -> None:
    entry = moved_by(world.dag, world)
    with pytest.raises(VoidRefused, match="A void says why") as refused:
        void_entry(by(world.dag, world), world.branch, entry, "  ", now=LATER)
    assert refused.value.field == "why"
    done = void_entry(by(world.dag, world), world.branch, entry, "wrong", now=LATER)
    with pytest.raises(VoidRefused, match="A void cannot be voided"):
        void_entry(by(world.ines, world), world.branch, done.entries[0], "was right", now=LATER)


def test_a_receipt_with_later_entries_is_refused_until_those_are_voided(world: Any) -> None:
    received = Entry.objects.get(kind="received")
    moved = moved_by(world.dag, world)
    with pytest.raises(VoidRefused, match="GL-AAAAAA has 1 later entry"):
        void_entry(by(world.ines, world), world.branch, received, "never came", now=LATER)
    void_entry(by(world.ines, world), world.branch, moved, "never came", now=LATER)

    done = void_entry(by(world.ines, world), world.branch, received, "never came", now=LATER)

    assert len(done.entries) == 2, "its label goes with it"
    facts = state_of(world.tool_set).facts
    assert (facts["born"], facts["place"], facts["codes"], facts["flags"]) == (False, None, [], [])
    assert Label.objects.get(pk="GL-AAAAAA").blank


def test_the_second_of_two_receipts_may_be_voided(world: Any) -> None:
    moved_by(world.dag, world)
    second = write(world, NewLine("received", world.tool_set, None, {"branch": world.branch}), at=NOW + hours(2))
    assert state_of(world.tool_set).open_flags == 1
    void_entry(by(world.ines, world), world.branch, second.entries[0], "typed twice", now=LATER)
    assert state_of(world.tool_set).open_flags == 0


def test_voiding_one_line_of_a_changed_piece_voids_the_whole_act(world: Any) -> None:
    other = make_set(world, make_type(), world.rack)
    act = write(
        world,
        NewLine("pieces_changed", world.tool_set, None, {"pieces": 3, "other_set": other}),
        NewLine("pieces_changed", other, None, {"pieces": 2, "other_set": world.tool_set}),
        NewLine("set_aside", other, None, {"why": "a piece is missing"}),
        at=NOW + hours(1),
    )
    done = void_entry(by(world.ines, world), world.branch, act.entries[1], "the other set", now=LATER)
    assert {line.void_target for line in done.entries} == {line.pk for line in act.entries}
    assert (state_of(other).fitness, state_of(other).facts["pieces"]) == ("usable", 3)
    again = void_entry(by(world.ines, world), world.branch, act.entries[0], "the other set", now=LATER)
    assert (again.again, again.act.pk) == (True, done.act.pk)


def test_a_replaced_entry_is_voided_and_written_anew_in_one_act(world: Any) -> None:
    wrong = write(
        world, NewLine("measured", world.tool_set, None, {"lowest_height_mm": 5.9}), at=NOW + hours(1)
    ).entries[0]
    done = replace_entry(
        by(world.ines, world, happened_at=NOW + hours(1)),
        world.branch,
        wrong,
        [NewLine("measured", world.tool_set, None, {"lowest_height_mm": 9.5})],
        "misread",
        now=LATER,
    )
    assert [(line.kind, line.void_target, line.replaces) for line in done.entries] == [
        ("voided", wrong.pk, None),
        ("measured", None, wrong.pk),
    ]
    facts = state_of(world.tool_set).facts
    assert (facts["lowest_height_mm"], facts["flags"]) == (9.5, [])
    with pytest.raises(VoidRefused, match="voided already, nothing was written"):
        replace_entry(
            by(world.ines, world),
            world.branch,
            wrong,
            [NewLine("measured", world.tool_set, None, {"lowest_height_mm": 8.0})],
            "again",
            now=LATER,
        )


def test_a_beginning_may_be_replaced_by_another_though_later_entries_stand(world: Any) -> None:
    received = Entry.objects.get(kind="received")
    moved_by(world.dag, world)
    replace_entry(
        by(world.ines, world, happened_at=NOW),
        world.branch,
        received,
        [NewLine("opening", world.tool_set, None, {"opening_kind": "half", "branch": world.branch})],
        "it was not new",
        now=LATER,
    )
    facts = state_of(world.tool_set).facts
    assert (facts["opening"], facts["place"]) == ("half", str(world.other_rack.pk))
    assert state_of(world.tool_set).code == "GL-AAAAAA"


def two_outings(world: Any) -> Entry:
    for number, name in enumerate(("Osprey Lane", "Cold store"), start=1):
        line = NewLine(
            "scanned_out", world.tool_set, None, {"outing": make_outing(world.branch, name), "gate": "passed"}
        )
        act = write(world, line, at=NOW + hours(number))
    return act.entries[0]


def test_a_flag_is_settled_once_with_an_answer(world: Any) -> None:
    entry = two_outings(world)
    assert state_of(world.tool_set).open_flags == 1
    with pytest.raises(SettleRefused, match="You may not settle"):
        settle_flag(by(world.dag, world), world.branch, world.tool_set, entry.pk, "taken_by_two", "seen", "", now=LATER)
    with pytest.raises(SettleRefused, match="none of the answers"):
        settle_flag(
            by(world.ines, world), world.branch, world.tool_set, entry.pk, "taken_by_two", "perhaps", "", now=LATER
        )
    done = settle_flag(
        by(world.ines, world), world.branch, world.tool_set, entry.pk, "taken_by_two", "seen", "they met", now=LATER
    )
    assert (done.entries[0].answer, done.entries[0].why) == ("seen", "they met")
    assert state_of(world.tool_set).open_flags == 0
    again = settle_flag(
        by(world.ines, world), world.branch, world.tool_set, entry.pk, "taken_by_two", "seen", "", now=LATER
    )
    assert (again.again, again.act.pk) == (True, done.act.pk)


def test_a_flag_that_is_gone_cannot_be_settled(world: Any) -> None:
    entry = two_outings(world)
    write(world, void(entry, "never went"), at=NOW + hours(3))
    with pytest.raises(SettleRefused, match="no such flag any more"):
        settle_flag(
            by(world.ines, world), world.branch, world.tool_set, entry.pk, "taken_by_two", "seen", "", now=LATER
        )


def test_an_accepted_act_counts_in_the_ledgers_of_all_its_sets(world: Any) -> None:
    other = make_set(world, make_type(), world.rack)
    act = write(
        world,
        NewLine("moved", world.tool_set, None, {"to_place": world.other_rack}),
        NewLine("moved", other, None, {"to_place": world.other_rack}),
        at=NOW + hours(1),
        held_back="without the right",
    )
    assert [state_of(one).place_id for one in (world.tool_set, other)] == [world.rack.pk, world.rack.pk]
    settle_flag(
        by(world.ines, world),
        world.branch,
        world.tool_set,
        act.entries[0].pk,
        "held_back",
        "accept",
        "he may",
        now=LATER,
    )
    for one in (world.tool_set, other):
        assert (state_of(one).place_id, state_of(one).open_flags) == (world.other_rack.pk, 0)


def test_an_act_left_out_no_longer_asks_and_never_counts(world: Any) -> None:
    act = write(
        world,
        NewLine("retired", world.tool_set, None, {"retired_why": "worn"}),
        at=NOW + hours(1),
        held_back="without the right",
    )
    settle_flag(
        by(world.ines, world), world.branch, world.tool_set, act.entries[0].pk, "held_back", "leave_out", "", now=LATER
    )
    assert (state_of(world.tool_set).fitness, state_of(world.tool_set).open_flags) == ("usable", 0)


# --- clocks ---


def test_a_phone_whose_clock_ran_backwards_between_two_entries_is_doubted(world: Any) -> None:
    def send(seq: int, written_at: Any) -> Act:
        person = who(world.dag, world.device, written_at, sent_at=LATER, device_seq=seq, source=Source.PHONE)
        line = NewLine("seen", world.tool_set, None, {"to_place": world.rack})
        return record(person, world.branch, [line], now=LATER).act

    base = 10_000_000
    assert send(base + 1, NOW + hours(2)).clock_doubt == "none"
    assert send(base + 3, NOW + hours(2) - timedelta(minutes=1)).clock_doubt == "none"
    assert send(base + 4, NOW + hours(1)).clock_doubt == "offset_moved"
    # One that arrives late, from between two that ran on.
    assert send(base + 2, NOW + hours(2.5)).clock_doubt == "offset_moved"
    assert [code for _entry, code in state_of(world.tool_set).facts["flags"]] == ["clock_offset_moved"] * 2


def test_voiding_what_was_corrected_meanwhile_is_refused_and_the_correction_stands(world: Any) -> None:
    moved = moved_by(world.dag, world)
    instead = NewLine("moved", world.tool_set, None, {"to_place": world.rack})
    done = replace_entry(by(world.ines, world), world.branch, moved, [instead], "the other rack", now=LATER)

    with pytest.raises(VoidRefused, match="was corrected meanwhile by Ines O"):
        void_entry(by(world.ines, world), world.branch, moved, "wrong set", now=LATER)

    # Once the correction is voided as well, nothing stands in its place, and the answer is what voided it.
    void_entry(by(world.ines, world), world.branch, done.entries[-1], "wrong set", now=LATER)
    assert void_entry(by(world.ines, world), world.branch, moved, "wrong set", now=LATER).again
