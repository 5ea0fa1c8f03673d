"""A form whose key is not this session's: somebody else has signed in since, or the page lay open for long."""

from __future__ import annotations

from urllib.parse import urlsplit

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.csrf import requires_csrf_token

from inventory.middleware import sent_again
from inventory.models import Person


@requires_csrf_token
def stale_form(request: HttpRequest, reason: str = "") -> HttpResponse:
    """403 in words, with what was sent where it came from a page of ours, to send it under the name that is signed in.

    What another site sent is not offered again, and passwords, PINs and files never are.
    """
    ours = _from_here(request)
    context = {
        "again": sent_again(request) if ours else None,
        "to": request.get_full_path(),
        "signed_in": isinstance(request.user, Person),
        "back": _back(request) if ours else "",
    }
    return render(request, "stale_form.html", context, status=403)


def _from_here(request: HttpRequest) -> bool:
    """Whether a page of this site sent it, by the browser's own word (Fetch metadata, else the Origin header)."""
    site = request.headers.get("Sec-Fetch-Site")
    if site is not None:
        return site == "same-origin"
    source = urlsplit(request.headers.get("Origin") or request.headers.get("Referer") or "")
    return source.netloc != "" and source.netloc == request.get_host()


def _back(request: HttpRequest) -> str:
    """The page it was sent from, if it is one of ours."""
    page = request.headers.get("Referer", "")
    safe = url_has_allowed_host_and_scheme(page, allowed_hosts={request.get_host()}, require_https=request.is_secure())
    return page if safe else ""
