"""Sets as the pages of the work draw and name them."""

from __future__ import annotations

from typing import Literal, cast

from django.utils.translation import gettext as _

from inventory.actions.gate import name_of
from inventory.estimate import SetLife
from inventory.gauge import GaugeFace
from inventory.ledger.conditioning import Conditioning
from inventory.models import SetState
from inventory.models.choices import Fitness, PlaceKind
from inventory.soak_words import GAUGE_STATES

Ladder = dict[int, tuple[int, int]]


def set_face(
    state: SetState,
    ladder: Ladder,
    *,
    conditioning: Conditioning | None = None,
    life: SetLife | None = None,
    need_m2: float | None = None,
    enough: str = "",
    words: str = "",
) -> GaugeFace | None:
    """The gauge of one set; None for a type without a place on the ladder. need_m2: reference area a step asks."""
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
    name = _("%(set)s, %(type)s") % {"set": name_of(state), "type": tool_type.name}
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
        need=min(1.0, need_m2 / life.new_m2) if need_m2 and life else None,
        enough=cast(Literal["", "yes", "tight", "no"], enough if need_m2 and life else ""),
        name=f"{name}, {words}" if words else name,
        plain=life is None,
    )


def places_of(ladder: Ladder) -> int:
    """How many places the shop's ladder has; at least one."""
    return next(iter(ladder.values()))[1] if ladder else 1
