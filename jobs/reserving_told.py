"""What a reservation is told of a shop: sets with what they surely do and when they can leave, loads and times."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from functools import cache
from uuid import UUID

import numpy as np

from inventory import estimate
from inventory.calendar import NoWorkingDay, ShopCalendar, at_wall_time, next_staffed
from inventory.models import Branch, SetState, Supplier, ToolType
from inventory.models.choices import SoakNeed
from inventory.queries.catalogue import lead_word, price_of
from inventory.queries.purchasing import lead_records, orders_now
from inventory.queries.soak import Waters
from inventory.shop_settings import ShopSettings
from inventory.times import zone_of
from jobs.forecast_supply import Supply
from jobs.laddering import why_not
from jobs.models import Standing
from jobs.numerics.dice import Key
from jobs.numerics.reserve import LoadToPlan, SetToPlan, TypeToPlan
from jobs.numerics.reserve_task import MOST_LOADS, PairChance
from jobs.queries.reserving import LoadAhead
from jobs.queries.tonight import evening


@dataclass(frozen=True)
class Shop:
    """What was read for one proposal."""

    branch: Branch
    now: datetime
    settings: ShopSettings
    calendar: ShopCalendar
    heated: bool
    waters: Waters
    called_off: set[UUID]
    supply: Supply
    loads: list[LoadAhead]

    def hours(self, at: datetime) -> float:
        """Hours from the start of this hour."""
        return (at - self.now.replace(minute=0, second=0, microsecond=0)).total_seconds() / 3600

    def turn_h(self, tool_type: ToolType) -> float:
        """Hours after work until a set can leave again: the way back, and for those that soak their turn (setting).

        The way back and unloading take as long as loading (our assumption).
        """
        soaks = tool_type.soak_need == SoakNeed.REQUIRED
        return float(self.settings["loading_hours"]) + (24.0 * float(self.settings["turn_days"]) if soaks else 0.0)


def type_told(
    shop: Shop,
    tool_type: ToolType,
    record: estimate.TypeRecord,
    surely: Mapping[UUID, float],
    new_m2: float,
    states: Sequence[SetState],
) -> TypeToPlan:
    loads = [load for load in shop.loads if load.type_id == tool_type.pk][:MOST_LOADS]
    mine = [one for one in states if one.tool_set.tool_type_id == tool_type.pk and one.pk in surely]
    half = estimate.chances_to_finish({0: record}, {one.pk: record.rated_m2 / 2 for one in mine})
    with_job = {pk for load in loads for pk in load.out}
    sets = [
        SetToPlan(
            one.pk,
            surely[one.pk],
            ready_h=-math.inf if one.pk in with_job else _ready_h(shop, one),
            is_fresh=record.rows[one.pk].used_m2 <= 0 and not _pieces_missing(one),
            half_rating_chance=min(max(half.get(one.pk, 1.0), 0.0), 1.0),
            likely_m2=record.rows[one.pk].likely_m2,
            wet_until_h=_wet_until_h(shop, one),
        )
        for one in mine
    ]
    fit = np.array([_fits(tool_type, load) for load in loads], dtype=np.bool_)
    whole = np.array([not _pieces_missing(one) for one in mine], dtype=np.bool_)
    turn = shop.turn_h(tool_type)
    return TypeToPlan(
        tool_type.pk,
        new_m2,
        tuple(sets),
        tuple(_load_told(shop, load, turn, {one.pk for one in mine}) for load in loads),
        fits=fit[:, None] & whole[None, :],
        new_fits=fit,
        buy_ready_h=_buy_ready_h(shop, tool_type),
        pair_chance=_pair_chance(record, surely, new_m2, shop.settings["finish_limit"]),
    )


def _load_told(shop: Shop, load: LoadAhead, turn_h: float, here: set[UUID]) -> LoadToPlan:
    meant = meant_for(load)
    present = tuple(dict.fromkeys([*load.out, *meant]))[:2]
    own = {row.tool_set_id for row in load.rows if row.locked}
    # What is out with the job is there, and what goes tonight is for who sends it out: no plan moves it.
    fixed = {*load.out, *(meant if is_tonight(load, shop.branch, shop.now) else ())} & here
    locked = tuple(pk for pk in present if pk in own or pk in fixed)
    start = shop.hours(max(load.leaves_at, shop.now))
    return LoadToPlan(
        load.key,
        load.reference_m2,
        start,
        max(shop.hours(load.ends_at), start + 1 / 60),
        turn_h,
        load.weight,
        present,
        locked,
    )


def is_tonight(load: LoadAhead, branch: Branch, now: datetime) -> bool:
    """Whether a load of a job won leaves tonight, or is on already: what is meant for it is chosen there."""
    return load.plan.standing == Standing.WON and load.nights[0].shift.starts_at < evening(now, branch)[1]


def meant_for(load: LoadAhead) -> tuple[UUID, ...]:
    return tuple(dict.fromkeys(row.tool_set_id for row in load.rows))[:2]


def _ready_h(shop: Shop, state: SetState) -> float:
    """The first hour at which a set can leave: back from where it is, wet through if it is put in at the first time."""
    if state.outing is not None:
        due = state.outing.due_at
        if due is None:
            return math.inf
        return shop.hours(max(due, shop.now)) + shop.turn_h(state.tool_set.tool_type)
    recipe = shop.waters.sets[state.pk].recipe
    if recipe.cold_hours is None:
        return -math.inf
    known = shop.waters.now(state.pk, shop.now)
    if known.state == "soaking" and known.expected_ready_at is not None:
        return shop.hours(known.expected_ready_at)
    if known.state not in ("dry", "soaking"):
        return -math.inf  # put back before it dries out, its soak still counts
    need = recipe.cold_hours
    if shop.heated and recipe.hot_hours is not None:
        need = min(need, recipe.hot_hours)
    try:
        return shop.hours(next_staffed(shop.calendar, shop.now)) + need
    except NoWorkingDay:
        return math.inf


def _wet_until_h(shop: Shop, state: SetState) -> float | None:
    if state.pk not in shop.called_off or state.outing is not None:
        return None
    known = shop.waters.now(state.pk, shop.now)
    if known.state not in ("conditioned", "soaked, not confirmed", "soaking"):
        return None
    return math.inf if known.until is None else shop.hours(known.until)


def _pieces_missing(state: SetState) -> bool:
    pieces = state.facts.get("pieces")
    return pieces is not None and pieces < state.tool_set.tool_type.pieces_per_set


def _fits(tool_type: ToolType, load: LoadAhead) -> bool:
    """Whether on each of its nights a machine goes that takes the type; a shift that names no machine takes any."""
    for night in load.nights:
        machines = [row.machine for row in night.shift.machine_rows.all()]
        if machines and all(why_not(tool_type, machine) for machine in machines):
            return False
    return True


def supply_of(branch: Branch, types: Mapping[int, ToolType], calendar: ShopCalendar, now: datetime) -> Supply:
    today = now.astimezone(zone_of(branch)).date()
    orders = orders_now(branch)
    suppliers = {one.pk: one for one in Supplier.objects.all()}
    words = lead_word(suppliers, today)
    return Supply(
        today, calendar, orders, price_of(types, today), words, lead_records(orders, calendar, today), suppliers
    )


def _buy_ready_h(shop: Shop, tool_type: ToolType) -> float:
    """When a set that is bought now, or comes first of what is on order, can leave; infinite: nobody knows."""
    supply = shop.supply
    days = [one.day for one in supply.arrivals(tool_type.pk)[:1]]
    likely = supply.arrives(supply.supplier_of(tool_type), supply.today)
    days += [likely] if likely is not None else []
    if not days:
        return math.inf
    # Here by the end of that day, and soaked from the next one on.
    at = at_wall_time(shop.calendar, min(days) + timedelta(days=1), time(0))
    soaks = tool_type.soak_need == SoakNeed.REQUIRED
    return shop.hours(at) + (24.0 * float(shop.settings["turn_days"]) if soaks else 0.0)


def _pair_chance(record: estimate.TypeRecord, surely: Mapping[UUID, float], new_m2: float, limit: float) -> PairChance:
    """The chance of two sets together; a new one is as a fresh one that is there.

    Without any fresh one two do what each of them surely does (our assumption).
    """
    fresh = sorted((pk for pk in surely if record.rows[pk].used_m2 <= 0), key=str)

    @cache
    def chance(one: Key | None, other: Key | None, area_m2: float) -> float:
        known = [pk for pk in (one, other) if isinstance(pk, UUID)]
        stand_in = [pk for pk in fresh if pk not in known][: 2 - len(known)]
        if len(known) + len(stand_in) == 2:
            first, second = (*known, *stand_in)
            return estimate.chance_of_pair(record, first, second, area_m2)
        sure = sum(surely[pk] for pk in known) + (2 - len(known)) * new_m2
        return 1.0 if area_m2 <= sure else limit / 2

    return chance
