"""The rack: groups, shelves, pitch, folding, bytes. The rules are those of SCREENS 4."""

import gzip
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.gauge import GaugeFace
from inventory.rack_picture import RackGauge, RackRow, arranged, rack_picture
from tests.browser.rack_sample import sample_rows


def one(code, likely=0.5, **facts):
    return RackGauge(
        GaugeFace(2, 10, "resin", likely, likely, likely, name=f"{code}, resin 120", **facts), code, f"/s/{code}"
    )


def row(*gauges, **facts):
    return RackRow("120", "resin · 3 sets", "/rack/120", 2, 10, gauges, **facts)


def links(svg):
    return ElementTree.fromstring(svg).findall(".//a")


def test_sets_stand_by_group_then_conditioned_then_most_life():
    gauges = [
        one("A", 0.9),
        one("B", 0.2, water="conditioned"),
        one("C", 0.7, water="conditioned"),
        one("D", where="missing"),
        one("E", where="out"),
        one("F", where="in_water", water="soaking"),
        one("G", where="aside"),
        one("H", glazed=True),
        one("I", 0.95, where="out"),
    ]

    groups = [(name, [gauge.code for gauge in sets]) for name, sets in arranged(gauges)]

    assert groups == [
        ("here", ["C", "B", "A"]),
        ("in_water", ["F"]),
        ("out", ["I", "E"]),
        ("aside", ["G", "H"]),
        ("missing", ["D"]),
    ]


def test_each_set_is_a_named_link_and_one_of_them_is_the_tab_stop():
    rack = rack_picture([row(one("GL-7K2M46"), one("GL-8KR4H1")), row(one("GL-Q83ZHM"))])

    found = [link for drawn in rack.rows for link in links(drawn.middle)]
    assert [(link.get("href"), link.get("tabindex")) for link in found] == [
        ("/s/GL-7K2M46", "0"),
        ("/s/GL-8KR4H1", "-1"),
        ("/s/GL-Q83ZHM", "-1"),
    ]
    assert found[0].get("aria-label") == "GL-7K2M46, resin 120"


def test_an_empty_row_leaves_the_tab_stop_to_the_next():
    rack = rack_picture([row(), row(one("GL-Q83ZHM"))])

    assert [link.get("tabindex") for link in links(rack.rows[1].middle)] == ["0"]


def test_a_small_rack_shows_the_end_of_the_code_below():
    rack = rack_picture([row(one("GL-7K2M46"))])

    assert rack.pitch == 44
    assert ">M46</text>" in rack.rows[0].middle


def test_a_full_rack_narrows_the_pitch_and_hides_the_codes():
    rack = rack_picture([row(*[one(f"GL-{at:06}") for at in range(60)])])

    assert 11.6 <= rack.pitch < 30
    assert "r-code" not in rack.rows[0].middle


@pytest.mark.parametrize(
    ("sets", "shelves", "folded"), [(70, 1, False), (100, 2, False), (140, 2, False), (400, 1, True)]
)
def test_more_than_a_shelf_holds_goes_on_a_second_and_more_is_folded(sets, shelves, folded):
    drawn = rack_picture([row(*[one(f"GL-{at:06}") for at in range(sets)])]).rows[0]

    assert drawn.folded is folded
    assert drawn.middle.count('class="shelf"') == shelves


@pytest.mark.parametrize(
    ("where", "css"),
    [
        ("here", 'class="shelf"'),
        ("in_water", 'class="shelf in-water"'),
        ("out", 'class="shelf out"'),
        ("aside", 'class="shelf aside"'),
        ("missing", 'class="shelf missing"'),
    ],
)
def test_each_group_has_its_shelf(where, css):
    assert css in rack_picture([row(one("A", where=where))]).rows[0].middle


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 160))
def test_nothing_stands_outside_of_the_picture(count):
    drawn = rack_picture(
        [row(*[one(f"GL-{at:06}", where=("here", "out", "aside")[at % 3]) for at in range(count)])]
    ).rows[0]

    for svg, width in ((drawn.middle, 888), (drawn.phone, 262)):
        moves = [part.get("transform", "") for part in ElementTree.fromstring(svg).iter()]
        lefts = [float(move[10:-1]) for move in moves if move.startswith("translate(") and " " not in move]
        assert all(0 <= left < width - 7 for left in lefts)


def test_six_hundred_gauges_are_about_250_kilobytes_and_20_compressed():
    rows = sample_rows(600)
    picture = "".join(drawn.middle for drawn in rack_picture(rows).rows)

    assert len(picture) < 260_000
    assert len(gzip.compress(picture.encode())) < 30_000


@pytest.mark.parametrize("count", [3000, 10_000])
def test_a_crowded_rack_folds_so_that_its_bytes_do_not_grow(count):
    rack = rack_picture(sample_rows(count))

    assert all(drawn.folded for drawn in rack.rows)
    assert len("".join(drawn.middle + drawn.phone for drawn in rack.rows)) < 110_000


def test_the_bar_of_life_here_has_one_scale_for_all_rows():
    rack = rack_picture(
        [row(one("A"), life=(50.0, 75.0, 100.0), need=60.0), row(one("B"), life=(100.0, 150.0, 200.0), need=None)]
    )

    assert 'd="M1 8h46v11h-46z"' in rack.rows[0].bar
    assert 'd="M1 8h92v11h-92z"' in rack.rows[1].bar
    assert "r-need" in rack.rows[0].bar
    assert "r-need" not in rack.rows[1].bar


def test_what_a_set_is_called_cannot_break_the_page():
    odd = replace(one("A"), face=replace(one("A").face, name='"><script>'))

    assert links(rack_picture([row(odd)]).rows[0].middle)[0].get("aria-label") == '"><script>'


def test_the_words_of_need_have_their_colour():
    rack = rack_picture([row(one("A"), cover=cover) for cover in ("covers", "may_run_short", "short", "")])

    assert [drawn.cover_class for drawn in rack.rows] == ["", "dry", "stop", ""]
