"""Charts as SVG of attributes and classes: lines, hatched bands, ranges, labels on the marks.

Pure: numbers and words in, text out. A chart is `role=img` with one sentence as its name; the numbers stand beside it
as a table. Lengths are px of the drawing; the classes are those of `.chart` in parts.css. A phone gets a drawing of its
own width (358) beside the desk's, for a shrunken one could not be read.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from typing import Literal

from inventory.gauge import px

__all__ = ["Chart", "nice_ticks", "range_bar"]

Points = Sequence[tuple[float, float]]
Anchor = Literal["start", "middle", "end"]


def nice_ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Round values within low..high, about so many, at steps of 1, 2 or 5 times a power of ten.

    Raises ValueError if high is not above low or `about` is below 2.
    """
    if not high > low:
        raise ValueError(f"`high` must be above `low`, got {low} and {high}")
    if about < 2:
        raise ValueError(f"`about` must be 2 or more, got {about}")
    rough = (high - low) / (about - 1)
    power = 10 ** math.floor(math.log10(rough))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= rough * 0.999)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(at * step, 12) for at in range(first, last + 1)]


class Chart:
    """A drawing that is added to piece by piece; what is added later lies above.

    x, y: (low, high) of the data. left, top, right, bottom: room for the words [px]. ramp: the class that gives `.life`
    and the hatches' neighbours their colour, such as "ramp-6-of-10", or "".
    """

    def __init__(
        self,
        width: float,
        height: float,
        x: tuple[float, float],
        y: tuple[float, float],
        *,
        left: float = 48,
        top: float = 24,
        right: float = 16,
        bottom: float = 40,
        ramp: str = "",
    ) -> None:
        for name, (low, high) in (("x", x), ("y", y)):
            if not high > low:
                raise ValueError(f"the end of `{name}` must be above its start, got {low} and {high}")
        self.width, self.height, self.ramp = width, height, ramp
        self._x, self._y = x, y
        self.left, self.top, self.right, self.bottom = left, top, width - right, height - bottom
        self._parts: list[str] = []

    def x(self, value: float) -> float:
        """Where a value lies across [px]."""
        low, high = self._x
        return self.left + (value - low) / (high - low) * (self.right - self.left)

    def y(self, value: float) -> float:
        """Where a value lies down [px]."""
        low, high = self._y
        return self.bottom - (value - low) / (high - low) * (self.bottom - self.top)

    def _path(self, points: Points, start: str = "M") -> str:
        return start + "L".join(f"{px(self.x(x))} {px(self.y(y))}" for x, y in points)

    def grid(self, ticks: Sequence[tuple[float, str]]) -> None:
        """Thin lines across, with their words at the left."""
        for value, words in ticks:
            y = px(self.y(value))
            self._parts.append(f'<path class="grid" d="M{px(self.left)} {y}H{px(self.right)}"/>')
            self._words(self.left - 8, self.y(value) + 4.5, words, "quiet", "end")

    def foot(self, ticks: Sequence[tuple[float, str]], title: str = "") -> None:
        """The axis at the foot with its ticks and words."""
        self._parts.append(f'<path class="axis" d="M{px(self.left)} {px(self.bottom)}H{px(self.right)}"/>')
        for value, words in ticks:
            x = self.x(value)
            self._parts.append(f'<path class="axis" d="M{px(x)} {px(self.bottom)}v5"/>')
            self._words(x, self.bottom + 20, words, "quiet", "middle")
        if title:
            self._words(self.right, self.bottom + 36, title, "quiet", "end")

    def line(self, points: Points, css: str = "likely") -> None:
        """A line through the points: likely, planned (dashed, with likely), rated, life, trouble, axis."""
        self._parts.append(f'<path class="{css}" d="{self._path(points)}"/>')

    def stairs(self, points: Points, css: str = "likely") -> None:
        """A line that stays until the next point."""
        self.line(_stairs(points), css)

    def band(self, low: Points, high: Points, css: str = "", hatch: str = "") -> None:
        """The area between two lines: by class (band-80, band-50) or hatched (an id such as "h6-10-4" or "hink")."""
        look = f'class="{css}"' if css else f'fill="url(#{hatch or "hink"})"'
        self._parts.append(f'<path {look} d="{self._path(high)}{self._path(list(reversed(low)), "L")}Z"/>')

    def stair_band(self, low: Points, high: Points, css: str = "", hatch: str = "") -> None:
        """A band between two lines that stay until the next point."""
        self.band(_stairs(low), _stairs(high), css, hatch)

    def point(self, x: float, y: float, low: float | None = None, high: float | None = None) -> None:
        """A reading, and its range as an I-bar."""
        if low is not None and high is not None:
            at, top, foot = self.x(x), px(self.y(high)), px(self.y(low))
            ends = f"M{px(at)} {top}V{foot}M{px(at - 5)} {top}h10M{px(at - 5)} {foot}h10"
            self._parts.append(f'<path class="axis" d="{ends}"/>')
        self._parts.append(f'<circle class="point" cx="{px(self.x(x))}" cy="{px(self.y(y))}" r="5"/>')

    def ring(self, x: float, y: float) -> None:
        """Trouble, ringed."""
        self._parts.append(f'<circle class="trouble" cx="{px(self.x(x))}" cy="{px(self.y(y))}" r="7"/>')

    def span(self, y: float, low: float, likely: float, high: float) -> None:
        """A range across with a diamond where it is likely (an arrival)."""
        at, ends = self.y(y), (self.x(low), self.x(high))
        bars = "".join(f"M{px(end)} {px(at - 5)}v10" for end in ends)
        self._parts.append(f'<path class="axis" d="M{px(ends[0])} {px(at)}H{px(ends[1])}{bars}"/>')
        self._parts.append(f'<path class="solid" d="M{px(self.x(likely))} {px(at - 7)}l7 7-7 7-7-7z"/>')

    def block(self, x: float, y: float) -> None:
        """An end that was seen: a filled square."""
        self._parts.append(f'<path class="solid" d="M{px(self.x(x) - 6)} {px(self.y(y) - 6)}h12v12h-12z"/>')

    def tick(self, x: float, y: float) -> None:
        """A likely value on a row: a short line down."""
        self._parts.append(f'<path class="likely" d="M{px(self.x(x))} {px(self.y(y) - 8)}v16"/>')

    def mark(self, x: float, words: str = "", css: str = "axis", down_to: float | None = None) -> None:
        """A line down at a value, its words beside its top (today, order today); down_to: a height it ends at."""
        foot = self.bottom if down_to is None else self.y(down_to)
        self._parts.append(f'<path class="{css}" d="M{px(self.x(x))} {px(self.top - 12)}V{px(foot)}"/>')
        if words:
            late = self.x(x) > (self.left + self.right) / 2
            self._words(self.x(x) + (-8 if late else 8), self.top - 2, words, "bold", "end" if late else "start")

    def words(
        self, x: float, y: float, words: str, css: str = "", anchor: Anchor = "start", dx: float = 0, dy: float = 0
    ) -> None:
        """A label at a place of the data, moved by dx, dy [px]; css: "", quiet, bold, trouble."""
        self._words(self.x(x) + dx, self.y(y) + dy, words, css, anchor)

    def _words(self, x: float, y: float, words: str, css: str, anchor: Anchor) -> None:
        look = f' class="{css}"' if css else ""
        side = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self._parts.append(f'<text{look}{side} x="{px(x)}" y="{px(y)}">{escape(words)}</text>')

    def svg(self, sentence: str, css: str = "") -> str:
        """The whole drawing, called by one sentence; css: more classes, such as "wide-only" or "small-only"."""
        look = " ".join(part for part in ("chart", self.ramp, css) if part)
        return (
            f'<svg class="{look}" role="img" aria-label="{escape(sentence)}" '
            f'viewBox="0 0 {px(self.width)} {px(self.height)}">{"".join(self._parts)}</svg>'
        )


