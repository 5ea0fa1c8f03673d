"""Tables as files: a page that lists them, and each as CSV (written as it is read) or XLSX."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date
from typing import Any, cast

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from inventory.sheets.export import csv_lines, xlsx_bytes
from inventory.tables import For, table_named, tables_for
from inventory.times import zone_of
from inventory.views.doors import PersonRequest, door

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@door("GET")
def tables(request: PersonRequest) -> HttpResponse:
    """Every table this person may have."""
    since, until, wrong = _days(request)
    context = {"tables": tables_for(request.user), "since": since, "until": until, "wrong": wrong}
    return render(request, "inventory/tables.html", context, status=422 if wrong else 200)


@door("GET")
def export(request: PersonRequest, name: str, fmt: str) -> HttpResponse:
    """One table as a file; money only for those who may see it; between two days where the table has days."""
    table = table_named(name)
    if table is None or fmt not in ("csv", "xlsx"):
        raise Http404
    if not table.open_to(request.user):
        raise PermissionDenied
    since, until, wrong = _days(request)
    if wrong:
        return tables(request)
    asked = For(request.user, timezone.now().astimezone(zone_of(request.user.branch)).date(), since, until)
    headings, rows = table.headings(request.user), table.cells(asked)
    headers = {"Content-Disposition": f'attachment; filename="{name}-{asked.today}.{fmt}"'}
    if fmt == "xlsx":
        return HttpResponse(xlsx_bytes(headings, rows, str(table.label)), content_type=XLSX, headers=headers)
    lines = _in_language(csv_lines(headings, rows))
    answer = StreamingHttpResponse(lines, content_type="text/csv; charset=utf-8", headers=headers)
    return cast(HttpResponse, answer)


def _in_language(lines: Iterable[bytes]) -> Iterator[bytes]:
    """The lines in the language of the request, which has ended when they are written."""
    language = translation.get_language() or "en"
    parts = iter(lines)

    def written() -> Iterator[bytes]:
        while True:
            with translation.override(language):
                line: Any = next(parts, None)
            if line is None:
                return
            yield line

    return written()


def _days(request: HttpRequest) -> tuple[date | None, date | None, str]:
    """The days asked for, and what is wrong with them."""
    days: list[date | None] = []
    for name in ("since", "until"):
        text = request.GET.get(name, "").strip()
        try:
            day = date.fromisoformat(text) if text else None
            # The calendar's first and last days overflow in other time zones.
            if day is not None and not 1900 <= day.year <= 2200:
                raise ValueError
            days.append(day)
        except ValueError:
            return None, None, _("“%(text)s” is no day. Write it as 2025-05-14.") % {"text": text[:40]}
    since, until = days
    if since is not None and until is not None and until < since:
        return since, until, _("%(until)s lies before %(since)s. Swap the two days.") % {"until": until, "since": since}
    return since, until, ""
