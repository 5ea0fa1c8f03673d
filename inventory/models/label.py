"""Printed codes: one code space for sets, places and outings."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from inventory.models.catalogue import Place
from inventory.models.people import Branch, Person
from inventory.models.toolset import Outing, ToolSet


class Label(models.Model):
    """A code that was made or printed. What it opens is the fold of its "labelled" entries, kept here by the writer."""

    code = models.CharField(max_length=16, primary_key=True)
    branch = models.ForeignKey(Branch, models.PROTECT, related_name="labels")
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")
    printed_at = models.DateTimeField(null=True)
    opens_set = models.ForeignKey(ToolSet, models.PROTECT, null=True, related_name="labels")
    opens_place = models.ForeignKey(Place, models.PROTECT, null=True, related_name="labels")
    opens_outing = models.ForeignKey(Outing, models.PROTECT, null=True, related_name="labels")
    opened_at = models.DateTimeField(null=True)
    opened_entry = models.UUIDField(null=True)
    replaced_at = models.DateTimeField(null=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(opens_set__isnull=True, opens_place__isnull=True)
                | Q(opens_set__isnull=True, opens_outing__isnull=True)
                | Q(opens_place__isnull=True, opens_outing__isnull=True),
                name="label_opens_one_thing",
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def blank(self) -> bool:
        """Whether the code belongs to nothing yet."""
        return self.opens_set_id is None and self.opens_place_id is None and self.opens_outing_id is None
