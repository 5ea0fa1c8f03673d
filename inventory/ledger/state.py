"""The state of a set: its entries, in order, applied one by one. Pure, total, the same for any order of arrival.

``fold`` is used by the writer and by ``rebuild`` alike. Every kind in every state gives a state and flags, none raises.
What each kind does stands in inventory/ledger/steps.py; the table of kinds and states in DEVELOPERS.md is made from it
and held by tests/inventory/ledger/test_table.py. What a flag says to people: inventory/flags.py.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

from inventory.ledger.facts import SetFacts
from inventory.ledger.line import Line
from inventory.ledger.steps import STEPS, flag

# Kinds that say something about other lines, or about a tub: none is a step of the set's own.
META_KINDS = frozenset({"voided", "settled", "same_as", "water_read"})
# Kinds after which the whole ledger is folded anew: they change what earlier lines mean, or depend on other ledgers.
REFOLD_KINDS = frozenset({"voided", "settled", "same_as", "labelled", "pieces_changed"})


@dataclass(frozen=True)
class _Standing:
    """Which lines of a ledger count: those not voided, and of the held-back ones those accepted."""

    voided: frozenset[str]
    dropped: frozenset[str]
    accepted: frozenset[str]

    def gone(self, line: Line) -> bool:
        """Whether the line counts as never written. Voids and answers stand also in an act voided as a whole."""
        return line.id in self.voided or (line.act in self.dropped and line.kind not in ("voided", "settled"))

    def waits(self, line: Line) -> bool:
        """Whether the line was recorded without the right and nobody has accepted it yet."""
        return line.held_back and line.id not in self.accepted and line.act not in self.accepted


def fold(lines: Iterable[Line], *, voided_acts: frozenset[str] = frozenset()) -> SetFacts:
    """Give the state that a ledger adds up to.

    lines: every entry of the set (of all sets that are the same as it), in any order; one that comes twice counts once.
    voided_acts: acts voided as a whole by a line in another set's ledger ("pieces changed" acts).
    """
    ordered = sorted({line.id: line for line in lines}.values(), key=lambda line: line.order)
    facts = SetFacts()
    standing = _standing(ordered, voided_acts, facts)
    counting = [line for line in ordered if not standing.gone(line)]
    for line in counting:
        # Known before the first step: the second opening of two sets that are one is no contradiction.
        if line.kind == "same_as" and not standing.waits(line):
            facts.same_as = sorted({*facts.same_as, line.tool_set, line.other_set or ""})
    for line in counting:
        if standing.waits(line):
            flag(facts, line, "held_back")
        elif line.kind == "settled":
            facts.settled.append([line.settles_target or "", line.flag_code or ""])
        elif line.kind not in META_KINDS:
            apply(facts, line)
    facts.settled.sort()
    return facts


def apply(facts: SetFacts, line: Line) -> None:
    """Apply one unvoided line that comes after everything applied before; changes ``facts`` in place.

    Kinds of REFOLD_KINDS do their own step here but need ``fold`` when they arrive.
    """
    if line.clock_doubt != "none":
        flag(facts, line, f"clock_{line.clock_doubt}")
    if not facts.born and line.kind not in ("opening", "received"):
        flag(facts, line, "before_received")
    step = STEPS.get(line.kind)
    if step is not None:
        step(facts, line)


def _standing(ordered: list[Line], voided_acts: frozenset[str], facts: SetFacts) -> _Standing:
    """Work out which lines and acts count as never written, and which held-back ones were accepted.

    A void has effect on the entry it names if it speaks of the same set. It has none on another void, and one that was
    held back has none on an answer: else an answer could undo what made it count.
    """
    by_id = {line.id: line for line in ordered}
    voids = [line for line in ordered if line.kind == "voided"]
    # Answers count unless a void that needed no answer names them.
    unsaid = {line.void_target for line in voids if not line.held_back and _names(line, by_id)}
    accepted = frozenset(
        line.settles_target or ""
        for line in ordered
        if line.kind == "settled"
        and (line.flag_code, line.answer, line.held_back) == ("held_back", "accept", False)
        and line.id not in unsaid
    )
    voided: set[str] = set()
    acts = set(voided_acts)
    for void in voids:
        if void.held_back and not ({void.id, void.act} & accepted):
            continue
        target = by_id.get(void.void_target or "")
        if target is None:
            # The target may still be on a phone without signal.
            flag(facts, void, "void_target_missing")
            facts.waiting_voids.append(void.void_target or "")
        elif target.kind == "voided":
            flag(facts, void, "void_of_void")
        elif target.tool_set != void.tool_set:
            flag(facts, void, "void_of_another_set")
        elif void.held_back and target.kind == "settled":
            flag(facts, void, "void_of_answer")
        else:
            voided.add(target.id)
            if target.kind == "pieces_changed":
                acts.add(target.act)
    facts.waiting_voids.sort()
    return _Standing(frozenset(voided), frozenset(acts), accepted)


def _names(void: Line, by_id: dict[str, Line]) -> bool:
    target = by_id.get(void.void_target or "")
    return target is not None and target.kind != "voided" and target.tool_set == void.tool_set


def at_or_before(lines: Iterable[Line], at: datetime) -> list[Line]:
    """The lines for a state as of an instant: what happened by then, and whatever was said since about these lines.

    A void, an answer or a "same as" says what was true all along, so that a later one still counts; what was *known*
    then is a matter of which lines were recorded by then (inventory.queries.ledger).
    """
    edge = at.astimezone(UTC)
    known = list(lines)
    then = [line for line in known if line.kind in META_KINDS or line.at <= edge]
    # A void of something later than that instant has nothing to do with it; one that waits for its target still waits.
    later = {line.id for line in known} - {line.id for line in then}
    return [line for line in then if line.kind != "voided" or line.void_target not in later]
