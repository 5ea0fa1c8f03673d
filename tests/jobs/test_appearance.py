"""Appearance levels against the published chart, and the gloss geometries of ASTM D523."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.numerics.appearance import appearance, appearance_level, gloss_angle, reaches


@pytest.mark.parametrize(
    ("clarity", "level"),
    # REFERENCES P1: Polished Concrete Appearance Chart, image clarity 0-9 flat, 10-39 satin, 40-69 polished, 70-100
    # highly polished.
    [(0, 1), (9, 1), (10, 2), (39, 2), (40, 3), (69, 3), (70, 4), (100, 4)],
)
def test_levels_are_the_published_charts(clarity, level):
    assert appearance_level(clarity) == level


def test_between_two_printed_bands_the_lower_one_holds():
    assert [appearance_level(value) for value in (9.9, 39.99, 69.5)] == [1, 2, 3]


@given(st.floats(0, 100), st.floats(0, 100))
def test_a_clearer_floor_is_never_of_a_lower_level(one, other):
    low, high = sorted((one, other))
    assert appearance_level(low) <= appearance_level(high)


@pytest.mark.parametrize(
    ("gloss", "angle"),
    # REFERENCES P8: ASTM D523-14 4.1.1 to 4.1.3: 20 degrees when the 60 degree gloss is above 70, 85 when below 10.
    [(0, 85), (9.9, 85), (10, 60), (45, 60), (70, 60), (70.1, 20), (95, 20)],
)
def test_gloss_is_compared_at_the_standards_angle(gloss, angle):
    assert gloss_angle(gloss) == angle


def test_gloss_alone_gives_no_level_and_says_so():
    said = appearance(gloss_60=62)

    assert (said.level, said.notes, said.gloss_angle_deg) == (None, ("gloss_gives_no_level",), 60)
    assert appearance().notes == ("not_read",)


def test_haze_and_grouting_are_noted():
    # REFERENCES P1: haze index below 10; level 4 may need grouting.
    assert appearance(clarity_percent=82, gloss_60=75, haze=9.9).notes == ("by_clarity", "may_need_grouting")
    assert appearance(clarity_percent=55, haze=10).notes == ("by_clarity", "haze_too_high")


def test_a_level_is_reached_by_itself_and_by_higher_ones():
    assert [reaches(40, level) for level in (1, 2, 3, 4)] == [True, True, True, False]


@pytest.mark.parametrize("wrong", [-0.1, 100.1, math.nan])
def test_a_clarity_off_the_scale_is_refused(wrong):
    with pytest.raises(ValueError, match="`clarity_percent` must lie between 0 and 100; got"):
        appearance_level(wrong)


def test_gloss_haze_and_levels_off_the_scale_are_refused():
    with pytest.raises(ValueError, match="`gloss_60` must lie between 0 and 1000; got -1"):
        gloss_angle(-1)
    with pytest.raises(ValueError, match="`haze` must be 0 or more; got -2"):
        appearance(clarity_percent=5, haze=-2)
    with pytest.raises(ValueError, match="`finish_level` must be 1, 2, 3 or 4; got 5"):
        reaches(50, 5)
