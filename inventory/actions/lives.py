"""Keeps life left current: one set with the entry that changes it, a type's fit after it, everything by `refit`.

What is kept here (StoredLife, LearntLife, LearntFloors) is no ledger: it is written over, and made again by ``refit``.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime
from threading import Lock
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import F

from inventory import estimate
from inventory.actions import alarms
from inventory.models import Branch, LearntFloors, LearntLife, SetState, StoredLife, ToolSet, ToolType
from inventory.models.choices import Fitness
from inventory.shop_settings import ShopSettings, settings_of
from inventory.times import zone_of
from inventory.wear_model import Floors, TypeModel, fit_models, learn_floors, model_of, refit_alone
from inventory.wear_rows import SetRow

READINGS_UNTIL_DUE = 10  # a type is fitted again after so many heights: our assumption, METHODS 1.3
_later: ContextVar[bool] = ContextVar("lives kept later", default=False)


@dataclass(frozen=True)
class Before:
    """How a set stood before an entry changed what its life is worked out from."""

    wear: Mapping[str, Any]
    fitness: str
    fitness_why: str
    stamp: str
    main_id: UUID


@dataclass(frozen=True)
class Refitted:
    """What a refit came to: types fitted, sets whose life was worked out, types nothing can be said of, by name."""

    types: int
    sets: int
    left_out: tuple[str, ...]


Progress = Callable[[str, int, int], None]


def _quiet(what: str, done: int, of: int) -> None:
    pass


@contextmanager
def kept_later() -> Iterator[None]:
    """Within it no life is worked out entry by entry; the caller calls ``refit`` at the end (a demo, an import)."""
    token = _later.set(True)
    try:
        yield
    finally:
        _later.reset(token)


# --- one entry ---


def keep_lives(changed: Mapping[UUID, Before], states: Mapping[UUID, SetState], now: datetime) -> None:
    """Work out the life left of these sets anew with the fit of their type as it is kept; five queries for any number.

    changed: sets whose wear or end is another than before, and how they stood; states: as they stand now, saved. Runs
    in the writer's transaction. A type's first set is fitted here, alone; with its bond once the answer has gone out.
    """
    asked = {pk: states[pk] for pk in changed if states[pk].main_id == pk and states[pk].opening}
    if _later.get() or not asked:
        return
    sets = {one.pk: one for one in ToolSet.objects.filter(pk__in=asked).select_related("tool_type__learnt")}
    kept = dict(StoredLife.objects.filter(pk__in=asked).values_list("pk", "as_fitted"))
    by_type: dict[int, list[UUID]] = {}
    for pk in sorted(asked):
        by_type.setdefault(sets[pk].tool_type_id, []).append(pk)
    rows: list[StoredLife] = []
    due: set[int] = set()
    for type_id, ids in by_type.items():
        tool_type = sets[ids[0]].tool_type
        learnt = estimate.learnt_of(tool_type)
        if learnt is None:
            due.add(type_id)
            _first_fit(tool_type, now)
            continue
        found = [_row(asked[pk], changed[pk], kept.get(pk, {})) for pk in ids]
        model = model_of(tool_type, found, learnt, learnt.rated_m2)
        rows += _stored(model, learnt.number)
        ended = any((asked[pk].fitness == Fitness.RETIRED) != (changed[pk].fitness == Fitness.RETIRED) for pk in ids)
        read = sum(max(0, _readings(asked[pk].wear) - _readings(changed[pk].wear)) for pk in ids)
        if read:
            LearntLife.objects.filter(pk=type_id).update(readings=F("readings") + read)
        if ended or learnt.readings + read >= READINGS_UNTIL_DUE:
            due.add(type_id)
    _write(rows)
    mark_due(due)
    alarms.note_sets(pk for pk, before in changed.items() if pk in asked and _says_worn(before, asked[pk]))


def _says_worn(before: Before, now: SetState) -> bool:
    """Whether an entry says anew how worn a set is: another height, or its end."""
    ended = (before.fitness == Fitness.RETIRED) != (now.fitness == Fitness.RETIRED)
    return ended or alarms.reads_differ(before.wear, now.wear)


def _first_fit(tool_type: ToolType, now: datetime) -> None:
    """Fit a type that was never fitted, by itself; without a rating it waits to be fitted with its bond."""
    if tool_type.rated_coverage_m2 is None:
        return
    settings = shop_settings(now)
    rows = estimate.rows_now({tool_type.pk})
    model = fit_models([tool_type], rows, settings, {tool_type.pk: tool_type.rated_coverage_m2})[tool_type.pk]
    learnt = {**model.learnt(), "number": 1, "facts": {}, "fitted_at": None}
    _kept, made = LearntLife.objects.get_or_create(pk=tool_type.pk, defaults=learnt)
    if made:
        _write(_stored(model, 1))


def _row(state: SetState, before: Before, kept: Mapping[str, Any] | None) -> SetRow:
    """The set as it stands. kept: how it stood at the fit if it has changed since, None if not, empty if it was new."""
    at_fit = kept
    if kept is None:
        at_fit = {"wear": before.wear, "fitness": before.fitness, "why": before.fitness_why}
    return SetRow(state.pk, state.wear, state.fitness, state.fitness_why, state.wear_stamp, at_fit)


def _readings(wear: Mapping[str, Any]) -> int:
    return sum(one["read_mm"] is not None or one["restart"] is not None for one in wear.get("stretches", ()))


def _stored(model: TypeModel, number: int) -> list[StoredLife]:
    return [
        StoredLife(
            tool_set_id=row.set_id,
            wear_stamp=row.stamp,
            number=number,
            running=life.running,
            used_m2=life.used_m2,
            at_least_m2=life.at_least_m2,
            likely_m2=life.likely_m2,
            up_to_m2=life.up_to_m2,
            remaining_share=life.remaining_share,
            curves=life.curves,
            as_fitted=row.as_fitted,
        )
        for row, life in zip(model.rows, model.work_out(), strict=True)
    ]


_COLUMNS = [field.attname for field in StoredLife._meta.concrete_fields if not field.primary_key]


def _write(rows: Sequence[StoredLife]) -> None:
    if rows:
        StoredLife.objects.bulk_create(
            rows, update_conflicts=True, unique_fields=["tool_set"], update_fields=_COLUMNS, batch_size=400
        )


# --- types ---

# Among the ids of types that are due: every type; floor factors too.
_ALL, _FLOORS = 0, -1
_due: set[int] = set()
_due_lock = Lock()


def mark_due(type_ids: Collection[int]) -> None:
    """Note that these types are to be fitted again, once what was written stands."""
    ids = set(type_ids)

    def note() -> None:
        with _due_lock:
            _due.update(ids)

    if ids and not _later.get():
        transaction.on_commit(note)


def mark_stale_due() -> None:
    """The same for every type with a set whose life was not worked out since it changed: after ``kept_later``."""
    begun = SetState.objects.filter(main_id=F("tool_set_id")).exclude(opening="")
    stale = begun.exclude(tool_set__life__wear_stamp=F("wear_stamp"))
    mark_due(set(stale.values_list("tool_set__tool_type_id", flat=True)))


def mark_all_due() -> None:
    """The same for all types: what holds for all of them has changed (the shop's own floor factors)."""
    mark_due([_ALL])


def refit_soon() -> None:
    """Learn everything anew, floor factors too, as soon as the answer to this request has gone out: for a button."""
    mark_due([_ALL, _FLOORS])


def refit_due(*, now: datetime) -> Refitted | None:
    """Fit what is due in this process: what runs after an answer has gone out. None when nothing is."""
    with _due_lock:
        ids = set(_due)
        _due.clear()
    ids |= estimate.wanting()
    if not ids:
        return None
    types = estimate.types_with_fits()
    asked = [one for one in types if one.pk in ids]
    if _ALL in ids or any(not _fits(one) for one in asked):
        bonds = {one.bond for one in (types if _ALL in ids else asked)}
        return refit(now=now, bonds=bonds, floors=_FLOORS in ids)
    settings = shop_settings(now)
    rows = estimate.rows_now({one.pk for one in asked})
    count = 0
    for one in asked:
        learnt = estimate.learnt_of(one)
        assert learnt is not None
        model = model_of(one, rows.get(one.pk, []), learnt, learnt.rated_m2, types)
        count += _keep_fit(refit_alone(model, settings), now)
    return Refitted(len(asked), count, ())


def _fits(tool_type: ToolType) -> bool:
    """Whether what was learnt of a type was learnt with the facts it has."""
    learnt = estimate.learnt_of(tool_type)
    return learnt is not None and learnt.facts == facts_of(tool_type)


def facts_of(tool_type: ToolType) -> dict[str, Any]:
    """What of a tool type its fit rests on."""
    names = ("rated_coverage_m2", "new_height_mm", "retire_height_mm", "bond")
    return {name: getattr(tool_type, name) for name in names}


def shop_settings(now: datetime) -> ShopSettings:
    """The settings that life left is worked out with: those of the shop's first branch."""
    branch = Branch.objects.order_by("pk").first()
    if branch is None:
        return ShopSettings({})
    return settings_of(branch, today=now.astimezone(zone_of(branch)).date())


def refit(
    *,
    now: datetime,
    bonds: Collection[str] | None = None,
    floors: bool = True,
    progress: Progress = _quiet,
) -> Refitted:
    """Learn the lives of all tool types from the whole record, and work out the life left of every set.

    floors: learn the floor factors first. bonds: only types of these bonds, which are learnt together.
    progress: called with what is being done, how much of it is done, and of how much. Nothing waits for it: what is
    recorded meanwhile is worked out with the new fit as it is written.
    """
    settings = shop_settings(now)
    if not settings.values:
        return Refitted(0, 0, ())
    types = estimate.types_with_fits()
    rated = estimate.ratings(types)
    known = [one for one in types if one.pk in rated]
    asked = [one for one in known if bonds is None or one.bond in bonds]
    rows = estimate.rows_now({one.pk for one in (known if floors else asked)})
    if floors:
        progress("floors", 0, 1)
        settings = _keep_floors(learn_floors(known, rows, settings), settings, now)
        progress("floors", 1, 1)
    done = count = 0
    for bond in sorted({one.bond for one in asked}):
        found = fit_models([one for one in asked if one.bond == bond], rows, settings, rated)
        for model in found.values():
            count += _keep_fit(model, now)
            done += 1
            progress("types", done, len(asked))
    _forget_unrated(types, rated)
    if bonds is None:
        alarms.judge_shop(settings, now=now)
    return Refitted(done, count, tuple(one.name for one in types if one.pk not in rated))


def _keep_floors(floors: Floors, settings: ShopSettings, now: datetime) -> ShopSettings:
    columns = {
        "multipliers": json.dumps(floors.multipliers, sort_keys=True),
        "record": floors.record,
        "behind": floors.behind,
        "sets": floors.sets,
        "fitted_at": now,
    }
    LearntFloors.objects.update_or_create(pk=1, defaults=columns)
    return ShopSettings(settings.values, floors.multipliers)


def _keep_fit(model: TypeModel, now: datetime) -> int:
    """Keep a type's new fit, and the life left of its sets worked out with it; returns how many sets."""
    type_id = model.tool_type.pk
    learnt = estimate.learnt_of(model.tool_type)
    number = (learnt.number if learnt is not None else 0) + 1
    rows = _stored(model, number)
    with transaction.atomic():
        taken = LearntLife.objects.select_for_update().filter(pk=type_id).values_list("number", flat=True).first()
        number = max(number, (taken or 0) + 1)
        columns = {**model.learnt(), "number": number, "facts": facts_of(model.tool_type), "fitted_at": now}
        kept, _made = LearntLife.objects.update_or_create(pk=type_id, defaults=columns)
        for row in rows:
            row.number = number
        now_as = dict(SetState.objects.filter(tool_set__tool_type_id=type_id).values_list("tool_set_id", "wear_stamp"))
        _write([row for row in rows if now_as.get(row.tool_set_id) == row.wear_stamp])
        # What was recorded while this was being fitted: worked out with the new fit, each set as it was at the fit.
        at_fit = {row.set_id: row for row in model.rows}
        if late := [pk for pk, stamp in now_as.items() if stamp and (pk not in at_fit or at_fit[pk].stamp != stamp)]:
            newer = estimate.rows_now(None, late).get(type_id, [])
            again = [SetRow(*_with_fit(row, at_fit.get(row.set_id))) for row in newer]
            _write(_stored(model_of(model.tool_type, again, kept, model.rated_m2), number))
        _forget_others(type_id)
    alarms.note_type(type_id)
    return len(rows)


def _with_fit(row: SetRow, at_fit: SetRow | None) -> tuple[Any, ...]:
    before = {} if at_fit is None else {"wear": at_fit.wear, "fitness": at_fit.fitness, "why": at_fit.fitness_why}
    return row.set_id, row.wear, row.fitness, row.fitness_why, row.stamp, before


def _forget_others(type_id: int) -> None:
    """Nothing is kept of sets that turned out to be another, or never began."""
    kept = StoredLife.objects.filter(tool_set__tool_type_id=type_id)
    kept.exclude(tool_set__state__main_id=F("tool_set_id")).delete()


def _forget_unrated(types: Sequence[ToolType], rated: Mapping[int, float]) -> None:
    """Of a type that lost its rating nothing is known any more."""
    gone = [one.pk for one in types if one.pk not in rated and estimate.learnt_of(one) is not None]
    if gone:
        StoredLife.objects.filter(tool_set__tool_type_id__in=gone).delete()
        LearntLife.objects.filter(pk__in=gone).delete()
