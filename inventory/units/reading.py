"""Amounts as people type them, read into SI with the value and unit as entered."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from django.utils.translation import gettext as _

from .factors import UNITS, Dimension, to_si
from .numbers import AmountNotRead, Number, NumberDoubt, read_number, tidy

Typed = str | int | float | Decimal

# Unit words in English and Spanish, lower case without full stops; the longest that fits is taken.
_WORDS: dict[Dimension, dict[str, str]] = {
    "area": {
        "m2": "m2", "m²": "m2", "m^2": "m2", "sqm": "m2", "sq m": "m2", "qm": "m2", "square meters": "m2",
        "square meter": "m2", "square metres": "m2", "square metre": "m2", "metros cuadrados": "m2",
        "metro cuadrado": "m2", "mts2": "m2", "mt2": "m2",
        "ft2": "ft2", "ft²": "ft2", "ft^2": "ft2", "sf": "ft2", "sqft": "ft2", "sq ft": "ft2", "sq feet": "ft2",
        "sq foot": "ft2", "square feet": "ft2", "square foot": "ft2", "pies cuadrados": "ft2",
        "pie cuadrado": "ft2", "pies2": "ft2", "pies²": "ft2", "pie2": "ft2", "pie²": "ft2",
        "yd2": "yd2", "yd²": "yd2", "sq yd": "yd2", "sy": "yd2", "square yards": "yd2", "yardas cuadradas": "yd2",
    },
    "height": {
        "mm": "mm", "millimeters": "mm", "millimeter": "mm", "millimetres": "mm", "millimetre": "mm",
        "milímetros": "mm", "milimetros": "mm", "milímetro": "mm",
        "cm": "cm", "centimeters": "cm", "centimetres": "cm", "centímetros": "cm", "centimetros": "cm",
        "in": "in", "inch": "in", "inches": "in", "\"": "in", "''": "in", "″": "in", "”": "in", "“": "in",
        "pulgadas": "in", "pulgada": "in", "pulg": "in", "plg": "in",
    },
    "length": {
        "m": "m", "meters": "m", "meter": "m", "metres": "m", "metre": "m", "metros": "m", "metro": "m", "mts": "m",
        "ft": "ft", "feet": "ft", "foot": "ft", "lf": "ft", "lin ft": "ft", "linear feet": "ft", "'": "ft",
        "′": "ft", "pies": "ft", "pie": "ft", "yd": "yd", "yards": "yd", "yardas": "yd",
    },
    "temperature": {
        "c": "C", "°c": "C", "° c": "C", "ºc": "C", "º c": "C", "℃": "C", "deg c": "C", "celsius": "C",
        "degrees c": "C", "grados c": "C", "centígrados": "C",
        "f": "F", "°f": "F", "° f": "F", "ºf": "F", "º f": "F", "℉": "F", "deg f": "F", "fahrenheit": "F",
        "degrees f": "F", "grados f": "F",
    },
    "hours": {
        "h": "h", "hr": "h", "hrs": "h", "hour": "h", "hours": "h", "hora": "h", "horas": "h",
        "min": "min", "mins": "min", "minute": "min", "minutes": "min", "minuto": "min", "minutos": "min",
        "d": "d", "day": "d", "days": "d", "día": "d", "días": "d", "dia": "d", "dias": "d",
    },
    "volume": {
        "l": "L", "liter": "L", "liters": "L", "litre": "L", "litres": "L", "litro": "L", "litros": "L",
        "gal": "gal", "gals": "gal", "gallon": "gal", "gallons": "gal", "galón": "gal", "galones": "gal",
    },
    "speed": {
        "mph": "mph", "mi/h": "mph", "m/min": "m/min", "meters per minute": "m/min",
    },
}  # fmt: skip

# A length may also be written in the small units of heights; within "height" their SI is mm.
_WORDS["length"] |= _WORDS["height"]
_M_PER_MM = Fraction(1, 1000)

_ENDINGS: dict[Dimension, list[tuple[str, str]]] = {
    dimension: sorted(words.items(), key=lambda pair: -len(pair[0])) for dimension, words in _WORDS.items()
}


@dataclass(frozen=True)
class Amount:
    """An amount in SI and as entered.

    `si` in the dimension's SI unit (m2, mm, m, degC, h, L, m/min); `value` in `unit`, the unit code as stored;
    `about` when it was written as a rough figure ("~40k").
    """

    si: float
    value: Decimal
    unit: str
    about: bool = False


@dataclass(frozen=True)
class Money:
    """An amount of money; `currency` is an ISO 4217 code."""

    amount: Decimal
    currency: str


class Doubt(AmountNotRead):
    """An amount with two honest readings; `readings` has them, likeliest first. Also a refusal for who does not ask."""

    def __init__(self, sentence: str, readings: tuple[Amount, ...]) -> None:
        super().__init__(sentence)
        self.readings = readings


def find_unit(text: str, dimension: Dimension) -> str | None:
    """The unit code of a whole text that is a unit word ("sq. ft", "pulgadas"), else None."""
    return _WORDS[dimension].get(tidy(text).lower().replace(".", ""))


def _split_unit(text: str, dimension: Dimension) -> tuple[str, str | None]:
    body = tidy(text)
    if not body.strip("0123456789.,"):
        return body, None
    low = body.lower()
    bare = low.rstrip(".")
    for word, code in _ENDINGS[dimension]:
        for candidate in (bare, bare.replace("sq.", "sq").replace("lin.", "lin")):
            if candidate.endswith(word):
                head = candidate[: -len(word)]
                # A letter before the word means that the word is only the tail of another one ("ditto in").
                if (head and not head.rstrip()[-1:].isalpha()) or head.rstrip()[-1:] in {"k"}:
                    return head.strip(), code
    return body, None


def _fits_dimension(unit: str, dimension: Dimension) -> bool:
    known = UNITS.get(unit)
    return known is not None and known.dimension in ({dimension, "height"} if dimension == "length" else {dimension})


def _si(value: Fraction, unit: str, dimension: Dimension) -> float:
    if UNITS[unit].dimension == dimension:
        return to_si(value, unit)
    return float(value * UNITS[unit].factor * _M_PER_MM)


# Nothing that anybody measures here comes near it; beyond it decimals are no longer exact. Our assumption.
_BEYOND = 10**12


def _check_size(value: Fraction | Decimal, text: Typed, example: str) -> None:
    if abs(Fraction(value)) >= _BEYOND:
        raise AmountNotRead(
            _("“%(text)s” is more than anything here can be. Type it like %(example)s.")
            % {"text": str(text).strip()[:40], "example": example}
        )


def _value(number: Number) -> Decimal:
    # Thirds and the like have no end in decimals; six places of an inch are finer than any calliper.
    exact = Decimal(number.value.numerator) / Decimal(number.value.denominator)
    return exact if Fraction(exact) == number.value and len(exact.as_tuple().digits) <= 15 else round(exact, 6)


def _read(
    text: Typed,
    dimension: Dimension,
    default_unit: str,
    decimal_mark: str | None,
    example: str,
    fits: Callable[[float], bool] | None = None,
) -> Amount:
    """Split off the unit, read the number; of two readings take the only one that `fits`, else raise Doubt."""
    if not _fits_dimension(default_unit, dimension):
        raise ValueError(f"`default_unit` must be a unit of {dimension}, got {default_unit!r}")
    unit: str | None = None
    body: Typed = text
    if isinstance(text, str):
        if not text.strip():
            raise AmountNotRead(_("Nothing is typed here. Type it like %(example)s.") % {"example": example})
        body, unit = _split_unit(text, dimension)
    try:
        number = read_number(body, decimal_mark)
    except NumberDoubt as doubt:
        code = unit or default_unit
        for reading in doubt.readings:
            _check_size(reading, text, example)
        both = tuple(Amount(_si(Fraction(each), code, dimension), each, code) for each in doubt.readings)
        fitting = [amount for amount in both if fits is None or fits(amount.si)]
        if len(fitting) == 1:
            return fitting[0]
        raise Doubt(doubt.sentence, both) from None
    except AmountNotRead:
        raise AmountNotRead(
            _("“%(text)s” cannot be read. Type it like %(example)s.")
            % {"text": str(text).strip()[:40], "example": example}
        ) from None
    _check_size(number.value, text, example)
    code = unit or default_unit
    if number.fraction and dimension == "height" and unit is None:
        code = "in"  # Millimetres are never written in fractions: common practice, no source.
    return Amount(_si(number.value, code, dimension), _value(number), code, number.about)


def read_area(text: Typed, default_unit: str = "m2", decimal_mark: str | None = None) -> Amount:
    """Read an area ("96,000", "40k sq ft", "250,5 m²") in m2.

    `default_unit` ("m2", "ft2") holds when none is typed. Raises AmountNotRead with a sentence for the person,
    Doubt when a mark has two readings and `decimal_mark` ("." or ",") is not given.
    """
    example = "12,400 ft²" if default_unit == "ft2" else "1150 m²"
    return _read(text, "area", default_unit, decimal_mark, example)


def read_height(text: Typed, default_unit: str = "mm", decimal_mark: str | None = None) -> Amount:
    """Read a tool height ("0.27", ".33\"", "3/8", "1 1/4 in", "6,9 mm") in mm; a bare fraction is inches.

    Raises AmountNotRead with a sentence for the person, Doubt when a mark has two possible readings.
    """
    example = "0.27 in" if default_unit == "in" else "6.9 mm"
    return _read(text, "height", default_unit, decimal_mark, example, fits=lambda mm: mm <= 100.0)


_FEET_INCHES = re.compile(
    r"^(\d{1,5})\s*(?:ft\.?|feet|foot|pies?|'|′)\s*(\d+(?:[.,]\d+)?|\d+/\d+|\d+ \d+/\d+)"
    r"\s*(?:in\.?|inch(?:es)?|pulgadas?|pulg\.?|\"|''|″|”)?$"
)
_INCHES_A_FOOT = 12


def read_length(text: Typed, default_unit: str = "m", decimal_mark: str | None = None) -> Amount:
    """Read a length or width ("320 ft", "97,5 m", "36 in", "2 ft 6 in", "90 cm") in m.

    Raises AmountNotRead or Doubt as `read_area`.
    """
    both = _FEET_INCHES.match(tidy(text).lower()) if isinstance(text, str) else None
    if both:
        inches = read_number(both[2], decimal_mark).value
        if inches < _INCHES_A_FOOT:
            feet = int(both[1]) + inches / _INCHES_A_FOOT
            return Amount(to_si(feet, "ft"), _value(Number(feet)), "ft")
    return _read(text, "length", default_unit, decimal_mark, "320 ft" if default_unit == "ft" else "97.5 m")


def read_temperature(text: Typed, default_unit: str = "C", decimal_mark: str | None = None) -> Amount:
    """Read a water temperature ("130 F", "54,4 °C") in degC. Raises AmountNotRead with a sentence for the person."""
    example = "130 °F" if default_unit == "F" else "54 °C"
    return _read(text, "temperature", default_unit, decimal_mark, example, fits=lambda celsius: celsius <= 200.0)


def read_volume(text: Typed, default_unit: str = "L", decimal_mark: str | None = None) -> Amount:
    """Read a volume of water ("5 gal", "20 L") in L. Raises AmountNotRead or Doubt as `read_area`."""
    return _read(text, "volume", default_unit, decimal_mark, "5 gal" if default_unit == "gal" else "20 L")


def read_speed(text: Typed, default_unit: str = "m/min", decimal_mark: str | None = None) -> Amount:
    """Read a walking speed ("1 mph", "27 m/min") in m/min. Raises AmountNotRead or Doubt as `read_area`."""
    return _read(text, "speed", default_unit, decimal_mark, "1 mph" if default_unit == "mph" else "27 m/min")


_CLOCK = re.compile(r"^(\d{1,3}):([0-5]\d)(?:\s*h(?:rs?)?)?$")
_HOURS_MINUTES = re.compile(r"^(\d{1,3})\s*h(?:rs?|ours?|oras?)?\s*(?:y\s*)?([0-5]?\d)\s*(?:m(?:in(?:utes|utos)?)?)?$")


def read_hours(text: Typed, default_unit: str = "h", decimal_mark: str | None = None) -> Amount:
    """Read a span of time ("3.5", "3:30", "3 h 30", "90 min", "2 days") in h. Raises AmountNotRead or Doubt."""
    if isinstance(text, str):
        found = _CLOCK.match(tidy(text).lower()) or _HOURS_MINUTES.match(tidy(text).lower().rstrip("."))
        if found:
            hours = int(found[1]) + Fraction(int(found[2]), 60)
            return Amount(float(hours), _value(Number(hours)), "h")
    return _read(text, "hours", default_unit, decimal_mark, "3.5 h", fits=lambda hours: hours <= 500.0)


_SIGNS = {"us$": "USD", "$": "", "€": "EUR", "£": "GBP", "dólares": "", "dollars": "", "euros": "EUR"}


def read_money(text: Typed, default_currency: str = "USD", decimal_mark: str | None = None) -> Money:
    """Read an amount of money ("$310", "1.240,50 €", "310 MXN"), never below zero.

    A bare dollar sign means the default currency. Raises AmountNotRead, or NumberDoubt for "1.234".
    """
    currency = default_currency
    body: Typed = text
    if isinstance(text, str):
        plain = tidy(text)
        code = re.match(r"^([A-Z]{3})\b\s*|.*?\s*\b([A-Z]{3})$", plain)
        if code:
            currency = code[1] or code[2]
            plain = plain[3:].strip() if code[1] else plain[:-3].strip()
        for sign, meant in _SIGNS.items():
            if plain.lower().startswith(sign) or plain.lower().endswith(sign):
                plain = plain[len(sign) :] if plain.lower().startswith(sign) else plain[: -len(sign)]
                currency = meant or currency
                break
        body = plain.strip()
    try:
        number = read_number(body, decimal_mark)
    except NumberDoubt:
        raise
    except AmountNotRead:
        raise AmountNotRead(_("“%(text)s” is not an amount of money. Type it like 310.50.") % {"text": text}) from None
    _check_size(number.value, text, "310.50")
    if number.value < 0:
        raise AmountNotRead(_("%(text)s is below zero. A price is zero or more.") % {"text": text})
    amount = _value(number)
    if amount != round(amount, 2) or number.fraction:
        raise AmountNotRead(_("%(text)s has parts of a cent. Type at most two decimals.") % {"text": text})
    return Money(round(amount, 2), currency)


_COUNT_TAIL = re.compile(
    r"\s*(?:pcs?|pieces?|sets?|ea|each|x|passes|pasadas?|piezas?|pzas?|juegos?|uds?)\.?$", re.IGNORECASE
)
_COUNT_WORDS = {
    "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "pair": 2,
    "un": 1, "uno": 1, "una": 1, "dos": 2, "tres": 3, "cuatro": 4, "cinco": 5, "seis": 6, "par": 2,
}  # fmt: skip


def read_count(text: Typed) -> int:
    """Read a whole number of things ("2", "2 pcs", "two", 2.0). Raises AmountNotRead for parts and for words."""
    refusal = AmountNotRead(_("“%(text)s” is not a whole number. Type it like 2.") % {"text": text})
    body: Typed = text
    if isinstance(text, str):
        body = _COUNT_TAIL.sub("", tidy(text))
        if body.lower() in _COUNT_WORDS:
            return _COUNT_WORDS[body.lower()]
    try:
        number = read_number(body, ".")
    except AmountNotRead:
        raise refusal from None
    if number.value.denominator != 1 or number.fraction:
        raise refusal
    return int(number.value)
