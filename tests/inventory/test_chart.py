"""Charts: where things lie, which shapes and names they have."""

import itertools
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.chart import Chart, nice_ticks, range_bar


def chart(**more):
    return Chart(300, 200, (0, 10), (0, 100), left=50, top=20, right=50, bottom=30, **more)


@pytest.mark.parametrize(("low", "high", "about", "ticks"), [
    (0, 10, 6, [0, 2, 4, 6, 8, 10]), (0, 300_000, 7, [0, 50_000, 100_000, 150_000, 200_000, 250_000, 300_000]),
    (0.08, 0.39, 4, [0.2]), (2, 9.7, 5, [2, 4, 6, 8]), (-5, 5, 3, [-5, 0, 5]),
])  # fmt: skip
def test_ticks_are_round(low, high, about, ticks):
    assert nice_ticks(low, high, about) == ticks


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6), st.integers(2, 12))
def test_ticks_lie_within_and_are_evenly_spaced(low, wide, about):
    ticks = nice_ticks(low, low + wide, about)
    gaps = {round((b - a) / wide, 6) for a, b in itertools.pairwise(ticks)}

    assert all(low - wide * 1e-6 <= tick <= low + wide * (1 + 1e-6) for tick in ticks)
    assert len(gaps) <= 1
    assert len(ticks) <= about + 1


@pytest.mark.parametrize(("low", "high", "about", "why"), [(1, 1, 5, "above `low`"), (0, 1, 1, "2 or more")])
def test_ticks_of_nothing_are_refused(low, high, about, why):
    with pytest.raises(ValueError, match=why):
        nice_ticks(low, high, about)


def test_a_value_lies_where_its_share_of_the_frame_is():
    drawing = chart()

    assert [drawing.x(value) for value in (0, 5, 10)] == [50, 150, 250]
    assert [drawing.y(value) for value in (0, 50, 100)] == [170, 95, 20]


def test_a_frame_without_extent_is_refused():
    with pytest.raises(ValueError, match="the end of `y` must be above its start, got 3 and 3"):
        Chart(100, 100, (0, 1), (3, 3))


def test_a_line_a_stair_and_a_band_are_drawn_at_their_places():
    drawing = chart()
    drawing.line([(0, 0), (10, 100)])
    drawing.stairs([(0, 0), (5, 100)], "life")
    drawing.band([(0, 0), (10, 0)], [(0, 50), (10, 100)], hatch="h6-10-4")
    paths = [path.get("d") for path in ElementTree.fromstring(drawing.svg("x"))]

    assert paths == ["M50 170L250 20", "M50 170L150 170L150 20", "M50 95L250 20L250 170L50 170Z"]


def test_a_chart_is_one_picture_with_one_sentence():
    drawing = chart(ramp="ramp-6-of-10")
    drawing.words(5, 50, 'need, "added up" <here>', "bold")
    root = ElementTree.fromstring(drawing.svg("Need climbs past the life here in June.", "wide-only"))

    assert root.get("role") == "img"
    assert root.get("aria-label") == "Need climbs past the life here in June."
    assert root.get("class") == "chart ramp-6-of-10 wide-only"
    assert root[0].text == 'need, "added up" <here>'


def test_the_words_of_a_mark_stand_on_its_free_side():
    drawing = chart()
    drawing.mark(1, "order today")
    drawing.mark(9, "today")
    anchors = [part.get("text-anchor") for part in ElementTree.fromstring(drawing.svg("x")) if part.tag == "text"]

    assert anchors == [None, "end"]


def test_a_range_is_solid_hatched_and_lined():
    bar = range_bar(50, 75, 100, 200, width=200, ramp="ramp-1-of-4", hatch="h1-4-4")

    assert '<path class="solid" d="M1 4h50v11h-50z"/>' in bar
    assert '<path fill="url(#h1-4-4)" d="M51 4h50v11h-50z"/>' in bar
    assert '<path class="r-need" d="M76 1V18"/>' in bar


def test_a_range_out_of_order_is_refused():
    with pytest.raises(ValueError, match="must hold, got 5, 4, 6, 10"):
        range_bar(5, 4, 6, 10)


def test_no_chart_carries_a_style_of_its_own():
    drawing = chart()
    drawing.grid([(0, "0"), (50, "50")])
    drawing.foot([(0, "0k"), (10, "10k")], "Reference area")
    drawing.point(3, 40, 35, 45)
    drawing.span(5, 2, 4, 6)
    drawing.ring(4, 40)
    drawing.stair_band([(0, 10), (5, 20)], [(0, 30), (5, 60)], css="band-80")

    assert "style" not in drawing.svg("x")
