"""The doors of a count: which place, scanning it, approving the differences, taking the end back."""

from __future__ import annotations

import random
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any
from unittest import mock
from uuid import UUID, uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory import hooks
from inventory.actions.count import begin_count, count_seen, finish
from inventory.actions.custody import move, scan_out
from inventory.codes import new_code
from inventory.hooks import NextUse
from inventory.models import Count, Entry, SetState
from inventory.queries.count import count_picture
from tests.cast import NOW, hours, make_branch, make_cast, make_outing, make_place, make_set, make_type, who
from tests.inventory.test_estimate import worked

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock() -> Iterator[None]:
    """The shop's clock stands six minutes after NOW, when the count of the fixture began."""
    with mock.patch("django.utils.timezone.now", return_value=NOW + hours(0.1)):
        yield


@pytest.fixture
def shop() -> SimpleNamespace:
    """Rack B with three labelled sets, one out with Osprey Lane in van 2, and a count of it that has begun."""
    cast = make_cast()
    cast.metal = make_type("70", "metal", 1, soak_need="none")
    cast.rack, cast.van = make_place(cast.branch, name="Rack B"), make_place(cast.branch, "van", "Van 2")
    earlier = NOW - hours(48)
    cast.codes = [new_code(random.Random(seed)) for seed in range(4)]
    cast.sets = [make_set(cast, cast.metal, None, at=earlier, code=code) for code in cast.codes]
    for number, tool_set in enumerate(cast.sets, start=1):
        move(who(cast.ines, cast.device, earlier), cast.branch, tool_set, cast.rack, now=earlier, peg=str(number))
    cast.outing = make_outing(cast.branch, van=cast.van)
    at = NOW - hours(20)
    scan_out(who(cast.dag, cast.device, at), cast.branch, cast.sets[3], cast.outing, now=at)
    cast.count = begin_count(who(cast.ines, cast.device), cast.branch, cast.rack, now=NOW)
    return cast


def signed(client: Client, person: Any) -> Client:
    client.force_login(person)
    return client


def url_of(shop: SimpleNamespace, name: str = "count") -> str:
    return reverse(f"inventory:{name}", args=[shop.count.pk])


def scan(client: Client, shop: SimpleNamespace, number: int) -> Any:
    return client.post(url_of(shop), {"code": shop.codes[number]})


DOORS = [("counts", "get"), ("counts", "post"), ("count", "get"), ("count", "post")]
DOORS += [("count_finish", "get"), ("count_finish", "post"), ("count_undo", "post")]


@pytest.mark.parametrize(("name", "method"), DOORS)
def test_a_door_asks_who_one_is_and_what_one_may(shop: SimpleNamespace, client: Client, name: str, method: str) -> None:
    url = reverse("inventory:counts") if name == "counts" else url_of(shop, name)
    assert getattr(client, method)(url).status_code == 302
    assert getattr(signed(client, shop.nils), method)(url).status_code == 403
    helper = getattr(signed(client, shop.teo), method)(url).status_code
    assert helper == (200 if name == "count" else 403)
    assert signed(client, shop.ines).put(url).status_code == 405


@pytest.mark.parametrize("name", ["count", "count_finish", "count_undo"])
def test_a_count_of_another_branch_is_not_there(shop: SimpleNamespace, client: Client, name: str) -> None:
    other = make_branch("Weir Street shop")
    foreign = Count.objects.create(branch=other, place=make_place(other), begun_at=NOW, begun_by=shop.ines)
    for key in (foreign.pk, uuid4()):
        assert signed(client, shop.ines).post(reverse(f"inventory:{name}", args=[key])).status_code == 404


