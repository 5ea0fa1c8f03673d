"""What happens on a shift: its outing, work by step and floor, the floor's look, how the sets are left, closing."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, TypedDict, Unpack
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.corrections import void_entry
from inventory.actions.later_pieces import check_no_later_pieces
from inventory.actions.ledger import NewLine, Recorded, Who, already, lock_states, void
from inventory.actions.photos import remove_with
from inventory.actions.undo import NothingToUndo, check_beginnings, check_not_moved_tubs
from inventory.actions.work import WorkAsked, WorkedFacts, WorkRefused, work
from inventory.models import Act, Branch, Entry
from inventory.models.choices import Basis, LeftHow, PlaceKind, Source
from inventory.queries.ledger import voided
from inventory.rights import Right
from inventory.said_text import trimmed
from inventory.units import Units
from jobs.actions.shift_checks import (
    NoPassLogged,
    NotPlanned,
    ShiftAhead,
    ShiftClosed,
    ShiftRefused,
    check_begun,
    check_open,
    check_planned,
    check_yours,
    outing_now,
    step_of,
)
from jobs.actions.shift_outing import outing_of_shift
from jobs.actions.shift_record import record_shift
from jobs.actions.work_doubts import WorkPart, other_type, too_early
from jobs.models import Job, JobPlan, PlanZone, ShiftEntry
from jobs.queries.plan import zone_of_step
from jobs.queries.shift import closing_of, sets_out, standing_rows, voided_rows, work_logged

__all__ = [
    "NoPassLogged",
    "NotPlanned",
    "ShiftAhead",
    "ShiftClosed",
    "ShiftRefused",
    "WorkAsked",
    "WorkPart",
    "WorkRefused",
    "check_planned",
    "close_shift",
    "correct_work",
    "floor_even",
    "floor_reading",
    "leave_sets",
    "log_steps",
    "log_work",
    "no_work",
    "outing_of_shift",
    "record_shift",
    "undo_act",
    "void_work",
]

# A closing tapped by mistake is undone by whoever tapped it within this time (our assumption).
_JUST_CLOSED = timedelta(hours=12)
# A polished floor reads far below these; a mirror of metal reads more (our assumption). Clarity is a percentage.
_MOST = {ShiftEntry.Kind.GLOSS: 200.0, ShiftEntry.Kind.CLARITY: 100.0}


class HowLogged(TypedDict, total=False):
    """How work is logged: what ``log_steps`` names and does not need."""

    basis: str
    stands_instead: bool | None
    sure: bool
    units: Units
    plan: JobPlan | None
    more: Sequence[NewLine]
    replaces: UUID | None


def log_work(
    who: Who,
    job: Job,
    shift_key: UUID | None,
    step_key: UUID,
    parts: Sequence[WorkPart],
    *,
    now: datetime,
    **how: Unpack[HowLogged],
) -> Recorded:
    """Log what a step's sets polished: one part for each set; a set changed part-way through a pass is its own part.

    shift_key None: the night is not known; the rest as ``log_steps``.
    """
    return log_steps(who, job, shift_key, {step_key: parts}, now=now, **how)


def log_steps(
    who: Who,
    job: Job,
    shift_key: UUID | None,
    parts_of: Mapping[UUID, Sequence[WorkPart]],
    *,
    now: datetime,
    basis: str = Basis.MEASURED,
    stands_instead: bool | None = None,
    sure: bool = False,
    units: Units = "us",
    plan: JobPlan | None = None,
    more: Sequence[NewLine] = (),
    replaces: UUID | None = None,
) -> Recorded:
    """Log several steps of a shift in one act: parts by step key.

    plan: a whole version already read. stands_instead: for paper, whether it stands instead of what is there (None: not
    paper). sure: what is unlikely has been said to be right.
    Raises NotPlanned, ShiftClosed, WorkRefused, WorkAsked, NotReceived, OtherBranch.
    """
    if (known := already(who.act_id)) is not None:
        return known
    if shift_key is not None:
        check_open(who, shift_key)
    out = None if shift_key is None else outing_now(job, shift_key, now)
    lines: list[WorkedFacts] = []
    # From a phone it is a fact that happened: kept as it is.
    ask = who.source != Source.PHONE
    doubts = too_early(job, shift_key, who.happened_at or now) if ask and shift_key is not None else []
    for step_key, parts in parts_of.items():
        holds, step = step_of(job, step_key, plan)
        zone = zone_of_step(holds, step)
        if zone is None:
            raise NotPlanned(_("This step has no floor in the plan."), _("Give it one in the job's plan first."))
        if ask:
            doubts += other_type(step, zone, parts)
        lines += [
            WorkedFacts(
                tool_set=part.tool_set,
                floor_uuid=zone.zone_id,
                visit_uuid=job.pk,
                step_key=step.key,
                area_m2=part.area_m2,
                passes=part.passes,
                hardness=zone.hardness,
                surface=zone.surface,
                coating=zone.coating,
                wet_dry=step.wet_dry,
                step_kind=step.step_kind,
                basis=basis,
                shift_uuid=shift_key,
                outing=out,
                machine=part.machine,
                stands_instead=stands_instead,
                value=part.value,
                unit=part.unit,
                floor_m2=zone.area_m2,
                replaces=replaces,
                id=part.id or uuid.uuid4(),
            )
            for part in parts
        ]
    return work(who, job.branch, lines, now=now, sure=sure, units=units, more=more, doubts=doubts)


def correct_work(
    who: Who,
    job: Job,
    entry: Entry,
    part: WorkPart,
    why: str,
    *,
    now: datetime,
    step_key: UUID | None = None,
    sure: bool = False,
    units: Units = "us",
) -> Recorded:
    """Put a corrected line in place of one: its void and the new line in one act. Own lines until the shift is closed.

    part: may name another set; step_key: another step of the job, None for the same.
    Raises as ``log_work`` and ``undo_act``.
    """
    step = step_key or entry.step_key
    assert step is not None
    with transaction.atomic():
        # Locked before looking: of two corrections of one line, or one and a void, the second finds it voided.
        lock_states([part.tool_set, *([entry.tool_set] if entry.tool_set is not None else [])])
        if (known := already(who.act_id)) is not None:
            return known
        check_yours(who, entry.act)
        if voided(Entry.objects.filter(pk=entry.pk)):
            raise NothingToUndo(_("That line is voided already."), _("Log what is missing as a new line."))
        return log_work(
            who,
            job,
            entry.shift_uuid,
            step,
            [part],
            now=now,
            basis=entry.basis or Basis.MEASURED,
            stands_instead=entry.stands_instead,
            sure=sure,
            units=units,
            more=[void(entry, why.strip()[:400] or _("corrected"))],
            replaces=entry.pk,
        )


def void_work(who: Who, job: Job, entry: Entry, why: str, *, now: datetime) -> Recorded:
    """Void one worked line of a job; own lines until the shift is closed, others' by whoever settles.

    Raises as ``inventory.actions.corrections.void_entry``.
    """
    closed = entry.shift_uuid is not None and closing_of(entry.shift_uuid) is not None
    return void_entry(who, job.branch, entry, why, now=now, shift_closed=closed)


def undo_act(who: Who, branch: Branch, target: Act, why: str, *, now: datetime) -> Recorded:
    """Void every line of an act that stands, those about sets and those about the shift. Own until the shift is closed.

    Raises NotYours, ShiftClosed, NothingToUndo, LaterEntries (the beginning of a set that has later
    entries), LaterPieces.
    """
    with transaction.atomic():
        entries = list(target.entries.select_related("tool_set", "place").order_by("line_no"))
        lock_states([entry.tool_set for entry in entries if entry.tool_set is not None])
        if (known := already(who.act_id)) is not None:
            return known
        check_yours(who, target)
        said = list(target.shift_entries.select_related("job"))
        for shift_key in {entry.shift_uuid for entry in entries if entry.kind == "worked"} - {None}:
            assert shift_key is not None
            check_open(who, shift_key)
        for row in said:
            # A closing tapped by mistake is one's own to undo, for a while; what else was said of it is not.
            if row.kind != ShiftEntry.Kind.CLOSED or now - target.recorded_at > _JUST_CLOSED:
                check_open(who, row.shift_uuid)
        gone = voided(target.entries.all()) | voided_rows(said)
        lines = [void(entry, why) for entry in reversed(entries) if entry.kind != "voided" and entry.pk not in gone]
        rows = [
            ShiftEntry(kind=ShiftEntry.Kind.VOIDED, job=row.job, shift_uuid=row.shift_uuid, void_target=row.pk, why=why)
            for row in said
            if row.kind != ShiftEntry.Kind.VOIDED and row.pk not in gone
        ]
        if not lines and not rows:
            raise NothingToUndo(_("That is undone already."), _("Nothing more to do."))
        stands = [entry for entry in entries if entry.kind != "voided" and entry.pk not in gone]
        check_beginnings(stands)
        check_not_moved_tubs(stands)
        check_no_later_pieces(stands, now)
        remove_with(who.entered_by or who.done_by, target, now=now)
        return record_shift(who, branch, lines, rows, now=now)


def floor_even(who: Who, job: Job, shift_key: UUID, step_key: UUID, *, now: datetime, why: str = "") -> Recorded:
    """Say that the floor looks even after a step: only then the next grit goes on (common practice).

    why: needed where no pass of the step is logged; kept. Raises NotPlanned, ShiftClosed, ShiftAhead, NoPassLogged.
    """
    plan, step = step_of(job, step_key, None)
    zone = zone_of_step(plan, step)
    if zone is None:
        raise NotPlanned(_("This step has no floor in the plan."), _("Give it one in the job's plan first."))
    check_planned(job, shift_key)
    check_open(who, shift_key)
    if already(who.act_id) is None:
        _check_under_way(who, job, shift_key, now)
    row = ShiftEntry(
        kind=ShiftEntry.Kind.FLOOR_EVEN,
        job=job,
        shift_uuid=shift_key,
        step_key=step.key,
        floor_uuid=zone.zone_id,
        why=trimmed(why)[:400] or None,
    )
    asks = row.why is None and who.source != Source.PHONE and already(who.act_id) is None
    if asks and not any(line.counts and line.entry.step_key == step.key for line in work_logged(job=job)):
        raise NoPassLogged(
            _("No pass of %(grit)s is logged on %(floor)s.") % {"grit": step.tool_type.grit, "floor": zone.zone.name},
            _("Log what the set did, or say why the step is done without it."),
            field="why",
        )
    return record_shift(who, job.branch, [], [row], now=now)


def floor_reading(
    who: Who, job: Job, shift_key: UUID, zone: PlanZone, kind: str, reading: float, *, now: datetime
) -> Recorded:
    """Keep a reading of the floor. kind: "gloss" (gloss units) or "clarity" (distinctness of image, per cent).

    Raises ShiftRefused for a reading no meter gives; NotPlanned, ShiftClosed, ShiftAhead.
    """
    check_planned(job, shift_key)
    if already(who.act_id) is None:
        check_open(who, shift_key)
        _check_under_way(who, job, shift_key, now)
    most = _MOST[ShiftEntry.Kind(kind)]
    if not 0 <= reading <= most:
        raise ShiftRefused(
            _("%(reading)s is no reading of a floor.") % {"reading": f"{reading:g}"},
            _("Type 0 to %(most)s.") % {"most": f"{most:g}"},
            field="reading",
        )
    row = ShiftEntry(kind=kind, job=job, shift_uuid=shift_key, floor_uuid=zone.zone_id, reading=reading)
    return record_shift(who, job.branch, [], [row], now=now)


def leave_sets(
    who: Who, job: Job, shift_key: UUID, how: str, *, now: datetime, apart: Mapping[UUID, str] | None = None
) -> Recorded:
    """Answer "How do you leave the sets?", once for every set still out on the shift's outing.

    how: a LeftHow; apart: another answer for some sets, by set id. Sets left in water or dry lie at the site (those in
    a bucket stay in it), those in the van in the outing's van; those that came back are scanned in at the rack.
    One answer of a shift stands: the same again answers with it, another takes its place.
    Raises ShiftRefused when the answer is none of the choices or somebody else gave another; NotPlanned, ShiftClosed,
    ShiftAhead.
    """
    for answer in (how, *(apart or {}).values()):
        if answer not in LeftHow.values:
            raise ShiftRefused(_("That is not one of the answers."), _("Choose how the sets are left."))
    check_planned(job, shift_key)
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=job.pk)
        outing = outing_now(job, shift_key, now)
        states = sets_out([outing.pk]) if outing is not None else []
        rows = []
        if already(who.act_id) is None:
            check_open(who, shift_key)
            _check_under_way(who, job, shift_key, now)
            for said in _left_before(who, shift_key):
                if said.left_how == how and all(state.facts.get("left_how") == how for state in states) and not apart:
                    return Recorded(said.act, (), again=True)
                rows.append(_instead_of(who, said))
        lines = []
        for state in states:
            answer = (apart or {}).get(state.pk, how)
            columns: dict[str, Any] = {"left_how": answer, "shift_uuid": shift_key}
            in_bucket = state.place is not None and state.place.kind == PlaceKind.BUCKET
            if answer == LeftHow.IN_VAN and outing is not None:
                columns["to_place"] = outing.van
            elif answer in (LeftHow.IN_WATER, LeftHow.DRY) and not (in_bucket and answer == LeftHow.IN_WATER):
                columns["to_place"] = job.site.place
            lines.append(NewLine("seen", state.tool_set, None, columns))
        rows.append(ShiftEntry(kind=ShiftEntry.Kind.LEFT, job=job, shift_uuid=shift_key, left_how=how))
        return record_shift(who, job.branch, lines, rows, now=now)


def _left_before(who: Who, shift_key: UUID) -> list[ShiftEntry]:
    """What was answered of how the sets are left and stands; a phone's or a paper's word comes beside it."""
    if who.source in (Source.PHONE, Source.PAPER):
        return []
    return [row for row in standing_rows([shift_key]) if row.kind == ShiftEntry.Kind.LEFT]


def _instead_of(who: Who, said: ShiftEntry) -> ShiftEntry:
    """The row that takes back an answer for another. Raises ShiftRefused for somebody else's without the right."""
    person = who.entered_by or who.done_by
    if person.pk not in (said.act.done_by_id, said.act.entered_by_id) and not person.can(Right.SETTLE):
        raise ShiftRefused(
            _("%(person)s has said how the sets are left: %(how)s.")
            % {"person": said.act.done_by.name, "how": said.get_left_how_display()},
            _("Ask the shop manager to change it."),
        )
    return ShiftEntry(
        kind=ShiftEntry.Kind.VOIDED,
        job=said.job,
        shift_uuid=said.shift_uuid,
        void_target=said.pk,
        why=_("answered anew"),
    )


