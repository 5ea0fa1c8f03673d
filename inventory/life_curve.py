"""A set's life as a curve: readings with their error, the likely line to the retire height, its cone, the rating.

Pure once its numbers are there: no queries, no clock. Areas are reference areas, m2, heights mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from inventory.chart import Chart, nice_ticks
from inventory.estimate import SetLife
from inventory.gauge import hatch_id
from inventory.units import UNITS, Units, from_si, show_about, show_height, show_number, show_range, unit_for

READING_ERROR_MM = 0.3  # METHODS 0, our assumption; the same as the estimate's


@dataclass(frozen=True)
class CurvePoint:
    """A height read when the set had so much reference area behind it. height_mm: of the lowest piece."""

    at: datetime
    used_m2: float
    height_mm: float


@dataclass(frozen=True)
class CurveFacts:
    """What the curve is drawn from. new_mm, retire_mm: of the type; rated_m2: the supplier's word, or None.

    life: with used_m2 behind it. points: oldest first. place, count: on the ladder, for colour.
    """

    new_mm: float
    retire_mm: float
    rated_m2: float | None
    life: SetLife
    points: tuple[CurvePoint, ...]
    place: int
    count: int

    @property
    def start(self) -> tuple[float, float]:
        """Where the likely line begins: the last reading, or new at nothing used."""
        if self.points:
            return self.points[-1].used_m2, self.points[-1].height_mm
        return 0.0, self.new_mm

    @property
    def now_mm(self) -> float:
        """The height likely now: on the line from the start to the likely end."""
        used, height = self.start
        end = self.life.used_m2 + self.life.likely_m2
        if end <= used or height <= self.retire_mm:
            return min(height, self.retire_mm) if height <= self.retire_mm else height
        share = min(max((self.life.used_m2 - used) / (end - used), 0.0), 1.0)
        return height - (height - self.retire_mm) * share


def curves(facts: CurveFacts, units: Units) -> list[str]:
    """The drawing for the desk and the one for the phone, as SVG."""
    return [_draw(facts, units, 640, 340, "wide-only"), _draw(facts, units, 358, 320, "small-only")]


def curve_sentence(facts: CurveFacts, units: Units) -> str:
    """The curve in one sentence."""
    likely = show_about(facts.life.likely_m2, units)
    between = show_range(facts.life.at_least_m2, facts.life.up_to_m2, units)
    values = {
        "now": show_height(facts.now_mm, units),
        "retire": show_height(facts.retire_mm, units),
        "likely": likely,
        "range": between,
    }
    return (
        _(
            "Lowest piece likely %(now)s today; it reaches %(retire)s likely after %(likely)s of reference area more, "
            "%(range)s."
        )
        % values
    )


def curve_rows(facts: CurveFacts, units: Units) -> list[tuple[datetime | None, str, str, str]]:
    """The numbers of the curve: when, reference area worked so far, lowest piece, what it is."""
    rows: list[tuple[datetime | None, str, str, str]] = [
        (point.at, show_about(point.used_m2, units), show_height(point.height_mm, units), _("read"))
        for point in facts.points
    ]
    rows.append((None, show_about(facts.life.used_m2, units), show_height(facts.now_mm, units), _("likely today")))
    retire = show_height(facts.retire_mm, units)
    for more, words in (
        (facts.life.at_least_m2, _("at least")),
        (facts.life.likely_m2, _("likely end")),
        (facts.life.up_to_m2, _("up to")),
    ):
        rows.append((None, show_about(facts.life.used_m2 + more, units), retire, words))
    if facts.rated_m2:
        rows.append((None, show_about(facts.rated_m2, units), retire, _("rating")))
    return rows


def _thousands(value: float, most: float) -> str:
    if most >= 10_000:
        return f"{show_number(value / 1000, 1)}k"
    return show_number(value, 1)


def _draw(facts: CurveFacts, units: Units, width: float, height: float, css: str) -> str:
    small = width < 500
    area_unit, height_unit = unit_for("area", units), unit_for("height", units)

    def area(m2: float) -> float:
        return from_si(m2, area_unit)

    def tall(mm: float) -> float:
        return from_si(mm, height_unit)

    life, used = facts.life, area(facts.life.used_m2)
    ends = [used + area(more) for more in (life.at_least_m2, life.likely_m2, life.up_to_m2)]
    most = max(ends[2], area(facts.rated_m2 or 0.0), *[area(point.used_m2) for point in facts.points], 1.0) * 1.04
    top = max(tall(facts.new_mm), *[tall(point.height_mm + READING_ERROR_MM) for point in facts.points], 0.01) * 1.06
    drawing = Chart(
        width, height, (0.0, most), (0.0, top), left=44, top=40, bottom=44, ramp=f"ramp-{facts.place}-of-{facts.count}"
    )
    decimals = 2 if height_unit == "in" else 1
    drawing.grid([(value, show_number(value, decimals)) for value in nice_ticks(0, top, 6)])
    ticks = nice_ticks(0, most, 4 if small else 7)
    title = _("Reference area worked so far, %(unit)s") % {"unit": UNITS[area_unit].symbol}
    drawing.foot([(value, _thousands(value, most)) for value in ticks], title)
    drawing.words(
        0, top, _("Tool height, lowest piece, %(unit)s") % {"unit": UNITS[height_unit].symbol}, "quiet", dx=-40, dy=-26
    )
    now, retire = (used, tall(facts.now_mm)), tall(facts.retire_mm)
    if facts.rated_m2:
        drawing.line([(0, tall(facts.new_mm)), (area(facts.rated_m2), retire)], "rated")
    if ends[2] > used and now[1] > retire:
        hatch = hatch_id(facts.place, facts.count, 70)
        drawing.band([now, (ends[0], retire)], [now, (ends[2], retire)], hatch=hatch)
    so_far = [(area(point.used_m2), tall(point.height_mm)) for point in facts.points]
    if not so_far or facts.points[0].used_m2 > 0:
        so_far.insert(0, (0.0, tall(facts.new_mm)))
    drawing.line([*so_far, now], "life")
    drawing.line([now, (ends[1], retire)])
    drawing.line([(0, retire), (most, retire)], "likely planned")
    for point in facts.points:
        error = READING_ERROR_MM
        drawing.point(
            area(point.used_m2),
            tall(point.height_mm),
            tall(max(point.height_mm - error, 0.0)),
            tall(point.height_mm + error),
        )
    drawing.mark(used, _("today, %(height)s") % {"height": show_height(facts.now_mm, units)})
    drawing.words(
        0, retire, _("retire at %(height)s") % {"height": show_height(facts.retire_mm, units)}, "bold", dx=4, dy=18
    )
    for end in ends:
        drawing.line([(end, retire - top * 0.015), (end, retire + top * 0.015)], "axis")
    likely = _("likely %(area)s more") % {"area": show_about(life.likely_m2, units)}
    crowded = drawing.x(ends[1]) - drawing.left < 290
    late = drawing.x(ends[1]) > drawing.left + 0.6 * (drawing.right - drawing.left)
    drawing.words(ends[1], retire, likely, "bold", "end" if late else "middle", dy=33 if crowded else 18)
    return drawing.svg(curve_sentence(facts, units), css)


def points_of(readings: Sequence[tuple[datetime, float, float]]) -> tuple[CurvePoint, ...]:
    """Readings as (when, used_m2, height_mm) in the order of time."""
    return tuple(CurvePoint(at, used, height) for at, used, height in sorted(readings))
