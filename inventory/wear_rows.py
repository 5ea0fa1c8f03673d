"""From what states keep of wear (inventory.ledger.wear) to the wear model's record of a tool type. No queries.

Here the tool type's heights, the errors of readings and words, and the rules for unknown pasts come in (METHODS 1.1);
floor factors come later still, in the numerics.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, cast
from uuid import UUID

import numpy as np

from inventory.ledger.wear import BASES, Stretch
from inventory.models import ToolType
from inventory.models.choices import Fitness, OpeningKind, RetiredWhy
from inventory.numerics.wear import ABOVE_NEW, READING_ERROR_MM, UNKNOWN_VARIANCE, Ended, Segments, WearRecord
from inventory.shop_settings import REFERENCE_CLASS, class_learnt

# How much of its usable height a word says is gone, and the SD of that: our assumption, METHODS 1.1 item 7.
# Unknown: anywhere between new and worn. A normal of a uniform's SD (.29) holds 74 to 76 of 100 where 80 are meant, for
# it leaves the ends out; .33 holds 78, for 1.3 % more error where three sets wore out (tests.simulated.life).
OPENINGS: Mapping[str, tuple[float, float]] = {
    OpeningKind.THREE_QUARTERS: (0.25, 0.12),
    OpeningKind.HALF: (0.50, 0.12),
    OpeningKind.QUARTER: (0.75, 0.12),
    OpeningKind.UNKNOWN: (0.50, 0.33),
}
USABLE_MM = 10.0  # goes for a type whose height nobody gave and whose bond has none either: our assumption
READINGS_A_DAY = 3  # heights read on one day share what is wrong with them, METHODS 1.7
MOST_STRETCHES = 120  # more stretches of one set than this are drawn together: bounds the work, not the ledger
# A fall of more than this times what the rating gives for the logged work was no work's: our assumption. So much that a
# rating typed in the wrong unit (square feet for square metres: 10.8) is learnt all the same.
_UNLIKELY = 10.0
FELL, PASSED_OVER = "fell", "passed_over"  # what is thought of a height, see heights_doubted
_WORST_MM = 1e5  # no height of a tool; such a number was mistyped


@dataclass(frozen=True)
class SetRow:
    """What is known of one set: its key, its wear (inventory.ledger.wear.wear_of), and how it stands.

    stamp: short name of all that. as_fitted: how it stood when its type was fitted: None as now; empty: not there yet;
    else its wear, fitness and why.
    """

    set_id: UUID
    wear: Mapping[str, Any]
    fitness: str = Fitness.USABLE
    fitness_why: str = ""
    stamp: str = ""
    as_fitted: Mapping[str, Any] | None = None

    @property
    def before(self) -> SetRow:
        """The set as it stood when its type was fitted; a set that was not there as one that says nothing."""
        if self.as_fitted is None:
            return self
        if not self.as_fitted:
            return SetRow(self.set_id, {})
        return SetRow(self.set_id, self.as_fitted["wear"], self.as_fitted["fitness"], self.as_fitted["why"])

    @property
    def ended(self) -> Ended:
        """How its life stands. Worn out though nobody logged any work: how long it lasted is not known."""
        if self.fitness != Fitness.RETIRED:
            return Ended.RUNNING
        worked = any(area[0] > 0 for one in self.wear.get("stretches", ()) for area in one["areas"].values())
        return Ended.WORN if self.fitness_why == RetiredWhy.WORN and worked else Ended.OTHER

    @property
    def running(self) -> bool:
        """Whether it is not retired."""
        return self.fitness != Fitness.RETIRED


@dataclass(frozen=True)
class Scale:
    """How heights of a type read as wear: usable height, mm, and the height at which a set is worn out.

    top_known: whether the new height is known; else wear counts from the retire height up.
    """

    usable_mm: float
    retire_mm: float
    top_known: bool
    heights: bool

    def wear_mm(self, height_mm: float | None) -> float:
        """Wear at a height; NaN where there is none, or none that a tool can have."""
        if height_mm is None or not self.heights:
            return float("nan")
        wear = self.usable_mm - (height_mm - self.retire_mm)
        return wear if -ABOVE_NEW * READING_ERROR_MM <= wear <= _WORST_MM else float("nan")


def scale_of(tool_type: ToolType, others: Iterable[ToolType] = ()) -> Scale:
    """How heights of this type read as wear. others: the types whose bond may lend a usable height.

    Without a retire height a set is worn out at nothing left; without a new height the mean of its bond stands in, and
    sets with readings begin anywhere. Our assumptions.
    """
    new, retire = tool_type.new_height_mm, tool_type.retire_height_mm
    if new is not None and new > (retire or 0.0):
        return Scale(new - (retire or 0.0), retire or 0.0, True, True)
    known = [
        one.new_height_mm - (one.retire_height_mm or 0.0)
        for one in others
        if one.bond == tool_type.bond and one.new_height_mm is not None
    ]
    lent = [height for height in known if height > 0]
    return Scale(float(np.mean(lent)) if lent else USABLE_MM, retire or 0.0, False, retire is not None)


def record_of(
    tool_type: ToolType,
    rows: Sequence[SetRow],
    scale: Scale,
    *,
    classes: tuple[str, ...] | None = None,
    newest: bool = True,
) -> WearRecord:
    """The wear model's record of these sets of one type, in the order of the rows.

    classes: the floor classes and their order; None: those the sets worked on. newest: whether a set's newest height is
    believed though it fell without work; alarms judge it as it stands.
    """
    classes = classes_of(rows) if classes is None else classes
    places = {key: number for number, key in enumerate(classes)}
    starts = [_start(row.wear, scale) for row in rows]
    built = [
        _few(start, _thin_by_day(_parts(row.wear, tool_type, scale, start, newest)))
        for row, start in zip(rows, starts, strict=True)
    ]
    flat = [(index, one) for index, (_start_at, parts) in enumerate(built) for one in parts]
    k = len(flat)
    area, square = np.zeros((k, len(classes))), np.zeros((k, len(classes), len(BASES)))
    for number, (_index, one) in enumerate(flat):
        for key, values in one.areas.items():
            place = places[key]
            area[number, place] += values[0]
            square[number, place] += values[1:]
    error = np.full(k, READING_ERROR_MM)
    return WearRecord(
        rated_m2=tool_type.rated_coverage_m2,
        bond=tool_type.bond,
        usable_mm=scale.usable_mm,
        usable_error_mm=max(0.04 * scale.usable_mm, 0.2),  # our assumption, METHODS 0
        classes=classes,
        start_mm=np.array([start[0] for start, _parts in built], dtype=np.float64),
        start_error_mm=np.array([start[1] for start, _parts in built], dtype=np.float64),
        from_new=np.array([row.wear.get("opening", "new") in ("", OpeningKind.NEW) for row in rows], dtype=np.bool_),
        ended=np.array([row.ended for row in rows], dtype=np.int64),
        segments=Segments(
            np.array([index for index, _one in flat], dtype=np.int64),
            area,
            square,
            np.array([one.wear_mm for _index, one in flat], dtype=np.float64),
            error,
            np.array([one.restart_mm for _index, one in flat], dtype=np.float64),
            np.array([one.restart_error_mm for _index, one in flat], dtype=np.float64),
            np.array([one.forget for _index, one in flat], dtype=np.bool_),
            np.array([one.load for _index, one in flat], dtype=np.float64),
        ),
        load_now=np.array([load_now(row.wear, tool_type.pieces_per_set) for row in rows], dtype=np.float64),
    )


def load_now(wear: Mapping[str, Any], whole: int) -> float:
    """Times the area that each piece of a set works by its pieces of now, against a whole set's; 1 for a whole set."""
    return _loads(wear, whole)[-1]


