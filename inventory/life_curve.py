"""A set's life as a curve: readings with their error, the wear path so far, the cone ahead, the rating dotted.

Pure once its numbers are there (inventory.life_record): no queries, no clock. Areas are reference areas, m2.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from inventory.chart import Anchor, Chart, nice_ticks
from inventory.estimate import SetLife
from inventory.gauge import hatch_id
from inventory.units import UNITS, Units, from_si, show_about, show_height, show_number, show_range, unit_for

NBSP = "\u00a0"
READING_ERROR_MM = 0.3  # METHODS 0, our assumption; the same as the wear model's


@dataclass(frozen=True)
class CurvePoint:
    """A height read when the set had so much reference area behind it. height_mm: of the lowest piece.

    passed_over: a later height says that it was keyed wrong.
    """

    at: datetime
    used_m2: float
    height_mm: float
    passed_over: bool = False


@dataclass(frozen=True)
class CurveStep:
    """Where wear went on from another height: why is dressed, pieces or unlogged (it fell without logged work).

    before_mm, after_mm: None where not read.
    """

    at: datetime
    used_m2: float
    why: str
    before_mm: float | None
    after_mm: float | None


@dataclass(frozen=True)
class PathPoint:
    """The height of the lowest piece as it is believed now: at least, likely, up to."""

    used_m2: float
    low_mm: float
    likely_mm: float
    high_mm: float


@dataclass(frozen=True)
class CurveFacts:
    """What the curve is drawn from. new_mm, retire_mm: of the type; rated_m2: the supplier's word, or None.

    life: None for a retired set. points, steps: oldest first. runs: the path, one run after each new start; its last
    point is today's, or that of the end. place, count: on the ladder, for colour. past_m2: believed, not on record.
    readings: how many there are, of which the newest are among the points.
    """

    new_mm: float
    retire_mm: float
    rated_m2: float | None
    life: SetLife | None
    points: tuple[CurvePoint, ...]
    runs: tuple[tuple[PathPoint, ...], ...]
    steps: tuple[CurveStep, ...]
    place: int
    count: int
    past_m2: float = 0.0
    readings: int = 0

    @property
    def now(self) -> PathPoint:
        """Today's height, or that at the end of a retired set."""
        return self.runs[-1][-1]


def curves(facts: CurveFacts, units: Units) -> list[str]:
    """The drawing for the desk and the one for the phone, as SVG."""
    return [_draw(facts, units, 640, 340, "wide-only"), _draw(facts, units, 358, 320, "small-only")]


def height_range(low_mm: float, high_mm: float, units: Units) -> str:
    """Two heights as a calliper reads them, unit once: "5.5 to 6.2 mm"."""
    unit = unit_for("height", units)
    low, high = (show_number(from_si(one, unit), 2 if unit == "in" else 1) for one in (low_mm, high_mm))
    if low == high:
        return show_height(high_mm, units)
    return _("%(low)s to %(high)s") % {"low": low, "high": high} + NBSP + UNITS[unit].symbol


def curve_sentence(facts: CurveFacts, units: Units) -> str:
    """The curve in one sentence."""
    now = {
        "now": show_height(facts.now.likely_mm, units),
        "between": height_range(facts.now.low_mm, facts.now.high_mm, units),
    }
    if facts.life is None:
        said = _("Retired after %(used)s of reference area; its lowest piece likely had %(now)s then, %(between)s.")
        return said % (now | {"used": show_about(facts.now.used_m2, units)})
    ahead = {
        "retire": show_height(facts.retire_mm, units),
        "likely": show_about(facts.life.likely_m2, units),
        "range": show_range(facts.life.at_least_m2, facts.life.up_to_m2, units),
    }
    said = _(
        "Lowest piece likely %(now)s today, %(between)s; it reaches %(retire)s likely after %(likely)s of reference "
        "area more, %(range)s."
    )
    return said % (now | ahead)


