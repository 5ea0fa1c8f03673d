"""The lives of one tool type's sets as a picture: each set a line against the rating. Pure: numbers in, SVG out.

Areas are reference areas, m2.
"""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.translation import gettext as _

from inventory.chart import Chart, nice_ticks
from inventory.gauge import hatch_id
from inventory.queries.lives import SetOfType
from inventory.units import UNITS, Units, from_si, show_number, unit_for

_ROW = 22  # px of one set


def lives_pictures(
    sets: Sequence[SetOfType],
    new_m2: tuple[float, float, float],
    rated_m2: float | None,
    ladder: tuple[int, int],
    sentence: str,
    units: Units,
) -> list[str]:
    """The drawing for the desk and the one for the phone, as SVG. new_m2: life of a new set; ladder: place, count."""
    return [
        _draw(sets, new_m2, rated_m2, ladder, sentence, units, width, css)
        for width, css in ((720, "wide-only"), (358, "small-only"))
    ]


def _draw(
    sets: Sequence[SetOfType],
    new_m2: tuple[float, float, float],
    rated_m2: float | None,
    ladder: tuple[int, int],
    sentence: str,
    units: Units,
    width: float,
    css: str,
) -> str:
    unit, small = unit_for("area", units), width < 500

    def area(m2: float) -> float:
        return from_si(m2, unit)

    most = area(max(new_m2[2], rated_m2 or 0.0, *[one.used_m2 + one.up_to_m2 for one in sets])) * 1.05
    rows = len(sets) + 1.6
    top, bottom, left = 44.0, 44.0, 64.0 if small else 92.0
    height = top + bottom + _ROW * rows
    drawing = Chart(
        width, height, (0.0, most), (0.0, rows), left=left, top=top, bottom=bottom,
        ramp=f"ramp-{ladder[0]}-of-{ladder[1]}",
    )  # fmt: skip
    kilo = most >= 10_000
    ticks = [
        (value, f"{show_number(value / 1000, 1)}k" if kilo else show_number(value, 1))
        for value in nice_ticks(0, most, 4 if small else 8)
    ]
    drawing.foot(ticks, _("Reference area, %(unit)s") % {"unit": UNITS[unit].symbol})
    # A new set: what each line is to be held against.
    y = rows - 0.8
    drawing.words(0, y, _("new"), "bold", "end", dx=-8, dy=5)
    drawing.span(y, *(area(value) for value in new_m2))
    hatch = hatch_id(*ladder, 70)
    for number, one in enumerate(sets):
        y = rows - 2.1 - number
        used = area(one.used_m2)
        drawing.words(0, y, one.code[-6:] if small else one.code or "–", "quiet", "end", dx=-8, dy=5)
        drawing.line([(0, y), (used, y)], "life")
        if one.ended == "worn":
            drawing.block(used, y)
        elif one.ended:
            drawing.point(used, y)
        else:
            low, high = area(one.used_m2 + one.at_least_m2), area(one.used_m2 + one.up_to_m2)
            if high > low:
                edge = 0.28
                drawing.band([(low, y - edge), (high, y - edge)], [(low, y + edge), (high, y + edge)], hatch=hatch)
            drawing.line([(low, y), (used, y)], "likely")
            drawing.tick(area(one.used_m2 + one.likely_m2), y)
    if rated_m2:
        drawing.mark(area(rated_m2), _("rating"), "rated")
    return drawing.svg(sentence, css)
