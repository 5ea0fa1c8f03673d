"""A setting's value as the person reads and writes it: shares in per cent, areas and heights in the person's units."""

from __future__ import annotations

from datetime import time
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.forms.amounts import decimal_mark
from inventory.shop_settings import KNOWN
from inventory.units import (
    NBSP,
    UNITS,
    AmountNotRead,
    from_si,
    read_area,
    read_height,
    read_number,
    read_speed,
    show_number,
    unit_for,
)

_AMOUNTS: dict[str, Any] = {"m2": "area", "mm": "height", "width_mm": "height", "depth_mm": "height", "m/min": "speed"}
_PLACES = 4


def say_unit(key: str, units: str) -> str:
    """The unit that stands beside the value: "%", "ft²", "h", or "" for a clock time and a plain number."""
    unit = KNOWN[key].unit
    if unit in _AMOUNTS:
        return str(UNITS[unit_for(_AMOUNTS[unit], units)].symbol)  # type: ignore[arg-type]
    return {
        "share": "%",
        "ratio": "×",
        "d": _("days"),
        "weeks": _("weeks"),
        "time": "",
        "paper": "",
        "L/m2": "L/m²",
        "per m": _("per m"),
        "grit": "",
        "parts": "",
    }.get(unit, unit)


def to_words(key: str, value: Any, units: str, *, with_unit: bool = False) -> str:
    """The value in the person's unit: "90", "646", "12:00"; with_unit adds the unit: "90 %"."""
    unit = KNOWN[key].unit
    if isinstance(value, time):
        return f"{value:%H:%M}"
    if unit == "paper":
        return {"a4": "A4", "letter": "Letter"}[value]
    shown = float(value)
    if unit == "share":
        shown *= 100
    elif unit in _AMOUNTS:
        shown = from_si(shown, unit_for(_AMOUNTS[unit], units))  # type: ignore[arg-type]
    text = show_number(shown, 0 if abs(shown) >= 100 else _PLACES)
    name = say_unit(key, units)
    if unit == "d":
        name = ngettext("day", "days", int(value))
    return f"{text}{NBSP}{name}" if with_unit and name else text


def from_words(key: str, text: str, units: str) -> str:
    """The text that is kept (SI) for what the person wrote; what cannot be read goes on as it is, to be refused."""
    unit = KNOWN[key].unit
    if unit in ("time", "paper"):
        return text.strip().lower()
    try:
        if unit == "m2":
            return repr(read_area(text, unit_for("area", units), decimal_mark()).si)  # type: ignore[arg-type]
        if _AMOUNTS.get(unit) == "height":
            return repr(read_height(text, unit_for("height", units), decimal_mark()).si)  # type: ignore[arg-type]
        if unit == "m/min":
            return repr(read_speed(text, unit_for("speed", units), decimal_mark()).si)  # type: ignore[arg-type]
        number = read_number(text.strip().rstrip("%").strip(), decimal_mark())
    except (AmountNotRead, ValueError):
        return text
    value = float(number.value)
    if unit == "share":
        value = round(value / 100, 6)
    return str(int(value)) if KNOWN[key].read is int and value.is_integer() else repr(value)


def say_source(source: str) -> str:
    """Where a start value comes from."""
    words = {
        "measured": _("tried out on made-up shops"),
        "our assumption": _("our assumption"),
        "common practice": _("common practice"),
        "reference": _("the reference floor"),
        "not said yet": _("not said yet: left out of plans"),
    }
    return words.get(source, source)
