"""The shop's calendar over weekends, closed days and the clock changes of two zones (their dates: IANA tz)."""

from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory import calendar as cal
from inventory.calendar import NoWorkingDay, ShopCalendar

DAY = ((time(7), time(17)),)
WEEK = dict.fromkeys(range(5), DAY)
MADRID = ShopCalendar("Europe/Madrid", WEEK, frozenset({date(2026, 12, 25), date(2026, 12, 28)}))
CHICAGO = ShopCalendar("America/Chicago", WEEK)


def test_working_days_skip_weekends_and_closed_days():
    friday_before_christmas = date(2026, 12, 24)

    assert cal.add_working_days(MADRID, friday_before_christmas, 1) == date(2026, 12, 29)
    assert cal.add_working_days(MADRID, date(2026, 12, 29), -1) == date(2026, 12, 24)
    assert cal.subtract_working_days(MADRID, date(2026, 12, 29), 2) == date(2026, 12, 23)
    assert cal.count_working_days(MADRID, date(2026, 12, 24), date(2026, 12, 29)) == 1
    assert cal.count_working_days(MADRID, date(2026, 12, 29), date(2026, 12, 24)) == -1


def test_no_days_from_a_closed_day_is_the_working_day_before():
    assert cal.add_working_days(MADRID, date(2026, 12, 27), 0) == date(2026, 12, 24)
    assert cal.working_day_from(MADRID, date(2026, 12, 25)) == date(2026, 12, 29)
    assert cal.working_day_until(MADRID, date(2026, 12, 23)) == date(2026, 12, 23)


def test_an_order_of_friday_received_on_monday_took_one_working_day():
    assert cal.count_working_days(CHICAGO, date(2026, 11, 20), date(2026, 11, 23)) == 1


@given(
    start=st.dates(date(2025, 1, 1), date(2027, 12, 31)),
    days=st.integers(0, 90),
    closed=st.frozensets(st.dates(date(2025, 1, 1), date(2028, 3, 31)), max_size=20),
)
def test_counting_agrees_with_numpy_busday(start, days, closed):
    calendar = ShopCalendar("Europe/Madrid", WEEK, closed)
    end = start + timedelta(days=days)
    # numpy counts [a, b); ours counts (start, end]
    one = timedelta(days=1)
    expected = np.busday_count(start + one, end + one, holidays=sorted(closed))

    assert cal.count_working_days(calendar, start, end) == expected
    assert cal.working_days_ahead(calendar, start, days)[-1] == expected


@given(start=st.dates(date(2025, 1, 1), date(2027, 12, 31)), count=st.integers(-60, 60))
def test_adding_and_counting_are_inverse_and_agree_with_numpy(start, count):
    there = cal.add_working_days(MADRID, start, count)
    expected = np.busday_offset(
        start, count, roll="backward" if count >= 0 else "forward", holidays=sorted(MADRID.closed)
    )

    assert there == expected.astype(date)
    if cal.is_working_day(MADRID, start):
        assert cal.count_working_days(MADRID, start, there) == count


def test_opening_follows_the_wall_clock_over_the_madrid_clock_change():
    # Europe/Madrid: 2026-03-29 02:00 -> 03:00 (UTC+1 -> UTC+2), 2026-10-25 03:00 -> 02:00.
    assert cal.next_staffed(MADRID, datetime(2026, 3, 27, 20, tzinfo=UTC)) == datetime(2026, 3, 30, 5, tzinfo=UTC)
    assert cal.next_staffed(MADRID, datetime(2026, 3, 26, 20, tzinfo=UTC)) == datetime(2026, 3, 27, 6, tzinfo=UTC)
    assert cal.last_staffed(MADRID, datetime(2026, 10, 26, 1, tzinfo=UTC)) == datetime(2026, 10, 23, 15, tzinfo=UTC)
    assert cal.next_staffed(MADRID, datetime(2026, 10, 24, 1, tzinfo=UTC)) == datetime(2026, 10, 26, 6, tzinfo=UTC)


def test_opening_follows_the_wall_clock_over_the_chicago_clock_change():
    # America/Chicago: 2026-03-08 02:00 -> 03:00 (UTC-6 -> UTC-5), 2026-11-01 02:00 -> 01:00.
    assert cal.next_staffed(CHICAGO, datetime(2026, 3, 7, 12, tzinfo=UTC)) == datetime(2026, 3, 9, 12, tzinfo=UTC)
    assert cal.last_staffed(CHICAGO, datetime(2026, 3, 8, 12, tzinfo=UTC)) == datetime(2026, 3, 6, 23, tzinfo=UTC)
    assert cal.next_staffed(CHICAGO, datetime(2026, 11, 1, 12, tzinfo=UTC)) == datetime(2026, 11, 2, 13, tzinfo=UTC)


NIGHT = ShopCalendar("America/Chicago", {day: ((time(21), time(5)),) for day in range(7)})


