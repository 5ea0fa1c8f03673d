"""The forecast from rows: planned work against the rack, suppliers as they are, and what moves the date to order by."""

from __future__ import annotations

import math
from datetime import date, time, timedelta
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from inventory.actions.ledger import NewLine
from inventory.actions.lives import refit
from inventory.actions.purchasing import Wanted, place_order
from inventory.actions.shop import save_closed_day, save_hours
from inventory.models import Price, Setting, Supplier, SupplierWord, ToolType
from inventory.numerics.lead_time import fit_lead_time
from inventory.queries.catalogue import shop_calendar
from inventory.queries.purchasing import likely_day, supplier_lead
from inventory.queries.rack import rack_of
from jobs.actions.forecast import kept_forecast, refresh_forecast, seen_now
from jobs.actions.plan import make_job
from jobs.forecast import forecast
from jobs.forecast_result import Forecast, TypeForecast, from_plain, to_plain
from jobs.forecast_words import gap_words, headline, order_by_words
from jobs.models import ForecastRun, Job, Standing
from jobs.plan_draft import PlanDraft, StepDraft, ZoneDraft
from tests.cast import NOW, TODAY, hours, make_cast, make_place, make_set, make_supplier, make_type, uuid, write
from tests.inventory.test_estimate import wear_out
from tests.jobs.plans import make_hall, make_planned

pytestmark = pytest.mark.django_db
NO_CLOSED_DAYS = (
    "No closed day is on record for the weeks to come, so public holidays count as working days: write them under the "
    "shop."
)
DRAWS = 400  # enough for dates that do not hang on a hair; the page takes more


def sell(tool_type: ToolType, *, days: int = 15, price: str = "310.00", name: str = "Quarrymead Abrasives") -> Supplier:
    """Somebody sells the type, says how long it takes and what it costs."""
    supplier = Supplier.objects.filter(name=name).first() or make_supplier(name)
    SupplierWord.objects.create(
        supplier=supplier, lead_working_days=days, valid_from=TODAY - timedelta(days=400), recorded_at=NOW - hours(9000)
    )
    Price.objects.create(
        tool_type=tool_type, supplier=supplier, price=Decimal(price), currency="USD",
        valid_from=TODAY - timedelta(days=400), recorded_at=NOW - hours(9000),
    )  # fmt: skip
    ToolType.objects.filter(pk=tool_type.pk).update(supplier=supplier)
    tool_type.refresh_from_db()
    return supplier


def plan(
    cast: SimpleNamespace,
    name: str,
    tool_type: ToolType,
    starts_in: int,
    passes: int = 5,
    area_m2: float = 1000.0,
    **more: Any,
) -> None:
    """A job of one hall and one step, without nights, its floor the reference one."""
    hall = make_hall(cast, f"{name} site", area_m2)
    zone = ZoneDraft(hall, hardness="medium", surface="ground")
    step = StepDraft(hall.pk, tool_type, passes, key=uuid(9000 + hall.site_id))
    draft = PlanDraft(
        starts_on=TODAY + timedelta(days=starts_in), zones=(zone,), steps=(step,), **({"standing": Standing.WON} | more)
    )
    # The same key every time: a job's dice go by it.
    key = uuid(8000 + Job.objects.count())
    make_job(cast.ines, cast.branch, hall.site, name, draft, now=NOW - hours(48), job_id=key, sure=True)


def ask(cast: SimpleNamespace, **more: Any) -> Forecast:
    return forecast(cast.branch, now=NOW, draws=DRAWS, **more)


def only(cast: SimpleNamespace, tool_type: ToolType, **more: Any) -> TypeForecast:
    found = ask(cast, **more).of_type(tool_type.pk)
    assert found is not None
    return found


