"""Which set is meant for a step: the sets of its type with their state and chance, to choose from."""

from __future__ import annotations

from datetime import datetime
from typing import Any, cast
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.actions.gate import name_of, where_of
from inventory.models import Person, Place, ToolSet
from inventory.queries.catalogue import ladder
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.shop_settings import settings_of
from inventory.soak_words import soak_words
from inventory.templatetags.gritledger import sure_words
from inventory.times import when_for, zone_of
from inventory.units import show_about, show_area
from inventory.views.doors import door, who_of
from inventory.views.scanning import as_uuid
from jobs.actions.reservation import ReservationRefused, let_go_for_night, reserve_and_soak, reserve_for_night
from jobs.context import rights_of, units_of
from jobs.models import Job
from jobs.queries.choice import Option, Options, options_of
from jobs.queries.plan import night_of, zone_of_step
from jobs.views.faces import Ladder, places_of, set_face
from jobs.views.leaving import MARKS, key_words, set_clash_words
from jobs.views.work import job_of


@door("GET", right="plan")
def choose_set(request: HttpRequest, pk: UUID, key: UUID, step: UUID) -> HttpResponse:
    """The sets of a step's tool type for a shift, the best first."""
    job, person, now = job_of(request, pk), cast(Person, request.user), timezone.now()
    night = night_of(job, key)
    found = options_of(night, step, now) if night else None
    if night is None or found is None:
        raise Http404(_("The plan has that step no more."))
    places = ladder(person.branch)
    floors = [zone.zone.name for one in found.steps if (zone := zone_of_step(night.plan, one)) is not None]
    lives = {one.state.pk: one.life for one in found.options}
    # A second set that leaves the two below "tight" helps nobody: it is not offered.
    tight = settings_of(person.branch, today=now.astimezone(zone_of(person.branch)).date())["tight_limit"]
    context = {
        "job": job,
        "night": night,
        "step": found.steps[0],
        "floors": ", ".join(dict.fromkeys(floors)),
        "asks": show_area(found.asked.worked_m2, units_of(person)),
        "leaves": when_for(person, found.leaves_at, now),
        "rows": [_row(one, found, person, places, lives, tight) for one in found.options],
        "meant": [one for one in found.options if one.meant],
        "to": "job" if request.GET.get("to") == "job" else "tonight",
        "ladder_count": places_of(places),
        **rights_of(person),
    }
    return render(request, "jobs/job/choose_set.html", context)


def _row(
    one: Option, found: Options, person: Person, places: Ladder, lives: dict[UUID, Any], tight: float
) -> dict[str, Any]:
    """A set with its gauge, state, chance, and what may be done with it."""
    now = timezone.now()
    water = soak_words(one.conditioning, person.branch, now, units=person.units, clock_24h=person.clock_24h)
    word = {"no": "no", "tight": "tight", "ready": "yes", "taken": "yes"}.get(one.key, "")
    life = lives.get(one.state.pk)
    return {
        "option": one,
        "name": name_of(one.state),
        "where": where_of(one.state),
        "face": set_face(
            one.state,
            places,
            conditioning=one.conditioning,
            life=life,
            need_m2=found.asked.reference_m2,
            enough=word,
            words=water.line,
        ),
        "mark": MARKS[one.key][0],
        "word": key_words(one.key),
        "water": water.line if one.conditioning.state not in ("not needed", "conditioned") else "",
        "left": show_about(life.likely_m2 / found.asked.factor, units_of(person)) if life else "",
        "sure": sure_words(one.chance).capitalize() if one.chance is not None else "",
        "pair": _pair_words(one) if one.with_first is not None and one.with_first >= tight else "",
        "clash": set_clash_words(one.clash, person, now) if one.clash else "",
        "usable": one.key not in ("aside", "missing"),
        "may_wet": one.key in ("dry", "dries") and one.state.outing_id is None,
    }


def _pair_words(one: Option) -> str:
    """ "together over 95 % sure", once it was soaked where that is needed; "" where it would not count."""
    if one.with_first is None:
        return ""
    words = _("together %(sure)s, once soaked") if one.soak_first else _("together %(sure)s")
    return words % {"sure": sure_words(one.with_first)}


