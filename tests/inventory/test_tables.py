"""Tables out as files: who may have which, money, units, days, formulas made harmless."""

import csv
import io
from datetime import date
from decimal import Decimal
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import openpyxl
import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.ledger import NewLine
from inventory.actions.outing import close_outing
from inventory.models import Price, ReceiptLine, Supplier
from jobs.actions.site import save_site, save_zone
from tests.cast import (
    NOW,
    TODAY,
    hours,
    make_cast,
    make_outing,
    make_place,
    make_set,
    make_type,
    write,
)

pytestmark = pytest.mark.django_db

# Which of the cast may have a table (helper, crew lead and whoever has no right have none).
OPEN_TO = {
    "sets": {"ines", "ruta", "olga"},
    "tool-types": {"ines", "ruta", "olga"},
    "places": {"ines", "ruta", "olga"},
    "suppliers": {"ines", "ruta", "olga"},
    "machines": {"ines", "ruta", "olga"},
    "labels": {"ines", "ruta", "olga"},
    "outings": {"ines", "ruta", "olga"},
    "entries": {"ines", "olga"},
    "orders": {"ruta", "olga"},
    "prices": {"ruta", "olga"},
    "people": {"olga"},
    "settings": {"ines", "olga"},
    "sites": {"ines", "olga"},
    "jobs": {"ines", "olga"},
    "plans": {"ines", "olga"},
    "shifts": {"ines", "olga"},
    "work": {"ines", "olga"},
    "reservations": {"ines", "olga"},
}


@pytest.fixture
def cast() -> SimpleNamespace:
    found = make_cast()
    found.type = make_type("400")
    found.rack = make_place(found.branch, name="Rack B")
    found.set = make_set(found, found.type, found.rack, code="GL-7K2M46")
    return found


def saved(client: Client, person, name: str, fmt: str = "csv", **days: str) -> list[list[str]]:
    client.force_login(person)
    answer = client.get(reverse("inventory:export", args=[name, fmt]), days)
    assert answer.status_code == 200
    if fmt == "xlsx":
        return [list(row) for row in openpyxl.load_workbook(io.BytesIO(answer.content)).active.values]
    body = b"".join(answer.streaming_content).decode("utf-8-sig")
    return list(csv.reader(io.StringIO(body)))


@pytest.mark.parametrize("name", OPEN_TO)
def test_who_may_have_a_table(client, cast, name):
    address = reverse("inventory:export", args=[name, "csv"])
    assert client.get(address).url.startswith("/sign-in/")
    may = set()
    for who in ("ines", "dag", "teo", "ruta", "olga", "nils"):
        client.force_login(getattr(cast, who))
        answer = client.get(address)
        assert answer.status_code in (200, 403)
        if answer.status_code == 200:
            may.add(who)
    assert may == OPEN_TO[name]
    assert client.post(address).status_code == 405


@pytest.mark.parametrize("name", OPEN_TO)
def test_every_table_opens_as_a_workbook_with_the_same_headings(client, cast, name):
    cast.olga.right_rows.all()
    as_csv, as_xlsx = saved(client, cast.olga, name), saved(client, cast.olga, name, "xlsx")
    assert as_csv[0] == as_xlsx[0]
    assert len(as_csv) == len(as_xlsx)


def test_a_set_stands_with_state_and_life_in_the_persons_units(client, cast):
    (heads, row) = saved(client, cast.ines, "sets")
    said = dict(zip(heads, row, strict=True))

    assert (said["Tool type"], said["Code"], said["Place"], said["Began as"]) == (
        "resin 400",
        "GL-7K2M46",
        "Rack B",
        "new",
    )
    assert (
        float(said["Life left on a medium floor, likely (ft²)"])
        > float(said["Life left on a medium floor, at least (ft²)"])
        > 0
    )
    assert said["Gritledger key"] == str(cast.set.pk)
    cast.ines.units = "metric"
    cast.ines.save()
    heads = saved(client, cast.ines, "sets")[0]
    assert "Tool height (mm)" in heads


