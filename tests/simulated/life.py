"""The table of METHODS 1.6: life left against what then happened on simulated shops.

    python -m tests.simulated.life [--shops 60 | 200,120,60] [--seed 4] [--cells base,unlogged,...]
                                   [--worn 3,10,30] [--workers 1]

Prints markdown: CRPS of worked area left in % of the rating (lower is better) for every rule, how many lives ended in
the 80 % range, the model's CRPS over the oracle's, and whether each cell keeps its acceptance band. `--cells all` runs
the opening entries, guessed areas, dressed sets and changed pieces as well. Progress goes to the error stream.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):  # one process, one thread: the figures are per processor
    os.environ.setdefault(_name, "1")

from tests.simulated import scores  # noqa: E402
from tests.simulated.scenarios import CELLS, MAIN_CELLS, Scenario  # noqa: E402
from tests.simulated.trial import CURVE_RULES, RULES, ShopScores, run_shop  # noqa: E402

Floats = npt.NDArray[np.float64]
MODEL, ORACLE, LOGNORMAL = RULES.index("model"), RULES.index("oracle"), RULES.index("lognormal")
# Acceptance (METHODS 1.6): share inside the 80 % range, and CRPS over the oracle's.
COVERAGE = {"base": (0.76, 0.84), "wrong": (0.75, 0.85), "range": (0.75, 0.85)}
OVER_ORACLE = {"base": 1.10, "wrong": 1.14, "range": np.inf}
OVER_ORACLE_NO_READINGS = 1.15


@dataclass(frozen=True)
class Part:
    """One cell at one number of worn-out sets: means over all scored sets, standard errors by shop.

    crps: (rules,) % of rated. inside: (curve rules,). width: mean P90 - P10 of the model, % of rated. bias: mean of the
    model's P50 - truth, % of rated. seconds: mean per shop of factor fit, types' fit, answers, all.
    """

    scenario: Scenario
    worn: int
    shops: int
    sets: int
    crps: Floats
    crps_error: float
    inside: Floats
    inside_error: float
    over_oracle: float
    over_oracle_error: float
    width: float
    bias: float
    seconds: Floats
    factor_error: float
    one: list[scores.Band]
    two: list[scores.Band]
    one_log: float
    two_log: float

    def misses(self) -> list[str]:
        """Name every acceptance band that this part misses; empty also where no band is set."""
        band = self.scenario.band
        if not band:
            return []
        found = []
        low, high = COVERAGE[band]
        share = self.inside[CURVE_RULES.index("model")]
        if not low <= share <= high:
            found.append(f"{share:.3f} in range, not {low:.2f}-{high:.2f}")
        limit = OVER_ORACLE[band] if self.scenario.read_chance > 0 else OVER_ORACLE_NO_READINGS
        if self.over_oracle > limit:
            found.append(f"{self.over_oracle:.3f} of oracle, over {limit:.2f}")
        for rule, name in enumerate(RULES[:MODEL]):
            excused = self.scenario.read_chance == 0 and self.worn >= 10 and name in ("weibull", "lognormal")
            if self.crps[MODEL] >= self.crps[rule] and not excused:
                found.append(f"not below {name}")
        return found


def summarise(scenario: Scenario, worn: int, shops: list[ShopScores]) -> Part:
    """Put the shops of one part together."""
    crps = 100 * np.concatenate([one.crps for one in shops], axis=1)
    low, middle, high = (
        np.concatenate([getattr(one, key) for one in shops], axis=1) for key in ("low", "middle", "high")
    )
    truth = np.concatenate([one.truth for one in shops])
    shop = np.repeat(np.arange(len(shops)), [one.truth.size for one in shops])
    inside = scores.inside(truth, low, high).astype(float)
    at = CURVE_RULES.index("model")

    def ratio(model: Floats, oracle: Floats) -> float:
        return float(model.mean() / oracle.mean())

    def mean(values: Floats) -> float:
        return float(values.mean())

    bands, logs = [], []
    for key in ("one", "two"):
        said = np.concatenate([getattr(one, f"{key}_said") for one in shops])
        was = np.concatenate([getattr(one, f"{key}_was") for one in shops])
        of = np.repeat(np.arange(len(shops)), [getattr(one, f"{key}_said").size for one in shops])
        bands.append(scores.calibration(said, was, of) if said.size else [])
        logs.append(float(scores.log_score(said, was).mean()) if said.size else float("nan"))
    return Part(
        scenario,
        worn,
        len(shops),
        truth.size,
        crps=crps.mean(axis=1),
        crps_error=scores.bootstrap_error(mean, crps[MODEL], shop=shop),
        inside=inside.mean(axis=1),
        inside_error=scores.bootstrap_error(mean, inside[at], shop=shop),
        over_oracle=ratio(crps[MODEL], crps[ORACLE]),
        over_oracle_error=scores.bootstrap_error(ratio, crps[MODEL], crps[ORACLE], shop=shop),
        width=100 * float((high[at] - low[at]).mean()),
        bias=100 * float((middle[at] - truth).mean()),
        seconds=np.mean([one.seconds for one in shops], axis=0),
        factor_error=float(np.sqrt(np.mean([np.square(one.learnt_ln_factor_error[1:]) for one in shops]))),
        one=bands[0],
        two=bands[1],
        one_log=logs[0],
        two_log=logs[1],
    )


def run(scenario: Scenario, worn: int, seed: int, shops: int, workers: int = 1) -> Part:
    """Run one part."""
    work = partial(run_shop, scenario, worn, seed)
    if workers > 1:
        with ProcessPoolExecutor(workers) as pool:
            found = list(_told(pool.map(work, range(shops)), scenario, worn, shops))
    else:
        found = list(_told(map(work, range(shops)), scenario, worn, shops))
    kept = [one for one in found if one is not None]
    return summarise(scenario, worn, kept)


def _told(shops: Iterable[ShopScores | None], scenario: Scenario, worn: int, total: int) -> Iterator[ShopScores | None]:
    """Pass shops on and say how far the part is."""
    start = time.perf_counter()
    for done, one in enumerate(shops, 1):
        if done % 5 == 0 or done == total:
            sys.stderr.write(f"\r{scenario.name} {worn}: {done}/{total} shops, {time.perf_counter() - start:.0f} s ")
            sys.stderr.flush()
        yield one
    sys.stderr.write("\n")


def _triple(values: Iterable[float], form: str) -> str:
    return " ".join(
        format(value, form).replace("0.", ".", 1) if form == ".3f" else format(value, form) for value in values
    )


def table(cells: dict[str, list[Part]]) -> Iterator[str]:
    """Yield the lines of the table, one row per cell, numbers for each number of worn-out sets."""
    rules = "rated - area | mean life - area | Weibull | lognormal | **model** | oracle"
    ranges = "in 80 % range (s.e.) | model over oracle, % (s.e.) | width | bias"
    yield f"| scenario (worn-out sets) | {rules} | {ranges} | verdict |"
    yield "|" + "---|" * 12
    for parts in cells.values():
        crps = [_triple((part.crps[rule] for part in parts), ".1f") for rule in range(len(RULES))]
        at = CURVE_RULES.index("model")
        misses = [f"{part.worn}: {miss}" for part in parts for miss in part.misses()]
        verdict = "; ".join(misses) if misses else ("kept" if parts[0].scenario.band else "-")
        yield (
            f"| {parts[0].scenario.title} ({' '.join(str(part.worn) for part in parts)}) | "
            + " | ".join(crps[:4])
            + f" | **{crps[MODEL]}** | {crps[ORACLE]} | {_triple((part.inside[at] for part in parts), '.3f')} "
            + f"({max(part.inside_error for part in parts):.3f}) | "
            + f"{_triple((100 * (part.over_oracle - 1) for part in parts), '+.1f')} "
            + f"({100 * max(part.over_oracle_error for part in parts):.1f}) | "
            + f"{_triple((part.width for part in parts), '.0f')} | "
            + f"{_triple((part.bias for part in parts), '+.1f')} | {verdict} |"
        )


def details(cells: dict[str, list[Part]]) -> Iterator[str]:
    """Yield what the table has no room for: sizes, seconds, the other ranges, chances."""
    ranges = "lognormal in range | oracle in range | ln error of factors"
    yield f"| part | shops | sets | s.e. of CRPS | {ranges} | s per shop: factors, types, answers, all |"
    yield "|" + "---|" * 8
    for parts in cells.values():
        for part in parts:
            yield (
                f"| {part.scenario.name} {part.worn} | {part.shops} | {part.sets} | {part.crps_error:.2f} | "
                f"{part.inside[CURVE_RULES.index('lognormal')]:.3f} | {part.inside[CURVE_RULES.index('oracle')]:.3f} | "
                f"{part.factor_error:.3f} | {_triple(part.seconds, '.2f')} |"
            )
    chances = [part for parts in cells.values() for part in parts if part.one]
    if chances:
        yield ""
        yield "| chance of finishing a step | said: was (s.e., cases) | log score |"
        yield "|---|---|---|"
        for part in chances:
            for name, bands, log in (("one set", part.one, part.one_log), ("two sets", part.two, part.two_log)):
                said = ", ".join(f"{b.said:.3f}: {b.was:.3f} ({b.error:.3f}, {b.count})" for b in bands)
                yield f"| {part.scenario.name} {part.worn}, {name} | {said} | {log:.3f} |"


def main(arguments: list[str] | None = None) -> int:
    """Run the cells asked for and print the table; 1 when a cell misses its band."""
    read = argparse.ArgumentParser(prog="python -m tests.simulated.life", description="Life left on simulated shops.")
    read.add_argument("--shops", default="60", help="shops per part; 200,120,60 = by number of worn-out sets")
    read.add_argument("--seed", type=int, default=4)
    read.add_argument("--cells", default=",".join(MAIN_CELLS), help=f"of {', '.join(CELLS)}; or all")
    read.add_argument("--worn", default="", help="worn-out sets per type; each cell has its own if left out")
    read.add_argument("--workers", type=int, default=1, help="processes")
    asked = read.parse_args(arguments)
    names = list(CELLS) if asked.cells == "all" else asked.cells.split(",")
    if unknown := [name for name in names if name not in CELLS]:
        read.error(f"no cell {', '.join(unknown)}; there are {', '.join(CELLS)}")
    shops = [int(one) for one in asked.shops.split(",")]
    start = time.perf_counter()
    cells: dict[str, list[Part]] = {}
    for name in names:
        scenario = CELLS[name]
        numbers = [int(one) for one in asked.worn.split(",")] if asked.worn else scenario.worn
        cells[name] = [
            run(scenario, worn, asked.seed, shops[min(at, len(shops) - 1)], asked.workers)
            for at, worn in enumerate(numbers)
        ]
    sizes = f"{asked.shops} shops per cell by number of worn-out sets, seed {asked.seed}"
    sys.stdout.write(f"CRPS of worked area left, % of the rating; {sizes}; {time.perf_counter() - start:.0f} s\n\n")
    for line in (*table(cells), "", *details(cells)):
        sys.stdout.write(line + "\n")
    return 1 if any(part.misses() for parts in cells.values() for part in parts) else 0


if __name__ == "__main__":
    sys.exit(main())
