"""The form of a job's plan, at the desk: rows are added by buttons, every save is a new whole version."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, cast
from uuid import UUID, uuid4

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.models import Branch, Person
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.times import zone_of
from inventory.views.doors import door
from jobs.actions.plan import DoesNotFit, PlanAsked, Planned, PlanRefused, free_name, make_job, save_plan
from jobs.context import units_of
from jobs.forms.plan import (
    Choices,
    PlanForms,
    Rows,
    counts_read,
    whole_number,
)
from jobs.forms.plan_proposal import Proposal, propose_by_floor
from jobs.forms.plan_rows import add_row, drop_row, propose_ladder, rows_of, usual_shift
from jobs.ladder_words import refused_words
from jobs.laddering import shop_ladder
from jobs.models import Job, JobKind, Site, Standing
from jobs.numerics.ladder_facts import LadderRefused
from jobs.plan_draft import PlanDraft, ZoneDraft, draft_of
from jobs.queries.clash import clashes_of
from jobs.queries.plan import nights_of, plan_of
from jobs.views.leaving import clash_words


@door("GET", right="plan")
def job_choose(request: HttpRequest) -> HttpResponse:
    """Where is the job? The sites to plan one at."""
    sites = Site.objects.filter(branch=cast(Person, request.user).branch, active=True).order_by("name")
    return render(request, "jobs/job/choose.html", {"sites": sites[:500]})


@door("GET", "POST", right="plan")
def job_new(request: HttpRequest, pk: int) -> HttpResponse:
    """Plan a new job at a site."""
    site = get_object_or_404(Site, pk=pk, branch=cast(Person, request.user).branch)
    return _plan_page(request, site, None)


@door("GET", "POST", right="plan")
def plan(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Change the plan of a job."""
    branch = cast(Person, request.user).branch
    job = get_object_or_404(Job.objects.select_related("site", "branch"), pk=pk, branch=branch)
    return _plan_page(request, job.site, job)


def _plan_page(request: HttpRequest, site: Site, job: Job | None) -> HttpResponse:
    person = cast(Person, request.user)
    choices = Choices(site, person.branch)
    if request.method != "POST":
        return _first(request, site, job, _opened(choices, person, site, job))
    if not counts_read(request.POST):
        unread = PlanRefused(_("One answer does not read."))
        return _show(request, site, job, _opened(choices, person, site, job), refused=unread, status=422)
    held = plan_of(job, number=_edited_from(request)) if job else None
    before = draft_of(held) if held else PlanDraft(date.min, zones=tuple(ZoneDraft(zone) for zone in choices.zones))
    sent = PlanForms(choices, units_of(person), data=request.POST, held=before)
    if job is not None:  # a job keeps its name; the plan is what changes
        sent.plan.fields.pop("name")
    try:
        other = _other_rows(request, sent, person.branch)
    except Refused as refused:
        return _show(request, site, job, sent.unbound(sent.rows), refused=refused, status=422)
    if other is not None:
        return _show(request, site, job, sent.unbound(other.rows), said=other.said)
    if not sent.is_valid():
        return _show(request, site, job, sent, status=422)
    try:
        kept = _keep(person, site, job, sent)
    except Refused as refused:
        if isinstance(refused, PlanAsked):
            sent.plan.fields["sure"].widget = forms.CheckboxInput()
        return _show(request, site, job, sent, refused=refused, status=422)
    _tell(request, kept)
    return redirect("jobs:job", kept.plan.job_id)


def _first(request: HttpRequest, site: Site, job: Job | None, opened: PlanForms) -> HttpResponse:
    """The form as it opens; a bid that became a job brings its kind and finish, and has its ladder proposed."""
    asked = {name: request.GET.get(name, "") for name in ("kind", "finish_level", "starts_on")}
    if job is not None or "propose" not in request.GET:
        return _show(request, site, job, opened)
    facts = dict(opened.plan.initial)
    facts["kind"] = asked["kind"] if asked["kind"] in JobKind.values else facts["kind"]
    facts["finish_level"] = whole_number(asked["finish_level"]) or None
    try:
        proposal = _proposed(opened, opened.rows, cast(Person, request.user).branch, asked)
    except Refused as refused:
        drawn = PlanForms(opened.choices, opened.units, rows={"plan": facts, "rows": opened.rows})
        return _show(request, site, job, drawn, refused=refused)
    drawn = PlanForms(opened.choices, opened.units, rows={"plan": facts, "rows": proposal.rows})
    return _show(request, site, job, drawn, said=proposal.said)


def _edited_from(request: HttpRequest) -> int:
    return whole_number(request.POST.get("edited_from", ""))


def _opened(choices: Choices, person: Person, site: Site, job: Job | None) -> PlanForms:
    """The form as it opens: the plan that holds, or a bid for every floor of the site."""
    held = plan_of(job) if job else None
    today = timezone.now().astimezone(zone_of(person.branch)).date()
    draft = draft_of(held) if held else PlanDraft(today, zones=tuple(ZoneDraft(zone) for zone in choices.zones))
    facts = {
        "name": job.name if job else free_name(site.name, _names(site)),
        "kind": draft.kind,
        "standing": draft.standing if held else Standing.BID,
        "award_percent": round(draft.award_chance * 100) if held else 50,
        "starts_on": draft.starts_on if held else None,
        "confirmed": draft.confirmed,
        "finish_level": draft.finish_level,
        "notes": draft.notes,
        "edited_from": held.number if held else 0,
        "job_id": job.pk if job else uuid4(),
    }
    rows = rows_of(draft, zone_of(person.branch))
    return PlanForms(choices, units_of(person), rows={"plan": facts, "rows": rows})


