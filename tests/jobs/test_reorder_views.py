"""The reorder page: who may open it, what it says, that money stays with those who may see it, and what it costs."""

from __future__ import annotations

import csv
import io
import re
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import openpyxl
import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory.actions.purchasing import Wanted, place_order
from inventory.models import Supplier, SupplierWord, ToolType
from jobs.actions.forecast import kept_forecast
from jobs.actions.plan import make_job
from jobs.models import ForecastRun, Standing
from jobs.plan_draft import PlanDraft
from tests.cast import TODAY, make_cast, make_place, make_set, make_type
from tests.jobs.plans import make_hall
from tests.jobs.test_forecast import plan, sell

pytestmark = pytest.mark.django_db
PAGES = ["jobs:reorder", "jobs:reorder_csv", "jobs:reorder_xlsx"]


def shop(types: int = 1) -> SimpleNamespace:
    """A shop with an empty rack and a job of the coming weeks that asks for each type (days are the clock's)."""
    cast = make_cast()
    cast.types = [make_type(f"{100 * number}", ladder_place=number) for number in range(1, types + 1)]
    ahead = (timezone.now().date() - TODAY).days
    for number, tool_type in enumerate(cast.types):
        sell(tool_type, days=5)
        plan(cast, f"Osprey Lane {number}", tool_type, starts_in=ahead + 12 + number, confirmed=True)
    return cast


def signed_in(person: Any) -> Client:
    client = Client()
    client.force_login(person)
    return client


@pytest.mark.parametrize("page", PAGES)
def test_whoever_is_not_signed_in_is_asked_to(client: Client, page: str) -> None:
    make_cast()
    answer = client.get(reverse(page))

    assert answer.status_code == 302
    assert reverse("inventory:sign_in") in answer["Location"]


@pytest.mark.parametrize("page", PAGES)
def test_only_who_buys_plans_or_runs_the_shop_comes_in(page: str) -> None:
    cast = make_cast()
    for name, status in {"ruta": 200, "ines": 200, "olga": 200, "dag": 403, "teo": 403, "nils": 403}.items():
        assert signed_in(getattr(cast, name)).get(reverse(page)).status_code == status


@pytest.mark.parametrize("page", PAGES)
def test_a_page_is_only_read(page: str) -> None:
    assert signed_in(make_cast().ruta).post(reverse(page)).status_code == 405


def test_working_it_out_again_is_posted_and_keeps_the_certainty() -> None:
    cast = make_cast()
    client = signed_in(cast.ruta)
    assert client.get(reverse("jobs:reorder_again")).status_code == 405
    assert signed_in(cast.dag).post(reverse("jobs:reorder_again")).status_code == 403

    answer = client.post(reverse("jobs:reorder_again") + "?sure=98")

    assert (answer.status_code, answer["Location"]) == (302, reverse("jobs:reorder") + "?sure=98")
    assert ForecastRun.objects.get().certainty == 0.98


def test_the_headline_is_the_answer_and_the_button_fills_an_order() -> None:
    cast = shop()
    body = signed_in(cast.ruta).get(reverse("jobs:reorder")).content.decode()
    one = kept_forecast(cast.branch, now=timezone.now()).forecast.types[0]

    assert f"Order {one.sets} sets" in body
    assert f"${310 * (one.sets or 0):,}" in body
    assert "Osprey Lane 0" in body
    assert f"{reverse('inventory:order_new')}?supplier={one.lead.supplier_id if one.lead else ''}&amp;line=" in body
    assert 'role="img"' in body
    assert "Numbers as a table" in body
    assert "its word is 5" in body


def test_money_and_buying_stay_with_those_who_may() -> None:
    cast = shop()
    body = signed_in(cast.ines).get(reverse("jobs:reorder")).content.decode()

    assert "$" not in body
    assert "310.00" not in body
    assert "Money" not in body
    assert reverse("inventory:order_new") not in body


