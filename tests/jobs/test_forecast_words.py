"""The reorder headline and its dates in words, the day within 15 days and beyond it the week (METHODS 5.2)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import translation

from jobs.forecast_result import Forecast, Gap, JobBehind, TypeForecast, WeekNeed
from jobs.forecast_words import (
    arrives_words,
    because,
    by_weight,
    gap_words,
    headline,
    late_words,
    order_by_words,
    shown_jobs,
    spread_words,
)
from jobs.reorder_chart import sentence
from tests.cast import NOW, TODAY, uuid

WEEK = WeekNeed(TODAY, 0, 0, 0, 0, 0, 0, 0, 0)
NO_ORDER = TypeForecast(
    tool_type_id=1, name="resin 400", fresh=3, part_worn=0, aside=0, missing=0, on_order=0, life_here_m2=(1, 2, 3),
    life_after_m2=(1, 2, 3), new_life_m2=(1, 2, 3), worn_out=0, weeks=(WEEK,) * 26, short_on=None, short_chance=0.0,
    order_by=None, passed=False, sets=0, sure=1.0, arrives_on=None, price=Decimal(310), cost=None, currency="USD",
    lead=None, arrivals=(), behind=(), gaps=(), early_on=None, early_chance=0.0, early_jobs=(),
)  # fmt: skip


def due(day: date, sets: int = 4, **more: Any) -> TypeForecast:
    return replace(NO_ORDER, order_by=day, sets=sets, short_on=day, cost=Decimal(310 * sets), **more)


def late(chance: float, **more: Any) -> TypeForecast:
    return replace(
        NO_ORDER, short_on=date(2025, 6, 3), early_on=date(2025, 6, 3), early_chance=chance, **({"rush": 2} | more)
    )


def whole(*types: TypeForecast, gaps: tuple[Gap, ...] = ()) -> Forecast:
    return Forecast(TODAY, NOW, 0.95, 3, 1, types, gaps)


@pytest.mark.parametrize(
    ("types", "words"),
    [
        ([due(date(2025, 5, 16))], "Order 4 sets by Fri 16 May, $1,240"),
        ([due(TODAY, 1)], "Order 1 set today, $310"),
        (
            [due(TODAY - timedelta(days=3), 2, passed=True), due(date(2025, 5, 16))],
            "Order 2 sets today, 4 more by Fri 16 May, $1,860",
        ),
        ([due(date(2025, 6, 23))], "Nothing to order before the week of Mon 23 Jun"),
        ([due(date(2025, 5, 28))], "Nothing to order before Wed 28 May"),
        ([due(date(2026, 1, 12))], "Nothing to order before the week of Mon 12 Jan 2026"),
        ([NO_ORDER], "Nothing to order for the next 26 weeks"),
        ([late(0.41)], "Resin 400: about an even chance (41 %) of running short before an order can come"),
        ([late(0.05)], "Resin 400: small chance (5 %) of running short before an order can come"),
        (
            [late(0.41), due(date(2025, 5, 16))],
            "Resin 400: about an even chance (41 %) of running short before an order can come. "
            "Order 4 sets by Fri 16 May, $1,240",
        ),
        (
            [late(0.05), due(date(2025, 5, 16))],
            "Order 4 sets by Fri 16 May, $1,240. "
            "Resin 400: small chance (5 %) of running short before an order can come",
        ),
        (
            [late(0.41), late(1.0, name="metal 30")],
            "Metal 30: near certainty (over 99 %) of running short before an order can come; "
            "the chance of 1 more type is no larger",
        ),
        (
            [replace(NO_ORDER, short_on=TODAY, short_chance=0.25)],
            "Resin 400: some chance (25 %) of running short before what is on order comes",
        ),
        ([replace(NO_ORDER, sets=None, short_on=TODAY)], "Nobody knows how long a supplier takes"),
        ([], "No tool types to reckon with yet"),
    ],
)
def test_the_headline_is_the_answer(types: list[TypeForecast], words: str) -> None:
    assert headline(whole(*types), money=True) == words


def test_the_headline_keeps_money_to_itself_without_the_right_and_without_a_price() -> None:
    one = due(date(2025, 5, 16))

    assert headline(whole(one), money=False) == "Order 4 sets by Fri 16 May"
    assert headline(whole(one, replace(one, price=None, cost=None)), money=True) == "Order 8 sets by Fri 16 May"


@pytest.mark.parametrize(
    ("day", "words"),
    [
        (TODAY, ("today", "Wed 14 May")),
        (TODAY + timedelta(days=1), ("Thu 15 May", "in 1 day")),
        (TODAY + timedelta(days=15), ("Thu 29 May", "in 15 days")),
        (TODAY + timedelta(days=16), ("week of Mon 26 May", "in 2 weeks")),
    ],
)
def test_a_day_is_said_within_fifteen_days_and_beyond_them_the_week(day: date, words: tuple[str, str]) -> None:
    assert order_by_words(due(day), TODAY) == words


def test_a_day_of_another_year_says_its_year() -> None:
    assert order_by_words(due(date(2026, 1, 9)), TODAY)[0] == "week of Mon 5 Jan 2026"


def test_a_day_that_has_passed_says_so() -> None:
    assert order_by_words(due(date(2025, 5, 9), passed=True), TODAY) == ("today", "was due Fri 9 May")


def test_what_an_order_cannot_reach_says_how_likely_when_and_what_helps() -> None:
    job = JobBehind("Osprey Lane", None, "won", 1.0, TODAY, 900.0, 1.0, 0.41)

    assert late_words(late(0.41, early_jobs=(job,)), TODAY) == (
        "About an even chance (41 %) of running short from the week of Mon 2 Jun, before an order could be here. "
        "What helps: rush 2 sets, move Osprey Lane, or borrow."
    )
    # A small chance is told as one, and what helps is offered for it, not asked for.
    assert late_words(late(0.05, early_jobs=(job,)), TODAY) == (
        "Small chance (5 %) of running short from the week of Mon 2 Jun, before an order could be here. "
        "If that is too much: rush 2 sets, move Osprey Lane, or borrow."
    )
    assert late_words(late(0.41, early_jobs=(job,), sets=1, order_by=TODAY), TODAY).endswith(
        "before an order could be here. What helps: rush 2 sets as well, move Osprey Lane, or borrow."
    )
    assert late_words(late(0.41), TODAY).endswith("here. What helps: rush 2 sets, move the job, or borrow.")
    # What is on order is hurried, not ordered once more.
    assert late_words(late(0.41, rush=0, on_order=2), TODAY).endswith(
        "before what is on order is here. What helps: hurry the order, move the job, or borrow."
    )
    assert late_words(replace(NO_ORDER, short_on=TODAY, short_chance=0.3), TODAY).startswith(
        "Some chance (30 %) of running short from Wed 14 May, before what is on order is here. If that is too much: "
    )
    assert late_words(NO_ORDER, TODAY) == late_words(due(date(2025, 5, 16)), TODAY) == ""


def job(name: str, area_m2: float, number: int, **more: Any) -> JobBehind:
    facts: dict[str, Any] = {"standing": "won", "award_chance": 1.0} | more
    return JobBehind(name, uuid(number), starts_on=TODAY, area_m2=area_m2, sets=1.0, weight=0.4, **facts)


def test_the_jobs_behind_an_order_stand_by_weight_and_the_one_the_advice_names_is_among_them() -> None:
    jobs = [
        job(name, area, n) for n, (name, area) in enumerate((("A", 10), ("B", 70), ("C", 30), ("D", 40), ("E", 20)))
    ]
    half = job("Bid", 90.0, 9, standing="bid", award_chance=0.5)
    one = late(0.41, behind=(*jobs, half), early_jobs=(jobs[0],))
    assert [row.name for row in by_weight(one)] == ["B", "Bid", "D", "C", "E", "A"]
    assert [row.name for row in shown_jobs(one, 3)] == ["B", "Bid", "A"]
    assert [row.name for row in shown_jobs(one, 8)] == ["B", "Bid", "D", "C", "E", "A"]
    assert "move A, or borrow" in late_words(one, TODAY)
    assert because(one, TODAY) == "B and 5 more jobs use it; 3 new sets here."
    # Named though it asks for its set before the order's own time: it is shown with what it asks.
    other = late(0.41, behind=tuple(jobs), early_jobs=(half,))
    assert "Bid" in [row.name for row in shown_jobs(other, 2)]


def test_an_order_that_is_likely_here_in_time_runs_short_only_if_it_comes_later() -> None:
    one = late(0.41, sets=2, order_by=TODAY, arrives_on=date(2025, 5, 28))
    assert arrives_words(one, TODAY) == "2 sets ordered today: likely here by Wed 28 May."
    assert late_words(one, TODAY).startswith(
        "About an even chance (41 %) of running short from the week of Mon 2 Jun, should an order come later than is "
        "likely. "
    )
    after = replace(one, arrives_on=date(2025, 6, 5))
    assert "the week of Mon 2 Jun, before an order could be here." in late_words(after, TODAY)


def test_every_gap_has_its_words() -> None:
    codes = [
        "past_use",
        "no_need",
        "no_rating",
        "no_work_of_type",
        "no_supplier",
        "no_lead_time",
        "no_price",
        "no_closed_days",
    ]
    with translation.override("en"):
        for code in [*codes, "no_closed_days", "rating_of_bond", "stale_bids", "no_steps"]:
            assert " " in gap_words(Gap(code, "resin 800", 2))


def test_more_life_than_need_and_still_short_is_explained() -> None:
    # Finding of a fresh user: the chart showed life wholly above need and said "may run short".
    week = replace(WEEK, ends_on=date(2025, 6, 8), high_m2=900.0)
    spread = due(TODAY, 1, weeks=(week,), part_worn=3, life_here_m2=(1000.0, 1200.0, 1500.0))
    plain = replace(spread, life_here_m2=(500.0, 800.0, 1100.0))

    assert spread_words(spread).startswith(
        "The area left in all sets together would do, but it is spread over 3 sets in"
    )
    assert spread_words(plain) == ""
    assert sentence(spread, TODAY) == (
        "resin 400: new sets may run out from Wed 14 May, though the area left would do."
    )
    assert sentence(plain, TODAY) == "resin 400: may run short from Wed 14 May."


def test_the_day_it_is_here_is_told_as_all_other_days_are() -> None:
    # Finding of a fresh tester: short "in the week of 4 Jan", ordered "in the week of 21 Dec", here "Fri 8 Jan".
    now = due(TODAY, 2, arrives_on=date(2025, 5, 26))
    then = due(date(2025, 6, 12), 2, arrives_on=date(2025, 6, 26))

    assert arrives_words(now, TODAY) == "2 sets ordered today: likely here by Mon 26 May."
    assert arrives_words(then, TODAY) == (
        "2 sets ordered by the week of Mon 9 Jun: likely here by the week of Mon 23 Jun."
    )
    assert arrives_words(NO_ORDER, TODAY) == ""
