"""Shop day, the shop manager's home: Morning until noon (setting), then Tonight; the other one tap away."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any, cast
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.corrections import settle_flag, settle_held
from inventory.actions.custody import home_pegs, say_where, scan_in_many
from inventory.actions.ledger import Recorded
from inventory.models import Entry, Person, Place, ToolSet, ToolType
from inventory.models.choices import PlaceKind
from inventory.queries.catalogue import ladder
from inventory.queries.measuring import MOST_ASKED, worth_of_returns
from inventory.queries.odd_wear import odd_sets
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.shop_settings import settings_of
from inventory.times import show_day, show_time, when_for, zone_of
from inventory.views import measuring
from inventory.views.doors import door, who_of
from inventory.views.first_steps import first_steps
from jobs.actions.morning import give_back, take_planned
from jobs.actions.shift import ShiftRefused, leave_sets, no_work
from jobs.actions.shift_outing import outings_of_nights
from jobs.context import rights_of
from jobs.forms.plan import whole_number
from jobs.models import Job
from jobs.queries.clash import clashes_of
from jobs.queries.morning import Flagged, morning_of
from jobs.queries.plan import tonight
from jobs.queries.tonight import evening, leaving_tonight
from jobs.views import asked
from jobs.views.faces import places_of
from jobs.views.leaving import leaving_lines, mends

# So many questions on a leaf of the morning (our assumption).
MOST_QUESTIONS = 25


@door("GET", right="plan")
def shop_day(request: HttpRequest) -> HttpResponse:
    """Morning or Tonight by the shop's clock, or as ``?show=`` says."""
    person, now = cast(Person, request.user), timezone.now()
    local = now.astimezone(zone_of(person.branch))
    until = settings_of(person.branch, today=local.date())["morning_until"]
    shown = request.GET.get("show") or ("morning" if local.time() < until else "tonight")
    context = {
        "links": [
            {"url": "?show=morning", "label": _("Morning"), "current": shown == "morning"},
            {"url": "?show=tonight", "label": _("Tonight"), "current": shown != "morning"},
        ],
        "crumb": f"{show_day(local.date())} · {show_time(now, person.branch, clock_24h=person.clock_24h)}",
        **rights_of(person),
    }
    page = _morning if shown == "morning" else _tonight
    return page(request, person, now, context)


def _morning(request: HttpRequest, person: Person, now: Any, context: dict[str, Any]) -> HttpResponse:
    day_began = now.astimezone(zone_of(person.branch)).replace(hour=0, minute=0, second=0, microsecond=0)
    found = morning_of(person.branch, now, day_began)
    # A leaf of all of them, the newest nights' first: a shop with ten thousand sets has hundreds of open flags.
    gathered = asked.gathered(found.asked)
    leaf = Paginator([*gathered, *found.older], MOST_QUESTIONS).get_page(request.GET.get("page"))
    begin, count = leaf.start_index() - 1 if leaf.object_list else 0, len(gathered)
    fresh, older = leaf.object_list[: max(0, count - begin)], leaf.object_list[max(0, count - begin) :]
    context |= {
        "leaf": leaf,
        "kept_query": "show=morning&",
        "count": count,
        "questions": asked.questions(fresh, person, now, first=leaf.number == 1, leaf=leaf.number),
        "today": any(isinstance(one, Flagged) and one.entry.act.happened_at > day_began for one in found.asked),
        "older_count": len(found.older),
        "older_leaf": count // MOST_QUESTIONS + 1,
        "older": asked.questions(older, person, now, first=False, leaf=leaf.number),
        "answered": asked.answered(found, person),
        "complete": asked.complete_words(found),
        "measures": measuring.asks(
            worth_of_returns(person.branch, now), person, request.session, request.get_full_path(), MOST_ASKED
        ),
        "odd": len(odd_sets(person.branch, now)) if person.can(Right.SETTLE) else 0,
    }
    if not gathered and not found.older and not context["answered"]:
        context["first_steps"] = first_steps(person)
    return render(request, "jobs/shop_day/morning.html", context)


