"""Keeps which sets wear oddly (OddWear): a set after an entry that says how worn it is, all of them with every refit.

What is kept is no ledger: it is written over, and made again by `refit`. That somebody looked at a set is an entry: it
settles WEARS_ODDLY of the newest reading, as a flag of the ledger is settled, and so holds until the next reading.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from threading import Lock
from typing import Any
from uuid import UUID

import numpy as np
from django.db import transaction

from inventory import estimate
from inventory.models import AlarmBasis, OddWear
from inventory.numerics.alarm_limits import Surprises, Tails
from inventory.numerics.wear_alarms import CONTRADICTS, SetAlarms, alarm_basis, wear_alarms
from inventory.numerics.wear_fit import TypeFit
from inventory.shop_settings import ShopSettings
from inventory.wear_model import TypeModel, model_of, readable
from inventory.wear_rows import SetRow

# --- what is due in this process ---

_sets: set[UUID] = set()
_types: set[int] = set()
_lock = Lock()


def note_sets(set_ids: Iterable[UUID]) -> None:
    """Note that these sets are to be judged, once what was written stands."""
    ids = set(set_ids)
    if ids:
        transaction.on_commit(lambda: _note(_sets, ids))


def note_type(type_id: int) -> None:
    """Note that all sets of a type are to be judged by its new fit."""
    _note(_types, {type_id})


def _note(due: set[Any], ids: set[Any]) -> None:
    with _lock:
        due.update(ids)


def judge_due(settings: ShopSettings, *, now: datetime) -> int:
    """Judge what is due in this process, after an answer has gone out; returns how many sets were found odd."""
    with _lock:
        types, sets = set(_types), set(_sets)
        _types.clear()
        _sets.clear()
    count = judge_types(settings, types, now=now) if types else 0
    return count + (judge_sets(settings, sets, now=now) if sets else 0)


def any_due() -> bool:
    """Whether something is to be judged; no query."""
    return bool(_types or _sets)


# --- judging ---


def judge_shop(settings: ShopSettings, *, now: datetime) -> int:
    """Learn anew what is usual in the shop, and judge every set by it; returns how many were found odd. Six queries."""
    found = list(estimate.models(settings).values())
    with _lock:
        _types.clear()
        _sets.clear()
    if not found:
        OddWear.objects.all().delete()
        return 0
    basis = alarm_basis([one.record for one in found], [one.fit for one in found], found[0].factors)
    return _keep([one for one in zip(found, basis.fits, strict=True) if one[1] is not None], basis.tails, now)


def judge_types(settings: ShopSettings, type_ids: Collection[int], *, now: datetime) -> int:
    """Judge all sets of these types by their newest fits; how much heights of this shop surprise stays as learnt."""
    found = estimate.models(settings, type_ids=set(type_ids))
    if not found:
        return 0
    tails = next((_tails(one.tails) for one in AlarmBasis.objects.order_by("-judged_at")[:1]), Tails())
    # The other types lend their fits alone: noise and spread are pooled over the shop, their sets are not looked at.
    every = estimate.types_with_fits()
    rated = estimate.ratings(every)
    others = [
        model_of(one, [], learnt, rated[one.pk], every)
        for one in every
        if one.pk not in found and one.pk in rated and (learnt := estimate.learnt_of(one)) is not None
    ]
    models = [*found.values(), *others]
    basis = alarm_basis([one.record for one in models], [one.fit for one in models], models[0].factors)
    pairs = [one for one in zip(models, basis.fits, strict=True) if one[1] is not None and one[0].tool_type.pk in found]
    return _keep(pairs, tails, now)


def judge_sets(settings: ShopSettings, set_ids: Collection[UUID], *, now: datetime) -> int:
    """Judge these sets by what was learnt of the shop; those of a type that nothing was learnt of wait for `refit`."""
    kept = AlarmBasis.objects.in_bulk()
    found: list[OddWear] = []
    asked: list[UUID] = []
    for type_id, model in estimate.models(settings, sets=set_ids).items():
        basis = kept.get(type_id)
        if basis is not None and readable(basis.fit):
            asked += model.set_ids
            found += _judge(model, TypeFit.from_json(basis.fit), _tails(basis.tails), now)
    return _write(asked, found)


def _keep(found: Sequence[tuple[TypeModel, TypeFit | None]], tails: Tails, now: datetime) -> int:
    """Keep what alarms are judged by, and judge all sets of these models."""
    fits = [(model, fit) for model, fit in found if fit is not None]
    rows = [
        AlarmBasis(tool_type=model.tool_type, fit=fit.to_json(), tails=asdict(tails), judged_at=now)
        for model, fit in fits
    ]
    if rows:
        AlarmBasis.objects.bulk_create(
            rows, update_conflicts=True, unique_fields=["tool_type"], update_fields=["fit", "tails", "judged_at"]
        )
    odd = [row for model, fit in fits for row in _judge(model, fit, tails, now)]
    return _write([pk for model, _fit in fits for pk in model.set_ids], odd)


def _tails(kept: Mapping[str, Any]) -> Tails:
    return Tails(Surprises(**kept["faster"]), Surprises(**kept["slower"]))


def _judge(model: TypeModel, fit: TypeFit, tails: Tails, now: datetime) -> list[OddWear]:
    """What is odd among the sets of a model; an alarm that its newest height no longer bears out is none."""
    if not model.rows:
        return []
    before = model.before(np.arange(len(model.rows), dtype=np.int64))
    record = model.as_read()
    if before is None and not np.array_equal(record.segments.restart_mm, model.record.segments.restart_mm, True):
        before = model.record
    answers = wear_alarms(record, fit, model.factors, tails=tails, as_fitted=before)
    standing = [SetAlarms(tuple(one for one in answer.alarms if one.standing)) for answer in answers]
    return [_row(row, odd, now) for row, odd in zip(model.rows, standing, strict=True) if odd]


def _write(asked: Sequence[UUID], found: Sequence[OddWear]) -> int:
    """Keep what was found of the sets asked about; what is known already stays as old as it is."""
    every = OddWear.objects.only("reading", "found_at").in_bulk()
    known = {pk: every[pk] for pk in asked if pk in every}
    for row in found:
        if row.pk in known and known[row.pk].reading == row.reading:
            row.found_at = known[row.pk].found_at
    if gone := known.keys() - {row.pk for row in found}:
        OddWear.objects.filter(pk__in=gone).delete()
    if found:
        fields = ["headline", "direction", "checks", "reading", "read_at", "found_at"]
        OddWear.objects.bulk_create(
            found, update_conflicts=True, unique_fields=["tool_set"], update_fields=fields, batch_size=400
        )
    return len(found)


def _row(row: SetRow, odd: SetAlarms, now: datetime) -> OddWear:
    reading, read_at = newest_reading(row.set_id, row.wear)
    return OddWear(
        tool_set_id=row.set_id,
        headline="contradicts" if odd.headline == CONTRADICTS else str(odd.headline),
        direction=str(odd.direction),
        checks=list(odd.checks),
        reading=reading,
        read_at=read_at or now,
        found_at=now,
    )


def newest_reading(set_id: UUID, wear: Mapping[str, Any]) -> tuple[UUID, datetime | None]:
    """The entry of the newest height in a set's wear, and when; the set's own key where none was read."""
    for one in reversed(wear.get("stretches", ())):
        if one["read_mm"] is not None and one["entry"]:
            return UUID(one["entry"]), datetime.fromisoformat(one["at"])
    return set_id, None


def reads_differ(before: Mapping[str, Any], after: Mapping[str, Any]) -> bool:
    """Whether a set's heights, or the work and the pieces they are judged by, are others; before, after: its wear.

    Work logged late, of before the newest height, is what may explain it.
    """
    return _judged_by(before) != _judged_by(after)


def _judged_by(wear: Mapping[str, Any]) -> list[Any]:
    return [wear.get("pieces"), *(one for one in wear.get("stretches", ()) if one["at"])]
