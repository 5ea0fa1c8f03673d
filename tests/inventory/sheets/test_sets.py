"""A shop's list of sets: columns matched, doubtful rows asked about, wrong ones refused, the same file twice."""

import time
from datetime import date, datetime
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.sheets.columns import guess_columns
from inventory.sheets.judging import judge
from inventory.sheets.outcome import Answers
from inventory.sheets.raw import Row, Sheet
from inventory.sheets.reading import read_sheet
from inventory.sheets.set_rows import split_codes
from inventory.sheets.specs import SETS, SetRow, code_key
from inventory.units import NBSP

from .shop import csv_file, judged, known, refused, told, xlsx_file

HEADING = ["Disc", "qty", "ID", "Height left (in)", "where", "SF run", "bought", "Notes"]
TOOLING = [
    HEADING,
    ["400 resin", "1", "R-17", "0.27", "B14", "96000", "1/12/24", ""],
    ["30 metal", "1", "M-02", '.33"', "A 2", "~40k", "3/4/24", "good"],
    ["200 resin", "1", "R-08", "0.22", "A3", "71000", "2/28/24", ""],
    [],
    ["400 resin", "2", "R-31/32", "0.28", "tub1", "", "5/9/24", "pair"],
    ["100 res", "1", "R-08", "0.22", "van 2", "71000", "2/2/24", "Dag has it"],
    ["70 metal", "1", "M-11", "half", "A 5", "110k", "4/3/24", ""],
    ["200 resin", "1", "R-24", "0.30", "shelf?", "", "", ""],
    ["200 resin", "1", "R-20", "2.75", "B02", "62000", "", "lowest pc"],
    ["4oo resin", "1", "R-40", "0.19", "B11", "18000", "6/2/24", ""],
]


def matched(rows, chosen=None, **changes):
    sheet = read_sheet(csv_file(rows), "list.csv", known=SETS.known_headings())
    return guess_columns(sheet, SETS, known(**changes), chosen)


def test_columns_are_matched_by_heading_with_units_and_guesses_marked():
    columns = matched(TOOLING)

    assert [(match.letter, match.field, match.certain, match.reading.unit) for match in columns.matches] == [
        ("A", "type", "sure", ""),
        ("B", "count", "guess", ""),
        ("C", "code", "sure", ""),
        ("D", "height", "sure", "in"),
        ("E", "place", "sure", ""),
        ("F", "worked", "sure", "ft2"),
        ("G", "bought", "sure", ""),
        ("H", "note", "sure", ""),
    ]
    assert columns.matches[6].reading.date_order == "mdy"
    assert columns.guesses == 1
    assert columns.missing == ()


def test_spanish_headings_are_matched():
    columns = matched(
        [
            ["Grano", "Liga", "Código", "Altura (mm)", "Ubicación", "Área trabajada (m2)", "Fecha de compra", "Notas"],
            ["400", "resina", "R-1", "6.9", "B14", "1240.5", "14/05/2024", ""],
        ]
    )

    assert [(match.field, match.certain, match.reading.unit) for match in columns.matches] == [
        ("type", "sure", ""), ("bond", "sure", ""), ("code", "sure", ""), ("height", "sure", "mm"),
        ("place", "sure", ""),
        ("worked", "sure", "m2"), ("bought", "sure", ""), ("note", "sure", ""),
    ]  # fmt: skip
    assert columns.matches[6].reading.date_order == "dmy"


def test_a_heading_that_is_only_a_unit_of_area_is_a_guess():
    columns = matched([["Set #", "Grit", "Bond", "ft² done"], ["1", "400", "resin", "1,200"]])

    assert [(match.field, match.certain, match.reading.unit) for match in columns.matches] == [
        ("code", "sure", ""), ("type", "sure", ""), ("bond", "sure", ""), ("worked", "guess", "ft2"),
    ]  # fmt: skip


