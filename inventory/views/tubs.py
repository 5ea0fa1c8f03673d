"""The water: the soak page, a tub with its readings, sets put in, confirmed and taken out."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions import soak as water
from inventory.actions.corrections import void_entry
from inventory.actions.custody import home_pegs
from inventory.actions.soak_tub import lay_in
from inventory.actions.undo import undo
from inventory.forms.soak import PutInForm, ReadingForm, TakeOutForm
from inventory.models import Act, Entry, Place
from inventory.models.choices import PlaceKind
from inventory.queries.custody import places_for, states_by_ids
from inventory.queries.tubs import dry_types, tubs_of
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.units import show_temperature
from inventory.views import soaking
from inventory.views.doors import PersonRequest, door, who_of
from inventory.views.scanning import as_uuid
from inventory.views.tub_page import put_context, said_ready, scanned_put, tub_context

_MAY_LOOK = (Right.SCAN, Right.CONFIRM_SOAK, Right.PLAN)


@door("GET", right=_MAY_LOOK)
def soak(request: PersonRequest) -> HttpResponse:
    """What goes in by when; then every tub on a time line."""
    return render(request, "inventory/soak/soak.html", soaking.soak_page(request.user, timezone.now()))


@door("GET", "POST", right=Right.SCAN)
def soak_put(request: PersonRequest) -> HttpResponse:
    """Choose dry sets and a tub, or put the sets in that a button names."""
    branch, now, refused, named = request.user.branch, timezone.now(), None, _named(request)
    when = PutInForm(request.POST or None, person=request.user, now=now)
    text, took, which = request.POST.get("code", "").strip(), as_uuid(request.POST.get("take", "")), None
    into = as_uuid(request.POST.get("tub", ""))
    if text:
        # A hand scanner types into the page: the set is chosen, a tub's label says which tub; nothing is put in yet.
        scanned = scanned_put(text, branch, named, into)
        named, into, refused, which = scanned.chosen, scanned.into, scanned.refused, scanned.which
    elif took is not None:
        named = list(dict.fromkeys([took, *named]))
    elif request.method == "POST" and when.is_valid():
        states = states_by_ids(named, branch)
        tub = get_object_or_404(Place, pk=as_uuid(request.POST.get("tub", "")), branch=branch)
        try:
            if not states:
                raise Refused(_("No set is chosen."), _("Choose one or more, or scan them."))
            who = who_of(request, happened_at=when.cleaned_data["happened_at"])
            done = water.put_in(who, branch, [state.tool_set for state in states], tub, now=now)
        except Refused as refusal:
            refused = refusal
        else:
            ready = said_ready(request.user, states, now, since=when.cleaned_data["happened_at"])
            _kept(request, _in_words(len(states), tub, ready), done.act)
            return redirect("inventory:soak")
    context = put_context(request.user, now, request.GET.get("type", ""), named, dry_types(branch), into)
    wrong = refused is not None or (request.method == "POST" and not text and took is None)
    context |= {"refused": refused, "when": when, "which": which}
    return render(request, "inventory/soak/put.html", context, status=422 if wrong else 200)


@door("POST", right=Right.CONFIRM_SOAK)
def soak_confirm(request: PersonRequest) -> HttpResponse:
    """Confirm by name the sets that a button names."""
    states, now = states_by_ids(_named(request), request.user.branch), timezone.now()
    try:
        if not states:
            raise Refused(_("No set is named."), _("Open the soak page again and confirm from there."))
        done = water.confirm(who_of(request), request.user.branch, [state.tool_set for state in states], now=now)
    except Refused as refusal:
        messages.error(request, refusal.sentence)
    else:
        words = ngettext("%(n)s set confirmed by %(name)s", "%(n)s sets confirmed by %(name)s", len(states))
        _kept(request, words % {"n": len(states), "name": request.user.name}, done.act)
    return redirect("inventory:soak")


@door("GET", right=_MAY_LOOK)
def tub(request: PersonRequest, tub_id: UUID) -> HttpResponse:
    """One tub: its sets, its readings as a chart and a table."""
    return _tub_page(request, tub_id, {})


@door("GET", "POST", right=Right.SCAN)
def tub_water(request: PersonRequest, tub_id: UUID) -> HttpResponse:
    """Write down the temperature of a tub's water, read now or earlier."""
    place, now, refused = _tub_of(request, tub_id), timezone.now(), None
    form = ReadingForm(request.POST or None, person=request.user, now=now)
    if form.is_valid():
        who = who_of(request, happened_at=form.cleaned_data["happened_at"])
        amount, sure = form.cleaned_data["water"], form.cleaned_data["sure"]
        try:
            done = water.read_water(who, request.user.branch, place, amount, now=now, sure=sure)
        except Refused as refusal:
            refused = refusal
        else:
            units: Any = request.user.units
            words = _("%(tub)s: %(t)s.") % {"tub": place.name, "t": show_temperature(amount.si, units)}
            _kept(request, words, done.act)
            return redirect("inventory:soak")
    last = tubs_of(request.user.branch, now, only=place.pk)[0].last
    form.suggest(last.temperature_c if last else None)
    context = {"tub": place, "form": form, "refused": refused, "last": last}
    return render(request, "inventory/soak/water.html", context, status=422 if request.method == "POST" else 200)


