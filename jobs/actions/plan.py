"""Plans of jobs: each saved change is a new whole version; nothing of an older one is touched."""

from __future__ import annotations

from collections.abc import Container, Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.models import Branch, Machine, Person, ToolType
from inventory.queries.catalogue import closed_names
from inventory.refusals import Refused
from inventory.shop_settings import settings_of
from inventory.times import show_day
from inventory.units import Units, judge_area, judge_passes
from jobs.ladder_words import why_not_words
from jobs.laddering import step_of
from jobs.models import Job, JobPlan, PlanShift, PlanShiftMachine, PlanStep, PlanZone, Site, Standing
from jobs.numerics.ladder_choice import skipped_grits
from jobs.plan_draft import PlanDraft, ShiftDraft, StepDraft, content, draft_of, what_changed
from jobs.queries.plan import plan_of

# What a standing says of the chance by itself: won means it happens (DESIGN 2, award chance).
SURE_OF = {Standing.WON: 1.0, Standing.DONE: 1.0, Standing.LOST: 0.0, Standing.CANCELLED: 0.0}
# Days a plan may have: from the first, up to this many years ahead (our assumption).
_FIRST_DAY, _YEARS_AHEAD = date(2000, 1, 1), 5


class PlanRefused(Refused):
    """A plan cannot be kept as it was said."""

    code = "plan"


class DoesNotFit(PlanRefused):
    """A step's sets fit none of its shift's machines; `machine` is the first, whose facts may be what is wrong."""

    code = "does_not_fit"

    def __init__(self, machine: Machine, why: str, next_step: str, *, field: str = "") -> None:
        super().__init__(why, next_step, field=field)
        self.machine = machine


class PlanAsked(PlanRefused):
    """Something in a plan is unlikely: asked, kept when said to be right (``sure``)."""

    code = "plan_asked"


class PlanMovedOn(PlanRefused):
    """Somebody kept another version since this one was opened."""

    code = "plan_moved_on"


@dataclass(frozen=True)
class Planned:
    """The version that now holds; made: whether this call wrote it; warnings: sentences that are not in the way."""

    plan: JobPlan
    made: bool
    warnings: tuple[str, ...] = ()


def free_name(name: str, taken: Container[str]) -> str:
    """The name, or with the next free number behind it: "Hall 2". Days are no part of a job's name: they move."""
    if name not in taken:
        return name
    return next(free for number in range(2, 10_000) if (free := f"{name[:74]} {number}") not in taken)


def make_job(
    person: Person,
    branch: Branch,
    site: Site,
    name: str,
    draft: PlanDraft,
    *,
    now: datetime,
    job_id: UUID | None = None,
    sure: bool = False,
    units: Units = "us",
) -> Planned:
    """Make a job with its first version. job_id: a key made by the caller, so that a second press makes no second job.

    Raises PlanRefused for no name, a name another job has, and whatever ``save_plan`` refuses.
    """
    name = name.strip()
    if not name:
        raise PlanRefused(_("A job needs a name."), _("Such as the site and the floor."), field="name")
    with transaction.atomic():
        if job_id is not None and (known := Job.objects.filter(pk=job_id, branch=branch).first()) is not None:
            plan = plan_of(known)
            assert plan is not None
            return Planned(plan, False)
        if Job.objects.filter(branch=branch, name=name).exists():
            raise PlanRefused(
                _("There is a job “%(name)s” already.") % {"name": name},
                _("Open that one, or give this one another name."),
                field="name",
            )
        job = Job.objects.create(id=job_id or uuid4(), branch=branch, site=site, name=name, made_at=now)
        return save_plan(person, job, draft, edited_from=0, now=now, sure=sure, units=units)


