"""What is asked about is kept as it was asked; heights, sets and hours that say two things are asked, not guessed."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory.actions.ledger import NewLine
from inventory.forms.outing_form import OutingForm
from inventory.models import Entry, SetState
from tests.cast import hours, make_cast, make_place, make_set, make_type, write
from tests.sure import sure_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(client: Client) -> SimpleNamespace:
    """Two sets of three pieces, read at 8 mm; Ines is signed in."""
    cast, early = make_cast(), timezone.now() - hours(60)
    client.force_login(cast.ines)
    sets = [make_set(cast, make_type(), make_place(cast.branch), at=early) for _number in range(3)]
    for one in sets:
        write(cast, NewLine("measured", one, None, {"lowest_height_mm": 8.0}), at=early + hours(1))
    return SimpleNamespace(cast=cast, sets=sets)


def url(shop: SimpleNamespace, act: str) -> str:
    return reverse("inventory:set_act", args=[shop.sets[0].pk, act])


@pytest.mark.parametrize(
    ("act", "words", "field", "other"),
    [
        ("measure", {"height": "4 mm"}, "height", "3.5 mm"),
        ("retire", {"retired_why": "worn", "height": "4 mm"}, "height", "3.5 mm"),
        ("dress", {"medium": "block", "before": "8 mm", "height": "5 mm"}, "height", "4 mm"),
        ("pieces", {"out": "1", "new": "1", "new_height": "11 mm"}, "new_height", "10.5 mm"),
    ],
)
def test_it_is_right_holds_for_what_was_asked_about_and_for_no_other_figure(
    shop: SimpleNamespace, client: Client, act: str, words: dict[str, str], field: str, other: str
) -> None:
    before = Entry.objects.count()
    asked = client.post(url(shop, act), words)
    assert (asked.status_code, "sure" in asked.context["form"].fields) == (422, True)
    sure = sure_of(asked)
    again = client.post(url(shop, act), words | {field: other} | sure)
    assert (again.status_code, again.context["form"]["sure"].value()) == (422, False)
    assert Entry.objects.count() == before
    assert client.post(url(shop, act), words | {"ask_sure": "1", "sure": "on"}).status_code == 422
    assert client.post(url(shop, act), words | sure).status_code == 302


def test_more_heights_than_pieces_are_not_dropped_without_a_word(shop: SimpleNamespace, client: Client) -> None:
    words = {"each": "1", "height": "8 mm", "height_2": "7.9 mm", "height_3": "7.8 mm", "height_4": "5 mm"}
    page = client.post(url(shop, "measure"), words)
    assert page.status_code == 422
    assert "4 heights were typed, the set has 3 pieces." in page.content.decode()
    assert client.post(url(shop, "measure"), words | {"height_4": " "}).status_code == 302


def test_a_set_chosen_and_another_one_typed_are_not_joined(shop: SimpleNamespace, client: Client) -> None:
    one, two = (SetState.objects.get(pk=each.pk) for each in shop.sets[1:])
    write(shop.cast, NewLine("pieces_changed", shop.sets[0], None, {"pieces": 1}), at=timezone.now() - hours(1))
    words = {"other": str(one.pk), "moved": "1", "out": "0", "rest": "remnant", "act_id": str(uuid4())}
    shop.sets[2].own_code = "B-9"
    shop.sets[2].save()
    page = client.post(url(shop, "join"), words | {"code": "B-9"})
    assert page.status_code == 422
    assert "That is another set than the one chosen" in page.content.decode()
    assert not Entry.objects.filter(kind="pieces_changed", other_set__isnull=False).exists()
    assert client.post(url(shop, "join"), words | {"code": "", "other": str(two.pk)}).status_code == 302


def test_an_outing_leaves_in_the_first_of_two_hours_and_in_none_that_was_skipped(shop: SimpleNamespace) -> None:
    # Chicago, tz database: 1 November 2026 02:00 CDT becomes 01:00 CST; 14 March 2027 02:00 CST becomes 03:00 CDT.
    words = {"kind": "job", "name": "Osprey Lane", "holder_kind": "crew", "due_at": ""}
    zone = timezone.get_default_timezone()
    with timezone.override("America/Chicago"):
        form = OutingForm(words | {"leaves_at": "2026-11-01T01:30"}, branch=shop.cast.branch)
        assert form.is_valid(), (form.errors, zone)
        assert form.cleaned_data["leaves_at"] == datetime(2026, 11, 1, 6, 30, tzinfo=UTC)
        skipped = OutingForm(words | {"leaves_at": "2027-03-14T02:30"}, branch=shop.cast.branch)
        assert not skipped.is_valid()
        assert "the clocks went forward" in skipped.errors["leaves_at"][0]
