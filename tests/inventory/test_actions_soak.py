"""What people do with water, through the actions: into a tub, read it, confirm by name, take out."""

from __future__ import annotations

from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest

from inventory.actions.gate import Elsewhere, NeedsRight
from inventory.actions.ledger import NewLine
from inventory.actions.soak import (
    NeedsNoSoak,
    NotReady,
    NotSoaking,
    NotWater,
    TubFull,
    WaterDoubted,
    WaterRefused,
    confirm,
    put_in,
    read_water,
    take_out,
)
from inventory.models import Entry, SetState
from inventory.queries.soak import conditioning_of
from inventory.units import Amount
from tests.cast import NOW, hours, make_cast, make_outing, make_place, make_set, make_type, who, write

pytestmark = pytest.mark.django_db


def fahrenheit(value: int) -> Amount:
    return Amount((value - 32) / 1.8, Decimal(value), "F")


def test_a_set_is_ready_after_its_cold_hours_and_conditioned_once_confirmed_by_name() -> None:
    cast = make_cast()
    tub, rack = make_place(cast.branch, "tub"), make_place(cast.branch)
    tool_set = make_set(cast, make_type(), rack)
    put_in(who(cast.teo, cast.device), cast.branch, [tool_set], tub, now=NOW)
    later = NOW + hours(72)
    assert conditioning_of([tool_set.pk], cast.branch, at=later - hours(1))[tool_set.pk].state == "soaking"

    confirm(who(cast.dag, cast.device, later), cast.branch, [tool_set], now=later)
    take_out(who(cast.teo, cast.device, later + hours(1)), cast.branch, [tool_set], rack, now=later + hours(1))

    answer = conditioning_of([tool_set.pk], cast.branch, at=later + hours(2))[tool_set.pk]
    assert (answer.state, answer.until) == ("conditioned", later + hours(25))
    assert SetState.objects.get(pk=tool_set.pk).place_id == rack.pk


def test_a_hot_tub_needs_its_readings_and_a_late_one_counts_for_every_set_in_it() -> None:
    cast = make_cast()
    tub = make_place(cast.branch, "tub", thermostat=True)
    sets = [make_set(cast, make_type(), make_place(cast.branch)) for _ in range(2)]
    put_in(who(cast.ines, cast.device), cast.branch, sets, tub, now=NOW)
    for at in (0, 12, 24):
        read_water(who(cast.ines, cast.device, NOW + hours(at)), cast.branch, tub, fahrenheit(131), now=NOW + hours(at))
    end = NOW + hours(31)
    before = conditioning_of([one.pk for one in sets], cast.branch, at=end)
    assert {answer.state for answer in before.values()} == {"soaking"}

    # Read at the end, typed in two hours later.
    late = who(cast.ines, cast.device, end + hours(2), happened_at=end)
    read_water(late, cast.branch, tub, fahrenheit(131), now=end + hours(2))

    after = conditioning_of([one.pk for one in sets], cast.branch, at=end)
    assert {answer.state for answer in after.values()} == {"soaked, not confirmed"}


def test_nobody_confirms_before_the_hours_are_done() -> None:
    cast = make_cast()
    tub = make_place(cast.branch, "tub")
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    put_in(who(cast.ines, cast.device), cast.branch, [tool_set], tub, now=NOW)

    with pytest.raises(NotReady, match="Soaking until"):
        confirm(who(cast.dag, cast.device), cast.branch, [tool_set], now=NOW + hours(10))

    assert not Entry.objects.filter(kind="conditioning_confirmed").exists()


def test_a_helper_may_not_confirm() -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type(), make_place(cast.branch))

    with pytest.raises(NeedsRight, match=r"Teo B\. may not confirm a soak\."):
        confirm(who(cast.teo, cast.device), cast.branch, [tool_set], now=NOW)


def test_a_full_tub_refuses_all_and_names_one_with_room() -> None:
    cast = make_cast()
    small, large = make_place(cast.branch, "tub", "Tub 1", room_sets=1), make_place(cast.branch, "tub", "Tub 3")
    sets = [make_set(cast, make_type(), make_place(cast.branch)) for _ in range(2)]

    with pytest.raises(TubFull) as refused:
        put_in(who(cast.ines, cast.device), cast.branch, sets, small, now=NOW)

    assert refused.value.sentence == "Tub 1 has 1 place left, for 2 sets. Tub 3 has room."
    assert not Entry.objects.filter(kind="soak_begun").exists()
    put_in(who(cast.ines, cast.device), cast.branch, sets, large, now=NOW)
    assert SetState.objects.filter(place=large, soaking=True).count() == 2


def test_putting_in_again_with_the_same_key_changes_nothing() -> None:
    cast = make_cast()
    tub = make_place(cast.branch, "tub")
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    person = who(cast.ines, cast.device)
    put_in(person, cast.branch, [tool_set], tub, now=NOW)

    assert put_in(person, cast.branch, [tool_set], tub, now=NOW + hours(1)).again
    assert Entry.objects.filter(kind="soak_begun").count() == 1


