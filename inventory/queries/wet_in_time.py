"""Whether sets can be wet through when a planned step wants them, and by when they must be in water for it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from inventory.calendar import ShopCalendar
from inventory.hooks import PlannedStep
from inventory.ledger.conditioning import Conditioning
from inventory.models import Branch, Place, SetState
from inventory.models.choices import PlaceKind
from inventory.queries.catalogue import shop_calendar
from inventory.queries.soak import Waters, waters_of
from inventory.queries.tubs import water_by
from inventory.times import zone_of


@dataclass(frozen=True)
class WetInTime:
    """The water of some sets, read once. heated: the shop has a tub on a thermostat; known: how they are now."""

    waters: Waters
    calendar: ShopCalendar
    heated: bool
    now: datetime
    known: dict[UUID, Conditioning] = field(default_factory=dict)

    def of(self, set_id: UUID, step: PlannedStep) -> tuple[bool, datetime | None]:
        """Whether the set can be wet through at a step's start, and by when it must be in water; None: no need to."""
        leaves_at = max(step.leaves_at or step.starts_at, self.now)
        recipe, ahead = self.waters.sets[set_id].recipe, self._now(set_id)
        if recipe.cold_hours is None:
            return True, None
        if ahead.state == "soaking":
            if ahead.expected_ready_at is not None and ahead.expected_ready_at <= leaves_at:
                return True, None
        elif ahead.state != "dry":
            at_start = self.waters.at_start(set_id, leaves_at, max(step.starts_at, leaves_at), in_water=False)
            if at_start.passes or at_start.state == "soaked, not confirmed" or ahead.until is None:
                return True, None
            # Put back before it dries out, its soak still counts; or it is soaked anew, if there is time after that.
            anew = self._soaked_by(set_id, leaves_at)
            return True, ahead.until if anew is None else max(ahead.until, anew)
        by = self._soaked_by(set_id, leaves_at)
        return by is not None, by

    def _soaked_by(self, set_id: UUID, leaves_at: datetime) -> datetime | None:
        """By when it must be in water to be soaked anew when it leaves; None where that is too late now."""
        recipe = self.waters.sets[set_id].recipe
        by, _hot = water_by(recipe, leaves_at, self.calendar, heated=self.heated, now=self.now)
        return by if by is not None and by >= self.now else None

    def _now(self, set_id: UUID) -> Conditioning:
        if set_id not in self.known:
            self.known[set_id] = self.waters.now(set_id, self.now)
        return self.known[set_id]


def wet_in_time(states: Iterable[SetState], branch: Branch, now: datetime) -> WetInTime:
    """Read what ``of`` asks; states with ``facts`` and their types loaded; eight queries for any number of sets."""
    # Which tub has room on a coming day nobody knows: one that is there counts.
    tubs = Place.objects.filter(branch=branch, kind=PlaceKind.TUB, active=True, thermostat=True)
    calendar = shop_calendar(branch, now.astimezone(zone_of(branch)).date())
    return WetInTime(waters_of(states, branch, at=now), calendar, tubs.exists(), now)