def test_a_match_can_be_changed_and_left_out():
    columns = matched(
        TOOLING,
        {
            "B": {"field": ""},
            "H": {"field": "state"},
            "D": {"unit": "mm", "with_backing": True},
            "G": {"date_order": "dmy"},
        },
    )

    assert [match.field for match in columns.matches] == [
        "type",
        "",
        "code",
        "height",
        "place",
        "worked",
        "bought",
        "state",
    ]
    assert (columns.matches[1].certain, columns.matches[7].certain) == ("chosen", "chosen")
    assert (columns.matches[3].reading.unit, columns.matches[3].reading.with_backing) == ("mm", True)
    assert columns.matches[6].reading.date_order == "dmy"


def test_columns_without_heading_are_guessed_by_what_stands_in_them():
    sheet = read_sheet(b"400 resin,R-1,14/05/2024\n30 metal,M-1,15/05/2024\n", "a.csv", known=SETS.known_headings())

    columns = guess_columns(sheet, SETS, known())

    assert [(match.field, match.certain) for match in columns.matches] == [
        ("type", "guess"), ("", "sure"), ("bought", "guess"),
    ]  # fmt: skip


def test_nothing_comes_in_while_the_tool_type_has_no_column():
    judgement = judged(csv_file([["ID", "Notes"], ["R-1", "x"]]))

    assert [field.name for field in judgement.missing] == ["type"]
    assert (judgement.accepted, judgement.questions, judgement.refused) == ([], [], [])


def test_the_list_of_the_picture_is_sorted_into_in_asked_and_refused():
    judgement = judged(csv_file(TOOLING))

    assert [row.row for row in judgement.accepted] == [2, 3, 4]
    assert told(judgement) == [
        (6, "One set or two?"),
        (7, "Is this the R-08 of row 4?"),
        (8, "How high is “half”?"),
        (9, "Which place is “shelf?”?"),
    ]
    assert refused(judgement) == [
        (10, "Height left (in)", "2.75", f"0.08 to 0.39{NBSP}in: a new resin 200 is 0.39{NBSP}in high.", "0.275"),
        (11, "Disc", "4oo resin", "A grit of your ladder; this holds 2 letters among its digits.", "400 resin"),
    ]
    assert (judgement.asking_rows, judgement.refused_rows) == (4, 2)


def test_a_set_is_kept_as_it_was_entered_and_in_si():
    judgement = judged(csv_file(TOOLING))

    assert judgement.things[:2] == [
        SetRow(
            tool_type="r400", type_name="Resin 400", own_code="R-17", opening_kind="height", lowest_height_mm=6.858,
            amount_value="0.27", amount_unit="in", place="B", peg="14", worked_m2=8918.69184,
            worked=f"96,000{NBSP}ft²", bought_on=date(2024,
            1, 12),
            where="rack B, peg 14",
        ),
        SetRow(
            tool_type="m30", type_name="Metal 30", own_code="M-02", opening_kind="height", lowest_height_mm=8.382,
            amount_value="0.33", amount_unit="in", place="A", peg="2", worked_m2=3716.1216,
            worked=f"40,000{NBSP}ft²", bought_on=date(2024, 3, 4),
            note="good", where="rack A, peg 2",
        ),
    ]  # fmt: skip


def test_questions_offer_their_answers_likeliest_first():
    by_row = {question.row: question for question in judged(csv_file(TOOLING)).questions}

    assert by_row[6].answers == (("sets", "2 sets"), ("one", "One set"), ("pieces", "2 loose pieces"))
    assert by_row[6].why == "The row says 2, and there are 2 old codes."
    assert by_row[7].answers == (("same", "The same, as this row says"), ("two", "Two different ones"))
    assert by_row[8].answers == (("half", "About half, 0.21 to 0.34"), ("unknown", "Measure later"))
    assert by_row[8].why == f"A new metal 70 is 0.47{NBSP}in high."
    assert by_row[9].answers == (
        ("place:A", "Rack A"), ("place:B", "Rack B"), ("new", "A new place"), ("missing", "Missing, look for it"),
        ("place:T1", "Tub 1"), ("place:V2", "Van 2"),
    )  # fmt: skip


