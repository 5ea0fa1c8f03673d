"""What was learnt from the ledgers: answers kept so that no page waits for a fit. Rewritten freely, remade by `refit`.

These are no ledgers: everything here can be thrown away and made again from the entries.
"""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from inventory.models.catalogue import ToolType
from inventory.models.toolset import ToolSet


class LearntLife(models.Model):
    """What the shop's record says of the lives of one tool type.

    fit: the wear model's own record of it. facts: the type's rating, heights and bond it was fitted with. number: rises
    with every fit, so that what was worked out with an older one is told apart. readings: heights read since.
    Areas are reference areas, m2; new_*: life of a new set. rated_m2: the rating gone by (the bond's where none).
    """

    tool_type = models.OneToOneField(ToolType, models.CASCADE, primary_key=True, related_name="learnt")
    number = models.PositiveIntegerField(default=0)
    fitted_at = models.DateTimeField(null=True)
    fit = models.JSONField(default=dict)
    facts = models.JSONField(default=dict)
    factors = models.JSONField(default=dict)
    rated_m2 = models.FloatField()
    new_at_least_m2 = models.FloatField()
    new_likely_m2 = models.FloatField()
    new_up_to_m2 = models.FloatField()
    sets = models.PositiveIntegerField(default=0)
    worn_out = models.PositiveIntegerField(default=0)
    with_readings = models.PositiveIntegerField(default=0)
    readings = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.tool_type_id}: {self.worn_out} worn out of {self.sets}"


class LearntFloors(models.Model):
    """What the record says of floor factors, one row for the shop.

    multipliers: by floor class, what the shop's own factor is multiplied by, as JSON text; record: by floor class, how
    much of it is the shop's record, 0 to 1; behind: by floor class, worked area behind it, m2, and how many sets.
    """

    multipliers = models.TextField(default="{}")
    record = models.JSONField(default=dict)
    behind = models.JSONField(default=dict)
    sets = models.PositiveIntegerField(default=0)
    fitted_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.sets} sets"


class RefitRun(models.Model):
    """The newest time that lives were asked to be learnt anew, one row for the shop: how far it is, how it ended.

    what: floors or types, of which ``done`` of ``of`` are done; seen_at: when that was said. whole: all types and the
    floor factors. failure: what went wrong, in a word for whoever looks after the program.
    """

    asked_by = models.ForeignKey("inventory.Person", models.SET_NULL, null=True, related_name="+")
    begun_at = models.DateTimeField()
    seen_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    whole = models.BooleanField(default=True)
    what = models.CharField(max_length=8, default="types")
    done = models.PositiveIntegerField(default=0)
    of = models.PositiveIntegerField(default=0)
    types = models.PositiveIntegerField(default=0)
    sets = models.PositiveIntegerField(default=0)
    failure = models.CharField(max_length=200, blank=True)

    def __str__(self) -> str:
        return f"{self.begun_at:%Y-%m-%d %H:%M}: {self.done} of {self.of}"


class StoredLife(models.Model):
    """Life left of one set, by the fit of its type that was kept then. Areas are reference areas, m2.

    wear_stamp: the state's it was worked out from; number: the fit's. running: not retired. curves: chances of more
    reference area, in the form of inventory.numerics.life_curves; nothing of a retired set. as_fitted: how it stood
    when its type was fitted, if it has changed since (null: as it stands; empty: it was not there).
    """

    tool_set = models.OneToOneField(ToolSet, models.CASCADE, primary_key=True, related_name="life")
    wear_stamp = models.CharField(max_length=16)
    number = models.PositiveIntegerField()
    running = models.BooleanField()
    used_m2 = models.FloatField()
    at_least_m2 = models.FloatField()
    likely_m2 = models.FloatField()
    up_to_m2 = models.FloatField()
    remaining_share = models.FloatField()
    curves = models.BinaryField(default=bytes)
    as_fitted = models.JSONField(null=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(at_least_m2__lte=models.F("likely_m2"), likely_m2__lte=models.F("up_to_m2")),
                name="stored_life_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.tool_set_id}: {self.likely_m2:.0f} m2"


class AlarmBasis(models.Model):
    """What wear alarms of one tool type are judged by, learnt from the whole shop (inventory.numerics.wear_alarms).

    fit: the type's fit with noise and spread pooled over the shop; tails: how much heights of this shop surprise.
    """

    tool_type = models.OneToOneField(ToolType, models.CASCADE, primary_key=True, related_name="alarm_basis")
    fit = models.JSONField()
    tails = models.JSONField()
    judged_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.tool_type_id}"


class OddWear(models.Model):
    """A set whose wear its own record, or its type's, can hardly explain; sets with nothing to say have no row.

    headline: "contradicts", "faster" or "slower"; checks: what to look at, in this order. reading: the newest that
    says how worn it is (the set's own key while there is none): "Looked at it" quiets the alarm until there is another.
    """

    tool_set = models.OneToOneField(ToolSet, models.CASCADE, primary_key=True, related_name="odd_wear")
    headline = models.CharField(max_length=12)
    direction = models.CharField(max_length=8)
    checks = models.JSONField(default=list)
    reading = models.UUIDField()
    read_at = models.DateTimeField()
    found_at = models.DateTimeField()

    class Meta:
        indexes: ClassVar = [models.Index(fields=["-read_at"], name="odd_wear_newest")]

    def __str__(self) -> str:
        return f"{self.tool_set_id}: {self.headline}"