def _loads(wear: Mapping[str, Any], whole: int) -> list[float]:
    """The same in each stretch, and from its last one on. A piece does its share of what is missing: our assumption."""
    found, pieces = [], wear.get("pieces")
    for one in wear.get("stretches", ()):
        found.append(_load(pieces, whole))
        restart = one["restart"]
        if restart is not None and restart["why"] == "pieces" and restart["of"] is not None:
            pieces = restart["of"]
    return [*found, _load(pieces, whole)]


def _load(pieces: int | None, whole: int) -> float:
    return 1.0 if pieces is None else max(1.0, whole / max(pieces, 1))


def classes_of(rows: Iterable[SetRow]) -> tuple[str, ...]:
    """The floor classes these sets worked on, as they are learnt; the reference always among them, first."""
    found = {class_learnt(key) for row in rows for one in row.wear.get("stretches", ()) for key in one["areas"]} - {
        REFERENCE_CLASS
    }
    return (REFERENCE_CLASS, *sorted(found))


def part_of(record: WearRecord, positions: np.ndarray) -> WearRecord:
    """The record of some of its sets, in the order given."""
    seg = record.segments
    first = np.searchsorted(seg.set_index, positions, side="left")
    count = np.searchsorted(seg.set_index, positions, side="right") - first
    rows = np.concatenate([np.arange(a, a + n) for a, n in zip(first, count, strict=True)] or [np.zeros(0)])
    rows = rows.astype(np.int64)
    return replace(
        record,
        start_mm=record.start_mm[positions],
        start_error_mm=record.start_error_mm[positions],
        from_new=record.from_new[positions],
        ended=record.ended[positions],
        segments=Segments(
            np.repeat(np.arange(len(positions)), count).astype(np.int64),
            *(getattr(seg, name)[rows] for name in _SEGMENT_NAMES),
        ),
        load_now=record.load_now if record.load_now is None else record.load_now[positions],
    )


