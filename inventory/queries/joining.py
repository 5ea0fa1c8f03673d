"""The sets that another set's missing pieces can come from."""

from __future__ import annotations

from inventory.models import SetState
from inventory.models.choices import Fitness, PlaceKind
from inventory.pieces_words import pieces_of

_MOST = 200


def donors(state: SetState) -> list[SetState]:
    """Sets of the same type and branch that have pieces to give: remnants first, then what is set aside or broken,
    then whole ones, those of nearly its height first. Worn-out and written-off sets are left out; one query.
    """
    found = (
        SetState.objects.filter(tool_set__tool_type_id=state.tool_set.tool_type_id, branch_id=state.branch_id or 0)
        .exclude(pk=state.pk)
        .exclude(fitness=Fitness.RETIRED, fitness_why__in=("worn", "written_off"))
        .select_related("tool_set__tool_type", "place")
        .order_by("pk")[:_MOST]
    )
    own = state.lowest_height_mm

    def order(one: SetState) -> tuple[int, float]:
        whole = pieces_of(one, one.tool_set.tool_type) >= one.tool_set.tool_type.pieces_per_set
        kind = 0 if not whole else 1 if one.fitness != Fitness.USABLE else 2
        known = own is not None and one.lowest_height_mm is not None
        return kind, abs((one.lowest_height_mm or 0.0) - (own or 0.0)) if known else 1e6

    able = [
        one
        for one in found
        if pieces_of(one, one.tool_set.tool_type) > 0 and (one.place is None or one.place.kind != PlaceKind.UNKNOWN)
    ]
    return sorted(able, key=order)
