"""Logging work from the desk: a form for a set in a step of a shift, and the correction of a line."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from types import MappingProxyType
from typing import Any, cast
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db.models import F, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.actions.gate import name_of, where_of
from inventory.forms.set_forms import WhyForm
from inventory.models import Entry, Machine, Person, SetState, ToolSet
from inventory.models.choices import Basis, Fitness, Source
from inventory.queries.opening import Opened, open_text
from inventory.refusals import Refused
from inventory.times import show_day, show_time, zone_of
from inventory.units import from_si, show_area, to_si, unit_for
from inventory.views.doors import door, who_of
from inventory.views.scanning import as_uuid
from jobs.actions.shift import WorkAsked, WorkPart, WorkRefused, correct_work, log_work, void_work
from jobs.context import units_of
from jobs.forms.work import WorkForm
from jobs.models import Job, JobPlan, PlanStep
from jobs.queries.plan import Night, nights_of, plan_of, share_of_step, zone_of_step
from jobs.queries.shift import even_steps, logged_on, outings_of, work_logged
from jobs.queries.uses import ROUNDING

# Of what is planned so much logged counts as all of it, as on the job's page.
_ABOUT_ALL = 0.95


def job_of(request: HttpRequest, pk: UUID) -> Job:
    """The job of this branch, or 404."""
    jobs = Job.objects.select_related("site__place", "branch")
    return get_object_or_404(jobs, pk=pk, branch=cast(Person, request.user).branch)


@door("GET", "POST", right="log_work")
def work(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Log what a set polished."""
    job, person = job_of(request, pk), cast(Person, request.user)
    plan = plan_of(job)
    if plan is None or not plan.steps.all():
        messages.error(request, _("This job has no step yet. Plan its ladder first."))
        return redirect("jobs:job", job.pk)
    done = _done_steps(job, plan)
    night = _night_of(request, plan)
    logged = {} if night is None else logged_on([night.shift.key])
    initial = _initial(request, plan, night, done, logged)
    options = _options(job, plan, request.POST or initial, done)
    if not initial["tool_set"] and options["out"]:
        initial["tool_set"] = options["out"][0]
    initial |= _left_of(plan, initial, logged, person)
    form = WorkForm(request.POST or None, initial=initial, options=options, units=units_of(person))
    form.known = _known(request, plan, initial, options)
    refused: Refused | None = None
    if request.method == "POST" and form.is_valid():
        try:
            return _kept(request, job, plan, form)
        except Refused as why:
            refused = why
            if isinstance(why, WorkAsked):
                form.ask()
    return _show(request, job, form, refused, in_full=_in_full(form, done))


def _done_steps(job: Job, plan: JobPlan) -> dict[str, str]:
    """What is told of steps that ask for no more work, by key: all logged, or the floor looks even; 3 queries."""
    logged: dict[UUID | None, float] = {}
    for line in work_logged(job=job):
        if line.counts:
            logged[line.entry.step_key] = logged.get(line.entry.step_key, 0.0) + line.area_m2
    planned = {step.key: _planned_m2(plan, step) for step in plan.steps.all()}
    even = {str(key): _("done, the floor looks even") for key in even_steps(planned)}
    full = (key for key, m2 in planned.items() if logged.get(key, 0.0) >= _ABOUT_ALL * m2 > 0)
    return even | {str(key): _("logged in full") for key in full}


def _planned_m2(plan: JobPlan, step: PlanStep) -> float:
    zone = zone_of_step(plan, step)
    return zone.area_m2 * step.passes if zone is not None else 0.0


def _in_full(form: WorkForm, done: Mapping[str, str]) -> str:
    """What is told of a step that is done already."""
    chosen = str(form["step"].value() or "")
    if all(key in done for key, _words in form.fields["step"].choices if key):  # type: ignore[attr-defined]
        return _("Every step of this job is done. What you keep here comes on top.")
    if chosen not in done:
        return ""
    words = _("This step is %(done)s. What you keep here comes on top.")
    return words % {"done": done[chosen]}


def _kept(request: HttpRequest, job: Job, plan: JobPlan, form: WorkForm) -> HttpResponse:
    said, person = form.cleaned_data, cast(Person, request.user)
    paper = {"adds": False, "instead": True}.get(said["paper"])
    recorded = log_work(
        who_of(request, source=Source.DESK if paper is None else Source.PAPER),
        job,
        UUID(said["shift"]) if said["shift"] else None,
        UUID(said["step"]),
        _parts(job, form),
        now=timezone.now(),
        basis=said["basis"],
        stands_instead=paper,
        sure=form.is_sure,
        units=units_of(person),
        plan=plan,
    )
    area = sum((entry.area_m2 or 0) * (entry.passes or 0) for entry in recorded.entries if entry.kind == "worked")
    words = _("%(area)s kept.") % {"area": show_area(area, units_of(person))}
    messages.success(request, words, extra_tags=reverse("jobs:undo", args=[recorded.act.pk]))
    following = _following(job, plan, request.GET.get("shift", ""))
    if following:
        return redirect(reverse("jobs:work", args=[job.pk]) + following)
    return redirect("jobs:job", job.pk)


