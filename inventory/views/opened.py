"""What a label opens: a set on the phone, a place, an outing, a blank label to be named, or why nothing opens."""

from __future__ import annotations

import random
import re
from typing import Any
from urllib.parse import urlencode
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _

from inventory.actions.custody import move_place
from inventory.actions.label import claim_blank, label_set
from inventory.actions.measure import HeightDoubted
from inventory.forms.set_forms import ClaimForm, height_text
from inventory.models import Label, Place, SetState, ToolType
from inventory.models.choices import Bond, OpeningKind
from inventory.queries.catalogue import ladder
from inventory.queries.custody import states_by_ids
from inventory.queries.labels import unlabelled_of_type
from inventory.queries.opening import open_text
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.times import when_for
from inventory.views.doors import PersonRequest, act_key, door, who_of
from inventory.views.scanning import as_uuid, undo_url
from inventory.views.set_page import lowest_context, set_context

# A tool type's key as the form sends it.
_NUMBER = re.compile(r"[0-9]{1,9}")


@door("GET")
def opened(request: PersonRequest, code: str) -> HttpResponse:
    """Open what the label with this code opens."""
    branch, now = request.user.branch, timezone.now()
    thing = open_text(code, branch)
    if thing.outing is not None:
        return redirect("inventory:scan_out", thing.outing.pk)
    if thing.blank and thing.label is not None:
        return _blank(request, thing.label)
    if thing.place is not None:
        return redirect("inventory:place_phone", thing.place.pk)
    if thing.several:
        return redirect(reverse("inventory:find") + "?" + urlencode({"q": thing.text}))
    if thing.tool_set is None:
        return render(
            request, "inventory/label/unknown.html", {"sentence": thing.sentence, "text": thing.text}, status=404
        )
    states = states_with_types([thing.tool_set.pk])
    context = set_context(states[0], request.user, now, thing.label, request.session)
    return render(request, "inventory/toolset/phone.html", context | lowest_context(states[0], request.user, now))


@door("GET")
def set_phone(request: PersonRequest, set_id: UUID) -> HttpResponse:
    """The same page of a set without a label."""
    state = _state(request, set_id)
    now = timezone.now()
    context = set_context(state, request.user, now, session=request.session)
    return render(request, "inventory/toolset/phone.html", context | lowest_context(state, request.user, now))


@door("POST", right=Right.SCAN)
def place_move(request: PersonRequest, place_id: UUID) -> HttpResponse:
    """Move a bucket or crate, with the sets its page showed."""
    branch = request.user.branch
    place = get_object_or_404(Place, pk=place_id, branch=branch)
    inside = get_object_or_404(Place, pk=as_uuid(request.POST.get("inside", "")) or uuid4(), branch=branch)
    named = [found for part in request.POST.get("sets", "").split(",") if (found := as_uuid(part)) is not None]
    who, back = who_of(request), reverse("inventory:place_phone", args=[place.pk])
    try:
        sets = [state.tool_set for state in states_by_ids(named, branch)]
        move_place(who, branch, place, inside, sets, now=who.sent_at)
    except Refused as refusal:
        messages.error(request, refusal.sentence)
    else:
        words = _("%(place)s is in %(inside)s.") % {"place": place.name, "inside": inside.name}
        messages.success(request, words, extra_tags=undo_url(who.act_id, back))
    return redirect(back)


@door("POST", right=Right.SCAN)
def claim(request: PersonRequest, code: str) -> HttpResponse:
    """Make a set of a blank label, or give it to a set that has none."""
    label = get_object_or_404(Label, pk=code, branch=request.user.branch)
    number = request.POST.get("tool_type", "")
    tool_type = get_object_or_404(ToolType, pk=int(number) if _NUMBER.fullmatch(number) else 0, active=True)
    if request.POST.get("set"):
        return _give(request, label, tool_type)
    form = ClaimForm(request.POST, person=request.user)
    if not form.is_valid():
        return _height(request, label, tool_type, form)
    try:
        claim_blank(
            who_of(request),
            request.user.branch,
            label,
            tool_type,
            opening=form.cleaned_data["opening"],
            heights=form.heights(),
            place=form.cleaned_data["place"],
            peg=form.cleaned_data["peg"],
            now=timezone.now(),
        )
    except Refused as refusal:
        return _height(request, label, tool_type, form, refusal)
    request.session["last_place"] = str(getattr(form.cleaned_data["place"], "pk", "") or "")
    return _claimed(request, label, tool_type, _("It is a set. %(code)s is kept.") % {"code": label.code})


