"""My job: the shift a crew lead runs, step by step; passes, the floor's look, trouble, how the sets are left."""

from __future__ import annotations

from datetime import datetime
from typing import Any, cast
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.actions.fitness import report_trouble
from inventory.actions.gate import name_of, where_of
from inventory.models import Person
from inventory.models.choices import Basis, LeftHow, SoakNeed
from inventory.queries.catalogue import ladder
from inventory.refusals import Refused
from inventory.times import show_time, when_for
from inventory.units import from_si, show_area, to_si, unit_for
from inventory.views.doors import door, who_of
from inventory.views.scanning import as_uuid
from jobs.actions.shift import (
    NoPassLogged,
    WorkAsked,
    WorkPart,
    check_planned,
    close_shift,
    floor_even,
    leave_sets,
    log_work,
)
from jobs.context import rights_of, units_of
from jobs.forms.work import PassForm
from jobs.models import Job
from jobs.queries.my_job import Doing, Running, SetNow, running, shift_of, shifts_of
from jobs.queries.plan import Night, night_of
from jobs.queries.uses import ROUNDING
from jobs.views.faces import places_of
from jobs.views.my_sets import ADVICE, lost_words, set_words
from jobs.views.work import find_set, job_of

TROUBLES = (
    ("ran_dry", gettext_lazy("Ran dry"), "dry"),
    ("chipped", gettext_lazy("Chipped"), "short"),
    ("glazed", gettext_lazy("Glazed"), "water"),
    ("lost", gettext_lazy("Lost"), "stop"),
)


@door("GET", right="log_work")
def my_job(request: HttpRequest) -> HttpResponse:
    """The shift this person leads now or next."""
    person, now = cast(Person, request.user), timezone.now()
    night = shift_of(person, now)
    if night is None:
        return render(request, "jobs/my_job/none.html", {"ask": _who_plans(person), **rights_of(person)})
    return _page(request, night)


@door("GET", right="log_work")
def shift(request: HttpRequest, pk: UUID, key: UUID) -> HttpResponse:
    """A shift, run by whoever logs it."""
    return _page(request, _night(job_of(request, pk), key))


def _who_plans(person: Person) -> str:
    plans = Person.objects.filter(branch=person.branch, is_active=True, right_rows__right="plan").order_by("pk").first()
    return plans.name if plans else ""


def _night(job: Job, key: UUID) -> Night:
    night = night_of(job, key)
    if night is None:
        raise Http404(_("The plan has that shift no more."))
    return night


def _page(
    request: HttpRequest,
    night: Night,
    *,
    form: PassForm | None = None,
    refused: Refused | None = None,
    step: str = "",
    even: bool = False,
) -> HttpResponse:
    """The shift as it stands. even: ask whether the floor looks even."""
    person, now = cast(Person, request.user), timezone.now()
    run = running(night, now)
    step = step or request.GET.get("step", "")
    doing = next((one for one in run.steps if str(one.step.key) == step), run.now)
    places = ladder(person.branch)
    sets = run.sets_for(doing.step) if doing else []
    context = {
        "night": night,
        "job": night.job,
        "run": run,
        "doing": doing,
        "rungs": _rungs(run, doing, places, night),
        "where": _where(run, doing),
        "sets": [set_words(one, person, places, now) for one in sets],
        "lost": lost_words(run.lost_for(doing.step)) if doing else [],
        "form": (form := form or (_pass_form(doing, sets, person) if doing and sets else None)),
        "chosen": str(form["tool_set"].value()) if form else "",
        "refused": refused,
        "steps_of_area": _stepper(person),
        "ask_even": _ask_even(run, doing, even or request.GET.get("even") == "1"),
        "ask_left": (doing is None or request.GET.get("leave") == "1")
        and run.left is None
        and bool(run.sets)
        and not run.closed,
        "following": _following(run, doing),
        "left_sets": [set_words(one, person, places, now) for one in run.sets],
        "left_answers": _left_answers(run),
        "meant": [(name_of(state), where_of(state)) for state in run.meant_for(doing.step)] if doing else [],
        "may_close": now >= night.shift.starts_at and run.closed is None and (run.left is not None or not run.sets),
        "others": _others(person, night, now),
        "troubles": [{"value": value, "label": words, "kind": kind} for value, words, kind in TROUBLES],
        "time": show_time(now, person.branch, clock_24h=person.clock_24h),
        "ladder_count": places_of(places),
        **rights_of(person),
    }
    return render(request, "jobs/my_job/page.html", context, status=422 if refused else 200)


