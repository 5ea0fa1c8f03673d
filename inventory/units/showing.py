"""Amounts as people read them: their units, their marks, and never a number parted from its unit."""

from decimal import ROUND_HALF_UP, Decimal

from django.utils.formats import get_format
from django.utils.translation import gettext as _

from .factors import UNITS, Dimension, Units, from_si, unit_for

NBSP = "\u00a0"
_SIGNS = {"USD": "$", "EUR": "€", "GBP": "£", "CAD": "CA$", "MXN": "MX$", "AUD": "A$"}


def show_number(value: float | Decimal, places: int = 0) -> str:
    """A number with at most `places` decimals, zeros at the end dropped, marks of the active language."""
    return _marked(_rounded(value, places))


def _rounded(value: float | Decimal, places: int) -> Decimal:
    exact = value if isinstance(value, Decimal) else Decimal(repr(value))
    rounded = exact.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    return rounded + 0 if rounded else Decimal(0)  # no "-0"


def _marked(value: Decimal, keep_places: bool = False) -> str:
    whole, _point, part = f"{abs(value):f}".partition(".")
    if not keep_places:
        part = part.rstrip("0")
    thousand = str(get_format("THOUSAND_SEPARATOR")) or NBSP
    groups = []
    while len(whole) > 3:
        whole, tail = whole[:-3], whole[-3:]
        groups.append(tail)
    text = thousand.join([whole, *reversed(groups)])
    if part:
        text += str(get_format("DECIMAL_SEPARATOR")) + part
    return ("\u2212" if value < 0 else "") + text


def _places(value: float) -> int:
    size = abs(value)
    return 0 if size >= 100 else 1 if size >= 10 else 2


def _with_unit(value: float, places: int, unit: str) -> str:
    return show_number(value, places) + NBSP + UNITS[unit].symbol


def show_area(area_m2: float, units: Units) -> str:
    """An area in the person's unit: "12,400 ft²" or "1,152 m²"."""
    unit = unit_for("area", units)
    value = from_si(area_m2, unit)
    return _with_unit(value, _places(value), unit)


def show_height(height_mm: float, units: Units) -> str:
    """A tool height or a width: "0.27 in" (hundredths) or "6.9 mm" (tenths), about a calliper's honest reading."""
    unit = unit_for("height", units)
    return _with_unit(from_si(height_mm, unit), 2 if unit == "in" else 1, unit)


def show_length(length_m: float, units: Units) -> str:
    """A length of edge: "320 ft" or "97.5 m"."""
    unit = unit_for("length", units)
    value = from_si(length_m, unit)
    return _with_unit(value, _places(value), unit)


def show_temperature(temperature_c: float, units: Units) -> str:
    """A temperature: "130 °F" or "54.4 °C"."""
    unit = unit_for("temperature", units)
    return _with_unit(from_si(temperature_c, unit), 0 if unit == "F" else 1, unit)


def show_volume(volume_l: float, units: Units) -> str:
    """A volume: "5 gal" or "18.9 L"."""
    unit = unit_for("volume", units)
    value = from_si(volume_l, unit)
    return _with_unit(value, _places(value), unit)


def show_speed(speed_m_per_min: float, units: Units) -> str:
    """A walking speed: "1 mph" or "26.8 m/min"."""
    unit = unit_for("speed", units)
    return _with_unit(from_si(speed_m_per_min, unit), 1, unit)


def show_hours(hours: float) -> str:
    """A span in hours: "60 h", "31.5 h"; under one hour in minutes: "40 min"."""
    if 0 < hours < 1 and round(hours * 60) < 60:
        return show_number(hours * 60) + NBSP + "min"
    return show_number(hours, 1) + NBSP + "h"


def show_span(hours: float) -> str:
    """How long until something, as it is said: "5 h 50 min", "5 h", "40 min"."""
    whole, minutes = divmod(round(hours * 60), 60)
    parts = [show_number(whole) + NBSP + "h" if whole else "", show_number(minutes) + NBSP + "min" if minutes else ""]
    return " ".join(filter(None, parts)) or show_number(0) + NBSP + "min"


def show_money(amount: Decimal | int, currency: str) -> str:
    """Money with its sign, cents only when there are any: "$1,240", "$318.50"; "1 240,50 €" in Spanish."""
    value = _rounded(Decimal(amount), 2)
    text = _marked(value, keep_places=value != value.to_integral_value())
    sign = _SIGNS.get(currency)
    if sign is None or (sign == "€" and str(get_format("DECIMAL_SEPARATOR")) == ","):
        return text + NBSP + (sign or currency)
    return text[0] + sign + text[1:] if text.startswith("\u2212") else sign + text


def show_entered(value: Decimal | float, unit: str) -> str:
    """An amount as it was entered, in the unit of entry: "0.375 in"."""
    return show_number(value, 6) + NBSP + UNITS[unit].symbol


def show_range(low_si: float, high_si: float, units: Units, dimension: Dimension = "area") -> str:
    """A doubtful amount as its ends, rounded to three figures, unit once: "89,000 to 152,000 ft²"."""
    unit = unit_for(dimension, units)
    low, high = (show_number(_three_figures(from_si(si, unit)), 6) for si in (low_si, high_si))
    last = UNITS[unit].symbol
    if low == high:
        return low + NBSP + last
    return _("%(low)s to %(high)s") % {"low": low, "high": high} + NBSP + last


def show_about(si: float, units: Units, dimension: Dimension = "area") -> str:
    """A likely amount rounded to three figures, with its unit: "118,000 ft²"."""
    return show_range(si, si, units, dimension)


def _three_figures(value: float) -> Decimal:
    exact = Decimal(repr(float(value)))
    if not exact:
        return Decimal(0)
    return exact.quantize(Decimal(1).scaleb(exact.adjusted() - 2), rounding=ROUND_HALF_UP)
