"""Whether a set may work: set aside, cleared, retired, and the troubles that crews report."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.gate import NotUsable, check_ours, name_of
from inventory.actions.ledger import NewLine, Recorded, Who, already, lock_states, record
from inventory.actions.measure import Heights, check_not_fallen, check_not_risen, height_columns
from inventory.models import Branch, SetState, ToolSet
from inventory.models.choices import Fitness, RetiredWhy, TroubleKind
from inventory.pieces_words import pieces_of
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.said_text import trimmed

# A chipped piece tears floors: the set waits until somebody has looked (common practice).
_ASIDE_AFTER = {TroubleKind.CHIPPED}


class WhyMissing(Refused):
    """A reason is asked for and none was given."""

    code = "why_missing"


class NothingToClear(Refused):
    """The set is usable as it is."""

    code = "nothing_to_clear"


def set_aside(who: Who, branch: Branch, tool_set: ToolSet, why: str, *, now: datetime) -> Recorded:
    """Keep a set from leaving until somebody has looked at it.

    Raises WhyMissing, NotUsable when it is retired, NotReceived.
    """
    if not trimmed(why):
        raise WhyMissing(_("Setting aside needs a reason."), _("Say what is wrong with it."), field="why")
    with transaction.atomic():
        state = _state(tool_set, branch)
        if (known := already(who.act_id)) is not None:
            return known
        if state.fitness == Fitness.RETIRED:
            raise NotUsable(_("%(set)s is retired already.") % {"set": name_of(state)})
        return record(who, branch, [NewLine("set_aside", tool_set, None, {"why": why.strip()[:400]})], now=now)


def clear(who: Who, branch: Branch, tool_set: ToolSet, *, now: datetime, why: str = "") -> Recorded:
    """Make a set that was set aside or retired usable again: somebody has looked at it.

    Raises NothingToClear, NotReceived.
    """
    with transaction.atomic():
        state = _state(tool_set, branch)
        if (known := already(who.act_id)) is not None:
            return known
        if state.fitness == Fitness.USABLE:
            raise NothingToClear(_("%(set)s is usable already.") % {"set": name_of(state)})
        if not pieces_of(state, tool_set.tool_type):
            raise NothingToClear(
                _("%(set)s has no piece left: nothing of it can work.") % {"set": name_of(state)},
                _("Void the line that took its pieces, if they are in it after all."),
            )
        return record(who, branch, [NewLine("cleared", tool_set, None, {"why": why.strip()[:400] or None})], now=now)


def retire(
    who: Who,
    branch: Branch,
    tool_set: ToolSet,
    why: str,
    *,
    now: datetime,
    heights: Heights | None = None,
    note: str = "",
) -> Recorded:
    """End a set's life. why: a RetiredWhy; only "worn" counts as a whole life for the model.

    Raises WhyMissing, NotUsable when it is retired already, HeightRefused, HeightDoubted, NotReceived.
    """
    if why not in RetiredWhy.values:
        raise WhyMissing(
            _("Retiring needs one of the reasons."), _("Worn, broken, changed early or written off."), field="why"
        )
    columns: dict[str, Any] = {"retired_why": why, "why": note.strip()[:400] or None}
    if heights is not None:
        columns |= height_columns(heights, tool_set.tool_type, who.entered_by or who.done_by)
    with transaction.atomic():
        state = _state(tool_set, branch)
        if (known := already(who.act_id)) is not None:
            return known
        if state.fitness == Fitness.RETIRED:
            raise NotUsable(_("%(set)s is retired already.") % {"set": name_of(state)}, _("Nothing more to do."))
        if heights is not None:
            person, lowest_mm = who.entered_by or who.done_by, columns["lowest_height_mm"]
            check_not_risen(state, lowest_mm, person, sure=heights.sure)
            check_not_fallen(state, tool_set.tool_type, lowest_mm, person, sure=heights.sure)
        return record(who, branch, [NewLine("retired", tool_set, None, columns)], now=now)


def report_trouble(
    who: Who,
    branch: Branch,
    tool_set: ToolSet,
    trouble: str,
    *,
    now: datetime,
    note: str = "",
    shift_uuid: UUID | None = None,
    step_key: str | None = None,
) -> Recorded:
    """Report what went wrong with a set. A chipped one is set aside in the same act; a lost one goes missing.

    trouble: a TroubleKind; note: needed for "other".
    Raises WhyMissing, NotReceived.
    """
    if trouble not in TroubleKind.values:
        raise WhyMissing(_("That is not one of the troubles."), _("Choose what happened."), field="trouble")
    if trouble == TroubleKind.OTHER and not trimmed(note):
        raise WhyMissing(_("Something else needs a word on what."), _("Say what happened."), field="note")
    with transaction.atomic():
        state = _state(tool_set, branch)
        if (known := already(who.act_id)) is not None:
            return known
        columns = {
            "trouble_kind": trouble,
            "why": note.strip()[:400] or None,
            "shift_uuid": shift_uuid,
            "step_key": step_key,
            "outing": state.outing,
        }
        lines = [NewLine("trouble", tool_set, None, columns)]
        if trouble in _ASIDE_AFTER and state.fitness == Fitness.USABLE:
            why = note.strip()[:400] or str(TroubleKind(trouble).label)
            lines.append(NewLine("set_aside", tool_set, None, {"why": why}))
        return record(who, branch, lines, now=now)


def _state(tool_set: ToolSet, branch: Branch) -> SetState:
    lock_states([tool_set])
    (state,) = states_with_types([tool_set.pk])
    check_ours(state, branch)
    return state
