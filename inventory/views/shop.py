"""The shop itself: machines, places, settings with their dates, hours, closed days, and the page that leads to them."""

from __future__ import annotations

from typing import Any, cast
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from inventory.actions import shop as actions
from inventory.actions.catalogue import CatalogueRefused
from inventory.actions.first_run import save_branch
from inventory.forms.catalogue import (
    WEEKDAYS,
    BranchForm,
    ClosedDayForm,
    HoursForm,
    MachineForm,
    PlaceForm,
    SettingForm,
    show_spans,
)
from inventory.models import Machine, Person, Place, Setting
from inventory.models.choices import PlaceKind
from inventory.queries.catalogue import closed_names, shop_calendar
from inventory.queries.places import listed_places
from inventory.rights import Right
from inventory.setting_words import from_words, say_source, say_unit, to_words
from inventory.shop_settings import KNOWN, settings_of
from inventory.units import show_length
from inventory.views.catalogue import READ, bound, kept, today_of
from inventory.views.doors import door
from inventory.views.lists import form_page, head, link, list_page, section, words
from inventory.views.refit import due_context


@door("GET", right=READ)
def shop(request: HttpRequest) -> HttpResponse:
    """Where everything about the shop is kept, by rights."""
    person = cast(Person, request.user)
    context = {"branch": person.branch, "runs": person.can(Right.RUN_SHOP)}
    return render(request, "inventory/catalogue/shop.html", context | due_context(person, timezone.now()))


@door("GET", "POST", right=Right.RUN_SHOP)
def branch(request: HttpRequest) -> HttpResponse:
    """The shop's name, zone and currency."""
    row = cast(Person, request.user).branch
    form = bound(request, BranchForm, {name: getattr(row, name) for name in ("name", "time_zone", "currency")})
    if kept(request, form, lambda said: save_branch(row, **said), _("The shop is kept.")):
        return redirect("inventory:shop")
    return form_page(request, row.name, form, _("Keep the shop"), "inventory:shop")


@door("GET", right=READ)
def machines(request: HttpRequest) -> HttpResponse:
    """Machines, their heads and mounts, rented ones with their days."""
    person = cast(Person, request.user)
    units, may = cast(Any, person.units), person.can(Right.RUN_SHOP)
    rows = [
        [
            head(_("Name"), row.name, may, "inventory:machine", row.pk),
            words(_("Kind"), row.get_kind_display()),
            words(_("Heads"), row.heads, num=True),
            words(_("Mount"), row.mount),
            words(_("Pieces in a load"), row.pieces_per_load, num=True),
            words(_("Path"), show_length(row.path_m, units) if row.path_m else "", num=True),
            words(
                _("Rented"),
                f"{row.rented_from or ''} – {row.rented_to or ''}" if row.rented_from or row.rented_to else "",
            ),
            words(_("In use"), _("yes") if row.active else _("no more")),
        ]
        for row in Machine.objects.filter(branch=person.branch).order_by("-active", "name")
    ]
    add = ("inventory:machine_new", _("Add a machine")) if may else None
    return list_page(
        request,
        ngettext("%(n)d machine", "%(n)d machines", len(rows)) % {"n": len(rows)},
        rows,
        add=add,
        empty=_("No machines yet. They can wait until the first job."),
    )


@door("GET", "POST", right=Right.RUN_SHOP)
def machine(request: HttpRequest, machine_id: int | None = None) -> HttpResponse:
    """One machine."""
    person = cast(Person, request.user)
    row = get_object_or_404(Machine, pk=machine_id, branch=person.branch) if machine_id else None
    form = bound(request, MachineForm, actions.machine_facts(row) if row else {"active": True})

    def act(said: dict[str, Any]) -> None:
        today, now = today_of(person), timezone.now()
        actions.save_machine(person, person.branch, said, machine=row, valid_from=today, now=now)

    if kept(request, form, act, _("The machine is kept.")):
        return redirect("inventory:machines")
    submit = _("Keep %(name)s") % {"name": row.name} if row else _("Add the machine")
    title = row.name if row else _("A new machine")
    return form_page(request, title, form, submit, "inventory:machines", extra={"across": True})


@door("GET", right=READ)
def places(request: HttpRequest) -> HttpResponse:
    """Racks, tubs, buckets, crates and vans; sites and suppliers are shown and kept elsewhere."""
    person = cast(Person, request.user)
    may = person.can(Right.RUN_SHOP)
    found = listed_places(person.branch).exclude(kind=PlaceKind.UNKNOWN).select_related("inside")
    rows = [
        [
            head(_("Name"), row.name, may and row.kind in actions.MADE_HERE, "inventory:place", row.pk),
            words(_("Kind"), row.get_kind_display()),
            words(_("Room for sets"), row.room_sets or "", num=True),
            words(_("Thermostat"), _("yes") if row.thermostat else ""),
            words(_("Stands in"), row.inside.name if row.inside else ""),
            words(_("In use"), _("yes") if row.active else _("no more")),
        ]
        for row in found.order_by("-active", "kind", "name")
    ]
    add = ("inventory:place_new", _("Add a place")) if may else None
    return list_page(
        request,
        ngettext("%(n)d place", "%(n)d places", len(rows)) % {"n": len(rows)},
        rows,
        add=add,
        empty=_("No places yet. Add the first rack."),
    )


