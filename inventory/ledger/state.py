"""The state of a set: its entries, in order, applied one by one. Pure, total, the same for any order of arrival.

``fold`` is used by the writer and by ``rebuild`` alike. Every kind in every state gives a state and flags; nothing raises.
The table of what each kind does in each state stands in DEVELOPERS.md and is held by tests/inventory/ledger/test_table.py.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta

from inventory.ledger.facts import (
    RANK_GUESSED,
    RANK_INSTEAD,
    RANK_LOGGED,
    RANK_PLANNED,
    SetFacts,
    Use,
    iso,
)
from inventory.ledger.line import UNKNOWN_PLACE, Line

# Soaks older than this before a new one begins say nothing any more about wetness (our assumption; far above any dry-out).
_FORGET = timedelta(days=60)
# A lowest height that rises by more than three reading errors of 0.3 mm without new pieces contradicts itself (METHODS 0).
_HEIGHT_RISE_MM = 0.9

_SHOP_PLACES = frozenset({"rack", "tub", "crate", "supplier"})
_NOT_APPLIED = frozenset({"voided", "settled", "same_as", "water_read"})
# Kinds after which the whole ledger is folded anew: they change what earlier lines mean, or depend on other ledgers.
REFOLD_KINDS = frozenset({"voided", "settled", "same_as", "labelled", "pieces_changed"})


def fold(lines: Iterable[Line], *, voided_acts: frozenset[str] = frozenset()) -> SetFacts:
    """Give the state that a ledger adds up to.

    lines: every entry of the set (of all sets that are the same as it), in any order.
    voided_acts: acts voided as a whole by a line in another set's ledger ("pieces changed" acts).
    """
    ordered = sorted(lines, key=lambda line: line.order)
    facts = SetFacts()
    voided, dropped, accepted = _voiding(ordered, voided_acts, facts)
    for line in ordered:
        if line.held_back and not ({line.id, line.act} & accepted):
            _flag(facts, line, "held_back")
        elif line.kind == "settled" and line.id not in voided:
            facts.settled.append([line.settles_target or "", line.flag_code or ""])
        elif line.kind == "same_as" and line.id not in voided:
            facts.same_as = sorted({*facts.same_as, line.tool_set, line.other_set or ""})
        elif line.kind not in _NOT_APPLIED and line.id not in voided and line.act not in dropped:
            apply(facts, line)
    facts.settled.sort()
    return facts


def apply(facts: SetFacts, line: Line) -> None:
    """Apply one unvoided line that comes after everything applied before; changes ``facts`` in place.

    Kinds of REFOLD_KINDS do their own step here but need ``fold`` when they arrive.
    """
    if line.clock_doubt != "none":
        _flag(facts, line, f"clock_{line.clock_doubt}")
    if not facts.born and line.kind not in ("opening", "received"):
        _flag(facts, line, "before_received")
    step = _STEPS.get(line.kind)
    if step is not None:
        step(facts, line)


def _voiding(
    ordered: list[Line], voided_acts: frozenset[str], facts: SetFacts
) -> tuple[frozenset[str], frozenset[str], frozenset[str]]:
    """Work out which lines and acts count as never written, and which held-back acts were accepted."""
    by_id = {line.id: line for line in ordered}
    voids = [line for line in ordered if line.kind == "voided" and not line.held_back]
    direct = {line.void_target for line in voids if by_id.get(line.void_target or "", line).kind != "voided"}
    settled = [line for line in ordered if line.kind == "settled" and not line.held_back and line.id not in direct]
    accepted = frozenset(
        line.settles_target or "" for line in settled if line.flag_code == "held_back" and line.answer == "accept"
    )
    voids += [line for line in ordered if line.kind == "voided" and line.held_back and {line.id, line.act} & accepted]
    voided: set[str] = set()
    acts = set(voided_acts)
    for void in voids:
        target = by_id.get(void.void_target or "")
        if target is None:
            # The target may still be on a phone without signal, or belongs to another set.
            _flag(facts, void, "void_target_missing")
            facts.waiting_voids.append(void.void_target or "")
        elif target.kind == "voided":
            _flag(facts, void, "void_of_void")
        else:
            voided.add(target.id)
            if target.kind == "pieces_changed":
                acts.add(target.act)
    facts.waiting_voids.sort()
    return frozenset(voided), frozenset(acts), accepted


def _flag(facts: SetFacts, line: Line, code: str) -> None:
    facts.flags.append([line.id, code])


def _sighted(facts: SetFacts, line: Line) -> None:
    facts.seen_at, facts.seen_by = iso(line.at), line.by
    facts.seen_place = facts.place


def _leave_water(facts: SetFacts, line: Line) -> None:
    """End an open soak: moving a set out of a tub ends it."""
    if facts.soaking:
        facts.spells[-1][2] = iso(line.at)
        _water_moment(facts, line, "left_water")
        facts.left_water_at = iso(line.at)


def _water_moment(facts: SetFacts, line: Line, what: str) -> None:
    facts.wet_moments.append([iso(line.at), what])


def _put(facts: SetFacts, line: Line, place: str | None, kind: str | None) -> None:
    """Put the set in a place; out of its tub if it lay in one, and out of the bucket's water if it hung in that."""
    if facts.soaking and place != facts.spells[-1][0]:
        _leave_water(facts, line)
    elif facts.place_kind == "bucket" and kind != "bucket" and facts.left_how == "in_water":
        _water_moment(facts, line, "left_water")
        facts.left_water_at = iso(line.at)
        facts.left_how = facts.left_how_at = None
    if place != facts.place:
        facts.place_since = iso(line.at)
    facts.place, facts.place_kind, facts.peg = place, kind, line.peg or ""
    if kind == "bucket":
        # A bucket is carried with water in it; common practice, no source.
        _left(facts, line, "in_water")


