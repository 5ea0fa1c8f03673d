"""What an entry of each kind does to the state of a set: one small function a kind, none raises."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from inventory.ledger.facts import RANK_GUESSED, RANK_INSTEAD, RANK_LOGGED, RANK_PLANNED, Mark, SetFacts, Use, iso
from inventory.ledger.line import UNKNOWN_PLACE, Line

# Soaks that ended so long before a new one begins say nothing about wetness (our assumption; far above any dry-out).
_FORGET = timedelta(days=60)
# A height that rises by more than three reading errors of 0.3 mm without new pieces contradicts itself (METHODS 0).
HEIGHT_RISE_MM = 0.9

# Where a set is not while it is out; seen there, its outing has ended.
_SHOP_PLACES = frozenset({"rack", "tub", "crate", "supplier"})


def flag(facts: SetFacts, line: Line, code: str) -> None:
    """Note that this line contradicts something, for the shop manager to settle."""
    facts.flags.append([line.id, code])


def _sighted(facts: SetFacts, line: Line) -> None:
    facts.seen_at, facts.seen_by = iso(line.at), line.by
    if not facts.missing:
        facts.seen_place = facts.place


def _used(facts: SetFacts, line: Line) -> None:
    """Somebody had it in hand without saying where: that contradicts a set that nobody can find."""
    if facts.missing:
        flag(facts, line, "used_while_missing")


# --- place and water ---


def _leave_water(facts: SetFacts, line: Line) -> None:
    """End an open soak: moving a set out of a tub ends it."""
    if facts.soaking:
        facts.spells[-1][2] = iso(line.at)
        _water_moment(facts, line, "left_water")
        facts.left_water_at = iso(line.at)


def _water_moment(facts: SetFacts, line: Line, what: str) -> None:
    facts.wet_moments.append([iso(line.at), what])


def _put(facts: SetFacts, line: Line, place: str | None, kind: str | None) -> None:
    """Put the set in a place; out of its tub if it lay in one, and out of any other water it was left in."""
    if facts.soaking and place != facts.spells[-1][0]:
        _leave_water(facts, line)
    elif facts.left_how == "in_water" and place != facts.place and kind != "bucket":
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
    facts.left_how, facts.left_how_at = how, iso(line.at)
    _water_moment(facts, line, how)


def _answer_left(facts: SetFacts, line: Line) -> None:
    """Keep the answer to "How do you leave the sets?" as it was given; what it means for wetness is conditioning's."""
    if line.left_how is not None:
        _left(facts, line, line.left_how)


# --- who has it ---


def _end_outing(facts: SetFacts) -> None:
    facts.outing = facts.out_since = facts.step_key = None
    facts.holder_kind, facts.holder_person, facts.holder_name = "shop", None, ""


def _go_out(facts: SetFacts, line: Line) -> None:
    """Flags of a set that leaves, or changes hands between outings."""
    if facts.fitness == "retired":
        flag(facts, line, "out_while_retired")
    elif facts.fitness == "set_aside":
        flag(facts, line, "out_while_set_aside")
    if line.gate in ("overridden", "not_asked"):
        flag(facts, line, f"gate_{line.gate}")


def _scanned_out(facts: SetFacts, line: Line) -> None:
    _go_out(facts, line)
    if facts.outing != line.outing:
        if facts.outing is not None:
            flag(facts, line, "taken_by_two")
        facts.out_since = iso(line.at)
    facts.outing, facts.step_key = line.outing, line.step_key
    _put(facts, line, line.to_place, line.to_place_kind)
    facts.holder_kind = line.holder_kind or "crew"
    facts.holder_person, facts.holder_name = line.holder_person, line.holder_name or ""
    _sighted(facts, line)


def _scanned_in(facts: SetFacts, line: Line) -> None:
    if facts.outing is None:
        flag(facts, line, "in_without_out")
    elif line.outing is not None and line.outing != facts.outing:
        flag(facts, line, "in_from_another_outing")
    _end_outing(facts)
    if line.branch is not None:
        facts.branch = line.branch
    _put(facts, line, line.to_place, line.to_place_kind)
    _answer_left(facts, line)
    _heights(facts, line)
    _sighted(facts, line)


