"""Pieces changed, two sets made into one, dressing, heights per piece: what is kept, refused, undone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pytest

from inventory.actions.corrections import VoidRefused, void_entry
from inventory.actions.dressing import Dressing, DressingRefused, dress
from inventory.actions.entry_corrections import correct_dressed, correct_height, correct_pieces
from inventory.actions.fitness import retire
from inventory.actions.gate import NotUsable
from inventory.actions.later_pieces import LaterPieces
from inventory.actions.ledger import NewLine
from inventory.actions.measure import HeightDoubted, HeightRefused, Heights, measure
from inventory.actions.pieces import Change, Joining, PiecesDiffer, PiecesRefused, change_pieces, join_sets
from inventory.actions.undo import undo
from inventory.models import Act, Entry, EntryPiece, SetState, ToolSet
from inventory.units import Amount
from tests.cast import hours, make_cast, make_place, make_set, make_type, who, write

pytestmark = pytest.mark.django_db


def mm(value: float) -> Amount:
    return Amount(value, Decimal(str(value)), "mm")


def lowest(value: float, **more: Any) -> Heights:
    return Heights((mm(value),), **more)


@pytest.fixture
def world() -> SimpleNamespace:
    """Two sets of one type of three pieces, each read at 8 mm of 12, and one of another type."""
    cast = make_cast()
    rack, resin = make_place(cast.branch, name="Rack B"), make_type("400")
    early = cast.device.first_seen_at - hours(100)
    one, two = (make_set(cast, resin, rack, at=early) for _number in range(2))
    for tool_set in (one, two):
        write(cast, NewLine("measured", tool_set, None, {"lowest_height_mm": 8.0}), at=early + hours(1))
    other = make_set(cast, make_type("70", "metal", 1), rack, at=early)
    return SimpleNamespace(cast=cast, one=one, two=two, other=other, now=cast.device.first_seen_at)


def me(world: SimpleNamespace, **more: Any) -> Any:
    return who(world.cast.ines, world.cast.device, world.now, **more)


def state(tool_set: ToolSet) -> SetState:
    return SetState.objects.get(pk=tool_set.pk)


def do_change(world: SimpleNamespace, change: Change, **more: Any) -> Any:
    return change_pieces(me(world, **more), world.cast.branch, world.one, change, now=world.now)


def do_join(world: SimpleNamespace, joining: Joining, **more: Any) -> Any:
    return join_sets(me(world, **more), world.cast.branch, world.one, world.two, joining, now=world.now)


def test_a_broken_piece_replaced_is_one_line_with_each_piece_on_record(world: SimpleNamespace) -> None:
    do_change(world, Change(1, 1, new_height=mm(8.5), heights=lowest(7.9), why="chipped on night 3"))

    entry = Entry.objects.get(kind="pieces_changed")
    assert (entry.pieces, entry.lowest_height_mm, entry.amount_value, entry.why) == (
        3,
        7.9,
        "7.9",
        "chipped on night 3",
    )
    rows = EntryPiece.objects.filter(entry=entry).order_by("position").values_list("from_set", "to_set", "height_mm")
    pk = world.one.pk
    assert list(rows) == [(pk, pk, None), (pk, pk, None), (None, pk, 8.5), (pk, None, None)]
    now = state(world.one)
    assert (now.facts["pieces"], now.lowest_height_mm, now.fitness) == (3, 7.9, "usable")
    assert now.facts["marks"][-1] | {"at": "", "entry": ""} == {
        "kind": "pieces", "at": "", "entry": "", "height_mm": 7.9, "changed": 1, "of": 3
    }  # fmt: skip


def test_a_new_piece_that_stands_out_is_asked_about_and_kept_sets_the_set_aside(world: SimpleNamespace) -> None:
    with pytest.raises(PiecesDiffer, match=r"differ by 0.16.in; the shop's limit is 0.04.in") as asked:
        do_change(world, Change(1, 1))  # a new one has 12 mm, the others 8
    assert "set aside" in asked.value.next_step
    assert not Entry.objects.filter(kind="pieces_changed").exists()

    do_change(world, Change(1, 1, sure=True))
    assert (state(world.one).fitness, state(world.one).facts["pieces"]) == ("set_aside", 3)


def test_half_a_load_on_purpose_is_a_remnant(world: SimpleNamespace) -> None:
    do_change(world, Change(out=2, why="half load"))
    now = state(world.one)
    assert (now.facts["pieces"], now.fitness, now.lowest_height_mm) == (1, "usable", 8.0)


def test_all_pieces_new_begin_at_the_height_of_the_new_ones(world: SimpleNamespace) -> None:
    do_change(world, Change(3, 3, new_height=mm(11.8)))
    assert (state(world.one).lowest_height_mm, state(world.one).fitness) == (11.8, "usable")


@pytest.mark.parametrize(
    ("change", "refusal", "words"),
    [
        (Change(), PiecesRefused, "No piece would change"),
        (Change(out=4), PiecesRefused, "4 came out, but the set has 3 pieces"),
        (Change(new=1, new_height=mm(8)), PiecesRefused, "That makes 4 pieces; a set of this type has 3"),
        (Change(out=3), PiecesRefused, "leaves no piece"),
        (Change(1, 1, new_height=mm(15)), HeightRefused, "more than a new one"),
        (Change(1, 1, mm(8), heights=Heights((mm(8),) * 4)), HeightRefused, "4 heights were typed, the set has 3"),
    ],
)
def test_a_change_of_pieces_that_cannot_be_is_refused(
    world: SimpleNamespace, change: Change, refusal: type[Exception], words: str
) -> None:
    before = Act.objects.count()
    with pytest.raises(refusal, match=words):
        do_change(world, change)
    assert Act.objects.count() == before


def test_a_retired_sets_pieces_are_not_changed(world: SimpleNamespace) -> None:
    write(world.cast, NewLine("retired", world.one, None, {"retired_why": "broken"}), at=world.now - hours(1))
    with pytest.raises(NotUsable, match="is retired"):
        do_change(world, Change(1, 1, new_height=mm(8)))


def test_two_remnants_become_one_set_and_the_rest_stays_a_remnant(world: SimpleNamespace) -> None:
    do_change(world, Change(out=1))
    done = do_join(world, Joining(moved=1, heights=lowest(7.8)))

    assert [line.kind for line in done.entries] == ["pieces_changed", "pieces_changed"]
    assert [(line.tool_set_id, line.other_set_id) for line in done.entries] == [
        (world.one.pk, world.two.pk),
        (world.two.pk, world.one.pk),
    ]
    one, two = state(world.one), state(world.two)
    assert (one.facts["pieces"], one.lowest_height_mm) == (3, 7.8)
    assert (two.facts["pieces"], two.fitness, two.lowest_height_mm) == (2, "usable", 8.0)
    assert (one.facts["marks"][-1]["changed"], two.facts["marks"][-1]["changed"]) == (1, 0)


def test_the_rest_is_retired_on_request_and_where_nothing_is_left(world: SimpleNamespace) -> None:
    do_change(world, Change(out=1))
    do_join(world, Joining(moved=1, retire_rest=True))
    assert (state(world.two).fitness, state(world.two).fitness_why) == ("retired", "changed_early")

    undo(me(world), world.cast.branch, Act.objects.latest("device_seq"), "", now=world.now)
    do_change(world, Change(out=1))
    write(world.cast, NewLine("pieces_changed", world.two, None, {"pieces": 2}), at=world.now)
    do_join(world, Joining(moved=2))
    assert (state(world.one).facts["pieces"], state(world.two).facts["pieces"]) == (3, 0)
    assert state(world.two).fitness == "retired"


def test_a_joined_act_is_undone_in_both_ledgers_from_either(world: SimpleNamespace) -> None:
    do_change(world, Change(out=1))
    done = do_join(world, Joining(moved=1, retire_rest=True))
    void_entry(me(world), world.cast.branch, done.entries[1], "wrong set", now=world.now)
    one, two = state(world.one), state(world.two)
    assert (one.facts["pieces"], two.facts["pieces"], two.fitness) == (2, 3, "usable")


@pytest.mark.parametrize(
    ("joining", "words"),
    [
        (Joining(moved=0), "No piece would move"),
        (Joining(moved=4, out=3), "has 3 pieces, not 4"),
        (Joining(moved=1), "That makes 4 pieces; a set of this type has 3"),
        (Joining(moved=1, out=5), "5 came out, but the set has 3"),
    ],
)
def test_a_joining_that_cannot_be_is_refused(world: SimpleNamespace, joining: Joining, words: str) -> None:
    with pytest.raises(PiecesRefused, match=words):
        do_join(world, joining)
    assert not Entry.objects.filter(kind="pieces_changed").exists()


def test_pieces_of_another_type_or_of_the_set_itself_are_refused(world: SimpleNamespace) -> None:
    with pytest.raises(PiecesRefused, match="metal 70 is metal 70, this is resin 400"):
        join_sets(me(world), world.cast.branch, world.one, world.other, Joining(1, 1), now=world.now)
    with pytest.raises(PiecesRefused, match="the same set"):
        join_sets(me(world), world.cast.branch, world.one, world.one, Joining(1, 1), now=world.now)


def test_sets_of_two_heights_are_asked_about_before_they_are_joined(world: SimpleNamespace) -> None:
    write(world.cast, NewLine("measured", world.two, None, {"lowest_height_mm": 5.0}), at=world.now - hours(2))
    with pytest.raises(PiecesDiffer):
        do_join(world, Joining(moved=1, out=1))
    do_join(world, Joining(moved=1, out=1, sure=True))
    assert state(world.one).fitness == "set_aside"


def test_the_same_act_again_writes_nothing(world: SimpleNamespace) -> None:
    key = uuid4()
    first = do_change(world, Change(out=1), act_id=key)
    again = do_change(world, Change(out=1), act_id=key)
    assert (first.again, again.again, Entry.objects.filter(kind="pieces_changed").count()) == (False, True, 1)
    key = uuid4()
    do_join(world, Joining(moved=1), act_id=key)
    assert do_join(world, Joining(moved=1), act_id=key).again
    key = uuid4()
    dress(me(world, act_id=key), world.cast.branch, world.one, Dressing("block"), now=world.now)
    assert dress(me(world, act_id=key), world.cast.branch, world.one, Dressing("block"), now=world.now).again


def test_a_change_of_pieces_is_corrected_by_void_and_anew(world: SimpleNamespace) -> None:
    done = do_change(world, Change(out=1))
    said = Change(out=2)
    fixed = correct_pieces(me(world), world.cast.branch, done.entries[0], said, "it was two", now=world.now)
    assert state(world.one).facts["pieces"] == 1
    assert fixed.entries[-1].replaces == done.entries[0].pk

    joined = do_join(world, Joining(moved=1, retire_rest=True))
    for line in joined.entries[:2]:  # from either ledger the same act is meant
        newest = Entry.objects.filter(kind="pieces_changed", tool_set=line.tool_set).latest("act__device_seq")
        correct_pieces(me(world), world.cast.branch, newest, Joining(moved=2), "two moved", now=world.now)
        one, two = state(world.one), state(world.two)
        assert (one.facts["pieces"], two.facts["pieces"], two.fitness) == (3, 1, "usable")


def test_a_change_of_pieces_under_a_later_one_is_neither_voided_nor_corrected_nor_undone(
    world: SimpleNamespace,
) -> None:
    first, second = do_change(world, Change(out=1)), do_change(world, Change(out=1))
    args = (world.cast.branch, first.entries[0])
    doings: list[Callable[[], Any]] = [
        lambda: void_entry(me(world), *args, "mistake", now=world.now),
        lambda: correct_pieces(me(world), *args, Change(out=2), "two", now=world.now),
        lambda: undo(me(world), world.cast.branch, first.act, "", now=world.now),
    ]
    for doing in doings:
        with pytest.raises(LaterPieces, match="were changed again"):
            doing()
        assert state(world.one).facts["pieces"] == 1
    void_entry(me(world), world.cast.branch, second.entries[0], "mistake", now=world.now)
    doings[1]()
    assert state(world.one).facts["pieces"] == 1
    with pytest.raises(VoidRefused, match="voided already"):
        doings[1]()


def test_a_joining_stands_while_the_set_that_gave_was_changed_again(world: SimpleNamespace) -> None:
    joined = do_join(world, Joining(moved=1, out=1))
    change_pieces(me(world), world.cast.branch, world.two, Change(out=1), now=world.now)
    line = joined.entries[0]
    with pytest.raises(LaterPieces, match=state(world.two).shown_code or "400"):
        correct_pieces(me(world), world.cast.branch, line, Joining(moved=2, out=2), "two", now=world.now)
    assert [state(one).facts["pieces"] for one in (world.one, world.two)] == [3, 1]


def test_with_every_piece_replaced_unread_the_height_is_unknown_and_none_seems_to_have_risen(
    world: SimpleNamespace,
) -> None:
    do_change(world, Change(out=3, new=3))
    assert (state(world.one).lowest_height_mm, state(world.one).facts["mean_height_mm"]) == (None, None)
    measure(me(world), world.cast.branch, world.one, lowest(11.8), now=world.now)
    assert (state(world.one).lowest_height_mm, state(world.one).open_flags) == (11.8, 0)


# --- dressing ---


def test_dressing_opens_a_glazed_face_and_its_cost_is_no_wear(world: SimpleNamespace) -> None:
    write(world.cast, NewLine("trouble", world.one, None, {"trouble_kind": "glazed"}), at=world.now - hours(1))
    assert state(world.one).face == "glazed"
    said = Dressing("block", 10, before=mm(8.0), after=mm(7.7))
    dress(me(world), world.cast.branch, world.one, said, now=world.now)
    now = state(world.one)
    assert (now.face, now.lowest_height_mm, now.facts["dressed_mm"]) == ("open", 7.7, 0.3)
    entry = Entry.objects.get(kind="dressed")
    assert (entry.minutes, entry.before_height_mm, entry.amount_unit) == (10, 8.0, "mm")

    correct_dressed(me(world), world.cast.branch, entry, replace(said, after=mm(7.5)), "misread", now=world.now)
    assert (state(world.one).facts["dressed_mm"], state(world.one).lowest_height_mm) == (0.5, 7.5)


@pytest.mark.parametrize(
    ("said", "refusal", "words"),
    [
        (Dressing("file"), DressingRefused, "On what it was dressed"),
        (Dressing("block", 0), DressingRefused, "0 minutes cannot be"),
        (Dressing("block", before=mm(7), after=mm(7.4)), HeightDoubted, "more than .* before it"),
        (Dressing("block", before=mm(8), after=mm(5)), HeightDoubted, "a lot for one dressing"),
        (Dressing("block", after=mm(11)), HeightDoubted, "higher than .* read last"),
        (Dressing("block", after=mm(14)), HeightRefused, "more than a new one"),
    ],
)
def test_a_dressing_that_cannot_be_is_refused_and_an_odd_one_asked_about(
    world: SimpleNamespace, said: Dressing, refusal: type[Exception], words: str
) -> None:
    with pytest.raises(refusal, match=words):
        dress(me(world), world.cast.branch, world.one, said, now=world.now)
    if refusal is HeightDoubted:
        dress(me(world), world.cast.branch, world.one, replace(said, sure=True), now=world.now)
        assert state(world.one).face == "open"


# --- heights ---


def test_a_height_above_the_last_one_is_asked_about_and_kept_if_right(world: SimpleNamespace) -> None:
    with pytest.raises(HeightDoubted, match=r"higher than .* read last\. Is it right?"):
        measure(me(world), world.cast.branch, world.one, lowest(9.5), now=world.now)
    measure(me(world), world.cast.branch, world.one, lowest(8.8), now=world.now)  # within three reading errors
    measure(me(world), world.cast.branch, world.one, lowest(11.0, sure=True), now=world.now)
    assert state(world.one).lowest_height_mm == 11.0
    assert [code for _entry, code in state(world.one).facts["flags"]] == ["height_rose"]


def test_heights_per_piece_are_kept_one_by_one(world: SimpleNamespace) -> None:
    measure(me(world), world.cast.branch, world.one, Heights((mm(7.9), mm(7.5), mm(7.7))), now=world.now)
    entry = Entry.objects.filter(kind="measured").latest("act__device_seq")
    assert (entry.lowest_height_mm, entry.mean_height_mm, entry.amount_value) == (7.5, 7.7, "7.5")
    rows = entry.piece_rows.order_by("position").values_list("height_mm", flat=True)
    assert list(rows) == [7.9, 7.5, 7.7]


def test_a_remnant_takes_no_more_heights_than_it_has_pieces(world: SimpleNamespace) -> None:
    do_change(world, Change(out=1))
    with pytest.raises(HeightRefused, match="3 heights were typed, the set has 2 pieces"):
        measure(me(world), world.cast.branch, world.one, Heights((mm(7.9), mm(7.5), mm(7.7))), now=world.now)


def test_lowest_and_mean_alone_say_the_least_spread_there_can_be(world: SimpleNamespace) -> None:
    # Of three pieces with the lowest 7 and the mean 7.8 one is at least 7 + 3/2 * 0.8 = 8.2 high: 1.2 above it.
    measure(me(world), world.cast.branch, world.one, lowest(7.0, mean=mm(7.8)), now=world.now)
    assert (state(world.one).fitness, state(world.one).facts["mean_height_mm"]) == ("set_aside", 7.8)
    measure(me(world), world.cast.branch, world.two, lowest(7.0, mean=mm(7.6)), now=world.now)
    assert state(world.two).fitness == "usable"
    with pytest.raises(HeightRefused, match=r"The mean, .*, is under the lowest piece"):
        measure(me(world), world.cast.branch, world.two, lowest(6.9, mean=mm(6.0)), now=world.now)


def test_a_measurement_is_corrected_with_every_piece(world: SimpleNamespace) -> None:
    done = measure(me(world), world.cast.branch, world.one, lowest(7.0), now=world.now)
    heights = Heights((mm(7.2), mm(7.4), mm(7.3)))
    correct_height(me(world), world.cast.branch, done.entries[0], heights, "all three", now=world.now)
    assert (state(world.one).lowest_height_mm, state(world.one).facts["mean_height_mm"]) == (7.2, 7.3)


def test_a_height_that_rose_or_fell_without_work_is_asked_about_at_retiring_too(
    world: SimpleNamespace,
) -> None:
    args = (world.cast.branch, world.one)
    for height, words in ((11.0, "higher than"), (4.0, "cannot have worn so much")):
        with pytest.raises(HeightDoubted, match=words):
            retire(me(world), *args, "worn", now=world.now, heights=lowest(height))
    for said in (Dressing("block", before=mm(4.0), after=mm(3.8)), Dressing("block", after=mm(4.0))):
        with pytest.raises(HeightDoubted, match="cannot have worn so much"):
            dress(me(world), *args, said, now=world.now)
    assert state(world.one).lowest_height_mm == 8.0
    dress(me(world), *args, Dressing("block", after=mm(7.2)), now=world.now)
    retire(me(world), *args, "worn", now=world.now, heights=lowest(4.0, sure=True))
    assert (state(world.one).fitness, state(world.one).lowest_height_mm) == ("retired", 4.0)
