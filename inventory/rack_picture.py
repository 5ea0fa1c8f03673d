"""The rack as a picture: gauges on their shelves, row by row, as SVG. Pure: values in, drawings out.

Layout rules of SCREENS 4. Lengths are px of the drawing, areas m2. A row that would need more shelves than there are is
drawn as one silhouette per group (the sets sorted by life make a stair), so that the bytes do not grow with the shop.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from html import escape

from inventory.codes import PREFIX
from inventory.gauge import GaugeFace, gauge_body, hatch_id, px, shared_shapes

__all__ = ["GROUPS", "RackGauge", "RackPicture", "RackRow", "arranged", "brief_names", "rack_picture"]

GROUPS = ("here", "in_water", "out", "aside", "missing")
LEAST_PITCH, MOST_PITCH = 11.6, 44.0
PER_SHELF = 75
DESK_WIDTH, PHONE_WIDTH = 888.0, 262.0
DESK_SHELVES, PHONE_SHELVES = 2, 1
_LANE = 16.0
_SAMPLES = 32
_BRIEF = 4


@dataclass(frozen=True)
class RackGauge:
    """One set in the picture. `face.name` is read out and shown in the strip; `code` whole; `url` its ledger card.

    brief: what stands under its gauge (`brief_names`).
    """

    face: GaugeFace
    code: str
    url: str
    brief: str = ""


def brief_names(tags: Sequence[tuple[str, str]]) -> list[str]:
    """What stands under each gauge of a row: the end of the shop's own tag, else of the code, four characters at most.

    tags: (code, own tag beside it) of each set; a set without a label has its own tag as code. An own tag whose end
    another one of the row has too says nothing: there it is the code's end.
    """
    ends = [_end(own, _BRIEF) for _code, own in tags]
    often = Counter(ends)
    found = []
    for (code, _own), end in zip(tags, ends, strict=True):
        told_apart = end and often[end] == 1
        found.append(end if told_apart else _end(code, 3 if code.startswith(PREFIX) else _BRIEF))
    return found


def _end(tag: str, most: int) -> str:
    end = tag.strip()[-most:]
    return end.lstrip(" -_./#") or end


@dataclass(frozen=True)
class RackRow:
    """One grit of one bond.

    life: (at least, likely, up to) of the sets here [m2] or None; need: of the next twelve weeks [m2] or None.
    note: under the grit ("metal · 9 sets"), on the phone the bond alone if it is given; life_words ("520,000 ft2");
    cover: "covers", "may_run_short", "short" or "".
    """

    grit: str
    note: str
    url: str
    ladder_place: int
    ladder_count: int
    gauges: Sequence[RackGauge]
    life: tuple[float, float, float] | None = None
    need: float | None = None
    life_words: str = ""
    cover: str = ""
    cover_words: str = ""
    own_mark: str = ""
    bond: str = ""


@dataclass(frozen=True)
class DrawnRow:
    """A row with its drawings: `middle` (desk), `phone`, `bar` (life against need); folded: drawn as silhouettes."""

    row: RackRow
    middle: str
    phone: str
    bar: str
    folded: bool

    @property
    def cover_class(self) -> str:
        return {"may_run_short": "dry", "short": "stop"}.get(self.row.cover, "")

    @property
    def ramp(self) -> str:
        return f"ramp-{self.row.ladder_place}-of-{self.row.ladder_count}"


@dataclass(frozen=True)
class RackPicture:
    """The whole picture. pitch: distance of gauges at the desk [px]; outlines: shared shapes, once before the rows."""

    rows: tuple[DrawnRow, ...]
    pitch: float
    outlines: str

    @property
    def shows_codes(self) -> bool:
        return self.pitch >= 30


def group_of(face: GaugeFace) -> str:
    """On which shelf a gauge stands; trouble wins over place."""
    if face.is_missing:
        return "missing"
    if face.is_aside:
        return "aside"
    if face.is_out:
        return "out"
    return "in_water" if face.where == "in_water" else "here"


def arranged(gauges: Iterable[RackGauge]) -> list[tuple[str, list[RackGauge]]]:
    """The groups of a row in their order; in each conditioned before dry, then most life first."""
    found: dict[str, list[RackGauge]] = {name: [] for name in GROUPS}
    for one in gauges:
        # Glazed sets stand with those set aside: both wait for somebody's hand.
        found["aside" if one.face.glazed and group_of(one.face) == "here" else group_of(one.face)].append(one)
    for sets in found.values():
        sets.sort(key=lambda one: (one.face.water != "conditioned", -one.face.likely, one.code))
    return [(name, sets) for name, sets in found.items() if sets]


def _gap(pitch: float) -> float:
    return min(max(0.62 * pitch, 12.0), 24.0)


def fitting_pitch(rows: Iterable[Sequence[tuple[str, Sequence[RackGauge]]]], free: float, shelves: int) -> float:
    """Pitch [px] at which the fullest row fits: clamp(11.6, (free width - gaps) / largest row, 44)."""
    pitch = MOST_PITCH
    for groups in rows:
        count = sum(len(sets) for _, sets in groups)
        on_one = count if count <= PER_SHELF or shelves == 1 else min(-(-count // 2), PER_SHELF)
        gaps = max(len(groups) - 1, 0)
        # The gap grows with the pitch: step down until the row fits.
        while pitch > LEAST_PITCH and 8 + on_one * pitch + gaps * _gap(pitch) > free:
            pitch = max(pitch - 0.2, LEAST_PITCH)
    return round(pitch, 1)


def _shelf(group: str, start: float, end: float, y: float) -> str:
    """The shelf of a group: solid, wavy, dashed, double, dotted."""
    if group == "in_water":
        waves = max(int((end - start) // 6), 1)
        return f'<path class="shelf in-water" d="M{px(start)} {px(y)}q3-4 6 0{"t6 0" * (waves - 1)}"/>'
    if group == "aside":
        return f'<path class="shelf aside" d="M{px(start)} {px(y - 1)}H{px(end)}M{px(start)} {px(y + 2)}H{px(end)}"/>'
    css = {"here": "shelf", "out": "shelf out", "missing": "shelf missing"}[group]
    return f'<path class="{css}" d="M{px(start)} {px(y)}H{px(end)}"/>'


class _Shelves:
    """Lays gauges out one after another and breaks to a further shelf where the width ends."""

    def __init__(self, pitch: float, free: float) -> None:
        self.pitch, self.free, self.width = pitch, free, 0.66 * pitch
        self.places: list[tuple[str, RackGauge, float, int]] = []
        self.spans: list[tuple[str, float, float, int]] = []

    def lay(self, groups: Sequence[tuple[str, Sequence[RackGauge]]]) -> int:
        """Place everything; returns how many shelves it took."""
        x, line = 4.0, 0
        for at, (name, sets) in enumerate(groups):
            if at:
                x += _gap(self.pitch)
            begin = x
            for one in sets:
                if x + self.width > self.free - 2:
                    if x > begin:
                        self.spans.append((name, begin, x - self.pitch + self.width, line))
                    x, line = 4.0, line + 1
                    begin = x
                self.places.append((name, one, x, line))
                x += self.pitch
            self.spans.append((name, begin, x - self.pitch + self.width, line))
        return line + 1


def _gauges(shelves: _Shelves, lines: int, height: float, kind: str, codes: bool, first: bool) -> tuple[str, float]:
    """The SVG inside of a row and its height; `first` gives its first gauge the one tab stop."""
    step = _LANE + height + (26.0 if codes else 14.0)
    parts = [
        _shelf(name, start - 3, end + 3, line * step + _LANE + height + 2) for name, start, end, line in shelves.spans
    ]
    on_line = -1
    for _, one, x, line in shelves.places:
        if line != on_line:
            parts.append("</g>" if on_line >= 0 else "")
            parts.append(f'<g transform="translate(0 {px(line * step + _LANE)})">')
            on_line = line
        face = one.face
        body = gauge_body(_bare(face) if codes else face, shelves.width, height, shared=kind)
        if codes:
            centre = px(shelves.width / 2)
            body += (
                f'<text class="r-code" x="{centre}" y="{px(height + 18)}">{escape(one.brief or one.code[-3:])}</text>'
            )
            if face.leaves:
                body += f'<path class="g-t" d="M{centre} {px(height + 21)}l4.5 6h-9z"/>'
        move = f'transform="translate({px(x)})"'
        if kind == "p":
            parts.append(f"<g {move}>{body}</g>")
            continue
        stop = "0" if first else "-1"
        first = False
        parts.append(
            f'<a href="{escape(one.url)}" {move} tabindex="{stop}" aria-label="{escape(face.name)}">{body}'
            f'<use href="#{kind}hit"/></a>'
        )
    parts.append("</g>" if on_line >= 0 else "")
    return "".join(parts), lines * step


def _bare(face: GaugeFace) -> GaugeFace:
    """The face without its triangle: where codes stand below, it goes under the code."""
    return replace(face, leaves=False) if face.leaves else face


def _silhouettes(row: RackRow, groups: Sequence[tuple[str, Sequence[RackGauge]]], free: float, height: float) -> str:
    """A folded row: each group as one stair, its width its share of the sets."""
    gap = 20.0
    count = sum(len(sets) for _, sets in groups)
    room = free - 8 - gap * (len(groups) - 1)
    hatch = hatch_id(row.ladder_place, row.ladder_count, 12)
    parts, x, y = [], 4.0, _LANE
    for name, sets in groups:
        width = max(room * len(sets) / count, 8.0)
        steps = min(len(sets), _SAMPLES)
        picked = [sets[at * len(sets) // steps].face for at in range(steps)]
        wide = width / steps

        def stair(shares: Sequence[float], start: float = x, each: float = wide) -> str:
            path, before = [f"M{px(start)} {px(y + height)}"], None
            for at, share in enumerate(shares):
                level = px(y + (1 - min(share, 1.0)) * height)
                if level != before:
                    path.append(f"H{px(start + at * each)}V{level}")
                before = level
            path.append(f"H{px(start + len(shares) * each)}V{px(y + height)}Z")
            return "".join(path)

        css = ' class="g-out"' if name == "out" else ""
        shape = "g-o" if name != "missing" else "g-o g-gone"
        if name == "missing":
            parts.append(
                f'<g class="g-gone"><path class="{shape}" d="M{px(x)} {px(y)}h{px(width)}v{px(height)}h{px(-width)}z"/>'
                f'<text class="g-q" x="{px(x + width / 2)}" y="{px(y + 0.62 * height)}">?</text></g>'
            )
        else:
            waves = ""
            if name == "in_water":
                waves = f'<path fill="url(#rip)" d="M{px(x)} {px(y + height - 19.5)}h{px(width)}v19.5h{px(-width)}z"/>'
            bar = ""
            if name == "aside":
                bar = f'<path class="g-b" stroke-width="4" d="M{px(x - 3)} {px(y + height / 2)}h{px(width + 6)}"/>'
            parts.append(
                f"<g{css}>"
                f'<path class="g-h" fill="url(#{hatch})" d="{stair([face.up_to for face in picked])}"/>'
                f'<path class="g-f" d="{stair([face.at_least for face in picked])}"/>{waves}'
                f'<path class="g-o" d="{stair([face.likely for face in picked])}"/>{bar}</g>'
            )
        parts.append(_shelf(name, x - 3, x + width + 3, y + height + 2))
        x += width + gap
    return "".join(parts)


def _svg(inside: str, width: float, height: float, ramp: str, name: str) -> str:
    label = f'role="group" aria-label="{escape(name)}"' if name else 'aria-hidden="true"'
    return f'<svg class="rack {ramp}" {label} viewBox="0 0 {px(width)} {px(height)}">{inside}</svg>'


def life_bar(row: RackRow, most_m2: float, width: float = 184.0) -> str:
    """Life of the sets here as a bar: solid to at least, hatched to up to, an I-mark at the need; one scale for all."""
    if row.life is None or most_m2 <= 0:
        return ""
    scale = width / most_m2
    low, _, high = (value * scale for value in row.life)
    hatch = hatch_id(row.ladder_place, row.ladder_count, 20)
    parts = [
        f'<path class="g-f" d="M1 8h{px(low)}v11h{px(-low)}z"/>',
        f'<path fill="url(#{hatch})" d="M{px(1 + low)} 8h{px(high - low)}v11h{px(low - high)}z"/>',
        f'<path class="r-bar" d="M1 8h{px(high)}v11h{px(-high)}z"/>',
    ]
    if row.need is not None:
        at = px(1 + row.need * scale)
        parts.append(f'<path class="r-need" d="M{at} 4V23M{px(1 + row.need * scale - 4)} 4h8m-8 19h8"/>')
    ramp, wide = f"ramp-{row.ladder_place}-of-{row.ladder_count}", px(width + 8)
    size = f'width="{wide}" height="26" viewBox="0 0 {wide} 26"'
    return f'<svg class="life-bar {ramp}" aria-hidden="true" {size}>{"".join(parts)}</svg>'


def rack_picture(rows: Sequence[RackRow], *, free: float = DESK_WIDTH, phone: float = PHONE_WIDTH) -> RackPicture:
    """Draw the rack for the desk (free width of the middle [px]) and the phone.

    Rows come coarse to fine; each gauge's face must lie on the row's ladder. Never raises for a crowded shop: a row
    of more than two full shelves is folded to silhouettes, on the phone one of more than a shelf.
    """
    groups = [arranged(row.gauges) for row in rows]
    pitch = fitting_pitch(groups, free, DESK_SHELVES)
    phone_pitch = min(fitting_pitch(groups, phone, PHONE_SHELVES), 16.0)
    height, codes = (40.0 if pitch < 20 else 48.0), pitch >= 30
    most = max([max(row.life[2], row.need or 0.0) for row in rows if row.life is not None] or [0.0])
    drawn, first = [], True
    for row, sets in zip(rows, groups, strict=True):
        ramp = f"ramp-{row.ladder_place}-of-{row.ladder_count}"
        desk = _Shelves(pitch, free)
        lines = desk.lay(sets)
        folded = lines > DESK_SHELVES
        if folded:
            total = _LANE + height + 14
            inside = _silhouettes(row, sets, free, height)
            stop, said = "0" if first else "-1", escape(_said(row))
            inside = f'<a href="{escape(row.url)}" tabindex="{stop}" aria-label="{said}">{inside}</a>'
        else:
            inside, total = _gauges(desk, lines, height, "d", codes, first)
        first = first and not row.gauges
        small = _Shelves(phone_pitch, phone)
        if small.lay(sets) > PHONE_SHELVES:
            phone_inside, phone_total = _silhouettes(row, sets, phone, 30.0), _LANE + 38.0
        else:
            phone_inside, phone_total = _gauges(small, 1, 30.0, "p", False, False)
        drawn.append(
            DrawnRow(
                row,
                _svg(inside, free, max(total, _LANE + height + 14), ramp, _said(row)),
                _svg(phone_inside, phone, phone_total, ramp, ""),
                life_bar(row, most),
                folded,
            )
        )
    hit = 0.17 * pitch
    area = f"M{px(-hit)}-15h{px(pitch)}v{px(height + 19)}h{px(-pitch)}z"
    shapes = (
        shared_shapes("d", 0.66 * pitch, height)
        + shared_shapes("p", 0.66 * phone_pitch, 30.0)
        + f'<path id="dhit" class="hit" d="{area}"/>'
    )
    outlines = f'<svg class="defs" aria-hidden="true"><defs>{shapes}</defs></svg>'
    return RackPicture(tuple(drawn), pitch, outlines)


def _said(row: RackRow) -> str:
    return ", ".join(part for part in (row.grit, row.note, row.life_words, row.cover_words) if part)
