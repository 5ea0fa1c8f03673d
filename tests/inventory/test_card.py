"""The ledger card: every kind of entry in words, what is voided struck through, corrections, flags, money, doors."""

from __future__ import annotations

import re
from decimal import Decimal
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone, translation

from inventory import hooks
from inventory.actions.entry_corrections import correct_height, correct_worked
from inventory.actions.ledger import NewLine, record
from inventory.actions.measure import Heights
from inventory.actions.work import WorkAsked, WorkRefused
from inventory.ledger.facts import facts_from_json
from inventory.ledger_words import SENTENCES, Reader, sentence
from inventory.models import Count, Entry, Order, OrderLine, SetState, ToolSet
from inventory.models.choices import Kind
from inventory.queries.card import ledger_of, where_it_worked, who_had_it
from inventory.shop_settings import settings_of
from inventory.units import Amount
from tests.cast import (
    hours,
    make_branch,
    make_cast,
    make_machine,
    make_outing,
    make_person,
    make_place,
    make_set,
    make_supplier,
    make_type,
    who,
    write,
)
from tests.sure import sure_of

pytestmark = pytest.mark.django_db
JOB, HALL, SHIFT = uuid4(), uuid4(), uuid4()


@pytest.fixture
def shop(monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """A resin 200 with a rack, a tub and an outing; the job and its floor have names."""
    cast, now = make_cast(), timezone.now()
    monkeypatch.setattr(hooks, "_names", [lambda keys: {JOB: "Osprey Lane", HALL: "hall 2"}])
    rack = make_place(cast.branch, name="Rack B")
    return SimpleNamespace(
        cast=cast,
        now=now,
        rack=rack,
        tub=make_place(cast.branch, "tub", "Tub 1"),
        outing=make_outing(cast.branch, leaves_at=now - hours(30), due_at=now + hours(8), made_at=now),
        tool_set=make_set(cast, make_type("200", ladder_place=5), rack, at=now - hours(900), code="GL-7K2M46"),
    )


def enter(shop: SimpleNamespace, kind: str, ago: float, by: Any = None, **columns: Any) -> Entry:
    at = shop.now - hours(ago)
    person = who(by or shop.cast.ines, shop.cast.device, at)
    return record(person, shop.cast.branch, [NewLine(kind, shop.tool_set, None, columns)], now=at).entries[0]


def work_columns(**more: Any) -> dict[str, Any]:
    facts = {"hardness": "soft", "surface": "worn", "coating": "none", "wet_dry": "wet", "step_kind": "later"}
    keys = {"floor_uuid": HALL, "visit_uuid": JOB, "step_key": uuid4(), "shift_uuid": SHIFT}
    return {"area_m2": 100.0, "passes": 5, "basis": "measured", **facts, **keys, **more}


def card(client: Client, shop: SimpleNamespace, person: Any = None) -> str:
    client.force_login(person or shop.cast.ines)
    answer = client.get(reverse("inventory:toolset", args=[shop.tool_set.pk]))
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", answer.content.decode())


def shown(page: str) -> str:
    return re.sub(r"<[^>]+>", "", page).replace("\xa0", " ")


# --- words ---


def test_every_kind_of_entry_has_a_sentence() -> None:
    assert set(SENTENCES) == set(Kind.values)


def every_kind(shop: SimpleNamespace) -> list[tuple[Entry, str]]:
    """One line of each kind, and what it says to somebody who reads metric."""
    cast = shop.cast
    other = make_set(cast, shop.tool_set.tool_type, shop.rack, at=shop.now - hours(900), code="GL-9B0KTP")
    order = Order.objects.create(
        branch=cast.branch, supplier=make_supplier(), number="O-12", made_at=shop.now, made_by=cast.ruta
    )
    line = OrderLine.objects.create(
        order=order, tool_type=shop.tool_set.tool_type, sets=1, price=Decimal(310), currency="USD", recorded_at=shop.now
    )
    count = Count.objects.create(branch=cast.branch, place=shop.rack, begun_at=shop.now, begun_by=cast.ines)
    rows: list[tuple[str, dict[str, Any], str]] = [
        (
            "opening",
            {"opening_kind": "half", "branch": cast.branch, "to_place": shop.rack},
            "Taken over: about half left, Rack B.",
        ),
        (
            "received",
            {"branch": cast.branch, "to_place": shop.rack, "order_line": line},
            "Received from Quarrymead Abrasives, order O-12, Rack B.",
        ),
        ("labelled", {"code_id": "GL-7K2M46"}, "Labelled GL-7K2M46."),
        ("scanned_out", {"outing": shop.outing, "gate": "passed"}, "Scanned out to Osprey Lane."),
        (
            "scanned_out",
            {"outing": shop.outing, "gate": "not_asked"},
            "Scanned out to Osprey Lane. It was not checked at scan-out.",
        ),
        (
            "scanned_out",
            {"outing": shop.outing, "gate": "overridden", "why": "spare is in van 5"},
            "Sent out, though not ready, to Osprey Lane. “spare is in van 5”",
        ),
        (
            "scanned_in",
            {
                "to_place": shop.rack,
                "peg": "14",
                "lowest_height_mm": 6.9,
                "mean_height_mm": 7.1,
                "left_how": "came_back",
            },
            "Scanned in, Rack B, peg 14. It came back. Lowest piece 6.9 mm, mean 7.1 mm.",
        ),
        ("seen", {"to_place": shop.rack}, "Seen, Rack B."),
        ("seen", {"left_how": "in_water"}, "Seen. Left in water."),
        ("moved", {"to_place": shop.rack, "peg": "2"}, "Moved to Rack B, peg 2."),
        (
            "handed_over",
            {"holder_kind": "person", "holder_person": cast.dag, "outing": shop.outing},
            "Handed over to Dag P., Osprey Lane.",
        ),
        ("soak_begun", {"to_place": shop.tub}, "Soak begun, Tub 1."),
        ("soak_ended", {"to_place": shop.rack, "peg": "14"}, "Taken out of the water to Rack B, peg 14."),
        ("conditioning_confirmed", {}, "Conditioned, confirmed."),
        (
            "worked",
            work_columns(),
            "Worked 500 m² on Osprey Lane, hall 2: 100 m², 5 passes. Soft, factor 1.3: 650 m² of reference.",
        ),
        (
            "worked",
            work_columns(hardness="medium", passes=1, basis="guessed", amount_value="1076", amount_unit="ft2"),
            "Worked 100 m² on Osprey Lane, hall 2: 100 m², 1 pass (entered as 1,076 ft²). Medium."
            " Guessed, nobody logged it.",
        ),
        (
            "measured",
            {"lowest_height_mm": 9.525, "amount_value": "0.375", "amount_unit": "in", "with_backing": True},
            "Measured. Lowest piece 9.5 mm, measured with its backing (entered as 0.375 in).",
        ),
        ("pieces_changed", {"pieces": 3, "other_set": other}, "Pieces changed: 3 pieces now, with GL-9B0KTP."),
        (
            "dressed",
            {"dress_medium": "block", "minutes": 10, "before_height_mm": 7.0, "lowest_height_mm": 6.8},
            "Dressed: dressing block, 10 min, 7 mm before. Lowest piece 6.8 mm.",
        ),
        ("trouble", {"trouble_kind": "chipped"}, "Trouble: chipped."),
        ("set_aside", {"why": "chipped piece"}, "Set aside: chipped piece."),
        ("cleared", {}, "Cleared: it may go out again."),
        ("retired", {"retired_why": "worn", "lowest_height_mm": 2.0}, "Retired: worn. Lowest piece 2 mm."),
        ("found", {"to_place": shop.rack}, "Found, Rack B."),
        ("counted", {"count": count, "seen": True, "to_place": shop.rack}, "Counted, Rack B."),
        (
            "counted",
            {"count": count, "seen": False, "to_place": make_place(cast.branch, "unknown", "unknown")},
            "Not there when Rack B was counted.",
        ),
        (
            "voided",
            {"void_target": uuid4(), "why": "keyed twice"},
            "Voids an entry that is not on record: keyed twice.",
        ),
        (
            "settled",
            {"settles_target": uuid4(), "flag_code": "gate_overridden", "answer": "seen"},
            "Settled, it is right as it is: It left though it was not ready.",
        ),
        ("same_as", {"other_set": other}, "The same set as GL-9B0KTP."),
    ]
    return [(enter(shop, kind, 800 - number, **columns), words) for number, (kind, columns, words) in enumerate(rows)]


def test_each_kind_says_what_happened(shop: SimpleNamespace) -> None:
    said = every_kind(shop)
    assert {entry.kind for entry, _words in said} == set(Kind.values) - {Kind.WATER_READ}  # a tub's, not a set's
    shop.cast.ines.units = "metric"
    codes = {row.pk: row.code for row in SetState.objects.all()}
    settings = settings_of(shop.cast.branch, today=shop.now.date())
    reader = Reader(shop.cast.ines, settings, {JOB: "Osprey Lane", HALL: "hall 2"}, codes)
    by_id = {entry.pk: entry for entry in ledger_of(shop.tool_set.pk).entries}
    assert [sentence(by_id[entry.pk], reader).replace("\xa0", " ") for entry, _words in said] == [w for _e, w in said]
    tub = write(shop.cast, NewLine("water_read", None, shop.tub, {"temperature_c": 54.444})).entries[0]
    assert sentence(tub, reader) == "Water 54.4\xa0°C."


def test_the_card_and_its_ledger_show_every_kind(shop: SimpleNamespace, client: Client) -> None:
    every_kind(shop)
    shop.cast.ines.units = "metric"
    shop.cast.ines.save()
    card(client, shop)
    page = shown(client.get(reverse("inventory:toolset_ledger", args=[shop.tool_set.pk])).content.decode())
    assert "Sent out, though not ready, to Osprey Lane. “spare is in van 5”" in page
    assert "Measured. Lowest piece 9.5 mm, measured with its backing (entered as 0.375 in)." in page
    assert re.search(r"\b\d+ entries", page)


# --- what stands, what does not ---


def test_a_voided_entry_stays_struck_through_with_who_and_why(shop: SimpleNamespace, client: Client) -> None:
    entry = enter(shop, "worked", 20, **work_columns())
    client.force_login(shop.cast.ines)
    url = reverse("inventory:entry_void", args=[shop.tool_set.pk, entry.pk])
    assert "Worked 5,382 ft²" in shown(client.get(url).content.decode())
    key = str(uuid4())
    answer = client.post(url, {"why": "keyed twice", "act_id": key})
    assert (answer.status_code, answer["Location"]) == (302, reverse("inventory:toolset", args=[shop.tool_set.pk]))
    assert client.post(url, {"why": "keyed twice", "act_id": key}).status_code == 302
    assert Entry.objects.filter(kind="voided", void_target=entry.pk).count() == 1
    page = card(client, shop)
    assert re.search(r'<s class="voided">Worked 5,382 ft².*?</s> Voided by Ines O.: keyed twice', page)
    assert "Where it worked" not in page
    assert url not in page


def test_a_void_says_why(shop: SimpleNamespace, client: Client) -> None:
    entry = enter(shop, "worked", 20, **work_columns())
    client.force_login(shop.cast.ines)
    url = reverse("inventory:entry_void", args=[shop.tool_set.pk, entry.pk])
    assert client.post(url, {"why": " "}).status_code == 422
    assert not Entry.objects.filter(kind="voided").exists()


def test_one_voids_ones_own_until_the_shift_is_closed(
    shop: SimpleNamespace, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    dags = enter(shop, "worked", 20, by=shop.cast.dag, **work_columns())
    others = enter(shop, "measured", 19, lowest_height_mm=8.0)
    links = [reverse("inventory:entry_void", args=[shop.tool_set.pk, one.pk]) for one in (dags, others)]
    page = card(client, shop, shop.cast.dag)
    assert [link in page for link in links] == [True, False]
    refused = client.get(links[1])
    assert refused.status_code == 403
    assert "Ines O. entered this, not you." in refused.content.decode()
    assert client.post(links[1], {"why": "no"}).status_code == 422
    monkeypatch.setattr(hooks, "_closed", [lambda shifts: frozenset({SHIFT})])
    assert links[0] not in card(client, shop, shop.cast.dag)
    assert "The shift of this entry is closed." in client.get(links[0]).content.decode()
    assert client.post(links[0], {"why": "no"}).status_code == 422
    assert not Entry.objects.filter(kind="voided").exists()
    assert links[0] in card(client, shop, shop.cast.ines)


def test_work_is_said_anew_and_the_old_line_stays(shop: SimpleNamespace, client: Client) -> None:
    entry = enter(shop, "worked", 20, by=shop.cast.dag, **work_columns(basis="guessed"))
    client.force_login(shop.cast.dag)
    url = reverse("inventory:entry_correct", args=[shop.tool_set.pk, entry.pk])
    assert 'value="1,076.39"' in client.get(url).content.decode()
    answer = client.post(url, {"area": "2,153", "passes": "4", "why": "two sections", "act_id": str(uuid4())})
    assert answer.status_code == 302
    new = Entry.objects.get(replaces=entry.pk)
    assert new.area_m2 == pytest.approx(200.02, abs=0.01)
    assert (new.passes, new.basis, new.floor_uuid, new.step_key, new.amount_unit) == (
        4,
        "measured",
        HALL,
        entry.step_key,
        "ft2",
    )
    assert new.act.happened_at == entry.act.happened_at
    assert SetState.objects.get(pk=shop.tool_set.pk).worked_m2 == pytest.approx(800.1, abs=0.1)
    assert "two sections" in card(client, shop)


def test_an_unlikely_correction_is_asked_and_an_impossible_one_refused(shop: SimpleNamespace, client: Client) -> None:
    entry = enter(shop, "worked", 20, **work_columns())
    client.force_login(shop.cast.ines)
    url = reverse("inventory:entry_correct", args=[shop.tool_set.pk, entry.pk])
    asked = client.post(url, {"area": "1076", "passes": "40", "why": "many"})
    assert asked.status_code == 422
    assert "40 passes are many" in shown(asked.content.decode())
    assert 'name="sure"' in asked.content.decode()
    assert client.post(url, {"area": "1076", "passes": "400", "why": "many"}).status_code == 422
    assert client.post(url, {"area": "lots", "passes": "4", "why": "many"}).status_code == 422
    assert not Entry.objects.filter(kind="voided").exists()
    said = {"area": "1076", "passes": "40", "why": "many", **sure_of(asked)}
    assert client.post(url, said | {"passes": "41"}).status_code == 422  # not what was asked about
    assert client.post(url, said).status_code == 302


def test_a_height_is_said_anew_at_its_own_time(shop: SimpleNamespace, client: Client) -> None:
    entry = enter(shop, "measured", 20, lowest_height_mm=9.0)
    client.force_login(shop.cast.ines)
    url = reverse("inventory:entry_correct", args=[shop.tool_set.pk, entry.pk])
    assert client.post(url, {"height": "8 mm", "why": "misread"}).status_code == 302
    assert SetState.objects.get(pk=shop.tool_set.pk).lowest_height_mm == 8.0
    out = enter(shop, "scanned_out", 10, outing=shop.outing, gate="passed")
    assert client.get(reverse("inventory:entry_correct", args=[shop.tool_set.pk, out.pk])).status_code == 404


def test_corrections_refuse_what_is_not_theirs(shop: SimpleNamespace) -> None:
    entry = enter(shop, "measured", 20, lowest_height_mm=9.0)
    ines, branch = who(shop.cast.ines, shop.cast.device, shop.now), shop.cast.branch
    area, height = Amount(10.0, Decimal(10), "m2"), Heights((Amount(8.0, Decimal(8), "mm"),))
    with pytest.raises(Exception, match="no work"):
        correct_worked(ines, branch, entry, area, 5, "x", now=shop.now)
    work = enter(shop, "worked", 10, **work_columns())
    with pytest.raises(Exception, match="no measurement"):
        correct_height(ines, branch, work, height, "x", now=shop.now)
    with pytest.raises(WorkAsked):
        correct_worked(ines, branch, work, area, 30, "x", now=shop.now)
    with pytest.raises(WorkRefused):
        correct_worked(ines, branch, work, Amount(0.0, Decimal(0), "m2"), 5, "x", now=shop.now)


# --- flags ---


def test_a_flag_is_settled_on_the_card_by_who_may(shop: SimpleNamespace, client: Client) -> None:
    entry = enter(shop, "scanned_out", 20, outing=shop.outing, gate="overridden", why="spare is in van 5")
    page = card(client, shop)
    assert "It left though it was not ready." in page
    assert "It is right as it is" in page
    url = reverse("inventory:flag_settle", args=[shop.tool_set.pk])
    said = {"entry": str(entry.pk), "code": "gate_overridden", "answer": "seen"}
    assert "It is right as it is" not in card(client, shop, shop.cast.dag)
    assert client.post(url, said).status_code == 403
    client.force_login(shop.cast.ines)
    assert client.get(url).status_code == 405
    assert client.post(url, said | {"entry": "nonsense"}).status_code == 302
    assert SetState.objects.get(pk=shop.tool_set.pk).open_flags == 1
    assert client.post(url, said).status_code == 302
    assert SetState.objects.get(pk=shop.tool_set.pk).open_flags == 0
    page = card(client, shop)
    assert "does not fit" not in page
    assert "Settled, it is right as it is: It left though it was not ready." in page


@pytest.mark.parametrize("wrong", [{"answer": "=sent <b>words</b>"}, {"answer": ""}, {"code": "=sent <b>words</b>"}])
def test_a_refused_settling_is_said_once_without_what_was_sent(
    shop: SimpleNamespace, client: Client, wrong: dict[str, str]
) -> None:
    entry = enter(shop, "scanned_out", 20, outing=shop.outing, gate="overridden", why="spare is in van 5")
    url = reverse("inventory:flag_settle", args=[shop.tool_set.pk])
    client.force_login(shop.cast.ines)
    said = {"entry": str(entry.pk), "code": "gate_overridden", "answer": "seen"} | wrong
    page = client.post(url, said, follow=True).content.decode()
    assert page.count("That is none of the answers to what does not fit here. Take one of those on the set") == 1
    assert "=sent" not in page  # no other text of the page holds this: a token has no "="
    assert SetState.objects.get(pk=shop.tool_set.pk).open_flags == 1


# --- tables ---


def test_who_had_it_and_where_it_worked(shop: SimpleNamespace) -> None:
    enter(shop, "scanned_out", 50, outing=shop.outing, gate="passed", holder_kind="person", holder_person=shop.cast.dag)
    enter(shop, "worked", 45, **work_columns())
    enter(shop, "handed_over", 40, holder_kind="person", holder_person=shop.cast.teo, outing=shop.outing)
    wrong = enter(shop, "worked", 39, **work_columns(area_m2=900.0))
    enter(shop, "worked", 38, **work_columns(basis="planned"))
    enter(shop, "scanned_in", 30, to_place=shop.rack)
    enter(shop, "voided", 29, void_target=wrong.pk, why="keyed twice")
    had = who_had_it(ledger_of(shop.tool_set.pk))
    times = [(one.holder, round((shop.now - one.since) / hours(1)), one.worked_m2) for one in had]
    assert times == [("Teo B.", 40, 500.0), ("Dag P.", 50, 500.0)]
    assert round((shop.now - had[0].until) / hours(1)) == 30
    visits = where_it_worked(facts_from_json(SetState.objects.get(pk=shop.tool_set.pk).facts))
    assert [(one.visit, one.floor, one.worked_m2) for one in visits] == [(JOB, HALL, 1000.0)]


def test_the_card_shows_soaks_heights_labels_and_a_curve_with_its_numbers(
    shop: SimpleNamespace, client: Client
) -> None:
    shop.cast.branch.label_address = "HTTPS://SHOP.EXAMPLE"
    shop.cast.branch.save()
    enter(shop, "worked", 300, **work_columns(area_m2=300.0))
    enter(shop, "measured", 299, lowest_height_mm=9.2)
    enter(shop, "soak_begun", 80, to_place=shop.tub)
    page = shown(card(client, shop))
    for words in (
        "Tub 1",
        "80 h",
        "in water now",
        "GL-7K2M46",
        "no, it is the one on it",
        "0.36 in",
        "Numbers as a table",
    ):
        assert words in page
    html = card(client, shop)
    assert html.count('class="chart ') == 2
    assert 'role="img" aria-label="Lowest piece likely ' in html
    assert 'aria-label="Label GL-7K2M46"' in html


def test_money_shows_only_to_who_may_see_it(shop: SimpleNamespace, client: Client) -> None:
    order = Order.objects.create(
        branch=shop.cast.branch, supplier=make_supplier(), number="O-12", made_at=shop.now, made_by=shop.cast.ruta
    )
    line = OrderLine.objects.create(
        order=order,
        tool_type=shop.tool_set.tool_type,
        sets=1,
        price=Decimal("310"),
        currency="USD",
        recorded_at=shop.now,
    )
    shop.tool_set = ToolSet.objects.create(tool_type=shop.tool_set.tool_type, made_at=shop.now)
    enter(shop, "received", 20, branch=shop.cast.branch, to_place=shop.rack, order_line=line)
    assert "$310" in card(client, shop, shop.cast.ruta)
    for person in (shop.cast.ines, shop.cast.dag, shop.cast.nils):
        assert "310" not in shown(card(client, shop, person))


def test_no_key_of_a_person_or_set_is_read_on_the_card(shop: SimpleNamespace, client: Client) -> None:
    enter(shop, "worked", 20, **work_columns())
    page = shown(card(client, shop))
    assert not re.search(r"[0-9a-f]{8}-[0-9a-f]{4}", page)


def test_the_card_speaks_spanish_numbers_without_failing(shop: SimpleNamespace, client: Client) -> None:
    enter(shop, "worked", 20, **work_columns())
    shop.cast.ines.language, shop.cast.ines.units = "es", "metric"
    shop.cast.ines.save()
    with translation.override("es"):
        assert "500" in card(client, shop)


# --- doors ---


def doors(shop: SimpleNamespace, entry: Entry) -> dict[str, tuple[str, set[str]]]:
    pk = shop.tool_set.pk
    return {
        "toolset": (reverse("inventory:toolset", args=[pk]), {"GET"}),
        "ledger": (reverse("inventory:toolset_ledger", args=[pk]), {"GET"}),
        "void": (reverse("inventory:entry_void", args=[pk, entry.pk]), {"GET", "POST"}),
        "correct": (reverse("inventory:entry_correct", args=[pk, entry.pk]), {"GET", "POST"}),
        "settle": (reverse("inventory:flag_settle", args=[pk]), {"POST"}),
    }


@pytest.mark.parametrize("name", ["toolset", "ledger", "void", "correct", "settle"])
def test_the_doors_of_the_card(shop: SimpleNamespace, client: Client, name: str) -> None:
    entry = enter(shop, "worked", 20, **work_columns())
    url, methods = doors(shop, entry)[name]
    first = "GET" if "GET" in methods else "POST"
    assert client.generic(first, url)["Location"].startswith(reverse("inventory:sign_in"))
    client.force_login(shop.cast.ines)
    assert client.generic(first, url).status_code in (200, 302)
    for method in {"GET", "POST", "PUT", "DELETE"} - methods:
        assert client.generic(method, url).status_code == 405
    unknown = url.replace(str(shop.tool_set.pk), str(uuid4()))
    assert client.generic(first, unknown).status_code == 404
    client.force_login(make_person(make_branch("Quayside shop"), "ove", "Ove K.", "owner"))
    assert client.generic(first, url).status_code == 404


def test_an_entry_of_another_set_is_not_voided_here(shop: SimpleNamespace, client: Client) -> None:
    other = make_set(shop.cast, shop.tool_set.tool_type, shop.rack, at=shop.now - hours(900))
    entry = write(shop.cast, NewLine("measured", other, None, {"lowest_height_mm": 9.0})).entries[0]
    client.force_login(shop.cast.ines)
    assert client.get(reverse("inventory:entry_void", args=[shop.tool_set.pk, entry.pk])).status_code == 404


def test_many_entries_cost_no_more_queries_than_few(shop: SimpleNamespace, client: Client) -> None:
    urls = [reverse(f"inventory:{name}", args=[shop.tool_set.pk]) for name in ("toolset", "toolset_ledger")]

    def visit(ago: float) -> None:
        enter(shop, "soak_begun", ago + 90, to_place=shop.tub)
        enter(shop, "scanned_out", ago + 8, outing=shop.outing, gate="overridden", why="spare")
        enter(shop, "worked", ago + 4, machine=make_machine(shop.cast.branch), **work_columns())
        enter(shop, "scanned_in", ago, to_place=shop.rack, lowest_height_mm=9.0)

    visit(700)
    client.force_login(shop.cast.ines)

    def asked() -> list[int]:
        counts = []
        for url in urls:
            client.get(url)
            with CaptureQueriesContext(connection) as queries:
                assert client.get(url).status_code == 200
            counts.append(len(queries))
        return counts

    few = asked()
    for number in range(12):
        visit(600 - number * 45)
    # A set near its end is asked about the plans too: the first one was, by what was known of it then.
    assert all(many <= before for many, before in zip(asked(), few, strict=True))
