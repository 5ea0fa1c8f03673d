"""The soak question brought to rows: recipes by date, voided readings, query counts. The rules have their own tests."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from inventory.actions.ledger import NewLine, void
from inventory.actions.shop import save_place
from inventory.models import Recipe
from inventory.queries.soak import conditioning_of, states_with_types, waters_of
from inventory.soak_words import soak_words
from tests.cast import NOW, TODAY, hours, make_cast, make_place, make_set, make_type, write

pytestmark = pytest.mark.django_db


def test_a_set_is_conditioned_when_its_hours_are_done_and_somebody_confirmed() -> None:
    cast = make_cast()
    rack, tub = make_place(cast.branch), make_place(cast.branch, "tub")
    tool_set = make_set(cast, make_type(), rack)
    write(cast, NewLine("soak_begun", tool_set, None, {"to_place": tub}), at=NOW + hours(1))

    def state(at: float) -> str:
        return conditioning_of([tool_set.pk], cast.branch, at=NOW + hours(at))[tool_set.pk].state

    # 72 h in cold water: the example recipe of the design.
    assert [state(0.5), state(72.9), state(73)] == ["dry", "soaking", "soaked, not confirmed"]
    write(cast, NewLine("conditioning_confirmed", tool_set), at=NOW + hours(74))
    write(cast, NewLine("moved", tool_set, None, {"to_place": rack}), at=NOW + hours(80))
    # 24 h of dry-out after it left the water.
    assert [state(75), state(103.9), state(104.1)] == ["conditioned", "conditioned", "dry"]


def test_a_voided_reading_warms_no_soak() -> None:
    cast = make_cast()
    tub = make_place(cast.branch, "tub", thermostat=True)
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    write(cast, NewLine("soak_begun", tool_set, None, {"to_place": tub}), at=NOW)
    readings = [
        write(cast, NewLine("water_read", None, tub, {"temperature_c": 60.0}), at=NOW + hours(at))
        for at in (0, 12, 24, 31)
    ]
    ask = {"at": NOW + hours(32)}
    assert conditioning_of([tool_set.pk], cast.branch, **ask)[tool_set.pk].state == "soaked, not confirmed"

    write(cast, void(readings[1].entries[0], "read the wrong tub"), at=NOW + hours(32))

    # From 0 h the reading vouches 14 h in a thermostat's tub, then nothing is known until 24 h.
    answer = conditioning_of([tool_set.pk], cast.branch, **ask)[tool_set.pk]
    assert (answer.state, answer.soak.hot_hours) == ("soaking", 22.0)


def test_a_thermostat_vouches_for_readings_taken_while_it_held_the_tub() -> None:
    cast = make_cast()
    keep: dict[str, Any] = {"kind": "tub", "name": "Tub 9", "valid_from": TODAY}
    tub = save_place(cast.ines, cast.branch, **keep, now=NOW - hours(48))
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    write(cast, NewLine("soak_begun", tool_set, None, {"to_place": tub}), at=NOW)
    for at in (0, 20):
        write(cast, NewLine("water_read", None, tub, {"temperature_c": 60.0}), at=NOW + hours(at))

    def hot_hours(at: float) -> float:
        return conditioning_of([tool_set.pk], cast.branch, at=NOW + hours(at))[tool_set.pk].soak.hot_hours

    assert hot_hours(30) == 8.0  # 4 h each, DESIGN 4
    save_place(cast.ines, cast.branch, **keep, thermostat=True, place_id=tub.pk, now=NOW + hours(10))
    # The reading at 0 h keeps its 4 h; the one at 20 h was taken on the thermostat: 10 of its 14 h by 30 h.
    assert hot_hours(30) == 14.0
    save_place(cast.ines, cast.branch, **keep, thermostat=False, place_id=tub.pk, now=NOW + hours(40))
    assert hot_hours(50) == 18.0
    write(cast, NewLine("water_read", None, tub, {"temperature_c": 60.0}), at=NOW + hours(50))
    assert hot_hours(60) == 22.0


def test_a_reading_held_back_counts_only_once_accepted() -> None:
    cast = make_cast()
    tub = make_place(cast.branch, "tub", thermostat=True)
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    write(cast, NewLine("soak_begun", tool_set, None, {"to_place": tub}), at=NOW)
    held = write(
        cast, NewLine("water_read", None, tub, {"temperature_c": 60.0}), at=NOW, held_back="right withdrawn"
    ).entries[0]
    ask = {"at": NOW + hours(2)}
    assert conditioning_of([tool_set.pk], cast.branch, **ask)[tool_set.pk].soak.hot_hours == 0.0

    accept = {"settles_target": held.pk, "flag_code": "held_back", "answer": "accept"}
    write(cast, NewLine("settled", None, tub, accept), at=NOW + hours(1))

    assert conditioning_of([tool_set.pk], cast.branch, **ask)[tool_set.pk].soak.hot_hours == 2.0


def test_a_soak_keeps_the_recipe_that_stood_when_it_began() -> None:
    cast = make_cast()
    tool_type = make_type()
    tub = make_place(cast.branch, "tub")
    early, late = make_set(cast, tool_type), make_set(cast, tool_type)
    write(cast, NewLine("soak_begun", early, None, {"to_place": tub}), at=NOW)
    Recipe.objects.create(
        tool_type=tool_type, cold_hours=10, valid_from=date(2025, 5, 14), recorded_at=NOW + hours(1), dry_out_hours=24
    )
    write(cast, NewLine("soak_begun", late, None, {"to_place": tub}), at=NOW + hours(2))

    answers = conditioning_of([early.pk, late.pk], cast.branch, at=NOW + hours(13))

    assert (answers[early.pk].state, answers[late.pk].state) == ("soaking", "soaked, not confirmed")


def test_a_type_without_a_word_on_soaking_warns_and_does_not_block() -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type("70", "metal", 1, soak_need="unknown"))
    answer = conditioning_of([tool_set.pk], cast.branch, at=NOW)[tool_set.pk]
    assert (answer.state, answer.passes) == ("unknown need", True)


def test_a_set_carried_in_water_is_still_conditioned_at_a_late_start() -> None:
    cast = make_cast()
    rack, tub = make_place(cast.branch), make_place(cast.branch, "tub")
    tool_set = make_set(cast, make_type(), rack)
    write(cast, NewLine("soak_begun", tool_set, None, {"to_place": tub}), at=NOW)
    write(cast, NewLine("conditioning_confirmed", tool_set), at=NOW + hours(73))
    waters = waters_of(states_with_types([tool_set.pk]), cast.branch, at=NOW + hours(74))

    def gate(in_water: bool) -> str:
        return waters.at_start(tool_set.pk, NOW + hours(74), NOW + hours(100), in_water=in_water).state

    assert (gate(True), gate(False)) == ("conditioned", "dry")


def test_asking_about_many_sets_takes_as_many_queries_as_about_one(
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    cast = make_cast()
    tubs = [make_place(cast.branch, "tub") for _number in range(3)]
    sets = [make_set(cast, make_type(grit)) for grit in ("100", "200", "400") for _number in range(3)]
    for number, tool_set in enumerate(sets):
        write(cast, NewLine("soak_begun", tool_set, None, {"to_place": tubs[number % 3]}), at=NOW)
    for count in (1, len(sets)):
        with django_assert_num_queries(5):
            conditioning_of([tool_set.pk for tool_set in sets[:count]], cast.branch, at=NOW + hours(5))


def test_the_words_say_when_and_what_is_missing() -> None:
    cast = make_cast()
    rack, tub = make_place(cast.branch), make_place(cast.branch, "tub")
    tool_set = make_set(cast, make_type(), rack)

    def line(at: float) -> str:
        answer = conditioning_of([tool_set.pk], cast.branch, at=NOW + hours(at))[tool_set.pk]
        return soak_words(answer, cast.branch, NOW + hours(at)).line.replace("\xa0", " ")

    # NOW is Wednesday 14 May 2025, 09:50 in Chicago.
    assert line(0) == "Dry. Needs 72 h in water"
    write(cast, NewLine("soak_begun", tool_set, None, {"to_place": tub}), at=NOW)
    assert line(1) == "Soaking until Sat 09:50"
    write(cast, NewLine("conditioning_confirmed", tool_set), at=NOW + hours(73))
    assert line(74) == "Conditioned, in water"
    write(cast, NewLine("moved", tool_set, None, {"to_place": rack}), at=NOW + hours(75))
    assert line(76) == "Conditioned until Sun 12:50"
