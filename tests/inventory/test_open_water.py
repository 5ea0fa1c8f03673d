"""Planned steps without a reserved set on the soak page, as `jobs` would name them through the hook."""

from __future__ import annotations

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory import hooks
from inventory.actions.ledger import NewLine
from inventory.actions.soak import put_in
from inventory.hooks import NextUse, OpenStep
from inventory.models import SetState
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, who, write

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clock_at_now")]
LINE = "resin 400 for Osprey Lane, Sat 17 May 15:50"


@pytest.fixture
def shop() -> Iterator[SimpleNamespace]:
    """Three dry 400s, two tubs (one hot), and whatever steps and uses a test fills in."""
    cast = make_cast()
    cast.rack = make_place(cast.branch, name="Rack A")
    cast.tub = make_place(cast.branch, "tub", "Tub 1", room_sets=4)
    cast.hot = make_place(cast.branch, "tub", "Tub 2", room_sets=8, thermostat=True)
    cast.resin = make_type()
    cast.sets = [make_set(cast, cast.resin, cast.rack, at=NOW - hours(200)) for _ in range(3)]
    cast.steps, cast.uses = [], {}
    before = hooks._open_steps[:], hooks._next[:]
    hooks.register_open_steps(lambda branch, now: cast.steps)
    hooks.register_next_use(lambda ids, now: {pk: cast.uses[pk] for pk in ids if pk in cast.uses})
    yield cast
    hooks._open_steps[:], hooks._next[:] = before


def step(shop: SimpleNamespace, leaves: float = 76, words: str = "Osprey Lane, Sat 17 May 15:50", **more: Any) -> None:
    type_id = more.pop("type_id", shop.resin.pk)
    shop.steps.append(OpenStep(type_id, words, NOW + hours(leaves), NOW + hours(leaves + 2), "/jobs/1/"))


def soak_page(client: Client, shop: SimpleNamespace, person: Any = None) -> Any:
    client.force_login(person or shop.ines)
    return client.get(reverse("inventory:soak"))


def test_a_step_without_a_set_says_by_when_one_must_be_in_water(shop: SimpleNamespace, client: Client) -> None:
    step(shop)
    page = soak_page(client, shop)
    (line,) = page.context["open_steps"]
    # 76 h before leaving less 72 h cold: 13:50 in Chicago, and the shop is staffed then.
    assert (line["for_words"], line["words"]) == (LINE, "No set reserved; one must be in water by 13:50")
    assert page.context["headline"] == "1 planned step has no set: one must be in water by 13:50"
    assert LINE in page.content.decode()


def test_one_tap_puts_a_free_dry_set_in(shop: SimpleNamespace, client: Client) -> None:
    step(shop)
    shop.uses[shop.sets[0].pk] = NextUse("Pell Road", None, "", NOW + hours(78), NOW + hours(76))
    put = soak_page(client, shop).context["open_steps"][0]["put"]
    assert put["label"].endswith(" in Tub 1")
    # The one reserved for another job is not taken for this.
    assert UUID(put["hidden"]["sets"]) in {shop.sets[1].pk, shop.sets[2].pk}
    assert client.post(put["url"], put["hidden"]).status_code == 302
    assert SetState.objects.get(pk=put["hidden"]["sets"]).soaking is True
    # 76 h ahead and 72 h to soak: it will be ready, and nothing more is asked.
    assert soak_page(client, shop).context["open_steps"] == []


def test_a_free_set_in_water_in_time_serves_one_step_and_no_more(shop: SimpleNamespace, client: Client) -> None:
    at = NOW - hours(10)
    put_in(who(shop.ines, shop.device, at), shop.branch, [shop.sets[0]], shop.tub, now=at)
    step(shop, words="Osprey Lane")
    assert soak_page(client, shop).context["open_steps"] == []
    step(shop, leaves=80, words="Bellweather")
    assert [one["for_words"] for one in soak_page(client, shop).context["open_steps"]] == ["resin 400 for Bellweather"]


def test_two_steps_are_offered_two_sets(shop: SimpleNamespace, client: Client) -> None:
    step(shop, words="Osprey Lane")
    step(shop, leaves=80, words="Bellweather")
    lines = soak_page(client, shop).context["open_steps"]
    assert len({one["put"]["hidden"]["sets"] for one in lines}) == 2


@pytest.mark.parametrize(
    ("leaves", "words"),
    [
        # 31 h before Friday 09:50 is Thursday 02:50: last staffed today 17:00, in the tub on a thermostat.
        (48, "No set reserved; one must be in hot water by 17:00"),
        (10, "No set reserved; too late for water: put in now, one is ready Sat 09:50"),
    ],
)
def test_too_late_for_cold_water_is_said(shop: SimpleNamespace, client: Client, leaves: float, words: str) -> None:
    step(shop, leaves=leaves)
    assert soak_page(client, shop).context["open_steps"][0]["words"] == words


def test_a_type_that_needs_no_water_is_not_named(shop: SimpleNamespace, client: Client) -> None:
    metal = make_type("70", "metal", 1, soak_need="none")
    step(shop, type_id=metal.pk)
    page = soak_page(client, shop)
    assert page.context["open_steps"] == []
    assert page.context["headline"] == "No set is in water"


def test_no_dry_set_to_offer_is_said(shop: SimpleNamespace, client: Client) -> None:
    step(shop)
    SetState.objects.update(fitness="set_aside")
    line = soak_page(client, shop).context["open_steps"][0]
    assert (line["put"], line["none"]) == (None, "No free dry set of it hangs here.")


