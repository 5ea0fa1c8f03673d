"""Sites, jobs and work out of a shop's own lists, through the actions that make them one by one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import NAMESPACE_OID, UUID, uuid5

from django.utils.translation import gettext as _

from inventory.actions.bring_in import Desk, begin_before
from inventory.actions.ledger import NewLine
from inventory.actions.work import WorkedFacts
from inventory.models import Machine, Person, ToolSet, ToolType
from inventory.models.choices import Bond, Coating, Hardness, StepKind, Surface, WetDry
from inventory.sheets.words import squeezed
from inventory.times import zone_of
from jobs.actions.plan import free_name, make_job, save_plan
from jobs.actions.site import save_site, save_zone
from jobs.actions.take_back import as_it_is
from jobs.models import Job, JobKind, JobPlan, PlanStep, Site, Standing, Zone
from jobs.plan_draft import PlanDraft, ShiftDraft, StepDraft, ZoneDraft
from jobs.queries.plan import current_plans
from jobs.sheets.specs import JobRow, JobSaid, SiteRow, WorkRow, group_jobs, job_key

# Passes of a first step and of later ones where a list names none (DESIGN 4, common practice).
FIRST_PASSES, LATER_PASSES = 7, 5
# The chance of a bid of which nobody says one, as the plan's form has it. Our assumption; said on the page.
BID_CHANCE = 0.5
# When a night starts and how long it is where a list says only the day. Our assumption; said on the page.
NIGHT_FROM, NIGHT_HOURS = time(20), 8
LINES_AN_ACT = 200


@dataclass
class Made:
    """What came in: kind and key of what each row's id made, in the order given; other things made beside them."""

    things: list[tuple[UUID, str, str]] = field(default_factory=list)
    beside: list[tuple[str, str]] = field(default_factory=list)

    def keep_as(self, thing: Job | Site | Zone) -> None:
        """Remember how a thing is now that it came in, so that a change by hand is seen when the list goes back."""
        self.beside.append(("as", as_it_is(thing)))


def bring_in_sites(by: Desk, items: Sequence[tuple[UUID, SiteRow]]) -> Made:
    """Keep floors and sites; a floor whose name its site has already takes the next number. Inside a transaction."""
    made = Made()
    for key, row in items:
        site = _site(by, row.site_key, row.site, row.address, made)
        if not row.zone:
            made.things.append((key, "site", str(site.pk)))
            continue
        zone = Zone.objects.filter(pk=key).first()
        name = row.zone if zone is not None else free_name(row.zone, _zone_names(site))
        facts: dict[str, Any] = {
            "area_m2": row.area_m2,
            "edge_m": row.edge_m or 0.0,
            "hardness": row.hardness or Hardness.UNKNOWN,
            "surface": row.surface or Surface.RAW,
            "coating": row.coating or Coating.NONE,
            "section_m2": row.section_m2,
            "notes": row.note,
        }
        made.keep_as(save_zone(site, name=name, zone=zone, zone_id=key, sure=True, **facts))
        made.things.append((key, "zone", str(key)))
    return made


def _site(by: Desk, key: str, name: str, address: str, made: Made) -> Site:
    """The site a row means: one the shop has, or a new one; one that was taken back comes back."""
    if key:
        return Site.objects.get(pk=int(key), branch=by.branch)
    there = Site.objects.filter(branch=by.branch, name=name).first()
    if there is None:
        there = next(
            (one for one in Site.objects.filter(branch=by.branch) if squeezed(one.name) == squeezed(name)), None
        )
    if there is None:
        there = save_site(by.branch, name=name, address=address)
        made.beside.append(("site", str(there.pk)))
        made.keep_as(there)
    elif not there.active or (address and not there.address):
        came_back = not there.active
        there = save_site(
            by.branch,
            name=there.name,
            address=there.address or address,
            time_zone=there.time_zone,
            notes=there.notes,
            site=there,
        )
        if came_back:
            made.beside.append(("site", str(there.pk)))
        made.keep_as(there)
    return there


