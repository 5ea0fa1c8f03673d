"""The one writer of the ledger: every page, phone, importer and demo comes through ``record``.

An action locks the sets it is about (``lock_states``), checks what it has to, and records one act. What the sets' ledgers
then add up to is kept in SetState in the same transaction.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.ledger import kinds
from inventory.ledger.facts import SetFacts, facts_from_json, facts_to_json, wear_seen
from inventory.ledger.line import UNKNOWN_PLACE, order_text
from inventory.ledger.state import REFOLD_KINDS, apply, fold
from inventory.models import Act, Branch, Device, Entry, Label, Person, Place, SetState, ToolSet
from inventory.models.choices import ClockDoubt, PlaceKind, Source, TimeKnown
from inventory.queries.ledger import acts_voided_elsewhere, ledgers_of, lines_of, same_sets
from inventory.refusals import Refused

# Offsets of a phone's clock that differ by more than this between last contact and sending mean it was moved (LEDGER 12).
_OFFSET_MOVED = timedelta(minutes=2)


class SameKeyOtherContent(Refused):
    """The key of an act is on record with another content."""

    code = "same_key"


@dataclass(frozen=True)
class Who:
    """Who did a thing, who entered it, on what. device_seq and written_at are the device's own."""

    done_by: Person
    device: Device
    device_seq: int
    written_at: datetime
    sent_at: datetime
    entered_by: Person | None = None
    source: str = Source.DESK
    time_known: str = TimeKnown.EXACT
    # For desk, paper and import: when it happened, as the person says. None: when it was written.
    happened_at: datetime | None = None
    contact_offset_ms: int | None = None
    contact_at: datetime | None = None
    held_back: str = ""
    act_id: UUID = field(default_factory=uuid4)


@dataclass(frozen=True)
class NewLine:
    """One line to write: its kind, its subject (a set or a place), and its columns by name (instances or their ids)."""

    kind: str
    tool_set: ToolSet | None = None
    place: Place | None = None
    columns: dict[str, Any] = field(default_factory=dict)
    id: UUID = field(default_factory=uuid4)


@dataclass(frozen=True)
class Recorded:
    """What the ledger now holds. again: the act was on record already and nothing was written."""

    act: Act
    entries: tuple[Entry, ...]
    again: bool = False


def desk(
    person: Person,
    device: Device,
    now: datetime,
    *,
    act_id: UUID | None = None,
    happened_at: datetime | None = None,
    done_by: Person | None = None,
    source: str = Source.DESK,
    time_known: str = TimeKnown.EXACT,
) -> Who:
    """Who for something a signed-in person does in a page; its sequence is the server's milliseconds."""
    return Who(
        done_by=done_by or person,
        entered_by=person,
        device=device,
        device_seq=int(now.timestamp() * 1000),
        written_at=now,
        sent_at=now,
        source=source,
        time_known=time_known,
        happened_at=happened_at,
        act_id=act_id or uuid4(),
    )


def already(act_id: UUID) -> Recorded | None:
    """The act of this key if it is on record: what a repeated request is answered with."""
    act = Act.objects.filter(pk=act_id).first()
    return None if act is None else Recorded(act, tuple(act.entries.order_by("line_no")), again=True)


def lock_states(sets: Iterable[ToolSet]) -> dict[UUID, SetState]:
    """Lock these sets for the rest of the transaction and read their states fresh, by set id.

    Sets are locked in the order of their keys, so that two people locking several cannot wait for each other.
    """
    ids = sorted({tool_set.pk for tool_set in sets})
    found = _lock(ids)
    if missing := [set_id for set_id in ids if set_id not in found]:
        SetState.objects.bulk_create(
            [SetState(tool_set_id=set_id, main_id=set_id) for set_id in missing], ignore_conflicts=True
        )
        found = _lock(ids)
    return found


def _lock(ids: Sequence[UUID]) -> dict[UUID, SetState]:
    rows = SetState.objects.select_for_update().filter(pk__in=ids).order_by("pk")
    return {row.pk: row for row in rows}