def _left(facts: SetFacts, line: Line, how: str) -> None:
    """Keep the answer to how a set was left; "in the van" and "came back" are out of water: the dry-out runs on."""
    kept = {"in_van": "dry", "came_back": "dry"}.get(how, how)
    facts.left_how, facts.left_how_at = kept, iso(line.at)
    _water_moment(facts, line, kept)


def _shop_holds(facts: SetFacts) -> None:
    facts.holder_kind, facts.holder_person, facts.holder_name = "shop", None, ""


def _end_outing(facts: SetFacts) -> None:
    facts.outing = facts.out_since = facts.step_key = None
    _shop_holds(facts)


def _hold(facts: SetFacts, line: Line) -> None:
    facts.holder_kind = line.holder_kind or facts.holder_kind
    facts.holder_person = line.holder_person
    facts.holder_name = line.holder_name or ""


def _born(facts: SetFacts, line: Line, opening: str) -> bool:
    if facts.born:
        _flag(facts, line, "received_twice" if line.kind == "received" else "opened_twice")
        return False
    facts.born, facts.born_at, facts.opening, facts.branch = True, iso(line.at), opening, line.branch
    facts.pieces = line.pieces if line.pieces is not None else line.pieces_whole
    if line.to_place is not None and facts.place is None:
        _put(facts, line, line.to_place, line.to_place_kind)
    _sighted(facts, line)
    return True


def _opening(facts: SetFacts, line: Line) -> None:
    if _born(facts, line, line.opening_kind or "unknown"):
        _heights(facts, line)
        facts.start_height_mm = line.lowest_height_mm


def _received(facts: SetFacts, line: Line) -> None:
    if _born(facts, line, "new"):
        facts.face = "open"


def _labelled(facts: SetFacts, line: Line) -> None:
    if line.label_lost:
        _flag(facts, line, "label_taken")
    elif line.code is not None:
        facts.codes = [code for code in facts.codes if code[0] != line.code] + [[line.code, iso(line.at)]]


def _scanned_out(facts: SetFacts, line: Line) -> None:
    if facts.fitness == "retired":
        _flag(facts, line, "out_while_retired")
    elif facts.fitness == "set_aside":
        _flag(facts, line, "out_while_set_aside")
    if facts.outing is not None and facts.outing != line.outing:
        _flag(facts, line, "taken_by_two")
    if line.gate in ("overridden", "not_asked"):
        _flag(facts, line, f"gate_{line.gate}")
    if facts.outing != line.outing:
        facts.out_since = iso(line.at)
    facts.outing, facts.step_key = line.outing, line.step_key
    _put(facts, line, line.to_place, line.to_place_kind)
    facts.holder_kind = line.holder_kind or "crew"
    facts.holder_person, facts.holder_name = line.holder_person, line.holder_name or ""
    _sighted(facts, line)