def _tonight(request: HttpRequest, person: Person, now: Any, context: dict[str, Any]) -> HttpResponse:
    places = ladder(person.branch)
    leaving = leaving_tonight(person.branch, now)
    lines = leaving_lines(leaving, person, places, now, clashes_of(person.branch, [one.night for one in leaving]))
    since, _until = evening(now, person.branch)
    day = timedelta(days=1)
    tomorrow = tonight(person.branch, since + day, since + 2 * day)
    to_mend = mends(leaving, person, now)
    context |= {
        "lines": lines,
        "mends": to_mend,
        "columns": _columns(places),
        "headline": _headline(leaving, len(to_mend), person, now),
        "span": _span(leaving, since),
        "complete": sum(1 for one in leaving if one.complete),
        "tomorrow": len(tomorrow),
        "ladder_count": places_of(places),
    }
    if not lines:
        context["first_steps"] = first_steps(person)
    return render(request, "jobs/shop_day/tonight.html", context)


def _span(leaving: list[Any], since: datetime) -> str:
    """What the list below spans: shops that work by day have shifts of this day and of the next morning in it."""
    if any(one.leaves_at >= since + timedelta(hours=22) for one in leaving):
        return _("Leaving tonight and tomorrow morning")
    by_day = [one.leaves_at < since + timedelta(hours=11) for one in leaving]
    return (
        _("Leaving today") if all(by_day) else _("Leaving today and tonight") if any(by_day) else _("Leaving tonight")
    )


def _headline(leaving: list[Any], to_mend: int, person: Person, now: datetime) -> str:
    if not leaving:
        return _("No shift leaves tonight.")
    # A van of this morning has left; the next one is what there is time for.
    times = [one.leaves_at for one in leaving]
    ahead = [at for at in times if at > now]
    first = when_for(person, min(ahead, default=times[0]), now)
    if to_mend and not ahead:
        words = ngettext(
            "%(n)s thing to mend; the van should have left at %(time)s",
            "%(n)s things to mend; the first van should have left at %(time)s",
            to_mend,
        )
        return words % {"n": to_mend, "time": first}
    if to_mend:
        words = ngettext(
            "%(n)s thing to mend before the first van leaves at %(time)s",
            "%(n)s things to mend before the first van leaves at %(time)s",
            to_mend,
        )
        return words % {"n": to_mend, "time": first}
    if sum(one.complete for one in leaving) < len(leaving):
        looks = sum(cell.key in ("soaked", "soaking") for one in leaving for cell in one.cells)
        words = ngettext(
            "Nothing to mend; %(n)s set is still in water or to confirm. First van leaves %(time)s.",
            "Nothing to mend; %(n)s sets are still in water or to confirm. First van leaves %(time)s.",
            looks,
        )
        return words % {"n": looks, "time": first}
    words = ngettext("The job is complete.", "All %(n)s jobs are complete.", len(leaving)) % {"n": len(leaving)}
    return _("%(jobs)s First van leaves %(time)s.") % {"jobs": words, "time": first}


def _columns(places: dict[int, tuple[int, int]]) -> list[dict[str, str]]:
    """The ladder's places as heads: grit, and the bond where it changes."""
    heads: dict[int, dict[str, str]] = {}
    for tool_type in ToolType.objects.filter(active=True).order_by("ladder_place", "pk"):
        place = places.get(tool_type.pk, (0, 1))[0]
        heads.setdefault(place, {"grit": tool_type.grit, "bond": str(tool_type.get_bond_display())})
    ordered = [heads[place] for place in sorted(heads)]
    bonds = [head["bond"] for head in ordered]
    return [
        {**head, "bond": head["bond"] if number == 0 or bonds[number - 1] != head["bond"] else ""}
        for number, head in enumerate(ordered)
    ]


@door("POST", right="settle")
def answer(request: HttpRequest, kind: str) -> HttpResponse:
    """One tap on the morning page."""
    try:
        recorded = ANSWERS[kind](request)
    except (KeyError, ValueError):
        messages.error(request, _("That answer is not complete. Open the page again."))
    except Refused as refused:
        messages.error(request, refused.sentence)
    else:
        undo = reverse("jobs:undo", args=[recorded.act.pk])
        messages.success(request, _("Kept."), extra_tags=undo)
    leaf = whole_number(request.GET.get("page"))
    return redirect(reverse("jobs:shop_day") + "?show=morning" + (f"&page={leaf}" if leaf > 1 else ""))


def _job(request: HttpRequest) -> Job:
    branch = cast(Person, request.user).branch
    return get_object_or_404(
        Job.objects.select_related("branch", "site__place"), pk=UUID(request.POST["job"]), branch=branch
    )


