"""Running scans as a person with a hand scanner does them: in real Chromium, on a phone's width, keys only."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Callable
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import connection
from django.utils import timezone
from pytest_django.live_server_helper import LiveServer

from inventory.actions.ledger import NewLine
from inventory.codes import new_code
from inventory.models import Entry, Label, Outing, SetState
from tests.cast import hours, make_cast, make_outing, make_place, make_set, make_type, write

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def shop() -> SimpleNamespace:
    """A conditioned 200, a dry 400, a metal 70 that is out with Dag, two more metals, and tonight's outing."""
    now = timezone.now()
    cast, rng = make_cast(), random.Random(7)
    rack, tub = make_place(cast.branch, name="Rack B"), make_place(cast.branch, "tub", "Tub 1")
    early = now - hours(100)
    metal = make_type("70", "metal", 1, soak_need="none")

    def one(tool_type: Any) -> SimpleNamespace:
        code = new_code(rng)
        return SimpleNamespace(code=code, set=make_set(cast, tool_type, rack, at=early, code=code))

    wet, dry, away, left, third = one(make_type("200")), one(make_type("400")), one(metal), one(metal), one(metal)
    write(cast, NewLine("soak_begun", wet.set, None, {"to_place": tub}), at=now - hours(90))
    write(cast, NewLine("conditioning_confirmed", wet.set), at=now - hours(10))
    write(cast, NewLine("moved", wet.set, None, {"to_place": rack, "peg": "14"}), at=now - hours(9))
    when = {"leaves_at": now + hours(3), "due_at": now + hours(15), "made_at": now}
    outing = make_outing(cast.branch, "Osprey Lane", **when)
    other = make_outing(
        cast.branch, "Bellweather", holder_kind="person", holder_person=cast.dag, holder_name="", **when
    )
    out = {"outing": other, "gate": "passed", "holder_kind": "person", "holder_person": cast.dag}
    write(cast, NewLine("scanned_out", away.set, None, out), at=now - timedelta(minutes=30))
    blank = new_code(rng)
    Label.objects.create(code=blank, branch=cast.branch, made_at=now)
    return SimpleNamespace(
        cast=cast,
        outing=outing,
        other=other,
        wet=wet,
        dry=dry,
        away=away,
        left=left,
        third=third,
        rack=rack,
        blank=blank,
    )


def scan(page: Any, text: str) -> None:
    """Type as a hand scanner does, wherever the focus is, end with Enter, and wait for the answer."""
    done = int(page.evaluate("document.documentElement.dataset.scans || 0"))
    page.keyboard.type(text)
    page.keyboard.press("Enter")
    page.wait_for_selector(f"html[data-scans='{done + 1}']")


def word(page: Any) -> str:
    return str(page.locator(".verdict .word").inner_text()).strip()


