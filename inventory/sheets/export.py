"""Tables out: CSV and XLSX whose cells no program takes for formulas."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from .judging import Judgement
from .raw import Sheet, shown

_DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\n")
_UNSEEN = re.compile(r"^[\s\x00-\x1f\x7f\ufeff\u200b]+")


def harmless(text: str) -> str:
    """A text no spreadsheet program takes for a formula: an apostrophe before = + - @, tab and line ends.

    A mark behind spaces or unseen characters counts too, since programs trim. Source: OWASP, "CSV Injection".
    """
    bare = _UNSEEN.sub("", text)
    return "'" + text if bare.startswith(_DANGEROUS) or text.startswith(_DANGEROUS) else text


def _plain(value: Any) -> str:
    """A value for CSV: numbers and dates as they are, texts harmless."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, datetime):
        return value.isoformat(" ", "minutes")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, int | float | Decimal):
        return shown(value)
    return harmless(str(value))


class _Echo:
    """A file that gives back what is written to it."""

    def write(self, text: str) -> str:
        return text


def csv_lines(headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> Iterator[bytes]:
    """The lines of a CSV file in UTF-8, one after the other, for a streaming answer.

    The first one carries a byte order mark: without it some programs take UTF-8 for something else.
    """
    writer = csv.writer(_Echo())
    yield b"\xef\xbb\xbf" + str(writer.writerow([harmless(str(each)) for each in headings])).encode()
    for row in rows:
        yield str(writer.writerow([_plain(value) for value in row])).encode()


def csv_bytes(headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> bytes:
    """A whole CSV file in UTF-8 with byte order mark."""
    return b"".join(csv_lines(headings, rows))


def xlsx_bytes(headings: Sequence[str], rows: Iterable[Sequence[Any]], title: str = "") -> bytes:
    """A workbook of one sheet, written row by row; numbers, dates and truths keep their types.

    Texts are stored as texts, never as formulas, and still made harmless: many a workbook is saved as CSV later.
    Aware times lose their zone after being made local by the caller: a spreadsheet knows none.
    """
    import openpyxl  # imported late: 0.2 s that only an export should pay
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
    from openpyxl.styles import Font

    workbook = openpyxl.Workbook(write_only=True)
    sheet = workbook.create_sheet(_sheet_title(title))
    sheet.freeze_panes = "A2"

    def cell(value: Any, bold: bool = False) -> Any:
        if value == "":
            value = None
        elif isinstance(value, datetime) and value.tzinfo is not None:
            value = value.replace(tzinfo=None)
        if value is not None and not isinstance(value, bool | int | float | Decimal | date | datetime | time):
            made = WriteOnlyCell(sheet, value=None)
            made.value = harmless(ILLEGAL_CHARACTERS_RE.sub("", str(value))[:32_000])
            made.data_type = "s"
        else:
            made = WriteOnlyCell(sheet, value=value)
            if isinstance(value, datetime):
                made.number_format = "yyyy-mm-dd hh:mm"
            elif isinstance(value, date):
                made.number_format = "yyyy-mm-dd"
        if bold:
            made.font = Font(bold=True)
        return made

    sheet.append([cell(str(heading), bold=True) for heading in headings])
    for row in rows:
        sheet.append([cell(value) for value in row])
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()


def _sheet_title(title: str) -> str:
    kept = "".join(character for character in title if character not in "[]:*?/\\'")[:31].strip()
    return kept or "Gritledger"


def leftovers(sheet: Sheet, judgement: Judgement) -> tuple[list[str], list[list[Any]]]:
    """The rows that wait or are refused, as they stand in the file, with "Row" before and "Why" behind.

    Returns headings and rows for `csv_bytes` or `xlsx_bytes`. Brought in again, "Row" and "Why" stay out.
    """
    why: dict[int, list[str]] = {}
    for question in judgement.questions:
        for number in question.rows:
            why.setdefault(number, []).append(f"{question.title} {question.why}".strip())
    for refusal in judgement.refused:
        sentence = _("%(heading)s, “%(value)s”: %(right)s") % {
            "heading": refusal.heading,
            "value": refusal.value,
            "right": refusal.right,
        }
        if refusal.likely:
            sentence += " " + _("%(likely)s looks likely.") % {"likely": refusal.likely}
        why.setdefault(refusal.row, []).append(sentence)
    headings = [_("Row"), *sheet.headings, _("Why")]
    width = len(sheet.headings)
    rows = [
        [row.number, *(_back(row.cell(index)) for index in range(width)), " ".join(why[row.number])]
        for row in sheet.rows
        if row.number in why
    ]
    return headings, rows


def _back(cell: Any) -> Any:
    return shown(cell) if not isinstance(cell, bool | int | float | Decimal | date | datetime | time) else cell