def test_three_sets_that_end_at_half_their_rating_move_life_left_and_the_order_by_date() -> None:
    # Issue 3 point 10: the loop from the ledger to the date.
    cast, tool_type = make_cast(), make_type()
    sell(tool_type)
    rack = make_place(cast.branch)
    for _ in range(3):
        make_set(cast, tool_type, rack)
    for number in range(6):
        plan(cast, f"Job {number}", tool_type, starts_in=21 + 14 * number, passes=3)
    before = only(cast, tool_type)
    for number in range(3):
        wear_out(cast, tool_type, 3000, number)
    refit(now=NOW + hours(3))

    after = only(cast, tool_type)

    assert after.fresh == before.fresh == 3
    assert after.worn_out == 3
    assert after.life_here_m2[1] < 0.75 * before.life_here_m2[1]
    assert before.order_by is not None
    assert after.order_by is not None
    assert after.order_by < before.order_by - timedelta(days=7)
    assert after.short_on is not None
    assert before.short_on is not None
    assert after.short_on < before.short_on
    assert (after.sets or 0) >= 1


def test_a_rack_that_holds_plenty_needs_no_order() -> None:
    cast, tool_type = make_cast(), make_type()
    sell(tool_type)
    for _ in range(4):
        make_set(cast, tool_type, make_place(cast.branch))
    plan(cast, "Osprey Lane", tool_type, starts_in=30, passes=2)

    answer = only(cast, tool_type)

    assert (answer.order_by, answer.sets, answer.short_on) == (None, 0, None)
    assert headline(ask(cast), money=True) == "Nothing to order for the next 26 weeks"


def test_an_empty_rack_is_to_be_filled_in_time_with_what_it_costs() -> None:
    cast, tool_type = make_cast(), make_type()
    sell(tool_type, days=5)
    plan(cast, "Osprey Lane", tool_type, starts_in=28, confirmed=True)

    whole = ask(cast)
    answer = whole.of_type(tool_type.pk)

    assert answer is not None
    assert answer.sets is not None
    assert answer.sets >= 1
    assert answer.cost == Decimal("310.00") * answer.sets
    assert answer.order_by is not None
    assert TODAY < answer.order_by < TODAY + timedelta(days=28 - 5)
    assert answer.short_on == TODAY + timedelta(days=28)
    assert [one.name for one in answer.behind] == ["Osprey Lane"]
    assert (answer.sure or 0) >= 0.95


def test_a_date_that_has_passed_says_today_and_the_headline_names_the_money() -> None:
    cast, tool_type = make_cast(), make_type()
    sell(tool_type, days=20)
    plan(cast, "Osprey Lane", tool_type, starts_in=26, passes=2)

    whole = ask(cast)
    answer = whole.of_type(tool_type.pk)

    # An order of today comes too late in some worlds and in time in others: both are said.
    assert answer is not None
    assert answer.passed
    assert order_by_words(answer, TODAY)[0] == "today"
    assert 0.1 < answer.early_chance < 0.9
    assert (answer.sure or 0) >= 0.95
    said = headline(whole, money=True)
    assert said.startswith("Resin 400: about an even chance (")
    assert said.endswith(" %) of running short before an order can come. Order 1 set today, $310")
    assert "$" not in headline(whole, money=False)


def test_for_a_job_that_ends_before_an_order_is_here_nothing_is_ordered() -> None:
    cast, tool_type = make_cast(), make_type()
    supplier = sell(tool_type, days=10)
    plan(cast, "Osprey Lane", tool_type, starts_in=6, confirmed=True)

    before = only(cast, tool_type)
    place_order(cast.ruta, cast.branch, supplier, [Wanted(tool_type, before.rush)], on_day=TODAY, now=NOW)
    whole = ask(cast)
    after = whole.of_type(tool_type.pk)

    assert after is not None
    for one in (before, after):
        assert (one.state, one.sets, one.order_by, one.arrives_on) == ("late", 0, None, None)
        assert one.early_on == one.short_on == TODAY + timedelta(days=6)
        assert one.early_chance > 0.8
        assert [job.name for job in one.early_jobs] == ["Osprey Lane"]
        assert order_by_words(one, TODAY) == ("too late", "an order does not help")
    # What was ordered meanwhile does not make the shortage disappear from the headline; it is not to be rushed twice.
    assert before.rush >= 2
    assert after.rush == 0
    said = headline(whole, money=True)
    assert said.startswith("Resin 400: near certainty (9")  # the last percent goes by the database's own keys
    assert said.endswith(" %) of running short before what is on order comes")


