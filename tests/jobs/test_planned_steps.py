"""What coming shifts ask of tool types, and which sets tonight's page names: what `jobs` tells the advice of a set."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory import hooks
from jobs.actions.reservation import reserve
from jobs.models import PlanStep, Standing
from jobs.queries.named_tonight import named_tonight
from jobs.queries.planned_steps import planned_steps
from jobs.queries.tonight import leaving_tonight
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type
from tests.jobs.plans import make_planned

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clock_at_now")]


@pytest.fixture
def shop() -> SimpleNamespace:
    """Osprey Lane in two nights and three: 200 in the first, 400 in the second, five passes of 1,000 m2 hard floor."""
    cast = make_cast()
    cast.rack = make_place(cast.branch, name="Rack A")
    cast.plan = make_planned(cast, first=NOW + hours(34), starts_on=(NOW + hours(34)).date())
    cast.four, cast.two = make_type("400"), make_type("200")
    return cast


def test_the_steps_of_coming_shifts_are_said_with_area_times_and_the_sets_meant(shop: SimpleNamespace) -> None:
    tool_set = make_set(shop, shop.four, shop.rack, at=NOW - hours(99))
    step = PlanStep.objects.get(plan=shop.plan, tool_type=shop.four)
    reserve(shop.ines, shop.plan.job, step.key, tool_set, now=NOW)
    first, second = planned_steps(shop.branch, NOW, [shop.four.pk, shop.two.pk])
    assert (first.tool_type_id, first.words, first.sets) == (shop.two.pk, "Osprey Lane, Thu 15 May", ())
    assert (second.tool_type_id, second.words, second.sets) == (shop.four.pk, "Osprey Lane, Fri 16 May", (tool_set.pk,))
    # Five passes of 1,000 m2; the factor of a hard floor, a later step, wet, is the shop's own .8.
    assert second.factor == pytest.approx(0.8)
    assert second.reference_m2 == pytest.approx(5 * 1000 * 0.8)
    assert (first.leaves_at, first.starts_at) == (NOW + hours(32), NOW + hours(34))
    assert second.url.endswith(f"{shop.plan.job_id}/")
    assert [one.tonight for one in (first, second)] == [False, False]


def test_other_types_shifts_long_past_or_far_ahead_and_no_plan_are_left_out(shop: SimpleNamespace) -> None:
    assert [one.tool_type_id for one in planned_steps(shop.branch, NOW, [shop.two.pk])] == [shop.two.pk]
    assert planned_steps(shop.branch, NOW, [make_type("800", ladder_place=7).pk]) == []
    assert planned_steps(shop.branch, NOW, []) == []
    assert planned_steps(shop.branch, NOW + hours(24 * 5), [shop.two.pk]) == []
    assert planned_steps(shop.branch, NOW - hours(24 * 90), [shop.two.pk]) == []


def test_a_step_of_tonight_is_marked_a_bid_of_tonight_is_not(shop: SimpleNamespace) -> None:
    make_planned(shop, "Last night", site_name="Pell Road")  # its second night, 400, is tonight
    make_planned(shop, "A bid", site_name="Quay", standing=Standing.BID, award_chance=0.5)
    found = {one.words.split(",")[0]: one.tonight for one in planned_steps(shop.branch, NOW, [shop.four.pk])}
    assert found == {"Last night": True, "A bid": False, "Osprey Lane": False}


def test_many_jobs_cost_no_more_queries_than_one(shop: SimpleNamespace) -> None:
    with CaptureQueriesContext(connection) as few:
        planned_steps(shop.branch, NOW, [shop.four.pk, shop.two.pk])
    for number in range(4):
        near = NOW + hours(40 + number)
        make_planned(shop, f"Job {number}", site_name=f"Site {number}", first=near, starts_on=near.date())
    with CaptureQueriesContext(connection) as many:
        assert len(planned_steps(shop.branch, NOW, [shop.four.pk, shop.two.pk])) == 10
    assert len(few) == len(many)


def test_inventory_hears_of_them_through_its_hooks(shop: SimpleNamespace) -> None:
    assert hooks.planned_steps(shop.branch, NOW, [shop.two.pk]) == planned_steps(shop.branch, NOW, [shop.two.pk])
    assert hooks.named_tonight(shop.branch, NOW) == {}


def test_tonights_page_names_the_set_that_goes_and_the_one_it_offers(shop: SimpleNamespace) -> None:
    """The set reserved for tonight is dry; nothing is offered for it but what is ready and enough."""
    shop.four.soak_need, shop.four.rated_coverage_m2 = "none", 30_000.0
    shop.four.save()
    make_planned(shop, "Last night", site_name="Pell Road")
    goes, spare = (make_set(shop, shop.four, shop.rack, at=NOW - hours(99)) for _number in range(2))
    (leaving,) = leaving_tonight(shop.branch, NOW)
    (cell,) = leaving.cells
    named = named_tonight(shop.branch, NOW)
    assert cell.state is not None
    assert {pk: (one.words, one.url, one.offered) for pk, one in named.items()} == {
        cell.state.pk: ("Last night", "/jobs/day/", False)
    }
    assert cell.state.pk in (goes.pk, spare.pk)


def test_a_set_offered_instead_of_one_in_trouble_is_named_as_offered(shop: SimpleNamespace) -> None:
    shop.four.soak_need, shop.four.rated_coverage_m2 = "none", 30_000.0
    shop.four.save()
    plan = make_planned(shop, "Last night", site_name="Pell Road")
    lost, spare = (make_set(shop, shop.four, shop.rack, at=NOW - hours(99)) for _number in range(2))
    reserve(shop.ines, plan.job, PlanStep.objects.get(plan=plan, tool_type=shop.four).key, lost, now=NOW)
    state = lost.state
    state.face = "glazed"
    state.save()
    named = named_tonight(shop.branch, NOW)
    assert {pk: one.offered for pk, one in named.items()} == {lost.pk: False, spare.pk: True}
