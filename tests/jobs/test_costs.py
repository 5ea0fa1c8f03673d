"""Costs: life used times price by job, step and kind of floor, against plan and bid; only for who may see money."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory.models import Person, Price
from jobs.actions.plan import mark, save_plan
from jobs.actions.shift import WorkPart, log_work
from jobs.costs import JobCost, by_finish, by_floor, job_cost
from jobs.laddering import shop_ladder
from jobs.models import JobPlan, Standing
from jobs.numerics.ladder_facts import life_from_rating
from jobs.plan_draft import draft_of
from jobs.queries.plan import versions_of
from jobs.queries.shift import work_logged
from tests.cast import hours, make_place, make_set, make_supplier, who
from tests.jobs.plans import make_planned
from tests.jobs.test_laddering import make_shop

pytestmark = pytest.mark.django_db
URL = "/jobs/costs/"


@pytest.fixture
def shop() -> SimpleNamespace:
    """Every set costs 100; a job of 1,000 m2, hard and worn, 200 and 400 in five passes each, began yesterday."""
    cast, supplier = make_shop(), make_supplier()
    cast.now = timezone.now()
    for one in cast.types.values():
        Price.objects.create(
            tool_type=one, supplier=supplier, price=100, currency="USD", valid_from=(cast.now - hours(900)).date(),
            recorded_at=cast.now - hours(900),
        )  # fmt: skip
    cast.plan = make(cast, "Osprey Lane")
    return cast


def make(cast: SimpleNamespace, name: str) -> JobPlan:
    first = cast.now - hours(40)
    return make_planned(
        cast, name, site_name=name, machine=cast.machine, first=first, now=cast.now - hours(100),
        starts_on=(cast.now - timedelta(days=2)).date(),
    )  # fmt: skip


def log(cast: SimpleNamespace, plan: JobPlan, grit: str, area: float, passes: int) -> None:
    step = next(one for one in plan.steps.all() if one.tool_type.grit == grit)
    shift = next(one for one in plan.shifts.all() if one.key == step.shift_key)
    worked = make_set(cast, step.tool_type, make_place(cast.branch), at=cast.now - hours(90))
    at = shift.starts_at + hours(3)
    log_work(who(cast.dag, cast.device, at), plan.job, shift.key, step.key, [WorkPart(worked, area, passes)], now=at)


def cost_of(cast: SimpleNamespace, plan: JobPlan) -> JobCost:
    return job_cost(shop_ladder(cast.branch, cast.now.date()), versions_of(plan.job), work_logged(job=plan.job))


def client_of(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def words(answer: Any) -> str:
    return answer.content.decode().replace("\xa0", " ")


def test_life_used_times_price_is_the_sum_by_hand(shop: SimpleNamespace) -> None:
    log(shop, shop.plan, "200", 1000, 5)
    log(shop, shop.plan, "400", 1000, 4)

    cost = cost_of(shop, shop.plan)

    # Worked 5,000 and 4,000 m2 on hard concrete (factor .8) over the likely life of a new set, at 100 a set.
    lives = {step.grit: step.life_m2 or (0.0, 0.0, 0.0) for step in shop_ladder(shop.branch, shop.now.date()).steps}
    by_hand = {area * 0.8 / lives[grit][1] * 100 for grit, area in ((200, 5000), (400, 4000))}
    assert sorted(row.money or 0 for row in cost.rows) == pytest.approx(sorted(by_hand))
    assert cost.worn == pytest.approx(sum(by_hand))
    assert lives[400][1] == pytest.approx(life_from_rating(6000)[1], rel=0.05)  # rated 6,000 m2, hardly a record yet
    assert cost.complete


def test_twice_the_passes_are_over_the_plan_and_half_of_them_under_it(shop: SimpleNamespace) -> None:
    for passes, stands in ((12, "over"), (2, "under")):
        plan = make(shop, f"job of {passes}")
        log(shop, plan, "200", 1000, passes)
        log(shop, plan, "400", 1000, passes)
        assert cost_of(shop, plan).stands == ("over" if stands == "over" else "running")
        mark(shop.ines, plan.job, Standing.DONE, now=shop.now)
        assert cost_of(shop, plan).stands == stands


def test_a_plan_changed_after_work_began_does_not_move_what_it_is_measured_by(shop: SimpleNamespace) -> None:
    log(shop, shop.plan, "200", 1000, 5)
    before = cost_of(shop, shop.plan).planned
    draft = draft_of(versions_of(shop.plan.job)[0])
    more = tuple(replace(step, passes=10) for step in draft.steps)
    save_plan(shop.ines, shop.plan.job, replace(draft, steps=more), now=shop.now, sure=True)

    assert cost_of(shop, shop.plan).planned == before


def test_costs_by_finish_and_floor_count_ended_jobs_and_priced_work(shop: SimpleNamespace) -> None:
    log(shop, shop.plan, "200", 1000, 5)
    running = cost_of(shop, shop.plan)
    assert by_finish([running]) == []
    mark(shop.ines, shop.plan.job, Standing.DONE, now=shop.now)
    ended = cost_of(shop, shop.plan)

    (finish,), (floor,) = by_finish([ended]), by_floor([ended])
    assert (finish.key, finish.area_m2, finish.jobs) == ("2", 1000, 1)
    assert (floor.key, floor.area_m2) == ("hard|worn", 5000)
    assert finish.money == floor.money == pytest.approx(ended.worn)


def test_costs_open_for_who_sees_money_and_for_nobody_else(shop: SimpleNamespace) -> None:
    log(shop, shop.plan, "200", 1000, 5)
    assert Client().get(URL).status_code == 302
    for person in (shop.ines, shop.dag, shop.teo, shop.nils):
        assert client_of(person).get(URL).status_code == 403
    olga = client_of(shop.olga)
    assert olga.post(URL).status_code == 405
    page = words(olga.get(URL))
    assert "Osprey Lane" in page
    assert "so far" in page
    job = reverse("jobs:job", args=[shop.plan.job_id])
    assert "Tools worn so far: $" in words(olga.get(job))
    assert "$" not in words(client_of(shop.ines).get(job))


def test_costs_of_a_shop_without_work_say_so(shop: SimpleNamespace) -> None:
    page = words(client_of(shop.olga).get(URL, {"since": "ever"}))

    assert "No job has ended yet." in page


def test_costs_ask_as_many_queries_with_many_jobs_as_with_one(shop: SimpleNamespace) -> None:
    log(shop, shop.plan, "200", 1000, 5)
    counts = []
    for turn in range(2):
        with CaptureQueriesContext(connection) as seen:
            assert client_of(shop.olga).get(URL).status_code == 200
        counts.append(len(seen))
        for number in range(3):
            log(shop, make(shop, f"job {turn} {number}"), "200", 1000, 5)

    assert counts[0] == counts[1]
