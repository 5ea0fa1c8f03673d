"""Open outings: the list, a new one, changing and closing one."""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.actions.outing import change_outing, close_outing, open_outing
from inventory.forms.outing_form import OutingForm
from inventory.models import Outing
from inventory.models.choices import HolderKind, OutingKind
from inventory.queries.custody import open_outings, sets_of_outing
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.times import when_for, zone_of
from inventory.views.doors import PersonRequest, door
from inventory.views.scanning import as_uuid


@door("GET", right=Right.SCAN)
def outings(request: PersonRequest) -> HttpResponse:
    """Open outings by leaving time; one that is due and has nothing out any more is over by itself."""
    now = timezone.now()
    rows = [
        {
            "outing": outing,
            "leaves": when_for(request.user, outing.leaves_at, now),
            "due": when_for(request.user, outing.due_at, now) if outing.due_at else "",
            "late": outing.due_at is not None and outing.due_at < now and outing.out_count > 0,  # type: ignore[attr-defined]
        }
        for outing in open_outings(request.user.branch, now)
    ]
    return render(request, "inventory/outing/list.html", {"rows": rows, "late": sum(row["late"] for row in rows)})


@door("GET", "POST", right=Right.SCAN)
def outing_new(request: PersonRequest) -> HttpResponse:
    """Open an outing and go on to scanning out."""
    branch, refused = request.user.branch, None
    start = {
        "kind": OutingKind.JOB,
        "holder_kind": HolderKind.CREW,
        "leaves_at": timezone.localtime(timezone=zone_of(branch)),
    }
    with timezone.override(zone_of(branch)):
        form = OutingForm(request.POST or None, branch=branch, initial=start)
        valid = request.method == "POST" and form.is_valid()
    if valid:
        try:
            key = as_uuid(request.POST.get("outing_id", ""))
            made = open_outing(branch, now=timezone.now(), outing_id=key, **form.cleaned_data)
            return redirect("inventory:scan_out", made.pk)
        except Refused as refusal:
            refused = refusal
    context = {"form": form, "refused": refused, "hidden": {"outing_id": request.POST.get("outing_id") or uuid4()}}
    return render(request, "inventory/outing/form.html", context, status=_status(request, refused))


@door("GET", "POST", right=Right.SCAN)
def outing_change(request: PersonRequest, outing_id: UUID) -> HttpResponse:
    """Change what an outing says."""
    branch, refused = request.user.branch, None
    outing = get_object_or_404(Outing, pk=outing_id, branch=branch)
    start = {name: getattr(outing, name) for name in OutingForm.base_fields}
    with timezone.override(zone_of(branch)):
        form = OutingForm(request.POST or None, branch=branch, initial=start)
        valid = request.method == "POST" and form.is_valid()
    if valid:
        try:
            change_outing(outing, **form.cleaned_data)
            messages.success(request, _("%(name)s is kept.") % {"name": outing.name})
            return redirect("inventory:outings")
        except Refused as refusal:
            refused = refusal
    context: dict[str, Any] = {"form": form, "refused": refused, "outing": outing, "states": sets_of_outing(outing)}
    return render(request, "inventory/outing/form.html", context, status=_status(request, refused))


@door("POST", right=Right.SCAN)
def outing_close(request: PersonRequest, outing_id: UUID) -> HttpResponse:
    """Close an outing whose sets are back."""
    outing = get_object_or_404(Outing, pk=outing_id, branch=request.user.branch)
    try:
        close_outing(outing, now=timezone.now())
        messages.success(request, _("%(name)s is closed.") % {"name": outing.name})
    except Refused as refusal:
        messages.error(request, refusal.sentence)
    return redirect(reverse("inventory:outings"))


def _status(request: PersonRequest, refused: Refused | None) -> int:
    return 422 if request.method == "POST" else 200
