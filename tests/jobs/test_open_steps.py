"""Which steps of coming shifts have no set: what `jobs` tells the soak page."""

from __future__ import annotations

from types import SimpleNamespace
from unittest import mock

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.actions.custody import scan_out
from jobs.actions.reservation import let_go, reserve
from jobs.models import PlanStep, ShiftOuting, Standing
from jobs.queries.open_steps import open_steps
from tests.cast import NOW, hours, make_cast, make_outing, make_place, make_set, make_type, who
from tests.jobs.plans import make_planned

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clock_at_now")]


@pytest.fixture
def shop() -> SimpleNamespace:
    """Osprey Lane on Thursday and Friday evening: 200 in the first night, 400 in the second."""
    cast = make_cast()
    cast.rack = make_place(cast.branch, name="Rack A")
    cast.plan = make_planned(cast, first=NOW + hours(34), starts_on=(NOW + hours(34)).date())
    return cast


def asked(shop: SimpleNamespace) -> list[tuple[int, str]]:
    return [(one.tool_type_id, one.words) for one in open_steps(shop.branch, NOW)]


def test_each_step_of_a_coming_night_without_a_set_is_named(shop: SimpleNamespace) -> None:
    assert asked(shop) == [
        (make_type("200").pk, "Osprey Lane, Thu 15 May 19:50"),
        (make_type("400").pk, "Osprey Lane, Fri 16 May 19:50"),
    ]
    first = open_steps(shop.branch, NOW)[0]
    # Its sets leave the loading time, two hours, before the shift.
    assert first.leaves_at == NOW + hours(32)
    assert first.url.endswith(f"{shop.plan.job_id}/")


def test_a_reserved_step_is_not_named_and_one_let_go_is_again(shop: SimpleNamespace) -> None:
    resin = make_set(shop, make_type("200"), shop.rack, at=NOW - hours(99))
    step = PlanStep.objects.get(plan=shop.plan, tool_type__grit="200")
    held = reserve(shop.ines, shop.plan.job, step.key, resin, now=NOW)
    assert [words for _type, words in asked(shop)] == ["Osprey Lane, Fri 16 May 19:50"]
    let_go(held, now=NOW)
    assert len(asked(shop)) == 2


def test_a_type_that_is_out_with_the_shift_is_not_named(shop: SimpleNamespace) -> None:
    resin = make_type("200")
    outing = make_outing(shop.branch, leaves_at=NOW + hours(32), due_at=None)
    shift = shop.plan.shifts.order_by("starts_at").first()
    ShiftOuting.objects.create(shift_uuid=shift.key, job=shop.plan.job, outing=outing)
    tool_set = make_set(shop, resin, shop.rack, at=NOW - hours(99))
    by = who(shop.ines, shop.device, NOW)
    scan_out(by, shop.branch, tool_set, outing, now=NOW, override_why="soaks on site")
    assert [words for _type, words in asked(shop)] == ["Osprey Lane, Fri 16 May 19:50"]


def test_shifts_past_or_far_ahead_and_bids_ask_for_nothing(shop: SimpleNamespace) -> None:
    make_planned(shop, "Last night", site_name="Pell Road")
    far = NOW + hours(24 * 20)
    make_planned(shop, "Far ahead", site_name="Weir Street", first=far, starts_on=far.date())
    near = NOW + hours(40)
    make_planned(
        shop, "A bid", site_name="Quay", first=near, starts_on=near.date(), standing=Standing.BID, award_chance=0.5
    )
    # Of "Last night" the first night is over and the second is tonight.
    assert [words for _type, words in asked(shop)] == [
        "Last night, tonight 20:02",
        "Osprey Lane, Thu 15 May 19:50",
        "Osprey Lane, Fri 16 May 19:50",
    ]


def test_many_jobs_cost_no_more_queries_than_one(shop: SimpleNamespace) -> None:
    with CaptureQueriesContext(connection) as few:
        open_steps(shop.branch, NOW)
    for number in range(6):
        first = NOW + hours(50 + number)
        make_planned(shop, f"Job {number}", site_name=f"Site {number}", first=first, starts_on=first.date())
    with CaptureQueriesContext(connection) as many:
        assert len(open_steps(shop.branch, NOW)) == 14
    assert len(many) == len(few)


def test_a_van_that_should_have_left_is_named_until_its_night_ends_or_is_closed(shop: SimpleNamespace) -> None:
    """Sets leave two hours before the start: at the start, and in the night, the step still has none."""
    night = shop.plan.shifts.order_by("starts_at").first()
    for at in (night.starts_at - hours(1), night.ends_at - hours(1)):
        first = open_steps(shop.branch, at)[0]
        assert (first.tool_type_id, first.leaves_at < at) == (make_type("200").pk, True)
        assert first.choose_url.endswith("/sets/")
    with mock.patch("jobs.queries.open_steps.closed_shifts", return_value={night.key}):
        assert make_type("200").pk not in {one.tool_type_id for one in open_steps(shop.branch, night.starts_at)}
    assert make_type("200").pk not in {one.tool_type_id for one in open_steps(shop.branch, night.ends_at)}
