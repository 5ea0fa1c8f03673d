"""Sets out of a shop's own list: openings with what the list says is left, where they are, what they are called."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.ledger import NewLine, desk, record, unknown_place, void
from inventory.codes import CodeNotRead, read_code
from inventory.models import (
    Branch,
    Device,
    Entry,
    Label,
    Person,
    Place,
    ReceiptLine,
    ToolSet,
    ToolType,
)
from inventory.models.choices import OpeningKind, PlaceKind, SoakNeed, Source, TimeKnown
from inventory.refusals import Refused
from inventory.sheets.bought import bought_words
from inventory.sheets.specs import SetRow
from inventory.sheets.words import squeezed
from inventory.times import zone_of
from inventory.units import show_area

# Sets in one act: large enough to be quick, small enough that an act can be looked at.
SETS_AN_ACT = 200


class BringInRefused(Refused):
    """A list cannot come in as it stands."""

    code = "bring_in"


@dataclass(frozen=True)
class Desk:
    """Who brings a list in, from which device, at which instant; ``key`` makes the keys of the acts."""

    person: Person
    device: Device
    branch: Branch
    key: UUID
    now: datetime

    def write(
        self,
        name: str,
        lines: Sequence[NewLine],
        at: datetime | None = None,
        known: str = "",
        done_by: Person | None = None,
    ) -> list[Entry]:
        """Record lines as one act of this list, done by who brings it in if nobody else is said.

        at: when it happened, None for now; known: how well that is known.
        """
        who = desk(
            self.person,
            self.device,
            self.now,
            act_id=uuid5(self.key, name),
            happened_at=at,
            done_by=done_by,
            source=Source.IMPORT,
            time_known=known or (TimeKnown.EXACT if at is None else TimeKnown.DAY),
        )
        return list(record(who, self.branch, lines, now=self.now).entries)

    def start(self, day: date) -> datetime:
        """A beginning known by the day only: the day's start, so that work of the same day follows it."""
        return min(datetime.combine(day, time(0), zone_of(self.branch)), self.now)

    def noon(self, day: date) -> datetime:
        """What is known by the day only: noon of the branch (LEDGER 12), never after now."""
        return min(datetime.combine(day, time(12), zone_of(self.branch)), self.now)


@dataclass
class SetsIn:
    """What came in: the sets by their keys, and the places that were made for them."""

    sets: list[UUID] = field(default_factory=list)
    places: list[Place] = field(default_factory=list)


def bring_in_sets(by: Desk, items: Sequence[tuple[UUID, SetRow]]) -> SetsIn:
    """Open these sets, each under the key given with it; a set whose opening was undone before is opened again.

    Heights are kept as the ledger keeps them, without the backing. A set said to be new is opened on the day it was
    bought, every other one now: its height or word says what is left today. Must run inside a transaction.
    """
    came = SetsIn()
    types = ToolType.objects.in_bulk([int(row.tool_type) for _key, row in items])
    sets = _sets(by, items, types)
    places = _places(by, [row for _key, row in items], came)
    labels = _labels(by, [row for _key, row in items])
    chunks: dict[datetime | None, list[list[tuple[UUID, SetRow]]]] = {}
    for item in items:
        row = item[1]
        begins = row.opening_kind == OpeningKind.NEW and row.bought_on is not None
        of_time = chunks.setdefault(by.start(row.bought_on) if begins and row.bought_on else None, [[]])
        if len(of_time[-1]) == SETS_AN_ACT:
            of_time.append([])
        of_time[-1].append(item)
    for at, parts in chunks.items():
        for number, part in enumerate(parts):
            lines: list[NewLine] = []
            prices: dict[UUID, tuple[Decimal, str]] = {}
            for key, row in part:
                place = places[_place_of(row)]
                opening = _opening(by, sets[key], row, types[int(row.tool_type)], place)
                lines.append(opening)
                if row.price is not None:
                    prices[opening.id] = (row.price, row.currency)
                label = labels.pop(_read(row.own_code), None)
                if label is not None:
                    lines.append(NewLine("labelled", sets[key], None, {"code": label}))
                wants_water = sets[key].tool_type.soak_need != SoakNeed.NONE and not row.retired_why
                if place is not None and place.kind == PlaceKind.TUB and wants_water:
                    # In water since when nobody wrote down: its hours count from now.
                    lines.append(NewLine("soak_begun", sets[key], None, {"to_place": place}))
                lines += _fitness(sets[key], row)
            entries = by.write(f"sets {at} {number}", lines, at)
            ReceiptLine.objects.bulk_create(
                ReceiptLine(entry=entry, price=prices[entry.pk][0], currency=prices[entry.pk][1])
                for entry in entries
                if entry.pk in prices
            )
    came.sets = [key for key, _row in items]
    return came


