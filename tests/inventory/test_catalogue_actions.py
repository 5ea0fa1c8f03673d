"""What is done with the catalogue: refused in the user's words, kept once, never lost."""

import json
from datetime import UTC, date, datetime, time
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from inventory.actions import catalogue, shop
from inventory.actions.starting_ladder import SOURCES, starting_ladder, take_ladder
from inventory.models import Price, Recipe, Setting, ShopHours, SupplierWord, ToolType, ToolTypeVersion
from inventory.models.choices import PlaceKind, SoakNeed
from inventory.queries.catalogue import ladder, shop_calendar
from inventory.shop_settings import KNOWN, settings_of
from tests.cast import NOW, TODAY, make_branch, make_cast, make_place, make_set, make_supplier, make_type

pytestmark = pytest.mark.django_db
FACTS = {
    "name": "Resin 400",
    "grit": "400",
    "bond": "resin",
    "ladder_place": 70,
    "mount": "9 in. plate",
    "pieces_per_set": 9,
    "new_height_mm": 10.0,
    "retire_height_mm": 1.5,
    "rated_coverage_m2": 5000.0,
}


def save(**changes) -> ToolType:
    row = ToolType.objects.filter(name=changes.pop("of", "")).first()
    return catalogue.save_tool_type(
        None, {} if row and not changes else ({} if row else FACTS) | changes, tool_type=row, valid_from=TODAY, now=NOW
    )


def test_a_saved_tool_type_has_a_version_and_the_same_words_add_none() -> None:
    tool_type = save()
    assert save() == tool_type
    save(of="Resin 400", rated_coverage_m2=4000.0)
    save(of="Resin 400", rated_coverage_m2=4000.0)
    assert [row.rated_coverage_m2 for row in tool_type.versions.order_by("pk")] == [5000.0, 4000.0]
    tool_type.refresh_from_db()
    assert tool_type.rated_coverage_m2 == 4000.0


@pytest.mark.parametrize(
    ("changes", "field", "why"),
    [
        ({"new_height_mm": 1.5}, "new_height_mm", "New at 1.5\u00a0mm is not above retired at 1.5\u00a0mm."),
        ({"new_height_mm": -1.0}, "new_height_mm", "−1\u00a0mm is no height of a piece."),
        ({"rated_coverage_m2": 0.0}, "rated_coverage_m2", "No set covers 0\u00a0m²."),
        ({"pieces_per_set": 0}, "pieces_per_set", "A set has one piece or more."),
        ({"ladder_place": -1}, "ladder_place", "The place on the ladder is a whole number from 0, coarse first."),
        ({"grit": " "}, "grit", "A tool type needs its grit, as it stands on the tool."),
        ({"bond": "glue"}, "bond", "“glue” is no bond."),
    ],
)
def test_a_wrong_fact_is_refused_and_nothing_is_kept(changes, field: str, why: str) -> None:
    with pytest.raises(catalogue.CatalogueRefused) as refused:
        save(**changes)
    assert (refused.value.field, refused.value.why) == (field, why)
    assert not ToolType.objects.exists()
    assert not ToolTypeVersion.objects.exists()


def test_a_fact_nobody_has_is_refused_by_name() -> None:
    with pytest.raises(catalogue.CatalogueRefused, match="no colour"):
        save(colour="red")


def test_an_unlikely_fact_is_asked_about_and_kept_when_said_again() -> None:
    with pytest.raises(catalogue.Unlikely, match="is high for a new piece"):
        save(new_height_mm=40.0)
    facts = FACTS | {"new_height_mm": 40.0}
    row = catalogue.save_tool_type(None, facts, valid_from=TODAY, now=NOW, sure=True)
    assert row.new_height_mm == 40.0


def test_a_place_against_the_grit_is_asked_about() -> None:
    save()
    with pytest.raises(catalogue.Unlikely) as refused:
        save(name="Resin 800", grit="800", ladder_place=60)
    assert refused.value.why == "Place 60 puts 800 before Resin 400, which is coarser."
    with pytest.raises(catalogue.Unlikely, match="puts 200 after Resin 400, which is finer"):
        save(name="Resin 200", grit="200", ladder_place=80)
    assert save(name="Metal 800", grit="800", bond="metal", ladder_place=10).ladder_place == 10