def happened_at(who: Who, now: datetime) -> tuple[datetime, str]:
    """When an act happened by the shop's clock, and what was doubtful about the writing one (LEDGER 12).

    The written time plus the clock's offset; if the offset at sending differs from the one at the last good contact by more
    than two minutes, the contact's is taken. Never later than ``now``.
    """
    if who.happened_at is not None:
        return min(who.happened_at, now), ClockDoubt.NONE
    offset, doubt = now - who.sent_at, ClockDoubt.NONE
    if who.contact_offset_ms is not None:
        at_contact = timedelta(milliseconds=who.contact_offset_ms)
        if abs(offset - at_contact) > _OFFSET_MOVED:
            offset, doubt = at_contact, ClockDoubt.OFFSET_MOVED
    corrected = who.written_at + offset
    if corrected > now:
        return now, ClockDoubt.AHEAD if corrected - now > _OFFSET_MOVED else doubt
    return corrected, doubt


def record(who: Who, branch: Branch, lines: Sequence[NewLine], *, now: datetime) -> Recorded:
    """Write one act with its lines and keep the states of the sets it is about.

    who, branch, lines: what to write, lines in the order they happened; now: the shop's clock.
    The same act again changes nothing and gives what is on record.
    Raises SameKeyOtherContent when the key holds something else; EntryNotWhole when a line breaks the table of kinds.
    """
    digest = _digest(who, lines)
    with transaction.atomic():
        if (known := already(who.act_id)) is not None:
            if known.act.content_sha256 != digest:
                raise SameKeyOtherContent(
                    _("This was sent before with another content."), _("What came now is kept for the shop manager.")
                )
            return known
        for line in lines:
            _check(line)
        lock_states(_sets_of(lines))
        at, doubt = happened_at(who, now)
        act = Act(
            id=who.act_id,
            branch=branch,
            device=who.device,
            device_seq=who.device_seq,
            written_at=who.written_at,
            sent_at=who.sent_at,
            contact_offset_ms=who.contact_offset_ms,
            contact_at=who.contact_at,
            happened_at=at.astimezone(UTC),
            recorded_at=now,
            done_by=who.done_by,
            entered_by=who.entered_by or who.done_by,
            source=who.source,
            time_known=who.time_known,
            clock_doubt=doubt,
            held_back=who.held_back,
            content_sha256=digest,
        )
        act.save(force_insert=True)
        entries = [
            Entry(id=line.id, act=act, line_no=number, kind=line.kind, tool_set=line.tool_set, place=line.place)
            for number, line in enumerate(lines, start=1)
        ]
        for entry, line in zip(entries, lines, strict=True):
            for name, value in line.columns.items():
                setattr(entry, name, value)
        Entry.objects.bulk_create(entries)
        _keep(entries, act)
    return Recorded(act, tuple(entries))


def void(target: Entry, why: str) -> NewLine:
    """The line that voids this entry, about the same set or place."""
    return NewLine("voided", target.tool_set, target.place, {"void_target": target.pk, "why": why})


def _check(line: NewLine) -> None:
    subject = kinds.PLACE if line.tool_set is None else kinds.SET
    kinds.check(line.kind, subject, {name.removesuffix("_id"): value for name, value in line.columns.items()})


def _sets_of(lines: Iterable[NewLine]) -> list[ToolSet]:
    return list({line.tool_set.pk: line.tool_set for line in lines if line.tool_set is not None}.values())


def _digest(who: Who, lines: Sequence[NewLine]) -> str:
    """Hash of what was said (not of when it was sent), the same for the same content."""
    content = [
        [
            str(line.id),
            line.kind,
            str(line.tool_set.pk if line.tool_set else None),
            str(line.place.pk if line.place else None),
            {name: _plain(value) for name, value in sorted(line.columns.items()) if value is not None},
        ]
        for line in lines
    ]
    said = [str(who.act_id), str(who.device.pk), who.device_seq, who.written_at.isoformat(), who.done_by.pk, content]
    return hashlib.sha256(json.dumps(said, ensure_ascii=False).encode()).hexdigest()


def _plain(value: Any) -> str:
    return str(getattr(value, "pk", value))


