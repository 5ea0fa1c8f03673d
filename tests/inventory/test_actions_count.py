"""Counting a place by scanning: differences wait for approval, unseen sets go missing as of the count's start."""

from __future__ import annotations

from datetime import datetime
from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.actions.count import (
    Count,
    CountEnded,
    NotAsked,
    NotCounted,
    answer_seen,
    begin_count,
    count_seen,
    finish,
    reopen,
)
from inventory.actions.custody import scan_out
from inventory.actions.gate import NeedsRight, OtherBranch
from inventory.actions.ledger import NewLine, record
from inventory.actions.undo import undo
from inventory.ledger.facts import facts_from_json
from inventory.models import Entry, Place, SetState, ToolSet
from inventory.queries.count import count_picture, places_to_count
from tests.cast import NOW, hours, make_branch, make_cast, make_outing, make_place, make_set, make_type, who, write

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> SimpleNamespace:
    """Rack B with three dry metal sets, rack A with one, and a van that has taken a fourth out to Osprey Lane."""
    cast = make_cast()
    metal = make_type("70", "metal", 1, soak_need="none")
    cast.rack, cast.other = make_place(cast.branch, name="Rack B"), make_place(cast.branch, name="Rack A")
    cast.van = make_place(cast.branch, "van", "Van 2")
    cast.outing = make_outing(cast.branch, van=cast.van)
    earlier = NOW - hours(48)
    cast.sets = [make_set(cast, metal, cast.rack, at=earlier) for _ in range(3)]
    cast.stranger = make_set(cast, metal, cast.other, at=earlier)
    cast.out = make_set(cast, metal, cast.rack, at=earlier)
    scan_out(who(cast.dag, cast.device, NOW - hours(20)), cast.branch, cast.out, cast.outing, now=NOW - hours(20))
    return cast


def begin(cast: SimpleNamespace, at: datetime = NOW) -> Count:
    return begin_count(who(cast.ines, cast.device, at), cast.branch, cast.rack, now=at)


def see(cast: SimpleNamespace, count: Count, tool_set: ToolSet, minutes: float = 1) -> str:
    at = count.begun_at + hours(minutes / 60)
    return count_seen(who(cast.teo, cast.device, at), cast.branch, count, tool_set, now=at).how


def place_of(tool_set: ToolSet) -> Place | None:
    return SetState.objects.select_related("place").get(pk=tool_set.pk).place


def test_a_set_where_the_ledger_has_it_is_counted_at_once_and_only_once(shop: SimpleNamespace) -> None:
    count = begin(shop)
    assert see(shop, count, shop.sets[0]) == "here"
    assert see(shop, count, shop.sets[0], 2) == "again"

    (entry,) = Entry.objects.filter(kind="counted")
    assert (entry.count_id, entry.seen, entry.to_place_id, entry.act.held_back) == (count.pk, True, shop.rack.pk, "")
    picture = count_picture(count)
    assert [state.pk for state in picture.seen] == [shop.sets[0].pk]
    assert {state.pk for state in picture.unseen} == {shop.sets[1].pk, shop.sets[2].pk}


def test_what_nobody_saw_goes_missing_as_of_the_counts_start_once_it_is_approved(shop: SimpleNamespace) -> None:
    count, end = begin(shop), NOW + hours(1)
    see(shop, count, shop.sets[0])

    done = finish(who(shop.ines, shop.device, end), shop.branch, count, here=(), missing=[shop.sets[1].pk], now=end)

    assert done.missing == (shop.sets[1].pk,)
    assert [place_of(one).kind for one in shop.sets] == ["rack", "unknown", "rack"]  # type: ignore[union-attr]
    entry = Entry.objects.get(kind="counted", seen=False)
    assert (entry.acts_at, entry.to_place_id) == (NOW, shop.rack.pk)
    facts = facts_from_json(SetState.objects.get(pk=shop.sets[1].pk).facts)
    assert (facts.missing, facts.seen_place) == (True, str(shop.rack.pk))


def test_a_set_that_is_elsewhere_by_the_ledger_waits_for_an_answer(shop: SimpleNamespace) -> None:
    count = begin(shop)
    assert see(shop, count, shop.out) == "stranger"

    state = SetState.objects.get(pk=shop.out.pk)
    assert (state.outing_id, state.place_id) == (shop.outing.pk, shop.van.pk)
    (stranger,) = count_picture(count).waiting
    assert (stranger.state.pk, stranger.held.answer) == (shop.out.pk, "")


def test_it_came_back_ends_its_outing_and_flags_it(shop: SimpleNamespace) -> None:
    count, at = begin(shop), NOW + hours(1)
    see(shop, count, shop.out)

    answer_seen(who(shop.ines, shop.device, at), shop.branch, count, shop.out, is_here=True, now=at)

    state = SetState.objects.get(pk=shop.out.pk)
    assert (state.outing_id, state.place_id) == (None, shop.rack.pk)
    assert "counted_while_out" in [code for _entry, code in facts_from_json(state.facts).open_flags]
    # Its place is as of the moment it was seen, not of the answer.
    assert state.facts["seen_at"].startswith("2025-05-14T14:51")


