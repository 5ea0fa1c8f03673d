"""A set's ledger card, its whole ledger, and what is corrected there: void, say anew, settle a flag."""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory import hooks
from inventory.actions.corrections import check_may_void, settle_flag, void_entry
from inventory.actions.entry_corrections import (
    correct_dressed,
    correct_height,
    correct_pieces,
    correct_soak_time,
    correct_worked,
)
from inventory.actions.measure import HeightDoubted
from inventory.actions.work import WorkAsked
from inventory.forms.card import SoakTimeForm, VoidForm, form_to_correct
from inventory.ledger_words import sentence
from inventory.models import Entry, SetState
from inventory.queries.ledger import same_sets
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.views.card_page import CORRECTED, card_context, days_of, ledger_context, time_words
from inventory.views.doors import PersonRequest, door, who_of

_LINES_A_PAGE = 60


@door("GET")
def toolset(request: PersonRequest, set_id: UUID) -> HttpResponse:
    """The ledger card of a set."""
    state = _state(request, set_id)
    context = card_context(state, request.user, timezone.now(), request.session)
    return render(request, "inventory/toolset/card.html", context)


@door("GET")
def toolset_ledger(request: PersonRequest, set_id: UUID) -> HttpResponse:
    """Every entry of a set, in pages."""
    state = _state(request, set_id)
    ledger, reader, facts = ledger_context(state, request.user, timezone.now())
    page = Paginator(ledger.lines, _LINES_A_PAGE).get_page(request.GET.get("page"))
    context = {"state": state, "tool_set": state.tool_set, "page": page, "entry_count": page.paginator.count}
    context["days"] = days_of(ledger, list(page), reader, facts)
    return render(request, "inventory/toolset/ledger.html", context)


@door("GET", "POST")
def entry_void(request: PersonRequest, set_id: UUID, entry_id: UUID) -> HttpResponse:
    """Void an entry: ask why, then do it."""
    state, entry = _entry(request, set_id, entry_id)
    form, refused = VoidForm(request.POST or None), _may_not(request, entry)
    if request.method == "POST" and form.is_valid():
        try:
            who, why = who_of(request), form.cleaned_data["why"]
            void_entry(who, request.user.branch, entry, why, now=who.sent_at, shift_closed=_shift_closed(entry))
        except Refused as refusal:
            refused = refusal
        else:
            messages.success(request, _("Voided. It stays in the ledger, struck through."))
            return redirect("inventory:toolset", set_id)
    return _asked(request, state, entry, form, refused, _("Why is it void?"), _("Void it"))


@door("GET", "POST")
def entry_correct(request: PersonRequest, set_id: UUID, entry_id: UUID) -> HttpResponse:
    """Say anew what an entry said: of work, of a measurement, of when a set went into water or came out."""
    state, entry = _entry(request, set_id, entry_id, kinds=CORRECTED)
    make, said = form_to_correct(entry)
    form = make(request.POST or None, person=request.user, entry=said)
    refused = _may_not(request, entry)
    if request.method == "POST" and form.is_valid():
        try:
            _correct(request, entry, form)
        except Refused as refusal:
            refused = refusal
            if isinstance(refusal, HeightDoubted | WorkAsked):
                form = make(form.asked(), person=request.user, entry=said)
        else:
            messages.success(request, _("Corrected. What was said before stays, struck through."))
            return redirect("inventory:toolset", set_id)
    return _asked(request, state, entry, form, refused, _("What is right?"), _("Keep what is right"))


@door("POST", right=Right.SETTLE)
def flag_settle(request: PersonRequest, set_id: UUID) -> HttpResponse:
    """Settle a flag of a set."""
    state, who = _state(request, set_id), who_of(request)
    entry_id = _uuid(request.POST.get("entry", ""))
    code, answer, why = (request.POST.get(name, "") for name in ("code", "answer", "why"))
    try:
        settle_flag(who, request.user.branch, state.tool_set, entry_id, code, answer, why, now=who.sent_at)
    except Refused as refusal:
        messages.error(request, refusal.sentence)
    else:
        messages.success(request, _("Settled."))
    return redirect("inventory:toolset", set_id)


