"""In a real browser: a job is planned at the desk, worked on a phone, and the morning is answered with two taps."""

from __future__ import annotations

from typing import Any

import pytest
from django.utils import timezone

from inventory.actions.ledger import NewLine
from inventory.models import SetState
from inventory.models.choices import SoakNeed
from jobs.actions.shift import outing_of_shift
from jobs.models import Job, ShiftEntry
from jobs.queries.plan import plan_of
from tests.cast import hours, make_cast, make_machine, make_place, make_set, make_type, write
from tests.jobs.plans import make_hall, make_planned

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_job_is_planned_at_the_desk(page: Any, sign_in: Any, live_server: Any) -> None:
    cast = make_cast()
    make_type("200", ladder_place=5)
    make_type("400", ladder_place=6)
    make_machine(cast.branch, name="Wide three")
    day = f"{timezone.now().year + 1}-05-20"
    site = make_hall(cast).site
    page.set_viewport_size({"width": 1280, "height": 900})
    desk = sign_in(cast.ines)
    desk.goto(f"{live_server.url}/jobs/sites/{site.pk}/jobs/new/")
    desk.get_by_label("Job", exact=True).fill("Osprey Lane, spring")
    desk.get_by_label("Starts on").fill(day)
    desk.get_by_role("button", name="Propose it").click()
    assert desk.locator(".plan-rows.steps .plan-row").count() == 2
    desk.get_by_role("button", name="Add a shift").click()
    desk.locator("input[name=shifts-0-day]").fill(day)
    desk.locator("input[name=shifts-0-starts]").fill("20:00")
    desk.locator("input[name=shifts-0-ends]").fill("04:00")
    desk.locator("select[name=shifts-0-machines]").select_option(label="Wide three")
    desk.get_by_role("button", name="Keep the job").last.click()
    desk.get_by_text("Version 1 is kept.").wait_for()
    assert desk.locator("h1").inner_text() == "Osprey Lane, spring: 0 of 2 steps done, 1 shift to come"
    plan = plan_of(Job.objects.get(name="Osprey Lane, spring"))
    assert plan is not None
    assert [step.passes for step in plan.steps.all()] == [7, 5]


def test_a_crew_lead_logs_passes_on_a_phone_until_the_floor_is_even(page: Any, sign_in: Any, live_server: Any) -> None:
    cast = make_cast()
    now = timezone.now()
    two = make_type("200", ladder_place=5, soak_need=SoakNeed.NONE)
    plan = make_planned(cast, first=now - hours(2), now=now - hours(50))
    shift = plan.shifts.all()[0]
    outing = outing_of_shift(plan.job, shift, now=now - hours(4))
    tool_set = make_set(cast, two, make_place(cast.branch), code="GL-200000", at=now - hours(90))
    write(cast, NewLine("scanned_out", tool_set, None, {"outing": outing, "gate": "passed"}), at=now - hours(3))
    phone = sign_in(cast.dag)
    phone.goto(f"{live_server.url}/jobs/mine/")
    phone.get_by_text("0 of 5 passes over the floor").wait_for()
    assert phone.evaluate("document.documentElement.scrollWidth") == 390
    phone.get_by_role("button", name="More: Passes").click()
    phone.get_by_role("textbox", name="Area of a pass").fill("10,763.91")
    phone.get_by_role("button", name="Log it").click()
    phone.get_by_text("2 of 5 passes over the floor").wait_for()
    assert SetState.objects.get(pk=tool_set.pk).worked_m2 == pytest.approx(2000, abs=0.01)
    phone.get_by_role("button", name="Undo").click()
    phone.get_by_text("0 of 5 passes over the floor").wait_for()
    phone.get_by_role("link", name="Step done").click()
    phone.get_by_label("Yes, because").fill("Ground last week")
    phone.get_by_role("button", name="The step is done without a pass").click()
    # The set needs no soak: nobody is asked whether it lies in water.
    assert phone.get_by_role("button", name="In water").count() == 0
    phone.get_by_role("button", name="In the van").click()
    phone.get_by_role("button", name="Close the shift").click()
    phone.get_by_text("Dag P. closed this shift").wait_for()
    assert set(ShiftEntry.objects.values_list("kind", flat=True)) == {"floor_even", "left", "closed"}


def test_the_morning_takes_two_taps(page: Any, sign_in: Any, live_server: Any) -> None:
    cast = make_cast()
    now = timezone.now()
    two = make_type("200", ladder_place=5, soak_need=SoakNeed.NONE)
    plan = make_planned(cast, first=now - hours(14), now=now - hours(50))
    outing = outing_of_shift(plan.job, plan.shifts.all()[0], now=now - hours(16))
    tool_set = make_set(cast, two, make_place(cast.branch), code="GL-200000", at=now - hours(90))
    write(cast, NewLine("scanned_out", tool_set, None, {"outing": outing, "gate": "passed"}), at=now - hours(15))
    phone = sign_in(cast.ines)
    phone.goto(f"{live_server.url}/jobs/day/?show=morning")
    assert phone.locator("h1").inner_text() == "2 answers missing from last night"
    phone.get_by_role("button", name="Take 53,820").click()
    phone.get_by_role("button", name="In water").click()
    phone.get_by_role("heading", name="Last night is complete. 1 on site in water.").wait_for()
    assert SetState.objects.get(pk=tool_set.pk).worked_m2 == pytest.approx(5000)
