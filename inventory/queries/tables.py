"""The tables of `inventory` that go out as files: sets, catalogue, custody, ledger, money."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.db.models import Count, Q
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext, pgettext_lazy

from inventory.estimate import SetLife, all_lives
from inventory.models import (
    Entry,
    Label,
    Machine,
    OrderLine,
    Outing,
    Person,
    Place,
    Price,
    ReceiptLine,
    SetState,
    Supplier,
    SupplierWord,
    ToolType,
)
from inventory.models.choices import Fitness, OpeningKind, PlaceKind, RetiredWhy
from inventory.queries.bring_in import set_rows
from inventory.queries.ledger_table import CHUNK, ENTRIES, KEY, by, held_by, yes
from inventory.rights import Right
from inventory.shop_settings import KNOWN, settings_of
from inventory.tables import Column, For, Table

# --- sets ---


def _sets(asked: For) -> Iterable[tuple[SetState, SetLife | None, ReceiptLine | None, int]]:
    rows = set_rows(asked.branch)
    rows.sort(key=lambda row: (row.tool_set.tool_type.ladder_place, row.code, row.tool_set.own_code, str(row.pk)))
    left: dict[UUID, SetLife] = all_lives(settings_of(asked.branch, today=asked.today))
    paid = {}
    if asked.person.can(Right.SEE_MONEY):
        lines = ReceiptLine.objects.filter(entry__act__branch=asked.branch).select_related("entry").order_by("pk")
        paid = {line.entry.tool_set_id: line for line in lines}
    said = SetState.objects.filter(branch=asked.branch, facts__pieces__isnull=False)
    pieces = dict(said.values_list("pk", "facts__pieces"))
    for row in rows:
        whole = row.tool_set.tool_type.pieces_per_set
        yield row, left.get(row.tool_set_id), paid.get(row.tool_set_id), pieces.get(row.pk) or whole


def _state(path: str) -> Any:
    value = by(path)
    return lambda row, asked: value(row[0], asked)


def _life(name: str) -> Any:
    return lambda row, asked: None if row[1] is None else asked.area(round(getattr(row[1], name), 1))


SETS = Table(
    "sets",
    _("Tool sets"),
    _("Every set with its state and the life left in it, in reference area: area × passes on a medium floor."),
    (
        Column(_("Tool type"), _state("tool_set.tool_type.name")),
        Column(_("Code"), lambda row, _asked: row[0].code or row[0].tool_set.own_code),
        Column(_("Own word"), _state("tool_set.own_code")),
        Column(_("Pieces"), lambda row, _asked: row[3]),
        Column(_("Place"), lambda row, _asked: " ".join(filter(None, (_place(row[0]), row[0].peg)))),
        Column(_("Held by"), lambda row, _asked: held_by(row[0])),
        Column(_("Outing"), _state("outing.name")),
        Column(_("Fitness"), _state("get_fitness_display")),
        Column(_("State"), lambda row, _asked: _word(row[0])),
        Column(_("Why"), _state("fitness_why")),
        Column(_("Face"), _state("get_face_display")),
        Column(_("In water"), lambda row, _asked: _now("yes") if row[0].soaking else _now("no")),
        Column(_("Began as"), _state("get_opening_display")),
        Column(_("Tool height (%(height)s)"), lambda row, asked: asked.height(row[0].lowest_height_mm)),
        Column(_("Worked here (%(area)s)"), lambda row, asked: asked.area(row[0].worked_m2)),
        Column(_("Life left on a medium floor, at least (%(area)s)"), _life("at_least_m2")),
        Column(_("Life left on a medium floor, likely (%(area)s)"), _life("likely_m2")),
        Column(_("Life left on a medium floor, up to (%(area)s)"), _life("up_to_m2")),
        Column(_("Last seen"), lambda row, asked: asked.when(row[0].last_at)),
        Column(_("Price paid"), lambda row, _asked: row[2].price if row[2] else None, money=True),
        Column(_("Currency"), lambda row, _asked: row[2].currency if row[2] else None, money=True),
        Column(KEY, lambda row, _asked: str(row[0].tool_set_id)),
    ),
    _sets,
)


def _word(state: SetState) -> str:
    """The state as a list of sets says it, "" for a set in use: what another shop's list would read."""
    if state.fitness == Fitness.RETIRED:
        why = {RetiredWhy.WORN: _now("worn"), RetiredWhy.BROKEN: _now("broken"), RetiredWhy.WRITTEN_OFF: _now("lost")}
        return why.get(RetiredWhy(state.fitness_why), _now("set aside")) if state.fitness_why in RetiredWhy else ""
    if state.fitness == Fitness.SET_ASIDE:
        return _now("set aside")
    if state.place is not None and state.place.kind == PlaceKind.UNKNOWN:
        return _now("lost")
    return _now("new") if state.opening == OpeningKind.NEW and not state.worked_m2 else ""


def _place(state: SetState) -> str:
    return "" if state.place is None else state.place.name


# --- catalogue ---

