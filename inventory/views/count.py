"""Counting a place by scanning: the places, one count as it stands, its end with the differences to approve."""

from __future__ import annotations

from uuid import UUID, uuid4

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.actions import count as counting_acts
from inventory.models import Count, Place
from inventory.queries.count import count_picture
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.views import counting
from inventory.views.doors import PersonRequest, door, who_of
from inventory.views.scanning import as_uuid


@door("GET", "POST", right=Right.COUNT)
def counts(request: PersonRequest) -> HttpResponse:
    """Which place to count next; begins a count."""
    branch, now = request.user.branch, timezone.now()
    if request.method == "POST":
        place = get_object_or_404(Place, pk=as_uuid(request.POST.get("place", "")), branch=branch)
        try:
            begun = counting_acts.begin_count(who_of(request), branch, place, now=now)
        except Refused as refusal:
            messages.error(request, refusal.sentence)
        else:
            return redirect("inventory:count", begun.pk)
    return render(request, "inventory/count/list.html", counting.list_context(request.user, now))


@door("GET", "POST", right=(Right.SCAN, Right.COUNT))
def count(request: PersonRequest, count_id: UUID) -> HttpResponse:
    """One count: what is there, what is still looked for, what is too many. Ended: what it changed."""
    found, now = _count_of(request, count_id), timezone.now()
    last = None
    if request.method == "POST":
        last = counting.do(who_of(request), request.user, found, counting.Asked.of(request), now)
    if found.ended_at is not None and not request.headers.get("X-Scan"):
        return render(request, "inventory/count/done.html", counting.done_context(request.user, found, now))
    part = bool(request.headers.get("X-Scan"))
    context = counting.page_context(request.user, found, now, request.session)
    context |= {"last": last, "part": part, "act_id": uuid4()}
    return render(request, f"inventory/count/{'answer' if part else 'count'}.html", context)


@door("GET", "POST", right=Right.COUNT)
def count_finish(request: PersonRequest, count_id: UUID) -> HttpResponse:
    """Approve the differences and end the count."""
    found, branch, now = _count_of(request, count_id), request.user.branch, timezone.now()
    if request.method == "POST":
        here, missing = counting.ids(request, "here"), counting.ids(request, "missing")
        done = counting_acts.finish(who_of(request), branch, found, here=here, missing=missing, now=now)
        if done.moved:
            messages.success(request, counting.moved_words(len(done.moved)))
        return redirect("inventory:count", found.pk)
    if found.ended_at is not None:
        return redirect("inventory:count", found.pk)
    context = counting.finish_context(request.user, count_picture(found), now)
    return render(request, "inventory/count/finish.html", context)


@door("POST", right=Right.COUNT)
def count_undo(request: PersonRequest, count_id: UUID) -> HttpResponse:
    """Take back what the end of a count changed; the count goes on."""
    found = _count_of(request, count_id)
    try:
        counting_acts.reopen(who_of(request), request.user.branch, found, now=timezone.now())
    except Refused as refusal:
        messages.error(request, refusal.sentence)
    else:
        messages.success(request, _("Taken back. The count goes on."))
    return redirect("inventory:count", found.pk)


def _count_of(request: PersonRequest, count_id: UUID) -> Count:
    found = Count.objects.select_related("place", "begun_by", "ended_by")
    return get_object_or_404(found, pk=count_id, branch=request.user.branch)
