"""A bid at its door: area and finish in, numbers out, money by right, a job's draft; the job's page."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.models import Person, Price
from inventory.models.choices import Bond
from inventory.units import to_si
from jobs.actions.bid import place_bid
from jobs.actions.site import SiteRefused, save_site, save_zone
from jobs.laddering import question_of, shop_ladder
from jobs.models import Job, Site, Zone
from jobs.numerics.ladder import plan_ladder
from jobs.numerics.ladder_totals import price_floor, zone_of_area
from jobs.queries.plan import plan_of
from tests.cast import NOW, TODAY, make_branch, make_cast, make_machine, make_person, make_supplier, make_type
from tests.jobs.plans import make_planned
from tests.jobs.test_laddering import RUNGS, make_shop

pytestmark = pytest.mark.django_db
URL = "/jobs/bid/"


@pytest.fixture
def shop() -> SimpleNamespace:
    """Eight rungs from metal 30 to resin 800, one machine they fit, every set at 100 of the shop's money."""
    cast, supplier = make_shop(), make_supplier()
    for one in cast.types.values():
        Price.objects.create(
            tool_type=one, supplier=supplier, price=100, currency="USD", valid_from=TODAY, recorded_at=NOW
        )
    return cast


def client_of(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def words(answer: Any) -> str:
    return answer.content.decode().replace("\xa0", " ")


def test_a_bid_opens_for_who_plans_and_for_nobody_else(shop: SimpleNamespace) -> None:
    assert Client().get(URL).status_code == 302
    for person in (shop.dag, shop.teo, shop.ruta, shop.nils):
        assert client_of(person).get(URL).status_code == 403
    ines = client_of(shop.ines)
    assert ines.get(URL).status_code == 200
    assert ines.put(URL).status_code == 405


def test_area_and_finish_alone_give_the_price_floor_the_numerics_give(shop: SimpleNamespace) -> None:
    answer = client_of(shop.olga).get(URL, {"area_m2": "10,000", "finish_level": "2"})

    ladder = shop_ladder(shop.branch, TODAY)
    question = question_of(ladder, [zone_of_area(to_si(10_000, "ft2"))], kind="full", finish_level=2)
    plan = plan_ladder(question, int(ladder.settings["dice"]))
    assert answer.context["ladder_plan"] == plan
    likely = price_floor(plan).tools.likely
    page = words(answer)
    assert f"Tools ${float(f'{likely:.3g}'):,.0f}" in page
    assert "learnt" not in page
    assert "common practice" in page  # where the passes come from
    assert "The share of a new set that is used up, times its price." in page
    assert "Nobody said how the floor looks" in page


def test_who_may_not_see_money_gets_the_plan_without_any(shop: SimpleNamespace) -> None:
    said = {"area_m2": "10,000", "finish_level": "2"}
    page = words(client_of(shop.ines).get(URL, said))

    assert "An hour" in page
    assert "$" not in page
    assert "Tools worn" not in page
    assert "Tools worn" in words(client_of(shop.olga).get(URL, said))


def test_the_plan_stands_with_its_cautions(shop: SimpleNamespace) -> None:
    page = words(client_of(shop.ines).get(URL, {"area_m2": "10,000", "finish_level": "2"}))

    # DESIGN 6: cautions stand where the work is.
    for topic in ("silica_dust", "slurry", "waste_water", "wet_floor", "battery", "lifting", "first"):
        assert f'data-topic="{topic}"' in page
    assert "local rules decide where it may go" in page
    assert "waterproof gloves against alkaline slurry" in page


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ({"area_m2": ""}, "This is needed: fill it in."),
        ({"area_m2": "0"}, "area"),
        ({"area_m2": "plenty"}, "plenty"),
        ({"area_m2": "1e300"}, "1e300"),
        ({"finish_level": "9"}, "Take one of the list."),
        ({"condition": "lovely"}, "Take one of the list."),
        ({"kind": "quick"}, "Take one of the list."),
        ({"edge_m": "-4"}, "-4"),
    ],
)
def test_a_bid_that_cannot_be_says_why_in_words(shop: SimpleNamespace, said: dict[str, str], sentence: str) -> None:
    answer = client_of(shop.ines).get(URL, {"area_m2": "10,000", "finish_level": "2"} | said)

    assert answer.status_code == 422
    assert sentence in words(answer)
    assert "ladder_plan" not in answer.context