_SEGMENT_NAMES = (
    "area_m2", "square_m4", "wear_mm", "error_mm", "restart_mm", "restart_error_mm", "forget", "load",
)  # fmt: skip


@dataclass
class _Part:
    """One stretch, in wear."""

    day: str
    areas: dict[str, np.ndarray]
    wear_mm: float
    restart_mm: float = float("nan")
    restart_error_mm: float = READING_ERROR_MM
    forget: bool = False
    load: float = 1.0
    entry: str = ""
    seen: str = ""

    @property
    def restarts(self) -> bool:
        return not np.isnan(self.restart_mm)


def _start(wear: Mapping[str, Any], scale: Scale) -> tuple[float, float]:
    """The wear a set's record begins with, mm, and its SD."""
    opening, height = wear.get("opening", ""), wear.get("start_mm")
    read = scale.wear_mm(height)
    if height is not None and scale.heights:
        # Above new by more than any error: as new as can be.
        return (read, READING_ERROR_MM) if not np.isnan(read) else (0.0, READING_ERROR_MM)
    if opening in ("", OpeningKind.NEW):
        anywhere = not scale.top_known and any(_reads(one, scale) for one in wear.get("stretches", ()))
        return 0.0, float(np.sqrt(UNKNOWN_VARIANCE)) if anywhere else 0.0
    share, error = OPENINGS.get(opening, OPENINGS[OpeningKind.UNKNOWN])
    return share * scale.usable_mm, error * scale.usable_mm


def _reads(one: Stretch, scale: Scale) -> bool:
    return not np.isnan(scale.wear_mm(one["read_mm"]))


def _parts(
    wear: Mapping[str, Any], tool_type: ToolType, scale: Scale, start: tuple[float, float], newest: bool = True
) -> list[_Part]:
    """A set's stretches, each as the model takes it."""
    stretches, loads = wear.get("stretches", ()), _loads(wear, tool_type.pieces_per_set)
    parts = [_part(cast(Stretch, one), scale, load) for one, load in zip(stretches, loads[:-1], strict=True)]
    rated = tool_type.rated_coverage_m2
    _believe_unlogged_wear(parts, start, scale.usable_mm / rated if rated else None, newest)
    return parts


def heights_doubted(tool_type: ToolType, wear: Mapping[str, Any], scale: Scale) -> dict[str, str]:
    """The heights of a set that its logged work cannot explain, by entry: FELL or PASSED_OVER."""
    return {part.entry: part.seen for part in _parts(wear, tool_type, scale, _start(wear, scale)) if part.seen}


def falls_without_work(tool_type: ToolType, wear: Mapping[str, Any], height_mm: float) -> bool:
    """Whether a height read now, mm, would have fallen without work to fall by (see _believe_unlogged_wear)."""
    scale = scale_of(tool_type)
    stretches = list(wear.get("stretches", ()))
    open_areas = stretches.pop()["areas"] if stretches and not stretches[-1]["at"] else {}
    now = {"at": "now", "entry": "", "areas": open_areas, "read_mm": height_mm, "restart": None}
    parts = _parts({**wear, "stretches": [*stretches, now]}, tool_type, scale, _start(wear, scale))
    return parts[-1].seen == FELL


