"""The book is being written by somebody else for long: pages that look are shown, what is sent is answered 503."""

from __future__ import annotations

import html
import re
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import Any
from unittest import mock

import pytest
from django.contrib.sessions.exceptions import SessionInterrupted
from django.contrib.sessions.middleware import SessionMiddleware
from django.db import OperationalError, connection
from django.test import Client
from django.urls import reverse

from inventory.models import Entry
from tests.cast import make_cast, make_outing, make_place, make_set, make_type, uuid

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def shop() -> SimpleNamespace:
    cast = make_cast()
    rack = make_place(cast.branch)
    metal = make_type("70", "metal", 1, soak_need="none")
    return SimpleNamespace(cast=cast, rack=rack, set=make_set(cast, metal, rack), outing=make_outing(cast.branch))


@pytest.fixture
def being_written(monkeypatch: pytest.MonkeyPatch) -> Callable[[], Any]:
    """A block in which another connection holds SQLite's one write lock; who waits for it waits a moment only."""
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL lets many write at once")

    @contextmanager
    def held() -> Iterator[None]:
        connection.close()  # the next one waits as long as is said here
        with mock.patch.dict(connection.settings_dict["OPTIONS"], timeout=0.1):
            other = sqlite3.connect(connection.settings_dict["NAME"], timeout=5, isolation_level=None)
            other.execute("BEGIN IMMEDIATE")
            try:
                yield
            finally:
                other.execute("ROLLBACK")
                other.close()
                connection.close()

    return held


def test_pages_that_only_look_open_while_the_book_is_written(
    shop: SimpleNamespace, client: Client, being_written: Callable[[], Any]
) -> None:
    client.force_login(shop.cast.ines)
    pages = [reverse("inventory:scan_in"), reverse("inventory:scan_out", args=[shop.outing.pk]), "/rack/", "/soak/"]
    with being_written():
        assert [client.get(page).status_code for page in pages] == [200, 200, 200, 200]
        # The place chosen is kept in the session, which cannot be written now: the page is shown all the same.
        chosen = client.get(pages[0], {"place": str(shop.rack.pk)})
    assert (chosen.status_code, shop.rack.name in chosen.content.decode()) == (200, True)


def test_the_list_of_sets_to_come_in_writes_the_session_only_when_the_place_changes(
    shop: SimpleNamespace, client: Client
) -> None:
    client.force_login(shop.cast.ines)
    with mock.patch("django.contrib.sessions.backends.db.SessionStore.save", autospec=True) as save:
        client.get(reverse("inventory:scan_in"))
        assert save.call_count == 0
        client.get(reverse("inventory:scan_in"), {"place": str(shop.rack.pk)})
        assert save.call_count == 1


def test_a_scan_of_an_unknown_code_is_answered_503_and_not_400_while_the_book_is_written(
    shop: SimpleNamespace, client: Client, being_written: Callable[[], Any]
) -> None:
    client.force_login(shop.cast.ines)
    url, words = reverse("inventory:scan_out", args=[shop.outing.pk]), {"code": "NOSUCH9", "act_id": str(uuid(9))}
    client.post(url, {"code": "NOSUCH8", "act_id": str(uuid(8))})  # this browser's device is known from now on
    with being_written():
        answer = client.post(url, words)
        assert (answer.status_code, answer["Retry-After"]) == (503, "20")
        # Nothing to write in the ledger, everything to write in the session.
        with mock.patch("inventory.views.scan.who_of", return_value=SimpleNamespace(act_id=uuid(9))):
            assert client.post(url, words).status_code == 503
    assert client.post(url, words).status_code == 200


def test_a_scan_that_stands_though_its_session_could_not_be_kept_is_the_same_scan_when_sent_again(
    shop: SimpleNamespace, client: Client
) -> None:
    client.force_login(shop.cast.ines)
    url = reverse("inventory:scan_out", args=[shop.outing.pk])
    words = {"code": shop.set.state.code or str(shop.set.own_code), "set": str(shop.set.pk), "act_id": str(uuid(10))}

    def locked(*_given: Any) -> None:
        try:
            raise OperationalError("database is locked")
        except OperationalError as problem:
            raise SessionInterrupted("gone") from problem

    with mock.patch.object(SessionMiddleware, "process_response", locked):
        assert client.post(url, words).status_code == 503
    assert client.post(url, words).status_code == 200
    assert Entry.objects.filter(kind="scanned_out", tool_set=shop.set).count() == 1


