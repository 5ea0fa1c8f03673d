"""What belongs to a shift whatever version planned it: its outing, and what its people said of the floor."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.db import models
from django.db.models import Q

from inventory.models import Act, Outing
from inventory.models.base import AppendOnly
from inventory.models.choices import LeftHow
from jobs.models.job import Job


class ShiftOuting(models.Model):
    """Which outing a shift's sets leave on; several nights may share one."""

    shift_uuid = models.UUIDField(primary_key=True)
    job = models.ForeignKey(Job, models.PROTECT, related_name="shift_outings")
    outing = models.ForeignKey(Outing, models.PROTECT, related_name="shift_rows")

    def __str__(self) -> str:
        return f"{self.shift_uuid}"


class ShiftEntry(AppendOnly):
    """A line about a shift or a floor, under the same act as the sets' entries."""

    class Kind(models.TextChoices):
        FLOOR_EVEN = "floor_even"
        GLOSS = "gloss"
        CLARITY = "clarity"
        LEFT = "left"
        CLOSED = "closed"
        NO_WORK = "no_work"
        VOIDED = "voided"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    act = models.ForeignKey(Act, models.PROTECT, related_name="shift_entries")
    line_no = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=12, choices=Kind.choices)
    job = models.ForeignKey(Job, models.PROTECT, related_name="shift_entries")
    shift_uuid = models.UUIDField(db_index=True)
    step_key = models.UUIDField(null=True)
    floor_uuid = models.UUIDField(null=True)
    left_how = models.CharField(max_length=10, choices=LeftHow.choices, null=True)
    reading = models.FloatField(null=True)
    void_target = models.UUIDField(null=True)
    why = models.CharField(max_length=400, null=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["act", "line_no"], name="shift_entry_line_once"),
            models.CheckConstraint(
                condition=~Q(kind="floor_even") | Q(step_key__isnull=False, floor_uuid__isnull=False),
                name="shift_entry_even_names_step_and_floor",
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=["gloss", "clarity"]) | Q(floor_uuid__isnull=False, reading__gte=0),
                name="shift_entry_reading_of_a_floor",
            ),
            models.CheckConstraint(condition=~Q(kind="left") | Q(left_how__isnull=False), name="shift_entry_left_how"),
            models.CheckConstraint(
                condition=~Q(kind="voided") | Q(void_target__isnull=False, why__isnull=False),
                name="shift_entry_voided_says_why",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.shift_uuid}"