def _scanned_in(facts: SetFacts, line: Line) -> None:
    if facts.outing is None:
        _flag(facts, line, "in_without_out")
    elif line.outing is not None and line.outing != facts.outing:
        _flag(facts, line, "in_from_another_outing")
    _end_outing(facts)
    if line.branch is not None:
        facts.branch = line.branch
    _put(facts, line, line.to_place, line.to_place_kind)
    if line.left_how is not None:
        _left(facts, line, line.left_how)
    _heights(facts, line)
    _sighted(facts, line)


def _sight_at(facts: SetFacts, line: Line, flag: str) -> None:
    """A sighting in a place; in a shop's place it ends an outing, which is flagged."""
    if line.to_place is not None:
        if facts.outing is not None and line.to_place_kind in _SHOP_PLACES:
            _flag(facts, line, flag)
            _end_outing(facts)
        if line.to_place != facts.place or line.peg:
            _put(facts, line, line.to_place, line.to_place_kind)
    if line.left_how is not None:
        _left(facts, line, line.left_how)
    _sighted(facts, line)


def _seen(facts: SetFacts, line: Line) -> None:
    _sight_at(facts, line, "seen_while_out")


def _moved(facts: SetFacts, line: Line) -> None:
    _sight_at(facts, line, "moved_while_out")


def _handed_over(facts: SetFacts, line: Line) -> None:
    if line.outing is not None and line.outing != facts.outing:
        facts.outing, facts.out_since, facts.step_key = line.outing, iso(line.at), None
    if line.to_place is not None:
        _put(facts, line, line.to_place, line.to_place_kind)
    _hold(facts, line)
    _sighted(facts, line)


def _soak_begun(facts: SetFacts, line: Line) -> None:
    if facts.fitness == "retired":
        _flag(facts, line, "soaked_while_retired")
    if facts.soaking and facts.spells[-1][0] == line.to_place:
        _flag(facts, line, "already_soaking")
    else:
        _forget_old_water(facts, line.at)
        if facts.outing is not None and line.to_place_kind in _SHOP_PLACES:
            _flag(facts, line, "moved_while_out")
            _end_outing(facts)
        _put(facts, line, line.to_place, line.to_place_kind)
        facts.left_how = facts.left_how_at = None
        facts.spells.append([line.to_place, iso(line.at), None, line.recipe])
    _sighted(facts, line)


def _forget_old_water(facts: SetFacts, at: datetime) -> None:
    edge = iso(at - _FORGET)
    facts.spells = [spell for spell in facts.spells if spell[2] is None or spell[2] >= edge]
    facts.confirmed = [row for row in facts.confirmed if row[0] >= edge]
    facts.wet_moments = [row for row in facts.wet_moments if row[0] >= edge]


def _soak_ended(facts: SetFacts, line: Line) -> None:
    if not facts.soaking:
        _flag(facts, line, "was_not_soaking")
    _leave_water(facts, line)
    if line.to_place is not None:
        _put(facts, line, line.to_place, line.to_place_kind)
    if line.left_how is not None:
        _left(facts, line, line.left_how)
    _sighted(facts, line)


def _confirmed(facts: SetFacts, line: Line) -> None:
    if not facts.spells:
        _flag(facts, line, "confirmed_without_soak")
    facts.confirmed.append([iso(line.at), line.by])
    _sighted(facts, line)


def _worked(facts: SetFacts, line: Line) -> None:
    if facts.fitness == "retired":
        _flag(facts, line, "worked_while_retired")
    if line.outing is not None and facts.outing is not None and line.outing != facts.outing:
        _flag(facts, line, "worked_elsewhere")
    if line.stands_instead:
        rank = RANK_INSTEAD
    else:
        rank = {"guessed": RANK_GUESSED, "planned": RANK_PLANNED}.get(line.basis or "", RANK_LOGGED)
    use = Use(
        rank=rank,
        area_m2=(line.area_m2 or 0.0) * (line.passes or 0),
        at=iso(line.at),
        floor=line.floor_uuid or "",
        visit=line.visit_uuid or "",
        hardness=line.hardness or "unknown",
        surface=line.surface or "raw",
        wet_dry=line.wet_dry or "wet",
        step_kind=line.step_kind or "later",
        basis=line.basis or "guessed",
        entry=line.id,
    )
    key = "|".join((line.shift_uuid or f"visit {line.visit_uuid}", line.step_key or "", line.floor_uuid or ""))
    facts.uses.setdefault(key, []).append(use)
    if line.wet_dry != "dry":
        facts.last_wet_work_at = iso(line.at)
        _water_moment(facts, line, "wet_work")