def _names(site: Site) -> set[str]:
    """The names of the shop's jobs that begin as the site is called."""
    begin = Job.objects.filter(branch=site.branch_id, name__startswith=site.name[:74])
    return set(begin.values_list("name", flat=True))


def _other_rows(request: HttpRequest, sent: PlanForms, branch: Branch) -> Proposal | None:
    """The rows after a button that adds, drops or proposes some; None when the plan is to be kept."""
    said = request.POST
    if said.get("add") in sent.rows:
        return Proposal(add_row(sent.rows, said["add"], starts_on=said.get("starts_on", ""), usual=usual_shift(branch)))
    prefix, _sep, number = said.get("drop", "").partition("-")
    if prefix in sent.rows and number.isdecimal():
        return Proposal(drop_row(sent.rows, prefix, whole_number(number)))
    if "propose" not in said:
        return None
    first, last = said.get("ladder_from", ""), said.get("ladder_to", "")
    if first or last:
        return Proposal(propose_ladder(sent.rows, list(sent.choices.tool_types), first, last))
    return _proposed(
        sent, sent.rows, branch, {name: said.get(name, "") for name in ("kind", "finish_level", "starts_on")}
    )


def _proposed(forms_: PlanForms, rows: dict[str, Rows], branch: Branch, said: Mapping[str, Any]) -> Proposal:
    """The rows with the ladder that the floors ask for. Raises NoLadder where they get none."""
    shop = shop_ladder(branch, timezone.now().astimezone(zone_of(branch)).date())
    areas = {str(form["zone"].value()): _area(form) for form in forms_.tables["zones"]}
    try:
        return propose_by_floor(
            rows,
            forms_.choices.zones,
            shop,
            kind=said["kind"],
            finish_level=whole_number(said["finish_level"]) or None,
            areas=areas,
            starts_on=said["starts_on"],
            usual=usual_shift(branch),
        )
    except LadderRefused as refused:
        raise refused_words(refused, shop) from refused


def _area(form: forms.Form) -> float | None:
    """The area a floor's row says, m2; None where it does not read or was left to the floor."""
    if not form.is_bound:
        return form["area_m2"].initial
    form.is_valid()
    return form.cleaned_data.get("area_m2")


def _keep(person: Person, site: Site, job: Job | None, sent: PlanForms) -> Planned:
    said, now = sent.plan.cleaned_data, timezone.now()
    draft = sent.draft(zone_of(person.branch))
    more: dict[str, Any] = {"now": now, "sure": said["sure"], "units": units_of(person)}
    if job is None:
        return make_job(person, person.branch, site, said["name"], draft, job_id=said["job_id"], **more)
    return save_plan(person, job, draft, edited_from=said["edited_from"], **more)


def _tell(request: HttpRequest, kept: Planned) -> None:
    if kept.made:
        messages.success(request, _("Version %(n)s is kept.") % {"n": kept.plan.number})
    else:
        messages.success(request, _("Nothing changed: version %(n)s holds.") % {"n": kept.plan.number})
    branch = cast(Person, request.user).branch
    ahead = [night for night in nights_of(kept.plan) if night.shift.ends_at > timezone.now()]
    clashes = [one for found in clashes_of(branch, ahead).values() for one in found]
    for words in [*kept.warnings, *clash_words(clashes)]:
        messages.warning(request, words)


def _mend(refused: Refused | None, person: Person) -> dict[str, str] | None:
    """Where what is on record of the machine that does not fit is mended, for who may."""
    if not isinstance(refused, DoesNotFit) or not person.can(Right.RUN_SHOP):
        return None
    label = _("Open %(machine)s") % {"machine": refused.machine.name}
    return {"url": reverse("inventory:machine", args=[refused.machine.pk]), "label": label}


def _show(
    request: HttpRequest,
    site: Site,
    job: Job | None,
    sent: PlanForms,
    *,
    refused: Refused | None = None,
    said: Sequence[str] = (),
    status: int = 200,
) -> HttpResponse:
    if job is not None:
        sent.plan.fields.pop("name", None)
    context = {
        "site": site,
        "job": job,
        "form": sent.plan,
        "tables": sent.tables,
        "tool_types": sent.choices.tool_types,
        "ladder": {"from": request.POST.get("ladder_from", ""), "to": request.POST.get("ladder_to", "")},
        "refused": refused,
        "said": said,
        "mend": _mend(refused, cast(Person, request.user)),
        "version": whole_number(sent.plan["edited_from"].value()) + 1,
        "row_errors": sum(len(form.errors) for forms_ in sent.tables.values() for form in forms_ if form.is_bound),
    }
    return render(request, "jobs/job/plan.html", context, status=status)
