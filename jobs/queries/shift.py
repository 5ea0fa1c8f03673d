"""What is on record of shifts: outings, sets out on them, work logged, what was said of floors and sets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import inf
from uuid import UUID

from django.db.models import Exists, F, OuterRef

from inventory.models import Entry, Outing, SetState
from inventory.models.choices import Basis
from jobs.models import Job, ShiftEntry, ShiftOuting
from jobs.queries.plan import Night

# Nights further apart than a long weekend do not share an outing (our assumption).
NIGHTS_APART = timedelta(days=4)
WEAK = (Basis.PLANNED, Basis.GUESSED)


def outings_of(shift_keys: Iterable[UUID]) -> dict[UUID, Outing]:
    """The outing of each shift that has one, by the shift's key; one query."""
    rows = ShiftOuting.objects.filter(shift_uuid__in=list(shift_keys))
    rows = rows.select_related("outing__van", "outing__holder_person")
    return {row.shift_uuid: row.outing for row in rows}


def outings_for(nights: Iterable[Night], now: datetime) -> dict[UUID, Outing]:
    """The outing of each of these shifts: its own, else the open one of an earlier night of its job; one query.

    Sets that stay on site between the nights of a job are out for the next one before anybody scans them again.
    """
    mine = list(nights)
    known = outings_of(shift.key for night in mine for shift in night.plan.shifts.all())
    found: dict[UUID, Outing] = {}
    for night in mine:
        earlier = [shift for shift in night.plan.shifts.all() if shift.starts_at < night.shift.starts_at]
        for shift in (night.shift, *reversed(earlier)):
            outing = known.get(shift.key)
            if outing is not None:
                near = shift is night.shift or night.shift.starts_at - shift.ends_at <= NIGHTS_APART
                if shift is night.shift or (outing.closed_at is None and near and night.shift.ends_at > now):
                    found[night.shift.key] = outing
                break
    return found


def sets_out(outing_ids: Iterable[UUID]) -> list[SetState]:
    """The states of the sets that are out on these outings, coarse to fine; one query."""
    return list(
        SetState.objects.filter(outing_id__in=list(outing_ids), main_id=F("tool_set_id"))
        .select_related("tool_set__tool_type", "place", "outing__van", "holder_person")
        .order_by("tool_set__tool_type__ladder_place", "code")
    )


def standing_rows(shift_keys: Iterable[UUID]) -> list[ShiftEntry]:
    """What was said of these shifts and is not voided, in order; two queries."""
    rows = list(
        ShiftEntry.objects.filter(shift_uuid__in=list(shift_keys), act__held_back="")
        .select_related("act__done_by")
        .order_by("act__happened_at", "act__device_seq", "line_no")
    )
    voided = {row.void_target for row in rows if row.kind == ShiftEntry.Kind.VOIDED}
    return [row for row in rows if row.kind != ShiftEntry.Kind.VOIDED and row.pk not in voided]


def voided_rows(rows: Iterable[ShiftEntry]) -> set[UUID]:
    """Which of these rows are voided; one query."""
    voids = ShiftEntry.objects.filter(kind=ShiftEntry.Kind.VOIDED, act__held_back="")
    targets = voids.filter(void_target__in=[row.pk for row in rows]).values_list("void_target", flat=True)
    return {target for target in targets if target is not None}


def even_steps(step_keys: Iterable[UUID], *, known_by: datetime | None = None) -> dict[UUID, str]:
    """The steps after which the floor was said to look even: done, however many passes that took; one query.

    With why, where no pass was logged. known_by: by what was on record at that instant.
    """
    rows = ShiftEntry.objects.filter(act__held_back="")
    if known_by is not None:
        rows = rows.filter(act__recorded_at__lte=known_by)
    voided = rows.filter(kind=ShiftEntry.Kind.VOIDED, void_target=OuterRef("pk"))
    said = rows.filter(kind=ShiftEntry.Kind.FLOOR_EVEN, step_key__in=list(step_keys)).exclude(Exists(voided))
    return {key: why or "" for key, why in said.values_list("step_key", "why") if key is not None}


def closing_of(shift_key: UUID) -> ShiftEntry | None:
    """The line that closed a shift and stands, or None."""
    return next((row for row in standing_rows([shift_key]) if row.kind == ShiftEntry.Kind.CLOSED), None)


def closed_shifts(shift_keys: Iterable[UUID]) -> frozenset[UUID]:
    """Which of these shifts somebody closed (a "closed" that was voided does not count); two queries."""
    return frozenset(row.shift_uuid for row in standing_rows(shift_keys) if row.kind == ShiftEntry.Kind.CLOSED)


def sent_against(outing_ids: Iterable[UUID]) -> set[UUID]:
    """The sets that somebody sent out on these outings against the gate, whether still out or not; one query."""
    lines = Entry.objects.filter(kind="scanned_out", gate="overridden", outing_id__in=list(outing_ids))
    return {set_id for set_id in lines.values_list("tool_set_id", flat=True) if set_id is not None}


