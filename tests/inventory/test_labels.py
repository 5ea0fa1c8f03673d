"""Labels as printed: where things stand on them, and that worn prints still open the right set."""

import random
import re
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pypdfium2
import pytest
from reportlab.pdfbase.pdfmetrics import stringWidth

from inventory.label_faces import MARKS
from inventory.labels import (
    AddressNotPrintable,
    LabelFace,
    LabelSize,
    LabelSizeWrong,
    LabelsRefused,
    code_address,
    draw_roll,
    draw_sheet,
    label_size,
    label_sizes,
    new_code,
    read_code,
)
from inventory.qr_symbol import QUIET_ZONE, qr_symbol
from tests.inventory.worn_print import Wear, printed_dots, read_back, seen_by_camera

SHOP = "https://shop.example"
LONG_SHOP = "https://shelves.polishing-shop.example"  # 50 characters in a label, version 4
ROLLS = [size for size in label_sizes().values() if size.kind == "roll"]
SHEETS = [size for size in label_sizes().values() if size.kind == "sheet"]
LADDER = ("30", "70", "120", "50", "100", "200", "400", "800", "1500", "3000")

each_roll = pytest.mark.parametrize("size", ROLLS, ids=lambda size: size.key)
each_dpi = pytest.mark.parametrize("dpi", [203, 300])


def face(number: int = 6, *, shop: str = SHOP, **changes: object) -> LabelFace:
    """A label of the invented shop's ladder; the same number gives the same code."""
    code = new_code(random.Random(number))
    place = number % len(LADDER)
    of_a_set = LabelFace(
        code=code,
        address=code_address(shop, code),
        grit=LADDER[place],
        type_name="metal" if place < 3 else "resin",
        size_line="9 in. × 3, soak",
        mark=MARKS[number % len(MARKS)],
        bond=("metal", "resin", "hybrid")[number % 3],
        ladder_place=place,
        ladder_count=len(LADDER),
    )
    return replace(of_a_set, **changes)  # type: ignore[arg-type]


def square_box(dots: np.ndarray, one: LabelFace, size: LabelSize, dpi: int) -> tuple[int, int, int]:
    """Row, column and side in dots of the square's dark part: its finder is the label's leftmost ink."""
    side = qr_symbol(one.address).side * size.dots_per_module[dpi]
    column = int(np.flatnonzero(dots.any(axis=0))[0])
    row = int(np.flatnonzero(dots[:, column])[0])
    return row, column, side


def words(pdf: bytes, page: int = 0) -> str:
    document = pypdfium2.PdfDocument(pdf)
    text = document[page].get_textpage().get_text_range()
    document.close()
    return re.sub(r"\s+", " ", text).strip()


def letter_height(pdf: bytes, text: str) -> float:
    """Height in points of the first letter of `text` as printed."""
    document = pypdfium2.PdfDocument(pdf)
    page = document[0].get_textpage()
    index, _count = page.search(text).get_next()
    _left, bottom, _right, top = page.get_charbox(index)
    document.close()
    return float(top - bottom)


def pages(pdf: bytes) -> int:
    document = pypdfium2.PdfDocument(pdf)
    count = len(document)
    document.close()
    return count


# The square


@each_dpi
@each_roll
def test_every_module_is_a_whole_number_of_printer_dots(size, dpi):
    one = face()
    dots = printed_dots(draw_roll([one], size, dpi), dpi)
    row, column, side = square_box(dots, one, size, dpi)
    symbol = qr_symbol(one.address)
    expected = np.zeros((symbol.side, symbol.side), dtype=bool)
    for y, x, n in symbol.runs:
        expected[y, x : x + n] = True

    each = size.dots_per_module[dpi]
    assert np.array_equal(dots[row : row + side, column : column + side], np.kron(expected, np.ones((each, each))))


