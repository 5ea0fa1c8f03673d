"""By when a set goes in the water, against a clerk who counts minutes and knows no intervals.

Recipe of the examples: 72 h cold, or 31 h at 130 F (54.444 C, REFERENCES U8): common practice, no source.
"""

from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from inventory.calendar import ShopCalendar, is_staffed
from inventory.ledger.soak_facts import Recipe, SoakSettings
from jobs.numerics.soak_plan_facts import scald_seconds
from jobs.numerics.soak_put_in import (
    SoakRefused,
    first_put_in,
    latest_cold,
    latest_hot,
    latest_put_in,
    planned_readings,
    ready_if_put_in,
    staffed_between,
)

LIMIT_C = (130 - 32) * 5 / 9
EXAMPLE = Recipe(72, 31, LIMIT_C)
SHOP = SoakSettings()
WEEK = ShopCalendar("UTC", dict.fromkeys(range(5), ((time(7), time(17)),)))
MONDAY = datetime(2026, 11, 23, tzinfo=UTC)


def at(day, hour, minute=0):
    """An instant of the week that begins on Monday the 23rd; day 0 is that Monday."""
    return MONDAY + timedelta(days=day, hours=hour, minutes=minute)


def test_seventy_two_hours_before_friday_evening_is_tuesdays_closing():
    found = latest_cold(EXAMPLE, SHOP, WEEK, at(4, 18), at(0, 8))

    assert (found.put_in_at, found.ready_at, found.kind, found.read_at) == (at(1, 17), at(4, 17), "cold", ())


def test_before_a_monday_start_the_weekend_counts_but_nobody_is_there_to_put_in():
    assert latest_cold(EXAMPLE, SHOP, WEEK, at(7, 18), at(0, 8)).put_in_at == at(4, 17)
    assert latest_cold(EXAMPLE, SHOP, WEEK, at(7, 16), at(0, 8)).put_in_at == at(4, 16)


def test_a_hot_soak_earns_four_hours_of_a_night_without_anybody():
    # Friday 7 to 17 earns 10 h, Thursday 7 to 21 14 h, so Wednesday must earn 7: 14 to 21.
    found = latest_hot(EXAMPLE, SHOP, WEEK, at(4, 18), at(0, 8))

    assert (found.put_in_at, found.ready_at, found.kind) == (at(2, 14), at(4, 17), "hot")
    assert found.read_at[0] == at(2, 14)
    assert found.read_at[-1] == at(4, 17)
    assert len(found.read_at) == 4 + 11 + 11


def test_a_thermostat_holds_through_the_night():
    # From 17 to 7 are 14 h, as long as a thermostat vouches: 31 h before Friday 17:00.
    assert latest_hot(EXAMPLE, SHOP, WEEK, at(4, 18), at(0, 8), thermostat=True).put_in_at == at(3, 10)


def test_hours_that_are_full_after_closing_are_proved_by_nobody():
    # Full at 18:00 only, and the last reading is taken at 17:00: it must go in an hour of water earlier.
    later = Recipe(None, 8, LIMIT_C)

    assert latest_hot(later, SHOP, WEEK, at(4, 18), at(4, 7)).put_in_at == at(4, 9)


def test_where_time_alone_does_the_recipe_is_cold_and_only_then_hot():
    assert latest_put_in(EXAMPLE, SHOP, WEEK, at(4, 18), at(0, 8), hot_tub=True).kind == "cold"
    assert latest_put_in(EXAMPLE, SHOP, WEEK, at(4, 18), at(2, 8), hot_tub=True).kind == "hot"


def test_a_clock_change_takes_no_hour_from_the_water():
    # Chicago turns back on 1 November 2026 (IANA tz): 72 h before Monday 18:00 local is Friday 19:00 local, not 18:00.
    always = ShopCalendar("America/Chicago", dict.fromkeys(range(7), ((time(0), time(0)),)))
    need = datetime(2026, 11, 2, 18, tzinfo=always.tz)

    found = latest_cold(EXAMPLE, SHOP, always, need, datetime(2026, 10, 20, tzinfo=UTC))

    assert found.put_in_at.astimezone(always.tz).replace(tzinfo=None) == datetime(2026, 10, 30, 19)
    assert found.ready_at - found.put_in_at == timedelta(hours=72)


