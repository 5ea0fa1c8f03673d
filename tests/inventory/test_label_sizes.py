"""The label sizes offered, and what a wrong line in the file is answered."""

import copy
import json

import pytest

from inventory.label_sizes import (
    FEWEST_DOTS,
    LABEL_SIZES_FILE,
    LabelSizeWrong,
    label_size,
    label_sizes,
    read_label_sizes,
)

SHEET = {
    "key": "test",
    "kind": "sheet",
    "width_mm": 70,
    "height_mm": 36,
    "edge_mm": 2,
    "type_line": True,
    "dots_per_module": {"203": 6, "300": 9},
    "paper": "A4",
    "paper_width_mm": 210,
    "paper_height_mm": 297,
    "columns": 3,
    "rows": 8,
    "left_mm": 0,
    "top_mm": 4.5,
}


def test_four_measures_are_offered_on_rolls_and_both_papers():
    measures = ["70x36", "57x32", "51x25", "38x19"]

    assert list(label_sizes()) == [f"{on}-{of}" for on in ("roll", "a4", "letter") for of in measures]
    assert json.loads(LABEL_SIZES_FILE.read_text())["source"].startswith("Our own geometry")


@pytest.mark.parametrize(
    ("measure", "dots", "module_mm"), [("70x36", 6, 0.75), ("57x32", 5, 0.625), ("51x25", 4, 0.5), ("38x19", 3, 0.375)]
)
def test_modules_are_whole_dots_as_the_screens_page_says(measure, dots, module_mm):
    for on in ("roll", "a4", "letter"):
        size = label_size(f"{on}-{measure}")
        assert size.dots_per_module[203] == dots
        assert size.module_mm(203) == pytest.approx(module_mm, abs=0.001)
        assert size.dots_per_module[300] >= FEWEST_DOTS[300] == 4
        # The nearest whole dots of 300 dpi, not more than a tenth away.
        assert size.module_mm(300) == pytest.approx(module_mm, rel=0.1)


@pytest.mark.parametrize("key", ["a4-70x36", "a4-57x32", "a4-51x25", "a4-38x19", "letter-70x36", "letter-38x19"])
def test_a_sheet_is_centred_on_its_paper(key):
    size = label_size(key)
    # ISO 216 for A4; 8.5 by 11 inches for Letter.
    assert (size.paper_width_mm, size.paper_height_mm) == ((210, 297) if size.paper == "A4" else (215.9, 279.4))
    across = size.columns * size.width_mm + (size.columns - 1) * size.column_gap_mm
    down = size.rows * size.height_mm + (size.rows - 1) * size.row_gap_mm

    assert size.left_mm == pytest.approx((size.paper_width_mm - across) / 2, abs=0.006)
    assert size.top_mm == pytest.approx((size.paper_height_mm - down) / 2, abs=0.006)


def test_sizes_are_named_by_their_measures():
    assert label_size("a4-70x36").name == "70 × 36 mm, A4 sheet of 24 (3 × 8)"
    assert label_size("roll-51x25").name == "51 × 25 mm, roll"


def test_an_unknown_size_or_dpi_is_refused_with_the_choices():
    with pytest.raises(
        LabelSizeWrong, match=r"^There is no label size “roll-1x1”\. Choose one of roll-70x36, roll-57x32"
    ):
        label_size("roll-1x1")
    with pytest.raises(LabelSizeWrong) as refused:
        label_size("roll-51x25").module_mm(600)
    assert str(refused.value) == "51 × 25 mm labels are not offered at 600 dots per inch. Choose one of 203, 300."


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"kind": "card"}, "its kind is “card”; a size is a sheet or a roll."),
        ({"brand": 1}, "“brand” is not a measure of a label size."),
        ({"width_mm": "wide"}, "width_mm is wide; it may be 20 to 300."),
        ({"width_mm": float("nan")}, "width_mm is nan; it may be 20 to 300."),
        ({"height_mm": 5}, "height_mm is 5; it may be 12 to 300."),
        ({"left_mm": -1}, "left_mm is -1; it may not be below 0."),
        ({"rows": 0}, "rows is 0; it may be 1 and more."),
        ({"columns": 2.5}, "columns is 2.5; it may be 1 and more."),
        ({"rows": 9}, "its labels reach to 328.5 mm on paper of 297 mm."),
        ({"column_gap_mm": 1}, "its labels reach to 212 mm on paper of 210 mm."),
        ({"dots_per_module": {}}, "it has no dots per module. Give them for 203 or 300 dpi."),
        ({"dots_per_module": {"600": 8}}, "600 dpi is not offered; 203 and 300 are."),
        ({"dots_per_module": {"x": 8}}, "a measure is missing or is no number."),
        ({"dots_per_module": None}, "a measure is missing or is no number."),
        (
            {"dots_per_module": {"203": 2}},
            "2 dots a module at 203 dpi do not read once worn; whole numbers from 3 on do.",
        ),
        (
            {"dots_per_module": {"300": 4.5}},
            "4.5 dots a module at 300 dpi do not read once worn; whole numbers from 4 on do.",
        ),
        ({"dots_per_module": {"203": 8}}, "a square of 41.2 mm (8 dots at 203 dpi) leaves no room: take fewer."),
    ],
)
def test_a_size_that_cannot_be_printed_on_is_refused(change, sentence):
    with pytest.raises(LabelSizeWrong) as refused:
        read_label_sizes({"sizes": [{**SHEET, **change}]})
    assert str(refused.value) == f"Label size “test”: {sentence}"


def test_a_size_without_a_measure_or_twice_is_refused():
    short = copy.deepcopy(SHEET)
    del short["edge_mm"]
    with pytest.raises(LabelSizeWrong, match="a measure is missing"):
        read_label_sizes({"sizes": [short]})
    with pytest.raises(LabelSizeWrong, match=r"^Label size “test” stands twice\. Give one of them another key\.$"):
        read_label_sizes({"sizes": [SHEET, SHEET]})


def test_a_shops_own_size_is_read():
    assert read_label_sizes({"sizes": [SHEET]})["test"].labels_per_page == 24
