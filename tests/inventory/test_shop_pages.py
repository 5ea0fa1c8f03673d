"""The pages of the shop: who may come in, what they show, what they keep."""

from __future__ import annotations

import html
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from inventory.calendar import is_staffed, is_working_day
from inventory.forms.catalogue import read_spans, show_spans
from inventory.models import ClosedDay, Device, Machine, Place, Price, Recipe, Setting, Supplier, ToolType
from inventory.models.choices import PlaceKind
from inventory.queries.catalogue import shop_calendar
from tests.cast import NOW, TODAY, make_branch, make_cast, make_machine, make_place, make_supplier, make_type

pytestmark = pytest.mark.django_db
TYPE = {
    "name": "Resin 400",
    "grit": "400",
    "bond": "resin",
    "ladder_place": "70",
    "mount": "9 in. plate",
    "rotation": "either",
    "wet_dry": "wet",
    "pieces_per_set": "9",
    "pack_sets": "1",
    "new_height_mm": "3/8",
    "retire_height_mm": "0.06 in",
    "rated_coverage_m2": "50,000",
    "soak_need": "unknown",
    "own_mark": "Diamond",
    "active": "on",
}
MACHINE = {
    "name": "Walker 1",
    "kind": "walk_behind",
    "heads": "3",
    "mount": "9 in. plate",
    "rotation": "either",
    "pieces_per_load": "9",
    "path_m": "2.5",
    "wet_dry": "wet",
    "active": "on",
}


@pytest.fixture
def cast():
    return make_cast()


@pytest.fixture
def owner(client: Client, cast) -> Client:
    client.force_login(cast.olga)
    return client


READERS, RUNNERS, BUYERS, MONEY = {"ines", "ruta", "olga"}, {"olga"}, {"ruta", "olga"}, {"ruta", "olga"}
EVERYBODY = {"ines", "dag", "teo", "ruta", "olga", "nils"}
# Every page: its address's name, who may come in, whether it takes GET and POST.
DOORS: list[tuple[str, set[str], str]] = [
    ("shop", READERS, "GET"),
    ("branch", RUNNERS, "GET POST"),
    ("people", RUNNERS, "GET"),
    ("person_new", RUNNERS, "GET POST"),
    ("person", RUNNERS, "GET POST"),
    ("devices", RUNNERS, "GET"),
    ("device", RUNNERS, "GET POST"),
    ("tool_types", READERS, "GET"),
    ("tool_type_new", RUNNERS, "GET POST"),
    ("tool_type", RUNNERS, "GET POST"),
    ("recipe", RUNNERS, "GET POST"),
    ("price", MONEY, "GET POST"),
    ("suppliers", READERS, "GET"),
    ("types_supplier", RUNNERS, "GET POST"),
    ("supplier_new", BUYERS, "GET POST"),
    ("supplier", BUYERS, "GET POST"),
    ("machines", READERS, "GET"),
    ("machine_new", RUNNERS, "GET POST"),
    ("machine", RUNNERS, "GET POST"),
    ("places", READERS, "GET"),
    ("place_new", RUNNERS, "GET POST"),
    ("place", RUNNERS, "GET POST"),
    ("settings", RUNNERS, "GET"),
    ("setting", RUNNERS, "GET POST"),
    ("hours", RUNNERS, "GET POST"),
    ("closed_days", RUNNERS, "GET POST"),
    ("first_shop", RUNNERS, "GET"),
    ("first_ladder", RUNNERS, "POST"),
    ("label_address", RUNNERS, "POST"),
    ("labels_address", READERS, "GET POST"),
    ("label_address_state", READERS, "GET"),
    ("me", EVERYBODY, "GET POST"),
    ("my_secrets", EVERYBODY, "GET POST"),
    ("still_here", EVERYBODY, "POST"),
]


def url_of(name: str, cast: Any) -> str:
    """The address of a page about something that is there."""
    arguments: dict[str, Any] = {
        "person": lambda: cast.dag.pk,
        "device": lambda: cast.device.pk,
        "tool_type": lambda: make_type().pk,
        "recipe": lambda: make_type().pk,
        "price": lambda: make_type().pk,
        "supplier": lambda: make_supplier().pk,
        "machine": lambda: make_machine(cast.branch).pk,
        "place": lambda: make_place(cast.branch).pk,
        "setting": lambda: "vouch_hours",
    }
    return reverse(f"inventory:{name}", args=[arguments[name]()] if name in arguments else [])


