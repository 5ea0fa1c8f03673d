"""Asking for a height where it is worth its minute: the words, the answer "Not now", and the answer typed."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.sessions.backends.base import SessionBase
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _

from inventory.actions.gate import name_of, where_of
from inventory.actions.ledger import Recorded, Who
from inventory.actions.measure import HeightDoubted, HeightRefused, Heights, measure
from inventory.forms.amounts import decimal_mark
from inventory.height_now import last_reading
from inventory.models import Person, SetState, ToolSet
from inventory.queries.measuring import Worth, worth_measuring
from inventory.queries.opening import open_text
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.templatetags.gritledger import sure_words
from inventory.times import show_day, zone_of
from inventory.units import UNITS, AmountNotRead, from_si, read_height, show_about, show_number, unit_for
from inventory.views.doors import PersonRequest, door, who_of
from inventory.views.scanning import Scan, as_uuid, undo_url
from inventory.views.verdicts import Verdict, refused, type_line

_NOT_NOW = "not_measured"
_KEPT = 200  # so many "Not now" a browser's session keeps


def ask(worth: Worth, person: Person, url: str, back: str = "") -> dict[str, Any]:
    """What parts/measure_ask.html shows of one set: why its height is asked for, and the field."""
    return {**field(worth.state, person, url, back), "why": why(worth, person)}


def field(state: SetState, person: Person, url: str, back: str = "") -> dict[str, Any]:
    """The field for one height, with what was read last."""
    units: Any = person.units
    unit = unit_for("height", units)
    last = state.lowest_height_mm
    value = "" if last is None else show_number(from_si(last, unit), 2 if unit == "in" else 1)
    return {
        "state": state,
        "title": name_of(state),
        "where": where_of(state),
        "url": url,
        "back": back,
        "last": value,
        "last_day": _read_on(state, person) if value else "",
        "unit": UNITS[unit].symbol,
    }


def _read_on(state: SetState, person: Person) -> str:
    """The day of the last reading, with its year where that is another; "" where it is not known."""
    at, _worked = last_reading(state.wear) if "wear" not in state.get_deferred_fields() else (None, False)
    if at is None:
        return ""
    zone = zone_of(person.branch)
    return show_day(at.astimezone(zone).date(), timezone.now().astimezone(zone).date())


def why(worth: Worth, person: Person) -> str:
    """ "Its next step, Osprey Lane, tonight 19:30, step 6 of 6, needs 12,900 ft²: now 70 % sure. ..."."""
    units: Any = person.units
    values = {"area": show_about(worth.area_m2, units), "sure": sure_words(worth.chance)}
    if worth.use is not None:
        values["use"] = worth.use.words
        words = _("Its next step, %(use)s, needs %(area)s: now %(sure)s.")
    else:
        words = _("No step is planned for it. A usual one of its type takes %(area)s: now %(sure)s.")
    between = worth.tight_limit <= worth.chance < worth.finish_limit
    if between and worth.low < worth.tight_limit and worth.high >= worth.finish_limit:
        then = _("A height makes it yes or no.")
    elif worth.chance >= worth.finish_limit:
        then = _("A height may show that it falls short.")
    else:
        then = _("A height may show that it is enough.")
    return f"{words % values} {then}"


def asks(
    worths: Iterable[Worth], person: Person, session: SessionBase, back: str, most: int | None = None
) -> list[dict[str, Any]]:
    """The sets to ask about on a page, without those of which "Not now" was said since they last changed."""
    if not person.can(Right.SCAN):
        return []
    put_off = session.get(_NOT_NOW, {})
    found = [one for one in worths if put_off.get(str(one.state.pk)) != one.state.wear_stamp]
    return [ask(one, person, reverse("inventory:measure_asked", args=[one.state.pk]), back) for one in found[:most]]


def put_off(session: SessionBase, state: SetState) -> None:
    """Ask no more about this set from this browser, until it works or is read again."""
    kept = {key: value for key, value in session.get(_NOT_NOW, {}).items() if key != str(state.pk)}
    session[_NOT_NOW] = dict([*kept.items(), (str(state.pk), state.wear_stamp)][-_KEPT:])


def keep_height(who: Who, person: Person, tool_set: ToolSet, text: str, now: datetime, *, sure: bool) -> Recorded:
    """Keep a height as typed. Raises HeightRefused, HeightDoubted."""
    units: Any = person.units
    try:
        amount = read_height(text, unit_for("height", units), decimal_mark())
    except AmountNotRead as problem:
        raise HeightRefused(problem.sentence, field="height") from problem
    return measure(who, person.branch, tool_set, Heights((amount,), sure=sure), now=now)


def back_of(request: HttpRequest, otherwise: str) -> str:
    """The page of ours that a form or an address names to go back to."""
    given = request.POST.get("back", "") or request.GET.get("back", "")
    ours = url_has_allowed_host_and_scheme(given, {request.get_host()}, require_https=request.is_secure())
    return given if ours else otherwise


@door("POST", right=Right.SCAN)
def measure_asked(request: PersonRequest, set_id: UUID) -> HttpResponse:
    """The answer to "a height is worth it": the height, or not now; then back to the page that asked."""
    states = SetState.objects.select_related("tool_set__tool_type")
    state = get_object_or_404(states, pk=set_id, branch=request.user.branch)
    back = back_of(request, reverse("inventory:set_phone", args=[set_id]))
    if request.POST.get("do") == "not_now":
        put_off(request.session, state)
        return redirect(back)
    who, sure = who_of(request), request.POST.get("do") == "sure"
    try:
        keep_height(who, request.user, state.tool_set, request.POST.get("height", ""), who.sent_at, sure=sure)
    except HeightDoubted as doubt:
        url = reverse("inventory:measure_asked", args=[set_id])
        typed = {"typed": request.POST.get("height", "")[:12], "sure": True}
        shown = {"ask": field(state, request.user, url, back) | typed, "refused": doubt, "back": back}
        return render(request, "inventory/toolset/height_doubted.html", shown, status=422)
    except Refused as refusal:
        messages.error(request, refusal.sentence)
    else:
        words = _("The height of %(set)s is kept.") % {"set": name_of(state)}
        messages.success(request, words, extra_tags=undo_url(who.act_id, back))
    return redirect(back)


# --- within running scans ---


def with_ask(request: PersonRequest, verdict: Verdict, now: datetime) -> Verdict:
    """The verdict of one set that came in, with the question for its height where that is worth it."""
    if verdict.came_in is None:
        return verdict
    state, url = verdict.came_in, reverse("inventory:scan_in")
    worth = worth_measuring([state], request.user.branch, now).get(state.pk)
    if worth is not None and request.session.get(_NOT_NOW, {}).get(str(state.pk)) != state.wear_stamp:
        verdict.ask = ask(worth, request.user, url)
        verdict.short = _("in, worth measuring")
    return verdict


def scan_answer(request: PersonRequest, who: Who, given: Scan, now: datetime) -> Verdict | None:
    """The answer to the question of a verdict on the page of scans; None for any other scan.

    A label scanned while the height's field has the focus is a scan: the question does not stand in its way.
    """
    if given.do not in ("height", "sure", "not_now") or not given.set_ids:
        return None
    states = [one for one in states_with_types(given.set_ids[:1]) if one.branch_id == request.user.branch_id]
    if not states:
        return None
    (state,) = states
    if given.do == "not_now":
        put_off(request.session, state)
        return _said(state, _("Not now"), _("It is asked again after its next work."), _("not measured"), wrote=False)
    try:
        keep_height(who, request.user, state.tool_set, request.POST.get("height", ""), now, sure=given.do == "sure")
    except Refused as refusal:
        verdict = refused(refusal, state, request.user, now)
        verdict.word, verdict.short = _("Not kept"), _("height not kept")
        asked = as_uuid(request.POST.get("place", ""))
        verdict.ask = {
            **field(state, request.user, reverse("inventory:scan_in")),
            "why": "",
            "typed": request.POST.get("height", "")[:12],
            "sure": isinstance(refusal, HeightDoubted),
            "place": str(asked or ""),
        }
        return verdict
    return _said(state, _("Measured"), _("The height is kept."), _("measured"), wrote=True)


def scanned_over(request: PersonRequest, given: Scan) -> Scan:
    """The scan meant: a code that a hand scanner typed into the height's field is one."""
    text = request.POST.get("height", "")
    if given.do == "height" and len(text) > 6:
        opened = open_text(text, request.user.branch)
        if opened.tool_set is not None or opened.label is not None or opened.place is not None:
            return Scan(text=text, place_id=given.place_id)
    return given


def _said(state: SetState, word: str, reason: str, short: str, *, wrote: bool) -> Verdict:
    return Verdict(
        "taken",
        word,
        grit=state.tool_set.tool_type.grit,
        code=name_of(state),
        lines=[type_line(state.tool_set.tool_type)],
        reason=reason,
        short=short,
        mark="tick",
        wrote=wrote,
        counts=False,
    )
