"""The one bridge from rows to the numerics of life, and back: life left of sets, as it stands or as it was known.

First version (inventory.numerics.life): a lognormal around the supplier's rating, corrected by worn-out sets.
Areas are reference areas, m2; ``on_floor`` turns them into worked area of a named floor.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import numpy as np
from django.db.models import F

from inventory.ledger.facts import SetFacts, wear_seen
from inventory.models import SetState, ToolSet, ToolType
from inventory.models.choices import Fitness, OpeningKind, RetiredWhy
from inventory.numerics import life
from inventory.shop_settings import ShopSettings, reference_area

# How much of a set's life an opening entry says is gone, and the SD of that, as shares of it (our assumption).
_OPENINGS: Mapping[str, tuple[float, float]] = {
    OpeningKind.THREE_QUARTERS: (0.25, 0.12),
    OpeningKind.HALF: (0.50, 0.12),
    OpeningKind.QUARTER: (0.75, 0.12),
    OpeningKind.UNKNOWN: (0.50, 0.29),
}
_READING_ERROR_MM = 0.3  # METHODS 0, our assumption
_COLUMNS = ("tool_set_id", "tool_set__tool_type_id", "opening", "fitness", "fitness_why", "worked", "wear")


@dataclass(frozen=True)
class SetLife:
    """Life left of one set in reference area, m2, and as shares of a new set's likely life (0 to 1).

    used_m2: reference area behind it, its believed past included. worn_out: sets of the type that ended worn.
    """

    at_least_m2: float
    likely_m2: float
    up_to_m2: float
    used_m2: float
    new_m2: float
    worn_out: int

    @property
    def shares(self) -> tuple[float, float, float]:
        """At least, likely, up to, as shares of a new set's likely life: what a gauge shows."""
        low, mid, high = (min(1.0, area / self.new_m2) for area in (self.at_least_m2, self.likely_m2, self.up_to_m2))
        return low, mid, high

    def on_floor(self, factor: float) -> tuple[float, float, float]:
        """At least, likely, up to in worked area, m2, of a floor with this factor."""
        return self.at_least_m2 / factor, self.likely_m2 / factor, self.up_to_m2 / factor


@dataclass(frozen=True)
class TypeRecord:
    """Everything on record about the lives of one tool type, as arrays over its sets.

    running: positions of sets not retired; set_ids in the order of the arrays.
    """

    tool_type: ToolType
    rated_m2: float
    set_ids: tuple[UUID, ...]
    used_m2: np.ndarray
    entered_m2: np.ndarray
    entered_error_m2: np.ndarray
    ended_worn: np.ndarray
    running: np.ndarray
    readings: life.Readings
    population: life.LifePopulation

    def position(self, set_id: UUID) -> int:
        """Where a set stands in the arrays."""
        return self.set_ids.index(set_id)

    def part(self, positions: np.ndarray) -> dict[str, Any]:
        """The arguments of the numerics for some of the sets."""
        return {
            "used_m2": self.used_m2[positions],
            "entered_at_m2": self.entered_m2[positions],
            "entered_error_m2": self.entered_error_m2[positions],
            "readings": life.Readings(
                np.asarray(self.readings.area_m2)[positions],
                np.asarray(self.readings.share_gone)[positions],
                np.asarray(self.readings.error_share)[positions],
            ),
        }


def ratings(tool_types: Iterable[ToolType]) -> dict[int, float]:
    """The rated coverage of each type, m2; without one the mean of the rated types of its bond (our assumption).

    A type without a rating and without a rated neighbour is left out: nothing can be said of its life.
    """
    types = list(tool_types)
    by_bond: dict[str, list[float]] = {}
    for tool_type in types:
        if tool_type.rated_coverage_m2:
            by_bond.setdefault(tool_type.bond, []).append(tool_type.rated_coverage_m2)
    found: dict[int, float] = {}
    for tool_type in types:
        if tool_type.rated_coverage_m2:
            found[tool_type.pk] = tool_type.rated_coverage_m2
        elif tool_type.bond in by_bond:
            found[tool_type.pk] = float(np.mean(by_bond[tool_type.bond]))
    return found


