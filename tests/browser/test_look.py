"""The parts and the rack in a real browser: reading, keys, narrow screens, second presses. WCAG 2.2 AA by axe-core."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from axe_playwright_python.sync_playwright import Axe
from django.template import Template
from django.template.context import make_context
from django.test import RequestFactory

from inventory.rack_picture import rack_picture

from .look_page import HOST, look_context, look_html, serve
from .rack_sample import sample_rows

AA = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


def rack_html(count: int) -> str:
    text = (Path(__file__).parent / "rack.html").read_text(encoding="utf-8")
    values = {**look_context(), "rack": rack_picture(sample_rows(count)), "words": f"{count} sets in use."}
    return str(Template(text).render(make_context(values, RequestFactory().get("/"))))


@pytest.fixture
def show(browser: Any) -> Iterator[Any]:
    """Open a page from memory at a width and in a mode; complaints of the browser fail the test."""
    contexts, complaints = [], []

    def opened(html: str, width: int = 1280, scheme: str = "light", **more: Any) -> Any:
        context = browser.new_context(viewport={"width": width, "height": 844}, color_scheme=scheme, **more)
        contexts.append(context)
        page = context.new_page()
        complaints.append(serve(page, {"/": html}))
        page.goto(f"{HOST}/")
        return page

    yield opened
    for context in contexts:
        context.close()
    assert [words for of_page in complaints for words in of_page] == []


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (390, "dark"), (1280, "light"), (1280, "dark")])
@pytest.mark.parametrize("what", ["look", "rack"])
def test_axe_finds_nothing_to_mend(show, what, width, scheme):
    html = rack_html(120) if what == "rack" else look_html("desk" if width > 1000 else "floor")
    page = show(html, width, scheme)

    # The whole page at once: the sticky bar at the foot only covers what one can scroll to.
    page.set_viewport_size({"width": width, "height": page.evaluate("document.documentElement.scrollHeight") + 80})

    results = Axe().run(page, options=AA)

    assert results.violations_count == 0, results.generate_report()


@pytest.mark.parametrize("what", ["look", "rack"])
def test_nothing_scrolls_sideways(show, what):
    page = show(rack_html(120) if what == "rack" else look_html("floor"))
    found = {}
    for width in (320, 390, 768, 1024, 1280):
        page.set_viewport_size({"width": width, "height": 844})
        found[width] = page.evaluate("document.documentElement.scrollWidth")

    assert found == {width: width for width in found}


SMALLER = """([parts, least]) => Array.from(document.querySelectorAll(parts)).filter(part => part.offsetParent)
    .filter(part => { const box = part.getBoundingClientRect(); return Math.min(box.width, box.height) < least; })
    .map(part => part.textContent)"""


def test_floor_targets_are_48_px_and_more(show):
    page = show(look_html("floor"), 390)
    parts = "main button, main a.button, .foot a, .foot summary, .segments label"

    assert page.evaluate(SMALLER, [parts, 47.5]) == []


def test_desk_targets_are_40_px_and_more(show):
    page = show(look_html("desk"), 1280)

    assert page.evaluate(SMALLER, ["main button, main a.button, .segments label", 39.5]) == []


def test_the_night_of_a_person_wins_over_the_day_of_the_device(show):
    page = show(look_html(theme="night"), scheme="light")

    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(13, 19, 17)"


def test_a_grit_has_its_night_colour_at_night(show):
    page = show(look_html(), scheme="dark")

    assert (
        page.locator(".gauge path:not([class])").first.evaluate("one => getComputedStyle(one).fill")
        == "rgb(160, 85, 145)"
    )


def test_arrows_walk_the_rack_and_the_strip_reads(show):
    page = show(rack_html(120))
    links = page.locator("svg.rack a")
    links.first.focus()
    page.keyboard.press("ArrowRight")

    name = links.nth(1).get_attribute("aria-label")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == name
    assert page.locator("[data-code]").inner_text() == name.split(", ")[0]
    assert page.locator("[data-words]").inner_text() == name.split(", ", 1)[1]
    assert page.locator('svg.rack a[tabindex="0"]').count() == 1
    assert page.locator("[data-open]").get_attribute("href") == links.nth(1).get_attribute("href")


def test_home_end_and_down_move_within_and_between_rows(show):
    page = show(rack_html(120))
    first_row, second_row = page.locator("svg.rack").nth(0).locator("a"), page.locator("svg.rack").nth(1).locator("a")
    first_row.first.focus()

    def here() -> str:
        return str(page.evaluate("document.activeElement.getAttribute('aria-label')"))

    page.keyboard.press("End")
    assert here() == first_row.last.get_attribute("aria-label")
    page.keyboard.press("Home")
    assert here() == first_row.first.get_attribute("aria-label")
    page.keyboard.press("ArrowDown")
    assert here() == second_row.first.get_attribute("aria-label")


def test_the_first_touch_reads_and_the_second_opens(show):
    page = show(rack_html(120), has_touch=True)
    link = page.locator("svg.rack a").nth(2)

    link.tap()
    assert page.url == f"{HOST}/"
    assert page.locator("[data-code]").inner_text() == link.get_attribute("aria-label").split(", ")[0]
    with page.expect_request("**/s/GL-*") as asked:
        link.tap()
    assert asked.value.url == HOST + link.get_attribute("href")
    page.go_back()


def test_slash_goes_to_the_find_field(show):
    page = show(look_html())
    # The summary of refusals takes the focus when the page has loaded; only then is it a person's turn.
    page.wait_for_function("document.activeElement.className === 'refusals'")

    page.keyboard.press("/")

    assert page.evaluate("document.activeElement.id") == "find"
    assert page.locator("#find").input_value() == ""


def test_the_summary_of_refusals_has_the_focus_and_links_to_the_field(show):
    page = show(look_html())

    assert page.evaluate("document.activeElement.className") == "refusals"
    page.locator(".refusals a").first.click()
    assert page.evaluate("document.activeElement.id") == "id_code"


def test_a_stepper_steps_by_its_step_and_keeps_a_comma(show):
    page = show(look_html())
    box = page.locator("[data-stepper]").first
    field = box.locator("input")

    box.locator("[data-more]").click()
    assert field.input_value() == "6.9"
    field.fill("7,3")
    box.locator("[data-less]").click()
    assert field.input_value() == "7,2"


def test_a_stepper_stops_at_its_least(show):
    page = show(look_html())
    box = page.locator("[data-stepper]").nth(1)
    for _ in range(6):
        box.locator("[data-less]").click()

    assert box.locator("input").input_value() == "1"


def test_a_second_press_sends_nothing(show):
    page = show(look_html())
    sent: list[str] = []
    page.on("request", lambda request: sent.append(request.url) if request.method == "POST" else None)
    page.evaluate("() => { document.querySelectorAll('form').forEach(form => { form.action = '/slow'; }); }")
    page.route("**/slow", lambda route: None)  # never answered: the press stays busy

    with page.expect_request("**/slow"):
        page.get_by_role("button", name="Take 90,000 ft²").evaluate("it => { it.click(); it.click(); it.click(); }")
    page.wait_for_timeout(100)

    assert len(sent) == 1


def test_a_mend_folds_on_a_phone_and_not_at_the_desk(show):
    phone, desk = show(look_html("floor"), 390), show(look_html(), 1280)
    words = "Add GL-9B0KTP as second set"

    assert not phone.get_by_text(words).is_visible()
    phone.get_by_role("button", name="Show or hide: Resin 100 is short of life").click()
    assert phone.get_by_text(words).is_visible()
    assert desk.get_by_text(words).is_visible()


def test_every_page_shows_without_script(show):
    page = show(look_html("floor"), 390, java_script_enabled=False)

    assert page.get_by_text("Add GL-9B0KTP as second set").is_visible()
    assert page.get_by_role("button", name="Undo").first.is_visible()


def test_words_at_twice_their_size_stay_on_the_page(show):
    page = show(look_html("floor"), 640)
    page.evaluate("() => { document.documentElement.style.fontSize = '32px'; }")

    assert page.evaluate("document.documentElement.scrollWidth") <= 640


def test_paper_is_black_on_white_without_navigation(show):
    page = show(rack_html(120))
    page.emulate_media(media="print", color_scheme="dark")

    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert not page.locator(".top").is_visible()
    assert page.locator("svg.rack").first.is_visible()
    assert page.locator(".print-time").is_visible()


def test_the_rack_of_a_small_shop_prints_on_one_page_with_its_time(show):
    page = show(rack_html(120))

    paper = pypdfium2.PdfDocument(page.pdf(format="Letter"))
    words = paper[0].get_textpage().get_text_range()
    pages = len(paper)
    paper.close()

    assert pages == 1
    assert "Printed" in words
    assert "Shop day" not in words


def test_forced_colours_leave_words_and_shapes(show):
    page = show(look_html(), scheme="dark", forced_colors="active")

    assert page.locator(".verdict .word span").first.evaluate("one => getComputedStyle(one).color") == "rgb(0, 0, 0)"
    assert (
        page.locator(".verdict").first.evaluate("one => getComputedStyle(one).backgroundColor") == "rgb(255, 255, 255)"
    )
    assert page.locator(".gauge .g-o").first.evaluate("one => getComputedStyle(one).stroke") == "rgb(255, 255, 255)"
