"""What stands on one label, and how it is drawn: the square, grit, code, type line and ladder notch.

Everything is drawn in points from the label's lower left corner with y upwards, as PDF does. The text keeps to the
right of the square and its quiet zone; its sizes come from measuring it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

from reportlab.pdfbase.pdfmetrics import stringWidth

from inventory.label_sizes import LabelSize
from inventory.pdf_letters import printable
from inventory.qr_symbol import QUIET_ZONE, qr_symbol

STAMP = "Helvetica-Bold"
TEXT = "Helvetica"
POINTS_PER_MM = 72 / 25.4
CAP_HEIGHT = 0.718  # of the type size, both faces (Adobe's metrics of Helvetica)
# Struck into steel: letters as narrow as this if need be; narrower ones would only get thin.
STAMP_WIDTH, NARROWEST_STAMP = 0.88, 0.66
TEXT_WIDTH, NARROWEST_TEXT = 0.96, 0.80
SMALLEST_TEXT_PT = 5.0
OVERSHOOT = 0.02  # of the type size: how far round letters reach below the line and above the capitals
GUTTER_MM = 0.4  # between quiet zone and text, so that rounding to dots and spread ink stay out of the quiet zone
OWN_SHARE = 0.3  # of the type line: so much the shop's own tag gets at least
NAME_LEADING = 1.04  # of the type size: lines of a place's name

# A shop's own mark for a tool type is one of these shapes, or at most two characters.
MARKS = ("diamond", "disc", "ring", "square", "wedge", "plus", "bow", "bars")

# Corners of the straight ones, in a box of 1 by 1 from its lower left corner.
_THIRD, _TWO_THIRDS = 1 / 3, 2 / 3
_MARK_OUTLINES: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    "diamond": (((0.5, 0), (1, 0.5), (0.5, 1), (0, 0.5)),),
    "square": (((0, 0), (1, 0), (1, 1), (0, 1)),),
    "wedge": (((0, 0), (1, 0.5), (0, 1)),),
    "bow": (((0, 0), (0.5, 0.5), (0, 1)), ((1, 0), (0.5, 0.5), (1, 1))),
    "bars": (((0, 0), (0.36, 0), (0.36, 1), (0, 1)), ((0.64, 0), (1, 0), (1, 1), (0.64, 1))),
    "plus": (
        ((_THIRD, 0), (_TWO_THIRDS, 0), (_TWO_THIRDS, 1), (_THIRD, 1)),
        ((0, _THIRD), (_THIRD, _THIRD), (_THIRD, _TWO_THIRDS), (0, _TWO_THIRDS)),
        ((_TWO_THIRDS, _THIRD), (1, _THIRD), (1, _TWO_THIRDS), (_TWO_THIRDS, _TWO_THIRDS)),
    ),
}

Kind = Literal["set", "blank", "place"]


@dataclass(frozen=True)
class LabelFace:
    """What one label says.

    `code` and `address` as `codes.code_address` gives them. A set has grit, type, size line, own mark, bond ("metal",
    "resin", "hybrid" or "") and place on the ladder: `ladder_place` of `ladder_count`, the coarsest is 0; None or a
    count of 0 leaves the notch out; `own` is the tag the shop had on it before, by which one finds which set this
    label goes on. A blank label has only its code and a field for a pen. A place (tub, van, crate, outing) has its name
    as `type_name` and perhaps a second line as `size_line`.
    """

    code: str
    address: str
    grit: str = ""
    type_name: str = ""
    size_line: str = ""
    mark: str = ""
    bond: str = ""
    ladder_place: int | None = None
    ladder_count: int = 0
    kind: Kind = "set"
    own: str = ""


@dataclass(frozen=True)
class _Box:
    """A field of a label in points: `left`, `right`, and `bottom` upwards to `top`."""

    left: float
    bottom: float
    right: float
    top: float

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.top - self.bottom


def draw_face(canvas: Any, face: LabelFace, size: LabelSize, left: float, top: float, dpi: int) -> None:
    """Draw `face` on a reportlab canvas whose origin is the *upper* left corner of the paper; downwards is negative.

    `left` and `top` are the label's upper left corner in points from the paper's; the square is moved to the nearest
    whole dot of the printer, counted from there.
    Raises AddressNotPrintable or LabelSizeWrong before anything is drawn.
    """
    symbol = qr_symbol(face.address)
    module = size.module_mm(dpi) * POINTS_PER_MM
    dot = 72 / dpi
    square = symbol.side_with_quiet_zone * module
    width, height, edge = (mm * POINTS_PER_MM for mm in (size.width_mm, size.height_mm, size.edge_mm))

    # The dark part keeps `edge` clear; the quiet zone may lie in it, but not beyond the label.
    inset = max(edge - QUIET_ZONE * module, min(edge, POINTS_PER_MM))
    square_left = _to_dot(left + inset, dot)
    square_top = _to_dot(top + (height - square) / 2, dot)
    path = canvas.beginPath()
    for y, x, n in symbol.runs:
        path.rect(
            square_left + (QUIET_ZONE + x) * module, -square_top - (QUIET_ZONE + y + 1) * module, n * module, module
        )
    canvas.drawPath(path, stroke=0, fill=1)

    text = _Box(
        square_left + square + GUTTER_MM * POINTS_PER_MM, -top - height + edge, left + width - edge, -top - edge
    )
    if face.kind == "blank":
        _draw_blank(canvas, face, text)
    elif face.kind == "place":
        _draw_place(canvas, face, text)
    else:
        _draw_set(canvas, face, text, dot, type_line=size.type_line)


def _draw_set(canvas: Any, face: LabelFace, box: _Box, dot: float, *, type_line: bool) -> None:
    shares = (0.085, 0.065, 0.12, 0.065, 0.15, 0.08) if type_line else (0.10, 0.09, 0, 0, 0.21, 0.10)
    notch, gap1, line, gap2, code, gap3 = (share * box.height for share in shares)
    has_notch = face.ladder_place is not None and face.ladder_count > 0
    own_instead = bool(face.own) and not type_line
    if own_instead:
        # The smallest labels have one strip to give: the notch's, and some of the gap above it.
        has_notch, notch, gap1 = True, notch * 1.5, gap1 - notch * 0.5
    line_bottom = box.bottom + (notch + gap1 if has_notch else 0)
    code_bottom = line_bottom + line + gap2
    # From the top down, so that who copies or hears the text gets it in this order.
    _draw_stamp(canvas, face.grit, _Box(box.left, code_bottom + code + gap3, box.right, box.top), at_top=True)
    _draw_stamp(canvas, face.code, _Box(box.left, code_bottom, box.right, code_bottom + code))
    if line:
        _draw_type_line(canvas, face, _Box(box.left, line_bottom, box.right, line_bottom + line))
    strip = _Box(box.left, box.bottom, box.right, box.bottom + notch)
    if own_instead:
        _draw_own(canvas, face.own, strip)
    elif face.ladder_place is not None and has_notch:
        _draw_notch(canvas, face.ladder_place, face.ladder_count, strip, dot)


def _draw_blank(canvas: Any, face: LabelFace, box: _Box) -> None:
    code = 0.22 * box.height
    canvas.setLineWidth(0.6)
    field = _Box(box.left, box.bottom + code + 0.10 * box.height, box.right, box.top)
    canvas.roundRect(field.left + 0.3, field.bottom, field.width - 0.6, field.height - 0.3, 2, stroke=1, fill=0)
    _draw_stamp(canvas, face.code, _Box(box.left, box.bottom, box.right, box.bottom + code))


def _draw_place(canvas: Any, face: LabelFace, box: _Box) -> None:
    code, gap, line = 0.20 * box.height, 0.10 * box.height, (0.13 * box.height if face.size_line else 0.0)
    line_bottom = box.bottom + code + gap
    _draw_name(canvas, face.type_name, _Box(box.left, line_bottom + (line + gap if line else 0), box.right, box.top))
    if line:
        _draw_text(canvas, face.size_line, _Box(box.left, line_bottom, box.right, line_bottom + line))
    _draw_stamp(canvas, face.code, _Box(box.left, box.bottom, box.right, box.bottom + code))


def _draw_name(canvas: Any, name: str, box: _Box) -> None:
    """A place's name as large as fits, on one line or two, whichever is larger."""
    words = _printable(name).split()
    best, largest = [" ".join(words)], _stamp_size(" ".join(words), box)
    # Two lines need the height of a capital and one line's advance; letters below the line need their room too.
    half = _Box(box.left, 0, box.right, box.height * CAP_HEIGHT / (CAP_HEIGHT + NAME_LEADING))
    for i in range(1, len(words)):
        pair = [" ".join(words[:i]), " ".join(words[i:])]
        size = min(_stamp_size(part, half) for part in pair)
        if size > largest * 1.1:
            best, largest = pair, size
    for i, line in enumerate(best):
        top = box.top - i * largest * NAME_LEADING
        _draw_stamp(canvas, line, _Box(box.left, box.bottom, box.right, top), at_top=True, most=largest)


