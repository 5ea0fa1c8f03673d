"""A set's state as the gauge that stands for it. Pure: no queries."""

from __future__ import annotations

from collections.abc import Mapping

from inventory.estimate import SetLife
from inventory.gauge import GaugeFace
from inventory.ledger.conditioning import Conditioning
from inventory.models import SetState
from inventory.models.choices import Fitness, PlaceKind
from inventory.soak_words import GAUGE_STATES


def set_face(
    state: SetState,
    ladder: Mapping[int, tuple[int, int]],
    *,
    conditioning: Conditioning | None = None,
    life: SetLife | None = None,
) -> GaugeFace | None:
    """The gauge of one set; None for a type without a place on the ladder.

    ladder: place and number of places by tool type id. life: None draws a plain one.
    """
    tool_type = state.tool_set.tool_type
    place, count = ladder.get(tool_type.pk, (0, 0))
    if count == 0:
        return None
    low, likely, high = life.shares if life else (1.0, 1.0, 1.0)
    where = "here"
    if state.place is not None and state.place.kind == PlaceKind.UNKNOWN:
        where = "missing"
    elif state.fitness != Fitness.USABLE:
        where = "aside"
    elif state.outing_id is not None:
        where = "out"
    elif state.soaking:
        where = "in_water"
    return GaugeFace(
        ladder_place=place,
        ladder_count=count,
        bond=tool_type.bond,  # type: ignore[arg-type]  # a closed choice of the same words
        at_least=low,
        likely=likely,
        up_to=high,
        where=where,  # type: ignore[arg-type]
        water=GAUGE_STATES[conditioning.state] if conditioning else "",  # type: ignore[arg-type]
        glazed=state.face == "glazed",
        plain=life is None,
    )
