"""What a column says of itself beyond doubt: its decimal mark, its unit."""

from __future__ import annotations

import re
from collections.abc import Iterable
from fractions import Fraction

from inventory.units import AmountNotRead, read_number

from .raw import Cell, shown

_ONE_MARK = re.compile(r"^\D{0,3}\d+([.,])(\d+)\D{0,8}$")
_TWO_MARKS = re.compile(r"\d(?:[' \u00a0\u202f]\d{3}([.,])|\.\d{3}(,)|,\d{3}(\.))\d")
_THOUSANDS_TWICE = re.compile(r"^\D{0,3}\d{1,3}([.,])\d{3}\1\d{3}\D{0,8}$")


def mark_by_evidence(cells: Iterable[Cell]) -> str | None:
    """Which mark parts decimals, by cells without doubt ("0,27", "1.240,5", "1,240,000"); None without any or mixed."""
    found: set[str] = set()
    for cell in cells:
        if not isinstance(cell, str):
            continue
        text = cell.strip()
        if match := _TWO_MARKS.search(text):
            found.add(match[1] or match[2] or match[3])
        elif match := _THOUSANDS_TWICE.match(text):
            found.add("." if match[1] == "," else ",")
        elif (match := _ONE_MARK.match(text)) and (len(match[2]) != 3 or text.lstrip("~≈ ").startswith("0")):
            found.add(match[1])
    return found.pop() if len(found) == 1 else None


def height_in_inches(cells: Iterable[Cell]) -> bool | None:
    """Whether bare heights are inches (middle one under 1.1) or mm (over 2); None in doubt. Our assumption."""
    values: list[Fraction] = []
    for cell in cells:
        try:
            values.append(
                read_number(cell if isinstance(cell, int | float) else shown(cell), mark_by_evidence([cell])).value
            )
        except AmountNotRead:
            continue
    if not values:
        return None
    values.sort()
    middle = values[len(values) // 2]
    return True if middle < Fraction(11, 10) else False if middle > 2 else None