def save_plan(
    person: Person,
    job: Job,
    draft: PlanDraft,
    *,
    now: datetime,
    edited_from: int | None = None,
    sure: bool = False,
    units: Units = "us",
) -> Planned:
    """Keep a draft as the job's next version; the same content as the newest adds nothing.

    edited_from: the number of the version the draft was made from (0 before the first; None: do not ask).
    sure: what is only unlikely has been said to be right. units: the person's, for the sentences. A job that is won or
    done is kept with the chance 1, one lost or cancelled with 0, whatever the draft says; a shift on a closed day and a
    ladder that skips a grit are warned about.
    Raises PlanMovedOn when another version came in between, saying what it changed; PlanAsked for a start in the past
    and an unlikely area; PlanRefused for a step without passes or floor, a floor of another site, without area or with
    one nobody polishes, an edge below zero, a shift that stands twice or ends before it starts, a day before 2000 or
    more than 5 years ahead, a chance outside 0 to 1, a machine that no step of its shift fits.
    """
    _check_chance(draft)
    draft = replace(draft, award_chance=SURE_OF.get(Standing(draft.standing), draft.award_chance))
    with transaction.atomic():
        job = Job.objects.select_for_update().select_related("site", "branch").get(pk=job.pk)
        zone = ZoneInfo(job.branch.time_zone)
        today = now.astimezone(zone).date()
        newest = plan_of(job)
        before = None if newest is None else draft_of(newest)
        if newest is not None and before is not None and content(before) == content(draft):
            return Planned(newest, False)
        if newest is not None and edited_from is not None and edited_from != newest.number:
            _moved_on(job, newest, edited_from, units)
        _check(job, draft, today, units)
        if not sure:
            _ask_areas(draft, before, units)
            if before is None or before.starts_on != draft.starts_on:
                _ask_past(draft, today)
        plan = _write(person, job, draft, now)
        settings = settings_of(job.branch, today=today)
        warnings = [*ladder_warnings(draft.steps, settings["grit_ratio"]), *closed_warnings(job, draft.shifts, now)]
        return Planned(plan, True, tuple(warnings))


def mark(
    person: Person, job: Job, standing: str, *, now: datetime, edited_from: int | None = None, units: Units = "us"
) -> Planned:
    """Say where a job stands: won or done (chance 1), lost or cancelled (chance 0), or a bid again (its last chance).

    Raises PlanRefused when the job has no plan yet; PlanMovedOn as ``save_plan``.
    """
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=job.pk)
        newest = plan_of(job)
        if newest is None:
            raise PlanRefused(_("This job has no plan yet."), _("Keep one first."))
        draft = replace(draft_of(newest), standing=standing)
        if standing == Standing.BID:
            called = JobPlan.objects.filter(job=job, standing=Standing.BID).order_by("-number")
            said = called.values_list("award_chance", flat=True).first()
            draft = replace(draft, award_chance=newest.award_chance if said is None else said)
        return save_plan(person, job, draft, now=now, edited_from=edited_from, sure=True, units=units)


def fits(tool_type: ToolType, machine: Machine) -> list[str]:
    """Why a tool type's sets do not fit a machine, in words; [] when mount, pieces, hands and water all fit.

    A mount that one of the two does not say is not known, and stands in nobody's way.
    """
    return why_not_words(tool_type, machine)


def ladder_warnings(steps: Iterable[StepDraft], ratio: float) -> list[str]:
    """Sentences about ladders that skip a grit: a step up of more than ``ratio`` within one bond of one floor.

    A change of bond may step back; grits that are no numbers are passed over. The ratio is the shop's (REFERENCES P7:
    about double the last is advice).
    """
    floors: dict[UUID, list[ToolType]] = {}
    for step in steps:
        floors.setdefault(step.zone_key, []).append(step.tool_type)
    return list(
        dict.fromkeys(
            _("From %(low)s to %(high)s skips a grit: more than %(ratio)s times finer.")
            % {"low": types[skip.coarser].grit, "high": types[skip.finer].grit, "ratio": f"{ratio:g}"}
            for ladder in floors.values()
            for types in [{one.pk: one for one in ladder}]
            for skip in skipped_grits([step_of(one) for one in ladder], ratio)
        )
    )


def closed_warnings(job: Job, shifts: Iterable[ShiftDraft], now: datetime) -> list[str]:
    """A sentence for each coming shift that starts on a day the shop is closed, with the day's reason; one query."""
    ahead = sorted(shift.starts_at for shift in shifts if shift.ends_at > now)
    zone, closed = ZoneInfo(job.branch.time_zone), closed_names(job.branch) if ahead else {}
    days = dict.fromkeys(at.astimezone(zone).date() for at in ahead)
    return [closed_words(day, closed[day]) for day in days if day in closed]


def closed_words(day: date, name: str) -> str:
    """ "The shop is closed on Thu 26 Nov: Harvest day."."""
    if name:
        return _("The shop is closed on %(day)s: %(why)s.") % {"day": show_day(day), "why": name.rstrip(".")}
    return _("The shop is closed on %(day)s.") % {"day": show_day(day)}


