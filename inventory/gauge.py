"""The gauge: one drawing for a set, 8 to 70 px wide, as an SVG fragment of attributes and classes only.

Pure: no Django, no database, no clock. Colours come from `ramp.css` and `tokens.css` by class, so one drawing serves
light, night and paper. Lengths are px, life is a share 0..1 of a new set of the type.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape
from typing import Literal, NamedTuple

__all__ = ["STATES", "GaugeFace", "StateLook", "bond_path", "gauge", "gauge_body", "gauge_defs"]
__all__ += ["hatch_id", "notch", "px", "shared_shapes"]

Bond = Literal["metal", "hybrid", "resin"]
Water = Literal["", "dry", "soaking", "soaked", "conditioned"]
Where = Literal["here", "in_water", "out", "aside", "missing"]


class StateLook(NamedTuple):
    """How a state is shown beside its word: the mark's name and the colour class."""

    mark: str
    colour: str


# Shape, word, colour (SCREENS 3); the word is the page's, for it holds times and names.
STATES: dict[str, StateLook] = {
    "conditioned": StateLook("drop", "ready"),
    "soaked": StateLook("drop-hollow", "ready"),
    "soaking": StateLook("ripples", "water"),
    "dry": StateLook("drop-struck", "dry"),
    "yes": StateLook("tick", "ready"),
    "tight": StateLook("gauge-half", "dry"),
    "no": StateLook("gauge-empty", "short"),
    "missing": StateLook("gauge-missing", "stop"),
    "out": StateLook("gauge-out", "ink"),
    "aside": StateLook("gauge-barred", "ink"),
    "glazed": StateLook("glazed", "ink"),
    "leaves": StateLook("leaves", "ink"),
    "refused": StateLook("cross", "stop"),
    "elsewhere": StateLook("swap", "ink"),
    "asks": StateLook("ask", "dry"),
    "no_signal": StateLook("no-signal", "ink"),
    "locked": StateLook("lock", "ink"),
    "caution": StateLook("caution", "stop"),
}

DROP = "M0 0C3.2 4 4.8 6.3 4.8 8.6A4.8 4.8 0 0 1-4.8 8.6C-4.8 6.3-3.2 4 0 0Z"
DROP_HEIGHT = 13.4
_PITCHES = (3, 4, 6)
_BONDS: tuple[Bond, ...] = ("metal", "hybrid", "resin")
_BONDS_BY_LETTER: dict[str, Bond] = {bond[0]: bond for bond in _BONDS}


@dataclass(frozen=True)
class GaugeFace:
    """What a gauge shows of one set.

    ladder_place: 0 (coarsest) to ladder_count - 1. at_least, likely, up_to: life left [share of a new set, 0..1].
    need: what a step needs [share], or None; enough: "yes", "tight", "no" or "" (not asked). state: the words of the
    state, used in the name. name: what a screen reader says; "" makes the drawing decoration.
    """

    ladder_place: int
    ladder_count: int
    bond: Bond = "resin"
    at_least: float = 1.0
    likely: float = 1.0
    up_to: float = 1.0
    state: str = ""
    where: Where = "here"
    water: Water = ""
    glazed: bool = False
    aside: bool = False
    missing: bool = False
    out: bool = False
    need: float | None = None
    enough: Literal["", "yes", "tight", "no"] = ""
    leaves: bool = False
    name: str = ""
    plain: bool = False  # a tool type, not a set: full, no likely line

    def __post_init__(self) -> None:
        if not 0 <= self.ladder_place < self.ladder_count:
            raise ValueError(f"`ladder_place` must lie in 0..{self.ladder_count - 1}, got {self.ladder_place}")
        if not 0 <= self.at_least <= self.likely <= self.up_to:
            raise ValueError(
                "`at_least` <= `likely` <= `up_to` must hold from 0 on, "
                f"got {self.at_least}, {self.likely}, {self.up_to}"
            )

    @property
    def is_missing(self) -> bool:
        return self.missing or self.where == "missing"

    @property
    def is_out(self) -> bool:
        return self.out or self.where == "out"

    @property
    def is_aside(self) -> bool:
        return self.aside or self.where == "aside"

    @property
    def ramp(self) -> str:
        """The class that gives the colour."""
        return f"ramp-{self.ladder_place}-of-{self.ladder_count}"


