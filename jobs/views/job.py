"""Jobs: the list, and a job's page with its plan, versions, work and sets out."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any, cast
from urllib.parse import urlencode, urlsplit
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import F, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext, pgettext, pgettext_lazy

from inventory.actions.gate import name_of
from inventory.models import Act, Branch, Outing, Person, SetState
from inventory.queries.catalogue import closed_names, ladder
from inventory.refusals import Refused
from inventory.shop_settings import settings_of
from inventory.times import zone_of
from inventory.views.doors import door, who_of
from jobs.actions.plan import closed_words, mark
from jobs.actions.shift import outing_of_shift, undo_act
from jobs.context import rights_of, units_of
from jobs.ladder_words import refused_words
from jobs.laddering import question_of_plan, shop_ladder
from jobs.models import Job, JobPlan, PlanShift, PlanStep, PlanZone, Reservation, Standing
from jobs.numerics.ladder import plan_ladder
from jobs.numerics.ladder_facts import LadderRefused
from jobs.plan_draft import FINISHES, draft_of, what_changed
from jobs.queries.clash import Wanted, clashes_of, set_clash, soak_turns, wanted_elsewhere
from jobs.queries.plan import Night, night_of, nights_of, shifts_of_step, versions_of, whole, zone_of_step
from jobs.queries.shift import Logged, even_steps, outings_of, sets_out, work_logged
from jobs.queries.uses import open_reservations
from jobs.views.ladder_page import plan_context, worn_context
from jobs.views.leaving import clash_words, set_clash_words

# What the list may be narrowed to.
SHOWN = {
    "open": (gettext_lazy("Bid and won"), (Standing.BID, Standing.WON)),
    "bid": (gettext_lazy("Bids"), (Standing.BID,)),
    "won": (gettext_lazy("Won"), (Standing.WON,)),
    "done": (pgettext_lazy("jobs", "Done"), (Standing.DONE,)),
    "ended": (gettext_lazy("Lost and cancelled"), (Standing.LOST, Standing.CANCELLED)),
}


@dataclass(frozen=True)
class StepLine:
    """A step on the job's page: planned and logged worked area, m2, its nights and the sets meant for it."""

    step: PlanStep
    zone: PlanZone | None
    planned_m2: float
    logged_m2: float
    place: int
    count: int
    days: list[Any] = field(default_factory=list)
    sets: list[Any] = field(default_factory=list)
    choose_url: str = ""
    even: bool = False
    # Why it is done without a pass.
    why: str = ""
    # That another job wants a set meant here too, each by name.
    also_wanted: list[str] = field(default_factory=list)

    @property
    def left_m2(self) -> float:
        """Worked area still to do, by the plan."""
        return 0.0 if self.even else max(0.0, self.planned_m2 - self.logged_m2)

    @property
    def done(self) -> bool:
        """Whether about all of it is logged, or its floor looked even before that."""
        return self.even or self.logged_m2 >= 0.95 * self.planned_m2 > 0


@dataclass(frozen=True)
class ShiftLine:
    """A shift on the job's page, with its outing and the sets out on it."""

    night: Night
    outing: Outing | None
    states: list[SetState]
    clashes: list[str] = field(default_factory=list)


def _job(request: HttpRequest, pk: UUID) -> Job:
    jobs = Job.objects.select_related("site", "branch")
    return get_object_or_404(jobs, pk=pk, branch=cast(Person, request.user).branch)


