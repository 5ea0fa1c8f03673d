"""What the catalogue says on a day."""

from datetime import UTC, date, datetime, time

import pytest

from inventory.calendar import is_working_day
from inventory.colour import MOST_PLACES
from inventory.models import ClosedDay, Price, Recipe, ShopHours, ShopHoursDay, Supplier, SupplierWord, ToolType
from inventory.queries.catalogue import ladder, lead_word, price_of, recipe_of, shop_calendar
from tests.cast import NOW, TODAY, make_branch, make_supplier, make_type

pytestmark = pytest.mark.django_db
MAY_1 = datetime(2025, 5, 1, tzinfo=UTC)


def test_ladder_places_are_dense_and_shared_by_types_of_one_step(django_assert_num_queries) -> None:
    coarse = make_type("30", "metal", 10)
    first = make_type("400", "resin", 70)
    other = make_type("400", "resin", 70, name="resin 400, small plate")
    old = make_type("60", "metal", 20, active=False)
    branch = make_branch()
    with django_assert_num_queries(1):
        places = ladder(branch)
    assert places == {coarse.pk: (0, 2), first.pk: (1, 2), other.pk: (1, 2), old.pk: (1, 2)}


def test_a_ladder_longer_than_the_ramp_is_pressed_into_it() -> None:
    types = [make_type(str(place), "resin", place) for place in range(1, 21)]
    places = ladder(make_branch())
    ranks = [places[tool_type.pk][0] for tool_type in types]
    assert {count for _rank, count in places.values()} == {MOST_PLACES}
    assert ranks == sorted(ranks)
    assert (ranks[0], ranks[-1]) == (0, MOST_PLACES - 1)


def test_an_empty_ladder_has_no_places() -> None:
    assert ladder(make_branch()) == {}


def test_the_newest_recipe_valid_on_the_day_holds(django_assert_num_queries) -> None:
    tool_type = make_type()
    for day, cold in ((date(2025, 5, 1), 48.0), (date(2025, 6, 1), 36.0)):
        Recipe.objects.create(tool_type=tool_type, cold_hours=cold, valid_from=day, recorded_at=MAY_1)
    with django_assert_num_queries(1):
        assert recipe_of([tool_type.pk], TODAY)[tool_type.pk].cold_hours == 48.0
    assert recipe_of([tool_type.pk], date(2025, 6, 1))[tool_type.pk].cold_hours == 36.0
    assert recipe_of([tool_type.pk], TODAY, known_by=datetime(2025, 4, 1, tzinfo=UTC))[tool_type.pk].cold_hours == 72.0
    assert recipe_of([tool_type.pk], date(2020, 1, 1)) == {}


def test_the_price_of_the_types_own_supplier_wins(django_assert_num_queries) -> None:
    own, other = make_supplier("Own"), make_supplier("Other")
    tool_type = make_type(supplier=own)
    lone = make_type("800", "resin", 7)

    def price(of: ToolType, supplier: Supplier, amount: int, day: int) -> None:
        valid_from = date(2025, 5, day)
        Price.objects.create(
            tool_type=of, supplier=supplier, price=amount, currency="USD", valid_from=valid_from, recorded_at=MAY_1
        )

    price(tool_type, own, 310, 1)
    price(tool_type, other, 280, 2)
    price(lone, other, 90, 1)
    price(lone, own, 95, 3)
    with django_assert_num_queries(1):
        found = price_of([tool_type.pk, lone.pk], TODAY)
    assert {pk: int(row.price) for pk, row in found.items()} == {tool_type.pk: 310, lone.pk: 95}


def test_the_suppliers_last_word_on_delivery_holds() -> None:
    supplier = make_supplier()
    for day, days in ((1, 10), (10, 15), (20, 99)):
        SupplierWord.objects.create(
            supplier=supplier, lead_working_days=days, valid_from=date(2025, 5, day), recorded_at=MAY_1
        )
    assert lead_word([supplier.pk], TODAY)[supplier.pk].lead_working_days == 15


def test_a_shop_that_never_said_its_hours_works_monday_to_friday() -> None:
    calendar = shop_calendar(make_branch(), TODAY)
    assert calendar.zone == "America/Chicago"
    assert [is_working_day(calendar, date(2025, 5, 12 + day)) for day in range(7)] == [True] * 5 + [False] * 2


def test_hours_are_a_whole_week_and_a_closed_day_may_be_opened_again(django_assert_num_queries) -> None:
    branch = make_branch()
    hours = ShopHours.objects.create(branch=branch, valid_from=date(2025, 1, 1), recorded_at=MAY_1)
    ShopHoursDay.objects.create(hours=hours, weekday=5, opens=time(8), closes=time(12))
    for day, closed, at in ((17, True, MAY_1), (24, True, MAY_1), (24, False, NOW)):
        ClosedDay.objects.create(
            branch=branch, day=date(2025, 5, day), closed=closed, valid_from=date(2025, 5, 1), recorded_at=at
        )
    with django_assert_num_queries(3):
        calendar = shop_calendar(branch, TODAY)
    assert calendar.hours == {5: ((time(8), time(12)),)}
    assert calendar.closed == {date(2025, 5, 17)}
    assert shop_calendar(branch, TODAY, known_by=MAY_1).closed == {date(2025, 5, 17), date(2025, 5, 24)}
