"""Instants in words: today the time, this week the weekday, else the date, and the year where it is not plain."""

from datetime import UTC, date, datetime

import pytest

from inventory.models import Branch
from inventory.times import show_day, show_when

NOW = datetime(2026, 5, 14, 15, tzinfo=UTC)  # a Thursday (Python's calendar module), 10:00 in Chicago


@pytest.mark.parametrize(
    ("at", "said"),
    [
        (datetime(2026, 5, 14, 22, tzinfo=UTC), "17:00"),
        (datetime(2026, 5, 11, 22, tzinfo=UTC), "Mon 17:00"),
        (datetime(2026, 5, 7, 22, tzinfo=UTC), "Thu 7 May 17:00"),
        (datetime(2025, 9, 23, 22, tzinfo=UTC), "Tue 23 Sep 2025 17:00"),
        (datetime(2027, 1, 4, 23, tzinfo=UTC), "Mon 4 Jan 2027 17:00"),
        (datetime(2026, 5, 20, 3, tzinfo=UTC), "Tue 22:00"),
    ],
)
def test_an_instant_says_as_much_of_its_day_as_it_takes(at: datetime, said: str) -> None:
    assert show_when(at, NOW, Branch(time_zone="America/Chicago")) == said


def test_a_day_nearly_a_year_away_says_its_year() -> None:
    today = date(2026, 1, 10)
    assert show_day(date(2026, 11, 6), today) == "Fri 6 Nov"
    assert show_day(date(2026, 11, 7), today) == "Sat 7 Nov 2026"
    assert show_day(date(2025, 12, 31), today) == "Wed 31 Dec 2025"
    assert show_day(date(2025, 12, 31)) == "Wed 31 Dec"