def _zone_names(site: Site) -> set[str]:
    return set(site.zones.values_list("name", flat=True))


# --- jobs ---


def bring_in_jobs(by: Desk, items: Sequence[tuple[UUID, JobRow]]) -> Made:
    """Make jobs with their first plan; the rows of one job make one. Inside a transaction.

    Not said: past jobs count as done, coming ones as won. Nights without a time start at 20:00 for 8 h. A step whose
    floor is not named and not plain stands in the plan's notes.
    """
    made = Made()
    first: dict[str, UUID] = {}
    for key, row in items:
        first.setdefault(job_key(row.job), key)
    types = ToolType.objects.in_bulk()
    taken = set(Job.objects.filter(branch=by.branch).values_list("name", flat=True))
    for said in group_jobs([row for _key, row in items]):
        head = said.head
        site = _site(by, head.site_key, head.site or head.job, "", made)
        key = first[job_key(head.job)]
        old = Job.objects.filter(pk=key).first()
        if old is not None and not _cancelled(old):  # taken back, then taken up again by hand: that one stays as it is
            key = first[job_key(head.job)] = uuid5(by.key, str(key))
            old = None
        draft = _draft(by, said, site, types, made)
        if old is None:
            name = free_name(head.site if head.unnamed else head.job, taken)
            taken.add(name)
            kept = make_job(by.person, by.branch, site, name, draft, now=by.now, job_id=key, sure=True)
        else:  # taken back before: its plan comes back as the next version
            kept = save_plan(by.person, old, draft, now=by.now, sure=True)
        made.keep_as(kept.plan.job)
    made.things += [(key, "job", str(first[job_key(row.job)])) for key, row in items]
    return made


def _cancelled(job: Job) -> bool:
    newest = JobPlan.objects.filter(job=job).order_by("-number").first()
    return newest is not None and newest.standing == Standing.CANCELLED


def _draft(by: Desk, said: JobSaid, site: Site, types: dict[int, ToolType], made: Made) -> PlanDraft:
    head = said.head
    today = by.now.astimezone(zone_of(by.branch)).date()
    starts = head.starts_on or today
    standing = head.standing
    if not standing and head.award_chance is None:
        standing = Standing.WON if starts >= today else Standing.DONE
    floors = list(site.zones.all())
    zones = {squeezed(zone.name): zone for zone in floors if zone.active}
    closed = {squeezed(zone.name): zone for zone in floors if not zone.active}
    planned: dict[str, ZoneDraft] = {}
    for name, area_m2 in said.zones:
        zone = zones.get(squeezed(name)) if name else (next(iter(zones.values())) if len(zones) == 1 else None)
        if zone is None and area_m2:
            zone = _floor(site, name or _("Main floor"), area_m2, zones, closed, made)
        if zone is not None:
            planned[squeezed(name)] = ZoneDraft(zone, area_m2)
    if not planned and len(zones) == 1:
        planned[""] = ZoneDraft(next(iter(zones.values())))
    shifts = _shifts(by, said, starts)
    steps, homeless = _steps(said, planned, shifts, types)
    notes = [head.note] if head.note else []
    if homeless:
        notes.append(_("Steps of the list whose floor is not known: %(steps)s.") % {"steps": ", ".join(homeless)})
    return PlanDraft(
        starts_on=starts,
        kind=head.job_kind or JobKind.FULL,
        standing=standing or Standing.BID,
        award_chance=(BID_CHANCE if (standing or Standing.BID) == Standing.BID else 1.0)
        if head.award_chance is None
        else head.award_chance,
        finish_level=head.finish_level,
        notes="\n".join(notes),
        zones=tuple({draft.zone.pk: draft for draft in planned.values()}.values()),
        steps=steps,
        shifts=tuple(shifts.values()),
    )


