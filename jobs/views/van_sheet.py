"""The van sheet of a shift: the paper that goes along, and where its square leads."""

from __future__ import annotations

from typing import cast
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.codes import AddressNotPrintable, label_base
from inventory.models import Person
from inventory.qr_symbol import paper_symbol
from inventory.views.doors import door
from jobs.models import Job, PlanShift
from jobs.queries.plan import Night, night_of
from jobs.queries.van_sheet import sheet_facts
from jobs.van_sheet import van_sheet
from jobs.van_sheet_pdf import draw_van_sheet
from jobs.views.work import job_of


@door("GET")
def sheet_pdf(request: HttpRequest, pk: UUID, key: UUID) -> HttpResponse:
    """The van sheet of a shift as a PDF."""
    person, now = cast(Person, request.user), timezone.now()
    facts = sheet_facts(night_or_404(job_of(request, pk), key), now)
    sheet = van_sheet(facts, person, square_address(request, key), now)
    response = HttpResponse(draw_van_sheet(sheet, facts.settings["paper"]), content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="van-sheet-{facts.night.shift.starts_at:%Y-%m-%d}.pdf"'
    return response


@door("GET", right="log_work")
def sheet_opened(request: HttpRequest, word: str) -> HttpResponse:
    """What the square of a van sheet opens: the page where it is typed in."""
    key = UUID(word)
    jobs = Job.objects.filter(branch=cast(Person, request.user).branch)
    found = get_object_or_404(jobs, pk__in=PlanShift.objects.filter(key=key).values("plan__job_id")[:1])
    return redirect("jobs:sheet_in", found.pk, key)


def night_or_404(job: Job, key: UUID) -> Night:
    """A shift of a job by the plan that holds."""
    night = night_of(job, key)
    if night is None:
        raise Http404(_("The plan has that shift no more."))
    return night


def square_address(request: HttpRequest, key: UUID) -> str:
    """What the square holds: the shop's address as its labels have it, else the one the page came by; "" if neither
    can stand in a square."""
    branch = cast(Person, request.user).branch
    for base in filter(None, (branch.label_address, request.build_absolute_uri("/"))):
        try:
            address = f"{label_base(base)}/V/{key.hex.upper()}"
            paper_symbol(address)
        except AddressNotPrintable:
            continue
        return address
    return ""