@door("GET")
def jobs(request: HttpRequest) -> HttpResponse:
    """The jobs by start, narrowed by standing and days; 50 a page."""
    person = cast(Person, request.user)
    shown = request.GET.get("standing", "open")
    standings = SHOWN.get(shown, SHOWN["open"])[1]
    since, until = (parse_date(request.GET.get(name, "")[:10] or "-") for name in ("from", "to"))
    rows = _narrowed(person, standings, since, until, request.GET.get("q", "").strip())
    leaf = Paginator(rows, 50).get_page(request.GET.get("page"))
    plans = list(whole(JobPlan.objects.filter(pk__in=[row.pk for row in leaf])).order_by("starts_on", "job__name"))
    if shown in ("done", "ended"):
        plans.reverse()
    said = {name: request.GET[name] for name in ("standing", "from", "to", "q") if request.GET.get(name)}
    context = {
        "leaf": leaf,
        "plans": [(plan, sum(zone.area_m2 for zone in plan.zones.all()), _grits(plan)) for plan in plans],
        "links": [
            {"url": f"?standing={key}", "label": words, "current": key == shown} for key, (words, _s) in SHOWN.items()
        ],
        "without_steps": _without_steps(person),
        "any_job": bool(plans) or Job.objects.filter(branch=person.branch).exists(),
        "said": said,
        "kept_query": urlencode(said) + "&" if said else "",
        **rights_of(person),
    }
    return render(request, "jobs/job/list.html", context)


def _narrowed(person: Person, standings: Any, since: date | None, until: date | None, text: str) -> Any:
    rows = JobPlan.objects.filter(
        job__branch=person.branch, number=F("job__plan_number"), standing__in=standings
    ).order_by("starts_on", "job__name")
    if since:
        rows = rows.filter(starts_on__gte=since)
    if until:
        rows = rows.filter(starts_on__lte=until)
    if text:
        rows = rows.filter(Q(job__name__icontains=text) | Q(job__site__name__icontains=text))
    return rows if standings in (SHOWN["open"][1], SHOWN["bid"][1], SHOWN["won"][1]) else rows.order_by("-starts_on")


def _without_steps(person: Person) -> int:
    """How many jobs bid or won ask for nothing, because no step is planned."""
    plans = JobPlan.objects.filter(job__branch=person.branch, number=F("job__plan_number"))
    return plans.filter(standing__in=(Standing.BID, Standing.WON), steps__isnull=True).count()


def _grits(plan: JobPlan) -> str:
    types = {step.tool_type_id: step.tool_type for step in plan.steps.all()}
    return " ".join(one.grit for one in sorted(types.values(), key=lambda one: one.ladder_place))


@door("GET")
def job(request: HttpRequest, pk: UUID) -> HttpResponse:
    """A job: its plan as it holds (or as version ``?version=`` said), its work, sets and versions."""
    found, person = _job(request, pk), cast(Person, request.user)
    versions = versions_of(found)
    asked = request.GET.get("version", "")
    plan = next((one for one in versions if str(one.number) == asked), versions[0] if versions else None)
    if plan is None:
        return render(request, "jobs/job/page.html", {"job": found, "plan": None, **rights_of(person)})
    logged = work_logged(job=found)
    steps, shifts = _steps(plan, found, logged, person), _shifts(plan)
    context = {
        "job": found,
        "plan": plan,
        "newest": versions[0],
        "finish": FINISHES.get(plan.finish_level or 0, ""),
        "headline": _headline(plan, steps, shifts, person),
        "steps": steps,
        "shifts": shifts,
        "logged": logged,
        "zones": plan.zones.all(),
        "area_m2": sum(zone.area_m2 for zone in plan.zones.all()),
        "edge_m": sum(zone.edge_m for zone in plan.zones.all()),
        "versions": _versions(versions, person),
        "marks": _marks(plan),
        "ladder_count": max((line.count for line in steps), default=10) or 10,
        "step_names": {step.key: step.tool_type.grit for one in versions for step in one.steps.all()},
        **_numbers(plan, logged, person),
        **rights_of(person),
    }
    return render(request, "jobs/job/page.html", context)


