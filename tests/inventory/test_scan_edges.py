"""What the running scan says of codes nobody knows, of codes two sets bear, of whole vans, and of sets thought lost."""

from __future__ import annotations

import random
from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions import custody
from inventory.actions.ledger import NewLine
from inventory.codes import meant_as_printed, new_code
from inventory.models import Entry, Label, Place, SetState, ToolSet
from inventory.refusals import Refused
from tests.cast import hours, make_branch, make_person, make_place, make_set, who, write

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(custody_shop: SimpleNamespace) -> SimpleNamespace:
    """The shop of tests/inventory/conftest.py."""
    return custody_shop


def scan(client: Client, shop: SimpleNamespace, text: str, **more: str) -> str:
    url = more.pop("url", "") or reverse("inventory:scan_out", args=[shop.outing.pk])
    answer = client.post(url, {"code": text, "act_id": str(uuid4()), **more}, headers={"X-Scan": "1"})
    assert answer.status_code == 200
    return str(answer.content.decode())


# --- codes nobody knows ---


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("K999", False),
        ("M-70/3", False),
        ("no such set", False),
        ("K" * 60, False),
        ("GL-7K2M", True),
        ("gl", True),
        ("7K2M46", True),
        ("7k2 m46", True),
        ("https://shop.example/s/", True),
        ("", True),
    ],
)
def test_a_shops_own_code_is_told_from_a_mistyped_label(text: str, printed: bool) -> None:
    assert meant_as_printed(text) is printed


def test_an_own_code_nobody_bears_is_named_and_find_is_one_tap_away(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.teo)
    page = scan(client, shop, "K999")
    assert "No set is called “K999”. Look how it is written, or find the set by its type." in page
    assert "too short" not in page
    assert f'href="{reverse("inventory:find")}?q=K999"' in page
    long = scan(client, shop, "K" * 1_000, url=reverse("inventory:scan_in"))
    assert f"No set is called “{'K' * 39}…”." in long


def test_half_a_printed_code_is_still_told_what_is_missing(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.teo)
    assert "“GL-7K2M” is too short. A code is GL- and six characters" in scan(client, shop, "gl-7k2m")


def test_find_refuses_a_text_no_name_is_as_long_as(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.teo)
    answer = client.get(reverse("inventory:find"), {"q": "x" * 6_000})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "That is 6000 characters; at most 200 are looked for. Write a part of the name or code." in page
    assert "x" * 201 not in page
    assert client.get(reverse("inventory:find"), {"q": "x" * 200}).status_code == 200


# --- one own code on two sets ---


@pytest.fixture
def twins(shop: SimpleNamespace) -> SimpleNamespace:
    """Two sets that the shop calls K12: the metal 70 and a 400."""
    ToolSet.objects.filter(pk__in=[shop.metal.pk, shop.dry.pk]).update(own_code="K12")
    return shop


def test_two_sets_of_one_own_code_are_shown_to_pick_from(twins: SimpleNamespace, client: Client) -> None:
    client.force_login(twins.cast.teo)
    page = scan(client, twins, "k12")
    assert ("Which one?" in page, "2 sets have the own code “k12”." in page) == (True, True)
    assert page.index(f"70 · {twins.metal_code}") < page.index(f"400 · {twins.dry_code}")
    assert "metal 70. Rack B" in page
    assert Entry.objects.filter(kind="scanned_out").count() == 0

    taken = scan(client, twins, "", set=str(twins.metal.pk), asked="k12")

    assert 'data-verdict="taken"' in taken
    assert SetState.objects.get(pk=twins.metal.pk).outing_id == twins.outing.pk
    # The question is answered: its line does not stay open.
    assert "which one?" not in taken


def test_the_one_picked_meets_the_same_gate(twins: SimpleNamespace, client: Client) -> None:
    client.force_login(twins.cast.teo)
    scan(client, twins, "K12")
    refused = scan(client, twins, "", set=str(twins.dry.pk), asked="K12")
    assert 'data-verdict="refused"' in refused
    assert "Dry. Needs 72" in refused