def px(value: float) -> str:
    """A length with at most one decimal, as short as SVG allows."""
    text = f"{value:.1f}".rstrip("0").rstrip(".")
    if text in ("-0", ""):
        return "0"
    return text.replace("0.", ".", 1) if text.startswith(("0.", "-0.")) else text


def hatch_id(place: int, count: int, width: float) -> str:
    """The id of the hatch for a gauge of this width: pitch 3 under 16 px, 6 above 60, else 4."""
    return f"h{place}-{count}-{3 if width < 16 else 6 if width > 60 else 4}"


def gauge_defs(*counts: int) -> str:
    """The hatches of ladders of these many places, and the water, once a page, outside of every hidden element."""
    parts = ['<svg class="defs" aria-hidden="true" focusable="false"><defs>']
    for count, place, pitch in ((n, place, pitch) for n in counts for place in range(n) for pitch in _PITCHES):
        parts.append(
            f'<pattern id="h{place}-{count}-{pitch}" class="ramp-{place}-of-{count}" width="{pitch}" '
            f'height="{pitch}" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
            f'<path class="p-h" stroke-width="{px(0.46 * pitch)}" d="M{px(pitch / 2)} 0V{pitch}"/></pattern>'
        )
    for name, colour in (("hink", "p-i"), ("hdry", "p-d"), ("hshort", "p-o"), ("hword", "p-v")):
        parts.append(
            f'<pattern id="{name}" width="4" height="4" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
            f'<path class="{colour}" stroke-width="1.8" d="M2 0V4"/></pattern>'
        )
    parts.append(
        '<pattern id="rip" width="8" height="6.5" patternUnits="userSpaceOnUse"><path class="p-ws" d="M0 0H8V6.5H0Z"/>'
        '<path class="p-w" d="M-2 4Q0 1.6 2 4T6 4T10 4"/></pattern>'
        '<pattern id="rip-s" width="5" height="5" patternUnits="userSpaceOnUse"><path class="p-ws" d="M0 0H5V5H0Z"/>'
        '<path class="p-w" stroke-width="1.5" d="M-1.25 3Q0 1.25 1.25 3T3.75 3T6.25 3"/></pattern></defs></svg>'
    )
    return "".join(parts)


def _corners(bond: Bond, width: float) -> tuple[tuple[str, float], tuple[str, float]]:
    """Kind and size of the left and the right corner of the cap."""
    cut, round_ = ("cut", min(5.0, 0.26 * width)), ("round", min(width / 2, 9.0))
    return {"metal": (cut, cut), "resin": (round_, round_), "hybrid": (cut, round_)}[bond]


def _inset(kind: str, size: float, y: float) -> float:
    """How far a corner reaches in at depth `y` below the top."""
    if y >= size:
        return 0.0
    return size - y if kind == "cut" else size - math.sqrt(max(size * size - (size - y) ** 2, 0.0))


def _band(bond: Bond, width: float, top: float, foot: float) -> str:
    """The part of the gauge between two depths, its sides on the outline."""
    (left, left_size), (right, right_size) = _corners(bond, width)
    if top >= max(left_size, right_size):
        return f"M0 {px(foot)}V{px(top)}H{px(width)}V{px(foot)}Z"
    path = [f"M{px(_inset(left, left_size, foot))} {px(foot)}"]
    if foot > left_size:
        path.append(f"V{px(left_size)}")
    if top < left_size:
        corner = f"{px(_inset(left, left_size, top))} {px(top)}"
        path.append(f"L{corner}" if left == "cut" else f"A{px(left_size)} {px(left_size)} 0 0 1 {corner}")
    else:
        path.append(f"V{px(top)}")
    path.append(f"H{px(width - _inset(right, right_size, top))}")
    if top < right_size:
        depth = min(right_size, foot)
        corner = f"{px(width - _inset(right, right_size, depth))} {px(depth)}"
        path.append(f"L{corner}" if right == "cut" else f"A{px(right_size)} {px(right_size)} 0 0 1 {corner}")
    path.append(f"V{px(foot)}Z")
    return "".join(path)


