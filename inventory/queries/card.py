"""A set's ledger as its card shows it: entries with what voided them, outings, heights, soaks, labels.

A constant number of queries for any number of entries.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from inventory.ledger.facts import SetFacts, Use
from inventory.ledger.soak import ReadyAnswer, run_ready, runs
from inventory.models import Entry, Label, Place, SetState
from inventory.models.choices import Kind
from inventory.queries.ledger import acts_voided_elsewhere, same_sets
from inventory.queries.soak import Waters

_TOGETHER = (
    "act__done_by",
    "act__entered_by",
    "to_place",
    "outing__van",
    "holder_person",
    "supplier",
    "order_line__order__supplier",
    "count__place",
    "machine",
)


@dataclass(frozen=True)
class Ledger:
    """The entries of a set and of those that are the same as it, newest first, and what does not count of them.

    voids: by the entry voided, the void that did it. held: entries of acts held back and not accepted.
    """

    set_ids: frozenset[UUID]
    entries: tuple[Entry, ...]
    voids: dict[UUID, Entry]
    held: frozenset[UUID]

    @property
    def lines(self) -> list[Entry]:
        """What is read as a line of its own: all but the voids whose target stands in this ledger."""
        known = {entry.pk for entry in self.entries}
        return [entry for entry in self.entries if entry.kind != Kind.VOIDED or entry.void_target not in known]

    @property
    def standing(self) -> list[Entry]:
        """What counts, oldest first."""
        return [
            entry
            for entry in reversed(self.entries)
            if entry.pk not in self.voids and entry.pk not in self.held and entry.kind != Kind.VOIDED
        ]


def ledger_of(set_id: UUID) -> Ledger:
    """The whole ledger of a set; at most ten queries."""
    group = same_sets([set_id])[set_id]
    entries = tuple(
        Entry.objects.filter(tool_set_id__in=group)
        .select_related(*_TOGETHER)
        .order_by("-act__happened_at", "-act__device_seq", "-line_no", "-pk")
    )
    accepted = {
        entry.settles_target
        for entry in entries
        if entry.kind == Kind.SETTLED and entry.flag_code == "held_back" and entry.answer == "accept"
    }
    held = {
        entry.pk
        for entry in entries
        if entry.act.held_back and entry.pk not in accepted and entry.act_id not in accepted
    }
    voids = {
        entry.void_target: entry
        for entry in reversed(entries)
        if entry.kind == Kind.VOIDED and entry.void_target is not None and entry.pk not in held
    }
    found = Ledger(group, entries, voids, frozenset(held))
    return _with_voids_elsewhere(found)


def _with_voids_elsewhere(ledger: Ledger) -> Ledger:
    """A "pieces changed" act is voided whole by a void in any of its sets' ledgers."""
    changed = [one for one in ledger.entries if one.kind == Kind.PIECES_CHANGED and one.pk not in ledger.voids]
    gone = acts_voided_elsewhere(ledger.set_ids) if changed else frozenset()
    lost = {one.pk: one for one in changed if str(one.act_id) in gone}
    if not lost:
        return ledger
    siblings = dict(Entry.objects.filter(act_id__in={one.act_id for one in lost.values()}).values_list("pk", "act_id"))
    by_act = {
        siblings[void.void_target]: void
        for void in Entry.objects.filter(kind=Kind.VOIDED, void_target__in=siblings).select_related(*_TOGETHER)
        if void.void_target is not None
    }
    voids = {**ledger.voids, **{pk: by_act[one.act_id] for pk, one in lost.items() if one.act_id in by_act}}
    return Ledger(ledger.set_ids, ledger.entries, voids, ledger.held)


@dataclass(frozen=True)
class Held:
    """A time somebody had the set: which outing, who, from when, until when (None: still)."""

    outing: str
    holder: str
    since: datetime
    until: datetime | None
    worked_m2: float


_ENDS = (Kind.SCANNED_IN, Kind.FOUND, Kind.SOAK_BEGUN, Kind.SCANNED_OUT, Kind.HANDED_OVER)


