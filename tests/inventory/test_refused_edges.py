"""Odd input at the doors of the tools' side: far years, huge numbers, photos and workbooks made to harm."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.test import Client
from django.urls import reverse

from inventory import hooks
from inventory.actions.ledger import NewLine, record
from inventory.actions.outing import OutingWrong, change_outing, open_outing
from inventory.actions.undo import NotYours, ShiftsAct, undo
from inventory.models import Act, Entry, Outing
from tests.cast import NOW, hours, make_cast, make_outing, make_place, make_set, make_type, who
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
