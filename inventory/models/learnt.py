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
    much of it is the shop's record, 0 to 1.
    """

    multipliers = models.TextField(default="{}")
    record = models.JSONField(default=dict)
    sets = models.PositiveIntegerField(default=0)
    fitted_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.sets} sets"


class StoredLife(models.Model):
    """Life left of one set, by the fit of its type that was kept then. Areas are reference areas, m2.

    wear_stamp: the state's it was worked out from; number: the fit's. running: not retired. curves: chances of more
    reference area, in the form of inventory.numerics.life_curves; nothing of a retired set. as_fitted: how the set stood
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
