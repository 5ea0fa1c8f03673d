"""The writer of the ledger: repeats, clocks, labels, and that live states equal rebuilt ones."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from inventory.actions.ledger import (
    NewLine,
    SameKeyOtherContent,
    happened_at,
    record,
    refold_states,
    void,
)
from inventory.ledger.kinds import EntryNotWhole
from inventory.models import Act, Entry, Label, SetState, ToolSet
from tests.cast import NOW, hours, make_cast, make_outing, make_place, make_set, make_type, who, write

pytestmark = pytest.mark.django_db


def test_a_received_set_is_usable_where_it_was_put() -> None:
    cast = make_cast()
    rack = make_place(cast.branch)
    tool_set = make_set(cast, make_type(), rack, code="GL-AAAAAA")

    state = SetState.objects.get(pk=tool_set.pk)
    assert (state.place_id, state.fitness, state.code, state.facts["opening"]) == (
        rack.pk,
        "usable",
        "GL-AAAAAA",
        "new",
    )
    assert Label.objects.get(pk="GL-AAAAAA").opens_set_id == tool_set.pk


def test_sending_an_act_again_changes_nothing() -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    person = who(cast.ines, cast.device)
    lines = [NewLine("measured", tool_set, None, {"lowest_height_mm": 9.5})]
    record(person, cast.branch, lines, now=NOW)
    before = Entry.objects.count()

    again = record(person, cast.branch, lines, now=NOW + hours(1))

    assert again.again
    assert Entry.objects.count() == before


def test_the_same_key_with_another_content_is_refused() -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    person = who(cast.ines, cast.device)
    record(person, cast.branch, [NewLine("measured", tool_set, None, {"lowest_height_mm": 9.5})], now=NOW)

    with pytest.raises(SameKeyOtherContent, match="sent before with another content"):
        record(person, cast.branch, [NewLine("measured", tool_set, None, {"lowest_height_mm": 5.9})], now=NOW)


def test_a_line_without_what_its_kind_needs_is_refused_and_leaves_nothing() -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    acts = Act.objects.count()

    with pytest.raises(EntryNotWhole, match="needs lowest_height_mm"):
        write(cast, NewLine("measured", tool_set, None, {}))

    assert Act.objects.count() == acts


def test_the_database_refuses_an_entry_that_is_not_whole() -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    act = Act.objects.first()

    with pytest.raises(IntegrityError), transaction.atomic():
        Entry.objects.create(act=act, line_no=99, kind="measured", tool_set=tool_set)


def test_a_voided_entry_leaves_the_state_as_if_it_had_never_been() -> None:
    cast = make_cast()
    rack, other = make_place(cast.branch), make_place(cast.branch)
    tool_set = make_set(cast, make_type(), rack)
    before = SetState.objects.get(pk=tool_set.pk).facts
    moved = write(cast, NewLine("moved", tool_set, None, {"to_place": other}), at=NOW + hours(1))
    assert SetState.objects.get(pk=tool_set.pk).place_id == other.pk

    write(cast, void(moved.entries[0], "wrong rack"), at=NOW + hours(2))

    after = SetState.objects.get(pk=tool_set.pk)
    assert (after.place_id, after.facts) == (rack.pk, before)


def test_a_late_entry_gives_the_same_state_as_one_in_time() -> None:
    cast = make_cast()
    rack, tub = make_place(cast.branch), make_place(cast.branch, "tub")
    tool_type = make_type()
    in_time, late = make_set(cast, tool_type, rack), make_set(cast, tool_type, rack)
    for tool_set, order in ((in_time, (1, 2)), (late, (2, 1))):
        for step in order:
            line = (
                NewLine("soak_begun", tool_set, None, {"to_place": tub})
                if step == 1
                else NewLine("moved", tool_set, None, {"to_place": rack})
            )
            write(cast, line, at=NOW + hours(step), now=NOW + hours(9))

    facts = [SetState.objects.get(pk=tool_set.pk).facts for tool_set in (in_time, late)]
    assert facts[0]["spells"] == facts[1]["spells"] != []
    assert facts[0]["place"] == facts[1]["place"] == str(rack.pk)


def test_a_code_belongs_to_the_first_that_claimed_it_and_the_later_is_flagged() -> None:
    cast = make_cast()
    first = make_set(cast, make_type(), make_place(cast.branch), code="GL-AAAAAA")
    second = ToolSet.objects.create(tool_type=first.tool_type, made_at=NOW)
    write(
        cast,
        NewLine("received", second, None, {"branch": cast.branch}),
        NewLine("labelled", second, None, {"code_id": "GL-AAAAAA"}),
        at=NOW + hours(1),
    )

    assert Label.objects.get(pk="GL-AAAAAA").opens_set_id == first.pk
    assert SetState.objects.get(pk=second.pk).facts["flags"][0][1] == "label_taken"
    assert SetState.objects.get(pk=second.pk).code == ""


def test_an_old_label_still_opens_its_set_and_knows_when_it_was_replaced() -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type(), make_place(cast.branch), code="GL-AAAAAA")
    Label.objects.create(code="GL-BBBBBB", branch=cast.branch, made_at=NOW)
    write(cast, NewLine("labelled", tool_set, None, {"code_id": "GL-BBBBBB"}), at=NOW + hours(1))

    old, new = Label.objects.get(pk="GL-AAAAAA"), Label.objects.get(pk="GL-BBBBBB")
    assert (old.opens_set_id, old.replaced_at) == (tool_set.pk, NOW + hours(1))
    assert (new.opens_set_id, new.replaced_at) == (tool_set.pk, None)
    assert SetState.objects.get(pk=tool_set.pk).code == "GL-BBBBBB"


def test_two_sets_that_are_the_same_share_one_state_until_the_word_is_voided() -> None:
    cast = make_cast()
    rack = make_place(cast.branch)
    one, other = make_set(cast, make_type(), rack), make_set(cast, make_type("200"), rack, at=NOW + hours(1))
    apart = SetState.objects.get(pk=other.pk).facts
    word = write(cast, NewLine("same_as", other, None, {"other_set": one}), at=NOW + hours(2))
    joined = SetState.objects.get(pk=other.pk)
    assert joined.main_id == one.pk
    assert joined.facts == SetState.objects.get(pk=one.pk).facts

    write(cast, void(word.entries[0], "two sets after all"), at=NOW + hours(3))

    split = SetState.objects.get(pk=other.pk)
    assert (split.main_id, split.facts) == (other.pk, apart)


def test_folding_anew_changes_no_state() -> None:
    cast = make_cast()
    rack = make_place(cast.branch)
    tool_set = make_set(cast, make_type(), rack, code="GL-AAAAAA")
    outing = make_outing(cast.branch)
    write(cast, NewLine("scanned_out", tool_set, None, {"outing": outing, "gate": "passed"}), at=NOW + hours(1))
    write(cast, NewLine("scanned_in", tool_set, None, {"to_place": rack}), at=NOW + hours(2))

    with transaction.atomic():
        assert refold_states([tool_set.pk]) == 0


def test_a_phone_clock_three_hours_slow_is_corrected_once() -> None:
    cast = make_cast()
    slow = NOW - hours(3)
    person = who(cast.dag, cast.device, slow - hours(1), sent_at=slow, contact_offset_ms=3 * 3600 * 1000)

    assert happened_at(person, NOW) == (NOW - hours(1), "none")


def test_a_clock_moved_between_contact_and_sending_takes_the_contact_and_is_doubted() -> None:
    cast = make_cast()
    person = who(cast.dag, cast.device, NOW - hours(2), sent_at=NOW + hours(5), contact_offset_ms=0)

    assert happened_at(person, NOW) == (NOW - hours(2), "offset_moved")


def test_nothing_happens_later_than_it_is_recorded() -> None:
    cast = make_cast()
    person = who(cast.dag, cast.device, NOW + timedelta(hours=1), sent_at=NOW, contact_offset_ms=0)

    assert happened_at(person, NOW) == (NOW, "ahead")