def step_words(step: CurveStep) -> str:
    """What happened at a step."""
    if step.why == "unlogged":
        return _("work not logged")
    return _("dressed") if step.why == "dressed" else _("pieces changed")


def curve_rows(facts: CurveFacts, units: Units) -> list[tuple[datetime | None, str, str, str]]:
    """The numbers of the curve: when, reference area worked so far, lowest piece, what it is."""
    seen: list[tuple[float, int, datetime | None, float | None, str]] = [
        (point.used_m2, 0, point.at, point.height_mm, _("read, passed over") if point.passed_over else _("read"))
        for point in facts.points
    ]
    seen += [(step.used_m2, 1, step.at, step.after_mm, step_words(step)) for step in facts.steps]
    rows: list[tuple[datetime | None, str, str, str]] = [
        (at, show_about(used, units), show_height(height, units) if height is not None else "–", words)
        for used, _order, at, height, words in sorted(seen, key=lambda one: (one[0], one[2], one[1]))
    ]
    used = facts.now.used_m2
    today = (
        (facts.now.high_mm, _("today, up to")),
        (facts.now.likely_mm, _("likely today")),
        (facts.now.low_mm, _("today, at least")),
    )
    ended = ((facts.now.likely_mm, _("likely when it was retired")),)
    rows += [(None, show_about(used, units), show_height(height, units), words)
             for height, words in (today if facts.life is not None else ended)]  # fmt: skip
    retire = show_height(facts.retire_mm, units)
    if facts.life is not None:
        for more, words in (
            (facts.life.at_least_m2, _("at least")),
            (facts.life.likely_m2, _("likely end")),
            (facts.life.up_to_m2, _("up to")),
        ):
            rows.append((None, show_about(used + more, units), retire, words))
    if facts.rated_m2:
        rows.append((None, show_about(facts.rated_m2, units), retire, _("rating")))
    return rows


def _thousands(value: float, most: float) -> str:
    if most >= 10_000:
        return f"{show_number(value / 1000, 1)}k"
    return show_number(value, 1)


