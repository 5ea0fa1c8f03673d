"""Rows of the plan's form that the shop's rules propose: steps and passes by floor, and the shifts they take."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any
from uuid import UUID, uuid4

from django.utils.translation import gettext as _

from jobs.forms.plan import Rows
from jobs.forms.plan_rows import add_row
from jobs.ladder_words import chosen_words, skipped_words
from jobs.laddering import ShopLadder, floor_of, question_of, steps_for
from jobs.models import JobKind, Zone
from jobs.numerics.ladder import plan_ladder
from jobs.numerics.ladder_choice import ChosenSteps
from jobs.numerics.ladder_facts import FloorZone, LadderRefused
from jobs.numerics.ladder_result import LadderPlan
from jobs.numerics.passes import MOST_PASSES
from jobs.plan_draft import ZoneDraft

# More nights than a person would want as rows at once: our assumption.
MOST_SHIFTS = 60
_FINEST = 4
_FACTS = ("hardness", "surface", "coating", "condition")


@dataclass(frozen=True)
class Proposal:
    """Rows after a proposal, and what it went by, a sentence each."""

    rows: dict[str, Rows]
    said: list[str] = field(default_factory=list)


def propose_by_floor(
    rows: dict[str, Rows],
    zones: Iterable[Zone],
    shop: ShopLadder,
    *,
    kind: str,
    finish_level: int | None,
    areas: Mapping[str, float | None],
    starts_on: str = "",
    usual: Mapping[str, Any] | None = None,
) -> Proposal:
    """Steps for every floor without any, by its condition and the finish; shifts where none is planned yet.

    areas: floor area, m2, by the zone's id, where a row says its own. Machines are those of the planned shifts, else
    all the shop has. Raises: LadderRefused when a floor gets no ladder: then nothing is proposed.
    """
    known = {str(zone.pk): zone for zone in zones}
    machines = _machines(rows)
    with_steps = {str(row.get("zone")) for row in rows["steps"] if row.get("tool_type")}
    kind = kind if kind in JobKind.values else JobKind.FULL
    said = [] if finish_level else [_("No finish is said: the ladder goes to the finest step.")]
    steps = [row for row in rows["steps"] if row.get("zone") and row.get("tool_type")]
    floors = {key: floor for row in rows["zones"] if (key := str(row.get("zone"))) in known
              for floor in [_floor(row, known[key], areas.get(key))]}  # fmt: skip
    chosen: list[ChosenSteps] = []
    why: dict[str, list[str]] = {}
    for key, floor in floors.items():
        if key in with_steps:
            continue
        found = steps_for(shop, floor, kind=kind, finish_level=finish_level or _FINEST, machines=machines)  # type: ignore[arg-type]
        chosen.append(found.chosen)
        why.setdefault(chosen_words(found.chosen), []).append(known[key].name)
        steps += [
            {
                "key": uuid4(),
                "zone": known[key].pk,
                "tool_type": step.tool_type.pk,
                "passes": step.passes,
                "step_kind": step.step_kind,
                "wet_dry": step.wet_dry,
                "shift": "",
            }
            for step in found.steps
        ]
    said += [_("%(floor)s: %(words)s") % {"floor": ", ".join(names), "words": words} for words, names in why.items()]
    said += skipped_words(chosen, shop.types)
    after = {**rows, "steps": steps}
    if not rows["shifts"] and steps:
        after = _with_shifts(after, floors, shop, kind=kind, finish_level=finish_level, start=starts_on, usual=usual)
    return Proposal(after, said)


def _floor(row: Mapping[str, Any], zone: Zone, area_m2: float | None) -> FloorZone:
    facts = {name: row.get(name) or None for name in _FACTS}
    return floor_of(ZoneDraft(zone, area_m2 if area_m2 and area_m2 > 0 else None, **facts).filled())


def _machines(rows: dict[str, Rows]) -> Collection[int] | None:
    said = {int(pk) for row in rows["shifts"] for pk in row.get("machines") or () if str(pk).isdecimal()}
    return said or None


def _with_shifts(
    rows: dict[str, Rows],
    floors: Mapping[str, FloorZone],
    shop: ShopLadder,
    *,
    kind: str,
    finish_level: int | None,
    start: str,
    usual: Mapping[str, Any] | None,
) -> dict[str, Rows]:
    """As many shifts as the steps likely take, with the machines that run them; none where hours cannot be told."""
    plan = _worked_out(rows, floors, shop, kind=kind, finish_level=finish_level, usual=usual)
    if plan is None:
        return rows
    machines = list(dict.fromkeys(step.machine for step in plan.steps))
    hours: Mapping[str, Any] = {**(usual or {}), "machines": machines}
    for _night in range(min(MOST_SHIFTS, round(plan.totals.shifts.likely))):
        rows = add_row(rows, "shifts", starts_on=start, usual=hours)
    return rows


def _worked_out(
    rows: dict[str, Rows],
    floors: Mapping[str, FloorZone],
    shop: ShopLadder,
    *,
    kind: str,
    finish_level: int | None,
    usual: Mapping[str, Any] | None,
) -> LadderPlan | None:
    by_floor: dict[str, dict[int, int]] = {}
    for row in rows["steps"]:
        passes, tool_type = str(row.get("passes")), str(row.get("tool_type"))
        if passes.isdecimal() and tool_type.isdecimal() and 1 <= int(passes) <= MOST_PASSES:
            by_floor.setdefault(str(row["zone"]), {})[int(tool_type)] = int(passes)
    zones = [replace(floor, steps=tuple(by_floor[key])) for key, floor in floors.items() if key in by_floor]
    own: dict[tuple[UUID, int], int] = {
        (floors[key].key, step): passes
        for key, taken in by_floor.items()
        if key in floors
        for step, passes in taken.items()
    }
    try:
        question = question_of(
            shop, zones, kind=kind, finish_level=finish_level or _FINEST, own_passes=own, shift_h=_shift_h(usual or {})
        )
        return plan_ladder(question, int(shop.settings["dice"]))
    except LadderRefused:  # the steps stand; how long they take cannot be told
        return None


def _shift_h(usual: Mapping[str, Any]) -> float:
    """Hours of the usual shift: 20:00 to 04:00 is 8."""

    def hour(text: object) -> float:
        hours, _colon, minutes = str(text or "").partition(":")
        return int(hours) + int(minutes) / 60 if hours.isdecimal() and minutes.isdecimal() else 0.0

    length = (hour(usual.get("ends")) - hour(usual.get("starts"))) % 24
    return length or 8.0