@pytest.mark.parametrize(("name", "may", "methods"), DOORS, ids=[door[0] for door in DOORS])
def test_the_door_lets_in_who_may_and_nobody_else(client: Client, cast, name: str, may: set[str], methods: str) -> None:
    url = url_of(name, cast)
    method = methods.split()[0]
    asked = client.generic(method, url)
    assert (asked.status_code, asked.headers["Location"].split("?")[0]) == (302, "/sign-in/")
    for who in sorted(EVERYBODY):
        client.force_login(getattr(cast, who))
        answer = client.generic(method, url)
        if who in may:
            assert answer.status_code in (200, 204, 302, 422), who
        else:
            assert answer.status_code == 403, who
    client.force_login(cast.olga)
    for wrong in {"GET", "POST", "PUT", "DELETE"} - set(methods.split()):
        assert client.generic(wrong, url).status_code == 405, wrong


@pytest.mark.parametrize("path", ["tool-types/999/", "suppliers/999/", "machines/999/", "settings/colour/"])
def test_what_is_not_there_is_not_found(owner: Client, path: str) -> None:
    assert owner.get(f"/shop/{path}").status_code == 404


def test_what_belongs_to_another_branch_is_not_found(owner: Client) -> None:
    other = make_branch("Another shop")
    device = Device.objects.create(branch=other, first_seen_at=NOW)
    for name, key in (
        ("machine", make_machine(other).pk), ("place", make_place(other).pk), ("device", device.pk)
    ):  # fmt: skip
        assert owner.get(reverse(f"inventory:{name}", args=[key])).status_code == 404


def test_a_tool_type_is_added_in_the_persons_units(owner: Client) -> None:
    assert owner.post("/shop/tool-types/new/", TYPE).status_code == 302
    row = ToolType.objects.get()
    assert row.new_height_mm == pytest.approx(9.525)  # 3/8 inch: 25.4 mm an inch (international yard, 1959)
    assert row.retire_height_mm == pytest.approx(1.524)
    assert row.rated_coverage_m2 == pytest.approx(4645.152)  # 0.09290304 m2 a square foot
    assert row.own_mark == "own-diamond"
    assert row.versions.filter(recorded_by__sign_in="olga").count() == 1


def test_an_untouched_tool_type_stays_as_exact_as_it_was(owner: Client) -> None:
    owner.post("/shop/tool-types/new/", TYPE)
    row = ToolType.objects.get()
    page = owner.get(f"/shop/tool-types/{row.pk}/")
    form = page.context["form"]
    shown = {name: form[name].value() for name in form.fields}
    typed = {name: "on" if value is True else value for name, value in shown.items() if value not in (None, False)}
    assert owner.post(f"/shop/tool-types/{row.pk}/", typed).status_code == 302
    assert row.versions.count() == 1


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"new_height_mm": "0.05"}, "New at 0.05\u00a0in is not above retired at 0.06\u00a0in."),
        ({"rated_coverage_m2": "0"}, "No set covers 0\u00a0ft²."),
        ({"new_height_mm": "high"}, "“high”"),
        ({"ladder_place": "-3"}, "At least 0 is needed."),
        ({"bond": ""}, "This is needed: fill it in."),
        ({"own_mark": "star"}, "“star” is no mark."),
    ],
)
def test_a_wrong_tool_type_is_refused_in_the_users_words(owner: Client, changes, words: str) -> None:
    page = owner.post("/shop/tool-types/new/", TYPE | changes)
    assert page.status_code == 422
    text = page.content.decode()
    assert words in text
    assert 'value="Resin 400"' in text  # typed text is never lost
    assert not ToolType.objects.exists()


def test_an_unlikely_tool_type_can_be_kept_as_right(owner: Client) -> None:
    unlikely = TYPE | {"new_height_mm": "2"}
    page = owner.post("/shop/tool-types/new/", unlikely)
    assert page.status_code == 422
    assert "2\u00a0in is high for a new piece. Correct it, or keep it if right." in page.content.decode()
    assert 'type="checkbox" name="sure"' in page.content.decode()
    assert owner.post("/shop/tool-types/new/", unlikely | {"sure": "on"}).status_code == 302


