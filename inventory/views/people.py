"""People, their rights and their devices, for whoever runs the shop; and everybody's own page."""

from __future__ import annotations

from datetime import datetime
from typing import Any, cast
from uuid import UUID

from django.contrib import messages
from django.contrib.auth import BACKEND_SESSION_KEY, update_session_auth_hash
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext
from django.views.decorators.debug import sensitive_post_parameters

from inventory.actions.people import PersonWords, save_device, save_own, save_own_secrets, save_person
from inventory.forms.people import DeviceForm, MyForm, MySecretsForm, PersonForm
from inventory.models import Device, Person
from inventory.queries.people import DeviceNow, devices_of, people_of, work_words
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.times import when_for
from inventory.views.catalogue import READ
from inventory.views.doors import device_of, door
from inventory.views.lists import form_page, link, list_page, words


@door("GET", right=Right.RUN_SHOP)
def people(request: HttpRequest) -> HttpResponse:
    """Everybody of the shop, their work and how they sign in."""
    branch = cast(Person, request.user).branch
    rows = [
        [
            link(_("Name"), person.name, "inventory:person", person.pk),
            words(_("Sign-in name"), person.sign_in),
            words(pgettext("rights", "May"), work_words(row.right for row in person.right_rows.all())),
            words(_("Signs in by"), _signs_in_by(person)),
            words(_("Works here"), _("yes") if person.is_active else _("no more")),
        ]
        for person in people_of(branch)
    ]
    return list_page(
        request,
        ngettext("%(n)d person", "%(n)d people", len(rows)) % {"n": len(rows)},
        rows,
        add=("inventory:person_new", _("Add a person")),
        empty=_("No people yet."),
    )


@sensitive_post_parameters("password", "pin")
@door("GET", "POST", right=Right.RUN_SHOP)
def person(request: HttpRequest, person_id: int | None = None) -> HttpResponse:
    """One person: add, change, give and take rights."""
    me = cast(Person, request.user)
    row = get_object_or_404(Person, pk=person_id, branch=me.branch_id) if person_id else None
    form = PersonForm(request.POST if request.method == "POST" else None, initial=_person_words(row))
    if row is None:
        form.for_somebody_new()
    if request.method == "POST" and form.is_valid() and not _by_pin(request, form):
        names = ("sign_in", "name", "password", "pin", "no_pin", "is_active", "language")
        said = {name: form.cleaned_data[name] for name in names if name in form.fields}
        try:
            kept = save_person(me, me.branch, PersonWords(rights=form.rights_said(), **said), person_id=person_id)
        except Refused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, refused.sentence)
        else:
            messages.success(request, _("%(name)s is kept.") % {"name": kept.name})
            return redirect("inventory:people")
    title = row.name if row else _("Who comes in?")
    return form_page(
        request,
        title,
        form,
        _("Keep %(name)s") % {"name": row.name} if row else _("Add the person"),
        "inventory:people",
    )


@door("GET", right=Right.RUN_SHOP)
def devices(request: HttpRequest) -> HttpResponse:
    """Phones, tablets and browsers that somebody signed in on; this one first."""
    mine, here, now = cast(Person, request.user), device_of(request), timezone.now()
    found = sorted(devices_of(mine.branch), key=lambda row: row.device.pk != here.pk)
    rows = [
        [
            link(_("Device"), _device_name(row.device, here), "inventory:device", row.device.pk),
            words(_("Shared"), _("shared tablet") if row.device.shared else _("one person's")),
            words(_("Written on last"), _last_words(row, mine, now)),
            words(_("First seen"), f"{timezone.localtime(row.device.first_seen_at):%Y-%m-%d}"),
            words(_("In use"), _("withdrawn") if row.device.withdrawn_at else _("yes")),
        ]
        for row in found
    ]
    return list_page(
        request,
        ngettext("%(n)d device", "%(n)d devices", len(rows)) % {"n": len(rows)},
        rows,
        lead=_(
            "A tablet for everybody: sign in on it once, open it here, tick “A shared tablet”. Then names and PINs."
        ),
        empty=_("No device yet."),
    )


