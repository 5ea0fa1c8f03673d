"""A supplier's smallest order is of the whole order, not of each line: which line is raised until it is reached."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date, timedelta

from jobs.forecast_result import DUE_WITHIN, TypeForecast


def least_sets(types: Iterable[TypeForecast], minimum: Mapping[int, int], today: date) -> dict[int, int]:
    """How many sets at least of which tool type, by id, where an order would fall below its supplier's smallest one.

    minimum: sets, by supplier id. One order holds the types of a supplier that are to be ordered within a week of each
    other (our assumption); the most urgent of them is raised. Orders that are large enough raise nothing.
    """
    raised = {}
    for together in order_groups(types, today):
        first = together[0]
        lacking = (minimum.get(first.lead.supplier_id, 1) if first.lead else 1) - sum(one.sets or 0 for one in together)
        if lacking > 0:
            raised[first.tool_type_id] = (first.sets or 0) + lacking
    return raised


def order_groups(types: Iterable[TypeForecast], today: date) -> list[list[TypeForecast]]:
    """The types that go on one order: of one supplier, within a week of each other; the most urgent of each first."""
    by_supplier: dict[int, list[tuple[date, TypeForecast]]] = defaultdict(list)
    for one in types:
        if one.sets and one.order_by is not None and one.lead is not None:
            by_supplier[one.lead.supplier_id].append((max(one.order_by, today), one))
    groups = []
    for wanted in by_supplier.values():
        rest = sorted(wanted, key=lambda pair: (pair[0], pair[1].order_by, pair[1].tool_type_id))
        while rest:
            until = rest[0][0] + timedelta(days=DUE_WITHIN)
            together = [one for day, one in rest if day <= until]
            rest = rest[len(together) :]
            groups.append(together)
    return groups