def test_the_file_says_the_same_and_holds_money_only_for_those_who_may() -> None:
    cast = shop()
    ToolType.objects.update(name="=SUM(A1)")
    with_money = signed_in(cast.ruta).get(reverse("jobs:reorder_csv")).content.decode("utf-8-sig")
    without = signed_in(cast.ines).get(reverse("jobs:reorder_csv")).content.decode("utf-8-sig")
    headings, row = list(csv.reader(io.StringIO(with_money)))

    assert headings[-3:] == ["Price of a set", "Cost", "Currency"]
    assert row[0] == "'=SUM(A1)"
    assert "310" in row[-3]
    assert "Cost" not in without
    assert "310" not in without
    assert "USD" not in without


def test_the_workbook_holds_days_as_days_and_no_money_without_the_right() -> None:
    cast = shop()
    data = signed_in(cast.ines).get(reverse("jobs:reorder_xlsx")).content
    sheet = openpyxl.load_workbook(io.BytesIO(data)).active
    assert sheet is not None
    headings, row = list(sheet.iter_rows(values_only=True))

    assert headings[1] == "Order by"
    assert hasattr(row[1], "year")
    assert "Cost" not in headings


def test_an_empty_shop_says_what_to_do_first() -> None:
    body = signed_in(make_cast().ruta).get(reverse("jobs:reorder")).content.decode()

    assert "No tool types to reckon with yet" in body
    assert "No planned jobs and no work on record: plan a job, and the need shows here." in body


@pytest.mark.parametrize("query", ["?sure=abc", "?sure=101", "?type=999999", "?type=x", "?sure=80&type=-1"])
def test_an_address_that_makes_no_sense_gives_the_usual_page(query: str) -> None:
    cast = shop()

    assert signed_in(cast.ruta).get(reverse("jobs:reorder") + query).status_code == 200


def test_every_certainty_one_can_choose_has_an_answer_and_more_asks_for_more() -> None:
    cast = shop()
    client = signed_in(cast.ruta)
    sets = []
    for sure in (80, 90, 95, 98):
        assert client.get(reverse("jobs:reorder") + f"?sure={sure}").status_code == 200
        one = kept_forecast(cast.branch, now=timezone.now(), certainty=sure / 100).forecast.types[0]
        sets.append((one.sets or 0, one.order_by))

    assert ForecastRun.objects.count() == 4
    assert [count for count, _day in sets] == sorted(count for count, _day in sets)
    assert sets[-1][1] is not None
    assert sets[0][1] is not None
    assert sets[-1][1] <= sets[0][1]


@pytest.mark.parametrize("many", [1, 6])
def test_a_kept_forecast_costs_the_same_questions_however_many_types_and_sets(
    many: int, django_assert_num_queries: Any
) -> None:
    cast = shop(types=many)
    rack = make_place(cast.branch)
    for tool_type in cast.types:
        for _ in range(many):
            make_set(cast, tool_type, rack)
    client = signed_in(cast.ruta)
    client.get(reverse("jobs:reorder"))

    # Session, person, rights; settings, the kept run, what is on record; types, ladder.
    with django_assert_num_queries(8):
        client.get(reverse("jobs:reorder"))


def test_work_an_order_cannot_reach_stands_first_and_nothing_is_ordered_for_it() -> None:
    # Finding of a fresh owner: two sets were advised for a job that ends before they can arrive, "then sure over 99 %".
    cast = make_cast()
    tool_type = make_type("30", ladder_place=1)
    sell(tool_type, days=10)
    ahead = (timezone.now().date() - TODAY).days
    plan(cast, "Osprey Lane", tool_type, starts_in=ahead + 2, confirmed=True)
    answer = signed_in(cast.ruta).get(reverse("jobs:reorder"))
    body = answer.content.decode()
    rush = answer.context["late"][0]["one"].rush

    assert rush >= 2
    assert "Resin 30: near certainty (over 99 %) of running short before an order can come</h1>" in body
    assert f"before an order could be here. What helps: rush {rush} sets, move Osprey Lane, or borrow." in body
    assert "Then sure" not in body
    # The only order there is to place is the rush.
    assert body.count(reverse("inventory:order_new")) == 1
    assert f"line={tool_type.pk}%3A{rush}" in body
    assert f">Rush {rush} sets</a>" in body
    assert [row["one"].state for row in answer.context["late"]] == ["late"]
    rows = list(csv.reader(io.StringIO(signed_in(cast.ruta).get(reverse("jobs:reorder_csv")).content.decode("utf-8"))))
    told = dict(zip(rows[0], rows[1], strict=True))
    told_chance = round(kept_forecast(cast.branch, now=timezone.now()).forecast.types[0].early_chance, 3)
    assert (told["Sets"], float(told["Short before an order can come, chance"])) == ("0", told_chance)


