"""Records of wear for the tests: built row by row, and a plain random type."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from inventory.numerics.wear import BASES, Ended, Segments, WearRecord

NAN = float("nan")
CLASSES = ("medium|ground|wet|later", "soft|ground|wet|later", "hard|ground|wet|later")
OWN = np.array([1.0, 1.3, 0.8])


@dataclass
class Stretch:
    """One row: worked area by class (its squares as one use each, measured, unless given), and what is read then."""

    area: Sequence[float] | np.ndarray
    wear: float = NAN
    error: float = 0.3
    square: np.ndarray | None = None
    restart: float = NAN
    forget: bool = False


@dataclass
class OneSet:
    rows: list[Stretch] = field(default_factory=list)
    ended: int = Ended.RUNNING
    start: float = 0.0
    start_error: float = 0.0
    from_new: bool = True


def squares(area: Sequence[float] | np.ndarray, basis: int = 0) -> np.ndarray:
    out = np.zeros((len(area), len(BASES)))
    out[:, basis] = np.square(area)
    return out


def record(
    sets: Sequence[OneSet],
    *,
    rated: float | None = 5000.0,
    bond: str = "",
    usable: float = 12.0,
    usable_error: float = 0.5,
    classes: tuple[str, ...] = CLASSES,
) -> WearRecord:
    rows = [(i, row) for i, one in enumerate(sets) for row in one.rows]
    segments = Segments.none(len(classes))
    if rows:
        segments = Segments(
            np.array([i for i, _ in rows], dtype=np.int64),
            np.array([row.area for _, row in rows], dtype=float),
            np.array([squares(row.area) if row.square is None else row.square for _, row in rows]),
            np.array([row.wear for _, row in rows], dtype=float),
            np.array([row.error for _, row in rows], dtype=float),
            np.array([row.restart for _, row in rows], dtype=float),
            np.full(len(rows), 0.3),
            np.array([row.forget for _, row in rows]),
        )
    return WearRecord(
        rated,
        bond,
        usable,
        usable_error,
        classes,
        np.array([one.start for one in sets], dtype=float),
        np.array([one.start_error for one in sets], dtype=float),
        np.array([one.from_new for one in sets], dtype=bool),
        np.array([one.ended for one in sets], dtype=np.int64),
        segments,
    )


def random_sets(rng: np.random.Generator, n: int, *, rated: float = 5000.0, shift: float = 0.15) -> list[OneSet]:
    """Sets whose wear follows the model: rates spread .25, floors .25 noisy, read after every fifth use or so."""
    out = []
    for _ in range(n):
        one, wear = OneSet(), 0.0
        rate = np.exp(np.log(12.0 / rated) + shift + rng.normal(0, 0.25))
        for _ in range(int(rng.integers(0, 16))):
            kind, worked = int(rng.integers(3)), float(np.exp(rng.normal(np.log(350), 0.6)))
            step = rate * worked * OWN[kind] * np.exp(rng.normal(-0.03, 0.25))
            share = min(1.0, (12.0 - wear) / step)
            area = np.zeros(3)
            area[kind] = worked * share
            wear += step * share
            seen = max(wear + rng.normal(0, 0.3), -0.8) if share == 1 and rng.random() < 0.2 else NAN
            one.rows.append(Stretch(area, seen))
            if share < 1:
                one.ended = Ended.WORN
                break
        if one.ended == Ended.RUNNING and rng.random() < 0.1:
            one.ended = Ended.OTHER
        out.append(one)
    return out


def lifetimes(times: Sequence[float], worn: Sequence[bool], usable_error: float = 0.002) -> WearRecord:
    """Plain lives: each set works once, until it is worn out or the watching stops; usable height 1."""
    sets = [
        OneSet([Stretch([t], square=np.zeros((1, 4)))], Ended.WORN if w else Ended.RUNNING)
        for t, w in zip(times, worn, strict=True)
    ]
    return record(sets, rated=None, usable=1.0, usable_error=usable_error, classes=("any",))


def readings(times: Sequence[float], wear: Sequence[float], **kind: float) -> OneSet:
    """One set read at these ages."""
    steps = np.diff(np.asarray(times, dtype=float), prepend=0.0)
    return OneSet(
        [Stretch([a], y, square=np.zeros((1, 4))) for a, y in zip(steps, wear, strict=True)],
        **kind,  # type: ignore[arg-type]
    )