def _numbers(plan: JobPlan, logged: list[Logged], person: Person) -> dict[str, Any]:
    """What the plan's own floors, steps and machines take, or why that cannot be told."""
    if not plan.steps.all() or not plan.zones.all():
        return {}
    shop = shop_ladder(person.branch, timezone.now().astimezone(zone_of(person.branch)).date())
    try:
        question = question_of_plan(shop, plan)
        answer = plan_ladder(question, int(shop.settings["dice"]))
        return plan_context(answer, shop, person) | worn_context(plan, logged, shop, person)
    except LadderRefused as refused:
        return {"no_ladder": refused_words(refused, shop)}


def _steps(plan: JobPlan, found: Job, logged: list[Logged], person: Person) -> list[StepLine]:
    places = ladder(found.branch)
    reserved = open_reservations([found.pk])
    zone, now = zone_of(found.branch), timezone.now()
    times = _clash_times(found.branch, {step.tool_type_id for step in plan.steps.all()}, now)
    wanted = wanted_elsewhere(found.branch, [found.pk], now, datetime.max.replace(tzinfo=UTC))
    even = even_steps([step.key for step in plan.steps.all()])
    lines = []
    for step in plan.steps.all():
        floor = zone_of_step(plan, step)
        place, count = places.get(step.tool_type_id, (0, 1))
        days = [shift.starts_at.astimezone(zone).date() for shift in shifts_of_step(plan, step)]
        done = sum(line.area_m2 for line in logged if line.counts and line.entry.step_key == step.key)
        planned = (floor.area_m2 if floor else 0.0) * step.passes
        ahead = [shift for shift in shifts_of_step(plan, step) if shift.ends_at > now]
        url = reverse("jobs:choose_set", args=[found.pk, ahead[0].key, step.key]) + "?to=job" if ahead else ""
        sets = reserved.get(step.key, [])
        clashes = _set_clashes(sets, ahead, wanted, times, person)
        url = url if floor else ""
        said = step.key in even, even.get(step.key, "")
        lines.append(StepLine(step, floor, planned, done, place, count, days, sets, url, *said, clashes))
    return sorted(lines, key=lambda line: (line.zone.zone.name if line.zone else "", line.step.order))


def _clash_times(branch: Branch, type_ids: set[int], now: datetime) -> tuple[timedelta, dict[int, timedelta]]:
    """How long before a shift its sets leave, and the soak turn of each of these types."""
    day = now.astimezone(zone_of(branch)).date()
    return timedelta(hours=settings_of(branch, today=day)["loading_hours"]), soak_turns(type_ids, day)


def _set_clashes(
    sets: list[Reservation],
    ahead: list[PlanShift],
    wanted: dict[UUID, list[Wanted]],
    times: tuple[timedelta, dict[int, timedelta]],
    person: Person,
) -> list[str]:
    loading, turns = times
    said = []
    for row in sets:
        turn, others = turns.get(row.tool_set.tool_type_id, timedelta(0)), wanted.get(row.tool_set_id, [])
        found = [set_clash(others, s.starts_at - loading, s.ends_at, loading=loading, turn=turn) for s in ahead]
        words = [set_clash_words(one, person, timezone.now()) for one in found if one]
        said += [f"{name_of(row.tool_set.state)}: {words[0]}"] if words else []
    return said


def _shifts(plan: JobPlan) -> list[ShiftLine]:
    nights = nights_of(plan)
    outings = outings_of(night.shift.key for night in nights)
    out: dict[Any, list[SetState]] = {}
    for state in sets_out({outing.pk for outing in outings.values()}):
        out.setdefault(state.outing_id, []).append(state)
    now = timezone.now()
    ahead = [night for night in nights if night.shift.ends_at > now]
    clashes, shut, zone = clashes_of(plan.job.branch, ahead), closed_names(plan.job.branch), zone_of(plan.job.branch)
    lines = []
    for night in nights:
        outing, day = outings.get(night.shift.key), night.shift.starts_at.astimezone(zone).date()
        said = clash_words(clashes.get(night.shift.key, []))
        said += [closed_words(day, shut[day])] if night in ahead and day in shut else []
        lines.append(ShiftLine(night, outing, out.get(outing.pk, []) if outing else [], said))
    return lines


