"""The table of entry kinds and states, made from the state function itself.

`python -m tests.inventory.ledger.table` prints it for DEVELOPERS.md; with `--write` it puts it there.
"""

from __future__ import annotations

import sys
from copy import deepcopy
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from inventory.ledger import kinds
from inventory.ledger.facts import SetFacts
from inventory.ledger.line import UNKNOWN_PLACE, Line
from inventory.ledger.state import fold

DEVELOPERS = Path(__file__).resolve().parents[3] / "DEVELOPERS.md"
BEGIN, END = "<!-- ledger table -->", "<!-- /ledger table -->"

START = datetime(2025, 5, 12, 8, 0, tzinfo=UTC)


def _line(kind: str, hour: float, **columns: Any) -> Line:
    name = f"{kind} {hour}"
    facts: dict[str, Any] = {
        "id": name,
        "act": name,
        "device": "desk",
        "device_seq": 1,
        "by": "1",
        "tool_set": "set",
        "pieces_whole": 3,
    }
    return Line(kind=kind, at=START + timedelta(hours=hour), **(facts | columns))


def _at(place: str, kind: str) -> dict[str, Any]:
    return {"to_place": place, "to_place_kind": kind}


_RACK, _OTHER_RACK, _TUB = _at("rack", "rack"), _at("other rack", "rack"), _at("tub", "tub")
_BUCKET, _VAN = _at("bucket", "bucket"), _at("van", "van")
_OUT = {"outing": "tonight", "gate": "passed", "holder_kind": "crew"}
_BORN = _line("received", 0, branch="1", lowest_height_mm=None, **_RACK)

# What a set's ledger holds so far, by the state that gives.
STATES: dict[str, list[Line]] = {
    "not known yet": [],
    "on the rack": [_BORN],
    "out": [_BORN, _line("scanned_out", 1, **_OUT)],
    "soaking": [_BORN, _line("soak_begun", 1, **_TUB)],
    "after soak": [
        _BORN,
        _line("soak_begun", 1, **_TUB),
        _line("soak_ended", 80, **_RACK),
        _line("conditioning_confirmed", 80),
    ],
    "in the bucket, out": [_BORN, _line("scanned_out", 1, **_OUT, **_BUCKET)],
    "set aside": [_BORN, _line("set_aside", 1, why="chipped")],
    "retired": [_BORN, _line("measured", 1, lowest_height_mm=1.8), _line("retired", 2, retired_why="worn")],
    "missing": [_BORN, _line("counted", 1, seen=False, **_RACK)],
}

_WORK = {
    "floor_uuid": "floor",
    "visit_uuid": "visit",
    "shift_uuid": "shift",
    "step_key": "step",
    "area_m2": 100.0,
    "passes": 5,
    "hardness": "hard",
    "surface": "raw",
    "wet_dry": "wet",
    "step_kind": "later",
}

# One entry of every kind that a set can have; of some two or three that do different things.
ENTRIES: list[tuple[str, str, dict[str, Any]]] = [
    ("opening", "opening, about half", {"opening_kind": "half", "branch": "1", **_RACK}),
    ("received", "received", {"branch": "1", **_RACK}),
    ("labelled", "labelled", {"code": "GL-AAAAAA"}),
    ("labelled", "labelled, code taken", {"code": "GL-AAAAAA", "label_lost": True}),
    ("scanned_out", "scanned out, gate passed", {"outing": "tomorrow", "gate": "passed", "holder_kind": "crew"}),
    ("scanned_out", "scanned out, gate not asked", {"outing": "tomorrow", "gate": "not_asked", **_VAN}),
    ("scanned_in", "scanned in", _RACK),
    ("seen", "seen on the other rack", _OTHER_RACK),
    ("seen", "seen, left dry", {"left_how": "dry"}),
    ("moved", "moved to the other rack", _OTHER_RACK),
    ("moved", "moved to the van", _VAN),
    ("handed_over", "handed to another crew", {"holder_kind": "crew", "outing": "tomorrow", "gate": "passed"}),
    ("handed_over", "handed back to the shop", {"holder_kind": "shop", **_RACK}),
    ("soak_begun", "soak begun", _TUB),
    ("soak_ended", "soak ended", _RACK),
    ("conditioning_confirmed", "conditioning confirmed", {}),
    ("worked", "worked, section done", {**_WORK, "basis": "section_done"}),
    ("worked", "worked, guessed", {**_WORK, "basis": "guessed"}),
    ("measured", "measured", {"lowest_height_mm": 9.0}),
    ("pieces_changed", "pieces changed, two left", {"pieces": 2}),
    ("dressed", "dressed", {"before_height_mm": 9.4, "lowest_height_mm": 9.0}),
    ("trouble", "trouble: glazed", {"trouble_kind": "glazed"}),
    ("trouble", "trouble: lost", {"trouble_kind": "lost"}),
    ("trouble", "trouble: ran dry", {"trouble_kind": "ran_dry"}),
    ("set_aside", "set aside", {"why": "chipped"}),
    ("cleared", "cleared", {}),
    ("retired", "retired, written off", {"retired_why": "written_off"}),
    ("found", "found on the other rack", _OTHER_RACK),
    ("counted", "counted here, seen", {"seen": True, **_RACK}),
    ("counted", "counted here, not seen", {"seen": False, **_RACK}),
    ("voided", "voided: the newest entry", {"why": "a slip"}),
    ("voided", "voided: nothing known", {"void_target": "still on a phone", "why": "a slip"}),
    ("settled", "settled: the first flag", {"answer": "accept"}),
    ("same_as", "same as another", {"other_set": "other set"}),
]
assert {kind for kind, _name, _columns in ENTRIES} == {
    kind for kind, rule in kinds.RULES.items() if kinds.SET in rule.subjects
}


