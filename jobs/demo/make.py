"""Makes the demo shop: opens it over a year ago and plays its history up to now."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import F

from inventory.actions.lives import kept_later, refit
from inventory.models import Act, Entry, Person, SetState
from inventory.models.choices import Fitness
from jobs.demo.plans import make_jobs
from jobs.demo.shop import DEMO_DAYS, DemoShop, open_demo_shop, read_scenario
from jobs.demo.worn_sets import leave_to_look_at
from jobs.demo.year import play
from jobs.models import JobPlan, Standing

SEED = 20_261
DAYS = DEMO_DAYS


@dataclass(frozen=True)
class Made:
    """What the demo holds: counts for the terminal."""

    shop: DemoShop
    sets_in_use: int
    sets_retired: int
    jobs_done: int
    jobs_planned: int
    acts: int
    entries: int


def demo_passwords() -> dict[str, str]:
    """The demo's passwords by sign-in name: everybody's is their name and "-demo"; they guard an invented shop only."""
    return {row["sign_in"]: f"{row['sign_in']}-demo" for row in read_scenario()["people"]}


def make_demo(now: datetime, progress: Callable[[float], None] = lambda share: None, *, seed: int = SEED) -> Made:
    """Make the whole demo shop in an empty database.

    now: the instant it ends at. progress: called with the share of the history played, 0 to 1. The same seed and day
    give the same shop. Raises RuntimeError when there are people already.
    """
    if Person.objects.exists():
        raise RuntimeError("This database holds a shop already; the demo needs an empty one.")
    zone = ZoneInfo(read_scenario()["branch"]["time_zone"])
    today = now.astimezone(zone).date()
    opened = datetime.combine(today - timedelta(days=DAYS), time(8, 0), tzinfo=zone)
    shop = open_demo_shop(opened, seed, demo_passwords())
    jobs = make_jobs(shop, today)
    whole = (now - opened).total_seconds()
    with kept_later():
        play(shop, jobs, opened, now, lambda at: progress((at - opened).total_seconds() / whole))
        leave_to_look_at(shop, now)
    refit(now=now)
    newest = JobPlan.objects.filter(number=F("job__plan_number"))
    return Made(
        shop,
        SetState.objects.exclude(fitness=Fitness.RETIRED).count(),
        SetState.objects.filter(fitness=Fitness.RETIRED).count(),
        newest.filter(standing=Standing.DONE).count(),
        newest.filter(standing__in=[Standing.BID, Standing.WON], starts_on__gte=today).count(),
        Act.objects.count(),
        Entry.objects.count(),
    )