def bond_path(bond: Bond, width: float, height: float) -> str:
    """The outline of a gauge: the cap tells the bond."""
    return _band(bond, width, 0.0, height)


def gauge_body(face: GaugeFace, width: float, height: float, *, shared: str = "") -> str:
    """The drawing inside a box of width x height [px], origin at its upper left; things may stand above and below.

    shared: prefix of the shapes of `shared_shapes(prefix, width, height)` standing elsewhere on the page, which keeps a
    rack of many gauges small; "" draws everything itself.
    """

    def draw(letter: str) -> str:
        if shared:
            return f'<use href="#{shared}{letter}"/>'
        return _shape(letter, face.bond, width, height)

    bond = face.bond[0]
    parts = [draw(f"s{bond}")]
    if not face.is_missing:
        low, high = (1.0, 1.0) if face.plain else (min(face.at_least, 1.0), min(face.up_to, 1.0))
        if (high - low) * height >= 0.5:
            hatch = hatch_id(face.ladder_place, face.ladder_count, width)
            band = _band(face.bond, width, (1 - high) * height, (1 - low) * height)
            parts.append(f'<path class="g-h" fill="url(#{hatch})" d="{band}"/>')
        if low * height >= 0.3:
            parts.append(f'<path d="{_band(face.bond, width, (1 - low) * height, height)}"/>')
        if face.water in ("soaking", "soaked"):
            parts.append(draw("w"))
    parts.append(draw(f"o{bond}"))
    over = _overhang(width)
    if face.is_missing:
        parts.append(draw("q"))
    elif not face.plain:
        y = px((1 - min(face.likely, 1.0)) * height)
        line = f'<use href="#{shared}l" y="{y}"/>' if shared else _likely(width, y)
        parts.append(line)
    if face.is_aside:
        parts.append(draw("b"))
    drop = not face.is_missing and face.water in ("conditioned", "soaked")
    if drop:
        parts.append(draw("d" if face.water == "conditioned" else "u"))
    if face.glazed:
        # Beside a drop the strokes lie on the cap itself, else they stand above it.
        parts.append(draw("c" if drop else "g"))
    if face.need is not None:
        y = px((1 - min(max(face.need, 0.0), 1.06)) * height)
        tight = " tight" if face.enough == "tight" else ""
        parts.append(f'<path class="g-n{tight}" d="M-{over + 2} {y}H{px(width + over + 2)}"/>')
    if face.leaves:
        parts.append(draw("t"))
    body = "".join(parts)
    if face.is_missing:
        return f'<g class="g-gone">{body}</g>'
    return f'<g class="g-out">{body}</g>' if face.is_out else body


def shared_shapes(prefix: str, width: float, height: float) -> str:
    """The shapes that all gauges of one size share, for a `<defs>`: see `gauge_body`."""
    letters = [f"{kind}{bond[0]}" for kind in "so" for bond in _BONDS] + list("wlqbdugct")
    return "".join(
        f'<g id="{prefix}{letter}">{_shape(letter, _BONDS_BY_LETTER.get(letter[-1], "resin"), width, height)}</g>'
        for letter in letters
    )


def _overhang(width: float) -> int:
    return 1 if width < 12 else 2


def _likely(width: float, y: str) -> str:
    over = _overhang(width)
    return f'<path class="{"g-l thin" if width < 16 else "g-l"}" d="M-{over} {y}H{px(width + over)}"/>'


