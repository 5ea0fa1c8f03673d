"""What amounts are plausible and possible: above plausible a person is asked, above possible refused.

Every limit here is our assumption unless a source stands beside it.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from .factors import Units
from .showing import show_area, show_height, show_hours, show_number, show_temperature

AreaOf = Literal["pass", "worked", "zone"]


@dataclass(frozen=True)
class Judged:
    """How an amount stands: "ok", "ask" (keep it if right) or "refuse", with the sentence for the person."""

    answer: Literal["ok", "ask", "refuse"]
    sentence: str = ""


@dataclass(frozen=True)
class Limits:
    """Amounts outside plausible are asked about, outside possible refused."""

    possible_from: float
    plausible_from: float
    plausible_to: float
    possible_to: float


OK = Judged("ok")

# m2. A wide machine at 1 mph covers about 7,000 m2 in a night in one pass (0.8 m x 26.8 m/min x 0.7 x 8 h); a
# set's whole life is some ten thousand m2; a zone is a hall. Our assumption.
AREA_M2: dict[AreaOf, Limits] = {
    "pass": Limits(0.01, 0.5, 10_000.0, 100_000.0),
    "worked": Limits(0.0, 0.0, 60_000.0, 1_000_000.0),
    "zone": Limits(0.1, 2.0, 50_000.0, 1_000_000.0),
}
# mm, without a tool type to hold against. Our assumption.
HEIGHT_MM = Limits(0.0, 0.5, 30.0, 100.0)
# A reading may stand this far above a new set: three reading errors of 0.3 mm. Our assumption.
HEIGHT_ABOVE_NEW_MM = 0.9
# degC of water in an open tub: liquid between freezing and boiling; plausible up to the hottest taps and boilers.
TEMPERATURE_C = Limits(0.0, 1.0, 71.0, 100.0)
# Share of the zone above which one pass over it is asked about: overlap does not count twice. Our assumption.
AREA_OVER_ZONE = 1.2
PASSES = Limits(1, 1, 16, 200)
HOURS = Limits(0.0, 0.0, 16.0, 48.0)
EARLIEST_YEAR = 1990


def judge_area(area_m2: float, units: Units, of: AreaOf = "pass", *, floor_m2: float | None = None) -> Judged:
    """Judge an area [m2] of one pass, of all worked so far, or of a zone; `floor_m2` is the zone's area if known."""
    limits = AREA_M2[of]
    over_floor = floor_m2 is not None and floor_m2 > 0 and area_m2 > AREA_OVER_ZONE * floor_m2
    if limits.plausible_from <= area_m2 <= limits.plausible_to and not over_floor:
        return OK
    shown = show_area(area_m2, units)
    if area_m2 < 0 or (area_m2 == 0 and of != "worked"):
        return Judged("refuse", _("%(area)s is no floor. Type an area above zero.") % {"area": shown})
    if area_m2 > limits.possible_to:
        return Judged(
            "refuse",
            _("%(area)s is more than anybody polishes. Type at most %(most)s.")
            % {"area": shown, "most": show_area(limits.possible_to, units)},
        )
    if area_m2 < limits.possible_from:
        return Judged(
            "refuse",
            _("%(area)s is too little to be a floor. Type at least %(least)s.")
            % {"area": shown, "least": show_area(limits.possible_from, units)},
        )
    if floor_m2 and over_floor:
        times = show_number(area_m2 / floor_m2, 0 if area_m2 >= 9.5 * floor_m2 else 1)
        return Judged(
            "ask",
            _("%(area)s is %(times)s times this floor. Correct it, or keep it if right.")
            % {"area": shown, "times": times},
        )
    if area_m2 > limits.plausible_to:
        return Judged(
            "ask",
            _("%(area)s is above the usual %(most)s. Correct it, or keep it if right.")
            % {"area": shown, "most": show_area(limits.plausible_to, units)},
        )
    return Judged("ask", _("%(area)s is very little. Correct it, or keep it if right.") % {"area": shown})


