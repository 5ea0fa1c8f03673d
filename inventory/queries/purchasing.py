"""What was ordered, what of it is here, and how long each supplier took: orders as they stand, or as they were known.

A constant number of queries (four) for any number of orders.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Literal

import numpy as np
from django.db.models import Prefetch

from inventory.calendar import ShopCalendar, add_working_days, count_working_days, supplier_days, working_day_from
from inventory.models import Branch, Entry, Order, OrderEvent, OrderLine, Person
from inventory.numerics import lognormal
from inventory.numerics.lead_time import NO_WORD_DAYS, LeadTime, fit_lead_time
from inventory.queries.catalogue import lead_word, shop_calendar
from inventory.times import zone_of

Stage = Literal["sent", "part", "here", "closed"]
_ENDS = (OrderEvent.What.CLOSED, OrderEvent.What.CANCELLED)


@dataclass(frozen=True)
class Receipt:
    """One set that came on a line: the day at the branch, its code, and what was paid (None: not said)."""

    day: date
    code: str
    price: Decimal | None


@dataclass(frozen=True)
class LineNow:
    """A line as it stands: wanted, here, still to come (0 when the order is closed)."""

    line: OrderLine
    receipts: tuple[Receipt, ...]
    to_come: int

    @property
    def here(self) -> int:
        """Sets that came."""
        return len(self.receipts)

    @property
    def paid_otherwise(self) -> Decimal | None:
        """A price that was paid for a set and is not the ordered one, the last of them; None while all agree."""
        other = [one.price for one in self.receipts if one.price is not None and one.price != self.line.price]
        return other[-1] if other and self.line.price is not None else None


@dataclass(frozen=True)
class OrderNow:
    """An order as it stands. ordered_on, promised_on: by its newest events; ended: the event that closed it."""

    order: Order
    ordered_on: date
    ordered_by: Person
    promised_on: date | None
    ended: OrderEvent | None
    lines: tuple[LineNow, ...]

    @property
    def wanted(self) -> int:
        """Sets ordered."""
        return sum(line.line.sets for line in self.lines)

    @property
    def here(self) -> int:
        """Sets that came."""
        return sum(line.here for line in self.lines)

    @property
    def to_come(self) -> int:
        """Sets that have not come yet; 0 once closed."""
        return sum(line.to_come for line in self.lines)

    @property
    def days_came(self) -> list[date]:
        """The days on which something came, in order."""
        return sorted({one.day for line in self.lines for one in line.receipts})

    @property
    def stage(self) -> Stage:
        """Where the order stands."""
        if self.to_come == 0 and self.here >= self.wanted:
            return "here"
        if self.ended is not None:
            return "closed"
        return "part" if self.here else "sent"

    @property
    def total(self) -> Decimal | None:
        """What it costs by its lines' prices; None when a price is missing."""
        known = [line.line.price * line.line.sets for line in self.lines if line.line.price is not None]
        return sum(known, Decimal(0)) if known and len(known) == len(self.lines) else None


def orders_now(
    branch: Branch,
    *,
    known_by: datetime | None = None,
    only: Iterable[int] | None = None,
    supplier_id: int | None = None,
) -> list[OrderNow]:
    """The branch's orders as they stand, the newest first; four queries.

    known_by: as it was known at that instant. only: these orders by id. supplier_id: those of one supplier.
    """
    lines = OrderLine.objects.select_related("tool_type").order_by("tool_type__ladder_place", "pk")
    events = OrderEvent.objects.select_related("recorded_by").order_by("on_day", "recorded_at", "pk")
    orders = Order.objects.filter(branch=branch)
    if known_by is not None:
        lines, events = lines.filter(recorded_at__lte=known_by), events.filter(recorded_at__lte=known_by)
        orders = orders.filter(made_at__lte=known_by)
    if only is not None:
        orders = orders.filter(pk__in=list(only))
    if supplier_id is not None:
        orders = orders.filter(supplier_id=supplier_id)
    rows = list(
        orders.select_related("supplier", "made_by")
        .prefetch_related(Prefetch("lines", lines), Prefetch("events", events))
        .order_by("-made_at", "-pk")
    )
    came = _receipts(branch, rows, known_by) if rows else {}
    return [_order_now(row, came) for row in rows]


