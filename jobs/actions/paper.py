"""A van sheet typed in afterwards: one thing done, whole or nothing, by the same actions as on the night."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from uuid import UUID, uuid5

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.fitness import report_trouble
from inventory.actions.ledger import Recorded, Who, already
from inventory.actions.measure import HeightDoubted, Heights, measure
from inventory.actions.undo import NothingToUndo
from inventory.models import Act, Branch, ToolSet
from inventory.models.choices import Basis, LeftHow, Source, TimeKnown, TroubleKind
from inventory.refusals import Refused
from inventory.times import show_day, show_time, zone_of
from inventory.units import Amount, Units, show_area
from jobs.actions.shift import (
    NoPassLogged,
    ShiftAhead,
    WorkAsked,
    WorkPart,
    close_shift,
    floor_even,
    floor_reading,
    leave_sets,
    log_steps,
    undo_act,
)
from jobs.models import Job, PlanZone, ShiftEntry
from jobs.queries.plan import Night
from jobs.queries.shift import WEAK, work_logged


@dataclass(frozen=True)
class PaperStep:
    """A step's row. words: what the row is called; instead: whether it stands instead of what is logged on the shift
    (None: not said); even: the floor was said to look even, why: where no pass of it is logged."""

    key: UUID
    words: str
    parts: tuple[WorkPart, ...] = ()
    instead: bool | None = None
    even: bool = False
    why: str = ""


@dataclass(frozen=True)
class PaperSet:
    """A set's row: how it was left ("" not said), its lowest height as written, trouble (a kind, or "")."""

    tool_set: ToolSet
    words: str
    left: str = ""
    height: Amount | None = None
    with_backing: bool = False
    trouble: str = ""
    note: str = ""


@dataclass(frozen=True)
class PaperFloor:
    """A floor's row: gloss in gloss units, clarity in per cent."""

    zone: PlanZone
    words: str
    gloss: float | None = None
    clarity: float | None = None


@dataclass(frozen=True)
class Paper:
    """A sheet as it was filled in, in its order."""

    steps: tuple[PaperStep, ...] = ()
    sets: tuple[PaperSet, ...] = ()
    floors: tuple[PaperFloor, ...] = ()
    close: bool = False


class PaperRefused(Refused):
    """Rows of a sheet cannot be kept; nothing of it is. rows: the name of each with its sentence.

    asked: nothing is impossible, only unlikely. no_pass: keys of the steps that ask why they are done.
    """

    code = "paper"

    def __init__(
        self, rows: list[tuple[str, str]], *, asked: bool = False, no_pass: frozenset[UUID] = frozenset()
    ) -> None:
        super().__init__(" ".join(f"{words}: {sentence}" for words, sentence in rows))
        self.rows, self.asked, self.no_pass = tuple(rows), asked, no_pass


class _Rows:
    """What the rows of one sheet came to: kept, refused, asked."""

    def __init__(self) -> None:
        self.kept: list[Recorded] = []
        self.refused: list[tuple[str, str]] = []
        self.asked: list[tuple[str, str]] = []
        self.no_pass: set[UUID] = set()

    def take(self, words: str, act: Callable[[], Recorded], key: UUID | None = None) -> bool:
        """Do one row's act; whether it went. A refusal is noted with the row and the next row is tried."""
        try:
            self.kept.append(act())
        except (WorkAsked, HeightDoubted) as asked:
            self.asked.append((words, asked.sentence))
        except Refused as refused:
            self.refused.append((words, refused.sentence))
            if isinstance(refused, NoPassLogged) and key is not None:
                self.no_pass.add(key)
        else:
            return True
        return False


