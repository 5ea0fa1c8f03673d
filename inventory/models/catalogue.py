"""What can be bought and run: tool types, recipes, prices, suppliers, machines, places, settings, hours."""

from __future__ import annotations

import uuid
from datetime import time
from typing import ClassVar

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext as _

from inventory.models.base import AppendOnly, Version
from inventory.models.choices import Bond, MachineKind, PlaceKind, Rotation, SoakNeed, WetDry
from inventory.models.people import Branch


class Supplier(models.Model):
    """A firm that sells tool sets."""

    name = models.CharField(max_length=80, unique=True)
    email = models.EmailField(blank=True)
    active = models.BooleanField(default=True)

    def __str__(self) -> str:
        return self.name


class SupplierWord(Version):
    """What a supplier says about delivery: working days, smallest order."""

    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="words")
    lead_working_days = models.PositiveSmallIntegerField()
    minimum_sets = models.PositiveSmallIntegerField(default=1)

    def __str__(self) -> str:
        return f"{self.supplier_id}: {self.lead_working_days} working days"


class ToolTypeFacts(models.Model):
    """What is known of a tool type; the same columns stand in the current row and in each version."""

    name = models.CharField(max_length=80)
    grit = models.CharField(max_length=12)
    bond = models.CharField(max_length=8, choices=Bond.choices)
    ladder_place = models.PositiveSmallIntegerField()
    mount = models.CharField(max_length=40)
    size_line = models.CharField(max_length=40, blank=True)
    rotation = models.CharField(max_length=8, choices=Rotation.choices, default=Rotation.EITHER)
    wet_dry = models.CharField(max_length=8, choices=WetDry.choices, default=WetDry.WET)
    pieces_per_set = models.PositiveSmallIntegerField()
    new_height_mm = models.FloatField(null=True)
    retire_height_mm = models.FloatField(null=True)
    backing_mm = models.FloatField(default=0.0)
    rated_coverage_m2 = models.FloatField(null=True)
    soak_need = models.CharField(max_length=8, choices=SoakNeed.choices, default=SoakNeed.UNKNOWN)
    own_mark = models.CharField(max_length=12, blank=True)
    pack_sets = models.PositiveSmallIntegerField(default=1)
    active = models.BooleanField(default=True)

    class Meta:
        abstract = True


class ToolType(ToolTypeFacts):
    """A kind of abrasive one can buy; the newest version's facts, kept here by the action that writes both."""

    supplier = models.ForeignKey(Supplier, models.PROTECT, null=True, related_name="tool_types")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["name"], name="tool_type_name_once"),
            models.CheckConstraint(condition=Q(pieces_per_set__gte=1), name="tool_type_has_pieces"),
            models.CheckConstraint(
                condition=Q(rated_coverage_m2__isnull=True) | Q(rated_coverage_m2__gt=0),
                name="tool_type_rating_above_zero",
            ),
            models.CheckConstraint(
                condition=Q(new_height_mm__isnull=True)
                | Q(retire_height_mm__isnull=True)
                | Q(new_height_mm__gt=F("retire_height_mm")),
                name="tool_type_new_above_retire",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def said_name(self) -> str:
        """The name as people read it: one that is only bond and grit ("Resin 50") in their language, else as it is."""
        if self.name.lower() != f"{self.bond} {self.grit}".lower():
            return self.name
        said = f"{self.get_bond_display()} {self.grit}"
        return said[:1].upper() + said[1:] if self.name[:1].isupper() else said


class ToolTypeVersion(ToolTypeFacts, Version):
    """The facts of a tool type as somebody saved them on a day."""

    tool_type = models.ForeignKey(ToolType, models.PROTECT, related_name="versions")
    supplier = models.ForeignKey(Supplier, models.PROTECT, null=True, related_name="+")

    def __str__(self) -> str:
        return f"{self.name} from {self.valid_from}"


class Recipe(Version):
    """Water temperature and hours a tool type asks for, and how long it stays conditioned out of water."""

    tool_type = models.ForeignKey(ToolType, models.PROTECT, related_name="recipes")
    cold_hours = models.FloatField()
    hot_hours = models.FloatField(null=True)
    hot_limit_c = models.FloatField(null=True)
    mixed_credit = models.BooleanField(default=False)
    dry_out_hours = models.FloatField(default=24.0)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(cold_hours__gt=0, dry_out_hours__gt=0), name="recipe_hours_above_zero"),
            models.CheckConstraint(
                condition=Q(hot_hours__isnull=True, hot_limit_c__isnull=True) | Q(hot_hours__gt=0, hot_limit_c__gt=0),
                name="recipe_hot_hours_with_limit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.tool_type_id}: {self.cold_hours} h cold"


class Price(Version):
    """What a supplier asks for one set of a tool type."""

    tool_type = models.ForeignKey(ToolType, models.PROTECT, related_name="prices")
    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="prices")
    price = models.DecimalField(max_digits=12, decimal_places=2)
    currency = models.CharField(max_length=3)

    class Meta:
        constraints: ClassVar = [models.CheckConstraint(condition=Q(price__gte=0), name="price_not_negative")]

    def __str__(self) -> str:
        return f"{self.tool_type_id}: {self.price} {self.currency}"


