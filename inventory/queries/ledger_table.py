"""The ledger as a table that goes out as a file, and how columns of tables are read."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from inventory.models import Entry
from inventory.rights import Right
from inventory.tables import Column, For, Table

KEY = _("Gritledger key")
CHUNK = 2000


def by(path: str) -> Any:
    """The value of a dotted path, "" where nothing is."""
    names = path.split(".")

    def value(row: Any, _asked: For) -> Any:
        for name in names:
            row = getattr(row, name, None)
            if row is None:
                return None
        return row() if callable(row) else row

    return value


def held_by(row: Any) -> str | None:
    """Who holds what a row is about: the person, firm or outing by name, else the kind of holder; None for nobody."""
    if row.holder_person is not None:
        return str(row.holder_person.name)
    return row.holder_name or (str(row.get_holder_kind_display()) if row.holder_kind else None)


def yes(path: str) -> Any:
    value = by(path)
    return lambda row, asked: _now("yes") if value(row, asked) else _now("no")


def _entries(asked: For) -> Iterable[tuple[Entry, bool]]:
    rows = Entry.objects.filter(act__branch=asked.branch, **asked.span("act__happened_at"))
    voided = set(
        Entry.objects.filter(kind="voided", act__branch=asked.branch, act__held_back="").values_list(
            "void_target", flat=True
        )
    )
    related = (
        "act__done_by",
        "act__entered_by",
        "tool_set__tool_type",
        "tool_set__state",
        "place",
        "to_place",
        "outing",
        "machine",
        "holder_person",
        "supplier",
    )
    order = ("act__happened_at", "act__device_id", "act__device_seq", "act_id", "line_no")
    for row in rows.select_related(*related).defer("tool_set__state__facts").order_by(*order).iterator(CHUNK):
        yield row, row.pk in voided


def _entry(path: str) -> Any:
    value = by(path)
    return lambda row, asked: value(row[0], asked)


ENTRIES = Table(
    "entries",
    _("Ledger"),
    _("Every entry as it was written, voided ones said so; by the days it happened."),
    (
        Column(_("Happened at"), lambda row, asked: asked.when(row[0].act.happened_at)),
        Column(_("Known by"), _entry("act.get_time_known_display")),
        Column(_("Entry"), _entry("get_kind_display")),
        Column(_("Voided"), lambda row, _asked: _now("yes") if row[1] else _now("no")),
        Column(_("Held back"), _entry("act.held_back")),
        Column(_("Set"), lambda row, _asked: _set_word(row[0])),
        Column(_("Tool type"), _entry("tool_set.tool_type.name")),
        Column(_("About the place"), _entry("place.name")),
        Column(_("To place"), _entry("to_place.name")),
        Column(_("Peg"), _entry("peg")),
        Column(_("Outing"), _entry("outing.name")),
        Column(_("Held by"), lambda row, _asked: held_by(row[0])),
        Column(_("Gate"), _entry("get_gate_display")),
        Column(_("Code"), _entry("code_id")),
        Column(_("Began as"), _entry("get_opening_kind_display")),
        Column(_("Left how"), _entry("get_left_how_display")),
        Column(_("Water (%(temperature)s)"), lambda row, asked: asked.amount("temperature", row[0].temperature_c)),
        Column(_("Tool height (%(height)s)"), lambda row, asked: asked.height(row[0].lowest_height_mm)),
        Column(_("Pieces"), _entry("pieces")),
        Column(_("Area of a pass (%(area)s)"), lambda row, asked: asked.area(row[0].area_m2)),
        Column(_("Passes"), _entry("passes")),
        Column(_("Hardness"), _entry("get_hardness_display")),
        Column(_("Surface"), _entry("get_surface_display")),
        Column(_("Coating"), _entry("get_coating_display")),
        Column(_("Wet or dry"), _entry("get_wet_dry_display")),
        Column(_("Kind of step"), _entry("get_step_kind_display")),
        Column(_("How it is known"), _entry("get_basis_display")),
        Column(_("Machine"), _entry("machine.name")),
        Column(_("As entered"), _entry("amount_value")),
        Column(_("Unit as entered"), _entry("amount_unit")),
        Column(_("With backing"), _entry("with_backing")),
        Column(_("Dressed on"), _entry("get_dress_medium_display")),
        Column(_("Minutes"), _entry("minutes")),
        Column(_("Trouble"), _entry("get_trouble_kind_display")),
        Column(_("Retired because"), _entry("get_retired_why_display")),
        Column(_("Seen"), _entry("seen")),
        Column(_("Why"), _entry("why")),
        Column(_("Done by"), _entry("act.done_by.name")),
        Column(_("Entered by"), _entry("act.entered_by.name")),
        Column(_("Came by"), _entry("act.get_source_display")),
        Column(_("Recorded at"), lambda row, asked: asked.when(row[0].act.recorded_at)),
        Column(_("Voids"), lambda row, _asked: _text(row[0].void_target)),
        Column(_("Replaces"), lambda row, _asked: _text(row[0].replaces)),
        Column(_("Key of the set"), lambda row, _asked: _text(row[0].tool_set_id)),
        Column(KEY, lambda row, _asked: str(row[0].pk)),
    ),
    _entries,
    (Right.PLAN, Right.RUN_SHOP),
    spans=True,
)


def _text(key: UUID | None) -> str | None:
    return None if key is None else str(key)


def _set_word(row: Entry) -> str | None:
    if row.tool_set is None:
        return None
    state = getattr(row.tool_set, "state", None)
    return (state.code if state is not None else "") or row.tool_set.own_code
