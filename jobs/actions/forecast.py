"""The kept forecast: made anew when something on record changed, served as it is while it is true or dear to make."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, IntegerField, Model, OuterRef, Subquery, Value
from django.db.models.functions import Coalesce

from inventory.models import (
    Act,
    Branch,
    ClosedDay,
    OrderEvent,
    OrderLine,
    Price,
    Setting,
    ShopHours,
    SupplierWord,
    ToolTypeVersion,
)
from inventory.shop_settings import settings_of
from inventory.times import zone_of
from jobs.forecast import LEAST_CERTAINTY, MOST_CERTAINTY, forecast
from jobs.forecast_result import Forecast, from_plain, to_plain
from jobs.models import ForecastRun, JobPlan

# A page makes a stale forecast anew by itself only while that takes less than this; else a button does.
PATIENCE_MS = 3000
# Everything a forecast reads is added to and never changed, so counting the rows tells whether anything is new.
_BY_BRANCH: tuple[tuple[type[Model], str], ...] = (
    (Act, "branch"),
    (JobPlan, "job__branch"),
    (OrderEvent, "order__branch"),
    (OrderLine, "order__branch"),
    (Setting, "branch"),
    (ShopHours, "branch"),
    (ClosedDay, "branch"),
)
_OF_ALL: tuple[type[Model], ...] = (Price, ToolTypeVersion, SupplierWord)


@dataclass(frozen=True)
class Kept:
    """A forecast and how it stands: fresh, or made before something that is on record now."""

    forecast: Forecast
    fresh: bool


def seen_now(branch: Branch) -> str:
    """What is on record, as numbers of rows; one query."""
    counts = {}
    for number, (model, path) in enumerate(_BY_BRANCH):
        rows = model._default_manager.filter(**{path: OuterRef("pk")})
        counts[f"n{number}"] = _count(rows)
    for number, model in enumerate(_OF_ALL, start=len(_BY_BRANCH)):
        counts[f"n{number}"] = _count(model._default_manager.all())
    row = Branch.objects.filter(pk=branch.pk).annotate(**counts).values_list(*counts).get()
    return ".".join(map(str, row))


def _count(rows: object) -> Coalesce:
    counted = rows.order_by().annotate(one=Value(1)).values("one").annotate(n=Count("pk")).values("n")  # type: ignore[attr-defined]
    return Coalesce(Subquery(counted, output_field=IntegerField()), 0)


def asked_certainty(branch: Branch, now: datetime, certainty: float | None) -> float:
    """The certainty that is meant: the asked one, or the shop's; 0.55 to 0.99."""
    if certainty is None:
        certainty = float(settings_of(branch, today=now.astimezone(zone_of(branch)).date())["certainty"])
    return round(min(max(certainty, LEAST_CERTAINTY), MOST_CERTAINTY), 4)


def kept_forecast(branch: Branch, *, now: datetime, certainty: float | None = None) -> Kept:
    """The forecast a page shows.

    The kept one while nothing new is on record today. A stale one is made anew, unless making it took longer than a
    page may wait: then it is served as it is, saying so. Without any it is made.
    """
    wanted = asked_certainty(branch, now, certainty)
    run = ForecastRun.objects.filter(branch=branch, certainty=wanted).first()
    before = revived(run)
    if run is not None and before is not None:
        fresh = run.day == now.astimezone(zone_of(branch)).date() and run.seen == seen_now(branch)
        if fresh or run.took_ms > PATIENCE_MS:
            return Kept(before, fresh)
    return Kept(refresh_forecast(branch, now=now, certainty=wanted), True)


def refresh_forecast(branch: Branch, *, now: datetime, certainty: float | None = None) -> Forecast:
    """Make the forecast anew and keep it in place of the last one."""
    wanted = asked_certainty(branch, now, certainty)
    # Counted before reading: what comes in meanwhile makes the result stale, not silently old.
    seen, began = seen_now(branch), time.perf_counter()
    made = forecast(branch, now=now, certainty=wanted)
    ForecastRun.objects.update_or_create(
        branch=branch,
        certainty=wanted,
        defaults={
            "day": made.today,
            "made_at": now,
            "took_ms": int((time.perf_counter() - began) * 1000),
            "seen": seen,
            "result": to_plain(made),
        },
    )
    return made


def revived(run: ForecastRun | None) -> Forecast | None:
    """The kept forecast, or None when an older program kept it in another shape."""
    try:
        return None if run is None else from_plain(run.result)
    except (KeyError, TypeError, ValueError, AttributeError):
        return None
