"""Units: exact factors (NIST Handbook 44, App. C; rows U1 to U8 of the references), reading, showing, limits."""

from decimal import Decimal
from fractions import Fraction

import pytest
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st

from inventory.units import (
    NBSP,
    UNITS,
    Amount,
    AmountNotRead,
    Doubt,
    Money,
    NumberDoubt,
    find_unit,
    from_si,
    judge_area,
    judge_height,
    judge_passes,
    judge_temperature,
    read_area,
    read_count,
    read_height,
    read_hours,
    read_length,
    read_money,
    read_number,
    read_speed,
    read_temperature,
    read_volume,
    show_area,
    show_height,
    show_hours,
    show_money,
    show_number,
    show_range,
    show_temperature,
    to_si,
)


@pytest.mark.parametrize(
    ("code", "factor"),
    [
        ("ft2", Fraction(145161, 1562500)),  # U1
        ("gal", Fraction(3785411784, 10**9)),  # U2: 231 cubic inches
        ("mph", Fraction(268224, 10000)),  # U5
        ("in", Fraction(254, 10)),  # U6
        ("ft", Fraction(3048, 10000)),  # U6
        ("F", Fraction(5, 9)),  # U8
    ],
)
def test_a_factor_is_the_exact_one(code, factor):
    assert UNITS[code].factor == factor


def test_a_gallon_is_231_cubic_inches():
    inch_in_decimetres = Fraction(254, 1000)

    assert UNITS["gal"].factor == 231 * inch_in_decimetres**3


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [(32, 0), (68, 20), (120, 440 / 9), (130, 490 / 9), (140, 60), (150, 590 / 9)]
)
def test_fahrenheit_becomes_celsius_as_in_the_table(fahrenheit, celsius):
    # U8
    assert to_si(fahrenheit, "F") == celsius


@given(st.sampled_from(sorted(UNITS)), st.floats(min_value=-1e9, max_value=1e9, allow_nan=False))
def test_a_value_comes_back_from_si_as_it_went_in(code, value):
    assert from_si(to_si(value, code), code) == pytest.approx(value, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("1,112,400 sq ft", "ft2", "1112400"),
        ("12400 SF", "ft2", "12400"),
        ("12 400 ft²", "ft2", "12400"),
        ("12\u202f400 sq. ft.", "ft2", "12400"),
        ("12'400 m2", "m2", "12400"),
        ("12’400,5 m²", "m2", "12400.5"),
        ("1.240.000,5 m2", "m2", "1240000.5"),
        ("1,240,000.5m2", "m2", "1240000.5"),
        ("250,5 metros cuadrados", "m2", "250.5"),
        ("4500 pies cuadrados", "ft2", "4500"),
        ("96000", "ft2", "96000"),
        ("0.125", "ft2", "0.125"),
        ("110k", "ft2", "110000"),
        ("2.5k sf", "ft2", "2500"),
        ("1/2 m2", "m2", "0.5"),
    ],
)
def test_an_area_is_read_as_people_write_it(text, unit, value):
    amount = read_area(text, "ft2")

    assert (amount.unit, amount.value) == (unit, Decimal(value))
    assert amount.si == to_si(Fraction(value), unit)


def test_a_rough_figure_is_kept_as_rough():
    assert read_area("~40k", "ft2") == Amount(3716.1216, Decimal(40000), "ft2", about=True)


@pytest.mark.parametrize(
    ("text", "mm", "unit"),
    [
        ("0.27", 6.858, "in"),
        ('.33"', 8.382, "in"),
        ("3/8", 9.525, "in"),
        ("1 1/4 in", 31.75, "in"),
        ("1-1/4”", 31.75, "in"),
        ("⅜ inch", 9.525, "in"),
        ("1½ in.", 38.1, "in"),
        ("0,5 pulgadas", 12.7, "in"),
        ("8.5mm", 8.5, "mm"),
        ("6,9 mm", 6.9, "mm"),
        ("0.9 cm", 9.0, "mm"),
        ("0,275''", 6.985, "in"),
    ],
)
def test_a_height_is_read_as_people_write_it(text, mm, unit):
    amount = read_height(text, "in")

    assert amount.si == mm
    assert amount.unit == ("cm" if "cm" in text else unit)


def test_a_bare_fraction_is_inches_for_somebody_who_types_millimetres():
    assert read_height("3/8", "mm") == Amount(9.525, Decimal("0.375"), "in")
    assert read_height("9", "mm") == Amount(9.0, Decimal(9), "mm")


def test_of_two_readings_of_a_height_the_possible_one_is_taken():
    assert read_height("1.234", "in").value == Decimal("1.234")
    assert read_height("6,858", "mm").value == Decimal("6.858")


