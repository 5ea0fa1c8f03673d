"""A made-up shop that lists are judged against, and helpers that make files."""

import csv
import io
from datetime import date
from typing import Any

import openpyxl

from inventory.sheets.columns import guess_columns
from inventory.sheets.fields import Known, KnownType, Thing
from inventory.sheets.judging import judge
from inventory.sheets.outcome import Answers, Judgement
from inventory.sheets.reading import read_sheet
from inventory.sheets.spec import Spec
from inventory.sheets.specs import SETS

TODAY = date(2026, 11, 25)

METAL: dict[str, Any] = {"new_height_mm": 12.0, "retire_height_mm": 2.0, "backing_mm": 4.0, "pieces_per_set": 9}
RESIN: dict[str, Any] = {"new_height_mm": 10.0, "retire_height_mm": 2.0, "backing_mm": 3.0, "pieces_per_set": 3}

TYPES = (
    *(KnownType(f"m{grit}", f"Metal {grit}", grit, "metal", **METAL) for grit in ("30", "70", "120")),
    *(KnownType(f"r{grit}", f"Resin {grit}", grit, "resin", **RESIN) for grit in ("50", "100", "200", "400", "800")),
    KnownType("h100", "Hybrid 100", "100", "hybrid", new_height_mm=8.0, retire_height_mm=2.0, pieces_per_set=3),
)
PLACES = (
    Thing("A", "Rack A", "rack"),
    Thing("B", "Rack B", "rack"),
    Thing("T1", "Tub 1", "tub"),
    Thing("V2", "Van 2", "van"),
)


def known(**changes: Any) -> Known:
    """What the shop knows, with changes."""
    facts: dict[str, Any] = {"today": TODAY, "tool_types": TYPES, "places": PLACES, "units": "us", **changes}
    return Known(**facts)


def csv_file(rows: list[list[Any]], delimiter: str = ",", encoding: str = "utf-8") -> bytes:
    """A CSV file."""
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter).writerows(rows)
    return out.getvalue().encode(encoding)


def xlsx_file(rows: list[list[Any]], title: str = "Sheet1") -> bytes:
    """A workbook of one sheet."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = title
    for row in rows:
        sheet.append(row)
    return saved(book)


def saved(book: openpyxl.Workbook) -> bytes:
    """A workbook as bytes."""
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def judged(
    data: bytes,
    spec: Spec = SETS,
    *,
    answers: Answers | None = None,
    chosen: dict[str, dict[str, Any]] | None = None,
    **changes: Any,
) -> Judgement:
    """A file read, matched and judged in one go."""
    shop = known(**changes)
    sheet = read_sheet(data, "list.csv", known=spec.known_headings())
    return judge(sheet, spec, guess_columns(sheet, spec, shop, chosen), shop, answers)


def told(judgement: Judgement) -> list[tuple[int, str]]:
    """The questions as (row, title)."""
    return [(question.row, question.title) for question in judgement.questions]


def refused(judgement: Judgement) -> list[tuple[int, str, str, str, str]]:
    """The refusals as (row, heading, value, right, likely)."""
    return [(each.row, each.heading, each.value, each.right, each.likely) for each in judgement.refused]