def test_jobs_without_steps_are_said() -> None:
    cast = shop()
    ahead = (timezone.now().date() - TODAY).days
    for name in ("Kestrel Yard", "Plover Court"):
        site = make_hall(cast, f"{name} site", 500.0).site
        make_job(
            cast.ines, cast.branch, site, name,
            PlanDraft(starts_on=TODAY + timedelta(days=ahead), standing=Standing.WON), now=timezone.now(), sure=True,
        )  # fmt: skip

    body = signed_in(cast.ruta).get(reverse("jobs:reorder")).content.decode()

    assert "2 jobs have no steps yet and ask for nothing here: Kestrel Yard, Plover Court." in body


def test_a_stale_page_orders_nothing_and_offers_to_work_it_out_again_on_top() -> None:
    # Finding of a fresh tester: after the order for three sets was kept, the page still offered to order three.
    cast = shop()
    client = signed_in(cast.ruta)
    assert reverse("inventory:order_new") in client.get(reverse("jobs:reorder")).content.decode()
    ForecastRun.objects.update(took_ms=60_000, seen="0")  # dear to make, and older than what is on record

    body = client.get(reverse("jobs:reorder")).content.decode()

    assert reverse("inventory:order_new") not in body
    assert body.index(">Work it out again</button>") < body.index("<table")
    assert body.count(">Work it out again</button>") == 1
    assert 'data-busy="Working it out…"' in body


def test_an_order_just_kept_is_counted_on_the_next_look() -> None:
    cast = shop()
    client = signed_in(cast.ruta)
    client.get(reverse("jobs:reorder"))
    one = kept_forecast(cast.branch, now=timezone.now()).forecast.types[0]
    today, supplier = timezone.now().date(), Supplier.objects.get()
    wanted = [Wanted(cast.types[0], (one.sets or 0) + one.rush)]
    place_order(cast.ruta, cast.branch, supplier, wanted, on_day=today, now=timezone.now())

    answer = client.get(reverse("jobs:reorder"))

    assert answer.context["fresh"]
    assert answer.context["made"].types[0].on_order == (one.sets or 0) + one.rush
    assert answer.context["due"] == []


def test_a_line_below_the_suppliers_smallest_order_is_ordered_with_its_group() -> None:
    # Finding of a fresh user: the smallest order is two sets, and a button said "Order 1 set".
    cast = make_cast()
    types = [make_type(f"{100 * number}", ladder_place=number) for number in (1, 2)]
    ahead = (timezone.now().date() - TODAY).days
    for tool_type in types:
        supplier = sell(tool_type, days=5)
        plan(cast, f"Job {tool_type.grit}", tool_type, starts_in=ahead + 30, passes=2, confirmed=True)
    SupplierWord.objects.create(
        supplier=supplier, lead_working_days=5, minimum_sets=2, valid_from=TODAY, recorded_at=timezone.now()
    )

    rows = signed_in(cast.ruta).get(reverse("jobs:reorder")).context["rows"]

    assert [row["one"].sets for row in rows] == [1, 1]
    assert {row["order_words"] for row in rows} == {
        "Order 2 sets, with resin 100", "Order 2 sets, with resin 200",
    }  # fmt: skip
    assert all(f"line={tool_type.pk}%3A1" in row["order_url"] for row in rows for tool_type in types)


def test_the_command_works_it_out_for_the_page(capsys: pytest.CaptureFixture[str]) -> None:
    cast = shop()
    call_command("forecast")
    said = capsys.readouterr().out

    assert re.match(
        r"Millrace shop: Resin 100: \w+ chance \(\d+ %\) of running short before an order can come. Order ", said
    )
    assert "$" not in said
    assert ForecastRun.objects.get().branch == cast.branch
    assert kept_forecast(cast.branch, now=timezone.now() + timedelta(seconds=1)).fresh
