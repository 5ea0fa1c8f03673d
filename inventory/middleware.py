"""What follows from who is signed in, language and the branch's clock; and what is answered while the book is busy."""

from __future__ import annotations

from collections.abc import Callable
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib.sessions.exceptions import SessionInterrupted
from django.contrib.sessions.middleware import SessionMiddleware
from django.core.exceptions import BadRequest
from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone, translation
from django.views.defaults import bad_request

from inventory.models import Person


class PersonHere:
    """Middleware: pages speak the person's language and the branch's time."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        person = request.user
        if isinstance(person, Person):
            if person.language in dict(settings.LANGUAGES):
                translation.activate(person.language)
                request.LANGUAGE_CODE = translation.get_language()
            timezone.activate(ZoneInfo(person.branch.time_zone))
        try:
            response = self.get_response(request)
        finally:
            timezone.deactivate()
        if isinstance(person, Person) and not response.has_header("Cache-Control"):
            # Nothing of a signed-in page waits behind "back" for whoever signs in next.
            response["Cache-Control"] = "private, no-store"
        return response


class NoNul:
    """Middleware: a NUL character in an address or a form is answered 400; PostgreSQL keeps none."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        texts = [request.path_info, *(value for values in request.GET.lists() for value in values[1])]
        if request.method == "POST":
            texts += [value for values in request.POST.lists() for value in values[1]]
        if any("\x00" in text for text in texts):
            return bad_request(request, BadRequest("NUL"))
        return self.get_response(request)


class BusyBook:
    """Middleware: a write that waited too long for another one (SQLite lets one write at a time) is answered 503.

    Nothing of it was kept: an action is one transaction. The scanning page tries such a scan again by itself; of any
    other form the answer carries all that was typed, and sends it again.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        return _busy_answer(request, stands=False) if _is_busy(exception) else None


class Sessions(SessionMiddleware):
    """Django's sessions; one that cannot be written because another write takes too long spoils no answer.

    A page that only looks is shown without. What was sent is answered 503: its act may stand, and sent again under the
    same key it is the same act.
    """

    def process_response(self, request: HttpRequest, response: HttpResponse) -> HttpResponse:
        """Keep the session, if it can be kept."""
        try:
            return super().process_response(request, response)
        except (OperationalError, SessionInterrupted) as problem:
            if not _is_busy(problem):
                raise
            return response if request.method in ("GET", "HEAD") else _busy_answer(request, stands=True)


def _is_busy(problem: BaseException | None) -> bool:
    """Whether it, or what it followed from, is SQLite's "database is locked"."""
    while problem is not None:
        if isinstance(problem, OperationalError) and "locked" in str(problem):
            return True
        problem = problem.__cause__ or problem.__context__
    return False


# The fields of passwords and PINs, never written into a page: whoever signs in types it again. By their whole names:
# "passes" are no secret.
_SECRET = frozenset({"password", "pin", "now_is"})
_AGAIN_S = 3


def sent_again(request: HttpRequest) -> list[tuple[str, str]] | None:
    """What a form sent, to send it again from a page; None where a file or a secret was with it."""
    sent = [(name, value) for name, values in request.POST.lists() for value in values if name != "csrfmiddlewaretoken"]
    return None if request.FILES or any(name in _SECRET for name, _value in sent) else sent


def _busy_answer(request: HttpRequest, *, stands: bool) -> HttpResponse:
    """503 with what was sent, to send it again. stands: its act may be written; its key makes it the same act."""
    again = None if stands and "act_id" not in request.POST else sent_again(request)
    context = {"again": again, "to": request.get_full_path(), "again_s": _AGAIN_S}
    answer = render(request, "503.html", context if request.method == "POST" else {}, status=503)
    answer["Retry-After"] = "20"
    return answer
