"""The ramp, the tokens and their contrasts. Check values: SCREENS 2; contrast: WCAG 2.2."""

import itertools
import re
from collections.abc import Mapping
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.colour import MOST_PLACES, contrast, linear, oklab, ramp, ramp_colour, ramp_css, words_on

STATIC = Path(__file__).resolve().parents[2] / "inventory" / "static" / "inventory"


def test_a_ladder_of_four_has_the_colours_of_the_design():
    assert ramp(4) == ["#5C1551", "#5C539D", "#4493C2", "#66CBC5"]


def test_a_ladder_of_ten_has_the_colours_of_the_design():
    assert ramp(10) == (
        ["#5C1551", "#5F2A6D", "#5F3E87", "#5C539D", "#5568AE", "#4C7EBB", "#4493C2", "#44A7C6", "#4FBAC6", "#66CBC5"]
    )


def test_a_ladder_of_one_takes_the_middle():
    assert ramp_colour(0, 1) == ramp_colour(1, 3)


@pytest.mark.parametrize(("place", "count"), [(-1, 4), (4, 4), (0, 0)])
def test_a_place_outside_the_ladder_is_refused(place, count):
    with pytest.raises(ValueError, match="`place` must lie in"):
        ramp_colour(place, count)


def test_a_colour_written_otherwise_is_refused():
    with pytest.raises(ValueError, match="written #RRGGBB, got 'plum'"):
        linear("plum")


@pytest.mark.parametrize("night", [False, True])
@pytest.mark.parametrize("count", range(2, MOST_PLACES + 1))
def test_light_rises_with_fineness_so_grey_print_keeps_the_order(count, night):
    lightness = [oklab(linear(colour))[0] for colour in ramp(count, night=night)]

    assert lightness == sorted(lightness)
    assert len(set(lightness)) == count


def test_oklab_of_known_colours():
    # B. Ottosson, "A perceptual color space for image processing" (2020), table of XYZ pairs; red and blue as widely
    # computed from its matrices (values from memory, three places).
    assert oklab(linear("#FFFFFF")) == pytest.approx((1.0, 0.0, 0.0), abs=1e-4)
    assert oklab(linear("#FF0000")) == pytest.approx((0.628, 0.225, 0.126), abs=1e-3)
    assert oklab(linear("#0000FF")) == pytest.approx((0.452, -0.032, -0.312), abs=1e-3)


def test_contrast_of_black_and_white_is_the_greatest():
    # WCAG 2.2, definition of contrast ratio: from 1 to 21.
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.01)  # the well-known nearest grey below 4.5


channels = st.integers(0, 0xFFFFFF).map(lambda value: f"#{value:06X}")


@given(channels, channels)
def test_contrast_is_the_same_both_ways(one, other):
    assert contrast(one, other) == contrast(other, one)
    assert 1 <= contrast(one, other) <= 21


# Dichromacy in linear RGB: G. Machado, M. Oliveira, L. Fernandes, "A physiologically-based model for simulation of
# color vision deficiency" (2009), severity 1.0. Matrices from memory.
Eyes = Mapping[str, tuple[tuple[float, ...], ...]]
EYES: Eyes = {
    "normal": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "tritan": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}
# F. Vienot, H. Brettel, J. Mollon, "Digital video colourmaps for checking the legibility of displays by dichromats"
# (1999), as linear-RGB matrices. From memory.
OTHER_EYES: Eyes = {
    "protan": ((0.11238, 0.88762, 0), (0.11238, 0.88762, 0), (0.00401, -0.00401, 1)),
    "deutan": ((0.29275, 0.70725, 0), (0.29275, 0.70725, 0), (-0.02234, 0.02234, 1)),
}


def seen(colour: str, rows: tuple[tuple[float, ...], ...]) -> tuple[float, float, float]:
    red, green, blue = linear(colour)
    return oklab(tuple(max(a * red + b * green + c * blue, 0.0) for a, b, c in rows))  # type: ignore[arg-type]


def least_distance(count: int, night: bool, eyes: Eyes = EYES) -> float:
    return min(
        sum((a - b) ** 2 for a, b in zip(seen(one, eye), seen(other, eye), strict=True)) ** 0.5
        for eye in eyes.values()
        for one, other in itertools.pairwise(ramp(count, night=night))
    )


# SCREENS 2 says 0.118 for four at night: that is the tritan eye's; the deutan eye sees 0.114, so that is the least.
@pytest.mark.parametrize(
    ("count", "light", "night"), [(4, 0.141, 0.114), (7, 0.067, 0.055), (10, 0.043, 0.037), (12, 0.036, 0.030)]
)
def test_neighbours_stay_apart_for_colour_blind_eyes(count, light, night):
    assert least_distance(count, night=False) == pytest.approx(light, abs=0.0011)
    assert least_distance(count, night=True) == pytest.approx(night, abs=0.0011)


