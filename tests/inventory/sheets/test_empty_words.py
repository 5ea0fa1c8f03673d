"""Cells that say there is nothing to say, heights in words, and the day a set was bought as words."""

from datetime import date

import pytest
from django.utils import translation

from inventory.sheets.bought import bought_on, bought_words
from inventory.sheets.outcome import Answers
from inventory.sheets.specs import SETS

from .shop import csv_file, judged

HEADS = ["Disc", "ID", "Height (mm)", "Price", "Bought"]


@pytest.mark.parametrize("word", ["n/a", "-", "–", "N/A", "none"])
def test_a_price_that_says_there_is_none_is_an_empty_cell(word):
    (item,) = judged(csv_file([HEADS, ["400 resin", "R-1", "6.4", word, ""]]), SETS).things
    assert (item.price, item.lowest_height_mm) == (None, 6.4)


def test_a_day_that_says_there_is_none_is_an_empty_cell():
    (item,) = judged(csv_file([HEADS, ["400 resin", "R-1", "6.4", "310", "n/a"]]), SETS).things
    assert item.bought_on is None


def test_a_height_of_nothing_stays_a_height_nobody_knows():
    (item,) = judged(csv_file([HEADS, ["400 resin", "R-1", "-", "310", ""]]), SETS).things
    assert (item.opening_kind, item.lowest_height_mm) == ("unknown", None)


def test_an_emptied_cell_leaves_the_value_out_and_the_row_in():
    rows = [HEADS, ["400 resin", "R-1", "6.4", "ask Ines", ""]]
    assert [one.cell for one in judged(csv_file(rows), SETS).refused] == ["2:D"]
    (item,) = judged(csv_file(rows), SETS, answers=Answers(cells={"2:D": ""})).things
    assert item.price is None


def test_a_height_in_a_word_that_is_no_measure_can_be_measured_later():
    rows = [HEADS, ["400 resin", "R-1", "thick", "310", ""], ["400 resin", "R-2", "6.4", "310", ""]]
    judgement = judged(csv_file(rows), SETS)
    (question,) = judgement.questions
    assert (question.title, dict(question.answers)["unknown"]) == ("How high is “thick”?", "Measure later")
    later = judged(csv_file(rows), SETS, answers=Answers(like={"left:thick": "unknown"}))
    assert [item.opening_kind for item in later.things] == ["unknown", "height"]


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("month", range(1, 13))
def test_the_day_a_set_was_bought_is_read_back_from_its_words(language, month):
    day = date(2026, month, 4)
    with translation.override(language):
        words = bought_words(day)
    assert bought_on(f"{words}; worked 3,000 ft² before, by the list") == day
    assert bought_on("worked before") is None
