"""The one bridge from rows to the reorder numerics and back: what to buy, how much, by when, and why.

First version. The planned steps of bids (weighed by award chance) and won jobs run against the sets of the rack; what
each set still does comes from ``inventory.estimate``, what a supplier needs from its word and the shop's own orders.
Later issues replace what is behind ``forecast``, not the call.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import NAMESPACE_OID, UUID, uuid5

import numpy as np

from inventory import estimate
from inventory.calendar import (
    add_working_days,
    subtract_working_days,
    supplier_days,
    working_day_until,
    working_days_ahead,
)
from inventory.lives_together import together
from inventory.models import Branch, Price, Supplier, ToolType
from inventory.models.choices import SoakNeed
from inventory.queries.catalogue import lead_word, price_of, shop_calendar
from inventory.queries.known import facts_known
from inventory.queries.purchasing import lead_records, orders_now
from inventory.shop_settings import ShopSettings, settings_of
from inventory.times import zone_of
from jobs.forecast_memory import answer_of
from jobs.forecast_orders import least_sets
from jobs.forecast_result import Forecast, Gap, JobBehind, TypeForecast, WeekNeed
from jobs.forecast_supply import Supply
from jobs.models import JobKind, Standing
from jobs.numerics.demand import DRAWS
from jobs.numerics.lives import WearLives
from jobs.numerics.rack import AREA_ERROR, Horizon, PlannedStep, RackSet, TypeOnRack, horizon_days
from jobs.numerics.reorder import Driver, ReorderAnswer
from jobs.queries.forecast import Ahead, SetsNow, StepAhead, sets_now, steps_ahead, used_per_week

# What is asked when nobody said how sure, and what can be asked at all.
LEAST_CERTAINTY, MOST_CERTAINTY = 0.55, 0.99
UPKEEP_AREA_ERROR = 0.05  # METHODS 5.1, our assumption
PAST_USE_ERROR = 0.5  # a week of past use may be half or double: our assumption
TURN_DAYS_DRY = 1  # a set that needs no soak works again the next day: our assumption
PAST_USE = uuid5(NAMESPACE_OID, "gritledger past use")
_LEAST_WORLDS, _MOST_LOOKS = 400, 60_000_000  # measured: some 13 million looks a second on one core
_MOST_LIVES = 150  # a step that asks more sets than this is cut: it was mistyped


@dataclass(frozen=True)
class _Shop:
    """What was read for one forecast."""

    branch: Branch
    today: date
    settings: ShopSettings
    types: Mapping[int, ToolType]
    models: Mapping[int, estimate.TypeModel]
    lives: Mapping[UUID, estimate.SetLife]
    ahead: Ahead
    sets: SetsNow
    supply: Supply
    horizon: Horizon


def forecast(
    branch: Branch,
    *,
    now: datetime,
    known_by: datetime | None = None,
    certainty: float | None = None,
    draws: int | None = None,
) -> Forecast:
    """Say of every tool type in use what runs short when, and what to order by when for the wanted certainty.

    certainty: share of worlds without a shortage, 0.55 to 0.99; None: the shop's setting. draws: imagined worlds; None:
    2,000, fewer (400 at least) where so many sets in use meet so many steps that a page would wait for minutes.
    known_by: everything as it was on record then (with ``now`` that instant: what a past Monday would have said); only
    the facts of tool types and of outings are today's, for no versions of them are read here.
    Areas are reference areas, m2. A constant number of queries. Deterministic: the shop's dice (setting) and keys.
    """
    shop = _read(branch, now, known_by)
    wanted = shop.settings["certainty"] if certainty is None else certainty
    wanted = min(max(float(wanted), LEAST_CERTAINTY), MOST_CERTAINTY)
    gaps = [Gap("stale_bids", ", ".join(shop.ahead.stale_bids[:3]), len(shop.ahead.stale_bids))]
    bare = [plan.job.name for plan in shop.ahead.bare]
    gaps.append(Gap("no_steps", ", ".join(bare[:3]), len(bare)))
    gaps = [gap for gap in gaps if gap.count]
    steps = [step for ahead in shop.ahead.steps for step in _planned(shop, ahead)]
    if not steps:
        steps = _past_use(shop, used_per_week(branch, shop.settings, now=now, known_by=known_by))
        gaps.append(Gap("past_use" if steps else "no_need"))
    kinds = [_kind(shop, tool_type) for tool_type in shop.types.values() if tool_type.pk in shop.models]
    known = {kind.type_id for kind in kinds}
    rack = [one for one in _rack(shop) if one.type_id in known]
    steps = [step for step in steps if step.type_id in known]
    worlds = _worlds(rack, steps) if draws is None else draws

    def answers_of(kinds: Sequence[TypeOnRack]) -> tuple[ReorderAnswer, ...]:
        dice = int(shop.settings["dice"])
        return tuple(answer_of(kind, rack, steps, shop.horizon, wanted, dice, worlds) for kind in kinds)

    area = _area_by_job(steps)
    found = [_type_forecast(shop, answer, area) for answer in answers_of(kinds)]
    raised = least_sets(found, {pk: word.minimum_sets for pk, word in shop.supply.words.items()}, shop.today)
    if raised:
        # Asked again with the same dice, so that "then sure" is that of the sets really ordered.
        again = [kind for kind in kinds if kind.type_id in raised]
        more = answers_of([replace(kind, minimum=raised[int(kind.type_id)]) for kind in again])
        anew = {int(answer.type_id): _type_forecast(shop, answer, area) for answer in more}
        found = [anew.get(one.tool_type_id, one) for one in found]
    gaps += [Gap("no_rating", shop.types[pk].name) for pk in shop.types if pk not in known]
    last = shop.today + timedelta(days=shop.horizon.days)
    if not any(shop.today <= day <= last for day in shop.supply.calendar.closed):
        gaps.append(Gap("no_closed_days"))
    asking = {step.plan.job_id: step.plan.standing for step in shop.ahead.steps}
    standings = list(asking.values())
    return Forecast(
        shop.today,
        now,
        wanted,
        standings.count(Standing.WON),
        standings.count(Standing.BID),
        tuple(sorted(found, key=lambda one: (one.order_by is None, one.order_by or shop.today, one.name))),
        tuple(gaps),
    )


def _read(branch: Branch, now: datetime, known_by: datetime | None) -> _Shop:
    today = now.astimezone(zone_of(branch)).date()
    settings = settings_of(branch, today=today, known_by=known_by)
    calendar = shop_calendar(branch, today, known_by=known_by)
    known = None if known_by is None else facts_known(known_by)
    if known is None:
        models, lives = estimate.models(settings), estimate.all_lives(settings)
    else:
        settings, models = estimate.known_then(settings, known)
        lives = _lives_of(models)
    ahead = steps_ahead(branch, settings, now=now, known_by=known_by)
    asked = {step.tool_type_id for step in ahead.steps}
    types = {
        tool_type.pk: tool_type
        for tool_type in ToolType.objects.order_by("ladder_place", "name")
        if tool_type.active or tool_type.pk in asked
    }
    orders = orders_now(branch, known_by=known_by)
    suppliers = {supplier.pk: supplier for supplier in Supplier.objects.all()}
    words = lead_word(suppliers, today, known_by=known_by)
    prices = price_of(types, today, known_by=known_by)
    supply = Supply(today, calendar, orders, prices, words, lead_records(orders, calendar, today), suppliers)
    weeks = max(1, int(settings["horizon_weeks"]))
    first = 7 - today.weekday()
    days = horizon_days(weeks, first)
    horizon = Horizon(working_days_ahead(supplier_days(calendar), today, days), weeks, first)
    sets = sets_now(branch, ahead.steps, today=today, known=known)
    return _Shop(branch, today, settings, types, models, lives, ahead, sets, supply, horizon)


def _lives_of(models: Mapping[int, estimate.TypeModel]) -> dict[UUID, estimate.SetLife]:
    """Life left of the sets of these models."""
    found = {}
    for pk, model in models.items():
        rows = dict(zip(model.set_ids, model.work_out(), strict=True))
        found[pk] = estimate.TypeRecord(model.tool_type, model.rated_m2, model.new_life_m2, model.worn_out, rows)
    return estimate.lives(found)


def _planned(shop: _Shop, step: StepAhead) -> list[PlannedStep]:
    """A step as the numerics take it: one set's worth, on its first night to come."""
    model = shop.models.get(step.tool_type_id)
    if model is None:
        return []
    plan = step.plan
    return [
        PlannedStep(
            job_id=plan.job_id,
            step_id=step.key,
            type_id=step.tool_type_id,
            day=(step.day - shop.today).days,
            area_m2=min(step.area_m2, _MOST_LIVES * model.rated_m2),
            award_chance=1.0 if plan.standing == Standing.WON else plan.award_chance,
            area_error=UPKEEP_AREA_ERROR if plan.kind == JobKind.UPKEEP else AREA_ERROR,
            confirmed=plan.dates_confirmed,
        )
    ]


