"""What tools cost: the share of a new set's life that logged work used up, times its price, against plan and bid.

Life used is reference area over the likely life of a new set of its type; prices and lives are today's, for plan and
record alike, so that a difference is one of floors, passes and areas (our assumption). Who calls asks for the right to
see money.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from uuid import UUID

from inventory.models.choices import Basis
from inventory.shop_settings import floor_factor
from jobs.laddering import ShopLadder, question_of_plan
from jobs.models import JobPlan, Standing
from jobs.numerics.ladder import plan_ladder
from jobs.numerics.ladder_facts import LadderRefused
from jobs.numerics.ladder_result import Amount
from jobs.plan_draft import content, draft_of
from jobs.queries.shift import Logged

# Worlds drawn for each job of a list: its likely number moves by a few per mille, the page stays quick.
DRAWS = 250


@dataclass(frozen=True)
class Worn:
    """Life used of one tool type on one step of one floor. money: None without price or life."""

    step_key: UUID | None
    floor: UUID | None
    tool_type: int
    floor_class: str
    area_m2: float
    reference_m2: float
    money: float | None
    guessed: bool


@dataclass(frozen=True)
class JobCost:
    """A job's tools: what the plan said as work began, what the bid said, what was worn. m2 of floor in area_m2.

    planned, bid: None where they cannot be told. worn: of what has a price; complete: whether all has one. per_m2: by
    the area of floor planned; started, running: whether work is logged, and not yet done.
    """

    plan: JobPlan
    area_m2: float
    planned: Amount | None
    bid: Amount | None
    rows: tuple[Worn, ...]
    complete: bool
    running: bool

    @property
    def worn(self) -> float:
        """Money of the life used so far."""
        return sum(row.money or 0.0 for row in self.rows)

    @property
    def stands(self) -> str:
        """over, under, in, or running: the life used against what was planned as work began, low to high."""
        if self.planned is None or not self.rows:
            return ""
        if self.worn > self.planned.high:
            return "over"
        if self.running:
            return "running"
        return "under" if self.worn < self.planned.low else "in"


def worn_by(shop: ShopLadder, logged: Iterable[Logged]) -> list[Worn]:
    """Life used by worked lines that count, by step, floor and tool type. No query."""
    steps = {step.key: step for step in shop.steps}
    found: dict[tuple[UUID | None, UUID | None, int, str], list[float]] = defaultdict(lambda: [0.0, 0.0])
    for line in logged:
        entry = line.entry
        if not line.counts or entry.tool_set is None:
            continue
        water = "dry" if entry.wet_dry == "dry" else "wet"
        floor = f"{entry.hardness or 'unknown'}|{entry.surface or 'raw'}|{water}|{entry.step_kind or 'later'}"
        sums = found[entry.step_key, entry.floor_uuid, entry.tool_set.tool_type_id, floor]
        sums[0] += line.area_m2
        sums[1] += line.area_m2 if entry.basis in (Basis.PLANNED, Basis.GUESSED) else 0.0
    rows = []
    for (step_key, floor_uuid, type_id, floor), (area, guessed) in found.items():
        reference = area * floor_factor(shop.settings, *floor.split("|"))
        step = steps.get(type_id)
        money = None
        if step is not None and step.price is not None and step.life_m2 is not None:
            money = reference / step.life_m2[1] * step.price
        rows.append(Worn(step_key, floor_uuid, type_id, floor, area, reference, money, guessed > 0))
    return rows


def planned_tools(shop: ShopLadder, plan: JobPlan, draws: int = DRAWS) -> Amount | None:
    """What a version of a plan says tools cost, None where it cannot be told or nothing in it has a price."""
    try:
        answer = plan_ladder(question_of_plan(shop, plan), int(shop.settings["dice"]), draws)
    except LadderRefused:
        return None
    return answer.totals.tools if answer.totals.tools.high > 0 else None


def job_cost(shop: ShopLadder, versions: Sequence[JobPlan], logged: Sequence[Logged]) -> JobCost:
    """The cost of one job. versions: whole, the newest first; logged: its worked lines. No query."""
    newest = versions[0]
    rows = worn_by(shop, logged)
    begun = min((line.entry.act.happened_at for line in logged), default=None)
    before = [one for one in versions if begun is None or one.recorded_at <= begun] or [versions[-1]]
    bids = [one for one in versions if one.standing == Standing.BID]
    planned = planned_tools(shop, before[0])
    same = bids and _asks(bids[0]) == _asks(before[0])
    return JobCost(
        plan=newest,
        area_m2=sum(zone.area_m2 for zone in newest.zones.all()),
        planned=planned,
        bid=planned if same else planned_tools(shop, bids[0]) if bids else None,
        rows=tuple(rows),
        complete=all(row.money is not None for row in rows),
        running=newest.standing != Standing.DONE,
    )


def _asks(plan: JobPlan) -> tuple[object, ...]:
    """What a version asks of tools, whatever its dates, its standing and its chance."""
    bare = replace(draft_of(plan), starts_on=date.min, standing="", award_chance=0.0, confirmed=False, notes="")
    return content(bare)


@dataclass(frozen=True)
class AreaCost:
    """What tools cost an area of floor: over jobs of one finish, or of work on one kind of floor."""

    key: str
    money: float
    area_m2: float
    jobs: int

    @property
    def per_m2(self) -> float:
        """Money by m2."""
        return self.money / self.area_m2


def by_finish(costs: Iterable[JobCost]) -> list[AreaCost]:
    """Tools by area of floor, by the finish of ended jobs; jobs without a finish under ""."""
    sums: dict[str, list[float]] = defaultdict(lambda: [0.0, 0.0, 0])
    for cost in costs:
        if not cost.running and cost.rows and cost.area_m2 > 0:
            _add(sums, str(cost.plan.finish_level or ""), cost.worn, cost.area_m2)
    return _by_key(sums)


def by_floor(costs: Iterable[JobCost]) -> list[AreaCost]:
    """Tools by worked area, by hardness and surface, over all work that has a price."""
    sums: dict[str, list[float]] = defaultdict(lambda: [0.0, 0.0, 0])
    for cost in costs:
        seen: dict[str, tuple[float, float]] = defaultdict(lambda: (0.0, 0.0))
        for row in cost.rows:
            if row.money is not None:
                key = "|".join(row.floor_class.split("|")[:2])
                seen[key] = (seen[key][0] + row.money, seen[key][1] + row.area_m2)
        for key, (money, area) in seen.items():
            _add(sums, key, money, area)
    return _by_key(sums)


def _add(sums: dict[str, list[float]], key: str, money: float, area_m2: float) -> None:
    sums[key][0] += money
    sums[key][1] += area_m2
    sums[key][2] += 1


def _by_key(sums: Mapping[str, Sequence[float]]) -> list[AreaCost]:
    return [AreaCost(key, money, area, int(jobs)) for key, (money, area, jobs) in sorted(sums.items()) if area > 0]
