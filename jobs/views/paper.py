"""The page where a van sheet is typed in afterwards, in the paper's own order."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast
from uuid import UUID

from django.contrib import messages
from django.db.models import F
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.gate import name_of
from inventory.forms.set_forms import mark_of
from inventory.models import Act, Machine, Person, SetState, ToolSet
from inventory.models.choices import Fitness, Source
from inventory.refusals import Refused
from inventory.times import when_for
from inventory.units import from_si, show_area, to_si, unit_for
from inventory.views.doors import door, who_of
from jobs.actions.paper import Paper, PaperFloor, PaperRefused, PaperSet, PaperStep, type_in, undo_paper
from jobs.actions.shift import WorkPart
from jobs.context import rights_of, units_of
from jobs.forms.paper import PaperFloorForm, PaperHeadForm, PaperSetForm, PaperStepForm
from jobs.models import Job, PlanZone, ShiftEntry
from jobs.queries.plan import Night
from jobs.queries.shift import WEAK, standing_rows, work_logged
from jobs.queries.van_sheet import SheetFacts, SheetStep, sheet_facts
from jobs.views.van_sheet import night_or_404
from jobs.views.work import job_of

_NOT_SAID = ("csrfmiddlewaretoken", "act_id", "sure")


@dataclass(frozen=True)
class StepRow:
    """A step on the page: its form, what is logged of it on the shift, m2; even: its floor was said to look so."""

    one: SheetStep
    number: int
    form: PaperStepForm
    logged_m2: float
    even: bool
    title: str


@dataclass(frozen=True)
class SetRow:
    """A set on the page; out: with the shift's outing still."""

    state: SetState
    form: PaperSetForm
    out: bool
    title: str


@dataclass(frozen=True)
class Sheet:
    """The page of one sheet."""

    facts: SheetFacts
    head: PaperHeadForm
    steps: list[StepRow]
    sets: list[SetRow]
    floors: list[tuple[PlanZone, PaperFloorForm]]
    closed: ShiftEntry | None

    @property
    def forms(self) -> list[tuple[str, Any]]:
        """Every form with the name of its row."""
        rows: list[tuple[str, Any]] = [("", self.head)]
        rows += [(row.title, row.form) for row in self.steps]
        rows += [(row.title, row.form) for row in self.sets]
        return [*rows, *((zone.zone.name, form) for zone, form in self.floors)]


@door("GET", "POST", right="log_work")
def sheet_in(request: HttpRequest, pk: UUID, key: UUID) -> HttpResponse:
    """Type a van sheet in."""
    job, person, now = job_of(request, pk), cast(Person, request.user), timezone.now()
    night = night_or_404(job, key)
    sheet = _sheet(request, night, person, now)
    unread = [form for _name, form in sheet.forms if not form.is_valid()]  # each is read: all is said at once
    if request.method != "POST" or unread:
        return _show(request, job, sheet, now)
    try:
        who = who_of(request, source=Source.PAPER, done_by=sheet.head.cleaned_data["done_by"])
        kept = type_in(who, job, night, _said(sheet), now=now, sure=sheet.head.is_sure, units=units_of(person))
    except Refused as refused:
        if isinstance(refused, PaperRefused) and refused.asked:
            sheet.head.ask()
        return _show(request, job, sheet, now, refused)
    _tell(request, job, kept, person)
    return redirect("jobs:job", job.pk)


def _tell(request: HttpRequest, job: Job, kept: list[Any], person: Person) -> None:
    """What was kept of the sheet, with the way back."""
    worked = [line for one in kept for line in one.entries if line.kind == "worked"]
    area = show_area(sum((line.area_m2 or 0) * (line.passes or 0) for line in worked), units_of(person))
    words = _("The sheet is kept: %(area)s worked.") % {"area": area}
    undo = reverse("jobs:sheet_undo", args=[job.pk, kept[0].act.pk])
    messages.success(request, words, extra_tags=undo)


