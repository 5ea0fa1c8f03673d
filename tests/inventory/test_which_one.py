"""An own code that two sets carry: put-in and count ask which one is meant, as scan-out does."""

from __future__ import annotations

from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.count import begin_count
from inventory.models import Entry, ToolSet
from tests.cast import NOW, make_cast, make_place, make_set, make_type, who

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(client: Client) -> SimpleNamespace:
    """Two dry 400s on Rack B, both called R-08 by the shop, and a third."""
    cast = make_cast()
    cast.rack = make_place(cast.branch, name="Rack B")
    cast.tub, cast.other = (make_place(cast.branch, "tub", name, room_sets=4) for name in ("Tub 1", "Tub 2"))
    cast.sets = [make_set(cast, make_type(), cast.rack, at=NOW) for _ in range(3)]
    ToolSet.objects.filter(pk__in=[one.pk for one in cast.sets[:2]]).update(own_code="R-08")
    client.force_login(cast.ines)
    return cast


def test_put_in_shows_both_and_the_one_picked_is_chosen_beside_what_was(shop: SimpleNamespace, client: Client) -> None:
    url = reverse("inventory:soak_put")
    ticked = {"set": str(shop.sets[2].pk), "tub": str(shop.other.pk)}
    page = client.post(url, {**ticked, "code": "r 8", "act_id": str(uuid4())})
    which = page.context["which"]
    assert (page.status_code, page.context["refused"], which.word) == (200, None, "Which one?")
    assert {action["hidden"]["take"] for action in which.actions} == {str(one.pk) for one in shop.sets[:2]}
    assert "Rack B" in which.actions[0]["detail"]
    taken = client.post(url, which.actions[0]["hidden"])
    picked = {str(row["state"].pk) for row in taken.context["picked"]}
    assert (taken.status_code, taken.context["which"]) == (200, None)
    assert picked == {which.actions[0]["hidden"]["take"], str(shop.sets[2].pk)}
    assert [row["tub"].place.name for row in taken.context["tubs"] if row["likely"]] == ["Tub 2"]
    assert Entry.objects.filter(kind="soak_begun").count() == 0


def test_a_count_shows_both_and_counts_the_one_picked(shop: SimpleNamespace, client: Client) -> None:
    count = begin_count(who(shop.ines, shop.device), shop.branch, shop.rack, now=NOW)
    url = reverse("inventory:count", args=[count.pk])
    asked = client.post(url, {"code": "R-08", "act_id": str(uuid4())}, headers={"X-Scan": "1"})
    assert "2 sets have the own code “R-08”. Take the one you hold" in asked.content.decode()
    assert Entry.objects.filter(kind="counted").count() == 0
    for one in shop.sets[:2]:
        assert f'name="set" value="{one.pk}"' in asked.content.decode()
    client.post(url, {"set": str(shop.sets[1].pk), "act_id": str(uuid4())}, headers={"X-Scan": "1"})
    assert [entry.tool_set for entry in Entry.objects.filter(kind="counted")] == [shop.sets[1]]
