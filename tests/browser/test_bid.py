"""In a real browser: a bid in a minute on a phone and at the desk, and made a job's plan."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.utils import timezone

from inventory.models import Price
from jobs.models import Job
from jobs.queries.plan import plan_of
from tests.browser.test_life_pages import broken_rules
from tests.cast import make_supplier
from tests.jobs.test_laddering import make_shop

pytestmark = pytest.mark.django_db(transaction=True)


def priced_shop() -> Any:
    cast, supplier, now = make_shop(), make_supplier(), timezone.now()
    for one in cast.types.values():
        Price.objects.create(
            tool_type=one, supplier=supplier, price=100, currency="USD", valid_from=now.date(), recorded_at=now
        )
    return cast


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_a_bid_fits_a_phone_and_breaks_no_rule(
    page: Any, sign_in: Callable[[Any], Any], live_server: Any, mode: str
) -> None:
    cast = priced_shop()
    phone = sign_in(cast.olga)
    phone.emulate_media(color_scheme=mode)
    phone.goto(f"{live_server.url}/jobs/bid/")
    phone.get_by_label("Floor area").fill("12,400")
    phone.get_by_role("button", name="Work it out").click()
    phone.get_by_role("heading", name="What it costs").wait_for()
    assert phone.locator("h1").inner_text().startswith("Tools $")
    assert phone.evaluate("document.documentElement.scrollWidth") == 390
    assert broken_rules(phone) == []


def test_a_bid_at_the_desk_becomes_a_kept_job(page: Any, sign_in: Callable[[Any], Any], live_server: Any) -> None:
    cast = priced_shop()
    page.set_viewport_size({"width": 1280, "height": 900})
    desk = sign_in(cast.ines)
    desk.goto(f"{live_server.url}/jobs/bid/")
    desk.get_by_label("Floor area").fill("12,400")
    desk.get_by_label("Finish").select_option(label="satin")
    desk.get_by_label("Condition").select_option(label="sound")
    desk.get_by_role("button", name="Work it out").click()
    desk.get_by_label("or a new site").fill("Tollgate")
    desk.get_by_role("button", name="Open its plan").click()
    assert desk.locator(".plan-rows.steps .plan-row").count() == 4  # resin 50 to 400
    nights = desk.locator(".plan-rows.shifts .plan-row").count()
    assert nights >= 1
    day = f"{timezone.now().year + 1}-05-20"
    desk.get_by_label("Starts on").fill(day)
    for number in range(nights):
        desk.locator(f"input[name=shifts-{number}-day]").fill(f"{timezone.now().year + 1}-05-{20 + number}")
    desk.get_by_role("button", name="Keep the job").last.click()
    desk.get_by_text("Version 1 is kept.").wait_for()
    assert "It likely takes" in desk.locator("main").inner_text()
    plan = plan_of(Job.objects.get(name="Tollgate"))
    assert plan is not None
    assert plan.finish_level == 2
    assert [step.passes for step in plan.steps.all()] == [7, 5, 5, 5]