def _headline(plan: JobPlan, steps: list[StepLine], shifts: list[ShiftLine], person: Person) -> str:
    """The answer first: what is done and what is to come."""
    now = timezone.now()
    ahead = [line for line in shifts if line.night.shift.ends_at > now]
    done = sum(1 for line in steps if line.done)
    if plan.standing in (Standing.LOST, Standing.CANCELLED):
        return str(Standing(plan.standing).label).capitalize()
    if not steps:
        return _("No step planned yet")
    nights = ngettext("%(n)s shift to come", "%(n)s shifts to come", len(ahead)) % {"n": len(ahead)}
    said = _("%(done)s of %(of)s steps done, %(nights)s") % {"done": done, "of": len(steps), "nights": nights}
    return said if ahead or done else _("%(of)s steps planned, no shift to come") % {"of": len(steps)}


def _versions(versions: list[JobPlan], person: Person) -> list[tuple[JobPlan, str]]:
    zone = zone_of(person.branch)
    said = []
    for number, one in enumerate(versions):
        before = versions[number + 1] if number + 1 < len(versions) else None
        changes = what_changed(draft_of(before) if before else None, draft_of(one), units_of(person), zone)
        said.append((one, "; ".join(changes)))
    return said


def _marks(plan: JobPlan) -> list[dict[str, Any]]:
    words = {
        Standing.WON: _("Won"),
        Standing.LOST: pgettext("job", "Lost"),
        Standing.DONE: pgettext("job", "Done"),
        Standing.CANCELLED: _("Cancelled"),
        Standing.BID: _("A bid again"),
    }
    follows = {
        Standing.BID: (Standing.WON, Standing.LOST),
        Standing.WON: (Standing.DONE, Standing.CANCELLED),
    }
    return [
        {"value": one, "label": words[one]}
        for one in follows.get(Standing(plan.standing), (Standing.WON, Standing.BID))
    ]


@door("POST", right="plan")
def job_mark(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Say where a job stands."""
    found, person = _job(request, pk), cast(Person, request.user)
    standing = request.POST.get("standing", "")
    if standing in Standing.values:
        try:
            mark(person, found, standing, now=timezone.now(), units=units_of(person))
        except Refused as refused:
            messages.error(request, refused.sentence)
        else:
            messages.success(
                request, _("%(job)s is %(standing)s.") % {"job": found.name, "standing": Standing(standing).label}
            )
    return redirect("jobs:job", found.pk)


@door("POST", right="scan")
def job_outing(request: HttpRequest, pk: UUID, shift: UUID) -> HttpResponse:
    """Make the outing of a shift, or open the one it has, for scanning out."""
    found = _job(request, pk)
    night = night_of(found, shift)
    if night is None:
        messages.error(request, _("The plan has that shift no more. Choose another."))
        return redirect("jobs:job", found.pk)
    outing = outing_of_shift(found, night.shift, now=timezone.now())
    return redirect("inventory:scan_out", outing.pk)


@door("POST", right="log_work")
def undo(request: HttpRequest, act: UUID) -> HttpResponse:
    """Void an act: one's own until the shift is closed, others' by whoever settles."""
    person = cast(Person, request.user)
    target = get_object_or_404(Act.objects.select_related("done_by"), pk=act, branch=person.branch)
    try:
        undo_act(who_of(request), person.branch, target, _("undone"), now=timezone.now())
    except Refused as refused:
        messages.error(request, refused.sentence)
    else:
        messages.success(request, _("Undone."))
    return redirect(_back(request))


def _back(request: HttpRequest) -> str:
    """The page of this site one came from, else the home page."""
    came = request.META.get("HTTP_REFERER", "")
    if came and url_has_allowed_host_and_scheme(came, {request.get_host()}, request.is_secure()):
        parts = urlsplit(came)
        return parts.path + (f"?{parts.query}" if parts.query else "")
    return "/"
