"""Sets that wear oddly, and sets at their end: the weekly list, the notice on a set's page, and the answers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.fitness import retire
from inventory.actions.gate import name_of, where_of
from inventory.actions.looked import look_at
from inventory.models import OddWear, Person, SetState
from inventory.models.choices import Fitness, RetiredWhy
from inventory.queries.advice import Advised, advice_on
from inventory.queries.odd_wear import odd_and_looked, odd_wear_of, out_without_work
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.times import show_day, zone_of
from inventory.views.doors import PersonRequest, door, who_of
from inventory.views.measuring import back_of
from inventory.views.scanning import undo_url
from inventory.wear_advice import PAIR, RETIRES, WORN
from inventory.wear_words import advice_head, advice_words, odd_words, water_words

_SHOWN = 40  # rows of one kind on the page; the rest come up as these are answered


def notice(state: SetState, person: Person, now: datetime, back: str, *, foreign: bool = False) -> dict[str, Any]:
    """What parts/wear_notice.html shows of one set: what is odd and what to check in order; what to do at its end."""
    odd = odd_wear_of(state.pk) if not foreign else None
    advised = advice_on(person.branch, now, only=state) if not foreign and state.outing_id is None else []
    return {
        "odd": odd and {**odd_row(odd, person, now, back), "checks": checks(odd, person, now)},
        "advice": [advice_row(one, person, now, back) for one in advised],
    }


def odd_row(odd: OddWear, person: Person, now: datetime, back: str) -> dict[str, Any]:
    """One set that wears oddly: what of it, since when, and the answer."""
    state: SetState = odd.tool_set.state
    today = now.astimezone(zone_of(person.branch)).date()
    return {
        "state": state,
        "tool_type": odd.tool_set.tool_type,
        "title": name_of(state),
        "where": _("retired") if state.fitness == Fitness.RETIRED else where_of(state),
        "url": reverse("inventory:set_phone", args=[state.pk]),
        "words": odd_words(odd),
        "when": show_day(odd.read_at.astimezone(zone_of(person.branch)).date(), today),
        "first": check_words(odd.checks[0]) if odd.checks else "",
        "answer": _answer(state, "looked", _("Looked at it"), back) if person.can(Right.SETTLE) else None,
    }


def advice_row(one: Advised, person: Person, now: datetime, back: str) -> dict[str, Any]:
    """One set at its end: what to do, why, and the tap that does it."""
    state, kind = one.state, one.advice.kind
    button = None
    if kind in RETIRES and person.can(Right.SETTLE):
        button = _answer(state, "retire", advice_head(one), back)
        button["hidden"]["why"] = RetiredWhy.WORN if kind == WORN else RetiredWhy.CHANGED_EARLY
    return {
        "state": state,
        "tool_type": state.tool_set.tool_type,
        "title": name_of(state),
        "where": where_of(state),
        "url": reverse("inventory:set_phone", args=[state.pk]),
        "head": advice_head(one),
        "words": advice_words(one, person),
        "water": water_words(one, person, now),
        "step_url": one.step.url if one.step is not None else one.tonight.url if one.tonight is not None else "",
        "step_label": _("Tonight") if one.tonight is not None else _("The job"),
        "other_url": reverse("inventory:set_phone", args=[one.other.pk]) if one.other is not None else "",
        "other": name_of(one.other) if one.other is not None else "",
        "answer": button,
    }


def _answer(state: SetState, do: str, label: str, back: str) -> dict[str, Any]:
    hidden = {"do": do, "back": back}
    return {"label": label, "url": reverse("inventory:wear_answer", args=[state.pk]), "hidden": hidden}


def checks(odd: OddWear, person: Person, now: datetime) -> list[dict[str, str]]:
    """What to look at, in this order (METHODS 1.4), each with its mend."""
    found = []
    for key in odd.checks:
        words, detail = check_words(key), ""
        if key == "area":
            detail = _without_work(odd, person, now)
        label, name = _MENDS[key]
        args = [odd.tool_set_id]
        url = (
            reverse("inventory:set_act", args=[*args, name])
            if name in ("dress", "measure", "label")
            else reverse(f"inventory:{name}", args=args)
        )
        found.append({"words": words, "detail": detail, "url": url, "label": label()})
    return found


_MENDS = {
    "glazed": (lambda: _("Dress it"), "dress"),
    "height": (lambda: _("Measure its height"), "measure"),
    "area": (lambda: _("Its ledger"), "toolset_ledger"),
    "label": (lambda: _("Give it a new label"), "label"),
    "floor": (lambda: _("Where it worked"), "toolset"),
}


def check_words(key: str) -> str:
    """What to look at, as a question."""
    return {
        "glazed": _("Is its face glazed? Then it stops cutting until it is dressed."),
        "height": _("Was its height read and typed right?"),
        "area": _("Is work of it missing?"),
        "label": _("Does the label hang on the right set?"),
        "floor": _("Was the floor another one than entered: harder, softer, raw?"),
    }[key]


def _without_work(odd: OddWear, person: Person, now: datetime) -> str:
    """The times it was out without work, or that there are none."""
    today = now.astimezone(zone_of(person.branch)).date()
    rows = out_without_work(odd.tool_set_id, now)
    if not rows:
        return _("Every time it was out, work is logged.")
    times = [
        f"{one.outing or one.holder}, {show_day(one.since.astimezone(zone_of(person.branch)).date(), today)}"
        for one in rows
    ]
    return _("It came back without any work logged from: %(outings)s.") % {"outings": "; ".join(times)}


def headline(odd: int, ends: int, left: int) -> str:
    """The answer of the list: how many wear oddly, retire, are leftovers."""
    parts = []
    if odd:
        parts.append(ngettext("%(n)s set wears oddly", "%(n)s sets wear oddly", odd) % {"n": odd})
    if ends:
        parts.append(ngettext("%(n)s to retire", "%(n)s to retire", ends) % {"n": ends})
    if left:
        parts.append(ngettext("%(n)s leftover to use up", "%(n)s leftovers to use up", left) % {"n": left})
    return ", ".join(parts) or _("No set wears oddly, and none is at its end")


def pairs_once(advised: Sequence[Advised]) -> list[Advised]:
    """Leftovers without the second line of a pair."""
    found: list[Advised] = []
    named: set[UUID] = set()
    for one in advised:
        if one.advice.kind == PAIR and one.advice.set_id in named:
            continue
        if one.advice.other is not None and one.advice.kind == PAIR:
            named.add(one.advice.other)
        found.append(one)
    return found


@door("GET", right=Right.SETTLE)
def wear_list(request: PersonRequest) -> HttpResponse:
    """The weekly list: what wears oddly, newest first; what to retire; leftovers and what they are good for."""
    person, now, back = request.user, timezone.now(), reverse("inventory:wear")
    (odd, looked), advised = odd_and_looked(person.branch, now), advice_on(person.branch, now)
    ends = [one for one in advised if one.advice.kind in RETIRES]
    left = [one for one in advised if one.advice.kind not in RETIRES]
    lines = [one for one in pairs_once(left) if one.step is not None or one.tonight is not None]
    waiting = Counter(str(one.state.tool_set.tool_type) for one in left if one.step is None and one.tonight is None)
    context = {
        "headline": headline(len(odd), len(ends), len(lines)),
        "odd": [odd_row(one, person, now, back) for one in odd[:_SHOWN]],
        "looked": looked,
        "ends": [advice_row(one, person, now, back) for one in ends[:_SHOWN]],
        "left": [advice_row(one, person, now, back) for one in lines[:_SHOWN]],
        "waiting": sorted(waiting.items()),
        "more": {"odd": len(odd[_SHOWN:]), "ends": len(ends[_SHOWN:]), "left": len(lines[_SHOWN:])},
    }
    return render(request, "inventory/wear/list.html", context)


@door("POST", right=Right.SETTLE)
def wear_answer(request: PersonRequest, set_id: UUID) -> HttpResponse:
    """One tap on a set that wears oddly or is at its end: somebody looked at it, or it retires."""
    branch = request.user.branch
    state = get_object_or_404(SetState.objects.select_related("tool_set__tool_type"), pk=set_id, branch=branch)
    who, back = who_of(request), back_of(request, reverse("inventory:wear"))
    try:
        if request.POST.get("do") == "retire":
            retire(who, branch, state.tool_set, request.POST.get("why", ""), now=who.sent_at)
            words = _("%(set)s is retired.") % {"set": name_of(state)}
        else:
            look_at(who, branch, state.tool_set, now=who.sent_at)
            words = _("Somebody looked at %(set)s. It asks again after its next height.") % {"set": name_of(state)}
    except Refused as refusal:
        messages.error(request, refusal.sentence)
    else:
        messages.success(request, words, extra_tags=undo_url(who.act_id, back))
    return redirect(back)
