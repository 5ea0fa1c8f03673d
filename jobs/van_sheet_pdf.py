"""A van sheet as a PDF, black on white: Letter or A4, rows unbroken, page numbers and print time. Pure."""

from __future__ import annotations

import io
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import pgettext
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Flowable, KeepTogether, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from inventory.label_faces import CAP_HEIGHT, STAMP, STAMP_WIDTH, draw_cap, draw_own_mark
from inventory.pdf_letters import paragraph_text, printable
from inventory.pdf_pages import paged
from inventory.qr_symbol import QUIET_ZONE, paper_symbol
from jobs.van_sheet import SetLine, StepLine, VanSheet, left_words

_PAPERS = {"letter": LETTER, "a4": A4}
_MARGIN = 13 * mm
# What reportlab's frame keeps free around the text, in points.
_FRAME = 6
# A module of the square: 0.6 mm is read by a phone at arm's length (our assumption; the tests decode it at 100 dpi).
_MODULE = 0.6 * mm
_BOX_MM = (8.4, 7.0)
_TICK = 3.6 * mm
# Above so many steps a sheet is set closer, so that nine still fit a page (our assumption).
_MANY = 6
_BODY = ParagraphStyle("body", fontName="Helvetica", fontSize=9.5, leading=12.5)
_SMALL = ParagraphStyle("small", parent=_BODY, fontSize=8, leading=9.8)
_TINY = ParagraphStyle("tiny", parent=_BODY, fontSize=7.3, leading=8.8)
_CODE = ParagraphStyle("code", parent=_BODY, fontName="Helvetica-Bold", fontSize=10.5, leading=12.5)
_HEAD = ParagraphStyle("head", parent=_SMALL, fontName="Helvetica-Bold")
_TITLE = ParagraphStyle("title", parent=_BODY, fontName="Helvetica-Bold", fontSize=19, leading=22)
_SECTION = ParagraphStyle("section", parent=_BODY, fontName="Helvetica-Bold", fontSize=11, leading=14, spaceAfter=2)
_BARE = [
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("RIGHTPADDING", (0, 0), (-1, -1), 4),
    ("TOPPADDING", (0, 0), (-1, -1), 1),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
]
_LADDER = [
    *_BARE,
    ("VALIGN", (0, 1), (-1, -1), "MIDDLE"),
    ("LINEBELOW", (0, 0), (-1, -1), 0.8, colors.black),
    ("TOPPADDING", (0, 1), (-1, -1), 2),
    ("BOTTOMPADDING", (0, 1), (-1, -1), 2),
]
_LINES = [
    *_BARE,
    ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
    ("TOPPADDING", (0, 0), (-1, -1), 2),
    ("LINEBELOW", (0, 0), (-1, -1), 0.4, colors.black),
]
# Shares of the width: out, step and sign, grit, set, water, planned, boxes.
_SHARES = (0.045, 0.075, 0.11, 0.2, 0.15, 0.12, 0.3)


class _Square(Flowable):
    """The square that opens the page where the sheet is typed in."""

    def __init__(self, address: str) -> None:
        super().__init__()
        self.symbol = paper_symbol(address)
        self.width = self.height = self.symbol.side_with_quiet_zone * _MODULE
        self.hAlign = "RIGHT"

    def draw(self) -> None:
        path = self.canv.beginPath()
        for y, x, n in self.symbol.runs:
            top = self.height - (QUIET_ZONE + y + 1) * _MODULE
            path.rect((QUIET_ZONE + x) * _MODULE, top, n * _MODULE, _MODULE)
        self.canv.drawPath(path, stroke=0, fill=1)


class _Tick(Flowable):
    """A box to tick."""

    def __init__(self, side: float = _TICK) -> None:
        super().__init__()
        self.width = self.height = side

    def draw(self) -> None:
        self.canv.setLineWidth(0.9)
        self.canv.rect(0, 0, self.width, self.height)


