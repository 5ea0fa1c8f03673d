"""A set entered into the wrong tub is said to lie in the right one: its hours go on, the right tub's water counts."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any
from unittest import mock
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.corrections import NotYourEntry
from inventory.actions.ledger import NewLine
from inventory.actions.soak import TubFull, put_in
from inventory.actions.soak_tub import NotOneTime, lay_in
from inventory.models import Entry, SetState
from inventory.queries.soak import conditioning_of
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, who, write

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> SimpleNamespace:
    """A 400 that was entered into Tub 1 fifty hours ago, and lies in Tub 2."""
    cast = make_cast()
    cast.rack = make_place(cast.branch, name="Rack A")
    cast.tub = make_place(cast.branch, "tub", "Tub 1", room_sets=4)
    cast.right = make_place(cast.branch, "tub", "Tub 2", room_sets=1)
    cast.set = make_set(cast, make_type(), cast.rack, at=NOW - hours(200), code="GL-7K2M46")
    put(cast, cast.set, 50)
    return cast


def put(cast: SimpleNamespace, tool_set: Any, ago: float, by: Any = None) -> None:
    at = NOW - hours(ago)
    put_in(who(by or cast.teo, cast.device, at), cast.branch, [tool_set], cast.tub, now=at)


def test_the_hours_of_a_set_go_on_in_the_tub_it_really_lies_in(shop: SimpleNamespace) -> None:
    by = who(shop.teo, shop.device, NOW)
    for _twice in range(2):
        lay_in(by, shop.branch, [shop.set], shop.right, now=NOW)
    state = SetState.objects.get(pk=shop.set.pk)
    assert (state.place, state.soaking, state.open_flags) == (shop.right, True, 0)
    # 72 h cold since it went in, fifty hours ago; nothing began anew.
    at = [conditioning_of([shop.set.pk], shop.branch, at=NOW + hours(more))[shop.set.pk].state for more in (21, 22)]
    assert at == ["soaking", "soaked, not confirmed"]
    # The water of Tub 1 says nothing of it any more, that of Tub 2 does: 31 h hot would do.
    hot = {"temperature_c": 60.0}
    for ago in range(52, 16, -4):
        write(shop, NewLine("water_read", None, shop.tub, hot), at=NOW - hours(ago), now=NOW)
    assert conditioning_of([shop.set.pk], shop.branch, at=NOW)[shop.set.pk].state == "soaking"
    assert Entry.objects.filter(kind="soak_begun", replaces__isnull=False).count() == 1


def test_what_would_not_fit_is_refused_and_nothing_is_written(shop: SimpleNamespace) -> None:
    other = make_set(shop, make_type(), shop.rack, at=NOW - hours(200))
    put(shop, other, 40, shop.ines)
    by = who(shop.ines, shop.device, NOW)
    with pytest.raises(NotOneTime):
        lay_in(by, shop.branch, [shop.set, other], shop.right, now=NOW)
    with pytest.raises(NotYourEntry):
        lay_in(who(shop.teo, shop.device, NOW), shop.branch, [other], shop.right, now=NOW)
    lay_in(by, shop.branch, [other], shop.right, now=NOW)
    with pytest.raises(TubFull):
        lay_in(who(shop.ines, shop.device, NOW), shop.branch, [shop.set], shop.right, now=NOW)
    assert SetState.objects.get(pk=shop.set.pk).place == shop.tub


def test_the_tubs_page_says_it_with_one_press_and_the_other_tubs_page_takes_it_back(
    shop: SimpleNamespace, client: Client
) -> None:
    client.force_login(shop.teo)
    url = reverse("inventory:tub_take_out", args=[shop.tub.pk])
    with mock.patch("django.utils.timezone.now", return_value=NOW):
        assert (
            "Wrong tub entered: they lie in that one"
            in client.get(reverse("inventory:tub", args=[shop.tub.pk])).content.decode()
        )
        words = {"set": str(shop.set.pk), "do": "lay_in", "act_id": str(uuid4())}
        rack = client.post(url, {**words, "place": str(shop.rack.pk)})
        assert (rack.status_code, "That is no tub." in rack.content.decode()) == (422, True)
        kept = client.post(url, {**words, "place": str(shop.right.pk)}, follow=True)
        assert "1 set lies in Tub 2 since it went in." in kept.content.decode()
        assert SetState.objects.get(pk=shop.set.pk).place == shop.right
        # Said wrong, it is said again; an Undo would void where it lies, and leave it dry.
        assert "data-undo" not in kept.content.decode()
        again = {**words, "act_id": str(uuid4()), "place": str(shop.tub.pk)}
        client.post(reverse("inventory:tub_take_out", args=[shop.right.pk]), again)
    state = SetState.objects.get(pk=shop.set.pk)
    assert (state.place, state.soaking, state.open_flags) == (shop.tub, True, 0)
    assert conditioning_of([shop.set.pk], shop.branch, at=NOW + hours(22))[shop.set.pk].state == "soaked, not confirmed"
