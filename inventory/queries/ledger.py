"""Reads ledgers: entries as the lines that the state function takes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from inventory.ledger.line import UNKNOWN_PLACE, Line
from inventory.models import Entry

# Columns read for a line, besides those that need a word of their own below.
_PLAIN = (
    "gate",
    "peg",
    "holder_kind",
    "holder_name",
    "opening_kind",
    "left_how",
    "lowest_height_mm",
    "mean_height_mm",
    "before_height_mm",
    "pieces",
    "step_kind",
    "area_m2",
    "passes",
    "hardness",
    "surface",
    "wet_dry",
    "basis",
    "stands_instead",
    "trouble_kind",
    "retired_why",
    "seen",
    "flag_code",
    "answer",
    "why",
)
_TEXT = {
    "outing_id": "outing",
    "holder_person_id": "holder_person",
    "code_id": "code",
    "branch_id": "branch",
    "recipe_id": "recipe",
    "floor_uuid": "floor_uuid",
    "visit_uuid": "visit_uuid",
    "shift_uuid": "shift_uuid",
    "step_key": "step_key",
    "void_target": "void_target",
    "settles_target": "settles_target",
    "other_set_id": "other_set",
}
_ACT = (
    "act__happened_at",
    "act__device_id",
    "act__device_seq",
    "act__done_by_id",
    "act__held_back",
    "act__clock_doubt",
)
_READ = (
    "id",
    "act_id",
    "kind",
    "tool_set_id",
    "acts_at",
    "line_no",
    "to_place_id",
    "to_place__kind",
    "tool_set__tool_type__pieces_per_set",
    "code__opened_entry",
    *_PLAIN,
    *_TEXT,
    *_ACT,
)


def lines_of(entries: QuerySet[Entry]) -> Iterable[Line]:
    """The lines of these entries, one query, in no particular order.

    A "labelled" line is marked lost when its code opens what another line says (the writer keeps that on the label).
    """
    for row in entries.values_list(*_READ, named=True).iterator(chunk_size=4000):
        kind = row.to_place__kind
        line = Line(
            id=str(row.id),
            act=str(row.act_id),
            kind=row.kind,
            at=row.acts_at or row.act__happened_at,
            device=str(row.act__device_id),
            device_seq=row.act__device_seq,
            line_no=row.line_no,
            by=str(row.act__done_by_id),
            held_back=bool(row.act__held_back),
            clock_doubt=row.act__clock_doubt,
            tool_set="" if row.tool_set_id is None else str(row.tool_set_id),
            to_place=UNKNOWN_PLACE if kind == "unknown" else _text(row.to_place_id),
            to_place_kind=kind,
            pieces_whole=row.tool_set__tool_type__pieces_per_set,
            label_lost=row.kind == "labelled" and row.code__opened_entry not in (None, row.id),
        )
        for name in _PLAIN:
            setattr(line, name, getattr(row, name))
        for name, target in _TEXT.items():
            setattr(line, target, _text(getattr(row, name)))
        yield line


def _text(value: object) -> str | None:
    return None if value is None else str(value)


def ledgers_of(set_ids: Iterable[UUID], *, known_by: datetime | None = None) -> dict[UUID, list[Line]]:
    """The lines of each of these sets by the set's id; with ``known_by`` only those recorded by then."""
    wanted = list(set_ids)
    entries = Entry.objects.filter(tool_set_id__in=wanted)
    if known_by is not None:
        entries = entries.filter(act__recorded_at__lte=known_by)
    ledgers: dict[UUID, list[Line]] = {set_id: [] for set_id in wanted}
    for line in lines_of(entries):
        ledgers[UUID(line.tool_set)].append(line)
    return ledgers


def same_sets(set_ids: Iterable[UUID]) -> dict[UUID, frozenset[UUID]]:
    """For each set the sets that an unvoided "same as" joins it with, itself included.

    Follows joins of joins; a held-back or voided "same as" joins nothing.
    """
    pairs = list(
        Entry.objects.filter(kind="same_as", act__held_back="").values_list("id", "tool_set_id", "other_set_id")
    )
    voided = set(
        Entry.objects.filter(kind="voided", void_target__in=[pair[0] for pair in pairs]).values_list(
            "void_target", flat=True
        )
    )
    groups: dict[UUID, set[UUID]] = {}
    for entry_id, one, other in pairs:
        if entry_id in voided or other is None or one is None:
            continue
        joined = groups.get(one, {one}) | groups.get(other, {other})
        for member in joined:
            groups[member] = joined
    return {set_id: frozenset(groups.get(set_id, {set_id})) for set_id in set_ids}


def acts_voided_elsewhere(set_ids: Iterable[UUID]) -> frozenset[str]:
    """Acts of "pieces changed" of these sets that a void in any set's ledger undoes as a whole."""
    acts = Entry.objects.filter(kind="pieces_changed", tool_set_id__in=list(set_ids)).values_list("act_id", flat=True)
    siblings: dict[UUID, UUID] = dict(
        Entry.objects.filter(act_id__in=list(acts), kind="pieces_changed").values_list("id", "act_id")
    )
    if not siblings:
        return frozenset()
    targets = Entry.objects.filter(kind="voided", void_target__in=list(siblings), act__held_back="")
    touched: dict[str, int] = defaultdict(int)
    for target in targets.values_list("void_target", flat=True):
        if target is not None:
            touched[str(siblings[target])] += 1
    return frozenset(touched)
