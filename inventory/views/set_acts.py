"""The door to what one does with a set from its page; the acts themselves stand in ``set_act_table``."""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.actions.measure import HeightDoubted
from inventory.models import SetState
from inventory.models.choices import PlaceKind
from inventory.pieces_words import pieces_of
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.views.doors import PersonRequest, door, who_of
from inventory.views.scanning import undo_url
from inventory.views.set_act_table import ACTS, Sent

# What is done with a set that somebody has in hand.
_IN_HAND = ("measure", "dress", "pieces", "join")


@door("GET", "POST")
def set_act(request: PersonRequest, set_id: UUID, name: str) -> HttpResponse:
    """One act with one set: its question and form, then the act, then back to the set."""
    act = ACTS.get(name)
    if act is None:
        raise Http404
    if not request.user.can(act.right):
        raise PermissionDenied
    get_object_or_404(SetState, pk=set_id, branch=request.user.branch)
    (state,) = states_with_types([set_id])
    if name in _IN_HAND and state.place is not None and state.place.kind == PlaceKind.UNKNOWN:
        # Whoever has it in hand has found it: said first, or its ledger has a missing set dressed.
        messages.error(request, _("It is missing. If you have it in hand, say first where it is."))
        return redirect("inventory:set_act", set_id, "found")
    posted = request.method == "POST"
    sent = Sent(request.POST if posted else None, request.FILES if posted else None, request.GET)
    form: Any = act.form(sent, request.user, state)
    refused: Refused | None = None
    if posted and form.is_valid():
        who = who_of(request)
        try:
            act.act(who, request.user, state.tool_set, form)
        except Refused as refusal:
            refused = refusal
            if isinstance(refusal, HeightDoubted):
                form = act.form(sent._replace(data=form.asked()), request.user, state)
        else:
            back = reverse("inventory:set_phone", args=[set_id])
            messages.success(request, _("Kept."), extra_tags=undo_url(who.act_id, back))
            return redirect(back)
    context = {
        "act": act,
        "name": name,
        "form": form,
        "refused": refused,
        "state": state,
        "tool_type": state.tool_set.tool_type,
        "told": act.told(request.user, state),
        "hidden": _hidden(request, form),
        "back_url": reverse("inventory:set_phone", args=[set_id]),
        "each_url": _each_url(request, state, name, form),
    }
    return render(request, "inventory/toolset/act.html", context, status=422 if posted else 200)


def _hidden(request: PersonRequest, form: Any) -> dict[str, Any]:
    asks, each = "sure" in form.fields, getattr(form, "each", False)
    given = {"act_id": request.POST.get("act_id") or uuid4()}
    return given | ({"ask_sure": form.data["ask_sure"]} if asks else {}) | ({"each": "1"} if each else {})


def _each_url(request: PersonRequest, state: SetState, name: str, form: Any) -> str:
    """Where a height can be typed per piece; nothing where it is so already, or where there is one piece."""
    if name != "measure" or form.each or pieces_of(state, state.tool_set.tool_type) < 2:
        return ""
    return f"{request.path}?each=1"
