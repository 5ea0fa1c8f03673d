"""Life left of all sets, kept in this process until something is recorded.

The rule: what is kept holds as long as its fingerprint is what the database gives now. The fingerprint is the number
of acts and the newest of them (whatever changes a ledger writes an act), the number of kept states and their worked
area summed (a `rebuild` changes them without an act), the tool types' facts, and the settings asked with. Nothing goes
by the clock: life left does not change while nothing happens. Each process keeps its own, at most four shops' worth.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable
from threading import Lock
from typing import Any
from uuid import UUID

from django.db.models import Count, Sum

from inventory import estimate
from inventory.models import Act, SetState, ToolType
from inventory.shop_settings import ShopSettings

_MOST_KEPT = 4
_kept: OrderedDict[tuple[Any, ...], dict[UUID, estimate.SetLife]] = OrderedDict()
_lock = Lock()


def fingerprint(settings: ShopSettings, tool_types: Iterable[ToolType]) -> tuple[Any, ...]:
    """What life left was computed from, in short; three small queries."""
    newest = Act.objects.order_by("-recorded_at", "-pk").values_list("pk", "recorded_at").first()
    states = SetState.objects.aggregate(count=Count("pk"), worked=Sum("worked_m2"))
    types = tuple(
        (one.pk, one.rated_coverage_m2, one.new_height_mm, one.retire_height_mm, one.bond)
        for one in sorted(tool_types, key=lambda one: one.pk)
    )
    words = tuple(sorted((key, str(value)) for key, value in settings.values.items()))
    return newest, Act.objects.count(), states["count"], states["worked"], types, words


def all_lives(settings: ShopSettings, tool_types: Iterable[ToolType]) -> dict[UUID, estimate.SetLife]:
    """Life left of every set not retired, by set id. tool_types: all there are.

    Three queries, and two more after something was recorded. The answer is shared: do not change it.
    """
    key = fingerprint(settings, tool_types)
    with _lock:
        if (known := _kept.get(key)) is not None:
            _kept.move_to_end(key)
            return known
    # Read after the fingerprint: what comes in between makes the kept answer newer than its name, never older.
    found = estimate.lives(estimate.records(settings))
    with _lock:
        _kept[key] = found
        while len(_kept) > _MOST_KEPT:
            _kept.popitem(last=False)
    return found


def forget() -> None:
    """Keep nothing."""
    with _lock:
        _kept.clear()