def test_another_type_of_the_same_name_is_refused() -> None:
    save()
    with pytest.raises(catalogue.NameTaken):
        save(name="resin 400", pieces_per_set=3)


def test_a_recipe_makes_the_type_one_that_must_be_soaked() -> None:
    tool_type = save()
    words: dict[str, Any] = {
        "cold_hours": 60.0,
        "hot_hours": 24.0,
        "hot_limit_c": 50.0,
        "mixed_credit": False,
        "dry_out_hours": 24.0,
    }
    for _again in range(2):
        catalogue.save_recipe(None, tool_type, **words, valid_from=TODAY, now=NOW)
    tool_type.refresh_from_db()
    assert tool_type.soak_need == SoakNeed.REQUIRED
    assert Recipe.objects.count() == 1
    assert tool_type.versions.count() == 2


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"cold_hours": 0.0}, "cold_hours"),
        ({"hot_limit_c": None}, "hot_limit_c"),
        ({"hot_hours": None}, "hot_hours"),
        ({"hot_limit_c": 130.0}, "hot_limit_c"),
        ({"dry_out_hours": -1.0}, "dry_out_hours"),
        ({"hot_hours": 70.0}, "hot_hours"),
        ({"valid_from": date(2030, 1, 1)}, "valid_from"),
    ],
)
def test_a_recipe_that_cannot_be_is_refused(changes, field: str) -> None:
    words: dict[str, Any] = {
        "cold_hours": 60.0,
        "hot_hours": 24.0,
        "hot_limit_c": 50.0,
        "mixed_credit": False,
        "dry_out_hours": 24.0,
    }
    with pytest.raises(catalogue.CatalogueRefused) as refused:
        catalogue.save_recipe(None, save(), **({"valid_from": TODAY} | words | changes), now=NOW)
    assert refused.value.field == field
    assert not Recipe.objects.exists()


def test_a_price_far_from_the_last_is_asked_about() -> None:
    tool_type, supplier = save(), make_supplier()

    def price(amount: str, sure: bool = False) -> Price:
        return catalogue.save_price(
            None, tool_type, supplier, price=Decimal(amount), currency="USD", valid_from=TODAY, now=NOW, sure=sure
        )

    assert price("310").pk == price("310").pk
    with pytest.raises(catalogue.Unlikely, match="3100 is far from the last price, 310"):
        price("3100")
    with pytest.raises(catalogue.CatalogueRefused, match="below zero"):
        price("-1")
    assert price("3100", sure=True).price == 3100
    assert Price.objects.count() == 2


def test_a_name_taken_at_the_same_moment_is_answered_as_a_name_taken_before(monkeypatch) -> None:
    def supplier(**more):
        return catalogue.save_supplier(None, name="Quarrymead Abrasives", valid_from=TODAY, now=NOW, **more)

    def at_once(name: str) -> None:  # the other one is not there yet when the name is first looked up
        look = getattr(catalogue, name)
        monkeypatch.setattr(catalogue, name, lambda *_a, **_k: monkeypatch.setattr(catalogue, name, look))

    first, tool_type = supplier(lead_working_days=15), save()
    at_once("_supplier_named")
    assert supplier(lead_working_days=15) == first
    at_once("_supplier_named")
    with pytest.raises(catalogue.NameTaken, match="There is a supplier Quarrymead Abrasives already"):
        supplier(email="orders@quarrymead.example")
    at_once("_tool_type_named")
    assert catalogue.save_tool_type(None, FACTS, valid_from=TODAY, now=NOW) == tool_type
    at_once("_tool_type_named")
    with pytest.raises(catalogue.NameTaken, match="There is a tool type Resin 400 already"):
        catalogue.save_tool_type(None, FACTS | {"pieces_per_set": 6}, valid_from=TODAY, now=NOW)
    assert (SupplierWord.objects.count(), ToolTypeVersion.objects.count()) == (1, 1)


