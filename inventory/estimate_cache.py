"""Life left of all sets, kept in this process until something is recorded.

The rule: what is kept holds as long as its fingerprint is what the database gives now. The fingerprint is the number
of acts and the newest of them (whatever changes a ledger writes an act), the number of kept states and their worked
area summed (a `rebuild` changes them without an act), the tool types' facts, and the settings asked with. Nothing goes
by the clock: life left does not change while nothing happens. Each process keeps its own, at most four shops' worth.

When only acts newer than the kept newest one have come, the types of the sets they speak of are read anew and the
others kept: the lives of a type rest on its own sets alone. Anything else (an act that was committed late, a change of
types, settings or states without an act) reads all types anew.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass
from threading import Lock
from typing import Any
from uuid import UUID

from django.db.models import Count, Sum

from inventory import estimate
from inventory.models import Act, Entry, SetState, ToolType
from inventory.shop_settings import ShopSettings

_MOST_KEPT = 4


@dataclass(frozen=True)
class Fingerprint:
    """What life left was computed from, in short. newest: (key, recorded_at) of the newest act; words: all else."""

    newest: Any
    acts: int
    states: int
    worked_m2: float | None
    words: tuple[Any, ...]


@dataclass(frozen=True)
class _Kept:
    """Lives by set, and the same by type, so that one type can be exchanged."""

    lives: dict[UUID, estimate.SetLife]
    by_type: dict[int, dict[UUID, estimate.SetLife]]


_kept: OrderedDict[Fingerprint, _Kept] = OrderedDict()
_lock = Lock()


def fingerprint(settings: ShopSettings, tool_types: Iterable[ToolType]) -> Fingerprint:
    """What life left would be computed from now; three small queries."""
    newest = Act.objects.order_by("-recorded_at", "-pk").values_list("pk", "recorded_at").first()
    states = SetState.objects.aggregate(count=Count("pk"), worked=Sum("worked_m2"))
    types = tuple(
        (one.pk, one.rated_coverage_m2, one.new_height_mm, one.retire_height_mm, one.bond)
        for one in sorted(tool_types, key=lambda one: one.pk)
    )
    words = tuple(sorted((key, str(value)) for key, value in settings.values.items()))
    return Fingerprint(newest, Act.objects.count(), states["count"], states["worked"], (types, words))


def all_lives(settings: ShopSettings, tool_types: Iterable[ToolType]) -> dict[UUID, estimate.SetLife]:
    """Life left of every set not retired, by set id. tool_types: all there are.

    Three queries, up to four more after something was recorded. The answer is shared: do not change it.
    """
    types = list(tool_types)
    key = fingerprint(settings, types)
    with _lock:
        if (known := _kept.get(key)) is not None:
            _kept.move_to_end(key)
            return known.lives
        before = next(((old, kept) for old, kept in reversed(_kept.items()) if old.words == key.words), None)
    # Read after the fingerprint: what comes in between makes the kept answer newer than its name, never older.
    touched = _touched(before[0], key) if before else None
    by_type: dict[int, dict[UUID, estimate.SetLife]] = {}
    if before is not None and touched is not None:
        by_type = dict(before[1].by_type)
    wanted = types if touched is None else [one for one in types if one.pk in touched]
    if wanted:
        found = estimate.records(settings, types=wanted)
        by_type |= {one.pk: estimate.lives({one.pk: found[one.pk]}) if one.pk in found else {} for one in wanted}
    lives = {set_id: life for of_type in by_type.values() for set_id, life in of_type.items()}
    with _lock:
        _kept[key] = _Kept(lives, by_type)
        while len(_kept) > _MOST_KEPT:
            _kept.popitem(last=False)
    return lives


def _touched(old: Fingerprint, new: Fingerprint) -> set[int] | None:
    """The tool types that acts since then speak of; None when more than newer acts has changed. Two queries."""
    if old.newest is None or new.acts <= old.acts:
        return None
    since = Act.objects.filter(recorded_at__gt=old.newest[1])
    if since.count() != new.acts - old.acts:
        return None
    rows = Entry.objects.filter(act__in=since).values_list("tool_set__tool_type_id", "other_set__tool_type_id")
    return {type_id for row in rows.distinct() for type_id in row if type_id is not None}


def forget() -> None:
    """Keep nothing."""
    with _lock:
        _kept.clear()