def test_a_pick_while_scanning_in_keeps_where_sets_come_in_to(twins: SimpleNamespace, client: Client) -> None:
    attic = make_place(twins.cast.branch, name="Rack C")
    client.force_login(twins.cast.teo)
    page = scan(client, twins, "K12", url=reverse("inventory:scan_in"), place=str(attic.pk))
    assert page.count(f'name="place" value="{attic.pk}"') == 2
    scan(client, twins, "", url=reverse("inventory:scan_in"), place=str(attic.pk), set=str(twins.metal.pk))
    assert SetState.objects.get(pk=twins.metal.pk).place_id == attic.pk


def test_anywhere_else_one_code_of_two_sets_lists_both(twins: SimpleNamespace, client: Client) -> None:
    client.force_login(twins.cast.teo)
    found = client.get(reverse("inventory:scan"), {"code": "K12"}, follow=True)
    assert [code for _url, code in found.redirect_chain] == [302]
    page = found.content.decode()
    assert (twins.metal_code in page, twins.dry_code in page) == (True, True)
    assert client.get("/S/K12", follow=True).status_code == 200


# --- whole vans, and sets thought lost ---


def van_with(shop: SimpleNamespace) -> tuple[Place, str]:
    """A van with a label and the metal set in it, out to tonight's outing, which has not left."""
    van, code = make_place(shop.cast.branch, "van", "Van 3"), new_code(random.Random(77))
    Label.objects.create(code=code, branch=shop.cast.branch, made_at=shop.now)
    write(shop.cast, NewLine("labelled", None, van, {"code_id": code}), at=shop.now)
    by = who(shop.cast.ines, shop.cast.device, shop.now)
    custody.scan_out(by, shop.cast.branch, shop.metal, shop.outing, now=shop.now, to_place=van)
    return van, code


def test_a_vans_label_asks_before_it_takes_back_what_is_still_to_leave(shop: SimpleNamespace, client: Client) -> None:
    van, code = van_with(shop)
    back = make_set(shop.cast, shop.metal.tool_type, van, at=shop.now - hours(3))
    client.force_login(shop.cast.teo)
    url = reverse("inventory:scan_in")
    assert "Bring 2 sets in" in scan(client, shop, code, url=url)

    asked = scan(client, shop, "", url=url, sets=f"{shop.metal.pk},{back.pk}")

    assert ("Take it back?" in asked, 'data-verdict="elsewhere"' in asked) == (True, True)
    assert "1 set: in." in asked
    assert f"{shop.metal_code} is on Osprey Lane, which leaves" in asked
    assert SetState.objects.get(pk=back.pk).place_id == shop.rack.pk
    assert SetState.objects.get(pk=shop.metal.pk).outing_id == shop.outing.pk
    assert f'name="sets" value="{shop.metal.pk}"' in asked

    done = scan(client, shop, "", url=url, sets=str(shop.metal.pk), do="take_back")

    assert 'data-verdict="taken"' in done
    assert SetState.objects.get(pk=shop.metal.pk).outing_id is None


def test_two_that_are_still_to_leave_are_asked_about_together(shop: SimpleNamespace, client: Client) -> None:
    van, _code = van_with(shop)
    other = make_set(shop.cast, shop.metal.tool_type, shop.rack, at=shop.now - hours(3))
    by = who(shop.cast.ines, shop.cast.device, shop.now)
    custody.scan_out(by, shop.cast.branch, other, shop.outing, now=shop.now, to_place=van)
    client.force_login(shop.cast.teo)
    sets = f"{shop.metal.pk},{other.pk}"
    asked = scan(client, shop, "", url=reverse("inventory:scan_in"), sets=sets)
    assert ("Take them back?" in asked, "Take 2 sets back to Rack B" in asked) == (True, True)
    scan(client, shop, "", url=reverse("inventory:scan_in"), sets=sets, do="take_back")
    assert SetState.objects.filter(outing=shop.outing).count() == 0


