"""Ordering from the reorder page and receiving in parts, as a purchaser does it: real Chromium, desk and phone."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.utils import timezone
from pytest_django.live_server_helper import LiveServer

from inventory.actions.purchasing import Wanted, place_order
from inventory.models import Order, SetState, Supplier, ToolType
from tests.browser.test_look import AA
from tests.cast import TODAY, make_cast, make_place, make_type
from tests.jobs.test_forecast import plan, sell

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def shop() -> SimpleNamespace:
    """Two types that planned jobs ask for, and an empty rack."""
    cast = make_cast()
    cast.rack = make_place(cast.branch, name="Rack A")
    ahead = (timezone.now().date() - TODAY).days
    for number, grit in enumerate(("200", "400"), start=1):
        tool_type = make_type(grit, ladder_place=number)
        sell(tool_type, days=5)
        plan(cast, f"Osprey Lane {number}", tool_type, starts_in=ahead + 12 + number, confirmed=True)
    return cast


def test_a_purchaser_orders_and_receives(
    shop: SimpleNamespace, page: Any, sign_in: Callable[[Any], Any], live_server: LiveServer
) -> None:
    sign_in(shop.ruta)
    page.set_viewport_size({"width": 1280, "height": 900})
    page.goto(f"{live_server.url}/jobs/reorder/")
    page.get_by_role("heading", level=1).filter(has_text="Order").wait_for()
    assert page.get_by_role("img").first.is_visible()

    page.get_by_role("link", name="Order all").click()
    assert page.locator("select[name=supplier] option:checked").inner_text() == "Quarrymead Abrasives"
    page.get_by_role("button", name="Keep the order").click()
    page.get_by_role("heading", level=1).filter(has_text="sets to come").wait_for()

    order = Order.objects.get()
    wanted = {line.tool_type.grit: line.sets for line in order.lines.all()}
    assert set(wanted) == {"200", "400"}
    assert all(line.price == Decimal("310.00") for line in order.lines.all())

    # One set of the first line, by the stepper, on a phone.
    page.set_viewport_size({"width": 390, "height": 844})
    page.reload()
    page.locator("input[name=sets]").fill("1")
    page.locator(".order-receive button.fill").click()
    page.get_by_text("1 set is here under label").wait_for()

    assert SetState.objects.filter(place=shop.rack, opening="new").exclude(code="").count() == 1
    assert page.get_by_role("link", name="Print its labels").is_visible()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")

    page.get_by_role("button", name="Undo").click()
    page.get_by_text("Taken back.").wait_for()
    assert page.get_by_role("heading", level=1).inner_text() == f"{sum(wanted.values())} sets to come"


def test_up_and_down_walk_the_types_and_enter_opens_one(
    shop: SimpleNamespace, page: Any, sign_in: Callable[[Any], Any], live_server: LiveServer
) -> None:
    sign_in(shop.ruta)
    page.set_viewport_size({"width": 1280, "height": 900})
    page.goto(f"{live_server.url}/jobs/reorder/")
    rows = page.locator("[data-row]")
    assert rows.count() == 2

    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    assert rows.nth(1).evaluate("row => row === document.activeElement")
    page.keyboard.press("ArrowUp")
    assert rows.nth(0).evaluate("row => row === document.activeElement")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")

    page.wait_for_url("**type=*")
    title = rows.nth(1).inner_text().split()[0]
    assert title in page.locator("#why h2").first.inner_text()


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (390, "dark"), (1280, "light"), (1280, "dark")])
def test_the_pages_of_buying_pass_axe_and_never_scroll_sideways(
    shop: SimpleNamespace, browser: Any, client: Any, live_server: LiveServer, width: int, scheme: str
) -> None:
    order = place_order(
        shop.ruta, shop.branch, Supplier.objects.get(), [Wanted(ToolType.objects.all()[0], 4, Decimal(310))],
        on_day=TODAY, now=timezone.now(),
    )  # fmt: skip
    client.force_login(shop.ruta)
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
    cookie = client.cookies[settings.SESSION_COOKIE_NAME]
    context.add_cookies([{"name": cookie.key, "value": cookie.value, "url": live_server.url}])
    page = context.new_page()
    for path in ("/jobs/reorder/", "/orders/", "/orders/new/", f"/orders/{order.pk}/", "/receive/"):
        page.goto(live_server.url + path)
        # The whole page at once: the sticky bar at the foot only covers what one can scroll to.
        page.set_viewport_size({"width": width, "height": page.evaluate("document.documentElement.scrollHeight") + 80})
        results = Axe().run(page, options=AA)
        assert results.violations_count == 0, f"{path}: {results.generate_report()}"
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), path
    context.close()
