"""A file a shop brings -> a table, with its heading found and nothing yet understood."""

from __future__ import annotations

import re
from collections.abc import Collection
from pathlib import PurePath

from django.utils.translation import gettext as _

from inventory.units import find_unit

from .csv_reading import read_csv, refuse_other_kinds
from .raw import MAX_BYTES, MAX_ROWS, Row, Sheet, SheetNotRead, is_blank, letter, shown
from .xlsx_reading import read_xlsx

_HEADER_WITHIN = 15
_NUMBER = re.compile(r"^[~≈$€£]?\s*[-+]?[\d.,' /]+\s*(?:%|[a-zA-Z²\"″']{0,4})$")


def plain(text: str) -> str:
    """A heading as it is compared: lower case, words parted by single spaces, marks left out."""
    return " ".join(re.sub(r"[^\w²\"%#/]+", " ", text.lower().replace("_", " ")).split())


def read_sheet(data: bytes, file_name: str, *, known: Collection[str] = (), sheet: str | None = None) -> Sheet:
    """Read CSV or XLSX bytes into a Sheet, whatever the file is called.

    `known`: headings that are understood (in `plain` form), which help to find the heading row; `sheet`: which sheet
    of a workbook. Blank rows are dropped, row numbers kept. Raises SheetNotRead with a sentence: not a table, empty,
    more than 50,000 rows, more than 30 MB.
    """
    name = PurePath(file_name.replace("\\", "/")).name[:120] or _("your file")
    if not data.strip(b"\x00 \t\r\n\xef\xbb\xbf"):
        raise SheetNotRead(_("“%(name)s” is empty. Bring the file that holds your list.") % {"name": name})
    if len(data) > MAX_BYTES:
        raise SheetNotRead(
            _("“%(name)s” has %(n)s MB. At most %(most)s MB can be read: part it, or leave out pictures.")
            % {"name": name, "n": len(data) // 1024**2, "most": MAX_BYTES // 1024**2}
        )
    sheet_name, delimiter, encoding = "", "", ""
    others: list[str] = []
    if data.startswith(b"PK"):
        rows, sheet_name, others = read_xlsx(data, sheet)
    else:
        refuse_other_kinds(data)
        rows, delimiter, encoding = read_csv(data)
    header = _find_header(rows, set(known))
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
    )


def _words(row: Row) -> list[str]:
    return [cell.strip() for cell in row.cells if isinstance(cell, str) and not is_blank(cell)]


def _find_header(rows: list[Row], known: set[str]) -> int | None:
    """The index of the heading row: most headings known; else the first row of only words, as wide as the table."""
    width = sorted(sum(not is_blank(cell) for cell in row.cells) for row in rows[:200])[-1] if rows else 0
    best, best_score = None, 0.0
    for index, row in enumerate(rows[:_HEADER_WITHIN]):
        filled = sum(not is_blank(cell) for cell in row.cells)
        words = _words(row)
        texts = [text for text in words if not _NUMBER.match(text)]
        if not filled or len(texts) < filled or len({text.lower() for text in texts}) < len(texts):
            continue
        hits = sum(any(part in known for part in _parts(text)) for text in texts)
        score = hits + (0.5 if filled >= 0.6 * width and filled >= min(2, width) else 0.0)
        if known and not hits:
            score *= 0.5
        if score > best_score + 1e-9:
            best, best_score = index, score
    if best is None or (width > 1 and best_score < 0.25):
        return None
    if known and best_score < 1 and not _below_differs(rows, best):
        return None
    return best


def _parts(text: str) -> set[str]:
    words = plain(text).split()
    return {" ".join(words[start:end]) for start in range(len(words)) for end in range(start + 1, len(words) + 1)}


def _below_differs(rows: list[Row], index: int) -> bool:
    """Whether the rows below hold numbers or dates where this one holds words: then this one is a heading."""
    return any(
        not isinstance(cell, str) or _NUMBER.match(cell.strip())
        for row in rows[index + 1 : index + 6]
        for cell in row.cells
        if not is_blank(cell)
    )


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