class _Sign(Flowable):
    """The step's number, the outline of its piece with a drop where it goes wet, and the shop's own mark."""

    def __init__(self, line: StepLine, *, wet: bool) -> None:
        super().__init__()
        self.line, self.wet = line, wet
        self.width, self.height = 14 * mm, 8.6 * mm

    def draw(self) -> None:
        canvas = self.canv
        canvas.setFont("Helvetica", 10)
        canvas.drawString(0, 2.6 * mm, str(self.line.number))
        draw_cap(canvas, self.line.bond, 4.4 * mm, 0.5 * mm, 3.6 * mm, 4.6 * mm)
        if self.wet:
            path = canvas.beginPath()
            path.moveTo(6.2 * mm, 7.9 * mm)
            path.curveTo(7.5 * mm, 6.5 * mm, 7.1 * mm, 5.6 * mm, 6.2 * mm, 5.6 * mm)
            path.curveTo(5.3 * mm, 5.6 * mm, 4.9 * mm, 6.5 * mm, 6.2 * mm, 7.9 * mm)
            canvas.drawPath(path, stroke=0, fill=1)
        draw_own_mark(canvas, self.line.mark, 9.2 * mm, 1.6 * mm, 3.4 * mm)


class _Grit(Flowable):
    """The grit as large as fits, struck like on a label."""

    def __init__(self, words: str, width: float) -> None:
        super().__init__()
        self.words = printable(words)
        natural = stringWidth(self.words, STAMP, 1.0) * STAMP_WIDTH
        self.size = min(26.0, (width - 5) / natural) if natural else 26.0
        self.width, self.height = width - 5, 26.0 * CAP_HEIGHT + 2

    def draw(self) -> None:
        text = self.canv.beginText(0, (self.height - self.size * CAP_HEIGHT) / 2)
        text.setFont(STAMP, self.size)
        text.setHorizScale(STAMP_WIDTH * 100)
        text.textOut(self.words)
        self.canv.drawText(text)


