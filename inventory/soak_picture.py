"""A tub as a picture: an open vessel on a time line, its sets as waves that end in drops. Pure: values in, SVG out.

SCREENS 7 "Soak": wave soaking, hollow drop ready at, solid confirmed, dots planned; hot tubs show their readings.
Lengths are px of the drawing; times are instants: a clock change in the night makes its day an hour shorter or longer.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from html import escape
from typing import Literal

from inventory.gauge import DROP, GaugeFace, gauge_body, px

WIDTH = 640.0
_LEFT, _RIGHT = 4.0, WIDTH - 4
_LANE, _TOP, _READINGS = 58.0, 34.0, 74.0
_GAUGE = (14.0, 30.0)
_MOST_FACES = 5
# Width of one letter of the words, of the small ones and of the stamped grit, for the widest face we lay out for.
_LETTER, _SMALL, _STAMPED = 9.6, 8.6, 13.0

LaneKind = Literal["soaking", "soaked", "conditioned", "planned", "unknown"]


@dataclass(frozen=True)
class Lane:
    """Sets of one type that lie in one tub since the same moment. words: beside the drop; codes: of the sets."""

    grit: str
    faces: Sequence[GaugeFace]
    kind: LaneKind
    begun_at: datetime | None
    ready_at: datetime | None
    words: str
    codes: str = ""


@dataclass(frozen=True)
class Water:
    """A tub's readings. limit: the temperature from which its water is hot, and its words; last_words: "129"."""

    readings: Sequence[tuple[datetime, float]]
    limit: float | None = None
    limit_words: str = ""
    last_words: str = ""


@dataclass(frozen=True)
class Scale:
    """The days of the picture: midnights with their words, where they begin and end, and now."""

    days: Sequence[tuple[datetime, str, bool]]
    end: datetime
    now: datetime
    now_words: str

    def x(self, at: datetime) -> float:
        """Where an instant lies [px], also outside of the picture.

        In UTC: two local times of one zone subtract as wall clocks do, an hour wrong across a clock change.
        """
        start, end, there = (instant.astimezone(UTC) for instant in (self.days[0][0], self.end, at))
        return _LEFT + (there - start) / (end - start) * (_RIGHT - _LEFT)


def day_line(scale: Scale) -> str:
    """The days and "now" above the tubs: decoration beside the words in each tub."""
    parts = []
    ends = [day for day, _words, _today in scale.days[1:]] + [scale.end]
    for (day, words, today), end in zip(scale.days, ends, strict=True):
        middle = (scale.x(day) + scale.x(end)) / 2
        css = "bold" if today else "quiet"
        parts.append(f'<text class="{css}" text-anchor="middle" x="{px(middle)}" y="16">{escape(words)}</text>')
    half = 0.5 * _LETTER * len(scale.now_words) + 8
    at = min(max(scale.x(scale.now), _LEFT + half), _RIGHT - half)
    parts.append(f'<path class="now-box" d="M{px(at - half)} 26h{px(2 * half)}v26h{px(-2 * half)}z"/>')
    parts.append(f'<text class="now-words" text-anchor="middle" x="{px(at)}" y="44">{escape(scale.now_words)}</text>')
    return f'<svg class="chart soak" aria-hidden="true" viewBox="0 0 {px(WIDTH)} 52">{"".join(parts)}</svg>'