@pytest.mark.parametrize(
    ("day", "hours"),
    [(date(2026, 3, 6), 8), (date(2026, 3, 7), 7), (date(2026, 10, 30), 8), (date(2026, 10, 31), 9)],
)
def test_a_night_span_is_an_hour_shorter_or_longer_when_the_clock_changes(day, hours):
    ((start, end),) = cal.staffed_spans(NIGHT, day)

    assert end - start == timedelta(hours=hours)


def test_a_night_span_belongs_to_the_evening_it_opens_on():
    after_midnight = datetime(2026, 6, 2, 3, tzinfo=NIGHT.tz)

    assert cal.is_staffed(NIGHT, after_midnight)
    assert not cal.is_staffed(NIGHT, datetime(2026, 6, 2, 12, tzinfo=NIGHT.tz))
    assert cal.last_staffed(NIGHT, datetime(2026, 6, 2, 12, tzinfo=NIGHT.tz)) == datetime(2026, 6, 2, 10, tzinfo=UTC)


def test_a_wall_time_that_the_change_skips_is_read_with_the_offset_before():
    # 02:30 on 2026-03-29 does not exist in Madrid: read as UTC+1, that is 03:30 summer time.
    assert cal.at_wall_time(MADRID, date(2026, 3, 29), time(2, 30)) == datetime(2026, 3, 29, 1, 30, tzinfo=UTC)


def test_a_wall_time_that_comes_twice_is_the_first_for_opening_and_the_last_for_closing():
    twice = date(2026, 11, 1)

    assert cal.at_wall_time(CHICAGO, twice, time(1, 30)) == datetime(2026, 11, 1, 6, 30, tzinfo=UTC)
    assert cal.at_wall_time(CHICAGO, twice, time(1, 30), latest=True) == datetime(2026, 11, 1, 7, 30, tzinfo=UTC)


def test_a_shift_that_closes_at_a_time_that_comes_twice_closes_at_the_second():
    late = ShopCalendar("America/Chicago", {5: ((time(20), time(1, 30)),)})

    assert cal.staffed_spans(late, date(2026, 10, 31)) == [
        (datetime(2026, 11, 1, 1, tzinfo=UTC), datetime(2026, 11, 1, 7, 30, tzinfo=UTC))
    ]


INSTANTS = st.datetimes(datetime(2026, 1, 1), datetime(2027, 1, 1), timezones=st.just(UTC))
CALENDARS = st.sampled_from(
    [
        MADRID,
        CHICAGO,
        NIGHT,
        ShopCalendar("Europe/Madrid", {d: ((time(6), time(12)), (time(13), time(2, 30))) for d in (0, 2, 5, 6)}),
    ]
)


@given(calendar=CALENDARS, instant=INSTANTS)
def test_staffed_instants_are_staffed_and_the_nearest(calendar, instant):
    before, after = cal.last_staffed(calendar, instant), cal.next_staffed(calendar, instant)

    assert before <= instant <= after
    assert cal.is_staffed(calendar, before)
    assert cal.is_staffed(calendar, after)
    assert cal.is_staffed(calendar, instant) == (before == after == instant)
    # A slow look minute by minute through what lies between finds nobody there.
    minutes = int((after - before).total_seconds() // 60)
    for k in range(1, min(minutes, 6000), 29):
        assert not cal.is_staffed(calendar, before + timedelta(minutes=k))


def test_staffed_hours_are_whole_hours_while_somebody_is_there():
    start = datetime(2026, 6, 1, 15, 30, tzinfo=MADRID.tz)
    end = datetime(2026, 6, 2, 8, 30, tzinfo=MADRID.tz)

    hours = [at.astimezone(MADRID.tz).hour for at in cal.staffed_hours(MADRID, start, end)]

    assert hours == [16, 17, 7, 8]


def test_a_calendar_without_hours_says_so():
    empty = ShopCalendar("Europe/Madrid", {})

    with pytest.raises(NoWorkingDay, match="no working day within two years of 2026-06-02: set the shop hours first"):
        cal.add_working_days(empty, date(2026, 6, 1), 3)
    with pytest.raises(NoWorkingDay, match="Nobody is there in the two years before 2026-06-01"):
        cal.last_staffed(empty, datetime(2026, 6, 1, tzinfo=UTC))
    with pytest.raises(NoWorkingDay, match="Nobody is there in the two years after 2026-06-01"):
        cal.next_staffed(empty, datetime(2026, 6, 1, tzinfo=UTC))


def test_what_cannot_be_is_refused_by_name():
    with pytest.raises(ValueError, match=r"`zone` must be a time zone such as Europe/Madrid; got 'Mars/Base'"):
        ShopCalendar("Mars/Base", WEEK)
    with pytest.raises(ValueError, match=r"`hours` must be by weekday, 0 .Monday. to 6; got 7"):
        ShopCalendar("Europe/Madrid", {7: DAY})
    with pytest.raises(ValueError, match="`hours` must be wall-clock times without a zone"):
        ShopCalendar("Europe/Madrid", {0: ((time(7, tzinfo=UTC), time(17, tzinfo=UTC)),)})
    with pytest.raises(ValueError, match="`instant` must carry a time zone; got 2026-06-01T00:00:00"):
        cal.is_staffed(MADRID, datetime(2026, 6, 1))