def test_every_answer_grows_what_can_come_in():
    answers = Answers()
    data = csv_file(TOOLING)
    before = judged(data)
    for question, key in zip(before.questions, ("sets", "two", "half", "missing"), strict=True):
        answers.give(question, key)
    answers.cells = {"10:D": "0.275", "11:A": "400 resin"}

    after = judged(data, answers=Answers.from_dict(answers.as_dict()))

    assert (after.questions, after.refused) == ([], [])
    assert [(item.own_code, item.opening_kind, item.where) for item in after.things[3:]] == [
        ("R-31", "height", "Tub 1"),
        ("R-32", "height", "Tub 1"),
        ("R-08", "height", "Van 2"),
        ("M-11", "half", "rack A, peg 5"),
        ("R-24", "height", "missing"),
        ("R-20", "height", "rack B, peg 2"),
        ("R-40", "height", "rack B, peg 11"),
    ]
    assert after.things[8].lowest_height_mm == pytest.approx(6.985)


def test_a_code_twice_can_be_one_set_and_the_later_row_holds():
    answers = Answers()
    data = csv_file(TOOLING)
    answers.give(judged(data).questions[1], "same")

    judgement = judged(data, answers=answers)

    joined = next(row for row in judgement.accepted if row.row == 7)
    assert (joined.items, joined.ids, joined.joined_to) == ((), (), 4)
    (item,) = next(row for row in judgement.accepted if row.row == 4).items
    assert (item.tool_type, item.own_code, item.place, item.note) == ("r100", "R-08", "V2", "Dag has it")
    assert item.peg == "3"


def test_one_answer_can_serve_all_rows_like_it():
    rows = [["Disc", "ID", "Height (in)"], *[["400 resin", f"R-{n}", "half"] for n in range(20)]]
    answers = Answers()
    judgement = judged(csv_file(rows))
    assert len(judgement.questions) == 20
    answers.give(judgement.questions[0], "half", for_all_like_it=True)

    after = judged(csv_file(rows), answers=answers)

    assert [item.opening_kind for item in after.things] == ["half"] * 20


def test_a_column_of_doubtful_dates_is_asked_about_once():
    rows = [["Disc", "ID", "bought"], *[["400 resin", f"R-{n}", f"{n % 9 + 1}/{n % 11 + 1}/24"] for n in range(30)]]
    judgement = judged(csv_file(rows))

    (question,) = judgement.questions
    assert question.title == "Is “1/10/24” 10 Jan 2024 or 1 Oct 2024?"
    assert question.answers == (("mdy", "Month first"), ("dmy", "Day first"))
    assert len(question.rows) == judgement.asking_rows == 21  # nine have day and month alike
    answers = Answers()
    answers.give(question, "dmy")
    after = judged(csv_file(rows), answers=answers)
    assert after.questions == []
    assert after.things[1].bought_on == date(2024, 2, 2)
    assert after.things[9].bought_on == date(2024, 10, 1)


def test_a_persons_habit_comes_first_among_the_answers_and_decides_nothing():
    rows = [["Disc", "bought"], ["400 resin", "2/3/24"]]

    (question,) = judged(csv_file(rows), date_order="dmy").questions

    assert [key for key, _label in question.answers] == ["dmy", "mdy"]


def test_decimal_commas_are_understood_by_the_column():
    rows = [
        ["Grano", "Código", "Altura (mm)", "Área trabajada (m2)"],
        ["400 resina", "R-1", "6,9", "1.240"],
        ["400 resina", "R-2", "7,25", "980,5"],
    ]

    things = judged(csv_file(rows, ";"), units="metric").things

    assert [(item.lowest_height_mm, item.amount_value, item.worked_m2) for item in things] == [
        (6.9, "6.9", 1240.0), (7.25, "7.25", 980.5),
    ]  # fmt: skip


