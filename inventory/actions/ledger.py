"""The one writer of the ledger: every page, phone, importer and demo comes through ``record``.

An action locks the sets it is about (``lock_states``), checks what it has to, and records one act. What the sets'
ledgers then add up to is kept in SetState in the same transaction.
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

from inventory.actions.keeping import keep, keep_labels, lock_rows, lock_states, refold_states, unknown_place
from inventory.ledger import kinds
from inventory.models import Act, Branch, Device, Entry, EntryPiece, Person, Place, ToolSet, UnreadItem
from inventory.models.choices import ClockDoubt, Source, TimeKnown
from inventory.refusals import Refused

__all__ = [
    "NewLine",
    "NewPiece",
    "Recorded",
    "SameKeyOtherContent",
    "Who",
    "already",
    "desk",
    "happened_at",
    "keep_labels",
    "keep_unread",
    "lock_states",
    "record",
    "refold_states",
    "unknown_place",
    "void",
]

# Offsets of a phone's clock that differ by more than this between last contact and sending: it was moved (LEDGER 12).
_OFFSET_MOVED = timedelta(minutes=2)
_WHY_LENGTH = 200
# Longer than this no page waits for another one's write (our assumption; SQLite is waited for 5 s).
_WAITS = timedelta(minutes=1)


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
class NewPiece:
    """One piece of a "pieces changed" line: where it sits, its height, the set it came from and the one it went to.

    A new piece comes from no set, a broken one goes to none; one that stays comes from its set and goes to it.
    """

    position: int
    height_mm: float | None = None
    from_set: ToolSet | None = None
    to_set: ToolSet | None = None


@dataclass(frozen=True)
class NewLine:
    """One line to write: its kind, its subject (a set or a place), and its columns by name (instances or their ids).

    pieces: of a "pieces changed" line.
    """

    kind: str
    tool_set: ToolSet | None = None
    place: Place | None = None
    columns: dict[str, Any] = field(default_factory=dict)
    id: UUID = field(default_factory=uuid4)
    pieces: tuple[NewPiece, ...] = ()


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


def happened_at(who: Who, now: datetime) -> tuple[datetime, str]:
    """When an act happened by the shop's clock, and what was doubtful about the writing one (LEDGER 12).

    The written time plus the clock's offset; if the offset at sending differs from the one at the last good contact
    by more than two minutes, the contact's is taken. Never later than ``now``.
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
        # Locked before looking: of two requests with one act the second waits here and then finds what the first wrote.
        newest = lock_rows(_sets_of(lines))
        _lock_places(lines)
        if (known := already(who.act_id)) is not None:
            if known.act.content_sha256 != digest:
                raise SameKeyOtherContent(
                    _("This was sent before with another content."), _("What came now is kept for the shop manager.")
                )
            return known
        for line in lines:
            _check(line)
        at, doubt = happened_at(who, now)
        at = _after(newest, at, who, now)
        if doubt == ClockDoubt.NONE and who.source == Source.PHONE and _clock_jumped(who):
            doubt = ClockDoubt.OFFSET_MOVED
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
            recorded_at=max(now, at),
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
        EntryPiece.objects.bulk_create(
            EntryPiece(entry_id=line.id, **vars(piece)) for line in lines for piece in line.pieces
        )
        keep(entries, act)
    return Recorded(act, tuple(entries))


def keep_unread(raw: str, why: str, device: Device | None, person: Person | None, now: datetime) -> UnreadItem:
    """Keep, as it came, what a device sent and nobody could read, or what contradicts what its key already holds.

    The same raw text of one device again is kept once: a phone sends until it is answered.
    """
    with transaction.atomic():
        if device is not None:
            Device.objects.select_for_update().filter(pk=device.pk).first()
        known = UnreadItem.objects.filter(raw=raw, device=device, entered_by=person).order_by("pk").first()
        if known is not None:
            return known
        return UnreadItem.objects.create(
            raw=raw, why=why[:_WHY_LENGTH], device=device, entered_by=person, recorded_at=now
        )


def _after(newest: str, at: datetime, who: Who, now: datetime) -> datetime:
    """When a page's act happened: after what was written of its sets while it waited for them.

    Two people at once with one set: the time of each was taken before either had the set, so who came second under
    the lock may bear the earlier one, and what was answered would not be what the ledger adds up to. newest: order of
    the newest line of the sets. What was said of a time gone by, and what a phone says, keeps its time.
    """
    if not newest or who.source != Source.DESK or who.happened_at is not None or now - at > _WAITS:
        return at
    stamp, device, _rest = newest.split("|", 2)
    then = datetime.strptime(stamp, "%Y%m%dT%H%M%S.%f").replace(tzinfo=UTC)
    mine = (at.astimezone(UTC), str(who.device.pk))
    if device == mine[1] or mine > (then, device) or then - mine[0] > _WAITS:
        return at
    return then + timedelta(microseconds=1)


def _clock_jumped(who: Who) -> bool:
    """Whether this device's clock ran backwards between this act and the one before or after it by its own count."""
    acts = Act.objects.filter(device=who.device)
    before = acts.filter(device_seq__lt=who.device_seq).order_by("-device_seq").values_list("written_at", flat=True)
    after = acts.filter(device_seq__gt=who.device_seq).order_by("device_seq").values_list("written_at", flat=True)
    earlier, later = before.first(), after.first()
    return (earlier is not None and earlier - who.written_at > _OFFSET_MOVED) or (
        later is not None and who.written_at - later > _OFFSET_MOVED
    )


def void(target: Entry, why: str) -> NewLine:
    """The line that voids this entry, about the same set or place."""
    return NewLine("voided", target.tool_set, target.place, {"void_target": target.pk, "why": why})


def _check(line: NewLine) -> None:
    subject = kinds.PLACE if line.tool_set is None else kinds.SET
    kinds.check(line.kind, subject, {name.removesuffix("_id"): value for name, value in line.columns.items()})


def _lock_places(lines: Iterable[NewLine]) -> None:
    ids = sorted({line.place.pk for line in lines if line.place is not None})
    if ids:
        list(Place.objects.select_for_update().filter(pk__in=ids).order_by("pk").values_list("pk"))


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
            *([_plain(value) for value in vars(piece).values()] for piece in line.pieces),
        ]
        for line in lines
    ]
    said = [str(who.act_id), str(who.device.pk), who.device_seq, who.written_at.isoformat(), who.done_by.pk, content]
    return hashlib.sha256(json.dumps(said, ensure_ascii=False).encode()).hexdigest()


def _plain(value: Any) -> str:
    return str(getattr(value, "pk", value))
