"""What a set's ledger says of its wear: stretches of worked area between what was seen of it. Facts, no model.

Pure, from SetFacts alone; kept in SetState.wear by the writer and by ``rebuild`` alike. Floor factors, errors and the
heights of the tool type are applied later (inventory.wear_rows), so that learning never rewrites history.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from typing import Any

from inventory.ledger.facts import Mark, SetFacts, Use

# The order of the sums of squares in a stretch; the same as the wear model's.
BASES = ("measured", "section_done", "planned", "guessed")
Stretch = dict[str, Any]


def wear_of(facts: SetFacts) -> dict[str, Any]:
    """The whole record of a set's wear: how it began, and its stretches in the order of time (see stretches).

    opening: its kind, "" while the set has not begun; start_mm: the lowest height then, if read; pieces: how many it
    began with, only there where that was said.
    """
    said = {} if facts.born_pieces is None else {"pieces": facts.born_pieces}
    return {"opening": facts.opening or "", "start_mm": facts.start_height_mm, "stretches": stretches(facts)} | said


def stretches(facts: SetFacts) -> list[Stretch]:
    """Stretches of worked area, each ending with a reading, a new start, both, or (the last) with nothing.

    areas: by floor class "hardness|surface|wet or dry|step kind": [worked area, m2, then by basis (BASES) the sum over
    uses of its square, m4]. A use is what the set did at one visit to one floor of one class: added up before it is
    squared, however many nights and lines log it; of the square each basis has the share it has of the area.
    read_mm: lowest height read at its end, or None. restart: None, or what the wear goes on from: why (dressed,
    pieces), height_mm (None: not read), changed, of (pieces that came in, of how many; None: not said).
    at, entry: of what ends it; "" for the last. Work from before an opening that was not new is in what was found then.
    """
    since = "" if facts.opening in (None, "new") else facts.born_at or ""
    uses = sorted((use for use in facts.counted_uses() if use.at >= since), key=lambda use: (use.at, use.entry))
    found: list[Stretch] = []
    place = 0
    for mark in facts.marks:
        reach = place
        while reach < len(uses) and uses[reach].at <= mark.at:
            reach += 1
        if (row := _ended_by(mark, uses[place:reach])) is not None:
            found.append(row)
            place = reach
    if place < len(uses):
        found.append({"at": "", "entry": "", "areas": _areas(uses[place:]), "read_mm": None, "restart": None})
    return found


def _ended_by(mark: Mark, uses: Sequence[Use]) -> Stretch | None:
    """The stretch that ends with this mark; None where the mark says nothing of wear."""
    read, restart = mark.height_mm, None
    if mark.kind != "read":
        read = mark.before_mm
        restart = {"why": mark.kind, "height_mm": mark.height_mm, "changed": mark.changed, "of": mark.of}
        if mark.kind == "dressed" and mark.height_mm is None:
            restart = None
    if read is None and restart is None:
        return None
    return {"at": mark.at, "entry": mark.entry, "areas": _areas(uses), "read_mm": read, "restart": restart}


def _areas(uses: Iterable[Use]) -> dict[str, list[float]]:
    by_use: dict[tuple[str, str, str], list[float]] = {}
    for use in uses:
        key = (f"{use.hardness}|{use.surface}|{use.wet_dry}|{use.step_kind}", use.visit, use.floor)
        basis = BASES.index(use.basis) if use.basis in BASES else len(BASES) - 1
        by_use.setdefault(key, [0.0] * len(BASES))[basis] += use.area_m2
    areas: dict[str, list[float]] = {}
    for (floor_class, _visit, _floor), parts in sorted(by_use.items()):
        whole, row = sum(parts), areas.setdefault(floor_class, [0.0] * (1 + len(BASES)))
        for number, value in enumerate((1.0, *parts)):
            row[number] += whole * value
    return {key: [round(value, 6) for value in row] for key, row in areas.items()}


def stamp_of(wear: dict[str, Any], fitness: str, fitness_why: str) -> str:
    """Short name of all that life left is worked out from; another one as soon as any of it is different."""
    ended = [fitness == "retired", fitness_why if fitness == "retired" else ""]
    text = json.dumps([wear, ended], sort_keys=True, separators=(",", ":"))
    return hashlib.blake2b(text.encode(), digest_size=8).hexdigest()
