"""Steps of coming shifts that no set is reserved for: what the soak page must name all the same."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import F
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.hooks import OpenStep
from inventory.models import Branch, SetState
from inventory.shop_settings import settings_of
from inventory.times import show_day, show_time, zone_of
from jobs.models import PlanShift, Reservation, Standing
from jobs.queries.plan import Night, current_plans, nights_of
from jobs.queries.shift import closed_shifts, logged_on, outings_of
from jobs.queries.tonight import leaves_at_of
from jobs.queries.uses import asked_of, open_reservations, step_starts_at, steps_by_type

# So far ahead shifts are looked at: longer than any soak, shorter than plans are still moved about (our assumption).
_AHEAD = timedelta(days=14)


def open_steps(branch: Branch, now: datetime) -> list[OpenStep]:
    """Steps of shifts of the next two weeks, of jobs won, without a set; the soonest first; constant queries.

    A shift that should have left, or that goes on, is among them until it ends, as on the page of tonight.

    One for each job and tool type, for the first of its shifts: the set that is found for it is there for the others.
    Steps that are done, and those whose type is out with the shift already, ask for none.
    """
    coming = PlanShift.objects.filter(
        plan__job__branch=branch,
        plan__standing=Standing.WON,
        plan__number=F("plan__job__plan_number"),
        ends_at__gt=now,
        starts_at__lt=now + _AHEAD,
    )
    jobs = set(coming.values_list("plan__job_id", flat=True))
    if not jobs:
        return []
    plans = current_plans(branch, standings=(Standing.WON,), jobs=jobs)
    nights = [night for plan in plans for night in nights_of(plan)]
    keys = [night.shift.key for night in nights]
    reserved = open_reservations(jobs)
    outings, logged, closed = outings_of(keys), logged_on(keys), closed_shifts(keys)
    out = set(
        SetState.objects.filter(outing__in=[one.pk for one in outings.values()]).values_list(
            "outing_id", "tool_set__tool_type_id"
        )
    )
    today = now.astimezone(zone_of(branch)).date()
    settings = settings_of(branch, today=today)
    starts = {night.shift.key: night.shift.starts_at for night in nights}
    found: dict[tuple[object, int], OpenStep] = {}
    for night in sorted(nights, key=lambda one: (one.shift.starts_at, one.job.name)):
        leaves_at = leaves_at_of(night, outings, settings)
        if night.shift.ends_at <= now or night.shift.starts_at >= now + _AHEAD or night.shift.key in closed:
            continue
        outing = outings.get(night.shift.key)
        for steps in steps_by_type(night):
            key = (night.job.pk, steps[0].tool_type_id)
            rows = [row for step in steps for row in reserved.get(step.key, [])]
            taken = outing is not None and (outing.pk, steps[0].tool_type_id) in out
            asks = asked_of(settings, night, steps, logged)
            if key in found or taken or _covered(rows, night, starts) or asks.done:
                continue
            found[key] = OpenStep(
                steps[0].tool_type_id,
                _("%(job)s, %(day)s %(time)s")
                % {
                    "job": night.job.name,
                    "day": _day(night, now, branch),
                    "time": show_time(night.shift.starts_at, branch),
                },
                leaves_at,
                min(step_starts_at(night, step) for step in steps),
                reverse("jobs:job", args=[night.job.pk]),
                asks.reference_m2,
                reverse("jobs:reserve_soaked", args=[night.job.pk, night.shift.key, steps[0].key]),
                reverse("jobs:choose_set", args=[night.job.pk, night.shift.key, steps[0].key]),
            )
    return sorted(found.values(), key=lambda one: one.leaves_at)


def _day(night: Night, now: datetime, branch: Branch) -> str:
    local, today = night.shift.starts_at.astimezone(zone_of(branch)).date(), now.astimezone(zone_of(branch)).date()
    return _("tonight") if local == today else show_day(local)


def _covered(rows: Sequence[Reservation], night: Night, starts: dict[UUID, datetime]) -> bool:
    """Whether one of these reservations holds on this shift."""
    for row in rows:
        first = starts.get(row.from_shift)
        if first is not None and first <= night.shift.starts_at <= starts.get(row.to_shift, first):
            return True
    return False
