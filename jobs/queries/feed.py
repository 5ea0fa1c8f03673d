"""What a calendar address gives: whose it is, and what that person's calendar holds; a constant number of queries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from inventory.models import Person
from inventory.queries.open_water import OpenNeed, open_needs
from inventory.queries.tubs import WaterNeed, tubs_of, water_needs
from inventory.rights import Right
from inventory.shop_settings import settings_of
from inventory.times import zone_of
from jobs.models import CalendarAddress, ForecastRun, Reservation
from jobs.queries.plan import Night, tonight
from jobs.queries.shift import outings_for
from jobs.queries.tonight import leaves_at_of
from jobs.queries.uses import open_reservations

# So far back and ahead shifts stand in the calendar (our assumption).
_BACK, _AHEAD = timedelta(days=14), timedelta(days=120)
# Who sees what must go into water: whoever sees the soak page.
SEES_WATER = (Right.SCAN, Right.CONFIRM_SOAK, Right.PLAN)


@dataclass(frozen=True)
class FeedFacts:
    """What a person's calendar is made of. run: the forecast kept last, for who may buy."""

    person: Person
    nights: Sequence[Night]
    leaves: Mapping[UUID, datetime]
    meant: Mapping[UUID, Sequence[Reservation]]
    needs: Sequence[WaterNeed]
    without: Sequence[OpenNeed]
    run: ForecastRun | None


def whose(token_sha256: str) -> Person | None:
    """Whose address this is, while it holds and the person works here; one query."""
    rows = CalendarAddress.objects.filter(token_sha256=token_sha256, revoked_at__isnull=True, person__is_active=True)
    row = rows.select_related("person__branch").first()
    return None if row is None else row.person


def address_held(person: Person) -> CalendarAddress | None:
    """The person's address that holds, or None."""
    return CalendarAddress.objects.filter(person=person, revoked_at__isnull=True).first()


def feed_facts(person: Person, now: datetime, certainty: float) -> FeedFacts:
    """What this person's calendar holds: shifts (all for who plans, else the person's own), water, orders."""
    branch = person.branch
    lead = None if person.can(Right.PLAN) else person
    nights = tonight(branch, now - _BACK, now + _AHEAD, lead=lead)
    outings = outings_for(nights, now)
    settings = settings_of(branch, today=now.astimezone(zone_of(branch)).date())
    leaves = {night.shift.key: leaves_at_of(night, outings, settings) for night in nights}
    meant = open_reservations({night.job.pk for night in nights})
    needs: Sequence[WaterNeed] = ()
    without: Sequence[OpenNeed] = ()
    if any(map(person.can, SEES_WATER)):
        tubs = tubs_of(branch, now)
        needs, without = water_needs(branch, tubs, now), open_needs(branch, tubs, now)
    run = ForecastRun.objects.filter(branch=branch, certainty=certainty).first() if person.can(Right.BUY) else None
    return FeedFacts(person, nights, leaves, meant, needs, without, run)