def _stairs(points: Points) -> list[tuple[float, float]]:
    steps: list[tuple[float, float]] = []
    for x, y in points:
        if steps:
            steps.append((x, steps[-1][1]))
        steps.append((x, y))
    return steps


def range_bar(
    low: float, likely: float, high: float, most: float, *, width: float = 140, ramp: str = "", hatch: str = "hink"
) -> str:
    """A range as a bar: solid to `low`, hatched on to `high`, an ink line at `likely`; `most` fills the width [px].

    Decoration beside its numbers. Raises ValueError unless 0 <= low <= likely <= high <= most and most > 0.
    """
    if not (0 <= low <= likely <= high <= most and most > 0):
        raise ValueError(f"`low` <= `likely` <= `high` <= `most` must hold, got {low}, {likely}, {high}, {most}")
    scale = width / most
    start, middle, end = low * scale, likely * scale, high * scale
    solid = f'<path class="solid" d="M1 4h{px(start)}v11h{px(-start)}z"/>' if start >= 0.1 else ""
    look = f"range {ramp}".strip()
    return (
        f'<svg class="{look}" aria-hidden="true" width="{px(width + 4)}" height="19">{solid}'
        f'<path fill="url(#{hatch})" d="M{px(1 + start)} 4h{px(end - start)}v11h{px(start - end)}z"/>'
        f'<path class="r-bar" d="M1 4h{px(end)}v11h{px(-end)}z"/>'
        f'<path class="r-need" d="M{px(1 + middle)} 1V18"/></svg>'
    )
