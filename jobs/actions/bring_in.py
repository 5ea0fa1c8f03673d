"""A shop's own spreadsheet comes in: kept as a draft, matched, answered, then brought in as one, all or nothing."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.bring_in import BringInRefused, Desk, bring_in_sets, take_back_places, take_back_sets
from inventory.actions.gate import name_of
from inventory.actions.ledger import void
from inventory.actions.lives import kept_later, mark_stale_due
from inventory.models import Branch, Device, Entry, Person, SetState, SheetDraft, SheetRow
from inventory.sheets.outcome import Accepted, Answers
from inventory.sheets.raw import SheetNotRead
from jobs.actions.bring_in_jobs import (
    LINES_AN_ACT,
    Made,
    bring_in_jobs,
    bring_in_sites,
    bring_in_work,
)
from jobs.actions.take_back import take_back_floors, take_back_jobs
from jobs.models import Job, Site, Zone
from jobs.queries.bring_in import SPECS, look, made_keys, sheet_of


@dataclass(frozen=True)
class BroughtIn:
    """What one press brought in: rows, and things by kind ("set", "zone", "site", "job", "work", "place")."""

    rows: int
    made: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class TakenBack:
    """What was undone, and how many things stay because they were changed or used since, with their names."""

    undone: int
    used: int
    names: tuple[str, ...] = ()


def start_draft(
    person: Person, branch: Branch, kind: str, file_name: str, content: bytes, *, now: datetime, draft_id: UUID
) -> SheetDraft:
    """Keep a file as a draft once it can be read as a table; the same draft_id again gives the draft there is.

    Raises BringInRefused saying why the file is no table.
    """
    if kind not in SPECS:
        raise BringInRefused(_("“%(kind)s” is no kind of list.") % {"kind": kind}, _("Choose one of the four."))
    known = SheetDraft.objects.filter(pk=draft_id, branch=branch).first()
    if known is not None:
        return known
    draft = SheetDraft(
        id=draft_id,
        branch=branch,
        kind=kind,
        file_name=(file_name.replace("\\", "/").rsplit("/", 1)[-1].strip() or _("list"))[-120:],
        content=content,
        content_sha256=hashlib.sha256(content).hexdigest(),
        made_by=person,
        made_at=now,
    )
    try:
        sheet_of(draft)
    except SheetNotRead as refused:
        raise BringInRefused(refused.sentence, field="file") from refused
    draft.save(force_insert=True)
    return draft


def keep_columns(
    draft: SheetDraft, chosen: Mapping[str, Mapping[str, Any]], *, sheet: str = "", heading: int | None = None
) -> None:
    """Keep how a person matched the columns (as inventory.sheets.columns takes them), and which sheet of a workbook.

    heading: the number of the row that holds the headings, 0 for none, None to leave it as it is. Another sheet starts
    without matches and answers, another heading row without matches. Raises BringInRefused when no row is below it.
    """
    with transaction.atomic():
        kept = SheetDraft.objects.select_for_update().get(pk=draft.pk)
        if sheet and sheet != kept.columns.get("", {}).get("sheet", ""):
            kept.columns, kept.answers = {"": {"sheet": sheet}}, {}
        elif heading is not None:
            kept.columns = {"": {**kept.columns.get("", {}), "heading": heading}}
            try:
                sheet_of(kept)
            except SheetNotRead as refused:
                raise BringInRefused(refused.sentence) from refused
        else:
            of_sheet = {"": kept.columns[""]} if "" in kept.columns else {}
            kept.columns = of_sheet | {letter: dict(words) for letter, words in chosen.items()}
        kept.save(update_fields=["columns", "answers"])


def keep_answer(draft: SheetDraft, change: Callable[[Answers], None]) -> None:
    """Change the answers of a draft under lock: ``change`` gets them and writes into them."""
    with transaction.atomic():
        kept = SheetDraft.objects.select_for_update().get(pk=draft.pk)
        answers = Answers.from_dict(kept.answers)
        change(answers)
        kept.answers = answers.as_dict()
        kept.save(update_fields=["answers"])


def leave_draft(draft: SheetDraft) -> None:
    """Drop a draft; what came in of it stays. Raises BringInRefused while rows of it are in."""
    with transaction.atomic():
        if SheetRow.objects.filter(draft=draft).exists():
            raise BringInRefused(_("Rows of this list are in."), _("Take them back first, or let it be."))
        SheetDraft.objects.filter(pk=draft.pk).delete()


def bring_in(person: Person, device: Device, draft: SheetDraft, *, now: datetime, key: UUID | None = None) -> BroughtIn:
    """Bring in every row that can, all or nothing; what waits or is refused stays in the draft. Again adds nothing.

    key: makes the keys of the acts. What comes in counts as known from now on (LEDGER 11). Raises BringInRefused; other
    refusals of the actions that make things one by one pass through, and then nothing is kept.
    """
    # Read and judged before anything is locked; under the lock it is judged anew only if something changed meanwhile.
    look(SheetDraft.objects.get(pk=draft.pk), person, now)
    with transaction.atomic(), _lives_after():
        branch = Branch.objects.select_for_update().get(pk=draft.branch_id)
        draft = SheetDraft.objects.select_for_update().get(pk=draft.pk)
        looked = look(draft, person, now)
        accepted = looked.judgement.accepted
        if not accepted:
            return BroughtIn(0)
        by = Desk(person, device, branch, key or uuid4(), now)
        items = [pair for row in accepted for pair in zip(row.ids, row.items, strict=True)]
        made = _MAKERS[draft.kind](by, items)
        _keep_rows(draft, accepted, made)
        draft.brought_in_at = now
        draft.save(update_fields=["brought_in_at"])
    counts: dict[str, int] = {}
    for kind, _key in {(kind, thing) for _id, kind, thing in made.things} | set(made.beside):
        if kind == "as":
            continue
        counts[kind] = counts.get(kind, 0) + 1
    return BroughtIn(len(accepted), counts)


@contextmanager
def _lives_after() -> Iterator[None]:
    """Let nobody wait for the lives of a long list: they are worked out when it is in and answered."""
    with kept_later():
        yield
    mark_stale_due()


def _make_sets(by: Desk, items: Any) -> Made:
    came = bring_in_sets(by, items)
    return Made([(key, "set", str(key)) for key in came.sets], [("place", str(place.pk)) for place in came.places])


_MAKERS: dict[str, Callable[[Desk, Any], Made]] = {
    "sets": _make_sets,
    "sites": bring_in_sites,
    "jobs": bring_in_jobs,
    "work": bring_in_work,
}


def _keep_rows(draft: SheetDraft, accepted: list[Accepted], made: Made) -> None:
    """Keep the identity of every row that came in, so that it never comes in twice, and what it made."""
    things = {key: (kind, thing) for key, kind, thing in made.things}
    first_of = {row.row: things[row.ids[0]] for row in accepted if row.ids}
    wanted: dict[UUID, SheetRow] = {}
    for row in accepted:
        # A row that says nothing new is kept all the same: under its own identity, pointing at what it is about.
        ids = row.ids or (row.identity,)
        for key in ids:
            kind, thing = things.get(key) or first_of.get(row.joined_to or 0, ("", ""))
            wanted[key] = SheetRow(
                identity=key, draft=draft, kind=draft.kind, row_number=row.row, made_kind=kind, made_key=thing
            )
    for kind, thing in made.beside:
        key = uuid4()
        wanted[key] = SheetRow(identity=key, draft=draft, kind="beside", row_number=0, made_kind=kind, made_key=thing)
    back = (
        set(SheetRow.objects.filter(pk__in=list(wanted)).values_list("pk", flat=True))
        if len(wanted) < 500
        else {
            pk for pk in SheetRow.objects.filter(undone_at__isnull=False).values_list("pk", flat=True) if pk in wanted
        }
    )
    SheetRow.objects.bulk_create([row for pk, row in wanted.items() if pk not in back], batch_size=500)
    fields = ["draft", "row_number", "made_kind", "made_key", "undone_at"]
    SheetRow.objects.bulk_update([wanted[pk] for pk in back], fields, batch_size=200)


def take_back(
    person: Person, device: Device, draft: SheetDraft, *, now: datetime, key: UUID | None = None
) -> TakenBack:
    """Undo what a draft brought in: its entries are voided, floors and sites closed, jobs cancelled.

    What was changed by hand or used since stays and is named. The rows that were undone wait in the draft again.
    Again undoes nothing.
    """
    with transaction.atomic(), _lives_after():
        branch = Branch.objects.select_for_update().get(pk=draft.branch_id)
        draft = SheetDraft.objects.select_for_update().get(pk=draft.pk)
        by = Desk(person, device, branch, key or uuid4(), now)
        rows = list(SheetRow.objects.filter(draft=draft, undone_at__isnull=True))
        came_as = frozenset(row.made_key for row in rows if row.made_kind == "as")
        places = made_keys(draft, "place")
        undone: list[UUID] = []
        used: list[UUID] = []
        if draft.kind == "sets":
            undone, used = take_back_sets(by, made_keys(draft, "set"))
            take_back_places(places)
        elif draft.kind == "work":
            undone = _take_back_work(by, made_keys(draft, "work"))
        elif draft.kind == "jobs":
            undone, used = take_back_jobs(by, made_keys(draft, "job"), came_as)
        sites = [row.made_key for row in rows if row.made_kind == "site"]
        floors = take_back_floors(made_keys(draft, "zone"), sites, came_as)
        names = _names(draft.kind, floors.used if draft.kind == "sites" else used)
        if draft.kind == "sites":
            undone, used = floors.undone, floors.used
        names += [name for name in map(_name_of, floors.changed) if name not in names]
        _undo_rows(rows, {str(each) for each in (*undone, *floors.undone)}, floors.sites_gone, now)
        if not names:
            draft.brought_in_at = None
            draft.save(update_fields=["brought_in_at"])
    return TakenBack(len(undone), len(names), tuple(names))


def _undo_rows(rows: list[SheetRow], gone: set[str], sites_gone: list[str], now: datetime) -> None:
    """Let the rows wait again whose things are gone, with what was remembered of how those came in."""
    heads = {key.replace("-", "") for key in gone} | {f"site{key}" for key in sites_gone}
    back = [
        row.pk
        for row in rows
        if row.made_key in gone
        or row.made_kind in ("place", "")
        or (row.made_kind == "site" and row.made_key in sites_gone)
        or (row.made_kind == "as" and row.made_key.partition(":")[0] in heads)
    ]
    for start in range(0, len(back), 500):
        SheetRow.objects.filter(pk__in=back[start : start + 500]).update(undone_at=now)


def _names(kind: str, keys: list[UUID]) -> list[str]:
    """What the things that stay are called."""
    if kind == "jobs":
        return list(Job.objects.filter(pk__in=keys).order_by("name").values_list("name", flat=True))
    if kind == "sites":
        zones = Zone.objects.filter(pk__in=keys).select_related("site").order_by("site__name", "name")
        return [_name_of(zone) for zone in zones]
    states = SetState.objects.filter(pk__in=keys).select_related("tool_set__tool_type").order_by("code")
    return [name_of(state) for state in states]


def _name_of(thing: Zone | Site) -> str:
    return f"{thing.site.name}, {thing.name}" if isinstance(thing, Zone) else thing.name


def _take_back_work(by: Desk, keys: list[UUID]) -> list[UUID]:
    for start in range(0, len(keys), LINES_AN_ACT):
        part = keys[start : start + LINES_AN_ACT]
        gone = set(Entry.objects.filter(kind="voided", void_target__in=part).values_list("void_target", flat=True))
        entries = [row for row in Entry.objects.filter(pk__in=part).select_related("tool_set") if row.pk not in gone]
        if entries:
            by.write(f"back {start}", [void(entry, _("the list was taken back")) for entry in entries])
    return keys


def words_of(made: Mapping[str, int]) -> str:
    """What came in, in words: "94 sets, 2 places"."""
    said = (
        ("set", lambda n: ngettext("%(n)s set", "%(n)s sets", n)),
        ("zone", lambda n: ngettext("%(n)s floor", "%(n)s floors", n)),
        ("site", lambda n: ngettext("%(n)s site", "%(n)s sites", n)),
        ("job", lambda n: ngettext("%(n)s job", "%(n)s jobs", n)),
        ("work", lambda n: ngettext("%(n)s line of work", "%(n)s lines of work", n)),
        ("place", lambda n: ngettext("%(n)s new place", "%(n)s new places", n)),
    )
    return ", ".join(words(made[kind]) % {"n": f"{made[kind]:,}"} for kind, words in said if made.get(kind))