def _give(request: PersonRequest, label: Label, tool_type: ToolType) -> HttpResponse:
    """Give the blank label to a set that has none."""
    branch, key = request.user.branch, as_uuid(request.POST.get("set", ""))
    state = get_object_or_404(SetState.objects.select_related("tool_set"), pk=key or uuid4(), branch=branch)
    who = who_of(request)
    try:
        label_set(who, branch, state.tool_set, now=who.sent_at, rng=random.SystemRandom(), label=label)
    except Refused as refusal:
        return _height(request, label, tool_type, refused=refusal)
    return _claimed(request, label, tool_type, _("%(code)s opens this set now.") % {"code": label.code})


def _claimed(request: PersonRequest, label: Label, tool_type: ToolType, words: str) -> HttpResponse:
    """The label opens a set now: say so with its Undo, and go where the person came from."""
    request.session["last_type"] = tool_type.pk
    undo = undo_url(act_key(request) or "", reverse("inventory:opened", args=[label.code]))
    messages.success(request, words, extra_tags=undo)
    then = request.POST.get("then", "")
    safe = url_has_allowed_host_and_scheme(then, {request.get_host()}, require_https=request.is_secure())
    return redirect(then if then and safe else reverse("inventory:opened", args=[label.code]))


def _state(request: PersonRequest, set_id: UUID) -> SetState:
    """The set's state, if it is of the person's branch."""
    get_object_or_404(SetState, pk=set_id, branch=request.user.branch)
    return states_with_types([set_id])[0]


def _blank(request: PersonRequest, label: Label) -> HttpResponse:
    """Ask for the type, the last one named first; then for the height."""
    if not request.user.can(Right.SCAN):
        sentence = _("%(code)s is a blank label. Whoever scans sets can name it.") % {"code": label.code}
        return render(request, "inventory/label/unknown.html", {"sentence": sentence, "text": label.code})
    types = list(ToolType.objects.filter(active=True).order_by("ladder_place", "name"))
    chosen = next((one for one in types if str(one.pk) == request.GET.get("type", "")), None)
    if chosen is not None:
        return _height(request, label, chosen)
    bonds = [bond for bond in Bond.values if any(one.bond == bond for one in types)]
    last = next((one for one in types if one.pk == request.session.get("last_type")), None)
    wanted = request.GET.get("bond") or (last.bond if last else (bonds or [""])[-1])
    places = ladder(request.user.branch)
    context = {
        "label": label,
        "last": _type_row(last, places) if last else None,
        "types": [_type_row(one, places) for one in types if one.bond == wanted],
        "bonds": [
            {"url": f"?bond={bond}&then={_then(request)}", "label": Bond(bond).label, "current": bond == wanted}
            for bond in bonds
        ],
        "then": _then(request),
    }
    return render(request, "inventory/label/blank.html", context)


def _type_row(tool_type: ToolType, places: dict[int, tuple[int, int]]) -> dict[str, Any]:
    place, count = places[tool_type.pk]
    return {"type": tool_type, "place": place, "count": count}


def _then(request: PersonRequest) -> str:
    return request.POST.get("then", "") or request.GET.get("then", "")


def _height(
    request: PersonRequest,
    label: Label,
    tool_type: ToolType,
    form: ClaimForm | None = None,
    refused: Refused | None = None,
) -> HttpResponse:
    place, count = ladder(request.user.branch)[tool_type.pk]
    start = height_text(tool_type.new_height_mm, request.user.units)
    known = as_uuid(request.session.get("last_place", ""))
    context = {
        "label": label,
        "tool_type": tool_type,
        "place": place,
        "count": count,
        "form": form or ClaimForm(person=request.user, initial={"height": start, "place": known}),
        "refused": refused,
        "doubted": isinstance(refused, HeightDoubted),
        "act_id": request.POST.get("act_id") or uuid4(),
        "then": _then(request),
        "step": "0.1" if request.user.units == "metric" else "0.01",
        "about": [
            (OpeningKind.NEW, _("New")),
            (OpeningKind.THREE_QUARTERS, _("About ¾")),
            (OpeningKind.HALF, _("Half")),
            (OpeningKind.QUARTER, _("A quarter")),
        ],
        "when": when_for(request.user, timezone.now(), timezone.now()),
        "unlabelled": unlabelled_of_type(request.user.branch, tool_type),
    }
    return render(request, "inventory/label/height.html", context, status=422 if form or refused else 200)