def _moved_on(job: Job, newest: JobPlan, edited_from: int, units: Units) -> None:
    old = plan_of(job, number=edited_from) if edited_from else None
    zone = ZoneInfo(job.branch.time_zone)
    said = what_changed(None if old is None else draft_of(old), draft_of(newest), units, zone)
    raise PlanMovedOn(
        _("%(who)s kept version %(number)s meanwhile: %(changes)s.")
        % {"who": newest.recorded_by.name, "number": newest.number, "changes": "; ".join(said)},
        _("Look at it, then change what still needs changing."),
    )


def _ask_past(draft: PlanDraft, today: date) -> None:
    if draft.standing in (Standing.BID, Standing.WON) and draft.starts_on < today:
        raise PlanAsked(
            _("%(day)s is past. Correct it, or keep it if right.") % {"day": show_day(draft.starts_on)},
            field="starts_on",
        )


def _ask_areas(draft: PlanDraft, before: PlanDraft | None, units: Units) -> None:
    """Ask about unlikely areas this draft is the first to say: not the floor's own, nor those of the version before."""
    known = set() if before is None else {(row.key, row.area_m2) for row in (one.filled() for one in before.zones)}
    for row in (one.filled() for one in draft.zones):
        judged = judge_area(row.area_m2, units, of="zone")
        if judged.answer == "ask" and row.area_m2 != row.zone.area_m2 and (row.key, row.area_m2) not in known:
            raise PlanAsked(f"{row.zone.name}: {judged.sentence}", field="zones")


def _check_days(draft: PlanDraft, zone: ZoneInfo, today: date) -> None:
    """Refuse days no plan has, by a mistyped year, before anything works with them."""
    latest = date(today.year + _YEARS_AHEAD, today.month, min(today.day, 28))
    days = [(draft.starts_on, "starts_on")]
    days += [(at.astimezone(zone).date(), "shifts") for row in draft.shifts for at in (row.starts_at, row.ends_at)]
    for day, field in days:
        if day < _FIRST_DAY:
            words = _("%(day)s is before any of this. Check the year.")
        elif day > latest:
            words = _("%(day)s is more than 5 years ahead. Check the year.")
        else:
            continue
        raise PlanRefused(words % {"day": day.isoformat()}, field=field)


def _check_chance(draft: PlanDraft) -> None:
    if not 0 <= draft.award_chance <= 1:
        raise PlanRefused(
            _("A chance of %(chance)s %% is none.") % {"chance": f"{draft.award_chance * 100:g}"},
            _("Take 0 to 100 %."),
            field="award_chance",
        )


def _check(job: Job, draft: PlanDraft, today: date, units: Units) -> None:
    _check_days(draft, ZoneInfo(job.branch.time_zone), today)
    if draft.finish_level is not None and draft.finish_level not in (1, 2, 3, 4):
        raise PlanRefused(_("A finish is level 1 to 4."), field="finish_level")
    keys: set[UUID] = set()
    for zone in (row.filled() for row in draft.zones):
        named = {"zone": zone.zone.name}
        if zone.zone.site_id != job.site_id:
            raise PlanRefused(
                _("“%(zone)s” is no floor of %(site)s.") % {"zone": zone.zone.name, "site": job.site.name},
                _("Take one of its floors, or add one to the site."),
                field="zones",
            )
        if not zone.area_m2 > 0:
            raise PlanRefused(_("“%(zone)s” has no area.") % named, _("Type its floor area."), field="zones")
        judged = judge_area(zone.area_m2, units, of="zone")
        if judged.answer == "refuse":
            raise PlanRefused(f"{zone.zone.name}: {judged.sentence}", field="zones")
        if (zone.edge_m or 0) < 0:
            raise PlanRefused(_("An edge length below zero is none."), _("Type 0 or more."), field="zones")
        if zone.key in keys:
            raise PlanRefused(_("“%(zone)s” stands twice.") % named, _("Take one out."), field="zones")
        keys.add(zone.key)
    if len({shift.key for shift in draft.shifts}) != len(draft.shifts):
        raise PlanRefused(_("A shift stands twice."), _("Take one out."), field="shifts")
    _check_steps(draft, keys)
    for shift in draft.shifts:
        _check_shift(draft, shift, ZoneInfo(job.branch.time_zone))


