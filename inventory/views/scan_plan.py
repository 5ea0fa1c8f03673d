"""A scan against the plan of its outing: which uses a set answers, with which other set, what comes next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _

from inventory.actions.gate import name_of, where_of
from inventory.hooks import NextUse, PlannedUse, next_use
from inventory.models import Branch, Outing, SetState, ToolSet
from inventory.queries.custody import Other, others_ready, sets_of_outing, will_be_ready
from inventory.queries.finishing import Helps, helps_of
from inventory.queries.soak import states_with_types
from inventory.shop_settings import ShopSettings
from inventory.templatetags.gritledger import sure_words
from inventory.views.verdicts import Verdict, name_with_place

# A set that another outing takes within so long is asked about before it goes (our assumption).
_NEAR = timedelta(hours=24)


@dataclass(frozen=True)
class Meant:
    """What a set is taken for. uses: every use of the outing it answers; companion: the set that finishes with it.

    idle: the set meant to finish with it that would not be ready: it does not count. astray: that it is not planned
    here, and what it is meant for elsewhere. promised: the use of another outing it is meant for before it is back.
    """

    uses: tuple[PlannedUse, ...] = ()
    companion: SetState | None = None
    idle: SetState | None = None
    astray: tuple[str, ...] = ()
    promised: NextUse | None = None

    @property
    def first(self) -> PlannedUse | None:
        """The use that starts first: the gate asks about its start."""
        return min(self.uses, key=lambda use: use.starts_at, default=None)

    @property
    def reference_m2(self) -> float | None:
        """Reference area, m2, that all of them ask; None where none of them says so."""
        asked = [use.reference_m2 for use in self.uses if use.reference_m2 is not None]
        return sum(asked) if asked else None


def uses_for(plan: Sequence[PlannedUse], tool_set: ToolSet) -> tuple[PlannedUse, ...]:
    """The uses a set answers: those reserved for it; else those of its grit nobody is reserved for; else one set's."""
    reserved = tuple(use for use in plan if tool_set.pk in use.sets)
    if reserved:
        return reserved
    tool_type = tool_set.tool_type
    same = [use for use in plan if (use.grit, use.ladder_place) == (tool_type.grit, tool_type.ladder_place)]
    free = tuple(use for use in same if not use.sets)
    return free or tuple(use for use in same if use.sets == same[0].sets)


def meant(plan: Sequence[PlannedUse], tool_set: ToolSet, outing: Outing, now: datetime) -> Meant:
    """What a set is taken for; its companion is the other set of a pair, or one of its type that is out already.

    The other of a pair counts only if it is out with it, or will be ready when it leaves.
    """
    nearest = next_use([tool_set.pk], now).get(tool_set.pk)
    found = _answered(plan, tool_set, outing, now, astray_words(plan, tool_set, outing, nearest))
    return replace(found, promised=nearest if is_promised(plan, tool_set, outing, nearest, now) else None)


def is_promised(
    plan: Sequence[PlannedUse], tool_set: ToolSet, outing: Outing, use: NextUse | None, now: datetime
) -> bool:
    """Whether another outing is to leave with it before this one is back, or within a day."""
    if use is None or use.outing == outing.pk or any(tool_set.pk in one.sets for one in plan):
        return False
    return use.leaves_at <= max(outing.due_at or now, now + _NEAR)


def _answered(
    plan: Sequence[PlannedUse], tool_set: ToolSet, outing: Outing, now: datetime, astray: tuple[str, ...]
) -> Meant:
    uses = uses_for(plan, tool_set)
    if not uses:
        return Meant(astray=astray)
    mine = {pk for use in uses for pk in use.sets}
    partner = next((pk for use in uses for pk in use.sets if pk != tool_set.pk), None) if tool_set.pk in mine else None
    if partner is not None:
        found = states_with_types([partner])
        if not found or found[0].outing_id == outing.pk:
            return Meant(uses, found[0] if found else None, astray=astray)
        starts_at = min(use.starts_at for use in uses)
        ready = will_be_ready(found[0], outing.branch, leaves_at=outing.leaves_at, starts_at=starts_at, now=now)
        return Meant(uses, found[0] if ready else None, None if ready else found[0], astray)
    others = {pk for use in plan for pk in use.sets} - mine
    beside = (
        state
        for state in sets_of_outing(outing)
        if state.tool_set.tool_type_id == tool_set.tool_type_id and state.pk != tool_set.pk and state.pk not in others
    )
    return Meant(uses, next(beside, None), astray=astray)


def astray_words(plan: Sequence[PlannedUse], tool_set: ToolSet, outing: Outing, use: NextUse | None) -> tuple[str, ...]:
    """What stands against taking a set here: no step asks for its type, it is meant for another job. use: its next."""
    said = []
    if plan and not uses_for(plan, tool_set):
        named = f"{tool_set.tool_type.grit} {name_of(tool_set.state)}"
        said.append(_("No step of %(outing)s asks for: %(sets)s.") % {"outing": outing.name, "sets": named})
    if not any(tool_set.pk in one.sets for one in plan) and use is not None and use.outing != outing.pk:
        said.append(_("%(set)s is meant for %(use)s.") % {"set": name_of(tool_set.state), "use": use.words})
    return tuple(said)


