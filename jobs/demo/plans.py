"""Which jobs the demo shop has: their floors, ladders, nights. Drawn from seeded dice around a scenario of our own."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from datetime import date, time, timedelta
from uuid import UUID

from inventory.models import Machine, ToolSet, ToolType
from inventory.models.choices import StepKind, WetDry
from inventory.shop_settings import ShopSettings, floor_factor
from jobs.demo.shop import DemoShop
from jobs.models import Job, JobKind, JobPlan, Site, Standing, Zone
from jobs.plan_draft import PlanDraft, ShiftDraft, StepDraft, ZoneDraft

# Grits of each kind of job, by place on the demo ladder of ten (0 coarse).
_LADDERS: dict[str, tuple[tuple[int, ...], ...]] = {
    "industrial": ((1, 2, 3, 4, 5), (0, 1, 2, 3, 4, 5), (1, 2, 3, 4, 5, 6)),
    "showroom": ((2, 3, 4, 5, 6, 7, 8, 9), (3, 4, 5, 6, 7, 8)),
    "refresh": ((7, 8), (6, 7, 8), (8, 9), (5, 6)),
}
# Who leads and with what; jobs whose numbers follow each other have other people and machines.
_LEADS = ("marisol", "dag", "benno")
_MACHINES = ("Walk-behind 1", "Ride-on 1", "Ride-on 2")
# Machines overlap their passes by 5 cm, and polish two thirds of a night's eight hours (our assumptions).
_OVERLAP_M, _POLISHING, _NIGHT_HOURS = 0.05, 0.66, 8.0


@dataclass
class DemoJob:
    """One job to be played: when, where, with which ladder, by whom; what is chosen for it as the year goes."""

    number: int
    name: str
    site: Site
    zones: list[Zone]
    starts_on: date
    draft: PlanDraft
    lead: str
    standing: str = Standing.WON
    award_chance: float = 1.0
    forgotten: bool = False
    trouble: str = ""
    job: Job | None = None
    plan: JobPlan | None = None
    sets: dict[int, ToolSet] = field(default_factory=dict)

    def needs(self, settings: ShopSettings) -> dict[int, tuple[ToolType, float]]:
        """Reference area, m2, by tool type id, coarse to fine."""
        zones = {zone.pk: zone for zone in self.zones}
        found: dict[int, tuple[ToolType, float]] = {}
        for step in self.draft.steps:
            zone = zones[step.zone_key]
            factor = floor_factor(settings, zone.hardness, zone.surface, step.wet_dry, step.step_kind)
            before = found.get(step.tool_type.pk, (step.tool_type, 0.0))[1]
            found[step.tool_type.pk] = (step.tool_type, before + zone.area_m2 * step.passes * factor)
        return found


def night_area_m2(machine: Machine) -> float:
    """Worked area a machine does in a night: (path - overlap) x middle speed x the time it truly polishes."""
    slow, fast = machine.speed_low_m_per_min or 20.0, machine.speed_high_m_per_min or 30.0
    return ((machine.path_m or 0.7) - _OVERLAP_M) * (slow + fast) / 2 * 60 * _NIGHT_HOURS * _POLISHING


def make_jobs(shop: DemoShop, today: date, finished: int = 60, planned: int = 12, lost: int = 9) -> list[DemoJob]:
    """All jobs of the demo: the finished ones over a year, last night's, those planned from tonight on, lost bids."""
    rng, jobs = shop.rng, []
    first = today - timedelta(days=408)
    step = 403 / finished
    for number in range(finished):
        day = first + timedelta(days=round(number * step + rng.uniform(-1.5, 1.5)))
        jobs.append(_make(shop, number, day, Standing.DONE))
    yesterday = today - timedelta(days=1)
    last_night = _make(shop, finished, yesterday, Standing.WON, kind="industrial", one_night=True, turn=1)
    last_night.forgotten = True
    jobs.append(last_night)
    ahead = [0, 0, 0, *sorted(rng.sample(range(3, 75), planned - 3))]
    for index, days in enumerate(ahead):
        number = finished + 1 + index
        won = index < 3 or rng.random() < 0.45
        standing = Standing.WON if won else Standing.BID
        job = _make(
            shop,
            number,
            today + timedelta(days=days),
            standing,
            kind=("industrial", "showroom", None)[min(index, 2)],
            one_night=index < 3,
        )
        job.award_chance = 1.0 if won else rng.choice([0.3, 0.4, 0.6, 0.8])
        job.trouble = ("dry", "short", "missing")[index] if index < 3 else ""
        jobs.append(job)
    for index in range(lost):
        day = first + timedelta(days=round((index + 0.5) * 400 / lost))
        job = _make(shop, 200 + index, day, Standing.LOST)
        job.award_chance = rng.choice([0.3, 0.4, 0.6])
        jobs.append(job)
    return jobs


