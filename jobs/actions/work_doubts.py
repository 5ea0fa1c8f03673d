"""What is asked of a line of work that is unlikely: a set of another type than the step's, work before its shift."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from inventory.actions.gate import name_of
from inventory.models import Machine, SetState, ToolSet
from inventory.times import show_day, show_time, zone_of
from jobs.models import Job, PlanShift, PlanStep, PlanZone


@dataclass(frozen=True)
class WorkPart:
    """What one set did: area_m2 of one pass, whole passes, on which machine; value and unit as entered."""

    tool_set: ToolSet
    area_m2: float
    passes: int
    machine: Machine | None = None
    value: str = ""
    unit: str = ""
    id: UUID | None = None


def other_type(step: PlanStep, zone: PlanZone, parts: Sequence[WorkPart]) -> list[tuple[str, str]]:
    """What is asked of sets whose tool type is not the step's, each by name."""
    others = {part.tool_set.pk: part.tool_set for part in parts if part.tool_set.tool_type_id != step.tool_type_id}
    states = SetState.objects.select_related("tool_set__tool_type").filter(pk__in=list(others))
    return [
        (
            "tool_set",
            _("%(set)s is %(type)s, the step is %(step)s, %(floor)s. Did it work there? Choose another, or keep it.")
            % {
                "set": name_of(state),
                "type": state.tool_set.tool_type.name,
                "step": step.tool_type.name,
                "floor": zone.zone.name,
            },
        )
        for state in sorted(states, key=name_of)
    ]


def too_early(job: Job, shift_key: UUID, at: datetime) -> list[tuple[str, str]]:
    """What is asked of work keyed before its shift begins."""
    shift = PlanShift.objects.filter(plan__job=job, key=shift_key).order_by("-plan__number").first()
    if shift is None or at >= shift.starts_at:
        return []
    starts = shift.starts_at.astimezone(zone_of(job.branch))
    said = {"day": show_day(starts.date()), "time": show_time(starts, job.branch)}
    return [("shift", _("That is before the shift began: it starts %(day)s %(time)s. Was the work on it?") % said)]