def judge_height(
    height_mm: float,
    units: Units,
    *,
    new_height_mm: float | None = None,
    retire_height_mm: float | None = None,
    backing_mm: float | None = None,
) -> Judged:
    """Judge a tool height [mm], backing excluded, against its type where known.

    Refused below zero and higher than a new one can read; asked under the retire height, and when the height is
    what it would be with the backing measured along.
    """
    low = HEIGHT_MM.plausible_from if retire_height_mm is None else retire_height_mm
    high = HEIGHT_MM.plausible_to if new_height_mm is None else new_height_mm
    if low <= height_mm <= high:
        return OK
    shown = show_height(height_mm, units)
    if height_mm < 0:
        return Judged("refuse", _("%(height)s is below zero. Type the height of abrasive left.") % {"height": shown})
    if new_height_mm is not None:
        new = show_height(new_height_mm, units)
        if height_mm > new_height_mm + HEIGHT_ABOVE_NEW_MM:
            if backing_mm and height_mm - backing_mm <= new_height_mm + HEIGHT_ABOVE_NEW_MM:
                return Judged(
                    "ask",
                    _("%(height)s is more than a new one, %(new)s. Was the backing of %(backing)s measured along?")
                    % {"height": shown, "new": new, "backing": show_height(backing_mm, units)},
                )
            return Judged(
                "refuse",
                _("%(height)s is more than a new one, %(new)s. Type what is left, without the backing.")
                % {"height": shown, "new": new},
            )
    elif height_mm > HEIGHT_MM.possible_to:
        return Judged(
            "refuse",
            _("%(height)s is higher than any tool. Type at most %(most)s.")
            % {"height": shown, "most": show_height(HEIGHT_MM.possible_to, units)},
        )
    elif height_mm > HEIGHT_MM.plausible_to:
        return Judged("ask", _("%(height)s is very high. Correct it, or keep it if right.") % {"height": shown})
    if retire_height_mm is not None and height_mm < retire_height_mm - HEIGHT_ABOVE_NEW_MM / 3:
        return Judged(
            "ask",
            _("%(height)s is under the height it retires at, %(retire)s. Correct it, or keep it if right.")
            % {"height": shown, "retire": show_height(retire_height_mm, units)},
        )
    if retire_height_mm is None and height_mm < HEIGHT_MM.plausible_from:
        return Judged("ask", _("%(height)s is very low. Correct it, or keep it if right.") % {"height": shown})
    return OK


def judge_temperature(temperature_c: float, units: Units) -> Judged:
    """Judge a water temperature [degC]: refused as ice or steam, asked near both."""
    shown = show_temperature(temperature_c, units)
    if temperature_c < TEMPERATURE_C.possible_from:
        return Judged("refuse", _("Water at %(t)s is ice. Type the temperature of the water.") % {"t": shown})
    if temperature_c > TEMPERATURE_C.possible_to:
        return Judged("refuse", _("Water at %(t)s is steam. Type the temperature of the water.") % {"t": shown})
    if temperature_c > TEMPERATURE_C.plausible_to:
        return Judged(
            "ask",
            _("%(t)s is hotter than tubs are kept and scalds at once. Correct it, or keep it if right.") % {"t": shown},
        )
    if temperature_c < TEMPERATURE_C.plausible_from:
        return Judged("ask", _("%(t)s is almost ice. Correct it, or keep it if right.") % {"t": shown})
    return OK


def judge_passes(passes: int) -> Judged:
    """Judge a number of passes: whole, at least 1; asked above 16, refused above 200."""
    if passes < PASSES.possible_from:
        return Judged("refuse", _("%(n)s passes are none. Type 1 or more.") % {"n": passes})
    shown = ngettext("%(n)s pass", "%(n)s passes", passes) % {"n": passes}
    if passes > PASSES.possible_to:
        return Judged("refuse", _("%(passes)s are more than a night holds. Type at most 200.") % {"passes": shown})
    if passes > PASSES.plausible_to:
        return Judged("ask", _("%(passes)s are many. Correct it, or keep it if right.") % {"passes": shown})
    return OK


def judge_hours(hours: float) -> Judged:
    """Judge hours worked in one shift: asked above 16, refused above 48 and below zero."""
    shown = show_hours(hours)
    if hours < 0:
        return Judged("refuse", _("%(hours)s is below zero. Type the hours worked.") % {"hours": shown})
    if hours > HOURS.possible_to:
        return Judged("refuse", _("%(hours)s is more than a shift holds. Type at most 48 h.") % {"hours": shown})
    if hours > HOURS.plausible_to:
        return Judged("ask", _("%(hours)s is a long shift. Correct it, or keep it if right.") % {"hours": shown})
    return OK


def judge_past_date(day: date, today: date) -> Judged:
    """Judge the date of something that has happened: refused after today and before 1990, asked beyond 15 years."""
    if day > today:
        return Judged(
            "refuse", _("%(day)s has not come yet. Type a day up to today, %(today)s.") % {"day": day, "today": today}
        )
    if day.year < EARLIEST_YEAR:
        return Judged("refuse", _("%(day)s is before any of this. Check the year.") % {"day": day})
    if today - day > timedelta(days=15 * 365):
        return Judged("ask", _("%(day)s is long ago. Correct it, or keep it if right.") % {"day": day})
    return OK
