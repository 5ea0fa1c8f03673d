"""The label sizes a shop can print on: sheets and rolls, read from fixtures/label_sizes.json and checked.

Lengths in millimetres. A size is named by its measures alone; a shop with other paper adds its own lines to the file.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

LABEL_SIZES_FILE = Path(__file__).resolve().parent.parent / "fixtures" / "label_sizes.json"

MM_PER_INCH = 25.4
# Fewest printer dots a module may have. Measured with the worn-print model (tests/benchmarks/labels.py): with one dot
# less, labels fail by the spread of the ink alone.
FEWEST_DOTS = {203: 3, 300: 4}
# Version 4 with its quiet zone of 4 on both sides: the largest square a label must have room for.
MOST_MODULES = 33 + 8
# Beside the square, so many millimetres at least for grit and code.
NARROWEST_TEXT_MM = 15.0


class LabelSizeWrong(ValueError):
    """A label size cannot be printed on; the message names the size, the value and what would be right."""


@dataclass(frozen=True)
class LabelSize:
    """One label, and where labels lie on their sheet (a roll has one label per page).

    `edge_mm` stays free of text and square along the label's edges (for printers that cannot print to the paper's
    edge). `dots_per_module` maps printer dpi to the dots of one module of the square. `type_line` is False where there
    is no room for the line with bond, mark and type. All lengths in mm, measured on the paper; `top_mm` and `left_mm`
    from the paper's upper left corner to the first label.
    """

    key: str
    kind: str
    width_mm: float
    height_mm: float
    edge_mm: float
    type_line: bool
    dots_per_module: Mapping[int, int]
    paper: str = ""
    paper_width_mm: float = 0.0
    paper_height_mm: float = 0.0
    columns: int = 1
    rows: int = 1
    left_mm: float = 0.0
    top_mm: float = 0.0
    column_gap_mm: float = 0.0
    row_gap_mm: float = 0.0

    @property
    def labels_per_page(self) -> int:
        return self.columns * self.rows

    @property
    def measures(self) -> str:
        """The label's width and height, as people write them: 70 × 36 mm."""
        return f"{self.width_mm:g} × {self.height_mm:g} mm"

    @property
    def name(self) -> str:
        """The size in words for a list of choices: "70 × 36 mm, A4 sheet of 24 (3 × 8)" or "51 × 25 mm, roll"."""
        if self.kind == "roll":
            return _("%(measures)s, roll") % {"measures": self.measures}
        return ngettext(
            "%(measures)s, %(paper)s sheet of %(count)d (%(columns)d × %(rows)d)",
            "%(measures)s, %(paper)s sheet of %(count)d (%(columns)d × %(rows)d)",
            self.labels_per_page,
        ) % {
            "measures": self.measures,
            "paper": self.paper,
            "count": self.labels_per_page,
            "columns": self.columns,
            "rows": self.rows,
        }

    def name_in(self, units: str) -> str:
        """The size in words, for who reads US units in inches first, to the nearest 16th as paper is sold."""
        if units != "us":
            return self.name
        inches = " × ".join(_sixteenths(mm) for mm in (self.width_mm, self.height_mm))
        return _("%(inches)s in. (%(name)s)") % {"inches": inches, "name": self.name}

    def module_mm(self, dpi: int) -> float:
        """Return the side of one module, a whole number of dots, in mm.

        Raises LabelSizeWrong when the size is not offered at `dpi`.
        """
        if dpi not in self.dots_per_module:
            raise LabelSizeWrong(
                _("%(measures)s labels are not offered at %(dpi)d dots per inch. Choose one of %(choices)s.")
                % {"measures": self.measures, "dpi": dpi, "choices": ", ".join(map(str, self.dots_per_module))}
            )
        return self.dots_per_module[dpi] * MM_PER_INCH / dpi


def _sixteenths(mm: float) -> str:
    """Millimetres as inches with a fraction, such as 2 1/4."""
    whole, part = divmod(round(mm / MM_PER_INCH * 16), 16)
    fraction = Fraction(part, 16)
    return f"{whole} {fraction}" if whole and part else str(fraction if part else whole)


def label_size(key: str) -> LabelSize:
    """Return the size with `key`, such as "roll-51x25".

    Raises LabelSizeWrong when there is none.
    """
    sizes = label_sizes()
    if key not in sizes:
        raise LabelSizeWrong(
            _("There is no label size “%(key)s”. Choose one of %(choices)s.")
            % {"key": key, "choices": ", ".join(sizes)}
        )
    return sizes[key]


