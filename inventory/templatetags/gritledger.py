"""Tags and filters of every page: gauges, marks, states, quantities in the person's units."""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from uuid import uuid4

from django import template
from django.template import Context
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext_lazy as _

from inventory import context as page_context
from inventory import gauge as drawing
from inventory import units as quantities
from inventory.actions.gate import name_of
from inventory.colour import MOST_PLACES

register = template.Library()


def _units(context: Context) -> str:
    return str(context.get("units") or "us")


def _uses(context: Context, count: int) -> None:
    """Remember that the page draws gauges of a ladder of so many places: base.html then holds its hatches."""
    request = context.get("request")
    if request is not None:
        request.ladders_drawn = getattr(request, "ladders_drawn", frozenset()) | {count}


@register.simple_tag(takes_context=True)
def gauge(
    context: Context,
    face: drawing.GaugeFace,
    width: float = 26,
    height: float = 48,
    lane: bool = True,
    named: bool = True,
) -> SafeString:
    """A gauge; `named=False` where the words beside it already say everything."""
    _uses(context, face.ladder_count)
    if not named:
        face = replace(face, name="")
    return mark_safe(drawing.gauge(face, float(width), float(height), lane=lane))  # noqa: S308 - all text is escaped there


@register.simple_tag(takes_context=True)
def gauge_defs(context: Context, count: int | str | None = None) -> SafeString:
    """The hatches of the ladders drawn on this page (and of `count`), once, at its end; base.html has it."""
    counts = set(getattr(context.get("request"), "ladders_drawn", frozenset()))
    if count:
        counts.add(int(count))
    return mark_safe(drawing.gauge_defs(*sorted(n for n in counts if 1 <= n <= MOST_PLACES)))  # noqa: S308 - numbers only


@register.simple_tag(takes_context=True)
def uses_ladder(context: Context, count: int) -> str:
    """Say that a chart or picture of this page uses the hatches of a ladder of `count` places."""
    _uses(context, int(count))
    return ""


@register.simple_tag
def cap(bond: str, ladder_place: int, ladder_count: int, width: float = 16, height: float = 28) -> SafeString:
    """A tool type's plain gauge: full, no line; decoration beside its grit."""
    face = drawing.GaugeFace(int(ladder_place), int(ladder_count), bond=bond, plain=True)  # type: ignore[arg-type]
    return mark_safe(drawing.gauge(face, float(width), float(height), lane=False))  # noqa: S308 - numbers only


@register.simple_tag
def mark(name: str) -> SafeString:
    """One of our marks, decoration beside its word: drop, tick, cross, gauge-missing ... or own-diamond."""
    return format_html('<svg class="mark" aria-hidden="true"><use href="#m-{}"/></svg>', name)


@register.simple_tag
def state(key: str, words: Any) -> SafeString:
    """A state: mark, word and colour. Keys: those of `inventory.gauge.STATES`."""
    look = drawing.STATES[str(key)]
    return format_html('<span class="state {}">{} {}</span>', look.colour, mark(look.mark), words)


@register.simple_tag
def notch(place: int, count: int, name: str = "") -> SafeString:
    """The ladder notch: thin ticks, the place (0 coarse) thick."""
    return mark_safe(drawing.notch(int(place), int(count), str(name)))  # noqa: S308 - the name is escaped there


@register.simple_tag
def grit(tool_type: Any, size: str = "stamp-m") -> SafeString:
    """The grit of a tool type (or of anything with `grit` and `own_mark`), stamped, its own mark after it."""
    own = getattr(tool_type, "own_mark", "") or ""
    after = format_html("&nbsp;{}", mark(own) if own.startswith("own-") else own) if own else ""
    return format_html('<span class="{}">{}{}</span>', size, getattr(tool_type, "grit", tool_type), after)


@register.simple_tag
def ramp(place: int, count: int) -> str:
    """The class that sets `--grit` and `--on-grit` for a place of the ladder (0 coarse)."""
    return f"ramp-{int(place)}-of-{int(count)}"


@register.simple_tag
def act_id() -> SafeString:
    """The hidden key of what a form does: a second press is the same act. Every form that writes to a ledger has it."""
    return format_html('<input type="hidden" name="act_id" value="{}">', uuid4())


@register.simple_tag
def address(url_name: str) -> str:
    """The address of that name, or "#" while that page is not built; for links of the frame."""
    return page_context.address(url_name) or "#"