@door("GET", "POST", right=Right.RUN_SHOP)
def device(request: HttpRequest, device_id: UUID) -> HttpResponse:
    """One device: its name, whether it is shared, whether it is withdrawn."""
    branch = cast(Person, request.user).branch
    row = get_object_or_404(Device, pk=device_id, branch=branch)
    start = {"name": row.name, "shared": row.shared, "withdrawn": row.withdrawn_at is not None}
    form = DeviceForm(request.POST if request.method == "POST" else None, initial=start)
    if request.method == "POST" and form.is_valid() and not _by_pin(request, form):
        try:
            save_device(branch, device_id, **form.cleaned_data, now=timezone.now())
        except Refused as refused:
            form.add_error(refused.field or None, refused.sentence)
        else:
            messages.success(request, _("The device is kept."))
            return redirect("inventory:devices")
    return form_page(request, row.name or _("A device without a name"), form, _("Keep the device"), "inventory:devices")


@door("GET", "POST")
def me(request: HttpRequest) -> HttpResponse:
    """One's own page: language, units, colours, clock, sound."""
    mine = cast(Person, request.user)
    names = ("language", "units", "theme", "clock_24h", "sound")
    start = {name: getattr(mine, name) for name in names} | {"clock_24h": "1" if mine.clock_24h else "0"}
    form = MyForm(request.POST if request.method == "POST" else None, initial=start)
    if request.method == "POST" and form.is_valid():
        save_own(mine, **form.cleaned_data)
        messages.success(request, _("Kept."))
        return redirect("inventory:me")
    context = {"form": form, "work": work_words(mine.rights), "can_shop": any(map(mine.can, READ))}
    return render(request, "inventory/people/me.html", context, status=422 if form.errors else 200)


@sensitive_post_parameters("now_is", "password", "pin")
@door("GET", "POST")
def my_secrets(request: HttpRequest) -> HttpResponse:
    """A new password or PIN of one's own; other sessions end with a new password."""
    mine = cast(Person, request.user)
    form = MySecretsForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid() and not _by_pin(request, form):
        try:
            kept = save_own_secrets(mine, **form.cleaned_data)
        except Refused as refused:
            form.add_error(refused.field or None, refused.sentence)
        else:
            update_session_auth_hash(request, kept)
            messages.success(request, _("The new one holds from now on."))
            return redirect("inventory:me")
    return form_page(request, _("How you sign in"), form, _("Keep it"), "inventory:me")


def _by_pin(request: HttpRequest, form: Any) -> bool:
    """Whether this session came in by four digits: they do not change who may do what; the form then says so."""
    by_pin = str(request.session.get(BACKEND_SESSION_KEY, "")).endswith(".PinBackend")
    if by_pin:
        form.add_error(None, _("Four digits are not enough to change this. Sign in with your password first."))
    return by_pin


def _person_words(row: Person | None) -> dict[str, Any]:
    if row is None:
        return {"is_active": True, "rights": [], "language": "en"}
    facts = {"name": row.name, "sign_in": row.sign_in, "is_active": row.is_active, "language": row.language}
    return facts | {"rights": sorted(row.rights)}


def _signs_in_by(row: Person) -> str:
    ways = [_("password")] if row.has_usable_password() else []
    ways += [_("PIN on shared tablets")] if row.pin else []
    return ", ".join(ways) or _("cannot sign in yet")


def _device_name(row: Device, here: Device) -> str:
    name = row.name or _("A device without a name")
    return _("%(name)s (this one)") % {"name": name} if row.pk == here.pk else name


def _last_words(row: DeviceNow, reader: Person, now: datetime) -> str:
    if row.last_at is None:
        return _("nothing yet")
    return _("%(name)s, %(when)s") % {"name": row.last_by, "when": when_for(reader, row.last_at, now)}
