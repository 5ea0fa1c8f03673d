"""In a real browser: sets for jobs are kept in one press at the desk, and one is chosen by hand on a phone."""

from __future__ import annotations

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone

from inventory.models.choices import SoakNeed
from jobs.models import Reservation
from tests.browser.test_look import AA
from tests.cast import hours, make_cast, make_place, make_set, make_type
from tests.jobs.plans import make_planned

pytestmark = pytest.mark.django_db(transaction=True)


def assert_no_violation(page: Any) -> None:
    results = Axe().run(page, options=AA)
    assert results.violations_count == 0, results.generate_report()


def test_sets_are_kept_at_the_desk_and_one_is_chosen_on_a_phone(page: Any, sign_in: Any, live_server: Any) -> None:
    cast, now = make_cast(), timezone.now()
    facts: dict[str, Any] = {"soak_need": SoakNeed.NONE, "rated_coverage_m2": 30_000.0}
    types = [make_type("200", ladder_place=5, **facts), make_type("400", ladder_place=6, **facts)]
    rack = make_place(cast.branch, name="Rack A")
    for number in range(2):
        for tool_type in types:
            make_set(cast, tool_type, rack, at=now - hours(99), code=f"GL-{tool_type.grit}00{number}")
    first = now + hours(60)
    make_planned(cast, first=first, starts_on=first.date(), now=now)
    make_planned(cast, "Fennick store", site_name="Fennick Road", first=first, starts_on=first.date(), now=now)

    page.set_viewport_size({"width": 1280, "height": 900})
    desk = sign_in(cast.ines)
    desk.goto(f"{live_server.url}/jobs/day/?show=tonight")
    desk.get_by_role("link", name="Sets for the weeks ahead").click()
    desk.get_by_role("heading", name="Every step has its set once this is kept").wait_for()
    assert_no_violation(desk)
    desk.get_by_role("button", name="Keep all of it").click()
    desk.get_by_text("4 choices are kept.").wait_for()
    desk.get_by_role("heading", name="Every step has its set", exact=True).wait_for()

    page.set_viewport_size({"width": 390, "height": 844})
    desk.get_by_role("link", name="400 set for Fennick store by hand").click()
    other = page.get_by_text("Goes with Osprey Lane").locator("xpath=ancestor::li")
    other.get_by_role("link", name="What follows").click()
    page.get_by_text("It takes it from Osprey Lane").wait_for()
    # So tall that the foot bar lies on nothing: what is half under it counts as too small.
    page.set_viewport_size({"width": 390, "height": 2400})
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    assert_no_violation(page)
    page.get_by_role("button", name="Keep GL-").click()
    page.get_by_text("Kept: your own choice stays whatever is proposed.").wait_for()
    assert Reservation.objects.filter(locked=True, ended_at__isnull=True).count() == 1
    page.get_by_role("button", name="Undo").click()
    page.get_by_text("Taken back: sets are meant as before.").wait_for()
    assert not Reservation.objects.filter(locked=True, ended_at__isnull=True).exists()