def _keep(entries: Sequence[Entry], act: Act) -> None:
    """Keep labels, places and states of what these new entries are about."""
    touched_labels = {entry.code_id for entry in entries if entry.kind == "labelled"}
    voids = [entry.void_target for entry in entries if entry.kind == "voided"]
    moved_places = {entry.place_id for entry in entries if entry.kind == "moved" and entry.place_id}
    set_ids = {entry.tool_set_id for entry in entries if entry.tool_set_id}
    if voids or any(entry.kind in ("settled", "pieces_changed") for entry in entries):
        targets = Entry.objects.filter(pk__in=[target for target in voids if target])
        touched_labels |= {code for code in targets.values_list("code_id", flat=True) if code}
        moved_places |= set(targets.filter(kind="moved", place__isnull=False).values_list("place_id", flat=True))
        pieces_acts = list(targets.filter(kind="pieces_changed").values_list("act_id", flat=True))
        set_ids |= set(
            Entry.objects.filter(act_id__in=pieces_acts, tool_set__isnull=False).values_list("tool_set_id", flat=True)
        )
    if touched_labels:
        set_ids |= keep_labels(touched_labels)
    if moved_places:
        _keep_places(moved_places)
    if set_ids:
        _keep_states(set_ids, entries, act)


def keep_labels(codes: Iterable[str | None]) -> set[UUID]:
    """Fold the "labelled" entries of these codes onto their labels: the first unvoided wins.

    Returns the sets whose ledgers hold such an entry, winners and losers: their states need folding anew.
    """
    wanted = [code for code in codes if code]
    entries = list(
        Entry.objects.filter(kind="labelled", code_id__in=wanted)
        .select_related("act")
        .order_by("act__happened_at", "act__device_id", "act__device_seq", "act_id", "line_no", "id")
    )
    voided = set(
        Entry.objects.filter(kind="voided", void_target__in=[entry.pk for entry in entries]).values_list(
            "void_target", flat=True
        )
    )
    winners: dict[str, Entry] = {}
    for entry in entries:
        if entry.pk not in voided and not entry.act.held_back and entry.code_id is not None:
            winners.setdefault(entry.code_id, entry)
    affected: set[UUID] = {entry.tool_set_id for entry in entries if entry.tool_set_id}
    for label in Label.objects.select_for_update().filter(pk__in=wanted):
        winner = winners.get(label.pk)
        label.opens_set_id = winner.tool_set_id if winner else None
        label.opens_place_id = winner.place_id if winner else None
        label.opened_at = winner.act.happened_at if winner else None
        label.opened_entry = winner.pk if winner else None
        label.save(update_fields=["opens_set", "opens_place", "opened_at", "opened_entry"])
    _keep_replaced(affected, {entry.place_id for entry in entries if entry.place_id})
    return affected


def _keep_replaced(set_ids: Iterable[UUID], place_ids: Iterable[UUID]) -> None:
    """Mark every label but the newest of a set or place as replaced at the time the next one came."""
    by_thing: dict[tuple[str, UUID], list[Label]] = {}
    for label in Label.objects.filter(opens_set_id__in=list(set_ids)).order_by("opened_at", "code"):
        by_thing.setdefault(("set", label.opens_set_id), []).append(label)  # type: ignore[arg-type]
    for label in Label.objects.filter(opens_place_id__in=list(place_ids)).order_by("opened_at", "code"):
        by_thing.setdefault(("place", label.opens_place_id), []).append(label)  # type: ignore[arg-type]
    for labels in by_thing.values():
        following = [label.opened_at for label in labels[1:]] + [None]
        for label, replaced_at in zip(labels, following, strict=True):
            if label.replaced_at != replaced_at:
                label.replaced_at = replaced_at
                label.save(update_fields=["replaced_at"])


def _keep_places(place_ids: Iterable[UUID | None]) -> None:
    """Keep where movable places (buckets, crates) are, by their newest unvoided "moved" entry."""
    for place in Place.objects.filter(pk__in=[place_id for place_id in place_ids if place_id]):
        lines = sorted(lines_of(Entry.objects.filter(place=place)), key=lambda line: line.order)
        voided = {line.void_target for line in lines if line.kind == "voided"}
        moves = [line for line in lines if line.kind == "moved" and line.id not in voided and not line.held_back]
        place.inside_id = UUID(moves[-1].to_place) if moves and moves[-1].to_place not in (None, UNKNOWN_PLACE) else None
        place.save(update_fields=["inside"])


