"""How many passes finished steps took: what teaches the passes of coming plans."""

from __future__ import annotations

import math
from collections import defaultdict
from uuid import UUID

from django.db.models import Exists, F, OuterRef

from inventory.models import Branch, Entry
from inventory.models.choices import Basis
from jobs.models import PlanStep, PlanZone
from jobs.numerics.passes import MOST_PASSES
from jobs.queries.shift import even_steps

# Only what was seen on the floor teaches: a planned or guessed area would hand back the plan itself.
_SEEN = (Basis.MEASURED, Basis.SECTION_DONE)
# As a job's page counts a step as done.
_ABOUT_ALL = 0.95


def finished_steps(branch: Branch) -> list[tuple[str, int]]:
    """(floor class, passes) of each finished step on one floor, for ``learn_by_class``; four queries.

    Finished: its floor was said to look even, or about all that was planned is logged. Passes: worked area over the
    floor's area, rounded; steps of less than half a pass, and of more than twice the most passes, are left out: their
    area was meant otherwise. A step of which anything is only planned or guessed is left out.
    """
    voided = Entry.objects.filter(kind="voided", act__held_back="", void_target=OuterRef("pk"))
    worked = (
        Entry.objects.filter(
            kind="worked", act__held_back="", visit_uuid__isnull=False, step_key__isnull=False, passes__gt=0
        )
        .filter(act__branch=branch)
        .exclude(Exists(voided))
        .values_list(
            "visit_uuid", "step_key", "basis", "hardness", "surface", "wet_dry", "step_kind", F("area_m2") * F("passes")
        )
    )
    areas: dict[UUID, float] = defaultdict(float)
    classes: dict[UUID, str] = {}
    unsure: set[UUID] = set()
    for _visit, key, basis, hardness, surface, wet_dry, step_kind, area in worked:
        if basis not in _SEEN:
            unsure.add(key)
        areas[key] += area or 0.0
        water = "dry" if wet_dry == "dry" else "wet"
        classes[key] = f"{hardness or 'unknown'}|{surface or 'raw'}|{water}|{step_kind or 'later'}"
    if not areas:
        return []
    current = {"plan__job__branch": branch, "plan__number": F("plan__job__plan_number")}
    planned = PlanStep.objects.filter(**current).values_list("key", "plan_id", "zone_key", "passes")
    floors = {
        (plan, key): area
        for plan, key, area in PlanZone.objects.filter(**current).values_list("plan_id", "key", "area_m2")
    }
    even = even_steps(areas)
    found = []
    for key, plan, zone_key, passes in planned:
        floor = floors.get((plan, zone_key))
        if key not in areas or key in unsure or not floor:
            continue
        took = areas[key] / floor
        if (key in even or took >= _ABOUT_ALL * passes) and 0.5 <= took <= 2 * MOST_PASSES:
            found.append((classes[key], max(1, math.floor(took + 0.5))))
    return found
