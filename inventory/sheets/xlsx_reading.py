"""XLSX, read row by row: native dates and numbers, cached results of formulas, merged cells filled."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from datetime import date, datetime, time
from itertools import zip_longest
from typing import Any

from django.utils.translation import gettext as _

from .raw import MAX_COLUMNS, MAX_ROWS, MAX_UNPACKED_BYTES, Cell, Formula, Row, SheetNotRead, is_blank

_MERGE = re.compile(rb'<mergeCell ref="([A-Z]+)(\d+):([A-Z]+)(\d+)"')

# A sheet is looked through in parts of so many bytes; what lies across two parts is shorter than the overlap.
_PART, _OVERLAP = 1024 * 1024, 120


def read_xlsx(data: bytes, sheet: str | None = None) -> tuple[list[Row], str, list[str]]:
    """The rows of a workbook's sheet that hold something, the sheet's name, and the names of its other sheets.

    `sheet` is the wanted sheet; without it the first one that holds at least two rows. Raises SheetNotRead.
    """
    _refuse_what_is_no_workbook(data)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # openpyxl warns about styles and extensions that no table needs
        results = _open(data, data_only=True)
        try:
            names = [each.title for each in results.worksheets if each.sheet_state == "visible"]
            if not names:
                raise SheetNotRead(_("This workbook has no sheet that shows. Unhide the one with your list."))
            if sheet is not None and sheet not in names:
                raise SheetNotRead(
                    _("No sheet is called “%(name)s”. There are: %(names)s.")
                    % {"name": sheet, "names": ", ".join(names)}
                )
            rows: list[Row] = []
            wanted = [sheet] if sheet is not None else names
            name = wanted[0]
            for name in wanted:
                rows = _rows(data, results, name)
                if len(rows) >= 2:
                    break
            else:
                name = wanted[0]
                rows = _rows(data, results, name)
        finally:
            results.close()
    return rows, name, [other for other in names if other != name]


def _refuse_what_is_no_workbook(data: bytes) -> None:
    torn = SheetNotRead(_("This file says it is a workbook and cannot be opened. Save it anew and bring it again."))
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            infos = packed.infolist()
            names = {info.filename for info in infos}
            if "xl/workbook.xml" not in names:
                raise SheetNotRead(
                    _("This file is packed, but it is no workbook. Save your list as XLSX or CSV and bring that.")
                )
            if sum(info.file_size for info in infos) > MAX_UNPACKED_BYTES:
                raise SheetNotRead(_("This workbook is too large unpacked. Bring the one sheet with your list."))
    except (zipfile.BadZipFile, OSError, RuntimeError):
        raise torn from None


def _open(data: bytes, data_only: bool) -> Any:
    import openpyxl  # imported late: 0.2 s that only bringing in should pay

    try:
        return openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=data_only)
    except Exception:
        # openpyxl raises many kinds for a torn workbook; to the person they are one.
        raise SheetNotRead(
            _("This workbook cannot be opened. Save it anew in the program that made it and bring it again.")
        ) from None


def _values(workbook: Any, name: str) -> Iterator[tuple[Any, ...]]:
    found = workbook[name]
    if hasattr(found, "reset_dimensions"):
        found.reset_dimensions()  # the size a file states of itself is often wrong
    try:
        yield from found.iter_rows(values_only=True)
    except SheetNotRead:
        raise
    except Exception:
        raise SheetNotRead(
            _("Sheet “%(name)s” breaks off in the middle. Save it anew in the program that made it.") % {"name": name}
        ) from None


def _rows(data: bytes, results: Any, name: str) -> list[Row]:
    from openpyxl.utils import column_index_from_string

    found, has_formulas = _merges_and_formulas(data, results, name)
    merges = [
        (column_index_from_string(left.decode()) - 1, int(top), int(bottom))
        for left, top, right, bottom in found
        if left == right and int(bottom) > int(top)
    ]
    fill = {(row, column): top for column, top, bottom in merges for row in range(top + 1, min(bottom, top + 5000) + 1)}
    tops: dict[tuple[int, int], Cell] = {(top, column): None for column, top, _bottom in merges}
    rows: list[Row] = []
    pairs: Iterator[tuple[Any, Any]]
    formulas = None
    if has_formulas:
        formulas = _open(data, data_only=False)
        pairs = zip_longest(_values(results, name), _values(formulas, name), fillvalue=())
    else:
        pairs = ((values, ()) for values in _values(results, name))
    empty = 0
    try:
        for number, (values, texts) in enumerate(pairs, 1):
            cells: list[Cell] = [_cell(value) for value in values]
            for index, text in enumerate(texts):
                if cells[index] is None and _is_formula(text):
                    cells[index] = Formula(_formula_text(text))
            if fill or tops:
                for index in range(len(cells)):
                    if (number, index) in tops:
                        tops[number, index] = cells[index]
                    elif (number, index) in fill and is_blank(cells[index]):
                        cells[index] = tops[fill[number, index], index]
            while cells and is_blank(cells[-1]):
                cells.pop()
            if not cells:
                empty += 1
                if empty > MAX_ROWS:
                    break  # a list has ended long before; the sheet is formatted to its last row
                continue
            if len(cells) > MAX_COLUMNS:
                raise SheetNotRead(
                    _("Row %(row)s reaches over %(n)s columns. At most %(most)s can be read.")
                    % {"row": number, "n": len(cells), "most": MAX_COLUMNS}
                )
            rows.append(Row(number, tuple(cells)))
            if len(rows) > MAX_ROWS + 20:
                break
    finally:
        if formulas is not None:
            formulas.close()
    return rows


def _merges_and_formulas(data: bytes, workbook: Any, name: str) -> tuple[list[tuple[bytes, ...]], bool]:
    """The merged cells of a sheet and whether it holds formulas, read in parts: a sheet unpacked may be large."""
    path = getattr(workbook[name], "_worksheet_path", "").lstrip("/")
    merges: dict[tuple[bytes, ...], None] = {}
    formulas = False
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        if not path or path not in packed.namelist():
            return [], False
        try:
            with packed.open(path) as file:
                tail = b""
                while part := file.read(_PART):
                    here = tail + part
                    formulas = formulas or any(mark in here for mark in (b"<f>", b"<f ", b"<f/"))
                    merges |= dict.fromkeys(_MERGE.findall(here))
                    tail = here[-_OVERLAP:]
        except (zipfile.BadZipFile, OSError, zlib.error, EOFError):
            raise SheetNotRead(
                _("Sheet “%(name)s” breaks off in the middle. Save it anew in the program that made it.")
                % {"name": name}
            ) from None
    return list(merges), formulas


def _is_formula(value: Any) -> bool:
    return (isinstance(value, str) and value.startswith("=")) or type(value).__name__ in {
        "ArrayFormula",
        "DataTableFormula",
    }


def _formula_text(value: Any) -> str:
    return value if isinstance(value, str) else str(getattr(value, "text", None) or "=")


def _cell(value: Any) -> Cell:
    if isinstance(value, datetime) and (value.hour, value.minute, value.second, value.microsecond) == (0, 0, 0, 0):
        return value.date()
    if value is None or isinstance(value, str | int | float | bool | date | datetime | time):
        return value
    return str(value)
