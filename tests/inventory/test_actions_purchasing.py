"""Orders: placed once, received in parts with labels, closed when whole; a counter purchase needs none."""

from __future__ import annotations

import random
from decimal import Decimal

import pytest

from inventory.actions.purchasing import (
    MoreThanOrdered,
    OrderRefused,
    ReceiptRefused,
    Wanted,
    close_order,
    open_sets,
    order_total,
    place_order,
    receive,
)
from inventory.models import Entry, Order, OrderEvent, ReceiptLine, SetState, ToolSet
from tests.cast import NOW, TODAY, hours, make_cast, make_place, make_supplier, make_type, who

pytestmark = pytest.mark.django_db


def test_an_order_placed_twice_under_one_number_is_one_order() -> None:
    cast = make_cast()
    supplier, wanted = make_supplier(), [Wanted(make_type(), 4, Decimal("310.00"))]

    first = place_order(cast.ruta, cast.branch, supplier, wanted, on_day=TODAY, now=NOW, number="A-1")
    again = place_order(cast.ruta, cast.branch, supplier, wanted, on_day=TODAY, now=NOW, number="A-1")

    assert first == again
    assert Order.objects.count() == 1
    assert order_total(first) == Decimal("1240.00")


def test_orders_without_a_number_count_through_the_year() -> None:
    cast = make_cast()
    orders = [
        place_order(cast.ruta, cast.branch, make_supplier(f"S{n}"), [Wanted(make_type(), 1)], on_day=TODAY, now=NOW)
        for n in range(2)
    ]

    assert [order.number for order in orders] == ["2025-001", "2025-002"]


def test_receiving_in_parts_labels_every_set_until_all_came() -> None:
    cast = make_cast()
    rack = make_place(cast.branch)
    order = place_order(cast.ruta, cast.branch, make_supplier(), [Wanted(make_type(), 3)], on_day=TODAY, now=NOW)
    line = order.lines.get()
    for count in (2, 1):
        received = receive(
            who(cast.ruta, cast.device),
            cast.branch,
            line.tool_type,
            count,
            now=NOW,
            rng=random.Random(count),
            place=rack,
            supplier=order.supplier,
            price=Decimal("310.00"),
            order_line=line,
        )
        assert len(received.labels) == count

    assert open_sets([order]) == {line.pk: 0}
    assert SetState.objects.filter(place=rack, opening="new").exclude(code="").count() == 3
    assert [event.what for event in order.events.order_by("pk")] == ["ordered", "received", "received"]
    assert ReceiptLine.objects.filter(price=Decimal("310.00"), currency="USD").count() == 3


def test_receiving_again_with_the_same_key_changes_nothing() -> None:
    cast = make_cast()
    person = who(cast.ruta, cast.device)
    for _ in range(2):
        received = receive(person, cast.branch, make_type(), 2, now=NOW, rng=random.Random(1))

    assert len(received.sets) == len(received.labels) == 2
    assert ToolSet.objects.count() == 2
    assert Entry.objects.filter(kind="received").count() == 2


def test_more_than_ordered_is_asked_about_and_kept_when_right() -> None:
    cast = make_cast()
    order = place_order(cast.ruta, cast.branch, make_supplier(), [Wanted(make_type(), 1)], on_day=TODAY, now=NOW)
    line = order.lines.get()

    with pytest.raises(MoreThanOrdered, match="2 came, but 1 set of resin 400 is still open"):
        receive(
            who(cast.ruta, cast.device), cast.branch, line.tool_type, 2, now=NOW, rng=random.Random(1), order_line=line
        )
    assert ToolSet.objects.count() == 0

    receive(
        who(cast.ruta, cast.device),
        cast.branch,
        line.tool_type,
        2,
        now=NOW,
        rng=random.Random(1),
        order_line=line,
        sure=True,
    )
    assert ToolSet.objects.count() == 2


def test_no_sets_and_two_hundred_and_one_are_refused() -> None:
    cast = make_cast()
    for count in (0, 201):
        with pytest.raises(ReceiptRefused, match=f"{count} sets cannot be received at once"):
            receive(who(cast.ruta, cast.device), cast.branch, make_type(), count, now=NOW, rng=random.Random(1))


def test_an_order_without_lines_or_sets_is_refused() -> None:
    cast = make_cast()
    with pytest.raises(OrderRefused, match="at least one line"):
        place_order(cast.ruta, cast.branch, make_supplier(), [], on_day=TODAY, now=NOW)
    with pytest.raises(OrderRefused, match="0 sets of resin 400 cannot be ordered"):
        place_order(cast.ruta, cast.branch, make_supplier("B"), [Wanted(make_type(), 0)], on_day=TODAY, now=NOW)


def test_a_closed_order_expects_nothing_more_and_was_open_when_known_earlier() -> None:
    cast = make_cast()
    order = place_order(cast.ruta, cast.branch, make_supplier(), [Wanted(make_type(), 5)], on_day=TODAY, now=NOW)
    close_order(cast.ruta, order, "supplier has none left", on_day=TODAY, now=NOW + hours(48))
    close_order(cast.ruta, order, "again", on_day=TODAY, now=NOW + hours(49))
    line = order.lines.get()

    assert open_sets([order]) == {line.pk: 0}
    assert open_sets([order], known_by=NOW + hours(1)) == {line.pk: 5}
    assert order.events.filter(what=OrderEvent.What.CLOSED).count() == 1
