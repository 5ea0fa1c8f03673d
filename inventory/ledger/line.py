"""One entry as the state function reads it, and the order entries are read in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

UNKNOWN_PLACE = "unknown"


@dataclass(slots=True)
class Line:
    """An entry with what its act says of time and people. Ids are strings; columns its kind does not use are None.

    line_no: its number within its act. at: the instant the line acts at, UTC (the act's corrected time, or for a
    count's unseen sets the count's start).
    to_place: a place's id, or UNKNOWN_PLACE; to_place_kind: the kind of that place.
    held_back: the act was recorded without the right and waits for a settlement.
    label_lost: the code of this "labelled" line opens something else, because an earlier line claimed it.
    pieces_whole: how many pieces the set's tool type has. pieces_in: of a "pieces changed" line, how many came in.
    """

    id: str
    act: str
    kind: str
    at: datetime
    device: str
    device_seq: int
    line_no: int = 0
    by: str = ""
    held_back: bool = False
    clock_doubt: str = "none"
    tool_set: str = ""
    to_place: str | None = None
    to_place_kind: str | None = None
    peg: str | None = None
    outing: str | None = None
    holder_kind: str | None = None
    holder_person: str | None = None
    holder_name: str | None = None
    gate: str | None = None
    code: str | None = None
    label_lost: bool = False
    branch: str | None = None
    opening_kind: str | None = None
    recipe: str | None = None
    left_how: str | None = None
    lowest_height_mm: float | None = None
    mean_height_mm: float | None = None
    before_height_mm: float | None = None
    pieces: int | None = None
    pieces_whole: int | None = None
    pieces_in: int | None = None
    floor_uuid: str | None = None
    visit_uuid: str | None = None
    shift_uuid: str | None = None
    step_key: str | None = None
    area_m2: float | None = None
    passes: int | None = None
    hardness: str | None = None
    surface: str | None = None
    wet_dry: str | None = None
    step_kind: str | None = None
    basis: str | None = None
    stands_instead: bool | None = None
    trouble_kind: str | None = None
    retired_why: str | None = None
    seen: bool | None = None
    void_target: str | None = None
    settles_target: str | None = None
    flag_code: str | None = None
    answer: str | None = None
    other_set: str | None = None
    why: str | None = None

    @property
    def order(self) -> tuple[datetime, str, int, str, int, str]:
        """The place of this line in a ledger: corrected time, device, sequence, the act, the line in it, its key."""
        return (self.at, self.device, self.device_seq, self.act, self.line_no, self.id)


# Makes a device's sequence, any signed 64-bit number, text that sorts as the number does.
_SEQ_BASE = 1 << 63


def order_text(line: Line) -> str:
    """The order of a line as text that sorts the same way (times are UTC with microseconds)."""
    seq = line.device_seq + _SEQ_BASE
    return f"{line.at:%Y%m%dT%H%M%S.%f}|{line.device}|{seq:020d}|{line.act}|{line.line_no:05d}|{line.id}"
