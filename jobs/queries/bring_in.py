"""A draft as it stands: the file read, its columns matched, its rows judged against what the shop knows."""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from queue import SimpleQueue
from threading import Thread
from typing import Any, cast
from uuid import UUID

from django.db.models import F
from django.utils import translation

from inventory.models import Branch, Entry, Person, SheetDraft, SheetRow
from inventory.queries.bring_in import (
    came_in,
    existing_sets,
    habits_of,
    known_people,
    known_places,
    known_sets,
    known_types,
)
from inventory.sheets.columns import ColumnMap, guess_columns
from inventory.sheets.fields import Known, Thing
from inventory.sheets.judging import judge
from inventory.sheets.outcome import Answers, Judgement
from inventory.sheets.raw import Sheet
from inventory.sheets.reading import read_sheet
from inventory.sheets.spec import Spec
from inventory.sheets.specs import SETS
from inventory.times import zone_of
from inventory.units import show_area
from jobs.models import Job, JobPlan, Site, Standing, Zone
from jobs.sheets.specs import JOBS, SITES, WORK, job_key, site_key

SPECS: dict[str, Spec] = {spec.kind: spec for spec in (SETS, SITES, JOBS, WORK)}
# Files read and judgements made last, kept by this process: a page of a large list is not judged anew.
_KEEP = 3
_sheets: OrderedDict[tuple[str, ...], Sheet] = OrderedDict()
_judged: OrderedDict[tuple[str, ...], tuple[ColumnMap, Judgement]] = OrderedDict()


@dataclass(frozen=True)
class Looked:
    """A draft judged: what the page shows and what can come in."""

    draft: SheetDraft
    spec: Spec
    sheet: Sheet
    columns: ColumnMap
    known: Known
    judgement: Judgement

    @property
    def can_come_in(self) -> int:
        """How many things the button brings in: sets, floors, jobs or lines of work."""
        rows = self.judgement.accepted
        if self.draft.kind == "jobs":
            return len({job_key(item.job) for item in self.judgement.things})
        return sum(len(row.items) for row in rows)


def spec_of(kind: str) -> Spec:
    """The kind of list. Raises KeyError."""
    return SPECS[kind]


def known_for(person: Person, kind: str, now: datetime) -> Known:
    """What the shop knows as far as a kind of list asks for it; at most twelve queries, whatever the number of rows."""
    branch = person.branch
    facts: dict[str, Any] = habits_of(person) | {
        "today": now.astimezone(zone_of(branch)).date(),
        "came_in": came_in(branch, kind),
        "tool_types": known_types(),
    }
    if kind == "sets":
        facts["places"] = known_places(branch)
        facts["existing"], facts["here"] = existing_sets(branch)
        return Known(**facts)
    sites = list(Site.objects.filter(branch=branch).order_by("pk"))
    zones = list(Zone.objects.filter(site__branch=branch, active=True).select_related("site").order_by("name"))
    jobs = list(Job.objects.filter(branch=branch).select_related("site").order_by("name"))
    # A floor's zone is known by its site's row, a job's too.
    facts["sites"] = tuple(Thing(str(row.pk), row.name, says=row.address) for row in sites if row.active)
    facts["zones"] = tuple(
        Thing(str(row.pk), row.name, inside=str(row.site_id), area_m2=row.area_m2, says=row.site.name) for row in zones
    )
    facts["jobs"] = tuple(Thing(str(row.pk), row.name, inside=str(row.site_id), says=row.site.name) for row in jobs)
    if kind == "sites":
        with_floors = {row.site_id for row in zones}
        facts["existing"] = {
            site_key(row.site.name, row.name): f"{row.site.name}, {row.name}, {show_area(row.area_m2, person.units)}"  # type: ignore[arg-type]
            for row in zones
        } | {site_key(row.name): row.name for row in sites if row.active and row.pk not in with_floors}
        facts["here"] = frozenset(str(row.pk) for row in zones) | {f"site {row.pk}" for row in sites}
    elif kind == "jobs":
        back = SheetRow.objects.filter(draft__branch=branch, made_kind="job", undone_at__isnull=False)
        # One that was taken up again by hand, say as won, is there.
        holds = JobPlan.objects.filter(job__branch=branch, number=F("job__plan_number"), standing=Standing.CANCELLED)
        cancelled = set(map(str, holds.values_list("job_id", flat=True)))
        gone = cancelled & set(back.values_list("made_key", flat=True))
        jobs = [row for row in jobs if str(row.pk) not in gone]
        facts["existing"] = {job_key(row.name): f"{row.name}, {row.site.name}" for row in jobs}
        facts["here"] = frozenset(str(row.pk) for row in jobs)
    else:
        facts["sets"] = known_sets(branch)
        facts["people"] = known_people(branch)
        facts["here"] = _worked_keys(branch)
    return Known(**facts)


def _worked_keys(branch: Branch) -> frozenset[str]:
    """The keys of all work on record, as the shop's own table of work writes them; one query."""
    keys = Entry.objects.filter(kind="worked", act__branch=branch).values_list("pk", flat=True)
    return frozenset(map(str, keys))


