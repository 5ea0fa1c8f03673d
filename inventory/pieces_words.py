"""What is said of a set with pieces missing, and of its face."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.models import SetState, ToolType
from inventory.models.choices import Face
from inventory.units import show_number


def pieces_of(state: SetState, tool_type: ToolType) -> int:
    """How many pieces a set has by its ledger; what its type has where nothing was said."""
    said = state.facts.get("pieces")
    return tool_type.pieces_per_set if said is None else int(said)


def remnant_words(state: SetState) -> str:
    """ "Remnant: 2 of 3 pieces", "No piece is left in it", or nothing for a whole set."""
    pieces, whole = pieces_of(state, state.tool_set.tool_type), state.tool_set.tool_type.pieces_per_set
    if pieces >= whole:
        return ""
    if not pieces:
        return _("No piece is left in it")
    return ngettext("Remnant: %(pieces)d of %(whole)d piece", "Remnant: %(pieces)d of %(whole)d pieces", whole) % {
        "pieces": pieces,
        "whole": whole,
    }


def part_load_words(state: SetState) -> str:
    """How pieces that are missing were counted; nothing for a whole set, or one without any piece.

    Each piece does whole/pieces of the floor it would do in a whole set (our assumption: wear goes with area by piece).
    """
    pieces, whole = pieces_of(state, state.tool_set.tool_type), state.tool_set.tool_type.pieces_per_set
    if not 0 < pieces < whole:
        return ""
    return _(
        "It runs on part of a machine's heads, so each piece works %(times)s times the floor. The life shown counts "
        "that (our assumption: a piece wears by the floor it works). Look that the machine runs evenly so."
    ) % {"times": show_number(round(whole / pieces, 1), 1)}


def face_words(state: SetState) -> str:
    """ "Glazed: dress it before it works", or nothing."""
    return _("Glazed: dress it before it works") if state.face == Face.GLAZED else ""
