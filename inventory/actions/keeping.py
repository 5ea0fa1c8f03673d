"""Keeps what ledgers add up to: states of sets, what labels open, where movable places are.

Only ``record`` (inventory.actions.ledger) and ``rebuild`` come here; both end in the same pure ``fold``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.utils.translation import gettext as _

from inventory.actions.lives import Before, keep_lives
from inventory.ledger.facts import SetFacts, facts_from_json, facts_to_json
from inventory.ledger.line import UNKNOWN_PLACE, Line, order_text
from inventory.ledger.state import REFOLD_KINDS, apply, fold
from inventory.ledger.wear import stamp_of, wear_of
from inventory.models import Act, Entry, Label, Place, SetState, ToolSet
from inventory.models.choices import PlaceKind
from inventory.queries.ledger import acts_voided_elsewhere, ledgers_of, lines_of, same_sets, standing


def lock_states(sets: Iterable[ToolSet]) -> dict[UUID, SetState]:
    """Lock these sets for the rest of the transaction and read their states fresh, by set id.

    Sets are locked in the order of their keys, so that two people locking several cannot wait for each other.
    """
    return _lock_ids(tool_set.pk for tool_set in sets)


def lock_rows(sets: Iterable[ToolSet]) -> str:
    """The same without reading the states, for who only has to come one after the other.

    Gives the order (``order_text``) of the newest line of these sets, "" where there is none.
    """
    ids = sorted({tool_set.pk for tool_set in sets})
    rows = SetState.objects.select_for_update().filter(pk__in=ids).order_by("pk")
    found = dict(rows.values_list("pk", "order_key"))
    if missing := [set_id for set_id in ids if set_id not in found]:
        _make(missing)
        list(SetState.objects.select_for_update().filter(pk__in=missing).order_by("pk").values_list("pk"))
    return max(found.values(), default="")


def _make(set_ids: Sequence[UUID]) -> None:
    rows = [SetState(tool_set_id=set_id, main_id=set_id) for set_id in set_ids]
    SetState.objects.bulk_create(rows, ignore_conflicts=True)


def _lock_ids(set_ids: Iterable[UUID]) -> dict[UUID, SetState]:
    ids = sorted(set(set_ids))
    found = _lock(ids)
    if missing := [set_id for set_id in ids if set_id not in found]:
        _make(missing)
        found = _lock(ids)
    return found


def _lock(ids: Sequence[UUID]) -> dict[UUID, SetState]:
    rows = SetState.objects.select_for_update().filter(pk__in=ids).order_by("pk")
    return {row.pk: row for row in rows}


def keep(entries: Sequence[Entry], act: Act) -> None:
    """Keep labels, places and states of what these new entries are about. The sets are locked already."""
    labels = {entry.code_id for entry in entries if entry.kind == "labelled"}
    places = {entry.place_id for entry in entries if entry.kind == "moved" and entry.place_id}
    set_ids = {entry.tool_set_id for entry in entries if entry.tool_set_id}
    named = {key for entry in entries for key in (entry.void_target, entry.settles_target) if key is not None}
    if named:
        # Voids and answers reach further: whatever the acts they name are about. A void may name an answer, an answer a
        # void that was held back, and so on.
        reached = _reached(named)
        labels |= {entry.code_id for entry in reached if entry.kind == "labelled"}
        places |= {entry.place_id for entry in reached if entry.kind == "moved" and entry.place_id}
        set_ids |= {entry.tool_set_id for entry in reached if entry.tool_set_id}
    if labels:
        set_ids |= keep_labels(labels).affected
    if places:
        keep_places(places)
    if set_ids:
        _keep_states(set_ids, entries, act)


def _reached(keys: set[UUID]) -> list[Entry]:
    """All lines of the acts that these keys (of entries or acts) name, and of those that their lines name in turn."""
    reached: dict[UUID, Entry] = {}
    asked: set[UUID] = set()
    while keys:
        asked |= keys
        acts = Entry.objects.filter(Q(pk__in=keys) | Q(act_id__in=keys)).values_list("act_id", flat=True)
        lines = Entry.objects.filter(act_id__in=list(acts))
        for entry in lines.only("kind", "code_id", "place_id", "tool_set_id", "void_target", "settles_target"):
            reached[entry.pk] = entry
        keys = {
            key for entry in reached.values() for key in (entry.void_target, entry.settles_target) if key is not None
        } - asked
    return list(reached.values())


# --- labels and places ---


class Kept:
    """What keeping labels came to: how many labels changed, and the sets whose ledgers claim one of them."""

    def __init__(self) -> None:
        self.changed: set[str] = set()
        self.affected: set[UUID] = set()


def keep_labels(codes: Iterable[str | None]) -> Kept:
    """Fold the "labelled" entries of these codes onto their labels: the first standing one wins.

    Winners' and losers' ledgers need folding anew: ``affected``. A code that opens an outing stays the outing's.
    """
    wanted = [code for code in codes if code]
    kept = Kept()
    claims = Entry.objects.filter(kind="labelled", code_id__in=wanted)
    stands = standing(claims)
    winners: dict[str, Entry] = {}
    place_ids: set[UUID] = set()
    rows = claims.select_related("act").order_by(
        "act__happened_at", "act__device_id", "act__device_seq", "act_id", "line_no"
    )
    for entry in rows:
        if entry.tool_set_id:
            kept.affected.add(entry.tool_set_id)
        if entry.place_id:
            place_ids.add(entry.place_id)
        if entry.pk in stands and entry.code_id is not None:
            winners.setdefault(entry.code_id, entry)
    for label in Label.objects.select_for_update().filter(pk__in=wanted).order_by("pk"):
        winner = winners.get(label.pk) if label.opens_outing_id is None else None
        now = (
            winner.tool_set_id if winner else None,
            winner.place_id if winner else None,
            winner.act.happened_at if winner else None,
            winner.pk if winner else None,
        )
        if label.opens_outing_id is not None or now == (
            label.opens_set_id,
            label.opens_place_id,
            label.opened_at,
            label.opened_entry,
        ):
            continue
        # Whoever had the code before has one fewer now.
        if label.opens_set_id:
            kept.affected.add(label.opens_set_id)
        if label.opens_place_id:
            place_ids.add(label.opens_place_id)
        label.opens_set_id, label.opens_place_id, label.opened_at, label.opened_entry = now
        label.replaced_at = None
        label.save(update_fields=["opens_set", "opens_place", "opened_at", "opened_entry", "replaced_at"])
        kept.changed.add(label.pk)
    kept.changed |= _keep_replaced(kept.affected, place_ids)
    return kept


def _keep_replaced(set_ids: Iterable[UUID], place_ids: Iterable[UUID]) -> set[str]:
    """Mark every label but the newest of a set or place as replaced at the time the next one came."""
    by_thing: dict[UUID | None, list[Label]] = {}
    of_these = Q(opens_set_id__in=list(set_ids)) | Q(opens_place_id__in=list(place_ids))
    for label in Label.objects.filter(of_these).order_by("opened_at", "code"):
        by_thing.setdefault(label.opens_set_id or label.opens_place_id, []).append(label)
    changed = set()
    for labels in by_thing.values():
        following = [label.opened_at for label in labels[1:]] + [None]
        for label, replaced_at in zip(labels, following, strict=True):
            if label.replaced_at != replaced_at:
                label.replaced_at = replaced_at
                label.save(update_fields=["replaced_at"])
                changed.add(label.pk)
    return changed


def keep_places(place_ids: Iterable[UUID | None]) -> int:
    """Keep where movable places (buckets, crates) are, by their newest standing "moved"; returns how many changed."""
    wanted = [place_id for place_id in place_ids if place_id]
    moves = Entry.objects.filter(place_id__in=wanted, kind="moved")
    stands = {str(entry_id) for entry_id in standing(moves)}
    newest: dict[UUID, Line] = {}
    of_place = dict(moves.values_list("id", "place_id"))
    for line in sorted(lines_of(moves), key=lambda line: line.order):
        place_id = of_place[UUID(line.id)]
        if line.id in stands and place_id is not None:
            newest[place_id] = line
    changed = 0
    for place in Place.objects.filter(pk__in=wanted).order_by("pk"):
        last = newest.get(place.pk)
        inside = UUID(last.to_place) if last and last.to_place not in (None, UNKNOWN_PLACE) else None
        if place.inside_id != inside:
            place.inside_id = inside
            place.save(update_fields=["inside"])
            changed += 1
    return changed


# --- states ---


def _keep_states(set_ids: set[UUID], entries: Sequence[Entry], act: Act) -> None:
    """Bring the states of these sets up to date: by one step where the new lines come last, else by folding anew."""
    states = _lock_ids(set_ids)
    before = {pk: _stands(state) for pk, state in states.items()}
    fresh = {str(entry.pk) for entry in entries}
    simple = not act.held_back and not any(entry.kind in REFOLD_KINDS for entry in entries)
    refold: set[UUID] = set(set_ids)
    if simple:
        new_lines: dict[UUID, list[Line]] = {}
        for line in lines_of(Entry.objects.filter(pk__in=[entry.pk for entry in entries])):
            if line.tool_set:
                new_lines.setdefault(UUID(line.tool_set), []).append(line)
        for set_id, lines in new_lines.items():
            state = states[set_id]
            lines.sort(key=lambda line: line.order)
            facts = facts_from_json(state.facts)
            waits = fresh & set(facts.waiting_voids)
            if state.main_id == set_id and not facts.same_as and not waits and order_text(lines[0]) > state.order_key:
                for line in lines:
                    apply(facts, line)
                _fill_state(state, facts, order_text(lines[-1]))
                refold.discard(set_id)
        _save([states[set_id] for set_id in sorted(set_ids - refold)])
    if refold:
        refold_states(refold, states, before=before)
    _keep_lives(before, states, act.recorded_at)


def _stands(state: SetState) -> Before:
    return Before(state.wear, state.fitness, state.fitness_why, state.wear_stamp, state.main_id)


def _keep_lives(before: Mapping[UUID, Before], states: Mapping[UUID, SetState], now: datetime) -> None:
    """Keep the life left of the sets of which an entry changed something that it is worked out from."""
    changed = {
        pk: one for pk, one in before.items() if (one.stamp, one.main_id) != (states[pk].wear_stamp, states[pk].main_id)
    }
    if changed:
        keep_lives(changed, states, now)


def refold_states(
    set_ids: Iterable[UUID],
    states: dict[UUID, SetState] | None = None,
    groups: Mapping[UUID, frozenset[UUID]] | None = None,
    before: dict[UUID, Before] | None = None,
) -> int:
    """Fold these sets' whole ledgers anew and keep the result; returns how many states changed.

    Takes in every set that is, or until now was, the same as one of them. groups: what each of these sets is the same
    as, for a caller that folds all sets anyway: then only these are kept. before: takes how the sets stood. Runs
    inside a transaction; the lives of the sets are the caller's to keep.
    """
    if groups is None:
        groups = _groups(set(set_ids))
        set_ids = groups
    members = set(set_ids)
    known = states if states is not None else {}
    if not members <= set(known):
        # The rows are locked already where they are known: read again they are the same.
        known |= {pk: state for pk, state in _lock_ids(members).items() if pk not in known}
    if before is not None:
        for pk in members:
            before.setdefault(pk, _stands(known[pk]))
    ledgers = ledgers_of(members.union(*(groups[member] for member in members)))
    changed = []
    for set_id in sorted(members):
        group = groups[set_id]
        lines = [line for member in sorted(group) for line in ledgers[member]]
        needs_acts = any(line.kind == "pieces_changed" for line in lines)
        facts = fold(lines, voided_acts=acts_voided_elsewhere(group) if needs_acts else frozenset())
        last = order_text(max(lines, key=lambda line: line.order)) if lines else ""
        if _fill_state(known[set_id], facts, last, main_id=_main(group, ledgers)):
            changed.append(known[set_id])
    _save(changed)
    return len(changed)


def _save(states: Sequence[SetState]) -> None:
    """Write these states over. Every row is there and locked: a few statements, many times faster than one each, or
    than bulk_update's CASE."""
    if len(states) == 1:
        states[0].save()
    elif states:
        SetState.objects.bulk_create(
            states, update_conflicts=True, unique_fields=["tool_set"], update_fields=_STATE_FIELDS
        )