def _draw(facts: CurveFacts, units: Units, width: float, height: float, css: str) -> str:
    area_unit, height_unit = unit_for("area", units), unit_for("height", units)

    def area(m2: float) -> float:
        return from_si(m2, area_unit)

    def tall(mm: float) -> float:
        return from_si(mm, height_unit)

    used, life = area(facts.now.used_m2), facts.life
    ends = [] if life is None else [used + area(more) for more in (life.at_least_m2, life.likely_m2, life.up_to_m2)]
    paths = [point for run in facts.runs for point in run]
    most = max(*ends, used, area(facts.rated_m2 or 0.0), *[area(point.used_m2) for point in facts.points], 1.0) * 1.04
    highest = [point.height_mm + READING_ERROR_MM for point in facts.points] + [point.high_mm for point in paths]
    top = max(tall(facts.new_mm), *[tall(one) for one in highest], 0.01) * 1.06
    ramp = f"ramp-{facts.place}-of-{facts.count}"
    drawing = Chart(width, height, (0.0, most), (0.0, top), left=44, top=40, bottom=44, ramp=ramp)
    drawing.grid([(value, show_number(value, 2 if height_unit == "in" else 1)) for value in nice_ticks(0, top, 6)])
    title = _("Reference area worked so far, %(unit)s") % {"unit": UNITS[area_unit].symbol}
    ticks = nice_ticks(0, most, 4 if width < 500 else 7)
    drawing.foot([(value, _thousands(value, most)) for value in ticks], title)
    unit = _("Tool height, lowest piece, %(unit)s") % {"unit": UNITS[height_unit].symbol}
    drawing.words(0, top, unit, "quiet", dx=-40, dy=-26)
    retire = tall(facts.retire_mm)
    if facts.rated_m2:
        _rating(drawing, (0, tall(facts.new_mm)), (area(facts.rated_m2), retire), ends)
    now = facts.now
    if life is not None and ends[2] > used and tall(now.high_mm) > retire:
        low, high = ((used, max(tall(one), retire)) for one in (now.low_mm, now.high_mm))
        hatch = hatch_id(facts.place, facts.count, 70)
        drawing.band([low, (ends[0], retire)], [high, (ends[2], retire)], hatch=hatch)
    for run in facts.runs:
        xs = [area(point.used_m2) for point in run]
        lows, likely, highs = (
            list(zip(xs, [tall(getattr(point, name)) for point in run], strict=True))
            for name in ("low_mm", "likely_mm", "high_mm")
        )
        drawing.band(lows, highs, "band-life")
        drawing.line(likely, "life")
    for before, after in zip(facts.runs, facts.runs[1:], strict=False):
        at = area(after[0].used_m2)
        drawing.line([(at, tall(before[-1].likely_mm)), (at, tall(after[0].likely_mm))], "life planned")
    for step in facts.steps:
        at = area(step.used_m2)
        drawing.line([(at, retire), (at, top)], "grid")  # no further: what is likely is written below
        late = drawing.x(at) > drawing.left + 120
        drawing.words(at, top, step_words(step), "quiet", "end" if late else "start", dx=-5 if late else 5, dy=10)
    if life is not None and ends[1] > used:
        drawing.line([(used, max(tall(now.likely_mm), retire)), (ends[1], retire)])
    drawing.line([(0, retire), (most, retire)], "likely planned")
    for point in facts.points:
        low_mm, high_mm = max(point.height_mm - READING_ERROR_MM, 0.0), point.height_mm + READING_ERROR_MM
        drawing.point(area(point.used_m2), tall(point.height_mm), tall(low_mm), tall(high_mm))
    words = _("today, likely %(height)s") if life is not None else _("retired, likely %(height)s")
    drawing.mark(used, words % {"height": show_height(now.likely_mm, units)}, down_to=retire)
    said = _("retire at %(height)s") % {"height": show_height(facts.retire_mm, units)}
    # Above its line where the words of the likely end come near below it.
    crowded = bool(ends) and drawing.x(ends[1]) - drawing.left < 290
    drawing.words(0, retire, said, "bold", dx=4, dy=-8 if crowded else 18)
    if life is not None:
        _ends(drawing, facts, ends, retire, top, units)
    return drawing.svg(curve_sentence(facts, units), css)


def _rating(drawing: Chart, new: tuple[float, float], end: tuple[float, float], ends: list[float]) -> None:
    """The supplier's word as a dotted line, named on the side where no cone lies."""
    drawing.line([new, end], "rated")
    share = 0.62
    at = (new[0] + share * (end[0] - new[0]), new[1] + share * (end[1] - new[1]))
    before = bool(ends) and end[0] <= ends[1]
    if before and drawing.x(at[0]) - drawing.left < 70:
        return
    side: Anchor = "end" if before else "start"
    drawing.words(*at, _("rating"), "quiet", side, dx=-6 if before else 6, dy=4 if before else -4)


def _ends(drawing: Chart, facts: CurveFacts, ends: list[float], retire: float, top: float, units: Units) -> None:
    """Where it retires: at least, likely, up to, as far as there is room for the words."""
    life = facts.life
    assert life is not None
    for end in ends:
        drawing.line([(end, retire - top * 0.015), (end, retire + top * 0.015)], "axis")
    likely = _("likely %(area)s more") % {"area": show_about(life.likely_m2, units)}
    late = drawing.x(ends[1]) > drawing.left + 0.6 * (drawing.right - drawing.left)
    # Beside the bar of a reading at its end, not over it.
    near = late and drawing.x(ends[1]) - drawing.x(ends[1] - from_si(life.likely_m2, unit_for("area", units))) < 30
    drawing.words(ends[1], retire, likely, "bold", "end" if late else "middle", dx=-18 if near else 0, dy=18)