def vessel(lanes: Sequence[Lane], water: Water, scale: Scale, sentence: str) -> str:
    """One tub; `sentence` says all of it to whoever does not see it."""
    band = _READINGS if water.limit is not None and water.readings else 0.0
    foot = _TOP + band + max(len(lanes), 1) * _LANE
    parts = [f'<path class="sheet-in" d="M{px(_LEFT)} 16H{px(_RIGHT)}V{px(foot)}H{px(_LEFT)}z"/>']
    parts += [f'<path class="grid" d="M{px(scale.x(day))} 18V{px(foot)}"/>' for day, _w, _t in scale.days[1:]]
    parts.append(_wave(_LEFT, _RIGHT, 16.0, "wave"))
    if band:
        parts.append(_readings(water, scale, _TOP, _TOP + band))
    now = px(scale.x(scale.now))
    parts.append(f'<path class="axis" d="M{now} 0V{px(foot)}"/>')
    for number, lane in enumerate(lanes):
        parts.append(_lane(lane, scale, _TOP + band + (number + 0.5) * _LANE))
    parts.append(f'<path class="vessel" d="M{px(_LEFT)} 8V{px(foot)}H{px(_RIGHT)}V8"/>')
    return (
        f'<svg class="chart soak" role="img" aria-label="{escape(sentence)}" '
        f'viewBox="0 0 {px(WIDTH)} {px(foot + 3)}">{"".join(parts)}</svg>'
    )


def _wave(start: float, end: float, y: float, css: str) -> str:
    """Half waves of 7 px from start to end."""
    count = max(1, round((end - start) / 7))
    step = (end - start) / count
    path = f"M{px(start)} {px(y)}q{px(step / 2)} -5 {px(step)} 0" + f"t{px(step)} 0" * (count - 1)
    return f'<path class="{css}" d="{path}"/>'


def _readings(water: Water, scale: Scale, top: float, foot: float) -> str:
    """Readings as points on a line, and the limit as a dashed one."""
    assert water.limit is not None
    shown = [(scale.x(at), value) for at, value in water.readings if scale.x(at) >= _LEFT]
    values = [value for _x, value in shown] + [water.limit]
    low, high = min(values) - 1.0, max(values) + 1.0
    if high - low < 12:
        low, high = (low + high) / 2 - 6, (low + high) / 2 + 6

    def y(value: float) -> float:
        return foot - 8 - (value - low) / (high - low) * (foot - top - 20)

    limit = y(water.limit)
    parts = [f'<path class="limit" d="M{px(_LEFT + 6)} {px(limit)}H{px(_RIGHT - 6)}"/>']
    if shown:
        path = "M" + "L".join(f"{px(x)} {px(y(value))}" for x, value in shown)
        parts.append(f'<path class="likely" d="{path}"/>')
        parts += [f'<circle class="point" cx="{px(x)}" cy="{px(y(value))}" r="4.5"/>' for x, value in shown]
        x, value = shown[-1]
        late = x > _RIGHT - 60
        anchor = ' text-anchor="end"' if late else ""
        place = f'x="{px(x - 10 if late else x + 10)}" y="{px(y(value) + 5)}"'
        parts.append(f'<text class="bold edged"{anchor} {place}>{escape(water.last_words)}</text>')
    # The limit's words stand at the end that holds no readings.
    left = not shown or shown[0][0] > _LEFT + _LETTER * len(water.limit_words) + 20
    at, anchor = (_LEFT + 10, "start") if left else (_RIGHT - 10, "end")
    words = escape(water.limit_words)
    parts.append(
        f'<text class="limit-words edged" text-anchor="{anchor}" x="{px(at)}" y="{px(limit - 6)}">{words}</text>'
    )
    return "".join(parts)


