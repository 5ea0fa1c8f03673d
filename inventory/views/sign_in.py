"""Signing in and out, the language before the name, a shared tablet that is still in use."""

from __future__ import annotations

import re
from typing import Any
from zoneinfo import ZoneInfo

from axes.handlers.proxy import AxesProxyHandler
from django.conf import settings
from django.contrib.auth import authenticate, login, logout
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render, resolve_url
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters

from inventory.actions.people import save_own
from inventory.forms.people import SignInForm
from inventory.models import Device, Person
from inventory.queries.people import names_for_sign_in, somebody_who_runs
from inventory.shop_settings import settings_of
from inventory.sign_in import known_device, wait_after_tries
from inventory.views.doors import IDLE_SECONDS, device_of, door

LATELY_COOKIE = "gl_lately"
_LATELY_LONGEST = 60
_NAME_LONGEST = 40  # as the column
_YEARS = 5 * 365 * 86400


@login_not_required
@never_cache
@sensitive_post_parameters("password", "pin")
@door("GET", "POST")
def sign_in(request: HttpRequest) -> HttpResponse:
    """The names of this device, then a PIN (shared tablet) or a password; a refused try says how many are left."""
    if not Person.objects.exists():
        return redirect("inventory:first_run")
    there = _there(request)
    if request.user.is_authenticated:
        return redirect(there)
    device = known_device(request)
    if request.method == "POST":
        username = request.POST.get("username", "").strip().lower()
        request.gl_by_pin = "pin" in request.POST  # type: ignore[attr-defined]
        secret = (
            {"pin": request.POST["pin"]} if "pin" in request.POST else {"password": request.POST.get("password", "")}
        )
        if len(username) > _NAME_LONGEST:  # nobody's, and too long for the list of tries
            return _page(request, device, there, username[:_NAME_LONGEST], refused=_why(request, device))
        person = authenticate(request, username=username, **secret)
        if person is not None:
            return _signed_in(request, person, device, there)
        return _page(request, device, there, username, refused=_why(request, device))
    return _page(request, device, there, request.GET.get("who", "").strip().lower())


@login_not_required
@door("POST")
def sign_out(request: HttpRequest) -> HttpResponse:
    """End the session; the device stays known."""
    logout(request)
    return redirect("inventory:sign_in")


@login_not_required
@door("POST")
def language(request: HttpRequest) -> HttpResponse:
    """Keep the language of this browser, and of whoever is signed in; then go back."""
    wanted = request.POST.get("language", "")
    if wanted not in dict(settings.LANGUAGES):
        raise BadRequest
    person = request.user
    if isinstance(person, Person):
        save_own(
            person,
            units=person.units,
            language=wanted,
            theme=person.theme,
            clock_24h=person.clock_24h,
            sound=person.sound,
        )
    response = redirect(_there(request, "inventory:sign_in"))
    response.set_cookie(
        settings.LANGUAGE_COOKIE_NAME, wanted, max_age=_YEARS, samesite="Lax", secure=request.is_secure()
    )
    return response


@door("POST")
def still_here(request: HttpRequest) -> HttpResponse:
    """Somebody touched the shared tablet: the middleware has moved the session's end."""
    return HttpResponse(status=204)


def _signed_in(request: HttpRequest, person: Person, device: Device | None, there: str) -> HttpResponse:
    login(request, person)
    shared = device is not None and device.shared
    if shared:
        today = timezone.now().astimezone(ZoneInfo(person.branch.time_zone)).date()
        idle = int(60 * settings_of(person.branch, today=today)["sign_out_minutes"])
        if idle:
            request.session[IDLE_SECONDS] = idle
            request.session.set_expiry(idle)
    device_of(request)  # known from now on
    response = redirect(there)
    lately = [person.pk, *(pk for pk in _lately(request) if pk != person.pk)][:_LATELY_LONGEST]
    response.set_signed_cookie(
        LATELY_COOKIE,
        ".".join(map(str, lately)),
        salt=LATELY_COOKIE,
        max_age=_YEARS,
        httponly=True,
        samesite="Lax",
        secure=request.is_secure(),
    )
    return response