def type_in(
    who: Who, job: Job, night: Night, paper: Paper, *, now: datetime, sure: bool = False, units: Units = "us"
) -> list[Recorded]:
    """Keep a shift's paper: work by step, the floor's look, how sets were left, heights, readings, closing.

    who: done by whoever signed, entered by whoever types, source paper. Work counts from the shift's planned start, a
    second a row (its time is known by the shift), the rest at its end. sure: what is unlikely was said to be right.
    The same sheet again changes nothing. Raises ShiftAhead; PaperRefused with every row that cannot be kept.
    """
    key, rows = night.shift.key, _Rows()
    _check(job, night, paper, now)
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=job.pk)
        if known := _known(who, paper):
            return known
        logged = _logged(key)
        for number, one in enumerate(paper.steps, start=1):
            at = night.shift.starts_at + timedelta(seconds=number)
            _step(rows, who, at, job, night, one, logged.get(one.key, 0.0), now=now, sure=sure, units=units)
        ends = min(night.shift.ends_at, now)
        left = {one.tool_set.pk: one.left for one in paper.sets if one.left}
        if left:
            by = _by(who, "left", ends)
            rows.take(_("Coming back"), lambda: leave_sets(by, job, key, LeftHow.UNKNOWN, now=now, apart=left))
        for one_set in paper.sets:
            if one_set.height is not None:
                _height(rows, who, job.branch, one_set, ends, now=now, sure=sure)
            if one_set.trouble or one_set.note:
                _trouble(rows, who, job.branch, key, one_set, ends, now=now)
        for floor in paper.floors:
            _readings(rows, who, job, key, floor, ends, now=now)
        if paper.close and not rows.refused and not rows.asked:
            by_end = _by(who, "closed", ends)
            rows.take(_("Closing"), lambda: close_shift(by_end, job, key, now=now))
        if rows.refused or rows.asked:
            raise PaperRefused([*rows.refused, *rows.asked], asked=not rows.refused, no_pass=frozenset(rows.no_pass))
    return rows.kept


def undo_paper(who: Who, branch: Branch, act: Act, *, now: datetime) -> list[Recorded]:
    """Void everything that was typed in with this act of a sheet, its closing first.

    Raises NothingToUndo; NotYours, ShiftClosed as ``undo_act``.
    """
    with transaction.atomic():
        if act.source != Source.PAPER:
            raise NothingToUndo(_("That is no sheet that was typed in."), _("Void its lines on the job's page."))
        typed = Act.objects.filter(
            branch=branch, source=Source.PAPER, device=act.device_id, device_seq=act.device_seq,
            recorded_at=act.recorded_at, entered_by=act.entered_by_id,
        ).select_related("done_by")  # fmt: skip
        closing = ShiftEntry.Kind.CLOSED
        acts = sorted(typed, key=lambda one: not any(row.kind == closing for row in one.shift_entries.all()))
        undone = []
        for one in acts:
            by = replace(who, act_id=uuid5(who.act_id, str(one.pk)))
            try:
                undone.append(undo_act(by, branch, one, _("the sheet was taken back"), now=now))
            except NothingToUndo:
                continue  # that line was voided by itself before
        if not undone:
            raise NothingToUndo(_("That is undone already."), _("Nothing more to do."))
        return undone


def _check(job: Job, night: Night, paper: Paper, now: datetime) -> None:
    if night.shift.starts_at > now:
        at = night.shift.starts_at.astimezone(zone_of(job.branch))
        raise ShiftAhead(
            _("This shift is still ahead: it starts %(day)s %(time)s.")
            % {"day": show_day(at.date()), "time": show_time(at, job.branch)},
            _("Type its sheet in when it comes back."),
        )
    said = any(one.parts or one.even for one in paper.steps) or any(
        one.left or one.height or one.trouble or one.note for one in paper.sets
    )
    read = any(one.gloss is not None or one.clarity is not None for one in paper.floors)
    if not (said or read or paper.close):
        raise PaperRefused([(_("The sheet"), _("Nothing of it is typed in yet. Begin with the first step."))])