@door("POST", right=Right.SCAN)
def tub_take_out(request: PersonRequest, tub_id: UUID) -> HttpResponse:
    """Take the chosen sets out of a tub, to where each hung or to one place."""
    tub, branch = _tub_of(request, tub_id), request.user.branch
    places = places_for(branch, [PlaceKind.RACK, PlaceKind.CRATE, PlaceKind.BUCKET, PlaceKind.TUB])
    others = [place for place in places if place != tub]
    form = TakeOutForm(request.POST, places=others, person=request.user, now=timezone.now())
    states = states_by_ids(_named(request), branch)
    if not form.is_valid() or not states:
        refused = None if states else Refused(_("No set is chosen."), _("Tick the sets that come out."))
        return _tub_page(request, tub_id, {"take_form": form, "refused": refused}, status=422)
    if request.POST.get("do") == "lay_in":
        return _lay_in(request, tub, form, states, places)
    try:
        done = _take_out(request, form, states, places, tub)
    except Refused as refusal:
        return _tub_page(request, tub_id, {"take_form": form, "refused": refusal}, status=422)
    into = next((one for one in others if str(one.pk) == form.cleaned_data["place"]), None)
    if into is not None and into.kind == PlaceKind.TUB:
        words = _in_words(len(states), into, said_ready(request.user, states, timezone.now()))
    else:
        words = ngettext("%(n)s set is out of %(tub)s.", "%(n)s sets are out of %(tub)s.", len(states))
        words %= {"n": len(states), "tub": tub.name}
    _kept(request, words, done.act)
    return redirect("inventory:soak")


def _lay_in(
    request: PersonRequest, tub: Place, form: TakeOutForm, states: list[Any], places: list[Place]
) -> HttpResponse:
    """The sets lie in another tub than was entered."""
    into = next((one for one in places if str(one.pk) == form.cleaned_data["place"]), None)
    try:
        if into is None or into.kind != PlaceKind.TUB:
            raise Refused(_("That is no tub."), _("Choose the tub they lie in."), field="place")
        lay_in(who_of(request), request.user.branch, [one.tool_set for one in states], into, now=timezone.now())
    except Refused as refusal:
        return _tub_page(request, tub.pk, {"take_form": form, "refused": refusal}, status=422)
    words = ngettext(
        "%(n)s set lies in %(tub)s since it went in.", "%(n)s sets lie in %(tub)s since they went in.", len(states)
    )
    # No Undo: it would void where they lie and leave them dry. Said wrong, it is said again of this tub.
    messages.success(request, words % {"n": len(states), "tub": into.name})
    return redirect("inventory:soak")


