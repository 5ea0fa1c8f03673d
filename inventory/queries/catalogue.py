"""What the catalogue says on a day: the ladder, recipes, prices, suppliers' words, the shop's calendar.

Dated words: of those valid on the day the newest one holds; with ``known_by`` only what was on record by then counts.
Every question is one query for any number of types (the calendar: three).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable
from datetime import date, datetime, time
from typing import TypeVar

from django.db.models import QuerySet

from inventory.calendar import Hours, ShopCalendar
from inventory.colour import MOST_PLACES
from inventory.models import (
    Branch,
    ClosedDay,
    Price,
    Recipe,
    ShopHours,
    ShopHoursDay,
    SupplierWord,
    ToolType,
)
from inventory.models.base import Version

# The hours of a shop that has not said its own: Monday to Friday, 07:00 to 17:00. Our assumption.
START_HOURS: dict[int, tuple[Hours, ...]] = {weekday: ((time(7), time(17)),) for weekday in range(5)}

Row = TypeVar("Row", bound=Version)


def ladder(branch: Branch) -> dict[int, tuple[int, int]]:
    """Place (0 = coarsest) and number of places on the shop's ladder, by tool type id; one query.

    Types that share a `ladder_place` share a place here; holes close. Types out of use make no place of their own: they
    take the one they would fall on. A ladder longer than the 16 places of the colour ramp is pressed into 16.
    branch: the catalogue is one for all branches today; asked for so that it need not stay so.
    """
    return _ranked(list(ToolType.objects.values_list("pk", "ladder_place", "active")))


def ladder_of(types: Iterable[ToolType]) -> dict[int, tuple[int, int]]:
    """The same, of all tool types that were read already; no query."""
    return _ranked([(one.pk, one.ladder_place, one.active) for one in types])


def _ranked(rows: list[tuple[int, int, bool]]) -> dict[int, tuple[int, int]]:
    places = sorted({place for _pk, place, active in rows if active}) or sorted({place for _pk, place, _a in rows})
    count = min(len(places), MOST_PLACES)

    def rank(place: int) -> int:
        dense = min(bisect_left(places, place), len(places) - 1)
        return dense if count == len(places) else dense * count // len(places)

    return {pk: (rank(place), count) for pk, place, _active in rows}


def recipe_of(tool_type_ids: Iterable[int], at: date, *, known_by: datetime | None = None) -> dict[int, Recipe]:
    """The recipe that holds on a day, by tool type id; types without one are left out. One query.

    For a set that lies in water the recipe of its soak holds instead: `inventory.queries.soak` asks for that one.
    """
    rows = Recipe.objects.filter(tool_type_id__in=list(tool_type_ids))
    return {row.tool_type_id: row for row in _standing(rows, at, known_by)}


def price_of(tool_type_ids: Iterable[int], at: date, *, known_by: datetime | None = None) -> dict[int, Price]:
    """The price of one set on a day, by tool type id: the type's own supplier's if it gave one, else the newest.

    One query; types without a price are left out. Whoever shows it asks for the right to see money.
    """
    found: dict[int, Price] = {}
    rows = Price.objects.filter(tool_type_id__in=list(tool_type_ids)).select_related("tool_type")
    for row in _standing(rows, at, known_by):
        before = found.get(row.tool_type_id)
        own = row.tool_type.supplier_id
        if before is None or before.supplier_id != own or row.supplier_id == own:
            found[row.tool_type_id] = row
    return found


def lead_word(supplier_ids: Iterable[int], at: date, *, known_by: datetime | None = None) -> dict[int, SupplierWord]:
    """What each supplier says of delivery on a day, by supplier id; those who said nothing are left out. One query."""
    rows = SupplierWord.objects.filter(supplier_id__in=list(supplier_ids))
    return {row.supplier_id: row for row in _standing(rows, at, known_by)}


def shop_calendar(branch: Branch, today: date, *, known_by: datetime | None = None) -> ShopCalendar:
    """The branch's hours valid on a day and its closed days, past and to come; three queries.

    Of two words about one closed day the later one holds. A shop that never said its hours has START_HOURS.
    """
    hours = _standing(ShopHours.objects.filter(branch=branch), today, known_by).last()
    spans: dict[int, list[Hours]] = {}
    if hours is not None:
        for row in ShopHoursDay.objects.filter(hours=hours).order_by("weekday", "opens"):
            spans.setdefault(row.weekday, []).append((row.opens, row.closes))
    words = ClosedDay.objects.filter(branch=branch)
    if known_by is not None:
        words = words.filter(recorded_at__lte=known_by)
    closed = dict(words.order_by("recorded_at", "pk").values_list("day", "closed"))
    return ShopCalendar(
        zone=branch.time_zone,
        hours=START_HOURS if hours is None else {weekday: tuple(of_day) for weekday, of_day in spans.items()},
        closed=frozenset(day for day, shut in closed.items() if shut),
    )


def closed_names(branch: Branch, since: date | None = None) -> dict[date, str]:
    """The closed days (from ``since`` on) in order, each with why, "" where nobody said; one query."""
    words = ClosedDay.objects.filter(branch=branch).order_by("recorded_at", "pk")
    said = {row.day: row for row in (words if since is None else words.filter(day__gte=since))}
    return {day: row.name for day, row in sorted(said.items()) if row.closed}


def _standing(rows: QuerySet[Row], at: date, known_by: datetime | None) -> QuerySet[Row]:
    """Of dated words those valid on a day and known by an instant, the one that holds last."""
    rows = rows.filter(valid_from__lte=at)
    if known_by is not None:
        rows = rows.filter(recorded_at__lte=known_by)
    return rows.order_by("valid_from", "recorded_at", "pk")
