"""A shop's list of a hundred sets comes in through a real browser: answers by button and key, undo."""

from typing import Any

import pytest

from inventory.models import SetState, ToolSet
from tests.cast import make_cast
from tests.inventory.sheets.shop import csv_file
from tests.jobs.sheet_files import TOOLING, stock_shop

HUNDRED = [
    *TOOLING[:9],
    *(["400 resin", "1", f"Q-{number}", "0.27", f"B{number % 40 + 20}", "", "1/12/25", ""] for number in range(91)),
    *TOOLING[9:],
]


@pytest.mark.django_db(transaction=True)
def test_a_hundred_rows_are_matched_answered_and_brought_in(live_server: Any, page: Any, sign_in: Any) -> None:
    cast = make_cast()
    stock_shop(cast)
    sign_in(cast.ines)
    page.set_viewport_size({"width": 1280, "height": 900})
    page.goto(f"{live_server.url}/jobs/bring-in/")
    page.set_input_files(
        "input[type=file]", {"name": "tooling.csv", "mimeType": "text/csv", "buffer": csv_file(HUNDRED)}
    )
    page.get_by_role("button", name="Read the file").click()
    assert page.locator("h1").inner_text() == "94 sets can come in, 4 rows need you, 2 are refused"
    page.wait_for_load_state()  # keys are heard once the page's script is there
    assert ToolSet.objects.count() == 0

    # Down to the first question, 1 takes its likeliest answer; the button grows by the two sets of that row.
    page.keyboard.press("ArrowDown")
    page.keyboard.press("1")
    page.get_by_role("button", name="Bring in 96 sets").wait_for()
    # The page comes back to the questions: the second of what is left now, its second answer.
    page.locator("[data-asks] > li:focus").wait_for()
    page.keyboard.press("ArrowDown")
    assert page.evaluate("document.activeElement.querySelector('h3').textContent") == "How high is “half”?"
    page.keyboard.press("1")
    page.get_by_role("button", name="Bring in 97 sets").wait_for()
    page.get_by_role("button", name="Two different ones").click()
    page.get_by_role("button", name="Bring in 98 sets").wait_for()
    page.get_by_role("button", name="Make it 0.275").click()
    page.get_by_role("button", name="Bring in 99 sets").wait_for()
    # A column taken for something else is used at once.
    page.get_by_label("“Notes” is").select_option("")
    page.wait_for_load_state()
    page.get_by_role("button", name="Bring in 99 sets").click()

    page.get_by_text("99 sets came in.").wait_for()
    assert SetState.objects.filter(branch=cast.branch).count() == 99
    assert SetState.objects.get(tool_set__own_code="R-17").peg == "14"
    assert not ToolSet.objects.get(own_code="M-02").entries.get().why.endswith("good")
    page.goto(f"{live_server.url}/rack/")
    assert "99" in page.locator("main").inner_text()
    page.go_back()
    page.locator("[data-undo]").first.click()
    page.get_by_text("99 taken back.").wait_for()
    assert SetState.objects.filter(branch=cast.branch).count() == 0


@pytest.mark.django_db(transaction=True)
def test_a_large_list_says_how_far_it_is_and_goes_on_by_itself(live_server: Any, page: Any, sign_in: Any) -> None:
    cast = make_cast()
    stock_shop(cast)
    sign_in(cast.ines)
    rows = [["Disc", "ID", "height (mm)"], *(["400 resin", f"R-{number}", "6.5"] for number in range(6000))]
    page.goto(f"{live_server.url}/jobs/bring-in/")
    page.set_input_files("input[type=file]", {"name": "big.csv", "mimeType": "text/csv", "buffer": csv_file(rows)})
    page.get_by_role("button", name="Read the file").click()
    page.get_by_text("6,000 sets can come in").first.wait_for()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