def test_a_suppliers_word_is_kept_when_it_changes() -> None:
    def supplier(**more):
        return catalogue.save_supplier(None, name="Quarrymead Abrasives", valid_from=TODAY, now=NOW, **more)

    first = supplier(lead_working_days=15)
    assert supplier(lead_working_days=15) == first
    supplier(lead_working_days=20)
    supplier()
    assert list(SupplierWord.objects.values_list("lead_working_days", flat=True)) == [15, 20]
    with pytest.raises(catalogue.CatalogueRefused, match="999 working days is more than a year"):
        supplier(lead_working_days=999)


def test_a_machine_has_versions_and_must_make_sense() -> None:
    branch = make_branch()
    facts = {"name": "Walker 1", "kind": "walk_behind", "heads": 3, "mount": "9 in. plate", "pieces_per_load": 9}
    machine = shop.save_machine(None, branch, facts, valid_from=TODAY, now=NOW)
    assert shop.save_machine(None, branch, facts, valid_from=TODAY, now=NOW) == machine
    shop.save_machine(None, branch, {"path_m": 0.8}, machine=machine, valid_from=TODAY, now=NOW)
    assert [version.path_m for version in machine.versions.order_by("pk")] == [None, 0.8]
    for changes, field in (
        ({"heads": 0}, "heads"),
        ({"pieces_per_load": 2}, "pieces_per_load"),
        ({"path_m": 12.0}, "path_m"),
        ({"speed_low_m_per_min": 9.0, "speed_high_m_per_min": 3.0}, "speed_low_m_per_min"),
        ({"rented_from": date(2025, 5, 2), "rented_to": date(2025, 5, 1)}, "rented_to"),
    ):
        with pytest.raises(catalogue.CatalogueRefused) as refused:
            shop.save_machine(None, branch, changes, machine=machine, valid_from=TODAY, now=NOW)
        assert refused.value.field == field


def test_a_place_with_sets_in_it_stays_in_use() -> None:
    cast = make_cast()
    rack = make_place(cast.branch, PlaceKind.RACK, "Rack B")
    make_set(cast, make_type(), rack)
    when: dict[str, Any] = {"valid_from": TODAY, "now": NOW}
    with pytest.raises(catalogue.CatalogueRefused) as refused:
        shop.save_place(None, cast.branch, kind="rack", name="Rack B", active=False, place_id=rack.pk, **when)
    assert refused.value.sentence == "Rack B holds 1 set. Move them first."
    with pytest.raises(catalogue.CatalogueRefused, match="not made here"):
        shop.save_place(None, cast.branch, kind="site", name="Osprey Lane", **when)
    facts: dict[str, Any] = {"kind": "tub", "name": "Tub 1", "room_sets": 12, "thermostat": True}
    tub = shop.save_place(None, cast.branch, **facts, **when)
    assert shop.save_place(None, cast.branch, **facts, **when) == tub
    assert shop.save_place(None, cast.branch, **facts, place_id=tub.pk, **when) == tub
    assert tub.versions.count() == 1
    with pytest.raises(catalogue.CatalogueRefused, match="stays one"):
        shop.save_place(None, cast.branch, kind="rack", name="Tub 1", place_id=tub.pk, **when)


def test_a_setting_holds_from_its_day_and_says_once() -> None:
    branch = make_branch()
    kept = shop.save_setting(None, branch, "vouch_hours", "6", valid_from=TODAY, now=NOW)
    assert kept is not None
    assert shop.save_setting(None, branch, "vouch_hours", "6.0", valid_from=TODAY, now=NOW) is None
    assert settings_of(branch, today=TODAY)["vouch_hours"] == 6.0
    assert settings_of(branch, today=date(2025, 5, 13))["vouch_hours"] == 4.0


@pytest.mark.parametrize(
    ("key", "value"),
    [("vouch_hours", "soon"), ("vouch_hours", "0"), ("finish_limit", "1.5"), ("tight_limit", "0.95"), ("colour", "1"),
     ("morning_until", "25:00"), ("vouch_hours", "nan")],
)  # fmt: skip
def test_a_setting_that_cannot_be_is_refused(key: str, value: str) -> None:
    with pytest.raises(catalogue.CatalogueRefused):
        shop.save_setting(None, make_branch(), key, value, valid_from=TODAY, now=NOW)
    assert not Setting.objects.exists()


