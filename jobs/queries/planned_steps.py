"""What coming shifts ask of the sets of some tool types: which of them can still finish something, hangs on it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db.models import F
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.hooks import PlannedStep
from inventory.models import Branch
from inventory.shop_settings import settings_of
from inventory.times import show_day, zone_of
from jobs.models import PlanStep, Standing
from jobs.queries.plan import current_plans, nights_of
from jobs.queries.shift import logged_on, outings_of
from jobs.queries.tonight import evening, leaves_at_of
from jobs.queries.uses import asked_of, open_reservations, step_starts_at, steps_by_type

_AHEAD = timedelta(weeks=12)  # as far as the rack looks


def planned_steps(branch: Branch, now: datetime, type_ids: Iterable[int]) -> list[PlannedStep]:
    """What shifts of the next twelve weeks, of jobs won and bids, ask of these tool types; the soonest first.

    Steps of one type on a shift are one: they share the set. Those that are done are left out. Eleven queries for
    any number of jobs.
    """
    wanted = set(type_ids)
    jobs = set(
        PlanStep.objects.filter(
            plan__job__branch=branch, plan__number=F("plan__job__plan_number"), tool_type_id__in=wanted
        ).values_list("plan__job_id", flat=True)
    )
    if not jobs:
        return []
    plans = current_plans(branch, standings=(Standing.WON, Standing.BID), jobs=jobs)
    nights = [night for plan in plans for night in nights_of(plan) if now < night.shift.ends_at < now + _AHEAD]
    reserved = open_reservations({night.job.pk for night in nights})
    keys = [night.shift.key for night in nights]
    logged, outings = logged_on(keys), outings_of(keys)
    since, until = evening(now, branch)
    today = now.astimezone(zone_of(branch)).date()
    settings = settings_of(branch, today=today)
    found = []
    for night in nights:
        for steps in steps_by_type(night):
            asked = asked_of(settings, night, steps, logged)
            if steps[0].tool_type_id not in wanted or asked.done or asked.reference_m2 <= 0:
                continue
            day = night.shift.starts_at.astimezone(zone_of(branch)).date()
            found.append(
                PlannedStep(
                    steps[0].tool_type_id,
                    _("%(job)s, %(day)s") % {"job": night.job.name, "day": show_day(day, today)},
                    min(step_starts_at(night, step) for step in steps),
                    asked.reference_m2,
                    asked.factor,
                    tuple(dict.fromkeys(row.tool_set_id for step in steps for row in reserved.get(step.key, []))),
                    reverse("jobs:job", args=[night.job.pk]),
                    leaves_at_of(night, outings, settings),
                    night.plan.standing == Standing.WON and since <= night.shift.starts_at < until,
                )
            )
    return sorted(found, key=lambda one: (one.starts_at, one.words))
