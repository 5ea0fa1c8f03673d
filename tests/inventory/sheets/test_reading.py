"""Files as they come: delimiters, encodings, workbooks, and what is no table."""

import io
import zipfile
from datetime import date, datetime

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.sheets import xlsx_reading
from inventory.sheets.raw import Formula, SheetNotRead, letter, shown, unusable
from inventory.sheets.reading import read_sheet
from inventory.sheets.specs import SETS

from .shop import csv_file, saved, xlsx_file

ROWS = [["Disc", "ID", "Height left (in)"], ["400 resin", "R-17", "0.27"], ["30 metal", "M-02", ".33"]]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_every_delimiter_and_encoding_gives_the_same_table(delimiter, encoding):
    rows = [["Disc", "Ubicación", "Height"], ["400 resin", "año 1", "0.27"]]

    sheet = read_sheet(csv_file(rows, delimiter, encoding), "a.csv", known=SETS.known_headings())

    assert sheet.headings == ["Disc", "Ubicación", "Height"]
    assert [(row.number, row.cells) for row in sheet.rows] == [(2, ("400 resin", "año 1", "0.27"))]
    assert sheet.delimiter == delimiter


def test_utf16_without_mark_is_read():
    sheet = read_sheet(csv_file(ROWS, "\t").decode().encode("utf-16-le"), "a.txt")

    assert sheet.headings == ROWS[0]


def test_decimal_commas_do_not_part_columns():
    rows = [["Disco", "Altura (mm)", "Área"], *[["400 resina", "6,9", "1.240,5"]] * 5, ["30 metal", "8,5", "980,0"]]

    sheet = read_sheet(csv_file(rows, ";"), "a.csv")

    assert sheet.delimiter == ";"
    assert sheet.rows[0].cells == ("400 resina", "6,9", "1.240,5")


def test_a_told_delimiter_is_believed_and_counted_as_a_row():
    sheet = read_sheet(b"sep=;\nDisc;ID\n400 resin;R-1\n", "a.csv")

    assert (sheet.header_row, sheet.rows[0].number, sheet.rows[0].cells) == (2, 3, ("400 resin", "R-1"))


def test_blank_rows_go_and_row_numbers_stay():
    data = b"\n\nDisc,ID\n\n400 resin,R-1\n,\n  ,\t\n30 metal,M-1\n"

    sheet = read_sheet(data, "a.csv", known=SETS.known_headings())

    assert sheet.header_row == 3
    assert [row.number for row in sheet.rows] == [5, 8]


def test_a_title_above_the_heading_is_passed_over():
    rows = [["Tooling of the shop"], [], ["as of November", ""], *ROWS]

    for data in (csv_file(rows), xlsx_file(rows)):
        sheet = read_sheet(data, "a", known=SETS.known_headings())

        assert (sheet.header_row, sheet.headings, sheet.rows[0].number) == (4, ROWS[0], 5)


def test_units_in_a_row_below_the_heading_join_it():
    rows = [["Disc", "Height", "Run"], ["", "(in)", "sq ft"], ["400 resin", "0.27", "96000"]]

    sheet = read_sheet(csv_file(rows), "a.csv")

    assert sheet.headings == ["Disc", "Height (in)", "Run sq ft"]
    assert [row.number for row in sheet.rows] == [3]


def test_a_table_without_heading_gets_letters():
    sheet = read_sheet(b"400 resin,R-1,0.27\n30 metal,M-1,0.3\n", "a.csv", known=SETS.known_headings())

    assert sheet.header_row is None
    assert sheet.headings == ["Column A", "Column B", "Column C"]
    assert len(sheet.rows) == 2


def test_a_quoted_line_end_stays_in_its_cell_and_counts_one_row():
    sheet = read_sheet(b'Disc,Notes\n400 resin,"two\nlines"\n30 metal,x\n', "a.csv")

    assert [(row.number, row.cells[1]) for row in sheet.rows] == [(2, "two\nlines"), (3, "x")]


def test_inch_marks_do_not_swallow_rows():
    sheet = read_sheet(b'Disc,Height,ID\n400 resin,.33",R-1\n30 metal,3/8",R-2\n', "a.csv")

    assert [row.cells[1] for row in sheet.rows] == ['.33"', '3/8"']