def _take(request: HttpRequest) -> Recorded:
    branch = cast(Person, request.user).branch
    shift = UUID(request.POST["shift"])
    step = UUID(request.POST["step"]) if request.POST.get("step") else None
    return take_planned(who_of(request), branch, shift, step, now=timezone.now())


def _none(request: HttpRequest) -> Recorded:
    step = UUID(request.POST["step"]) if request.POST.get("step") else None
    return no_work(who_of(request), _job(request), UUID(request.POST["shift"]), now=timezone.now(), step_key=step)


def _left(request: HttpRequest) -> Recorded:
    shift, how = UUID(request.POST["shift"]), request.POST["how"]
    return leave_sets(who_of(request), _job(request), shift, how, now=timezone.now())


def _sets(request: HttpRequest) -> list[ToolSet]:
    ids = [UUID(text) for text in request.POST["sets"].split(",") if text]
    branch = cast(Person, request.user).branch
    return list(ToolSet.objects.filter(pk__in=ids, state__branch=branch).select_related("tool_type"))


def _where(request: HttpRequest) -> Recorded:
    person, how = cast(Person, request.user), request.POST["how"]
    shift = UUID(request.POST["shift"]) if request.POST.get("shift") else None
    return say_where(who_of(request), person.branch, _sets(request), how, now=timezone.now(), shift_uuid=shift)


def _back(request: HttpRequest) -> Recorded:
    """They came back: in to the rack where they last hung, else the shop's first rack."""
    branch, sets = cast(Person, request.user).branch, _sets(request)
    homes = home_pegs([tool_set.pk for tool_set in sets])
    racks = list(Place.objects.filter(branch=branch, kind=PlaceKind.RACK, active=True).order_by("name"))
    known = [rack for rack in racks if rack.pk in {place for place, _peg in homes.values()}]
    if not racks:
        raise ShiftRefused(_("This shop has no rack yet."), _("Add one, or scan the sets in where they are."))
    rack = (known or racks)[0]
    pegs = {pk: peg for pk, (place, peg) in homes.items() if place == rack.pk and peg}
    many = scan_in_many(who_of(request), branch, sets, rack, now=timezone.now(), pegs=pegs)
    if many.recorded is None:
        raise many.refused[0][1] if many.refused else ShiftRefused(_("No set was named."))
    return many.recorded


def _entry(request: HttpRequest) -> tuple[ToolSet, Entry]:
    branch = cast(Person, request.user).branch
    tool_set = get_object_or_404(ToolSet, pk=UUID(request.POST["set"]), state__branch=branch)
    return tool_set, get_object_or_404(Entry.objects.select_related("act", "outing"), pk=UUID(request.POST["entry"]))


def _settle(request: HttpRequest) -> Recorded:
    branch, (tool_set, entry) = cast(Person, request.user).branch, _entry(request)
    said = (request.POST["code"], request.POST["answer"], "")
    return settle_flag(who_of(request), branch, tool_set, entry.pk, *said, now=timezone.now())


def _settle_held(request: HttpRequest) -> Recorded:
    branch = cast(Person, request.user).branch
    lines = Entry.objects.select_related("act").filter(act__branch=branch, place__isnull=False)
    entry = get_object_or_404(lines, pk=UUID(request.POST["entry"]))
    return settle_held(who_of(request), branch, entry, request.POST["answer"], now=timezone.now())


def _give_back(request: HttpRequest) -> Recorded:
    branch, (tool_set, entry) = cast(Person, request.user).branch, _entry(request)
    return give_back(who_of(request), branch, tool_set, entry, request.POST["code"], now=timezone.now())


ANSWERS = {
    "take": _take,
    "none": _none,
    "left": _left,
    "where": _where,
    "back": _back,
    "settle": _settle,
    "settle_held": _settle_held,
    "give_back": _give_back,
}


@door("POST", right="scan")
def scan_tonight(request: HttpRequest) -> HttpResponse:
    """Open scanning out for tonight: every shift that leaves gets its outing."""
    person, now = cast(Person, request.user), timezone.now()
    nights = [night for night in tonight(person.branch, *evening(now, person.branch)) if night.shift.ends_at > now]
    made = outings_of_nights([(night.job, night.shift) for night in nights], now=now)
    if len({outing.pk for outing in made}) == 1:
        return redirect("inventory:scan_out", made[0].pk)
    return redirect("inventory:scan")