def test_a_missing_set_that_leaves_is_said_to_be_found(shop: SimpleNamespace, client: Client) -> None:
    lost = make_place(shop.cast.branch, "unknown", "unknown")
    write(shop.cast, NewLine("moved", shop.metal, None, {"to_place": lost}), at=shop.now - hours(5))
    client.force_login(shop.cast.teo)
    page = scan(client, shop, shop.metal_code)
    assert "It was missing since " in page
    assert "; it is found." in page
    assert 'data-verdict="taken"' in page
    # One that was where it ought to be says nothing of the kind.
    other = make_set(shop.cast, shop.metal.tool_type, shop.rack, at=shop.now - hours(3))
    assert "missing" not in scan(client, shop, "", set=str(other.pk)).split('class="lines scan-lines"')[0]


def test_missing_sets_in_a_list_that_leaves_are_named(shop: SimpleNamespace, client: Client) -> None:
    lost = make_place(shop.cast.branch, "unknown", "unknown")
    write(shop.cast, NewLine("moved", shop.metal, None, {"to_place": lost}), at=shop.now - hours(5))
    other = make_set(shop.cast, shop.metal.tool_type, shop.rack, at=shop.now - hours(3))
    client.force_login(shop.cast.teo)
    page = scan(client, shop, "", sets=f"{shop.metal.pk},{other.pk}")
    assert f"Missing until now, found: {shop.metal_code}." in page


# --- places in a ring ---


def test_crates_cannot_lie_in_one_another(shop: SimpleNamespace, client: Client) -> None:
    first, second, third = (make_place(shop.cast.branch, "crate", f"Crate {n}") for n in (1, 2, 3))
    client.force_login(shop.cast.teo)

    def put(place: Place, inside: Place) -> str:
        url = reverse("inventory:place_move", args=[place.pk])
        return str(client.post(url, {"inside": str(inside.pk)}, follow=True).content.decode())

    assert "Crate 1 is in Crate 2." in put(first, second)
    assert "Crate 2 is in Crate 3." in put(second, third)
    ring = put(third, first)
    assert "Crate 1 lies in Crate 3 by the ledger, so Crate 3 cannot lie in it. Move Crate 2 out first." in ring
    assert "Crate 1 cannot lie in itself." in put(first, first)
    assert dict(Place.objects.filter(kind="crate").values_list("name", "inside__name")) == {
        "Crate 1": "Crate 2",
        "Crate 2": "Crate 3",
        "Crate 3": None,
    }


def test_a_bucket_holds_sets_and_no_bucket(shop: SimpleNamespace) -> None:
    first, second = (make_place(shop.cast.branch, "bucket", f"Bucket {n}") for n in (1, 2))
    by = who(shop.cast.teo, shop.cast.device, shop.now)
    with pytest.raises(Refused, match=r"Bucket 2 is a bucket: it holds sets, no buckets and no crates\."):
        custody.move_place(by, shop.cast.branch, first, second, [], now=shop.now)
    assert Entry.objects.filter(place=first).count() == 0


# --- another branch's label ---


def test_another_branchs_set_opens_without_anything_to_do_with_it(shop: SimpleNamespace, client: Client) -> None:
    far = make_person(make_branch("Quayside shop"), "ove", "Ove K.", "shop_manager")
    client.force_login(far)
    page = client.get(f"/S/{shop.metal_code}").content.decode()
    assert "It belongs to Millrace shop: it is looked at here, and worked with there." in page
    assert "they send it on an outing, and you scan it in" in page
    assert reverse("inventory:set_act", args=[shop.metal.pk, "set-aside"]) not in page
    assert reverse("inventory:set_label", args=[shop.metal.pk]) not in page
    client.force_login(shop.cast.ines)
    assert "It belongs to" not in client.get(f"/S/{shop.metal_code}").content.decode()
