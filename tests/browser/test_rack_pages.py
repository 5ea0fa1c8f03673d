"""The rack and a set's card in a real browser: keys on the picture, a void, and what a machine can see of access."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.actions.ledger import NewLine
from inventory.models import Entry
from tests.cast import hours, make_cast, make_place, make_set, make_type, write

pytestmark = pytest.mark.django_db(transaction=True)
DESK = {"width": 1280, "height": 900}


def a_rack(count: int = 4) -> tuple[Any, list[Any]]:
    cast, now = make_cast(), timezone.now()
    rack = make_place(cast.branch, name="Rack B")
    types = [make_type("30", "metal", 1, soak_need="none"), make_type("400", "resin", 6)]
    return cast, [
        make_set(cast, types[number % 2], rack, at=now - hours(200 + number), code=f"GL-{number:06d}")
        for number in range(count)
    ]


def test_the_rack_is_walked_by_keys_and_enter_opens(live_server: Any, page: Any, sign_in: Callable[[Any], Any]) -> None:
    cast, _sets = a_rack()
    sign_in(cast.ines)
    page.set_viewport_size(DESK)
    page.goto(live_server.url + reverse("inventory:rack"))
    assert page.locator('[data-rack] svg.rack a[tabindex="0"]').count() == 1
    page.locator('[data-rack] svg.rack a[tabindex="0"]').focus()
    strip = page.locator("[data-rack-strip]")
    assert strip.locator("[data-code]").inner_text() == "GL-000000"
    page.keyboard.press("ArrowRight")
    assert strip.locator("[data-code]").inner_text() == "GL-000002"
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Home")
    assert strip.locator("[data-code]").inner_text() == "GL-000001"
    assert "resin 400, dry." in strip.inner_text()
    page.keyboard.press("Enter")
    page.wait_for_url("**/sets/*/")
    assert "GL-000001" in page.locator("h1").inner_text()


def test_a_phone_opens_the_lines_of_a_grit_and_then_a_card(
    live_server: Any, page: Any, sign_in: Callable[[Any], Any]
) -> None:
    cast, _sets = a_rack()
    sign_in(cast.dag)
    page.goto(live_server.url + reverse("inventory:rack"))
    page.locator("nav.rack-rows a", has_text="400").click()
    lines = page.locator(".set-lines a")
    assert lines.count() == 2
    assert all(lines.nth(at).bounding_box()["height"] >= 96 for at in range(2))
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    lines.first.click()
    assert "400" in page.locator("h1").inner_text()
    assert page.evaluate("document.documentElement.scrollWidth") == 390


def test_an_entry_is_voided_from_the_card(live_server: Any, page: Any, sign_in: Callable[[Any], Any]) -> None:
    cast, sets = a_rack(1)
    write(cast, NewLine("measured", sets[0], None, {"lowest_height_mm": 9.0}), at=timezone.now() - hours(3))
    sign_in(cast.ines)
    page.set_viewport_size(DESK)
    page.goto(live_server.url + reverse("inventory:toolset", args=[sets[0].pk]))
    page.locator(".days li li", has_text="Measured").get_by_role("link", name="Void").click()
    page.get_by_label("What was wrong with it?").fill("misread")
    page.get_by_role("button", name="Void it").click()
    page.wait_for_url("**/sets/*/")
    struck = page.locator(".days s.voided")
    assert "Measured. Lowest piece" in struck.inner_text()
    assert "Voided by Ines O.: misread" in page.locator(".days").inner_text()
    assert Entry.objects.filter(kind="voided").count() == 1


@pytest.mark.parametrize("name", ["rack", "list", "grit", "card", "place"])
def test_a_checker_finds_nothing_on_these_pages(
    live_server: Any, page: Any, sign_in: Callable[[Any], Any], name: str
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    cast, sets = a_rack()
    write(cast, NewLine("measured", sets[1], None, {"lowest_height_mm": 9.0}), at=timezone.now() - hours(3))
    sign_in(cast.ines)
    page.set_viewport_size(DESK)
    url = {
        "rack": reverse("inventory:rack"),
        "list": reverse("inventory:rack") + "?view=list",
        "grit": reverse("inventory:rack_grit", args=[sets[1].tool_type_id]),
        "card": reverse("inventory:toolset", args=[sets[1].pk]),
        "place": reverse("inventory:place_phone", args=[sets[1].state.place_id]),
    }[name]
    page.goto(live_server.url + url)
    options = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
    found = Axe().run(page, options=options).response["violations"]
    assert [(one["id"], one["nodes"][0]["html"]) for one in found] == []