class _Boxes(Flowable):
    """A box for each section with its number in the corner; the passes done are written or ticked in it."""

    def __init__(self, count: int, width: float) -> None:
        super().__init__()
        side, self.tall = (length * mm for length in _BOX_MM)
        self.across = max(1, min(count, int(width // side)))
        self.side = side if count > 1 else 3 * side
        self.count = count
        rows = -(-count // self.across)
        self.width, self.height = self.across * self.side, rows * self.tall

    def draw(self) -> None:
        canvas = self.canv
        canvas.setLineWidth(0.6)
        for number in range(self.count):
            row, column = divmod(number, self.across)
            left, bottom = column * self.side, self.height - (row + 1) * self.tall
            canvas.rect(left, bottom, self.side, self.tall)
            if self.count > 1:
                canvas.setFont("Helvetica", 5.5)
                canvas.drawString(left + 1.2, bottom + self.tall - 5.8, str(number + 1))


def draw_van_sheet(sheet: VanSheet, paper: str) -> bytes:
    """The PDF of a van sheet on a setting's paper. The same arguments give the same bytes.

    Raises AddressNotPrintable for an address no square holds.
    """
    file = io.BytesIO()
    size = _PAPERS[paper]
    document = SimpleDocTemplate(
        file,
        pagesize=size,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=7 * mm,
        bottomMargin=12 * mm,
        title=printable(f"{sheet.crumb} · {sheet.title}"),
        author=sheet.shop,
        invariant=1,
    )
    width = size[0] - 2 * (_MARGIN + _FRAME)
    story: list[Any] = [_top(sheet, width), Spacer(1, 2 * mm), _ladder(sheet, width), Spacer(1, 1.5 * mm)]
    story += [_kit_and_care(sheet, width), Spacer(1, 1 * mm)]
    story += _coming_back(sheet, width)
    story += [KeepTogether([*_gloss(sheet, width), *_used(width), _signatures(width)])]
    foot = f"{sheet.title} · {sheet.printed}"
    document.build(story, canvasmaker=paged(foot, side_pt=_MARGIN + _FRAME, foot_pt=8 * mm))
    return file.getvalue()


def _top(sheet: VanSheet, width: float) -> Table:
    said = [Paragraph(paragraph_text(sheet.crumb), _BODY), Paragraph(paragraph_text(sheet.title), _TITLE)]
    said += [Paragraph(paragraph_text(words), _BODY) for words in (*sheet.facts, *sheet.floors, *sheet.notes)]
    right: list[Any] = []
    if sheet.address:
        square = _Square(sheet.address)
        caption = ParagraphStyle("caption", parent=_SMALL, alignment=1)
        right = [square, Paragraph(paragraph_text(_("Scan to type it in afterwards")), caption)]
    wide = right[0].width + 4 if right else 0.0
    return Table([[said, right]], colWidths=[width - wide, wide], style=TableStyle(_BARE))


def _ladder(sheet: VanSheet, width: float) -> Table:
    widths = [share * width for share in _SHARES]
    heads = (
        pgettext("van sheet", "Out"),
        _("Step"),
        _("Grit"),
        _("Set and place"),
        _("Water"),
        _("Planned"),
        _("Passes done, a stroke each, by section"),
    )
    rows: list[list[Any]] = [[Paragraph(paragraph_text(words), _HEAD) for words in heads]]
    several = len({line.floor for line in sheet.steps}) > 1
    rows += [_row(line, widths, several=several) for line in sheet.steps]
    if not sheet.steps:
        rows.append(["", "", "", Paragraph(paragraph_text(_("No step is planned for this shift.")), _BODY), "", "", ""])
    table = Table(rows, colWidths=widths, repeatRows=1, style=TableStyle(_LADDER), splitInRow=0)
    if len(sheet.steps) > _MANY:
        table.setStyle(TableStyle([("TOPPADDING", (0, 1), (-1, -1), 0), ("BOTTOMPADDING", (0, 1), (-1, -1), 1)]))
    return table


def _row(line: StepLine, widths: list[float], *, several: bool) -> list[Any]:
    sets: list[Any] = []
    water: list[Any] = []
    for one in line.sets:
        sets += _set_words(one)
        water.append(Paragraph(paragraph_text(one.water), _SMALL))
    if not line.sets:
        sets.append(Paragraph("______________", _CODE))
    places = " / ".join(dict.fromkeys(filter(None, (one.where for one in line.sets))))
    sets.append(
        Paragraph(paragraph_text(" · ".join(filter(None, (f"{line.type_name}, {line.wet_dry}", places)))), _TINY)
    )
    planned = [Paragraph(f"<b>{paragraph_text(line.passes)}</b>", _BODY), Paragraph(paragraph_text(line.area), _SMALL)]
    drawn = _Boxes(line.sections, widths[6] - 4)
    beside = widths[6] - drawn.width - 10
    said = [_("floor looks even")]
    if beside > 24 * mm:  # few boxes: what belongs to them stands beside, and more steps fit a page
        boxes: list[Any] = [_beside([[drawn, _even(said, beside)]], [drawn.width + 6, beside + 4])]
    else:
        boxes = [drawn, _even(said, widths[6])]
    if several:
        boxes.insert(0, Paragraph(f"<b>{paragraph_text(line.floor)}</b>", _SMALL))
    wet = any(one.wet for one in line.sets)
    return [_Tick(), _Sign(line, wet=wet), _Grit(line.grit, widths[2]), sets, water, planned, boxes]


def _even(said: list[str], width: float) -> Table:
    """A box to tick where the floor looks even, and what is said beside it."""
    words = [Paragraph(paragraph_text(one), _TINY) for one in said]
    return _beside([[_Tick(2.6 * mm), words]], [4 * mm, width - 4 * mm])


def _beside(cells: list[list[Any]], widths: list[float]) -> Table:
    return Table(cells, colWidths=widths, style=TableStyle(_BARE), hAlign="LEFT")


def _set_words(one: SetLine) -> list[Any]:
    tag = f'  <font size="8">{paragraph_text(one.tag)}</font>' if one.tag else ""
    return [Paragraph(paragraph_text(one.code) + tag, _CODE)]


def _kit_and_care(sheet: VanSheet, width: float) -> Table:
    """Kit beside cautions; on a sheet of many steps the kit in two columns, and of a caution what it is about."""
    short = len(sheet.steps) > _MANY
    left = (0.52 if short else 0.4) * width
    ticks = [*sheet.kit, "____________________"]
    columns = 2 if short else 1
    each = (left - 3 * mm) / columns
    rows: list[list[Any]] = []
    for start in range(0, len(ticks), columns):
        row: list[Any] = []
        for words in ticks[start : start + columns]:
            row += [_Tick(2.6 * mm), Paragraph(paragraph_text(words), _TINY if short else _SMALL)]
        rows.append(row + [""] * (2 * columns - len(row)))
    listed = _beside(rows, [5 * mm, each - 5 * mm] * columns)
    care = [
        Paragraph(
            f"<b>{paragraph_text(what)}</b>" if short else f"<b>{paragraph_text(what)}</b> {paragraph_text(then)}",
            _TINY,
        )
        for what, then in sheet.cautions
    ]
    kit = [Paragraph(paragraph_text(_("Kit")), _SECTION), listed]
    return _beside([[kit, [Paragraph(paragraph_text(_("Take care")), _SECTION), *care]]], [left, width - left])


def _coming_back(sheet: VanSheet, width: float) -> list[Any]:
    title = Paragraph(paragraph_text(_("Coming back: how each set is left, its lowest height, trouble")), _SECTION)
    answers = left_words()
    shares = (0.1, 0.19, *([0.112] * 4), 0.115, 0.147)
    widths = [share * width for share in shares]
    blank = ("", "__________")
    rows = [_back_row(grit, code, answers, widths) for grit, code in (*sheet.coming_back, blank)]
    table = Table(rows, colWidths=widths, style=TableStyle(_LINES))
    if len(sheet.steps) > _MANY:
        table.setStyle(TableStyle([("TOPPADDING", (0, 0), (-1, -1), 0), ("BOTTOMPADDING", (0, 0), (-1, -1), 0)]))
    return [KeepTogether([title, table])] if len(rows) <= 12 else [title, table]


def _back_row(grit: str, code: str, answers: tuple[str, ...], widths: list[float]) -> list[Any]:
    def answer(words: str) -> Table:
        cells = [[_Tick(2.8 * mm), Paragraph(paragraph_text(words), _SMALL)]]
        return Table(cells, colWidths=[4.2 * mm, widths[2] - 4.4 * mm], style=TableStyle(_BARE))

    named = [Paragraph(paragraph_text(grit), _CODE), Paragraph(paragraph_text(code), _SMALL)]
    return [
        *named,
        *map(answer, answers),
        Paragraph(paragraph_text(_("height")), _SMALL),
        Paragraph(paragraph_text(_("trouble")), _SMALL),
    ]


def _gloss(sheet: VanSheet, width: float) -> list[Any]:
    if not sheet.gloss:
        return []
    rows = [
        [
            Paragraph(paragraph_text(name), _SMALL),
            Paragraph(paragraph_text(_("gloss")), _SMALL),
            Paragraph(paragraph_text(_("clarity, %")), _SMALL),
        ]
        for name in sheet.gloss
    ]
    widths = [0.4 * width, 0.3 * width, 0.3 * width]
    table = Table(rows, colWidths=widths, style=TableStyle(_LINES))
    return [Spacer(1, 2 * mm), Paragraph(paragraph_text(_("Readings of the floor, by floor")), _SECTION), table]


def _used(width: float) -> list[Any]:
    words = _("Set changed part-way, area by section, anything else:")
    return [Spacer(1, 1.5 * mm), Paragraph(paragraph_text(words), _SMALL), Spacer(1, 6 * mm)]


def _signatures(width: float) -> Table:
    gap = 6 * mm
    each = (width - 2 * gap) / 3
    words = [_("Loaded, shop manager, time"), _("Received, crew lead, time"), _("Work done as written, name, time")]
    cells: list[Any] = []
    for said in words:
        cells += [Paragraph(paragraph_text(said), _SMALL), ""]
    style = TableStyle([*_BARE, *[("LINEABOVE", (column, 0), (column, 0), 0.9, colors.black) for column in (0, 2, 4)]])
    return Table([cells[:5]], colWidths=[each, gap, each, gap, each], style=style)