def test_an_empty_shop_is_told_what_to_do_first() -> None:
    cast = make_cast()
    said = {"area_m2": "10,000", "finish_level": "2"}
    olga = client_of(cast.olga)

    assert "The shop has no tool type in use yet. Name the types it buys, coarse to fine." in words(olga.get(URL, said))
    make_type("200", Bond.RESIN, 5, soak_need="none")
    assert "No machine is on record yet: hours hang on its path and speed. Add one." in words(olga.get(URL, said))
    make_machine(cast.branch, name="Old one")
    page = words(olga.get(URL, said))
    assert "No path is on record of Old one: no hours can be worked out. Write the width of its path." in page
    assert reverse("inventory:machines") in page


def test_a_machine_nothing_fits_is_named_with_what_stands_in_the_way(shop: SimpleNamespace) -> None:
    shop.machine.mount, shop.machine.name = "3 pins", "Wide three"
    shop.machine.save()

    page = words(client_of(shop.ines).get(URL, {"area_m2": "10,000", "finish_level": "2"}))

    assert "No machine fits metal 70 (Wide three: mount 9 in. plate, the machine takes 3 pins)." in page


def test_a_ladder_with_a_hole_and_a_finish_below_the_start_are_refused_by_name(shop: SimpleNamespace) -> None:
    ines = client_of(shop.ines)
    for grit in ("100", "200"):
        shop.types["resin", grit].active = False
        shop.types["resin", grit].save()
    page = words(ines.get(URL, {"area_m2": "10,000", "finish_level": "2"}))
    assert "The ladder has a hole: resin 400 is 8 times finer than resin 50; below 6 is allowed." in page
    assert "Put a tool type between them." in page

    for (bond, _grit), one in shop.types.items():
        one.active = (bond, one.grit) in {("metal", "30"), ("resin", "200")}
        one.save()
    page = words(ines.get(URL, {"area_m2": "10,000", "finish_level": "1", "condition": "sound"}))
    assert "This finish ends at metal 30, coarser than the first step, resin 200." in page
    assert "Choose a higher finish, or choose the steps yourself." in page


def test_a_skipped_grit_is_warned_about(shop: SimpleNamespace) -> None:
    shop.types["resin", "100"].active = False
    shop.types["resin", "100"].save()

    page = words(client_of(shop.ines).get(URL, {"area_m2": "10,000", "finish_level": "2"}))

    assert "From 50 to 200 skips a grit: more than 2.5 times finer." in page


@pytest.mark.parametrize(("kind", "grits"), [("refresh", ["200", "400"]), ("upkeep", ["400"])])
def test_refresh_and_upkeep_take_their_own_steps(shop: SimpleNamespace, kind: str, grits: list[str]) -> None:
    answer = client_of(shop.ines).get(URL, {"area_m2": "10,000", "finish_level": "2", "kind": kind})

    assert [step["type"].grit for step in answer.context["ladder_steps"]] == grits


def test_a_bid_asks_as_many_queries_with_much_as_with_little(shop: SimpleNamespace) -> None:
    counts = []
    for _round in range(2):
        with CaptureQueriesContext(connection) as seen:
            client_of(shop.ines).get(URL, {"area_m2": "10,000", "finish_level": "2"})
        counts.append(len(seen))
        for number, (bond, grit, place) in enumerate(RUNGS):
            make_type(grit, Bond(bond), place, name=f"more {number}", soak_need="none")
            make_machine(shop.branch, path_m=1.0)
            save_site(shop.branch, name=f"Site {number}")

    assert counts[0] == counts[1]