def _worlds(rack: Sequence[RackSet], steps: Sequence[PlannedStep]) -> int:
    """How many worlds a page can wait for: every step looks at every set of its type in each."""
    sets, asked = Counter(one.type_id for one in rack if not one.is_fresh), Counter(step.type_id for step in steps)
    looks = sum(count * max(20, sets[type_id]) for type_id, count in asked.items())
    return int(min(DRAWS, max(_LEAST_WORLDS, _MOST_LOOKS // max(1, looks))))


def _past_use(shop: _Shop, per_week: Mapping[int, float]) -> list[PlannedStep]:
    """Without any plan: every week goes on as the weeks before did, on its first day."""
    starts = [0, *range(shop.horizon.first_week_days, shop.horizon.days, 7)]
    return [
        PlannedStep(
            job_id=PAST_USE,
            step_id=uuid5(PAST_USE, f"{type_id} {(shop.today + timedelta(days=day)).isoformat()}"),
            type_id=type_id,
            day=day,
            area_m2=min(area_m2, _MOST_LIVES * shop.models[type_id].rated_m2),
            area_error=PAST_USE_ERROR,
            confirmed=True,
        )
        for type_id, area_m2 in per_week.items()
        if type_id in shop.models and type_id in shop.types
        for day in starts
    ]


def _rack(shop: _Shop) -> list[RackSet]:
    """The sets that can work, as the numerics take them."""
    return [
        RackSet(
            set_id=model.set_ids[position],
            type_id=type_id,
            used_m2=float(_used(model)[position]),
            ready_day=(ready_on - shop.today).days,
        )
        for type_id, model in shop.models.items()
        for position in model.running
        if (ready_on := shop.sets.ready_on.get(model.set_ids[position])) is not None
    ]


def _used(model: estimate.TypeModel) -> np.ndarray:
    """Reference area behind each set; above 0 also for a new set with pieces missing, which is none like another."""
    load = model.record.load_now
    return model.used_m2 if load is None else np.where(load > 1, np.maximum(model.used_m2, 1.0), model.used_m2)


def _lives(model: estimate.TypeModel) -> WearLives:
    """What the numerics are told of a type's lives: its part-worn sets."""
    used = _used(model)
    worn = np.array([place for place in model.running if used[place] > 0], dtype=np.int64)
    sets = tuple(model.set_ids[place] for place in worn)
    return WearLives(model.rated_m2, sets, model.part(worn), model.fit, model.factors, model.before(worn))


def _kind(shop: _Shop, tool_type: ToolType) -> TypeOnRack:
    supply = shop.supply
    supplier = supply.supplier_of(tool_type)
    promised, waited = supply.on_the_way(tool_type.pk)
    soaks = tool_type.soak_need == SoakNeed.REQUIRED
    return TypeOnRack(
        type_id=tool_type.pk,
        lives=_lives(shop.models[tool_type.pk]),
        lead=supply.lead_of(supplier),
        arrival_days=tuple(min((day - shop.today).days, shop.horizon.days) for day in promised),
        waited_days=tuple(waited),
        turn_days=math.ceil(shop.settings["turn_days"]) if soaks else TURN_DAYS_DRY,
        pack=max(1, tool_type.pack_sets),
    )


def _area_by_job(steps: Sequence[PlannedStep]) -> dict[tuple[int, Any], float]:
    area: dict[tuple[int, Any], float] = defaultdict(float)
    for step in steps:
        area[(int(step.type_id), step.job_id)] += step.area_m2
    return area


def _type_forecast(
    shop: _Shop,
    answer: ReorderAnswer,
    area: Mapping[tuple[int, Any], float],
) -> TypeForecast:
    type_id = int(answer.type_id)
    tool_type, model = shop.types[type_id], shop.models[type_id]
    supply = shop.supply
    working = [pk for position in model.running if (pk := model.set_ids[position]) in shop.sets.ready_on]
    # Not the draws' own figure: the rack shows the same sets' life, and says the same of it.
    life_here = together(shop.lives[pk] for pk in working if pk in shop.lives)
    supplier, price = supply.supplier_of(tool_type), supply.prices.get(type_id)
    order_by, passed = _order_by(shop, answer)
    arrives = None if order_by is None else supply.arrives(supplier, max(order_by, shop.today))
    new_life = model.new_life_m2
    sets = answer.order_sets

    def _behind_all(drivers: Sequence[Driver]) -> tuple[JobBehind, ...]:
        return tuple(_behind(shop, driver, area.get((type_id, driver.job_id), 0.0)) for driver in drivers)

    return TypeForecast(
        tool_type_id=type_id,
        name=tool_type.name,
        fresh=answer.fresh,
        part_worn=len(working) - answer.fresh,
        aside=shop.sets.aside.get(type_id, 0),
        missing=shop.sets.missing.get(type_id, 0),
        on_order=answer.on_order,
        life_here_m2=life_here,
        life_after_m2=_with_new(life_here, new_life, answer.on_order + (sets or 0)),
        new_life_m2=new_life,
        worn_out=model.worn_out,
        weeks=_weeks(shop, answer),
        short_on=None if answer.short_day is None else shop.today + timedelta(days=answer.short_day),
        short_chance=answer.short_chance,
        order_by=order_by,
        passed=passed,
        sets=sets,
        sure=answer.sure,
        arrives_on=arrives,
        price=price.price if price is not None else None,
        cost=price.price * Decimal(sets) if price is not None and sets else None,
        currency=price.currency if price is not None else shop.branch.currency,
        lead=supply.lead_said(supplier, answer.lead_sure_days),
        arrivals=supply.arrivals(type_id),
        behind=_behind_all(answer.drivers),
        gaps=tuple(_type_gaps(answer, tool_type, supplier, price)),
        early_on=None if answer.early_day is None else shop.today + timedelta(days=answer.early_day),
        early_chance=answer.early_chance,
        early_jobs=_behind_all(answer.early_drivers),
        rush=_rush(shop, answer, tool_type, supplier),
    )


def _rush(shop: _Shop, answer: ReorderAnswer, tool_type: ToolType, supplier: int | None) -> int:
    """How many sets to ask for at once: in whole packs and not below what the supplier takes as an order."""
    if not answer.rush_sets:
        return 0
    word = shop.supply.words.get(supplier) if supplier is not None else None
    pack = max(1, tool_type.pack_sets)
    least = max(answer.rush_sets, word.minimum_sets if word is not None else 1)
    return -(-least // pack) * pack


def _order_by(shop: _Shop, answer: ReorderAnswer) -> tuple[date | None, bool]:
    days, theirs = answer.order_by_working_days, supplier_days(shop.supply.calendar)
    if days is None:
        return None, False
    if days == 0:
        return shop.today, False
    if days < 0:
        return subtract_working_days(theirs, shop.today, -days), True
    # While somebody is there to order.
    return max(shop.today, working_day_until(shop.supply.calendar, add_working_days(theirs, shop.today, days))), False


def _with_new(
    here: tuple[float, float, float], new: tuple[float, float, float], sets: int
) -> tuple[float, float, float]:
    """Life of what is here and of so many new sets together: likely values added, ranges added as if independent.

    Our approximation for the picture alone: sets of a type share some of their doubt, so the true range is a little
    wider.
    """
    if not sets:
        return here
    likely = here[1] + sets * new[1]
    low = math.hypot(here[1] - here[0], math.sqrt(sets) * (new[1] - new[0]))
    high = math.hypot(here[2] - here[1], math.sqrt(sets) * (new[2] - new[1]))
    return max(0.0, likely - low), likely, likely + high


def _weeks(shop: _Shop, answer: ReorderAnswer) -> tuple[WeekNeed, ...]:
    first = shop.today + timedelta(days=shop.horizon.first_week_days - 1)
    so_far, (quarter, three_quarters) = answer.need_area_so_far_m2, answer.need_area_half_m2
    return tuple(
        WeekNeed(
            first + timedelta(weeks=week),
            float(so_far.low[week]),
            float(quarter[week]),
            float(so_far.likely[week]),
            float(three_quarters[week]),
            float(so_far.high[week]),
            float(answer.need_area_m2.mean[week]),
            float(answer.need_sets_so_far.mean[week]),
            float(answer.short_chance_by_week[week]),
        )
        for week in range(shop.horizon.weeks)
    )


def _behind(shop: _Shop, driver: Driver, area_m2: float) -> JobBehind:
    plan = next((plan for plan in shop.ahead.plans if plan.job_id == driver.job_id), None)
    if plan is None:
        return JobBehind("", None, "", 1.0, None, area_m2, driver.sets, driver.weight)
    chance = 1.0 if plan.standing == Standing.WON else plan.award_chance
    return JobBehind(
        plan.job.name, plan.job_id, plan.standing, chance, plan.starts_on, area_m2, driver.sets, driver.weight
    )


def _type_gaps(answer: ReorderAnswer, tool_type: ToolType, supplier: int | None, price: Price | None) -> list[Gap]:
    gaps = []
    if "no planned work" in answer.gaps:
        gaps.append(Gap("no_work_of_type"))
    if supplier is None:
        gaps.append(Gap("no_supplier"))
    elif "no lead time" in answer.gaps:
        gaps.append(Gap("no_lead_time"))
    if price is None:
        gaps.append(Gap("no_price"))
    if not tool_type.rated_coverage_m2:
        gaps.append(Gap("rating_of_bond"))
    return gaps
