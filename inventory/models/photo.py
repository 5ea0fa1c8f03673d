"""Photos kept on record of a set. The pictures lie under the data folder, these rows say what they are."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.db import models

from inventory.models.ledger import Act
from inventory.models.people import Person
from inventory.models.toolset import ToolSet


class SetPhoto(models.Model):
    """One photo of a set. act: what it was sent with; taken_at: by the camera's own clock, if it says.

    A photo of the wrong set is taken away: the row and its picture stay, and are shown no more.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    tool_set = models.ForeignKey(ToolSet, models.PROTECT, related_name="photos")
    act = models.ForeignKey(Act, models.PROTECT, null=True, related_name="photos")
    sha256 = models.CharField(max_length=64)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    bytes = models.PositiveIntegerField()
    taken_at = models.DateTimeField(null=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    removed_at = models.DateTimeField(null=True)
    removed_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints: ClassVar = [
            # The same picture sent twice is one.
            models.UniqueConstraint(fields=["tool_set", "sha256"], name="set_photo_once"),
        ]

    def __str__(self) -> str:
        return f"photo of {self.tool_set_id}"