def _floor(site: Site, name: str, area_m2: float, zones: dict[str, Zone], closed: dict[str, Zone], made: Made) -> Zone:
    """The floor of a name: the one there is, one that was closed (it opens again), or a new one."""
    form = squeezed(name)
    if form in zones:
        return zones[form]
    old = closed.get(form)
    if old is not None:
        Zone.objects.filter(pk=old.pk).update(active=True)
        old.active = True
    zone = old or save_zone(site, name=name, area_m2=area_m2, sure=True)
    zones[form] = zone
    made.beside.append(("zone", str(zone.pk)))
    made.keep_as(zone)
    return zone


def _shifts(by: Desk, said: JobSaid, starts: date) -> dict[date, ShiftDraft]:
    """A shift a night: on the days of the steps, or from the start on for so many nights."""
    head = said.head
    days = sorted({step.on for _zone, step in said.steps if step.on is not None})
    nights = head.nights or (min((head.ends_on - starts).days + 1, 60) if head.ends_on else 0)
    if not days:
        days = [starts + timedelta(days=number) for number in range(nights)]
    found = {}
    for day in days:
        at = datetime.combine(day, NIGHT_FROM, zone_of(by.branch))
        found[day] = ShiftDraft(at, at + timedelta(hours=NIGHT_HOURS))
    return found


def _steps(
    said: JobSaid, planned: dict[str, ZoneDraft], shifts: dict[date, ShiftDraft], types: dict[int, ToolType]
) -> tuple[tuple[StepDraft, ...], list[str]]:
    """The steps, coarse to fine on each floor, and the words of those whose floor is not known."""
    only = next(iter(planned.values())) if len({draft.zone.pk for draft in planned.values()}) == 1 else None
    drafts: list[StepDraft] = []
    homeless: list[str] = []
    counts: dict[UUID, int] = {}
    for zone_name, step in sorted(said.steps, key=lambda row: types[int(row[1].tool_type)].ladder_place):
        tool_type = types[int(step.tool_type)]
        floor = planned.get(squeezed(zone_name)) or only
        if floor is None:
            homeless.append(tool_type.name)
            continue
        number = counts[floor.zone.pk] = counts.get(floor.zone.pk, 0) + 1
        upkeep = said.head.job_kind == JobKind.UPKEEP
        drafts.append(
            StepDraft(
                floor.zone.pk,
                tool_type,
                step.passes or (FIRST_PASSES if number == 1 and not upkeep else LATER_PASSES),
                step_kind=StepKind.UPKEEP if upkeep else StepKind.FIRST_CUT if number == 1 else StepKind.LATER,
                wet_dry=tool_type.wet_dry,
                shift_key=shifts[step.on].key if step.on in shifts else None,
            )
        )
    return tuple(drafts), homeless


# --- work ---


def bring_in_work(by: Desk, items: Sequence[tuple[UUID, WorkRow]]) -> Made:
    """Keep lines of work, an act a day and person; sets that began after it begin before it. Inside a transaction.

    The floor's facts are those of the zone as it stands. The step is the plan's where the plan has one of that tool
    type on that floor; without a job the work of a month on one site counts as one visit (our assumption).
    """
    sets = ToolSet.objects.select_related("tool_type").in_bulk([UUID(row.set_key) for _key, row in items])
    zones = {str(row.pk): row for row in Zone.objects.filter(site__branch=by.branch)}
    places = {str(pk): place for pk, place in Site.objects.filter(branch=by.branch).values_list("pk", "place_id")}
    jobs = {UUID(row.job_key) for _key, row in items if row.job_key}
    plans = {plan.job_id: plan for plan in current_plans(by.branch, jobs=jobs)} if jobs else {}
    machines = {squeezed(row.name): row for row in Machine.objects.filter(branch=by.branch)}
    days: dict[UUID, date] = {}
    # Done by whom the list names, entered by who brings it in.
    people = {str(row.pk): row for row in Person.objects.filter(branch=by.branch)}
    by_day: dict[tuple[date, str], list[NewLine]] = {}
    made = Made()
    for key, row in items:
        tool_set = sets[UUID(row.set_key)]
        days[tool_set.pk] = min(days.get(tool_set.pk, row.on), row.on)
        # A line that was taken back keeps its key in the ledger: brought in again it is a new line.
        line = _line(by, key, row, tool_set, zones, places, plans, machines)
        by_day.setdefault((row.on, row.person), []).append(line)
        made.things.append((key, "work", str(line.id)))
    begin_before(by, days)
    for day, person in sorted(by_day):
        lines = by_day[day, person]
        for start in range(0, len(lines), LINES_AN_ACT):
            part = lines[start : start + LINES_AN_ACT]
            by.write(f"work {day} {person} {start}", part, by.noon(day), done_by=people.get(person))
    return made