def test_the_smallest_order_is_of_the_whole_order_and_not_of_each_line() -> None:
    cast = make_cast()
    types = [make_type(f"{100 * number}", ladder_place=number) for number in (1, 2)]
    supplier = sell(types[0], days=5)
    sell(types[1], days=5)
    for tool_type in types:
        plan(cast, f"Job {tool_type.grit}", tool_type, starts_in=30, passes=2, confirmed=True)

    def least(sets: int) -> list[int | None]:
        SupplierWord.objects.create(
            supplier=supplier, lead_working_days=5, minimum_sets=sets, valid_from=TODAY, recorded_at=NOW - hours(9)
        )
        return sorted(ask(cast).of_type(tool_type.pk).sets for tool_type in types)  # type: ignore[union-attr, type-var]

    assert (least(1), least(2), least(5)) == ([1, 1], [1, 1], [1, 4])


def test_an_order_is_expected_on_the_day_the_advice_named() -> None:
    cast, tool_type = make_cast(), make_type()
    supplier = sell(tool_type, days=9)
    plan(cast, "Osprey Lane", tool_type, starts_in=16, passes=2)
    before = only(cast, tool_type)
    made = place_order(cast.ruta, cast.branch, supplier, [Wanted(tool_type, 1)], on_day=TODAY, now=NOW)

    after = only(cast, tool_type)

    assert before.order_by is not None
    assert before.order_by <= TODAY
    lead = supplier_lead(cast.branch, supplier.pk, TODAY)
    on_the_order = likely_day(lead, shop_calendar(cast.branch, TODAY), TODAY, TODAY)
    assert made is not None
    assert before.arrives_on == after.arrivals[0].day == on_the_order[0]


def test_after_ordering_what_was_advised_nothing_is_advised_at_once() -> None:
    # Finding of a fresh user: eleven sets were ordered as advised, and at once one more of two types was wanted.
    cast = make_cast()
    types = [make_type(f"{100 * number}", ladder_place=number) for number in (1, 2, 3)]
    suppliers = {tool_type.pk: sell(tool_type, days=10) for tool_type in types}
    for number, tool_type in enumerate(types):
        for starts in range(3 + number, 80, 9):
            plan(cast, f"Job {number} {starts}", tool_type, starts_in=starts, passes=3 + number)
    advised = ask(cast).due
    assert len(advised) == 3

    for one in advised:
        wanted = [Wanted(types[[kind.pk for kind in types].index(one.tool_type_id)], (one.sets or 0) + one.rush)]
        place_order(cast.ruta, cast.branch, suppliers[one.tool_type_id], wanted, on_day=TODAY, now=NOW)
    after = ask(cast)

    assert after.due == ()
    assert [one.rush for one in after.types] == [0, 0, 0]


def test_a_suppliers_working_days_are_monday_to_friday_less_closed_days() -> None:
    # Finding of a fresh tester: "16 working days" from 25 November was 15 December, and from 7 December Christmas Day,
    # for the shop works on Saturdays and its suppliers do not.
    cast, tool_type = make_cast(), make_type()
    sell(tool_type)
    week = {day: [(time(6), time(18))] for day in range(6)}
    save_hours(cast.olga, cast.branch, week, valid_from=TODAY - timedelta(days=400), now=NOW - hours(9000))
    lead = fit_lead_time(15.0, [15.9] * 200)
    assert lead is not None
    assert math.ceil(lead.quantile(0.5)) == 16

    def here() -> date:
        return likely_day(lead, shop_calendar(cast.branch, TODAY), TODAY, TODAY)[0]

    # Sixteen weekdays after Wed 14 May 2025, by numpy's own count (numpy.busday_offset).
    assert here() == np.busday_offset(TODAY, 16).astype(date) == date(2025, 6, 5)
    save_closed_day(cast.olga, cast.branch, date(2025, 5, 26), name="Memorial Day", now=NOW)
    assert here() == np.busday_offset(TODAY, 16, holidays=["2025-05-26"]).astype(date) == date(2025, 6, 6)
    assert NO_CLOSED_DAYS not in [gap_words(gap) for gap in ask(cast).gaps]


