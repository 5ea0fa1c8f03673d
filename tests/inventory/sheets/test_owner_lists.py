"""Lists as owners write them: foreign headings, fractions, mixed grits, places by half a name, glazed sets."""

from typing import Any

import pytest

from inventory.sheets.columns import guess_columns
from inventory.sheets.fields import Thing
from inventory.sheets.judging import judge
from inventory.sheets.outcome import Answers
from inventory.sheets.reading import read_sheet
from inventory.sheets.specs import SETS
from inventory.sheets.words import opening_of
from inventory.units import NBSP
from jobs.sheets.specs import JOBS

from .shop import csv_file, judged, known, refused, told

GERMAN = [
    ["Scheibe", "Nummer", "Höhe in mm", "Ort"],
    ["Metall 30", "M-1", "8,5", "Regal A"],
    ["Metall 70", "M-2", "7,5", "Regal A"],
    ["metal grob", "neu", "neu", "Rack A"],
    ["Metall 120", "M-4", "6,25", "Regal B"],
]


def sheet_of(rows: list[list[Any]], **more: Any):
    return read_sheet(csv_file(rows, ";"), "liste.csv", known=SETS.known_headings(), **more)


def test_headings_in_another_language_stay_the_headings_and_no_set_is_lost():
    sheet = sheet_of(GERMAN)

    assert (sheet.header_row, sheet.headings, sheet.heading_doubt) == (1, GERMAN[0], False)
    assert [row.number for row in sheet.rows] == [2, 3, 4, 5]
    assert sheet.above == []


def test_rows_above_the_heading_are_kept_to_be_told():
    sheet = sheet_of([["Discs of the shop"], *GERMAN])

    assert sheet.header_row == 2
    assert [(row.number, row.cells) for row in sheet.above] == [(1, ("Discs of the shop",))]


def test_a_heading_row_that_nothing_tells_from_data_is_asked_about():
    rows = [["Scheibe", "Ort"], ["grob", "Regal"], ["fein", "Wanne"]]
    sheet = sheet_of(rows)

    assert sheet.heading_doubt
    assert [row.number for row in sheet.top] == [1, 2, 3]
    shop = known()
    columns = guess_columns(sheet, SETS, shop, {"A": {"field": "type"}})
    judgement = judge(sheet, SETS, columns, shop)
    assert (judgement.accepted, judgement.questions, judgement.refused) == ([], [], [])


@pytest.mark.parametrize(("said", "headings", "rows"), [(1, ["Scheibe", "Ort"], [2, 3]), (2, ["grob", "Regal"], [3])])
def test_a_person_says_which_row_holds_the_headings(said, headings, rows):
    sheet = sheet_of([["Scheibe", "Ort"], ["grob", "Regal"], ["fein", "Wanne"]], heading_row=said)

    assert (sheet.header_row, sheet.headings, sheet.heading_doubt) == (said, headings, False)
    assert [row.number for row in sheet.rows] == rows


def test_a_person_says_that_the_list_has_no_headings():
    sheet = sheet_of(GERMAN, heading_row=0)

    assert (sheet.header_row, len(sheet.rows), sheet.above) == (None, 5, [])


# Shares as people write them; which kind each is: arithmetic (what is worn leaves the rest).
@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("½", "half"), ("½ worn", "half"), ("1/2 worn", "half"), ("Half left", "half"), ("¼ worn", "three_quarters"),
        ("¾", "three_quarters"), ("¾ worn", "quarter"), ("25% left", "quarter"), ("75 % worn", "quarter"),
        ("quarter left", "quarter"), ("1/4 gastado", "three_quarters"), ("half a disc", ""), ("5/8", ""),
    ],
)  # fmt: skip
def test_a_share_that_is_worn_leaves_the_rest(text, kind):
    assert opening_of(text) == kind


def test_fraction_characters_in_a_state_column_are_read():
    rows = [["Disc", "ID", "State"], ["400 resin", "R-1", "½ worn"], ["400 resin", "R-2", "¼ worn"]]

    assert [item.opening_kind for item in judged(csv_file(rows)).things] == ["half", "three_quarters"]


def test_two_grits_of_the_ladder_in_one_cell_are_asked_about():
    rows = [["Disc", "ID"], ["50/100 mixed resin", "R-1"], ["30/40 metal", "M-1"], ["resin 50/60 mixed", "R-3"]]
    judgement = judged(csv_file(rows))

    assert told(judgement) == [
        (2, "Which grit is “50/100 mixed resin”?"), (4, "Which grit is “resin 50/60 mixed”?"),
    ]  # fmt: skip
    assert judgement.questions[0].answers == (("50", "50"), ("100", "100"))
    assert [item.type_name for item in judgement.things] == ["Metal 30"], "40 is no grit here: a range of grain sizes"

    answered = judged(csv_file(rows), answers=Answers(rows={"2:type:grits": "100"}))
    assert [item.type_name for item in answered.things] == ["Resin 100", "Metal 30"]