def test_mixed_units_in_one_column_follow_each_cell():
    rows = [
        ["Disc", "ID", "Height"],
        *[["400 resin", f"R-{n}", text] for n, text in enumerate(("0.27 in", "6.9mm", '3/8"', "0.7 cm", "3/8"))],
    ]

    assert [item.lowest_height_mm for item in judged(csv_file(rows)).things] == pytest.approx(
        [6.858, 6.9, 9.525, 7.0, 9.525]
    )


def test_heights_with_the_backing_are_kept_as_measured_and_judged_without():
    rows = [
        ["Disc", "ID", "Height with backing (mm)"],
        ["400 resin", "R-1", "12.5"],
        ["400 resin", "R-2", "15"],
        ["100 hybrid", "H-1", "9"],
    ]
    judgement = judged(csv_file(rows))

    (item,) = judgement.things
    assert (item.lowest_height_mm, item.with_backing, item.own_code) == (12.5, True, "R-1")
    assert [row for row, *_rest in refused(judgement)] == [3, 4]
    assert "The backing of Hybrid 100 is not known" in judgement.refused[1].right


def test_a_height_above_new_asks_for_the_backing():
    rows = [["Disc", "ID", "Height (mm)"], ["400 resin", "R-1", "12.5"]]
    judgement = judged(csv_file(rows), units="metric")

    (question,) = judgement.questions
    assert question.title == "Was “12.5” measured with the backing?"
    assert question.answers == (("backing", f"With the backing: 9.5{NBSP}mm left"), ("later", "Measure later"))
    answers = Answers()
    answers.give(question, "backing")
    (item,) = judged(csv_file(rows), units="metric", answers=answers).things
    assert (item.lowest_height_mm, item.with_backing, item.opening_kind) == (12.5, True, "height")


def test_a_fraction_that_cannot_be_a_height_is_what_is_left():
    rows = [["Disc", "ID", "Height (in)"], ["400 resin", "R-1", "3/4"], ["400 resin", "R-2", "1/4"]]

    first, second = judged(csv_file(rows)).questions

    assert [key for key, _label in first.answers] == ["three_quarters", "unknown"]
    assert [key for key, _label in second.answers] == ["height", "quarter", "unknown"]
    assert second.answers[0][1] == f"A height of 0.25{NBSP}in"


def test_states_in_words_become_openings_and_fitness():
    rows = [
        ["Disc", "ID", "Condition"],
        *[
            ["400 resin", f"R-{n}", text]
            for n, text in enumerate(("new", "half worn", "3/4", "?", "broken", "set aside", "lost", ""))
        ],
    ]

    assert [
        (item.opening_kind, item.retired_why, item.set_aside, item.missing) for item in judged(csv_file(rows)).things
    ] == [
        ("new", "", False, False), ("half", "", False, False), ("three_quarters", "", False, False),
        ("unknown", "", False, False), ("unknown", "broken", False, False), ("unknown", "", True, False),
        ("unknown", "", False, True), ("unknown", "", False, False),
    ]  # fmt: skip


def test_rows_that_say_the_same_are_asked_one_set_or_two():
    rows = [
        ["Disc", "Condition"],
        ["400 resin", "new"],
        ["30 metal", "new"],
        ["400 resin", "new"],
        ["400 resin", "new"],
    ]
    judgement = judged(csv_file(rows))

    assert told(judgement) == [(4, "One set or two?"), (5, "One set or two?")]
    assert judgement.questions[0].why == "Row 2 says the same, word for word."
    answers = Answers()
    answers.give(judgement.questions[0], "two", for_all_like_it=True)
    assert len(judged(csv_file(rows), answers=answers).things) == 4
    assert len({identity for row in judged(csv_file(rows), answers=answers).accepted for identity in row.ids}) == 4
    answers.give(judgement.questions[0], "one", for_all_like_it=True)
    assert len(judged(csv_file(rows), answers=answers).things) == 2