def test_a_session_that_somebody_ended_meanwhile_is_still_answered_400(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.ines)
    with mock.patch.object(SessionMiddleware, "process_response", side_effect=SessionInterrupted("signed out")):
        assert client.get(reverse("inventory:scan_in")).status_code == 400


def test_a_shared_tablets_session_slides_on_once_a_minute_and_not_with_every_page(
    shop: SimpleNamespace, client: Client
) -> None:
    client.force_login(shop.cast.ines)
    session = client.session
    session["idle_seconds"] = 300
    session.save()
    with mock.patch("inventory.views.doors.timezone") as clock:
        kept = []
        for second in (0, 30, 59, 60, 61, 200):
            clock.now.return_value.timestamp.return_value = 1_760_000_000.0 + second
            client.post(reverse("inventory:still_here"))
            kept.append(client.session["idle_from"] - 1_760_000_000)
    assert kept == [0, 0, 0, 60, 60, 200]


def hidden_of(page: str) -> dict[str, str]:
    """Names and values of the hidden fields inside the form that sends again."""
    form = page[page.index("data-again=") :].split("</form>")[0]
    return dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', form))


def test_what_was_typed_into_any_form_stands_in_the_answer_and_is_kept_once_when_it_is_sent_again(
    shop: SimpleNamespace, client: Client, being_written: Callable[[], Any]
) -> None:
    client.force_login(shop.cast.ines)
    url = reverse("inventory:set_act", args=[shop.set.pk, "set-aside"])
    client.post(url, {"act_id": str(uuid(11))})  # this browser's device is known from now on; nothing was said
    typed = {"why": "two pieces chipped, “left”", "act_id": str(uuid(12)), "again": "1"}
    with being_written():
        busy = client.post(url + "?from=rack", typed)
    page = busy.content.decode()
    assert (busy.status_code, f'action="{url}?from=rack"' in page) == (503, True)
    again = {name: html.unescape(value) for name, value in hidden_of(page).items()}
    assert {name: again[name] for name in typed} == typed
    for _twice in range(2):
        assert client.post(url, again).status_code == 302
    assert [entry.why for entry in Entry.objects.filter(kind="set_aside")] == [typed["why"]]


def test_a_password_is_written_into_no_page_and_a_form_without_a_key_that_may_stand_is_not_sent_by_itself(
    shop: SimpleNamespace, client: Client, being_written: Callable[[], Any]
) -> None:
    with being_written():
        page = client.post(reverse("inventory:sign_in"), {"username": "ines", "password": "the mill race"})
    assert (page.status_code, "data-again" in page.content.decode()) == (503, False)
    assert "the mill race" not in page.content.decode()
    client.force_login(shop.cast.ines)

    def locked(*_given: Any) -> None:
        raise OperationalError("database is locked")

    with mock.patch.object(SessionMiddleware, "process_response", locked):
        page = client.post(reverse("inventory:scan_undo"), {})
    assert (page.status_code, "data-again" in page.content.decode()) == (503, False)


def test_logged_work_has_passes_and_no_secret_so_it_is_sent_again(
    shop: SimpleNamespace, client: Client, being_written: Callable[[], Any]
) -> None:
    client.force_login(shop.cast.ines)
    url = reverse("inventory:set_act", args=[shop.set.pk, "set-aside"])
    typed = {"why": "worn", "passes": "3", "steps-0-passes": "5", "act_id": str(uuid(14))}
    client.post(url, {"act_id": str(uuid(13))})
    with being_written():
        busy = client.post(url, typed)
    assert {name: hidden_of(busy.content.decode())[name] for name in typed} == typed
