"""Dressing: a glazed set is opened again, which costs height (DESIGN 4, glazing)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.gate import NotUsable, check_ours, name_of
from inventory.actions.ledger import NewLine, Recorded, Who, already, lock_states, record
from inventory.actions.measure import HeightDoubted, check_not_fallen, check_not_risen, judge
from inventory.models import Branch, Person, SetState, ToolSet, ToolType
from inventory.models.choices import DressMedium, Fitness
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.units import Amount, show_height

# One dressing that takes more than this is asked about (our assumption: three to five times what it usually costs).
_MUCH_MM = 1.0
_MOST_MINUTES = 600


class DressingRefused(Refused):
    """A dressing that cannot have been so."""

    code = "dressing"


@dataclass(frozen=True)
class Dressing:
    """How a set was dressed: on what, how long, the lowest piece before and after, as entered."""

    medium: str
    minutes: int | None = None
    before: Amount | None = None
    after: Amount | None = None
    with_backing: bool = False
    sure: bool = False
    why: str = ""


def dress(who: Who, branch: Branch, tool_set: ToolSet, dressing: Dressing, *, now: datetime) -> Recorded:
    """Keep that a set was dressed: its face is open again; height lost so is no wear by area.

    Raises DressingRefused, HeightRefused, HeightDoubted, NotUsable when it is retired, NotReceived.
    """
    person = who.entered_by or who.done_by
    columns = dressing_columns(dressing, tool_set.tool_type, person)
    with transaction.atomic():
        lock_states([tool_set])
        (state,) = states_with_types([tool_set.pk])
        check_ours(state, branch)
        if (known := already(who.act_id)) is not None:
            return known
        if state.fitness == Fitness.RETIRED:
            raise NotUsable(_("%(set)s is retired.") % {"set": name_of(state)}, _("Clear it first if it still works."))
        _check_read_last(state, tool_set.tool_type, columns, person, dressing)
        return record(who, branch, [NewLine("dressed", tool_set, None, columns)], now=now)


def dressing_columns(dressing: Dressing, tool_type: ToolType, person: Person) -> dict[str, Any]:
    """The ledger's columns of a dressing, in mm without the backing.

    Raises DressingRefused, HeightRefused, HeightDoubted.
    """
    if dressing.medium not in DressMedium.values:
        raise DressingRefused(_("On what it was dressed is not said."), _("Choose one of them."), field="medium")
    if dressing.minutes is not None and not 1 <= dressing.minutes <= _MOST_MINUTES:
        raise DressingRefused(
            _("%(minutes)d minutes cannot be.") % {"minutes": dressing.minutes},
            _("Write 1 to %(most)d, or leave it empty.") % {"most": _MOST_MINUTES},
            field="minutes",
        )
    off = tool_type.backing_mm if dressing.with_backing else 0.0
    read = {
        name: round(amount.si - off, 4)
        for name, amount in (("before", dressing.before), ("height", dressing.after))
        if amount is not None
    }
    for name, height_mm in read.items():
        judge(height_mm, tool_type, person, sure=dressing.sure, field=name)
    if len(read) == 2 and not dressing.sure:
        _check_cost(read["before"], read["height"], person)
    columns: dict[str, Any] = {
        "dress_medium": dressing.medium,
        "minutes": dressing.minutes,
        "before_height_mm": read.get("before"),
        "why": dressing.why.strip()[:400] or None,
    }
    if dressing.after is not None:
        columns |= {
            "lowest_height_mm": read["height"],
            "with_backing": dressing.with_backing,
            "amount_value": str(dressing.after.value)[:24],
            "amount_unit": dressing.after.unit,
        }
    return columns


def _check_cost(before_mm: float, after_mm: float, person: Person) -> None:
    units: Any = person.units
    shown = {"before": show_height(before_mm, units), "after": show_height(after_mm, units)}
    if after_mm > before_mm:
        raise HeightDoubted(
            _("%(after)s after dressing is more than %(before)s before it. Is it right?") % shown,
            _("Dressing takes height: look whether the two are in each other's field."),
            field="height",
        )
    if before_mm - after_mm > _MUCH_MM:
        raise HeightDoubted(
            _("From %(before)s to %(after)s is a lot for one dressing. Is it right?") % shown,
            _("Measure again, or keep it if it is right."),
            field="height",
        )


def _check_read_last(
    state: SetState, tool_type: ToolType, columns: dict[str, Any], person: Person, dressing: Dressing
) -> None:
    """Neither height may lie above the last reading unasked, nor under it by more than work and dressing took."""
    taken_mm = 0.0
    for name, column in (("before", "before_height_mm"), ("height", "lowest_height_mm")):
        if columns.get(column) is not None:
            check_not_risen(state, columns[column], person, sure=dressing.sure, field=name)
            if name == "before" or columns.get("before_height_mm") is None:
                sure = dressing.sure
                check_not_fallen(state, tool_type, columns[column], person, sure=sure, field=name, taken_mm=taken_mm)
        taken_mm = _MUCH_MM
