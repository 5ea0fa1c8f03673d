"""Where somebody begins: the first page their rights lead to."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from inventory.context import page
from inventory.views.doors import door


@door("GET")
def home(request: HttpRequest) -> HttpResponse:
    """Shop day, My job or Reorder by rights; else the scan page for whoever scans; else the first page there is."""
    context = page(request)
    order = {"jobs:shop_day": 0, "jobs:my_job": 1, "jobs:reorder": 2}
    pages = sorted(context["nav"], key=lambda link: order.get(link.url_name, 9))
    begin = pages[0] if pages and pages[0].url_name in order else context["scan_link"] or next(iter(pages), None)
    return redirect(begin.url if begin is not None else "inventory:me")
