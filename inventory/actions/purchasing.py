"""Orders and what comes of them: placed, received in parts with labels, closed. A counter purchase needs no order."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import NAMESPACE_OID, UUID, uuid5

from django.db import transaction
from django.db.models import Count
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.label import make_blank
from inventory.actions.ledger import NewLine, Recorded, Who, already, record
from inventory.models import (
    Branch,
    Entry,
    Label,
    Order,
    OrderEvent,
    OrderLine,
    Person,
    Place,
    ReceiptLine,
    Supplier,
    ToolSet,
    ToolType,
)
from inventory.refusals import Refused
from inventory.said_text import trimmed
from inventory.times import show_day, zone_of

MOST_AT_ONCE = 200


class OrderRefused(Refused):
    """The order cannot be kept so."""

    code = "order"


class ReceiptRefused(Refused):
    """What came cannot be received so."""

    code = "receipt"


class MoreThanOrdered(Refused):
    """More came than is still open on the line: said to be right, it is kept."""

    code = "more_than_ordered"


@dataclass(frozen=True)
class Wanted:
    """One line of an order: so many sets of a type, at a price where it is known."""

    tool_type: ToolType
    sets: int
    price: Decimal | None = None


@dataclass(frozen=True)
class Received:
    """What came in: the act, the sets in the order they were made, and their labels."""

    recorded: Recorded
    sets: tuple[ToolSet, ...]
    labels: tuple[Label, ...]


def place_order(
    person: Person,
    branch: Branch,
    supplier: Supplier,
    wanted: Sequence[Wanted],
    *,
    on_day: date,
    now: datetime,
    number: str = "",
    key: UUID | None = None,
) -> Order:
    """Keep an order as placed on a day. number: the shop's own; without one the next of the year is taken.

    The same number, or the same key (made by the form), again gives the order there is. Raises OrderRefused.
    """
    if not wanted:
        raise OrderRefused(_("An order needs at least one line."), _("Add a tool type and how many sets."))
    for line in wanted:
        if line.sets < 1:
            raise OrderRefused(
                _("%(sets)d sets of %(type)s cannot be ordered.") % {"sets": line.sets, "type": line.tool_type.name},
                _("Order 1 or more, or take the line out."),
            )
    with transaction.atomic():
        Branch.objects.select_for_update().get(pk=branch.pk)
        if key is not None and (sent := Order.objects.filter(key=key).first()) is not None:
            return sent
        number = number.strip() or _next_number(branch, on_day)
        known = Order.objects.filter(number=number).first()
        if known is not None:
            if known.supplier_id != supplier.pk:
                raise OrderRefused(
                    _("Order %(number)s went to %(supplier)s.") % {"number": number, "supplier": known.supplier.name},
                    _("Give this one another number."),
                    field="number",
                )
            return known
        order = Order.objects.create(
            branch=branch, supplier=supplier, number=number, key=key, made_at=now, made_by=person
        )
        for line in wanted:
            OrderLine.objects.create(
                order=order,
                tool_type=line.tool_type,
                sets=line.sets,
                price=line.price,
                currency=branch.currency if line.price is not None else "",
                recorded_at=now,
            )
        _event(order, OrderEvent.What.ORDERED, on_day, person, now)
    return order


def receive(
    who: Who,
    branch: Branch,
    tool_type: ToolType,
    sets: int,
    *,
    now: datetime,
    rng: random.Random,
    place: Place | None = None,
    supplier: Supplier | None = None,
    price: Decimal | None = None,
    order_line: OrderLine | None = None,
    blank: Sequence[Label] = (),
    sure: bool = False,
) -> Received:
    """Take new sets of one type into the shop, each under a label of its own, in one act.

    blank: blank labels that were stuck on already, used first; new codes for the rest. price: of one set, kept on its
    receipt. order_line: what it was ordered on.
    Raises ReceiptRefused, MoreThanOrdered (unless ``sure``).
    """
    if not 1 <= sets <= MOST_AT_ONCE:
        raise ReceiptRefused(
            _("%(sets)d sets cannot be received at once.") % {"sets": sets},
            _("1 to %(most)d can.") % {"most": MOST_AT_ONCE},
            field="sets",
        )
    if len(blank) > sets or any(not label.blank for label in blank):
        raise ReceiptRefused(_("One of these labels belongs to a set already."), _("Scan blank labels only."))
    with transaction.atomic():
        if order_line is not None:
            OrderLine.objects.select_for_update().get(pk=order_line.pk)
        if (known := already(who.act_id)) is not None:
            return _received(known)
        if order_line is not None and not sure and sets > (left := open_sets([order_line.order])[order_line.pk]):
            raise MoreThanOrdered(
                ngettext(
                    "%(sets)d came, but %(left)d set of %(type)s is still open.",
                    "%(sets)d came, but %(left)d sets of %(type)s are still open.",
                    left,
                )
                % {"sets": sets, "left": left, "type": tool_type.name},
                _("Count again, or keep it if right."),
                field="sets",
            )
        made = [
            ToolSet(pk=uuid5(NAMESPACE_OID, f"{who.act_id} {number}"), tool_type=tool_type, made_at=now)
            for number in range(sets)
        ]
        ToolSet.objects.bulk_create(made)
        labels = [*blank, *_new_labels(branch, sets - len(blank), who, now, rng)]
        facts = {"branch": branch, "to_place": place, "supplier": supplier, "order_line": order_line}
        lines = []
        for tool_set, label in zip(made, labels, strict=True):
            lines.append(NewLine("received", tool_set, None, dict(facts)))
            lines.append(NewLine("labelled", tool_set, None, {"code": label}))
        recorded = record(who, branch, lines, now=now)
        if price is not None:
            ReceiptLine.objects.bulk_create(
                ReceiptLine(entry=entry, price=price, currency=branch.currency)
                for entry in recorded.entries
                if entry.kind == "received"
            )
        if order_line is not None:
            _note_receipt(order_line.order, who.done_by, now)
        return Received(recorded, tuple(made), tuple(labels))


def close_order(person: Person, order: Order, why: str, *, on_day: date, now: datetime) -> Order:
    """Close an order of which nothing more will come; closing it twice changes nothing.

    Raises OrderRefused without a reason.
    """
    if not trimmed(why):
        raise OrderRefused(_("An order is closed for a reason."), _("Say why nothing more will come."), field="why")
    with transaction.atomic():
        Order.objects.select_for_update().get(pk=order.pk)
        if not order.events.filter(what__in=[OrderEvent.What.CLOSED, OrderEvent.What.CANCELLED]).exists():
            _event(order, OrderEvent.What.CLOSED, on_day, person, now, why.strip())
    return order


def promise_order(person: Person, order: Order, day: date, *, now: datetime) -> Order:
    """Keep the day the supplier promises; the newest word holds, and the same day twice changes nothing.

    Raises OrderRefused for a day before the order, or of an order that is closed.
    """
    with transaction.atomic():
        Order.objects.select_for_update().get(pk=order.pk)
        events = list(order.events.order_by("recorded_at", "pk"))
        if any(event.what in (OrderEvent.What.CLOSED, OrderEvent.What.CANCELLED) for event in events):
            raise OrderRefused(_("Order %(number)s is closed.") % {"number": order.number}, _("Place a new one."))
        placed = next((event.on_day for event in events if event.what == OrderEvent.What.ORDERED), order.made_at.date())
        if day < placed:
            raise OrderRefused(
                _("%(day)s lies before the order of %(placed)s.")
                % {"day": show_day(day, placed), "placed": show_day(placed, day)},
                _("Write the day the supplier promised."),
                field="day",
            )
        before = [event.on_day for event in events if event.what == OrderEvent.What.PROMISED]
        if not before or before[-1] != day:
            _event(order, OrderEvent.What.PROMISED, day, person, now)
    return order


def open_sets(orders: Sequence[Order], *, known_by: datetime | None = None) -> dict[int, int]:
    """How many sets of each line have not come yet, by line id; 0 for lines of closed orders. Three queries.

    known_by: as it was known at that instant.
    """
    lines = OrderLine.objects.filter(order__in=orders)
    got = Entry.objects.filter(kind="received", order_line__order__in=orders)
    gone = OrderEvent.objects.filter(order__in=orders, what__in=[OrderEvent.What.CLOSED, OrderEvent.What.CANCELLED])
    voids = Entry.objects.filter(kind="voided")
    if known_by is not None:
        lines, gone = lines.filter(recorded_at__lte=known_by), gone.filter(recorded_at__lte=known_by)
        got, voids = got.filter(act__recorded_at__lte=known_by), voids.filter(act__recorded_at__lte=known_by)
    got = got.exclude(pk__in=voids.values("void_target"))
    came: Mapping[int, int] = dict(got.values_list("order_line_id").annotate(count=Count("pk")))
    closed = set(gone.values_list("order_id", flat=True))
    return {
        line_id: 0 if order_id in closed else max(0, sets - came.get(line_id, 0))
        for line_id, order_id, sets in lines.values_list("pk", "order_id", "sets")
    }


def _new_labels(branch: Branch, count: int, who: Who, now: datetime, rng: random.Random) -> list[Label]:
    return make_blank(branch, count, made_by=who.done_by, now=now, rng=rng) if count else []


def _received(known: Recorded) -> Received:
    sets = tuple(entry.tool_set for entry in known.entries if entry.kind == "received" and entry.tool_set)
    labels = tuple(entry.code for entry in known.entries if entry.kind == "labelled" and entry.code)
    return Received(known, sets, labels)


def _note_receipt(order: Order, person: Person, now: datetime) -> None:
    """Note that something came; that an order is whole is seen from its receipts: voiding one opens it again."""
    _event(order, OrderEvent.What.RECEIVED, now.astimezone(zone_of(order.branch)).date(), person, now)


def _event(order: Order, what: str, on_day: date, person: Person, now: datetime, why: str = "") -> None:
    OrderEvent.objects.create(order=order, what=what, on_day=on_day, recorded_at=now, recorded_by=person, why=why)


def _next_number(branch: Branch, day: date) -> str:
    """The year and a count, unique over all branches: "2025-014"."""
    for count in range(Order.objects.filter(number__startswith=f"{day.year}-").count() + 1, 100_000):
        number = f"{day.year}-{count:03d}"
        if not Order.objects.filter(number=number).exists():
            return number
    raise OrderRefused(_("No number is left this year."), _("Give the order a number of your own."), field="number")


def order_total(order: Order) -> Decimal | None:
    """What an order costs by its lines' prices; None when a price is missing."""
    lines = list(order.lines.all())
    if not lines or any(line.price is None for line in lines):
        return None
    return sum((line.price * line.sets for line in lines if line.price is not None), Decimal(0))