def _lane(lane: Lane, scale: Scale, y: float) -> str:
    """Grit and gauges, the wave from the beginning, the drop at the end, its words."""
    faces = lane.faces[:_MOST_FACES]
    more = f" ×{len(lane.faces)}" if len(lane.faces) > _MOST_FACES else ""
    label = _STAMPED * len(lane.grit + more) + 6 + len(faces) * (_GAUGE[0] + 4)
    begun = scale.x(lane.begun_at) if lane.begun_at is not None else _LEFT
    ready = scale.x(lane.ready_at) if lane.ready_at is not None else None
    least, most = _LEFT + 14 + label, _RIGHT - 26
    from_x = min(max(begun, least), most)
    parts = [_label(lane.grit + more, faces, from_x - 6, y)]
    if begun < _LEFT:
        parts.append(f'<path class="before" d="M{px(_LEFT + 10)} {px(y - 5)}l-6 5 6 5z"/>')
    past = lane.kind in ("soaked", "conditioned")
    drop = None if ready is None or ready > _RIGHT - 10 else max(ready, from_x + 10)
    to_x = drop - 8 if drop is not None else _RIGHT - 8
    if to_x - from_x > 8:
        if lane.kind == "planned":
            parts.append(f'<path class="planned-soak" d="M{px(from_x)} {px(y)}H{px(to_x)}"/>')
        elif lane.kind != "unknown":
            parts.append(_wave(from_x, to_x, y, "wave deep"))
    if drop is not None:
        css = "g-d" if lane.kind == "conditioned" else "g-dh"
        parts.append(f'<path class="{css}" transform="translate({px(drop)} {px(y - 13)}) scale(1.8)" d="{DROP}"/>')
    if past and drop is not None and _RIGHT - 8 - (drop + 14) > 4:
        parts.append(f'<path class="ready-line" d="M{px(drop + 14)} {px(y)}H{px(_RIGHT - 6)}"/>')
    parts.append(_past_words(lane, drop, y) if past and drop is not None else _lane_words(lane, drop, y, from_x))
    return "".join(parts)


def _lane_words(lane: Lane, drop: float | None, y: float, from_x: float) -> str:
    """The words right of the drop, or left of it above the wave, or above all of it; the codes below the wave."""
    width = _LETTER * len(lane.words)
    at = f'text-anchor="end" x="{px(_RIGHT - 8)}" y="{px(y - 17)}"'
    if drop is not None and drop + 16 + width < _RIGHT - 6:
        at = f'x="{px(drop + 16)}" y="{px(y + 5)}"'
    elif drop is not None and drop - 14 - width > from_x:
        at = f'text-anchor="end" x="{px(drop - 14)}" y="{px(y - 9)}"'
    said = f'<text class="bold edged" {at}>{escape(lane.words)}</text>'
    return said + _below(lane.codes, from_x, y)


def _past_words(lane: Lane, drop: float, y: float) -> str:
    """The words of a soak that is over: above its line, what is too long for it below, and the codes there too."""
    start = drop + 16
    room = max(8, int((_RIGHT - 6 - start) / _LETTER))
    first, *rest = textwrap.wrap(lane.words, room) or [""]
    said = f'<text class="words-ready edged" x="{px(start)}" y="{px(y - 8)}">{escape(first)}</text>'
    return said + _below(" · ".join(filter(None, (" ".join(rest), lane.codes))), start, y)


def _below(words: str, start: float, y: float) -> str:
    """Small words under a lane's line, cut where the tub ends."""
    if not words:
        return ""
    words = textwrap.shorten(words, max(8, int((_RIGHT - 6 - start) / _SMALL)), placeholder=" …")
    return f'<text class="lane-codes edged" x="{px(start)}" y="{px(y + 21)}">{escape(words)}</text>'


def _label(grit: str, faces: Sequence[GaugeFace], end: float, y: float) -> str:
    """The stamped grit and the gauges, right edge at `end`, on ground of their own so that lines do not cross them."""
    width, height = _GAUGE
    start = end - len(faces) * (width + 4)
    whole = _STAMPED * len(grit) + 6 + len(faces) * (width + 4)
    left = px(end - whole - 2)
    parts = [f'<path class="sheet-in" d="M{left} {px(y - 24)}H{px(end + 4)}V{px(y + 20)}H{left}z"/>']
    parts.append(f'<text class="lane-grit" text-anchor="end" x="{px(start - 5)}" y="{px(y + 8)}">{escape(grit)}</text>')
    for number, face in enumerate(faces):
        at = f"translate({px(start + 2 + number * (width + 4))} {px(y - height / 2)})"
        parts.append(f'<g class="gauge {face.ramp}" transform="{at}">{gauge_body(face, width, height)}</g>')
    return "".join(parts)
