"""Tool types with recipes and prices, and suppliers: read by whoever plans or buys, kept by whoever runs the shop."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any, cast
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions import catalogue as actions
from inventory.actions.types_supplier import set_supplier
from inventory.estimate import learnt_of
from inventory.forms.catalogue import KeepForm, PriceForm, RecipeForm, SupplierForm, SupplierOfTypesForm, ToolTypeForm
from inventory.models import Person, Supplier, ToolType
from inventory.queries.catalogue import lead_word, price_of, recipe_of
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.units import Units, show_about, show_area, show_height, show_hours, show_money, show_temperature
from inventory.views.doors import door
from inventory.views.lists import Cell, form_page, head, list_page, section, words

READ = (Right.RUN_SHOP, Right.PLAN, Right.BUY)


def today_of(person: Person) -> date:
    """The branch's date."""
    return timezone.now().astimezone(ZoneInfo(person.branch.time_zone)).date()


def kept(request: HttpRequest, form: KeepForm, act: Callable[[dict[str, Any]], Any], said: str) -> bool:
    """Whether a posted form was kept by its action; else the form knows why not."""
    if request.method != "POST" or not form.is_valid():
        return False
    try:
        act(form.said())
    except Refused as refused:
        form.refuse(refused)
        return False
    messages.success(request, said)
    return True


def bound(request: HttpRequest, kind: type[KeepForm], initial: dict[str, Any], **more: Any) -> Any:
    """The form of a page: with what was posted, or with what holds."""
    person = cast(Person, request.user)
    return kind(
        request.POST if request.method == "POST" else None, initial=initial, units=cast(Units, person.units), **more
    )


@door("GET", right=READ)
def tool_types(request: HttpRequest) -> HttpResponse:
    """The ladder, coarse to fine: what a set of each type is and what it costs (with the right to see money)."""
    person = cast(Person, request.user)
    types = list(ToolType.objects.select_related("supplier", "learnt").order_by("-active", "ladder_place", "name"))
    ids = [row.pk for row in types]
    recipes = recipe_of(ids, today_of(person))
    prices = price_of(ids, today_of(person)) if person.can(Right.SEE_MONEY) else None
    rows = []
    for row in types:
        price = (prices or {}).get(row.pk)
        cells = _type_cells(person, row, recipes.get(row.pk))
        if prices is not None:
            shown = show_money(price.price, price.currency) if price else _("write it")
            cells.append(words(_("Price"), shown, num=True) | {"url": reverse("inventory:price", args=[row.pk])})
        rows.append(cells)
    may = person.can(Right.RUN_SHOP)
    add = ("inventory:tool_type_new", _("Add a tool type")) if may else None
    return list_page(
        request,
        ngettext("%(n)d tool type on the ladder", "%(n)d tool types on the ladder", len(rows)) % {"n": len(rows)},
        rows,
        add=add,
        empty=_("No tool types yet. Add the first, or take a starting ladder."),
        extra={"more_url": reverse("inventory:types_supplier"), "more_words": _("Say who sells them")}
        if may and types
        else {"empty_actions": [_starting_ladder()]}
        if may
        else None,
    )


def _starting_ladder() -> dict[str, str]:
    url = reverse("inventory:first_shop")
    return {"label": _("Take a starting ladder"), "url": url, "method": "get", "kind": "fill"}


@door("GET", "POST", right=Right.RUN_SHOP)
def types_supplier(request: HttpRequest) -> HttpResponse:
    """One supplier for many tool types at once; those without one are ticked."""
    person = cast(Person, request.user)
    if not Supplier.objects.filter(active=True).exists():
        messages.info(request, _("There is no supplier yet: write the first, then say what they sell."))
        return redirect("inventory:supplier_new")
    types = list(ToolType.objects.filter(active=True).select_related("supplier").order_by("ladder_place", "name"))
    form = bound(request, SupplierOfTypesForm, {}, types=types)

    def act(said: dict[str, Any]) -> None:
        today, now = today_of(person), timezone.now()
        set_supplier(person, said["types"], said["supplier"], valid_from=today, now=now)

    if kept(request, form, act, _("The supplier is kept.")):
        return redirect("inventory:tool_types")
    lead = _("Those without a supplier are ticked. The others keep theirs.")
    return form_page(
        request, _("Who sells these tool types?"), form, _("Keep the supplier"), "inventory:tool_types",
        extra={"lead": lead},
    )  # fmt: skip


