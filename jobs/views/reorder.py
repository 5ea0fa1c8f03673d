"""Reorder: what to buy by when, one type's picture and why, the table as a file, and a new reckoning."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.rights import Right
from inventory.sheets.export import csv_bytes, xlsx_bytes
from inventory.views.doors import PersonRequest, door
from jobs.actions.forecast import kept_forecast, refresh_forecast
from jobs.views.reorder_page import certainty_of, page_context, query_of, table_of

RIGHTS = (Right.BUY, Right.PLAN, Right.RUN_SHOP)
_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@door("GET", right=RIGHTS)
def reorder(request: PersonRequest) -> HttpResponse:
    """What to order by when; `?sure=` another certainty, `?type=` the type whose picture is shown."""
    kept = kept_forecast(request.user.branch, now=timezone.now(), certainty=certainty_of(request))
    return render(request, "jobs/reorder/page.html", page_context(request, kept.forecast, fresh=kept.fresh))


@door("POST", right=RIGHTS)
def reorder_again(request: PersonRequest) -> HttpResponse:
    """Work it out anew, whatever is kept."""
    refresh_forecast(request.user.branch, now=timezone.now(), certainty=certainty_of(request))
    messages.success(request, _("Worked out anew."))
    return redirect(reverse("jobs:reorder") + query_of(request))


@door("GET", right=RIGHTS)
def reorder_csv(request: PersonRequest) -> HttpResponse:
    """The table as CSV."""
    return _file(csv_bytes(*table_of(request)), "text/csv; charset=utf-8", "reorder.csv")


@door("GET", right=RIGHTS)
def reorder_xlsx(request: PersonRequest) -> HttpResponse:
    """The table as a workbook."""
    return _file(xlsx_bytes(*table_of(request), title=_("Reorder")), _XLSX, "reorder.xlsx")


def _file(data: bytes, kind: str, name: str) -> HttpResponse:
    return HttpResponse(data, content_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})