def _correct(request: PersonRequest, entry: Entry, form: Any) -> None:
    act, given, branch = entry.act, form.cleaned_data, request.user.branch
    why, closed = given["why"], _shift_closed(entry)
    if isinstance(form, SoakTimeForm):
        who = who_of(request, happened_at=form.happened_at, done_by=act.done_by)
        correct_soak_time(who, branch, entry, why, now=who.sent_at, shift_closed=closed)
        return
    who = who_of(request, happened_at=act.happened_at, time_known=act.time_known, done_by=act.done_by)
    if entry.kind == "worked":
        units: Any = request.user.units
        area, passes = given["area"], given["passes"]
        asked: dict[str, Any] = {"now": who.sent_at, "units": units, "sure": form.sure, "shift_closed": closed}
        correct_worked(who, branch, entry, area, passes, why, **asked)
    elif entry.kind == "dressed":
        correct_dressed(who, branch, entry, form.dressing(), why, now=who.sent_at, shift_closed=closed)
    elif entry.kind == "pieces_changed":
        said = form.joining() if entry.other_set_id is not None else form.change()
        correct_pieces(who, branch, entry, said, why, now=who.sent_at, shift_closed=closed)
    else:
        correct_height(who, branch, entry, form.heights(), why, now=who.sent_at, shift_closed=closed)


def _state(request: PersonRequest, set_id: UUID) -> SetState:
    """The set's state, if it is of the person's branch."""
    get_object_or_404(SetState, pk=set_id, branch=request.user.branch)
    return states_with_types([set_id])[0]


def _entry(request: PersonRequest, set_id: UUID, entry_id: UUID, kinds: tuple[str, ...] = ()) -> tuple[SetState, Entry]:
    """The set and an entry of its ledger (or of a set that is the same as it)."""
    state = _state(request, set_id)
    entries = Entry.objects.select_related(
        "act__done_by", "act__entered_by", "tool_set__tool_type", "place", "to_place", "outing", "holder_person"
    )
    if kinds:
        entries = entries.filter(kind__in=kinds)
    return state, get_object_or_404(entries, pk=entry_id, tool_set_id__in=same_sets([set_id])[set_id])


def _shift_closed(entry: Entry) -> bool:
    return entry.shift_uuid is not None and entry.shift_uuid in hooks.closed_shifts([entry.shift_uuid])


def _may_not(request: PersonRequest, entry: Entry) -> Refused | None:
    """Why the person may not void this entry, told before they type."""
    try:
        check_may_void(who_of(request), entry, shift_closed=_shift_closed(entry))
    except Refused as refusal:
        return refusal
    return None


def _asked(
    request: PersonRequest,
    state: SetState,
    entry: Entry,
    form: Any,
    refused: Refused | None,
    question: str,
    submit: str,
) -> HttpResponse:
    _ledger, reader, _facts = ledger_context(state, request.user, timezone.now())
    context = {
        "state": state,
        "tool_set": state.tool_set,
        "entry_words": sentence(entry, reader),
        "entry_when": time_words(entry, request.user),
        "entry_day": entry.act.happened_at,
        "entry_who": entry.act.done_by.name,
        "form": form,
        "refused": refused,
        "may_not": refused if request.method == "GET" else None,
        "question": question,
        "submit": submit,
        "hidden": {"act_id": request.POST.get("act_id") or uuid4(), **_asks_sure(form)},
    }
    status = 422 if request.method == "POST" else 403 if refused is not None else 200
    return render(request, "inventory/toolset/entry.html", context, status=status)


def _asks_sure(form: Any) -> dict[str, str]:
    each = {"each": "1"} if getattr(form, "each", False) else {}
    return each | ({"ask_sure": form.data["ask_sure"]} if "sure" in form.fields else {})


def _uuid(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError:
        return UUID(int=0)
