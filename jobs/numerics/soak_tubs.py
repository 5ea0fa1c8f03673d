"""Which tub a set lies in, and whether there is room: stays put in order of their beginning (left-edge, METHODS 4).

Pure. A tub has slots (sets or pieces, as its room is counted); a stay takes some of them from one instant to another.
A set taken out at an instant leaves its slot to one put in at that instant.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

Key = Any  # hashable: whatever names a set or a tub
FOREVER = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True)
class Stay:
    """A set in a tub from begun_at to ended_at (UTC), taking so many slots.

    Raises: ValueError when it ends at or before it begins, or takes no slot.
    """

    key: Key
    begun_at: datetime
    ended_at: datetime
    slots: int = 1

    def __post_init__(self) -> None:
        if not self.ended_at > self.begun_at:
            raise ValueError(f"`ended_at` of {self.key!r} must be after {self.begun_at}; got {self.ended_at}.")
        if self.slots < 1:
            raise ValueError(f"`slots` of {self.key!r} must be 1 or more; got {self.slots}.")


def busiest(stays: Iterable[Stay], start: datetime, end: datetime) -> int:
    """Most slots taken at one instant of [start, end)."""
    there = [stay for stay in stays if stay.begun_at < end and stay.ended_at > start]
    instants = [start, *(stay.begun_at for stay in there if stay.begun_at > start)]
    return max(sum(stay.slots for stay in there if stay.begun_at <= at < stay.ended_at) for at in instants)


def fullest_with_room(
    rooms: Mapping[Key, int], stays: Mapping[Key, Sequence[Stay]], start: datetime, end: datetime, slots: int
) -> Key | None:
    """The tub that has room for these slots throughout [start, end) and least to spare; None where none has.

    rooms: slots by tub; of tubs equally full the first one named. stays: what lies or will lie in each.
    """
    best: tuple[int, Key] | None = None
    for key, room in rooms.items():
        spare = room - busiest(stays.get(key, ()), start, end) - slots
        if spare >= 0 and (best is None or spare < best[0]):
            best = spare, key
    return None if best is None else best[1]


def assign_tubs(
    stays: Sequence[Stay], rooms: Mapping[Key, int], lying: Mapping[Key, Sequence[Stay]] | None = None
) -> dict[Key, Key | None]:
    """A tub for each stay by its key, None where no tub had room, in order of beginning (left-edge).

    For stays of one slot each into empty tubs this finds a tub for every stay if and only if at no instant more lie
    than there are slots. Stays of several slots may be left over although another arrangement had held them.
    lying: what lies in the tubs already.
    Raises: ValueError when a tub has no slots, or two stays have one key.
    """
    for key, room in rooms.items():
        if room < 1:
            raise ValueError(f"`rooms` of {key!r} must be 1 or more; got {room}.")
    if len({stay.key for stay in stays}) < len(stays):
        raise ValueError("`stays` must have one key each; one stands in it twice.")
    placed: dict[Key, list[Stay]] = {key: list((lying or {}).get(key, ())) for key in rooms}
    found: dict[Key, Key | None] = {}
    for stay in sorted(stays, key=lambda stay: stay.begun_at):
        tub = fullest_with_room(rooms, placed, stay.begun_at, stay.ended_at, stay.slots)
        found[stay.key] = tub
        if tub is not None:
            placed[tub].append(stay)
    return found
