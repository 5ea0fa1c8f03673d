"""What every view needs at its door: who may come in, on which device, with which key for what they do."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, cast
from uuid import UUID, uuid4, uuid5

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.actions.ledger import Who, desk
from inventory.models import Device, Person

DEVICE_COOKIE = "gl_device"
IDLE_SECONDS = "idle_seconds"
_IDLE_FROM = "idle_from"
# A shared tablet's session is written again after so many seconds, or a third of its idle time: our assumption.
_SLIDES_EVERY_S = 60
# Not part of what a form says: the token changes with the session.
_NOT_SAID = frozenset({"csrfmiddlewaretoken", "act_id"})
P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]


class PersonRequest(HttpRequest):
    """A request of somebody signed in."""

    user: Person


OwnView = Callable[Concatenate[PersonRequest, P], HttpResponse]


def door(*methods: str, right: str | tuple[str, ...] = "") -> Callable[[OwnView[P]], View[P]]:
    """Let only these methods in, and only people who have the right, or one of several ("": everybody signed in).

    Answers 405 for another method, then 403 without the right; LoginRequiredMiddleware has asked for sign-in before.
    """

    rights = (right,) if isinstance(right, str) and right else tuple(right)

    def wrap(view: OwnView[P]) -> View[P]:
        @wraps(view)
        def inner(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            # HEAD is GET without the body (RFC 9110); the server leaves the body out.
            if request.method not in methods and not (request.method == "HEAD" and "GET" in methods):
                return HttpResponseNotAllowed(methods)
            if rights and not (isinstance(request.user, Person) and any(map(request.user.can, rights))):
                raise PermissionDenied
            return view(cast(PersonRequest, request), *args, **kwargs)

        inner.rights = rights  # type: ignore[attr-defined]  # the top line offers what the doors let in
        return inner

    return wrap


def device_of(request: HttpRequest) -> Device:
    """The device this browser is, by a signed cookie; made when first seen. ``DeviceCookie`` hands the cookie out."""
    person = request.user
    assert isinstance(person, Person)
    known = request.get_signed_cookie(DEVICE_COOKIE, default="", salt=DEVICE_COOKIE)
    device_id = _uuid(known) or getattr(request, "_gl_device", None) or uuid4()
    request._gl_device = device_id  # type: ignore[attr-defined]
    name = _("%(kind)s of %(name)s") % {"kind": device_kind(request.headers.get("User-Agent", "")), "name": person.name}
    device, _made = Device.objects.get_or_create(
        pk=device_id, defaults={"branch": person.branch, "first_seen_at": timezone.now(), "name": name[:80]}
    )
    return device


def device_kind(user_agent: str) -> str:
    """What a browser says it runs on, in a word: a phone, a tablet or a desk browser; a tablet that says it is a desk
    cannot be told from one.

    By MDN's advice on the header (Browser detection using the user agent): "Mobi" is a phone, Android without it and
    iPad a tablet.
    """
    if "iPad" in user_agent or "Tablet" in user_agent or ("Android" in user_agent and "Mobi" not in user_agent):
        return _("Tablet")
    return _("Phone") if "Mobi" in user_agent else _("Desk browser")


class DeviceCookie:
    """Middleware: a browser that wrote something keeps its device key in a signed cookie."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        made = getattr(request, "_gl_device", None)
        if made is not None and DEVICE_COOKIE not in request.COOKIES:
            response.set_signed_cookie(
                DEVICE_COOKIE,
                str(made),
                salt=DEVICE_COOKIE,
                max_age=10 * 365 * 86400,
                httponly=True,
                samesite="Lax",
                secure=request.is_secure(),
            )
        return response


class IdleSession:
    """Middleware: with what somebody does on a shared tablet the idle time of its session starts anew.

    The session is written again for it, so not with every page.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        idle, now = request.session.get(IDLE_SECONDS), int(timezone.now().timestamp())
        if idle and not 0 <= now - request.session.get(_IDLE_FROM, 0) < min(_SLIDES_EVERY_S, idle // 3):
            request.session[_IDLE_FROM] = now
        return self.get_response(request)


def who_of(request: HttpRequest, **more: Any) -> Who:
    """Who is doing this, from a page: the form's ``act_id`` makes a repeated press the same act.

    Raises PermissionDenied on a device that was withdrawn.
    """
    person = request.user
    assert isinstance(person, Person)
    device = device_of(request)
    if device.withdrawn_at is not None:
        raise PermissionDenied
    return desk(person, device, timezone.now(), act_id=act_key(request), **more)


def act_key(request: HttpRequest) -> UUID | None:
    """The key of what a form does, from its own key and its content: other words under one key are another act."""
    own = _uuid(request.POST.get("act_id", ""))
    if own is None:
        return None
    said = sorted((name, *values) for name, values in request.POST.lists() if name not in _NOT_SAID)
    return uuid5(own, repr(said))


def _uuid(text: str | None) -> UUID | None:
    try:
        return UUID(text or "")
    except ValueError:
        return None