class MachineFacts(models.Model):
    """What is known of a machine; the same columns stand in the current row and in each version."""

    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=12, choices=MachineKind.choices)
    heads = models.PositiveSmallIntegerField()
    mount = models.CharField(max_length=40)
    rotation = models.CharField(max_length=8, choices=Rotation.choices, default=Rotation.EITHER)
    pieces_per_load = models.PositiveSmallIntegerField()
    path_m = models.FloatField(null=True)
    speed_low_m_per_min = models.FloatField(null=True)
    speed_high_m_per_min = models.FloatField(null=True)
    tank_l = models.FloatField(null=True)
    recovery_tank_l = models.FloatField(null=True)
    wet_dry = models.CharField(max_length=8, choices=WetDry.choices, default=WetDry.WET)
    rented_from = models.DateField(null=True)
    rented_to = models.DateField(null=True)
    active = models.BooleanField(default=True)

    class Meta:
        abstract = True


class Machine(MachineFacts):
    """A machine that runs sets; the newest version's facts, kept here by the action that writes both."""

    branch = models.ForeignKey(Branch, models.PROTECT, related_name="machines")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["branch", "name"], name="machine_name_once")]

    def __str__(self) -> str:
        return self.name


class MachineVersion(MachineFacts, Version):
    """The facts of a machine as somebody saved them on a day."""

    machine = models.ForeignKey(Machine, models.PROTECT, related_name="versions")

    def __str__(self) -> str:
        return f"{self.name} from {self.valid_from}"


class Place(models.Model):
    """Where a set can be: rack, tub, bucket, crate, van, site, supplier, or unknown."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    branch = models.ForeignKey(Branch, models.PROTECT, related_name="places")
    kind = models.CharField(max_length=10, choices=PlaceKind.choices)
    name = models.CharField(max_length=80)
    room_sets = models.PositiveSmallIntegerField(null=True)
    thermostat = models.BooleanField(default=False)
    active = models.BooleanField(default=True)
    # Kept by the writer from "moved" entries of the place itself: the rack of a bucket, the van of a crate.
    inside = models.ForeignKey("self", models.PROTECT, null=True, related_name="holds")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["branch", "kind", "name"], name="place_name_once"),
            models.UniqueConstraint(fields=["branch"], condition=Q(kind="unknown"), name="one_unknown_place_a_branch"),
        ]

    def __str__(self) -> str:
        # The place unknown is named when a branch first needs it, in whoever's language that was.
        return _("unknown") if self.kind == PlaceKind.UNKNOWN else self.name


class PlaceVersion(Version):
    """What somebody said of a place on a day; the place itself keeps what holds now."""

    place = models.ForeignKey(Place, models.PROTECT, related_name="versions")
    name = models.CharField(max_length=80)
    room_sets = models.PositiveSmallIntegerField(null=True)
    thermostat = models.BooleanField(default=False)
    active = models.BooleanField(default=True)

    def __str__(self) -> str:
        return f"{self.name} from {self.valid_from}"


class Setting(Version):
    """One word of the shop about itself, by key; known keys stand in inventory.shop_settings."""

    branch = models.ForeignKey(Branch, models.PROTECT, related_name="settings")
    key = models.CharField(max_length=48)
    value = models.CharField(max_length=200)

    def __str__(self) -> str:
        return f"{self.key} = {self.value}"


class ShopHours(Version):
    """The hours the shop is staffed, a whole week at a time."""

    branch = models.ForeignKey(Branch, models.PROTECT, related_name="shop_hours")

    def __str__(self) -> str:
        return f"hours from {self.valid_from}"


class ShopHoursDay(AppendOnly):
    """One staffed span of one weekday (Monday 0); a day without a row is unstaffed.

    A span that closes at or before it opens runs past midnight and belongs to the day it opens on; 00:00 to 00:00 is
    the whole day.
    """

    hours = models.ForeignKey(ShopHours, models.PROTECT, related_name="days")
    weekday = models.PositiveSmallIntegerField()
    opens = models.TimeField()
    closes = models.TimeField()

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(weekday__lte=6), name="shop_hours_weekday"),
            models.CheckConstraint(
                condition=~Q(closes=F("opens")) | Q(opens=time(0), closes=time(0)), name="shop_hours_are_some_time"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.weekday} {self.opens}-{self.closes}"


class ClosedDay(Version):
    """A day the shop is closed (or, said later, open after all)."""

    branch = models.ForeignKey(Branch, models.PROTECT, related_name="closed_days")
    day = models.DateField()
    name = models.CharField(max_length=80, blank=True)
    closed = models.BooleanField(default=True)

    def __str__(self) -> str:
        return f"{self.day} {self.name}"
