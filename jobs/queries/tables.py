"""The tables of `jobs` that go out as files: sites, floors, jobs with their plans, shifts, work, reservations."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from inventory.models import Entry
from inventory.queries.ledger_table import KEY
from inventory.rights import Right
from inventory.tables import Column, For, Table
from jobs.models import Job, JobPlan, PlanShift, PlanStep, PlanZone, Reservation, Site, Zone
from jobs.queries.plan import current_plans, nights_of

_PLANNERS = (Right.PLAN, Right.RUN_SHOP)
_CHUNK = 2000


def _floors(asked: For) -> Iterable[tuple[Site, Zone | None]]:
    for site in Site.objects.filter(branch=asked.branch).prefetch_related("zones").order_by("name"):
        zones: list[Zone | None] = [*sorted(site.zones.all(), key=lambda zone: zone.name)]
        yield from ((site, zone) for zone in zones or [None])


def _zone(name: str) -> Any:
    def value(row: Any, _asked: For) -> Any:
        found = None if row[1] is None else getattr(row[1], name)
        return found() if callable(found) else found

    return value


def _edge(row: Any, asked: For) -> float | None:
    """The edge length; 0 is what a floor has whose edge nobody said."""
    return asked.length(row[1].edge_m) if row[1] is not None and row[1].edge_m else None


SITES = Table(
    "sites",
    _("Sites and floors"),
    _("Every site, a line a floor."),
    (
        Column(_("Site"), lambda row, _asked: row[0].name),
        Column(_("Address"), lambda row, _asked: row[0].address),
        Column(_("Floor"), _zone("name")),
        Column(_("Area (%(area)s)"), lambda row, asked: asked.area(row[1].area_m2) if row[1] else None),
        Column(_("Edge length (%(length)s)"), _edge),
        Column(_("Hardness"), _zone("get_hardness_display")),
        Column(_("Surface"), _zone("get_surface_display")),
        Column(_("Coating"), _zone("get_coating_display")),
        Column(_("Section (%(area)s)"), lambda row, asked: asked.area(row[1].section_m2) if row[1] else None),
        Column(_("Notes"), lambda row, _asked: row[1].notes if row[1] else row[0].notes),
        Column(_("In use"), lambda row, _asked: _now("yes") if (row[1] or row[0]).active else _now("no")),
        Column(KEY, lambda row, _asked: str(row[1].pk) if row[1] else f"site {row[0].pk}"),
    ),
    _floors,
    _PLANNERS,
)

JOBS = Table(
    "jobs",
    _("Jobs"),
    _("Every job by the plan that holds."),
    (
        Column(_("Job"), lambda row, _asked: row.job.name),
        Column(_("Site"), lambda row, _asked: row.job.site.name),
        Column(_("Floors"), lambda row, _asked: ", ".join(zone.zone.name for zone in row.zones.all())),
        Column(_("Area (%(area)s)"), lambda row, asked: asked.area(sum(zone.area_m2 for zone in row.zones.all()))),
        Column(_("Starts on"), lambda row, _asked: row.starts_on),
        Column(_("Nights"), lambda row, _asked: len(row.shifts.all()) or None),
        Column(_("Where it stands"), lambda row, _asked: row.get_standing_display()),
        Column(_("Award chance"), lambda row, _asked: f"{row.award_chance * 100:g} %"),
        Column(_("Kind"), lambda row, _asked: row.get_kind_display()),
        Column(_("Finish level"), lambda row, _asked: row.finish_level),
        Column(_("Dates confirmed"), lambda row, _asked: _now("yes") if row.dates_confirmed else _now("no")),
        Column(_("Plan version"), lambda row, _asked: row.number),
        Column(_("Recorded at"), lambda row, asked: asked.when(row.recorded_at)),
        Column(_("Notes"), lambda row, _asked: row.notes),
        Column(KEY, lambda row, _asked: str(row.job_id)),
    ),
    lambda asked: current_plans(asked.branch),
    _PLANNERS,
)


def _steps(asked: For) -> Iterable[tuple[JobPlan, PlanStep, PlanZone | None]]:
    for plan in current_plans(asked.branch):
        zones = {zone.key: zone for zone in plan.zones.all()}
        for step in plan.steps.all():
            yield plan, step, zones.get(step.zone_key)


PLANS = Table(
    "plans",
    _("Plans, step by step"),
    _("The steps of the plan that holds of every job."),
    (
        Column(_("Job"), lambda row, _asked: row[0].job.name),
        Column(_("Site"), lambda row, _asked: row[0].job.site.name),
        Column(_("Floor"), lambda row, _asked: row[2].zone.name if row[2] else None),
        Column(_("Area (%(area)s)"), lambda row, asked: asked.area(row[2].area_m2) if row[2] else None),
        Column(_("Starts on"), lambda row, _asked: row[0].starts_on),
        Column(_("Where it stands"), lambda row, _asked: row[0].get_standing_display()),
        Column(_("Order"), lambda row, _asked: row[1].order),
        Column(_("Step"), lambda row, _asked: f"{row[1].tool_type.grit} {row[1].tool_type.bond}"),
        Column(_("Tool type"), lambda row, _asked: row[1].tool_type.name),
        Column(_("Passes"), lambda row, _asked: row[1].passes),
        Column(_("Kind of step"), lambda row, _asked: row[1].get_step_kind_display()),
        Column(_("Wet or dry"), lambda row, _asked: row[1].get_wet_dry_display()),
        Column(KEY, lambda row, _asked: str(row[0].job_id)),
    ),
    _steps,
    _PLANNERS,
)


def _shifts(asked: For) -> Iterable[tuple[JobPlan, PlanShift, int, int]]:
    for plan in current_plans(asked.branch):
        for night in nights_of(plan):
            day = night.shift.starts_at.astimezone(asked.zone).date()
            if (asked.since is None or day >= asked.since) and (asked.until is None or day <= asked.until):
                yield plan, night.shift, night.number, night.of


SHIFTS = Table(
    "shifts",
    _("Shifts"),
    _("The nights and days of every job, with lead and machines."),
    (
        Column(_("Job"), lambda row, _asked: row[0].job.name),
        Column(_("Site"), lambda row, _asked: row[0].job.site.name),
        Column(_("Starts"), lambda row, asked: asked.when(row[1].starts_at)),
        Column(_("Ends"), lambda row, asked: asked.when(row[1].ends_at)),
        Column(_("Which"), lambda row, _asked: row[2]),
        Column(_("Of"), lambda row, _asked: row[3]),
        Column(_("Lead"), lambda row, _asked: row[1].lead.name if row[1].lead else None),
        Column(_("Machines"), lambda row, _asked: ", ".join(one.machine.name for one in row[1].machine_rows.all())),
        Column(_("Where it stands"), lambda row, _asked: row[0].get_standing_display()),
        Column(KEY, lambda row, _asked: str(row[1].key)),
    ),
    _shifts,
    _PLANNERS,
    spans=True,
)


def _work(asked: For) -> Iterable[tuple[Entry, bool, str, str, str]]:
    jobs = {job.pk: job for job in Job.objects.filter(branch=asked.branch).select_related("site")}
    zones = {zone.pk: zone for zone in Zone.objects.filter(site__branch=asked.branch).select_related("site")}
    gone = set(
        Entry.objects.filter(kind="voided", act__branch=asked.branch, act__held_back="").values_list(
            "void_target", flat=True
        )
    )
    rows = (
        Entry.objects.filter(kind="worked", act__branch=asked.branch, **asked.span("act__happened_at"))
        .select_related("act__done_by", "tool_set__tool_type", "tool_set__state", "machine")
        .defer("tool_set__state__facts")
        .order_by("act__happened_at", "act__device_seq", "act_id", "line_no")
    )
    for row in rows.iterator(_CHUNK):
        job = jobs.get(row.visit_uuid) if row.visit_uuid else None
        zone = zones.get(row.floor_uuid) if row.floor_uuid else None
        site = job.site.name if job else zone.site.name if zone else ""
        yield row, row.pk in gone, job.name if job else "", site, zone.name if zone else ""


WORK = Table(
    "work",
    _("Work"),
    _("What every set polished, line by line; by the days it happened."),
    (
        Column(_("Set"), lambda row, _asked: _code(row[0])),
        Column(_("Day"), lambda row, asked: asked.when(row[0].act.happened_at).date()),  # type: ignore[union-attr]
        Column(_("Job"), lambda row, _asked: row[2]),
        Column(_("Site"), lambda row, _asked: row[3]),
        Column(_("Floor"), lambda row, _asked: row[4]),
        Column(_("Step"), lambda row, _asked: f"{row[0].tool_set.tool_type.grit} {row[0].tool_set.tool_type.bond}"),
        Column(_("Area per pass (%(area)s)"), lambda row, asked: asked.area(row[0].area_m2)),
        Column(_("Passes"), lambda row, _asked: row[0].passes),
        Column(_("How it is known"), lambda row, _asked: row[0].get_basis_display()),
        Column(_("Wet or dry"), lambda row, _asked: row[0].get_wet_dry_display()),
        Column(_("Hardness"), lambda row, _asked: row[0].get_hardness_display()),
        Column(_("Surface"), lambda row, _asked: row[0].get_surface_display()),
        Column(_("Machine"), lambda row, _asked: row[0].machine.name if row[0].machine else None),
        Column(_("Note"), lambda row, _asked: row[0].why),
        Column(_("Done by"), lambda row, _asked: row[0].act.done_by.name),
        Column(_("Voided"), lambda row, _asked: _now("yes") if row[1] else _now("no")),
        Column(KEY, lambda row, _asked: str(row[0].pk)),
    ),
    _work,
    _PLANNERS,
    spans=True,
)


def _code(row: Entry) -> str:
    assert row.tool_set is not None
    state = getattr(row.tool_set, "state", None)
    return (state.code if state is not None else "") or row.tool_set.own_code


RESERVATIONS = Table(
    "reservations",
    _("Reservations"),
    _("Which set is meant for which step."),
    (
        Column(_("Job"), lambda row, _asked: row.job.name),
        Column(_("Tool type"), lambda row, _asked: row.tool_set.tool_type.name),
        Column(_("Set"), lambda row, _asked: row.tool_set.state.code or row.tool_set.own_code),
        Column(_("First or second"), lambda row, _asked: row.order),
        Column(_("Locked"), lambda row, _asked: _now("yes") if row.locked else _now("no")),
        Column(_("Made at"), lambda row, asked: asked.when(row.made_at)),
        Column(_("Made by"), lambda row, _asked: row.made_by.name),
        Column(_("Ended at"), lambda row, asked: asked.when(row.ended_at)),
        Column(_("Key of the step"), lambda row, _asked: str(row.step_key)),
    ),
    lambda asked: (
        Reservation.objects.filter(job__branch=asked.branch)
        .select_related("job", "tool_set__tool_type", "tool_set__state", "made_by")
        .defer("tool_set__state__facts")
        .order_by("job__name", "pk")
    ),
    _PLANNERS,
)

TABLES = (SITES, JOBS, PLANS, SHIFTS, WORK, RESERVATIONS)