def _sets(by: Desk, items: Sequence[tuple[UUID, SetRow]], types: dict[int, ToolType]) -> dict[UUID, ToolSet]:
    """The rows of these sets; those of an import that was undone are taken up again with what is said now."""
    known = ToolSet.objects.in_bulk([key for key, _row in items])
    sets: dict[UUID, ToolSet] = {}
    for key, row in items:
        facts = {"tool_type": types[int(row.tool_type)], "own_code": row.own_code[:40]}
        sets[key] = known.get(key) or ToolSet(pk=key, made_at=by.now)
        for name, value in facts.items():
            setattr(sets[key], name, value)
    ToolSet.objects.bulk_create([row for row in sets.values() if row.pk not in known], batch_size=500)
    ToolSet.objects.bulk_update(list(known.values()), ["tool_type", "own_code"], batch_size=200)
    return sets


def _place_of(row: SetRow) -> tuple[str, str]:
    if row.missing:
        return ("missing", "")
    if row.place:
        return ("key", row.place)
    return row.new_place or ("", "")


def _places(by: Desk, rows: Iterable[SetRow], came: SetsIn) -> dict[tuple[str, str], Place | None]:
    """The places that the rows name, made where the list names a new one."""
    wanted = dict.fromkeys(_place_of(row) for row in rows)
    known = Place.objects.filter(branch=by.branch).in_bulk([name for kind, name in wanted if kind == "key"])
    by_key = {str(place.pk): place for place in known.values()}
    places: dict[tuple[str, str], Place | None] = {("", ""): None}
    # However they are written, "Annex shelf" and "annex SHELF" are one.
    ours = {(place.kind, squeezed(place.name)): place for place in Place.objects.filter(branch=by.branch)}
    for kind, name in wanted:
        if kind == "missing":
            unknown = unknown_place(by.branch.pk)
            places[kind, name] = None if unknown is None else Place.objects.get(pk=unknown)
        elif kind == "key":
            if name not in by_key:
                raise BringInRefused(_("A place of this list is gone since it was checked."), _("Look at it again."))
            places[kind, name] = by_key[name]
        elif kind:
            places[kind, name] = _new_place(by, kind, name[:80], ours, came)
    return places


def _new_place(by: Desk, kind: str, name: str, ours: dict[tuple[str, str], Place], came: SetsIn) -> Place:
    """A place the list names: made, or one out of use that is used again; either is told, and goes when taken back."""
    place = ours.get((kind, squeezed(name)))
    if place is None:
        place = ours[kind, squeezed(name)] = Place.objects.create(branch=by.branch, kind=kind, name=name)
        came.places.append(place)
    elif not place.active:
        place.active = True
        place.save(update_fields=["active"])
        came.places.append(place)
    return place


def _labels(by: Desk, rows: Iterable[SetRow]) -> dict[str, Label]:
    """Labels for own codes that are codes of ours: blank ones the shop has, and printed ones it has never seen."""
    codes = {code for row in rows if (code := _read(row.own_code))}
    known = Label.objects.in_bulk(codes)
    new = [Label(code=code, branch=by.branch, made_at=by.now, made_by=by.person) for code in sorted(codes - set(known))]
    Label.objects.bulk_create(new, batch_size=500)
    free = {code: label for code, label in known.items() if label.blank and label.branch_id == by.branch.pk}
    return free | {label.code: label for label in new}


def _read(own_code: str) -> str:
    """The code of ours that an own code is, "" for any other; only with its prefix: six characters may be anything."""
    if not own_code.upper().startswith("GL"):
        return ""
    try:
        return read_code(own_code)
    except CodeNotRead:
        return ""


def _opening(by: Desk, tool_set: ToolSet, row: SetRow, tool_type: ToolType, place: Place | None) -> NewLine:
    columns: dict[str, Any] = {
        "opening_kind": row.opening_kind,
        "branch": by.branch,
        "to_place": place,
        "peg": row.peg[:12] or None,
        "pieces": row.pieces,
        "why": _words(by, row) or None,
    }
    if row.lowest_height_mm is not None:
        off = tool_type.backing_mm if row.with_backing else 0.0
        columns |= {
            "lowest_height_mm": round(row.lowest_height_mm - off, 4),
            "with_backing": row.with_backing,
            "amount_value": row.amount_value[:24],
            "amount_unit": row.amount_unit,
        }
    return NewLine("opening", tool_set, None, columns)


