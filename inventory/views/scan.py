"""Running scans: out to an outing, or in. One field takes a hand scanner's keys, typed codes and whole addresses."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _

from inventory.actions import custody
from inventory.actions.undo import undo, undo_last
from inventory.hooks import PlannedUse, leaving_jobs, plan_of
from inventory.models import Act, Outing, Person, Place, SetState
from inventory.models.choices import PlaceKind
from inventory.queries.custody import bucket_for, open_outings, places_for, sets_of_outing, states_by_ids
from inventory.queries.measuring import MOST_ASKED, worth_of_returns
from inventory.queries.opening import open_text
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.times import when_for
from inventory.views import measuring, scanning
from inventory.views.doors import PersonRequest, device_of, door, who_of
from inventory.views.photo import PhotoNotRead, read_photo
from inventory.views.scan_plan import not_planned, rungs
from inventory.views.scanning import Scan, as_uuid
from inventory.views.verdicts import Verdict, unknown


@door("GET", "POST", right=Right.SCAN)
def scan(request: PersonRequest) -> HttpResponse:
    """Choose what leaves or comes in; the field here opens whatever is scanned."""
    if request.method == "POST" or request.GET.get("code"):
        text = request.POST.get("code", "") or request.GET.get("code", "")
        opened = open_text(text, request.user.branch)
        if opened.outing is not None:
            return redirect("inventory:scan_out", opened.outing.pk)
        if opened.label is not None:
            return redirect("inventory:opened", opened.label.code)
        if opened.tool_set is not None:
            return redirect("inventory:set_phone", opened.tool_set.pk)
        if opened.several:
            return redirect(reverse("inventory:find") + "?" + urlencode({"q": opened.text}))
        messages.error(request, opened.sentence)
    now = timezone.now()
    outings = [
        {"outing": outing, "leaves": when_for(request.user, outing.leaves_at, now)}
        for outing in open_outings(request.user.branch, now)
    ]
    going = sum(not one["outing"].emptied for one in outings)  # type: ignore[attr-defined]
    context = {"outings": outings, "going": going, "leaving": leaving_jobs(request.user, now)}
    return render(request, "inventory/scan/choose.html", context)


@door("GET", "POST", right=Right.SCAN)
def scan_out(request: PersonRequest, outing_id: UUID) -> HttpResponse:
    """Scan sets out to an outing, one after the other."""
    outing = get_object_or_404(
        Outing.objects.select_related("van", "holder_person"), pk=outing_id, branch=request.user.branch
    )
    key, verdict, now = f"out:{outing.pk}", None, timezone.now()
    plan = plan_of(outing.pk)
    if request.method == "POST":
        who = who_of(request)
        given, verdict = _scan_of(request)
        verdict = verdict or scanning.scan_out(who, request.user, outing, given, now, plan)
        scanning.keep_line(request, key, verdict, request.user, now, str(who.act_id), given)
    return _answer(request, key, verdict, _out_context(request.user, outing, plan))


@door("GET", "POST", right=Right.SCAN)
def scan_in(request: PersonRequest) -> HttpResponse:
    """Scan sets in, from any outing, to the place chosen or scanned."""
    # Opened from a menu it starts where each set hung; a label scanned on the page holds for the page's own scans.
    kept = request.session.get("in_to", "") if request.method == "POST" or request.headers.get("X-Scan") else ""
    named = as_uuid(request.POST.get("place", "") or request.GET.get("place", "") or kept)
    places = places_for(request.user.branch, [PlaceKind.RACK, PlaceKind.TUB])
    place, verdict, now = next((one for one in places if one.pk == named), None), None, timezone.now()
    if request.method == "POST":
        who = who_of(request)
        given, verdict = _scan_of(request)
        given = measuring.scanned_over(request, given)
        verdict = verdict or measuring.scan_answer(request, who, given, now)
        if verdict is None:
            verdict, place = scanning.scan_in(who, request.user, place, given, now)
            verdict = measuring.with_ask(request, verdict, now)
        scanning.keep_line(request, "in", verdict, request.user, now, str(who.act_id), given)
    into = str(place.pk) if place else ""
    if into != request.session.get("in_to", ""):  # a page that only looks writes nothing, so it waits for no write
        request.session["in_to"] = into
    return _answer(request, "in", verdict, _in_context(request, place, places))


@door("POST", right=Right.SCAN)
def scan_undo(request: PersonRequest) -> HttpResponse:
    """Void the act of a line, or the last thing one did on this device."""
    who, branch, now = who_of(request), request.user.branch, timezone.now()
    named = as_uuid(request.POST.get("act", "") or request.GET.get("act", ""))
    target = Act.objects.filter(pk=named, branch=branch).first() if named else None
    try:
        if target is None:
            _recorded, target = undo_last(who, branch, now=now)
        else:
            undo(who, branch, target, "", now=now)
        scanning.drop_line(request, str(target.pk))
    except Refused as refusal:
        messages.error(request, refusal.sentence)
    back = request.GET.get("back", "")
    if back and url_has_allowed_host_and_scheme(back, {request.get_host()}, require_https=request.is_secure()):
        return redirect(back)
    outing_id = as_uuid(request.POST.get("outing", ""))
    if outing_id:
        return redirect("inventory:scan_out", outing_id)
    into = request.session.get("in_to", "")
    return redirect(reverse("inventory:scan_in") + (f"?place={into}" if into else ""))


@door("GET", "POST", right=Right.SCAN)
def scan_where(request: PersonRequest) -> HttpResponse:
    """The end of scanning in: "4 of 6 back. Where are 100 and 200?" and the answers."""
    branch, now = request.user.branch, timezone.now()
    if request.method == "POST":
        named = [found for part in request.POST.get("sets", "").split(",") if (found := as_uuid(part)) is not None]
        sets = [state.tool_set for state in states_by_ids(named, branch)]
        who = who_of(request)
        try:
            custody.say_where(who, branch, sets, request.POST.get("answer", ""), now=now)
        except (Refused, ValueError) as problem:
            messages.error(
                request, getattr(problem, "sentence", _("That is not one of the answers. Take one of them."))
            )
        else:
            messages.success(
                request, _("Kept."), extra_tags=scanning.undo_url(who.act_id, reverse("inventory:scan_where"))
            )
        return redirect("inventory:scan_where")
    context = scanning.where_context(branch, device_of(request), now)
    worths = worth_of_returns(branch, now, device_of(request))
    context["measures"] = measuring.asks(worths, request.user, request.session, request.path, MOST_ASKED)
    return render(request, "inventory/scan/where.html", context)


def _scan_of(request: HttpRequest) -> tuple[Scan, Verdict | None]:
    """The scan as sent, a photo read first; with a verdict when the photo shows nothing."""
    given, photo = Scan.of(request), request.FILES.get("photo")
    if photo is None or not hasattr(photo, "size"):
        return given, None
    try:
        return Scan(text=read_photo(photo), do=given.do, place_id=given.place_id), None
    except PhotoNotRead as problem:
        return given, unknown(str(problem), "")


def _out_context(person: Person, outing: Outing, plan: list[PlannedUse]) -> dict[str, Any]:
    states = sets_of_outing(outing)
    strip = rungs(plan, states)
    carries = places_for(person.branch, [PlaceKind.VAN, PlaceKind.BUCKET])
    return {
        "direction": "out",
        "outing": outing,
        "leaves": when_for(person, outing.leaves_at, timezone.now()),
        "rungs": strip,
        "not_planned": not_planned(plan, states),
        "count": sum(rung["taken"] for rung in strip) if plan else len(states),
        "of": sum(rung["of"] for rung in strip) if plan else 0,
        "carries": carries,
        "carry": _travels(outing, plan, states, carries),
        "url": reverse("inventory:scan_out", args=[outing.pk]),
        "done_url": reverse("inventory:scan"),
    }


def _travels(outing: Outing, plan: list[PlannedUse], states: list[SetState], carries: list[Place]) -> str:
    """What sets travel in until somebody says otherwise: soaked ones in water, in a bucket."""
    buckets = [place for place in carries if place.kind == PlaceKind.BUCKET]
    meant = {pk for use in plan for pk in use.sets} | {state.pk for state in states}
    bucket = bucket_for(outing, meant, buckets)
    return str(bucket.pk) if bucket is not None else ""


def _in_context(request: PersonRequest, place: Place | None, places: list[Place]) -> dict[str, Any]:
    lines = request.session.get("scans", {}).get("in", [])
    return {
        "direction": "in",
        "place": place,
        "places": places,
        "count": sum(bool(line["act"]) and line.get("counts", True) for line in lines),
        "url": reverse("inventory:scan_in"),
        "done_url": reverse("inventory:scan_where"),
    }


def _answer(request: PersonRequest, key: str, verdict: Verdict | None, context: dict[str, Any]) -> HttpResponse:
    """The whole page, or for the page's own script the part that changed."""
    context |= {
        "verdict": verdict,
        "lines": request.session.get("scans", {}).get(key, []),
        "act_id": uuid4(),
        "carry": request.POST.get("carry", context.get("carry", "")),
    }
    context["part"] = bool(request.headers.get("X-Scan"))
    return render(request, f"inventory/scan/{'answer' if context['part'] else 'run'}.html", context)