@each_dpi
@each_roll
@pytest.mark.parametrize(
    "one",
    [
        face(),
        face(shop=LONG_SHOP),
        face(grit="3000", type_name="resin of an uncommonly long name", size_line="225 mm × 12, right, soak"),
        face(grit="MMMMMMMMMMMM", mark="WW", type_name="", size_line="W" * 60, ladder_place=0, ladder_count=30),
        face(grit="4", type_name="", size_line="", mark="", bond="", ladder_place=None),
        face(grit=""),
        face(kind="blank"),
        face(kind="place", type_name="Tub 3", size_line="room for 10 sets"),
        face(kind="place", type_name="Yard rack by the left wall of the second hall", size_line=""),
        face(kind="place", type_name="J" * 60, size_line="j" * 90),
    ],
    ids=["set", "long address", "long type", "wide", "bare", "no grit", "blank", "place", "long place", "wide place"],
)
def test_nothing_is_printed_in_the_quiet_zone_nor_at_the_labels_edge(size, dpi, one):
    dots = printed_dots(draw_roll([one], size, dpi), dpi)
    row, column, side = square_box(dots, one, size, dpi)
    quiet = QUIET_ZONE * size.dots_per_module[dpi]
    # Round letters reach a fiftieth of their size beyond the line, and ink that begins within a dot fills it.
    edge = int((size.edge_mm - 0.2) / 25.4 * dpi) - 1

    around = dots.copy()
    around[row : row + side, column : column + side] = False
    assert row >= quiet
    assert column >= quiet
    assert not around[row - quiet : row + side + quiet, : column + side + quiet].any()
    beside = dots[:, column + side :]
    assert not beside[:edge].any()
    assert not beside[-edge:].any()
    assert not dots[:, -edge:].any()


# A worn print


@each_dpi
@each_roll
@pytest.mark.parametrize(("shop", "count"), [(SHOP, 4), (LONG_SHOP, 2)], ids=["version 3", "version 4"])
def test_worn_labels_open_the_right_set(size, dpi, shop, count):
    # A few of each here, every one read; tests/benchmarks/labels.py reads 100 of each and asks for 99.
    faces = [face(number, shop=shop) for number in range(count)]
    pdf = draw_roll(faces, size, dpi)
    rng = np.random.default_rng(dpi)

    for page, one in enumerate(faces):
        read = read_back(seen_by_camera(printed_dots(pdf, dpi, page), dpi, Wear(), rng))
        assert [read_code(text) for text in read] == [one.code]


@each_dpi
@pytest.mark.parametrize("size", SHEETS, ids=lambda size: size.key)
def test_worn_labels_of_a_sheet_stand_in_their_place_and_open_the_right_set(size, dpi):
    last = size.labels_per_page
    faces = [face(number) for number in range(2)]
    pdf = draw_sheet(faces, size, start_at=last, dpi=dpi)
    assert pages(pdf) == 2
    rng = np.random.default_rng(dpi)

    for one, page, place in zip(faces, (0, 1), (last - 1, 0), strict=True):
        dots = printed_dots(pdf, dpi, page)
        row, column = divmod(place, size.columns)
        left = size.left_mm + column * (size.width_mm + size.column_gap_mm)
        top = size.top_mm + row * (size.height_mm + size.row_gap_mm)
        x0, x1, y0, y1 = (round(mm / 25.4 * dpi) for mm in (left, left + size.width_mm, top, top + size.height_mm))
        label = dots[y0:y1, x0:x1]
        read = read_back(seen_by_camera(label, dpi, Wear(), rng))
        assert [read_code(text) for text in read] == [one.code]


def test_the_worn_print_is_hard_enough_to_fail_what_is_too_small_to_offer():
    # Otherwise the tests above would say nothing: a clean rendering is read at any size.
    too_small = replace(label_size("roll-38x19"), dots_per_module={203: 2})
    faces = [face(number) for number in range(10)]
    pdf = draw_roll(faces, too_small, 203)
    rng = np.random.default_rng(1)

    worn = [read_back(seen_by_camera(printed_dots(pdf, 203, page), 203, Wear(), rng)) for page in range(10)]

    assert sum(map(bool, worn)) <= 2


# What stands beside the square


def test_a_set_says_grit_code_and_type_and_the_grit_is_the_largest():
    one = face(6, type_name="resin wet")
    pdf = draw_roll([one], label_size("roll-70x36"))

    assert words(pdf) == f"400 {one.code} resin wet 9 in. × 3, soak"
    assert letter_height(pdf, "400") > 2 * letter_height(pdf, one.code) > 3 * letter_height(pdf, "resin")