def result(state: str, entry: tuple[str, str, dict[str, Any]]) -> str:
    """What this entry does to a set in this state: what changes, and the flags it raises."""
    kind, _name, columns = entry
    before_lines = STATES[state]
    before = fold(before_lines)
    more = dict(columns)
    if kind == "voided" and "void_target" not in more:
        more["void_target"] = before_lines[-1].id if before_lines else "none"
    if kind == "settled":
        more["settles_target"], more["flag_code"] = before.flags[0] if before.flags else ("none", "held_back")
    line = _line(kind, 100, **more)
    after = fold([*deepcopy(before_lines), line])
    words = _changes(before, after)
    words += [f"! {code}" for entry_id, code in after.flags if entry_id == line.id]
    return "; ".join(words) or "–"


def _changes(before: SetFacts, after: SetFacts) -> list[str]:
    words = []
    if after.born != before.born:
        words.append("known" if after.born else "not known")
    if after.outing != before.outing:
        words.append(f"out {after.outing}" if after.outing else "outing ends")
    if (after.place, after.place_kind) != (before.place, before.place_kind):
        if after.place is None:
            words.append("place not said")
        else:
            words.append("missing" if after.place == UNKNOWN_PLACE else f"in the {after.place}")
    if after.soaking != before.soaking:
        words.append("in the water" if after.soaking else "out of the water")
    if after.left_how != before.left_how and after.left_how and after.place_kind != "bucket":
        words.append(f"left {after.left_how.replace('_', ' ')}")
    if (after.fitness, after.fitness_why) != (before.fitness, before.fitness_why):
        words.append(after.fitness.replace("_", " "))
    if after.face != before.face and after.born:
        words.append(f"face {after.face}")
    if after.pieces != before.pieces and after.born == before.born:
        words.append(f"{after.pieces} pieces")
    if after.lowest_height_mm != before.lowest_height_mm:
        words.append("height" if after.lowest_height_mm is not None else "no height")
    if after.uses != before.uses:
        words.append("work")
    if len(after.confirmed) > len(before.confirmed):
        words.append("confirmed")
    elif len(after.confirmed) < len(before.confirmed):
        words.append("not confirmed")
    if after.codes != before.codes:
        words.append("label")
    if after.same_as != before.same_as:
        words.append("joined")
    if after.seen_at != before.seen_at and not words:
        words.append("seen")
    return words


def table() -> str:
    """The whole table as Markdown."""
    head = ["entry", *STATES]
    rows = [[entry[1], *(result(state, entry) for state in STATES)] for entry in ENTRIES]
    text = [
        "What an entry (rows) does to a set in a state (columns): what changes, and `!` the flag it raises. `–`:",
        "nothing changes, the entry stands in the ledger. Printed by `python -m tests.inventory.ledger.table`, put",
        "here by `--write`, held by `tests/inventory/ledger/test_table.py`.",
        "",
        "| " + " | ".join(head) + " |",
        "| " + " | ".join("---" for _column in head) + " |",
        *("| " + " | ".join(row) + " |" for row in rows),
    ]
    return "\n".join(text)


def table_in(text: str) -> str:
    """The table that a page holds between its two marks."""
    return text.split(BEGIN)[1].split(END)[0].strip("\n")


def put_into(text: str) -> str:
    """The page with today's table between its marks."""
    before, rest = text.split(BEGIN)
    return f"{before}{BEGIN}\n{table()}\n{END}{rest.split(END)[1]}"


if __name__ == "__main__":
    if "--write" in sys.argv:
        DEVELOPERS.write_text(put_into(DEVELOPERS.read_text(encoding="utf-8")), encoding="utf-8")
    else:
        sys.stdout.write(table() + "\n")
