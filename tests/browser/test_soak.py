"""The water on a tablet: put in, read, confirm; the pages keep the rules of access (WCAG 2.2 AA by axe-core)."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone
from pytest_django.live_server_helper import LiveServer

from inventory.actions.soak import put_in, read_water
from inventory.models import Entry, SetState
from inventory.units import Amount, to_si
from tests.cast import hours, make_cast, make_place, make_set, make_type, who

pytestmark = pytest.mark.django_db(transaction=True)
AA = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}


@pytest.fixture
def shop() -> SimpleNamespace:
    """Two dry 400s on the rack, an 800 whose hours are done in tub 1, a 3000 in the hot tub 2 that cooled."""
    now, cast = timezone.now(), make_cast()
    cast.rack = make_place(cast.branch, name="Rack A")
    cast.tub = make_place(cast.branch, "tub", "Tub 1", room_sets=6)
    cast.hot = make_place(cast.branch, "tub", "Tub 2", room_sets=8, thermostat=True)
    early = now - hours(120)
    cast.dry = [make_set(cast, make_type(), cast.rack, at=early) for _ in range(2)]
    cast.done = make_set(cast, make_type("800", ladder_place=7), cast.rack, at=early)
    cast.cooled = make_set(cast, make_type("3000", ladder_place=9), cast.rack, at=early)
    for tool_set, tub, ago in ((cast.done, cast.tub, 80), (cast.cooled, cast.hot, 20)):
        at = now - hours(ago)
        put_in(who(cast.ines, cast.device, at), cast.branch, [tool_set], tub, now=at)
    for ago, value in ((20, 132), (7, 118)):
        at = now - hours(ago)
        amount = Amount(to_si(value, "F"), value, "F")  # type: ignore[arg-type]  # a whole number is exact
        read_water(who(cast.ines, cast.device, at), cast.branch, cast.hot, amount, now=at)
    return cast


def test_sets_are_put_in_read_and_confirmed_with_undo(
    shop: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    page = sign_in(shop.ines)
    page.set_viewport_size({"width": 768, "height": 1024})
    page.goto(f"{live_server.url}/soak/")
    assert page.locator("h1").inner_text() == "1 set has its hours and waits to be confirmed"
    assert "by the cold recipe." in page.locator(".told-line").inner_text()

    page.get_by_role("button", name="Confirm the 800").click()
    page.get_by_text("1 set confirmed by Ines O.").wait_for()
    assert Entry.objects.get(kind="conditioning_confirmed").act.done_by_id == shop.ines.pk

    page.get_by_role("link", name="Put sets in").click()
    page.get_by_role("checkbox").nth(0).check()
    page.get_by_role("checkbox").nth(1).check()
    page.get_by_label("Into").select_option(label="Tub 1, 5 places")
    page.get_by_role("button", name="Put them in").click()
    page.get_by_text("2 sets are in Tub 1.").wait_for()
    assert SetState.objects.filter(place=shop.tub, soaking=True).count() == 3

    page.get_by_role("button", name="Undo").click()
    page.get_by_text("Undone.").wait_for()
    assert SetState.objects.filter(place=shop.rack).count() == 2

    page.get_by_role("link", name="Log temperature Tub 2").click()
    page.get_by_role("button", name="More: Temperature").click()
    assert page.get_by_role("textbox", name="Temperature").input_value() == "119"
    page.get_by_role("button", name="Keep the reading").click()
    page.get_by_text("Tub 2: 119").wait_for()
    newest = Entry.objects.filter(kind="water_read").latest("act__recorded_at")
    assert (newest.amount_value, newest.amount_unit) == ("119", "F")


def test_a_wrong_reading_is_voided_on_the_tubs_page(
    shop: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    page = sign_in(shop.ines)
    page.goto(f"{live_server.url}/tubs/{shop.hot.pk}/")
    page.locator("details summary", has_text="118").first.click()
    page.get_by_placeholder("Why: wrong tub, misread").first.fill("misread")
    page.get_by_role("button", name="Void it").first.click()
    page.get_by_text("The reading is voided.").wait_for()
    assert page.locator("tr.voided").count() == 1
    assert "132" in page.locator("h1").inner_text()


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (768, "dark"), (1280, "light")])
def test_the_pages_of_the_water_fit_and_keep_the_rules_of_access(
    shop: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any], width: int, scheme: str
) -> None:
    page = sign_in(shop.ines)
    # Tall enough that the foot bar lies over no field: axe measures what is covered as too small.
    page.set_viewport_size({"width": width, "height": 2600})
    page.emulate_media(color_scheme=scheme)
    for path in ("soak/", "soak/put/", f"tubs/{shop.hot.pk}/", f"tubs/{shop.hot.pk}/water/"):
        page.goto(f"{live_server.url}/{path}")
        assert page.evaluate("document.documentElement.scrollWidth") == width
        found = Axe().run(page, options=AA).response["violations"]
        assert [f"{path} {rule['id']}: {rule['nodes'][0]['html'][:120]}" for rule in found] == []
