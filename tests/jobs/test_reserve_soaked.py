"""The soak page proposes only a set that finishes the step, and one tap reserves it and puts it in water."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.ledger import NewLine
from inventory.models import Entry, SetState
from jobs.models import PlanStep, Reservation
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, uuid, write
from tests.jobs.plans import make_planned

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clock_at_now")]
FIRST = NOW + hours(80)


def make_shop(rated: float = 30_000.0, first: Any = FIRST) -> SimpleNamespace:
    """Osprey Lane in 80 h asks for 200 (needs no water here) and 400, 4,000 m2 of reference area; two dry 400s."""
    cast = make_cast()
    cast.rack, cast.tub = make_place(cast.branch, name="Rack A"), make_place(cast.branch, "tub", "Tub 1", room_sets=8)
    make_type("200", ladder_place=5, soak_need="none")
    cast.resin = make_type("400", rated_coverage_m2=rated)
    cast.plan = make_planned(cast, first=first - hours(24), starts_on=first.date())
    cast.sets = [make_set(cast, cast.resin, cast.rack, at=NOW - hours(300), code=f"GL-{n}") for n in (1, 2)]
    return cast


def open_line(client: Client, shop: SimpleNamespace, person: Any = None) -> Any:
    client.force_login(person or shop.ines)
    lines = client.get(reverse("inventory:soak")).context["open_steps"]
    return next(line for line in lines if line["grit"] == "400")


def test_one_tap_reserves_it_and_puts_it_in_water(client: Client) -> None:
    shop = make_shop()
    put = open_line(client, shop)["put"]
    assert put["label"] in ("Reserve GL-1 and put it in Tub 1", "Reserve GL-2 and put it in Tub 1")
    page = client.post(put["url"], put["hidden"], follow=True)
    (row,) = Reservation.objects.filter(ended_at__isnull=True)
    assert str(row.tool_set_id) == put["hidden"]["set"]
    assert SetState.objects.get(pk=row.tool_set_id).soaking is True
    assert "is meant for resin 400, Osprey Lane, and is in Tub 1." in page.content.decode()
    assert not [line for line in page.context["open_steps"] if line["grit"] == "400"]


def test_a_set_short_of_the_step_is_not_proposed(client: Client) -> None:
    shop = make_shop(rated=2_000.0)
    line = open_line(client, shop)
    assert line["none"] == "None of the free dry sets of it would finish the step alone."
    # No set is named: the one press leads to where a person chooses.
    assert (line["put"]["label"], line["put"]["method"]) == ("Choose a set", "get")


def test_of_those_that_finish_it_the_one_with_the_least_life_is_named(client: Client) -> None:
    shop = make_shop()
    work = {
        "floor_uuid": shop.plan.zones.all()[0].zone_id, "visit_uuid": shop.plan.job_id,
        "step_key": uuid(77), "area_m2": 5_000, "passes": 1,
        "hardness": "medium", "surface": "worn", "coating": "none", "wet_dry": "wet", "step_kind": "later",
        "basis": "measured",
    }  # fmt: skip
    write(shop, NewLine("worked", shop.sets[1], None, work), at=NOW - hours(200))
    assert open_line(client, shop)["put"]["hidden"]["set"] == str(shop.sets[1].pk)


def test_long_before_it_is_needed_it_is_reserved_and_the_time_for_water_said(client: Client) -> None:
    shop = make_shop(first=NOW + hours(240))
    put = open_line(client, shop)["put"]
    assert put["label"] in ("Reserve GL-1", "Reserve GL-2")
    assert put["detail"].startswith("in water only by ")
    client.post(put["url"], put["hidden"])
    assert Reservation.objects.count() == 1
    assert not Entry.objects.filter(kind="soak_begun").exists()


def test_a_full_tub_leaves_both_undone(client: Client) -> None:
    shop = make_shop()
    put = open_line(client, shop)["put"]
    shop.tub.room_sets = 0
    shop.tub.save()
    page = client.post(put["url"], put["hidden"], follow=True)
    assert "Tub 1" in page.content.decode()
    assert not Reservation.objects.exists()


def test_whoever_does_not_plan_is_not_offered_it_and_may_not(client: Client) -> None:
    shop = make_shop()
    put = open_line(client, shop)["put"]
    assert open_line(client, shop, shop.dag)["put"] is None
    assert client.post(put["url"], put["hidden"]).status_code == 403
    client.logout()
    assert client.post(put["url"], put["hidden"]).status_code == 302
    client.force_login(shop.ines)
    assert client.get(put["url"]).status_code == 405
    step = PlanStep.objects.get(plan=shop.plan, tool_type__grit="400")
    gone = reverse("jobs:reserve_soaked", args=[shop.plan.job_id, shop.plan.shifts.all()[1].key, step.key])
    assert client.post(gone, {"set": "not a set"}).status_code == 404
    assert not Reservation.objects.exists()
