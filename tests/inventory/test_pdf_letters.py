"""Letters that PDFs can print, and what becomes of the others."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.pdf_letters import lost, printable


@pytest.mark.parametrize(
    ("words", "printed"),
    [
        ("Año “Söhne” ’ … — € ½ ² µ", "Año “Söhne” ’ … — € ½ ² µ"),  # all in Windows-1252
        ("Łódź, Żółty", "Lódz, Zólty"),
        ("Příliš žluťoučký kůň", "Príliš žlutoucký kun"),  # š and ž are in Windows-1252, ř ť č ů ň are not
        ("İstanbul, Iğdır, Đorđe", "Istanbul, Igdir, Dorde"),
        ("⅜ in, 1⅝ in", "3/8 in, 1 5/8 in"),
        ("x ≥ 3 → −4", "x >= 3 -> -4"),
        ("12\u202f000", "12\u00a0000"),
        ("e\u0301", "e"),
        ("漢字 Я", "?? ?"),
    ],
)  # fmt: skip
def test_letters_are_printed_as_near_as_the_faces_can(words, printed):
    assert printable(words) == printed


def test_letters_that_cannot_be_printed_are_told_each_once():
    assert lost("漢字, 漢 ř?") == "漢字"


@given(st.text())
def test_whatever_is_written_can_be_printed(words):
    printable(words).encode("cp1252")
    assert printable(printable(words)) == printable(words)