TOOL_TYPES = Table(
    "tool-types",
    _("Tool types"),
    _("The ladder: grit, bond, heights, rated coverage, soak need."),
    (
        Column(_("Name"), by("name")),
        Column(_("Grit"), by("grit")),
        Column(_("Bond"), by("get_bond_display")),
        Column(_("Place on the ladder"), by("ladder_place")),
        Column(_("Mount"), by("mount")),
        Column(_("Size"), by("size_line")),
        Column(_("Rotation"), by("get_rotation_display")),
        Column(_("Wet or dry"), by("get_wet_dry_display")),
        Column(_("Pieces a set"), by("pieces_per_set")),
        Column(_("New height (%(height)s)"), lambda row, asked: asked.height(row.new_height_mm)),
        Column(_("Retire height (%(height)s)"), lambda row, asked: asked.height(row.retire_height_mm)),
        Column(_("Backing (%(height)s)"), lambda row, asked: asked.height(row.backing_mm)),
        Column(_("Rated coverage (%(area)s)"), lambda row, asked: asked.area(row.rated_coverage_m2)),
        Column(_("Soak need"), by("get_soak_need_display")),
        Column(_("Supplier"), by("supplier.name")),
        Column(_("Sets a pack"), by("pack_sets")),
        Column(_("In use"), yes("active")),
    ),
    lambda asked: ToolType.objects.select_related("supplier").order_by("ladder_place", "name"),
)

PLACES = Table(
    "places",
    _("Places"),
    _("Racks, tubs, buckets, crates, vans and sites."),
    (
        Column(_("Name"), by("name")),
        Column(_("Kind"), by("get_kind_display")),
        Column(_("Room (sets)"), by("room_sets")),
        Column(_("Thermostat"), yes("thermostat")),
        Column(_("Inside"), by("inside.name")),
        Column(_("In use"), yes("active")),
        Column(KEY, lambda row, _asked: str(row.pk)),
    ),
    lambda asked: Place.objects.filter(branch=asked.branch).select_related("inside").order_by("kind", "name"),
)

MACHINES = Table(
    "machines",
    _("Machines"),
    _("Heads, mount, pieces a load, path, tanks."),
    (
        Column(_("Name"), by("name")),
        Column(_("Kind"), by("get_kind_display")),
        Column(_("Heads"), by("heads")),
        Column(_("Mount"), by("mount")),
        Column(_("Rotation"), by("get_rotation_display")),
        Column(_("Pieces a load"), by("pieces_per_load")),
        Column(_("Path (%(length)s)"), lambda row, asked: asked.length(row.path_m)),
        Column(_("Tank (%(volume)s)"), lambda row, asked: asked.amount("volume", row.tank_l)),
        Column(_("Recovery tank (%(volume)s)"), lambda row, asked: asked.amount("volume", row.recovery_tank_l)),
        Column(_("Wet or dry"), by("get_wet_dry_display")),
        Column(_("Rented from"), by("rented_from")),
        Column(_("Rented to"), by("rented_to")),
        Column(_("In use"), yes("active")),
    ),
    lambda asked: Machine.objects.filter(branch=asked.branch).order_by("name"),
)


def _suppliers(asked: For) -> Iterable[tuple[Supplier, SupplierWord | None]]:
    words = {
        word.supplier_id: word
        for word in SupplierWord.objects.filter(valid_from__lte=asked.today).order_by("valid_from", "recorded_at", "pk")
    }
    return [(row, words.get(row.pk)) for row in Supplier.objects.order_by("name")]


SUPPLIERS = Table(
    "suppliers",
    _("Suppliers"),
    _("Who sells sets, and what they say of delivery today."),
    (
        Column(_("Name"), lambda row, _asked: row[0].name),
        Column(_("E-mail"), lambda row, _asked: row[0].email),
        Column(_("Lead time (working days)"), lambda row, _asked: row[1].lead_working_days if row[1] else None),
        Column(_("Smallest order (sets)"), lambda row, _asked: row[1].minimum_sets if row[1] else None),
        Column(_("In use"), lambda row, _asked: _now("yes") if row[0].active else _now("no")),
    ),
    _suppliers,
)

PRICES = Table(
    "prices",
    _("Prices"),
    _("What suppliers ask for a set, from which day on."),
    (
        Column(_("Tool type"), by("tool_type.name")),
        Column(_("Supplier"), by("supplier.name")),
        Column(_("Price"), by("price"), money=True),
        Column(_("Currency"), by("currency"), money=True),
        Column(_("From"), by("valid_from")),
        Column(_("Recorded at"), lambda row, asked: asked.when(row.recorded_at)),
        Column(_("Recorded by"), by("recorded_by.name")),
    ),
    lambda asked: Price.objects.select_related("tool_type", "supplier", "recorded_by").order_by(
        "tool_type__ladder_place", "supplier__name", "valid_from", "pk"
    ),
    (Right.SEE_MONEY,),
)

# --- custody and labels ---

