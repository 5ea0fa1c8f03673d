"""Cells by shape: dates, marks, grits, words."""

from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl.utils.datetime import from_excel, to_excel

from inventory.sheets.cells import PARSERS, CellDoubt, CellWrong, Grit, Left, State
from inventory.sheets.dates import TwoDates, order_by_evidence, read_date
from inventory.sheets.evidence import height_in_inches, mark_by_evidence
from inventory.sheets.fields import Field, Reading
from inventory.sheets.specs import SETS
from inventory.units import Amount

from .shop import TODAY, known


def parse(name, cell, **reading):
    field = SETS.field(name)
    return PARSERS[field.shape](cell, field, Reading(**reading), known())


@pytest.mark.parametrize(
    "text",
    [
        "2024-05-14", "2024/5/14", "20240514", "14.05.2024", "14/5/24", "5/14/24", "14-May-24", "14 May 2024",
        "May 14, 2024", "14 de mayo de 2024", "14 mayo 2024", "may. 14 2024", "Tue 14 May 2024", "14th May 2024",
        "2024-05-14T21:30:00", "14.05.2024 21:30", "5/14/2024 9:30 PM",
    ],
)  # fmt: skip
def test_a_date_is_read_in_the_forms_people_keep(text):
    assert read_date(text) == date(2024, 5, 14)


def test_native_dates_and_serial_numbers_are_read():
    # The serial numbers are checked against openpyxl's.
    assert read_date(date(2024, 5, 14)) == date(2024, 5, 14)
    assert read_date(datetime(2024, 5, 14, 21)) == date(2024, 5, 14)
    for serial in (20_000, 45_426, 65_000):
        assert read_date(serial) == from_excel(serial).date()
    assert to_excel(date(2024, 5, 14)) == 45_426


@pytest.mark.parametrize("text", ["31/31/24", "2024-02-30", "May 2024", "soon", "", "14", 14, True, None, "1.2"])
def test_what_is_no_date_is_none(text):
    assert read_date(text) is None


@given(st.dates(date(1970, 1, 1), date(2069, 12, 31)))
def test_a_written_date_is_one_of_its_two_readings(day):
    for text, mine in ((f"{day:%d/%m/%Y}", "day_first"), (f"{day:%m/%d/%y}", "month_first")):
        read = read_date(text)

        assert (getattr(read, mine) if isinstance(read, TwoDates) else read) == day


def test_the_order_of_day_and_month_comes_from_evidence():
    def order(*cells, past=True):
        return order_by_evidence(cells, past=past, today=TODAY)

    assert order("1/12/24", "14/3/24") == "dmy"
    assert order("1/12/24", "3/14/24") == "mdy"
    assert order("14/3/24", "3/14/24") == "mixed"
    assert order("1/2/24", "3/4/24", "5/5/24") is None
    # 1 December 2026 has not come yet, 12 January 2026 has.
    assert order("1/12/26", "3/4/24") == "mdy"
    assert order("1/12/26", "3/4/24", past=False) is None
    assert order("12/1/26") == "dmy"


def test_a_date_to_come_or_long_gone_is_no_day_of_buying():
    with pytest.raises(CellWrong, match="has not come yet"):
        parse("bought", "2026-12-24")
    with pytest.raises(CellDoubt, match="really 4 Mar 2001"):
        parse("bought", "2001-03-04")


def test_the_decimal_mark_comes_from_evidence():
    assert mark_by_evidence(["0,27", "1.240"]) == ","
    assert mark_by_evidence(["12.5", "1,240"]) == "."
    assert mark_by_evidence(["1.240,5"]) == ","
    assert mark_by_evidence(["1,240,000"]) == "."
    assert mark_by_evidence(["0.125"]) == "."
    assert mark_by_evidence(["1.240", "12,400"]) is None
    assert mark_by_evidence(["1,5", "1.5"]) is None


def test_bare_heights_tell_their_unit():
    assert height_in_inches(["0.27", ".33", "0,19"]) is True
    assert height_in_inches([6.9, 8.5, "10"]) is False
    assert height_in_inches(["half", "?"]) is None