def look(
    draft: SheetDraft, person: Person, now: datetime, progress: Callable[[int, int], None] | None = None
) -> Looked:
    """Read, match and judge a draft for a person. Pure but for what it remembers of the last drafts."""
    spec, sheet = spec_of(draft.kind), sheet_of(draft)
    known = known_for(person, draft.kind, now)
    key = _key(draft, known)
    found = _judged.get(key)
    if found is None:
        columns = guess_columns(sheet, spec, known, draft.columns)
        found = (columns, judge(sheet, spec, columns, known, Answers.from_dict(draft.answers), progress))
        _remember(_judged, key, found)
    return Looked(draft, spec, sheet, found[0], known, found[1])


def is_judged(draft: SheetDraft, person: Person, now: datetime) -> bool:
    """Whether looking at this draft takes no time."""
    return _key(draft, known_for(person, draft.kind, now)) in _judged


def sheet_of(draft: SheetDraft) -> Sheet:
    """The file of a draft, read. Raises SheetNotRead."""
    name, heading = _of_workbook(draft), heading_said(draft)
    key = (draft.content_sha256, draft.kind, draft.file_name, name, str(heading), translation.get_language() or "")
    found = _sheets.get(key)
    if found is None:
        known = spec_of(draft.kind).known_headings()
        found = read_sheet(bytes(draft.content), draft.file_name, known=known, sheet=name or None, heading_row=heading)
        _remember(_sheets, key, found)
    return found


def _of_workbook(draft: SheetDraft) -> str:
    """Which sheet of a workbook was chosen: kept beside the columns under "" (no column has that letter)."""
    return cast(str, draft.columns.get("", {}).get("sheet", ""))


def heading_said(draft: SheetDraft) -> int | None:
    """The row that a person said holds the headings, 0 for none of them; None when nobody said it."""
    return cast("int | None", draft.columns.get("", {}).get("heading"))


def _remember(memory: OrderedDict[tuple[str, ...], Any], key: tuple[str, ...], value: Any) -> None:
    memory[key] = value
    while len(memory) > _KEEP:
        memory.pop(next(iter(memory)), None)


def _key(draft: SheetDraft, known: Known) -> tuple[str, ...]:
    """What a judgement hangs on: the file, the columns, the answers, what the shop knows, the language of its words."""
    facts = [repr(getattr(known, name)) for name in known.__dataclass_fields__ if name not in ("came_in", "here")]
    facts += [repr(sorted(map(str, known.came_in))), repr(sorted(known.here))]
    said = repr((draft.columns, draft.answers, facts)).encode()
    return (draft.content_sha256, draft.kind, translation.get_language() or "", hashlib.sha256(said).hexdigest())


def drafts_of(branch: Branch) -> list[SheetDraft]:
    """Drafts of a branch, the newest first, without their content; one query."""
    rows = SheetDraft.objects.filter(branch=branch).select_related("made_by").defer("content")
    return list(rows.order_by("-made_at")[:20])


def rows_in(draft: SheetDraft) -> dict[str, int]:
    """How many rows of a draft are in, by what they made; taken-back ones left out. One query."""
    counts: dict[str, int] = {}
    rows = SheetRow.objects.filter(draft=draft, undone_at__isnull=True).exclude(made_key="").exclude(made_kind="as")
    for made, _thing in set(rows.values_list("made_kind", "made_key")):
        counts[made] = counts.get(made, 0) + 1
    return counts


def made_keys(draft: SheetDraft, made: str) -> list[UUID]:
    """The keys of what a draft made of one kind and nobody took back, in the order of its rows; one query."""
    rows = SheetRow.objects.filter(draft=draft, made_kind=made, undone_at__isnull=True).exclude(made_key="")
    return list(dict.fromkeys(UUID(key) for key in rows.order_by("row_number").values_list("made_key", flat=True)))


def checking(draft: SheetDraft, person: Person, now: datetime) -> Iterator[tuple[int, int]]:
    """Judge a large draft while telling how far it is: (rows done, rows in all); afterwards looking takes no time.

    The judging itself runs beside, so that it ends and is remembered even if nobody listens any more.
    """
    spec, sheet = spec_of(draft.kind), sheet_of(draft)
    known = known_for(person, draft.kind, now)
    columns, key = guess_columns(sheet, spec, known, draft.columns), _key(draft, known)
    answers, language = Answers.from_dict(draft.answers), translation.get_language() or "en"
    told: SimpleQueue[tuple[int, int] | Exception | None] = SimpleQueue()

    def run() -> None:
        with translation.override(language):
            try:
                judged = judge(sheet, spec, columns, known, answers, lambda done, of: told.put((done, of)))
                _remember(_judged, key, (columns, judged))
                told.put(None)
            except Exception as failed:  # handed to whoever listens
                told.put(failed)

    Thread(target=run, daemon=True).start()
    while (step := told.get()) is not None:
        if isinstance(step, Exception):
            raise step
        yield step
