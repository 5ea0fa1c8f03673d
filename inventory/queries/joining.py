"""The sets that another set's missing pieces can come from."""

from __future__ import annotations

from datetime import datetime

from inventory.height_now import HeightNow, heights_now
from inventory.models import Branch, SetState
from inventory.models.choices import Fitness, PlaceKind
from inventory.pieces_words import pieces_of

_MOST = 200


def donors(state: SetState, branch: Branch, now: datetime) -> list[tuple[SetState, HeightNow | None]]:
    """Sets of the same type and branch that have pieces to give, each with its lowest piece as it stands today.

    Remnants first, then what is set aside or broken, then whole ones, those of nearly its height today first. Worn-out
    and written-off sets are left out; one query, and three more where some worked since they were read.
    """
    found = (
        SetState.objects.filter(tool_set__tool_type_id=state.tool_set.tool_type_id, branch_id=state.branch_id or 0)
        .exclude(pk=state.pk)
        .exclude(fitness=Fitness.RETIRED, fitness_why__in=("worn", "written_off"))
        .select_related("tool_set__tool_type", "place")
        .order_by("pk")[:_MOST]
    )
    able = [
        one
        for one in found
        if pieces_of(one, one.tool_set.tool_type) > 0 and (one.place is None or one.place.kind != PlaceKind.UNKNOWN)
    ]
    heights = heights_now([state, *able], branch, now)
    own = heights.get(state.pk)

    def order(one: SetState) -> tuple[int, float]:
        whole = pieces_of(one, one.tool_set.tool_type) >= one.tool_set.tool_type.pieces_per_set
        kind = 0 if not whole else 1 if one.fitness != Fitness.USABLE else 2
        height = heights.get(one.pk)
        return kind, abs(height.now_mm - own.now_mm) if own is not None and height is not None else 1e6

    return [(one, heights.get(one.pk)) for one in sorted(able, key=order)]