def test_a_place_by_half_its_name_is_offered_first_and_every_other_place_too():
    rows = [["Disc", "ID", "Place"], ["400 resin", "R-1", "A"], ["400 resin", "R-2", "B"]]
    judgement = judged(csv_file(rows))

    assert dict(judgement.questions[0].answers) == {
        "place:A": "Rack A", "new": "A new place", "missing": "Missing, look for it",
        "place:B": "Rack B", "place:T1": "Tub 1", "place:V2": "Van 2",
    }  # fmt: skip
    assert [question.answers[0] for question in judgement.questions] == [("place:A", "Rack A"), ("place:B", "Rack B")]

    answered = judged(csv_file(rows), answers=Answers(rows={"2:place:place": "place:V2"}))
    assert [(item.place, item.where) for item in answered.things] == [("V2", "Van 2")]


def test_a_place_not_like_any_still_offers_the_list():
    rows = [["Disc", "ID", "Place"], ["400 resin", "R-1", "behind the door"]]
    (question,) = judged(csv_file(rows)).questions

    assert [key for key, _label in question.answers] == [
        "new", "missing", "place:A", "place:B", "place:T1", "place:V2",
    ]  # fmt: skip


@pytest.mark.parametrize("heading", ["Height (w/ backing) in", "Height w/backing (in)", "Height incl. backing, in"])
def test_a_height_with_backing_is_read_as_one_and_the_preview_says_what_is_kept(heading):
    rows = [["Disc", "ID", heading], ["400 resin", "R-1", "0.25"]]
    (item,) = judged(csv_file(rows)).things

    # By hand: 0.25 in is 6.35 mm; the backing of the type is 3 mm, 0.1181 in; 0.1319 in stay.
    assert (item.lowest_height_mm, item.with_backing, item.backing_mm) == (6.35, True, 3.0)
    assert SETS.say(item) == f"Resin 400, R-1, tool height 0.1319{NBSP}in, backing 0.1181{NBSP}in taken off"


def test_a_height_without_a_word_on_backing_takes_nothing_off():
    rows = [["Disc", "ID", "Height, no backing (in)"], ["400 resin", "R-1", "0.25"]]
    (item,) = judged(csv_file(rows)).things

    assert SETS.say(item) == f"Resin 400, R-1, tool height 0.25{NBSP}in"


def test_glazed_sets_can_work_and_their_face_is_told():
    rows = [
        ["Disc", "ID", "State"], ["400 resin", "R-1", "glazed"], ["400 resin", "R-2", "half, glazed"],
        ["400 resin", "R-3", "half, worn"], ["400 resin", "R-4", "half, quarter"],
    ]  # fmt: skip
    judgement = judged(csv_file(rows))

    assert [(item.own_code, item.opening_kind, item.trouble, item.set_aside) for item in judgement.things[:2]] == [
        ("R-1", "unknown", "glazed", False), ("R-2", "half", "glazed", False),
    ]  # fmt: skip
    assert [row for row, *_rest in refused(judgement)] == [5], "two shares for one set are not put together"


def test_refusals_alike_are_found_together():
    rows = [["Disc", "ID", "State"], *(["400 resin", f"R-{n}", "shiny"] for n in range(3)), ["400 resin", "R-9", "odd"]]
    judgement = judged(csv_file(rows))

    assert [one.row for one in judgement.refused_like("3:C")] == [2, 3, 4]
    assert [one.row for one in judgement.refused_like("5:C")] == [5]
    assert judgement.refused_like("9:C") == []


def test_amounts_of_money_are_no_grits():
    rows = [
        ["Job", "Site", "Start", "Bid"],
        ["Quill", "Quill House", "2027-03-04", "12500"],
        ["Harrow", "Harrow Depot", "2027-04-04", "8100"],
    ]
    shop = known(sites=(Thing("s1", "Quill House"),))
    sheet = read_sheet(csv_file(rows), "jobs.csv", known=JOBS.known_headings())

    assert [match.field for match in guess_columns(sheet, JOBS, shop).matches] == ["job", "site", "starts", ""]


def test_grits_of_the_ladder_still_tell_their_column():
    rows = [["Werkzeug", "Nr."], ["400", "x-1"], ["100", "x-2"], ["200", "x-3"]]
    sheet = read_sheet(csv_file(rows), "a.csv", known=SETS.known_headings())

    assert guess_columns(sheet, SETS, known()).matches[0].field == "type"
