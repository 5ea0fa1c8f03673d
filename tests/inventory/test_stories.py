"""The stories that LEDGER.md asks to be walked through, as far as they touch the ledger alone."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from inventory.actions.corrections import void_entry
from inventory.actions.ledger import NewLine, record, void
from inventory.models import Count, Label, SetState, ToolSet
from inventory.models.choices import OutingKind, Source, TimeKnown
from inventory.queries.soak import conditioning_of
from tests.cast import (
    NOW,
    hours,
    make_branch,
    make_cast,
    make_outing,
    make_place,
    make_set,
    make_type,
    uuid,
    who,
    write,
)

pytestmark = pytest.mark.django_db
CHICAGO = ZoneInfo("America/Chicago")


def state_of(tool_set: ToolSet) -> SetState:
    return SetState.objects.get(pk=tool_set.pk)


def flags_of(tool_set: ToolSet) -> list[str]:
    return [code for _entry, code in state_of(tool_set).facts["flags"]]


def test_a_counter_purchase_at_nine_on_a_blank_label_by_a_phone_three_hours_slow_against_next_days_paper() -> None:
    cast = make_cast()
    crate = make_place(cast.branch, "crate")
    Label.objects.create(code="GL-AAAAAA", branch=cast.branch, made_at=NOW)
    bought_at = datetime(2025, 5, 14, 21, 0, tzinfo=CHICAGO).astimezone(UTC)
    sent_at = datetime(2025, 5, 15, 7, 0, tzinfo=CHICAGO).astimezone(UTC)
    slow = hours(3)
    # The set is born on the phone, without signal: its key is made there.
    tool_set = ToolSet.objects.create(id=uuid(5), tool_type=make_type(), made_at=bought_at)
    phone = who(
        cast.dag,
        cast.device,
        bought_at - slow,
        sent_at=sent_at - slow,
        contact_offset_ms=int(slow.total_seconds() * 1000),
        contact_at=NOW,
        source=Source.PHONE,
    )
    lines = [
        NewLine("received", tool_set, None, {"branch": cast.branch, "to_place": crate}),
        NewLine("labelled", tool_set, None, {"code_id": "GL-AAAAAA"}),
    ]
    bought = record(phone, cast.branch, lines, now=sent_at)
    assert (bought.act.happened_at, bought.act.clock_doubt) == (bought_at, "none")
    assert bought.act.written_at == bought_at - slow, "both times are kept"
    assert Label.objects.get(pk="GL-AAAAAA").opens_set_id == tool_set.pk

    # The paper slip, entered next day, says the same set came at noon, half worn.
    paper = who(
        cast.ines,
        cast.device,
        sent_at + hours(2),
        sent_at=sent_at + hours(2),
        source=Source.PAPER,
        time_known=TimeKnown.DAY,
        happened_at=datetime(2025, 5, 14, 12, 0, tzinfo=CHICAGO),
    )
    slip = record(
        paper,
        cast.branch,
        [NewLine("opening", tool_set, None, {"opening_kind": "half", "branch": cast.branch})],
        now=sent_at + hours(2),
    )
    # The earliest opening holds, the other is flagged, nothing is lost: the label still opens the set.
    assert (state_of(tool_set).opening, flags_of(tool_set)) == ("half", ["received_twice"])
    assert state_of(tool_set).code == "GL-AAAAAA"

    later = sent_at + hours(3)
    void_entry(who(cast.ines, cast.device, later), cast.branch, slip.entries[0], "the slip of another", now=later)
    facts = state_of(tool_set).facts
    assert (facts["opening"], facts["flags"], facts["place"]) == ("new", [], str(crate.pk))
    assert datetime.fromisoformat(facts["born_at"]) == bought_at


def test_a_hot_tub_with_two_sets_one_lifted_for_twenty_minutes_late_readings_and_a_clock_change_in_the_night() -> None:
    cast = make_cast()
    rack, tub = make_place(cast.branch), make_place(cast.branch, "tub", thermostat=True)
    begin = datetime(2025, 3, 8, 20, 0, tzinfo=CHICAGO).astimezone(UTC)
    stays, lifted = (make_set(cast, make_type(), rack, at=begin - hours(24)) for _set in range(2))

    def at(count: float) -> datetime:
        return begin + hours(count)

    for tool_set in (stays, lifted):
        write(cast, NewLine("soak_begun", tool_set, None, {"to_place": tub}), at=begin)
    write(cast, NewLine("soak_ended", lifted, None, {"to_place": rack}), at=at(10))
    write(cast, NewLine("soak_begun", lifted, None, {"to_place": tub}), at=at(10) + timedelta(minutes=20))
    sets = [stays.pk, lifted.pk]
    # No reading is on record yet: as far as the ledger knows the water is cold.
    assert {one.state for one in conditioning_of(sets, cast.branch, at=at(31.2)).values()} == {"soaking"}

    # The phone with the readings sends late; 31 h hot began at 8 in the evening before the clocks went forward.
    for count in (0, 12, 24, 31):
        write(
            cast,
            NewLine("water_read", None, tub, {"temperature_c": 56.0}),
            at=at(count),
            now=at(31.1),
        )
    ready = conditioning_of(sets, cast.branch, at=at(31.2))
    assert ready[stays.pk].state == "soaked, not confirmed"
    assert ready[stays.pk].ready_at == begin + hours(31)
    assert begin.astimezone(CHICAGO).hour == 20
    assert (begin + hours(31)).astimezone(CHICAGO).hour == 4, "an hour later by the wall clock than without the change"
    # Lifted out for 20 minutes, its soak went on: not yet 31 h in hot water, not started again either.
    assert ready[lifted.pk].state == "soaking"
    assert ready[lifted.pk].expected_ready_at == begin + hours(31) + timedelta(minutes=20)

    for tool_set in (stays, lifted):
        write(cast, NewLine("water_read", None, tub, {"temperature_c": 56.0}), at=at(32))
        write(cast, NewLine("conditioning_confirmed", tool_set), at=at(32.1))
    assert {one.state for one in conditioning_of(sets, cast.branch, at=at(33)).values()} == {"conditioned"}

    # One reading was of another tub: without it the hot hours do not add up, whoever confirmed.
    readings = list(tub.entries.filter(kind="water_read").order_by("act__happened_at"))
    for entry in readings[1:3]:
        write(cast, void(entry, "read the other tub"), at=at(34))
    assert {one.state for one in conditioning_of(sets, cast.branch, at=at(34)).values()} == {"soaking"}


def worked(tool_set: ToolSet, outing: Any, night: int, area: float, machine: Any = None) -> NewLine:
    columns = {
        "floor_uuid": uuid(100),
        "visit_uuid": uuid(101),
        "shift_uuid": uuid(110 + night),
        "step_key": uuid(102),
        "outing": outing,
        "area_m2": area,
        "passes": 5,
        "hardness": "hard",
        "surface": "raw",
        "coating": "none",
        "wet_dry": "wet",
        "step_kind": "later",
        "basis": "section_done",
        "machine": machine,
    }
    return NewLine("worked", tool_set, None, columns)


def test_five_nights_with_two_sets_of_one_grit_and_a_piece_from_a_remnant_on_the_third() -> None:
    cast = make_cast()
    rack, bucket = make_place(cast.branch), make_place(cast.branch, "bucket")
    one, two, remnant = (make_set(cast, make_type(), rack) for _set in range(3))
    outing = make_outing(cast.branch, "Osprey Lane, five nights", due_at=NOW + hours(24 * 6))
    for tool_set in (one, two):
        line = NewLine("scanned_out", tool_set, None, {"outing": outing, "gate": "passed", "to_place": bucket})
        write(cast, line, at=NOW + hours(1))
    for night in range(5):
        write(
            cast,
            worked(one, outing, night, 100.0),
            worked(two, outing, night, 80.0),
            NewLine("seen", one, None, {"left_how": "in_water"}),
            NewLine("seen", two, None, {"left_how": "in_water"}),
            at=NOW + hours(8 + 24 * night),
        )
    third = NOW + hours(10 + 48)
    act = write(
        cast,
        NewLine("pieces_changed", one, None, {"pieces": 3, "lowest_height_mm": 7.0, "other_set": remnant}),
        NewLine("pieces_changed", remnant, None, {"pieces": 2, "other_set": one}),
        at=third,
        now=NOW + hours(24 * 5),
    )
    assert state_of(one).worked_m2 == 5 * 500.0
    assert state_of(two).worked_m2 == 5 * 400.0
    uses = state_of(one).facts["uses"]
    assert {(use["floor"], use["visit"]) for lines in uses.values() for use in lines} == {
        (str(uuid(100)), str(uuid(101)))
    }, "five nights on one floor are one use"
    assert state_of(remnant).facts["pieces"] == 2
    assert (state_of(one).outing_id, state_of(one).place_id) == (outing.pk, bucket.pk), "several nights, one outing"

    write(cast, NewLine("scanned_in", one, None, {"to_place": rack, "outing": outing}), at=NOW + hours(24 * 5 + 1))
    void_entry(
        who(cast.ines, cast.device, NOW + hours(24 * 6)),
        cast.branch,
        act.entries[1],
        "it was the other remnant",
        now=NOW + hours(24 * 6),
    )
    assert (state_of(remnant).facts["pieces"], state_of(one).facts["repieced"]) == (3, False)
    assert state_of(one).worked_m2 == 2500.0


def test_a_count_finds_two_strangers_and_misses_one_on_a_van_with_an_offline_phone() -> None:
    cast = make_cast()
    rack, other_rack, van = make_place(cast.branch), make_place(cast.branch), make_place(cast.branch, "van")
    here, gone, taken = (make_set(cast, make_type(), rack) for _set in range(3))
    stranger = make_set(cast, make_type(), other_rack)
    lent = make_set(cast, make_type(), other_rack)
    loan, tonight = make_outing(cast.branch, "Lent", kind=OutingKind.LOAN), make_outing(cast.branch, "Tonight")
    write(cast, NewLine("scanned_out", lent, None, {"outing": loan, "gate": "passed"}), at=NOW + hours(1))

    begun, ended = NOW + hours(10), NOW + hours(11)
    count = Count.objects.create(branch=cast.branch, place=rack, begun_at=begun, begun_by=cast.ines)
    common = {"count": count, "to_place": rack}
    write(
        cast,
        *(NewLine("counted", one, None, {"seen": True, **common}) for one in (here, stranger, lent)),
        *(NewLine("counted", one, None, {"seen": False, "acts_at": begun, **common}) for one in (gone, taken)),
        at=ended,
    )
    assert [state_of(one).place_id for one in (here, stranger, lent)] == [rack.pk] * 3
    assert (state_of(lent).outing_id, flags_of(lent)) == (None, ["counted_while_out"])
    assert [state_of(one).facts["place"] for one in (gone, taken)] == ["unknown", "unknown"]
    assert state_of(gone).facts["seen_place"] == str(rack.pk), "last seen on this rack"

    # The crew's phone finds signal: it had scanned the set out an hour before the count began.
    line = NewLine("scanned_out", taken, None, {"outing": tonight, "gate": "not_asked", "to_place": van})
    write(cast, line, at=NOW + hours(9), now=NOW + hours(14))
    assert (state_of(taken).outing_id, state_of(taken).place_id) == (tonight.pk, van.pk)
    assert flags_of(taken) == ["gate_not_asked"]
    assert state_of(gone).facts["place"] == "unknown"

    write(cast, NewLine("found", gone, None, {"to_place": other_rack}), at=NOW + hours(20))
    assert (state_of(gone).place_id, flags_of(gone)) == (other_rack.pk, [])


def test_a_set_goes_to_another_branch_and_back() -> None:
    cast = make_cast()
    south = make_branch("South shop", "America/Denver")
    rack, far_rack = make_place(cast.branch), make_place(south)
    tool_set = make_set(cast, make_type(), rack, code="GL-AAAAAA")
    places = []
    for number, (branch, place) in enumerate(((south, far_rack), (cast.branch, rack))):
        transfer = make_outing(cast.branch, f"to {branch.name}", kind=OutingKind.TRANSFER)
        start = NOW + hours(1 + 24 * number)
        write(cast, NewLine("scanned_out", tool_set, None, {"outing": transfer, "gate": "passed"}), at=start)
        line = NewLine("scanned_in", tool_set, None, {"to_place": place, "outing": transfer, "branch": branch})
        write(cast, line, at=start + hours(5))
        places.append((state_of(tool_set).branch_id, state_of(tool_set).place_id))
        # Lost there, it is missing in that branch.
        lost = write(cast, NewLine("trouble", tool_set, None, {"trouble_kind": "lost"}), at=start + hours(6))
        unknown = state_of(tool_set).place
        assert unknown is not None
        assert (unknown.kind, unknown.branch_id) == ("unknown", branch.pk)
        write(cast, void(lost.entries[0], "it lay behind the crate"), at=start + hours(7))

    assert places == [(south.pk, far_rack.pk), (cast.branch.pk, rack.pk)]
    assert (flags_of(tool_set), state_of(tool_set).code) == ([], "GL-AAAAAA")
