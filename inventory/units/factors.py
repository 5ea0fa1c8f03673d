"""Exact factors between the units people use and the SI units kept inside.

SI inside means: area m2, height and width mm, length m, temperature degC, time h, volume L, speed m/min.
Sources: NIST Handbook 44, Appendix C (inch, foot, gallon, mile); the factors are exact by definition.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

Dimension = Literal["area", "height", "length", "temperature", "hours", "volume", "speed"]
Units = Literal["us", "metric"]

_INCH_MM = Fraction(254, 10)
_FOOT_M = Fraction(3048, 10000)


@dataclass(frozen=True)
class Unit:
    """A unit as it is stored with an amount: SI = value * factor + offset."""

    code: str
    dimension: Dimension
    factor: Fraction
    symbol: str
    offset: Fraction = Fraction(0)


_ALL = (
    Unit("m2", "area", Fraction(1), "m²"),
    Unit("ft2", "area", _FOOT_M**2, "ft²"),
    Unit("yd2", "area", (3 * _FOOT_M) ** 2, "yd²"),
    Unit("mm", "height", Fraction(1), "mm"),
    Unit("cm", "height", Fraction(10), "cm"),
    Unit("in", "height", _INCH_MM, "in"),
    Unit("m", "length", Fraction(1), "m"),
    Unit("ft", "length", _FOOT_M, "ft"),
    Unit("yd", "length", 3 * _FOOT_M, "yd"),
    Unit("C", "temperature", Fraction(1), "°C"),
    Unit("F", "temperature", Fraction(5, 9), "°F", Fraction(-160, 9)),
    Unit("h", "hours", Fraction(1), "h"),
    Unit("min", "hours", Fraction(1, 60), "min"),
    Unit("d", "hours", Fraction(24), "d"),
    Unit("L", "volume", Fraction(1), "L"),
    Unit("gal", "volume", Fraction(3785411784, 10**9), "gal"),
    Unit("m/min", "speed", Fraction(1), "m/min"),
    Unit("mph", "speed", Fraction(268224, 10000), "mph"),
)
UNITS: dict[str, Unit] = {unit.code: unit for unit in _ALL}

_OF_PERSON: dict[Units, dict[Dimension, str]] = {
    "us": {
        "area": "ft2",
        "height": "in",
        "length": "ft",
        "temperature": "F",
        "hours": "h",
        "volume": "gal",
        "speed": "mph",
    },
    "metric": {
        "area": "m2",
        "height": "mm",
        "length": "m",
        "temperature": "C",
        "hours": "h",
        "volume": "L",
        "speed": "m/min",
    },
}


def unit_for(dimension: Dimension, units: Units) -> str:
    """The unit code a person with these units reads and types for a dimension ("area", "us" -> "ft2")."""
    return _OF_PERSON[units][dimension]


def to_si(value: float | Fraction, unit: str) -> float:
    """A value in `unit` as SI, correctly rounded. Raises KeyError for a unit code that is not in UNITS."""
    known = UNITS[unit]
    return float(Fraction(value) * known.factor + known.offset)


def from_si(si: float | Fraction, unit: str) -> float:
    """An SI amount in `unit`, correctly rounded. Raises KeyError for a unit code that is not in UNITS."""
    known = UNITS[unit]
    return float((Fraction(si) - known.offset) / known.factor)