def _check_under_way(who: Who, job: Job, shift_key: UUID, now: datetime) -> None:
    """Refuse to say of a shift that has not begun how it went; a crew that began early has logged work on it."""
    if who.source not in (Source.PHONE, Source.PAPER) and not work_logged(shift_keys=[shift_key]):
        mend = _("Say it when it has begun. If it begins earlier, change its time in the plan.")
        check_begun(job, shift_key, now, mend)


def close_shift(who: Who, job: Job, shift_key: UUID, *, now: datetime) -> Recorded:
    """Close a shift: its lines are changed by whoever settles from then on. Closing twice answers the same.

    Raises NotPlanned for a shift no version of the job's plan has, ShiftAhead for one that has not begun.
    """
    check_planned(job, shift_key)
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=job.pk)
        closing = closing_of(shift_key)
        if closing is not None:
            return Recorded(closing.act, (), again=True)
        if already(who.act_id) is None:
            _check_under_way(who, job, shift_key, now)
        row = ShiftEntry(kind=ShiftEntry.Kind.CLOSED, job=job, shift_uuid=shift_key)
        return record_shift(who, job.branch, [], [row], now=now)


def no_work(
    who: Who, job: Job, shift_key: UUID, *, now: datetime, step_key: UUID | None = None, why: str = ""
) -> Recorded:
    """Say that nothing was polished on a shift, or not in one step of it.

    Said before and standing, it answers with that. Raises NotPlanned; ShiftClosed; ShiftAhead for a shift that has not
    begun.
    """
    check_planned(job, shift_key, step_key)
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=job.pk)
        if already(who.act_id) is None:
            check_open(who, shift_key)
            check_begun(job, shift_key, now, _("If nobody will go, take it out of the job's plan."))
            for said in standing_rows([shift_key]):
                if (said.kind, said.step_key) == (ShiftEntry.Kind.NO_WORK, step_key):
                    return Recorded(said.act, (), again=True)
        row = ShiftEntry(
            kind=ShiftEntry.Kind.NO_WORK,
            job=job,
            shift_uuid=shift_key,
            step_key=step_key,
            why=why.strip()[:400] or None,
        )
        return record_shift(who, job.branch, [], [row], now=now)
