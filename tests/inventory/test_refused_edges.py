"""Odd input at the doors of the tools' side: far years, huge numbers, photos and workbooks made to harm."""

from __future__ import annotations

import random
from datetime import UTC, datetime
from io import BytesIO
from types import SimpleNamespace
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image, PngImagePlugin

from inventory import hooks
from inventory.actions.label import make_blank
from inventory.actions.ledger import NewLine, record
from inventory.actions.outing import OutingWrong, change_outing, open_outing
from inventory.actions.undo import NotYours, ShiftsAct, undo
from inventory.models import Act, Entry, Outing, Supplier
from inventory.sheets import xlsx_reading
from inventory.views.photo import PhotoNotRead, read_photo
from tests.cast import NOW, TODAY, hours, make_cast, make_outing, make_place, make_set, make_type, who
from tests.inventory.sheets.shop import xlsx_file
from tests.inventory.test_card import work_columns

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> SimpleNamespace:
    found = make_cast()
    found.rack = make_place(found.branch, name="Rack B")
    found.set = make_set(found, make_type("400"), found.rack, at=NOW - hours(100))
    return found


def said(shop: SimpleNamespace, line: NewLine) -> Act:
    """What the crew lead wrote two hours ago."""
    at = NOW - hours(2)
    return record(who(shop.dag, shop.device, at), shop.branch, [line], now=at).act


FAR = [datetime(9999, 12, 31, 23, 59, tzinfo=UTC), datetime(NOW.year + 6, 1, 1, tzinfo=UTC)]


@pytest.mark.parametrize("due_at", FAR)
def test_an_outing_due_in_a_far_year_is_refused(shop: SimpleNamespace, due_at: datetime) -> None:
    with pytest.raises(OutingWrong, match=rf"{due_at.year} is no year for an outing\.") as refusal:
        open_outing(shop.branch, kind="job", name="Osprey Lane", leaves_at=NOW, due_at=due_at, now=NOW)
    assert (refusal.value.field, Outing.objects.count()) == ("due_at", 0)


def test_an_outing_changed_to_leave_in_the_year_1_is_refused(shop: SimpleNamespace, client: Client) -> None:
    outing = make_outing(shop.branch)
    facts: dict[str, Any] = {
        "kind": "job",
        "name": "Osprey Lane",
        "holder_kind": "crew",
        "holder_person": None,
        "holder_name": "",
    }
    with pytest.raises(OutingWrong, match=r"^1 is no year") as refusal:
        change_outing(outing, leaves_at=datetime(1, 1, 1, tzinfo=UTC), due_at=None, van=None, **facts)
    assert refusal.value.field == "leaves_at"
    client.force_login(shop.ines)
    form = {"kind": "job", "name": "Osprey Lane", "holder_kind": "crew", "leaves_at": "2025-06-01T19:00"}
    for due_at in ("9999-12-31T23:59", "0001-01-01T00:00"):
        answer = client.post(reverse("inventory:outing_change", args=[outing.pk]), form | {"due_at": due_at})
        assert answer.status_code == 422


def test_undo_leaves_a_closed_shift_to_who_settles(shop: SimpleNamespace, monkeypatch: pytest.MonkeyPatch) -> None:
    shift = uuid4()
    act = said(shop, NewLine("worked", shop.set, None, work_columns() | {"shift_uuid": shift}))
    closed = {shift}
    monkeypatch.setattr(hooks, "_closed", [lambda asked: frozenset(closed & set(asked))])
    with pytest.raises(NotYours, match=r"The shift of this entry is closed\."):
        undo(who(shop.dag, shop.device), shop.branch, act, "", now=NOW)
    assert not Entry.objects.filter(kind="voided").exists()
    undo(who(shop.ines, shop.device), shop.branch, act, "", now=NOW)
    assert Entry.objects.filter(kind="voided").count() == 1


