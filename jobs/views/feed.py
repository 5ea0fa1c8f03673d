"""The private calendar address: its page, and the feed a calendar program reads there without signing in."""

from __future__ import annotations

import secrets
from typing import cast

from django.conf import settings as django_settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from inventory.models import Person
from inventory.rights import Right
from inventory.views.doors import door
from jobs.actions.feed import hash_of, make_address, revoke_address
from jobs.actions.forecast import asked_certainty, revived
from jobs.feed import calendar_of
from jobs.queries.feed import SEES_WATER, address_held, feed_facts, whose

_KIND = "text/calendar; charset=utf-8"


@login_not_required
@door("GET")
def feed(request: HttpRequest, word: str) -> HttpResponse:
    """The calendar of whoever this address belongs to; 404 for one that is unknown or revoked. Nothing is written."""
    now, person = timezone.now(), whose(hash_of(word))
    if person is None:
        raise Http404
    facts = feed_facts(person, now, asked_certainty(person.branch, now, None))
    language = person.language if person.language in dict(django_settings.LANGUAGES) else "en"
    base = (person.branch.shown_address or request.build_absolute_uri("/")).rstrip("/")
    with translation.override(language), timezone.override(person.branch.time_zone):
        body = calendar_of(facts, revived(facts.run), base, now)
    response = HttpResponse(body, content_type=_KIND)
    response["Cache-Control"] = "private, no-store"
    response["Content-Disposition"] = 'inline; filename="gritledger.ics"'
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex"
    return response


@door("GET", "POST")
def my_calendar(request: HttpRequest) -> HttpResponse:
    """The person's address: whether there is one; a new one is shown once, when it is made."""
    person, made = cast(Person, request.user), ""
    if request.method == "POST":
        word = secrets.token_urlsafe(32)
        make_address(person, word, now=timezone.now())
        made = request.build_absolute_uri(reverse("jobs:feed", args=[word]))
    context = {
        "held": address_held(person),
        "made": made,
        "sees_water": any(map(person.can, SEES_WATER)),
        "sees_orders": person.can(Right.BUY),
        "plans": person.can(Right.PLAN),
    }
    return render(request, "jobs/feed/page.html", context)


@door("POST")
def calendar_revoke(request: HttpRequest) -> HttpResponse:
    """Revoke the person's address."""
    revoke_address(cast(Person, request.user), now=timezone.now())
    messages.success(request, _("Revoked. Whoever has the old address gets nothing more."))
    return redirect("jobs:my_calendar")
