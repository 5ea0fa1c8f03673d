"""A claim as a PDF: Letter or A4, page numbers and the print time on every page. Pure once its photos can be read."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import pgettext
from reportlab.lib import colors
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Image, KeepTogether, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from inventory.claims import Claim
from inventory.claims import Table as ClaimTable
from inventory.pdf_letters import paragraph_text
from inventory.pdf_pages import paged

_PAPERS = {"letter": LETTER, "a4": A4}
_MARGIN = 18 * mm
# What reportlab's frame keeps free around the text, in points.
_FRAME = 6
_PHOTO_MM = (82, 82)
_BODY = ParagraphStyle("body", fontName="Helvetica", fontSize=9.5, leading=13)
_SMALL = ParagraphStyle("small", parent=_BODY, fontSize=8, leading=10.5)
_CELL = ParagraphStyle("cell", parent=_BODY, fontSize=8, leading=10)
_NUMBER = ParagraphStyle("number", parent=_CELL, alignment=TA_RIGHT)
_HEAD = ParagraphStyle("head", parent=_CELL, fontName="Helvetica-Bold")
_HEAD_NUMBER = ParagraphStyle("head number", parent=_HEAD, alignment=TA_RIGHT)
_TITLE = ParagraphStyle("title", parent=_BODY, fontName="Helvetica-Bold", fontSize=17, leading=21)
_SECTION = ParagraphStyle(
    "section", parent=_BODY, fontName="Helvetica-Bold", fontSize=11.5, leading=15, spaceBefore=9, spaceAfter=3
)
_LINES = TableStyle(
    [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, 0), 0.8, colors.black),
        ("LINEBELOW", (0, 1), (-1, -1), 0.25, colors.HexColor("#777777")),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 9),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
    ]
)
_PAIR = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)]
# Shares of the width that the columns of each table have, by its number of columns.
_WIDTHS = {
    7: (0.19, 0.17, 0.2, 0.13, 0.08, 0.13, 0.1),
    6: (0.19, 0.19, 0.08, 0.09, 0.19, 0.26),
    5: (0.22, 0.22, 0.13, 0.13, 0.3),
    3: (0.17, 0.63, 0.2),
}


def draw_claim(claim: Claim, photos: Sequence[bytes | None], paper: str) -> bytes:
    """The PDF of a claim.

    photos: the pictures in the claim's order, None for one that cannot be read; paper: a setting's.
    The same arguments give the same bytes.
    """
    file = io.BytesIO()
    size = _PAPERS[paper]
    document = SimpleDocTemplate(
        file,
        pagesize=size,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=16 * mm,
        bottomMargin=20 * mm,
        title=claim.title,
        author=claim.shop,
        invariant=1,
    )
    width = size[0] - 2 * (_MARGIN + _FRAME)
    story: list[Any] = [Paragraph(paragraph_text(claim.title), _TITLE), Spacer(1, 3 * mm), _address(claim, width)]
    story += [Spacer(1, 3 * mm), *(Paragraph(paragraph_text(line), _BODY) for line in claim.lead)]
    if claim.said.asks:
        story += [Paragraph(paragraph_text(_("What we ask for")), _SECTION)]
        story += [Paragraph(paragraph_text(line) or "&nbsp;", _BODY) for line in claim.said.asks.splitlines()]
    story += [Paragraph(paragraph_text(_("The set")), _SECTION), _facts(claim, width)]
    for table in claim.tables:
        story += _section(table, width)
    if claim.notes:
        lines = [Paragraph(paragraph_text(line), _BODY) for line in claim.notes]
        # The heading goes over the page's end with its first line, not without it.
        story += [
            KeepTogether([Paragraph(paragraph_text(_("Other sets of this type")), _SECTION), lines[0]]),
            *lines[1:],
        ]
    story += _photos(claim, photos, width)
    foot = f"{claim.shop} · {claim.title} · {claim.printed}"
    document.build(story, canvasmaker=paged(foot, side_pt=_MARGIN + _FRAME, foot_pt=11 * mm))
    return file.getvalue()


def _address(claim: Claim, width: float) -> Table:
    rows = [
        (pgettext("letter", "To"), claim.said.supplier or "–"),
        (pgettext("letter", "From"), claim.shop),
        (_("Questions to"), claim.said.contact or "–"),
        (pgettext("letter", "Date"), claim.date),
    ]
    return _pairs(rows, width)


def _facts(claim: Claim, width: float) -> Table:
    return _pairs(claim.facts, width)


def _pairs(rows: Sequence[tuple[str, str]], width: float) -> Table:
    cells = [[Paragraph(paragraph_text(name), _HEAD), Paragraph(paragraph_text(words), _CELL)] for name, words in rows]
    table = Table(cells, colWidths=[0.24 * width, 0.76 * width], hAlign="LEFT")
    table.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("TOPPADDING", (0, 0), (-1, -1), 1),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
            ]
        )
    )
    return table


def _section(table: ClaimTable, width: float) -> list[Any]:
    title = Paragraph(paragraph_text(table.title), _SECTION)
    below = [Spacer(1, 1 * mm), Paragraph(paragraph_text(table.below), _SMALL)] if table.below else []
    if not table.rows:
        return [KeepTogether([title, *below])]
    numbers = set(table.numbers)
    cells = [
        [
            Paragraph(paragraph_text(head), _HEAD_NUMBER if place in numbers else _HEAD)
            for place, head in enumerate(table.heads)
        ]
    ]
    cells += [
        [Paragraph(paragraph_text(words), _NUMBER if place in numbers else _CELL) for place, words in enumerate(row)]
        for row in table.rows
    ]
    drawn = Table(cells, colWidths=[share * width for share in _WIDTHS[len(table.heads)]], repeatRows=1, hAlign="LEFT")
    drawn.setStyle(_LINES)
    # The title stays with its table's head: a short table as a whole, a long one with what fits.
    if len(table.rows) <= 8:
        return [KeepTogether([title, drawn, *below])]
    return [title, drawn, *below]


def _photos(claim: Claim, photos: Sequence[bytes | None], width: float) -> list[Any]:
    if not claim.photos:
        return []
    title = Paragraph(paragraph_text(_("Photos")), _SECTION)
    cells = []
    for number, (photo, words, raw) in enumerate(zip(claim.photos, claim.photo_words, photos, strict=True), start=1):
        said = Paragraph(paragraph_text(f"{number}. {words}"), _SMALL)
        if raw is None:
            cells.append([Paragraph(paragraph_text(_("This picture cannot be read any more.")), _SMALL), said])
            continue
        scale = min(_PHOTO_MM[0] * mm / photo.width, _PHOTO_MM[1] * mm / photo.height)
        cells.append([Image(io.BytesIO(raw), photo.width * scale, photo.height * scale), said])
    pairs = [cells[start : start + 2] for start in range(0, len(cells), 2)]
    if len(pairs[-1]) == 1:
        pairs[-1].append([])
    rows = [Table([pair], colWidths=[width / 2] * 2, style=_PAIR) for pair in pairs]
    return [KeepTogether([title, rows[0]]), *rows[1:]]