def _ask_even(run: Running, doing: Doing | None, pressed: bool) -> bool:
    """Whether to ask if the floor looks even: all passes are logged, or "Step done" was pressed."""
    if doing is None or run.closed is not None:
        return False
    return pressed or (doing.complete and not doing.even)


def _others(person: Person, night: Night, now: datetime) -> list[dict[str, str]]:
    """The other shifts this person leads about now: tonight's, from last night's page."""
    return [
        {
            "label": f"{other.job.name}, {when_for(person, other.shift.starts_at, now)}",
            "url": reverse("jobs:shift", args=[other.job.pk, other.shift.key]),
        }
        for other in shifts_of(person, now)
        if other.shift.key != night.shift.key
    ]


def _rungs(run: Running, doing: Doing | None, places: dict[int, tuple[int, int]], night: Night) -> list[dict[str, Any]]:
    rungs, several = [], len({one.zone.key for one in run.steps}) > 1
    for one in run.steps:
        place, count = places.get(one.step.tool_type_id, (0, 1))
        status = "now" if doing is not None and one.step.key == doing.step.key else "done" if one.even else "to_come"
        url = reverse("jobs:shift", args=[night.job.pk, night.shift.key]) + f"?step={one.step.key}"
        mark = "tick" if one.even else ("drop" if run.sets_for(one.step) else "")
        rungs.append(
            {
                "grit": one.step.tool_type.grit,
                "place": place,
                "count": count,
                "status": status,
                "mark": mark,
                "url": url,
                "floor": one.zone.zone.name if several else "",
            }
        )
    return rungs


def _where(run: Running, doing: Doing | None) -> str:
    """The step as cards and the gate count it: floors of one grit are one step."""
    if doing is None:
        return _("all steps done")
    types = list(dict.fromkeys(one.step.tool_type_id for one in run.steps))
    return _("Step %(n)s of %(of)s") % {"n": types.index(doing.step.tool_type_id) + 1, "of": len(types)}


def _pass_form(doing: Doing, sets: list[SetNow], person: Person) -> PassForm:
    """What is left of the pass that runs, or a section of it where the floor has sections; one pass."""
    left = doing.zone.area_m2 - doing.this_pass_m2
    whole = left if left > ROUNDING * doing.zone.area_m2 else doing.zone.area_m2
    code = unit_for("area", units_of(person))
    area = min(doing.zone.zone.section_m2 or whole, whole)
    area = to_si(round(from_si(area, code), 0 if area > 10 else 2), code)
    initial = {"passes": 1, "area": float(area), "tool_set": sets[0].state.pk}
    return PassForm(initial=initial, units=units_of(person))


def _stepper(person: Person) -> dict[str, Any]:
    unit = unit_for("area", units_of(person))
    return {"step": 250 if unit == "ft2" else 25, "unit": "ft²" if unit == "ft2" else "m²"}


def _following(run: Running, doing: Doing | None) -> Doing | None:
    keys = [one.step.key for one in run.steps]
    if doing is None or doing.step.key not in keys:
        return None
    after = run.steps[keys.index(doing.step.key) + 1 :]
    return after[0] if after else None


def _left_answers(run: Running) -> list[dict[str, str]]:
    """How sets may be left; water is no answer where none of them needs any."""
    soaks = any(one.state.tool_set.tool_type.soak_need != SoakNeed.NONE for one in run.sets)
    answers = [
        {"value": LeftHow.IN_WATER, "label": _("In water"), "detail": _("Stay conditioned")},
        {"value": LeftHow.IN_VAN, "label": _("In the van"), "detail": _("The dry-out runs")},
        {"value": LeftHow.DRY, "label": _("Left dry"), "detail": _("The dry-out runs")},
        {"value": LeftHow.CAME_BACK, "label": _("Came back to the shop"), "detail": _("Scan them in at the rack")},
    ]
    return answers if soaks else answers[1:]


def _to(job: Job, key: UUID, more: str = "") -> HttpResponse:
    return redirect(reverse("jobs:shift", args=[job.pk, key]) + more)


