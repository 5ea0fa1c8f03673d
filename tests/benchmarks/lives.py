"""How fast all lives are known, beside lifelines fitting the same types' censored lognormals in the same run.

`python -m tests.benchmarks.lives [sets] [types] [entries]`: 1,000 sets of 30 types with 30 entries each unless told
otherwise. Prints seconds and ratios; what one set costs after one new entry; twenty times as many sets (time per set,
peak memory of the whole process).
"""

from __future__ import annotations

import resource
import sys
import time
import warnings
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from inventory.numerics.life import Lives, lives
from inventory.numerics.wear import Ended, Segments, WearRecord
from inventory.numerics.wear_draws import draw_life_left
from inventory.numerics.wear_factors import fit_factors
from inventory.numerics.wear_fit import WearFit, fit

CLASSES = ("medium|ground|wet|later", "soft|ground|wet|later", "hard|ground|wet|later")
OWN = np.array([1.0, 1.3, 0.8])
READ = 0.15  # share of entries with a height: about METHODS 1.6
USABLE_MM = 12.0


def make_type(rng: np.random.Generator, sets: int, entries: int, rated: float, bond: str) -> WearRecord:
    """One type whose sets have this many entries each, or fewer where they wore out."""
    rate = np.exp(np.log(USABLE_MM / rated) + 0.15 + rng.normal(0, 0.2) + rng.normal(0, 0.25, (sets, 1)))
    kind = rng.integers(0, len(OWN), (sets, entries))
    # Sets of all ages: a full history uses up something between nothing and one and a half lives.
    area = np.exp(rng.normal(0, 0.7, (sets, entries))) * rated / entries * rng.uniform(0, 1.2, (sets, 1))
    step = rate * area * OWN[kind] * np.exp(rng.normal(-0.031, 0.25, (sets, entries)))
    wear = np.cumsum(step, axis=1)
    over = np.maximum(wear - USABLE_MM, 0.0)
    area = np.where(over < step, area * (1 - over / step), 0.0)  # the last use stops where the set is worn out
    kept = area > 0
    owner, at = np.nonzero(kept)
    by_class = np.zeros((owner.size, len(OWN)))
    by_class[np.arange(owner.size), kind[owner, at]] = area[owner, at]
    square = np.zeros((owner.size, len(OWN), 4))
    square[..., 0] = np.square(by_class)
    read = (rng.random(owner.size) < READ) & (wear[owner, at] < USABLE_MM)
    seen = np.maximum(wear[owner, at] + rng.normal(0, 0.3, owner.size), -0.9)
    none = np.full(owner.size, np.nan)
    ended = np.where(wear[:, -1] > USABLE_MM, Ended.WORN, Ended.RUNNING).astype(np.int64)
    return WearRecord(
        rated,
        bond,
        USABLE_MM,
        0.5,
        CLASSES,
        np.zeros(sets),
        np.zeros(sets),
        np.ones(sets, dtype=np.bool_),
        ended,
        Segments(
            owner.astype(np.int64),
            by_class,
            square,
            np.where(read, seen, np.nan),
            np.full(owner.size, 0.3),
            none,
            none,
            np.zeros(owner.size, dtype=np.bool_),
        ),
    )


def make_shop(sets: int, types: int, entries: int) -> list[WearRecord]:
    """Types of three bonds, rated 3,000 to 10,000 m2."""
    rng = np.random.default_rng(4)
    sizes = np.full(types, sets // types)
    sizes[: sets - int(sizes.sum())] += 1
    return [
        make_type(rng, int(size), entries, float(rng.choice([3e3, 4e3, 5e3, 6e3, 8e3, 1e4])), "ABC"[k % 3])
        for k, size in enumerate(sizes)
    ]


def all_lives(records: list[WearRecord]) -> tuple[WearFit, list[Lives]]:
    """Learn all types, then ask for the life left of every set."""
    fitted = fit(records, OWN)
    return fitted, [lives(r, f, OWN) for r, f in zip(records, fitted.per_type, strict=True) if f is not None]


def theirs(records: list[WearRecord]) -> None:
    """The same types' lives as censored lognormals, one fit each."""
    from lifelines import LogNormalFitter

    for record in records:
        seen = np.bincount(record.segments.set_index, record.segments.area_m2 @ OWN, minlength=record.size)
        LogNormalFitter().fit(seen, record.ended == Ended.WORN)


def clocked(act: Callable[[], object], times: int = 3) -> float:
    """Return the shortest of some runs, seconds."""
    spent = []
    for _ in range(times):
        begun = time.perf_counter()
        act()
        spent.append(time.perf_counter() - begun)
    return min(spent)


def first_set(record: WearRecord, k: int) -> WearRecord:
    """Set k of a type alone, as after a new entry."""
    seg = record.segments
    at = seg.set_index == k
    rows = {name: kept[at] for name, kept in vars(seg).items() if kept is not None}  # load: None where all are whole
    rows |= {"set_index": np.zeros(int(at.sum()), dtype=np.int64)}
    one = {name: getattr(record, name)[k : k + 1] for name in ("start_mm", "start_error_mm", "from_new", "ended")}
    return replace(record, segments=Segments(**rows), **one)


def main(sets: int = 1000, types: int = 30, entries: int = 30) -> None:
    """Print the table."""
    warnings.simplefilter("ignore")  # lifelines warns of its own steps
    records = make_shop(sets, types, entries)
    worn = sum(int((r.ended == Ended.WORN).sum()) for r in records)
    rows = sum(r.segments.set_index.size for r in records)
    print(f"{sets} sets, {types} types, {rows} entries, {worn} worn out")
    fitted, _ = all_lives(records)
    ours, other = clocked(lambda: all_lives(records)), clocked(lambda: theirs(records), 2)
    print(f"all lives {ours:.3f} s; lifelines {other:.3f} s; ratio {ours / other:.2f} (asked: under .50)")
    print(f"  of that the fit {clocked(lambda: fit(records, OWN)):.3f} s")
    type_fit = fitted.per_type[0]
    assert type_fit is not None
    one = first_set(records[0], int(np.argmax(records[0].ended == Ended.RUNNING)))
    spent = clocked(lambda: lives(one, type_fit, OWN, in_fit=False), 20)
    print(f"one set after one entry {1e3 * spent:.2f} ms (asked: under 5)")
    rng = np.random.default_rng(0)
    dice = rng.random(2000), rng.random((records[0].size, 2000)), rng.random((records[0].size, 2000))
    spent = clocked(lambda: draw_life_left(records[0], type_fit, OWN, *dice))
    print(f"{records[0].size} sets drawn in 2,000 worlds {spent:.3f} s")
    print(f"floor factors {clocked(lambda: fit_factors(records, OWN, CLASSES[0]), 1):.2f} s")
    many = make_shop(20 * sets, types, entries)
    spent = clocked(lambda: all_lives(many), 1)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**10
    linear = spent / ours / 20
    print(f"{20 * sets} sets {spent:.2f} s, {linear:.2f} of twenty times the time (linear: 1); peak {peak:.0f} MB")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