def _check_steps(draft: PlanDraft, zone_keys: set[UUID]) -> None:
    shift_keys = {shift.key for shift in draft.shifts}
    if len({step.key for step in draft.steps}) != len(draft.steps):
        raise PlanRefused(_("A step stands twice."), _("Take one out."), field="steps")
    for step in draft.steps:
        grit = step.tool_type.grit
        if step.zone_key not in zone_keys:
            raise PlanRefused(
                _("Step %(grit)s has no floor in this plan.") % {"grit": grit}, _("Choose its floor."), field="steps"
            )
        judged = judge_passes(step.passes)
        if judged.answer == "refuse":
            raise PlanRefused(f"{grit}: {judged.sentence}", field="steps")
        if step.shift_key is not None and step.shift_key not in shift_keys:
            raise PlanRefused(
                _("Step %(grit)s names a shift this plan does not have.") % {"grit": grit},
                _("Choose one of its shifts, or leave it open."),
                field="steps",
            )


def _check_shift(draft: PlanDraft, shift: ShiftDraft, zone: ZoneInfo) -> None:
    day = shift.starts_at.astimezone(zone).date()
    # By the instants: on the night the clocks change, the times on the wall do not say which is first.
    if shift.ends_at.astimezone(UTC) <= shift.starts_at.astimezone(UTC):
        raise PlanRefused(
            _("A shift on %(day)s ends before it starts.") % {"day": show_day(day)},
            _("Check both times."),
            field="shifts",
        )
    for machine in shift.machines:
        if (machine.rented_from and day < machine.rented_from) or (machine.rented_to and day > machine.rented_to):
            raise PlanRefused(
                _("%(machine)s is rented, and not on %(day)s.") % {"machine": machine.name, "day": show_day(day)},
                _("Take another machine, or another day."),
                field="shifts",
            )
    if not shift.machines:
        return
    for step in draft.steps:
        if step.shift_key not in (None, shift.key):
            continue
        others = () if step.shift_key is not None else tuple(one for row in draft.shifts for one in row.machines)
        reasons = {machine.name: fits(step.tool_type, machine) for machine in (*shift.machines, *others)}
        if all(reasons.values()):
            name, wrong = next(iter(reasons.items()))
            raise DoesNotFit(
                shift.machines[0],
                _("%(grit)s does not fit %(machine)s: %(why)s.")
                % {"grit": step.tool_type.name, "machine": name, "why": ", ".join(wrong)},
                _("Take another machine or tool type, or mend what is on record of %(machine)s.") % {"machine": name},
                field="shifts",
            )


def _write(person: Person, job: Job, draft: PlanDraft, now: datetime) -> JobPlan:
    plan = JobPlan.objects.create(
        job=job,
        number=job.plan_number + 1,
        recorded_at=now,
        recorded_by=person,
        kind=draft.kind,
        standing=draft.standing,
        award_chance=draft.award_chance,
        starts_on=draft.starts_on,
        dates_confirmed=draft.confirmed,
        finish_level=draft.finish_level,
        notes=draft.notes,
    )
    PlanZone.objects.bulk_create(
        PlanZone(
            plan=plan,
            key=row.key,
            zone=row.zone,
            area_m2=row.area_m2,
            edge_m=row.edge_m,
            hardness=row.hardness,
            surface=row.surface,
            coating=row.coating,
            condition=row.condition,
        )
        for row in (zone.filled() for zone in draft.zones)
    )
    orders: dict[UUID, int] = {}
    steps = []
    for step in draft.steps:
        orders[step.zone_key] = orders.get(step.zone_key, 0) + 1
        steps.append(
            PlanStep(
                plan=plan,
                key=step.key,
                zone_key=step.zone_key,
                order=orders[step.zone_key],
                tool_type=step.tool_type,
                passes=step.passes,
                step_kind=step.step_kind,
                wet_dry=step.wet_dry,
                shift_key=step.shift_key,
            )
        )
    PlanStep.objects.bulk_create(steps)
    for shift in draft.shifts:
        row = PlanShift.objects.create(
            plan=plan, key=shift.key, starts_at=shift.starts_at, ends_at=shift.ends_at, lead=shift.lead
        )
        PlanShiftMachine.objects.bulk_create(PlanShiftMachine(shift=row, machine=one) for one in shift.machines)
    job.plan_number = plan.number
    job.save(update_fields=["plan_number"])
    found = plan_of(job)
    assert found is not None
    return found
