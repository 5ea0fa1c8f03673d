"""What follows from who is signed in: language, the branch's clock, and the end of an idle shared tablet's session."""

from __future__ import annotations

from collections.abc import Callable
from zoneinfo import ZoneInfo

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import timezone, translation

from inventory.models import Person

IDLE_SECONDS = "idle_seconds"


class PersonHere:
    """Middleware: pages speak the person's language and the branch's time; a shared tablet's session slides on."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        person = request.user
        if isinstance(person, Person):
            if person.language in dict(settings.LANGUAGES):
                translation.activate(person.language)
                request.LANGUAGE_CODE = translation.get_language()
            timezone.activate(ZoneInfo(person.branch.time_zone))
            if IDLE_SECONDS in request.session:
                request.session.modified = True  # written again, the idle time starts anew
        try:
            return self.get_response(request)
        finally:
            timezone.deactivate()