def test_a_place_is_chosen_and_its_count_begins_once(shop: SimpleNamespace, client: Client) -> None:
    rack = make_place(shop.branch, name="Rack C")
    for _press in range(2):
        answer = signed(client, shop.ines).post(reverse("inventory:counts"), {"place": str(rack.pk)})
    count = Count.objects.get(place=rack)
    assert answer.headers["Location"] == reverse("inventory:count", args=[count.pk])
    words = client.get(reverse("inventory:counts")).content.decode()
    assert "2 counts are open" in words
    assert client.post(reverse("inventory:counts"), {"place": "no"}).status_code == 404


def test_the_headline_counts_down_and_an_expected_set_is_ticked(shop: SimpleNamespace, client: Client) -> None:
    page = signed(client, shop.teo).get(url_of(shop))
    assert page.context["headline"] == "Look for 3 sets in Rack B"
    page = scan(client, shop, 0)
    assert page.context["headline"] == "Rack B: 2 to look for"
    assert page.context["under"] == "1 of 3 found in 6 minutes."
    last = page.context["last"]
    assert (last.kind, last.word, last.code) == ("taken", "Counted", shop.codes[0])
    assert last.detail == "peg 1, metal 70, as the ledger says"


def test_a_stranger_is_asked_about_and_only_who_may_answers(shop: SimpleNamespace, client: Client) -> None:
    page = scan(signed(client, shop.teo), shop, 3)
    assert page.context["headline"] == "Rack B: 3 to look for, 1 too many"
    (asked,) = page.context["questions"]
    assert asked.title == "metal 70 is too many"
    assert "Said to be out: Osprey Lane, Van 2." in asked.detail
    assert asked.yes == "It came back"
    assert "It came back" not in page.content.decode()
    refused = client.post(url_of(shop), {"set": str(shop.sets[3].pk), "do": "here"})
    assert "may not begin or end a count" in refused.content.decode()

    page = signed(client, shop.ines).post(url_of(shop), {"set": str(shop.sets[3].pk), "do": "here"})

    assert page.context["questions"] == []
    assert SetState.objects.get(pk=shop.sets[3].pk).place_id == shop.rack.pk


def test_undo_of_a_scan_makes_it_one_to_look_for_again(shop: SimpleNamespace, client: Client) -> None:
    page = scan(signed(client, shop.teo), shop, 0)
    again = client.post(url_of(shop), {"do": "undo", "act": str(page.context["last"].act)})
    assert again.context["headline"] == "Look for 3 sets in Rack B"
    assert client.post(url_of(shop), {"do": "undo", "act": str(uuid4())}).context["last"].kind == "refused"


def test_a_set_whose_label_is_gone_is_counted_by_hand(shop: SimpleNamespace, client: Client) -> None:
    page = signed(client, shop.teo).post(url_of(shop), {"set": str(shop.sets[1].pk), "do": "see"})
    assert page.context["headline"] == "Rack B: 2 to look for"


@pytest.mark.parametrize(
    ("code", "word"), [("GL-000000", "Unknown"), ("", "Unknown"), ("https://other.example/S/nothing", "Unknown")]
)
def test_what_opens_no_set_is_said(shop: SimpleNamespace, client: Client, code: str, word: str) -> None:
    last = signed(client, shop.teo).post(url_of(shop), {"code": code}).context["last"]
    assert (last.kind, last.word) == ("refused", word)
    assert last.detail


def test_a_scan_with_the_script_brings_only_what_changed(shop: SimpleNamespace, client: Client) -> None:
    page = signed(client, shop.teo).post(url_of(shop), {"code": shop.codes[0]}, headers={"X-Scan": "1"})
    words = page.content.decode()
    assert words.startswith('<div id="answer"')
    assert 'data-verdict="taken"' in words


