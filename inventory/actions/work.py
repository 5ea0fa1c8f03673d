"""What sets polished: worked lines, with the floor's facts as they were handed in. Nothing here knows jobs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.gate import check_ours, name_of
from inventory.actions.ledger import NewLine, Recorded, Who, already, happened_at, lock_states, record
from inventory.ledger.facts import iso
from inventory.models import Branch, Machine, Outing, SetState, ToolSet
from inventory.models.choices import Basis, Coating, Fitness, Hardness, Source, StepKind, Surface, WetDry
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.units import Units, judge_area, judge_passes


class WorkRefused(Refused):
    """A line of work cannot be kept as it was said."""

    code = "work"


class WorkAsked(WorkRefused):
    """A line of work is unlikely: asked, kept when said to be right (``sure``)."""

    code = "work_asked"


@dataclass(frozen=True)
class WorkedFacts:
    """One set on one floor in one step: area_m2 of one pass, whole passes, and the floor as it was.

    floor_uuid, visit_uuid (the job), shift_uuid, step_key: keys of whoever plans. floor_m2: the floor's whole area, for
    asking back. value, unit: the area as it was entered. id: the entry's key, made by the client.
    """

    tool_set: ToolSet
    floor_uuid: UUID
    visit_uuid: UUID
    step_key: UUID
    area_m2: float
    passes: int
    hardness: str = Hardness.UNKNOWN
    surface: str = Surface.RAW
    coating: str = Coating.NONE
    wet_dry: str = WetDry.WET
    step_kind: str = StepKind.LATER
    basis: str = Basis.MEASURED
    shift_uuid: UUID | None = None
    outing: Outing | None = None
    machine: Machine | None = None
    stands_instead: bool | None = None
    value: str = ""
    unit: str = ""
    floor_m2: float | None = None
    replaces: UUID | None = None
    id: UUID = field(default_factory=uuid4)

    def line(self) -> NewLine:
        """The line of the ledger that says it."""
        columns: dict[str, Any] = {
            "floor_uuid": self.floor_uuid,
            "visit_uuid": self.visit_uuid,
            "shift_uuid": self.shift_uuid,
            "step_key": self.step_key,
            "outing": self.outing,
            "machine": self.machine,
            "area_m2": self.area_m2,
            "passes": self.passes,
            "hardness": self.hardness,
            "surface": self.surface,
            "coating": self.coating,
            # A step that may be run either way counts as wet, which is how most are run (common practice).
            "wet_dry": WetDry.WET if self.wet_dry == WetDry.EITHER else self.wet_dry,
            "step_kind": self.step_kind,
            "basis": self.basis,
            "stands_instead": self.stands_instead,
            "amount_value": self.value[:24] or None,
            "amount_unit": self.unit or None,
            "replaces": self.replaces,
        }
        return NewLine("worked", self.tool_set, None, columns, self.id)


def work(
    who: Who,
    branch: Branch,
    lines: Sequence[WorkedFacts],
    *,
    now: datetime,
    sure: bool = False,
    units: Units = "us",
    more: Sequence[NewLine] = (),
    doubts: Sequence[tuple[str, str]] = (),
) -> Recorded:
    """Log what sets polished, all lines in one act; a set changed part-way through a pass is a line of its own.

    sure: what is only unlikely has been said to be right. units: the person's, for the sentences. more: lines written
    before these in the same act (the void of what is corrected). doubts: what the caller finds unlikely, field and
    sentence; all that is unlikely is asked at once, so that one answer never covers what was not shown.
    Raises WorkRefused (nothing said, no floor, no pass, a set retired before), WorkAsked (more than plausible),
    NotReceived, OtherBranch.
    """
    if not lines:
        raise WorkRefused(_("No set was named."), _("Choose the set that did the work."))
    with transaction.atomic():
        lock_states([line.tool_set for line in lines])
        if (known := already(who.act_id)) is not None:
            return known
        at, _doubt = happened_at(who, now)
        states = {state.pk: state for state in states_with_types({line.tool_set.pk for line in lines})}
        asked = list(doubts)
        for line in lines:
            asked += _judge(line, units)
            if who.source != Source.PHONE:  # from a phone it is a fact that happened: kept, and flagged by the state
                _check_set(states[line.tool_set.pk], branch, at)
        if asked and not sure:
            raise WorkAsked(" ".join(dict.fromkeys(sentence for _field, sentence in asked)), field=asked[0][0])
        return record(who, branch, [*more, *(line.line() for line in lines)], now=now)


def _judge(line: WorkedFacts, units: Units) -> list[tuple[str, str]]:
    """What of a line is unlikely, field and sentence. Raises WorkRefused for what is not possible."""
    asked = []
    for field_name, judged in (
        ("area", judge_area(line.area_m2, units, floor_m2=line.floor_m2)),
        ("passes", judge_passes(line.passes)),
    ):
        if judged.answer == "refuse":
            raise WorkRefused(judged.sentence, field=field_name)
        if judged.answer == "ask":
            asked.append((field_name, judged.sentence))
    return asked


def _check_set(state: SetState, branch: Branch, at: datetime) -> None:
    check_ours(state, branch)
    retired_at = state.facts.get("fitness_at")
    if state.fitness == Fitness.RETIRED and retired_at is not None and retired_at <= iso(at):
        raise WorkRefused(
            _("%(set)s is retired.") % {"set": name_of(state)},
            _("Choose the set that did the work, or have the shop manager clear it."),
            field="tool_set",
        )
