"""Reads ledgers: entries as the lines that the state function takes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Case, Count, F, OuterRef, Q, QuerySet, Subquery, When

from inventory.ledger.facts import SetFacts
from inventory.ledger.line import UNKNOWN_PLACE, Line
from inventory.ledger.state import at_or_before, fold
from inventory.models import Entry, EntryPiece

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
_OTHER = (
    "id",
    "act_id",
    "line_no",
    "kind",
    "tool_set_id",
    "acts_at",
    "to_place_id",
    "to_place__kind",
    "tool_set__tool_type__pieces_per_set",
    "code__opened_entry",
    "act__happened_at",
    "act__device_id",
    "act__device_seq",
    "act__done_by_id",
    "act__held_back",
    "act__clock_doubt",
    "pieces_in",
)
_READ = (*_OTHER, *_PLAIN, *_TEXT)
_TEXT_FROM = len(_OTHER) + len(_PLAIN)
_TEXT_NAMES = tuple(_TEXT.values())
# How many pieces a "pieces changed" line brought into its set; nothing where its pieces are not on record one by one.
_CAME_IN = (
    EntryPiece.objects.filter(entry=OuterRef("pk"))
    .order_by()
    .values("entry")
    .values(count=Count("pk", filter=Q(to_set=OuterRef("tool_set")) & ~Q(from_set=F("to_set"), from_set__isnull=False)))
)
_PIECES_IN = Case(When(kind="pieces_changed", then=Subquery(_CAME_IN)))


def lines_of(entries: QuerySet[Entry]) -> Iterable[Line]:
    """The lines of these entries, one query, in no particular order.

    A "labelled" line is marked lost when its code opens what another line says (the writer keeps that on the label).
    """
    for row in entries.annotate(pieces_in=_PIECES_IN).values_list(*_READ).iterator(chunk_size=4000):
        (
            entry_id,
            act_id,
            line_no,
            kind,
            set_id,
            acts_at,
            place_id,
            place_kind,
            pieces_whole,
            opened_entry,
            happened_at,
            device_id,
            device_seq,
            done_by,
            held_back,
            clock_doubt,
            pieces_in,
        ) = row[: len(_OTHER)]
        line = Line(
            id=str(entry_id),
            act=str(act_id),
            kind=kind,
            # A count's unseen sets act at its start; nothing acts later than it was said.
            at=happened_at if acts_at is None else min(acts_at, happened_at),
            device=str(device_id),
            device_seq=device_seq,
            line_no=line_no,
            by=str(done_by),
            held_back=bool(held_back),
            clock_doubt=clock_doubt,
            tool_set="" if set_id is None else str(set_id),
            to_place=UNKNOWN_PLACE if place_kind == "unknown" else _text(place_id),
            to_place_kind=place_kind,
            pieces_whole=pieces_whole,
            pieces_in=pieces_in,
            label_lost=kind == "labelled" and opened_entry != entry_id,
        )
        for name, value in zip(_PLAIN, row[len(_OTHER) : _TEXT_FROM], strict=True):
            if value is not None:
                setattr(line, name, value)
        for name, value in zip(_TEXT_NAMES, row[_TEXT_FROM:], strict=True):
            if value is not None:
                setattr(line, name, str(value))
        yield line


def _text(value: object) -> str | None:
    return None if value is None else str(value)


def ledgers_of(set_ids: Iterable[UUID], *, known_by: datetime | None = None) -> dict[UUID, list[Line]]:
    """The lines of each of these sets by the set's id; with ``known_by`` only those recorded by then."""
    wanted = list(set_ids)
    entries = _known(Entry.objects.filter(tool_set_id__in=wanted), known_by)
    ledgers: dict[UUID, list[Line]] = {set_id: [] for set_id in wanted}
    for line in lines_of(entries):
        ledgers[UUID(line.tool_set)].append(line)
    return ledgers


def standing(entries: QuerySet[Entry], *, known_by: datetime | None = None) -> set[UUID]:
    """Of these entries those that count by the rules of ``fold``: not voided, and accepted where they were held back.

    For rules that look across ledgers (labels, "same as"). An act voided as a whole is no matter here: acts of
    "pieces changed" hold none of these kinds. With ``known_by`` by what was recorded by then.
    """
    rows, gone, waiting = _weighed(entries, known_by)
    return rows - gone - waiting


def voided(entries: QuerySet[Entry]) -> set[UUID]:
    """Of these entries those that are voided, by the rules of ``fold``: a void that is held back voids nothing yet."""
    return _weighed(entries, None)[1]