def test_a_workbook_keeps_native_values():
    day, moment = datetime(2024, 5, 14), datetime(2024, 5, 14, 21, 30)

    sheet = read_sheet(xlsx_file([["Disc", "a", "b", "c", "d"], ["400 resin", day, moment, 0.27, True]]), "a.xlsx")

    assert sheet.rows[0].cells == ("400 resin", date(2024, 5, 14), moment, 0.27, True)
    assert [shown(cell) for cell in sheet.rows[0].cells] == [
        "400 resin", "2024-05-14", "2024-05-14 21:30", "0.27", "TRUE",
    ]  # fmt: skip


def test_the_first_sheet_with_a_table_is_taken_and_others_are_named():
    book = openpyxl.Workbook()
    book.active.title = "Cover"
    for name in ("Tools", "Old"):
        for row in ROWS:
            book.create_sheet(name).append(row) if name not in book.sheetnames else book[name].append(row)
    hidden = book.create_sheet("Secret")
    hidden.sheet_state = "hidden"

    sheet = read_sheet(saved(book), "a.xlsx")

    assert (sheet.name, sheet.other_sheets) == ("Tools", ["Cover", "Old"])
    assert read_sheet(saved(book), "a.xlsx", sheet="Old").name == "Old"
    with pytest.raises(SheetNotRead, match="No sheet is called “Secret”"):
        read_sheet(saved(book), "a.xlsx", sheet="Secret")


def test_merged_cells_are_filled_downwards():
    book = openpyxl.Workbook()
    for row in [["Disc", "ID"], ["400 resin", "R-1"], [None, "R-2"], [None, "R-3"], ["30 metal", "M-1"]]:
        book.active.append(row)
    book.active.merge_cells("A2:A4")

    sheet = read_sheet(saved(book), "a.xlsx")

    assert [row.cells for row in sheet.rows] == [
        ("400 resin", "R-1"), ("400 resin", "R-2"), ("400 resin", "R-3"), ("30 metal", "M-1"),
    ]  # fmt: skip


def test_a_formula_gives_its_kept_result_and_without_one_is_named():
    data = xlsx_file([["Disc", "ID", "Height"], ["400 resin", "R-1", "=1+1"], ["30 metal", "M-1", "=2*3"]])
    # A program that calculates writes the result beside the formula; here that is done by hand for one of the two.
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "xl/worksheets/sheet1.xml":
                assert content.count(b"<f>1+1</f><v />") + content.count(b"<f>1+1</f><v></v>") == 1
                content = content.replace(b"<f>1+1</f><v />", b"<f>1+1</f><v>2</v>").replace(
                    b"<f>1+1</f><v></v>", b"<f>1+1</f><v>2</v>"
                )
            new.writestr(name, content)

    sheet = read_sheet(out.getvalue(), "a.xlsx")

    assert sheet.rows[0].cells[2] == 2
    assert sheet.rows[1].cells[2] == Formula("=2*3")
    assert unusable(sheet.rows[1].cells[2], "C3").startswith("Cell C3 holds a formula without its result.")


@pytest.mark.parametrize("text", ["=A1+B1", '=HYPERLINK("x")', "= 1+2", "#REF!", "#N/A", "#DIV/0!"])
def test_formula_texts_and_their_failures_are_no_values(text):
    assert unusable(text, "B2").startswith("Cell B2 holds ")


@pytest.mark.parametrize("text", ["-5", "+3", "@Dag", "#400", "=", "", "R=3"])
def test_plain_texts_are_values(text):
    assert unusable(text, "B2") == ""


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "is empty"),
        (b"\n \r\n\t", "is empty"),
        (b"\xef\xbb\xbf", "is empty"),
        (b"%PDF-1.7 ...", "it is a PDF document"),
        (b"\x89PNG\r\n\x1a\n" + bytes(50), "it is a picture"),
        (b"<!DOCTYPE html><table><tr><td>1</td></tr></table>", "it is a web page"),
        (b'{"sets": [1, 2]}', "it is data for programs"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(100), "in the old form"),
        (bytes(range(256)) * 4, "what is in it is not text"),
        (b"Dear Ines, thank you for the list, I will look at it.\nIt was long, and it rained.\n", "no columns"),
        (b"PK\x03\x04" + bytes(40), "cannot be opened"),
        (b"Disc,ID\n", "a heading and no rows below it"),
    ],
)
def test_what_is_no_table_is_refused_in_words(data, says):
    with pytest.raises(SheetNotRead, match=says) as caught:
        read_sheet(data, "tools.csv")

    assert caught.value.sentence.endswith(".")