def test_a_recipe_is_kept_from_its_day(owner: Client) -> None:
    row = make_type(soak_need="unknown")
    said = {
        "cold_hours": "60",
        "hot_hours": "24",
        "hot_limit_c": "122",
        "dry_out_hours": "24",
        "valid_from": "2025-05-01",
    }
    assert owner.post(f"/shop/tool-types/{row.pk}/recipe/", said).status_code == 302
    kept = Recipe.objects.get()
    assert (kept.cold_hours, kept.valid_from) == (60.0, date(2025, 5, 1))
    assert kept.hot_limit_c == pytest.approx(50.0)  # 122 °F
    row.refresh_from_db()
    assert row.soak_need == "required"
    page = owner.get(f"/shop/tool-types/{row.pk}/recipe/").content.decode()
    assert "scalds in 30 s" in page  # the caution stands where the work is


def test_prices_show_only_with_the_right_to_see_money(client: Client, cast) -> None:
    row, supplier = make_type(), make_supplier()
    client.force_login(cast.ruta)
    said = {"supplier": supplier.pk, "price": "$318.50", "valid_from": "2025-05-01"}
    assert client.post(f"/shop/tool-types/{row.pk}/price/", said).status_code == 302
    assert str(Price.objects.get().price) == "318.50"
    assert "$318.50" in client.get("/shop/tool-types/").content.decode()
    client.force_login(cast.ines)
    text = client.get("/shop/tool-types/").content.decode()
    assert "318" not in text
    assert "Price" not in text


def test_money_is_hidden_on_the_tool_types_own_page_too(client: Client, cast) -> None:
    row, supplier = make_type(), make_supplier()
    Price.objects.create(tool_type=row, supplier=supplier, price=777, currency="USD", valid_from=TODAY, recorded_at=NOW)
    client.force_login(cast.olga)
    assert "$777" in client.get(f"/shop/tool-types/{row.pk}/").content.decode()
    cast.olga.right_rows.filter(right="see_money").delete()
    text = client.get(f"/shop/tool-types/{row.pk}/").content.decode()
    assert "777" not in text


def test_a_supplier_a_machine_and_a_place_are_kept(owner: Client) -> None:
    supplier = {"name": "Quarrymead", "email": "", "lead_working_days": "15", "minimum_sets": "2", "active": "on"}
    assert owner.post("/shop/suppliers/new/", supplier | {"valid_from": "2025-05-01"}).status_code == 302
    assert owner.post("/shop/machines/new/", MACHINE).status_code == 302
    tub = {"kind": "tub", "name": "Tub 3", "room_sets": "12", "thermostat": "on", "active": "on"}
    assert owner.post("/shop/places/new/", tub).status_code == 302
    assert Supplier.objects.get().words.get().lead_working_days == 15
    assert Machine.objects.get().path_m == pytest.approx(0.762)  # 2.5 ft, 0.3048 m a foot
    assert Place.objects.get().thermostat
    assert Place.objects.get().versions.get().recorded_by is not None
    for path, name in (("suppliers", "Quarrymead"), ("machines", "Walker 1"), ("places", "Tub 3")):
        assert name in owner.get(f"/shop/{path}/").content.decode()


def test_one_supplier_is_said_for_every_type_that_has_none(owner: Client) -> None:
    other, seller = make_supplier("Osprey Lane Abrasives"), make_supplier("Quarrymead")
    bare = [make_type("400"), make_type("800")]
    taken = make_type("1500", supplier=other)
    form = owner.get("/shop/tool-types/supplier/").context["form"]
    assert form.fields["types"].initial == [row.pk for row in bare]
    said = {"supplier": seller.pk, "types": form.fields["types"].initial}
    for _again in range(2):
        assert owner.post("/shop/tool-types/supplier/", said).status_code == 302
    assert [ToolType.objects.get(pk=row.pk).supplier for row in (*bare, taken)] == [seller, seller, other]
    assert [row.versions.count() for row in (*bare, taken)] == [1, 1, 0]
    assert [row.versions.get().supplier for row in bare] == [seller, seller]
    none = owner.post("/shop/tool-types/supplier/", {"supplier": seller.pk})
    assert none.status_code == 422
    assert "No tool type is ticked. Tick those that this supplier sells." in none.content.decode()