def test_the_same_file_twice_adds_nothing():
    answers = Answers(like={"twin:code": "two"})
    rows = [["Disc", "Condition"], ["400 resin", "new"], ["400 resin", "new"], ["30 metal", "half"]]
    first = judged(csv_file(rows), answers=answers)
    came_in = frozenset(row.identity for row in first.accepted)
    # Rows in another order, blank ones between, other delimiter and encoding: the same rows.
    again = [rows[0], rows[3], [], rows[1], rows[2]]

    second = judged(csv_file(again, ";", "utf-16"), answers=answers, came_in=came_in)

    assert (second.accepted, second.questions, second.refused) == ([], [], [])
    assert second.already == [2, 4, 5]


def test_the_identity_of_a_row_never_changes():
    # Kept from the first version: were it another, lists brought in before would come in a second time.
    judgement = judged(csv_file([["Disc", "ID"], ["400 resin", "R-1"]]))

    assert str(judgement.accepted[0].identity) == str(judgement.accepted[0].ids[0])
    assert str(judgement.accepted[0].identity) == "635cfc2b-754d-5b36-9110-7f8e971a6184"


def test_a_code_the_shop_has_is_asked_about():
    rows = [["Disc", "ID"], ["400 resin", "r 17"]]
    there = {code_key("R-17"): "Resin 400, rack A"}
    judgement = judged(csv_file(rows), existing=there)

    (question,) = judgement.questions
    assert question.title == "Is this the r 17 you have?"
    assert question.why == "Here already: Resin 400, rack A. This row: Resin 400, r 17."
    answers = Answers()
    answers.give(question, "same")
    left = judged(csv_file(rows), existing=there, answers=answers)
    assert (left.things, left.already) == ([], [2])
    answers.give(question, "two")
    assert [item.own_code for item in judged(csv_file(rows), existing=there, answers=answers).things] == ["r 17"]


def test_a_grit_of_two_bonds_is_asked_about_and_a_bond_column_decides():
    rows = [["Grit", "ID"], ["100", "X-1"]]

    (question,) = judged(csv_file(rows)).questions
    assert (question.title, [label for _key, label in question.answers]) == ("Which 100?", ["Resin 100", "Hybrid 100"])
    with_bond = [
        ["Grit", "Bond", "ID"],
        ["100", "hybrid", "X-1"],
        ["100", "metal", "X-2"],
        ["100 resin", "metal", "X-3"],
    ]
    judgement = judged(csv_file(with_bond))
    assert [item.tool_type for item in judgement.things] == ["h100"]
    assert [(row, heading, likely) for row, heading, _value, _right, likely in refused(judgement)] == [
        (3, "Grit", "100 resin"), (4, "Bond", "resin"),
    ]  # fmt: skip


def test_formulas_and_their_failures_are_refused_by_cell():
    rows = [
        ["Disc", "ID", "Height (in)"],
        ["400 resin", "R-1", "=B2*2"],
        ["400 resin", "#REF!", "0.2"],
        ["=cmd|x", "R-3", "0.2"],
    ]

    assert [(row, right.split(":")[0][:38]) for row, _h, _v, right, _l in refused(judged(csv_file(rows)))] == [
        (2, "Cell C2 holds a formula without its re"),
        (3, "Cell B3 holds #REF!"),
        (4, "Cell A4 holds a formula without its re"),
    ]


