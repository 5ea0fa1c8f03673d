"""What a spreadsheet is once read: rows of raw cells that keep their row numbers and column letters."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal

from django.utils.translation import gettext as _

# The most rows and columns one file may bring, and its greatest size. Our assumption: a shop has hundreds of sets.
MAX_ROWS = 50_000
MAX_COLUMNS = 200
MAX_BYTES = 30 * 1024 * 1024
# 50,000 rows of twenty columns are some 40 MB unpacked.
MAX_UNPACKED_BYTES = 120 * 1024 * 1024
MAX_CELL = 2_000


class SheetNotRead(ValueError):
    """A file that cannot be read as a table; `sentence` says why and what to do."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


@dataclass(frozen=True)
class Formula:
    """A cell that holds a formula without its result."""

    text: str


Cell = str | int | float | Decimal | bool | date | datetime | time | Formula | None


@dataclass(frozen=True)
class Row:
    """One row as it stands in the file; `number` counts from 1 as spreadsheet programs do."""

    number: int
    cells: tuple[Cell, ...]

    def cell(self, index: int) -> Cell:
        """The cell of a column by index from 0; None beyond the end."""
        return self.cells[index] if index < len(self.cells) else None


@dataclass
class Sheet:
    """A table: heading per column, rows below it, and how it was read.

    above: rows that stand above the heading and are skipped. top: the first rows of the file, of which one may be the
    heading. heading_doubt: nothing says which row is the heading, a person is to say.
    """

    file_name: str
    name: str
    headings: list[str]
    rows: list[Row]
    header_row: int | None = None
    other_sheets: list[str] = field(default_factory=list)
    delimiter: str = ""
    encoding: str = ""
    above: list[Row] = field(default_factory=list)
    top: list[Row] = field(default_factory=list)
    heading_doubt: bool = False

    @property
    def letters(self) -> list[str]:
        """The column letters, A first."""
        return [letter(index) for index in range(len(self.headings))]

    def column(self, index: int, most: int | None = None) -> list[Cell]:
        """The cells of a column that hold something, the first `most` of them."""
        found: list[Cell] = []
        for row in self.rows:
            cell = row.cell(index)
            if not is_blank(cell):
                found.append(cell)
                if most is not None and len(found) >= most:
                    break
        return found


def letter(index: int) -> str:
    """The letter of a column by index from 0: A, B, ..., Z, AA."""
    text = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        text = chr(65 + rest) + text
    return text


def is_blank(cell: Cell) -> bool:
    """Whether a cell holds nothing a person would see."""
    return cell is None or (isinstance(cell, str) and not cell.strip("\u00a0\u202f\u200b\ufeff \t\r\n"))


def shown(cell: Cell) -> str:
    """A cell as a person would read it: dates as 2024-05-14, numbers without a tail of zeros, "" for nothing."""
    if cell is None:
        return ""
    if isinstance(cell, Formula):
        return cell.text
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, datetime):
        return cell.isoformat(" ", "minutes")
    if isinstance(cell, date | time):
        return cell.isoformat()
    if isinstance(cell, int | float | Decimal):
        plain = Decimal(repr(cell)) if isinstance(cell, float) else Decimal(cell)
        text = f"{plain:f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    return " ".join(cell.replace("\u00a0", " ").replace("\u202f", " ").split())


_BROKEN = re.compile(r"^#(?:REF!|N/A|VALUE!|DIV/0!|NAME\?|NULL!|NUM!|¡?[A-ZÁÉÍÓÚ/0]+[!?])$")
_LOOKS_LIKE_FORMULA = re.compile(r"^=\s*[-+(]*[A-Za-z0-9\"'(\[{]")


def unusable(cell: Cell, place: str) -> str:
    """Why a cell holds no value of its own ("" when it does); `place` is its address, "D14"."""
    if isinstance(cell, Formula) or (isinstance(cell, str) and _LOOKS_LIKE_FORMULA.match(cell.strip())):
        return _(
            "Cell %(place)s holds a formula without its result. Save the file anew in the program "
            "that made it, or type the value."
        ) % {"place": place}
    if isinstance(cell, str) and _BROKEN.match(cell.strip()):
        return _("Cell %(place)s holds %(text)s: its formula found no value. Type the value.") % {
            "place": place,
            "text": cell.strip(),
        }
    if isinstance(cell, str) and len(cell) > MAX_CELL:
        return _("Cell %(place)s holds %(n)s characters. At most %(most)s can be kept.") % {
            "place": place,
            "n": len(cell),
            "most": MAX_CELL,
        }
    return ""
