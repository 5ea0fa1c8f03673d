"""Orders and what happened to them; money stands here and on receipts, never on entries."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from inventory.models.base import AppendOnly
from inventory.models.catalogue import Supplier, ToolType
from inventory.models.people import Branch, Person


class Order(models.Model):
    """Something ordered from a supplier."""

    branch = models.ForeignKey(Branch, models.PROTECT, related_name="orders")
    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="orders")
    number = models.CharField(max_length=24, unique=True)
    # Made by the form that places it: a second press is the same order.
    key = models.UUIDField(null=True, unique=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Person, models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return self.number


class OrderLine(AppendOnly):
    """So many sets of one tool type at a price."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="lines")
    tool_type = models.ForeignKey(ToolType, models.PROTECT, related_name="order_lines")
    sets = models.PositiveSmallIntegerField()
    price = models.DecimalField(max_digits=12, decimal_places=2, null=True)
    currency = models.CharField(max_length=3, blank=True)
    recorded_at = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [models.CheckConstraint(condition=Q(sets__gte=1), name="order_line_has_sets")]

    def __str__(self) -> str:
        return f"{self.sets} x {self.tool_type_id}"


class OrderEvent(AppendOnly):
    """What happened to an order, as it became known."""

    class What(models.TextChoices):
        ORDERED = "ordered"
        PROMISED = "promised"
        RECEIVED = "received"
        CLOSED = "closed"
        CANCELLED = "cancelled"

    order = models.ForeignKey(Order, models.PROTECT, related_name="events")
    what = models.CharField(max_length=10, choices=What.choices)
    on_day = models.DateField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    why = models.CharField(max_length=200, blank=True)

    def __str__(self) -> str:
        return f"{self.order_id} {self.what} {self.on_day}"
