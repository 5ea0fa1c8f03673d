"""Sets that wear oddly, as they are kept (OddWear), and what a set was out for without any work logged."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import F, Q

from inventory.flags import looked_at
from inventory.models import Branch, OddWear
from inventory.models.choices import Fitness
from inventory.queries.card import Held, ledger_of, who_had_it

# A set that ended longer ago is no longer looked at for how it wore: our assumption.
_ENDED_SINCE = timedelta(weeks=8)
_OUTINGS = 4  # of the times it was out without work so many are named, the newest


def odd_sets(branch: Branch, now: datetime) -> list[OddWear]:
    """The sets of a branch that wear oddly and nobody has looked at since, the newest reading first; one query."""
    return odd_and_looked(branch, now)[0]


def odd_and_looked(branch: Branch, now: datetime) -> tuple[list[OddWear], int]:
    """The same, and how many more wear oddly by their newest height, which somebody looked at; one query."""
    rows = OddWear.objects.filter(
        Q(tool_set__state__branch=branch, tool_set__state__main_id=F("tool_set_id")),
        ~Q(tool_set__state__fitness=Fitness.RETIRED) | Q(read_at__gt=now - _ENDED_SINCE),
    )
    found = rows.select_related("tool_set__tool_type", "tool_set__state__place").order_by("-read_at", "pk")
    left = [row for row in found if not looked_at(row.tool_set.state.facts, row.reading)]
    return left, len(found) - len(left)


def odd_wear_of(set_id: UUID) -> OddWear | None:
    """What is odd about one set's wear, unless somebody looked since; one query."""
    row = OddWear.objects.filter(pk=set_id).select_related("tool_set__tool_type", "tool_set__state").first()
    return None if row is None or looked_at(row.tool_set.state.facts, row.reading) else row


def out_without_work(set_id: UUID, before: datetime) -> list[Held]:
    """The times a set came back from without any work logged, begun before an instant, the newest first.

    The ledger is read whole (at most ten queries): asked only of a set that wears oddly.
    """
    held: Iterable[Held] = who_had_it(ledger_of(set_id))
    return [one for one in held if one.until is not None and one.worked_m2 == 0 and one.since < before][:_OUTINGS]