def test_jobs_that_ask_for_nothing_are_not_counted_as_what_it_was_worked_out_from() -> None:
    cast, tool_type = make_cast(), make_type()
    sell(tool_type)
    plan(cast, "Osprey Lane", tool_type, starts_in=20)
    plan(cast, "Heron Wharf", tool_type, starts_in=20, standing=Standing.BID, award_chance=0.5)
    site = make_hall(cast, "Kestrel Yard site", 500.0).site
    bare = PlanDraft(starts_on=TODAY + timedelta(days=5), standing=Standing.WON)
    make_job(cast.ines, cast.branch, site, "Kestrel Yard", bare, now=NOW - hours(48), sure=True)

    whole = ask(cast)

    assert (whole.jobs, whole.bids) == (1, 1)


def test_rack_and_reorder_say_the_same_of_the_life_here() -> None:
    # Finding of a fresh tester: of the same nine sets the rack said 123,000 and Reorder 135,000.
    cast, tool_type = make_cast(), make_type()
    sell(tool_type)
    sets = [make_set(cast, tool_type, make_place(cast.branch, f"Rack {number}")) for number in range(4)]
    write(cast, NewLine("set_aside", sets[3], None, {"why": "chipped piece"}), at=NOW - hours(2))
    row = next(row for row in rack_of(cast.branch, NOW).grits if row.sets)

    one = only(cast, tool_type)

    assert (len(row.working), one.fresh, one.aside) == (3, 3, 1)
    assert one.life_here_m2 == row.life_m2


def test_what_is_on_order_counts_from_the_day_it_is_expected() -> None:
    cast, tool_type = make_cast(), make_type()
    supplier = sell(tool_type)
    plan(cast, "Osprey Lane", tool_type, starts_in=60, passes=2)
    before = only(cast, tool_type)
    place_order(cast.ruta, cast.branch, supplier, [Wanted(tool_type, 2)], on_day=TODAY, now=NOW)

    after = only(cast, tool_type)

    assert (before.sets or 0) > 0
    assert (after.sets, after.on_order, after.order_by) == (0, 2, None)
    assert [(one.number, one.sets, one.late) for one in after.arrivals] == [("2025-001", 2, False)]
    # 15 working days said, some 10 % more believed: about 17 working days from Wed 14 May.
    assert TODAY + timedelta(days=21) <= after.arrivals[0].day <= TODAY + timedelta(days=28)


def test_an_order_overdue_is_put_off_and_makes_the_lead_time_longer() -> None:
    cast, tool_type = make_cast(), make_type()
    supplier = sell(tool_type, days=5)
    quick = only(cast, tool_type)
    placed = TODAY - timedelta(days=40)
    place_order(cast.ruta, cast.branch, supplier, [Wanted(tool_type, 1)], on_day=placed, now=NOW - hours(960))

    slow = only(cast, tool_type)

    assert quick.lead is not None
    assert slow.lead is not None
    assert slow.lead.likely_days > quick.lead.likely_days * 1.2
    assert (slow.lead.received, slow.lead.still_open) == (0, 1)
    assert slow.arrivals[0].late
    assert slow.arrivals[0].day > TODAY


def test_a_bid_counts_by_its_chance_and_a_forgotten_one_not_at_all() -> None:
    cast, tool_type = make_cast(), make_type()
    sell(tool_type)
    plan(cast, "Hinterdale", tool_type, starts_in=40, standing=Standing.BID, award_chance=0.5)
    plan(cast, "Long ago", tool_type, starts_in=-60, standing=Standing.BID, award_chance=0.9)

    whole = ask(cast)
    answer = whole.of_type(tool_type.pk)

    assert answer is not None
    assert (whole.jobs, whole.bids) == (0, 1)
    assert [gap_words(gap) for gap in whole.gaps] == [
        "1 bid is left out, its start has long passed: Long ago.",
        NO_CLOSED_DAYS,
    ]
    assert 0.4 < answer.weeks[-1].short < 0.6
    assert answer.weeks[-1].week_m2 == 0
    assert sum(week.week_m2 for week in answer.weeks) == pytest.approx(2500, rel=0.1)


