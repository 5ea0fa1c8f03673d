"""Sets as the pages of the work draw and name them."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal, cast

from django.utils.translation import gettext as _

from inventory.actions.gate import name_of
from inventory.estimate import SetLife
from inventory.gauge import GaugeFace
from inventory.ledger.conditioning import Conditioning
from inventory.models import SetState
from inventory.set_faces import set_face as inventory_face

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
    face = inventory_face(state, ladder, conditioning=conditioning, life=life)
    if face is None:
        return None
    name = _("%(set)s, %(type)s") % {"set": name_of(state), "type": state.tool_set.tool_type.name}
    return replace(
        face,
        need=min(1.0, need_m2 / life.new_m2) if need_m2 and life else None,
        enough=cast(Literal["", "yes", "tight", "no"], enough if need_m2 and life else ""),
        name=f"{name}, {words}" if words else name,
    )


def places_of(ladder: Ladder) -> int:
    """How many places the shop's ladder has; at least one."""
    return next(iter(ladder.values()))[1] if ladder else 1
