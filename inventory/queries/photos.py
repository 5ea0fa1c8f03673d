"""The photos on record of a set, and what dressing has cost its type."""

from __future__ import annotations

from collections.abc import Iterable
from uuid import UUID

from django.db.models import Avg, Count, Exists, F, OuterRef

from inventory.models import Entry, SetPhoto, ToolType
from inventory.models.choices import Kind


def photos_of(set_ids: Iterable[UUID]) -> list[SetPhoto]:
    """The photos of these sets that were not taken away, oldest first; one query."""
    return list(
        SetPhoto.objects.filter(tool_set_id__in=list(set_ids), removed_at__isnull=True)
        .select_related("recorded_by")
        .order_by("recorded_at", "taken_at", "pk")
    )


def dressing_cost(tool_type: ToolType) -> tuple[int, float]:
    """How often sets of a type were dressed with both heights read, and what it took on average, mm; one query."""
    voided = Entry.objects.filter(kind=Kind.VOIDED, void_target=OuterRef("pk"))
    found = (
        Entry.objects.filter(
            kind=Kind.DRESSED,
            tool_set__tool_type=tool_type,
            before_height_mm__isnull=False,
            lowest_height_mm__isnull=False,
            act__held_back="",
        )
        .exclude(Exists(voided))
        .aggregate(count=Count("pk"), mean=Avg(F("before_height_mm") - F("lowest_height_mm")))
    )
    return found["count"], max(0.0, found["mean"] or 0.0)