def test_without_a_supplier_the_first_is_asked_for(owner: Client) -> None:
    make_type()
    assert owner.get("/shop/tool-types/supplier/")["Location"] == "/shop/suppliers/new/"


def test_a_path_width_takes_inches_and_a_slip_is_refused_in_the_persons_unit(owner: Client) -> None:
    assert owner.post("/shop/machines/new/", MACHINE | {"path_m": "36 in"}).status_code == 302
    assert Machine.objects.get().path_m == pytest.approx(0.9144)
    refused = owner.post("/shop/machines/new/", MACHINE | {"name": "Walker 2", "path_m": "36"})
    assert refused.status_code == 422
    said = html.unescape(refused.content.decode()).replace("\u00a0", " ")
    assert "36 ft is outside what a machine has. Between 0.16 ft and 9.84 ft is possible" in said
    assert 'value="36"' in said


def test_a_site_is_shown_among_places_but_not_kept_there(owner: Client, cast) -> None:
    site = make_place(cast.branch, PlaceKind.SITE, "Osprey Lane")
    assert "Osprey Lane" in owner.get("/shop/places/").content.decode()
    assert owner.get(reverse("inventory:place", args=[site.pk])).status_code == 404


def test_a_setting_is_read_and_written_in_the_persons_words(owner: Client, cast) -> None:
    page = owner.get("/shop/settings/").content.decode()
    assert "90\u00a0%" in page
    assert "our assumption" in page
    assert owner.post("/shop/settings/finish_limit/", {"value": "85 %", "valid_from": "2025-05-01"}).status_code == 302
    assert Setting.objects.get().value == "0.85"
    owner.post("/shop/settings/section_m2/", {"value": "1,000 ft2", "valid_from": "2025-05-01"})
    assert float(Setting.objects.get(key="section_m2").value) == pytest.approx(92.90304)
    refused = owner.post("/shop/settings/finish_limit/", {"value": "often", "valid_from": "2025-05-01"})
    assert refused.status_code == 422
    assert "“often” cannot be read." in refused.content.decode()


def test_an_untouched_setting_adds_nothing(owner: Client) -> None:
    form = owner.get("/shop/settings/section_m2/").context["form"]
    owner.post("/shop/settings/section_m2/", {"value": form["value"].value(), "valid_from": "2025-05-01"})
    assert not Setting.objects.exists()


def test_hours_are_written_as_people_write_them(owner: Client, cast) -> None:
    said = {"day0": "7-12, 13:00-17:30", "day5": "8.00–12.00", "valid_from": "2025-05-01"}
    assert owner.post("/shop/hours/", said).status_code == 302
    hours = shop_calendar(cast.branch, TODAY).hours
    assert {day: [f"{a:%H:%M}-{b:%H:%M}" for a, b in spans] for day, spans in hours.items()} == {
        0: ["07:00-12:00", "13:00-17:30"],
        5: ["08:00-12:00"],
    }
    for wrong in ("morning", "7-25", "9-8", "7-7", "7-12, 11-13"):
        assert owner.post("/shop/hours/", {"day0": wrong, "valid_from": "2025-05-01"}).status_code == 422, wrong
    assert owner.post("/shop/hours/", {"valid_from": "2025-05-01"}).status_code == 422


def test_hours_past_midnight_are_kept_and_shown_as_one(owner: Client, cast) -> None:
    said = {"day4": "22:00-06:00", "day0": "16-24", "day6": "0-24", "valid_from": "2025-05-01"}
    assert owner.post("/shop/hours/", said).status_code == 302
    calendar = shop_calendar(cast.branch, TODAY)
    assert calendar.hours[4] == ((time(22), time(6)),)
    page = owner.get("/shop/hours/").context["form"]
    assert [page[f"day{day}"].value() for day in (0, 4, 6)] == ["16:00-24:00", "22:00-06:00", "00:00-24:00"]
    # 2025-05-16 is a Friday; somebody is there on Saturday at 05:59 by the shop's clock and not at 06:01.
    saturday = datetime(2025, 5, 17, 6, tzinfo=ZoneInfo(cast.branch.time_zone))
    assert is_staffed(calendar, saturday - timedelta(minutes=1))
    assert not is_staffed(calendar, saturday + timedelta(minutes=1))
    assert not is_working_day(calendar, saturday.date())