def _draw_stamp(canvas: Any, words: str, box: _Box, *, at_top: bool = False, most: float = 1e9) -> None:
    """Heavy narrow letters, as large as the box allows; on its lower edge, or `at_top` hanging from the upper."""
    words = _printable(words)
    size = min(_stamp_size(words, box), most)
    if not words or size <= 0:
        return
    narrow = min(STAMP_WIDTH, box.width / _width(words, STAMP, size))
    baseline = box.top - (CAP_HEIGHT + OVERSHOOT) * size if at_top else box.bottom + OVERSHOOT * size
    _write(canvas, words, STAMP, size, narrow, _optical_left(words, size, narrow, box.left), baseline)


def _stamp_size(words: str, box: _Box) -> float:
    natural = _width(words, STAMP, 1.0) * NARROWEST_STAMP
    return min(box.height / (CAP_HEIGHT + 2 * OVERSHOOT), box.width / natural) if natural else 0.0


def _draw_type_line(canvas: Any, face: LabelFace, box: _Box) -> None:
    left = box.left
    if face.own:
        # Size and soak are said whole beside it; of a tag as long as that leaves room for its end.
        beside = _width(_printable(face.size_line), TEXT, 1.0) * _smallest_text(box) * NARROWEST_TEXT + box.height * 1.6
        widest = max(box.width - beside, box.width * OWN_SHARE)
        left = _draw_own(canvas, face.own, _Box(left, box.bottom, left + widest, box.top))
        left += box.height * 0.45
    if face.bond in ("metal", "resin", "hybrid"):
        cap_width = box.height * 0.68
        _draw_cap(canvas, face.bond, _Box(left, box.bottom - box.height * 0.06, left + cap_width, box.top))
        left += cap_width + box.height * 0.35
    if face.mark in MARKS:
        _draw_mark(canvas, face.mark, _Box(left, box.bottom, left + box.height * 0.86, box.bottom + box.height * 0.86))
        left += box.height * 1.2
    elif face.mark:
        mark = _printable(face.mark)[:2]
        size = box.height * 0.86 / CAP_HEIGHT
        _write(canvas, mark, STAMP, size, STAMP_WIDTH, left, box.bottom)
        left += _width(mark, STAMP, size) * STAMP_WIDTH + box.height * 0.35
    rest = _Box(left, box.bottom, box.right, box.top)
    # Beside an own tag the bond's word gives way whole: its outline stands there already.
    name = face.type_name if not face.own or _fits(f"{face.type_name} {face.size_line}", rest) else ""
    _draw_text(canvas, name, rest, always=face.size_line)


