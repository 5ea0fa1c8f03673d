"""What every table of the shop shares."""

from __future__ import annotations

from typing import ClassVar

from django.db import models


class AppendOnly(models.Model):
    """A row that is added and never changed or removed; triggers refuse it on both databases."""

    append_only: ClassVar[bool] = True

    class Meta:
        abstract = True


class Version(AppendOnly):
    """A dated word about something: valid from a day, known from an instant, given by a person."""

    valid_from = models.DateField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey("inventory.Person", models.PROTECT, null=True, related_name="+")

    class Meta:
        abstract = True
