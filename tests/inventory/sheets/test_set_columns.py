"""Pieces and places of a list of sets, units that cells carry, and all that a set says before it comes in."""

import pytest

from inventory.sheets.columns import guess_columns
from inventory.sheets.outcome import Answers
from inventory.sheets.reading import read_sheet
from inventory.sheets.specs import SETS
from inventory.units import NBSP

from .shop import csv_file, judged, known, refused, told


def matched(rows):
    """What each column of a list of sets is taken for."""
    sheet = read_sheet(csv_file(rows), "list.csv", known=SETS.known_headings())
    return guess_columns(sheet, SETS, known()).matches


@pytest.mark.parametrize("heading", ["Pieces", "pcs", "Pieces per set", "pcs/set", "Piezas", "No. of pieces"])
def test_a_column_of_pieces_is_no_count_of_sets(heading):
    assert [match.field for match in matched([["Disc", "ID", heading], ["400 resin", "R-1", "3"]])][2] == "pieces"


@pytest.mark.parametrize("heading", ["How many sets", "Qty", "Sets", "Quantity", "Cantidad"])
def test_counts_stay_counts_of_sets(heading):
    assert [match.field for match in matched([["Disc", "ID", heading], ["400 resin", "R-1", "3"]])][2] == "count"


def test_a_whole_sets_pieces_are_one_set_and_fewer_are_kept():
    # A set of Resin 400 has 3 pieces, one of Metal 30 has 9.
    rows = [["Disc", "ID", "Pieces"], ["400 resin", "R-1", "3"], ["400 resin", "R-2", "2"], ["30 metal", "M-1", "9"]]
    judgement = judged(csv_file(rows))

    assert [(item.own_code, item.pieces) for item in judgement.things] == [("R-1", None), ("R-2", 2), ("M-1", None)]
    assert SETS.say(judgement.things[1]) == "Resin 400, R-2, 2 pieces"


def test_pieces_of_several_sets_are_asked_about_and_others_refused():
    rows = [["Disc", "ID", "Pieces"], ["400 resin", "R-1", "9"], ["400 resin", "R-2", "4"]]
    judgement = judged(csv_file(rows))

    (question,) = judgement.questions
    assert (question.title, question.why) == ("One set or 3?", "The row says 9 pieces, and a set of Resin 400 has 3.")
    assert question.answers == (("sets", "3 sets"), ("one", "One set"))
    assert refused(judgement) == [(3, "Pieces", "4", "1 to 3 pieces: a set of Resin 400 has 3.", "")]
    three = judged(csv_file(rows), answers=Answers(rows={"2:pieces:sets": "sets"}))
    assert [(item.own_code, item.pieces) for item in three.things] == [("R-1", None), ("", None), ("", None)]


@pytest.mark.parametrize("pieces", ["3", "6"])
def test_pieces_beside_a_count_are_those_of_a_set_or_of_all_of_them(pieces):
    rows = [["Disc", "Sets", "Pieces"], ["400 resin", "2", pieces]]
    judgement = judged(csv_file(rows), answers=Answers(rows={"2:count:sets": "sets"}))

    assert [item.pieces for item in judgement.things] == [None, None]


@pytest.mark.parametrize("said", ["6 of 9", "6 de 9", "Remnant: 6 of 9 pieces", "6/9"])
def test_pieces_are_read_as_this_program_says_them(said):
    rows = [["Disc", "ID", "Pieces"], ["30 metal", "M-1", said], ["30 metal", "M-2", "9 of 9"]]
    judgement = judged(csv_file(rows))

    assert [(item.own_code, item.pieces) for item in judgement.things] == [("M-1", 6), ("M-2", None)]
    rows[1][2] = "9 of 6"
    assert [one[0] for one in refused(judged(csv_file(rows)))] == [2]


@pytest.mark.parametrize("said", ["Shelf Z", "shelf z", "SHELF Z", "shelf-Z"])
def test_a_new_place_keeps_the_letter_of_its_name(said):
    rows = [["Disc", "ID", "where"], ["400 resin", "R-1", said]]
    (question,) = judged(csv_file(rows)).questions
    made = judged(csv_file(rows), answers=Answers(like={question.like: "new"})).things
    assert [item.new_place[1] for item in made] == ["Shelf Z"]


