"""The one bridge from rows to the wear model and back: life left of sets, as it stands or as it was known.

Pages read what is kept (StoredLife, written with every entry that changes a set: inventory.actions.lives); nothing is
fitted for them. ``models`` gives the wear model itself, for the forecast, for what to measure and for alarms.
Areas are reference areas, m2; ``on_floor`` turns them into worked area of a named floor.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from statistics import NormalDist
from typing import Any
from uuid import UUID

import numpy as np
from django.db.models import F

from inventory.ledger.facts import SetFacts
from inventory.ledger.wear import wear_of
from inventory.models import LearntLife, SetState, ToolSet, ToolType
from inventory.numerics.life import Lives
from inventory.numerics.life_curves import LifeCurves
from inventory.shop_settings import CLASSES_LEARNT, ShopSettings
from inventory.wear_model import LifeRow, TypeModel, fit_models, learn_floors, model_of, readable, unfitted_models
from inventory.wear_rows import SetRow

__all__ = ["Lives", "SetLife", "TypeModel", "TypeRecord"]


@dataclass(frozen=True)
class SetLife:
    """Life left of one set in reference area, m2, and as shares of a new set's likely life (0 to 1).

    used_m2: reference area behind it, its believed past included. worn_out: sets of the type that ended worn.
    remaining_share: expected share of its usable height.
    """

    at_least_m2: float
    likely_m2: float
    up_to_m2: float
    used_m2: float
    new_m2: float
    worn_out: int
    remaining_share: float = 0.0

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
    """What is kept of the lives of one tool type. rows: by set; new_life_m2: at least, likely, up to of a new set.

    rated_m2: the supplier's, or the mean of its bond's where it gives none.
    """

    tool_type: ToolType
    rated_m2: float
    new_life_m2: tuple[float, float, float]
    worn_out: int
    rows: Mapping[UUID, LifeRow]

    @property
    def set_ids(self) -> Collection[UUID]:
        """The sets something can be said of."""
        return self.rows.keys()

    def life(self, set_id: UUID) -> SetLife:
        """Life left of one of its sets."""
        return _set_life(self.rows[set_id], self.new_life_m2[1], self.worn_out)

    @cached_property
    def _curves(self) -> tuple[dict[UUID, int], LifeCurves]:
        running = [set_id for set_id, row in self.rows.items() if row.running]
        places = {set_id: place for place, set_id in enumerate(running)}
        return places, LifeCurves.from_bytes([self.rows[set_id].curves for set_id in running])

    def curves(self, set_ids: Sequence[UUID]) -> LifeCurves:
        """The kept curves of these running sets, in their order."""
        places, curves = self._curves
        return curves.part(np.array([places[set_id] for set_id in set_ids], dtype=np.int64))


# --- what is kept ---


def records(
    settings: ShopSettings,
    *,
    types: Iterable[ToolType] | None = None,
    known: Mapping[UUID, SetFacts] | None = None,
    sets: Collection[UUID] | None = None,
) -> dict[int, TypeRecord]:
    """What is kept of each tool type by its id: two queries, whatever the number of sets.

    types, sets: only these; None for all (with ``known`` types alone are chosen). known: by these facts
    (inventory.queries.known) instead, fitted anew from them alone, with settings as ``known_then`` gives them. A type
    without any rating to go by is left out.
    """
    wanted = None if types is None else {one.pk for one in types}
    if known is None:
        return _kept(settings, wanted, curves=True, only=sets)
    _settings, found = known_then(settings, known)
    return {
        pk: TypeRecord(
            model.tool_type,
            model.rated_m2,
            model.new_life_m2,
            model.worn_out,
            dict(zip(model.set_ids, rows, strict=True)),
        )
        for pk, model in found.items()
        if wanted is None or pk in wanted
        for rows in [model.work_out()]
    }


def all_lives(settings: ShopSettings, tool_types: Iterable[ToolType] | None = None) -> dict[UUID, SetLife]:
    """Life left of every set not retired, by set id; two queries. tool_types: only of these."""
    wanted = None if tool_types is None else {one.pk for one in tool_types}
    return lives(_kept(settings, wanted, curves=False))


def lives_of(settings: ShopSettings, set_ids: Collection[UUID]) -> dict[UUID, SetLife]:
    """Life left of these sets, retired ones left out; two queries."""
    return lives(_kept(settings, None, curves=False, only=set_ids))


def lives(found: Mapping[int, TypeRecord], *, only: Collection[UUID] | None = None) -> dict[UUID, SetLife]:
    """Life left of every set not retired, by set id; with ``only`` of these sets alone. No query."""
    return {
        set_id: _set_life(row, record.new_life_m2[1], record.worn_out)
        for record in found.values()
        for set_id, row in record.rows.items()
        if row.running and (only is None or set_id in only)
    }


def chances_to_finish(found: Mapping[int, TypeRecord], wanted: Mapping[UUID, float]) -> dict[UUID, float]:
    """The chance that each of these sets finishes one step of its reference area, m2, by set id.

    wanted: reference area asked of each set. Sets nothing can be said of are left out; a retired one finishes nothing.
    """
    answers: dict[UUID, float] = {}
    for record in found.values():
        asked = [set_id for set_id in record.rows if set_id in wanted]
        answers |= {set_id: 0.0 for set_id in asked if not record.rows[set_id].running}
        running = [set_id for set_id in asked if record.rows[set_id].running]
        if running:
            areas = np.array([wanted[set_id] for set_id in running])
            chances = record.curves(running).chance_to_finish(areas)
            answers |= {set_id: float(chance) for set_id, chance in zip(running, chances, strict=True)}
    return answers


def chance_of_pair(record: TypeRecord, first: UUID, second: UUID, area_m2: float) -> float:
    """The chance that two sets of one type, one after the other, finish a step of this reference area together."""
    found = chances_with(record, first, [second], area_m2)
    return found[second] if second in found else chances_to_finish({0: record}, {first: area_m2})[first]


def chances_with(record: TypeRecord, first: UUID, others: Iterable[UUID], area_m2: float) -> dict[UUID, float]:
    """The same for one set with each of several others; others that nothing can be said of are left out."""
    asked = [one for one in dict.fromkeys(others) if one != first and one in record.rows]
    running = [one for one in (first, *asked) if record.rows[one].running]
    alone = chances_to_finish({0: record}, dict.fromkeys((first, *asked), area_m2))
    if first not in running:
        return {one: alone[one] for one in asked}
    chances = record.curves(running).chance_with(0, area_m2)
    together = {one: float(chance) for one, chance in zip(running, chances, strict=True)}
    return {one: together.get(one, alone[first]) for one in asked}


def capacities(record: TypeRecord, limit: float) -> dict[UUID, float]:
    """The largest reference area, m2, that each running set of a type still does with this chance, by set id.

    The lesser of one step of that area and of usual uses that add up to it: what is planned by it reads "yes" alone.
    """
    running = [set_id for set_id, row in record.rows.items() if row.running]
    curves, found = record.curves(running), {}
    for place, set_id in enumerate(running):
        area = curves.area_m2[place, ::-1]
        reach = (np.interp(limit, curve[place, ::-1], area) for curve in (curves.usual, curves.step))
        found[set_id] = float(min(reach))
    return found


def new_capacity(record: TypeRecord, limit: float, known: Mapping[UUID, float]) -> float:
    """The same of a new set: as a fresh one that is there, else between at least and likely of a new set.

    known: what ``capacities`` gave. Without a fresh one lognormal through these two: our assumption.
    """
    fresh = [area for set_id, area in known.items() if record.rows[set_id].used_m2 <= 0]
    if fresh:
        return max(fresh)
    at_least, likely, _up_to = record.new_life_m2
    spread = float(np.log(likely / at_least)) / 1.2815515655446004
    return float(likely * np.exp(-NormalDist().inv_cdf(limit) * spread))


def _set_life(row: LifeRow, new_m2: float, worn_out: int) -> SetLife:
    return SetLife(row.at_least_m2, row.likely_m2, row.up_to_m2, row.used_m2, new_m2, worn_out, row.remaining_share)


_ROW = (
    "tool_set_id",
    "tool_set__tool_type_id",
    "wear_stamp",
    "tool_set__life__wear_stamp",
    "tool_set__life__number",
    "tool_set__life__running",
    "tool_set__life__used_m2",
    "tool_set__life__at_least_m2",
    "tool_set__life__likely_m2",
    "tool_set__life__up_to_m2",
    "tool_set__life__remaining_share",
)


def _kept(
    settings: ShopSettings, wanted: set[int] | None, *, curves: bool, only: Collection[UUID] | None = None
) -> dict[int, TypeRecord]:
    """Two queries; more only where something kept is older than its ledger, which is then worked out on the spot."""
    types = types_with_fits()
    rated = ratings(types)
    asked = {one.pk: one for one in types if one.pk in rated and (wanted is None or one.pk in wanted)}
    states = _began(asked if wanted is not None else None)
    if only is not None:
        states = states.filter(pk__in=list(only))
    rows: dict[int, dict[UUID, LifeRow]] = {pk: {} for pk in asked}
    stale: list[UUID] = []
    numbers = {pk: fit.number for pk, one in asked.items() if (fit := learnt_of(one)) is not None}
    columns = (*_ROW, "tool_set__life__curves") if curves else _ROW
    for set_id, type_id, stamp, stored, number, *values in states.values_list(*columns):
        if type_id not in asked:
            continue
        if stored is None or stored != stamp or number != numbers.get(type_id):
            stale.append(set_id)
        else:
            rows[type_id][set_id] = LifeRow(*values)
    found = {
        pk: TypeRecord(one, rated[pk], new_life_of(fit), fit.worn_out, rows[pk])
        for pk, one in asked.items()
        if (fit := learnt_of(one)) is not None
    }
    missing = {pk for pk in asked if pk not in found and (wanted is not None or rows[pk] or stale)}
    return found if not stale and not missing else _anew(settings, found, stale, missing, rated)


def _anew(
    settings: ShopSettings,
    found: dict[int, TypeRecord],
    stale: Sequence[UUID],
    missing: set[int],
    rated: Mapping[int, float],
) -> dict[int, TypeRecord]:
    """With the sets worked out that nothing, or something older, is kept of."""
    of_type = dict(ToolSet.objects.filter(pk__in=stale).values_list("pk", "tool_type_id"))
    part = models(settings, sets=[pk for pk in stale if of_type[pk] not in missing])
    part |= models(settings, type_ids=missing) if missing else {}
    answers = dict(found)
    for pk, model in part.items():
        asked = [place for place, set_id in enumerate(model.set_ids) if set_id in of_type]
        worked_out = dict(zip((model.set_ids[place] for place in asked), model.work_out(asked), strict=True))
        record = answers.get(pk) or TypeRecord(model.tool_type, rated[pk], model.new_life_m2, model.worn_out, {})
        answers[pk] = replace(record, rows={**record.rows, **worked_out})
    return answers


# --- the model itself ---


def models(
    settings: ShopSettings, *, type_ids: Collection[int] | None = None, sets: Collection[UUID] | None = None
) -> dict[int, TypeModel]:
    """The wear model of each tool type with the record of its sets, by the type's id; two queries.

    type_ids, sets: only these (with ``sets`` the record holds these alone). The kept fit of a type is taken; one never
    fitted goes by its supplier's word and each set's own record, and is due (wanting). A type without any rating to go
    by is left out.
    """
    types = types_with_fits()
    if type_ids is None and sets is not None and not sets:
        return {}
    asked = [one for one in types if type_ids is None or one.pk in type_ids]
    rows = rows_now(None if type_ids is None else {one.pk for one in asked}, sets)
    rated = ratings(types)
    found = {
        one.pk: model_of(one, rows.get(one.pk, []), learnt, rated[one.pk], types)
        for one in asked
        if one.pk in rated and (learnt := learnt_of(one)) is not None
    }
    bare = [one for one in asked if one.pk in rated and one.pk not in found]
    if bare:
        # With their bond: a type without a rating goes by the others of it.
        bonds = {one.bond for one in bare}
        kin = [one for one in types if one.pk in rated and one.bond in bonds]
        fresh = unfitted_models(kin, rows, settings, rated)
        found |= {one.pk: fresh[one.pk] for one in bare if one.pk in fresh}
        _wanting.update(one.pk for one in bare if rows.get(one.pk))
    return found


_wanting: set[int] = set()  # types that were asked about and never fitted; only ever grown here, emptied by wanting


def wanting() -> set[int]:
    """The types asked about in this process that were never fitted, told once: what fits them does so afterwards."""
    found = set(_wanting)
    _wanting.difference_update(found)
    return found


def known_then(settings: ShopSettings, known: Mapping[UUID, SetFacts]) -> tuple[ShopSettings, dict[int, TypeModel]]:
    """The settings with the floor factors, and the wear models, learnt from these facts alone; two queries.

    settings: as they were known then (settings_of with known_by). Types' ratings and heights are today's.
    """
    types = list(ToolType.objects.order_by("pk"))
    rated = ratings(types)
    of_type = ToolSet.objects.filter(pk__in=list(known)).order_by("pk").values_list("pk", "tool_type_id")
    rows: dict[int, list[SetRow]] = {}
    for set_id, type_id in of_type:
        facts = known[set_id]
        rows.setdefault(type_id, []).append(SetRow(set_id, wear_of(facts), facts.fitness, facts.fitness_why))
    rows = {pk: rows.get(pk, []) for pk in rated}
    own = replace(settings, floors={})
    then = replace(own, floors=learn_floors([one for one in types if one.pk in rated], rows, own).multipliers)
    return then, fit_models([one for one in types if one.pk in rated], rows, then, rated)


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


def types_with_fits() -> list[ToolType]:
    """All tool types with what was learnt of them, one query."""
    return list(ToolType.objects.select_related("learnt").order_by("pk"))


def learnt_of(tool_type: ToolType) -> LearntLife | None:
    """What was learnt of a type, if anything that this program can read; no query after types_with_fits."""
    try:
        found: LearntLife = tool_type.learnt
    except LearntLife.DoesNotExist:
        return None
    return found if readable(found.fit) and found.factors.keys() >= set(CLASSES_LEARNT) else None


def new_life_of(learnt: LearntLife) -> tuple[float, float, float]:
    """At least, likely, up to of a new set, reference m2."""
    return learnt.new_at_least_m2, learnt.new_likely_m2, learnt.new_up_to_m2


def rows_now(type_ids: Collection[int] | None, sets: Collection[UUID] | None = None) -> dict[int, list[SetRow]]:
    """What states keep of wear, by type id, sets in the order of their keys; one query."""
    states = _began(type_ids)
    if sets is not None:
        states = states.filter(pk__in=list(sets))
    found: dict[int, list[SetRow]] = {}
    columns = ("tool_set_id", "wear", "fitness", "fitness_why", "wear_stamp", "tool_set__life__as_fitted")
    for type_id, *values in states.order_by("pk").values_list("tool_set__tool_type_id", *columns):
        found.setdefault(type_id, []).append(SetRow(*values))
    return found


def _began(type_ids: Collection[int] | None) -> Any:
    states = SetState.objects.filter(main_id=F("tool_set_id")).exclude(opening="")
    return states if type_ids is None else states.filter(tool_set__tool_type_id__in=list(type_ids))
