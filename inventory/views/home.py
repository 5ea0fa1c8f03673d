"""Where somebody begins: the first page their rights lead to."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from inventory.context import page
from inventory.rights import Right
from inventory.views.doors import door


@door("GET")
def home(request: HttpRequest) -> HttpResponse:
    """Shop day, My job or Reorder by rights; the scan page for whoever only scans; else one's own page."""
    context = page(request)
    scan = context["scan_link"]
    if scan is not None and request.user.rights == {Right.SCAN}:  # type: ignore[union-attr]
        return redirect(scan.url)
    order = {"jobs:shop_day": 0, "jobs:my_job": 1, "jobs:reorder": 2}
    pages = sorted(context["nav"], key=lambda link: order.get(link.url_name, 9))
    return redirect(pages[0].url if pages else "inventory:me")
