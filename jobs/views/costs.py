"""Costs: what tools took, job by job, against plan and bid; by finish and by kind of floor. Only with money."""

from __future__ import annotations

from collections import defaultdict
from datetime import timedelta
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from inventory.models.choices import Hardness, Surface
from inventory.rights import Right
from inventory.times import zone_of
from inventory.units import Units, from_si, show_area
from inventory.views.doors import PersonRequest, door
from jobs.context import units_of
from jobs.costs import AreaCost, JobCost, by_finish, by_floor, job_cost
from jobs.laddering import shop_ladder
from jobs.models import JobPlan, Standing
from jobs.plan_draft import FINISHES
from jobs.queries.plan import whole
from jobs.queries.shift import Logged, work_logged
from jobs.views.ladder_page import amount_of

# What the page may look back over; the first is a quarter.
SPANS = {"quarter": (gettext_lazy("Quarter"), 92), "year": (gettext_lazy("Year"), 366)}
MOST_JOBS = 60


@door("GET", right=Right.SEE_MONEY)
def costs(request: PersonRequest) -> HttpResponse:
    """The jobs of a quarter or a year that had work logged, the newest first."""
    person, now = request.user, timezone.now()
    span = request.GET.get("since", "quarter")
    days = SPANS.get(span, SPANS["quarter"])[1]
    today = now.astimezone(zone_of(person.branch)).date()
    shop = shop_ladder(person.branch, today)
    jobs = list(
        JobPlan.objects.filter(
            job__branch=person.branch,
            standing__in=(Standing.WON, Standing.DONE),
            starts_on__gte=today - timedelta(days=days),
            starts_on__lte=today,
        )
        .order_by("-starts_on", "job_id")
        .values_list("job_id", flat=True)
    )
    wanted = list(dict.fromkeys(jobs))[:MOST_JOBS]
    versions, logged = _versions(wanted), _logged(wanted)
    found = [job_cost(shop, versions[pk], logged[pk]) for pk in wanted if logged[pk] and versions[pk]]
    units = units_of(person)
    ended = [one for one in found if not one.running]
    context = {
        "headline": _headline(ended, shop.currency, units),
        "rows": [_row(one, shop.currency, units) for one in found],
        "finishes": [_area(one, _finish(one.key), shop.currency, units) for one in by_finish(found)],
        "floors": [_area(one, _floor(one.key), shop.currency, units) for one in by_floor(found)],
        "links": [
            {"url": f"?since={key}", "label": words, "current": key == span} for key, (words, _d) in SPANS.items()
        ],
        "most": MOST_JOBS if len(set(jobs)) > MOST_JOBS else 0,
        "ended": len(ended),
        "incomplete": any(not one.complete for one in found),
    }
    return render(request, "jobs/costs/page.html", context)


def _versions(jobs: list[UUID]) -> dict[UUID, list[JobPlan]]:
    found: dict[UUID, list[JobPlan]] = defaultdict(list)
    for plan in whole(JobPlan.objects.filter(job_id__in=jobs)).order_by("-number"):
        found[plan.job_id].append(plan)
    return found


def _logged(jobs: list[UUID]) -> dict[UUID, list[Logged]]:
    found: dict[UUID, list[Logged]] = defaultdict(list)
    for line in work_logged(jobs=jobs):
        if line.entry.visit_uuid is not None:
            found[line.entry.visit_uuid].append(line)
    return found


def _per(money: float, area_m2: float, currency: str, units: Units) -> str:
    """ "$0.69/ft2"."""
    code, symbol = ("ft2", "ft²") if units == "us" else ("m2", "m²")
    return f"{amount_of(money / from_si(area_m2, code), currency, 2)}/{symbol}"


def _headline(ended: list[JobCost], currency: str, units: Units) -> str:
    priced = [one for one in ended if one.planned is not None and one.area_m2 > 0]
    if not priced:
        return _("What tools cost")
    area = sum(one.area_m2 for one in priced)
    said = {
        "took": _per(sum(one.worn for one in priced), area, currency, units),
        "planned": _per(sum(one.planned.likely for one in priced if one.planned), area, currency, units),
    }
    return _("Tools took %(took)s; the plans said %(planned)s") % said


def _row(one: JobCost, currency: str, units: Units) -> dict[str, Any]:
    words = {"over": _("over"), "under": _("under"), "in": _("in it"), "running": _("so far")}
    return {
        "job": one.plan.job,
        "finish": FINISHES.get(one.plan.finish_level or 0, ""),
        "area": show_area(one.area_m2, units) if one.area_m2 else "",
        "bid": _said(one.bid, currency),
        "planned": _said(one.planned, currency),
        "worn": amount_of(one.worn, currency),
        "per": _per(one.worn, one.area_m2, currency, units) if one.area_m2 else "",
        "stands": one.stands,
        "words": words.get(one.stands, ""),
        "guessed": any(row.guessed for row in one.rows),
        "complete": one.complete,
    }


def _said(amount: Any, currency: str) -> dict[str, str] | None:
    if amount is None:
        return None
    low, high = amount_of(amount.low, currency), amount_of(amount.high, currency)
    return {
        "likely": amount_of(amount.likely, currency),
        "range": "" if low == high else _("%(low)s to %(high)s") % {"low": low, "high": high},
    }


def _area(one: AreaCost, name: str, currency: str, units: Units) -> dict[str, str]:
    jobs = ngettext("%(n)s job", "%(n)s jobs", one.jobs) % {"n": one.jobs}
    little = _("little to go by") if one.jobs < 5 else ""
    return {"name": name, "per": _per(one.money, one.area_m2, currency, units), "jobs": jobs, "little": little}


def _finish(key: str) -> str:
    return str(FINISHES[int(key)]) if key else _("no finish said")


def _floor(key: str) -> str:
    hardness, surface = key.split("|")
    return f"{Hardness(hardness).label}, {Surface(surface).label}"