PLACES = [
    ["Disc", "ID", "where"],
    *[["400 resin", f"R-{n}", text] for n, text in enumerate(("Van 7", "van 7", "C12", "C 13", "rack B peg 3", "?"))],
]


def test_a_place_the_shop_does_not_have_is_asked_about_once_a_name():
    judgement = judged(csv_file(PLACES))

    assert told(judgement) == [(2, "Which place is “Van 7”?"), (4, "Which rack is “C”, as in “C12”?")]
    assert [question.rows for question in judgement.questions] == [(2, 3), (4, 5)]
    van, rack = judgement.questions
    assert van.answers[: van.buttons] == (
        ("new", "Make Van 7"), ("place:V2", "Van 2"), ("missing", "Missing, look for it"),
    )  # fmt: skip
    assert rack.answers[: rack.buttons] == (
        ("new", "Make Rack C"), ("place:A", "Rack A"), ("place:B", "Rack B"), ("missing", "Missing, look for it"),
    )  # fmt: skip
    assert [(item.place, item.peg, item.missing) for item in judgement.things] == [("B", "3", False), ("", "", True)]


def test_one_answer_makes_a_place_or_says_which_it_is_for_all_its_rows():
    answers = Answers(like={"place:van 7": "new", "place:rack c": "place:A"})
    items = judged(csv_file(PLACES), answers=answers).things

    assert [(item.place, item.new_place, item.peg) for item in items[:4]] == [
        ("", ("van", "Van 7"), ""), ("", ("van", "Van 7"), ""), ("A", None, "12"), ("A", None, "13"),
    ]  # fmt: skip
    made = judged(csv_file(PLACES), answers=Answers(like={"place:rack c": "new"})).things
    assert [(item.new_place, item.peg) for item in made[:2]] == [(("rack", "Rack C"), "12"), (("rack", "Rack C"), "13")]


def test_a_place_misspelt_is_offered_its_near_spellings_first():
    (question,) = judged(csv_file([["Disc", "ID", "Place"], ["400 resin", "R-1", "Rakc A"]])).questions

    assert question.answers[0] == ("place:A", "Rack A")


def test_a_column_whose_cells_carry_their_unit_is_called_by_it():
    rows = [["Disc", "ID", "Height", "Worked"], ["400 resin", "R-1", "6.4 mm", "100 m2"], *(
        ["400 resin", f"R-{n}", "8 mm", "200 m2"] for n in range(2, 5)
    )]  # fmt: skip
    height, worked = matched(rows)[2:]

    assert (height.field, height.reading.unit, height.certain) == ("height", "mm", "sure")
    assert (worked.field, worked.reading.unit) == ("worked", "m2")
    assert [item.lowest_height_mm for item in judged(csv_file(rows)).things] == [6.4, 8.0, 8.0, 8.0]


def test_what_comes_in_of_a_set_is_all_said_before():
    rows = [
        ["Disc", "ID", "State", "where", "SF run", "bought", "price"],
        ["400 resin", "R-1", "half, set aside", "B14", "96000", "2025-04-09", "310.50"],
    ]
    (item,) = judged(csv_file(rows)).things

    assert SETS.say(item) == (
        "Resin 400, R-1, rack B, peg 14, about half left, set aside, "
        f"worked 96,000{NBSP}ft², bought 9 Apr 2025, $310.50"
    )


def test_a_likely_height_keeps_the_unit_that_its_cell_carries():
    # The column's bare numbers are inches; "80 mm" is 8 mm with its point slipped, never 8 inches.
    rows = [["Disc", "ID", "Height (in)"], ["400 resin", "R-1", "0.27"], ["400 resin", "R-2", "80 mm"]]
    judgement = judged(csv_file(rows))

    assert [one.likely for one in judgement.refused] == ["8 mm"]
    mended = judged(csv_file(rows), answers=Answers(cells={"3:C": "8 mm"}))
    assert [item.lowest_height_mm for item in mended.things] == [6.858, 8.0]