def records(
    settings: ShopSettings,
    *,
    types: Iterable[ToolType] | None = None,
    known: Mapping[UUID, SetFacts] | None = None,
) -> dict[int, TypeRecord]:
    """The record of each tool type by its id: two queries, whatever the number of sets.

    types: only these; None for all. known: by these facts (inventory.queries.known) instead of the states of today; the
    types' ratings and heights are today's. A type without any rating to go by is left out.
    """
    all_types = list(ToolType.objects.all())
    wanted = {tool_type.pk for tool_type in (all_types if types is None else types)}
    rated = ratings(all_types)
    rows = _rows_now(wanted) if known is None else _rows_known(known, wanted)
    by_type: dict[int, list[dict[str, Any]]] = {}
    for row in rows:
        by_type.setdefault(row["tool_set__tool_type_id"], []).append(row)
    return {
        tool_type.pk: record_of(tool_type, rated[tool_type.pk], by_type.get(tool_type.pk, []), settings)
        for tool_type in all_types
        if tool_type.pk in wanted and tool_type.pk in rated
    }


def _rows_now(wanted: set[int]) -> list[dict[str, Any]]:
    states = SetState.objects.filter(main_id=F("tool_set_id"), tool_set__tool_type_id__in=wanted).exclude(opening="")
    return list(states.order_by("tool_set_id").values(*_COLUMNS))


def _rows_known(known: Mapping[UUID, SetFacts], wanted: set[int]) -> list[dict[str, Any]]:
    """The same columns from facts; one query for the sets' types."""
    types = ToolSet.objects.filter(pk__in=list(known), tool_type_id__in=wanted).values_list("pk", "tool_type_id")
    return [
        {
            "tool_set_id": set_id,
            "tool_set__tool_type_id": type_id,
            "opening": known[set_id].opening,
            "fitness": known[set_id].fitness,
            "fitness_why": known[set_id].fitness_why,
            "worked": known[set_id].worked_by_class(),
            "wear": wear_seen(known[set_id]),
        }
        for set_id, type_id in types.order_by("pk")
    ]


def record_of(
    tool_type: ToolType, rated_m2: float, rows: Sequence[Mapping[str, Any]], settings: ShopSettings
) -> TypeRecord:
    """The record of one type from its sets' state rows (columns of _COLUMNS), pure once the rows are there."""
    usable = (tool_type.new_height_mm or 0.0) - (tool_type.retire_height_mm or 0.0)
    median = rated_m2 * float(np.exp(-life.HOPEFUL_LN))
    count = len(rows)
    worked = np.array([reference_area(settings, row["worked"]) for row in rows], dtype=np.float64)
    entered, error = np.zeros(count), np.zeros(count)
    area, gone, reading_error = np.full(count, np.nan), np.full(count, np.nan), np.full(count, life.READING_ERROR_SHARE)
    for index, row in enumerate(rows):
        wear = row["wear"] if usable > 0 else {}
        entered[index], error[index] = _past(row["opening"], wear, usable, median, tool_type, settings)
        if wear and (row["opening"] == OpeningKind.NEW or wear["start_height_mm"] is not None):
            start = wear["start_height_mm"] or tool_type.new_height_mm or 0.0
            area[index] = reference_area(settings, wear["worked"])
            share = (start - wear["lowest_height_mm"] - wear["dressed_mm"]) / usable
            gone[index] = float(np.clip(share, -0.5, 1.5))
            both = np.sqrt(2.0) if wear["start_height_mm"] is not None else 1.0
            reading_error[index] = _READING_ERROR_MM / usable * both
    retired = np.array([row["fitness"] == Fitness.RETIRED for row in rows], dtype=np.bool_)
    worn = np.array([row["fitness_why"] == RetiredWhy.WORN for row in rows], dtype=np.bool_) & retired
    # Worn out though nobody logged any work: how long it lasted is not known, so its end says nothing.
    worn &= entered + worked > 0
    readings = life.Readings(area, gone, reading_error)
    population = life.fit_population(
        rated_m2, entered + worked, worn, entered, entered_error_m2=error, readings=readings
    )
    return TypeRecord(
        tool_type,
        rated_m2,
        tuple(row["tool_set_id"] for row in rows),
        entered + worked,
        entered,
        error,
        worn,
        np.flatnonzero(~retired),
        readings,
        population,
    )


