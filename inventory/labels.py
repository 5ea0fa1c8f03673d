"""Label sheets and rolls as PDF, drawn for a printer of so many dots per inch.

The parts: `codes.py` (codes and addresses), `qr_symbol.py` (the square), `label_sizes.py` (the geometries),
`label_faces.py` (what stands on a label). Views call the two functions here and nothing below them.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from reportlab.pdfgen.canvas import Canvas

from inventory.codes import AddressNotPrintable, CodeNotRead, code_address, new_code, read_code
from inventory.label_faces import MARKS, POINTS_PER_MM, LabelFace, draw_face
from inventory.label_sizes import LabelSize, LabelSizeWrong, label_size, label_sizes
from inventory.qr_symbol import qr_svg, symbol_version

__all__ = [
    "MARKS",
    "AddressNotPrintable",
    "CodeNotRead",
    "LabelFace",
    "LabelSize",
    "LabelSizeWrong",
    "LabelsRefused",
    "code_address",
    "draw_roll",
    "draw_sheet",
    "label_size",
    "label_sizes",
    "new_code",
    "qr_svg",
    "read_code",
    "symbol_version",
]

# One file of this many labels is about 40 MB of memory and half a minute; more is taken for a slip of the finger.
MOST_LABELS = 5_000
# Sheets go to laser printers of 300, 600 or 1,200 dpi: a whole dot of 300 is a whole dot of all of them.
SHEET_DPI = 300


class LabelsRefused(ValueError):
    """These labels cannot be drawn as asked; the message is a sentence for the person printing."""


def draw_sheet(
    faces: Sequence[LabelFace],
    size: LabelSize,
    *,
    start_at: int = 1,
    copies: int = 1,
    dpi: int = SHEET_DPI,
    now: datetime | None = None,
) -> bytes:
    """Return a PDF of label sheets: the faces in order, each `copies` times, row by row from the upper left.

    `start_at` is the first free label of the first sheet, counted from 1 (a used sheet is started anywhere); further
    sheets are used from their beginning. `now` only names the document's day in its title. The same arguments give the
    same bytes.
    Raises LabelsRefused, LabelSizeWrong or AddressNotPrintable; then nothing is drawn.
    """
    if size.kind != "sheet":
        raise LabelsRefused(_("%(size)s is a roll. Choose a sheet, or print on the roll.") % {"size": size.name})
    if not 1 <= start_at <= size.labels_per_page:
        raise LabelsRefused(
            _("The sheet has labels 1 to %(last)d; label %(start)d is not on it.")
            % {"last": size.labels_per_page, "start": start_at}
        )
    todo = _all_copies(faces, copies)
    paper_width, paper_height = size.paper_width_mm * POINTS_PER_MM, size.paper_height_mm * POINTS_PER_MM
    file, canvas = _open_document(paper_width, paper_height, todo, size, now)
    for i, face in enumerate(todo, start=start_at - 1):
        place = i % size.labels_per_page
        if place == 0 and i >= size.labels_per_page:
            canvas.showPage()
        if place == 0 or i == start_at - 1:
            canvas.translate(0, paper_height)
        row, column = divmod(place, size.columns)
        left = size.left_mm + column * (size.width_mm + size.column_gap_mm)
        top = size.top_mm + row * (size.height_mm + size.row_gap_mm)
        draw_face(canvas, face, size, left * POINTS_PER_MM, top * POINTS_PER_MM, dpi)
    canvas.showPage()
    canvas.save()
    return file.getvalue()


def draw_roll(
    faces: Sequence[LabelFace], size: LabelSize, dpi: int = 203, copies: int = 1, *, now: datetime | None = None
) -> bytes:
    """Return a PDF for a roll printer: one label per page, each face `copies` times.

    The page is the label's size, down to whole dots of the printer, so that nothing is scaled. The same arguments give
    the same bytes.
    Raises LabelsRefused, LabelSizeWrong or AddressNotPrintable; then nothing is drawn.
    """
    if size.kind != "roll":
        raise LabelsRefused(_("%(size)s is a sheet. Choose a roll, or print on the sheet.") % {"size": size.name})
    todo = _all_copies(faces, copies)
    size.module_mm(dpi)  # refuses a dpi that is not offered, before the page is measured by it
    # A hundredth of a dot less: lengths in a PDF are rounded, and a program that rounds a dot up stretches the page.
    width, height = ((math.floor(mm / 25.4 * dpi) - 0.01) * 72 / dpi for mm in (size.width_mm, size.height_mm))
    file, canvas = _open_document(width, height, todo, size, now)
    for face in todo:
        canvas.translate(0, height)
        draw_face(canvas, face, size, 0, 0, dpi)
        canvas.showPage()
    canvas.save()
    return file.getvalue()


def _all_copies(faces: Sequence[LabelFace], copies: int) -> list[LabelFace]:
    if not faces:
        raise LabelsRefused(_("No label is chosen. Choose sets, or a number of blank labels."))
    if copies < 1:
        raise LabelsRefused(_("%(copies)d copies are none. Print 1 or more.") % {"copies": copies})
    if len(faces) * copies > MOST_LABELS:
        raise LabelsRefused(
            _("%(count)d labels are more than one file takes, %(most)d. Print them in several files.")
            % {"count": len(faces) * copies, "most": MOST_LABELS}
        )
    for face in faces:
        symbol_version(face.address)  # an address that does not fit is refused before the first label is drawn
    return [face for face in faces for _copy in range(copies)]


def _open_document(
    width: float, height: float, todo: Sequence[LabelFace], size: LabelSize, now: datetime | None
) -> tuple[io.BytesIO, Any]:
    file = io.BytesIO()
    canvas = Canvas(file, pagesize=(width, height), pageCompression=1, invariant=1)
    day = f", {now:%Y-%m-%d}" if now else ""
    canvas.setTitle(_("Labels %(measures)s, %(count)d") % {"measures": size.measures, "count": len(todo)} + day)
    # The print dialog of most viewers then does not shrink the page: a shrunk square has no whole dots any more.
    canvas.setViewerPreference("PrintScaling", "None")
    return file, canvas
