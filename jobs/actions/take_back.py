"""Jobs, sites and floors of a list go back: what was changed by hand or used since stays."""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import dataclass
from hashlib import blake2s
from typing import Any
from uuid import UUID

from django.db.models import F

from inventory.actions.bring_in import Desk
from inventory.models import Entry
from jobs.actions.plan import mark
from jobs.models import Job, JobPlan, PlanZone, ShiftEntry, Site, Standing, Zone


def as_it_is(thing: Job | Site | Zone) -> str:
    """A thing and what it says now, in at most 40 characters: its key, and a short digest of its facts.

    A job says its name and the number of its plan, a site or floor all that a person can change.
    """
    if isinstance(thing, Job):
        newest = JobPlan.objects.filter(job=thing).order_by("-number").values_list("number", flat=True).first()
        said: tuple[Any, ...] = (thing.name, newest)
    elif isinstance(thing, Site):
        said = (thing.name, thing.address, thing.time_zone, thing.notes)
    else:
        amounts = [thing.area_m2, thing.edge_m, thing.section_m2]
        numbers = [None if each is None else round(float(each), 6) for each in amounts]
        words = [thing.name, thing.hardness, thing.surface, thing.coating, thing.condition, thing.notes]
        said = (*numbers, *map(str, words))
    key = f"site{thing.pk}" if isinstance(thing, Site) else thing.pk.hex
    return f"{key}:{blake2s(repr(said).encode(), digest_size=4).hexdigest()[:7]}"


def take_back_jobs(by: Desk, keys: Sequence[UUID], came_as: Set[str]) -> tuple[list[UUID], list[UUID]]:
    """Cancel jobs that a list made and nobody changed or worked on; returns those undone and those used since.

    came_as: how the things of the list came in, see ``as_it_is``; a job with another plan was changed by hand.
    """
    worked: set[UUID | None] = set(Entry.objects.filter(visit_uuid__in=keys).values_list("visit_uuid", flat=True))
    said = set(ShiftEntry.objects.filter(job__in=keys).values_list("job_id", flat=True))
    undone, used = [], []
    for job in Job.objects.filter(pk__in=keys).order_by("name"):
        changed = as_it_is(job) not in came_as
        if job.pk in worked | said or changed or job.reservations.exists() or job.shift_outings.exists():
            used.append(job.pk)
        else:
            mark(by.person, job, Standing.CANCELLED, now=by.now)
            undone.append(job.pk)
    return undone, used


@dataclass(frozen=True)
class FloorsBack:
    """Floors and sites of a list: those closed, those that plans or work name, those changed by hand since."""

    undone: list[UUID]
    used: list[UUID]
    changed: list[Zone | Site]
    sites_gone: list[str]


def take_back_floors(zone_keys: Sequence[UUID], site_keys: Sequence[str], came_as: Set[str]) -> FloorsBack:
    """Close floors, and sites, that a list made, no plan or work names and nobody changed by hand."""
    going = [Standing.BID, Standing.WON, Standing.DONE]
    planned = PlanZone.objects.filter(zone_id__in=zone_keys, plan__standing__in=going)
    # A plan names a floor while it holds: older versions of it do not.
    planned = planned.filter(plan__number=F("plan__job__plan_number"))
    named: set[UUID | None] = set(planned.values_list("zone_id", flat=True))
    named |= set(Entry.objects.filter(kind="worked", floor_uuid__in=zone_keys).values_list("floor_uuid", flat=True))
    rows = Zone.objects.filter(pk__in=zone_keys, active=True).select_related("site").order_by("site__name", "name")
    changed: list[Zone | Site] = [zone for zone in rows if zone.pk not in named and as_it_is(zone) not in came_as]
    staying = named | {zone.pk for zone in changed if isinstance(zone, Zone)}
    undone = [key for key in zone_keys if key not in staying]
    Zone.objects.filter(pk__in=undone).update(active=False)
    gone = []
    for site in Site.objects.filter(pk__in=[int(key) for key in site_keys], active=True).order_by("name"):
        holds = JobPlan.objects.filter(job__site=site, standing__in=going, number=F("job__plan_number"))
        if holds.exists() or site.zones.filter(active=True).exists():
            continue
        if as_it_is(site) not in came_as:
            changed.append(site)
            continue
        site.active = False
        site.save(update_fields=["active"])
        gone.append(str(site.pk))
    return FloorsBack(undone, [key for key in zone_keys if key in staying], changed, gone)