@door("POST", right="log_work")
def sheet_undo(request: HttpRequest, pk: UUID, act: UUID) -> HttpResponse:
    """Void everything that was typed in with one sheet."""
    job, person = job_of(request, pk), cast(Person, request.user)
    target = get_object_or_404(Act.objects.select_related("done_by"), pk=act, branch=person.branch)
    try:
        undo_paper(who_of(request), job.branch, target, now=timezone.now())
    except Refused as refused:
        messages.error(request, refused.sentence)
    else:
        messages.success(request, _("Undone."))
    return redirect("jobs:job", job.pk)


def _sheet(request: HttpRequest, night: Night, person: Person, now: datetime) -> Sheet:
    """The forms of a sheet in the paper's order, with what is on record beside them; a constant number of queries."""
    facts, data = sheet_facts(night, now), request.POST if request.method == "POST" else None
    rows = standing_rows([night.shift.key])
    even = {row.step_key for row in rows if row.kind == ShiftEntry.Kind.FLOOR_EVEN}
    logged: dict[UUID | None, float] = {}
    for line in work_logged(shift_keys=[night.shift.key]):
        if line.counts and line.entry.basis not in WEAK:
            logged[line.entry.step_key] = logged.get(line.entry.step_key, 0.0) + line.area_m2
    people = Person.objects.filter(branch=person.branch, is_active=True).order_by("name")
    lead = night.shift.lead if night.shift.lead is not None and night.shift.lead.is_active else person
    head = PaperHeadForm(data, people=people, said=_digest(request), initial={"done_by": lead.pk})
    choices = _choices(night, facts, person)
    several = len(facts.zones) > 1
    steps = [
        _step_row(number, one, data, choices, logged.get(one.step.key, 0.0), person, several, one.step.key in even)
        for number, one in enumerate(facts.steps, start=1)
    ]
    sets = [_set_row(state, facts, data, person) for state in facts.sets]
    floors = [(zone, PaperFloorForm(data, prefix=f"floor-{zone.key}")) for zone in facts.zones]
    closed = next((row for row in rows if row.kind == ShiftEntry.Kind.CLOSED), None)
    if closed is not None:
        del head.fields["close"]
    return Sheet(facts, head, steps, sets, floors, closed)


def _digest(request: HttpRequest) -> str:
    """What a sheet says, in short: "it is right so" holds for it alone."""
    said = sorted((name, *values) for name, values in request.POST.lists() if name not in _NOT_SAID)
    return hashlib.sha256(repr(said).encode()).hexdigest()[:32] if said else ""


def _choices(night: Night, facts: SheetFacts, person: Person) -> dict[int, list[tuple[str, str]]]:
    """The sets to choose from for each tool type: those of the sheet first, then the others of the type; one query."""
    types = {one.step.tool_type_id for one in facts.steps}
    mine = [state.pk for state in facts.sets]
    others = (
        SetState.objects.filter(branch=person.branch, main_id=F("tool_set_id"), tool_set__tool_type__in=types)
        .exclude(fitness=Fitness.RETIRED)
        .exclude(pk__in=mine)
        .select_related("tool_set__tool_type")
        .defer("facts")
        .order_by("code")[:400]
    )
    found: dict[int, list[tuple[str, str]]] = {pk: [("", "—")] for pk in types}
    for state in [*facts.sets, *others]:
        if state.tool_set.tool_type_id in found:
            found[state.tool_set.tool_type_id].append((str(state.pk), name_of(state)))
    return found


def _step_row(
    number: int,
    one: SheetStep,
    data: Any,
    choices: dict[int, list[tuple[str, str]]],
    logged_m2: float,
    person: Person,
    several: bool,
    even: bool,
) -> StepRow:
    code = unit_for("area", units_of(person))
    whole = one.zone.area_m2 * one.share
    area = to_si(round(from_si(whole, code), 0 if whole > 10 else 2), code)
    initial = {"tool_set": str(one.sets[0].pk) if one.sets else "", "area": float(area)}
    form = PaperStepForm(
        data,
        prefix=f"step-{one.step.key}",
        initial=initial,
        units=units_of(person),
        sets=choices[one.step.tool_type_id],
        sections=one.sections,
    )
    if not logged_m2:
        del form.fields["instead"]
    if even:
        del form.fields["even"]
    if even or not (data and data.get(form.add_prefix("even"))):
        del form.fields["why"]
    grit = one.step.tool_type.grit
    title = _("%(grit)s on %(floor)s") % {"grit": grit, "floor": one.zone.zone.name} if several else grit
    return StepRow(one, number, form, logged_m2, even, title)


