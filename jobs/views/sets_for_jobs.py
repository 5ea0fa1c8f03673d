"""Sets for jobs: which set for which step of the weeks ahead, proposed, kept in one press, changed by hand."""

from __future__ import annotations

from typing import cast
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.models import Person
from inventory.queries.catalogue import ladder
from inventory.refusals import Refused
from inventory.times import when_for
from inventory.views.doors import door
from inventory.views.scanning import as_uuid
from jobs.actions.keep_sets import Kept, by_hand, free_choice, keep_plan, last_change, lock_choice, undo_change
from jobs.context import rights_of
from jobs.reserving import digest_of, propose
from jobs.views.sets_page import Page, load_context, page_context


@door("GET", right="plan")
def sets_for_jobs(request: HttpRequest) -> HttpResponse:
    """What is proposed, by shift in time order; one press keeps it all."""
    person, now = cast(Person, request.user), timezone.now()
    proposal = propose(person.branch, now=now)
    page = Page.of(proposal, person, ladder(person.branch))
    last = last_change(person.branch, now)
    context = {
        **page_context(page),
        "digest": digest_of(proposal.wanted()),
        "last": last,
        "last_when": when_for(person, last.at, now) if last else "",
        **rights_of(person),
    }
    return render(request, "jobs/sets/page.html", context)


@door("POST", right="plan")
def sets_keep(request: HttpRequest) -> HttpResponse:
    """Keep all of what was shown."""
    person = cast(Person, request.user)
    try:
        kept = keep_plan(person, person.branch, request.POST.get("seen", ""), now=timezone.now())
    except Refused as refused:
        messages.error(request, refused.sentence)
    else:
        messages.success(request, _kept_words(kept))
    return redirect("jobs:sets_for_jobs")


def _kept_words(kept: Kept) -> str:
    if not kept.made and not kept.ended:
        return _("Nothing to change: it is kept so already.")
    words = ngettext("%(n)s choice is kept.", "%(n)s choices are kept.", kept.made)
    return words % {"n": kept.made}


@door("GET", right="plan")
def sets_of_step(request: HttpRequest, key: UUID) -> HttpResponse:
    """The sets of a step's type; ``?take=`` shows what follows from one of them before it is kept."""
    person = cast(Person, request.user)
    proposal = propose(person.branch, now=timezone.now())
    if key not in proposal.loads:
        raise Http404(_("The plans have that step no more."))
    take, shown = as_uuid(request.GET.get("take", "")), None
    if take is not None:
        try:
            shown = by_hand(proposal, key, take)
        except Refused as refused:
            messages.error(request, refused.sentence)
    page = Page.of(proposal, person, ladder(person.branch))
    return render(request, "jobs/sets/step.html", {**load_context(page, key, shown), **rights_of(person)})


@door("POST", right="plan")
def sets_take(request: HttpRequest, key: UUID) -> HttpResponse:
    """Keep a set chosen by hand, with what follows."""
    person, set_id = cast(Person, request.user), as_uuid(request.POST.get("set", ""))
    if set_id is None:
        return redirect("jobs:sets_of_step", key)
    try:
        lock_choice(person, person.branch, key, set_id, request.POST.get("seen", ""), now=timezone.now())
    except Refused as refused:
        messages.error(request, refused.sentence)
        return redirect("jobs:sets_of_step", key)
    messages.success(request, _("Kept: your own choice stays whatever is proposed."))
    return redirect("jobs:sets_for_jobs")


@door("POST", right="plan")
def sets_free(request: HttpRequest, key: UUID) -> HttpResponse:
    """Leave a step to the plan again."""
    person = cast(Person, request.user)
    load = propose(person.branch, now=timezone.now()).loads.get(key)
    if load is None:
        raise Http404(_("The plans have that step no more."))
    free_choice(person.branch, [step.key for step in load.steps])
    messages.success(request, _("The plan chooses for it again."))
    return redirect("jobs:sets_for_jobs")


@door("POST", right="plan")
def sets_undo(request: HttpRequest) -> HttpResponse:
    """Take back the last change."""
    person, at = cast(Person, request.user), parse_datetime(request.POST.get("at", "")[:40])
    try:
        if at is not None and at.tzinfo is not None:
            undo_change(person, person.branch, at, now=timezone.now())
            messages.success(request, _("Taken back: sets are meant as before."))
    except Refused as refused:
        messages.error(request, refused.sentence)
    return redirect("jobs:sets_for_jobs")