def test_undo_of_what_was_said_of_a_shift_points_to_the_job(
    shop: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    act = said(shop, NewLine("moved", shop.set, None, {"to_place": shop.rack, "peg": "14"}))
    told: set[UUID] = {act.pk}
    monkeypatch.setattr(hooks, "_said", [lambda asked: frozenset(told & set(asked))])
    with pytest.raises(ShiftsAct, match="whole shift"):
        undo(who(shop.dag, shop.device), shop.branch, act, "", now=NOW)
    told.clear()
    undo(who(shop.dag, shop.device), shop.branch, act, "", now=NOW)
    assert Entry.objects.filter(kind="voided").count() == 1


@pytest.mark.parametrize("tool_type", ["abc", "NaN", "²", "-1", "99999999999999999999", ""])
def test_a_blank_label_claimed_for_no_type_finds_nothing(shop: SimpleNamespace, client: Client, tool_type: str) -> None:
    blank = make_blank(shop.branch, 1, made_by=None, now=NOW, rng=random.Random(7))[0]
    client.force_login(shop.dag)
    form = {"tool_type": tool_type, "opening": "new", "act_id": str(uuid4())}
    assert client.post(reverse("inventory:claim", args=[blank.code]), form).status_code == 404


def picture(kind: str, size: tuple[int, int] = (40, 30), **more: Any) -> SimpleUploadedFile:
    file = BytesIO()
    Image.new("1" if kind == "PNG" else "L", size).save(file, kind, **more)
    return SimpleUploadedFile("label", file.getvalue())


def test_a_photo_made_to_harm_is_refused_in_words() -> None:
    bomb = PngImagePlugin.PngInfo()
    bomb.add_text("note", "0" * (PngImagePlugin.MAX_TEXT_CHUNK + 1), zip=True)
    for file, words in (
        (picture("PNG", pnginfo=bomb), "is not a photo"),
        (picture("TIFF"), "is not a photo"),
        (picture("PNG", (8000, 8000)), "too large to read"),
        (picture("PNG"), "No label can be read"),
        (picture("WEBP"), "No label can be read"),
    ):
        with pytest.raises(PhotoNotRead, match=words):
            read_photo(file)


@pytest.mark.parametrize("name", ["entries", "orders", "outings", "work"])
@pytest.mark.parametrize("days", [{"until": "9999-12-31"}, {"since": "0001-01-01"}])
def test_a_table_until_the_end_of_the_calendar_is_refused(
    shop: SimpleNamespace, client: Client, name: str, days: dict[str, str]
) -> None:
    client.force_login(shop.olga)
    answers = [client.get(reverse("inventory:export", args=[name, kind]), days) for kind in ("csv", "xlsx")]
    assert [answer.status_code for answer in answers] == [422, 422]
    assert f"“{next(iter(days.values()))}” is no day." in answers[0].content.decode()


HUGE = "9" * 20


def test_an_order_of_a_huge_number_is_not_found(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.olga)
    assert client.get(f"/orders/{HUGE}/").status_code == 404
    for door in (f"receive/{HUGE}/", "promise/", "close/"):
        assert client.post(f"/orders/{HUGE}/{door}").status_code == 404


def test_a_smallest_order_of_very_many_sets_is_refused(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.olga)
    form = {"name": "Firm", "minimum_sets": "99999999999999999999", "valid_from": TODAY.isoformat(), "active": "on"}
    assert client.post(reverse("inventory:supplier_new"), form).status_code == 422
    assert Supplier.objects.count() == 0
    client.post(reverse("inventory:supplier_new"), form | {"minimum_sets": "9999"})
    assert Supplier.objects.count() == 1


def test_a_workbook_of_empty_rows_is_read_to_its_list_only(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(xlsx_reading, "MAX_ROWS", 10)
    gap: list[list[Any]] = [[None]] * 9
    rows = [["Disc", "ID"], *gap, ["400 resin", "R-1"], [None], [None], ["400 resin", "R-2"]]
    found, _name, _others = xlsx_reading.read_xlsx(xlsx_file(rows))
    assert [row.number for row in found] == [1, 11]
