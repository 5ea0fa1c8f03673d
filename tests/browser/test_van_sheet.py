"""In a real browser: a van sheet is typed in on a phone and taken back; a calendar address is made and revoked."""

from __future__ import annotations

from typing import Any

import pytest
from django.utils import timezone

from inventory.actions.ledger import NewLine
from inventory.models import Entry, SetState
from inventory.models.choices import SoakNeed
from jobs.actions.shift import outing_of_shift
from jobs.models import CalendarAddress, ShiftEntry, Zone
from jobs.queries.shift import work_logged
from tests.cast import hours, make_cast, make_place, make_set, make_type, write
from tests.jobs.plans import make_planned

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_van_sheet_is_typed_in_on_a_phone_and_taken_back(page: Any, sign_in: Any, live_server: Any) -> None:
    cast = make_cast()
    now = timezone.now()
    two = make_type("200", ladder_place=5, soak_need=SoakNeed.NONE)
    make_type("400", ladder_place=6, soak_need=SoakNeed.NONE)
    plan = make_planned(cast, first=now - hours(12), now=now - hours(50))
    Zone.objects.update(section_m2=400.0)
    shift = plan.shifts.all()[0]
    outing = outing_of_shift(plan.job, shift, now=now - hours(14))
    tool_set = make_set(cast, two, make_place(cast.branch), code="GL-200000", at=now - hours(90))
    write(cast, NewLine("scanned_out", tool_set, None, {"outing": outing, "gate": "passed"}), at=now - hours(13))
    page.set_viewport_size({"width": 390, "height": 844})
    phone = sign_in(cast.ines)
    phone.goto(f"{live_server.url}/V/{shift.key.hex.upper()}")
    assert phone.locator("h1").inner_text() == "What does the van sheet say?"
    assert phone.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert phone.get_by_label("Signed by").locator("option:checked").inner_text() == "Dag P."
    boxes = phone.locator(".paper .boxes input")
    assert boxes.count() == 3
    for number, passes in enumerate(("5", "5", "x"), start=0):
        boxes.nth(number).evaluate("box => { box.type = 'text'; }")
        boxes.nth(number).fill(passes)
    phone.get_by_label("Floor looks even").check()
    phone.get_by_role("button", name="Keep the sheet").click()
    phone.get_by_text("1 row to mend. Nothing is kept yet.").wait_for()
    assert Entry.objects.filter(kind="worked").count() == 0
    assert phone.evaluate("document.activeElement.className") == "refusals"
    phone.locator(".paper .boxes input").nth(2).fill("4")
    phone.get_by_label("Left").select_option(label="in water")
    phone.get_by_role("button", name="Keep the sheet").click()
    phone.get_by_text("The sheet is kept").wait_for()
    assert [line.entry.passes for line in work_logged(job=plan.job)] == [5, 4]
    assert SetState.objects.get(pk=tool_set.pk).facts["left_how"] == "in_water"
    phone.get_by_role("button", name="Undo").click()
    phone.get_by_text("Undone.").wait_for()
    assert work_logged(job=plan.job) == []
    assert ShiftEntry.objects.filter(kind="voided").count() == 2


def test_a_calendar_address_is_made_shown_once_and_revoked(page: Any, sign_in: Any, live_server: Any) -> None:
    cast = make_cast()
    desk = sign_in(cast.dag)
    desk.goto(f"{live_server.url}/jobs/calendar/")
    desk.get_by_role("button", name="Make the address").click()
    address = desk.get_by_label("Copy it now: it is shown this once").input_value()
    answer = desk.request.get(address)
    assert (answer.status, answer.headers["content-type"]) == (200, "text/calendar; charset=utf-8")
    desk.get_by_role("button", name="Revoke it").click()
    desk.get_by_text("Revoked. Whoever has the old address gets nothing more.").wait_for()
    assert desk.request.get(address).status == 404
    assert CalendarAddress.objects.filter(revoked_at__isnull=True).count() == 0
