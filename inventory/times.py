"""Instants as people read them at the branch: "05:00", "Thu 05:00", "Wed 14 May 05:00", "Wed 14 May 2025"."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils import formats
from django.utils.translation import gettext as _

from inventory.models import Branch, Person

# Within so many days the weekday alone says which day is meant.
_WEEKDAY_SAYS = timedelta(days=6)
# A day of another year, or nearly a year away, is told with its year.
_YEAR_UNSAID = timedelta(days=300)


def zone_of(branch: Branch) -> ZoneInfo:
    """The branch's time zone."""
    return ZoneInfo(branch.time_zone)


def show_time(at: datetime, branch: Branch, *, clock_24h: bool = True) -> str:
    """The time of day at the branch: "05:00", or "5:00 a.m." for those who read twelve hours."""
    return str(formats.date_format(at.astimezone(zone_of(branch)), "H:i" if clock_24h else "g:i a"))


def show_day(day: date, today: date | None = None) -> str:
    """A day: "Wed 14 May"; where today is known and that would leave the year open, "Wed 14 May 2025"."""
    far = today is not None and (day.year != today.year or abs(day - today) > _YEAR_UNSAID)
    return str(formats.date_format(day, "D j M Y" if far else "D j M"))


def show_when(at: datetime, now: datetime, branch: Branch, *, clock_24h: bool = True) -> str:
    """When: today only the time, within six days with the weekday, else with the date (and year)."""
    zone = zone_of(branch)
    day, today = at.astimezone(zone).date(), now.astimezone(zone).date()
    time = show_time(at, branch, clock_24h=clock_24h)
    if day == today:
        return time
    word = str(formats.date_format(day, "D")) if abs(day - today) <= _WEEKDAY_SAYS else show_day(day, today)
    return _("%(day)s %(time)s") % {"day": word, "time": time}


def when_for(person: Person, at: datetime, now: datetime) -> str:
    """``show_when`` in the person's branch and clock."""
    return show_when(at, now, person.branch, clock_24h=person.clock_24h)
