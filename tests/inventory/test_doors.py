"""What holds at every door: keys of acts, withdrawn devices, unreadable characters, what a browser may keep."""

from __future__ import annotations

from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory.models import Device, Entry

pytestmark = pytest.mark.django_db


@pytest.fixture
def client_of_ines(client: Client, custody_shop: SimpleNamespace) -> Client:
    """A browser that the shop manager is signed in with."""
    client.force_login(custody_shop.cast.ines)
    return client


def test_the_same_press_twice_is_one_act_and_other_words_under_its_key_are_another(
    client_of_ines: Client, custody_shop: SimpleNamespace
) -> None:
    key, address = str(uuid4()), reverse("inventory:set_act", args=[custody_shop.metal.pk, "measure"])
    for height in ("0.4", "0.4", "0.35"):
        form = {"height": height, "act_id": key, "ask_sure": f"{height}|", "sure": "on"}
        assert client_of_ines.post(address, form).status_code == 302

    heights = Entry.objects.filter(kind="measured").order_by("lowest_height_mm").values_list("amount_value", flat=True)
    assert list(heights) == ["0.35", "0.4"]


def test_a_withdrawn_device_writes_nothing(client_of_ines: Client, custody_shop: SimpleNamespace) -> None:
    address = reverse("inventory:scan_out", args=[custody_shop.outing.pk])
    assert client_of_ines.post(address, {"code": custody_shop.metal_code, "act_id": uuid4()}).status_code == 200
    Device.objects.exclude(name="desk").update(withdrawn_at=timezone.now())
    before = Entry.objects.count()

    assert client_of_ines.post(reverse("inventory:scan_in"), {"code": custody_shop.metal_code}).status_code == 403

    assert Entry.objects.count() == before


@pytest.mark.parametrize("address", ["/find/?q=%00", "/S/GL-%00", "/jobs/?q=a%00b"])
def test_a_character_no_database_keeps_is_answered_400(client_of_ines: Client, address: str) -> None:
    assert client_of_ines.get(address).status_code == 400


def test_a_form_with_such_a_character_is_answered_400(client_of_ines: Client) -> None:
    assert client_of_ines.post(reverse("inventory:scan"), {"code": "GL\x00"}).status_code == 400


def test_a_signed_in_page_is_not_kept_by_the_browser(client_of_ines: Client) -> None:
    assert client_of_ines.get(reverse("inventory:rack"))["Cache-Control"] == "private, no-store"


def test_a_door_that_takes_get_takes_head(client_of_ines: Client) -> None:
    answer = client_of_ines.head(reverse("inventory:rack"))
    assert (answer.status_code, answer.content) == (200, b"")