def test_a_set_that_needs_no_water_a_rack_and_a_set_on_the_road_are_refused() -> None:
    cast = make_cast()
    tub, rack = make_place(cast.branch, "tub"), make_place(cast.branch)
    metal = make_set(cast, make_type("70", "metal", 1, soak_need="none"), rack)
    resin = make_set(cast, make_type(), rack)
    person = cast.ines

    with pytest.raises(NeedsNoSoak, match="metal 70, needs no water"):
        put_in(who(person, cast.device), cast.branch, [metal], tub, now=NOW)
    with pytest.raises(NotWater, match="holds no water"):
        put_in(who(person, cast.device), cast.branch, [resin], rack, now=NOW)
    with pytest.raises(NotSoaking, match="lies in no tub"):
        take_out(who(person, cast.device), cast.branch, [resin], rack, now=NOW)
    outing = make_outing(cast.branch)
    write(cast, NewLine("scanned_out", resin, None, {"outing": outing, "gate": "passed"}))
    with pytest.raises(Elsewhere, match="Out with Osprey Lane"):
        put_in(who(person, cast.device, NOW + hours(1)), cast.branch, [resin], tub, now=NOW + hours(1))


def test_an_unlikely_temperature_is_asked_about_and_steam_is_refused() -> None:
    cast = make_cast()
    tub = make_place(cast.branch, "tub")

    with pytest.raises(WaterDoubted, match="keep it if right"):
        read_water(who(cast.ines, cast.device), cast.branch, tub, fahrenheit(200), now=NOW)
    with pytest.raises(WaterRefused, match="is steam"):
        read_water(who(cast.ines, cast.device), cast.branch, tub, fahrenheit(300), now=NOW)

    read_water(who(cast.ines, cast.device), cast.branch, tub, fahrenheit(200), now=NOW, sure=True)
    entry = Entry.objects.get(kind="water_read")
    assert (entry.amount_value, entry.amount_unit) == ("200", "F")


def full_tub(cast: Any, room: int, begun: Any) -> Any:
    tub = make_place(cast.branch, "tub", "Tub 3", room_sets=room)
    sets = [make_set(cast, make_type(), make_place(cast.branch), at=begun - hours(100)) for _ in range(room)]
    put_in(who(cast.ines, cast.device, begun), cast.branch, sets, tub, now=begun)
    return SimpleNamespace(tub=tub, sets=sets)


def test_a_set_taken_out_of_one_tub_into_another_soaks_there_and_can_be_taken_out() -> None:
    cast = make_cast()
    first, second, rack = (make_place(cast.branch, kind) for kind in ("tub", "tub", "rack"))
    tool_set = make_set(cast, make_type(), rack)
    put_in(who(cast.teo, cast.device), cast.branch, [tool_set], first, now=NOW)
    later = NOW + hours(10)

    take_out(who(cast.teo, cast.device, later), cast.branch, [tool_set], second, now=later)

    state = SetState.objects.get(pk=tool_set.pk)
    assert (state.place_id, state.soaking, state.open_flags) == (second.pk, True, 0)
    # Another tub starts again (DESIGN 4): ready 72 h after it went into this one.
    states = [conditioning_of([tool_set.pk], cast.branch, at=later + hours(at))[tool_set.pk].state for at in (71, 72)]
    assert states == ["soaking", "soaked, not confirmed"]
    end = later + hours(1)
    take_out(who(cast.teo, cast.device, end), cast.branch, [tool_set], rack, now=end)
    assert SetState.objects.get(pk=tool_set.pk).soaking is False


def test_a_full_tub_takes_no_set_out_of_another_one() -> None:
    cast = make_cast()
    full, other = full_tub(cast, 2, NOW), make_place(cast.branch, "tub", "Tub 2")
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    put_in(who(cast.teo, cast.device), cast.branch, [tool_set], other, now=NOW)

    with pytest.raises(TubFull, match="Tub 3 has 0 places left"):
        take_out(who(cast.teo, cast.device), cast.branch, [tool_set], full.tub, now=NOW)

    assert SetState.objects.get(pk=tool_set.pk).place_id == other.pk


def test_what_is_said_to_lie_in_a_tub_where_it_does_not_lie_is_refused() -> None:
    cast = make_cast()
    first, second = make_place(cast.branch, "tub", "Tub 1"), make_place(cast.branch, "tub", "Tub 2")
    rack = make_place(cast.branch)
    tool_set = make_set(cast, make_type(), rack)
    put_in(who(cast.teo, cast.device), cast.branch, [tool_set], second, now=NOW)
    by = who(cast.teo, cast.device)

    with pytest.raises(NotSoaking, match="does not lie in Tub 1: Tub 2"):
        take_out(by, cast.branch, [tool_set], rack, now=NOW, out_of=first)

    take_out(by, cast.branch, [tool_set], rack, now=NOW, out_of=second)
    assert take_out(by, cast.branch, [tool_set], rack, now=NOW, out_of=second).again


def test_a_tub_that_was_full_at_a_time_gone_by_takes_no_more_sets_then() -> None:
    cast = make_cast()
    full = full_tub(cast, 3, NOW - hours(4))
    late = make_set(cast, make_type(), make_place(cast.branch), at=NOW - hours(100))
    out_at = NOW - hours(1)
    take_out(who(cast.teo, cast.device, out_at), cast.branch, [full.sets[0]], make_place(cast.branch), now=out_at)

    for ago in (3, 5):  # then it was full; at the other time it had room, and filled up before one came out
        said = who(cast.ines, cast.device, NOW, happened_at=NOW - hours(ago))
        with pytest.raises(TubFull, match=r"Tub 3 held 3 sets .*, and has room for 3"):
            put_in(said, cast.branch, [late], full.tub, now=NOW)
    assert not SetState.objects.get(pk=late.pk).soaking

    said = who(cast.ines, cast.device, NOW, happened_at=NOW - hours(0.5))
    put_in(said, cast.branch, [late], full.tub, now=NOW)
    assert SetState.objects.filter(place=full.tub).count() == 3
