"""In a real browser: the PIN pad by finger and by key, the first run, the tablet that signs out by itself."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

import pytest
from django.core import signing
from django.utils import timezone

from inventory.actions.first_run import make_code
from inventory.models import Branch, Device, Person, Setting, ToolType
from inventory.views.doors import DEVICE_COOKIE
from tests.cast import NOW, TODAY, make_cast

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def tablet(page: Any, live_server: Any) -> Any:
    """A page on a shared tablet of the cast's shop."""
    cast = make_cast()
    device = Device.objects.create(name="Tablet at rack B", branch=cast.branch, first_seen_at=NOW, shared=True)
    signed = signing.get_cookie_signer(salt=DEVICE_COOKIE + DEVICE_COOKIE).sign(str(device.pk))
    page.context.add_cookies([{"name": DEVICE_COOKIE, "value": signed, "url": live_server.url}])
    page.set_viewport_size({"width": 1024, "height": 768})
    page.goto(f"{live_server.url}/sign-in/?next=/me/")
    return page


def test_four_digits_by_finger_sign_a_helper_in(tablet: Any) -> None:
    tablet.get_by_role("link", name="Teo B.").click()
    for digit in "471":
        tablet.get_by_role("button", name=digit, exact=True).click()
    assert tablet.locator(".digits .box.on").count() == 3
    tablet.get_by_role("button", name="Back", exact=True).click()
    assert tablet.locator(".digits .box.on").count() == 2
    tablet.get_by_role("button", name="1", exact=True).click()
    tablet.get_by_role("button", name="1", exact=True).click()
    tablet.wait_for_url("**/me/")
    assert tablet.get_by_role("heading", level=1).inner_text() == "Teo B."


def test_keys_find_a_name_and_type_the_digits_and_a_wrong_pin_says_so(tablet: Any) -> None:
    tablet.keyboard.press("t")
    tablet.keyboard.press("Enter")
    tablet.wait_for_selector("[data-pin-form]")
    tablet.keyboard.type("9999")
    alert = tablet.get_by_role("alert")
    alert.wait_for()
    assert alert.inner_text() == "These are not the four digits of that name."
    assert "4 tries left, then wait a minute or ask Olga M." in tablet.locator(".secret").inner_text()
    tablet.keyboard.type("4711")
    tablet.wait_for_url("**/me/")


def test_an_untouched_tablet_signs_out_by_itself(tablet: Any) -> None:
    branch = Branch.objects.get()
    Setting.objects.create(branch=branch, key="sign_out_minutes", value="0.05", valid_from=TODAY, recorded_at=NOW)
    tablet.get_by_role("link", name="Teo B.").click()
    tablet.wait_for_selector("[data-pin-form]")
    tablet.keyboard.type("4711")
    # By path: the sign-in page's own address ends with the page it leads to.
    tablet.wait_for_url(lambda url: urlsplit(url).path == "/me/")
    tablet.wait_for_url(lambda url: urlsplit(url).path == "/sign-in/", timeout=45_000)
    assert tablet.get_by_role("heading", level=1).inner_text() == "Who are you?"


def test_an_empty_shop_begins_in_the_browser(page: Any, live_server: Any, settings: Any) -> None:
    code = make_code(now=timezone.now())
    page.set_viewport_size({"width": 1280, "height": 900})
    page.goto(f"{live_server.url}/first-run/?code={code}")
    for label, text in (
        ("The shop's name", "Millrace shop"),
        ("Your name", "Ines O."),
        ("Your sign-in name", "ines"),
        ("Your password", "polish before noon"),
    ):
        page.get_by_label(label, exact=True).fill(text)
    page.get_by_label("Its time zone").select_option("America/Chicago")
    page.get_by_role("button", name="Begin the shop").click()
    page.wait_for_url("**/first-run/shop/")
    page.locator('label:has(input[value="metal-30"])').click()
    page.get_by_role("button", name="Take these steps").click()
    page.get_by_text("9 tool types stand on your ladder.").wait_for()
    assert not ToolType.objects.filter(grit="30").exists()
    assert "only this computer reaches the shop" in page.content()
    page.get_by_label("Address in labels").fill("https://shop.example")
    page.get_by_role("button", name="Try this address").click()
    page.get_by_text("the shop does not answer to shop.example").wait_for()
    settings.ALLOWED_HOSTS = [*settings.ALLOWED_HOSTS, "shop.example"]
    page.reload()
    page.get_by_text("Waiting for a phone").wait_for()
    assert page.locator(".square svg").count() == 1
    assert Person.objects.get().name == "Ines O."


def broken_rules(page: Any) -> list[str]:
    """The rules of WCAG 2.2 A and AA that axe-core finds broken on a page."""
    from axe_playwright_python.sync_playwright import Axe

    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": tags}})
    return [f"{rule['id']}: {rule['nodes'][0]['html'][:120]}" for rule in found.response["violations"]]


@pytest.mark.parametrize("colours", ["light", "dark"])
def test_these_pages_keep_the_rules_of_access(tablet: Any, live_server: Any, sign_in: Any, colours: str) -> None:
    tablet.emulate_media(color_scheme=colours)
    tablet.goto(f"{live_server.url}/sign-in/?who=teo")
    assert broken_rules(tablet) == []
    sign_in(Person.objects.get(sign_in="olga"))
    for path in (
        "first-run/shop/",
        "shop/tool-types/new/",
        "shop/people/",
        "shop/people/new/",
        "shop/settings/",
        "me/",
    ):
        tablet.goto(f"{live_server.url}/{path}")
        assert broken_rules(tablet) == [], path
        assert tablet.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), path


def test_nothing_scrolls_sideways_on_the_smallest_phone(tablet: Any, live_server: Any, sign_in: Any) -> None:
    tablet.set_viewport_size({"width": 320, "height": 640})
    sign_in_page = f"{live_server.url}/sign-in/?who=teo"
    tablet.goto(sign_in_page)
    assert tablet.evaluate("document.documentElement.scrollWidth") == 320
    sign_in(Person.objects.get(sign_in="olga"))
    for path in ("first-run/shop/", "shop/tool-types/new/", "shop/settings/", "shop/people/new/", "me/", "shop/hours/"):
        tablet.goto(f"{live_server.url}/{path}")
        assert tablet.evaluate("document.documentElement.scrollWidth") == 320, path