def _make(
    shop: DemoShop,
    number: int,
    day: date,
    standing: str,
    kind: str | None = None,
    *,
    one_night: bool = False,
    turn: int | None = None,
) -> DemoJob:
    """A job; turn: who leads it with what. A job of one night has as much floor and ladder as its machine can do."""
    rng, turn = shop.rng, number % 3 if turn is None else turn
    site, all_zones = shop.sites[number % len(shop.sites)]
    zones = [zone for zone in all_zones if rng.random() < 0.75] or all_zones[:1]
    polished = all(zone.surface == "polished" for zone in zones)
    kind = kind or ("refresh" if polished else rng.choices(["industrial", "showroom", "refresh"], [5, 2, 3])[0])
    if kind != "refresh" and polished:
        kind = "refresh"
    places = rng.choice(_LADDERS[kind])
    lead = _LEADS[turn]
    machine = next(one for one in shop.machines if one.name == _MACHINES[turn])
    passes = {(zone.pk, place): _passes(rng, kind, order) for zone in zones for order, place in enumerate(places)}
    room = night_area_m2(machine)
    if one_night and _area(zones, places, passes) > room:
        zones = sorted(zones, key=lambda zone: zone.area_m2)[-1:]
        places = min(_LADDERS[kind], key=len)
        passes = {(zones[0].pk, place): 6 if _first_cut(kind, n) else 4 for n, place in enumerate(places)}
    nights = _nights(zones, places, passes, room)
    shifts = tuple(
        ShiftDraft(
            shop.local(day + timedelta(days=night), time(20, 30)),
            shop.local(day + timedelta(days=night + 1), time(5, 0)),
            shop.people[lead],
            (machine,),
            shop.key("shift", number, night),
        )
        for night in range(max(nights.values()) + 1)
    )
    steps = [
        StepDraft(
            zone.pk,
            shop.types[place],
            passes[zone.pk, place],
            StepKind.FIRST_CUT if _first_cut(kind, order) else StepKind.LATER,
            WetDry.WET,
            shifts[nights[place]].key,
            shop.key("step", number, zone.pk, place),
        )
        for zone in zones
        for order, place in enumerate(places)
    ]
    draft = PlanDraft(
        starts_on=day,
        kind=JobKind.REFRESH if kind == "refresh" else JobKind.FULL,
        finish_level={"industrial": 2, "showroom": 4, "refresh": 3}[kind],
        confirmed=standing in (Standing.WON, Standing.DONE),
        zones=tuple(ZoneDraft(zone) for zone in zones),
        steps=tuple(steps),
        shifts=shifts,
    )
    return DemoJob(number, f"{site.name}, job {number // len(shop.sites) + 1}", site, zones, day, draft, lead, standing)


def _first_cut(kind: str, order: int) -> bool:
    return order == 0 and kind != "refresh"


def _passes(rng: random.Random, kind: str, order: int) -> int:
    """6 to 8 passes for the first cut, 4 to 6 after it (common practice, no source)."""
    return rng.choices([6, 7, 8], [1, 2, 1])[0] if _first_cut(kind, order) else rng.choices([4, 5, 6], [1, 3, 1])[0]


def _area(zones: list[Zone], places: tuple[int, ...], passes: dict[tuple[UUID, int], int]) -> float:
    return sum(zone.area_m2 * passes[zone.pk, place] for zone in zones for place in places)


def _nights(
    zones: list[Zone], places: tuple[int, ...], passes: dict[tuple[UUID, int], int], room_m2: float
) -> dict[int, int]:
    """The night of each grit: as many of them in a night as fit, in the ladder's order."""
    night, done, nights = 0, 0.0, {}
    for place in places:
        asked = _area(zones, (place,), passes)
        if done > 0 and done + asked > room_m2:
            night, done = night + 1, 0.0
        nights[place], done = night, done + asked
    return nights