def _handed_over(facts: SetFacts, line: Line) -> None:
    if line.holder_kind == "shop" and line.outing is None:
        # Given back to the shop: that ends the outing as a scan in does.
        _end_outing(facts)
    else:
        if line.outing is not None and line.outing != facts.outing:
            _go_out(facts, line)
            facts.outing, facts.out_since, facts.step_key = line.outing, iso(line.at), None
            # Where the others keep it was not said.
            _put(facts, line, line.to_place, line.to_place_kind)
        facts.holder_kind = line.holder_kind or facts.holder_kind
        facts.holder_person, facts.holder_name = line.holder_person, line.holder_name or ""
    if line.to_place is not None and line.to_place != facts.place:
        _put(facts, line, line.to_place, line.to_place_kind)
    _sighted(facts, line)


def _sight_at(facts: SetFacts, line: Line, doubt: str) -> None:
    """A sighting in a place; in a shop's place it ends an outing, which is flagged."""
    if line.to_place is not None:
        if facts.outing is not None and line.to_place_kind in _SHOP_PLACES:
            flag(facts, line, doubt)
            _end_outing(facts)
        if line.to_place != facts.place or line.peg:
            _put(facts, line, line.to_place, line.to_place_kind)
    else:
        _used(facts, line)
    _answer_left(facts, line)
    _sighted(facts, line)


def _seen(facts: SetFacts, line: Line) -> None:
    _sight_at(facts, line, "seen_while_out")


def _moved(facts: SetFacts, line: Line) -> None:
    _sight_at(facts, line, "moved_while_out")


def _counted(facts: SetFacts, line: Line) -> None:
    if line.seen:
        _sight_at(facts, line, "counted_while_out")
        _heights(facts, line)
    elif (
        facts.place is not None
        and facts.place == line.to_place
        and (facts.outing is None or facts.place_kind not in _SHOP_PLACES)
    ):
        # Unseen acts only if the set then is in that place; else somebody took or moved it before the count.
        _go_missing(facts, line)


def _go_missing(facts: SetFacts, line: Line) -> None:
    _end_outing(facts)
    _put(facts, line, UNKNOWN_PLACE, "unknown")


def _found(facts: SetFacts, line: Line) -> None:
    written_off = facts.fitness == "retired" and facts.fitness_why == "written_off"
    if written_off:
        _fit(facts, line, "usable", "")
    elif not facts.missing:
        flag(facts, line, "was_not_missing")
    _end_outing(facts)
    _put(facts, line, line.to_place, line.to_place_kind)
    _sighted(facts, line)


# --- birth and names ---


def _born(facts: SetFacts, line: Line, opening: str) -> bool:
    if facts.born:
        if line.tool_set != facts.born_set and line.tool_set in facts.same_as:
            # One set that was opened twice: the earliest opening holds, the later is a sighting of it.
            _sight_at(facts, line, "seen_while_out")
            _heights(facts, line)
        else:
            flag(facts, line, "received_twice" if line.kind == "received" else "opened_twice")
        return False
    facts.born, facts.born_at, facts.born_set = True, iso(line.at), line.tool_set
    facts.opening, facts.branch = opening, line.branch
    facts.born_pieces = line.pieces
    facts.pieces = line.pieces if line.pieces is not None else line.pieces_whole
    if line.to_place is not None and facts.place is None:
        _put(facts, line, line.to_place, line.to_place_kind)
    _sighted(facts, line)
    return True


def _opening(facts: SetFacts, line: Line) -> None:
    if _born(facts, line, line.opening_kind or "unknown"):
        _take_heights(facts, line)
        facts.start_height_mm = line.lowest_height_mm


def _received(facts: SetFacts, line: Line) -> None:
    if _born(facts, line, "new"):
        facts.face = "open"


def _labelled(facts: SetFacts, line: Line) -> None:
    if line.label_lost:
        flag(facts, line, "label_taken")
    elif line.code is not None:
        facts.codes = [code for code in facts.codes if code[0] != line.code] + [[line.code, iso(line.at)]]


# --- soak ---


def _soak_begun(facts: SetFacts, line: Line) -> None:
    if facts.fitness == "retired":
        flag(facts, line, "soaked_while_retired")
    if facts.soaking and facts.spells[-1][0] == line.to_place:
        flag(facts, line, "already_soaking")
    else:
        _forget_old_water(facts, line.at)
        if facts.outing is not None and line.to_place_kind in _SHOP_PLACES:
            flag(facts, line, "moved_while_out")
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
        flag(facts, line, "was_not_soaking")
    _leave_water(facts, line)
    _sight_at(facts, line, "moved_while_out")


def _confirmed(facts: SetFacts, line: Line) -> None:
    if not facts.spells:
        flag(facts, line, "confirmed_without_soak")
    _used(facts, line)
    facts.confirmed.append([iso(line.at), line.by])
    _sighted(facts, line)