@dataclass(frozen=True)
class Logged:
    """A worked line that stands. counts: whether it adds to what the set has worked (LEDGER 16)."""

    entry: Entry
    counts: bool

    @property
    def area_m2(self) -> float:
        """Worked area: area of a pass x passes."""
        return (self.entry.area_m2 or 0.0) * (self.entry.passes or 0)


def work_logged(
    *,
    shift_keys: Iterable[UUID] | None = None,
    job: Job | None = None,
    jobs: Iterable[UUID] | None = None,
    known_by: datetime | None = None,
) -> list[Logged]:
    """The worked lines of these shifts, or of a job or jobs, that are not voided, in order; two queries.

    known_by: by what was on record at that instant.

    Planned and guessed lines count only while nothing stronger has their key (set, shift, step, floor).
    """
    entries = Entry.objects.filter(kind="worked", act__held_back="")
    if shift_keys is not None:
        entries = entries.filter(shift_uuid__in=list(shift_keys))
    if job is not None:
        entries = entries.filter(visit_uuid=job.pk)
    if jobs is not None:
        entries = entries.filter(visit_uuid__in=list(jobs))
    if known_by is not None:
        entries = entries.filter(act__recorded_at__lte=known_by)
    rows = list(
        entries.select_related("act__done_by", "tool_set__tool_type", "tool_set__state", "machine").order_by(
            "act__happened_at", "act__device_seq", "line_no"
        )
    )
    voids = Entry.objects.filter(kind="voided", act__held_back="", void_target__in=[row.pk for row in rows])
    if known_by is not None:
        voids = voids.filter(act__recorded_at__lte=known_by)
    voided = set(voids.values_list("void_target", flat=True))
    standing = [row for row in rows if row.pk not in voided]
    by_key: dict[tuple[object, ...], list[Entry]] = defaultdict(list)
    for row in standing:
        by_key[(row.tool_set_id, row.shift_uuid, row.step_key, row.floor_uuid)].append(row)
    counted = {row.pk for lines in by_key.values() for row in _counted(lines)}
    return [Logged(row, row.pk in counted) for row in standing]


def logged_on(shift_keys: Iterable[UUID]) -> dict[tuple[UUID, UUID], float]:
    """Worked area, m2, that counts, by shift and step; three queries.

    Infinite where the floor was said to look even on that shift: nothing of the step is left, whatever was planned.
    """
    keys = list(shift_keys)
    found: dict[tuple[UUID, UUID], float] = defaultdict(float)
    for line in work_logged(shift_keys=keys):
        if line.counts and line.entry.shift_uuid is not None and line.entry.step_key is not None:
            found[line.entry.shift_uuid, line.entry.step_key] += line.area_m2
    voided = ShiftEntry.objects.filter(kind=ShiftEntry.Kind.VOIDED, act__held_back="", void_target=OuterRef("pk"))
    even = ShiftEntry.objects.filter(kind=ShiftEntry.Kind.FLOOR_EVEN, act__held_back="", shift_uuid__in=keys)
    for shift_key, step_key in even.exclude(Exists(voided)).values_list("shift_uuid", "step_key"):
        if step_key is not None:
            found[shift_key, step_key] = inf
    return dict(found)


def _counted(lines: list[Entry]) -> list[Entry]:
    """Of the lines of one key, in order, those that count: the rule of SetFacts.counted_uses, here for rows."""
    instead = [number for number, line in enumerate(lines) if line.stands_instead]
    if instead:
        last = lines[instead[-1]]
        return [line for line in lines if line.stands_instead and line.act_id == last.act_id] + [
            line for line in lines[instead[-1] + 1 :] if line.stands_instead is False
        ]
    ranks = {Basis.GUESSED: 0, Basis.PLANNED: 1}
    best = max(ranks.get(Basis(line.basis or Basis.GUESSED), 2) for line in lines)
    return [line for line in lines if ranks.get(Basis(line.basis or Basis.GUESSED), 2) == best]


def scanned_out_on(outing_ids: Iterable[UUID]) -> dict[UUID, list[Entry]]:
    """Every standing "scanned out" and "handed over" line of these outings, by outing; one query and the voids."""
    entries = list(
        Entry.objects.filter(kind__in=["scanned_out", "handed_over"], outing_id__in=list(outing_ids))
        .filter(act__held_back="")
        .select_related("tool_set__tool_type", "tool_set__state", "act__done_by")
        .order_by("act__happened_at", "line_no")
    )
    voids = Entry.objects.filter(kind="voided", void_target__in=[row.pk for row in entries])
    voided = set(voids.values_list("void_target", flat=True))
    found: dict[UUID, list[Entry]] = defaultdict(list)
    for entry in entries:
        if entry.pk not in voided and entry.outing_id is not None:
            found[entry.outing_id].append(entry)
    return found
