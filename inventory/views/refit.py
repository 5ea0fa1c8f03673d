"""Working lives out anew on demand: begun here, worked off where nobody waits, looked at until it is done."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from threading import Thread
from typing import Any

from django.contrib import messages
from django.db import connections
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.refitting import begin_run, newest_run, stopped, what_is_due, work_off
from inventory.models import Person, RefitRun, ToolType
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.times import show_when
from inventory.views.catalogue import READ
from inventory.views.doors import PersonRequest, door

WAITED_SECONDS = 1.0  # what is done by then is said at once; the rest goes on without the page
_TIME_LEFT_AFTER = 5  # seconds


@door("GET", right=READ)
def refit_page(request: PersonRequest) -> HttpResponse:
    """When lives were learnt last, what is due since, and how far a run is."""
    return render(request, "inventory/life/refit.html", due_context(request.user, timezone.now()))


@door("POST", right=Right.RUN_SHOP)
def refit_all(request: PersonRequest) -> HttpResponse:
    """Learn everything anew: floor factors and all tool types."""
    _begin(request, None)
    return redirect("inventory:refit")


@door("POST", right=Right.RUN_SHOP)
def refit_type(request: PersonRequest, type_id: int) -> HttpResponse:
    """Learn the lives of one tool type anew, with the types of its bond that it is learnt with."""
    tool_type = get_object_or_404(ToolType, pk=type_id)
    _begin(request, tool_type.bond)
    return redirect("inventory:type_life", type_id)


@door("GET", right=READ)
def refit_state(request: PersonRequest) -> HttpResponse:
    """How far a run is: asked for by the page while one is being worked off."""
    answer = render(request, "inventory/life/run.html", {"run": run_words(request.user, timezone.now())})
    run = newest_run()
    if run is None or run.ended_at is not None:
        answer["HX-Refresh"] = "true"
    return answer


def _begin(request: PersonRequest, bond: str | None) -> None:
    try:
        run = begin_run(asked_by=request.user, whole=bond is None, now=timezone.now())
    except Refused as refused:
        messages.error(request, refused.sentence)
        return
    done = _in_background(lambda: work_off(run, clock=timezone.now, bonds=None if bond is None else {bond}))
    run = newest_run() or run
    if done and run.failure:
        messages.error(request, _("It could not be worked out. What was learnt before holds."))
    elif done:
        messages.success(request, _("Worked out anew."))


def _in_background(work: Callable[[], Any]) -> bool:
    """Do it in a thread of its own; whether it was done within a second."""

    def with_own_connection() -> None:
        try:
            work()
        finally:
            connections.close_all()

    thread = Thread(target=with_own_connection, name="refit", daemon=True)
    thread.start()
    thread.join(WAITED_SECONDS)
    return not thread.is_alive()


def due_context(person: Person, now: datetime) -> dict[str, Any]:
    """What the pages say of when lives were learnt last and what is due since."""
    due = what_is_due()
    if due.last is None:
        last = _("Lives have not been learnt from the whole record yet.")
    else:
        when = show_when(due.last, now, person.branch, clock_24h=person.clock_24h)
        last = _("Everything was worked out last: %(when)s.") % {"when": when}
    news = ngettext(
        "%(n)d set has news since its type was learnt; its own life left follows at once.",
        "%(n)d sets have news since their types were learnt; their own life left follows at once.",
        due.changed,
    ) % {"n": due.changed}
    return {
        "last_words": last,
        "news_words": news if due.changed else _("Nothing new since."),
        "due": due,
        "due_words": ngettext("%(n)d tool type is due", "%(n)d tool types are due", len(due.due)) % {"n": len(due.due)},
        "run": run_words(person, now),
        "may_run": person.can(Right.RUN_SHOP),
    }


def run_words(person: Person, now: datetime) -> dict[str, Any]:
    """The newest run in words: going (with how far), or how it ended."""
    run = newest_run()
    if run is None:
        return {}
    when = show_when(run.begun_at, now, person.branch, clock_24h=person.clock_24h)
    by = run.asked_by.name if run.asked_by else _("the clock")
    if stopped(run, now):
        words = _("The run of %(when)s stopped on its way, after %(done)d of %(of)d. What was learnt before holds.")
        return {"words": words % {"when": when, "done": run.done, "of": run.of}, "failed": True}
    if run.ended_at is None:
        return _going(run, now)
    if run.failure:
        words = _("The run of %(when)s failed. What was learnt before holds; whoever looks after the program: %(why)s")
        return {"words": words % {"when": when, "why": run.failure}, "failed": True}
    seconds = max((run.ended_at - run.begun_at).total_seconds(), 0)
    took = _("under a second") if seconds < 1 else _("%(n)d s") % {"n": round(seconds)}
    sets = ngettext("%(n)d set", "%(n)d sets", run.sets) % {"n": run.sets}
    types = ngettext("%(n)d tool type", "%(n)d tool types", run.types) % {"n": run.types}
    words = _("Newest run: %(when)s, by %(who)s; %(types)s and %(sets)s in %(took)s.")
    return {"words": words % {"when": when, "who": by, "types": types, "sets": sets, "took": took}}


def _going(run: RefitRun, now: datetime) -> dict[str, Any]:
    seconds = (now - run.begun_at).total_seconds()
    left = ""
    if run.what == "types" and run.done and seconds > _TIME_LEFT_AFTER:
        left = _("about %(n)d s left") % {"n": round(seconds / run.done * (run.of - run.done))}
    count = _("Tool type %(done)d of %(of)d") % {"done": run.done, "of": run.of}
    return {
        "going": True,
        "sentence": _("Lives are being worked out anew."),
        "count": count if run.what == "types" and run.of else _("Floor factors first"),
        "done": run.done if run.what == "types" else 0,
        "of": max(run.of, 1),
        "left": left,
    }
