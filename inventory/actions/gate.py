"""The gate at scan-out: who may not leave, why, and what to do next. Checks only; custody writes.

DESIGN 4: conditioned at the step's planned start; hours done but unconfirmed are confirmed in one tap; not done is
refused or overridden by who has the right, with a reason. Set aside and retired are not overridden, only cleared.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from inventory.ledger.conditioning import Conditioning
from inventory.models import Branch, Outing, Person, SetState
from inventory.models.choices import Fitness, Gate, HolderKind, PlaceKind
from inventory.queries.soak import Waters
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.said_text import trimmed
from inventory.soak_words import SoakWords, soak_words
from inventory.times import when_for


class NotReceived(Refused):
    """The set has no beginning: no opening and no receipt."""

    code = "not_received"


class OtherBranch(Refused):
    """The set belongs to another branch."""

    code = "other_branch"


class NotUsable(Refused):
    """The set is set aside or retired; only clearing helps."""

    code = "not_usable"


class AlreadyThere(Refused):
    """Nothing to do: the set is where it is said to go."""

    code = "already_there"


class OutingClosed(Refused):
    """The outing is closed; nothing leaves with it any more."""

    code = "outing_closed"


class NeedsRight(Refused):
    """The person may not do this part of it."""

    code = "needs_right"


class Elsewhere(Refused):
    """The set is with somebody else. outing, holder: who has it; since: from when (UTC), if known."""

    code = "elsewhere"

    def __init__(self, why: str, next_step: str, *, outing: Outing | None, holder: str, since: datetime | None) -> None:
        super().__init__(why, next_step)
        self.outing, self.holder, self.since = outing, holder, since


class SoakRefused(Refused):
    """The set's water does not let it leave. words: its state; conditioning: the rules' whole answer."""

    code = "soak"

    def __init__(self, why: str, next_step: str, words: SoakWords, conditioning: Conditioning) -> None:
        super().__init__(why, next_step)
        self.words, self.conditioning = words, conditioning


class NotConditioned(SoakRefused):
    """Dry or still soaking: refused, or overridden with a reason."""

    code = "not_conditioned"


class NotConfirmed(SoakRefused):
    """Its hours are done and nobody has confirmed it: one tap confirms and takes it."""

    code = "not_confirmed"


@dataclass(frozen=True)
class Passed:
    """How a set came through the gate. gate: passed or overridden; confirm: a confirmation is written with it.

    was_missing: nobody knew where it was until now; missing_since: from when (UTC), if known.
    """

    gate: str
    conditioning: Conditioning
    words: SoakWords
    confirm: bool = False
    was_missing: bool = False
    missing_since: datetime | None = None


def name_of(state: SetState) -> str:
    """What a set is called in sentences: its code, or its own code, or its type."""
    return state.shown_code or state.tool_set.tool_type.name


def holder_of(state: SetState) -> str:
    """Who holds a set: "Dag P., van 3" or "Osprey Lane"."""
    parts = []
    if state.holder_person is not None:
        parts.append(state.holder_person.name)
    elif state.holder_kind != HolderKind.SHOP and state.holder_name:
        parts.append(state.holder_name)
    if state.outing is not None:
        if not parts:
            parts.append(state.outing.name)
        if state.outing.van is not None:
            parts.append(state.outing.van.name)
    return ", ".join(parts)


def where_of(state: SetState) -> str:
    """Where a set hangs or lies: "Rack B, peg 14"; nothing when no place is known."""
    if state.place is None or state.place.kind == PlaceKind.UNKNOWN:
        return ""
    return (
        _("%(place)s, peg %(peg)s") % {"place": state.place.name, "peg": state.peg} if state.peg else state.place.name
    )


def check_ours(state: SetState, branch: Branch) -> None:
    """Refuse a set that was never received or belongs to another branch.

    Raises NotReceived, OtherBranch.
    """
    if not state.facts.get("born"):
        raise NotReceived(
            _("%(set)s has no beginning in the ledger yet.") % {"set": name_of(state)},
            _("Receive it, or open it by its label, then scan it again."),
        )
    if state.branch_id not in (None, branch.pk):
        raise OtherBranch(
            _("%(set)s belongs to %(branch)s.") % {"set": name_of(state), "branch": state.branch},
            _("Scan it in from the transfer first."),
        )


def check_usable(state: SetState, now: datetime, who: Person) -> None:
    """Refuse a set that is set aside or retired; nobody may override that.

    Raises NotUsable.
    """
    if state.fitness == Fitness.USABLE:
        return
    since = state.facts.get("fitness_at")
    day = when_for(who, datetime.fromisoformat(since), now) if since else ""
    if state.fitness == Fitness.RETIRED:
        raise NotUsable(
            _("%(set)s was retired %(when)s.") % {"set": name_of(state), "when": day},
            _("Take another set. If it still works, the shop manager clears it first."),
        )
    raise NotUsable(
        _("%(set)s is set aside since %(when)s: %(why)s.")
        % {"set": name_of(state), "when": day, "why": state.fitness_why or _("no reason given")},
        _("Take another set, or have somebody look at it and clear it."),
    )


def check_here(state: SetState, outing: Outing | None, now: datetime, who: Person) -> None:
    """Refuse a set that is out already: with this outing, or with somebody else.

    Raises AlreadyThere, Elsewhere.
    """
    if state.outing_id is None:
        return
    since_text = state.facts.get("out_since")
    since = datetime.fromisoformat(since_text) if since_text else None
    when = when_for(who, since, now) if since else ""
    if outing is not None and state.outing_id == outing.pk:
        raise AlreadyThere(
            _("%(set)s is on %(outing)s since %(when)s.")
            % {"set": name_of(state), "outing": outing.name, "when": when},
            _("Scan the next one."),
        )
    holder = holder_of(state)
    raise Elsewhere(
        _("Out with %(holder)s.") % {"holder": holder.removesuffix(".")},
        _("Hand it over if it is in your hands."),
        outing=state.outing,
        holder=holder,
        since=since,
    )


def check_water(
    state: SetState,
    waters: Waters,
    branch: Branch,
    who: Person,
    *,
    now: datetime,
    leaves_at: datetime,
    starts_at: datetime,
    in_water: bool,
    confirm: bool,
    override_why: str,
) -> Passed:
    """Ask whether the set is conditioned when its step starts, and say how it may leave.

    confirm: the person says it is wet through; override_why: why it leaves all the same.
    Raises NotConditioned, NotConfirmed, NeedsRight.
    """
    answer = waters.at_start(state.pk, leaves_at, starts_at, in_water=in_water)
    words = soak_words(answer, branch, now, units=who.units, clock_24h=who.clock_24h)
    if answer.passes:
        return Passed(Gate.PASSED, answer, words)
    if confirm and answer.state == "soaked, not confirmed":
        if not who.can(Right.CONFIRM_SOAK):
            raise NeedsRight(
                _("%(person)s may not confirm a soak.") % {"person": who.name},
                _("Ask a crew lead or the shop manager to confirm it."),
            )
        return Passed(Gate.PASSED, answer, words, confirm=True)
    if trimmed(override_why):
        if not who.can(Right.OVERRIDE):
            raise NeedsRight(
                _("%(person)s may not send out a set that is not ready.") % {"person": who.name},
                _("Ask the shop manager, or take another set."),
            )
        return Passed(Gate.OVERRIDDEN, answer, words)
    refused = NotConfirmed if answer.state == "soaked, not confirmed" else NotConditioned
    later = waters.now(state.pk, leaves_at)
    if answer.state == "dry" and later.state in ("conditioned", "soaked, not confirmed"):
        at = when_for(who, starts_at, now)
        raise NotConditioned(
            _("It will have dried out when its step starts, %(when)s.") % {"when": at},
            _("Carry it in a bucket of water, or take another set."),
            words,
            answer,
        )
    steps = {
        "soaked, not confirmed": _("Look at it and confirm it, then it may leave."),
        "soaking": _("Leave it in the water and take another set."),
        "dry": _("Put it in water now and take another set."),
    }
    line = words.line if not words.sentence else f"{words.line}. {words.sentence}".replace("..", ".")
    raise refused(line if line.endswith(".") else f"{line}.", steps[answer.state], words, answer)