@pytest.mark.parametrize("text", ["1.234", "1,234", "12,400 ft2"])
def test_a_mark_before_three_digits_is_a_doubt(text):
    with pytest.raises(Doubt) as caught:
        read_area(text, "ft2")

    digits = text.removesuffix(" ft2")
    assert [reading.value for reading in caught.value.readings] == [
        Decimal(digits.replace(",", "").replace(".", "")),
        Decimal(digits.replace(",", ".")),
    ]


@pytest.mark.parametrize(("mark", "value"), [(".", "1234"), (",", "1.234")])
def test_the_persons_own_mark_settles_the_doubt(mark, value):
    assert read_area("1,234", "ft2", decimal_mark=mark).value == Decimal(value)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "  ",
        "half",
        "4oo",
        "1,23,4",
        "1.2.3",
        "12 34",
        "3/0",
        "--4",
        "1e5",
        "12 apples",
        "NaN",
        "9" * 80,
        ",",
        "1'23",
    ],
)
def test_what_is_no_area_is_refused_in_words(text):
    with pytest.raises(AmountNotRead) as caught:
        read_area(text, "ft2")

    assert not isinstance(caught.value, Doubt)
    assert caught.value.sentence.endswith(".")


def test_a_refusal_names_the_value_and_shows_what_would_be_right():
    with pytest.raises(AmountNotRead) as caught:
        read_height("4oo", "in")

    assert caught.value.sentence == "“4oo” cannot be read. Type it like 0.27 in."


@pytest.mark.parametrize(
    ("typed", "metres"),
    [
        # An inch is 0.0254 m and a foot 0.3048 m exactly (NIST Handbook 44, Appendix C).
        ("36 in", 0.9144), ('36"', 0.9144), ("36 inches", 0.9144), ("36 pulgadas", 0.9144), ("31 1/2 in", 0.8001),
        ("3", 0.9144), ("3 ft", 0.9144), ("2 ft 6 in", 0.762), ("2' 6\"", 0.762), ("2'6 1/2\"", 0.7747),
        ("90 cm", 0.9), ("762 mm", 0.762), ("0.9 m", 0.9), ("1 yd", 0.9144),
    ],
)  # fmt: skip
def test_a_length_takes_any_written_unit(typed: str, metres: float):
    assert read_length(typed, "ft").si == pytest.approx(metres, rel=1e-12)


def test_a_length_without_unit_is_in_the_persons_and_a_volume_is_no_length():
    assert read_length("36", "m").si == 36.0
    assert read_length("36", "in").si == pytest.approx(0.9144)
    for wrong in ("36 gal", "2 ft 14 in", "wide"):
        with pytest.raises(AmountNotRead):
            read_length(wrong, "ft")


def test_other_amounts_are_read():
    assert read_temperature("130 °F").si == to_si(130, "F")
    assert read_temperature("54,4 °C").value == Decimal("54.4")
    assert read_temperature("-3", "C").si == -3.0
    assert read_length("320'").unit == "ft"
    assert read_length("97.5 metros").si == 97.5
    assert read_volume("5 gal").si == 18.92705892
    assert read_speed("1 mph").si == 26.8224
    assert read_hours("3:30").si == 3.5
    assert read_hours("3 h 30").si == 3.5
    assert read_hours("90 min").si == 1.5
    assert read_hours("2 días").si == 48.0
    assert read_count("2 pcs") == 2
    assert read_count("dos") == 2
    assert read_count(2.0) == 2
    assert find_unit("sq. ft", "area") == "ft2"
    assert find_unit("loads", "area") is None


@pytest.mark.parametrize("text", ["1.5", "a few", "1/2", ""])
def test_a_count_is_whole(text):
    with pytest.raises(AmountNotRead, match="not a whole number"):
        read_count(text)


@pytest.mark.parametrize(
    ("text", "money"),
    [
        ("$310", Money(Decimal("310.00"), "USD")),
        ("1.240,50 €", Money(Decimal("1240.50"), "EUR")),
        ("310 MXN", Money(Decimal("310.00"), "MXN")),
        ("EUR 12", Money(Decimal("12.00"), "EUR")),
        ("1,240.5", Money(Decimal("1240.50"), "USD")),
        (310, Money(Decimal("310.00"), "USD")),
    ],
)
def test_money_is_read(text, money):
    assert read_money(text) == money


def test_money_below_zero_in_parts_of_a_cent_or_in_doubt_is_refused():
    for text in ("-3", "1.2345", "dear"):
        with pytest.raises(AmountNotRead):
            read_money(text)
    with pytest.raises(NumberDoubt):
        read_money("$1.240")


