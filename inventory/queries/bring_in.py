"""What the shop knows of its own things when a list is judged: tool types, places, sets by every code they go by."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import F, Q

from inventory.models import Branch, Entry, Label, Person, Place, SetState, SheetRow, ToolType
from inventory.models.choices import Fitness, PlaceKind
from inventory.sheets.bought import bought_on
from inventory.sheets.fields import DateOrder, KnownType, Thing
from inventory.sheets.specs import code_key
from inventory.times import zone_of


def habits_of(person: Person) -> dict[str, Any]:
    """Units, currency and the usual order of dates of a person: hints for reading, never evidence."""
    order: DateOrder = "mdy" if person.units == Person.Units.US and person.language.startswith("en") else "dmy"
    return {"units": person.units, "date_order": order, "currency": person.branch.currency}


def known_types() -> tuple[KnownType, ...]:
    """The tool types in use, coarse to fine; one query."""
    return tuple(
        KnownType(
            key=str(row.pk),
            name=row.name,
            grit=row.grit,
            bond=row.bond,
            mount=f"{row.mount} {row.size_line}".strip(),
            new_height_mm=row.new_height_mm,
            retire_height_mm=row.retire_height_mm,
            backing_mm=row.backing_mm,
            pieces_per_set=row.pieces_per_set,
            rated_coverage_m2=row.rated_coverage_m2,
        )
        for row in ToolType.objects.filter(active=True).order_by("ladder_place", "name")
    )


def known_places(branch: Branch) -> tuple[Thing, ...]:
    """The places that sets of a list can be in; one query."""
    rows = Place.objects.filter(branch=branch, active=True).exclude(kind=PlaceKind.UNKNOWN).order_by("name")
    return tuple(Thing(str(row.pk), row.name, row.kind) for row in rows)


def known_people(branch: Branch) -> tuple[Thing, ...]:
    """The people that a list of work can name, those who left too; one query."""
    rows = Person.objects.filter(branch=branch).order_by("-is_active", "name")
    return tuple(Thing(str(pk), name) for pk, name in rows.values_list("pk", "name"))


def set_rows(branch: Branch) -> list[SetState]:
    """The states of all sets of a branch that began, with type and place; one query."""
    return list(
        SetState.objects.filter(branch=branch, main_id=F("tool_set_id"))
        .exclude(opening="")
        .select_related("tool_set__tool_type", "place", "outing", "holder_person")
        .defer("facts", "worked", "wear")
        .order_by("tool_set_id")
    )


def codes_of(rows: Iterable[SetState], branch: Branch) -> dict[UUID, list[str]]:
    """Every code a set goes by: its own, its label's, and those of its older labels; one query."""
    codes: dict[UUID, list[str]] = {}
    for row in rows:
        codes[row.tool_set_id] = [code for code in (row.tool_set.own_code, row.code) if code]
    for code, set_id in Label.objects.filter(branch=branch, opens_set__isnull=False).values_list("code", "opens_set"):
        if set_id in codes and code not in codes[set_id]:
            codes[set_id].append(code)
    return codes


def says(row: SetState) -> str:
    """A few words about a set: its type, and where it is."""
    where = "" if row.place is None else f"{row.place.name} {row.peg}".strip()
    return ", ".join(part for part in (row.tool_set.tool_type.name, where) if part)


def existing_sets(branch: Branch) -> tuple[dict[str, str], frozenset[str]]:
    """What there is by each code, as a list of sets asks for it, and the keys of all sets; two queries."""
    rows = set_rows(branch)
    codes = codes_of(rows, branch)
    found = {code_key(code): says(row) for row in rows for code in codes[row.tool_set_id]}
    return found, frozenset(str(row.tool_set_id) for row in rows)


def known_sets(branch: Branch) -> tuple[Thing, ...]:
    """The sets that a list of work can name: one a code, with when and how each began and when it was retired."""
    rows = set_rows(branch)
    codes = codes_of(rows, branch)
    began = _beginnings(branch)
    nothing = _Began(None, "", None)
    zone = zone_of(branch)
    retired = {
        set_id: at.astimezone(zone).date()
        for set_id, at in Entry.objects.filter(
            kind="retired", act__branch=branch, tool_set__state__fitness=Fitness.RETIRED
        ).values_list("tool_set_id", "act__happened_at")
    }
    return tuple(
        Thing(
            str(row.tool_set_id),
            code,
            tool_type=str(row.tool_set.tool_type_id),
            says=says(row),
            since=began.get(row.tool_set_id, nothing).on,
            opening=began.get(row.tool_set_id, nothing).how,
            bought=began.get(row.tool_set_id, nothing).bought,
            until=retired.get(row.tool_set_id) if row.fitness == Fitness.RETIRED else None,
        )
        for row in rows
        for code in codes[row.tool_set_id]
    )


class _Began(NamedTuple):
    """A set's beginning on record: its day, its kind, and the day its list says it was bought."""

    on: date | None
    how: str
    bought: date | None


def _beginnings(branch: Branch) -> dict[UUID, _Began]:
    """Each set's standing beginning; two queries."""
    rows = Entry.objects.filter(
        Q(kind="opening") | Q(kind="received"), act__branch=branch, act__held_back=""
    ).values_list("pk", "tool_set_id", "act__happened_at", "opening_kind", "kind", "why")
    voided = set(
        Entry.objects.filter(kind="voided", act__branch=branch, act__held_back="").values_list("void_target", flat=True)
    )
    zone = zone_of(branch)
    found: dict[UUID, _Began] = {}
    for pk, set_id, at, opening, kind, why in rows:
        if pk not in voided and set_id is not None:
            found[set_id] = _Began(at.astimezone(zone).date(), opening or kind, bought_on(why or ""))
    return found


def came_in(branch: Branch, kind: str) -> frozenset[UUID]:
    """The identities of rows of a kind of list that came in and were not taken back; one query."""
    rows = SheetRow.objects.filter(draft__branch=branch, kind=kind, undone_at__isnull=True)
    return frozenset(rows.values_list("identity", flat=True))
