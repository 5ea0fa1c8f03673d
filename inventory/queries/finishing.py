"""Life left of a few sets and the chance that they finish a step: the estimate asked for one type at a time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from inventory import estimate
from inventory.models import Branch, ToolSet
from inventory.queries.custody import Other
from inventory.shop_settings import settings_of
from inventory.times import zone_of


def chance_for(tool_sets: Sequence[ToolSet], reference_m2: float | None, branch: Branch, now: datetime) -> float | None:
    """The chance that one set, or two of one type together, finish so much reference area.

    tool_sets: with their types loaded. None when nothing is asked, or nothing can be said. Three queries.
    """
    if reference_m2 is None or not reference_m2 > 0 or not tool_sets:
        return None
    settings = settings_of(branch, today=now.astimezone(zone_of(branch)).date())
    found = estimate.records(settings, types=[tool_sets[0].tool_type])
    first = tool_sets[0]
    if len(tool_sets) > 1 and tool_sets[1].tool_type_id == first.tool_type_id:
        record = found.get(first.tool_type_id)
        if record is None or not {first.pk, tool_sets[1].pk} <= set(record.set_ids):
            return None
        return estimate.chance_of_pair(record, first.pk, tool_sets[1].pk, reference_m2)
    return estimate.chances_to_finish(found, {first.pk: reference_m2}).get(first.pk)


def lives_of(tool_sets: Iterable[ToolSet], branch: Branch, now: datetime) -> dict[UUID, estimate.SetLife]:
    """Life left of these sets (with their types loaded), by set id; retired ones are left out. Three queries."""
    settings = settings_of(branch, today=now.astimezone(zone_of(branch)).date())
    return estimate.lives_of(settings, [tool_set.pk for tool_set in tool_sets])


@dataclass(frozen=True)
class Helps:
    """Another set beside one that is short: the chance that it finishes alone, and that the two do together."""

    other: Other
    alone: float
    together: float


def helps_of(
    tool_set: ToolSet, others: Sequence[Other], reference_m2: float, branch: Branch, now: datetime
) -> list[Helps]:
    """What each of these sets of one type would help, the surest together first; three queries."""
    settings = settings_of(branch, today=now.astimezone(zone_of(branch)).date())
    record = estimate.records(settings, types=[tool_set.tool_type]).get(tool_set.tool_type_id)
    if record is None or tool_set.pk not in record.set_ids:
        return []
    known = [other for other in others if other.state.pk in record.set_ids]
    asked = {other.state.pk: reference_m2 for other in known}
    alone = estimate.chances_to_finish({tool_set.tool_type_id: record}, asked)
    together = estimate.chances_with(record, tool_set.pk, asked, reference_m2)
    found = [
        Helps(other, alone.get(other.state.pk, 0.0), together.get(other.state.pk, 0.0))
        for other in known
        if other.state.pk != tool_set.pk
    ]
    return sorted(found, key=lambda one: (one.other.use is not None, -one.together))
