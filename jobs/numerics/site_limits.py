"""Published limits that stand beside dusty, wet and alkaline work: silica, extraction, the pH of waste water.

They say what a reading means, never that something is allowed: local codes, makers' sheets and licensed people come
before this program. Pure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

SILICA_LIMIT_UG_M3 = 50.0  # 8 h mean, REFERENCES S1
SILICA_ACTION_UG_M3 = 25.0  # REFERENCES S1
CORROSIVE_PH = (2.0, 12.5)  # at or beyond, aqueous: REFERENCES S8
FRESH_WATER_PH = (6.5, 9.0)  # REFERENCES S9
_M3_PER_H_OF_CFM = 0.3048**3 * 60  # exact, REFERENCES U6

SilicaStanding = Literal["below_action", "at_action", "over_limit"]
PhStanding = Literal["corrosive", "alkaline", "acid", "as_fresh_water"]


def silica_mean_ug_m3(exposures: Sequence[tuple[float, float]]) -> float:
    """Respirable silica as an 8 hour mean [ug/m3] of (concentration [ug/m3], hours) through one shift.

    Hours not named count as clean air. Raises: ValueError for an amount below 0 or more than 24 h in all.
    Source: sum(C t) / 8, REFERENCES S2.
    """
    for concentration, hours in exposures:
        if not (0 <= concentration < math.inf and 0 <= hours < math.inf):
            raise ValueError(f"`exposures` must be 0 or more; got {concentration} ug/m3 for {hours} h.")
    if sum(hours for _, hours in exposures) > 24:
        raise ValueError("`exposures` must be at most 24 h in all.")
    return math.fsum(concentration * hours for concentration, hours in exposures) / 8


def silica_standing(mean_ug_m3: float) -> SilicaStanding:
    """How an 8 hour mean stands: below the action level, at or above it, or over the limit (REFERENCES S1)."""
    if not mean_ug_m3 >= 0:
        raise ValueError(f"`mean_ug_m3` must be 0 or more; got {mean_ug_m3}.")
    if mean_ug_m3 > SILICA_LIMIT_UG_M3:
        return "over_limit"
    return "at_action" if mean_ug_m3 >= SILICA_ACTION_UG_M3 else "below_action"


def extraction_m3_per_h(disc_mm: float) -> float:
    """Least airflow [m3/h] of the extraction of a hand grinder worked dry, by its disc [mm].

    Raises: ValueError for a disc not above 0.
    Source: 25 ft3/min and more per inch of wheel, REFERENCES S4.
    """
    if not 0 < disc_mm < math.inf:
        raise ValueError(f"`disc_mm` must be above 0; got {disc_mm}.")
    return 25 * disc_mm / 25.4 * _M3_PER_H_OF_CFM


def ph_standing(ph: float) -> PhStanding:
    """How the pH of slurry or waste water stands; it does not say where it may go.

    corrosive: at most 2 or at least 12.5 (REFERENCES S8); as_fresh_water: 6.5 to 9 (S9); else acid or alkaline, as
    fresh wash water near 12 is (S7). Raises: ValueError outside 0 to 14.
    """
    if not 0 <= ph <= 14:
        raise ValueError(f"`ph` must lie between 0 and 14; got {ph}.")
    if ph <= CORROSIVE_PH[0] or ph >= CORROSIVE_PH[1]:
        return "corrosive"
    if ph < FRESH_WATER_PH[0]:
        return "acid"
    return "as_fresh_water" if ph <= FRESH_WATER_PH[1] else "alkaline"