def offer_help(
    verdict: Verdict,
    tool_set: ToolSet,
    outing: Outing,
    task: Meant,
    settings: ShopSettings,
    branch: Branch,
    now: datetime,
    url: str,
    hidden: dict[str, str],
) -> None:
    """Beside a set that is short: one that is enough alone, one that is enough together with it, or that none is."""
    others = others_ready(
        tool_set.tool_type,
        branch,
        leaves_at=now,
        starts_at=task.first.starts_at if task.first else outing.leaves_at,
        now=now,
        without=[tool_set.pk, *(state.pk for state in sets_of_outing(outing))],
    )
    found = helps_of(tool_set, others, task.reference_m2 or 0.0, branch, now)
    limit, tight = settings["finish_limit"], settings["tight_limit"]
    # Sets meant for another job are named only where no free one helps.
    free = [one for one in found if not reserved_words(one.other.use, outing)]
    found = free if any(one.together >= tight for one in free) else found
    alone = next((one for one in found if one.alone >= limit), None)
    # Together that is enough, or at least better than short: the chance is said beside it.
    beside = next((one for one in found if one.together >= tight and one is not alone), None)
    if alone is not None:
        verdict.actions.append(_take(alone, _("alone %(sure)s"), alone.alone, url, hidden, outing, fill=True))
    if beside is not None:
        words = _("with this one %(sure)s")
        verdict.actions.append(_take(beside, words, beside.together, url, hidden, outing, fill=alone is None))
    if alone is None and beside is None:
        verdict.then = _("No other set of it is ready and enough, alone or with this one.")
    elif alone is not None:
        verdict.then = _("Undo this one if another goes instead.")


def instead_of(
    plan: Sequence[PlannedUse], tool_set: ToolSet, outing: Outing, starts_at: datetime, now: datetime
) -> Other | None:
    """The set to take in place of one that may not leave, while the outing still waits for a set of its grit.

    One meant for another job is named only where no free one is ready.
    """
    if not _still_wanted(plan, tool_set, sets_of_outing(outing)):
        return None
    found = others_ready(
        tool_set.tool_type, outing.branch, leaves_at=now, starts_at=starts_at, now=now, without=[tool_set.pk]
    )
    free = [one for one in found if not reserved_words(one.use, outing)]
    return next(iter([*free, *found]), None)


def _take(
    one: Helps, words: str, chance: float, url: str, hidden: dict[str, str], outing: Outing, *, fill: bool
) -> dict[str, Any]:
    label = _("Take %(set)s") % {"set": name_with_place(one.other.state)}
    return {
        "label": label,
        "detail": ". ".join([words % {"sure": sure_words(chance)}, *reserved_words(one.other.use, outing)]),
        "url": url,
        "kind": "fill" if fill else "",
        "hidden": {**hidden, "set": str(one.other.state.pk)},
    }


def reserved_words(use: Any, outing: Outing) -> list[str]:
    """ "Meant for Osprey Lane, tonight 19:30, step 6 of 6", unless it is meant for this very outing."""
    return [] if use is None or use.outing == outing.pk else [_("Meant for %(use)s") % {"use": use.words}]


def next_words(plan: Sequence[PlannedUse], outing: Outing) -> str:
    """ "Next: 400, rack B, peg 14": the first use none of whose sets is out yet."""
    out = {state.pk for state in sets_of_outing(outing)} if plan else set()
    for use in plan:
        if use.sets and not set(use.sets) & out:
            (state,) = states_with_types(use.sets[:1]) or (None,)
            where = where_of(state) if state is not None else ""
            return _("Next: %(grit)s, %(where)s") % {"grit": use.grit, "where": where or _("place not known")}
    return ""


def _still_wanted(plan: Sequence[PlannedUse], tool_set: ToolSet, states: Sequence[SetState]) -> bool:
    """Whether the outing still waits for a set of this grit: another is offered only then. states: what is out.

    Without a plan it does.
    """
    tool_type = tool_set.tool_type
    same = [use for use in plan if (use.grit, use.ladder_place) == (tool_type.grit, tool_type.ladder_place)]
    out = sum(state.tool_set.tool_type_id == tool_type.pk for state in states)
    return not plan or out < (max(1, len({pk for use in same for pk in use.sets})) if same else 0)


def not_planned(plan: Sequence[PlannedUse], states: Sequence[SetState]) -> list[SetState]:
    """The sets that are out and that no step of the plan asks for: they do not count among its sets."""
    return [state for state in states if not uses_for(plan, state.tool_set)] if plan else []


def rungs(plan: Sequence[PlannedUse], states: Sequence[SetState]) -> list[dict[str, Any]]:
    """The grits of the plan as a strip, one rung each with the sets that are out and those that go.

    taken, of: sets; without a plan the grits that are out.
    """
    if not plan:
        return [{"grit": state.tool_set.tool_type.grit, "status": "done", "taken": 1, "of": 1} for state in states]
    wanted: dict[tuple[str, int], list[PlannedUse]] = {}
    for use in plan:
        wanted.setdefault((use.grit, use.ladder_place), []).append(use)
    strip = []
    for (grit, ladder_place), uses in wanted.items():
        of = max(1, len({pk for use in uses for pk in use.sets}))
        out = sum(
            (s.tool_set.tool_type.grit, s.tool_set.tool_type.ladder_place) == (grit, ladder_place) for s in states
        )
        taken = min(of, out)
        strip.append({"grit": grit, "status": "done" if taken == of else "to_come", "taken": taken, "of": of})
    return strip
