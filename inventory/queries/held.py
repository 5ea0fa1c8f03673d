"""Held-back acts about places alone: a place keeps no state that could raise their flag, so they are looked for."""

from __future__ import annotations

from uuid import UUID

from inventory.models import Branch, Entry
from inventory.queries.ledger import standing


def held_about_places(branch: Branch) -> list[Entry]:
    """The first line of each held-back act about places alone that nobody has answered, the oldest first; six queries.

    An act with a line about a set is asked about by that set's flag, and its answer counts for all its lines.
    """
    lines = Entry.objects.filter(act__branch=branch).exclude(act__held_back="").exclude(kind="settled")
    rows = list(
        lines.filter(place__isnull=False, tool_set__isnull=True)
        .select_related("act__done_by", "place", "to_place")
        .order_by("act__recorded_at", "act_id", "line_no")
    )
    if not rows:
        return []
    named = {pk for row in rows for pk in (row.pk, row.act_id)}
    said = Entry.objects.filter(kind="settled", flag_code="held_back", settles_target__in=named, act__held_back="")
    voids = Entry.objects.filter(kind="voided", void_target__in=named, act__held_back="")
    about_sets = lines.filter(act__in={row.act_id for row in rows}, tool_set__isnull=False)
    closed: set[UUID | None] = {
        *said.filter(pk__in=standing(said)).values_list("settles_target", flat=True),
        *voids.values_list("void_target", flat=True),
    }
    seen: set[UUID] = set(about_sets.values_list("act_id", flat=True))
    found = []
    for row in rows:
        if row.act_id in seen or closed & {row.pk, row.act_id}:
            continue
        seen.add(row.act_id)
        found.append(row)
    return found