def _draw_own(canvas: Any, own: str, box: _Box) -> float:
    """The shop's own tag, heavy; of one too long its end, which tells sets apart. Returns where it ends."""
    words = _printable(own)
    size = box.height * 0.86 / CAP_HEIGHT
    widest = box.width / (size * NARROWEST_STAMP)
    if _width(words, STAMP, 1.0) > widest:
        while len(words) > 1 and _width("…" + words, STAMP, 1.0) > widest:
            words = words[1:]
        words = "…" + words
    narrow = min(STAMP_WIDTH, box.width / _width(words, STAMP, size))
    _write(canvas, words, STAMP, size, narrow, box.left, box.bottom)
    return box.left + _width(words, STAMP, size) * narrow


def _fits(words: str, box: _Box) -> bool:
    """Whether reading text fits on one line of the box without being cut."""
    return _width(_printable(words).strip(), TEXT, 1.0) * _smallest_text(box) * NARROWEST_TEXT <= box.width


def _smallest_text(box: _Box) -> float:
    """The least size of reading text on one line of the box."""
    largest = box.height * 0.86 / CAP_HEIGHT
    return min(largest, max(SMALLEST_TEXT_PT, largest * 0.7))


def _draw_text(canvas: Any, words: str, box: _Box, *, always: str = "") -> None:
    """One line of reading text on the lower edge of the box: narrowed, then smaller, then cut with an ellipsis.

    `always` follows the words and is cut only when nothing of them is left: size and soak matter more than a long name.
    """
    words, always = _printable(words), _printable(always)
    full = f"{words} {always}".strip()
    if not full:
        return
    largest = box.height * 0.86 / CAP_HEIGHT
    smallest = _smallest_text(box)
    size = max(min(largest, box.width / (_width(full, TEXT, 1.0) * NARROWEST_TEXT)), smallest)
    widest = box.width * 1.0001 / (size * NARROWEST_TEXT)
    while words and _width(full, TEXT, 1.0) > widest:
        words = words.rstrip("…")[:-1].rstrip()
        words += "…" if words else ""
        full = f"{words} {always}".strip()
    while len(full) > 1 and _width(full, TEXT, 1.0) > widest:
        full = full.rstrip("…")[:-1].rstrip() + "…"
    narrow = min(TEXT_WIDTH, box.width / _width(full, TEXT, size))
    _write(canvas, full, TEXT, size, narrow, box.left, box.bottom)


