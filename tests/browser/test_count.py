"""A rack is counted with a hand scanner's keys alone, its differences approved and taken back."""

from __future__ import annotations

import random
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone
from pytest_django.live_server_helper import LiveServer

from inventory.actions.custody import move, scan_out
from inventory.codes import new_code
from inventory.models import Count, Entry, SetState
from tests.cast import hours, make_cast, make_outing, make_place, make_set, make_type, who

pytestmark = pytest.mark.django_db(transaction=True)
AA = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}


@pytest.fixture
def shop() -> SimpleNamespace:
    """Rack B with three metal 70s by the ledger; a fourth is out to Tollgate in van 2."""
    now, cast, rng = timezone.now(), make_cast(), random.Random(3)
    cast.rack = make_place(cast.branch, name="Rack B")
    metal, early = make_type("70", "metal", 1, soak_need="none"), now - hours(60)
    cast.codes = [new_code(rng) for _ in range(4)]
    cast.sets = [make_set(cast, metal, None, at=early, code=code) for code in cast.codes]
    for number, tool_set in enumerate(cast.sets, start=1):
        move(who(cast.ines, cast.device, early), cast.branch, tool_set, cast.rack, now=early, peg=str(number))
    van, at = make_place(cast.branch, "van", "Van 2"), now - hours(20)
    cast.outing = make_outing(cast.branch, "Tollgate", van=van, leaves_at=at, due_at=now + hours(8), made_at=at)
    scan_out(who(cast.dag, cast.device, at), cast.branch, cast.sets[3], cast.outing, now=at)
    return cast


def scan(page: Any, text: str) -> None:
    """Type as a hand scanner does, wherever the focus is, end with Enter, and wait for the answer."""
    done = int(page.evaluate("document.documentElement.dataset.scans || 0"))
    page.keyboard.type(text)
    page.keyboard.press("Enter")
    page.wait_for_selector(f"html[data-scans='{done + 1}']")


def test_a_rack_is_counted_with_keys_alone_and_its_differences_approved(
    shop: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    page = sign_in(shop.ines)
    page.set_viewport_size({"width": 768, "height": 1024})
    page.goto(f"{live_server.url}/counts/")
    page.get_by_role("button", name="Count Rack B").click()
    page.wait_for_selector("#code:focus")
    assert page.locator("h1").inner_text() == "Look for 3 sets in Rack B"

    scan(page, shop.codes[0])
    assert page.locator("h1").inner_text() == "Rack B: 2 to look for"
    scan(page, f"https://shop.example/S/{shop.codes[3]}")
    assert page.locator("h1").inner_text() == "Rack B: 2 to look for, 1 too many"
    assert page.locator(".count-last").get_attribute("data-verdict") == "elsewhere"
    scan(page, "GL-000000")
    assert page.locator(".count-last").get_attribute("data-verdict") == "refused"
    scan(page, shop.codes[1])
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("heading", name="2 to look for, 1 too many").wait_for()
    scan(page, shop.codes[1])

    page.get_by_role("button", name="It came back").click()
    page.get_by_role("heading", name="Rack B: 1 to look for", exact=True).wait_for()
    assert SetState.objects.get(pk=shop.sets[3].pk).outing_id is None
    # The next scan needs no touch after a press.
    assert page.evaluate("document.activeElement.id") == "code"

    page.get_by_role("link", name="Finish the count").click()
    assert page.locator("h1").inner_text() == "1 difference to approve in Rack B"
    page.get_by_role("button", name="Approve and end the count").click()
    page.get_by_role("heading", name="Rack B counted: 1 missing").wait_for()
    assert SetState.objects.select_related("place").get(pk=shop.sets[2].pk).place.kind == "unknown"  # type: ignore[union-attr]

    page.get_by_role("button", name="Undo: take it back and count on").click()
    page.get_by_role("heading", name="Rack B: 1 to look for", exact=True).wait_for()
    assert SetState.objects.get(pk=shop.sets[2].pk).place_id == shop.rack.pk
    assert Count.objects.get().ended_at is None


def test_without_the_script_a_scan_is_a_plain_form(
    shop: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    page = sign_in(shop.ines)
    page.route("**/scan*.js", lambda route: route.abort())
    page.goto(f"{live_server.url}/counts/")
    page.get_by_role("button", name="Count Rack B").click()
    page.locator("#code").fill(shop.codes[0])
    page.keyboard.press("Enter")
    page.get_by_text("as the ledger says").wait_for()
    assert Entry.objects.filter(kind="counted").count() == 1


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (768, "dark"), (1280, "light")])
def test_the_pages_of_a_count_fit_and_keep_the_rules_of_access(
    shop: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any], width: int, scheme: str
) -> None:
    page = sign_in(shop.ines)
    # Tall enough that the foot bar lies over nothing: axe measures what is covered as too small.
    page.set_viewport_size({"width": width, "height": 2600})
    page.emulate_media(color_scheme=scheme)
    page.goto(f"{live_server.url}/counts/")
    page.get_by_role("button", name="Count Rack B").click()
    page.wait_for_selector("#code:focus")
    scan(page, shop.codes[0])
    scan(page, shop.codes[3])
    url = page.url
    for step in ("", "finish/", "../"):
        if step:
            page.goto(url + step)
        assert page.evaluate("document.documentElement.scrollWidth") == width
        found = Axe().run(page, options=AA).response["violations"]
        assert [f"{step} {rule['id']}: {rule['nodes'][0]['html'][:120]}" for rule in found] == []