def _believe_unlogged_wear(
    parts: Sequence[_Part], start: tuple[float, float], rated_rate: float | None, newest: bool = True
) -> None:
    """A height that fell without work to fall by: wear goes on from there, and nothing is learnt of the rate.

    The work was done and not logged (our assumption), so the newest height holds: the model would else lay the wear
    between two heights of which only one can be so. One that a later height rises from again was keyed wrong and is
    passed over. rated_rate: mm per m2 of the rating, None where it gives none: then only no work at all is too little.
    newest: whether the newest height is believed too, though none after it bears it out.
    """
    last = max((number for number, part in enumerate(parts) if not np.isnan(part.wear_mm)), default=-1)
    known, error = (start[0], start[1]) if start[1] <= READING_ERROR_MM else (float("nan"), READING_ERROR_MM)
    work = 0.0
    fell: tuple[_Part, float, float, float] | None = None  # the height read last, if so; what was known before it
    for number, part in enumerate(parts):
        work += part.load * sum(float(area[0]) for area in part.areas.values())
        anew = part.restarts
        if not np.isnan(wear := part.wear_mm):
            if fell is not None and wear < known - ABOVE_NEW * READING_ERROR_MM:
                wrong, known, error, more = fell
                wrong.restart_mm, wrong.seen, work = float("nan"), PASSED_OVER, work + more
            fell = None
            could = _UNLIKELY * work * rated_rate if rated_rate is not None else float("inf") if work > 0 else 0.0
            if wear - known > ABOVE_NEW * math.hypot(error, READING_ERROR_MM) + could and (newest or number < last):
                fell = part, known, error, work
                part.seen, part.wear_mm = FELL, float("nan")
                if not anew:
                    part.restart_mm = wear
            known, error, work = wear, READING_ERROR_MM, 0.0
        if anew:
            known, error, work, fell = part.restart_mm, part.restart_error_mm, 0.0, None


def _part(one: Stretch, scale: Scale, load: float) -> _Part:
    areas: dict[str, np.ndarray] = {}
    for key, values in one["areas"].items():
        known = areas.setdefault(class_learnt(key), np.zeros(1 + len(BASES)))
        known += values
    part = _Part(one["at"][:10], areas, scale.wear_mm(one["read_mm"]), load=load, entry=one["entry"])
    restart = one["restart"]
    if restart is None:
        return part
    changed, of = restart["changed"], restart["of"]
    part.forget = changed is not None and of is not None and 2 * changed > of
    part.restart_mm = scale.wear_mm(restart["height_mm"])
    if np.isnan(part.restart_mm):
        if part.forget:
            # New pieces of a height nobody read: anywhere between new and worn.
            share, error = OPENINGS[OpeningKind.UNKNOWN]
            part.restart_mm, part.restart_error_mm = share * scale.usable_mm, error * scale.usable_mm
        elif restart["height_mm"] is not None and scale.heights:
            part.restart_mm = 0.0
    return part


def _thin_by_day(parts: Sequence[_Part]) -> list[_Part]:
    """Count at most three readings of one day, the last ones."""
    counts: dict[str, int] = {}
    for part in reversed(parts):
        if np.isnan(part.wear_mm):
            continue
        counts[part.day] = counts.get(part.day, 0) + 1
        if counts[part.day] > READINGS_A_DAY:
            part.wear_mm = float("nan")
    return _joined(parts)


def _joined(parts: Iterable[_Part]) -> list[_Part]:
    """Stretches that end with nothing seen go on into the next."""
    found: list[_Part] = []
    held: _Part | None = None
    for part in parts:
        if held is not None and held.load != part.load:
            found += [held] if held.areas else []
        elif held is not None:
            areas = {key: values.copy() for key, values in held.areas.items()}
            for key, values in part.areas.items():
                areas[key] = areas[key] + values if key in areas else values
            part.areas = areas
        held = part
        if part.restarts or not np.isnan(part.wear_mm):
            found.append(part)
            held = None
    return [*found, held] if held is not None and held.areas else found


def _few(start: tuple[float, float], parts: list[_Part]) -> tuple[tuple[float, float], list[_Part]]:
    """At most MOST_STRETCHES of them: every so many readings are passed over; if new starts alone are more, the newest
    ones tell the set's life and the record begins with the start before them."""
    if len(parts) > MOST_STRETCHES:
        bare = [number for number, part in enumerate(parts) if not part.restarts]
        keep = set(bare[-1:]) | set(bare[:: max(2, 2 * len(bare) // MOST_STRETCHES + 1)])
        for number in bare:
            if number not in keep:
                parts[number].wear_mm = float("nan")
        parts = _joined(parts)
    if len(parts) > MOST_STRETCHES:
        last = next(n for n in range(len(parts) - MOST_STRETCHES - 1, len(parts)) if parts[n].restarts)
        return (parts[last].restart_mm, parts[last].restart_error_mm), parts[last + 1 :]
    return start, parts
