"""How a set wears and what to do with it, in words: directions and reasons, never statistics."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from inventory.actions.gate import name_of
from inventory.models import OddWear, Person
from inventory.queries.advice import Advised
from inventory.templatetags.gritledger import sure_words
from inventory.times import when_for
from inventory.units import show_area, show_height
from inventory.wear_advice import PAIR, TONIGHT, TOO_LITTLE, WORN


def odd_words(odd: OddWear) -> str:
    """What is odd about a set's wear, one sentence."""
    fast = odd.direction == "faster"
    if odd.headline == "contradicts":
        return (
            _("Its height is lower than what is logged of it explains.")
            if fast
            else _("Its height is higher than what is logged of it explains.")
        )
    return (
        _("It wears faster than sets of its type do on such floors.")
        if fast
        else _("It wears slower than sets of its type do on such floors.")
    )


def advice_head(one: Advised) -> str:
    """What to do with a set at its end, a few words."""
    kind = one.advice.kind
    if kind == WORN:
        return _("Retire it: worn")
    if kind == TOO_LITTLE:
        return _("Retire it")
    if kind == PAIR and one.other is not None:
        return _("Goes with %(set)s") % {"set": name_of(one.other)}
    if kind == TONIGHT:
        return _("Offered for tonight")
    return _("Run it to its end first")


def water_words(one: Advised, person: Person, now: datetime) -> str:
    """Which of its sets must be in water by when, so that they are ready for the step; nothing where none must."""
    if not one.water:
        return ""
    (_first, by), *more = one.water
    if more and more[0][1] == by:
        return _("Both into water by %(when)s.") % {"when": when_for(person, by, now)}
    said = [
        _("%(set)s into water by %(when)s.") % {"set": name_of(state), "when": when_for(person, at, now)}
        for state, at in one.water
    ]
    return " ".join(said)


def advice_words(one: Advised, person: Person) -> str:
    """Why, in a sentence or two."""
    units: Any = person.units
    advice, tool_type = one.advice, one.state.tool_set.tool_type
    if advice.kind == WORN:
        return _("Its lowest piece, %(height)s, is at the height where its type retires, %(retire)s.") % {
            "height": show_height(one.state.lowest_height_mm or 0.0, units),
            "retire": show_height(tool_type.retire_height_mm or 0.0, units),
        }
    if advice.kind == TOO_LITTLE:
        words = (
            _("It hardly does another %(area)s, and finishes no planned step.")
            if advice.planned
            else _("It hardly does another %(area)s, and no step of its type is planned.")
        )
        return words % {"area": show_area(one.small_m2, units)}
    if one.tonight is not None:
        return _("A leftover: the page of tonight offers it for %(job)s.") % {"job": one.tonight.words}
    step = one.step.words if one.step is not None else ""
    if advice.kind == PAIR:
        values = {"step": step, "sure": sure_words(advice.chance or 0.0)}
        return _("Both are leftovers. Together they finish %(step)s: %(sure)s.") % values
    if one.other is not None:
        values = {"step": step, "set": name_of(one.other), "sure": sure_words(advice.chance or 0.0)}
        return _("A leftover: on %(step)s with %(set)s behind it, %(sure)s.") % values
    return _("A leftover: it waits for a step to go first on, with a sure set behind it.")