def test_left_out_it_stays_where_the_ledger_has_it(shop: SimpleNamespace) -> None:
    count, at = begin(shop), NOW + hours(1)
    see(shop, count, shop.out)
    see(shop, count, shop.stranger, 2)

    done = finish(who(shop.ines, shop.device, at), shop.branch, count, here=[shop.stranger.pk], missing=(), now=at)

    assert done.here == (shop.stranger.pk,)
    assert SetState.objects.get(pk=shop.out.pk).outing_id == shop.outing.pk
    assert place_of(shop.stranger) == shop.rack
    assert SetState.objects.get(pk=shop.out.pk).open_flags == 0


def test_a_phone_without_signal_that_took_a_set_before_the_count_keeps_it(shop: SimpleNamespace) -> None:
    """The count declares it missing; then the phone speaks up with a scan out from before the count (LEDGER 19)."""
    count, end, taken = begin(shop), NOW + hours(1), shop.sets[2]
    finish(who(shop.ines, shop.device, end), shop.branch, count, here=(), missing=[taken.pk], now=end)
    assert place_of(taken).kind == "unknown"  # type: ignore[union-attr]

    before, sent = NOW - hours(1), NOW + hours(3)
    columns = {"outing": shop.outing, "gate": "passed", "to_place": shop.van, "holder_kind": "crew"}
    phone = who(shop.dag, shop.device, before, sent_at=sent, source="phone")
    record(phone, shop.branch, [NewLine("scanned_out", taken, None, columns)], now=sent)

    state = SetState.objects.get(pk=taken.pk)
    assert (state.outing_id, state.place_id) == (shop.outing.pk, shop.van.pk)


def test_a_set_taken_after_the_count_began_is_not_missing(shop: SimpleNamespace) -> None:
    count, taken = begin(shop), shop.sets[2]
    later = NOW + hours(0.5)
    scan_out(who(shop.dag, shop.device, later), shop.branch, taken, shop.outing, now=later)

    end = NOW + hours(1)
    done = finish(who(shop.ines, shop.device, end), shop.branch, count, here=(), missing=[taken.pk], now=end)

    assert (done.missing, done.moved) == ((), (taken.pk,))
    assert place_of(taken) == shop.van


def test_a_set_hung_up_during_the_count_is_not_looked_for(shop: SimpleNamespace) -> None:
    count, late = begin(shop), NOW + hours(0.5)
    newcomer = make_set(shop, make_type("70", "metal", 1), shop.rack, at=late)

    assert newcomer.pk in [state.pk for state in count_picture(count).seen]


def test_finishing_twice_changes_nothing_more(shop: SimpleNamespace) -> None:
    count, end = begin(shop), NOW + hours(1)
    person = who(shop.ines, shop.device, end)
    first = finish(person, shop.branch, count, here=(), missing=[shop.sets[0].pk], now=end)
    lines = Entry.objects.count()

    for again in (person, who(shop.ines, shop.device, end + hours(1))):
        done = finish(again, shop.branch, count, here=(), missing=[one.pk for one in shop.sets], now=end + hours(1))
        assert (done.missing, done.recorded.again) == (first.missing, True)  # type: ignore[union-attr]
    assert Entry.objects.count() == lines


def test_the_same_scan_sent_twice_is_one_entry(shop: SimpleNamespace) -> None:
    count = begin(shop)
    person = who(shop.teo, shop.device)
    for _ in range(2):
        assert count_seen(person, shop.branch, count, shop.out, now=NOW).how == "stranger"
    assert Entry.objects.filter(kind="counted").count() == 1


def test_undoing_the_end_gives_every_set_its_place_back_and_opens_the_count(shop: SimpleNamespace) -> None:
    count, end = begin(shop), NOW + hours(1)
    see(shop, count, shop.out)
    finish(who(shop.ines, shop.device, end), shop.branch, count, here=[shop.out.pk], missing=[shop.sets[1].pk], now=end)

    reopen(who(shop.ines, shop.device, end + hours(1)), shop.branch, count, now=end + hours(1))

    assert place_of(shop.sets[1]) == shop.rack
    assert SetState.objects.get(pk=shop.out.pk).outing_id == shop.outing.pk
    count.refresh_from_db()
    assert count.ended_at is None
    picture = count_picture(count)
    assert [one.state.pk for one in picture.waiting] == [shop.out.pk]
    assert len(picture.unseen) == 3


