"""Draws ledgers for the laws of the state: every kind, impossible orders, equal times, wrong clocks, whatever may come.

Which columns a line carries comes from the table of kinds, so that a new kind is drawn without a change here.
"""

from __future__ import annotations

from dataclasses import fields
from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import strategies as st

from inventory.ledger import kinds
from inventory.ledger.line import UNKNOWN_PLACE, Line
from inventory.models.choices import (
    Basis,
    Gate,
    Hardness,
    HolderKind,
    LeftHow,
    OpeningKind,
    RetiredWhy,
    StepKind,
    Surface,
    TroubleKind,
    WetDry,
)

START = datetime(2025, 3, 9, 6, 0, tzinfo=UTC)
PLACES = {
    "rack-1": "rack",
    "rack-2": "rack",
    "tub-1": "tub",
    "tub-2": "tub",
    "bucket-1": "bucket",
    "van-1": "van",
    "site-1": "site",
    UNKNOWN_PLACE: "unknown",
}
SETS = ("set-1", "set-1", "set-1", "set-2")
SET_KINDS = sorted(kind for kind, rule in kinds.RULES.items() if kinds.SET in rule.subjects)
_LINE_FIELDS = {field.name for field in fields(Line)}
_HEIGHTS = st.sampled_from([1.0, 2.5, 6.0, 11.8])

COLUMNS: dict[str, st.SearchStrategy[Any]] = {
    "to_place": st.sampled_from(sorted(PLACES)),
    "peg": st.sampled_from(["A1", "B2"]),
    "outing": st.sampled_from(["outing-1", "outing-2"]),
    "holder_kind": st.sampled_from(HolderKind.values),
    "holder_person": st.sampled_from(["1", "2"]),
    "holder_name": st.sampled_from(["Osprey Lane", "Night crew"]),
    "gate": st.sampled_from(Gate.values),
    "code": st.sampled_from(["GL-AAAAAA", "GL-BBBBBB"]),
    "branch": st.sampled_from(["1", "2"]),
    "opening_kind": st.sampled_from(OpeningKind.values),
    "recipe": st.just("7"),
    "left_how": st.sampled_from(LeftHow.values),
    "lowest_height_mm": _HEIGHTS,
    "mean_height_mm": _HEIGHTS,
    "before_height_mm": _HEIGHTS,
    "pieces": st.integers(1, 12),
    "floor_uuid": st.sampled_from(["floor-1", "floor-2"]),
    "visit_uuid": st.just("visit-1"),
    "shift_uuid": st.sampled_from(["shift-1", "shift-2"]),
    "step_key": st.sampled_from(["step-1", "step-2"]),
    "area_m2": st.sampled_from([12.5, 80.0, 400.0]),
    "passes": st.integers(1, 8),
    "hardness": st.sampled_from(Hardness.values),
    "surface": st.sampled_from(Surface.values),
    "wet_dry": st.sampled_from(WetDry.values),
    "step_kind": st.sampled_from(StepKind.values),
    "basis": st.sampled_from(Basis.values),
    "stands_instead": st.booleans(),
    "trouble_kind": st.sampled_from(TroubleKind.values),
    "retired_why": st.sampled_from(RetiredWhy.values),
    "seen": st.booleans(),
    "void_target": st.integers(0, 14).map(entry_id := "entry-{:02d}".format),
    "settles_target": st.integers(0, 14).map(entry_id) | st.integers(0, 4).map("act-{}".format),
    "flag_code": st.sampled_from(["held_back", "held_back", "taken_by_two", "before_received"]),
    "answer": st.sampled_from(["accept", "accept", "leave_out"]),
    "why": st.just("as said"),
}


@st.composite
def lines_of_kind(draw: st.DrawFn, kind: str, number: int = 0, acts: int = 5) -> Line:
    """One line of this kind with all it needs and some of what it may carry; its act fixes time and device."""
    act = draw(st.integers(0, acts - 1))
    tool_set = draw(st.sampled_from(SETS))
    rule = kinds.RULES[kind]
    columns: dict[str, Any] = {}
    for name in sorted(rule.allowed & _LINE_FIELDS & set(COLUMNS)):
        if name in rule.needs or draw(st.booleans()):
            columns[name] = draw(COLUMNS[name])
    if "other_set" in rule.needs:
        columns["other_set"] = "set-2" if tool_set == "set-1" else "set-1"
    if "to_place" in columns:
        columns["to_place_kind"] = PLACES[columns["to_place"]]
    return Line(
        id=entry_id(number),
        act=f"act-{act}",
        kind=kind,
        line_no=number,
        tool_set=tool_set,
        label_lost=kind == "labelled" and draw(st.booleans()),
        pieces_whole=3,
        pieces_in=draw(st.none() | st.integers(0, 4)) if kind == "pieces_changed" else None,
        **ACTS[act],
        **columns,
    )


def _act(minute: int, device: str, seq: int, **more: Any) -> dict[str, Any]:
    return {"at": START + timedelta(minutes=minute), "device": device, "device_seq": seq, "by": "1", **more}


# Acts with one time on two devices, one device's sequence running against its clock, a doubtful clock, two held back;
# the whole spread over more than the two months after which old soaks are forgotten.
ACTS = [
    _act(0, "phone-a", 2),
    _act(0, "phone-a", 1, clock_doubt="offset_moved"),
    _act(0, "phone-b", 2),
    _act(35, "phone-a", 3, held_back=True),
    _act(90, "phone-b", 1),
    _act(90, "phone-b", 1, clock_doubt="ahead"),
    _act(60 * 24 * 70, "desk", 9),
    _act(60 * 24 * 70 + 5, "desk", 10, held_back=True),
    _act(60 * 24 * 70 + 6, "phone-a", 4),
]


@st.composite
def ledgers(draw: st.DrawFn, most: int = 14) -> list[Line]:
    """The lines of a ledger (sometimes of two sets that are said to be one), in the order they arrived."""
    drawn = draw(st.lists(st.sampled_from(SET_KINDS), max_size=most))
    return [draw(lines_of_kind(kind, number, len(ACTS))) for number, kind in enumerate(drawn)]