def _weighed(entries: QuerySet[Entry], known_by: datetime | None) -> tuple[set[UUID], set[UUID], set[UUID]]:
    """These entries, those of them that are voided, and those held back and not accepted."""
    rows = list(entries.values_list("id", "act_id", "tool_set_id", "place_id", "act__held_back", "kind"))
    subjects = {row[0]: (row[2], row[3], row[5]) for row in rows}
    voids = _voids_of(subjects, known_by)
    accepted = _accepted([row for row in [*rows, *voids] if row[4]], known_by)
    gone = {
        void[5]
        for void in voids
        if (void[2], void[3]) == subjects[void[5]][:2]
        and (not void[4] or (void[0] in accepted and subjects[void[5]][2] != "settled"))
    }
    return set(subjects), gone, {row[0] for row in rows if row[4] and row[0] not in accepted}


def _voids_of(targets: Iterable[UUID], known_by: datetime | None) -> list[Any]:
    """Voids of these entries: (id, act, set, place, held back, target)."""
    voids = _known(Entry.objects.filter(kind="voided", void_target__in=list(targets)), known_by)
    return list(voids.values_list("id", "act_id", "tool_set_id", "place_id", "act__held_back", "void_target"))


def _accepted(held: Sequence[Any], known_by: datetime | None) -> set[UUID]:
    """Of these held-back rows (id, act, set, place, ...) those somebody accepted in the same ledger."""
    if not held:
        return set()
    answers = list(
        _known(
            Entry.objects.filter(
                kind="settled",
                flag_code="held_back",
                answer="accept",
                act__held_back="",
                settles_target__in=[key for row in held for key in row[:2]],
            ),
            known_by,
        ).values_list("id", "settles_target", "tool_set_id", "place_id")
    )
    subjects = {answer[0]: answer[2:] for answer in answers}
    unsaid = {
        void[5] for void in _voids_of(subjects, known_by) if not void[4] and (void[2], void[3]) == subjects[void[5]]
    }
    said = {(target, *subject) for answer, target, *subject in answers if answer not in unsaid}
    return {row[0] for row in held if {(row[0], row[2], row[3]), (row[1], row[2], row[3])} & said}


def _known(entries: QuerySet[Entry], known_by: datetime | None) -> QuerySet[Entry]:
    return entries if known_by is None else entries.filter(act__recorded_at__lte=known_by)


# Above so many sets all "same as" entries are read at once instead of walking from set to set.
_WALK = 500


def same_sets(set_ids: Iterable[UUID], *, known_by: datetime | None = None) -> dict[UUID, frozenset[UUID]]:
    """For each set the sets that a standing "same as" joins it with, itself included; follows joins of joins."""
    wanted = set(set_ids)
    every = _known(Entry.objects.filter(kind="same_as"), known_by)
    groups: dict[UUID, set[UUID]] = {}
    frontier = wanted
    seen: set[UUID] = set()
    while frontier:
        seen |= frontier
        near = every
        if len(frontier) <= _WALK:
            near = every.filter(Q(tool_set_id__in=frontier) | Q(other_set_id__in=frontier))
        pairs = {row[0]: row[1:] for row in near.values_list("id", "tool_set_id", "other_set_id")}
        stands = standing(Entry.objects.filter(pk__in=pairs), known_by=known_by) if pairs else set()
        for entry_id in stands:
            one, other = pairs[entry_id]
            joined = groups.get(one, {one}) | groups.get(other, {other})
            for member in joined:
                groups[member] = joined
        frontier = set() if near is every else {member for pair in pairs.values() for member in pair} - seen
    return {set_id: frozenset(groups.get(set_id, {set_id})) for set_id in wanted}


def acts_voided_elsewhere(set_ids: Iterable[UUID], *, known_by: datetime | None = None) -> frozenset[str]:
    """Acts of "pieces changed" of these sets that a void in any set's ledger undoes as a whole."""
    changes = Entry.objects.filter(kind="pieces_changed")
    acts = changes.filter(tool_set_id__in=list(set_ids)).values_list("act_id", flat=True)
    siblings = dict(changes.filter(act_id__in=list(acts)).values_list("id", "act_id"))
    if not siblings:
        return frozenset()
    _rows, gone, _waiting = _weighed(changes.filter(pk__in=siblings), known_by)
    return frozenset(str(siblings[entry_id]) for entry_id in gone)


def facts_as_of(set_id: UUID, at: datetime, *, known_by: datetime | None = None) -> SetFacts:
    """What a set was at an instant, by what was on record by ``known_by`` (None: by what is on record now).

    A set that somebody later said is the same as another counts as that one all along, if it was said by ``known_by``.
    Which of two claims had a code is answered as of now.
    """
    group = same_sets({set_id}, known_by=known_by)[set_id]
    ledgers = ledgers_of(group, known_by=known_by)
    lines = [line for member in sorted(group) for line in ledgers[member]]
    return fold(at_or_before(lines, at), voided_acts=acts_voided_elsewhere(group, known_by=known_by))