def test_work_logged_on_a_step_is_no_longer_ahead() -> None:
    cast = make_cast()
    made = make_planned(cast)
    step = next(step for step in made.steps.all() if step.tool_type.grit == "400")
    tool_set = make_set(cast, step.tool_type, make_place(cast.branch))
    before = only(cast, step.tool_type)
    zone = made.zones.get()
    facts: dict[str, Any] = {
        "floor_uuid": zone.zone_id, "visit_uuid": made.job_id, "step_key": step.key, "shift_uuid": step.shift_key,
        "area_m2": 1000.0, "passes": 3, "hardness": "hard", "surface": "worn", "coating": "none", "wet_dry": "wet",
        "step_kind": "later", "basis": "measured",
    }  # fmt: skip
    write(cast, NewLine("worked", tool_set, None, facts), at=NOW - hours(1), now=NOW)

    after = only(cast, step.tool_type)

    # 1,000 m2 in five passes on hard concrete (factor 0.8): 4,000 m2; three passes are done.
    assert sum(week.week_m2 for week in before.weeks) == pytest.approx(4000, rel=0.05)
    assert sum(week.week_m2 for week in after.weeks) == pytest.approx(1600, rel=0.05)


def test_a_night_that_has_ended_is_over_and_tonight_is_ahead() -> None:
    cast = make_cast()
    made = make_planned(cast)
    types = {step.tool_type.grit: step.tool_type for step in made.steps.all()}

    whole = ask(cast)

    last_night, tonight = (whole.of_type(types[grit].pk) for grit in ("200", "400"))
    assert last_night is not None
    assert tonight is not None
    assert sum(week.week_m2 for week in last_night.weeks) == 0
    assert sum(week.week_m2 for week in tonight.weeks) > 0


def test_without_any_plan_past_use_goes_on() -> None:
    cast, tool_type = make_cast(), make_type()
    sell(tool_type)
    for number in range(3):
        wear_out(cast, tool_type, 5200, number)

    whole = forecast(cast.branch, now=NOW + hours(24), draws=DRAWS)
    answer = whole.of_type(tool_type.pk)

    assert answer is not None
    assert [gap_words(gap) for gap in whole.gaps] == [
        "No planned jobs, so only past use speaks.",
        NO_CLOSED_DAYS,
    ]
    # 15,600 m2 in 52 weeks are 300 a week.
    assert sum(week.week_m2 for week in answer.weeks) == pytest.approx(300 * 26, rel=0.1)
    assert answer.behind[0].job_id is None


def test_sets_set_aside_or_missing_do_no_work() -> None:
    cast, tool_type = make_cast(), make_type()
    rack = make_place(cast.branch)
    here, aside, gone = (make_set(cast, tool_type, rack) for _ in range(3))
    write(cast, NewLine("set_aside", aside, None, {"why": "chipped piece"}), at=NOW + hours(1))
    unknown = make_place(cast.branch, "unknown")
    write(cast, NewLine("moved", gone, None, {"to_place": unknown}), at=NOW + hours(1))

    answer = forecast(cast.branch, now=NOW + hours(2), draws=DRAWS).of_type(tool_type.pk)

    assert here is not None
    assert answer is not None
    assert (answer.fresh, answer.part_worn, answer.aside, answer.missing) == (1, 0, 1, 1)


def test_without_a_word_the_date_is_not_known_and_the_page_says_what_to_do() -> None:
    cast, tool_type = make_cast(), make_type()
    plan(cast, "Osprey Lane", tool_type, starts_in=20)

    answer = only(cast, tool_type)

    assert (answer.order_by, answer.sets) == (None, None)
    assert "Nobody sells it yet: name its supplier." in [gap_words(gap) for gap in answer.gaps]


def test_a_plan_made_later_was_not_known_then() -> None:
    cast, tool_type = make_cast(), make_type()
    sell(tool_type)
    plan(cast, "Osprey Lane", tool_type, starts_in=40)

    then = forecast(cast.branch, now=NOW, known_by=NOW - hours(72), draws=DRAWS)

    assert (then.jobs, ask(cast).jobs) == (0, 1)


def test_a_past_day_is_asked_by_the_rack_as_it_was_known_then() -> None:
    cast, tool_type = make_cast(), make_type()
    sell(tool_type)
    plan(cast, "Osprey Lane", tool_type, starts_in=40)
    make_set(cast, tool_type, make_place(cast.branch))
    then = only(cast, tool_type)
    for number in range(3):
        wear_out(cast, tool_type, 3000, number)
    make_set(cast, tool_type, make_place(cast.branch), at=NOW + hours(3))
    refit(now=NOW + hours(4))

    asked_later = only(cast, tool_type, known_by=NOW)
    today = forecast(cast.branch, now=NOW + hours(4), draws=DRAWS).of_type(tool_type.pk)

    # Three more sets were received at NOW itself: on record then, their work and their ends were not.
    assert today is not None
    assert (then.fresh, asked_later.fresh, today.fresh) == (1, 4, 2)
    assert (then.worn_out, asked_later.worn_out, today.worn_out) == (0, 0, 3)
    assert asked_later.new_life_m2 == pytest.approx(then.new_life_m2)
    assert today.new_life_m2[1] < then.new_life_m2[1]


