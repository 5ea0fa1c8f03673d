"""Who has a set: scan out and in, hand over, move, see, find. One act each, safe to repeat.

A tub's, van's or crate's label: the client sends the list of sets; nothing here asks again what lies there (LEDGER 2).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.coming_in import ScannedMany, Soaking, StillToLeave, again, scan_in, scan_in_many
from inventory.actions.gate import (
    AlreadyThere,
    Elsewhere,
    NeedsRight,
    NotConditioned,
    NotConfirmed,
    NotReceived,
    NotUsable,
    OtherBranch,
    OutingClosed,
    Passed,
    check_here,
    check_ours,
    check_usable,
    check_water,
)
from inventory.actions.ledger import NewLine, Recorded, Who, already, happened_at, record
from inventory.actions.sighting import (
    found,
    home_pegs,
    locked,
    locked_states,
    missing,
    move,
    move_place,
    once,
    say_where,
    seen,
)
from inventory.ledger.conditioning import Conditioning
from inventory.models import Branch, Outing, Person, Place, SetState, ToolSet
from inventory.models.choices import Gate, HolderKind, PlaceKind
from inventory.queries.finishing import chance_for
from inventory.queries.soak import Waters, states_with_types, waters_of
from inventory.refusals import Refused
from inventory.soak_words import SoakWords, soak_words

__all__ = [
    "AlreadyThere",
    "Elsewhere",
    "NeedsRight",
    "NotConditioned",
    "NotConfirmed",
    "NotReceived",
    "NotUsable",
    "OtherBranch",
    "OutingClosed",
    "ScannedMany",
    "ScannedOut",
    "Soaking",
    "StillToLeave",
    "found",
    "hand_over",
    "home_pegs",
    "locked",
    "locked_states",
    "move",
    "move_place",
    "once",
    "say_where",
    "scan_in",
    "scan_in_many",
    "scan_out",
    "scan_out_many",
    "seen",
]


@dataclass(frozen=True)
class ScannedOut:
    """A set left. conditioning, words: as the gate saw them (None for a repeat); chance: of finishing its step.

    was_missing, missing_since: as ``Passed`` has them.
    """

    recorded: Recorded
    tool_set: ToolSet
    gate: str
    conditioning: Conditioning | None = None
    words: SoakWords | None = None
    chance: float | None = None
    was_missing: bool = False
    missing_since: datetime | None = None


def scan_out(
    who: Who,
    branch: Branch,
    tool_set: ToolSet,
    outing: Outing,
    *,
    now: datetime,
    start_at: datetime | None = None,
    reference_m2: float | None = None,
    companion: ToolSet | None = None,
    override_why: str = "",
    confirm: bool = False,
    to_place: Place | None = None,
    step_key: str | None = None,
    shift_uuid: UUID | None = None,
) -> ScannedOut:
    """Let a set leave with an outing, through the gate.

    step_key: the step's stable key (a UUID as text); start_at: its planned start (else the outing's leaving);
    reference_m2: reference area that step asks; companion: the other set of a pair; confirm: hours done, the person
    says it is wet through; override_why: why it leaves against the gate; to_place: the van, or the bucket it is carried
    in with water.
    Raises NotReceived, OtherBranch, OutingClosed, NotUsable, AlreadyThere, Elsewhere, NotConditioned, NotConfirmed,
    NeedsRight.
    """
    many = scan_out_many(
        who,
        branch,
        [tool_set],
        outing,
        now=now,
        starts={tool_set.pk: start_at} if start_at else None,
        override_why=override_why,
        confirm=confirm,
        to_place=to_place,
        steps={tool_set.pk: (step_key, shift_uuid)} if step_key else None,
    )
    if many.refused:
        raise many.refused[0][1]
    assert many.recorded is not None
    sets = [tool_set] if companion is None else [tool_set, companion]
    chance = None if many.recorded.again else chance_for(sets, reference_m2, branch, now)
    passed = many.passed.get(tool_set.pk)
    if passed is not None and passed.confirm:
        # The gate saw it unconfirmed; now that a name stands on it, the answer is another.
        passed = replace(passed, **_said_now(tool_set, branch, person=who.entered_by or who.done_by, now=now))
    gates = [entry.gate for entry in many.recorded.entries if entry.gate]
    return ScannedOut(
        many.recorded,
        tool_set,
        gates[0] if gates else Gate.PASSED,
        passed.conditioning if passed else None,
        passed.words if passed else None,
        chance,
        passed is not None and passed.was_missing,
        passed.missing_since if passed else None,
    )


def _said_now(tool_set: ToolSet, branch: Branch, *, person: Person, now: datetime) -> dict[str, Any]:
    """Its conditioning as it stands, and the words for it."""
    answer = waters_of(states_with_types([tool_set.pk]), branch, at=now).now(tool_set.pk, now)
    words = soak_words(answer, branch, now, units=person.units, clock_24h=person.clock_24h)
    return {"conditioning": answer, "words": words}


def scan_out_many(
    who: Who,
    branch: Branch,
    tool_sets: Sequence[ToolSet],
    outing: Outing,
    *,
    now: datetime,
    starts: Mapping[UUID, datetime] | None = None,
    override_why: str = "",
    confirm: bool = False,
    to_place: Place | None = None,
    steps: Mapping[UUID, tuple[str | None, UUID | None]] | None = None,
) -> ScannedMany:
    """Let several sets leave in one act: those the gate lets through; the others come back with why.

    starts, steps: planned start and (step key, shift) by set id. Raises nothing: every refusal stands beside its set.
    """
    person = who.entered_by or who.done_by
    with transaction.atomic():
        states, waters = locked(tool_sets, branch, now)
        if (known := already(who.act_id)) is not None:
            return again(known, tool_sets)
        leaves_at, _doubt = happened_at(who, now)
        lines: list[NewLine] = []
        refused: list[tuple[ToolSet, Refused]] = []
        passed: dict[UUID, Passed] = {}
        for tool_set in once(tool_sets):
            state = states[tool_set.pk]
            try:
                answer = _may_leave(
                    state,
                    outing,
                    waters,
                    branch,
                    person,
                    now=now,
                    leaves_at=leaves_at,
                    starts_at=(starts or {}).get(tool_set.pk) or outing.leaves_at,
                    in_water=to_place is not None and to_place.kind == PlaceKind.BUCKET,
                    confirm=confirm,
                    override_why=override_why,
                )
            except Refused as refusal:
                refused.append((tool_set, refusal))
                continue
            passed[tool_set.pk] = answer
            if answer.confirm:
                lines.append(NewLine("conditioning_confirmed", tool_set))
            lines.append(_out_line(tool_set, outing, answer, to_place, (steps or {}).get(tool_set.pk), override_why))
        if not lines:
            return ScannedMany(None, (), tuple(refused), {})
        recorded = record(who, branch, lines, now=now)
    taken = tuple(tool_set for tool_set in once(tool_sets) if tool_set.pk in passed)
    return ScannedMany(recorded, taken, tuple(refused), passed)


def hand_over(
    who: Who,
    branch: Branch,
    tool_set: ToolSet,
    outing: Outing,
    *,
    now: datetime,
    start_at: datetime | None = None,
    override_why: str = "",
    confirm: bool = False,
    to_place: Place | None = None,
) -> Recorded:
    """Give a set that is out with somebody else to this outing: the latest sighting has it. The gate is asked here too.

    Raises NotReceived, OutingClosed, NotUsable, AlreadyThere, NotConditioned, NotConfirmed, NeedsRight.
    """
    person = who.entered_by or who.done_by
    with transaction.atomic():
        states, waters = locked([tool_set], branch, now)
        if (known := already(who.act_id)) is not None:
            return known
        state = states[tool_set.pk]
        check_ours(state, branch)
        _check_open(outing)
        check_usable(state, now, person)
        if state.outing_id == outing.pk:
            check_here(state, outing, now, person)
        leaves_at, _doubt = happened_at(who, now)
        in_bucket = state.place is not None and state.place.kind == PlaceKind.BUCKET
        passed = check_water(
            state,
            waters,
            branch,
            person,
            now=now,
            leaves_at=leaves_at,
            starts_at=start_at or outing.leaves_at,
            in_water=in_bucket if to_place is None else to_place.kind == PlaceKind.BUCKET,
            confirm=confirm,
            override_why=override_why,
        )
        columns: dict[str, Any] = {"outing": outing, "gate": passed.gate, **_holder(outing)}
        columns["to_place"] = to_place or (outing.van if not in_bucket else None)
        if passed.gate == Gate.OVERRIDDEN:
            columns["why"] = override_why.strip()
        lines = [NewLine("conditioning_confirmed", tool_set)] if passed.confirm else []
        return record(who, branch, [*lines, NewLine("handed_over", tool_set, None, columns)], now=now)


def _check_open(outing: Outing) -> None:
    if outing.closed_at is not None:
        raise OutingClosed(
            _("%(outing)s is closed.") % {"outing": outing.name}, _("Choose an open outing, or open a new one.")
        )


def _may_leave(
    state: SetState,
    outing: Outing,
    waters: Waters,
    branch: Branch,
    person: Person,
    **ask: Any,
) -> Passed:
    check_ours(state, branch)
    _check_open(outing)
    check_here(state, outing, ask["now"], person)
    check_usable(state, ask["now"], person)
    passed = check_water(state, waters, branch, person, **ask)
    if not missing(state):
        return passed
    since = state.facts.get("place_since")
    return replace(passed, was_missing=True, missing_since=datetime.fromisoformat(since) if since else None)


def _holder(outing: Outing) -> dict[str, Any]:
    columns: dict[str, Any] = {"holder_kind": outing.holder_kind, "holder_person": outing.holder_person}
    columns["holder_name"] = outing.holder_name or (outing.name if outing.holder_kind != HolderKind.PERSON else None)
    return columns


def _out_line(
    tool_set: ToolSet,
    outing: Outing,
    passed: Passed,
    to_place: Place | None,
    step: tuple[str | None, UUID | None] | None,
    override_why: str,
) -> NewLine:
    step_key, shift_uuid = step or (None, None)
    columns: dict[str, Any] = {
        "outing": outing,
        "gate": passed.gate,
        "to_place": to_place or outing.van,
        "step_key": step_key,
        "shift_uuid": shift_uuid,
        **_holder(outing),
    }
    if passed.gate == Gate.OVERRIDDEN:
        columns["why"] = override_why.strip()
    return NewLine("scanned_out", tool_set, None, columns)