def test_a_packed_file_that_is_no_workbook_is_refused():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("a.txt", "hello")

    with pytest.raises(SheetNotRead, match="it is no workbook"):
        read_sheet(out.getvalue(), "a.xlsx")


def test_a_workbook_whose_sheet_is_torn_is_refused():
    data = xlsx_file(ROWS)
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            new.writestr(name, content[: len(content) // 2] if name == "xl/worksheets/sheet1.xml" else content)

    with pytest.raises(SheetNotRead, match=r"breaks off|cannot be opened"):
        read_sheet(out.getvalue(), "a.xlsx")


def test_an_unclosed_quotation_mark_names_its_row():
    data = b'Disc,ID\n400 resin,R-1\n400 resin,"R-2\n' + b"400 resin,R-3\n" * 60

    with pytest.raises(SheetNotRead, match="In row 3 a quotation mark opens and is never closed"):
        read_sheet(data, "a.csv")


@pytest.mark.parametrize(("before", "line"), [(2, "4"), (3_000, "3,002")])
def test_a_sign_that_is_no_letter_names_its_line_however_far_down(before, line):
    data = b"Disc,ID\n" + b"400 resin,R-1\n" * before + b"400 resin,R\x00-2\n" + b"400 resin,R-3\n" * 40

    with pytest.raises(SheetNotRead, match=rf"Line {line} holds a sign that is no letter \(code 0\)"):
        read_sheet(data, "a.csv")


def test_a_cell_that_never_ends_is_told_as_that():
    with pytest.raises(SheetNotRead, match="one of its cells never ends"):
        read_sheet(b"Disc,ID\n400 resin," + b"R" * 200_000 + b"\n400 resin,R-2\n", "a.csv")


def test_formulas_and_merged_cells_far_down_a_sheet_are_found_and_it_is_read_in_parts(monkeypatch):
    # So small a part that marks lie across its edges.
    monkeypatch.setattr(xlsx_reading, "_PART", 64)
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in [*ROWS, *([None, f"R-{n}", "=1+1"] for n in range(40))]:
        sheet.append(row)
    sheet.merge_cells(start_row=len(ROWS), end_row=len(ROWS) + 40, start_column=1, end_column=1)

    read = read_sheet(saved(book), "a.xlsx")

    assert {row.cell(0) for row in read.rows[-40:]} == {ROWS[-1][0]}
    assert all(isinstance(row.cell(2), Formula) for row in read.rows[-40:])


def test_a_workbook_too_large_unpacked_is_refused_before_it_is_unpacked(monkeypatch):
    monkeypatch.setattr(xlsx_reading, "MAX_UNPACKED_BYTES", 2_000)

    with pytest.raises(SheetNotRead, match="too large unpacked"):
        read_sheet(xlsx_file(ROWS), "a.xlsx")


def test_fifty_thousand_rows_are_read_and_one_more_is_refused():
    heading = b"Disc,ID,Height (in)\n"
    sheet = read_sheet(heading + b"400 resin,R-1,0.27\n" * 50_000, "a.csv")

    assert len(sheet.rows) == 50_000
    assert sheet.rows[-1].number == 50_001
    with pytest.raises(SheetNotRead, match="more than 50,000 rows"):
        read_sheet(heading + b"400 resin,R-1,0.27\n" * 50_001, "a.csv")


def test_columns_are_lettered_as_spreadsheet_programs_do():
    from openpyxl.utils import get_column_letter

    assert [letter(index) for index in range(800)] == [get_column_letter(index + 1) for index in range(800)]


@settings(max_examples=150, deadline=None)
@given(
    st.one_of(
        st.binary(max_size=300),
        st.text(max_size=200).map(str.encode),
        st.text(alphabet="ab1.,;\t|\"'\n -", max_size=200).map(str.encode),
        st.binary(max_size=100).map(lambda tail: b"PK\x03\x04" + tail),
    )
)
def test_any_bytes_are_a_table_or_refused_in_words(data):
    refusal = ""
    try:
        sheet = read_sheet(data, "x.csv", known=SETS.known_headings())
    except SheetNotRead as caught:
        refusal = caught.sentence

    if refusal:
        assert refusal.endswith(".")
    else:
        assert sheet.rows
        assert len(sheet.headings) >= max(len(row.cells) for row in sheet.rows)