def _heights(facts: SetFacts, line: Line) -> None:
    if line.lowest_height_mm is not None:
        facts.lowest_height_mm, facts.mean_height_mm = line.lowest_height_mm, line.mean_height_mm
        facts.measured_at = iso(line.at)


def _measured(facts: SetFacts, line: Line) -> None:
    before, now = facts.lowest_height_mm, line.lowest_height_mm
    if before is not None and now is not None and now > before + _HEIGHT_RISE_MM:
        _flag(facts, line, "height_rose")
    _heights(facts, line)
    _sighted(facts, line)


def _pieces_changed(facts: SetFacts, line: Line) -> None:
    facts.pieces = line.pieces
    facts.repieced = True
    _heights(facts, line)


def _dressed(facts: SetFacts, line: Line) -> None:
    facts.face = "open"
    if line.before_height_mm is not None and line.lowest_height_mm is not None:
        facts.dressed_mm = round(facts.dressed_mm + max(0.0, line.before_height_mm - line.lowest_height_mm), 6)
    _heights(facts, line)


def _trouble(facts: SetFacts, line: Line) -> None:
    if line.trouble_kind == "glazed":
        facts.face = "glazed"
    elif line.trouble_kind == "lost":
        _go_missing(facts, line)


def _go_missing(facts: SetFacts, line: Line) -> None:
    _end_outing(facts)
    _put(facts, line, UNKNOWN_PLACE, "unknown")


def _fit(facts: SetFacts, line: Line, fitness: str, why: str) -> None:
    facts.fitness, facts.fitness_why, facts.fitness_at = fitness, why, iso(line.at)


def _set_aside(facts: SetFacts, line: Line) -> None:
    if facts.fitness == "retired":
        _flag(facts, line, "set_aside_while_retired")
    else:
        _fit(facts, line, "set_aside", line.why or "")


def _cleared(facts: SetFacts, line: Line) -> None:
    if facts.fitness == "usable":
        _flag(facts, line, "nothing_to_clear")
    _fit(facts, line, "usable", "")


def _retired(facts: SetFacts, line: Line) -> None:
    if facts.fitness == "retired":
        _flag(facts, line, "retired_twice")
    else:
        _fit(facts, line, "retired", line.retired_why or "")
    _heights(facts, line)


def _found(facts: SetFacts, line: Line) -> None:
    if not facts.missing and facts.fitness_why != "written_off":
        _flag(facts, line, "was_not_missing")
    if facts.fitness_why == "written_off":
        _fit(facts, line, "usable", "")
    _end_outing(facts)
    _put(facts, line, line.to_place, line.to_place_kind)
    _sighted(facts, line)


def _counted(facts: SetFacts, line: Line) -> None:
    if line.seen:
        _sight_at(facts, line, "counted_while_out")
    elif facts.place is not None and facts.place == line.to_place and facts.outing is None:
        # Unseen acts only if the set then is in that place; else somebody took or moved it before the count.
        _go_missing(facts, line)


_STEPS: dict[str, Callable[[SetFacts, Line], None]] = {
    "opening": _opening,
    "received": _received,
    "labelled": _labelled,
    "scanned_out": _scanned_out,
    "scanned_in": _scanned_in,
    "seen": _seen,
    "moved": _moved,
    "handed_over": _handed_over,
    "soak_begun": _soak_begun,
    "soak_ended": _soak_ended,
    "conditioning_confirmed": _confirmed,
    "worked": _worked,
    "measured": _measured,
    "pieces_changed": _pieces_changed,
    "dressed": _dressed,
    "trouble": _trouble,
    "set_aside": _set_aside,
    "cleared": _cleared,
    "retired": _retired,
    "found": _found,
    "counted": _counted,
}


def at_or_before(lines: Iterable[Line], at: datetime) -> list[Line]:
    """The lines that act by an instant: for a state as of then."""
    edge = at.astimezone(UTC)
    return [line for line in lines if line.at <= edge]
