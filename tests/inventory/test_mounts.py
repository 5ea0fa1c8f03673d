"""Mounts: one mount in several spellings is one, and a machine has one."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from inventory.models import Machine
from inventory.mounts import mount_key, same_mount
from tests.cast import make_cast, make_type


@pytest.mark.parametrize(
    "spelling",
    ['9" plate', "9″ Plate", "9 in. plate", "9in plate", "9-inch plate", "9  inches plate", "9'' plate", "9”plate"],
)
def test_an_inch_is_an_inch_however_it_is_written(spelling: str) -> None:
    assert same_mount(spelling, "9 in. plate")


@pytest.mark.parametrize(
    "other", ["9 in. magnet", "7 in. plate", "9 mm plate", "plate", "", "9.5 in. plate", "19 in. plate"]
)
def test_another_mount_stays_another(other: str) -> None:
    assert not same_mount(other, "9 in. plate")


def test_numbers_and_words_are_kept_apart() -> None:
    assert mount_key("Quick-Lock, 3 slots") == mount_key("quick lock 3 SLOTS")
    assert mount_key("230mm plate") == mount_key("230 mm plate") != mount_key("23 mm plate")
    assert mount_key("9,5 in plate") == mount_key("9.5 in. plate")


@pytest.mark.django_db
def test_a_machine_needs_a_mount_and_takes_the_tool_types_spelling(client: Client) -> None:
    cast = make_cast()
    make_type(mount="9 in. plate")
    client.force_login(cast.olga)
    url = reverse("inventory:machine_new")
    assert '<option value="9 in. plate">' in client.get(url).content.decode()
    said = {"name": "Walker 1", "kind": "walk_behind", "heads": 3, "rotation": "either", "pieces_per_load": 9}
    said |= {"wet_dry": "wet", "active": "on", "mount": " "}
    answer = client.post(url, said)
    assert answer.status_code == 422
    assert "This is needed" in answer.content.decode()
    assert client.post(url, said | {"mount": '9" plate'}).status_code == 302
    assert Machine.objects.get().mount == "9 in. plate"
    assert client.post(url, said | {"name": "Edger", "mount": "magnet"}).status_code == 302
    assert Machine.objects.get(name="Edger").mount == "magnet"
