"""What a forecast knows of suppliers: who sells a type, how long they take, what is on order and when it comes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from inventory.calendar import ShopCalendar, count_working_days, supplier_days
from inventory.models import Price, Supplier, SupplierWord, ToolType
from inventory.numerics.lead_time import LeadTime, fit_lead_time
from inventory.queries.purchasing import LeadRecord, OrderNow, expected_day, likely_day
from jobs.forecast_result import Arrival, LeadSaid


@dataclass(frozen=True)
class Supply:
    """Orders, prices and words as read once; asked without a query."""

    today: date
    calendar: ShopCalendar
    orders: Sequence[OrderNow]
    prices: Mapping[int, Price]
    words: Mapping[int, SupplierWord]
    records: Mapping[int, LeadRecord]
    suppliers: Mapping[int, Supplier]
    _leads: dict[int, LeadTime | None] = field(default_factory=dict)
    _expected: dict[int, tuple[date, bool]] = field(default_factory=dict)
    _quantiles: dict[int, tuple[float, float, float]] = field(default_factory=dict)

    def supplier_of(self, tool_type: ToolType) -> int | None:
        """Who a type is bought from: its own supplier, else whose price stands, else who got its last order."""
        if tool_type.supplier_id is not None:
            return tool_type.supplier_id
        if tool_type.pk in self.prices:
            return self.prices[tool_type.pk].supplier_id
        for order in self.orders:
            if any(line.line.tool_type_id == tool_type.pk for line in order.lines):
                return order.order.supplier_id
        return None

    def lead_of(self, supplier: int | None) -> LeadTime | None:
        """The lead time of a supplier by its word and the shop's orders; None when nothing is known."""
        if supplier is None:
            return None
        if supplier not in self._leads:
            word, record = self.words.get(supplier), self.records.get(supplier, LeadRecord())
            said = float(word.lead_working_days) if word is not None and word.lead_working_days else None
            self._leads[supplier] = fit_lead_time(said, record.received_days, record.open_days)
        return self._leads[supplier]

    def lead_said(self, supplier: int | None, sure_days: float | None) -> LeadSaid | None:
        """The same in the figures of the page, working days; sure_days: at the wanted certainty."""
        lead = self.lead_of(supplier)
        if supplier is None or lead is None:
            return None
        if supplier not in self._quantiles:
            self._quantiles[supplier] = lead.quantile(0.1), lead.quantile(0.5), lead.quantile(0.9)
        low, likely, high = self._quantiles[supplier]
        word = self.words.get(supplier)
        return LeadSaid(
            supplier_id=supplier,
            supplier=self.suppliers[supplier].name,
            low_days=low,
            likely_days=likely,
            high_days=high,
            sure_days=high if sure_days is None else sure_days,
            word_days=word.lead_working_days if word is not None else None,
            received=lead.received,
            still_open=lead.still_open,
            minimum_sets=max(1, word.minimum_sets) if word is not None else 1,
        )

    def arrivals(self, type_id: int) -> tuple[Arrival, ...]:
        """What is on order of a type, by the day it is expected."""
        found = []
        for order in self.orders:
            sets = sum(line.to_come for line in order.lines if line.line.tool_type_id == type_id)
            if sets:
                day, late = self.expected(order)
                kept = order.promised_on is not None and not late
                found.append(Arrival(order.order.pk, order.order.number, day, sets, late, kept))
        return tuple(sorted(found, key=lambda one: (one.day, one.order_id)))

    def on_the_way(self, type_id: int) -> tuple[list[date], list[int]]:
        """Of each set on order of a type the day it was promised for, or the supplier's working days it is waited for.

        Of a supplier of whom nothing is known the day it is expected.
        """
        promised: list[date] = []
        waited: list[int] = []
        for order in self.orders:
            sets = sum(line.to_come for line in order.lines if line.line.tool_type_id == type_id)
            if not sets:
                continue
            day, late = self.expected(order)
            known = self.lead_of(order.order.supplier_id) is not None
            if not known or (order.promised_on is not None and not late):
                promised += [day] * sets
            else:
                age = count_working_days(supplier_days(self.calendar), order.ordered_on, self.today)
                waited += [max(0, age)] * sets
        return promised, waited

    def expected(self, order: OrderNow) -> tuple[date, bool]:
        """The day an open order is expected, and whether its own day has passed."""
        if order.order.pk not in self._expected:
            lead = self.lead_of(order.order.supplier_id)
            self._expected[order.order.pk] = expected_day(order, lead, self.calendar, self.today)
        return self._expected[order.order.pk]

    def arrives(self, supplier: int | None, ordered_on: date) -> date | None:
        """The day on which an order of that day, today or later, is likely here; None when nobody knows how long."""
        lead = self.lead_of(supplier)
        return None if lead is None else likely_day(lead, self.calendar, ordered_on, ordered_on)[0]