def _take_out(request: PersonRequest, form: TakeOutForm, states: list[Any], places: list[Place], tub: Place) -> Any:
    """Home is the last rack and peg of each; a set that never hung anywhere goes to the first rack."""
    branch, now, chosen = request.user.branch, timezone.now(), form.cleaned_data["place"]
    sets, by_id = [state.tool_set for state in states], {place.pk: place for place in places}
    who = who_of(request, happened_at=form.cleaned_data["happened_at"])
    if chosen != TakeOutForm.HOME:
        place, peg = by_id[UUID(chosen)], form.cleaned_data["peg"] if len(states) == 1 else ""
        return water.take_out(who, branch, sets, place, now=now, peg=peg, out_of=tub)
    hung = home_pegs([state.pk for state in states])
    homes = {pk: (by_id[place_id], peg) for pk, (place_id, peg) in hung.items() if place_id in by_id}
    rack = next((place for place in places if place.kind == PlaceKind.RACK), None)
    if rack is None:
        raise Refused(_("The shop has no rack yet."), _("Choose a place, or add a rack under the shop's places."))
    return water.take_out(who, branch, sets, rack, now=now, homes=homes, out_of=tub)


@door("POST", right=Right.SCAN)
def tub_void(request: PersonRequest, tub_id: UUID) -> HttpResponse:
    """Void a wrong reading; every set that lay in the tub is judged anew."""
    tub = _tub_of(request, tub_id)
    found = Entry.objects.select_related("act__done_by", "place").filter(place=tub, kind="water_read")
    entry = get_object_or_404(found, pk=as_uuid(request.POST.get("entry", "")))
    why = request.POST.get("why", "").strip() or _("wrong reading")
    try:
        void_entry(who_of(request), request.user.branch, entry, why, now=timezone.now())
    except Refused as refusal:
        messages.error(request, refusal.sentence)
    else:
        messages.success(
            request, _("The reading is voided. Every set that lay in %(tub)s goes by the others.") % {"tub": tub.name}
        )
    return redirect("inventory:tub", tub_id)


@door("POST", right=(Right.SCAN, Right.CONFIRM_SOAK))
def soak_undo(request: PersonRequest) -> HttpResponse:
    """Void what was just done with water."""
    act = get_object_or_404(Act, pk=as_uuid(request.GET.get("act", "")), branch=request.user.branch)
    try:
        undo(who_of(request), request.user.branch, act, "", now=timezone.now())
    except Refused as refusal:
        messages.error(request, refusal.sentence)
    else:
        messages.success(request, _("Undone."))
    return redirect("inventory:soak")


def _tub_page(request: PersonRequest, tub_id: UUID, more: dict[str, Any], status: int = 200) -> HttpResponse:
    place = _tub_of(request, tub_id)
    context = tub_context(request.user, place, timezone.now())
    return render(request, "inventory/soak/tub.html", context | more, status=status)


def _tub_of(request: PersonRequest, tub_id: UUID) -> Place:
    kinds = (PlaceKind.TUB, PlaceKind.BUCKET)
    return get_object_or_404(Place, pk=tub_id, branch=request.user.branch, kind__in=kinds)


def _named(request: PersonRequest) -> list[UUID]:
    """Set ids of a form: one text with commas, or a box each."""
    given = [*request.POST.get("sets", "").split(","), *request.POST.getlist("set"), request.GET.get("set", "")]
    return list(dict.fromkeys(found for part in given[:500] if (found := as_uuid(part)) is not None))


def _in_words(count: int, tub: Place, ready: str) -> str:
    words = ngettext("%(n)s set is in %(tub)s.", "%(n)s sets are in %(tub)s.", count)
    return f"{words % {'n': count, 'tub': tub.name}} {ready}".strip()


def _kept(request: PersonRequest, words: str, act: Act) -> None:
    messages.success(request, words, extra_tags=f"{reverse('inventory:soak_undo')}?act={act.pk}")
