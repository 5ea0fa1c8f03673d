"""Tables out: read back by others' readers, and no cell that a program takes for a formula."""

import csv
import io
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.sheets.columns import guess_columns
from inventory.sheets.export import csv_bytes, csv_lines, harmless, leftovers, xlsx_bytes
from inventory.sheets.judging import judge
from inventory.sheets.reading import read_sheet
from inventory.sheets.specs import SETS

from .shop import csv_file, known
from .test_sets import TOOLING

HEADINGS = ["Code", "Day", "At", "Height (mm)", "Price", "Here", "Note"]
LOCAL = datetime(2024, 5, 14, 21, 30, tzinfo=ZoneInfo("America/Denver"))
ROW = ["R-17", date(2024, 5, 14), LOCAL, 6.858, Decimal("310.50"), True, "=1+1"]


def workbook(data):
    return openpyxl.load_workbook(io.BytesIO(data)).active


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", " =", "\u00a0@", "\x08="])
def test_a_text_that_could_be_a_formula_is_made_harmless(start):
    # The characters named by OWASP, "CSV Injection".
    assert harmless(start + "SUM(A1)") == "'" + start + "SUM(A1)"


def test_other_texts_stay_as_they_are():
    assert [harmless(text) for text in ("", "R-17", "a=b", "'x", "1+1")] == ["", "R-17", "a=b", "'x", "1+1"]


def test_csv_is_read_back_by_pythons_reader():
    text = csv_bytes(HEADINGS, [ROW, [None, None, None, -1.5, None, False, 'say "hi",\nthen go']]).decode("utf-8-sig")

    assert list(csv.reader(io.StringIO(text, newline=""))) == [
        HEADINGS,
        ["R-17", "2024-05-14", "2024-05-14 21:30-06:00", "6.858", "310.5", "TRUE", "'=1+1"],
        ["", "", "", "-1.5", "", "FALSE", 'say "hi",\nthen go'],
    ]


def test_csv_comes_line_by_line():
    drawn: list[int] = []

    def rows():
        for n in range(3):
            drawn.append(n)
            yield [n]

    lines = csv_lines(["n"], rows())

    assert next(lines) == b"\xef\xbb\xbfn\r\n"
    assert drawn == []
    assert next(lines) == b"0\r\n"
    assert drawn == [0]


def test_a_workbook_is_read_back_by_openpyxl_with_its_types():
    sheet = workbook(xlsx_bytes(HEADINGS, [ROW], "Sets: of the [shop]"))

    assert [cell.value for cell in sheet[1]] == HEADINGS
    assert [cell.value for cell in sheet[2]] == [
        "R-17", datetime(2024, 5, 14), datetime(2024, 5, 14, 21, 30), 6.858, 310.5, True, "'=1+1",
    ]  # fmt: skip
    assert [cell.data_type for cell in sheet[2]] == ["s", "d", "d", "n", "n", "b", "s"]
    assert sheet.title == "Sets of the shop"


@given(st.text(max_size=40))
def test_no_text_becomes_a_formula(text):
    sheet = workbook(xlsx_bytes(["Note"], [[text]]))
    out = csv_bytes(["Note"], [[text]]).decode("utf-8-sig")
    (read,) = list(csv.reader(io.StringIO(out, newline="")))[1] or [""]

    assert sheet["A2"].data_type != "f"
    assert not str(sheet["A2"].value or "").startswith(("=", "+", "-", "@", "\t", "\r"))
    assert not read.startswith(("=", "+", "-", "@", "\t", "\r"))


def test_what_waits_is_saved_with_its_reasons_and_can_be_brought_again():
    shop = known()
    sheet = read_sheet(csv_file(TOOLING), "tools.csv", known=SETS.known_headings())
    judgement = judge(sheet, SETS, guess_columns(sheet, SETS, shop), shop)

    headings, rows = leftovers(sheet, judgement)

    assert headings == ["Row", *TOOLING[0], "Why"]
    assert [(row[0], row[3], row[-1].split(".")[0]) for row in rows] == [
        (6, "R-31/32", "One set or two? The row says 2, and there are 2 old codes"),
        (7, "R-08", "Is this the R-08 of row 4? Row 4: Resin 200, R-08, rack A, peg 3, tool height 0"),
        (8, "M-11", "How high is “half”? A new metal 70 is 0"),
        (9, "R-24", "Which place is “shelf?”? No place has this name"),
        (10, "R-20", "Height left (in), “2"),
        (11, "R-40", "Disc, “4oo resin”: A grit of your ladder; this holds 2 letters among its digits"),
    ]
    assert rows[4][-1].endswith("0.275 looks likely.")
    again = read_sheet(csv_bytes(headings, rows), "left.csv", known=SETS.known_headings())
    matched = guess_columns(again, SETS, shop)
    assert [match.field for match in matched.matches] == [
        "", "type", "count", "code", "height", "place", "worked", "bought", "note", "",
    ]  # fmt: skip
