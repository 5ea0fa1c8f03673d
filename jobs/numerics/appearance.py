"""The appearance a floor has reached, from image clarity and gloss readings.

Levels follow the published appearance chart of the Concrete Polishing Council, which goes by image clarity alone
(REFERENCES P1). Gloss says how a floor changes from visit to visit, not which level it has reached. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

# Image clarity (DOI by ASTM D5767) from which each level begins, %: flat, satin, polished, highly polished (P1).
LEVEL_FROM_CLARITY = (0.0, 10.0, 40.0, 70.0)
HAZE_BELOW = 10.0  # haze index of a floor that has reached its level (P1)
LEVELS = (1, 2, 3, 4)

Note = Literal["by_clarity", "gloss_gives_no_level", "not_read", "haze_too_high", "may_need_grouting"]


@dataclass(frozen=True)
class Appearance:
    """level: 1 flat, 2 satin, 3 polished, 4 highly polished; None without an image clarity reading.

    notes: codes of what the page says beside it. gloss_angle_deg: geometry the next gloss reading should be taken at,
    None when no 60 degree gloss is known.
    """

    level: int | None
    notes: tuple[Note, ...]
    gloss_angle_deg: int | None


def appearance_level(clarity_percent: float) -> int:
    """Level 1 to 4 of the published chart for an image clarity.

    clarity_percent: image clarity (DOI, ASTM D5767), 0 to 100 [%]. The chart prints whole numbers (0-9, 10-39, 40-69,
    70-100); what lies between two bands belongs to the lower one.
    Raises: ValueError outside 0 to 100.
    Source: Polished Concrete Appearance Chart, REFERENCES P1.
    """
    if not 0 <= clarity_percent <= 100:
        raise ValueError(f"`clarity_percent` must lie between 0 and 100; got {clarity_percent}.")
    return sum(clarity_percent >= start for start in LEVEL_FROM_CLARITY)


def gloss_angle(gloss_60: float) -> int:
    """Geometry [degrees] at which a gloss is compared, from the reading at 60 degrees [gloss units].

    20 where the 60 degree gloss is above 70, 85 where it is below 10, else 60.
    Raises: ValueError below 0 or above 1000 (a mirror at 60 degrees reads up to about that; our assumption).
    Source: ASTM D523-14, 4.1.1 to 4.1.3, REFERENCES P8.
    """
    if not 0 <= gloss_60 <= 1000:
        raise ValueError(f"`gloss_60` must lie between 0 and 1000; got {gloss_60}.")
    return 20 if gloss_60 > 70 else 85 if gloss_60 < 10 else 60


def appearance(
    *, clarity_percent: float | None = None, gloss_60: float | None = None, haze: float | None = None
) -> Appearance:
    """What the readings of a floor say: its level, and what to note.

    clarity_percent: mean image clarity [%]; gloss_60: mean gloss at 60 degrees [gloss units]; haze: haze index. None:
    not read. A level is given by image clarity only: the superseded chart's gloss figures disagree between reprints
    (REFERENCES P3), so none is made of gloss.
    Raises: ValueError for a reading outside its scale.
    """
    if haze is not None and not haze >= 0:
        raise ValueError(f"`haze` must be 0 or more; got {haze}.")
    level = None if clarity_percent is None else appearance_level(clarity_percent)
    angle = None if gloss_60 is None else gloss_angle(gloss_60)
    notes: list[Note] = []
    if level is not None:
        notes.append("by_clarity")
    else:
        notes.append("not_read" if gloss_60 is None else "gloss_gives_no_level")
    if haze is not None and haze >= HAZE_BELOW:
        notes.append("haze_too_high")
    if level == 4:
        notes.append("may_need_grouting")
    return Appearance(level, tuple(notes), angle)


def reaches(clarity_percent: float, finish_level: int) -> bool:
    """Whether an image clarity [%] reaches the wanted level (1 to 4), or one above it.

    Raises: ValueError for a level outside 1 to 4, or as `appearance_level`.
    """
    if finish_level not in LEVELS:
        raise ValueError(f"`finish_level` must be 1, 2, 3 or 4; got {finish_level!r}.")
    return appearance_level(clarity_percent) >= finish_level
