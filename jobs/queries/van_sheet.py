"""What the van sheet of a shift says, and what it is typed in against: a constant number of queries."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from inventory.ledger.conditioning import Conditioning
from inventory.models import Outing, SetState
from inventory.queries.soak import states_with_types, waters_of
from inventory.shop_settings import ShopSettings, settings_of
from inventory.times import zone_of
from jobs.models import PlanStep, PlanZone, Reservation
from jobs.queries.plan import Night, share_of_step, zone_of_step
from jobs.queries.shift import outings_for, scanned_out_on
from jobs.queries.tonight import leaves_at_of
from jobs.queries.uses import open_reservations

# A paper has room for so many boxes a step; a floor of more sections has larger ones on it (our assumption).
MOST_SECTIONS = 40


@dataclass(frozen=True)
class SheetStep:
    """A step of the shift on its floor. sets: those that went or are meant, first before second; share: of the floor
    that is planned for this shift; sections: how many the floor is worked in, alike in area."""

    step: PlanStep
    zone: PlanZone
    sets: tuple[SetState, ...]
    share: float
    sections: int

    @property
    def section_m2(self) -> float:
        """Area of a section."""
        return self.zone.area_m2 / self.sections


@dataclass(frozen=True)
class SheetFacts:
    """A shift as its paper has it. water: of its sets, by set, when it was asked."""

    night: Night
    outing: Outing | None
    leaves_at: datetime
    steps: tuple[SheetStep, ...]
    water: Mapping[UUID, Conditioning]
    settings: ShopSettings

    @property
    def sets(self) -> list[SetState]:
        """Every set on the paper, each once, in the order of the steps."""
        return list({state.pk: state for one in self.steps for state in one.sets}.values())

    @property
    def zones(self) -> list[PlanZone]:
        """The floors of the shift, each once."""
        return list({one.zone.key: one.zone for one in self.steps}.values())


def sheet_facts(night: Night, now: datetime) -> SheetFacts:
    """Everything a shift's paper is made of."""
    branch = night.job.branch
    settings = settings_of(branch, today=night.shift.starts_at.astimezone(zone_of(branch)).date())
    outings = outings_for([night], now)
    outing = outings.get(night.shift.key)
    meant = open_reservations([night.job.pk])
    gone = _gone(outing)
    ids = [row.tool_set_id for rows in meant.values() for row in rows] + gone
    states = {state.pk: state for state in states_with_types(ids)}
    waters = waters_of(states.values(), branch, at=now)
    spoken = {row.tool_set_id for step in night.steps for row in meant.get(step.key, ()) if _holds(row, night)}
    steps = []
    for step in night.steps:
        zone = zone_of_step(night.plan, step)
        if zone is not None:
            mine = [row.tool_set_id for row in meant.get(step.key, ()) if _holds(row, night)]
            # Floors share the set of a grit, unless one is meant for another of them.
            went = [pk for pk in gone if pk not in spoken and states[pk].tool_set.tool_type_id == step.tool_type_id]
            sets = tuple(states[pk] for pk in dict.fromkeys([*mine, *went]))
            sections = sections_of(zone, settings)
            steps.append(SheetStep(step, zone, sets, share_of_step(night.plan, step), sections))
    water = {pk: waters.now(pk, now) for pk in states}
    return SheetFacts(night, outing, leaves_at_of(night, outings, settings), tuple(steps), water, settings)


def sections_of(zone: PlanZone, settings: ShopSettings) -> int:
    """How many sections a floor is worked in: by its own section's area, else the shop's."""
    section_m2 = zone.zone.section_m2 or settings["section_m2"]
    return min(MOST_SECTIONS, max(1, math.ceil(zone.area_m2 / section_m2 - 1e-6)))


def _gone(outing: Outing | None) -> list[UUID]:
    """The sets that went out on an outing, in the order they were scanned; two queries."""
    lines = scanned_out_on([outing.pk]).get(outing.pk, []) if outing is not None else []
    return list(dict.fromkeys(line.tool_set_id for line in lines if line.tool_set_id is not None))


def _holds(row: Reservation, night: Night) -> bool:
    """Whether a reservation is for this shift; one whose shifts the plan has no more is taken as meant."""
    starts = {shift.key: shift.starts_at for shift in night.plan.shifts.all()}
    first, last = starts.get(row.from_shift), starts.get(row.to_shift)
    if first is None or last is None:
        return True
    return first <= night.shift.starts_at <= last