@pytest.mark.parametrize(
    ("degrees_f", "seconds"),
    # REFERENCES S5: 150 F 2 s, 140 F 6 s, 130 F 30 s, 120 F 5 min; S6: heaters are to be set to 120 F.
    [(150, 2), (140, 6), (130, 30), (120, 300), (135, 6), (125, 30), (160, 2), (110, None), (68, None)],
)
def test_hot_water_scalds_as_published(degrees_f, seconds):
    assert scald_seconds((degrees_f - 32) * 5 / 9) == seconds


def test_the_hours_somebody_is_there_are_joined_and_cut():
    two = ShopCalendar("UTC", {0: ((time(7), time(12)), (time(12), time(15)), (time(22), time(2)))}, frozenset())

    assert staffed_between(two, at(0, 8), at(1, 1)) == [(at(0, 8), at(0, 15)), (at(0, 22), at(1, 1))]
    assert staffed_between(two, at(1, 3), at(6, 0)) == []


# --- the clerk ---


def clerk(put_in, need, *, staffed, cold, hot, mixed, vouch):
    """Minute at which a set put in at minute `put_in` is ready, or None at `need`; one look at the set a minute."""
    read_last = put_in
    warm = 0
    credit = Fraction(0)
    warm_enough = None
    for wet, minute in enumerate(range(put_in, need + 1)):
        reads = minute == put_in or (staffed(minute) and (minute % 60 == 0 or minute == need))
        if cold is not None and wet >= cold:
            return minute
        if mixed and credit >= 1:
            return minute
        if hot is not None and warm_enough is None and warm >= hot:
            warm_enough = minute
        if warm_enough is not None and reads:
            return warm_enough
        if reads:
            read_last = minute
        if minute - read_last < vouch:
            warm += 1
            credit += Fraction(1, hot) if hot else 0
        elif cold is not None:
            credit += Fraction(1, cold)
    return None


def latest_by_clerk(now, need, **facts):
    """The latest staffed minute from `now` on, found by trying each one."""
    for minute in range(need - 1, now - 1, -1):
        if facts["staffed"](minute) and clerk(minute, need, **facts) is not None:
            return minute
    return None


def minute_of(day, clock):
    return day * 1440 + clock.hour * 60 + clock.minute


HOURS = st.tuples(st.integers(0, 22), st.integers(0, 59), st.integers(1, 12))