def _set_row(state: SetState, facts: SheetFacts, data: Any, person: Person) -> SetRow:
    out = facts.outing is not None and state.outing_id == facts.outing.pk
    form = PaperSetForm(
        data,
        prefix=f"set-{state.pk}",
        units=person.units,
        decimal_mark=mark_of(person),
        backing=bool(state.tool_set.tool_type.backing_mm),
        out=out,
    )
    return SetRow(state, form, out, f"{state.tool_set.tool_type.grit} · {name_of(state)}")


def _said(sheet: Sheet) -> Paper:
    """The sheet as it was typed."""
    named = {row.form.cleaned_data.get(name) for row in sheet.steps for name in ("tool_set", "second_set")}
    rows = ToolSet.objects.filter(pk__in=[pk for pk in named if pk]).select_related("tool_type")
    sets = {str(one.pk): one for one in rows}
    machines = [one.machine for one in sheet.facts.night.shift.machine_rows.all()]
    machine = machines[0] if len(machines) == 1 else None
    return Paper(
        steps=tuple(_paper_step(row, sets, machine) for row in sheet.steps),
        sets=tuple(
            PaperSet(
                row.state.tool_set,
                row.title,
                row.form.cleaned_data.get("left", ""),
                row.form.cleaned_data["height"],
                bool(row.form.cleaned_data.get("with_backing")),
                row.form.cleaned_data["trouble"],
                row.form.cleaned_data["note"].strip(),
            )
            for row in sheet.sets
        ),
        floors=tuple(
            PaperFloor(zone, zone.zone.name, form.cleaned_data["gloss"], form.cleaned_data["clarity"])
            for zone, form in sheet.floors
        ),
        close=bool(sheet.head.cleaned_data.get("close")),
    )


def _paper_step(row: StepRow, sets: dict[str, ToolSet], machine: Machine | None) -> PaperStep:
    form, said = row.form, row.form.cleaned_data
    parts = []
    if said["passes"]:
        entered = form.entered("area"), form.unit_of("area")
        parts.append(WorkPart(sets[said["tool_set"]], said["area"], said["passes"], machine, *entered))
    for passes, count in sorted(form.by_passes.items(), reverse=True):
        parts.append(WorkPart(sets[said["tool_set"]], count * row.one.section_m2, passes, machine))
    if said["second_set"]:
        entered = form.entered("second_area"), form.unit_of("second_area")
        parts.append(WorkPart(sets[said["second_set"]], said["second_area"], said["second_passes"], machine, *entered))
    instead = {"adds": False, "instead": True}.get(said.get("instead", ""))
    even, why = bool(said.get("even")), said.get("why", "")
    return PaperStep(row.one.step.key, row.title, tuple(parts), instead, even, why)


def _show(request: HttpRequest, job: Job, sheet: Sheet, now: datetime, refused: Refused | None = None) -> HttpResponse:
    person, shift = cast(Person, request.user), sheet.facts.night.shift
    for row in sheet.steps:  # why a step is done without a pass is asked where that came up
        asked = row.one.step.key in getattr(refused, "no_pass", ()) or row.form.data.get(row.form.add_prefix("why"))
        if "why" in row.form.fields and not asked:
            del row.form.fields["why"]
    wrong = [(name, form) for name, form in sheet.forms if form.is_bound and form.errors]
    count = len(wrong)
    context = {
        "job": job,
        "sheet": sheet,
        "night": sheet.facts.night,
        "when": when_for(person, shift.starts_at, now),
        "ahead": shift.starts_at > now,
        "locked": sheet.closed is not None and not rights_of(person)["may_settle"],
        "refused": refused,
        "refused_rows": getattr(refused, "rows", ()),
        "wrong": wrong,
        "wrong_words": ngettext(
            "%(n)s row to mend. Nothing is kept yet.", "%(n)s rows to mend. Nothing is kept yet.", count
        )
        % {"n": count},
        **rights_of(person),
    }
    return render(request, "jobs/van_sheet/page.html", context, status=422 if refused or wrong else 200)
