"""The picture of one tool type's reorder: need climbs, life here is a hatched band that steps up at arrivals."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Literal

import numpy as np
from django.utils import formats
from django.utils.translation import gettext as _

from inventory.chart import Chart, nice_ticks
from inventory.units import Units, from_si, show_number, unit_for
from jobs.forecast_result import SHOW_DAY_WITHIN, TypeForecast, WeekNeed
from jobs.forecast_words import month_or_week

# At least so many weeks are drawn, and so many beyond the day it may run short.
_LEAST_WEEKS, _WEEKS_BEYOND = 13, 6
# Width of a letter of the bold words of a chart (13 px) in a wide face, px: a mean, measured at 7.8 in DejaVu Sans.
_WIDEST = 8.0
Stairs = list[tuple[float, float]]


def reorder_charts(one: TypeForecast, today: date, place: int, count: int, units: Units) -> str:
    """The drawing of the desk and that of a phone, both with one sentence as their name.

    place, count: of the type on the ladder, 0 = coarsest; the page says `{% uses_ladder count %}`.
    """
    weeks = shown_weeks(one, today)
    wide = _draw(one, today, weeks, place, count, units, 800, 330)
    small = _draw(one, today, weeks, place, count, units, 358, 300)
    said = sentence(one, today)
    return wide.svg(said, "wide-only") + small.svg(said, "small-only")


def shown_weeks(one: TypeForecast, today: date) -> tuple[WeekNeed, ...]:
    """The weeks worth drawing: to some weeks beyond the day it may run short, a quarter at least."""
    wanted = _LEAST_WEEKS
    last = max((day for day in (one.short_on, one.order_by, one.arrives_on) if day is not None), default=today)
    wanted = max(wanted, (last - today).days // 7 + _WEEKS_BEYOND)
    return one.weeks[:wanted]


def sentence(one: TypeForecast, today: date) -> str:
    """What the picture shows, in one sentence."""
    if one.short_on is None:
        return _("%(name)s: the life here covers the need of the next %(weeks)d weeks.") % {
            "name": one.name,
            "weeks": len(one.weeks),
        }
    facts = {"name": one.name, "when": month_or_week(one.short_on, today)}
    if one.life_is_spread:
        return _("%(name)s: new sets may run out from %(when)s, though the area left would do.") % facts
    return _("%(name)s: may run short from %(when)s.") % facts


def _about(day: date, today: date) -> str:
    """A day on the picture: itself within the days that are shown, else its week."""
    if (day - today).days <= SHOW_DAY_WITHIN:
        return str(formats.date_format(day, "j M"))
    return _("week of %(day)s") % {"day": formats.date_format(day - timedelta(days=day.weekday()), "j M")}


def _draw(
    one: TypeForecast,
    today: date,
    weeks: Sequence[WeekNeed],
    place: int,
    count: int,
    units: Units,
    width: int,
    height: int,
) -> Chart:
    unit = unit_for("area", units)
    days = [0.0] + [float((week.ends_on - today).days + 1) for week in weeks]
    end = days[-1]
    here, after = _stairs(one, today, end, advised=False), _stairs(one, today, end, advised=True)
    top = max([weeks[-1].high_m2, *(point[1] for line in (*here, *after) for point in line)]) * 1.1 or 1.0
    phone = width < 500
    chart = Chart(
        width, height, (0, end), (0, top), left=54 if phone else 70, top=34, right=8 if phone else 16,
        ramp=f"ramp-{place}-of-{count}",
    )  # fmt: skip
    scale = from_si(1.0, unit)
    chart.grid([(tick / scale, _short(tick)) for tick in nice_ticks(0, top * scale, 4 if phone else 5)])

    def added(name: str) -> Stairs:
        return list(zip(days, [0.0, *(getattr(week, name) for week in weeks)], strict=True))

    hatch = f"h{place}-{count}-4"
    if after != here:
        # Of the life after the order only what the order adds: it begins where the order arrives.
        _band(chart, [_from(line, _arrival(one, today)) for line in after], hatch, "life planned", end)
    _band(chart, here, hatch, "life", end)
    chart.band(added("low_m2"), added("high_m2"), css="band-80")
    chart.band(added("quarter_m2"), added("three_quarters_m2"), css="band-50")
    chart.line(added("likely_m2"), "likely")
    _label(chart, one, today, end, added("likely_m2"), added("high_m2"), here, after, top, phone)
    first = today + timedelta(days=7 - today.weekday())
    step = max(1, round(len(weeks) / (3 if phone else 6)))
    ticks = [(0.0, show_number(today.day) + " " + formats.date_format(today, "M"))]
    for week in range(step, len(weeks), step):
        monday = first + timedelta(weeks=week - 1)
        ticks.append((float((monday - today).days), formats.date_format(monday, "j M")))
    chart.foot(ticks)
    return chart


def _short(value: float) -> str:
    """ "400k": a tick of the axis in the person's unit."""
    return show_number(value / 1000, 1) + "k" if value >= 10_000 else show_number(value)