def _words(by: Desk, row: SetRow) -> str:
    """What else the list says of the set, as words: an opening has no column for it, and none of it is lost."""
    words = []
    if row.bought_on is not None:
        words.append(bought_words(row.bought_on))
    if row.worked_m2 is not None:
        area = show_area(row.worked_m2, by.person.units)  # type: ignore[arg-type]
        words.append(_("worked %(area)s before, by the list") % {"area": area})
    if len(row.own_code) > 40:
        words.append(row.own_code)
    return "; ".join([*words, *([row.note] if row.note else [])])[:400]


def _fitness(tool_set: ToolSet, row: SetRow) -> list[NewLine]:
    troubled: list[NewLine] = []
    if row.trouble:
        # An opening says nothing of the face: what the list says of it stands beside it.
        troubled = [NewLine("trouble", tool_set, None, {"trouble_kind": row.trouble, "why": _("by the list")})]
    if row.retired_why:
        return [*troubled, NewLine("retired", tool_set, None, {"retired_why": row.retired_why})]
    if row.set_aside:
        return [*troubled, NewLine("set_aside", tool_set, None, {"why": row.note[:400] or _("set aside, by the list")})]
    return troubled


# --- a beginning that lies after work that comes in later ---


def begin_before(by: Desk, days: dict[UUID, date]) -> int:
    """Let sets begin before these days, at the day's start; what their lists said is left stays said when it was.

    days: the first day of work of each set that was opened by a list. A height becomes a measured height at the time of
    the old opening, after a beginning that is not known; a word ("half") moves along with the beginning. Only openings
    that stand and lie after the day move. Returns how many did.
    """
    openings = Entry.objects.filter(kind="opening", tool_set_id__in=list(days)).select_related(
        "act", "tool_set", "to_place", "receipt_line"
    )
    voided = set(
        Entry.objects.filter(kind="voided", void_target__in=[row.pk for row in openings]).values_list(
            "void_target", flat=True
        )
    )
    moved = 0
    for old in openings:
        assert old.tool_set is not None
        start = by.start(days[old.tool_set.pk])
        if old.pk in voided or old.act.happened_at <= start:
            continue
        by_height = old.opening_kind == OpeningKind.HEIGHT
        opening = NewLine(
            "opening",
            old.tool_set,
            None,
            {
                "opening_kind": OpeningKind.UNKNOWN if by_height else old.opening_kind,
                "branch_id": old.branch_id,
                "pieces": old.pieces,
                "why": old.why,
                "replaces": old.pk,
            },
        )
        entries = by.write(
            f"begin {old.pk}", [void(old, _("worked before, by a list brought in later")), opening], start
        )
        if hasattr(old, "receipt_line"):
            ReceiptLine.objects.create(
                entry=entries[1], price=old.receipt_line.price, currency=old.receipt_line.currency
            )
        then: list[NewLine] = []
        if old.to_place is not None:
            then.append(NewLine("seen", old.tool_set, None, {"to_place": old.to_place, "peg": old.peg}))
        if by_height:
            names = ("lowest_height_mm", "mean_height_mm", "with_backing", "amount_value", "amount_unit")
            then.append(NewLine("measured", old.tool_set, None, {name: getattr(old, name) for name in names}))
        if then:
            by.write(f"then {old.pk}", then, old.act.happened_at, TimeKnown.DAY)
        moved += 1
    return moved


# --- taking a list back ---


def take_back_sets(by: Desk, set_ids: Sequence[UUID]) -> tuple[list[UUID], list[UUID]]:
    """Void the beginnings of these sets with all else that their lists said; returns those undone and those used since.

    A set about which anything else was recorded stays. Must run inside a transaction.
    """
    used: set[UUID] = set()
    for start in range(0, len(set_ids), SETS_AN_ACT):
        part = set_ids[start : start + SETS_AN_ACT]
        entries = list(Entry.objects.filter(tool_set_id__in=part).select_related("act", "tool_set"))
        gone = {entry.void_target for entry in entries if entry.kind == "voided"}
        standing = [entry for entry in entries if entry.kind != "voided" and entry.pk not in gone]
        used |= {
            entry.tool_set.pk
            for entry in standing
            if entry.tool_set is not None and (entry.act.source != Source.IMPORT or entry.kind == "worked")
        }
        mine = [entry for entry in standing if entry.tool_set_id not in used]
        mine.sort(key=lambda entry: (str(entry.tool_set_id), -entry.line_no))
        if mine:
            by.write(f"back {start}", [void(entry, _("the list was taken back")) for entry in mine])
    return [key for key in set_ids if key not in used], [key for key in set_ids if key in used]


def take_back_places(place_ids: Sequence[UUID]) -> None:
    """Close places that a list made and in which nothing lies."""
    with transaction.atomic():
        for place in Place.objects.filter(pk__in=list(place_ids), states__isnull=True, active=True):
            place.active = False
            place.save(update_fields=["active"])
