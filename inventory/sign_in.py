"""How somebody signs in: a password anywhere, four digits on a tablet that the shop marked as shared."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import UUID

from django.contrib.auth.backends import ModelBackend
from django.http import HttpRequest, HttpResponse

from inventory.models import Device, Person
from inventory.views.doors import DEVICE_COOKIE

# After the last try: a minute for a PIN (it needs the shop's own tablet), else a quarter of an hour. Our assumption.
PIN_WAIT = timedelta(minutes=1)
PASSWORD_WAIT = timedelta(minutes=15)


class PasswordBackend(ModelBackend):
    """A sign-in name and its password; the person comes with the branch."""

    def get_user(self, user_id: int) -> Person | None:
        """The person of a session, or None once inactive."""
        person = Person.objects.select_related("branch").filter(pk=user_id).first()
        return person if person is not None and self.user_can_authenticate(person) else None


class PinBackend(PasswordBackend):
    """Four digits, on a shared device of the person's own branch and nowhere else."""

    def authenticate(  # type: ignore[override]
        self, request: HttpRequest | None, username: str | None = None, pin: str | None = None, **_other: Any
    ) -> Person | None:
        """The person whose digits these are, or None; None as well on any device that is not shared."""
        if request is None or not username or not pin:
            return None
        device = shared_device(request)
        if device is None:
            return None
        person = Person.objects.filter(sign_in=username, branch=device.branch_id, is_active=True).first()
        return person if person is not None and person.check_pin(pin) else None


def known_device(request: HttpRequest) -> Device | None:
    """The device this browser is, if somebody was signed in here before and it was not withdrawn; one query at most."""
    known = request.get_signed_cookie(DEVICE_COOKIE, default="", salt=DEVICE_COOKIE)
    try:
        device_id = UUID(known)
    except ValueError:
        return None
    return Device.objects.select_related("branch").filter(pk=device_id, withdrawn_at__isnull=True).first()


def shared_device(request: HttpRequest) -> Device | None:
    """This device, if the shop marked it as shared."""
    device = known_device(request)
    return device if device is not None and device.shared else None


def wait_after_tries(request: HttpRequest | None) -> timedelta:
    """How long to wait once the tries are used up; asked by django-axes."""
    return PIN_WAIT if getattr(request, "gl_by_pin", False) else PASSWORD_WAIT


def waiting_page(request: HttpRequest, original: HttpResponse, credentials: dict[str, Any] | None) -> HttpResponse:
    """The answer while somebody has to wait: the page that the sign-in itself made, with its sentence."""
    return original