@pytest.mark.parametrize(
    ("text", "grit", "bond"),
    [
        ("400 resin", "400", "resin"), ("Resin 400", "400", "resin"), ("100 res", "100", "resin"),
        ("30 metal", "30", "metal"),
        ("#400", "400", ""), ("400R", "400", "resin"), ("30M", "30", "metal"), ("grano 200 resina", "200", "resin"),
        ("400 grit", "400", ""), ("Hybrid 100", "100", "hybrid"), ("0400", "400", ""),
        ("metal-bond 70 grit", "70", "metal"),
    ],
)  # fmt: skip
def test_a_tool_type_is_read_from_its_grit_and_bond(text, grit, bond):
    assert parse("type", text) == Grit(grit, bond, text)


def test_letters_among_digits_are_refused_with_the_likely_grit():
    with pytest.raises(CellWrong, match="this holds 2 letters among its digits") as caught:
        parse("type", "4oo resin")

    assert caught.value.likely == "400 resin"


def test_a_text_without_grit_is_refused_with_the_ladder():
    with pytest.raises(CellWrong, match="metal 30, metal 70, metal 120, resin 50"):
        parse("type", "the good ones")


@pytest.mark.parametrize(
    ("text", "kind"),
    [("half worn", "half"), ("Half", "half"), ("new", "new"), ("Nuevo", "new"), ("?", "unknown"),
    ("three quarters", "three_quarters"),
     ("mitad", "half"), ("25%", "quarter")],
)  # fmt: skip
def test_a_word_for_a_height_is_what_is_left(text, kind):
    assert parse("height", text) == Left(kind, text)


def test_a_fraction_may_be_a_height_or_what_is_left():
    left = parse("height", "3/4")

    assert isinstance(left, Left)
    assert left.kind == "three_quarters"
    assert left.as_height is not None
    assert left.as_height.si == pytest.approx(19.05)
    eighths = parse("height", "3/8")
    assert isinstance(eighths, Amount)
    assert eighths.si == pytest.approx(9.525)


def test_states_are_read():
    assert parse("state", "1/2 worn") == State(opening="half", text="1/2 worn")
    assert parse("state", 0.75) == State(opening="three_quarters", text="0.75")
    assert parse("state", "scrap") == State(fitness="worn", text="scrap")
    assert parse("state", "perdido") == State(fitness="missing", text="perdido")
    assert parse("state", "good").soft is True
    with pytest.raises(CellWrong, match="New, 3/4, half"):
        parse("state", "blue")


@pytest.mark.parametrize(
    ("text", "chance"), [("60%", 0.6), ("60 %", 0.6), (60, 0.6), (0.6, 0.6), ("0,6", 0.6), (1, 1.0)]
)
def test_a_chance_is_a_share(text, chance):
    mark = "," if "," in str(text) else None

    assert PARSERS["chance"](text, Field("c", "", "chance", ()), Reading(decimal_mark=mark), known()) == chance


def test_yes_and_no_are_read_in_both_languages():
    field = Field("x", "", "yes_no", ())
    read = [PARSERS["yes_no"](text, field, Reading(), known()) for text in ("Yes", "sí", "x", True, "no", "N", False)]

    assert read == [True, True, True, True, False, False, False]
    with pytest.raises(CellWrong, match="Yes or no"):
        PARSERS["yes_no"]("maybe", field, Reading(), known())


def test_areas_in_doubt_take_the_only_plausible_reading_else_ask():
    assert parse("worked", "12,400", unit="ft2").value == 12_400
    assert parse("worked", "8.900 m2").value == 8_900
    with pytest.raises(CellDoubt) as caught:
        parse("worked", "234.567 m2")
    assert [answer.key for answer in caught.value.answers] == ["whole", "part"]
    with pytest.raises(CellDoubt, match="really 2,000,000"):
        parse("worked", "2000000", unit="ft2")
    with pytest.raises(CellWrong, match="more than anybody polishes"):
        parse("worked", "900000000", unit="ft2")
    with pytest.raises(CellWrong, match="no floor"):
        parse("worked", "-5", unit="ft2")


def test_a_letter_in_a_number_is_refused_with_the_likely_number():
    with pytest.raises(CellWrong, match="“62ooo” cannot be read") as caught:
        parse("worked", "62ooo", unit="ft2")

    assert caught.value.likely == "62000"
