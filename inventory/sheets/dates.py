"""Dates in the several forms people keep, and the order of day and month decided by evidence."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal

from .fields import DateOrder
from .raw import Cell

_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "january jan enero ene",
            "february feb febrero",
            "march mar marzo",
            "april apr abril abr",
            "may mayo",
            "june jun junio",
            "july jul julio",
            "august aug agosto ago",
            "september sep sept septiembre setiembre set",
            "october oct octubre",
            "november nov noviembre",
            "december dec diciembre dic",
        ),
        1,
    )
    for name in names.split()
}
_YEAR_FIRST = re.compile(r"^(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})$")
_COMPACT = re.compile(r"^(20\d\d|19\d\d)(\d\d)(\d\d)$")
_THREE_NUMBERS = re.compile(r"^(\d{1,2})\s?[-/.]\s?(\d{1,2})\s?[-/.]\s?(\d{4}|\d{2})$")
_DAY_WORD = re.compile(
    r"^(\d{1,2})(?:st|nd|rd|th|º|°)?[\s.,/-]*(?:de\s+|of\s+)?([^\W\d_]+)[\s.,/-]*(?:de[l]?\s+)?(\d{4}|\d{2})$"
)
_WORD_DAY = re.compile(r"^([^\W\d_]+)[\s.,/-]*(\d{1,2})(?:st|nd|rd|th)?[\s.,/-]+(\d{4}|\d{2})$")
_CLOCK_TAIL = re.compile(
    r"[T\s,]+\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?\s*(?:[ap]\.?m\.?)?(?:Z|[+-]\d\d:?\d\d)?$", re.IGNORECASE
)
_WEEKDAY = re.compile(
    r"^(?:mon|tue|wed|thu|fri|sat|sun|lun|mar|mi[ée]|jue|vie|s[áa]b|dom)[^\W\d_]*[.,]?\s+(?=\d|[^\W\d_]+\s+\d)",
    re.IGNORECASE,
)
# Day 0 of the serial numbers that spreadsheet programs write; the common 1900 system.
_SERIAL_ZERO = date(1899, 12, 30)


@dataclass(frozen=True)
class TwoDates:
    """Three numbers that are a date in either order."""

    day_first: date
    month_first: date


def read_date(cell: Cell) -> date | TwoDates | None:
    """Read a date; TwoDates when day and month could change places; None when it is no date.

    Takes native dates, ISO, "14.05.2024", "5/14/24", "14-May-24", "May 14, 2024", "14 de mayo de 2024", a clock time
    behind any of them, and serial numbers of 1954 to 2079. Two-digit years are 1970 to 2069.
    """
    if isinstance(cell, datetime):
        return cell.date()
    if isinstance(cell, date):
        return cell
    if isinstance(cell, bool) or cell is None:
        return None
    if isinstance(cell, int | float):
        return _SERIAL_ZERO + timedelta(days=int(cell)) if 20_000 <= cell < 65_500 else None
    text = " ".join(str(cell).split()).strip(" .")
    text = _CLOCK_TAIL.sub("", text).strip()
    text = _WEEKDAY.sub("", text)
    found = _YEAR_FIRST.match(text) or _COMPACT.match(text)
    if found:
        return _date(int(found[1]), int(found[2]), int(found[3]))
    found = _THREE_NUMBERS.match(text)
    if found:
        first, second, year = int(found[1]), int(found[2]), _year(found[3])
        day_first, month_first = _date(year, second, first), _date(year, first, second)
        if day_first and month_first and day_first != month_first:
            return TwoDates(day_first, month_first)
        return day_first or month_first
    found = _DAY_WORD.match(text)
    if found and found[2].lower() in _MONTHS:
        return _date(_year(found[3]), _MONTHS[found[2].lower()], int(found[1]))
    found = _WORD_DAY.match(text)
    if found and found[1].lower() in _MONTHS:
        return _date(_year(found[3]), _MONTHS[found[1].lower()], int(found[2]))
    return None


def _year(text: str) -> int:
    year = int(text)
    return year if len(text) == 4 else 2000 + year if year < 70 else 1900 + year


def _date(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def order_by_evidence(cells: Iterable[Cell], *, past: bool, today: date) -> DateOrder | Literal["mixed"] | None:
    """How a column writes its dates: decided by days above 12 and, for what has happened, by days not yet come.

    "mixed" when some dates can only be day first and others only month first; None without evidence.
    """
    day_first = month_first = 0
    future_if_day_first = future_if_month_first = 0
    for cell in cells:
        if not isinstance(cell, str):
            continue
        read = read_date(cell)
        if isinstance(read, TwoDates):
            future_if_day_first += read.day_first > today
            future_if_month_first += read.month_first > today
            continue
        found = _THREE_NUMBERS.match(_CLOCK_TAIL.sub("", " ".join(cell.split()).strip(" .")).strip())
        if read is not None and found:
            day_first += int(found[1]) > 12
            month_first += int(found[2]) > 12
    if day_first and month_first:
        return "mixed"
    if day_first or month_first:
        return "dmy" if day_first else "mdy"
    if past and bool(future_if_day_first) != bool(future_if_month_first):
        return "mdy" if future_if_day_first else "dmy"
    return None
