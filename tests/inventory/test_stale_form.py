"""A form that was opened before somebody else signed in: refused in words, with what was typed, and sent again."""

from __future__ import annotations

import html
import re
from types import SimpleNamespace

import pytest
from django.test import Client
from django.urls import reverse

from inventory.models import Entry
from tests.cast import make_cast, make_place, make_set, make_type, uuid

pytestmark = pytest.mark.django_db
HERE = {"Sec-Fetch-Site": "same-origin", "Referer": "http://testserver/rack/"}


@pytest.fixture
def shop() -> SimpleNamespace:
    cast = make_cast()
    tool_set = make_set(cast, make_type("70", "metal", 1, soak_need="none"), make_place(cast.branch))
    url = reverse("inventory:set_act", args=[tool_set.pk, "set-aside"])
    return SimpleNamespace(cast=cast, set=tool_set, url=url, client=Client(enforce_csrf_checks=True))


def token(page: str) -> str:
    found = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page)
    assert found is not None
    return found[1]


def hidden_of(page: str) -> dict[str, str]:
    form = page[page.index("<main") :].split("<form")[1].split("</form>")[0]
    pairs = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', form)
    return {name: html.unescape(value) for name, value in pairs}


def test_a_form_sent_after_another_person_signed_in_is_refused_in_words_and_sent_again_under_the_new_name(
    shop: SimpleNamespace,
) -> None:
    client = shop.client
    client.force_login(shop.cast.dag)
    opened = client.get(shop.url).content.decode()
    client.force_login(shop.cast.ines)
    client.get(shop.url)
    typed = {"why": "two pieces “chipped”", "act_id": str(uuid(1)), "csrfmiddlewaretoken": "x" * len(token(opened))}
    stale = client.post(shop.url, typed, headers=HERE)
    page = stale.content.decode()
    assert (stale.status_code, "Ines O. is signed in now." in page, "http://testserver/rack/" in page) == (
        403,
        True,
        True,
    )
    assert not Entry.objects.filter(kind="set_aside").exists()
    again = hidden_of(page)
    assert {name: again[name] for name in ("why", "act_id")} == {name: typed[name] for name in ("why", "act_id")}
    again.setdefault("csrfmiddlewaretoken", token(page))
    assert client.post(shop.url, again, headers=HERE).status_code == 302
    assert [entry.act.done_by for entry in Entry.objects.filter(kind="set_aside")] == [shop.cast.ines]


def test_what_another_site_sends_is_not_offered_to_be_sent_again(shop: SimpleNamespace) -> None:
    shop.client.force_login(shop.cast.ines)
    for headers in ({"Sec-Fetch-Site": "cross-site"}, {"Referer": "http://elsewhere.example/"}, {}):
        page = shop.client.post(shop.url, {"why": "planted"}, headers=headers)
        assert (page.status_code, "planted" in page.content.decode()) == (403, False)


def test_a_password_is_not_written_into_the_answer(shop: SimpleNamespace) -> None:
    words = {"username": "ines", "password": "the mill race"}
    page = shop.client.post(reverse("inventory:sign_in"), words, headers=HERE)
    assert (page.status_code, "the mill race" in page.content.decode()) == (403, False)
    assert "signed out by now" in page.content.decode()