def test_a_night_that_runs_into_the_next_days_hours_is_refused(owner: Client) -> None:
    for week in ({"day4": "22-6", "day5": "5-12"}, {"day6": "22-6", "day0": "5:59-12"}, {"day3": "20-2, 23-24"}):
        refused = owner.post("/shop/hours/", week | {"valid_from": "2025-05-01"})
        assert refused.status_code == 422, week
        assert "before the hours ahead of it end" in refused.content.decode()
    assert owner.post("/shop/hours/", {"day6": "22-6", "day0": "6-12", "valid_from": "2025-05-01"}).status_code == 302


def test_hours_turned_round_are_asked_about_once(owner: Client) -> None:
    said = {"day0": "17-8", "valid_from": "2025-05-01"}
    asked = owner.post("/shop/hours/", said)
    assert asked.status_code == 422
    assert "17:00 to 08:00 past midnight is 15" in asked.content.decode()
    assert 'type="checkbox" name="sure"' in asked.content.decode()
    assert owner.post("/shop/hours/", said | {"sure": "on"}).status_code == 302


minutes = st.integers(0, 24 * 60 - 2).map(lambda minute: time(minute // 60, minute % 60))


@given(st.lists(minutes, min_size=2, max_size=8))
def test_hours_read_back_as_they_were_shown(clocks: list[time]) -> None:
    pairs = list(zip(clocks[::2], clocks[1::2], strict=False))
    assert read_spans(show_spans(pairs)) == pairs


def test_a_purchaser_reaches_the_price_from_the_list(client: Client, cast) -> None:
    row = make_type()
    client.force_login(cast.ruta)
    text = client.get("/shop/tool-types/").content.decode()
    assert f'href="/shop/tool-types/{row.pk}/price/"' in text
    assert f'href="/shop/tool-types/{row.pk}/"' not in text  # facts are kept by whoever runs the shop


def test_a_day_is_closed_and_opened_again(owner: Client, cast) -> None:
    owner.post("/shop/closed-days/", {"day": "2031-07-04", "name": "Holiday"})
    page = owner.get("/shop/closed-days/").content.decode()
    assert "1 closed day ahead" in page
    assert "<b>Fri 4 Jul 2031</b> · Holiday" in page
    owner.post("/shop/closed-days/", {"day": "2031-07-04", "open": "1"})
    assert ClosedDay.objects.count() == 2
    assert shop_calendar(cast.branch, TODAY).closed == frozenset()
    assert owner.post("/shop/closed-days/", {"day": "31.13.2031"}).status_code == 422


def test_a_list_asks_as_often_for_many_rows_as_for_one(owner: Client, cast) -> None:
    """Session, person, rights, then the page's own: the same with 1 and with 120 rows."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def counts() -> dict[str, int]:
        found = {}
        for name in ("tool_types", "suppliers", "machines", "places", "people", "devices", "settings"):
            with CaptureQueriesContext(connection) as asked:
                assert owner.get(reverse(f"inventory:{name}")).status_code == 200
            found[name] = len(asked)
        return found

    def fill(start: int, end: int) -> None:
        for number in range(start, end):
            make_type(f"{number}", "hybrid", number, supplier=make_supplier(f"Supplier {number}"))
            make_machine(cast.branch)
            make_place(cast.branch)
            Device.objects.create(branch=cast.branch, first_seen_at=NOW)

    fill(1, 2)
    owner.get("/shop/devices/")  # this browser becomes known
    few = counts()
    fill(2, 121)
    assert counts() == few
    assert max(few.values()) <= 7


def test_long_lists_come_in_pages(owner: Client) -> None:
    for number in range(1, 61):
        make_type(f"{number}", "hybrid", number)
    first = owner.get("/shop/tool-types/").content.decode()
    assert "Page 1 of 2" in first
    assert "hybrid 60" not in first
    assert "hybrid 60" in owner.get("/shop/tool-types/?page=2").content.decode()
