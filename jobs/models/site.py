"""Sites and their floors."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.db import models
from django.db.models import Q

from inventory.models import Branch, Place
from inventory.models.choices import Coating, Condition, Hardness, Surface


class Site(models.Model):
    """A place of work; as a place where sets can lie it has a row in inventory."""

    branch = models.ForeignKey(Branch, models.PROTECT, related_name="sites")
    name = models.CharField(max_length=80)
    address = models.CharField(max_length=200, blank=True)
    place = models.OneToOneField(Place, models.PROTECT, related_name="site")
    time_zone = models.CharField(max_length=64, blank=True)
    notes = models.TextField(blank=True)
    active = models.BooleanField(default=True)

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["branch", "name"], name="site_name_once")]

    def __str__(self) -> str:
        return self.name


class Zone(models.Model):
    """A floor of a site. Its key is the ``floor_uuid`` of worked entries."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    site = models.ForeignKey(Site, models.PROTECT, related_name="zones")
    name = models.CharField(max_length=80)
    area_m2 = models.FloatField()
    edge_m = models.FloatField(default=0.0)
    hardness = models.CharField(max_length=8, choices=Hardness.choices, default=Hardness.UNKNOWN)
    surface = models.CharField(max_length=8, choices=Surface.choices, default=Surface.RAW)
    coating = models.CharField(max_length=8, choices=Coating.choices, default=Coating.NONE)
    condition = models.CharField(max_length=8, choices=Condition.choices, default=Condition.UNKNOWN)
    section_m2 = models.FloatField(null=True)
    notes = models.TextField(blank=True)
    active = models.BooleanField(default=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["site", "name"], name="zone_name_once"),
            models.CheckConstraint(condition=Q(area_m2__gt=0), name="zone_has_area"),
            models.CheckConstraint(condition=Q(edge_m__gte=0), name="zone_edge_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.site_id} {self.name}"
