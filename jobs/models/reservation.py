"""Which set is meant for which step of which shifts."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from inventory.models import Person, ToolSet
from jobs.models.job import Job


class Reservation(models.Model):
    """A set meant for a step, as first or second of two, from one shift to another; ended, never removed."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="reservations")
    step_key = models.UUIDField()
    tool_set = models.ForeignKey(ToolSet, models.PROTECT, related_name="reservations")
    order = models.PositiveSmallIntegerField(default=1)
    from_shift = models.UUIDField()
    to_shift = models.UUIDField()
    locked = models.BooleanField(default=False)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["step_key", "order", "from_shift"],
                condition=Q(ended_at__isnull=True),
                name="one_set_a_step_order_and_shift",
            ),
            models.CheckConstraint(condition=Q(order__in=[1, 2]), name="reservation_first_or_second"),
        ]

    def __str__(self) -> str:
        return f"{self.tool_set_id} for {self.step_key}"
