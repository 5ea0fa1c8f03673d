"""The shop's calendar: who is there when, and counting in working days. Pure; instants come in and go out in UTC.

Shop hours are wall-clock times in the branch's zone. A wall time that a clock change skips is read with the offset
before the change, one that occurs twice means its first occurrence (RFC 5545 section 3.3.5, from memory); only a
closing time that occurs twice means the second, so that nobody is sent home early.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

Hours = tuple[time, time]
_LOOK_DAYS = 732  # two years without a working day: the hours are not filled in


class NoWorkingDay(ValueError):
    """The calendar holds no working day within two years of the day asked about."""


@dataclass(frozen=True)
class ShopCalendar:
    """Shop hours per weekday (0 = Monday), closed days, and the zone they are meant in.

    hours: spans (opens, closes) per weekday, none for a free day; a span that closes at or before it opens runs past
    midnight and belongs to the day it opens on. closed: whole days without anybody.
    Raises: ValueError for a weekday outside 0-6, an aware time, a zone nobody knows.
    """

    zone: str
    hours: Mapping[int, tuple[Hours, ...]]
    closed: frozenset[date] = field(default_factory=frozenset)

    def __post_init__(self) -> None:
        try:
            ZoneInfo(self.zone)
        except (KeyError, ValueError, OSError) as unknown:
            raise ValueError(f"`zone` must be a time zone such as Europe/Madrid; got {self.zone!r}.") from unknown
        for weekday, spans in self.hours.items():
            if weekday not in range(7):
                raise ValueError(f"`hours` must be by weekday, 0 (Monday) to 6; got {weekday!r}.")
            for opens, closes in spans:
                if opens.tzinfo is not None or closes.tzinfo is not None:
                    raise ValueError(f"`hours` must be wall-clock times without a zone; got {opens}-{closes}.")

    @property
    def tz(self) -> ZoneInfo:
        return ZoneInfo(self.zone)


def _utc(instant: datetime, name: str = "instant") -> datetime:
    if instant.tzinfo is None:
        raise ValueError(f"`{name}` must carry a time zone; got {instant.isoformat()}.")
    return instant.astimezone(UTC)


def local_day(calendar: ShopCalendar, instant: datetime) -> date:
    """The shop's date at an instant. Raises: ValueError for an instant without a zone."""
    return _utc(instant).astimezone(calendar.tz).date()


def at_wall_time(calendar: ShopCalendar, day: date, clock: time, *, latest: bool = False) -> datetime:
    """The instant (UTC) at which the shop's clock shows a time on a day; see the module for clock changes."""
    wall = datetime.combine(day, clock.replace(fold=0), tzinfo=calendar.tz)
    first = wall.astimezone(UTC)
    if latest:
        second = wall.replace(fold=1).astimezone(UTC)
        return max(first, second)
    return first


def is_working_day(calendar: ShopCalendar, day: date) -> bool:
    """Whether the shop opens on that day at all."""
    return day not in calendar.closed and bool(calendar.hours.get(day.weekday()))


def supplier_days(calendar: ShopCalendar) -> ShopCalendar:
    """The days a supplier's "working days" count: Monday to Friday, whatever days the shop itself works, less the
    shop's closed days (public holidays are written there). A supplier's own holidays are not known: our assumption.
    """
    whole = ((time(0), time(23, 59)),)
    return ShopCalendar(calendar.zone, dict.fromkeys(range(5), whole), calendar.closed)


def working_day_from(calendar: ShopCalendar, day: date) -> date:
    """That day or the next working day. Raises: NoWorkingDay."""
    return _seek(calendar, day, 1)


def working_day_until(calendar: ShopCalendar, day: date) -> date:
    """That day or the last working day before it. Raises: NoWorkingDay."""
    return _seek(calendar, day, -1)


def _seek(calendar: ShopCalendar, day: date, step: int) -> date:
    for ahead in range(_LOOK_DAYS):
        there = day + timedelta(days=ahead * step)
        if is_working_day(calendar, there):
            return there
    raise NoWorkingDay(f"The calendar has no working day within two years of {day}: set the shop hours first.")