def test_money_is_left_out_without_its_right(client, cast):
    supplier = Supplier.objects.create(name="Quarry Tools")
    Price.objects.create(
        tool_type=cast.type, supplier=supplier, price=Decimal("310"), currency="USD", valid_from=TODAY, recorded_at=NOW
    )
    ReceiptLine.objects.create(entry=cast.set.entries.get(kind="received"), price=Decimal("318"), currency="USD")

    assert "Price paid" not in saved(client, cast.ines, "sets")[0]
    heads, row = saved(client, cast.olga, "sets")
    assert dict(zip(heads, row, strict=True))["Price paid"] == "318"
    assert saved(client, cast.ruta, "prices")[1][:4] == ["resin 400", "Quarry Tools", "310", "USD"]


@pytest.mark.parametrize("fmt", ["csv", "xlsx"])
def test_held_by_names_the_person_the_firm_or_the_crew(client, cast, fmt):
    held = {
        "Dag P.": {"holder_kind": "person", "holder_person": cast.dag},
        "Tarn Hollow": {"holder_kind": "firm", "holder_name": "Tarn Hollow"},
        "a crew": {"holder_kind": "crew", "holder_name": ""},
    }
    cast.dag.name = "Dag P."
    cast.dag.save()
    for number, (word, holder) in enumerate(held.items()):
        outing = make_outing(cast.branch, f"Osprey Lane {number}", **holder)
        tool_set = make_set(cast, cast.type, cast.rack, code=("GL-03BKVS", "GL-T5HD5B", "GL-TMKR79")[number])
        write(cast, NewLine("scanned_out", tool_set, None, {"outing": outing, "gate": "passed"} | holder))
        assert said(saved(client, cast.ines, "sets", fmt), "Outing", outing.name)["Held by"] == word
        assert said(saved(client, cast.ines, "outings", fmt), "Name", outing.name)["Held by"] == word
        assert said(saved(client, cast.ines, "entries", fmt), "Outing", outing.name)["Held by"] == word
    assert said(saved(client, cast.ines, "sets", fmt), "Code", "GL-7K2M46")["Held by"] == "the shop"


@pytest.mark.parametrize("fmt", ["csv", "xlsx"])
def test_an_outing_says_when_it_was_closed_or_that_it_is_open(client, cast, fmt):
    away, back = make_outing(cast.branch, "Osprey Lane"), make_outing(cast.branch, "Pell Road")
    holder = {"holder_kind": "crew"}
    write(cast, NewLine("scanned_out", cast.set, None, {"outing": away, "gate": "passed"} | holder))
    close_outing(back, now=NOW + hours(30))
    table = saved(client, cast.ines, "outings", fmt)

    assert (
        said(table, "Name", "Osprey Lane")["Closed"],
        str(said(table, "Name", "Osprey Lane")["Sets still out"]),
    ) == (
        "open",
        "1",
    )
    closed = (NOW + hours(30)).astimezone(ZoneInfo(cast.branch.time_zone))
    assert str(said(table, "Name", "Pell Road")["Closed"])[:16] == f"{closed:%Y-%m-%d %H:%M}"
    assert str(said(table, "Name", "Pell Road")["Sets still out"]) == "0"


@pytest.mark.parametrize("fmt", ["csv", "xlsx"])
def test_an_edge_nobody_said_is_left_empty(client, cast, fmt):
    site = save_site(cast.branch, name="Osprey Lane")
    save_zone(site, name="Hall", area_m2=300.0)
    save_zone(site, name="Aisle", area_m2=300.0, edge_m=30.48)
    table = saved(client, cast.ines, "sites", fmt)
    assert said(table, "Floor", "Hall")["Edge length (ft)"] in ("", None)
    assert float(said(table, "Floor", "Aisle")["Edge length (ft)"]) == 100.0