def _keep_states(set_ids: set[UUID], entries: Sequence[Entry], act: Act) -> None:
    """Bring the states of these sets up to date: by one step where the new lines come last, else by folding anew."""
    states = lock_states(ToolSet(pk=set_id) for set_id in set_ids)
    fresh = {str(entry.pk) for entry in entries}
    simple = not act.held_back and not any(entry.kind in REFOLD_KINDS for entry in entries)
    refold: set[UUID] = set(set_ids)
    if simple:
        new_lines: dict[UUID, list[Any]] = {}
        for line in lines_of(Entry.objects.filter(pk__in=[entry.pk for entry in entries])):
            if line.tool_set:
                new_lines.setdefault(UUID(line.tool_set), []).append(line)
        for set_id, lines in new_lines.items():
            state = states[set_id]
            lines.sort(key=lambda line: line.order)
            facts = facts_from_json(state.facts)
            waits = fresh & ({target for target, _code in facts.settled} | set(facts.waiting_voids))
            if state.main_id == set_id and not facts.same_as and not waits and order_text(lines[0]) > state.order_key:
                for line in lines:
                    apply(facts, line)
                _write_state(state, facts, order_text(lines[-1]))
                refold.discard(set_id)
    if refold:
        refold_states(refold, states)


def refold_states(set_ids: Iterable[UUID], states: dict[UUID, SetState] | None = None) -> int:
    """Fold these sets' whole ledgers anew and keep the result; returns how many states changed."""
    wanted = set(set_ids)
    groups = same_sets(wanted)
    members = set().union(*groups.values()) if groups else set()
    # A set that was split off again by a void must lose what it had: whoever pointed to it is folded too.
    members |= set(SetState.objects.filter(main_id__in=wanted).values_list("pk", flat=True))
    groups |= same_sets(members - set(groups))
    members = set().union(*groups.values()) if groups else set()
    known = dict(states or {})
    if not members <= set(known):
        known = lock_states(ToolSet(pk=set_id) for set_id in members)
    ledgers = ledgers_of(members)
    changed = 0
    for set_id in sorted(members):
        group = groups.get(set_id, frozenset({set_id}))
        lines = [line for member in sorted(group) for line in ledgers.get(member, [])]
        needs_acts = any(line.kind == "pieces_changed" for line in lines)
        facts = fold(lines, voided_acts=acts_voided_elsewhere(group) if needs_acts else frozenset())
        last = max((order_text(line) for line in lines), default="")
        state = known[set_id]
        before = (state.facts, state.main_id, state.order_key)
        state.main_id = _main(group, ledgers)
        _write_state(state, facts, last)
        changed += before != (state.facts, state.main_id, state.order_key)
    return changed


def _main(group: frozenset[UUID], ledgers: dict[UUID, list[Any]]) -> UUID:
    """Of sets that are the same, the one whose ledger began first stands for all."""
    return min(group, key=lambda member: (min((line.order for line in ledgers.get(member, [])), default=_LATE), member))


_LATE = (datetime.max.replace(tzinfo=UTC), "", 0, "", 0, "")


def _write_state(state: SetState, facts: SetFacts, order_key: str) -> None:
    """Write the facts and the columns that lists filter by."""
    state.branch_id = int(facts.branch) if facts.branch else None
    state.place_id = _place_id(facts, state)
    state.peg = facts.peg
    state.outing_id = UUID(facts.outing) if facts.outing else None
    state.holder_kind = facts.holder_kind
    state.holder_person_id = int(facts.holder_person) if facts.holder_person else None
    state.holder_name = facts.holder_name
    state.fitness, state.fitness_why, state.opening = facts.fitness, facts.fitness_why, facts.opening or ""
    state.face, state.soaking = facts.face, facts.soaking
    state.lowest_height_mm = facts.lowest_height_mm
    state.worked = facts.worked_by_class()
    state.wear = wear_seen(facts)
    state.worked_m2 = sum(state.worked.values())
    state.code = facts.code
    state.open_flags = len(facts.open_flags)
    state.last_at = datetime.fromisoformat(facts.seen_at) if facts.seen_at else None
    state.order_key = order_key
    state.facts = facts_to_json(facts)
    state.save()


def _place_id(facts: SetFacts, state: SetState) -> UUID | None:
    if facts.place is None:
        return None
    if facts.place == UNKNOWN_PLACE:
        return unknown_place(int(facts.branch) if facts.branch else None, state)
    return UUID(facts.place)


def unknown_place(branch_id: int | None, state: SetState | None = None) -> UUID | None:
    """The "unknown" place of a branch (LEDGER 20), made when first needed; None while the set has no branch."""
    if branch_id is None:
        return None
    place, _made = Place.objects.get_or_create(
        branch_id=branch_id, kind=PlaceKind.UNKNOWN, defaults={"name": str(_("unknown"))}
    )
    return place.pk