def _following(job: Job, plan: JobPlan, shift: str) -> str:
    """The query of the next step of a shift without work, when one goes step by step through it; else ""."""
    night = next((one for one in nights_of(plan) if str(one.shift.key) == shift), None)
    if night is None:
        return ""
    logged, done = logged_on([night.shift.key]), _done_steps(job, plan)
    open_steps = (one for one in night.steps if (night.shift.key, one.key) not in logged and str(one.key) not in done)
    step = next(open_steps, None)
    return f"?shift={shift}&step={step.key}" if step is not None else ""


def _parts(job: Job, form: WorkForm) -> list[WorkPart]:
    said = form.cleaned_data
    first = find_set(job, said["tool_set"], said["code"])
    parts = [WorkPart(first, said["area"], said["passes"], said["machine"], form.entered("area"), form.unit_of("area"))]
    if said["second_set"]:
        if said["second_area"] is None:
            raise WorkRefused(_("The second set has no area."), _("Type what it did of the pass."), field="second_area")
        second = find_set(job, said["second_set"], "")
        value, unit = form.entered("second_area"), form.unit_of("second_area")
        parts.append(WorkPart(second, said["second_area"], 1, said["machine"], value, unit))
    return parts


def find_set(job: Job, key: str, code: str) -> ToolSet:
    """The set of this branch by its key or a typed code. Raises WorkRefused in words."""
    sets = ToolSet.objects.select_related("tool_type").filter(Q(state__branch=job.branch) | Q(state__branch=None))
    if code.strip():
        opened = open_text(code, job.branch)
        if opened.several:
            raise _which_one(opened)
        if opened.tool_set is None:
            raise WorkRefused(
                _("No set has the code %(code)s.") % {"code": code}, _("Check its last character."), field="code"
            )
        return opened.tool_set
    named = as_uuid(key)
    found = sets.filter(pk=named).first() if named else None
    if found is None:
        raise WorkRefused(
            _("No set was named."), _("Choose the set that did the work, or type its code."), field="tool_set"
        )
    return found


def _which_one(opened: Opened) -> WorkRefused:
    """The question which of several sets of one own code is meant, with their labels' codes."""
    states = SetState.objects.filter(pk__in=[one.pk for one in opened.several]).select_related("place", "outing")
    named = "; ".join(", ".join(filter(None, (name_of(one), where_of(one)))) for one in states.order_by("code"))
    count = _("%(count)d sets have the own code “%(code)s”: %(sets)s.")
    return WorkRefused(
        count % {"count": len(opened.several), "code": opened.text, "sets": named},
        _("Type its label's code, or clear this and choose it in the list."),
        field="code",
    )


def _night_of(request: HttpRequest, plan: JobPlan) -> Night | None:
    """The shift the address names, else the one that ended last or runs, else the first."""
    nights = nights_of(plan)
    begun = [night for night in nights if night.shift.starts_at <= timezone.now()]
    asked = next((night for night in nights if str(night.shift.key) == request.GET.get("shift")), None)
    return asked or (begun[-1] if begun else (nights[0] if nights else None))


def _initial(
    request: HttpRequest,
    plan: JobPlan,
    night: Night | None,
    done: Container[str],
    logged: Mapping[tuple[UUID, UUID], float],
) -> dict[str, Any]:
    """What the address says, else the step the floor needs next."""
    step = _next_step(plan, night, done, logged)
    machines = [row.machine_id for row in night.shift.machine_rows.all()] if night else []
    return {
        "machine": machines[0] if len(machines) == 1 else None,
        "shift": str(night.shift.key) if night else "",
        "step": request.GET.get("step") or (str(step.key) if step is not None else ""),
        "tool_set": request.GET.get("set", ""),
        "passes": 1,
        "basis": Basis.MEASURED,
    }