def said(table: list[list[str]], column: str, value: str) -> dict[str, str]:
    """The last row that has this value in a column, by heading."""
    heads, *rows = table
    return next(dict(zip(heads, row, strict=True)) for row in reversed(rows) if row[heads.index(column)] == value)


def test_formulas_in_texts_are_made_harmless(client, cast):
    make_place(cast.branch, name='=HYPERLINK("http://shop.example")')
    for fmt in ("csv", "xlsx"):
        names = [row[0] for row in saved(client, cast.ines, "places", fmt)]
        assert '\'=HYPERLINK("http://shop.example")' in names


def test_the_ledger_is_cut_by_days_and_says_what_is_voided(client, cast):
    entry = write(cast, NewLine("measured", cast.set, None, {"lowest_height_mm": 6.35}), at=NOW + hours(24)).entries[0]
    write(cast, NewLine("voided", cast.set, None, {"void_target": entry.pk, "why": "wrong set"}), at=NOW + hours(25))

    heads, *rows = saved(client, cast.ines, "entries")
    kinds = [(row[heads.index("Entry")], row[heads.index("Voided")]) for row in rows]
    assert kinds == [("received", "no"), ("labelled", "no"), ("measured", "yes"), ("voided", "no")]
    assert [row[heads.index("Tool height (in)")] for row in rows] == ["", "", "0.25", ""]
    later = saved(client, cast.ines, "entries", since="2025-05-15")
    assert [row[heads.index("Entry")] for row in later[1:]] == ["measured", "voided"]
    assert len(saved(client, cast.ines, "entries", until="2025-05-14")) == 3


@pytest.mark.parametrize(
    ("since", "until", "says"),
    [("soon", "", "“soon” is no day"), ("2025-05-14", "2025-05-01", "lies before")],
)
def test_days_that_are_none_are_refused_in_words(client, cast, since, until, says):
    client.force_login(cast.ines)
    for address in (reverse("inventory:export", args=["entries", "csv"]), reverse("inventory:tables")):
        answer = client.get(address, {"since": since, "until": until})
        assert answer.status_code == 422
        assert says in answer.content.decode()


def test_a_table_or_a_format_that_is_none_is_not_found(client, cast):
    client.force_login(cast.olga)
    for name, fmt in (("sets", "pdf"), ("secrets", "csv")):
        assert client.get(reverse("inventory:export", args=[name, fmt])).status_code == 404


def test_the_page_of_tables_lists_only_what_is_open(client, cast):
    client.force_login(cast.ruta)
    page = client.get(reverse("inventory:tables")).content.decode()
    assert "/export/prices.csv" in page
    assert "/export/people.csv" not in page
    client.force_login(cast.nils)
    assert "No table is open to you" in client.get(reverse("inventory:tables")).content.decode()
    assert client.post(reverse("inventory:tables")).status_code == 405


def test_no_secret_leaves_with_the_people(client, cast):
    text = str(saved(client, cast.olga, "people"))
    for person in (cast.ines, cast.teo):
        assert person.name in text
        assert not person.pin or person.pin not in text
        assert person.password not in text


@pytest.mark.parametrize("name", ["sets", "entries", "labels", "outings"])
def test_tables_ask_the_database_as_often_for_many_rows(client, cast, name, django_assert_max_num_queries):
    for number in range(30):
        make_set(cast, cast.type, cast.rack)
        make_outing(cast.branch, f"Outing {number}")
    client.force_login(cast.olga)
    with django_assert_max_num_queries(14):
        answer = client.get(reverse("inventory:export", args=[name, "csv"]))
        rows = b"".join(answer.streaming_content).count(b"\r\n")
    assert rows >= 2


def test_times_are_the_shops_own(client, cast):
    make_outing(cast.branch, "Osprey Lane")
    heads, row = saved(client, cast.ines, "outings", "xlsx")
    said = dict(zip(heads, row, strict=True))
    assert f"{said['Leaves']:%Y-%m-%d %H:%M}" == "2025-05-14 13:50"  # 18:50 UTC in Chicago
    assert date(2025, 5, 14) == said["Leaves"].date()