@st.composite
def shops(draw):
    """Days with one or two spans of a few hours, some without."""
    week = {}
    for day in range(7):
        spans = []
        for hour, minute, long in draw(st.lists(HOURS, max_size=2)):
            closes = min(23 * 60 + 59, hour * 60 + minute + long * 60)
            if closes > hour * 60 + minute:
                spans.append((time(hour, minute), time(closes // 60, closes % 60)))
        week[day] = tuple(spans)
    return ShopCalendar("UTC", week)


@settings(max_examples=40, deadline=None)
@given(
    shop=shops(),
    now=st.integers(0, 24 * 60),
    ahead=st.integers(30, 30 * 60),
    cold=st.one_of(st.none(), st.integers(1, 20)),
    hot=st.one_of(st.none(), st.integers(1, 9)),
    mixed=st.booleans(),
    vouch=st.sampled_from([1, 4, 14]),
)
@example(shop=WEEK, now=420, ahead=40 * 60, cold=20, hot=9, mixed=True, vouch=4)
@example(shop=WEEK, now=420, ahead=20 * 60 + 17, cold=None, hot=5, mixed=False, vouch=4)
def test_the_put_in_is_the_one_a_minute_clerk_finds(shop, now, ahead, cold, hot, mixed, vouch):
    assume(cold or hot)
    need = now + ahead
    rules = SoakSettings(vouch_hours=vouch)
    recipe = Recipe(cold, hot, None if hot is None else LIMIT_C, mixed_credit=mixed and bool(cold and hot))
    known = {
        minute
        for day in range(7)
        for opens, closes in shop.hours.get(day, ())
        for minute in range(minute_of(day, opens), minute_of(day, closes) + 1)
    }
    facts = {
        "staffed": known.__contains__,
        "cold": None if cold is None else cold * 60,
        "hot": None if hot is None else hot * 60,
        "mixed": recipe.mixed_credit,
        "vouch": vouch * 60,
    }

    by_time = latest_cold(recipe, rules, shop, at(0, 0, need), at(0, 0, now))
    by_heat = latest_hot(recipe, rules, shop, at(0, 0, need), at(0, 0, now))

    counted = latest_by_clerk(now, need, **{**facts, "hot": None, "mixed": False}) if cold else None
    assert (by_time and by_time.put_in_at) == (None if counted is None else at(0, 0, counted))
    if hot:
        counted = latest_by_clerk(now, need, **facts)
        assert (by_heat and by_heat.put_in_at) == (None if counted is None else at(0, 0, counted))
        if by_heat:
            # Mixed credit is full within a minute; the clerk sees it at the next one.
            ready = clerk(counted, need, **facts)
            assert at(0, 0, ready - 1) < by_heat.ready_at <= at(0, 0, ready)
    else:
        assert by_heat is None


@settings(max_examples=40, deadline=None)
@given(
    shop=shops(),
    shares=st.tuples(st.floats(0, 1), st.floats(0, 1)),
    recipe=st.sampled_from([EXAMPLE, Recipe(20, 9, LIMIT_C, mixed_credit=True), Recipe(None, 6, LIMIT_C), Recipe(12)]),
    thermostat=st.booleans(),
)
def test_put_in_earlier_a_set_is_never_ready_later(shop, shares, recipe, thermostat):
    need = at(0, 0, 6000)
    minutes = [minute for minute in range(0, 3000, 11) if is_staffed(shop, at(0, 0, minute))]
    assume(minutes)
    ready = []
    for share in sorted(shares):
        minute = minutes[round(share * (len(minutes) - 1))]
        readings = planned_readings(shop, recipe, at(0, 0, minute), need)
        answer = ready_if_put_in(recipe, SHOP, at(0, 0, minute), need, readings=readings, thermostat=thermostat)
        ready.append(answer.ready_at or datetime.max.replace(tzinfo=UTC))

    assert ready[0] <= ready[1]


def test_a_wholly_hot_soak_meets_the_hot_need_before_the_cold_one():
    # METHODS 7: always hot, the hot need is met first.
    always = ShopCalendar("UTC", dict.fromkeys(range(7), ((time(0), time(0)),)))
    found = latest_hot(EXAMPLE, SHOP, always, at(4, 12), at(0, 0))

    assert (found.kind, found.put_in_at, found.ready_at) == ("hot", at(3, 5), at(4, 12))


# --- refused ---


def test_a_start_before_which_nobody_is_there_is_refused():
    with pytest.raises(SoakRefused, match="`calendar` has nobody there between 2026-11-28 08:00 and 2026-11-29 18:00"):
        first_put_in(WEEK, at(6, 18), at(5, 8))
    closed = ShopCalendar("UTC", {}, frozenset({date(2026, 11, 24)}))
    with pytest.raises(SoakRefused, match="nobody there"):
        latest_put_in(EXAMPLE, SHOP, closed, at(6, 18), at(0, 8))


def test_a_start_that_is_past_or_too_soon_is_refused():
    with pytest.raises(SoakRefused, match="`need_at` must lie after 2026-11-23 08:00; got 2026-11-23 07:00"):
        latest_put_in(EXAMPLE, SHOP, WEEK, at(0, 7), at(0, 8))
    with pytest.raises(SoakRefused, match=r"`need_at` 2026-11-24 18:00 is too soon for .* put in at 2026-11-23 08:00"):
        latest_put_in(EXAMPLE, SHOP, WEEK, at(1, 18), at(0, 8), hot_tub=True)
    with pytest.raises(ValueError, match="no time zone"):
        latest_cold(EXAMPLE, SHOP, WEEK, datetime(2026, 11, 27), at(0, 8))
    with pytest.raises(ValueError, match="`temperature_c` must lie between 0 and 100; got 130"):
        scald_seconds(130)