def _next_step(
    plan: JobPlan, night: Night | None, done: Container[str], logged: Mapping[tuple[UUID, UUID], float]
) -> PlanStep | None:
    """The first step of the shift with something left on it, else of the job; None when every step is done."""
    mine = list(night.steps) if night is not None else []
    open_steps = [step for step in [*mine, *plan.steps.all()] if str(step.key) not in done]

    def left(step: PlanStep) -> bool:
        said = logged.get((night.shift.key, step.key), 0.0) if night is not None else 0.0
        return said < _ABOUT_ALL * share_of_step(plan, step) * _planned_m2(plan, step)

    return next(filter(left, open_steps), next(iter(open_steps), None))


def _left_of(
    plan: JobPlan, said: Mapping[str, Any], logged: Mapping[tuple[UUID, UUID], float], person: Person
) -> dict[str, Any]:
    """The area of a pass, m2, and the passes that are left of a step on its shift: what one most likely logs."""
    step = next((one for one in plan.steps.all() if str(one.key) == said["step"]), None)
    zone, shift = zone_of_step(plan, step) if step else None, as_uuid(said["shift"])
    if step is None or zone is None or shift is None:
        return {}
    whole = zone.area_m2 * share_of_step(plan, step)
    here = min(logged.get((shift, step.key), 0.0), whole * step.passes)
    done = int(here / whole + ROUNDING)
    begun = here - done * whole
    area, passes = (whole - begun, 1) if begun > ROUNDING * whole else (whole, max(1, step.passes - done))
    code = unit_for("area", units_of(person))
    return {"area": to_si(round(from_si(area, code), 0 if area > 10 else 2), code), "passes": passes}


def _known(
    request: HttpRequest, plan: JobPlan, initial: Mapping[str, Any], options: Mapping[str, Any]
) -> tuple[str, ...]:
    """The fields whose answer is known: shift and step where the address says them, the one set that is out for it."""
    nights = {str(shift.key) for shift in plan.shifts.all()}
    if request.GET.get("pick"):  # shift or step was just changed on the page: they stay where they were
        return ()
    known: tuple[str, ...] = ("shift",) if request.GET.get("shift") in nights or len(nights) == 1 else ()
    if initial["step"] and (request.GET.get("step") == initial["step"] or len(plan.steps.all()) == 1):
        known += ("step",)
    alone = len(options["out"]) == 1 and initial["tool_set"] == options["out"][0]
    return (*known, "tool_set") if alone or request.GET.get("set") else known


def _options(
    job: Job, plan: JobPlan, said: Mapping[str, Any], done: Mapping[str, str] = MappingProxyType({})
) -> dict[str, Any]:
    """What the form chooses from: shifts, steps, sets out for the job or of the step's type; out: those that are both.

    said: the step and the sets as the form has them. A set of no such kind is named by its code.
    """
    zone = zone_of(job.branch)
    shifts = [
        (str(s.key), f"{show_day(s.starts_at.astimezone(zone).date())} {show_time(s.starts_at, job.branch)}")
        for s in plan.shifts.all()
    ]
    steps = []
    for step in plan.steps.all():
        floor = zone_of_step(plan, step)
        words = [step.tool_type.name, floor.zone.name if floor else "", done.get(str(step.key), "")]
        steps.append((str(step.key), " · ".join(filter(None, words))))
    if steps and all(key in done for key, _words in steps):
        steps.insert(0, ("", "—"))  # nothing is left to propose
    outings = {outing.pk for outing in outings_of([s.key for s in plan.shifts.all()]).values()}
    asked = next((one for one in plan.steps.all() if str(one.key) == said.get("step")), None)
    types = {one.tool_type_id for one in plan.steps.all()} if asked is None else {asked.tool_type_id}
    named = [pk for pk in (as_uuid(said.get("tool_set", "")), as_uuid(said.get("second_set", ""))) if pk is not None]
    states = (
        SetState.objects.filter(branch=job.branch, main_id=F("tool_set_id"))
        .filter(Q(tool_set__tool_type__in=types) | Q(outing_id__in=outings) | Q(pk__in=named))
        .exclude(fitness=Fitness.RETIRED)
        .select_related("tool_set__tool_type")
        .defer("facts")
        .order_by("tool_set__tool_type__ladder_place", "code")[:400]
    )
    # Sets of the step's type that are out with the job, others out with it, then the type's sets in the shop.
    ordered = sorted(
        states, key=lambda state: (state.outing_id not in outings, state.tool_set.tool_type_id not in types)
    )
    sets = [
        (str(state.pk), f"{state.tool_set.tool_type.grit} · {name_of(state)}"
         + (_(" · out for this job") if state.outing_id in outings else ""))
        for state in ordered
    ]  # fmt: skip
    out = [
        str(state.pk)
        for state in ordered
        if state.outing_id in outings and asked is not None and state.tool_set.tool_type_id == asked.tool_type_id
    ]
    return {
        "shift": [("", _("not known")), *shifts],
        "step": steps,
        "tool_set": [("", "—"), *sets],
        "second_set": [("", "—"), *sets],
        "out": out,
        "machines": Machine.objects.filter(branch=job.branch, active=True).order_by("name"),
    }


