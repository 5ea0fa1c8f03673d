"""Silica, extraction and pH against the published limits (REFERENCES S1 to S9)."""

import math

import pytest

from jobs.numerics.site_limits import (
    SILICA_ACTION_UG_M3,
    SILICA_LIMIT_UG_M3,
    extraction_m3_per_h,
    ph_standing,
    silica_mean_ug_m3,
    silica_standing,
)


def test_silica_is_averaged_over_eight_hours():
    # S2: 100 ug/m3 for 2 h, then 20 for 6 h, are 40: above the action level, below the limit.
    mean = silica_mean_ug_m3([(100, 2), (20, 6)])

    assert mean == 40
    assert silica_standing(mean) == "at_action"


def test_silica_limits_are_those_of_the_construction_rule():
    # S1: 29 CFR 1926.1153: limit 50, action level 25 ug/m3.
    assert (SILICA_LIMIT_UG_M3, SILICA_ACTION_UG_M3) == (50, 25)
    said = [silica_standing(mean) for mean in (0, 24.9, 25, 50, 50.1)]
    assert said == ["below_action", "below_action", "at_action", "at_action", "over_limit"]


def test_a_five_inch_grinder_wants_125_cubic_feet_a_minute():
    # S4: 25 cfm and more per inch of wheel; U6: a foot is 0.3048 m.
    assert extraction_m3_per_h(5 * 25.4) == pytest.approx(125 * 0.3048**3 * 60)


@pytest.mark.parametrize(
    ("ph", "standing"),
    [
        # S8: 40 CFR 261.22: corrosive at or below 2 and at or above 12.5.
        (2, "corrosive"),
        (2.01, "acid"),
        (12, "alkaline"),  # S7: wash water near 12
        (12.49, "alkaline"),
        (12.5, "corrosive"),
        (13, "corrosive"),
        # S9: fresh water 6.5 to 9.
        (6.49, "acid"),
        (6.5, "as_fresh_water"),
        (9, "as_fresh_water"),
        (9.01, "alkaline"),
    ],
)
def test_ph_stands_where_the_published_limits_say(ph, standing):
    assert ph_standing(ph) == standing


def test_readings_that_cannot_be_are_refused():
    with pytest.raises(ValueError, match="`ph` must lie between 0 and 14; got 14"):
        ph_standing(14.5)
    with pytest.raises(ValueError, match="`exposures` must be 0 or more; got -1 ug/m3 for 2 h"):
        silica_mean_ug_m3([(-1, 2)])
    with pytest.raises(ValueError, match="`exposures` must be at most 24 h in all"):
        silica_mean_ug_m3([(1, 20), (1, 5)])
    with pytest.raises(ValueError, match="`disc_mm` must be above 0; got 0"):
        extraction_m3_per_h(0)
    with pytest.raises(ValueError, match="`mean_ug_m3` must be 0 or more; got nan"):
        silica_standing(math.nan)