def test_the_differences_are_approved_one_by_one(shop: SimpleNamespace, client: Client) -> None:
    scan(signed(client, shop.ines), shop, 0)
    scan(client, shop, 3)
    page = client.get(url_of(shop, "count_finish"))
    assert page.context["headline"] == "3 differences to approve in Rack B"

    client.post(url_of(shop, "count_finish"), {"here": [str(shop.sets[3].pk)], "missing": [str(shop.sets[1].pk)]})

    places = [SetState.objects.select_related("place").get(pk=one.pk).place.kind for one in shop.sets]  # type: ignore[union-attr]
    assert places == ["rack", "unknown", "rack", "rack"]
    done = client.get(url_of(shop))
    assert done.context["headline"] == "Rack B counted: 1 missing, 1 here after all"
    assert client.get(url_of(shop, "count_finish")).status_code == 302


def test_the_end_is_taken_back_with_one_press(shop: SimpleNamespace, client: Client) -> None:
    signed(client, shop.ines).post(url_of(shop, "count_finish"), {"missing": [str(one.pk) for one in shop.sets[:3]]})
    assert SetState.objects.filter(place__kind="unknown").count() == 3
    client.post(url_of(shop, "count_undo"))
    assert SetState.objects.filter(place=shop.rack).count() == 3
    assert client.get(url_of(shop)).context["headline"] == "Look for 3 sets in Rack B"
    assert client.post(url_of(shop, "count_undo")).status_code == 302


def test_a_count_without_differences_says_so(shop: SimpleNamespace, client: Client) -> None:
    signed(client, shop.ines)
    for number in range(3):
        page = scan(client, shop, number)
    assert page.context["headline"] == "Rack B: all 3 sets are here"
    assert client.get(url_of(shop, "count_finish")).context["headline"] == "Rack B is as the ledger says"
    client.post(url_of(shop, "count_finish"))
    assert client.get(url_of(shop)).context["headline"] == "Rack B counted: nothing changed"


def test_a_scan_after_the_end_is_refused_and_writes_nothing(shop: SimpleNamespace, client: Client) -> None:
    finish(who(shop.ines, shop.device), shop.branch, shop.count, here=(), missing=(), now=NOW + hours(0.05))
    page = signed(client, shop.teo).post(url_of(shop), {"code": shop.codes[0]}, headers={"X-Scan": "1"})
    assert "This count of Rack B is over." in page.content.decode()
    assert not Entry.objects.filter(kind="counted").exists()


def test_a_set_moved_before_the_approval_is_left_alone(shop: SimpleNamespace, client: Client) -> None:
    at = NOW + hours(0.05)
    scan_out(who(shop.dag, shop.device, at), shop.branch, shop.sets[0], shop.outing, now=at)
    page = signed(client, shop.ines).post(
        url_of(shop, "count_finish"), {"missing": [str(shop.sets[0].pk)]}, follow=True
    )
    assert "1 set was seen or moved meanwhile and is left alone." in page.content.decode()
    assert SetState.objects.get(pk=shop.sets[0].pk).outing_id == shop.outing.pk


@pytest.fixture
def uses() -> Iterator[dict[UUID, NextUse]]:
    known: dict[UUID, NextUse] = {}
    before = hooks._next[:]
    hooks.register_next_use(lambda ids, now: {pk: known[pk] for pk in ids if pk in known})
    yield known
    hooks._next[:] = before


def test_a_height_is_asked_only_where_the_next_use_falls_into_the_doubt(
    shop: SimpleNamespace, client: Client, uses: dict[UUID, NextUse]
) -> None:
    """Sets of 6,000 m2 rating: after 500 a use of 100 m2 is sure, after 4,000 one of 1,200 is in doubt."""
    later = NOW + hours(50)
    for number, area_m2 in enumerate((4000, 500)):
        worked(shop, shop.sets[number], area_m2, -1, 900 + number)
    uses[shop.sets[0].pk] = NextUse("Friday at Bellweather", None, "", later, later, reference_m2=1200.0)
    uses[shop.sets[1].pk] = NextUse("Monday", None, "", later, later, reference_m2=100.0)
    signed(client, shop.teo)
    scan(client, shop, 1)
    page = scan(client, shop, 0)

    (asked,) = page.context["measures"]
    assert asked["state"].pk == shop.sets[0].pk
    assert "Its next step, Friday at Bellweather, needs 12,900\u00a0ft²: now" in page.content.decode()

    page = client.post(asked["url"], {"back": url_of(shop), "do": "height", "height": "5 mm"}, follow=True)
    assert page.context["measures"] == []
    assert SetState.objects.get(pk=shop.sets[0].pk).lowest_height_mm == 5.0