def _show(
    request: HttpRequest,
    job: Job,
    form: WorkForm,
    refused: Refused | None,
    *,
    in_full: str = "",
    correcting: bool = False,
) -> HttpResponse:
    status = 422 if refused or form.errors else 200
    known = [words for name in form.known if (words := _label(form, name))]
    inside = refused is not None and form.folds(refused.field or "")
    context = {"job": job, "form": form, "refused": refused, "known": known, "unfolded": form.unfolded or inside}
    context |= {"in_full": in_full, "correcting": correcting}
    return render(request, "jobs/work/form.html", context, status=status)


def _label(form: WorkForm, name: str) -> str:
    """The words of the choice a field stands at."""
    field = form.fields[name]
    assert isinstance(field, forms.ChoiceField)
    labels = {str(value): str(words) for value, words in cast(Iterable[tuple[Any, Any]], field.choices)}
    value = str(form[name].value() or "")
    return labels.get(value, "") if value else ""


@door("GET", "POST", right="log_work")
def work_correct(request: HttpRequest, pk: UUID, entry: UUID) -> HttpResponse:
    """Put a corrected line in place of one: another set, step, area or passes; its shift and time stay."""
    job, line = job_of(request, pk), _line(pk, entry)
    plan = plan_of(job)
    if plan is None:
        return redirect("jobs:job", job.pk)
    form = _correct_form(request, job, plan, line)
    refused: Refused | None = None
    if request.method == "POST" and form.is_valid():
        try:
            _corrected(request, job, line, form)
        except Refused as why:
            refused = why
            if isinstance(why, WorkAsked):
                form.ask()
        else:
            messages.success(request, _("Corrected."))
            return redirect("jobs:job", job.pk)
    return _show(request, job, form, refused, correcting=True)


def _line(job: UUID, entry: UUID) -> Entry:
    """A worked line of a job, or 404."""
    rows = Entry.objects.select_related("act__done_by", "tool_set__tool_type", "machine")
    return get_object_or_404(rows, pk=entry, kind="worked", visit_uuid=job)


def _correct_form(request: HttpRequest, job: Job, plan: JobPlan, line: Entry) -> WorkForm:
    """The line as it stands; sets of every step are there to choose, since the step may change too."""
    shown = {"area": line.area_m2, "passes": line.passes, "step": str(line.step_key), "tool_set": str(line.tool_set_id)}
    options = _options(job, plan, {"tool_set": shown["tool_set"]})
    if shown["step"] not in dict(options["step"]):  # a step that the plan has no more
        options["step"] = [(shown["step"], _("as it was")), *options["step"]]
    form = WorkForm(request.POST or None, initial=shown, options=options, units=units_of(cast(Person, request.user)))
    for name in ("shift", "second_set", "second_area", "machine", "basis", "paper"):
        del form.fields[name]
    form.fields["step"].required = False  # not said: as it was
    return form


def _corrected(request: HttpRequest, job: Job, line: Entry, form: WorkForm) -> None:
    said = form.cleaned_data
    assert line.tool_set is not None
    chosen = find_set(job, said["tool_set"], said["code"]) if said["tool_set"] or said["code"] else line.tool_set
    part = WorkPart(chosen, said["area"], said["passes"], line.machine, form.entered("area"), form.unit_of("area"))
    correct_work(
        who_of(request, happened_at=line.act.happened_at, time_known=line.act.time_known),
        job,
        line,
        part,
        "",
        now=timezone.now(),
        step_key=UUID(said["step"]) if said["step"] else None,
        sure=form.is_sure,
        units=units_of(cast(Person, request.user)),
    )


@door("GET", "POST", right="log_work")
def work_void(request: HttpRequest, pk: UUID, entry: UUID) -> HttpResponse:
    """Void a line of work from the job's page, saying why."""
    job, line = job_of(request, pk), _line(pk, entry)
    form = WhyForm(request.POST or None)
    refused: Refused | None = None
    if request.method == "POST" and form.is_valid():
        try:
            void_work(who_of(request), job, line, form.cleaned_data["why"], now=timezone.now())
        except Refused as why:
            refused = why
        else:
            messages.success(request, _("Void. The line stays in the set's ledger, struck out."))
            return redirect("jobs:job", job.pk)
    status = 422 if refused or form.errors else 200
    return render(
        request, "jobs/work/void.html", {"job": job, "line": line, "form": form, "refused": refused}, status=status
    )
