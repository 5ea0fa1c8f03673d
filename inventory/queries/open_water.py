"""Planned steps without a reserved set whose tool type needs soaking: by when one must be in water, and which could."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import F, Window
from django.db.models.functions import RowNumber

from inventory import estimate
from inventory.hooks import OpenStep, next_use, open_steps
from inventory.models import Branch, SetState, ToolType
from inventory.models.choices import Fitness, PlaceKind, SoakNeed
from inventory.queries.catalogue import shop_calendar
from inventory.queries.soak import Waters, recipes_for, waters_of
from inventory.queries.tubs import Tub, water_by
from inventory.shop_settings import settings_of
from inventory.times import zone_of

# So many sets of a type, in water and out of it, are looked at for one that is free, the least worked first.
_LOOKED_AT = 30
_AT_HAND = (PlaceKind.RACK, PlaceKind.CRATE, PlaceKind.TUB, PlaceKind.BUCKET)


@dataclass(frozen=True)
class OpenNeed:
    """A step without a set that asks for water. by: last staffed time that suffices, None when nothing does any more.

    hot: only a hot soak is short enough; ready_at: when a set put in cold water now is ready; dry: a free dry set that
    is enough for the step; short: the others are free and dry, but none of them is enough.
    """

    step: OpenStep
    tool_type: ToolType
    by: datetime | None
    hot: bool
    ready_at: datetime
    dry: SetState | None
    short: bool = False


def open_needs(branch: Branch, tubs: Sequence[Tub], now: datetime) -> list[OpenNeed]:
    """The steps of coming shifts without a set that want one put in water, the most urgent first; constant queries.

    A free set that will be wet through by then (whether confirmed or not) and is enough serves one step: that one is
    left out. Of the dry ones that are enough the one with the least life is named (DESIGN 4).
    """
    steps = open_steps(branch, now)
    types = {
        row.pk: row
        for row in ToolType.objects.filter(pk__in={one.tool_type_id for one in steps}, soak_need=SoakNeed.REQUIRED)
    }
    steps = [one for one in steps if one.tool_type_id in types]
    if not steps:
        return []
    recipes = recipes_for(types.values(), branch, now)
    free = _free(branch, list(types), now)
    waters = waters_of([state for states in free.values() for state in states], branch, at=now)
    calendar = shop_calendar(branch, now.astimezone(zone_of(branch)).date())
    heated = any(tub.place.thermostat and tub.room != 0 for tub in tubs)
    settings = settings_of(branch, today=now.astimezone(zone_of(branch)).date())
    kept, limit = estimate.records(settings, types=types.values()), settings["finish_limit"]
    found = []
    for step in sorted(steps, key=lambda one: one.leaves_at):
        recipe, states = recipes[step.tool_type_id], free[step.tool_type_id]
        if recipe.cold_hours is None:
            continue
        chances = _chances(step, states, kept)
        enough = [state for state in states if chances.get(state.pk, 1.0) >= limit]
        ready = next((state for state in enough if _will_do(state, waters, step, now)), None)
        if ready is not None:
            states.remove(ready)
            continue
        dries = [one for one in states if waters.now(one.pk, now).state == "dry" and not one.soaking]
        dry = min((one for one in dries if one in enough), key=lambda one: chances.get(one.pk, 1.0), default=None)
        if dry is not None:
            states.remove(dry)
        by, hot = water_by(recipe, step.leaves_at, calendar, heated=heated, now=now)
        ready_at = now + timedelta(hours=recipe.cold_hours)
        short = dry is None and bool(dries)
        found.append(OpenNeed(step, types[step.tool_type_id], by, hot, ready_at, dry, short))
    return sorted(found, key=lambda one: (one.by or one.step.leaves_at, one.tool_type.ladder_place))


def _chances(
    step: OpenStep, states: Sequence[SetState], kept: Mapping[int, estimate.TypeRecord]
) -> Mapping[UUID, float]:
    """The chance that each of these sets does the whole step alone; nothing where it cannot be said."""
    record = kept.get(step.tool_type_id)
    if record is None or step.reference_m2 is None or step.reference_m2 <= 0:
        return {}
    wanted = {state.pk: step.reference_m2 for state in states}
    return estimate.chances_to_finish({step.tool_type_id: record}, wanted)


def _will_do(state: SetState, waters: Waters, step: OpenStep, now: datetime) -> bool:
    """Whether the set is wet through when it leaves, as it lies now; a van that should have left leaves now."""
    answer, leaves_at = waters.now(state.pk, now), max(step.leaves_at, now)
    if answer.state == "soaking":
        return answer.expected_ready_at is not None and answer.expected_ready_at <= leaves_at
    at_start = waters.at_start(state.pk, leaves_at, max(step.starts_at, leaves_at), in_water=False)
    return at_start.passes or at_start.state == "soaked, not confirmed"


def _free(branch: Branch, type_ids: list[int], now: datetime) -> dict[int, list[SetState]]:
    """Usable sets at hand of these types that no plan has a use for, by type; those in water first."""
    rows = list(
        SetState.objects.filter(
            branch=branch,
            main_id=F("tool_set_id"),
            fitness=Fitness.USABLE,
            outing__isnull=True,
            place__kind__in=_AT_HAND,
            tool_set__tool_type_id__in=type_ids,
        )
        .annotate(
            rank=Window(
                RowNumber(),
                partition_by=[F("tool_set__tool_type_id"), F("soaking")],
                order_by=[F("worked_m2").asc(), F("pk").asc()],
            )
        )
        .filter(rank__lte=_LOOKED_AT)
        .select_related("tool_set__tool_type", "place")
        .order_by("-soaking", "worked_m2", "pk")
    )
    uses = next_use([row.pk for row in rows], now) if rows else {}
    found: dict[int, list[SetState]] = defaultdict(list)
    for row in rows:
        if row.pk not in uses:
            found[row.tool_set.tool_type_id].append(row)
    return found