def test_the_smallest_label_drops_the_type_line():
    one = face(6)

    assert words(draw_roll([one], label_size("roll-38x19"))) == f"400 {one.code}"


def test_a_long_type_is_cut_before_its_size_and_soak():
    one = face(6, type_name="resin with an uncommonly long name of its own")

    printed = words(draw_roll([one], label_size("roll-51x25")))

    assert printed.startswith(f"400 {one.code} resin")
    assert printed.endswith("… 9 in. × 3, soak")


def test_a_shops_own_two_characters_are_printed_as_they_are():
    one = face(6, mark="R7")

    assert words(draw_roll([one], label_size("roll-70x36"))) == f"400 {one.code} R7 resin 9 in. × 3, soak"


@pytest.mark.parametrize("mark", MARKS)
def test_every_own_mark_and_every_bond_looks_different(mark):
    size = label_size("roll-70x36")
    drawn = {other: printed_dots(draw_roll([face(6, mark=other)], size), 203).tobytes() for other in MARKS}

    assert len(set(drawn.values())) == len(MARKS) == 8
    bonds = {
        bond: printed_dots(draw_roll([face(6, bond=bond, mark=mark)], size), 203).tobytes()
        for bond in ("metal", "resin", "hybrid")
    }
    assert len(set(bonds.values())) == 3


@each_roll
@pytest.mark.parametrize("place", range(10))
def test_the_notch_has_a_tick_per_step_and_a_block_at_the_sets_own(size, place):
    one = face(6, ladder_place=place)
    dots = printed_dots(draw_roll([one], size), 203)
    _row, column, side = square_box(dots, one, size, 203)
    strip = dots[-int(size.edge_mm / 25.4 * 203) - 3, column + side :]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], strip.astype(int), [0]])))
    widths = edges[1::2] - edges[::2]

    assert len(widths) == 10
    assert int(np.argmax(widths)) == place
    assert np.sort(widths)[-1] >= 2 * np.sort(widths)[-2]