@given(st.decimals(min_value=0, max_value=10**9, places=2, allow_nan=False, allow_infinity=False))
def test_a_shown_number_is_read_back_in_both_languages(value):
    for language, mark in (("en", "."), ("es", ",")):
        with translation.override(language):
            shown = show_number(value, 2)

        assert read_number(shown, mark).value == Fraction(value)


def test_amounts_are_shown_in_the_persons_units():
    assert show_area(96_000 * 0.09290304, "us") == f"96,000{NBSP}ft²"
    assert show_area(1151.9976, "metric") == f"1,152{NBSP}m²"
    assert show_height(6.858, "us") == f"0.27{NBSP}in"
    assert show_height(6.858, "metric") == f"6.9{NBSP}mm"
    assert show_temperature(490 / 9, "us") == f"130{NBSP}°F"
    assert show_temperature(490 / 9, "metric") == f"54.4{NBSP}°C"
    assert show_hours(60) == f"60{NBSP}h"
    assert show_hours(31.5) == f"31.5{NBSP}h"
    assert show_hours(2 / 3) == f"40{NBSP}min"
    assert show_money(Decimal("318.00"), "USD") == "$318"
    assert show_money(Decimal("1318.5"), "USD") == "$1,318.50"
    assert show_money(Decimal("-64"), "USD") == "\u2212$64"
    assert show_range(89_111 * 0.09290304, 152_400 * 0.09290304, "us") == f"89,100 to 152,000{NBSP}ft²"
    assert show_range(0, 0, "metric") == f"0{NBSP}m²"


def test_spanish_marks_follow_the_language():
    with translation.override("es"):
        assert show_number(Decimal("1234.5"), 1) == f"1{NBSP}234,5"
        assert show_money(Decimal("1240.5"), "EUR") == f"1{NBSP}240,50{NBSP}€"


def test_areas_are_asked_above_plausible_and_refused_above_possible():
    assert judge_area(500, "us").answer == "ok"
    assert judge_area(0, "us").sentence == f"0{NBSP}ft² is no floor. Type an area above zero."
    assert judge_area(-5, "metric").answer == "refuse"
    assert judge_area(0, "us", "worked").answer == "ok"
    assert judge_area(20_000, "metric").answer == "ask"
    assert judge_area(2_000_000, "metric").answer == "refuse"
    assert (
        judge_area(124_000 * 0.09290304, "us", floor_m2=12_400 * 0.09290304).sentence
        == f"124,000{NBSP}ft² is 10 times this floor. Correct it, or keep it if right."
    )


def test_heights_are_held_against_the_type():
    assert judge_height(6.9, "us", new_height_mm=10, retire_height_mm=2).answer == "ok"
    assert judge_height(10.5, "us", new_height_mm=10).answer == "ok"
    assert judge_height(11.0, "us", new_height_mm=10).answer == "refuse"
    assert judge_height(11.0, "us", new_height_mm=10, backing_mm=3).answer == "ask"
    assert judge_height(1.0, "us", new_height_mm=10, retire_height_mm=2).answer == "ask"
    assert judge_height(-1.0, "us").answer == "refuse"
    assert judge_height(500, "metric").answer == "refuse"


def test_water_is_between_ice_and_steam():
    assert [judge_temperature(t, "us").answer for t in (-1, 0.5, 20, 80, 101)] == [
        "refuse", "ask", "ok", "ask", "refuse",
    ]  # fmt: skip
    assert [judge_passes(n).answer for n in (0, 6, 20, 500)] == ["refuse", "ok", "ask", "refuse"]


@pytest.mark.parametrize(
    "read", [read_area, read_height, read_hours, read_length, read_speed, read_temperature, read_volume]
)
@pytest.mark.parametrize(
    "text", ["1" * 23, "9" * 29, "9" * 40, "-" + "9" * 30, "1" * 20 + "k", "9" * 30 + ".123", 1e300]
)
def test_an_amount_of_more_digits_than_anything_has_is_refused_in_words(read, text):
    with pytest.raises(AmountNotRead, match="is more than anything here can be"):
        read(text, decimal_mark=".")


def test_a_price_of_thirty_digits_is_refused_and_a_long_tail_of_decimals_is_rounded():
    with pytest.raises(AmountNotRead, match="is more than anything here can be"):
        read_money("9" * 30)
    assert read_length("1." + "3" * 40, "m", ".").value == Decimal("1.333333")
    assert read_area("999,999,999,999", "m2").si == 999_999_999_999.0
