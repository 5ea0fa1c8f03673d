"""A reading of a tub that was held back raises no set's flag: the morning asks about it, and one tap answers."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.actions.corrections import SettleRefused, settle_held
from inventory.actions.ledger import NewLine
from inventory.models import Entry
from inventory.queries.held import held_about_places
from inventory.queries.soak import standing_readings
from jobs.queries.morning import HeldBack, morning_of
from jobs.views.asked import questions
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, who, write

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Any:
    cast = make_cast()
    cast.tub = make_place(cast.branch, "tub", "Tub 1")
    return cast


def held(shop: Any, *lines: NewLine, at: Any = NOW) -> Entry:
    read = NewLine("water_read", None, shop.tub, {"temperature_c": 60.0})
    entry: Entry = write(shop, *(lines or (read,)), at=at, held_back="right withdrawn").entries[0]
    return entry


def asked(shop: Any) -> list[Entry]:
    found = morning_of(shop.branch, NOW, NOW - hours(9)).asked
    return [one.entry for one in found if isinstance(one, HeldBack)]


@pytest.mark.parametrize(("answer", "counts"), [("accept", 1), ("leave_out", 0)])
def test_one_tap_lets_a_held_back_reading_count_or_leaves_it_out(
    shop: Any, client: Client, answer: str, counts: int
) -> None:
    entry = held(shop)
    assert [one.pk for one in asked(shop)] == [entry.pk]
    (question,) = questions([HeldBack(asked(shop)[0])], shop.ines, NOW)
    assert question["words"].startswith("Tub 1: Water 140\xa0°F. This was recorded without the right")
    assert [one["label"] for one in question["answers"]] == ["Accept it", "Leave it out"]
    client.force_login(shop.ines)
    url = reverse("jobs:answer", args=["settle_held"])
    for _twice in range(2):
        client.post(url, {"entry": str(entry.pk), "answer": answer})
    assert (asked(shop), Entry.objects.filter(kind="settled").count()) == ([], 1)
    assert standing_readings([shop.tub.pk], NOW - hours(1)).count() == counts


def test_who_may_not_settle_does_not_and_another_answer_comes_too_late(shop: Any) -> None:
    entry = held(shop)
    with pytest.raises(SettleRefused, match="may not settle"):
        settle_held(who(shop.teo, shop.device), shop.branch, entry, "accept", now=NOW)
    settle_held(who(shop.ines, shop.device), shop.branch, entry, "leave_out", now=NOW)
    with pytest.raises(SettleRefused, match="answered already"):
        settle_held(who(shop.ines, shop.device), shop.branch, entry, "accept", now=NOW)


def test_what_a_sets_flag_asks_about_or_somebody_voided_is_not_asked_again(shop: Any) -> None:
    tool_set = make_set(shop, make_type(), shop.tub)
    read = NewLine("water_read", None, shop.tub, {"temperature_c": 60.0})
    held(shop, NewLine("moved", tool_set, None, {"to_place": shop.tub}), read)
    voided = held(shop)
    write(shop, NewLine("voided", None, shop.tub, {"void_target": voided.pk, "why": "twice"}), at=NOW)
    assert asked(shop) == []


def test_many_held_back_readings_are_asked_in_as_many_queries_as_one(shop: Any) -> None:
    held(shop)
    with CaptureQueriesContext(
        connection,
    ) as one:
        held_about_places(shop.branch)
    for number in range(6):
        held(shop, at=NOW - hours(number + 1))
    with CaptureQueriesContext(connection) as many:
        assert len(held_about_places(shop.branch)) == 7
    assert len(many) == len(one)
