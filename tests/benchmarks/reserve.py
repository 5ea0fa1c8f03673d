"""How fast a shop's sets are reserved, beside greedy best fit and scipy's linear programmes on the same shop.

`python -m tests.benchmarks.reserve [sets] [jobs] [seconds of HiGHS a type] [shops]`: 300 sets, 60 jobs of six steps,
4 s, one shop unless told otherwise; then the same jobs on few sets, and large jobs on few sets. Prints seconds (of CPU
and by the clock), costs, ratios to greedy and to what HiGHS found and proved in the same run (its seconds are by the
clock: on a busy machine it finds little); what one added job and one change by hand take.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

from jobs.numerics.reserve import Plan, PlanRules, TypeToPlan, consequence, reserve, standing, with_present
from tests.jobs.reserve_shops import faults_of, shop
from tests.jobs.reserve_slow import greedy_cost, programme

RULES = PlanRules()
Found = TypeVar("Found")


def clocked(act: Callable[[], Found]) -> tuple[Found, float, float]:
    """Return what an act gives, its seconds of CPU and by the clock."""
    cpu, wall = time.process_time(), time.perf_counter()
    result = act()
    return result, time.process_time() - cpu, time.perf_counter() - wall


def without_last_job(types: list[TypeToPlan]) -> list[TypeToPlan]:
    """Return the shop before its last job was added."""
    return [replace(kind, loads=kind.loads[:-1]) for kind in types]


def by_hand(plan: Plan) -> tuple[float, int]:
    """Return the longest of some changes by hand in seconds of CPU, and how many others the worst of them moves."""
    longest, most = 0.0, 0
    for choice in plan.choices[:: max(1, len(plan.choices) // 20)]:
        others = [one for one in standing(plan, choice.load_id) if one.ousts and not one.troubles]
        if others:
            wanted = others[0].set_id
            shown, cpu, _ = clocked(lambda load=choice.load_id, wanted=wanted: consequence(plan, load, wanted))
            longest, most = max(longest, cpu), max(most, len(shown.changes))
    return longest, most


def measure(name: str, types: list[TypeToPlan], seconds: float) -> None:
    """Print the lines of one shop."""
    loads = sum(len(kind.loads) for kind in types)
    plan, cpu, wall = clocked(lambda: reserve(types))
    assert faults_of(plan, types) == []
    greedy = sum(greedy_cost(kind, RULES) for kind in types)
    found = [programme(kind, RULES, plan.to_buy.get(kind.type_id, 0) + 1, seconds) for kind in types]
    theirs, floor = sum(one.cost for one in found), sum(one.bound for one in found)
    print(f"{name}: {sum(len(kind.sets) for kind in types)} sets, {loads} loads of {len(types)} types")
    print(f"  planned anew {cpu:.2f} s of CPU, {wall:.2f} s (asked: under 2)")
    print(
        f"  cost {plan.cost:.2f}; greedy {greedy:.2f}, ratio {plan.cost / greedy:.2f}; "
        f"HiGHS {seconds:g} s a type {theirs:.2f}, ratio {plan.cost / theirs:.2f}; "
        f"proved {floor:.2f}, {100 * (plan.cost / floor - 1):.1f} % above it"
    )
    before = reserve(without_last_job(types))
    after, cpu, wall = clocked(lambda: reserve(with_present(types, before), most_changes=2))
    moved = sum(choice.changed for choice in after.choices)
    print(f"  one job added {1e3 * cpu:.0f} ms of CPU, {1e3 * wall:.0f} ms (asked: under 300); {moved} others moved")
    print(f"  its cost {after.cost:.2f}, planned anew {plan.cost:.2f}")
    longest, most = by_hand(plan)
    print(f"  a change by hand {1e3 * longest:.0f} ms of CPU at most; it touches {most} others at most")


def main(sets: int = 300, jobs: int = 60, seconds: float = 4.0, shops: int = 1) -> None:
    """Print the table."""
    for seed in range(shops):
        measure(f"shop {seed}", shop(seed, sets, jobs), seconds)
        measure(f"shop {seed}, tight", shop(seed, sets // 5, jobs), seconds)
        measure(f"shop {seed}, large jobs", shop(seed, sets * 4 // 25, jobs, larger=3.0), seconds)


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
