"""A file a shop brings -> a table, with its heading found and nothing yet understood."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import PurePath

from django.utils.translation import gettext as _

from inventory.units import find_unit

from .csv_reading import read_csv, refuse_other_kinds
from .heading_row import HEADER_WITHIN, HeadingRow, find_heading_row, plain
from .raw import MAX_BYTES, MAX_ROWS, Row, Sheet, SheetNotRead, letter, shown
from .xlsx_reading import read_xlsx

__all__ = ["plain", "read_sheet", "refuse_too_large"]


def read_sheet(
    data: bytes,
    file_name: str,
    *,
    known: Collection[str] = (),
    sheet: str | None = None,
    heading_row: int | None = None,
) -> Sheet:
    """Read CSV or XLSX bytes into a Sheet, whatever the file is called.

    `known`: headings that are understood (in `plain` form), which help to find the heading row; `sheet`: which sheet
    of a workbook; `heading_row`: the number of the row that holds the headings, 0 for none, None to find it. Blank rows
    are dropped, row numbers kept; rows above the heading are kept in `above`. Raises SheetNotRead with a sentence: not
    a table, empty, more than 50,000 rows, more than 30 MB.
    """
    name = PurePath(file_name.replace("\\", "/")).name[:120] or _("your file")
    if not data.strip(b"\x00 \t\r\n\xef\xbb\xbf"):
        raise SheetNotRead(_("“%(name)s” is empty. Bring the file that holds your list.") % {"name": name})
    refuse_too_large(name, len(data))
    sheet_name, delimiter, encoding = "", "", ""
    others: list[str] = []
    if data.startswith(b"PK"):
        rows, sheet_name, others = read_xlsx(data, sheet)
    else:
        refuse_other_kinds(data)
        rows, delimiter, encoding = read_csv(data)
    found = find_heading_row(rows, known) if heading_row is None else _told(rows, heading_row)
    header = found.index
    width = max((len(row.cells) for row in rows), default=0)
    if header is None:
        headings = [_("Column %(letter)s") % {"letter": letter(index)} for index in range(width)]
        body = rows
    else:
        headings, body = _headings(rows, header, width)
    if not body:
        raise SheetNotRead(
            _("“%(name)s” has a heading and no rows below it. Bring the file that holds your list.") % {"name": name}
        )
    if len(body) > MAX_ROWS:
        raise SheetNotRead(
            _("“%(name)s” has more than %(most)s rows. Part it into files of at most that many.")
            % {"name": name, "most": f"{MAX_ROWS:,}"}
        )
    return Sheet(
        file_name=name,
        name=sheet_name,
        headings=headings,
        rows=body,
        header_row=rows[header].number if header is not None else None,
        other_sheets=others,
        delimiter=delimiter,
        encoding=encoding,
        above=rows[:header] if header is not None else [],
        top=rows[:HEADER_WITHIN],
        heading_doubt=found.doubt,
    )


def refuse_too_large(name: str, size: int) -> None:
    """Raise SheetNotRead for a file of more bytes than can be read; asked before it is read where its size is known."""
    if size > MAX_BYTES:
        raise SheetNotRead(
            _("“%(name)s” has %(n)s MB. At most %(most)s MB can be read: part it, or leave out pictures.")
            % {"name": name, "n": size // 1024**2, "most": MAX_BYTES // 1024**2}
        )


def _told(rows: list[Row], number: int) -> HeadingRow:
    """The heading row a person named; a row that is not there is none."""
    return HeadingRow(next((index for index, row in enumerate(rows) if row.number == number), None))


def _headings(rows: list[Row], header: int, width: int) -> tuple[list[str], list[Row]]:
    """The headings, a row of units below them taken in, and the rows of the table."""
    row = rows[header]
    headings = [shown(row.cell(index)) for index in range(width)]
    body = rows[header + 1 :]
    if body:
        below = [shown(body[0].cell(index)) for index in range(width)]
        filled = [text for text in below if text]
        if filled and all(_only_unit(text) for text in filled):
            headings = [f"{top} {unit}".strip() for top, unit in zip(headings, below, strict=True)]
            body = body[1:]
    return [text or _("Column %(letter)s") % {"letter": letter(i)} for i, text in enumerate(headings)], body


def _only_unit(text: str) -> bool:
    bare = text.strip("()[] ")
    return bare != "" and any(
        find_unit(bare, dimension) for dimension in ("area", "height", "length", "temperature", "hours")
    )