def _by(who: Who, name: str, at: datetime) -> Who:
    """Who wrote one row: the sheet's, with a key of the row's own, at the time the shift gives it."""
    return replace(
        who,
        act_id=uuid5(who.act_id, name),
        source=Source.PAPER,
        time_known=TimeKnown.SHIFT,
        happened_at=at,
    )


def _known(who: Who, paper: Paper) -> list[Recorded]:
    """What of this sheet is on record: all of it or nothing."""
    names = ["left", "closed"]
    names += [f"{kind}-{one.key}" for one in paper.steps for kind in ("work", "even")]
    names += [f"{kind}-{one.tool_set.pk}" for one in paper.sets for kind in ("height", "trouble")]
    names += [f"{kind}-{one.zone.key}" for one in paper.floors for kind in ("gloss", "clarity")]
    found = Act.objects.filter(pk__in=[uuid5(who.act_id, name) for name in names]).values_list("pk", flat=True)
    return [known for pk in found if (known := already(pk)) is not None]


def _logged(shift_key: UUID) -> dict[UUID, float]:
    """Worked area, m2, that somebody logged on the shift, by step; what was planned or guessed gives way to paper."""
    found: dict[UUID, float] = {}
    for line in work_logged(shift_keys=[shift_key]):
        if line.counts and line.entry.step_key is not None and line.entry.basis not in WEAK:
            found[line.entry.step_key] = found.get(line.entry.step_key, 0.0) + line.area_m2
    return found


def _step(
    rows: _Rows,
    who: Who,
    at: datetime,
    job: Job,
    night: Night,
    one: PaperStep,
    logged_m2: float,
    *,
    now: datetime,
    sure: bool,
    units: Units,
) -> None:
    key, went = night.shift.key, True
    if one.parts and logged_m2 > 0 and one.instead is None:
        words = _("%(area)s is logged on this shift already. Say whether the paper adds to it or stands instead.")
        rows.refused.append((one.words, words % {"area": show_area(logged_m2, units)}))
        return
    if one.parts:
        by, parts = _by(who, f"work-{one.key}", at), {one.key: one.parts}
        went = rows.take(
            one.words,
            lambda: log_steps(
                by, job, key, parts, now=now, basis=Basis.MEASURED, stands_instead=bool(one.instead), sure=sure,
                units=units, plan=night.plan,
            ),
        )  # fmt: skip
    if one.even and went:
        even = _by(who, f"even-{one.key}", at)
        rows.take(one.words, lambda: floor_even(even, job, key, one.key, now=now, why=one.why), one.key)


def _height(rows: _Rows, who: Who, branch: Branch, one: PaperSet, at: datetime, *, now: datetime, sure: bool) -> None:
    assert one.height is not None
    heights = Heights((one.height,), with_backing=one.with_backing, sure=sure)
    by = _by(who, f"height-{one.tool_set.pk}", at)
    rows.take(one.words, lambda: measure(by, branch, one.tool_set, heights, now=now))


def _trouble(
    rows: _Rows, who: Who, branch: Branch, shift_key: UUID, one: PaperSet, at: datetime, *, now: datetime
) -> None:
    by, kind = _by(who, f"trouble-{one.tool_set.pk}", at), one.trouble or TroubleKind.OTHER
    rows.take(
        one.words,
        lambda: report_trouble(by, branch, one.tool_set, kind, now=now, note=one.note, shift_uuid=shift_key),
    )


def _readings(
    rows: _Rows, who: Who, job: Job, shift_key: UUID, floor: PaperFloor, at: datetime, *, now: datetime
) -> None:
    for kind, reading in (("gloss", floor.gloss), ("clarity", floor.clarity)):
        if reading is not None:
            by = _by(who, f"{kind}-{floor.zone.key}", at)
            rows.take(
                floor.words,
                lambda by=by, kind=kind, reading=reading: floor_reading(  # type: ignore[misc]
                    by, job, shift_key, floor.zone, kind, reading, now=now
                ),
            )
