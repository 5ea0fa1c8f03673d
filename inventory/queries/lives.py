"""What is kept of the lives of one tool type's sets, and a set to explain life left by."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import BooleanField, Count, ExpressionWrapper, F, Q
from django.db.models.functions import Abs

from inventory.models import Branch, SetState, StoredLife, ToolType
from inventory.models.choices import Fitness, RetiredWhy

SHOWN = 30  # of the running ones, and of those that ended


@dataclass(frozen=True)
class SetOfType:
    """One set's life: reference areas, m2. ended: "" while it runs, worn, or other (it says only "longer than that").

    at_least_m2, likely_m2, up_to_m2: left in it; nothing of one that ended.
    """

    set_id: UUID
    code: str
    ended: str
    used_m2: float
    at_least_m2: float
    likely_m2: float
    up_to_m2: float
    read: bool
    last_at: datetime | None


@dataclass(frozen=True)
class LivesOfType:
    """The newest sets of a type in one branch, those that ended first, each by its life.

    left_out: sets of the branch that are not shown; elsewhere: sets of other branches; both count in what is learnt.
    changed: sets with news since the type was learnt.
    """

    sets: tuple[SetOfType, ...]
    left_out: int
    elsewhere: int
    changed: int


def lives_of_type(tool_type: ToolType, branch: Branch) -> LivesOfType:
    """Lives of the sets of a type as they are kept; three queries for any number of sets."""
    kept = StoredLife.objects.filter(tool_set__tool_type=tool_type, tool_set__state__main_id=F("tool_set_id"))
    here = kept.filter(tool_set__state__branch=branch)
    columns = (
        "pk", "tool_set__state__code", "tool_set__own_code", "running", "tool_set__state__fitness_why", "used_m2",
        "at_least_m2", "likely_m2", "up_to_m2", "tool_set__state__lowest_height_mm", "tool_set__state__last_at",
    )  # fmt: skip
    found = []
    for running in (False, True):
        rows = here.filter(running=running).order_by(F("tool_set__state__last_at").desc(nulls_last=True), "pk")
        part = [_set(*values) for values in rows.values_list(*columns)[:SHOWN]]
        found += sorted(part, key=lambda one: (one.ended == "other", -one.used_m2 - one.likely_m2))
    counted = kept.aggregate(
        all=Count("pk"),
        own=Count("pk", filter=Q(tool_set__state__branch=branch)),
        changed=Count("pk", filter=Q(as_fitted__isnull=False)),
    )
    own = counted["own"]
    return LivesOfType(tuple(found), own - len(found), counted["all"] - own, counted["changed"])


def _set(
    set_id: UUID, code: str, own: str, running: bool, why: str, used: float, low: float, likely: float, high: float,
    height: float | None, last_at: datetime | None,
) -> SetOfType:  # fmt: skip
    ended = "" if running else "worn" if why == RetiredWhy.WORN else "other"
    return SetOfType(set_id, code or own, ended, used, low, likely, high, height is not None, last_at)


def set_to_explain(branch: Branch) -> UUID | None:
    """A set that shows well how life left is worked out: in use, worked, read, about half gone; one query."""
    return (
        SetState.objects.filter(branch=branch, main_id=F("tool_set_id"), worked_m2__gt=0)
        .exclude(fitness=Fitness.RETIRED)
        .filter(tool_set__life__running=True, tool_set__tool_type__new_height_mm__isnull=False)
        .filter(tool_set__tool_type__retire_height_mm__isnull=False)
        .order_by(
            ExpressionWrapper(Q(lowest_height_mm__isnull=True), BooleanField()),
            Abs(F("tool_set__life__remaining_share") - 0.5),
            "pk",
        )
        .values_list("pk", flat=True)
        .first()
    )