def who_had_it(ledger: Ledger) -> list[Held]:
    """Every time the set was out, newest first, with the worked area entered meanwhile."""
    found: list[Held] = []
    begun: Entry | None = None
    worked = 0.0
    for entry in ledger.standing:
        if entry.kind == Kind.WORKED:
            worked += (entry.area_m2 or 0.0) * (entry.passes or 1)
        ends = entry.kind in _ENDS or (entry.kind == Kind.COUNTED and entry.seen)
        if not ends:
            continue
        if begun is not None:
            found.append(_held(begun, entry.act.happened_at, worked))
            begun = None
        if entry.kind in (Kind.SCANNED_OUT, Kind.HANDED_OVER):
            begun, worked = entry, 0.0
    if begun is not None:
        found.append(_held(begun, None, worked))
    return found[::-1]


def _held(entry: Entry, until: datetime | None, worked_m2: float) -> Held:
    outing = entry.outing
    holder = entry.holder_person.name if entry.holder_person else entry.holder_name or ""
    if not holder and outing is not None:
        holder = outing.holder_name
    van = outing.van.name if outing is not None and outing.van is not None else ""
    with_van = ", ".join(part for part in (holder, van) if part)
    return Held(outing.name if outing else "", with_van, entry.act.happened_at, until, worked_m2)


@dataclass(frozen=True)
class Visit:
    """The set on one floor of one job: worked area counted once (LEDGER 16), its newest day."""

    visit: UUID | None
    floor: UUID | None
    at: datetime
    uses: tuple[Use, ...]

    @property
    def worked_m2(self) -> float:
        """Worked area: area of a pass times passes."""
        return sum(use.area_m2 for use in self.uses)


def where_it_worked(facts: SetFacts) -> list[Visit]:
    """Visits to floors, newest first, of the lines that count; no query."""
    by_floor: dict[tuple[str, str], list[Use]] = {}
    for use in facts.counted_uses():
        by_floor.setdefault((use.visit, use.floor), []).append(use)
    found = [
        Visit(_uuid(visit), _uuid(floor), max(datetime.fromisoformat(use.at) for use in uses), tuple(uses))
        for (visit, floor), uses in by_floor.items()
    ]
    return sorted(found, key=lambda one: one.at, reverse=True)


def _uuid(text: str | None) -> UUID | None:
    return UUID(text) if text else None


def heights_of(ledger: Ledger) -> list[Entry]:
    """The readings that count, oldest first."""
    return [entry for entry in ledger.standing if entry.lowest_height_mm is not None]


@dataclass(frozen=True)
class Soak:
    """One soak: where, from when, until when (None: still), and what it earned by the rules.

    earlier: the set was wet through as it went in, so an earlier soak counts and this one need not be waited for.
    """

    tub: str
    begun_at: datetime
    ended_at: datetime | None
    answer: ReadyAnswer
    earlier: bool = False


def soaks_of(state: SetState, waters: Waters, now: datetime) -> list[Soak]:
    """The soaks of the last two months (what the state keeps), newest first; one query for the tubs' names."""
    water = waters.sets.get(state.pk)
    if water is None or not water.facts.spells:
        return []
    found = runs(water.facts.spells, waters.settings, now)
    counts_from = waters.now(state.pk, now).ready_at
    names = {
        str(pk): name
        for pk, name in Place.objects.filter(pk__in=_tubs(run[0].tub_id for run in found)).values_list("pk", "name")
    }
    return [
        Soak(
            names.get(run[0].tub_id, ""),
            run[0].begun_at,
            run[-1].ended_at,
            run_ready(run, waters.tubs, run[0].recipe or water.recipe, waters.settings, now),
            counts_from is not None and counts_from < run[0].begun_at,
        )
        for run in reversed(found)
    ]


def _tubs(ids: Iterable[str]) -> list[UUID]:
    found = []
    for text in ids:
        try:
            found.append(UUID(text))
        except ValueError:  # a tub nobody named
            continue
    return found


def labels_of(set_ids: Iterable[UUID]) -> list[Label]:
    """The labels that open a set, newest first; one query."""
    return list(Label.objects.filter(opens_set_id__in=list(set_ids)).order_by("-opened_at", "code"))


def codes_of(set_ids: Sequence[UUID]) -> dict[UUID, str]:
    """What other sets are called; one query, none for none."""
    if not set_ids:
        return {}
    rows = SetState.objects.filter(pk__in=set_ids).values_list("pk", "code", "tool_set__own_code")
    return {pk: code or own for pk, code, own in rows}
