"""A planned job for the tests of jobs: a site with a hall and aisles, two grits, two nights. Everything is invented."""

from __future__ import annotations

from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

from inventory.models import Machine
from jobs.actions.plan import make_job
from jobs.actions.site import save_site, save_zone
from jobs.models import JobPlan, Standing, Zone
from jobs.plan_draft import PlanDraft, ShiftDraft, StepDraft, ZoneDraft
from tests.cast import NOW, TODAY, hours, make_machine, make_type, uuid

# Tuesday 13 May 20:00 at the branch (Chicago): last night, seen from NOW (Wednesday 09:50 there).
LAST_NIGHT = NOW - hours(13.8)
TWO_DAYS_AGO = NOW - hours(48)


def make_hall(cast: SimpleNamespace, site_name: str = "Osprey Lane cold store", area_m2: float = 1000.0) -> Zone:
    site = save_site(cast.branch, name=site_name)
    return site.zones.first() or save_zone(
        site, name="Hall", area_m2=area_m2, edge_m=120, hardness="hard", surface="worn"
    )


def plan_draft(cast: SimpleNamespace, hall: Zone, **more: Any) -> PlanDraft:
    """200 and 400 in five passes each, last night and tonight, Dag leading; the night of each step is said."""
    machine = more.pop("machine", None) or Machine.objects.filter(branch=cast.branch).first()
    machine = machine or make_machine(cast.branch)
    keys = 1000 + hall.site_id * 100
    first = more.pop("first", LAST_NIGHT)
    shifts = (
        ShiftDraft(first, first + hours(8), cast.dag, (machine,), uuid(keys + 1)),
        ShiftDraft(first + hours(24), first + hours(32), cast.dag, (machine,), uuid(keys + 2)),
    )
    steps = (
        StepDraft(hall.pk, make_type("200", ladder_place=5), 5, shift_key=shifts[0].key, key=uuid(keys + 11)),
        StepDraft(hall.pk, make_type("400", ladder_place=6), 5, shift_key=shifts[1].key, key=uuid(keys + 12)),
    )
    facts: dict[str, Any] = {
        "starts_on": TODAY - timedelta(days=1),
        "standing": Standing.WON,
        "finish_level": 2,
        "zones": (ZoneDraft(hall),),
        "steps": steps,
        "shifts": shifts,
    }
    return PlanDraft(**(facts | more))


def make_planned(
    cast: SimpleNamespace, name: str = "Osprey Lane", now: datetime = TWO_DAYS_AGO, **more: Any
) -> JobPlan:
    """A won job with its plan kept two days before NOW."""
    hall = make_hall(cast, more.pop("site_name", "Osprey Lane cold store"))
    draft = plan_draft(cast, hall, **more)
    return make_job(cast.ines, cast.branch, hall.site, name, draft, now=now, sure=True).plan
