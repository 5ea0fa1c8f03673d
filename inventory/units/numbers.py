"""Numbers as people write them: decimal comma or point, thousands marks, fractions, "40k", "~"."""

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from django.utils.translation import gettext as _

# Spaces people and programs put between thousands: plain, no-break, narrow no-break, thin, figure.
SPACES = " \u00a0\u202f\u2009\u2007"
_APOSTROPHES = "'\u2019\u02bc"
_VULGAR = {
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
    "⅓": "1/3",
    "⅔": "2/3",
}
_FRACTION = re.compile(r"^(?:(\d+)[ -]+)?(\d{1,3})\s*/\s*(\d{1,3})$")
_GROUPED = {mark: re.compile(rf"^\d{{1,3}}(?:{re.escape(mark)}\d{{3}})+$") for mark in (",", ".", " ", "'")}
_MAX_LENGTH = 60


class AmountNotRead(ValueError):
    """An amount that cannot be read; `sentence` tells the person what was wrong and what would be right."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


class NumberDoubt(AmountNotRead):
    """A number with two honest readings ("1.234"); `readings` has them, likeliest first."""

    def __init__(self, text: str, readings: tuple[Decimal, ...]) -> None:
        super().__init__(
            _("“%(text)s” can be %(whole)s or %(part)s. Type it without the mark, or with one more digit.")
            % {"text": text, "whole": f"{readings[0]:f}", "part": f"{readings[1]:f}"}
        )
        self.readings = readings


@dataclass(frozen=True)
class Number:
    """A number as typed: its exact value, whether it was written as a fraction, and whether "about" stood before it."""

    value: Fraction
    fraction: bool = False
    about: bool = False


def tidy(text: str) -> str:
    """Text with one kind of space, apostrophe, minus and fraction, and no space at its ends."""
    for mark in SPACES:
        text = text.replace(mark, " ")
    for mark in _APOSTROPHES:
        text = text.replace(mark, "'")
    text = text.replace("\u2212", "-").replace("\u2044", "/").replace("\u2013", "-")
    for sign, plain in _VULGAR.items():
        text = text.replace(sign, " " + plain)
    return re.sub(r"\s+", " ", text).strip()


def read_number(text: str | int | float | Decimal, decimal_mark: str | None = None) -> Number:
    """Read one number without unit.

    `decimal_mark` is "." or "," when the person's habit is known, else None. Numbers from a spreadsheet cell
    may be passed as they are. Raises AmountNotRead, and NumberDoubt when one mark before three digits could
    part thousands or decimals and the habit is not known.
    """
    if isinstance(text, bool):
        raise AmountNotRead(_("“%(text)s” is not a number.") % {"text": text})
    if isinstance(text, int | float | Decimal):
        plain = Decimal(repr(text)) if isinstance(text, float) else Decimal(text)
        if not plain.is_finite():
            raise AmountNotRead(_("“%(text)s” is not a number.") % {"text": text})
        return Number(Fraction(plain))
    if text.isascii() and text.isdecimal() and len(text) <= 15:
        return Number(Fraction(int(text)))
    body = tidy(text)
    if len(body) > _MAX_LENGTH:
        raise AmountNotRead(_("“%(text)s…” is too long to be a number.") % {"text": body[:30]})
    about = False
    stripped = re.sub(r"^(?:~|≈|ca\.?|approx\.?|about|aprox\.?|unos|unas)\s*", "", body, flags=re.IGNORECASE)
    if stripped != body:
        about, body = True, stripped
    sign = 1
    if body[:1] in {"-", "+"}:
        sign = -1 if body[0] == "-" else 1
        body = body[1:].strip()
    fraction = _read_fraction(body)
    if fraction is not None:
        return Number(sign * fraction, fraction=True, about=about)
    factor = 1
    if body[-1:] in {"k", "K"} and body[:-1].strip():
        factor, body = 1000, body[:-1].strip()
    try:
        value = _read_decimal(body, decimal_mark, shown=tidy(text))
    except NumberDoubt as doubt:
        if factor == 1 and sign == 1:
            raise
        raise NumberDoubt(tidy(text), tuple(reading * factor * sign for reading in doubt.readings)) from None
    return Number(sign * factor * Fraction(value), about=about)


def _read_fraction(body: str) -> Fraction | None:
    found = _FRACTION.match(body)
    if not found:
        return None
    whole, top, bottom = (int(part) if part else 0 for part in found.groups())
    if bottom == 0:
        raise AmountNotRead(_("“%(text)s” divides by zero.") % {"text": body})
    return whole + Fraction(top, bottom)


def _read_decimal(body: str, decimal_mark: str | None, shown: str) -> Decimal:
    refusal = AmountNotRead(_("“%(text)s” is not a number.") % {"text": shown or body})
    if not re.fullmatch(r"[0-9.,' ]*[0-9][0-9.,' ]*", body):
        raise refusal
    if re.fullmatch(r"[0-9]+", body):
        return Decimal(body)
    points, commas = body.count("."), body.count(",")
    spaces = " " in body or "'" in body
    last = max(body.rfind("."), body.rfind(","))
    if points and commas:
        mark = body[last]
        other = "," if mark == "." else "."
        if body.count(mark) > 1 or spaces:
            raise refusal
        return _assemble(body[:last], other, body[last + 1 :], refusal)
    if points + commas > 1:
        if spaces or not _GROUPED["." if points else ","].match(body):
            raise refusal
        return Decimal(re.sub(r"[.,]", "", body))
    if points + commas == 0:
        grouping = " " if " " in body else "'"
        return _assemble(body, grouping, "", refusal)
    whole, part = body[:last], body[last + 1 :]
    if spaces:
        return _assemble(whole, " " if " " in whole else "'", part, refusal)
    mark = body[last]
    could_group = bool(_GROUPED[mark].match(body)) and not whole.startswith("0")
    if could_group and decimal_mark is None:
        raise NumberDoubt(shown, (Decimal(whole + part), Decimal(f"{whole}.{part}")))
    if could_group and mark != decimal_mark:
        return Decimal(whole + part)
    return Decimal(f"{whole or '0'}.{part or '0'}")


def _assemble(whole: str, grouping: str, part: str, refusal: AmountNotRead) -> Decimal:
    if whole and not whole.isdecimal() and not _GROUPED[grouping].match(whole):
        raise refusal
    if part and not part.isdecimal():
        raise refusal
    digits = re.sub(r"[., ']", "", whole)
    return Decimal(f"{digits or '0'}.{part or '0'}")
