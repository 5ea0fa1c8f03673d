"""A spreadsheet on its way in: what was read, how its columns were matched, what was answered."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.db import models

from inventory.models.people import Branch, Person


class SheetDraft(models.Model):
    """A file somebody brought; kept with its matching and answers until its rows are in or dropped."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    branch = models.ForeignKey(Branch, models.PROTECT, related_name="+")
    kind = models.CharField(max_length=12)
    file_name = models.CharField(max_length=120)
    content = models.BinaryField()
    content_sha256 = models.CharField(max_length=64, db_index=True)
    columns = models.JSONField(default=dict)
    answers = models.JSONField(default=dict)
    made_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    brought_in_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return self.file_name


class SheetRow(models.Model):
    """One row of a sheet that came in, by the stable identity of its content: the same row never comes in twice."""

    identity = models.UUIDField(primary_key=True)
    draft = models.ForeignKey(SheetDraft, models.PROTECT, related_name="rows")
    kind = models.CharField(max_length=12)
    row_number = models.PositiveIntegerField()
    made_kind = models.CharField(max_length=16)
    made_key = models.CharField(max_length=40)
    undone_at = models.DateTimeField(null=True)

    class Meta:
        ordering: ClassVar = ["row_number"]

    def __str__(self) -> str:
        return f"row {self.row_number}"