def test_every_start_value_passes_its_own_check() -> None:
    for key, known in KNOWN.items():
        shop._check_setting(key, known.start)


def test_hours_are_kept_a_week_at_a_time() -> None:
    branch = make_branch()
    week = {0: [(time(7), time(12)), (time(13), time(17))], 5: [(time(8), time(12))]}
    first = shop.save_hours(None, branch, week, valid_from=TODAY, now=NOW)
    assert shop.save_hours(None, branch, week, valid_from=TODAY, now=NOW) == first
    assert shop_calendar(branch, TODAY).hours == {day: tuple(spans) for day, spans in week.items()}
    for wrong in ({}, {0: [(time(9), time(8))]}, {0: [(time(7), time(12)), (time(11), time(13))]}):
        with pytest.raises(catalogue.CatalogueRefused):
            shop.save_hours(None, branch, wrong, valid_from=TODAY, now=NOW)
    assert ShopHours.objects.count() == 1


def test_a_closed_day_said_twice_is_said_once() -> None:
    branch = make_branch()
    day = date(2025, 7, 4)
    assert shop.save_closed_day(None, branch, day, name="Holiday", now=NOW) is not None
    assert shop.save_closed_day(None, branch, day, name="Holiday", now=NOW) is None
    assert shop_calendar(branch, TODAY).closed == {day}
    later = datetime(2025, 6, 1, tzinfo=UTC)
    assert shop.save_closed_day(None, branch, day, closed=False, now=later) is not None
    assert shop_calendar(branch, TODAY).closed == frozenset()


def test_every_value_of_the_starting_ladder_says_where_it_comes_from() -> None:
    text = Path("fixtures/starting_ladder.json").read_text(encoding="utf-8")
    for step in json.loads(text)["steps"]:
        for cell in [*step["facts"].values(), *(step["recipe"] or {}).values()]:
            assert set(cell) == {"value", "source"}
            assert cell["source"] in SOURCES
    # The ladder itself: DESIGN 4, the demo shop's own.
    assert [step.key for step in starting_ladder()] == [
        *(f"metal-{grit}" for grit in (30, 70, 120)),
        *(f"resin-{grit}" for grit in (50, 100, 200, 400, 800, 1500, 3000)),
    ]


def test_a_taken_ladder_leaves_soak_unknown_unless_asked_and_is_taken_once() -> None:
    branch = make_branch()
    keys = [step.key for step in starting_ladder()]
    for _again in range(2):
        types = take_ladder(None, keys, figures=False, soak=False, valid_from=TODAY, now=NOW)
    assert [ladder(branch)[row.pk] for row in types] == [(place, 10) for place in range(10)]
    assert {row.soak_need for row in types} == {SoakNeed.UNKNOWN}
    assert {row.rated_coverage_m2 for row in types} == {None}
    assert ToolTypeVersion.objects.count() == 10
    with pytest.raises(catalogue.CatalogueRefused, match="no step resin-7"):
        take_ladder(None, ["resin-7"], figures=True, soak=True, valid_from=TODAY, now=NOW)


def test_the_demos_ladder_comes_with_recipes() -> None:
    types = take_ladder(None, ["metal-30", "resin-400"], figures=True, soak=True, valid_from=TODAY, now=NOW)
    assert [row.soak_need for row in ToolType.objects.order_by("ladder_place")] == ["none", "required"]
    assert [recipe.cold_hours for recipe in types[1].recipes.all()] == [60.0]


@pytest.mark.parametrize("year", [1, 1989, 2031, 9999])
def test_hours_settings_and_closed_days_of_a_mistyped_year_are_refused(year: int) -> None:
    branch, day = make_branch(), date(year, 1, 1)
    with pytest.raises(catalogue.CatalogueRefused, match=f"The year {year} is not one to plan for"):
        shop.save_hours(None, branch, {0: [(time(7), time(12))]}, valid_from=day, now=NOW)
    with pytest.raises(catalogue.CatalogueRefused, match="not one to plan for"):
        shop.save_closed_day(None, branch, day, now=NOW)
    with pytest.raises(catalogue.CatalogueRefused):
        shop.save_setting(None, branch, "finish_limit", "0.8", valid_from=day, now=NOW)
    assert not ShopHours.objects.exists()
