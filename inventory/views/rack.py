"""The rack: a picture, a list, one grit."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django_tables2 import RequestConfig

from inventory.context import address
from inventory.queries.labels import own_tags
from inventory.queries.rack import in_use, rack_of
from inventory.rack_words import cover_words
from inventory.rights import Right
from inventory.views.doors import PersonRequest, door
from inventory.views.rack_list import ROWS_A_PAGE, SetFilter, SetTable
from inventory.views.rack_page import neighbours, ordered, rack_context, set_line, views_of
from inventory.views.verdicts import type_line

_LINES_A_PAGE = 60


@door("GET")
def rack(request: PersonRequest) -> HttpResponse:
    """Every set as a gauge on its shelf; with ``?view=list`` as a table."""
    if request.GET.get("view") == "list":
        return _list(request)
    now = timezone.now()
    context = rack_context(rack_of(request.user.branch, now), request.user, now)
    context |= {"views": views_of("picture"), "begin": _begin(request)}
    return render(request, "inventory/rack/picture.html", context)


@door("GET")
def rack_grit(request: PersonRequest, type_id: int) -> HttpResponse:
    """The sets of one grit as lines."""
    now, person = timezone.now(), request.user
    whole = rack_of(person.branch, now)
    grit = next((row for row in whole.grits if any(one.pk == type_id for one in row.types)), None)
    if grit is None:
        raise Http404
    page = Paginator(ordered(grit), _LINES_A_PAGE).get_page(request.GET.get("page"))
    coarser, finer = neighbours(whole, grit)
    tags = own_tags(person.branch)
    context = {
        "grit": grit,
        "type_lines": [type_line(one) for one in grit.types],
        "cover": cover_words(grit),
        "page": page,
        "lines": [set_line(one, grit, person, now, tags) for one in page],
        "coarser": coarser,
        "finer": finer,
    }
    return render(request, "inventory/rack/grit.html", context)


def _list(request: PersonRequest) -> HttpResponse:
    now, person = timezone.now(), request.user
    asked = SetFilter(request.GET or None, person=person)
    rows = asked.chosen(rack_of(person.branch, now, states=asked.states).sets)
    table = SetTable(rows, request, person, now)
    RequestConfig(request, paginate={"per_page": ROWS_A_PAGE, "silent": True}).configure(table)
    context = {
        "table": table,
        "filter": asked,
        "count": len(rows),
        "views": views_of("list"),
        "begin": _begin(request),
        "empty": not in_use(person.branch).exists(),
    }
    return render(request, "inventory/rack/list.html", context)


def _begin(request: PersonRequest) -> list[dict[str, str]]:
    """How a shop without sets begins, as far as the person may."""
    ways: list[tuple[str, str, tuple[str, ...]]] = [
        ("inventory:orders", _("Receive an order"), (Right.BUY,)),
        ("jobs:bring_in", _("Bring in a spreadsheet"), (Right.PLAN, Right.RUN_SHOP)),
    ]
    return [
        {"label": label, "url": address(name), "method": "get"}
        for name, label, rights in ways
        if address(name) and any(map(request.user.can, rights))
    ]