# --- work and wear ---


def _worked(facts: SetFacts, line: Line) -> None:
    if facts.fitness == "retired":
        flag(facts, line, "worked_while_retired")
    if line.outing is not None and facts.outing is not None and line.outing != facts.outing:
        flag(facts, line, "worked_elsewhere")
    if line.basis != "guessed":
        _used(facts, line)
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
        act=line.act,
        adds=line.stands_instead is False,
    )
    key = "|".join((line.shift_uuid or f"visit {line.visit_uuid}", line.step_key or "", line.floor_uuid or ""))
    facts.uses.setdefault(key, []).append(use)
    if line.basis == "guessed":
        # A guess is nobody's word that the set ran then; it must not keep a set conditioned.
        return
    if facts.soaking:
        # Taken out of its tub without a word: whatever it lay there after that is no soak.
        flag(facts, line, "worked_while_soaking")
        _leave_water(facts, line)
    if line.wet_dry == "wet":
        facts.last_wet_work_at = iso(line.at)
        _water_moment(facts, line, "wet_work")


def _take_heights(facts: SetFacts, line: Line) -> None:
    if line.lowest_height_mm is not None:
        facts.lowest_height_mm, facts.mean_height_mm = line.lowest_height_mm, line.mean_height_mm
        facts.measured_at = iso(line.at)


def _heights(facts: SetFacts, line: Line) -> None:
    """Take a reading; one that rises without new pieces is flagged and taken all the same."""
    _take_reading(facts, line)
    if line.lowest_height_mm is not None:
        _mark(facts, line, "read")


def _take_reading(facts: SetFacts, line: Line) -> None:
    before, now = facts.lowest_height_mm, line.lowest_height_mm
    if before is not None and now is not None and now > before + HEIGHT_RISE_MM:
        flag(facts, line, "height_rose")
    _take_heights(facts, line)


def _mark(facts: SetFacts, line: Line, kind: str, **more: float | None) -> None:
    """Keep what this line says of wear, for the model: facts alone, what they mean is worked out elsewhere."""
    at, height, mean = iso(line.at), line.lowest_height_mm, line.mean_height_mm
    facts.marks.append(Mark(kind, at, line.id, height, mean, **more))  # type: ignore[arg-type]


def _measured(facts: SetFacts, line: Line) -> None:
    _used(facts, line)
    _heights(facts, line)
    _sighted(facts, line)


def _pieces_changed(facts: SetFacts, line: Line) -> None:
    _used(facts, line)
    facts.pieces = line.pieces
    facts.repieced = True
    if line.pieces_in is not None and line.pieces_in == line.pieces:
        # Not one of the pieces that were read is in it any more.
        facts.lowest_height_mm = facts.mean_height_mm = facts.measured_at = None
    _take_heights(facts, line)
    _mark(facts, line, "pieces", changed=line.pieces_in, of=line.pieces)


def _dressed(facts: SetFacts, line: Line) -> None:
    _used(facts, line)
    facts.face = "open"
    if line.before_height_mm is not None and line.lowest_height_mm is not None:
        facts.dressed_mm = round(facts.dressed_mm + max(0.0, line.before_height_mm - line.lowest_height_mm), 6)
    _take_reading(facts, line)
    if line.before_height_mm is not None or line.lowest_height_mm is not None:
        _mark(facts, line, "dressed", before_mm=line.before_height_mm)


def _trouble(facts: SetFacts, line: Line) -> None:
    if line.trouble_kind == "glazed":
        facts.face = "glazed"
    elif line.trouble_kind == "lost":
        _go_missing(facts, line)


# --- fitness ---


def _fit(facts: SetFacts, line: Line, fitness: str, why: str) -> None:
    facts.fitness, facts.fitness_why, facts.fitness_at = fitness, why, iso(line.at)


def _set_aside(facts: SetFacts, line: Line) -> None:
    if facts.fitness == "retired":
        flag(facts, line, "set_aside_while_retired")
    else:
        _fit(facts, line, "set_aside", line.why or "")


def _cleared(facts: SetFacts, line: Line) -> None:
    if facts.fitness == "usable":
        flag(facts, line, "nothing_to_clear")
    else:
        _fit(facts, line, "usable", "")


def _retired(facts: SetFacts, line: Line) -> None:
    if facts.fitness == "retired":
        flag(facts, line, "retired_twice")
    else:
        _fit(facts, line, "retired", line.retired_why or "")
    _heights(facts, line)


STEPS: dict[str, Callable[[SetFacts, Line], None]] = {
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