def test_many_steps_and_sets_cost_no_more_queries(shop: SimpleNamespace, client: Client) -> None:
    step(shop)
    soak_page(client, shop)
    with CaptureQueriesContext(connection) as few:
        soak_page(client, shop)
    for number in range(20):
        make_set(shop, shop.resin, shop.rack, at=NOW - hours(200))
        step(shop, leaves=80 + number, words=f"Job {number}")
    with CaptureQueriesContext(connection) as many:
        page = soak_page(client, shop)
    assert len(many) == len(few)
    assert (len(page.context["open_steps"]), page.context["open_more"]) == (12, 9)


def test_dry_sets_of_vans_and_without_a_place_are_offered_and_missing_ones_named(
    shop: SimpleNamespace, client: Client
) -> None:
    van, lost = make_place(shop.branch, "van", "Van 3"), make_place(shop.branch, "unknown", "unknown")
    for tool_set, place in zip(shop.sets[:2], (van, lost), strict=True):
        write(shop, NewLine("moved", tool_set, None, {"to_place": place}), at=NOW - hours(5))
    nowhere = make_set(shop, shop.resin, None, at=NOW - hours(5))
    client.force_login(shop.ines)
    page = client.get(reverse("inventory:soak_put"))
    offered = {row["state"].pk: row["where"] for group in page.context["groups"] for row in group["sets"]}
    assert offered == {shop.sets[0].pk: "Van 3", nowhere.pk: "no place known", shop.sets[2].pk: "Rack A"}
    assert [(row["state"].pk, row["why"]) for row in page.context["left_out"]] == [
        (shop.sets[1].pk, "missing since 04:50")
    ]
    assert reverse("inventory:set_act", args=[shop.sets[1].pk, "found"]) in page.content.decode()
    data = {"set": [str(shop.sets[0].pk), str(nowhere.pk)], "tub": str(shop.tub.pk), "act_id": str(uuid4())}
    assert client.post(reverse("inventory:soak_put"), data).status_code == 302
    assert SetState.objects.filter(place=shop.tub, soaking=True).count() == 2


def test_a_crowded_tub_is_told_by_type_and_state(shop: SimpleNamespace, client: Client) -> None:
    """Thirty sets of two types put in one by one: a lane for each type and state, with the first and last time."""
    shop.tub.room_sets = None
    shop.tub.save()
    coarse = make_type("100", ladder_place=4)
    sizes = []
    for number in range(30):
        ago = 20 + number if number % 3 else 80 + number
        at = NOW - hours(ago)
        tool_set = make_set(shop, coarse if number % 2 else shop.resin, shop.rack, at=NOW - hours(200))
        put_in(who(shop.ines, shop.device, at), shop.branch, [tool_set], shop.tub, now=at)
        if number in (5, 29):
            page = soak_page(client, shop)
            sizes.append((len(page.context["tubs"][0].lanes), len(page.content)))
    lanes = page.context["tubs"][0].lanes
    assert sizes[0][0] == 6
    assert [(lane.grit, lane.kind, lane.count) for lane in lanes] == [
        ("100", "soaked", 5),
        ("100", "soaking", 10),
        ("400", "soaked", 5),
        ("400", "soaking", 10),
    ]
    # In since 20 h to 49 h; of 72 h, the first is ready in 23 h, the last in 51 h.
    assert lanes[1].words == "Thu 08:50 to Fri 12:50"
    assert lanes[0].words.startswith("Soaked, not confirmed, the first since ")
    assert sizes[1][1] < 1.3 * sizes[0][1]
    # The tub's own page goes on naming every set.
    assert client.get(reverse("inventory:tub", args=[shop.tub.pk])).content.decode().count('name="set"') == 30


def test_of_very_many_done_sets_sixty_are_confirmed_at_once(shop: SimpleNamespace, client: Client) -> None:
    shop.tub.room_sets = None
    shop.tub.save()
    at = NOW - hours(80)
    sets = [make_set(shop, shop.resin, shop.rack, at=NOW - hours(200)) for _number in range(62)]
    put_in(who(shop.ines, shop.device, at), shop.branch, sets, shop.tub, now=at)
    page = soak_page(client, shop)
    assert page.context["tubs"][0].done_label == "Confirm 60 of 62 sets"
    assert len(page.context["tubs"][0].done_ids.split(",")) == 60


def test_a_van_that_should_have_left_takes_what_is_ready_now_and_else_a_set_is_chosen(
    shop: SimpleNamespace, client: Client
) -> None:
    """The 72 h of the first set end after the van should have left, and before now: it serves the step."""
    put_in(who(shop.ines, shop.device, NOW - hours(73)), shop.branch, [shop.sets[0]], shop.tub, now=NOW - hours(73))
    choose = "/jobs/1/sets/"
    shop.steps.append(OpenStep(shop.resin.pk, "Osprey Lane", NOW - hours(2), NOW + hours(1), choose_url=choose))
    assert soak_page(client, shop).context["open_steps"] == []
    shop.steps.append(OpenStep(shop.resin.pk, "Pell Road", NOW - hours(1), NOW + hours(2), choose_url=choose))
    for one in shop.sets[1:]:
        write(shop, NewLine("set_aside", one, None, {"why": "chipped"}), at=NOW)
    (line,) = soak_page(client, shop).context["open_steps"]
    assert line["words"] == "No set reserved; too late for water: put in now, one is ready Sat 09:50"
    assert (line["put"]["label"], line["put"]["url"]) == ("Choose a set", choose)
    assert soak_page(client, shop, shop.teo).context["open_steps"][0]["put"] is None