def _line(
    by: Desk,
    key: UUID,
    row: WorkRow,
    tool_set: ToolSet,
    zones: dict[str, Zone],
    places: dict[str, UUID],
    plans: dict[UUID, JobPlan],
    machines: dict[str, Machine],
) -> NewLine:
    zone = zones.get(row.zone_key)
    plan = plans.get(UUID(row.job_key)) if row.job_key else None
    site = places.get(row.site_key)
    visit = UUID(row.job_key) if row.job_key else uuid5(NAMESPACE_OID, f"visit {site} {row.on:%Y-%m}")
    floor = zone.pk if zone is not None else uuid5(NAMESPACE_OID, f"floor of {site or visit}")
    step = _step(plan, floor, tool_set)
    kind = step.step_kind if step is not None else StepKind.LATER
    if step is None and tool_set.tool_type.bond == Bond.METAL:
        kind = StepKind.FIRST_CUT
    facts = WorkedFacts(
        tool_set,
        floor,
        visit,
        step.key if step is not None else uuid5(visit, f"{floor} {tool_set.tool_type_id}"),
        row.area_m2,
        row.passes,
        hardness=zone.hardness if zone is not None else Hardness.UNKNOWN,
        surface=zone.surface if zone is not None else Surface.RAW,
        coating=zone.coating if zone is not None else Coating.NONE,
        wet_dry=row.wet_dry or (step.wet_dry if step is not None else tool_set.tool_type.wet_dry) or WetDry.WET,
        step_kind=kind,
        basis=row.basis,
        shift_uuid=_shift(by, plan, row.on),
        machine=machines.get(squeezed(row.machine)) if row.machine else None,
        value=row.value,
        unit=row.unit,
        id=uuid5(by.key, str(key)),
    )
    words = [row.note] if row.note else []
    if row.machine and facts.machine is None:
        words.append(_("machine: %(name)s") % {"name": row.machine})
    if row.who:
        words.append(_("done by: %(name)s") % {"name": row.who})
    if row.entered_total:
        words.append(_("entered as all passes together"))
    line = facts.line()
    line.columns["why"] = "; ".join(words)[:400] or None
    return line


def _step(plan: JobPlan | None, floor: UUID, tool_set: ToolSet) -> PlanStep | None:
    """The plan's step of this tool type on this floor; on another floor of the plan if it has only one such."""
    if plan is None:
        return None
    of_type = [step for step in plan.steps.all() if step.tool_type_id == tool_set.tool_type_id]
    keys = {row.key for row in plan.zones.all() if row.zone_id == floor or row.key == floor}
    here = [step for step in of_type if step.zone_key in keys]
    return here[0] if here else of_type[0] if len(of_type) == 1 and not keys else None


def _shift(by: Desk, plan: JobPlan | None, day: date) -> UUID | None:
    """The plan's shift that starts on a day."""
    if plan is None:
        return None
    zone = zone_of(by.branch)
    return next((row.key for row in plan.shifts.all() if row.starts_at.astimezone(zone).date() == day), None)
