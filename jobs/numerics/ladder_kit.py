"""What goes along on a job besides the crew: machines, sets, cleaner, supplies, protection (METHODS 2, DESIGN 4).

Pure. Amounts are the high ones (P90), rounded up: what is left over comes back, what is short stops a night.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from jobs.numerics.ladder_facts import Key
from jobs.numerics.ladder_result import LadderPlan

KitKind = Literal["machine", "set", "cleaner", "slurry_room", "supply", "thing"]
# Standing kit by what the work is: common practice, no source; protection as REFERENCES S1, S3, S7.
_ALWAYS = ("eye_protection", "first_aid", "section_tape")
_WET = ("gloves_alkaline", "wet_floor_signs", "wet_vacuum", "bucket_for_sets")
_DRY = ("dust_extractor", "hepa_vacuum")
_EDGES = ("edge_tool",)


@dataclass(frozen=True)
class KitLine:
    """One thing on the list. amount with unit: "" counts, "L" litres. rule: code of why it is there."""

    kind: KitKind
    key: Key
    amount: float
    unit: str
    rule: str


def kit_of(plan: LadderPlan, *, hand_machines: tuple[Key, ...] = ()) -> tuple[KitLine, ...]:
    """The kit list of a plan: machines, a line of sets a step, then what is used, then what protects.

    hand_machines: keys of those that go along for the edges. Sets: as many as are enough with the shop's chance if they
    are new; one where nothing is known of a life. Cleaner and room for slurry are of the whole job.
    """
    lines: list[KitLine] = []
    for machine in dict.fromkeys(step.machine for step in plan.steps):
        lines.append(KitLine("machine", machine, 1, "", "runs_a_step"))
    lines += [KitLine("machine", machine, 1, "", "edges_by_hand") for machine in hand_machines if plan.edge_m > 0]
    for step in plan.steps:
        rule = "no_life_known" if step.sets_needed is None else "enough_if_new"
        lines.append(KitLine("set", step.step, step.sets_needed or 1, "", rule))
    wet = any(step.water == "wet" for step in plan.steps)
    dry = any(step.water == "dry" for step in plan.steps)
    if wet:
        # Tenths of a litre: cleaner is measured in small cups.
        cleaner = math.ceil(plan.totals.cleaner_l.high * 10 - 1e-9) / 10
        lines.append(KitLine("cleaner", "cleaner", cleaner, "L", "cleaner_ratio"))
        room = math.ceil(plan.totals.slurry_l.high - 1e-9)
        lines.append(KitLine("slurry_room", "slurry", room, "L", "local_rules_decide"))
    for use in plan.supplies:
        if use.amount.high > 0:
            lines.append(KitLine("supply", use.supply, math.ceil(use.amount.high - 1e-9), "", use.amount.rule))
    things = _ALWAYS + (_WET if wet else ()) + (_DRY if dry else ())
    things += _EDGES if plan.edge_m > 0 and not hand_machines else ()
    return (*lines, *(KitLine("thing", thing, 1, "", "standing_kit") for thing in things))
