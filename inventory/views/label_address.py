"""The address that labels hold: what it is for, tried by a phone or another browser, or taken without."""

from __future__ import annotations

from dataclasses import dataclass
from socket import gethostname
from typing import Any, cast
from urllib.parse import urlsplit

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _

from inventory.actions.first_run import AddressRefused, phone_word, propose_address, take_address, with_scheme
from inventory.codes import AddressNotPrintable, is_host, label_base, only_this_computer
from inventory.models import Branch, Person
from inventory.qr_symbol import qr_svg
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.serving import answers_to, served_to, start_command
from inventory.views.doors import PersonRequest, door

# Whoever prints for the shop: who plans, counts, buys or runs it; a helper alone does not choose for everybody.
MAY_CONFIRM = (Right.PLAN, Right.COUNT, Right.BUY, Right.RUN_SHOP)


@door("GET", "POST", right=MAY_CONFIRM)
def labels_address(request: PersonRequest) -> HttpResponse:
    """Say which address labels hold: try one, or take the one shown without a phone."""
    refused: Refused | None = None
    if request.method == "POST":
        try:
            return _keep(request, request.POST.get("address", ""), request.POST.get("then", ""))
        except AddressRefused as refusal:
            refused = refusal
    branch = request.user.branch
    context = address_context(request) | {
        "refused": refused,
        "square": address_square(branch),
        "link": phone_link(branch),
    }
    if refused is not None:
        context["typed"] = request.POST.get("address", "")
    return render(request, "inventory/label/address.html", context, status=422 if refused else 200)


def _keep(request: PersonRequest, address: str, then: str) -> HttpResponse:
    """Keep the address; taken without a phone, go back to the labels that waited. Raises AddressRefused."""
    if request.POST.get("do") != "take":
        try_address(request, address)
        return redirect("inventory:labels_address")
    row = take_address(request.user.branch, with_scheme(address, request.scheme or "http"), now=timezone.now())
    messages.success(request, _("Labels hold %(address)s.") % {"address": row.shown_address})
    safe = url_has_allowed_host_and_scheme(then, {request.get_host()}, require_https=request.is_secure())
    return redirect(then if then and safe else "inventory:labels")


def try_address(request: HttpRequest, address: str) -> None:
    """Keep an address to be tried, with the page's own scheme where none was typed.

    Where this very browser came by it from another computer's name, that is the try.

    Raises AddressRefused.
    """
    branch = cast(Person, request.user).branch
    address = with_scheme(address, request.scheme or "http")
    row = propose_address(branch, address)
    try:
        came_by = label_base(own_address(request))
    except AddressNotPrintable:
        return
    if came_by == row.label_address and not only_this_computer(came_by):
        take_address(branch, address, now=timezone.now())


@dataclass(frozen=True)
class Reach:
    """What stands between the others and an address. host: the one asked about. command: what to type to serve it.

    answers: the shop answers to that host, as it is served now. other_port: the port it is served at, where the address
    names another one or none; 0 otherwise.
    """

    host: str
    answers: bool
    command: str
    other_port: int

    @property
    def open(self) -> bool:
        """Whether nothing of ours stands in the way."""
        return self.answers and not self.other_port


def reach_of(request: HttpRequest, address: str) -> Reach:
    """Whether others reach the shop by this address, as it is served now; for this computer's own, how they could."""
    here = _port_of(own_address(request))
    if only_this_computer(address):
        name = gethostname().lower()
        host = name if is_host(name) and not only_this_computer(f"http://{name}") else "NAME"
        return Reach(host, False, start_command(host, here), 0)
    host = urlsplit(address.lower()).hostname or ""
    port = _port_of(address)
    # Behind somebody's own server the port is theirs to lead on.
    other = here if start_command(host, here) and port != here else 0
    return Reach(host, answers_to(host), start_command(host, here), other)


def _port_of(address: str) -> int:
    parts = urlsplit(address.lower())
    return parts.port or (443 if parts.scheme == "https" else 80)


def own_address(request: HttpRequest) -> str:
    """The address by which this browser came, "http://10.0.0.5:8000"."""
    return request.build_absolute_uri("/").rstrip("/")


def proposed_address(request: HttpRequest, branch: Branch) -> str:
    """The address kept; else that by which others come, if browser or start say one; else this browser's."""
    if branch.label_address:
        return branch.shown_address
    own, name = own_address(request), served_to()
    return f"{request.scheme}://{name}:{_port_of(own)}" if name and only_this_computer(own) else own


def address_context(request: PersonRequest) -> dict[str, Any]:
    """What the pages of labels say of the address: which, whether confirmed, and who may settle it."""
    branch = request.user.branch
    proposed = proposed_address(request, branch)
    return {
        "branch": branch,
        "address": branch.shown_address,
        "reach": reach_of(request, proposed),
        "proposed": proposed,
        "confirmed": branch.label_address_confirmed_at,
        "only_here": only_this_computer(proposed),
        "may_confirm": any(map(request.user.can, MAY_CONFIRM)),
    }


def address_square(branch: Branch) -> str:
    """The square by which a phone tries the branch's address; "" when there is nothing to try."""
    if not branch.label_address or branch.label_address_confirmed_at:
        return ""
    return mark_safe(qr_svg(f"{branch.label_address}/H/{phone_word(branch)}"))  # noqa: S308 - drawn from capitals


def phone_link(branch: Branch) -> str:
    """The address a phone, or another computer's browser, opens to say that it reaches the shop."""
    return f"{branch.shown_address}/H/{phone_word(branch)}"
