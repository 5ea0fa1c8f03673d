"""The one bridge from rows to the reservation numerics and back: which set for which load of the weeks ahead.

Loads come from the plans, what a set surely does from ``inventory.estimate``, when it is wet through from the soak
rules, when it is back from its outing. Nothing is written here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from hashlib import blake2b
from uuid import UUID

from django.db.models import F

from inventory import estimate
from inventory.models import Branch, Place, SetState, ToolType
from inventory.models.choices import PlaceKind
from inventory.queries.catalogue import shop_calendar
from inventory.queries.soak import Waters, waters_of
from inventory.shop_settings import ShopSettings, settings_of
from inventory.times import zone_of
from jobs.models import PlanStep
from jobs.numerics.reserve import Choice, LoadToPlan, Plan, PlanRules, ToBuy, reserve
from jobs.queries.reserving import PLANNED, LoadAhead, LoadsAhead, called_off, loads_ahead, sets_that_can_work
from jobs.reserving_told import Shop, meant_for, supply_of, type_told

MOST_CHANGES = 2  # what one look may move of what is kept, DESIGN 4


@dataclass(frozen=True)
class Wanted:
    """A reservation as a plan wants it: a row, once it is kept."""

    job_id: UUID
    step_key: UUID
    order: int
    set_id: UUID
    from_shift: UUID
    to_shift: UUID
    locked: bool = False


@dataclass(frozen=True)
class Proposal:
    """Which set for which load, proposed; nothing of it is written.

    loads: by key, the soonest first. states, lives: of the sets that can work. unrated: tool types nothing can be said
    of, for want of a rating.
    """

    branch: Branch
    now: datetime
    settings: ShopSettings
    ahead: LoadsAhead
    loads: Mapping[UUID, LoadAhead]
    states: Mapping[UUID, SetState]
    waters: Waters
    records: Mapping[int, estimate.TypeRecord]
    lives: Mapping[UUID, estimate.SetLife]
    unrated: tuple[ToolType, ...]
    on_order: Mapping[int, int]
    plan: Plan = field(repr=False)

    @cached_property
    def choices(self) -> dict[UUID, Choice]:
        """What each load runs on, by its key, the soonest first."""
        by_key = {choice.load_id: choice for choice in self.plan.choices}
        return {key: by_key[key] for key in self.loads}

    def sets_of(self, key: UUID, choice: Choice | None = None) -> tuple[UUID, ...]:
        """The sets a load goes with, in order; where the plan has none for it, what is meant for it stays so.

        Unless the plan has other work for that at the time.
        """
        found = [seat for seat in (choice or self.choices[key]).seats if isinstance(seat, UUID)]
        return tuple(found) or tuple(pk for pk in self.present(key) if pk not in self._busy(key))

    def _busy(self, key: UUID) -> set[UUID]:
        mine = self.told[key]
        return {
            seat
            for other, choice in self.choices.items()
            if self.told[other].start_h < mine.until_h and mine.start_h < self.told[other].until_h
            for seat in choice.seats
            if isinstance(seat, UUID)
        }

    @cached_property
    def told(self) -> dict[UUID, LoadToPlan]:
        """The loads as the numerics took them, by key."""
        return {load.load_id: load for kind in self.plan.types for load in kind.loads if isinstance(load.load_id, UUID)}

    def wanted(self) -> list[Wanted]:
        """The rows that keeping it would leave open."""
        return [row for key in self.loads for row in self.rows_of(key, self.sets_of(key))]

    def rows_of(self, key: UUID, sets: Sequence[UUID], locked: frozenset[UUID] | None = None) -> list[Wanted]:
        """The rows of a load that runs on these sets. locked: people's own choices, None: as they stand."""
        load = self.loads[key]
        own = {row.tool_set_id for row in load.rows if row.locked} if locked is None else locked
        found = []
        for step in load.steps:
            first, last = load.span_of(step)
            found += [
                Wanted(load.job.pk, step.key, order, one, first, last, one in own)
                for order, one in enumerate(sets, start=1)
            ]
        return found

    def present(self, key: UUID) -> tuple[UUID, ...]:
        """What is kept for a load now, in order."""
        return meant_for(self.loads[key])

    def chance(self, key: UUID, choice: Choice | None = None) -> float | None:
        """The chance that a load is finished by what it runs on, after all that the plan does with it before.

        A set to buy counts as done by the limit it is planned with. None where nothing runs.
        """
        choice = choice or self.choices[key]
        load, record = self.loads[key], self.records[self.loads[key].type_id]
        seats = [pk for pk in self.sets_of(key, choice) if pk in record.rows and pk in self.states]
        if any(isinstance(seat, ToBuy) for seat in choice.seats):
            return float(self.settings["finish_limit"])
        if not seats:
            return None
        if len(seats) == 2:
            return estimate.chance_of_pair(record, seats[0], seats[1], load.reference_m2)
        before = sum(
            other.reference_m2
            for other_key, other in self.loads.items()
            if other.leaves_at < load.leaves_at and seats[0] in self.choices[other_key].seats
        )
        wanted = {seats[0]: before + load.reference_m2}
        return estimate.chances_to_finish({0: record}, wanted).get(seats[0])


