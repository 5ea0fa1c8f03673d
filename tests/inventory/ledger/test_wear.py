"""What a ledger says of wear: stretches between readings, uses added up before they are squared, new starts."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.ledger.facts import facts_from_json, facts_to_json
from inventory.ledger.line import Line
from inventory.ledger.state import META_KINDS, fold
from inventory.ledger.wear import BASES, stamp_of, stretches, wear_of
from tests.inventory.ledger.draw_lines import START, ledgers

REFERENCE = "medium|ground|wet|later"


def line(kind: str, hour: float, **columns: Any) -> Line:
    name = f"{kind} {hour}"
    facts: dict[str, Any] = {"id": name, "act": name, "device": "desk", "device_seq": 1, "tool_set": "set"}
    return Line(kind=kind, at=START + timedelta(hours=hour), **(facts | columns))


def worked(hour: float, area_m2: float, **columns: Any) -> Line:
    facts: dict[str, Any] = {
        "floor_uuid": "floor",
        "visit_uuid": "visit",
        "shift_uuid": f"shift {hour}",
        "step_key": "step",
        "passes": 1,
        "hardness": "medium",
        "surface": "ground",
        "wet_dry": "wet",
        "step_kind": "later",
        "basis": "measured",
    }
    return line("worked", hour, area_m2=area_m2, **(facts | columns))


def rows(*lines: Line) -> list[tuple[dict[str, Any], float | None]]:
    """Areas and reading of each stretch."""
    return [(row["areas"], row["read_mm"]) for row in stretches(fold(lines))]


BORN = line("received", 0, branch="1")


def test_five_nights_on_one_floor_are_one_use() -> None:
    nights = [worked(hour, 100.0) for hour in range(1, 6)]
    assert rows(BORN, *nights) == [({REFERENCE: [500.0, 250_000.0, 0.0, 0.0, 0.0]}, None)]


def test_two_floors_and_two_visits_are_uses_of_their_own() -> None:
    floors = [worked(1, 100.0), worked(2, 100.0, floor_uuid="other"), worked(3, 100.0, visit_uuid="next year")]
    assert rows(BORN, *floors) == [({REFERENCE: [300.0, 30_000.0, 0.0, 0.0, 0.0]}, None)]


def test_the_square_of_a_use_is_shared_among_its_bases_by_area() -> None:
    nights = [worked(1, 300.0), worked(2, 100.0, basis="guessed")]
    # (300 + 100)^2 = 160,000: three quarters measured, one quarter guessed.
    assert rows(BORN, *nights) == [({REFERENCE: [400.0, 120_000.0, 0.0, 0.0, 40_000.0]}, None)]


def test_passes_count_and_a_guess_gives_way_to_what_was_logged() -> None:
    logged = worked(1, 100.0, passes=3, shift_uuid="night")
    guess = worked(9, 900.0, basis="guessed", shift_uuid="night")
    assert rows(BORN, guess, logged) == [({REFERENCE: [300.0, 90_000.0, 0.0, 0.0, 0.0]}, None)]


def test_a_reading_ends_a_stretch_wherever_it_was_taken() -> None:
    found = stretches(
        fold(
            [
                BORN,
                worked(1, 100.0),
                line("measured", 2, lowest_height_mm=11.0),
                line("scanned_in", 3, to_place="rack", lowest_height_mm=10.8),
                worked(4, 50.0, hardness="hard"),
                line("counted", 5, seen=True, to_place="rack", lowest_height_mm=10.5),
                line("retired", 6, retired_why="worn", lowest_height_mm=10.4),
            ]
        )
    )
    assert [row["read_mm"] for row in found] == [11.0, 10.8, 10.5, 10.4]
    assert [sorted(row["areas"]) for row in found] == [[REFERENCE], [], ["hard|ground|wet|later"], []]
    assert [row["entry"] for row in found] == ["measured 2", "scanned_in 3", "counted 5", "retired 6"]


def test_dressing_reads_before_and_starts_anew_after() -> None:
    found = stretches(
        fold([BORN, worked(1, 100.0), line("dressed", 2, before_height_mm=9.4, lowest_height_mm=9.0), worked(3, 60.0)])
    )
    assert [row["read_mm"] for row in found] == [9.4, None]
    assert found[0]["restart"] == {"why": "dressed", "height_mm": 9.0, "changed": None, "of": None}
    assert found[1]["areas"][REFERENCE][0] == 60.0


def test_dressing_with_one_height_or_none_says_what_it_can() -> None:
    after = stretches(fold([BORN, worked(1, 100.0), line("dressed", 2, lowest_height_mm=9.0)]))
    assert [(row["read_mm"], row["restart"]["height_mm"]) for row in after] == [(None, 9.0)]
    before = stretches(fold([BORN, worked(1, 100.0), line("dressed", 2, before_height_mm=9.0)]))
    assert [(row["read_mm"], row["restart"]) for row in before] == [(9.0, None)]
    assert rows(BORN, worked(1, 100.0), line("dressed", 2), worked(3, 100.0)) == rows(
        BORN, worked(1, 100.0), worked(3, 100.0)
    )


def test_changed_pieces_start_anew_and_say_how_many_came_in() -> None:
    change = line("pieces_changed", 2, pieces=6, pieces_in=4, lowest_height_mm=8.0)
    found = stretches(fold([BORN, worked(1, 100.0), change, worked(3, 60.0)]))
    assert found[0]["restart"] == {"why": "pieces", "height_mm": 8.0, "changed": 4, "of": 6}
    assert found[0]["read_mm"] is None
    assert [row["areas"][REFERENCE][0] for row in found] == [100.0, 60.0]


def test_work_from_before_an_opening_by_height_is_in_that_height() -> None:
    opening = line("opening", 5, opening_kind="height", lowest_height_mm=6.0, branch="1")
    wear = wear_of(fold([worked(1, 500.0), opening, worked(9, 70.0)]))
    assert (wear["opening"], wear["start_mm"]) == ("height", 6.0)
    assert [row["areas"][REFERENCE][0] for row in wear["stretches"]] == [70.0]


def test_work_from_before_a_new_set_was_received_counts() -> None:
    assert rows(worked(1, 500.0), line("received", 5, branch="1")) == rows(BORN, worked(1, 500.0))


def test_a_set_without_work_or_readings_has_no_stretch() -> None:
    assert wear_of(fold([BORN])) == {"opening": "new", "start_mm": None, "stretches": []}
    assert wear_of(fold([])) == {"opening": "", "start_mm": None, "stretches": []}


@settings(max_examples=150, deadline=None)
@given(ledgers(), st.randoms(use_true_random=False))
def test_any_order_of_arrival_gives_the_same_wear(ledger: list[Line], rng: random.Random) -> None:
    shuffled = list(ledger)
    rng.shuffle(shuffled)
    kept = facts_from_json(facts_to_json(fold(shuffled)))
    # As a database may give it back that sorts the keys of what it keeps.
    kept.uses = dict(sorted(kept.uses.items(), key=lambda one: (len(one[0]), one[0])))
    wear = wear_of(fold(ledger))
    assert wear_of(kept) == wear
    assert stamp_of(wear_of(kept), "usable", "") == stamp_of(wear, "usable", "")


@settings(max_examples=150, deadline=None)
@given(ledgers().filter(lambda ledger: any(one.kind == "worked" for one in ledger)))
def test_the_stretches_hold_every_counted_area_once(ledger: list[Line]) -> None:
    facts = fold(ledger)
    areas: dict[str, float] = {}
    for row in stretches(facts):
        for key, (area, *squares) in row["areas"].items():
            areas[key] = areas.get(key, 0.0) + area
            assert sum(squares) <= area**2 * (1 + 1e-9)
            assert len(squares) == len(BASES)
    if facts.opening in (None, "new"):
        assert {key: round(area, 3) for key, area in areas.items()} == {
            key: round(area, 3) for key, area in facts.worked_by_class().items()
        }


@settings(max_examples=100, deadline=None)
@given(ledgers().filter(lambda ledger: any(one.lowest_height_mm is not None for one in ledger)), st.data())
def test_a_voided_reading_says_nothing_of_wear(ledger: list[Line], data: st.DataObject) -> None:
    held: Sequence[Line] = [one for one in ledger if one.lowest_height_mm is not None and one.kind not in META_KINDS]
    target = data.draw(st.sampled_from(held))
    rest = [one for one in ledger if one.id != target.id and one.void_target != target.id]
    if target.kind == "pieces_changed":
        rest = [one for one in rest if one.act != target.act or one.kind in ("voided", "settled")]
    void = replace(
        target, id="void", act="void", kind="voided", void_target=target.id, held_back=False, device_seq=10**6
    )
    kept = [one for one in ledger if one.void_target != target.id]
    rest = [one for one in rest if one.settles_target != target.id]
    kept = [one for one in kept if one.settles_target != target.id]
    assert wear_of(fold([*kept, void])) == wear_of(fold(rest))