def _lately(request: HttpRequest) -> list[int]:
    """Who signed in on this browser, lately first."""
    text = request.get_signed_cookie(LATELY_COOKIE, default="", salt=LATELY_COOKIE) or ""
    return [int(part) for part in text.split(".") if part.isdecimal()]


def _there(request: HttpRequest, otherwise: str = settings.LOGIN_REDIRECT_URL) -> str:
    """The page asked for, if it is one of ours."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    ours = url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return wanted if ours else resolve_url(otherwise)


def _page(request: HttpRequest, device: Device | None, there: str, username: str, *, refused: str = "") -> HttpResponse:
    shared = device is not None and device.shared
    names = names_for_sign_in(device.branch if shared and device else None, _lately(request))
    chosen = next((name for name in names if name.sign_in == username), None)
    by_pin = shared and chosen is not None and chosen.has_pin and "password" not in request.GET
    request.gl_by_pin = by_pin  # type: ignore[attr-defined]
    context: dict[str, Any] = {
        "names": names,
        "chosen": chosen,
        "somebody_else": bool(username or "else" in request.GET) and chosen is None,
        "device": device,
        "shared": shared,
        "by_pin": by_pin,
        "form": SignInForm(initial={"username": username}),
        "next": there,
        "refused": refused,
        "tries": _tries_words(request, username, device) if chosen or refused else "",
        "idle_minutes": _idle_minutes(device) if shared else None,
    }
    status = 429 if getattr(request, "axes_locked_out", False) else 422 if refused else 200
    return render(request, "inventory/people/sign_in.html", context, status=status)


def _why(request: HttpRequest, device: Device | None) -> str:
    if getattr(request, "axes_locked_out", False):
        minutes = int(wait_after_tries(request).total_seconds() // 60)
        return ngettext(
            "The tries are used up. Wait a minute, then go on.",
            "The tries are used up. Wait %(minutes)d minutes, then go on.",
            minutes,
        ) % {"minutes": minutes}
    shared = device is not None and device.shared
    if "pin" in request.POST:
        return _("These are not the four digits of that name.") if shared else _pin_elsewhere()
    if not shared and re.fullmatch(r"\d{4}", request.POST.get("password", "").strip()):
        return _("Name and password do not belong together.") + " " + _pin_elsewhere()
    return _("Name and password do not belong together.")


def _pin_elsewhere() -> str:
    return _("Four digits are a PIN: it works on the shop's shared tablets only. Here, type your password.")


def _tries_words(request: HttpRequest, username: str, device: Device | None) -> str:
    if getattr(request, "axes_locked_out", False):
        return ""
    left = max(settings.AXES_FAILURE_LIMIT - AxesProxyHandler.get_failures(request, {"username": username}), 0)
    minutes = int(wait_after_tries(request).total_seconds() // 60)
    asked = somebody_who_runs(device.branch, username) if device is not None and device.shared else ""
    tries = ngettext("%(left)d try left", "%(left)d tries left", left) % {"left": left}
    wait = ngettext("wait a minute", "wait %(minutes)d minutes", minutes) % {"minutes": minutes}
    if asked:
        return _("%(tries)s, then %(wait)s or ask %(name)s.") % {
            "tries": tries,
            "wait": wait,
            "name": asked.rstrip("."),
        }
    return _("%(tries)s, then %(wait)s.") % {"tries": tries, "wait": wait}


def _idle_minutes(device: Device | None) -> int | None:
    if device is None:
        return None
    today = timezone.now().astimezone(ZoneInfo(device.branch.time_zone)).date()
    return int(settings_of(device.branch, today=today)["sign_out_minutes"])