def _groups(wanted: set[UUID]) -> dict[UUID, frozenset[UUID]]:
    """What each of these sets is the same as; with all sets so joined, and those they were joined with until now."""
    mains = set(SetState.objects.filter(pk__in=wanted).values_list("main_id", flat=True)) | wanted
    members = wanted | set(SetState.objects.filter(main_id__in=mains).values_list("pk", flat=True))
    while True:
        groups = same_sets(members)
        every = members.union(*groups.values())
        if every == members:
            return groups
        members = every


_LATE = (datetime.max.replace(tzinfo=UTC), "", 0, "", 0, "")


def _main(group: frozenset[UUID], ledgers: Mapping[UUID, Sequence[Line]]) -> UUID:
    """Of sets that are the same, the one whose ledger began first stands for all."""
    return min(group, key=lambda member: (min((line.order for line in ledgers[member]), default=_LATE), member))


_STATE_FIELDS = [field.name for field in SetState._meta.concrete_fields if not field.primary_key]
_STATE_COLUMNS = [field.attname for field in SetState._meta.concrete_fields if not field.primary_key]


def _fill_state(state: SetState, facts: SetFacts, order_key: str, *, main_id: UUID | None = None) -> bool:
    """Set the facts and the columns that lists filter by; returns whether anything changed. Does not save."""
    before = [getattr(state, column) for column in _STATE_COLUMNS]
    wear = wear_of(facts)
    columns: dict[str, Any] = {
        "main_id": main_id or state.main_id,
        "branch_id": int(facts.branch) if facts.branch else None,
        "place_id": _place_id(facts),
        "peg": facts.peg,
        "outing_id": UUID(facts.outing) if facts.outing else None,
        "holder_kind": facts.holder_kind,
        "holder_person_id": int(facts.holder_person) if facts.holder_person else None,
        "holder_name": facts.holder_name,
        "fitness": facts.fitness,
        "fitness_why": facts.fitness_why,
        "opening": facts.opening or "",
        "face": facts.face,
        "soaking": facts.soaking,
        "lowest_height_mm": facts.lowest_height_mm,
        "worked": facts.worked_by_class(),
        "wear": wear,
        "wear_stamp": stamp_of(wear, facts.fitness, facts.fitness_why),
        "code": facts.code,
        "open_flags": len(facts.open_flags),
        "last_at": datetime.fromisoformat(facts.seen_at) if facts.seen_at else None,
        "order_key": order_key,
        "facts": facts_to_json(facts),
    }
    columns["worked_m2"] = sum(columns["worked"].values())
    for name, value in columns.items():
        setattr(state, name, value)
    return before != [getattr(state, column) for column in _STATE_COLUMNS]


def _place_id(facts: SetFacts) -> UUID | None:
    if facts.place is None:
        return None
    if facts.place == UNKNOWN_PLACE:
        return unknown_place(int(facts.branch) if facts.branch else None)
    return UUID(facts.place)


def unknown_place(branch_id: int | None) -> UUID | None:
    """The "unknown" place of a branch (LEDGER 20), made when first needed; None while the set has no branch."""
    if branch_id is None:
        return None
    place, _made = Place.objects.get_or_create(
        branch_id=branch_id, kind=PlaceKind.UNKNOWN, defaults={"name": str(_("unknown"))}
    )
    return place.pk
