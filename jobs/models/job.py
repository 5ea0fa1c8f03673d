"""Jobs and their plans: each saved change is a new whole version."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from inventory.models import Branch, Machine, Person, ToolType
from inventory.models.base import AppendOnly
from inventory.models.choices import Coating, Condition, Hardness, StepKind, Surface, WetDry
from jobs.models.site import Site, Zone


class JobKind(models.TextChoices):
    FULL = "full", _("full polish")
    REFRESH = "refresh", _("refresh")
    UPKEEP = "upkeep", _("upkeep run")


class Standing(models.TextChoices):
    """Where a job stands between bid and floor."""

    BID = "bid", pgettext_lazy("job", "bid")
    WON = "won", pgettext_lazy("job", "won")
    LOST = "lost", pgettext_lazy("job", "lost")
    CANCELLED = "cancelled", pgettext_lazy("job", "cancelled")
    DONE = "done", pgettext_lazy("job", "done")


class Job(models.Model):
    """One piece of work at a site. Its key is the ``visit_uuid`` of worked entries."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    branch = models.ForeignKey(Branch, models.PROTECT, related_name="jobs")
    site = models.ForeignKey(Site, models.PROTECT, related_name="jobs")
    name = models.CharField(max_length=80)
    made_at = models.DateTimeField()
    # The newest version's number; the version itself holds what was planned.
    plan_number = models.PositiveIntegerField(default=0)

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["branch", "name"], name="job_name_once")]

    def __str__(self) -> str:
        return self.name


class JobPlan(AppendOnly):
    """A whole version of a job's plan."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="plans")
    number = models.PositiveIntegerField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    kind = models.CharField(max_length=8, choices=JobKind.choices, default=JobKind.FULL)
    standing = models.CharField(max_length=10, choices=Standing.choices, default=Standing.BID)
    award_chance = models.FloatField(default=1.0)
    starts_on = models.DateField()
    dates_confirmed = models.BooleanField(default=False)
    finish_level = models.PositiveSmallIntegerField(null=True)
    notes = models.TextField(blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["job", "number"], name="plan_number_once"),
            models.CheckConstraint(
                condition=Q(award_chance__gte=0, award_chance__lte=1), name="plan_award_chance_0_to_1"
            ),
            models.CheckConstraint(
                condition=Q(finish_level__isnull=True) | Q(finish_level__gte=1, finish_level__lte=4),
                name="plan_finish_level_1_to_4",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job_id} version {self.number}"


class PlanZone(AppendOnly):
    """A floor as a version plans it; ``key`` stays the same through versions."""

    plan = models.ForeignKey(JobPlan, models.PROTECT, related_name="zones")
    key = models.UUIDField()
    zone = models.ForeignKey(Zone, models.PROTECT, related_name="+")
    area_m2 = models.FloatField()
    edge_m = models.FloatField(default=0.0)
    hardness = models.CharField(max_length=8, choices=Hardness.choices)
    surface = models.CharField(max_length=8, choices=Surface.choices)
    coating = models.CharField(max_length=8, choices=Coating.choices)
    condition = models.CharField(max_length=8, choices=Condition.choices, default=Condition.UNKNOWN)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["plan", "key"], name="plan_zone_key_once"),
            models.CheckConstraint(condition=Q(area_m2__gt=0), name="plan_zone_has_area"),
        ]

    def __str__(self) -> str:
        return f"zone {self.key}"


class PlanStep(AppendOnly):
    """One step of the ladder on one planned floor; ``key`` is the ``step_key`` of entries and reservations."""

    plan = models.ForeignKey(JobPlan, models.PROTECT, related_name="steps")
    key = models.UUIDField()
    zone_key = models.UUIDField()
    order = models.PositiveSmallIntegerField()
    tool_type = models.ForeignKey(ToolType, models.PROTECT, related_name="+")
    passes = models.PositiveSmallIntegerField()
    step_kind = models.CharField(max_length=12, choices=StepKind.choices, default=StepKind.LATER)
    wet_dry = models.CharField(max_length=8, choices=WetDry.choices, default=WetDry.WET)
    shift_key = models.UUIDField(null=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["plan", "key"], name="plan_step_key_once"),
            models.CheckConstraint(condition=Q(passes__gte=1), name="plan_step_has_passes"),
        ]

    def __str__(self) -> str:
        return f"step {self.order}"


class PlanShift(AppendOnly):
    """One night or day of a job; ``key`` is the ``shift_uuid`` of entries."""

    plan = models.ForeignKey(JobPlan, models.PROTECT, related_name="shifts")
    key = models.UUIDField()
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    lead = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["plan", "key"], name="plan_shift_key_once"),
            models.CheckConstraint(condition=Q(ends_at__gt=F("starts_at")), name="plan_shift_ends_after_start"),
        ]
        indexes: ClassVar = [
            # Shop day and My job: what starts tonight.
            models.Index(fields=["starts_at"], name="plan_shift_by_start"),
        ]

    def __str__(self) -> str:
        return f"shift {self.starts_at:%Y-%m-%d}"


class PlanShiftMachine(AppendOnly):
    """A machine that goes along on a planned shift."""

    shift = models.ForeignKey(PlanShift, models.PROTECT, related_name="machine_rows")
    machine = models.ForeignKey(Machine, models.PROTECT, related_name="+")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["shift", "machine"], name="shift_machine_once")]

    def __str__(self) -> str:
        return f"{self.machine_id}"