@pytest.mark.parametrize("more", [0, 12])
def test_the_pages_take_the_same_queries_for_any_number_of_sets(
    shop: SimpleNamespace, client: Client, more: int
) -> None:
    def see(tool_set: Any) -> None:
        count_seen(who(shop.teo, shop.device), shop.branch, shop.count, tool_set, now=NOW)

    other = make_place(shop.branch, name="Rack Z")
    see(shop.sets[0])
    see(shop.sets[3])
    for _ in range(more):
        make_set(shop, shop.metal, shop.rack, at=NOW - hours(48))
        see(make_set(shop, shop.metal, other, at=NOW - hours(48)))
    signed(client, shop.ines)
    counted = []
    for url in (reverse("inventory:counts"), url_of(shop), url_of(shop, "count_finish")):
        with CaptureQueriesContext(connection) as queries:
            assert client.get(url).status_code == 200
        counted.append(len(queries))
    unseen = [str(state.pk) for state in SetState.objects.filter(place=shop.rack)]
    client.post(url_of(shop, "count_finish"), {"missing": unseen})
    with CaptureQueriesContext(connection) as queries:
        assert client.get(url_of(shop)).status_code == 200
    assert [*counted, len(queries)] == [5, 16, 12, 11]


def test_sets_without_a_label_are_ticked_by_hand_and_not_taken_for_missing(
    shop: SimpleNamespace, client: Client
) -> None:
    earlier = NOW - hours(48)
    bare = [make_set(shop, shop.metal, shop.rack, at=earlier) for _number in range(8)]
    move(who(shop.ines, shop.device, earlier), shop.branch, bare[0], shop.rack, now=earlier, peg="C4")
    page = signed(client, shop.teo).get(url_of(shop))
    # Eleven are looked for: too many to be named one by one, yet those that cannot be scanned are.
    assert page.context["headline"] == "Look for 11 sets in Rack B"
    assert page.context["unseen"] == []
    assert {row["state"].pk for row in page.context["bare"]} == {tool_set.pk for tool_set in bare}
    words = page.content.decode()
    assert "8 without a label: tick them by hand" in words
    assert "metal 70, peg C4" in words
    assert words.count('<small class="peg-code" aria-hidden="true">no label</small>') == 8
    assert f'<small class="peg-code" aria-hidden="true">{shop.codes[0]}</small>' in words

    page = client.post(url_of(shop), {"do": "see", "set": str(bare[0].pk), "act_id": str(uuid4())})

    assert page.context["last"].word == "Counted"
    assert {row["state"].pk for row in page.context["bare"]} == {tool_set.pk for tool_set in bare[1:]}
    finishing = signed(client, shop.ines).get(url_of(shop, "count_finish")).content.decode()
    for tool_set in bare[1:]:
        assert f'value="{tool_set.pk}">' in finishing
    for tool_set in shop.sets[:3]:
        assert f'value="{tool_set.pk}" checked>' in finishing
    assert "A set without a label cannot be scanned, so it is not ticked" in finishing


def test_a_raised_digit_on_a_peg_breaks_no_count(shop: SimpleNamespace, client: Client) -> None:
    for tool_set, peg in zip(shop.sets[:3], ("5²", "10", "5"), strict=True):
        move(who(shop.ines, shop.device, NOW), shop.branch, tool_set, shop.rack, now=NOW, peg=peg)
    page = signed(client, shop.ines).get(url_of(shop))
    assert page.status_code == 200
    assert [one.state.peg for one in count_picture(shop.count).looked] == ["5", "5²", "10"]