@door("POST", right="plan")
def take_instead(request: HttpRequest, pk: UUID, step: UUID) -> HttpResponse:
    """Mean another set for a step of a shift, a second one beside it, or with ``any`` none in particular."""
    person = cast(Person, request.user)
    job = get_object_or_404(Job.objects.select_related("branch"), pk=pk, branch=person.branch)
    to = (
        reverse("jobs:shop_day") + "?show=tonight"
        if request.POST.get("to") != "job"
        else reverse("jobs:job", args=[pk])
    )
    try:
        shift = UUID(request.POST.get("shift", ""))
        ids = [UUID(request.POST[name]) for name in ("tool_set", "second") if request.POST.get(name)]
    except ValueError:
        return redirect(to)
    sets = [get_object_or_404(ToolSet, pk=one, state__branch=person.branch) for one in ids]
    try:
        messages.success(request, _meant(person, job, shift, step, sets))
    except Refused as refused:
        messages.error(request, refused.sentence)
    else:
        for words in _clashes(person, job, shift, step, sets):
            messages.warning(request, words)
    return redirect(to)


@door("POST", right="plan")
def reserve_soaked(request: HttpRequest, pk: UUID, key: UUID, step: UUID) -> HttpResponse:
    """From the soak page: mean a set for a step, and put it in the tub that is named with it."""
    person, now = cast(Person, request.user), timezone.now()
    job, post = job_of(request, pk), request.POST
    tool_set = get_object_or_404(
        ToolSet.objects.select_related("tool_type"),
        pk=as_uuid(post.get("set", "")) or uuid4(),
        state__branch=person.branch,
    )
    try:
        words = _reserved(request, job, key, step, tool_set, now)
    except Refused as refused:
        messages.error(request, refused.sentence)
    else:
        messages.success(request, words)
    return redirect("inventory:soak")


def _reserved(request: HttpRequest, job: Job, key: UUID, step: UUID, tool_set: ToolSet, now: datetime) -> str:
    person, tub_id = cast(Person, request.user), as_uuid(request.POST.get("tub", ""))
    if tub_id is not None and not person.can(Right.SCAN):
        raise ReservationRefused(
            _("%(person)s may not put sets in water.") % {"person": person.name}, _("Ask somebody who scans.")
        )
    (state,) = states_with_types([tool_set.pk])
    names = {"set": name_of(state), "type": tool_set.tool_type.said_name, "job": job.name}
    if tub_id is None:
        reserve_for_night(person, job, key, step, tool_set, now=now)
        return _("%(set)s is meant for %(type)s, %(job)s.") % names
    tub = get_object_or_404(Place, pk=tub_id, branch=person.branch)
    reserve_and_soak(who_of(request), person.branch, job, key, step, tool_set, tub, now=now)
    return _("%(set)s is meant for %(type)s, %(job)s, and is in %(tub)s.") % {**names, "tub": tub.name}


def _clashes(person: Person, job: Job, shift: UUID, step: UUID, sets: list[ToolSet]) -> list[str]:
    """That another job wants these sets too, each by name: warned, not refused."""
    now, night = timezone.now(), night_of(job, shift) if sets else None
    found = options_of(night, step, now) if night else None
    ids = {one.pk for one in sets}
    return [
        f"{name_of(one.state)}: {set_clash_words(one.clash, person, now)}"
        for one in (found.options if found else ())
        if one.clash and one.state.pk in ids
    ]


def _meant(person: Person, job: Job, shift: UUID, step: UUID, sets: list[ToolSet]) -> str:
    now = timezone.now()
    if not sets:
        if not let_go_for_night(job, shift, step, now=now):
            raise ReservationRefused(_("No set was meant for it."), _("Any set of the type may go."))
        return _("Any set of the type may go.")
    reserve_for_night(person, job, shift, step, sets[0], now=now, second=sets[1] if len(sets) > 1 else None)
    return _("%(set)s is meant for %(type)s, %(job)s.") % {
        "set": name_of(sets[-1].state),
        "type": sets[-1].tool_type.said_name,
        "job": job.name,
    }