@door("GET", "POST", right=Right.RUN_SHOP)
def tool_type(request: HttpRequest, type_id: int | None = None) -> HttpResponse:
    """One tool type: its facts, recipes, prices, and what was said before."""
    person = cast(Person, request.user)
    row = get_object_or_404(ToolType, pk=type_id) if type_id else None
    form = bound(request, ToolTypeForm, _type_words(row))

    def act(said: dict[str, Any]) -> None:
        supplier, sure = said.pop("supplier"), form.cleaned_data["sure"]
        today, now = today_of(person), timezone.now()
        actions.save_tool_type(person, said, tool_type=row, supplier=supplier, valid_from=today, now=now, sure=sure)

    if kept(request, form, act, _("The tool type is kept.")):
        return redirect("inventory:tool_types")
    extra = {"across": True, "sections": _type_sections(person, row) if row else []}
    submit = _("Keep %(name)s") % {"name": row.name} if row else _("Add the tool type")
    return form_page(
        request, row.name if row else _("A new tool type"), form, submit, "inventory:tool_types", extra=extra
    )


@door("GET", "POST", right=Right.RUN_SHOP)
def recipe(request: HttpRequest, type_id: int) -> HttpResponse:
    """A recipe from a day on."""
    person, row = cast(Person, request.user), get_object_or_404(ToolType, pk=type_id)
    last = recipe_of([row.pk], today_of(person)).get(row.pk)
    names = ("cold_hours", "hot_hours", "hot_limit_c", "mixed_credit", "dry_out_hours")
    form = bound(
        request, RecipeForm, {name: getattr(last, name) for name in names if last} | {"valid_from": today_of(person)}
    )

    def act(said: dict[str, Any]) -> None:
        actions.save_recipe(person, row, **said, now=timezone.now(), sure=form.cleaned_data["sure"])

    if kept(request, form, act, _("The recipe is kept.")):
        return redirect("inventory:tool_type", row.pk)
    title = _("How is %(name)s soaked?") % {"name": row.name}
    lead = _("The tool's own sheet wins. A set in water keeps the recipe it went in with.")
    scald = _("Water of 130 °F (54 °C) scalds in 30 s. Gloves, and nobody reaches in bare.")
    return form_page(
        request, title, form, _("Keep the recipe"), "inventory:tool_types", extra={"lead": lead, "cautions": [scald]}
    )


@door("GET", "POST", right=Right.SEE_MONEY)
def price(request: HttpRequest, type_id: int) -> HttpResponse:
    """A price from a day on; for those who see money."""
    person, row = cast(Person, request.user), get_object_or_404(ToolType, pk=type_id)
    initial = {"supplier": row.supplier_id, "valid_from": today_of(person)}
    form = bound(request, PriceForm, initial, currency=person.branch.currency)

    def act(said: dict[str, Any]) -> None:
        supplier, sure = said.pop("supplier"), form.cleaned_data["sure"]
        actions.save_price(person, row, supplier, **said, now=timezone.now(), sure=sure)

    if kept(request, form, act, _("The price is kept.")):
        return redirect("inventory:tool_types")
    title = _("What does a set of %(name)s cost?") % {"name": row.name}
    return form_page(request, title, form, _("Keep the price"), "inventory:tool_types")


@door("GET", right=READ)
def suppliers(request: HttpRequest) -> HttpResponse:
    """Who sells us sets, and what they say of delivery."""
    person = cast(Person, request.user)
    found = list(Supplier.objects.order_by("-active", "name"))
    said = lead_word([row.pk for row in found], today_of(person))
    may = person.can(Right.RUN_SHOP) or person.can(Right.BUY)
    rows = [
        [
            head(_("Name"), row.name, may, "inventory:supplier", row.pk),
            words(_("E-mail"), row.email),
            words(_("Working days"), said[row.pk].lead_working_days if row.pk in said else "", num=True),
            words(_("Smallest order"), said[row.pk].minimum_sets if row.pk in said else "", num=True),
            words(_("In use"), _("yes") if row.active else _("no more")),
        ]
        for row in found
    ]
    add = ("inventory:supplier_new", _("Add a supplier")) if may else None
    return list_page(
        request,
        ngettext("%(n)d supplier", "%(n)d suppliers", len(rows)) % {"n": len(rows)},
        rows,
        add=add,
        empty=_("No suppliers yet."),
    )


@door("GET", "POST", right=(Right.RUN_SHOP, Right.BUY))
def supplier(request: HttpRequest, supplier_id: int | None = None) -> HttpResponse:
    """One supplier and their word on delivery."""
    person = cast(Person, request.user)
    row = get_object_or_404(Supplier, pk=supplier_id) if supplier_id else None
    form = bound(request, SupplierForm, _supplier_words(row, today_of(person)))

    def act(said: dict[str, Any]) -> None:
        actions.save_supplier(person, **said, supplier=row, now=timezone.now())

    if kept(request, form, act, _("The supplier is kept.")):
        return redirect("inventory:suppliers")
    submit = _("Keep %(name)s") % {"name": row.name} if row else _("Add the supplier")
    return form_page(request, row.name if row else _("A new supplier"), form, submit, "inventory:suppliers")