def _draw_notch(canvas: Any, place: int, count: int, box: _Box, dot: float) -> None:
    """`count` thin ticks, the one at `place` a block: where on the ladder this grit stands, also by feel of the eye."""
    tick = max(2, round(0.25 * box.height / dot)) * dot
    block = max(tick * 2, _to_dot(min(box.height, box.width / count * 0.62), dot))
    pitch = (box.width - tick) / max(count - 1, 1)
    path = canvas.beginPath()
    for i in range(count):
        left = box.left + i * pitch
        if i == place:
            left = min(max(left + (tick - block) / 2, box.left), box.right - block)
            path.rect(_to_dot(left, dot), box.bottom, block, box.height)
        else:
            path.rect(_to_dot(left, dot), box.bottom, tick, box.height * 0.55)
    canvas.drawPath(path, stroke=0, fill=1)


def draw_cap(canvas: Any, bond: str, left: float, bottom: float, width: float, height: float) -> None:
    """The outline of a piece on another paper than a label; nothing for a bond without one. Lengths in points."""
    if bond in ("metal", "resin", "hybrid"):
        _draw_cap(canvas, bond, _Box(left, bottom, left + width, bottom + height))


def draw_own_mark(canvas: Any, mark: str, left: float, bottom: float, side: float) -> None:
    """The shop's own mark of a tool type on another paper than a label: a shape, or its two characters; in points."""
    if mark in MARKS:
        _draw_mark(canvas, mark, _Box(left, bottom, left + side, bottom + side))
    elif mark:
        _write(canvas, _printable(mark)[:2], STAMP, side / CAP_HEIGHT, STAMP_WIDTH, left, bottom)


def _draw_cap(canvas: Any, bond: str, box: _Box) -> None:
    """A piece's outline: metal has its corners cut, resin is round, hybrid has one of each (left cut, right round)."""
    cut = box.width * 0.32
    radius = box.width / 2
    bend = radius * 0.5523  # a quarter circle as a Bézier curve
    path = canvas.beginPath()
    path.moveTo(box.left, box.bottom)
    if bond == "resin":
        path.lineTo(box.left, box.top - radius)
        path.curveTo(box.left, box.top - radius + bend, box.left + radius - bend, box.top, box.left + radius, box.top)
    else:
        path.lineTo(box.left, box.top - cut)
        path.lineTo(box.left + cut, box.top)
    if bond == "metal":
        path.lineTo(box.right - cut, box.top)
        path.lineTo(box.right, box.top - cut)
    else:
        path.lineTo(box.right - radius, box.top)
        path.curveTo(
            box.right - radius + bend, box.top, box.right, box.top - radius + bend, box.right, box.top - radius
        )
    path.lineTo(box.right, box.bottom)
    path.close()
    canvas.setLineWidth(max(0.7, box.width * 0.13))
    canvas.drawPath(path, stroke=1, fill=0)


def _draw_mark(canvas: Any, mark: str, box: _Box) -> None:
    """One of the eight shapes a shop may give a tool type as its own mark."""
    path = canvas.beginPath()
    line = box.width * 0.2
    if mark == "disc":
        path.circle(box.left + box.width / 2, box.bottom + box.height / 2, box.width / 2)
    elif mark == "ring":
        path.circle(box.left + box.width / 2, box.bottom + box.height / 2, (box.width - line) / 2)
    for outline in _MARK_OUTLINES.get(mark, ()):
        for i, (x, y) in enumerate(outline):
            (path.lineTo if i else path.moveTo)(box.left + x * box.width, box.bottom + y * box.height)
        path.close()
    hollow = mark == "ring"
    canvas.setLineWidth(line)
    canvas.drawPath(path, stroke=int(hollow), fill=int(not hollow))


def _write(canvas: Any, words: str, font: str, size: float, narrow: float, left: float, baseline: float) -> None:
    text = canvas.beginText(left, baseline)
    text.setFont(font, size)
    text.setHorizScale(narrow * 100)
    text.textOut(words)
    canvas.drawText(text)


def _optical_left(words: str, size: float, narrow: float, left: float) -> float:
    """Large letters begin with white of their own: move them so that their ink lines up with the small ones."""
    bearing = {"1": 0.069, "G": 0.044, "T": 0.021}.get(words[0], 0.028)
    return left - bearing * size * narrow


@lru_cache(maxsize=4096)
def _width(words: str, font: str, size: float) -> float:
    return float(stringWidth(words, font, size))


@lru_cache(maxsize=4096)
def _printable(words: str) -> str:
    return printable(" ".join(words.split()))


def _to_dot(length: float, dot: float) -> float:
    return round(length / dot) * dot
