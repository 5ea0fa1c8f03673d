"""Which jobs the demo shop has: their floors, ladders, nights. Drawn from seeded dice around a scenario of our own."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, time, timedelta

from inventory.models import ToolSet, ToolType
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
_STEPS_A_NIGHT = 4


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


def make_jobs(shop: DemoShop, today: date, finished: int = 60, planned: int = 12, lost: int = 9) -> list[DemoJob]:
    """All jobs of the demo: the finished ones over a year, last night's, those planned from tonight on, lost bids."""
    rng, jobs = shop.rng, []
    first = today - timedelta(days=408)
    step = 403 / finished
    for number in range(finished):
        day = first + timedelta(days=round(number * step + rng.uniform(-1.5, 1.5)))
        jobs.append(_make(shop, number, day, Standing.DONE))
    last_night = _make(shop, finished, today - timedelta(days=1), Standing.WON, kind="industrial", nights=1)
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
            nights=1 if index < 3 else None,
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
    shop: DemoShop, number: int, day: date, standing: str, kind: str | None = None, nights: int | None = None
) -> DemoJob:
    rng = shop.rng
    site, all_zones = shop.sites[number % len(shop.sites)]
    zones = [zone for zone in all_zones if rng.random() < 0.75] or all_zones[:1]
    polished = all(zone.surface == "polished" for zone in zones)
    kind = kind or ("refresh" if polished else rng.choices(["industrial", "showroom", "refresh"], [5, 2, 3])[0])
    if kind != "refresh" and polished:
        kind = "refresh"
    places = rng.choice(_LADDERS[kind])
    count = nights or -(-len(places) * len(zones) // (_STEPS_A_NIGHT + 2))
    lead = ("dag", "marisol")[number % 2]
    machine = shop.machines[number % 2]
    shifts = tuple(
        ShiftDraft(
            shop.local(day + timedelta(days=night), time(20, 30)),
            shop.local(day + timedelta(days=night + 1), time(5, 0)),
            shop.people[lead],
            (machine,),
            shop.key("shift", number, night),
        )
        for night in range(count)
    )
    steps = []
    for zone in zones:
        for order, place in enumerate(places):
            night = min(count - 1, order * count // len(places))
            first_cut = order == 0 and kind != "refresh"
            steps.append(
                StepDraft(
                    zone.pk,
                    shop.types[place],
                    rng.choices([6, 7, 8], [1, 2, 1])[0] if first_cut else rng.choices([4, 5, 6], [1, 3, 1])[0],
                    StepKind.FIRST_CUT if first_cut else StepKind.LATER,
                    WetDry.WET,
                    shifts[night].key,
                    shop.key("step", number, zone.pk, place),
                )
            )
    draft = PlanDraft(
        starts_on=day,
        kind=JobKind.REFRESH if kind == "refresh" else JobKind.FULL,
        finish_level={"industrial": 2, "showroom": 4, "refresh": 3}[kind],
        confirmed=standing in (Standing.WON, Standing.DONE),
        zones=tuple(ZoneDraft(zone) for zone in zones),
        steps=tuple(steps),
        shifts=shifts,
    )
    return DemoJob(number, f"{site.name}, {day:%d %b %y}", site, zones, day, draft, lead, standing)