def _arrival(one: TypeForecast, today: date) -> float:
    return float((one.arrives_on - today).days) if one.arrives_on is not None else 0.0


def _stairs(one: TypeForecast, today: date, end: float, *, advised: bool) -> tuple[Stairs, Stairs, Stairs]:
    """Life here by day, at least, likely and up to: a step up at every arrival, with the advised order or without."""
    come = [(float((arrival.day - today).days), arrival.sets) for arrival in one.arrivals]
    if advised and one.sets and one.arrives_on is not None:
        come.append((_arrival(one, today), one.sets))
    low, likely, high = ([(0.0, value)] for value in one.life_here_m2)
    total = 0
    spread = (one.life_here_m2[1] - one.life_here_m2[0], one.life_here_m2[2] - one.life_here_m2[1])
    new = (one.new_life_m2[1] - one.new_life_m2[0], one.new_life_m2[2] - one.new_life_m2[1])
    for day, sets in sorted(come):
        if day > end:
            continue
        total += sets
        middle = one.life_here_m2[1] + total * one.new_life_m2[1]
        # As in jobs.forecast: likely values added, ranges as if independent.
        below, above = (float(np.hypot(here, np.sqrt(total) * fresh)) for here, fresh in zip(spread, new, strict=True))
        low.append((day, max(0.0, middle - below)))
        likely.append((day, middle))
        high.append((day, middle + above))
    for line in (low, likely, high):
        line.append((end, line[-1][1]))
    return low, likely, high


def _from(line: Stairs, day: float) -> Stairs:
    """The part of a stair from a day on, its riser included."""
    before = [value for at, value in line if at < day]
    return [(day, before[-1] if before else line[0][1]), *(point for point in line if point[0] >= day)]


def _band(chart: Chart, lines: Sequence[Stairs], hatch: str, css: str, end: float) -> None:
    low, likely, high = lines
    chart.stair_band(low, high, hatch=hatch)
    chart.stairs(likely, css)


def _at(line: Stairs, day: float) -> float:
    return float(np.interp(day, [x for x, _y in line], [y for _x, y in line]))


def _within(chart: Chart, x: float, words: str, *, late: bool) -> tuple[Literal["start", "end"], float]:
    """The anchor of words beside a leader's end at x, and how far off it, px, so that they stay on the drawing."""
    wide = len(words) * _WIDEST
    if late:
        over = chart.left - (x - 4 - wide)
        return "end", -4 + max(0.0, over)
    over = (x + 4 + wide) - (chart.width - 4)
    return "start", 4 - max(0.0, over)


def _label(
    chart: Chart, one: TypeForecast, today: date, end: float, likely: Stairs, high: Stairs,
    here: tuple[Stairs, Stairs, Stairs], after: tuple[Stairs, Stairs, Stairs], top: float, phone: bool,
) -> None:  # fmt: skip
    """The words on the marks: what is what, when it arrives, when it runs short, when to order."""
    level_per_px = top / (chart.bottom - chart.top)
    if after != here and not phone:
        chart.words(end, after[2][-1][1], _("life here after this order"), "", "end", -4, -6)
    words = _("life here") if after == here else _("life here without it")
    chart.words(0, here[2][0][1], words, "", "start", 6, -6)
    if likely[-1][1] > 0:
        chart.words(end, likely[-1][1], _("need, added up"), "bold", "end", -4, 20)
    if one.short_on is not None and (short := float((one.short_on - today).days)) <= end:
        level = _at(high, short)
        late = chart.x(short) > (chart.left + chart.right) * 0.6
        # The words stand off the mark, on a leader, clear of what is drawn around it.
        side, rise = (-26 if late else 26), (46 if chart.y(level) > chart.top + 70 else -46)
        if phone and abs(chart.y(level) - rise - chart.y(here[2][0][1])) < 22:
            rise += 22 if rise > 0 else -22  # nor on the words of the life here
        per_px = (end / (chart.right - chart.left), level_per_px)
        chart.line([(short, level), (short + side * per_px[0], level + rise * per_px[1])], "trouble")
        chart.ring(short, level)
        words = _("new sets may run out from %(day)s") if one.life_is_spread else _("may run short from %(day)s")
        words %= {"day": _about(one.short_on, today)}
        anchor, dx = _within(chart, chart.x(short) + side, words, late=late)
        chart.words(short, level, words, "trouble", anchor, side + dx, -rise + (2 if rise > 0 else 12))
    if one.order_by is not None:
        at = max(0.0, float((one.order_by - today).days))
        if at <= end:
            words = _("order today") if at == 0 else _("order by %(day)s") % {"day": _about(one.order_by, today)}
            chart.mark(at, words)