def add_working_days(calendar: ShopCalendar, day: date, count: int) -> date:
    """The count-th working day after `day` (before it, if count is negative); `day` itself need not be one.

    0 gives the day itself if it is a working day, else the last one before it: what is due on a closed day must be
    done while somebody is there. Raises: NoWorkingDay.
    """
    if count == 0:
        return working_day_until(calendar, day)
    step = 1 if count > 0 else -1
    there = day
    for _ in range(abs(count)):
        there = _seek(calendar, there + timedelta(days=step), step)
    return there


def subtract_working_days(calendar: ShopCalendar, day: date, count: int) -> date:
    """The count-th working day before `day`. Raises: NoWorkingDay."""
    return add_working_days(calendar, day, -count)


def count_working_days(calendar: ShopCalendar, start: date, end: date) -> int:
    """Working days after `start` up to and including `end`; negative when `end` lies before `start`.

    So an order of Friday received on Monday took 1 working day, and the inverse of `add_working_days` on working days.
    """
    if end < start:
        return -count_working_days(calendar, end, start)
    return sum(is_working_day(calendar, start + timedelta(days=k)) for k in range(1, (end - start).days + 1))


def working_days_ahead(calendar: ShopCalendar, today: date, days: int) -> list[int]:
    """count_working_days(today, today + d) for d = 0...days, in one walk: the table reorder needs."""
    table = [0]
    for k in range(1, days + 1):
        table.append(table[-1] + is_working_day(calendar, today + timedelta(days=k)))
    return table


def staffed_spans(calendar: ShopCalendar, day: date) -> list[tuple[datetime, datetime]]:
    """Spans (from, to) in UTC in which somebody is there, for the spans that open on that day, in order."""
    if day in calendar.closed:
        return []
    spans = []
    for opens, closes in calendar.hours.get(day.weekday(), ()):
        end_day = day if closes > opens else day + timedelta(days=1)
        start = at_wall_time(calendar, day, opens)
        end = at_wall_time(calendar, end_day, closes, latest=True)
        if end > start:
            spans.append((start, end))
    return sorted(spans)


def is_staffed(calendar: ShopCalendar, instant: datetime) -> bool:
    """Whether somebody is there, opening and closing instant included. Raises: ValueError without a zone."""
    at = _utc(instant)
    day = local_day(calendar, at)
    near = (day - timedelta(days=1), day)
    return any(start <= at <= end for there in near for start, end in staffed_spans(calendar, there))


def last_staffed(calendar: ShopCalendar, instant: datetime) -> datetime:
    """The last instant (UTC) at or before this one at which somebody is there: itself, or the last closing.

    Raises: ValueError without a zone; NoWorkingDay.
    """
    at = _utc(instant)
    found: datetime | None = None
    day = local_day(calendar, at)
    for back in range(_LOOK_DAYS):
        for start, end in staffed_spans(calendar, day - timedelta(days=back)):
            if start <= at and (found is None or min(end, at) > found):
                found = min(end, at)
        # Yesterday's span may run past midnight and end later than today's early one: look one day further.
        if found is not None and local_day(calendar, found) > day - timedelta(days=back):
            return found
    if found is not None:
        return found
    raise NoWorkingDay(f"Nobody is there in the two years before {at:%Y-%m-%d}: set the shop hours first.")


def next_staffed(calendar: ShopCalendar, instant: datetime) -> datetime:
    """The first instant (UTC) at or after this one at which somebody is there: itself, or the next opening.

    Raises: ValueError without a zone; NoWorkingDay.
    """
    at = _utc(instant)
    if is_staffed(calendar, at):
        return at
    day = local_day(calendar, at)
    for ahead in range(_LOOK_DAYS):
        starts = [start for start, _ in staffed_spans(calendar, day + timedelta(days=ahead)) if start >= at]
        if starts:
            return starts[0]
    raise NoWorkingDay(f"Nobody is there in the two years after {at:%Y-%m-%d}: set the shop hours first.")


def staffed_hours(calendar: ShopCalendar, start: datetime, end: datetime) -> Iterator[datetime]:
    """Whole wall-clock hours (UTC instants) from start to end, both included, at which somebody is there."""
    at = _utc(start, "start").astimezone(calendar.tz)
    stop = _utc(end, "end")
    hour = at.replace(minute=0, second=0, microsecond=0).astimezone(UTC)
    if hour < _utc(start):
        hour += timedelta(hours=1)
    while hour <= stop:
        if is_staffed(calendar, hour):
            yield hour
        hour += timedelta(hours=1)
