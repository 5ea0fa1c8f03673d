"""A place that only a list named goes with the list; sets that go by one own code are told apart in Find."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.custody import move
from inventory.actions.shop import save_place
from inventory.models import Place, ToolSet
from jobs.actions.bring_in import take_back
from tests.cast import NOW, hours, make_cast, make_set, who

from .sheet_files import answer, come_in, draft_of, stock_shop, words

pytestmark = pytest.mark.django_db
ROWS = [["Disc", "ID", "where"], ["400 resin", "A-1", "Shelf Z"], ["400 resin", "A-2", "Shelf Z"]]


@pytest.fixture
def cast() -> SimpleNamespace:
    found = make_cast()
    found.types = stock_shop(found)
    found.draft = draft_of(found.ines, ROWS)
    answer(found.draft, found.ines, "“Shelf Z”", "new")
    come_in(found, found.draft)
    return found


def listed(cast: SimpleNamespace, client: Client) -> bool:
    client.force_login(cast.olga)
    page: Any = client.get(reverse("inventory:places"))
    return "Shelf Z" in words(page)


def test_a_place_only_a_list_named_is_gone_from_places_with_the_list(cast: SimpleNamespace, client: Client) -> None:
    assert listed(cast, client)
    take_back(cast.ines, cast.device, cast.draft, now=NOW + hours(1))
    assert not listed(cast, client)
    # Its row stays under the voided lines; named again, by hand or by a list, it is there again.
    again = save_place(cast.olga, cast.branch, kind="rack", name="Shelf Z", valid_from=date(2025, 5, 14), now=NOW)
    assert (again.active, Place.objects.filter(name="Shelf Z").count()) == (True, 1)
    assert listed(cast, client)


def test_a_place_that_others_use_stays_when_the_list_goes(cast: SimpleNamespace, client: Client) -> None:
    other = make_set(cast, cast.types["resin 400"], at=NOW - hours(9))
    move(who(cast.ines, cast.device), cast.branch, other, Place.objects.get(name="Shelf Z"), now=NOW + hours(0.5))
    take_back(cast.ines, cast.device, cast.draft, now=NOW + hours(1))
    assert listed(cast, client)


def test_two_sets_of_one_own_code_are_told_apart_in_find(cast: SimpleNamespace, client: Client) -> None:
    twin = ToolSet.objects.get(own_code="A-2")
    ToolSet.objects.filter(pk=twin.pk).update(own_code="A-1")
    rack = Place.objects.filter(kind="rack").exclude(name="Shelf Z").order_by("name")[0]
    move(who(cast.ines, cast.device), cast.branch, twin, rack, now=NOW + hours(1), peg="3")
    client.force_login(cast.ines)
    answer_of: Any = client.get(reverse("inventory:find"), {"q": "A-1"})
    page = words(answer_of)
    assert page.count("400 · A-1") == 2
    assert f"{rack.name}, peg 3, here since" in page
    assert "Shelf Z, here since" in page