def test_a_crew_is_scanned_out_with_keys_alone(
    shop: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    page = sign_in(shop.cast.ines)
    page.goto(f"{live_server.url}/scan/out/{shop.outing.pk}/")

    # A whole address of any host, typed into nothing in particular.
    page.evaluate("document.activeElement.blur()")
    scan(page, f"HTTPS://SOME.HOST.EXAMPLE/S/{shop.wet.code}")
    assert (word(page), page.locator("[data-scan-count]").inner_text()) == ("Taken", "1")
    assert page.evaluate("document.activeElement.id") == "code"
    assert page.locator(".verdict .stamp-xxl").inner_text() == "200"

    scan(page, shop.dry.code.lower())
    assert word(page) == "Refused"
    assert page.locator(".verdict .reason").inner_text().replace("\xa0", " ") == "Dry. Needs 72 h in water."
    assert page.get_attribute(".verdict", "role") == "alert"

    scan(page, shop.away.code)
    assert word(page) == "Elsewhere"
    assert page.locator(".verdict .reason").inner_text() == "Out with Dag P."
    # The refusal before it stays in the list.
    assert page.locator(".scan-lines > li").nth(1).inner_text().startswith("400")

    page.get_by_role("button", name="Hand it over to Osprey Lane").click()
    page.wait_for_selector("html[data-scans='4']")
    assert word(page) == "Handed over"
    assert SetState.objects.get(pk=shop.away.set.pk).outing_id == shop.outing.pk
    assert page.evaluate("document.documentElement.scrollWidth") == 390


def test_undo_by_keys_voids_the_last_scan(
    shop: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    page = sign_in(shop.cast.teo)
    page.goto(f"{live_server.url}/scan/out/{shop.outing.pk}/")
    scan(page, shop.left.code)
    assert SetState.objects.get(pk=shop.left.set.pk).outing_id == shop.outing.pk

    page.keyboard.press("Control+z")
    page.wait_for_selector("html[data-scans='2']")

    assert SetState.objects.get(pk=shop.left.set.pk).outing_id is None
    assert page.locator(".scan-lines > li").first.inner_text().split("\n")[1].endswith("undone")
    assert page.locator("[data-scan-count]").inner_text() == "0"


def test_a_scanner_faster_than_the_answers_loses_none(
    shop: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    page = sign_in(shop.cast.teo)
    page.goto(f"{live_server.url}/scan/out/{shop.outing.pk}/")
    for thing in (shop.wet, shop.left, shop.third):
        page.keyboard.type(thing.code)
        page.keyboard.press("Enter")
    page.wait_for_selector("html[data-scans='3']")
    assert page.locator("[data-scan-count]").inner_text() == "3"
    assert Entry.objects.filter(kind="scanned_out", outing=shop.outing).count() == 3


def test_a_set_sent_against_the_gate_asks_for_the_reason(
    shop: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    page = sign_in(shop.cast.ines)
    page.goto(f"{live_server.url}/scan/out/{shop.outing.pk}/")
    scan(page, shop.dry.code)
    page.get_by_text("Send it all the same and say why").click()
    page.get_by_label("Why does it leave all the same?").fill("No other 400 tonight")
    page.get_by_role("button", name="Send it", exact=True).click()
    page.wait_for_selector("html[data-scans='2']")
    entry = Entry.objects.get(kind="scanned_out", tool_set=shop.dry.set)
    assert (word(page), entry.gate, entry.why) == ("Taken", "overridden", "No other 400 tonight")


def test_a_scan_without_signal_waits_and_is_sent_by_itself(
    shop: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    page = sign_in(shop.cast.teo)
    page.goto(f"{live_server.url}/scan/out/{shop.outing.pk}/")
    page.context.set_offline(True)
    page.keyboard.type(shop.left.code)
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-scan-queue]:not([hidden])")
    assert page.locator("[data-scan-queue]").inner_text().endswith("1")
    page.context.set_offline(False)
    page.wait_for_selector("html[data-scans='1']")
    assert word(page) == "Taken"


def test_scans_behind_an_unknown_code_wait_while_the_book_is_written_and_none_is_lost(
    shop: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL lets many write at once")
    monkeypatch.setitem(connection.settings_dict["OPTIONS"], "timeout", 0.2)
    page = sign_in(shop.cast.teo)
    page.goto(f"{live_server.url}/scan/out/{shop.outing.pk}/")
    answers: list[int] = []
    page.on("response", lambda answer: answers.append(answer.status) if answer.request.method == "POST" else None)
    other = sqlite3.connect(connection.settings_dict["NAME"], timeout=5, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    for text in ("NOSUCH9", shop.left.code, shop.third.code):
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    page.wait_for_selector("[data-scan-queue]:not([hidden])")
    page.wait_for_timeout(500)
    assert page.locator("[data-scan-queue]").inner_text().endswith("themselves: 3")
    # Even a reload in between loses none: they are kept in the tab.
    page.once("dialog", lambda dialog: dialog.accept())
    page.reload()
    assert page.locator("[data-scan-queue]").inner_text().endswith("themselves: 3")
    other.execute("ROLLBACK")
    other.close()

    page.wait_for_selector("html[data-scans='3']")

    assert (set(answers[:-3]), answers[-3:]) == ({503}, [200, 200, 200])
    assert page.locator("[data-scan-count]").inner_text() == "2"
    assert Entry.objects.filter(kind="scanned_out", outing=shop.outing).count() == 2
    assert page.locator("[data-scan-queue]").is_hidden()


def test_scans_of_a_session_that_ended_are_sent_after_signing_in_again_and_only_by_the_same_person(
    shop: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    page = sign_in(shop.cast.teo)
    page.goto(f"{live_server.url}/scan/out/{shop.outing.pk}/")
    page.context.clear_cookies()
    page.keyboard.type(shop.left.code)
    page.keyboard.press("Enter")
    page.wait_for_url("**/sign-in/**")

    sign_in(shop.cast.ines).goto(f"{live_server.url}/scan/out/{shop.outing.pk}/")
    assert page.locator("[data-scan-queue]").is_hidden()
    assert not Entry.objects.filter(kind="scanned_out", outing=shop.outing).exists()

    sign_in(shop.cast.teo).goto(f"{live_server.url}/scan/out/{shop.outing.pk}/")
    page.wait_for_selector("html[data-scans='1']")
    assert word(page) == "Taken"
    assert Entry.objects.get(kind="scanned_out", outing=shop.outing).act.done_by == shop.cast.teo


def test_a_scan_that_brings_no_verdict_is_tried_three_times_then_named_and_the_next_ones_go_on(
    shop: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    page = sign_in(shop.cast.teo)
    page.goto(f"{live_server.url}/scan/out/{shop.outing.pk}/")
    tries: list[int] = []

    def broken(route: Any) -> None:
        if route.request.method == "POST" and shop.left.code in (route.request.post_data or "") and len(tries) < 3:
            tries.append(1)
            route.fulfill(status=500, body="broken")
        else:
            route.continue_()

    page.route("**/scan/**", broken)
    for thing in (shop.left, shop.third):
        page.keyboard.type(thing.code)
        page.keyboard.press("Enter")
    page.wait_for_selector("html[data-scans='1']")
    assert len(tries) == 3
    assert page.locator("[data-scan-queue]").inner_text() == f"Not kept, scan it again: {shop.left.code}"
    assert SetState.objects.get(pk=shop.third.set.pk).outing_id == shop.outing.pk

    scan(page, shop.left.code)
    assert (word(page), page.locator("[data-scan-queue]").is_hidden()) == ("Taken", True)


def test_scanning_in_ends_with_the_question_where_the_others_are(
    shop: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    page = sign_in(shop.cast.teo)
    page.goto(f"{live_server.url}/scan/out/{shop.outing.pk}/")
    for thing in (shop.wet, shop.left, shop.third):
        scan(page, thing.code)

    # The next morning: what has left comes in without a question.
    Outing.objects.filter(pk=shop.outing.pk).update(leaves_at=timezone.now() - hours(10))
    page.goto(f"{live_server.url}/scan/in/")
    scan(page, shop.left.code)
    assert (word(page), page.locator(".verdict .reason").inner_text()) == ("In", "Rack B")
    page.get_by_role("link", name="Done").click()

    assert page.locator("h1").inner_text() == "Osprey Lane: 1 of 3 back."
    assert page.locator(".question.first h2").inner_text() == "Where are 70 and 200?"
    page.get_by_role("button", name="Still on site, in water").click()
    page.wait_for_url("**/scan/in/where/")
    assert page.locator("h1").inner_text() == "Everything is answered."
    assert SetState.objects.get(pk=shop.wet.set.pk).facts["left_how"] == "in_water"


def test_a_blank_label_becomes_a_set_in_two_presses(
    shop: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    page = sign_in(shop.cast.teo)
    page.goto(f"{live_server.url}/scan/out/{shop.outing.pk}/")
    scan(page, shop.blank)
    assert word(page) == "Blank label"
    page.get_by_role("link", name="Name it").click()
    page.get_by_role("link", name="200").click()
    page.get_by_role("button", name="It is a set").click()
    page.wait_for_url(f"**/scan/out/{shop.outing.pk}/")
    assert page.get_by_text(f"It is a set. {shop.blank} is kept.").is_visible()
    label = Label.objects.get(pk=shop.blank)
    assert label.opens_set is not None
    assert (label.opens_set.tool_type.grit, label.opens_set.state.lowest_height_mm) == ("200", 11.938)
