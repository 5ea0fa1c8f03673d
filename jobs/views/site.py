"""Sites and their floors: list, page, forms."""

from __future__ import annotations

from typing import Any, cast

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Q, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from inventory.models import Person
from inventory.refusals import Refused
from inventory.views.doors import door
from jobs.actions.site import AreaAsked, save_site, save_zone
from jobs.context import rights_of, units_of
from jobs.forms.site import SiteForm, ZoneForm
from jobs.models import JobPlan, Site, Zone


def _site(request: HttpRequest, pk: int) -> Site:
    return get_object_or_404(Site.objects.select_related("place"), pk=pk, branch=cast(Person, request.user).branch)


@door("GET")
def sites(request: HttpRequest) -> HttpResponse:
    """Every site, by name, with its floors and jobs."""
    branch = cast(Person, request.user).branch
    text = request.GET.get("q", "").strip()
    rows = Site.objects.filter(branch=branch, active=True)
    if text:
        rows = rows.filter(Q(name__icontains=text) | Q(address__icontains=text))
    rows = rows.annotate(
        floors=Count("zones", filter=Q(zones__active=True), distinct=True), job_count=Count("jobs", distinct=True)
    ).order_by("name")
    leaf = Paginator(rows, 50).get_page(request.GET.get("page"))
    areas = dict(
        Zone.objects.filter(site__in=[row.pk for row in leaf], active=True)
        .values_list("site_id")
        .annotate(area=Sum("area_m2"))
    )
    for row in leaf:
        row.area_m2 = areas.get(row.pk, 0.0)  # type: ignore[attr-defined]
    context = {"leaf": leaf, "text": text, **rights_of(cast(Person, request.user))}
    return render(request, "jobs/site/list.html", context)


@door("GET")
def site(request: HttpRequest, pk: int) -> HttpResponse:
    """One site: its floors and its jobs."""
    found = _site(request, pk)
    plans = JobPlan.objects.filter(job__site=found).select_related("job").order_by("-starts_on")
    newest = [plan for plan in plans if plan.number == plan.job.plan_number]
    context = {"site": found, "zones": found.zones.filter(active=True).order_by("name"), "plans": newest}
    context |= rights_of(cast(Person, request.user))
    return render(request, "jobs/site/page.html", context)


@door("GET", "POST", right="plan")
def site_form(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """Add or change a site."""
    found = None if pk is None else _site(request, pk)
    initial = {} if found is None else vars(found)
    form = SiteForm(request.POST or None, initial=initial)
    refused: Refused | None = None
    if request.method == "POST" and form.is_valid():
        try:
            kept = save_site(cast(Person, request.user).branch, site=found, **form.cleaned_data)
        except Refused as why:
            refused = why
        else:
            messages.success(request, _("%(site)s is kept.") % {"site": kept.name})
            return redirect("jobs:site", kept.pk)
    return _form(request, form, refused, site=found, title=found.name if found else _("A new site"))


@door("GET", "POST", right="plan")
def zone_form(request: HttpRequest, pk: int, zone_id: str = "") -> HttpResponse:
    """Add or change a floor of a site."""
    found, person = _site(request, pk), cast(Person, request.user)
    zone = get_object_or_404(Zone, pk=zone_id, site=found) if zone_id else None
    form = ZoneForm(request.POST or None, initial=vars(zone) if zone else {}, units=units_of(person))
    refused: Refused | None = None
    if request.method == "POST" and form.is_valid():
        said = {**form.cleaned_data, "edge_m": form.cleaned_data["edge_m"] or 0.0}
        try:
            save_zone(found, zone=zone, units=units_of(person), **said)
        except Refused as why:
            refused = why
            if isinstance(why, AreaAsked):
                form.ask()
        else:
            messages.success(request, _("%(zone)s is kept.") % {"zone": said["name"]})
            return redirect("jobs:site", found.pk)
    return _form(request, form, refused, site=found, title=zone.name if zone else _("A new floor"))


def _form(request: HttpRequest, form: Any, refused: Refused | None, **context: Any) -> HttpResponse:
    status = 422 if refused or form.errors else 200
    return render(request, "jobs/site/form.html", {"form": form, "refused": refused, **context}, status=status)
