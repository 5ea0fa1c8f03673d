"""The address that labels hold: what it is for, tried by a phone or another browser, or taken without."""

from __future__ import annotations

from typing import Any, cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _

from inventory.actions.first_run import AddressRefused, phone_word, propose_address, take_address, with_scheme
from inventory.codes import AddressNotPrintable, label_base, only_this_computer
from inventory.models import Branch, Person
from inventory.qr_symbol import qr_svg
from inventory.refusals import Refused
from inventory.rights import Right
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
    messages.success(request, _("Labels hold %(address)s.") % {"address": row.label_address})
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


def own_address(request: HttpRequest) -> str:
    """The address by which this browser came, "http://10.0.0.5:8000"."""
    return request.build_absolute_uri("/").rstrip("/")


def address_context(request: PersonRequest) -> dict[str, Any]:
    """What the pages of labels say of the address: which, whether confirmed, and who may settle it."""
    branch = request.user.branch
    proposed = branch.label_address or own_address(request)
    return {
        "branch": branch,
        "address": branch.label_address,
        "proposed": proposed,
        "confirmed": branch.label_address_confirmed_at,
        "only_here": only_this_computer(proposed),
        "may_confirm": any(map(request.user.can, MAY_CONFIRM)),
    }


def address_square(branch: Branch) -> str:
    """The square by which a phone tries the branch's address; "" when there is nothing to try."""
    if not branch.label_address or branch.label_address_confirmed_at:
        return ""
    return mark_safe(qr_svg(phone_link(branch)))  # noqa: S308 - drawn from capitals


def phone_link(branch: Branch) -> str:
    """The address a phone, or another computer's browser, opens to say that it reaches the shop."""
    return f"{branch.label_address}/H/{phone_word(branch)}"
