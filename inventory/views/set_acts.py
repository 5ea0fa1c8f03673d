"""What one does with a set from its page: measure, set aside, clear, retire, move, found, trouble, a new label."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Any, NamedTuple
from uuid import UUID, uuid4

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from inventory.actions import custody, fitness, soak
from inventory.actions.label import label_set
from inventory.actions.ledger import Who
from inventory.actions.measure import HeightDoubted, measure
from inventory.forms.set_forms import (
    ClearForm,
    MeasureForm,
    PlaceForm,
    RetireForm,
    TroubleForm,
    WhyForm,
    height_text,
)
from inventory.forms.shop_form import ShopForm
from inventory.models import Person, SetState, ToolSet
from inventory.models.choices import PlaceKind
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.views.doors import PersonRequest, door, who_of
from inventory.views.scanning import undo_url


class SetAct(NamedTuple):
    """One thing to do with a set: who may, its question, its button, its form and its action."""

    right: str
    question: Any
    submit: Any
    form: Callable[[Any, Person, ToolSet, SetState], ShopForm]
    act: Callable[[Who, Person, ToolSet, Any], Any]


def _place_form(data: Any, person: Person, tool_set: ToolSet, state: SetState) -> ShopForm:
    return PlaceForm(data, person=person, initial={"place": state.place_id, "peg": state.peg})


def _do_measure(who: Who, person: Person, tool_set: ToolSet, form: Any) -> Any:
    return measure(who, person.branch, tool_set, form.heights(), now=who.sent_at)


def _do_found(who: Who, person: Person, tool_set: ToolSet, form: Any) -> Any:
    given = form.cleaned_data
    return custody.found(who, person.branch, tool_set, given["place"], now=who.sent_at, peg=given["peg"])


def _do_move(who: Who, person: Person, tool_set: ToolSet, form: Any) -> Any:
    """Into a tub it is put to soak, with the tub's room looked at; anywhere else it is moved."""
    given = form.cleaned_data
    if given["place"].kind == PlaceKind.TUB:
        return soak.put_in(who, person.branch, [tool_set], given["place"], now=who.sent_at, peg=given["peg"])
    return custody.move(who, person.branch, tool_set, given["place"], now=who.sent_at, peg=given["peg"])


def _do_label(who: Who, person: Person, tool_set: ToolSet, form: Any) -> Any:
    return label_set(who, person.branch, tool_set, now=who.sent_at, rng=random.SystemRandom())


ACTS: dict[str, SetAct] = {
    "measure": SetAct(
        Right.SCAN,
        _lazy("How high is what is left?"),
        _lazy("Keep the height"),
        lambda data, person, tool_set, state: MeasureForm(
            data,
            person=person,
            tool_type=tool_set.tool_type,
            initial={"height": height_text(state.lowest_height_mm, person.units)},
        ),
        _do_measure,
    ),
    "set-aside": SetAct(
        Right.SCAN,
        _lazy("Why is it set aside?"),
        _lazy("Set it aside"),
        lambda data, person, tool_set, state: WhyForm(data),
        lambda who, person, tool_set, form: fitness.set_aside(
            who, person.branch, tool_set, form.cleaned_data["why"], now=who.sent_at
        ),
    ),
    "clear": SetAct(
        Right.LOG_WORK,
        _lazy("Has somebody looked at it?"),
        _lazy("Clear it"),
        lambda data, person, tool_set, state: ClearForm(data),
        lambda who, person, tool_set, form: fitness.clear(
            who, person.branch, tool_set, now=who.sent_at, why=form.cleaned_data["why"]
        ),
    ),
    "retire": SetAct(
        Right.SETTLE,
        _lazy("Why does it end?"),
        _lazy("Retire it"),
        lambda data, person, tool_set, state: RetireForm(data, person=person),
        lambda who, person, tool_set, form: fitness.retire(
            who,
            person.branch,
            tool_set,
            form.cleaned_data["retired_why"],
            now=who.sent_at,
            heights=form.heights(),
            note=form.cleaned_data["note"],
        ),
    ),
    "trouble": SetAct(
        Right.SCAN,
        _lazy("What happened to it?"),
        _lazy("Report it"),
        lambda data, person, tool_set, state: TroubleForm(data),
        lambda who, person, tool_set, form: fitness.report_trouble(
            who, person.branch, tool_set, form.cleaned_data["trouble"], now=who.sent_at, note=form.cleaned_data["note"]
        ),
    ),
    "move": SetAct(Right.SCAN, _lazy("Where does it go?"), _lazy("Put it there"), _place_form, _do_move),
    "found": SetAct(Right.SCAN, _lazy("Where is it?"), _lazy("It is here"), _place_form, _do_found),
    "confirm": SetAct(
        Right.CONFIRM_SOAK,
        _lazy("Is it wet through?"),
        _lazy("It is: confirm it"),
        lambda data, person, tool_set, state: ShopForm(data),
        lambda who, person, tool_set, form: soak.confirm(who, person.branch, [tool_set], now=who.sent_at),
    ),
    "label": SetAct(
        Right.SCAN,
        _lazy("A new label for it?"),
        _lazy("Make a new label"),
        lambda data, person, tool_set, state: ShopForm(data),
        _do_label,
    ),
}


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
    form = act.form(request.POST if request.method == "POST" else None, request.user, state.tool_set, state)
    refused: Refused | None = None
    if request.method == "POST" and form.is_valid():
        who = who_of(request)
        try:
            act.act(who, request.user, state.tool_set, form)
        except Refused as refusal:
            refused = refusal
            if isinstance(refusal, HeightDoubted):
                asked = request.POST.copy()
                asked["ask_sure"] = "1"
                form = act.form(asked, request.user, state.tool_set, state)
        else:
            back = reverse("inventory:set_phone", args=[set_id])
            messages.success(request, _("Kept."), extra_tags=undo_url(who.act_id, back))
            return redirect(back)
    context = {
        "act": act,
        "form": form,
        "refused": refused,
        "state": state,
        "tool_type": state.tool_set.tool_type,
        "hidden": {
            "act_id": request.POST.get("act_id") or uuid4(),
            **({"ask_sure": "1"} if isinstance(refused, HeightDoubted) else {}),
        },
        "back_url": reverse("inventory:set_phone", args=[set_id]),
    }
    return render(request, "inventory/toolset/act.html", context, status=422 if request.method == "POST" else 200)
