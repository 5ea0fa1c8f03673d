"""The gauge and the ladder notch: what is drawn for which state. The rules are those of SCREENS 3 and 4."""

import re
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.gauge import (
    STATES,
    GaugeFace,
    bond_path,
    gauge,
    gauge_body,
    gauge_defs,
    hatch_id,
    notch,
    px,
    shared_shapes,
)

HALF: dict[str, Any] = {"at_least": 0.4, "likely": 0.5, "up_to": 0.6}


def drawn(**facts):
    return gauge_body(GaugeFace(6, 10, **{**HALF, **facts}), 26, 48)


def test_metal_has_cut_corners():
    assert bond_path("metal", 26, 48) == "M0 48V5L5 0H21L26 5V48Z"


def test_the_cut_of_a_narrow_metal_gauge_follows_its_width():
    assert bond_path("metal", 10, 40) == "M0 40V2.6L2.6 0H7.4L10 2.6V40Z"


def test_resin_is_round():
    assert bond_path("resin", 26, 48) == "M0 48V9A9 9 0 0 1 9 0H17A9 9 0 0 1 26 9V48Z"


def test_a_narrow_resin_gauge_ends_in_a_half_circle():
    assert bond_path("resin", 10, 40) == "M0 40V5A5 5 0 0 1 5 0H5A5 5 0 0 1 10 5V40Z"


def test_hybrid_is_cut_left_and_round_right():
    assert bond_path("hybrid", 26, 48) == "M0 48V5L5 0H17A9 9 0 0 1 26 9V48Z"


def test_life_is_solid_to_at_least_hatched_to_up_to_and_lined_at_likely():
    body = drawn()

    assert '<path d="M0 48V28.8H26V48Z"/>' in body
    assert '<path class="g-h" fill="url(#h6-10-4)" d="M0 28.8V19.2H26V28.8Z"/>' in body
    assert '<path class="g-l" d="M-2 24H28"/>' in body


def test_the_likely_line_of_a_small_gauge_overhangs_by_one():
    assert 'd="M-1 20H11"' in gauge_body(GaugeFace(0, 4, **HALF), 10, 40)


@pytest.mark.parametrize(("width", "pitch"), [(8, 3), (15.9, 3), (16, 4), (60, 4), (61, 6)])
def test_the_hatch_follows_the_width(width, pitch):
    assert hatch_id(2, 7, width) == f"h2-7-{pitch}"


@pytest.mark.parametrize(
    ("facts", "mark"),
    [
        ({"water": "conditioned"}, 'class="g-d"'),
        ({"water": "soaked"}, 'class="g-dh"'),
        ({"water": "soaked"}, "url(#rip)"),
        ({"water": "soaking"}, "url(#rip)"),
        ({"aside": True}, 'class="g-b"'),
        ({"glazed": True}, 'class="g-g"'),
        ({"where": "missing"}, '<g class="g-gone">'),
        ({"where": "missing"}, ">?</text>"),
        ({"out": True}, '<g class="g-out">'),
        ({"leaves": True}, 'class="g-t"'),
        ({"need": 0.55, "enough": "tight"}, 'class="g-n tight"'),
        ({"need": 0.9, "enough": "no"}, 'class="g-n"'),
    ],
)
def test_a_state_has_its_shape(facts, mark):
    assert mark in drawn(**facts)
    assert mark not in drawn()


def test_a_dry_set_has_no_drop():
    assert drawn(water="dry") == drawn()


def test_a_missing_set_shows_no_life():
    body = drawn(missing=True)

    assert "g-l" not in body
    assert "url(#h" not in body


def test_the_name_is_escaped_and_read():
    whole = gauge(GaugeFace(6, 10, name='GL-7K2M46, "spare" <400>', **HALF))

    assert ElementTree.fromstring(whole).get("aria-label") == 'GL-7K2M46, "spare" <400>'


def test_a_gauge_without_a_name_is_decoration():
    assert 'aria-hidden="true"' in gauge(GaugeFace(6, 10, **HALF))


def test_no_drawing_carries_a_style_of_its_own():
    everything = gauge_defs(10) + shared_shapes("d", 26, 48) + drawn(water="soaked", glazed=True, aside=True, need=0.5)

    assert "style" not in everything


def test_levels_out_of_order_are_refused():
    with pytest.raises(ValueError, match="`at_least` <= `likely` <= `up_to` must hold"):
        GaugeFace(0, 4, at_least=0.6, likely=0.5, up_to=0.7)


def test_a_place_outside_the_ladder_is_refused():
    with pytest.raises(ValueError, match=r"`ladder_place` must lie in 0..3, got 4"):
        GaugeFace(4, 4)


shares = st.lists(st.floats(0, 1.4), min_size=3, max_size=3).map(sorted)


@given(shares, st.sampled_from(["metal", "hybrid", "resin"]), st.integers(8, 70), st.integers(24, 200))
def test_every_life_is_drawn_inside_the_outline(life, bond, width, height):
    low, likely, high = life
    body = gauge_body(GaugeFace(1, 5, bond, low, likely, high), width, height)

    assert ElementTree.fromstring(f"<svg>{body}</svg>") is not None
    for path in re.findall(r'<path (?:class="g-h" fill="[^"]*" )?d="(M[^"]*Z)"', body):
        levels = [float(level) for level in re.findall(r"V(-?[0-9.]+)", path)]
        assert min(levels) >= 0
        assert max(levels) <= height


def test_each_hatch_stands_once_and_parses():
    root = ElementTree.fromstring(gauge_defs(16))

    names = [pattern.get("id") for pattern in root.iter("pattern")]
    assert len(names) == len(set(names)) == 16 * 3 + 6


def test_the_notch_has_a_tick_for_every_place():
    path = ElementTree.fromstring(notch(6, 10))[0].attrib["d"]

    assert path.count("M") == 10
    assert path.count("h4V") == 1


def test_a_notch_outside_its_ladder_is_refused():
    with pytest.raises(ValueError, match=r"`place` must lie in 0..9, got 10"):
        notch(10, 10)


@pytest.mark.parametrize(
    ("value", "text"), [(0, "0"), (-0.04, "0"), (0.5, ".5"), (12.04, "12"), (-0.5, "-.5"), (100, "100"), (9.96, "10")]
)
def test_lengths_are_written_short(value, text):
    assert px(value) == text


def test_every_state_has_a_mark_in_the_sprite():
    from django.template.loader import render_to_string

    sprite = render_to_string("parts/marks.svg")

    assert [look.mark for look in STATES.values() if f'id="m-{look.mark}"' not in sprite] == []
