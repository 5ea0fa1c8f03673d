"""Which heights are worth reading now: the one rule by which scan-in, the page of a set, Morning and a count ask."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np
from django.db.models import F

from inventory import estimate
from inventory.hooks import NextUse, leaves_tonight, next_use
from inventory.models import Branch, Device, Entry, SetState
from inventory.models.choices import Fitness, Kind, PlaceKind
from inventory.numerics.measure_value import reading_values
from inventory.shop_settings import settings_of
from inventory.times import zone_of
from inventory.wear_rows import scale_of

_SINCE = timedelta(hours=24)  # sets that came in so lately are asked about in the morning: our assumption
MOST_ASKED = 5  # questions for heights on one page; the rest wait: our assumption
_LOOKED_THROUGH = 200  # sets that a page looks through for what is worth measuring: bounds its time


@dataclass(frozen=True)
class Worth:
    """What one height of a set is worth (METHODS 1.5).

    value: loss saved, in steps wrongly left. chance: of finishing the step as known now; low, high: between which it
    lies 8 times in 10 once the height is read. area_m2: of the step in worked area of its floor. use: the planned step;
    None where the type's usual use stood in.
    """

    state: SetState
    value: float
    chance: float
    low: float
    high: float
    area_m2: float
    use: NextUse | None
    finish_limit: float
    tight_limit: float


def worth_measuring(
    states: Sequence[SetState], branch: Branch, now: datetime, *, uses: Mapping[UUID, NextUse] | None = None
) -> dict[UUID, Worth]:
    """The sets of which a height is worth its minute, by set id, the most worth first; some five queries.

    states: with type and place loaded. uses: next uses by set id, where the page knows them. A set is not asked about
    that was measured since it last worked, that is not usable or missing, whose type has no height to retire at, or
    that surely does its step together with the other of its pair.
    """
    asked = [state for state in states if _may_be_asked(state)]
    if not asked:
        return {}
    settings = settings_of(branch, today=now.astimezone(zone_of(branch)).date())
    found = next_use([state.pk for state in asked], now) if uses is None else uses
    by_id = {state.pk: state for state in asked}
    answers: list[Worth] = []
    limit = settings["finish_limit"]
    sure = _sure_pairs(settings, {pk: found[pk] for pk in by_id if pk in found}, limit)
    for model in estimate.models(settings, sets=list(by_id)).values():
        if not scale_of(model.tool_type).heights:
            continue
        places = [place for place in model.running if model.rows[place].set_id not in sure]
        if not places:
            continue
        ids = [model.rows[place].set_id for place in places]
        areas = np.array([_asked_m2(found.get(pk)) for pk in ids])
        values = reading_values(model.lives(np.array(places)), model.fit, areas, finish_limit=limit)
        for number in np.flatnonzero(values.ask).tolist():
            use = found.get(ids[number]) if values.planned[number] else None
            factor = use.factor if use is not None and use.factor else 1.0
            answers.append(
                Worth(
                    by_id[ids[number]],
                    float(values.value[number]),
                    float(values.chance[number]),
                    float(values.chance_low[number]),
                    float(values.chance_high[number]),
                    float(values.area_m2[number]) / factor,
                    use,
                    limit,
                    settings["tight_limit"],
                )
            )
    return {one.state.pk: one for one in sorted(answers, key=lambda one: (-one.value, one.state.code))}


def _may_be_asked(state: SetState) -> bool:
    return (
        state.fitness == Fitness.USABLE
        and state.main_id == state.pk
        and bool(state.opening)
        and (state.place is None or state.place.kind != PlaceKind.UNKNOWN)
        and not measured_since(state.wear)
    )


def measured_since(wear: Mapping[str, Any]) -> bool:
    """Whether a set's height was read since it last worked; one that is new and has not worked needs no reading."""
    stretches = wear.get("stretches", ())
    if not stretches:
        return wear.get("opening") in ("", "new") or wear.get("start_mm") is not None
    last = stretches[-1]
    if not last["at"]:
        return False
    restart = last["restart"]
    return restart["height_mm"] is not None if restart is not None else last["read_mm"] is not None


def _asked_m2(use: NextUse | None) -> float:
    """Reference area of the next step; NaN where none is known, then the type's usual use stands in."""
    return float("nan") if use is None or not use.reference_m2 else use.reference_m2


def _sure_pairs(settings: Any, uses: Mapping[UUID, NextUse], limit: float) -> set[UUID]:
    """Sets that surely finish their step together with the other of their pair."""
    pairs = {pk: use for pk, use in uses.items() if use.companion is not None and use.reference_m2}
    if not pairs:
        return set()
    wanted = {*pairs, *(use.companion for use in pairs.values() if use.companion is not None)}
    sure = set()
    for record in estimate.records(settings, sets=wanted).values():
        for pk, use in pairs.items():
            other = use.companion
            if other is None or use.reference_m2 is None or pk not in record.rows or other not in record.rows:
                continue
            if estimate.chance_of_pair(record, pk, other, use.reference_m2) >= limit:
                sure.add(pk)
    return sure


def worth_of_returns(branch: Branch, now: datetime, device: Device | None = None) -> list[Worth]:
    """The heights worth reading of sets that came in within a day (on this device) and are here, at most a handful.

    Sets that a planned step waits for come first, by worth. The others fill what the heights read within the day leave
    of a handful: whoever measures is not led from set to set. Without a device also those that leave tonight are
    looked at. Ten queries for any number of sets.
    """
    came_in = Entry.objects.filter(
        kind=Kind.SCANNED_IN, act__branch=branch, act__recorded_at__gte=now - _SINCE, tool_set__isnull=False
    )
    if device is not None:
        came_in = came_in.filter(act__device=device)
    ids = list(came_in.order_by("-act__recorded_at").values_list("tool_set_id", flat=True)[:_LOOKED_THROUGH])
    leaving = leaves_tonight(branch, now) if device is None else frozenset()
    worths = list(worth_measuring(_here(branch, [*sorted(leaving), *ids]), branch, now).values())
    planned = [one for one in worths if one.use is not None][:MOST_ASKED]
    read = Entry.objects.filter(kind=Kind.MEASURED, act__branch=branch, act__recorded_at__gte=now - _SINCE)
    room = MOST_ASKED - len(planned) - read.values("tool_set").distinct().count()
    return planned + [one for one in worths if one.use is None][: max(0, room)]


def _here(branch: Branch, set_ids: Iterable[UUID]) -> list[SetState]:
    wanted: Collection[UUID] = list(dict.fromkeys(set_ids))[:_LOOKED_THROUGH]
    rows = SetState.objects.filter(pk__in=wanted, branch=branch, outing__isnull=True, main_id=F("tool_set_id"))
    return list(rows.select_related("tool_set__tool_type", "place").order_by("code"))
