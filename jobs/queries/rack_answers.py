"""What the rack and the ledger card ask of the plans: need by tool type, what leaves tonight, names, closed shifts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta
from uuid import UUID

from inventory.hooks import PlannedNeed
from inventory.models import Branch
from inventory.shop_settings import settings_of
from inventory.times import zone_of
from jobs.models import Job, Reservation, ShiftEntry, Zone
from jobs.queries.forecast import steps_ahead
from jobs.queries.plan import nights_of, tonight
from jobs.queries.shift import closed_shifts
from jobs.queries.tonight import evening

__all__ = ["closed_shifts", "leaves_tonight", "names_of_work", "need_by_type", "said_of_shifts"]

# How far the rack looks ahead (SCREENS 4).
RACK_WEEKS = 12


def need_by_type(branch: Branch, now: datetime) -> PlannedNeed:
    """Reference area, m2, that the plans of the next twelve weeks ask of each tool type, bids weighed by award chance.

    And the jobs of these weeks that have no steps yet: they ask for nothing, and nobody knows what they will.
    What is expected on average: how it may turn out, and when, is the forecast's. Eight queries for any number of jobs.
    """
    today = now.astimezone(zone_of(branch)).date()
    settings = settings_of(branch, today=today)
    need: dict[int, float] = defaultdict(float)
    ahead, until = steps_ahead(branch, settings, now=now), today + timedelta(weeks=RACK_WEEKS)
    for step in ahead.steps:
        if step.day < until:
            chance = step.plan.award_chance if step.plan.standing == "bid" else 1.0
            need[step.tool_type_id] += step.area_m2 * chance
    return PlannedNeed(need, tuple(plan.job.name for plan in ahead.bare if plan.starts_on < until))


def leaves_tonight(branch: Branch, now: datetime) -> frozenset[UUID]:
    """The sets reserved for a shift that starts tonight and has not ended; a constant number of queries."""
    since, until = evening(now, branch)
    nights = {n.shift.key: n for n in tonight(branch, since, until) if n.shift.ends_at > now}
    if not nights:
        return frozenset()
    rows = Reservation.objects.filter(job_id__in={n.job.pk for n in nights.values()}, ended_at__isnull=True)
    starts = {n.shift.key: n.shift.starts_at for night in nights.values() for n in nights_of(night.plan)}
    found = set()
    for row in rows:
        first, last = starts.get(row.from_shift), starts.get(row.to_shift)
        if first is None:
            continue
        mine = [n.shift.starts_at for n in nights.values() if n.job.pk == row.job_id]
        if any(first <= at <= (last or first) for at in mine):
            found.add(row.tool_set_id)
    return frozenset(found)


def names_of_work(uuids: Iterable[UUID]) -> dict[UUID, str]:
    """Names of visits (jobs) and floors by their keys; two queries."""
    wanted = list(uuids)
    names = dict(Job.objects.filter(pk__in=wanted).values_list("pk", "name"))
    return names | dict(Zone.objects.filter(pk__in=wanted).values_list("pk", "name"))


def said_of_shifts(act_ids: Iterable[UUID]) -> frozenset[UUID]:
    """Which of these acts wrote a line about a shift itself (how sets are left, closing, a floor's look); one query."""
    return frozenset(ShiftEntry.objects.filter(act_id__in=list(act_ids)).values_list("act_id", flat=True))