def _type_cells(person: Person, row: ToolType, recipe: Any) -> list[Cell]:
    units: Any = person.units
    may = person.can(Right.RUN_SHOP)
    soak = str(row.get_soak_need_display())
    if recipe is not None and row.soak_need == "required":
        soak = _("%(hours)s cold") % {"hours": show_hours(recipe.cold_hours)}
    heights = [show_height(value, units) for value in (row.new_height_mm, row.retire_height_mm) if value is not None]
    return [
        head(_("Tool type"), row.name, may, "inventory:tool_type", row.pk),
        words(_("Place"), row.ladder_place, num=True),
        words(_("Bond"), row.get_bond_display()),
        words(_("Mount"), row.mount),
        words(_("Pieces"), row.pieces_per_set, num=True),
        words(_("New, retired at"), ", ".join(heights), num=True),
        words(_("Rated coverage"), show_area(row.rated_coverage_m2, units) if row.rated_coverage_m2 else "", num=True),
        words(_("Lasts here likely"), _lasts(row, units), num=True)
        | {"url": reverse("inventory:type_life", args=[row.pk])},
        words(_("Soak"), soak),
        words(_("Supplier"), row.supplier.name if row.supplier else ""),
        words(_("In use"), _("yes") if row.active else _("no more")),
    ]


def _lasts(row: ToolType, units: Units) -> str:
    """Likely reference area of a new set, as learnt here."""
    learnt = learnt_of(row)
    return show_about(learnt.new_likely_m2, units) if learnt is not None else _("not known yet")


def _type_words(row: ToolType | None) -> dict[str, Any]:
    if row is None:
        last = ToolType.objects.order_by("ladder_place").last()
        return {"ladder_place": (last.ladder_place + 10) if last else 10, "active": True, "soak_need": "unknown"}
    return actions.facts_of(row) | {"supplier": row.supplier_id}


def _supplier_words(row: Supplier | None, today: date) -> dict[str, Any]:
    if row is None:
        return {"valid_from": today, "active": True, "minimum_sets": 1}
    said = lead_word([row.pk], today).get(row.pk)
    start = {"name": row.name, "email": row.email, "active": row.active, "valid_from": today, "minimum_sets": 1}
    return start | ({"lead_working_days": said.lead_working_days, "minimum_sets": said.minimum_sets} if said else {})


def _type_sections(person: Person, row: ToolType) -> list[dict[str, Any]]:
    units: Any = person.units
    recipes = [
        [
            head(_("Holds from"), f"{said.valid_from}"),
            words(_("Cold"), show_hours(said.cold_hours), num=True),
            words(_("Hot"), show_hours(said.hot_hours) if said.hot_hours else "", num=True),
            words(_("Hot from"), show_temperature(said.hot_limit_c, units) if said.hot_limit_c else "", num=True),
            words(_("Out of water"), show_hours(said.dry_out_hours), num=True),
            words(_("Said by"), said.recorded_by.name if said.recorded_by else ""),
        ]
        for said in row.recipes.select_related("recorded_by").order_by("-valid_from", "-recorded_at", "-pk")[:20]
    ]
    versions = [
        [
            head(_("Holds from"), f"{said.valid_from}"),
            words(_("New"), show_height(said.new_height_mm, units) if said.new_height_mm else "", num=True),
            words(
                _("Retired at"), show_height(said.retire_height_mm, units) if said.retire_height_mm else "", num=True
            ),
            words(_("Rated"), show_area(said.rated_coverage_m2, units) if said.rated_coverage_m2 else "", num=True),
            words(_("Soak"), said.get_soak_need_display()),
            words(_("Said by"), said.recorded_by.name if said.recorded_by else ""),
        ]
        for said in row.versions.select_related("recorded_by").order_by("-recorded_at", "-pk")[:20]
    ]
    sections = [
        section(
            _("Recipes"), recipes, reverse("inventory:recipe", args=[row.pk]), _("Write a recipe"), _("No recipe yet.")
        ),
    ]
    if person.can(Right.SEE_MONEY):
        prices = [
            [
                head(_("Holds from"), f"{said.valid_from}"),
                words(_("Supplier"), said.supplier.name),
                words(_("Price"), show_money(said.price, said.currency), num=True),
                words(_("Said by"), said.recorded_by.name if said.recorded_by else ""),
            ]
            for said in row.prices.select_related("supplier", "recorded_by").order_by("-valid_from", "-pk")[:20]
        ]
        url = reverse("inventory:price", args=[row.pk])
        sections.append(section(_("Prices"), prices, url, _("Write a price"), _("No price yet.")))
    return [*sections, section(_("What was said before"), versions)]