def test_native_cells_of_a_workbook_need_no_guessing():
    rows: list[list[Any]] = [
        ["Disc", "ID", "Height (in)", "bought", "price", "qty"],
        ["400 resin", 17, 0.27, datetime(2024, 3, 4), 310.5, 1.0],
    ]

    (item,) = judged(xlsx_file(rows)).things

    assert (item.own_code, item.lowest_height_mm, item.bought_on, item.price, item.currency) == (
        "17", 6.858, date(2024, 3, 4), Decimal("310.50"), "USD",
    )  # fmt: skip


def test_as_many_as_a_set_has_pieces_is_likely_one_set():
    (question,) = judged(csv_file([["Disc", "qty"], ["400 resin", "3"]])).questions

    assert question.answers == (("one", "One set"), ("sets", "3 sets"))


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("R-31/32", ["R-31", "R-32"]), ("R-31, R-32", ["R-31", "R-32"]), ("R-1 and R-2", ["R-1", "R-2"]),
        ("A/12", ["A/12"]),
        ("R-17", ["R-17"]), ("", []), ("R-131/32/33", ["R-131", "R-132", "R-133"]),
    ],
)  # fmt: skip
def test_codes_in_one_cell_are_split(text, codes):
    assert split_codes(text) == codes


def test_fifty_thousand_rows_are_judged_in_seconds():
    rows = [HEADING]
    for n in range(50_000):
        rows.append(
            ["400 resin", "1", f"R-{n}", f"0.{n % 20 + 15}", f"B{n % 90 + 1}", str(1000 + n), f"{n % 12 + 1}/14/24", ""]
        )
    data = csv_file(rows)
    steps: list[int] = []
    begun = time.process_time()
    sheet = read_sheet(data, "big.csv", known=SETS.known_headings())
    shop = known()
    judgement = judge(
        sheet, SETS, guess_columns(sheet, SETS, shop), shop, progress=lambda done, total: steps.append(done)
    )
    took = time.process_time() - begun

    assert len(judgement.accepted) == 50_000
    assert steps == [*range(0, 50_000, 1000), 50_000]
    assert took < 60  # 9 s of processor time when written; here only against a slip to minutes


def test_a_fraction_that_a_program_took_for_a_date_is_refused_with_the_fraction():
    rows: list[list[Any]] = [["Disc", "ID", "Height (in)"], ["400 resin", "R-1", datetime(2026, 3, 8)]]

    assert [(value, likely) for _row, _heading, value, _right, likely in refused(judged(xlsx_file(rows)))] == [
        ("2026-03-08", "3/8")
    ]


_CELL = st.one_of(
    st.text(max_size=30),
    st.integers(-(10**9), 10**9).map(str),
    st.sampled_from(
        ["1.234", "3/8", "half", "=1", "2/3/24", "400 resin", "?", "R-1/2", "~40k", '.33"', "1,2,3", "\x0b"]
    ),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(_CELL, min_size=8, max_size=8), min_size=1, max_size=6))
def test_whatever_stands_in_the_cells_every_row_ends_in_one_heap(rows):
    sheet = Sheet("a", "", HEADING, [Row(number, tuple(cells)) for number, cells in enumerate(rows, 2)])
    shop = known()

    judgement = judge(sheet, SETS, guess_columns(sheet, SETS, shop), shop)

    heaps = [
        {row.row for row in judgement.accepted},
        {number for question in judgement.questions for number in question.rows}
        | {refusal.row for refusal in judgement.refused},
        set(judgement.already),
    ]
    if not judgement.missing:
        assert sorted(number for heap in heaps for number in heap) == [row.number for row in sheet.rows]


@settings(max_examples=40, deadline=None)
@given(st.permutations(TOOLING[1:4] + [["400 resin", "", "", "", "", "", "", ""]] * 2))
def test_the_order_of_rows_does_not_change_what_they_are(rows):
    answers = Answers(like={"twin:code": "two"})

    def things(in_order):
        judgement = judged(csv_file([HEADING, *in_order]), answers=answers)
        return {(row.identity, row.items[0].own_code) for row in judgement.accepted}

    assert things(rows) == things(sorted(rows))