@door("GET", "POST", right=Right.RUN_SHOP)
def place(request: HttpRequest, place_id: UUID | None = None) -> HttpResponse:
    """One place of the shop's own."""
    person = cast(Person, request.user)
    mine = Place.objects.filter(branch=person.branch, kind__in=actions.MADE_HERE)
    row = get_object_or_404(mine, pk=place_id) if place_id else None
    names = ("kind", "name", "room_sets", "thermostat", "active")
    asked = request.GET.get("kind", "")
    kind = asked if asked in actions.MADE_HERE else "rack"
    form = bound(
        request, PlaceForm, {name: getattr(row, name) for name in names} if row else {"active": True, "kind": kind}
    )
    if kept(
        request,
        form,
        lambda said: actions.save_place(
            person, person.branch, **said, place_id=place_id, valid_from=today_of(person), now=timezone.now()
        ),
        _("The place is kept."),
    ):
        return redirect("inventory:places")
    submit = _("Keep %(name)s") % {"name": row.name} if row else _("Add the place")
    return form_page(request, row.name if row else _("A new place"), form, submit, "inventory:places")


@door("GET", right=Right.RUN_SHOP)
def settings(request: HttpRequest) -> HttpResponse:
    """Every setting: what holds today, in which unit, and where its start value comes from."""
    person = cast(Person, request.user)
    holds = settings_of(person.branch, today=today_of(person))
    said = set(Setting.objects.filter(branch=person.branch).values_list("key", flat=True))
    rows = [
        [
            link(_("Setting"), known.label, "inventory:setting", key),
            words(_("Holds today"), to_words(key, holds[key], person.units, with_unit=True), num=True),
            words(pgettext("source", "From"), _("the shop") if key in said else say_source(known.source)),
        ]
        for key, known in KNOWN.items()
        if key != "dice"
    ]
    lead = _("Start values are our assumption unless it says otherwise: your own figures win.")
    own = ngettext("%(n)d setting is the shop's own", "%(n)d settings are the shop's own", len(said)) % {"n": len(said)}
    return list_page(request, own, rows, lead=lead)


@door("GET", "POST", right=Right.RUN_SHOP)
def setting(request: HttpRequest, key: str) -> HttpResponse:
    """One setting from a day on, with what was said before."""
    if key not in KNOWN:
        raise Http404
    person, known = cast(Person, request.user), KNOWN[key]
    holds = settings_of(person.branch, today=today_of(person))[key]
    form = bound(request, SettingForm, {"value": to_words(key, holds, person.units), "valid_from": today_of(person)})
    form.fields["value"].unit = say_unit(key, person.units)

    def act(said: dict[str, Any]) -> None:
        if said["value"] == form.initial["value"]:
            return  # untouched: what holds keeps its exact value
        value = from_words(key, said["value"], person.units)
        when = {"valid_from": said["valid_from"], "now": timezone.now()}
        actions.save_setting(person, person.branch, key, value, **when)

    if kept(request, form, act, _("The setting is kept.")):
        return redirect("inventory:settings")
    return form_page(
        request, str(known.label), form, _("Keep it"), "inventory:settings", extra=_setting_past(person, key)
    )


@door("GET", "POST", right=Right.RUN_SHOP)
def hours(request: HttpRequest) -> HttpResponse:
    """The staffed hours of a week, from a day on."""
    person = cast(Person, request.user)
    calendar = shop_calendar(person.branch, today_of(person))
    start = {f"day{day}": show_spans(calendar.hours.get(day, ())) for day in range(len(WEEKDAYS))}
    form = bound(request, HoursForm, start | {"valid_from": today_of(person)})

    def act(said: dict[str, Any]) -> None:
        when = {"valid_from": said["valid_from"], "now": timezone.now(), "sure": form.cleaned_data["sure"]}
        actions.save_hours(person, person.branch, said["week"], **when)

    if kept(request, form, act, _("The hours are kept.")):
        return redirect("inventory:shop")
    lead = _(
        "When somebody is there to put sets in water and read a tub. Empty is a free day; 22:00-06:00 runs past "
        "midnight."
    )
    return form_page(
        request, _("When is the shop staffed?"), form, _("Keep the hours"), "inventory:shop", extra={"lead": lead}
    )


@door("GET", "POST", right=Right.RUN_SHOP)
def closed_days(request: HttpRequest) -> HttpResponse:
    """Days nobody is there: add one, or open one again."""
    person = cast(Person, request.user)
    today, posted = today_of(person), request.method == "POST"
    form = ClosedDayForm(request.POST if posted else None)
    if posted and form.is_valid():
        opened = "open" in request.POST
        try:
            actions.save_closed_day(person, person.branch, **form.cleaned_data, closed=not opened, now=timezone.now())
        except CatalogueRefused as refused:
            form.add_error("day", refused.sentence)
        else:
            messages.success(request, _("That day is open again.") if opened else _("That day is closed."))
            return redirect("inventory:closed_days")
    context = {"form": form, "days": list(closed_names(person.branch, today).items())}
    return render(request, "inventory/catalogue/closed_days.html", context, status=422 if form.errors else 200)


def _setting_past(person: Person, key: str) -> dict[str, Any]:
    rows = [
        [
            head(_("Holds from"), f"{row.valid_from}"),
            words(_("Value"), to_words(key, KNOWN[key].read(row.value), person.units, with_unit=True), num=True),
            words(_("Said by"), row.recorded_by.name if row.recorded_by else ""),
        ]
        for row in Setting.objects.filter(branch=person.branch, key=key)
        .select_related("recorded_by")
        .order_by("-pk")[:20]
    ]
    start = _("Nothing yet: the start value holds (%(source)s).") % {"source": say_source(KNOWN[key].source)}
    return {"sections": [section(_("What was said before"), rows, empty=start)]}