@register.simple_tag(takes_context=True)
def area(context: Context, area_m2: float) -> str:
    """An area in the person's units."""
    return quantities.show_area(area_m2, _units(context))  # type: ignore[arg-type]


@register.simple_tag(takes_context=True)
def area_range(context: Context, low_m2: float, high_m2: float) -> str:
    """ "89,000 to 152,000 ft2" in the person's units."""
    return quantities.show_range(low_m2, high_m2, _units(context))  # type: ignore[arg-type]


@register.simple_tag(takes_context=True)
def height(context: Context, height_mm: float) -> str:
    """A tool height in the person's units."""
    return quantities.show_height(height_mm, _units(context))  # type: ignore[arg-type]


@register.simple_tag(takes_context=True)
def temperature(context: Context, temperature_c: float) -> str:
    """A temperature in the person's units."""
    return quantities.show_temperature(temperature_c, _units(context))  # type: ignore[arg-type]


@register.filter("area")
def area_filter(area_m2: float | None, units: str = "us") -> str:
    """`{{ m2|area:units }}`; nothing for None."""
    return "" if area_m2 is None else quantities.show_area(area_m2, units)  # type: ignore[arg-type]


@register.filter("height")
def height_filter(height_mm: float | None, units: str = "us") -> str:
    """`{{ mm|height:units }}`; nothing for None."""
    return "" if height_mm is None else quantities.show_height(height_mm, units)  # type: ignore[arg-type]


@register.filter("temp")
def temp_filter(temperature_c: float | None, units: str = "us") -> str:
    """`{{ celsius|temp:units }}`; nothing for None."""
    return "" if temperature_c is None else quantities.show_temperature(temperature_c, units)  # type: ignore[arg-type]


# Not "length": that is Django's own, and every page with this library loaded needs it.
@register.filter("metres")
def metres_filter(length_m: float | None, units: str = "us") -> str:
    """`{{ length_m|metres:units }}`; nothing for None."""
    return "" if length_m is None else quantities.show_length(length_m, units)  # type: ignore[arg-type]


@register.filter("volume")
def volume_filter(volume_l: float | None, units: str = "us") -> str:
    """`{{ litres|volume:units }}`; nothing for None."""
    return "" if volume_l is None else quantities.show_volume(volume_l, units)  # type: ignore[arg-type]


@register.filter("hours")
def hours_filter(hours: float | None) -> str:
    """`{{ hours|hours }}`; nothing for None."""
    return "" if hours is None else quantities.show_hours(hours)


@register.filter
def set_name(state: Any) -> str:
    """What a set is called: its code, else its own code, else its type."""
    return name_of(state) if state else ""


@register.filter("sure")
def sure_filter(chance: float | None) -> str:
    """A chance 0..1 as people read it: steps of 5, rounded down, from 95 on "over 95 % sure"."""
    return "" if chance is None else sure_words(chance)


def sure_words(chance: float) -> str:
    """See `sure_filter`."""
    from django.utils.translation import gettext

    if chance >= 0.95:
        return gettext("over %(chance)s sure") % {"chance": "95\u00a0%"}
    return gettext("%(chance)s sure") % {"chance": f"{int(max(chance, 0.0) * 100 + 1e-9) // 5 * 5}\u00a0%"}


@register.inclusion_tag("parts/rack_legend.html", takes_context=True)
def rack_legend(context: Context, ladder_place: int = 6, ladder_count: int = 10) -> dict[str, Any]:
    """What the shapes of the rack mean, drawn in the colour of one place."""
    life: dict[str, Any] = {"at_least": 0.45, "likely": 0.6, "up_to": 0.75}
    shapes: list[tuple[dict[str, Any], Any]] = [
        ({"water": "conditioned"}, _("Conditioned")),
        ({"water": "dry"}, _("Dry, or needs no soak")),
        ({"water": "soaking"}, _("Soaking")),
        ({"water": "soaked"}, _("Soaked, not confirmed")),
        ({"out": True}, _("Out")),
        ({"aside": True}, _("Set aside")),
        ({"glazed": True}, _("Glazed")),
        ({"missing": True}, _("Missing")),
    ]
    return {
        "request": context.get("request"),
        "whole": drawing.GaugeFace(ladder_place, ladder_count, **life),
        "legend": [
            {"face": drawing.GaugeFace(ladder_place, ladder_count, **life, **facts), "words": words}
            for facts, words in shapes
        ],
    }