def _shape(letter: str, bond: Bond, width: float, height: float) -> str:
    """One shape by its letter: s sheet, o outline, w water, l likely at 0, q question, b bar, d drop, u hollow drop,
    g strokes above, c strokes on the cap, t triangle below."""
    over = _overhang(width)
    kind = letter[0]
    if kind in "so":
        css = "g-s" if kind == "s" else "g-o" if width < 30 else "g-o big"
        return f'<path class="{css}" d="{bond_path(bond, width, height)}"/>'
    if kind == "w":
        pattern, pitch = ("rip", 6.5) if width >= 12 else ("rip-s", 5.0)
        waves = max(2, round(0.42 * height / pitch)) * pitch
        # Shifted so that whole waves end at the foot.
        return (
            f'<path fill="url(#{pattern})" transform="translate(0 {px(height - waves)})" '
            f'd="M-{over} 0H{px(width + over)}V{px(waves)}H-{over}Z"/>'
        )
    if kind == "l":
        return _likely(width, "0")
    if kind == "q":
        size = " small" if width < 14 else " big" if width > 40 else ""
        return f'<text class="g-q{size}" x="{px(width / 2)}" y="{px(height * 0.62)}">?</text>'
    if kind == "b":
        bar = min(max(0.1 * height, 3.0), 9.0)
        ends = f"M-{over + 1} {px(height / 2)}H{px(width + over + 1)}"
        return (
            f'<path class="g-bs" stroke-width="{px(bar + 3)}" d="{ends}"/>'
            f'<path class="g-b" stroke-width="{px(bar)}" d="{ends}"/>'
        )
    if kind in "du":
        scale = _drop_scale(width, height)
        return (
            f'<path class="{"g-d" if kind == "d" else "g-dh"}" d="{DROP}" '
            f'transform="translate({px(width / 2)} {px(-2 - DROP_HEIGHT * scale)}) scale({scale:.2f})"/>'
        )
    if kind in "gc":
        foot, lean, rise = (-2.5, 3.0, 7.0) if kind == "g" else (8.0, 2.0, 6.0)
        gap = min(max(0.24 * width, 2.5), 8.0)
        strokes = "".join(
            f"M{px(width / 2 + step * gap - lean / 2)} {px(foot)}l{px(lean)} {px(-rise)}" for step in (-1, 0, 1)
        )
        return f'<path class="g-g" d="{strokes}"/>'
    return f'<path class="g-t" d="M{px(width / 2)} {px(height + 4)}l4.5 6h-9z"/>'


def _drop_scale(width: float, height: float) -> float:
    return min(max(0.25 * height, 7.0), 17.0, 0.95 * width) / DROP_HEIGHT


def gauge(face: GaugeFace, width: float = 26, height: float = 48, *, lane: bool = True) -> str:
    """One gauge as a whole `<svg>`; width and height [px] are the box, drops and overhang come on top.

    lane: keep the room above for a drop even if there is none, so that gauges in a line stand on one foot.
    """
    above = 2 + max(DROP_HEIGHT * _drop_scale(width, height), 9.0) if lane else 2.0
    below, side = 2.0, 4.0  # a triangle below overflows: gauges in a line keep one foot
    label = f'role="img" aria-label="{escape(face.name)}"' if face.name else 'aria-hidden="true"'
    return (
        f'<svg class="gauge {face.ramp}" {label} width="{px(width + 2 * side)}" height="{px(height + above + below)}" '
        f'viewBox="{px(-side)} {px(-above)} {px(width + 2 * side)} {px(height + above + below)}">'
        f"{gauge_body(face, width, height)}</svg>"
    )


def notch(place: int, count: int, name: str = "") -> str:
    """The ladder notch: `count` thin ticks, the set's place (0 coarse) thick."""
    if not 0 <= place < count:
        raise ValueError(f"`place` must lie in 0..{count - 1}, got {place}")
    x, ticks = 0.0, []
    for at in range(count):
        wide, top = (4.0, 0.0) if at == place else (1.2, 6.0)
        ticks.append(f"M{px(x)} {px(top)}h{px(wide)}V18h-{px(wide)}Z")
        x += wide + 3.0
    label = f'role="img" aria-label="{escape(name)}"' if name else 'aria-hidden="true"'
    return f'<svg class="notch" {label} viewBox="0 0 {px(x - 3)} 18"><path d="{"".join(ticks)}"/></svg>'
