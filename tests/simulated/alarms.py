"""False alarms and faults found by the wear alarms, on whole lives of simulated sets with known truth (METHODS 1.4).

    python -m tests.simulated.alarms [--shops 60] [--seed 4] [--cells base10,base3,...] [--sound 20] [--faulty 3]

Prints markdown: for each cell the share of sound sets alarmed at any time from new to worn out, and the share of sets
of each fault that are; with the alarms as they are and, on the same sets, with METHODS 1.4's (each type's noise and
spread by itself, limits 8.1, 8.1, 5.4, 5.25). Standard errors draw whole shops again. Progress: error stream.
The limits in `alarm_limits` were set on seeds 11 and 12; report on another. METHODS 1.4's rule is judged with today's
statistics: its own also had slowings that began in the first quarter of the height.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):  # one process, one thread
    os.environ.setdefault(_name, "1")

from inventory.numerics import wear_alarms as alarms  # noqa: E402
from inventory.numerics.alarm_limits import stretched  # noqa: E402
from tests.simulated import model, scores  # noqa: E402
from tests.simulated.scenarios import Scenario, shop_seed, variant  # noqa: E402
from tests.simulated.shops import OWN_FACTORS  # noqa: E402
from tests.simulated.whole_lives import FAULTS, SOUND, TITLES, simulate_lives  # noqa: E402

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
BEFORE = {"log": (8.1, 8.1), "type": (8.1, 8.1), "change": (5.4, 5.25)}  # METHODS 1.4: too fast, too slow
RULES = ("now", "METHODS 1.4")


@dataclass(frozen=True)
class Cell:
    """One row pair of the table; types_differ: SD of ln of the spread of rates among types."""

    name: str
    title: str
    scenario: Scenario
    worn: int
    types_differ: float = 0.0


CELLS = {
    cell.name: cell
    for cell in (
        Cell("base10", "base, 10 worn-out sets, 40 % of uses read", variant("base", read_chance=0.4), 10),
        Cell("base3", "base, 3 worn-out sets, 15 % of uses read", variant("base", read_chance=0.15), 3),
        Cell("spread10", "rates spread .45, 10, 40 %", variant("spread", read_chance=0.4), 10),
        Cell("heavy10", "heavy tails per floor, 10, 40 %", variant("heavy", read_chance=0.4), 10),
        Cell("heavy3", "heavy tails per floor, 3, 15 %", variant("heavy", read_chance=0.15), 3),
        Cell("differ10", "types' spreads differ (SD of ln .4), 10, 40 %", variant("base", read_chance=0.4), 10, 0.4),
        Cell("factors10", "floor factors wrong, 10, 40 %", variant("factors", read_chance=0.4), 10),
        Cell("height10", "wear changes with height, 10, 40 %", variant("height", read_chance=0.4), 10),
        Cell("open10", "past unknown when entered, 10, 40 %", variant("open_unknown", read_chance=0.4), 10),
        Cell("about10", 'past told as "about", 10, 40 %', variant("open_about", read_chance=0.4), 10),
        Cell("dressed10", "dressed sets, 10, 40 %", variant("dressed", read_chance=0.4), 10),
        Cell("piece1", "1 of 6 pieces changed, 10, 40 %", variant("piece1", read_chance=0.4), 10),
        Cell("piece4", "4 of 6 pieces changed, 10, 40 %", variant("piece4", read_chance=0.4), 10),
        Cell("lost2", "2 of 6 pieces lost, 10, 40 %", variant("lost2", read_chance=0.4), 10),
    )
}


@dataclass(frozen=True)
class Found:
    """What the alarms said of the judged sets of one cell; alarmed: rule -> (sets,); tails: (shops,) for too fast."""

    fault: npt.NDArray[np.str_]
    shop: npt.NDArray[np.intp]
    alarmed: dict[str, Flags]
    tails: Floats

    def share(self, rule: str, fault: str) -> tuple[float, float, int]:
        """Share of sets alarmed, its standard error, and the number of sets."""
        mine = self.fault == fault
        said = self.alarmed[rule][mine].astype(np.float64)
        error = scores.bootstrap_error(lambda v: float(v.mean()), said, shop=self.shop[mine])
        return float(said.mean()), error, int(mine.sum())


def alarmed(found: alarms.Strengths, sets: int, limits: list[float]) -> Flags:
    """Sets that passed any limit at any look, (sets,); limits in the order of `alarms.STATISTICS`."""
    out = np.zeros(sets, dtype=np.bool_)
    for (_, _, name, _), limit in zip(alarms.STATISTICS, limits, strict=True):
        out[found.looks.owner[getattr(found, name) > limit]] = True
    return out


def judge_shop(cell: Cell, seed: int, number: int, counts: dict[str, int]) -> tuple[list[str], dict[str, Flags], float]:
    """Make one shop, learn from its record, and judge further sets of it by both rules."""
    types = simulate_lives(shop_seed(seed, cell.worn, number), cell.scenario, cell.worn, counts, cell.types_differ)
    records = [one.record for one in types]
    fitted = model.Fitted.of(records, OWN_FACTORS.copy())
    basis = alarms.alarm_basis(records, fitted.fit.per_type, fitted.factors)
    stretch = {way: float(basis.tails.of(way).stretch()) for way in (alarms.FASTER, alarms.SLOWER)}
    now = [float(stretched(usual, stretch[direction])) for _, direction, _, usual in alarms.STATISTICS]
    before = [BEFORE[kind][0 if direction == "faster" else 1] for kind, direction, _, _ in alarms.STATISTICS]
    out: dict[str, list[Flags]] = {rule: [] for rule in RULES}
    for rule, fits, limits in ((RULES[0], basis.fits, now), (RULES[1], fitted.fit.per_type, before)):
        for one, type_fit in zip(types, fits, strict=True):
            assert type_fit is not None
            found = alarms.strengths(one.judged, type_fit, fitted.factors, in_fit=False)
            out[rule].append(alarmed(found, one.judged.size, limits))
    said = {rule: np.concatenate(parts) for rule, parts in out.items()}
    return [fault for one in types for fault in one.fault], said, stretch[alarms.FASTER]


def run(cell: Cell, seed: int, shops: int, counts: dict[str, int]) -> Found:
    """Run one cell."""
    faults: list[str] = []
    owner: list[int] = []
    tails: list[float] = []
    parts: dict[str, list[Flags]] = {rule: [] for rule in RULES}
    start = time.perf_counter()
    for number in range(shops):
        names, said, stretched = judge_shop(cell, seed, number, counts)
        faults += names
        owner += [number] * len(names)
        tails.append(stretched)
        for rule, flags in said.items():
            parts[rule].append(flags)
        sys.stderr.write(f"\r{cell.name}: {number + 1}/{shops} shops, {time.perf_counter() - start:.0f} s ")
        sys.stderr.flush()
    sys.stderr.write("\n")
    every = {rule: np.concatenate(flags) for rule, flags in parts.items()}
    return Found(np.array(faults), np.array(owner), every, np.array(tails))


def table(cells: dict[str, Found]) -> Iterator[str]:
    """Yield the lines of the table: % (s.e.)."""
    titles = " | ".join(TITLES[fault] for fault in FAULTS)
    yield f"| cell | sound sets | alarms | false alarms, % (s.e.) | limits stretched | {titles} |"
    yield "|" + "---|" * (5 + len(FAULTS))
    for name, found in cells.items():
        for rule in RULES:
            false, error, sets = found.share(rule, SOUND)
            row = [CELLS[name].title, str(sets), rule, f"{100 * false:.2f} ({100 * error:.2f})"]
            row.append(f"{found.tails.mean():.2f}" if rule == RULES[0] else "-")
            for fault in FAULTS:
                share, error, count = found.share(rule, fault)
                row.append(f"{100 * share:.0f} ({100 * error:.1f}) of {count}")
            yield "| " + " | ".join(row) + " |"


def main(arguments: list[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description="False alarms and faults found on simulated sets.")
    parser.add_argument("--shops", type=int, default=60)
    parser.add_argument("--seed", type=int, default=4)
    parser.add_argument("--cells", default="all", help=f"of {', '.join(CELLS)}")
    parser.add_argument("--sound", type=int, default=20, help="sound sets per type and shop")
    parser.add_argument("--faulty", type=int, default=3, help="sets of each fault per type and shop")
    given = parser.parse_args(arguments)
    names = list(CELLS) if given.cells == "all" else given.cells.split(",")
    unknown = [name for name in names if name not in CELLS]
    if unknown or min(given.shops, given.sound, given.faulty) < 1:
        parser.error(f"No such cell: {', '.join(unknown)}" if unknown else "Counts must be 1 or more.")
    counts = {SOUND: given.sound} | dict.fromkeys(FAULTS, given.faulty)
    cells = {name: run(CELLS[name], given.seed, given.shops, counts) for name in names}
    sys.stdout.write(f"Seed {given.seed}, {given.shops} shops a cell; whole lives, any alarm from new to worn out.\n\n")
    for line in table(cells):
        sys.stdout.write(line + "\n")


if __name__ == "__main__":
    main()