@door("POST", right="log_work")
def shift_log(request: HttpRequest, pk: UUID, key: UUID, step: UUID) -> HttpResponse:
    """Log passes over an area with the set of the step."""
    job, person = job_of(request, pk), cast(Person, request.user)
    night, form = _night(job, key), PassForm(request.POST, units=units_of(person))
    if not form.is_valid():
        return _page(request, night, form=form, refused=Refused(_("One answer does not read.")), step=str(step))
    said = form.cleaned_data
    unit = unit_for("area", units_of(person))
    try:
        part = WorkPart(
            find_set(job, str(said["tool_set"]), ""), said["area"], said["passes"], None, str(form.data["area"]), unit
        )
        kept = log_work(
            who_of(request), job, key, step, [part],
            now=timezone.now(), basis=Basis.SECTION_DONE, sure=form.is_sure, units=units_of(person), plan=night.plan,
        )  # fmt: skip
    except Refused as refused:
        if isinstance(refused, WorkAsked):
            form.ask()
        return _page(request, night, form=form, refused=refused, step=str(step))
    words = _("%(area)s kept.") % {"area": show_area(said["area"] * said["passes"], units_of(person))}
    messages.success(request, words, extra_tags=reverse("jobs:undo", args=[kept.act.pk]))
    return _to(job, key, f"?step={step}")


@door("POST", right="log_work")
def shift_even(request: HttpRequest, pk: UUID, key: UUID, step: UUID) -> HttpResponse:
    """The floor looks even: the next grit may go on."""
    job = job_of(request, pk)
    try:
        kept = floor_even(who_of(request), job, key, step, now=timezone.now(), why=request.POST.get("why", ""))
    except NoPassLogged as refused:
        return _page(request, _night(job, key), refused=refused, step=str(step), even=True)
    except Refused as refused:
        messages.error(request, refused.sentence)
        return _to(job, key)
    messages.success(request, _("The floor looks even."), extra_tags=reverse("jobs:undo", args=[kept.act.pk]))
    return _to(job, key)


@door("POST", right="log_work")
def shift_trouble(request: HttpRequest, pk: UUID, key: UUID, step: UUID) -> HttpResponse:
    """Trouble with a set, logged at once, undone with one tap."""
    job, person = job_of(request, pk), cast(Person, request.user)
    try:
        check_planned(job, key, step)
        tool_set = find_set(job, request.POST.get("tool_set", ""), "")
        trouble = request.POST.get("trouble", "")
        kept = report_trouble(
            who_of(request), person.branch, tool_set, trouble, now=timezone.now(), shift_uuid=key, step_key=str(step)
        )
    except Refused as refused:
        messages.error(request, refused.sentence)
    else:
        label = {value: words for value, words, _kind in TROUBLES}.get(trouble, trouble)
        words = _("%(trouble)s: kept.") % {"trouble": label}
        if advice := ADVICE.get(trouble):
            words = f"{words} {advice}"
        messages.success(request, words, extra_tags=reverse("jobs:undo", args=[kept.act.pk]))
    return _to(job, key, f"?step={step}")


@door("POST", right="log_work")
def shift_leave(request: HttpRequest, pk: UUID, key: UUID) -> HttpResponse:
    """How the sets are left, once for all of them or set by set (``set-<id>``)."""
    job = job_of(request, pk)
    # A set that nobody answered for stays without an answer: it counts as dry.
    named = {as_uuid(name[4:]): request.POST[name] for name in request.POST if name.startswith("set-")}
    apart = {key: answer for key, answer in named.items() if key is not None and answer}
    try:
        how = request.POST.get("how") or LeftHow.UNKNOWN
        kept = leave_sets(who_of(request), job, key, how, now=timezone.now(), apart=apart)
    except Refused as refused:
        messages.error(request, refused.sentence)
    else:
        said = LeftHow(how).label if "how" in request.POST else _("set by set")
        messages.success(
            request, _("Sets left: %(how)s.") % {"how": said}, extra_tags=reverse("jobs:undo", args=[kept.act.pk])
        )
    return _to(job, key)


@door("POST", right="log_work")
def shift_close(request: HttpRequest, pk: UUID, key: UUID) -> HttpResponse:
    """Close the shift."""
    job = job_of(request, pk)
    try:
        kept = close_shift(who_of(request), job, key, now=timezone.now())
    except Refused as refused:
        messages.error(request, refused.sentence)
        return redirect("jobs:job", job.pk)
    messages.success(request, _("The shift is closed."), extra_tags=reverse("jobs:undo", args=[kept.act.pk]))
    return _to(job, key)