LABELS = Table(
    "labels",
    _("Labels"),
    _("Every code and what it opens."),
    (
        Column(_("Code"), by("code")),
        Column(_("Opens"), lambda row, _asked: _opens(row)),
        Column(_("Made at"), lambda row, asked: asked.when(row.made_at)),
        Column(_("Printed at"), lambda row, asked: asked.when(row.printed_at)),
        Column(_("Opened at"), lambda row, asked: asked.when(row.opened_at)),
        Column(_("Replaced at"), lambda row, asked: asked.when(row.replaced_at)),
        Column(_("Key of the set"), lambda row, _asked: str(row.opens_set_id) if row.opens_set_id else None),
    ),
    lambda asked: (
        Label.objects.filter(branch=asked.branch)
        .select_related("opens_set__tool_type", "opens_place", "opens_outing")
        .order_by("code")
        .iterator(CHUNK)
    ),
)


def _opens(row: Label) -> str:
    if row.opens_set is not None:
        return row.opens_set.tool_type.name
    thing = row.opens_place or row.opens_outing
    return str(thing.name) if thing is not None else _now("blank")


OUTINGS = Table(
    "outings",
    _("Outings"),
    _("What left under one name, to whom, due back when."),
    (
        Column(_("Name"), by("name")),
        Column(_("Kind"), by("get_kind_display")),
        Column(_("Held by"), lambda row, _asked: held_by(row)),
        Column(_("Van"), by("van.name")),
        Column(_("Leaves"), lambda row, asked: asked.when(row.leaves_at)),
        Column(_("Due back"), lambda row, asked: asked.when(row.due_at)),
        Column(_("Sets still out"), by("still_out")),
        Column(_("Closed"), lambda row, asked: asked.when(row.closed_at) or pgettext("outing", "open")),
    ),
    lambda asked: (
        Outing.objects.filter(branch=asked.branch, **asked.span("leaves_at"))
        .select_related("van", "holder_person")
        .annotate(still_out=Count("states"))
        .order_by("leaves_at", "name")
        .iterator(CHUNK)
    ),
    spans=True,
)

# --- orders, people, settings ---

ORDERS = Table(
    "orders",
    _("Orders"),
    _("What was ordered, line by line."),
    (
        Column(_("Order"), by("order.number")),
        Column(_("Supplier"), by("order.supplier.name")),
        Column(_("Made at"), lambda row, asked: asked.when(row.order.made_at)),
        Column(_("Made by"), by("order.made_by.name")),
        Column(_("Tool type"), by("tool_type.name")),
        Column(_("Sets ordered"), by("sets")),
        Column(_("Sets that came"), lambda row, _asked: row.came),
        Column(_("Price"), by("price"), money=True),
        Column(_("Currency"), by("currency"), money=True),
    ),
    lambda asked: _order_lines(asked),
    (Right.BUY, Right.RUN_SHOP),
    spans=True,
)


def _order_lines(asked: For) -> Iterable[OrderLine]:
    voids = Entry.objects.filter(kind="voided", act__branch=asked.branch).values("void_target")
    stands = Q(entries__kind="received") & ~Q(entries__in=Entry.objects.filter(pk__in=voids))
    return (
        OrderLine.objects.filter(order__branch=asked.branch, **asked.span("order__made_at"))
        .select_related("order__supplier", "order__made_by", "tool_type")
        .annotate(came=Count("entries", filter=stands))
        .order_by("order__made_at", "pk")
    )


PEOPLE = Table(
    "people",
    _("People"),
    _("Who works here and what they may do; no passwords."),
    (
        Column(_("Name"), by("name")),
        Column(_("Sign-in name"), by("sign_in")),
        Column(
            pgettext_lazy("rights", "May"),
            lambda row, _asked: ", ".join(sorted(one.get_right_display() for one in row.right_rows.all())),
        ),
        Column(_("Units"), by("get_units_display")),
        Column(_("Language"), by("language")),
        Column(_("Works here"), yes("is_active")),
    ),
    lambda asked: Person.objects.filter(branch=asked.branch).prefetch_related("right_rows").order_by("name"),
    (Right.RUN_SHOP,),
)


def _settings(asked: For) -> Iterable[tuple[str, Any]]:
    return list(settings_of(asked.branch, today=asked.today).values.items())


SETTINGS = Table(
    "settings",
    _("Settings"),
    _("What holds today, with where each start value comes from."),
    (
        Column(_("Setting"), lambda row, _asked: str(KNOWN[row[0]].label)),
        Column(_("Value"), lambda row, _asked: row[1]),
        Column(_("Unit"), lambda row, _asked: KNOWN[row[0]].unit),
        Column(_("Start value"), lambda row, _asked: KNOWN[row[0]].start),
        Column(_("Where the start value comes from"), lambda row, _asked: KNOWN[row[0]].source),
        Column(_("Key"), lambda row, _asked: row[0]),
    ),
    _settings,
    (Right.PLAN, Right.RUN_SHOP),
)

TABLES = (
    SETS, TOOL_TYPES, PLACES, SUPPLIERS, MACHINES, LABELS, OUTINGS, ENTRIES, ORDERS, PRICES, PEOPLE, SETTINGS,
)  # fmt: skip