def _past(
    opening: str,
    wear: Mapping[str, Any],
    usable_mm: float,
    median_m2: float,
    tool_type: ToolType,
    settings: ShopSettings,
) -> tuple[float, float]:
    """Reference area believed used before the record began, m2, and the SD of that belief."""
    if opening == OpeningKind.NEW:
        return 0.0, 0.0
    share, share_error = _OPENINGS.get(opening, _OPENINGS[OpeningKind.UNKNOWN])
    before = 0.0
    if wear:
        # Any height says more than a word: at the start, or later with what was worked until then taken off.
        height = wear["start_height_mm"]
        if height is None:
            height, before = wear["lowest_height_mm"], reference_area(settings, wear["worked"])
        share = float(np.clip(((tool_type.new_height_mm or 0.0) - height) / usable_mm, 0.0, 1.0))
        share_error = _READING_ERROR_MM / usable_mm + 0.04
    return max(0.0, share * median_m2 - before), share_error * median_m2


def lives(found: Mapping[int, TypeRecord], *, only: Collection[UUID] | None = None) -> dict[UUID, SetLife]:
    """Life left of every set not retired, by set id; with ``only`` of these sets alone (a scan asks about one)."""
    answers: dict[UUID, SetLife] = {}
    for record in found.values():
        running = record.running
        if only is not None:
            running = np.array([place for place in running if record.set_ids[place] in only], dtype=np.int64)
        if running.size == 0:
            continue
        left = life.life_left(record.population, **record.part(running))
        new_m2 = record.population.median_m2
        for place, position in enumerate(running):
            answers[record.set_ids[position]] = SetLife(
                float(left.at_least_m2[place]),
                float(left.likely_m2[place]),
                float(left.up_to_m2[place]),
                float(record.used_m2[position]),
                new_m2,
                record.population.worn_out,
            )
    return answers


def chances_to_finish(found: Mapping[int, TypeRecord], wanted: Mapping[UUID, float]) -> dict[UUID, float]:
    """The chance that each of these sets finishes its reference area, m2, by set id.

    wanted: reference area asked of each set. Sets nothing can be said of are left out; a retired one finishes nothing.
    """
    answers: dict[UUID, float] = {}
    for record in found.values():
        running = set(record.running.tolist())
        asked = [position for position, set_id in enumerate(record.set_ids) if set_id in wanted]
        answers |= {record.set_ids[position]: 0.0 for position in asked if position not in running}
        positions = np.array([position for position in asked if position in running], dtype=np.int64)
        if positions.size:
            part = record.part(positions)
            areas = np.array([wanted[record.set_ids[position]] for position in positions])
            chances = life.chance_to_finish(record.population, part.pop("used_m2"), areas, **part)
            answers |= {
                record.set_ids[position]: float(chance) for position, chance in zip(positions, chances, strict=True)
            }
    return answers


def chance_of_pair(record: TypeRecord, first: UUID, second: UUID, area_m2: float) -> float:
    """The chance that two sets of one type, one after the other, finish a reference area together."""
    used = record.used_m2[[record.position(first), record.position(second)]]
    return life.chance_two_finish(record.population, float(used[0]), float(used[1]), area_m2)