def test_undoing_a_scan_makes_the_set_one_to_look_for_again(shop: SimpleNamespace) -> None:
    count = begin(shop)
    counted = count_seen(who(shop.teo, shop.device), shop.branch, count, shop.sets[0], now=NOW)
    assert counted.recorded is not None

    undo(who(shop.teo, shop.device), shop.branch, counted.recorded.act, "", now=NOW + hours(0.1))

    assert len(count_picture(count).unseen) == 3
    assert see(shop, count, shop.sets[0], 20) == "here"


def test_a_helper_scans_but_neither_begins_nor_ends_nor_answers(shop: SimpleNamespace) -> None:
    with pytest.raises(NeedsRight, match=r"Teo B\. may not begin or end a count\."):
        begin_count(who(shop.teo, shop.device), shop.branch, shop.rack, now=NOW)
    count = begin(shop)
    see(shop, count, shop.out)
    with pytest.raises(NeedsRight):
        finish(who(shop.teo, shop.device), shop.branch, count, here=(), missing=(), now=NOW)
    with pytest.raises(NeedsRight):
        answer_seen(who(shop.teo, shop.device), shop.branch, count, shop.out, is_here=True, now=NOW)


def test_two_people_who_begin_one_place_count_together(shop: SimpleNamespace) -> None:
    assert begin(shop) == begin(shop, NOW + hours(0.2))
    assert Count.objects.count() == 1


def test_a_place_nobody_can_stand_before_is_not_counted(shop: SimpleNamespace) -> None:
    unknown = make_place(shop.branch, "unknown", "unknown")
    with pytest.raises(NotCounted, match="unknown is not counted"):
        begin_count(who(shop.ines, shop.device), shop.branch, unknown, now=NOW)


def test_after_its_end_nothing_more_is_counted(shop: SimpleNamespace) -> None:
    count, end = begin(shop), NOW + hours(1)
    finish(who(shop.ines, shop.device, end), shop.branch, count, here=(), missing=(), now=end)
    with pytest.raises(CountEnded) as refused:
        see(shop, count, shop.sets[0], 90)
    assert refused.value.sentence == "This count of Rack B is over. Begin a new one and scan it again."


def test_a_set_of_another_branch_is_refused(shop: SimpleNamespace) -> None:
    other = make_branch("Weir Street shop")
    foreign = ToolSet.objects.create(tool_type=shop.out.tool_type, made_at=NOW)
    write(shop, NewLine("received", foreign, None, {"branch": other}))
    with pytest.raises(OtherBranch):
        see(shop, begin(shop), foreign)


def test_nothing_is_answered_where_nothing_was_asked(shop: SimpleNamespace) -> None:
    with pytest.raises(NotAsked):
        answer_seen(who(shop.ines, shop.device), shop.branch, begin(shop), shop.out, is_here=True, now=NOW)


def test_a_set_missing_since_a_count_is_one_to_look_for_in_the_next(shop: SimpleNamespace) -> None:
    end = NOW + hours(1)
    finish(who(shop.ines, shop.device, end), shop.branch, begin(shop), here=(), missing=[shop.sets[1].pk], now=end)
    again = begin(shop, NOW + hours(30))

    assert [state.pk for state in count_picture(again).lost] == [shop.sets[1].pk]
    assert see(shop, again, shop.sets[1]) == "stranger"
    answer_seen(
        who(shop.ines, shop.device, NOW + hours(31)),
        shop.branch,
        again,
        shop.sets[1],
        is_here=True,
        now=NOW + hours(31),
    )
    assert place_of(shop.sets[1]) == shop.rack


def test_places_never_counted_come_first_then_the_longest_ago(shop: SimpleNamespace) -> None:
    end = NOW + hours(1)
    finish(who(shop.ines, shop.device, end), shop.branch, begin(shop), here=(), missing=(), now=end)

    rows = places_to_count(shop.branch, ["rack"])

    assert [(row.place.name, row.sets, row.counted_at) for row in rows] == [("Rack A", 1, None), ("Rack B", 3, end)]


@pytest.mark.parametrize("more", [0, 12])
def test_a_counts_picture_takes_the_same_queries_for_any_number_of_sets(shop: SimpleNamespace, more: int) -> None:
    count = begin(shop)
    metal = make_type("70", "metal", 1)
    for _ in range(more):
        make_set(shop, metal, shop.rack, at=NOW - hours(50))
        see(shop, count, make_set(shop, metal, shop.other, at=NOW - hours(50)))
    see(shop, count, shop.sets[0])
    see(shop, count, shop.out)
    with CaptureQueriesContext(
        connection,
    ) as seen:
        count_picture(count)
    assert len(seen) == 8


def test_an_act_key_reused_for_another_scan_writes_nothing(shop: SimpleNamespace) -> None:
    count, key = begin(shop), uuid4()
    count_seen(who(shop.teo, shop.device, act_id=key), shop.branch, count, shop.sets[0], now=NOW)
    count_seen(who(shop.teo, shop.device, act_id=key), shop.branch, count, shop.sets[1], now=NOW)
    assert Entry.objects.filter(kind="counted").count() == 1
