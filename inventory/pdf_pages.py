"""The foot of a printed paper: what it is, and which page of how many."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from inventory.pdf_letters import printable

_FONT, _SIZE_PT = "Helvetica", 8
_GAP_PT = 12


def paged(words: str, *, side_pt: float, foot_pt: float) -> type[Canvas]:
    """A canvas that writes `words` and "Page 1 of 3" at each page's foot: it knows at the end how many there are.

    words: shortened where they do not fit. side_pt: free room left and right; foot_pt: height of the line, both in
    points of 1/72 in.
    """
    said = printable(words)

    class Paged(Canvas):
        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs)
            self._pages: list[dict[str, Any]] = []

        def showPage(self) -> None:
            self._pages.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for number, page in enumerate(self._pages, start=1):
                self.__dict__.update(page)
                self._foot(number, len(self._pages))
                super().showPage()
            super().save()

        def _foot(self, number: int, count: int) -> None:
            self.setFont(_FONT, _SIZE_PT)
            pages = _("Page %(number)d of %(count)d") % {"number": number, "count": count}
            right = self._pagesize[0] - side_pt
            room = right - side_pt - stringWidth(pages, _FONT, _SIZE_PT) - _GAP_PT
            fitting = said
            while fitting and stringWidth(fitting, _FONT, _SIZE_PT) > room:
                fitting = fitting.rstrip("…")[:-1].rstrip() + "…"
            self.drawString(side_pt, foot_pt, fitting)
            self.drawRightString(right, foot_pt, pages)

    return Paged