@lru_cache(maxsize=1)
def label_sizes() -> Mapping[str, LabelSize]:
    """Return the sizes offered, by key, in the order of the file."""
    return read_label_sizes(json.loads(LABEL_SIZES_FILE.read_text(encoding="utf-8")))


def read_label_sizes(document: Mapping[str, Any]) -> dict[str, LabelSize]:
    """Return the sizes of a parsed label_sizes.json, by key, each checked.

    Raises LabelSizeWrong for the first size that cannot be printed on.
    """
    sizes: dict[str, LabelSize] = {}
    for line in document["sizes"]:
        size = _read_size(line)
        if size.key in sizes:
            raise LabelSizeWrong(
                _("Label size “%(key)s” stands twice. Give one of them another key.") % {"key": size.key}
            )
        sizes[size.key] = size
    return sizes


def _read_size(line: Mapping[str, Any]) -> LabelSize:
    key = str(line.get("key", "?"))
    known = LabelSize.__dataclass_fields__
    for name in line:
        if name not in known:
            raise _wrong(key, _("“%(name)s” is not a measure of a label size.") % {"name": name})
    try:
        dots = {int(dpi): count for dpi, count in line["dots_per_module"].items()}
        size = LabelSize(**{**line, "dots_per_module": dots})
    except (KeyError, TypeError, ValueError, AttributeError) as cause:
        raise _wrong(key, _("a measure is missing or is no number.")) from cause
    _check_numbers(size)
    _check_square(size)
    if size.kind == "sheet":
        _check_sheet(size)
    elif size.kind != "roll":
        raise _wrong(key, _("its kind is “%(kind)s”; a size is a sheet or a roll.") % {"kind": size.kind})
    return size


def _check_numbers(size: LabelSize) -> None:
    for name, least in (("width_mm", 20), ("height_mm", 12), ("edge_mm", 0)):
        value = getattr(size, name)
        if not _is_number(value) or not least <= value <= 300:
            raise _wrong(
                size.key,
                _("%(name)s is %(value)s; it may be %(least)d to 300.")
                % {"name": name, "value": value, "least": least},
            )
    for name in ("paper_width_mm", "paper_height_mm", "left_mm", "top_mm", "column_gap_mm", "row_gap_mm"):
        value = getattr(size, name)
        if not _is_number(value) or value < 0:
            raise _wrong(size.key, _("%(name)s is %(value)s; it may not be below 0.") % {"name": name, "value": value})
    for name in ("columns", "rows"):
        value = getattr(size, name)
        if not isinstance(value, int) or isinstance(value, bool) or value < 1:
            raise _wrong(size.key, _("%(name)s is %(value)s; it may be 1 and more.") % {"name": name, "value": value})


def _check_square(size: LabelSize) -> None:
    if not size.dots_per_module:
        raise _wrong(size.key, _("it has no dots per module. Give them for 203 or 300 dpi."))
    for dpi, dots in size.dots_per_module.items():
        if dpi not in FEWEST_DOTS:
            raise _wrong(size.key, _("%(dpi)d dpi is not offered; 203 and 300 are.") % {"dpi": dpi})
        if not isinstance(dots, int) or isinstance(dots, bool) or dots < FEWEST_DOTS[dpi]:
            raise _wrong(
                size.key,
                _("%(dots)s dots a module at %(dpi)d dpi do not read once worn; whole numbers from %(least)d on do.")
                % {"dots": dots, "dpi": dpi, "least": FEWEST_DOTS[dpi]},
            )
        # One dot more: the square's corner is moved to a whole dot of the printer.
        square_mm = (MOST_MODULES * dots + 1) * MM_PER_INCH / dpi
        if square_mm > size.height_mm or square_mm + NARROWEST_TEXT_MM + 2 * size.edge_mm > size.width_mm:
            raise _wrong(
                size.key,
                _("a square of %(square).1f mm (%(dots)d dots at %(dpi)d dpi) leaves no room: take fewer.")
                % {"square": square_mm, "dots": dots, "dpi": dpi},
            )


def _check_sheet(size: LabelSize) -> None:
    across = size.left_mm + size.columns * size.width_mm + (size.columns - 1) * size.column_gap_mm
    down = size.top_mm + size.rows * size.height_mm + (size.rows - 1) * size.row_gap_mm
    for needed, paper in ((across, size.paper_width_mm), (down, size.paper_height_mm)):
        if needed > paper + 0.01:
            raise _wrong(
                size.key,
                _("its labels reach to %(needed)g mm on paper of %(paper)g mm.") % {"needed": needed, "paper": paper},
            )


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and value == value


def _wrong(key: str, reason: str) -> LabelSizeWrong:
    return LabelSizeWrong(_("Label size “%(key)s”: %(reason)s") % {"key": key, "reason": reason})