@pytest.mark.parametrize("night", [False, True])
@pytest.mark.parametrize("count", [4, 7, 10, 12])
def test_another_model_of_the_eye_agrees(count, night):
    assert least_distance(count, night, OTHER_EYES) >= least_distance(count, night) - 0.003


def tokens(night: bool) -> dict[str, str]:
    text = (STATIC / "tokens.css").read_text(encoding="utf-8")
    block = (
        re.search(r':root\[data-theme="night"\] \{(.*?)\n\}', text, re.S)
        if night
        else re.search(r":root \{(.*?)\n\}", text, re.S)
    )
    assert block is not None
    return dict(re.findall(r"--([a-z0-9-]+): (#[0-9A-F]{6});", block.group(1)))


# SCREENS 2: contrast on ground, sheet, well.
TABLE = {
    False: {
        "ink": (14.7, 16.4, 13.1), "ink-2": (8.4, 9.4, 7.5), "edge": (3.9, 4.4, 3.5), "ready": (8.0, 8.9, 7.1),
        "water": (7.8, 8.8, 7.0), "dry": (7.9, 8.8, 7.0), "short": (8.9, 9.9, 7.9), "stop": (7.9, 8.9, 7.1),
        "focus": (6.3, 7.0, 5.6),
    },
    True: {
        "ink": (17.2, 15.4, 13.2), "ink-2": (10.7, 9.5, 8.2), "edge": (5.8, 5.2, 4.5), "ready": (11.4, 10.2, 8.8),
        "water": (10.7, 9.6, 8.2), "dry": (10.8, 9.7, 8.3), "short": (10.5, 9.4, 8.0), "stop": (9.8, 8.8, 7.5),
        "focus": (13.6, 12.2, 10.4),
    },
}  # fmt: skip
CASES = [(night, name, ratios) for night, rows in TABLE.items() for name, ratios in rows.items()]


@pytest.mark.parametrize(("night", "name", "ratios"), CASES)
def test_a_token_has_the_contrast_of_the_design(night, name, ratios):
    colours = tokens(night)

    measured = [round(contrast(colours[name], colours[under]), 1) for under in ("ground", "sheet", "well")]

    assert measured == pytest.approx(ratios, abs=0.051)


@pytest.mark.parametrize("night", [False, True])
@pytest.mark.parametrize("name", ["ink", "ink-2", "ready", "water", "dry", "short", "stop"])
def test_words_of_the_floor_reach_seven_to_one(night, name):
    colours = tokens(night)

    assert min(contrast(colours[name], colours[under]) for under in ("ground", "sheet", "well")) >= 6.95


@pytest.mark.parametrize("name", ["edge", "focus"])
@pytest.mark.parametrize("night", [False, True])
def test_borders_and_focus_reach_three_to_one(night, name):
    # WCAG 2.2, 1.4.11 and 2.4.13
    colours = tokens(night)

    assert min(contrast(colours[name], colours[under]) for under in ("ground", "sheet", "well")) >= 3


@pytest.mark.parametrize("night", [False, True])
@pytest.mark.parametrize("name", ["ready", "stop"])
def test_words_upon_a_verdict_are_read_at_arms_length(night, name):
    colours = tokens(night)

    assert contrast(colours["on-verdict"], colours[name]) >= 7


def test_white_on_the_verdicts_is_as_the_design_says():
    colours = tokens(night=False)

    assert [round(contrast("#FFFFFF", colours[name]), 1) for name in ("ready", "stop")] == pytest.approx(
        [9.3, 9.3], abs=0.11
    )


def test_the_night_of_the_device_and_of_the_person_are_the_same():
    text = (STATIC / "tokens.css").read_text(encoding="utf-8")
    device = re.search(r':root:not\(\[data-theme="light"\]\) \{(.*?)\n  \}', text, re.S)
    assert device is not None

    assert dict(re.findall(r"--([a-z0-9-]+): (#[0-9A-F]{6});", device.group(1))) == tokens(night=True)


@pytest.mark.parametrize("count", range(1, MOST_PLACES + 1))
def test_large_words_on_a_grit_colour_are_read(count):
    # WCAG 2.2, 1.4.6: 4.5 to 1 for large text; the current rung is 28 px heavy.
    for colour in ramp(count) + ramp(count, night=True):
        assert contrast(words_on(colour), colour) >= 4.5


def test_the_style_sheet_of_the_ramp_is_what_the_formula_gives():
    assert (STATIC / "ramp.css").read_text(encoding="utf-8") == ramp_css()
