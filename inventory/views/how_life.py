"""How life left is worked out: in plain words, with the numbers of a set of the shop, or of one made up."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.hooks import NextUse, next_use
from inventory.life_curve import READING_ERROR_MM, height_range
from inventory.life_example import Example, example_of, made_up
from inventory.life_floor import life_floor
from inventory.models import Person, SetState
from inventory.pieces_words import part_load_words
from inventory.queries.lives import set_to_explain
from inventory.queries.opening import open_text
from inventory.shop_settings import ShopSettings, settings_of
from inventory.times import zone_of
from inventory.units import Units, show_about, show_height, show_number, show_range
from inventory.views.catalogue import READ
from inventory.views.doors import PersonRequest, door
from inventory.views.floor_page import class_words
from inventory.views.lists import Cell, words
from inventory.views.verdicts import enough_words

_SHARE = 0.6  # of its likely life: the step that is made up where the set is not reserved


@door("GET")
def how_life(request: PersonRequest) -> HttpResponse:
    """The page; ``?set=`` a code or key chooses the example."""
    person, now = request.user, timezone.now()
    settings = settings_of(person.branch, today=now.astimezone(zone_of(person.branch)).date())
    state = _chosen(request.GET.get("set", ""), person)
    example = example_of(state, settings) if state is not None else None
    told = ""
    if state is not None and example is None:
        told = _(
            "That set is retired, or its type has no rating: nothing is left to work out. Another one stands here."
        )
    if example is None and (other := set_to_explain(person.branch)) is not None:
        state = SetState.objects.select_related("tool_set__tool_type").get(pk=other)
        example = example_of(state, settings)
    if example is None:
        state, example = None, made_up(settings)
    use = next_use([state.pk], now).get(state.pk) if state is not None else None
    reserved = use if use is not None and use.reference_m2 else None
    context = example_context(example, settings, person, reserved.reference_m2 if reserved else None)
    context["may_floors"] = any(map(person.can, READ))
    context |= {"state": state, "told": told, "use_words": reserved.words if reserved else "", "use": reserved}
    context["part_load"] = part_load_words(state) if state is not None else ""
    context["card_floor"] = _on_its_card(example, use, settings, person)
    return render(request, "inventory/life/how.html", context)


def _on_its_card(example: Example, use: NextUse | None, settings: ShopSettings, person: Person) -> str:
    """What its card says is left, on the floor it works on next; "" where that is the floor said here already."""
    floor = life_floor(use, settings)
    if floor.medium:
        return ""
    said = _("Its card tells it %(on_floor)s, where it works next, factor %(factor)s: likely %(likely)s.")
    likely = show_about(example.left_m2[1] / floor.factor, person.units)  # type: ignore[arg-type]
    return said % {"on_floor": floor.words, "factor": show_number(floor.factor, 2), "likely": likely}


def _chosen(text: str, person: Person) -> SetState | None:
    """The set named in the address; None when none is named."""
    if not text:
        return None
    try:
        key: UUID | None = UUID(text)
    except ValueError:
        thing = open_text(text[:200], person.branch)
        key = thing.tool_set.pk if thing.tool_set is not None else None
    if key is None:
        raise Http404
    rows = SetState.objects.select_related("tool_set__tool_type")
    return get_object_or_404(rows, pk=key, branch=person.branch)


def example_context(
    example: Example, settings: ShopSettings, person: Person, reference_m2: float | None
) -> dict[str, Any]:
    """The numbers of an example as words in the person's units. reference_m2: of its next use; None: a made-up step."""
    units: Units = person.units  # type: ignore[assignment]
    asked = reference_m2 if reference_m2 is not None else _round(example.left_m2[1] * _SHARE)
    step = example.step_of(asked)
    enough, said = enough_words(step.chance, settings["finish_limit"], settings["tight_limit"])
    rows = [_floor_row(one.floor_class, one.worked_m2, one.factor, one.reference_m2, units) for one in example.floors]
    pace = example.own_m2[1] / example.type_m2[1] - 1
    factor = show_number(example.factor, 2)
    return {
        "example": example,
        "floors": rows,
        "floor_heads": rows[0] if rows else [],
        "past": show_about(example.past_m2, units) if example.past_m2 > 1 else "",
        "used": show_about(example.used_m2, units),
        "new": show_height(example.new_mm, units) if example.new_mm is not None else "",
        "retire": show_height(example.retire_mm, units) if example.retire_mm is not None else "",
        "usable": show_height(example.usable_mm, units),
        "last_height": show_height(example.heights[-1], units) if example.heights else "",
        "error": show_height(READING_ERROR_MM, units),
        "readings": len(example.heights),
        "today": show_height(example.today_mm[1], units),
        "today_range": height_range(example.today_mm[0], example.today_mm[2], units),
        "rated": show_about(example.rated_m2, units),
        "worn_out": example.worn_out,
        "middle": show_about(example.type_m2[1], units),
        "middle_range": show_range(example.type_m2[0], example.type_m2[2], units),
        "own": show_about(example.own_m2[1], units),
        "own_range": show_range(example.own_m2[0], example.own_m2[2], units),
        "pace": _pace(pace),
        "low": show_about(example.left_m2[0], units),
        "likely": show_about(example.left_m2[1], units),
        "high": show_about(example.left_m2[2], units),
        "floor": class_words(example.usual_class),
        "factor": factor,
        "on_floor": [show_about(area, units) for area in example.left_on_floor_m2],
        "step": show_about(step.reference_m2, units),
        "step_on_floor": show_about(step.reference_m2 / example.factor, units),
        "enough": enough,
        "enough_words": said,
        "limit": f"{round(settings['finish_limit'] * 100)}\u00a0%",
        "tight": f"{round(settings['tight_limit'] * 100)}\u00a0%",
    }


def _pace(share: float) -> str:
    """How this set wears beside the middle one of its type."""
    if abs(share) < 0.03:
        return _("about as fast as the middle set of its type")
    amount = f"{round(abs(share) * 100)}\u00a0%"
    if share < 0:
        return _("faster than the middle set of its type: its height lasts %(share)s less") % {"share": amount}
    return _("slower than the middle set of its type: its height lasts %(share)s longer") % {"share": amount}


def _round(area_m2: float) -> float:
    """To two figures, and never nothing."""
    return max(float(f"{area_m2:.1e}"), 1.0)


def _floor_row(key: str, worked: float, factor: float, reference: float, units: Units) -> list[Cell]:
    return [
        {"label": _("Floor"), "words": class_words(key), "head": True},
        words(_("Worked area"), show_about(worked, units), num=True),
        words(_("Floor factor"), show_number(factor, 2), num=True),
        words(_("Reference area"), show_about(reference, units), num=True),
    ]
