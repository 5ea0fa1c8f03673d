"""Photos that come with a trouble or the end of a set: kept with it or not at all, and gone with it when undone."""

from __future__ import annotations

from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from inventory.actions import photos
from inventory.actions.corrections import void_entry
from inventory.models import Entry, SetPhoto
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, who
from tests.inventory.test_photos import jpeg

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(client: Client) -> SimpleNamespace:
    cast = make_cast()
    client.force_login(cast.ines)
    return SimpleNamespace(cast=cast, set=make_set(cast, make_type(), make_place(cast.branch), at=NOW - hours(50)))


def exif(taken: str) -> bytes:
    notes = Image.Exif()
    notes[0x8769] = {0x9003: taken}
    return notes.tobytes()


def send(client: Client, shop: SimpleNamespace, raw: bytes, act: str = "trouble", **words: str) -> int:
    url = reverse("inventory:set_act", args=[shop.set.pk, act])
    file = SimpleUploadedFile("photo.jpg", raw, content_type="image/jpeg")
    return client.post(url, {**words, "photos": [file], "act_id": str(uuid4())}).status_code


@pytest.mark.parametrize("taken", ["0001:01:01 00:00:00", "9999:12:31 23:59:59", "1980:01:01 00:00:00"])
def test_a_camera_whose_clock_cannot_be_right_tells_no_time_and_its_photo_is_kept(
    shop: SimpleNamespace, client: Client, taken: str
) -> None:
    assert send(client, shop, jpeg(exif=exif(taken)), trouble="glazed") == 302
    assert [photo.taken_at for photo in SetPhoto.objects.all()] == [None]


@pytest.mark.parametrize(("act", "words"), [("trouble", {"trouble": "glazed"}), ("retire", {"retired_why": "broken"})])
def test_where_the_photo_cannot_be_kept_the_act_it_came_with_is_not_kept_either(
    shop: SimpleNamespace, client: Client, monkeypatch: pytest.MonkeyPatch, act: str, words: dict[str, str]
) -> None:
    def full(*_given: object) -> None:
        raise OSError("no room on the disk")

    monkeypatch.setattr(photos, "_write", full)
    with pytest.raises(OSError, match="no room"):
        send(client, shop, jpeg(), act, **words)
    assert not Entry.objects.filter(kind__in=("trouble", "retired")).exists()
    assert not SetPhoto.objects.exists()


def test_the_photo_of_a_trouble_is_taken_away_with_it_and_comes_back_when_sent_anew(
    shop: SimpleNamespace, client: Client
) -> None:
    standing = SetPhoto.objects.filter(removed_at__isnull=True)
    send(client, shop, jpeg(), trouble="glazed")
    act = Entry.objects.get(kind="trouble").act
    client.post(reverse("inventory:scan_undo") + f"?act={act.pk}", {"act_id": str(uuid4())})
    assert (standing.count(), SetPhoto.objects.get().removed_by) == (0, shop.cast.ines)
    send(client, shop, jpeg(), trouble="chipped")
    assert standing.count() == 1
    line = Entry.objects.get(trouble_kind="chipped")
    me = who(shop.cast.ines, shop.cast.device, line.act.recorded_at)
    void_entry(me, shop.cast.branch, line, "another set", now=line.act.recorded_at)
    assert standing.count() == 0
