"""Private addresses under which a calendar program reads what one person has to do."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from inventory.models import Person


class CalendarAddress(models.Model):
    """One address; the word in it is kept as a hash alone. A person has one that holds, the others are revoked."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="calendar_addresses")
    token_sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["person"], condition=Q(revoked_at__isnull=True), name="one_calendar_address_a_person"
            ),
        ]

    def __str__(self) -> str:
        return f"calendar of {self.person_id}"
