"""Life left from rows: the shop's own worn-out sets, heights and unknown pasts move it, and it costs two queries."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from inventory.actions.ledger import NewLine
from inventory.estimate import chances_to_finish, lives, records
from inventory.models import ToolSet, ToolType
from inventory.shop_settings import ShopSettings, settings_of
from tests.cast import NOW, TODAY, hours, make_cast, make_place, make_set, make_type, uuid, write

pytestmark = pytest.mark.django_db


def worked(cast: SimpleNamespace, tool_set: ToolSet, area_m2: float, at_hour: float, visit: int) -> None:
    """Work logged on a medium floor that was ground before: the reference floor."""
    facts: dict[str, Any] = {
        "floor_uuid": uuid(visit),
        "visit_uuid": uuid(1000 + visit),
        "step_key": uuid(2000 + visit),
        "area_m2": area_m2,
        "passes": 1,
        "hardness": "medium",
        "surface": "ground",
        "coating": "none",
        "wet_dry": "wet",
        "step_kind": "later",
        "basis": "measured",
    }
    write(cast, NewLine("worked", tool_set, None, facts), at=NOW + hours(at_hour))


def wear_out(cast: SimpleNamespace, tool_type: ToolType, area_m2: float, number: int) -> None:
    """A set seen from new that ended worn after so much reference area."""
    tool_set = make_set(cast, tool_type, make_place(cast.branch))
    worked(cast, tool_set, area_m2, 1, number)
    write(cast, NewLine("retired", tool_set, None, {"retired_why": "worn"}), at=NOW + hours(2))


def settings(cast: SimpleNamespace) -> ShopSettings:
    return settings_of(cast.branch, today=TODAY)


def test_a_new_set_of_a_type_without_record_lives_about_its_rating() -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type(), make_place(cast.branch))

    life = lives(records(settings(cast)))[tool_set.pk]

    # METHODS 1.1: the median lies 10 % (of ln) below the rating of 6,000 m2.
    assert life.likely_m2 == pytest.approx(5429, rel=0.01)
    assert 0 < life.at_least_m2 < life.likely_m2 < life.up_to_m2
    assert life.shares[1] == pytest.approx(1.0, abs=0.01)
    assert life.worn_out == 0


def test_three_worn_out_sets_ending_at_half_their_rating_move_life_left() -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    before = lives(records(settings(cast)))[tool_set.pk]
    for number in range(3):
        wear_out(cast, make_type(), 3000, number)

    after = lives(records(settings(cast)))[tool_set.pk]

    assert after.worn_out == 3
    assert after.likely_m2 < 0.72 * before.likely_m2
    assert after.up_to_m2 < before.up_to_m2


def test_worked_area_takes_life_away_and_a_height_that_shows_little_wear_gives_some_back() -> None:
    cast = make_cast()
    used = make_set(cast, make_type(), make_place(cast.branch))
    fresh = make_set(cast, make_type(), make_place(cast.branch))
    worked(cast, used, 3000, 1, 1)
    plain = lives(records(settings(cast)))
    assert plain[used.pk].likely_m2 < plain[fresh.pk].likely_m2 - 2000

    write(cast, NewLine("measured", used, None, {"lowest_height_mm": 9.0}), at=NOW + hours(2))

    # 3 of 10 mm gone after 3,000 m2 points to a life of 10,000 m2.
    assert lives(records(settings(cast)))[used.pk].likely_m2 > plain[used.pk].likely_m2 * 1.3


def test_a_set_opened_half_worn_has_less_left_and_wider_doubt_than_a_new_one() -> None:
    cast = make_cast()
    new = make_set(cast, make_type(), make_place(cast.branch))
    half = ToolSet.objects.create(tool_type=make_type(), made_at=NOW)
    write(cast, NewLine("opening", half, None, {"opening_kind": "half", "branch": cast.branch}))

    answer = lives(records(settings(cast)))

    assert answer[half.pk].likely_m2 < 0.7 * answer[new.pk].likely_m2
    assert answer[half.pk].at_least_m2 > 0


def test_a_retired_set_finishes_nothing_and_has_no_life_left() -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    write(cast, NewLine("retired", tool_set, None, {"retired_why": "broken"}), at=NOW + hours(1))
    found = records(settings(cast))

    assert tool_set.pk not in lives(found)
    assert chances_to_finish(found, {tool_set.pk: 100.0}) == {tool_set.pk: 0.0}


def test_the_chance_to_finish_falls_with_the_area_asked() -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    found = records(settings(cast))

    chances = [chances_to_finish(found, {tool_set.pk: area})[tool_set.pk] for area in (10, 4000, 9000)]

    assert chances[0] > 0.99
    assert chances[0] > chances[1] > chances[2] > 0


def test_a_type_without_rating_goes_by_its_bond_and_without_neighbours_stays_silent() -> None:
    cast = make_cast()
    unrated = make_type("800", rated_coverage_m2=None)
    tool_set = make_set(cast, unrated, make_place(cast.branch))
    assert lives(records(settings(cast))) == {}

    make_type("400")

    assert lives(records(settings(cast)))[tool_set.pk].likely_m2 == pytest.approx(5429, rel=0.01)


@pytest.mark.parametrize("sets", [1, 6])
def test_lives_cost_two_queries_however_many_sets(sets: int, django_assert_num_queries: Any) -> None:
    cast = make_cast()
    rack = make_place(cast.branch)
    for _ in range(sets):
        make_set(cast, make_type(), rack)
    known = settings(cast)

    with django_assert_num_queries(2):
        assert len(lives(records(known))) == sets