@each_roll
def test_a_blank_label_has_its_code_and_a_white_field_for_a_pen(size):
    one = face(kind="blank")
    pdf = draw_roll([one], size)
    dots = printed_dots(pdf, 203)
    _row, column, side = square_box(dots, one, size, 203)
    beside = dots[:, column + side :]
    rows = np.flatnonzero(beside.any(axis=1))
    frame = int(rows[0])
    below = next(int(y) for y in rows if y > frame + 10 and beside[y].sum() > 0.5 * beside[frame].sum())

    assert words(pdf) == one.code
    # At least 8 mm by 19 mm to write in: a marker's hand (our assumption).
    inside = beside[frame + 6 : below - 4]
    columns = np.flatnonzero(beside[(frame + below) // 2])
    assert not inside[:, columns[0] + 6 : columns[-1] - 6].any()
    assert (below - frame) / 203 * 25.4 >= 8
    assert (columns[-1] - columns[0]) / 203 * 25.4 >= 19


def test_a_place_says_its_name_large_on_one_line_or_two():
    short = face(kind="place", type_name="Tub 3", size_line="room for 10 sets")
    long = face(kind="place", type_name="Van of the second crew", size_line="")
    size = label_size("roll-57x32")

    assert words(draw_roll([short], size)) == f"Tub 3 room for 10 sets {short.code}"
    assert words(draw_roll([long], size)) == f"Van of the second crew {long.code}"
    assert letter_height(draw_roll([short], size), "Tub") > letter_height(draw_roll([short], size), short.code)


def test_letters_the_faces_lack_lose_their_accents_and_others_stay():
    one = face(type_name="Año ő 研", size_line="")

    assert "Año o ?" in words(draw_roll([one], label_size("roll-70x36")))


# Sheets, copies, refusals


def test_copies_follow_each_other_and_pages_fill_up():
    faces = [face(1), face(2)]
    pdf = draw_roll(faces, label_size("roll-51x25"), 203, 3)
    sheet = draw_sheet(faces, label_size("a4-70x36"), start_at=20, copies=15)

    codes = [read_code(re.search("GL-.{6}", words(pdf, page))[0]) for page in range(6)]  # type: ignore[index]
    assert codes == [faces[0].code] * 3 + [faces[1].code] * 3
    assert pages(sheet) == 3  # 5 on the used sheet, 24 and 1
    assert [len(re.findall("GL-", words(sheet, page))) for page in range(3)] == [5, 24, 1]


def test_a_used_sheet_is_white_before_its_first_free_label():
    dots = printed_dots(draw_sheet([face()], label_size("a4-70x36"), start_at=6), 300)
    second_row, third_row = (round((4.5 + 36 * n) / 25.4 * 300) for n in (1, 2))

    assert not dots[:second_row].any()
    assert not dots[third_row:].any()
    assert not dots[:, : round(140 / 25.4 * 300)].any()
    assert dots[second_row:third_row].any()


def test_the_same_labels_give_the_same_bytes_and_now_names_the_day():
    now = datetime(2026, 5, 14, 21, 5, tzinfo=UTC)
    first = draw_sheet([face()], label_size("a4-57x32"), now=now)

    assert first == draw_sheet([face()], label_size("a4-57x32"), now=now)
    document = pypdfium2.PdfDocument(first)
    assert document.get_metadata_value("Title") == "Labels 57 × 32 mm, 1, 2026-05-14"
    document.close()


def test_a_rolls_page_is_the_label_in_whole_dots():
    document = pypdfium2.PdfDocument(draw_roll([face()], label_size("roll-51x25"), 203))
    width, height = document[0].get_size()
    document.close()

    assert width * 203 / 72 == pytest.approx(407, abs=0.02)  # 51 mm are 407.6 dots
    assert height * 203 / 72 == pytest.approx(199, abs=0.02)


@pytest.mark.parametrize(
    ("draw", "sentence"),
    [
        (
            lambda: draw_roll([], label_size("roll-51x25")),
            "No label is chosen. Choose sets, or a number of blank labels.",
        ),
        (lambda: draw_roll([face()], label_size("roll-51x25"), copies=0), "0 copies are none. Print 1 or more."),
        (
            lambda: draw_roll([face()], label_size("roll-51x25"), copies=5001),
            "5001 labels are more than one file takes, 5000. Print them in several files.",
        ),
        (
            lambda: draw_roll([face()], label_size("a4-70x36")),
            "70 × 36 mm, A4 sheet of 24 (3 × 8) is a sheet. Choose a roll, or print on the sheet.",
        ),
        (
            lambda: draw_sheet([face()], label_size("roll-51x25")),
            "51 × 25 mm, roll is a roll. Choose a sheet, or print on the roll.",
        ),
        (
            lambda: draw_sheet([face()], label_size("a4-70x36"), start_at=25),
            "The sheet has labels 1 to 24; label 25 is not on it.",
        ),
        (
            lambda: draw_sheet([face()], label_size("a4-70x36"), start_at=0),
            "The sheet has labels 1 to 24; label 0 is not on it.",
        ),
    ],
)
def test_labels_that_cannot_be_drawn_are_refused_in_the_persons_words(draw, sentence):
    with pytest.raises(LabelsRefused) as refused:
        draw()
    assert str(refused.value) == sentence


def test_a_shop_with_too_long_an_address_is_told_before_the_first_label():
    faces = [face(1), face(2, shop="https://tools.the-polishing-shop.example")]

    with pytest.raises(
        AddressNotPrintable, match=r"has 52 characters, at most 50 fit\. Give the shop a shorter host name\.$"
    ):
        draw_roll(faces, label_size("roll-51x25"))
    with pytest.raises(LabelSizeWrong, match="not offered at 600 dots per inch"):
        draw_roll(faces[:1], label_size("roll-51x25"), 600)
    with pytest.raises(LabelSizeWrong, match="not offered at 72 dots per inch"):
        draw_sheet(faces[:1], label_size("a4-51x25"), dpi=72)


def test_the_built_in_face_is_as_wide_as_we_take_it_for():
    # Adobe's metrics of Helvetica-Bold: every digit 556 thousandths of the type size.
    assert stringWidth("3000", "Helvetica-Bold", 1000) == 4 * 556
