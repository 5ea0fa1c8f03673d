"""Labels: choose which, on what size, from where on the sheet; then the PDF."""

from __future__ import annotations

import random
from typing import Any
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from inventory.actions.label import label_place, label_sets, make_blank, mark_printed
from inventory.actions.ledger import Who, desk
from inventory.forms.label_form import BARE, LabelsForm
from inventory.labels import AddressNotPrintable, LabelSizeWrong, LabelsRefused, draw_roll, draw_sheet, label_size
from inventory.models import Branch, Label, Place, SetState, ToolSet
from inventory.queries.labels import faces, newest_labels, sets_of_order, shown_codes, unlabelled_sets, unprinted
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.views.doors import PersonRequest, door, who_of
from inventory.views.label_address import address_context
from inventory.views.scanning import as_uuid

# Print jobs kept in the session: the page may be opened again, and pressing twice makes nothing twice.
_KEPT_JOBS = 5


@door("GET", "POST", right=Right.SCAN)
def labels(request: PersonRequest) -> HttpResponse:
    """Choose what to print."""
    branch = request.user.branch
    last = request.session.get("label_paper", {"size": "roll-57x32", "dpi": "203"})
    first = {
        "what": "order" if request.GET.get("order") else "chosen" if request.GET.get("codes") else "new",
        "codes": request.GET.get("codes", ""),
        "order": request.GET.get("order", ""),
        "copies": 1,
    }
    form = LabelsForm(
        request.POST or None, branch=branch, units=request.user.units, initial={"start_at": 1, **first, **last}
    )
    refused: Refused | str | None = None
    if request.method == "POST" and form.is_valid():
        try:
            key = as_uuid(request.POST.get("act_id", "")) or uuid4()
            _keep_job(request, str(key), form.cleaned_data)
            return redirect("inventory:labels_ready", key)
        except (Refused, LabelsRefused, LabelSizeWrong) as problem:
            refused = problem if isinstance(problem, Refused) else str(problem)
    context = {
        "form": form,
        "refused": refused,
        "hidden": {"act_id": request.POST.get("act_id") or uuid4()},
        **address_context(request),
    }
    return render(request, "inventory/label/choose.html", context, status=422 if request.method == "POST" else 200)


@door("GET", right=Right.SCAN)
def labels_ready(request: PersonRequest, key: UUID) -> HttpResponse:
    """How many labels the file holds, and the file."""
    job = _job(request, key)
    context = {
        "job": job,
        "key": key,
        "count": len(job["codes"]) * job["copies"],
        "size": label_size(job["size"]).name_in(request.user.units),
        "first": shown_codes(job["codes"][:6]),
        **address_context(request),
    }
    return render(request, "inventory/label/ready.html", context)


@door("GET", right=Right.SCAN)
def labels_pdf(request: PersonRequest, key: UUID) -> HttpResponse:
    """The PDF of a print job."""
    job, branch, now = _job(request, key), request.user.branch, timezone.now()
    if not branch.label_address_confirmed_at:
        return redirect("inventory:labels_ready", key)
    size, dpi = label_size(job["size"]), int(job["dpi"])
    try:
        shown = faces(job["codes"], branch)
        if size.kind == "roll":
            pdf = draw_roll(shown, size, dpi, job["copies"], now=now)
        else:
            pdf = draw_sheet(shown, size, start_at=job["start_at"], copies=job["copies"], dpi=dpi, now=now)
    except (LabelsRefused, LabelSizeWrong, AddressNotPrintable) as problem:
        messages.error(request, str(problem))
        return redirect("inventory:labels")
    mark_printed(list(Label.objects.filter(pk__in=job["codes"])), now=now)
    response = HttpResponse(pdf, content_type="application/pdf")
    response["Content-Disposition"] = f'attachment; filename="labels-{now:%Y-%m-%d}-{len(shown)}.pdf"'
    return response


@door("GET", right=Right.SCAN)
def set_label(request: PersonRequest, set_id: UUID) -> HttpResponse:
    """The label of one set: the labels page with its code filled in."""
    state = get_object_or_404(SetState.objects.defer("facts"), pk=set_id, branch=request.user.branch)
    return redirect(reverse("inventory:labels") + (f"?codes={state.code}" if state.code else ""))


def _job(request: PersonRequest, key: UUID) -> dict[str, Any]:
    job = request.session.get("label_jobs", {}).get(str(key))
    if job is None:
        raise Http404
    return dict(job)


def _keep_job(request: PersonRequest, key: str, given: dict[str, Any]) -> None:
    """Make what labels are missing and keep the print job; the same key again changes nothing."""
    jobs = request.session.get("label_jobs", {})
    if key in jobs:
        return
    size, dpi = label_size(given["size"]), int(given["dpi"])
    size.module_mm(dpi)
    if size.kind == "sheet" and given["start_at"] > size.labels_per_page:
        draw_sheet([], size, start_at=given["start_at"], dpi=dpi)  # says which labels the sheet has
    codes = _codes(who_of(request), request.user.branch, given)
    if not codes:
        draw_roll([], label_size("roll-57x32"))  # says that no label is chosen
    paper = {"size": given["size"], "dpi": given["dpi"]}
    job = {"codes": codes, "copies": given["copies"], "start_at": given["start_at"], **paper}
    request.session["label_jobs"] = dict([*jobs.items(), (key, job)][-_KEPT_JOBS:])
    request.session["label_paper"] = paper


def _codes(who: Who, branch: Branch, given: dict[str, Any]) -> list[str]:
    """The codes to print, labels made where they are missing."""
    now, rng, what = who.sent_at, random.SystemRandom(), given["what"]
    if what == "blank":
        return [label.code for label in make_blank(branch, given["blank"], made_by=who.done_by, now=now, rng=rng)]
    if what == "places":
        return [_place_code(who, branch, place) for place in given["places"]]
    if what == "chosen":
        keys = [UUID(key.removeprefix(BARE)) for key in given["codes"] if key.startswith(BARE)]
        bare = list(ToolSet.objects.filter(pk__in=keys)) if keys else []
        if bare:
            label_sets(who, branch, bare, now=now, rng=rng)
        made = {f"{BARE}{label.opens_set_id}": label.code for label in newest_labels(bare)}
        return [made.get(code, code) for code in given["codes"]]
    sets = unlabelled_sets(branch) if what == "new" else sets_of_order(given["order"])
    if sets:
        label_sets(who, branch, sets, now=now, rng=rng)
    if what == "order":
        return [label.code for label in newest_labels(sets)]
    rows = unprinted(branch).order_by("opens_set__tool_type__ladder_place", "made_at", "code")
    return [label.code for label in rows]


def _place_code(who: Who, branch: Branch, place: Place) -> str:
    """The code a place goes by; made when it has none."""
    known = Label.objects.filter(opens_place=place, replaced_at__isnull=True).first()
    if known is not None:
        return known.code
    by = desk(who.done_by, who.device, who.sent_at)
    return label_place(by, branch, place, now=who.sent_at, rng=random.SystemRandom())[1].code