def test_a_crowded_shop_is_asked_in_fewer_worlds() -> None:
    from jobs.forecast import _worlds
    from jobs.numerics.rack import PlannedStep, RackSet

    steps = [PlannedStep(1, number, 1, 5, 1000.0) for number in range(60)]
    few, many = ([RackSet(number, 1, 100.0) for number in range(count)] for count in (12, 5000))

    assert (_worlds(few, steps), _worlds(many, steps)) == (2000, 400)


def test_a_forecast_comes_back_from_its_row_as_it_was() -> None:
    cast, tool_type = make_cast(), make_type()
    supplier = sell(tool_type)
    plan(cast, "Osprey Lane", tool_type, starts_in=20)
    place_order(cast.ruta, cast.branch, supplier, [Wanted(tool_type, 1)], on_day=TODAY, now=NOW)
    made = ask(cast)

    assert from_plain(to_plain(made)) == made


def test_the_same_rows_give_the_same_answer() -> None:
    cast, tool_type = make_cast(), make_type()
    sell(tool_type)
    plan(cast, "Osprey Lane", tool_type, starts_in=20)

    assert ask(cast) == ask(cast)


def test_the_kept_forecast_is_served_until_something_is_recorded() -> None:
    cast, tool_type = make_cast(), make_type()
    sell(tool_type)
    first = kept_forecast(cast.branch, now=NOW)
    again = kept_forecast(cast.branch, now=NOW + hours(1))
    assert again.forecast == first.forecast
    assert again.fresh

    make_set(cast, tool_type, make_place(cast.branch))

    after = kept_forecast(cast.branch, now=NOW + hours(2))
    assert after.forecast.made_at == NOW + hours(2)
    assert ForecastRun.objects.count() == 1


def test_a_forecast_that_takes_long_is_served_stale_and_says_so() -> None:
    cast, tool_type = make_cast(), make_type()
    refresh_forecast(cast.branch, now=NOW)
    ForecastRun.objects.update(took_ms=60_000)
    make_set(cast, tool_type, make_place(cast.branch))

    kept = kept_forecast(cast.branch, now=NOW + hours(1))

    assert not kept.fresh
    assert kept.forecast.made_at == NOW


def test_a_forecast_kept_in_another_shape_is_made_anew() -> None:
    cast = make_cast()
    refresh_forecast(cast.branch, now=NOW)
    ForecastRun.objects.update(result={"old": 1})

    assert kept_forecast(cast.branch, now=NOW).fresh


def test_a_certainty_nobody_can_have_is_drawn_to_the_nearest_one() -> None:
    cast = make_cast()
    Setting.objects.create(
        branch=cast.branch, key="certainty", value="0.3", valid_from=TODAY, recorded_at=NOW - hours(1)
    )

    assert (ask(cast).certainty, ask(cast, certainty=1.0).certainty) == (0.55, 0.99)


def test_what_is_on_record_is_counted_with_one_query(django_assert_num_queries: Any) -> None:
    cast = make_cast()
    with django_assert_num_queries(1):
        seen_now(cast.branch)


@pytest.mark.parametrize("many", [1, 5])
def test_a_forecast_asks_a_constant_number_of_questions(many: int, django_assert_num_queries: Any) -> None:
    cast, tool_type = make_cast(), make_type()
    supplier = sell(tool_type)
    for number in range(many):
        make_set(cast, tool_type, make_place(cast.branch))
        plan(cast, f"Job {number}", tool_type, starts_in=20 + number)
        place_order(cast.ruta, cast.branch, supplier, [Wanted(tool_type, 1)], on_day=TODAY, now=NOW)
    with django_assert_num_queries(22):
        ask(cast)