def _order_now(order: Order, came: dict[int, list[Receipt]]) -> OrderNow:
    events = list(order.events.all())
    said = {event.what: event for event in events}  # the newest of each
    ordered = said.get(OrderEvent.What.ORDERED)
    promised = said.get(OrderEvent.What.PROMISED)
    ended = next((event for event in events if event.what in _ENDS), None)
    lines = []
    for line in order.lines.all():
        receipts = tuple(came.get(line.pk, ()))
        to_come = 0 if ended is not None else max(0, line.sets - len(receipts))
        lines.append(LineNow(line, receipts, to_come))
    return OrderNow(
        order,
        ordered.on_day if ordered else order.made_at.date(),
        ordered.recorded_by if ordered else order.made_by,
        promised.on_day if promised else None,
        ended,
        tuple(lines),
    )


def _receipts(branch: Branch, orders: list[Order], known_by: datetime | None) -> dict[int, list[Receipt]]:
    """What came on each line and was not voided, in order; one query."""
    got = Entry.objects.filter(kind="received", order_line__order__in=orders, act__held_back="")
    voids = Entry.objects.filter(kind="voided", act__held_back="")
    if known_by is not None:
        got, voids = got.filter(act__recorded_at__lte=known_by), voids.filter(act__recorded_at__lte=known_by)
    zone = zone_of(branch)
    found: dict[int, list[Receipt]] = defaultdict(list)
    rows: Iterable[tuple[Any, ...]] = (
        got.exclude(pk__in=voids.values("void_target"))
        .order_by("act__happened_at", "line_no")
        .values_list("order_line_id", "act__happened_at", "tool_set__state__code", "receipt_line__price")
    )
    for line_id, at, code, price in rows:
        found[line_id].append(Receipt(at.astimezone(zone).date(), code or "", price))
    return found


@dataclass(frozen=True)
class LeadRecord:
    """How long a supplier's orders took: working days of those that came, ages of those still open."""

    received_days: tuple[float, ...] = ()
    open_days: tuple[float, ...] = ()


def lead_records(orders: Iterable[OrderNow], calendar: ShopCalendar, today: date) -> dict[int, LeadRecord]:
    """What the orders say of each supplier's lead time, by supplier id; no query.

    An order took until its last set came (our assumption: a part does not finish the floor). One still open is as old
    as it is. One closed with sets missing counts by what came, and not at all when nothing did.
    calendar: the shop's; days are counted as suppliers count them, Monday to Friday.
    """
    calendar = supplier_days(calendar)
    received: dict[int, list[float]] = defaultdict(list)
    still_open: dict[int, list[float]] = defaultdict(list)
    for order in orders:
        supplier = order.order.supplier_id
        days = order.days_came
        if order.to_come:
            still_open[supplier].append(float(max(0, count_working_days(calendar, order.ordered_on, today))))
        elif days:
            received[supplier].append(float(max(0, count_working_days(calendar, order.ordered_on, days[-1]))))
    return {
        supplier: LeadRecord(tuple(received[supplier]), tuple(still_open[supplier]))
        for supplier in received.keys() | still_open.keys()
    }


def likely_day(lead: LeadTime | None, calendar: ShopCalendar, ordered_on: date, today: date) -> tuple[date, bool]:
    """The one day on which an order of that day is likely here, and whether it is older than such orders usually get.

    The median of the lead time, given that it took this long already; of a supplier nobody knows anything about three
    weeks (our assumption); never before the next working day, and on a day on which the shop is there to take it.
    """
    theirs = supplier_days(calendar)
    age = max(0, count_working_days(theirs, ordered_on, today))
    usual = likely = NO_WORD_DAYS
    if lead is not None:
        usual = likely = lead.quantile(0.5)
        if age:
            still = float(lognormal.survive_new(lead.belief, np.array([float(age)]))[0])
            likely = lead.quantile(min(0.999, max(0.001, 1 - still / 2)))
    there = add_working_days(theirs, ordered_on, math.ceil(max(likely, age + 1.0)))
    return working_day_from(calendar, there), age > usual


def expected_day(order: OrderNow, lead: LeadTime | None, calendar: ShopCalendar, today: date) -> tuple[date, bool]:
    """The day an open order is expected, and whether its own day has passed: the promised day while it lies ahead."""
    if order.promised_on is not None and order.promised_on >= today:
        return order.promised_on, False
    day, old = likely_day(lead, calendar, order.ordered_on, today)
    return day, order.promised_on is not None or old


def supplier_lead(branch: Branch, supplier_id: int, today: date) -> LeadTime | None:
    """How long a supplier takes by its word and the branch's orders; None when nothing is known. Eight queries."""
    orders = orders_now(branch, supplier_id=supplier_id)
    record = lead_records(orders, shop_calendar(branch, today), today).get(supplier_id, LeadRecord())
    word = lead_word([supplier_id], today).get(supplier_id)
    said = float(word.lead_working_days) if word is not None and word.lead_working_days else None
    return fit_lead_time(said, record.received_days, record.open_days)
