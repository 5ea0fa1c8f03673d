"""What came back on this device, and which sets of the same outings are still out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import F

from inventory.models import Branch, Device, Entry, Outing, SetState

# Scanning in is over once nothing came in for so long (our assumption).
_SINCE = timedelta(hours=12)


@dataclass(frozen=True)
class CameBack:
    """An outing some of whose sets came in: how many are back, which are out, and what was said of those.

    said: of sets answered for, by how they were left; asked: states nobody has answered for.
    """

    outing: Outing
    back: int
    asked: tuple[SetState, ...]
    said: tuple[tuple[str, tuple[SetState, ...]], ...]

    @property
    def total(self) -> int:
        """Sets back and still out."""
        return self.back + len(self.asked) + sum(len(states) for _how, states in self.said)

    @property
    def grits(self) -> list[str]:
        """Grits asked about, coarse to fine."""
        return [state.tool_set.tool_type.grit for state in self.asked]

    @property
    def asked_ids(self) -> str:
        """The sets asked about, as a form sends them."""
        return ",".join(str(state.pk) for state in self.asked)


def came_back(branch: Branch, device: Device, now: datetime) -> list[CameBack]:
    """Outings whose sets came in on this device within twelve hours; four queries."""
    mine = Entry.objects.filter(
        kind="scanned_in",
        act__branch=branch,
        act__device=device,
        act__recorded_at__gte=now - _SINCE,
        outing__isnull=False,
    ).values("outing_id")
    outings = list(Outing.objects.filter(pk__in=mine).order_by("leaves_at"))
    rows = list(
        Entry.objects.filter(kind="scanned_in", outing__in=outings).values_list("id", "outing_id", "tool_set_id")
    )
    voids = Entry.objects.filter(kind="voided", void_target__in=[row[0] for row in rows])
    undone = set(voids.values_list("void_target", flat=True))
    out = list(
        SetState.objects.filter(outing__in=outings, main_id=F("tool_set_id"))
        .select_related("tool_set__tool_type", "place")
        .order_by("tool_set__tool_type__ladder_place", "code")
    )
    out_ids = {state.pk for state in out}
    answers: list[CameBack] = []
    for outing in outings:
        back = {
            set_id
            for pk, outing_id, set_id in rows
            if outing_id == outing.pk and pk not in undone and set_id not in out_ids
        }
        states = [state for state in out if state.outing_id == outing.pk]
        if back:
            answers.append(_group(outing, back, states, now))
    return answers


def _group(outing: Outing, back: set[UUID], states: list[SetState], now: datetime) -> CameBack:
    asked: list[SetState] = []
    said: dict[str, list[SetState]] = {}
    for state in states:
        how = _said(state.facts, now)
        if how:
            said.setdefault(how, []).append(state)
        else:
            asked.append(state)
    return CameBack(outing, len(back), tuple(asked), tuple((how, tuple(rows)) for how, rows in said.items()))


def _said(facts: dict[str, Any], now: datetime) -> str:
    """How the set was said to be left, if somebody said so since it last went out and within the twelve hours."""
    how, at = facts.get("left_how"), facts.get("left_how_at")
    if not how or not at:
        return ""
    since = datetime.fromisoformat(facts["out_since"]) if facts.get("out_since") else now - _SINCE
    said_at = datetime.fromisoformat(at)
    return str(how) if said_at > max(since, now - _SINCE) else ""
