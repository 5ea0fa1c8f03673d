"""Scan out and in, hand over, move, find: the gate, the refusals, repeats and query counts."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.actions import custody
from inventory.actions.custody import (
    AlreadyThere,
    Elsewhere,
    NeedsRight,
    NotConditioned,
    NotConfirmed,
    NotReceived,
    NotUsable,
    OtherBranch,
    OutingClosed,
    Soaking,
)
from inventory.actions.fitness import set_aside
from inventory.actions.ledger import NewLine
from inventory.actions.undo import NothingToUndo, NotYours, undo, undo_last
from inventory.models import Act, Entry, Place, SetState, ToolSet
from inventory.refusals import Refused
from tests.cast import (
    NOW,
    hours,
    make_branch,
    make_cast,
    make_outing,
    make_place,
    make_set,
    make_type,
    who,
    write,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> SimpleNamespace:
    """A rack, a tub, an outing, a conditioned resin set, a dry one, and a metal set that needs no water."""
    cast = make_cast()
    rack, tub = make_place(cast.branch, name="Rack B"), make_place(cast.branch, "tub", "Tub 1")
    early = NOW - hours(100)
    wet = make_set(cast, make_type("200"), rack, at=early, code="GL-WET001")
    write(cast, NewLine("soak_begun", wet, None, {"to_place": tub}), at=NOW - hours(90))
    write(cast, NewLine("conditioning_confirmed", wet), at=NOW - hours(10))
    write(cast, NewLine("moved", wet, None, {"to_place": rack, "peg": "14"}), at=NOW - hours(9))
    return SimpleNamespace(
        cast=cast,
        rack=rack,
        tub=tub,
        outing=make_outing(cast.branch),
        other=make_outing(cast.branch, "Bellweather"),
        wet=wet,
        dry=make_set(cast, make_type("400"), rack, at=early, code="GL-DRY001"),
        metal=make_set(cast, make_type("70", "metal", 1, soak_need="none"), rack, at=early, code="GL-MET001"),
    )


def state(tool_set: ToolSet) -> SetState:
    return SetState.objects.get(pk=tool_set.pk)


def out(shop: SimpleNamespace, tool_set: ToolSet, person: Any = None, **more: Any) -> custody.ScannedOut:
    by = who(person or shop.cast.ines, shop.cast.device)
    return custody.scan_out(by, shop.cast.branch, tool_set, more.pop("outing", shop.outing), now=NOW, **more)


def test_a_conditioned_set_leaves_and_the_gate_says_passed(shop: SimpleNamespace) -> None:
    done = out(shop, shop.wet)
    assert (done.gate, state(shop.wet).outing_id) == ("passed", shop.outing.pk)
    assert done.words is not None
    # It left the water at NOW - 9 h and counts for 24 h: until 00:50 in Chicago.
    assert done.words.line == "Conditioned until Thu 00:50"


def test_a_set_that_needs_no_water_leaves_dry(shop: SimpleNamespace) -> None:
    assert out(shop, shop.metal).gate == "passed"


def test_a_dry_set_is_refused_with_the_hours_it_needs(shop: SimpleNamespace) -> None:
    acts = Act.objects.count()
    with pytest.raises(NotConditioned) as refused:
        out(shop, shop.dry)
    assert refused.value.why.replace("\xa0", " ") == "Dry. Needs 72 h in water."
    assert refused.value.next_step == "Put it in water now and take another set."
    assert Act.objects.count() == acts


def test_a_set_that_dries_out_before_its_step_starts_is_refused_unless_carried_in_water(shop: SimpleNamespace) -> None:
    late = {"start_at": NOW + hours(20)}
    with pytest.raises(NotConditioned, match="will have dried out when its step starts"):
        out(shop, shop.wet, **late)
    bucket = make_place(shop.cast.branch, "bucket")
    assert out(shop, shop.wet, to_place=bucket, **late).gate == "passed"


def test_an_override_needs_the_right_and_a_reason_and_does_not_make_it_conditioned(shop: SimpleNamespace) -> None:
    with pytest.raises(NeedsRight, match=r"Dag P\. may not send out a set that is not ready"):
        out(shop, shop.dry, shop.cast.dag, override_why="no other")
    with pytest.raises(NotConditioned):
        out(shop, shop.dry, override_why="   ")

    done = out(shop, shop.dry, override_why="no other set of 400")

    line = done.recorded.entries[0]
    assert (done.gate, line.gate, line.why) == ("overridden", "overridden", "no other set of 400")
    assert state(shop.dry).facts["flags"] == [[str(line.pk), "gate_overridden"]]
    assert state(shop.dry).facts["confirmed"] == []


def test_done_hours_without_a_name_are_confirmed_in_the_same_tap(shop: SimpleNamespace) -> None:
    soaked = make_set(shop.cast, make_type("400"), shop.rack, at=NOW - hours(99))
    write(shop.cast, NewLine("soak_begun", soaked, None, {"to_place": shop.tub}), at=NOW - hours(80))
    with pytest.raises(NotConfirmed, match="Soaked, not confirmed"):
        out(shop, soaked, shop.cast.dag)
    with pytest.raises(NeedsRight, match="may not confirm a soak"):
        out(shop, soaked, shop.cast.teo, confirm=True)

    done = out(shop, soaked, shop.cast.dag, confirm=True)

    assert [entry.kind for entry in done.recorded.entries] == ["conditioning_confirmed", "scanned_out"]
    assert (done.gate, state(soaked).facts["flags"]) == ("passed", [])


def test_a_set_still_soaking_is_refused(shop: SimpleNamespace) -> None:
    write(shop.cast, NewLine("soak_begun", shop.dry, None, {"to_place": shop.tub}), at=NOW - hours(5))
    with pytest.raises(NotConditioned, match="Soaking until Sat 04:50"):
        out(shop, shop.dry)


def test_a_set_aside_or_retired_cannot_be_overridden(shop: SimpleNamespace) -> None:
    set_aside(who(shop.cast.ines, shop.cast.device), shop.cast.branch, shop.wet, "chipped piece", now=NOW)
    with pytest.raises(NotUsable, match="set aside since 09:50: chipped piece"):
        out(shop, shop.wet, override_why="must go")
    write(shop.cast, NewLine("retired", shop.metal, None, {"retired_why": "worn"}))
    with pytest.raises(NotUsable, match="was retired"):
        out(shop, shop.metal, override_why="must go")


def test_a_set_out_elsewhere_says_who_has_it_and_is_handed_over(shop: SimpleNamespace) -> None:
    out(shop, shop.wet)
    with pytest.raises(Elsewhere) as refused:
        out(shop, shop.wet, outing=shop.other)
    assert (refused.value.holder, refused.value.outing, refused.value.since) == ("Osprey Lane", shop.outing, NOW)

    by = who(shop.cast.dag, shop.cast.device, NOW + hours(1))
    custody.hand_over(by, shop.cast.branch, shop.wet, shop.other, now=NOW + hours(1))

    after = state(shop.wet)
    assert (after.outing_id, after.holder_name, after.facts["flags"]) == (shop.other.pk, "Bellweather", [])


def test_a_dry_set_is_not_handed_over_either(shop: SimpleNamespace) -> None:
    out(shop, shop.dry, override_why="no other")
    with pytest.raises(NotConditioned):
        custody.hand_over(who(shop.cast.dag, shop.cast.device), shop.cast.branch, shop.dry, shop.other, now=NOW)


def test_a_set_scanned_out_twice_to_one_outing_is_there_already(shop: SimpleNamespace) -> None:
    out(shop, shop.metal)
    with pytest.raises(AlreadyThere, match=r"GL-MET001 is on Osprey Lane since 09:50\."):
        out(shop, shop.metal)
    assert Entry.objects.filter(kind="scanned_out").count() == 1


def test_nothing_leaves_with_a_closed_outing(shop: SimpleNamespace) -> None:
    shop.outing.closed_at = NOW
    shop.outing.save()
    with pytest.raises(OutingClosed):
        out(shop, shop.metal)


def test_a_set_without_a_beginning_or_of_another_branch_is_refused(shop: SimpleNamespace) -> None:
    with pytest.raises(NotReceived):
        out(shop, ToolSet.objects.create(tool_type=make_type(), made_at=NOW))
    far = make_branch("Quayside shop")
    theirs = ToolSet.objects.create(tool_type=make_type("70", "metal", 1), made_at=NOW)
    write(shop.cast, NewLine("received", theirs, None, {"branch": far}))
    with pytest.raises(OtherBranch, match="belongs to Quayside shop"):
        out(shop, theirs)


def test_pressing_twice_is_one_act(shop: SimpleNamespace) -> None:
    by = who(shop.cast.ines, shop.cast.device)
    first = custody.scan_out(by, shop.cast.branch, shop.metal, shop.outing, now=NOW)
    again = custody.scan_out(by, shop.cast.branch, shop.metal, shop.outing, now=NOW + hours(1))
    assert (again.recorded.again, again.recorded.act, again.gate) == (True, first.recorded.act, "passed")
    assert Entry.objects.filter(kind="scanned_out").count() == 1


def test_a_van_label_takes_the_sets_of_the_list_and_says_which_may_not(shop: SimpleNamespace) -> None:
    done = custody.scan_out_many(
        who(shop.cast.ines, shop.cast.device), shop.cast.branch, [shop.wet, shop.dry, shop.metal], shop.outing, now=NOW
    )
    assert done.recorded is not None
    assert set(done.taken) == {shop.wet, shop.metal}
    assert [(tool_set, type(why)) for tool_set, why in done.refused] == [(shop.dry, NotConditioned)]
    assert len({entry.act_id for entry in done.recorded.entries}) == 1


def test_a_set_comes_back_to_its_peg(shop: SimpleNamespace) -> None:
    out(shop, shop.wet)
    assert custody.home_pegs([shop.wet.pk]) == {shop.wet.pk: (shop.rack.pk, "14")}
    by = who(shop.cast.teo, shop.cast.device, NOW + hours(12))
    custody.scan_in(by, shop.cast.branch, shop.wet, shop.rack, now=NOW + hours(12), peg="14")
    after = state(shop.wet)
    assert (after.outing_id, after.place_id, after.peg, after.facts["flags"]) == (None, shop.rack.pk, "14", [])


def test_a_set_scanned_into_a_tub_soaks(shop: SimpleNamespace) -> None:
    out(shop, shop.wet)
    custody.scan_in(
        who(shop.cast.teo, shop.cast.device, NOW + hours(12)), shop.cast.branch, shop.wet, shop.tub, now=NOW + hours(12)
    )
    assert (state(shop.wet).soaking, state(shop.wet).facts["flags"]) == (True, [])


def test_a_soaking_set_is_not_scanned_out_of_its_tub_by_a_scan_in(shop: SimpleNamespace) -> None:
    write(shop.cast, NewLine("soak_begun", shop.dry, None, {"to_place": shop.tub}), at=NOW - hours(5))
    with pytest.raises(Soaking, match="lies in Tub 1"):
        custody.scan_in(who(shop.cast.teo, shop.cast.device), shop.cast.branch, shop.dry, shop.rack, now=NOW)


def test_a_missing_set_scanned_in_is_found(shop: SimpleNamespace) -> None:
    write(shop.cast, NewLine("trouble", shop.metal, None, {"trouble_kind": "lost"}))
    assert state(shop.metal).facts["place"] == "unknown"
    at = NOW + hours(1)
    done = custody.scan_in(who(shop.cast.teo, shop.cast.device, at), shop.cast.branch, shop.metal, shop.rack, now=at)
    assert [entry.kind for entry in done.entries] == ["found"]
    assert (state(shop.metal).place_id, state(shop.metal).facts["flags"]) == (shop.rack.pk, [])


def test_a_set_that_hangs_there_already_asks_for_nothing(shop: SimpleNamespace) -> None:
    with pytest.raises(AlreadyThere, match="GL-WET001 is in Rack B, peg 14 already"):
        custody.scan_in(who(shop.cast.teo, shop.cast.device), shop.cast.branch, shop.wet, shop.rack, now=NOW)


def test_a_set_out_is_not_moved_to_a_rack_without_scanning_in(shop: SimpleNamespace) -> None:
    out(shop, shop.metal)
    by = who(shop.cast.ines, shop.cast.device)
    with pytest.raises(Elsewhere):
        custody.move(by, shop.cast.branch, shop.metal, shop.rack, now=NOW)
    bucket = make_place(shop.cast.branch, "bucket")
    custody.move(by, shop.cast.branch, shop.metal, bucket, now=NOW)
    assert (state(shop.metal).place_id, state(shop.metal).outing_id) == (bucket.pk, shop.outing.pk)


def test_a_bucket_moves_with_a_line_for_each_set(shop: SimpleNamespace) -> None:
    bucket, van = make_place(shop.cast.branch, "bucket"), make_place(shop.cast.branch, "van")
    by = who(shop.cast.ines, shop.cast.device)
    done = custody.move_place(by, shop.cast.branch, bucket, van, [shop.wet, shop.metal], now=NOW)
    bucket.refresh_from_db()
    assert [entry.kind for entry in done.entries] == ["moved", "seen", "seen"]
    assert (bucket.inside_id, state(shop.wet).place_id) == (van.pk, bucket.pk)


def test_the_others_are_asked_for_once_and_stay_out(shop: SimpleNamespace) -> None:
    out(shop, shop.wet)
    out(shop, shop.metal)
    at = NOW + hours(12)
    custody.say_where(
        who(shop.cast.teo, shop.cast.device, at), shop.cast.branch, [shop.wet, shop.metal], "in_water", now=at
    )
    assert (state(shop.wet).facts["left_how"], state(shop.wet).outing_id) == ("in_water", shop.outing.pk)

    custody.say_where(
        who(shop.cast.teo, shop.cast.device, at + hours(1)), shop.cast.branch, [shop.metal], "lost", now=at + hours(1)
    )
    assert (state(shop.metal).facts["place"], state(shop.metal).outing_id) == ("unknown", None)


def test_undo_voids_ones_own_last_act_and_only_once(shop: SimpleNamespace) -> None:
    before = state(shop.metal).facts
    done = out(shop, shop.metal, shop.cast.teo)
    later = NOW + hours(1)
    assert undo_last(who(shop.cast.teo, shop.cast.device, later), shop.cast.branch, now=later)[1] == done.recorded.act
    assert state(shop.metal).facts == before
    with pytest.raises(NothingToUndo):
        undo_last(who(shop.cast.teo, shop.cast.device, later), shop.cast.branch, now=later)


def test_undo_pressed_twice_voids_one_act(shop: SimpleNamespace) -> None:
    out(shop, shop.metal, shop.cast.teo)
    out(shop, shop.wet, shop.cast.teo)
    by = who(shop.cast.teo, shop.cast.device, NOW + hours(1))
    first = undo_last(by, shop.cast.branch, now=NOW + hours(1))
    assert undo_last(by, shop.cast.branch, now=NOW + hours(2))[1] == first[1]
    assert (state(shop.metal).outing_id, state(shop.wet).outing_id) == (shop.outing.pk, None)


def test_others_acts_are_voided_by_who_settles(shop: SimpleNamespace) -> None:
    act = out(shop, shop.metal, shop.cast.dag).recorded.act
    with pytest.raises(NotYours, match=r"Dag P\. wrote that"):
        undo(who(shop.cast.teo, shop.cast.device), shop.cast.branch, act, "", now=NOW)
    undo(who(shop.cast.ines, shop.cast.device, NOW + hours(1)), shop.cast.branch, act, "slip", now=NOW + hours(1))
    assert state(shop.metal).outing_id is None


def test_scanning_out_many_sets_takes_no_more_questions_than_one(shop: SimpleNamespace) -> None:
    """Reads are counted; each set's state is written with one update of its own."""
    more = [make_set(shop.cast, make_type("70", "metal", 1), shop.rack, at=NOW - hours(50)) for _number in range(6)]

    def reads(sets: list[ToolSet]) -> int:
        with CaptureQueriesContext(
            connection,
        ) as queries:
            custody.scan_out_many(who(shop.cast.ines, shop.cast.device), shop.cast.branch, sets, shop.outing, now=NOW)
        return sum(query["sql"].startswith("SELECT") for query in queries)

    assert reads(more[:1]) == reads(more[1:])


def test_an_undone_move_closes_no_ring_of_crates(shop: Any) -> None:
    first, second = (make_place(shop.cast.branch, "crate", name) for name in ("Crate A", "Crate B"))

    def put(place: Any, inside: Any) -> Any:
        return custody.move_place(who(shop.cast.ines, shop.cast.device), shop.cast.branch, place, inside, [], now=NOW)

    put(first, second)
    out = put(first, shop.rack)
    into = put(second, first)

    with pytest.raises(Refused, match=r"Crate A would lie in itself: Crate B has been put into it since."):
        undo(who(shop.cast.ines, shop.cast.device), shop.cast.branch, out.act, "", now=NOW)

    assert [Place.objects.get(pk=one.pk).inside_id for one in (first, second)] == [shop.rack.pk, first.pk]
    undo(who(shop.cast.ines, shop.cast.device), shop.cast.branch, into.act, "", now=NOW)
    undo(who(shop.cast.ines, shop.cast.device), shop.cast.branch, out.act, "", now=NOW)
    assert [Place.objects.get(pk=one.pk).inside_id for one in (first, second)] == [second.pk, None]