def digest_of(rows: Sequence[Wanted]) -> str:
    """A short name of what is to be kept: another plan has another."""
    words = sorted(f"{r.step_key} {r.order} {r.set_id} {r.from_shift} {r.to_shift} {r.locked}" for r in rows)
    return blake2b("\n".join(words).encode(), digest_size=12).hexdigest()


def propose(branch: Branch, *, now: datetime) -> Proposal:
    """Which set for which load of all open planned work of the weeks ahead (setting); writes nothing.

    Stable: where sets are meant for some of it already, at most two of these choices are moved, and what cannot be done
    any more. Deterministic: the shop's dice (setting) and keys. A constant number of queries.
    """
    today = now.astimezone(zone_of(branch)).date()
    settings = settings_of(branch, today=today)
    asked = PlanStep.objects.filter(
        plan__job__branch=branch, plan__number=F("plan__job__plan_number"), plan__standing__in=PLANNED
    )
    # Named, so that a type of which the shop has had no set yet is among them.
    records = estimate.records(settings, types=ToolType.objects.filter(pk__in=asked.values("tool_type")))
    limit = float(settings["finish_limit"])
    surely = {pk: estimate.capacities(record, limit) for pk, record in records.items()}
    new = {pk: estimate.new_capacity(record, limit, surely[pk]) for pk, record in records.items()}
    ahead = loads_ahead(branch, settings, new, now, timedelta(weeks=settings["plan_weeks"]))
    types = {load.type_id: load.steps[0].tool_type for load in ahead.loads}
    known = {pk: one for pk, one in types.items() if pk in records}
    loads = {load.key: load for load in ahead.loads if load.type_id in known}
    states = sets_that_can_work(branch, known)
    calendar = shop_calendar(branch, today)
    supply = supply_of(branch, known, calendar, now)
    on_order = {pk: sum(one.sets for one in supply.arrivals(pk)) for pk in known}
    shop = Shop(
        branch=branch,
        now=now,
        settings=settings,
        calendar=calendar,
        heated=Place.objects.filter(branch=branch, kind=PlaceKind.TUB, active=True, thermostat=True).exists(),
        waters=waters_of(states, branch, at=now),
        called_off=called_off(branch),
        supply=supply,
        loads=list(loads.values()),
    )
    told = [type_told(shop, one, records[pk], surely[pk], new[pk], states) for pk, one in sorted(known.items())]
    rules = PlanRules(finish_limit=limit, leftover_limit=float(settings["leftover_limit"]))
    kept = any(load.present for kind in told for load in kind.loads)
    plan = reserve(told, rules, seed=int(settings["dice"]), most_changes=MOST_CHANGES if kept else None)
    unrated = tuple(one for pk, one in types.items() if pk not in records)
    by_id = {state.pk: state for state in states}
    return Proposal(
        branch,
        now,
        settings,
        ahead,
        loads,
        by_id,
        shop.waters,
        records,
        estimate.lives(records),
        unrated,
        on_order,
        plan,
    )