def test_a_bid_becomes_a_jobs_draft_on_a_new_site(shop: SimpleNamespace) -> None:
    ines = client_of(shop.ines)
    said = {"area_m2": "10,000", "finish_level": "3", "condition": "sound", "hardness": "hard", "new_site": "Tollgate"}

    opened = ines.post(URL, said)
    assert opened.status_code == 302
    assert ines.post(URL, said).url == opened.url  # a second press
    (zone,) = Zone.objects.filter(site__name="Tollgate")
    assert (zone.condition, zone.hardness, round(zone.area_m2, 3)) == ("sound", "hard", round(to_si(10_000, "ft2"), 3))
    assert not Job.objects.exists()  # nothing is planned before it is kept

    form = ines.get(opened.url)
    assert form.status_code == 200
    assert form.context["form"]["finish_level"].value() == 3
    grits = {one.pk: one.grit for one in shop.types.values()}
    steps = form.context["tables"]["steps"]
    assert [grits[row["tool_type"].value()] for row in steps] == ["50", "100", "200", "400", "800"]
    shifts = form.context["tables"]["shifts"]
    assert shifts
    assert all(row["machines"].value() == [shop.machine.pk] for row in shifts)
    assert "Floor: A sound floor starts at the first resin step" in words(form)


def test_a_site_with_floors_keeps_them_whatever_the_bid_guessed(shop: SimpleNamespace) -> None:
    site = save_site(shop.branch, name="Tollgate")
    save_zone(site, name="Hall", area_m2=80, condition="heavy")
    opened = client_of(shop.ines).post(
        URL, {"area_m2": "10,000", "finish_level": "2", "site": str(site.pk)}, follow=True
    )

    assert [zone.name for zone in site.zones.all()] == ["Hall"]
    assert "Tollgate has floors of its own: the draft takes those." in words(opened)
    assert len(opened.context["tables"]["steps"]) == 7  # heavy: from metal 30


def test_a_bid_without_a_place_or_with_another_shops_site_makes_nothing(shop: SimpleNamespace) -> None:
    other = save_site(make_branch("Other"), name="Elsewhere")
    ines, said = client_of(shop.ines), {"area_m2": "10,000", "finish_level": "2"}

    answer = ines.post(URL, said)
    assert answer.status_code == 422
    assert "Choose a site or type the name of a new one." in words(answer)
    assert ines.post(URL, said | {"site": str(other.pk)}).status_code in (200, 422)
    assert not Zone.objects.exists()
    assert Site.objects.count() == 1
    with pytest.raises(SiteRefused):
        place_bid(
            shop.branch, site=None, new_site=" ", area_m2=100, hardness="hard", surface="raw", coating="none",
            condition="unknown",
        )  # fmt: skip


def test_the_plans_proposal_is_refused_whole_where_no_machine_fits(shop: SimpleNamespace) -> None:
    shop.machine.mount = "3 pins"
    shop.machine.save()
    site = save_site(shop.branch, name="Tollgate")
    save_zone(site, name="Hall", area_m2=800)

    opened = client_of(shop.ines).get(reverse("jobs:job_new", args=[site.pk]), {"propose": "1", "finish_level": "2"})

    assert opened.status_code == 200
    assert "the machine takes 3 pins" in words(opened)
    assert opened.context["tables"]["steps"] == []


def test_a_jobs_page_says_what_its_own_plan_takes(shop: SimpleNamespace) -> None:
    plan = plan_of(make_planned(shop, machine=shop.machine).job)
    assert plan is not None
    url = reverse("jobs:job", args=[plan.job_id])

    answer = client_of(shop.olga).get(url)
    assert [step["type"].grit for step in answer.context["ladder_steps"]] == ["200", "400"]
    assert answer.context["ladder_plan"].steps[0].zones[0].planned_passes == 5
    assert "It likely takes" in words(answer)
    assert "tools $" in words(answer)
    assert "$" not in words(client_of(shop.ines).get(url))
    assert "$" not in words(client_of(shop.dag).get(url))

    shop.machine.path_m = None
    shop.machine.save()
    assert "No path is on record of" in words(client_of(shop.ines).get(url))


def test_somebody_who_may_only_see_money_does_not_bid(shop: SimpleNamespace) -> None:
    assert client_of(make_person(shop.branch, "eva", "Eva", "purchaser")).get(URL).status_code == 403
