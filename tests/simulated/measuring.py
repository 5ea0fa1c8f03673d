"""What heights are worth before the next step, on simulated shops with known truth (METHODS 1.5).

    python -m tests.simulated.measuring [--shops 40] [--seed 4] [--worn 3] [--read 0.15]

Every set in service has its next use as planned step. With what the shop knows it takes the set or leaves it; a height
(with its reading error) may turn that. Used and it dies costs 9, left though it would have finished costs 1. Prints
markdown: loss saved per hundred sets by reading nobody, all, the fifth of greatest value, the fifth of widest range,
and those that the program asks for. Standard errors draw whole shops again. Progress: error stream.
"""

from __future__ import annotations

import argparse
import os
import sys
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):  # one process, one thread
    os.environ.setdefault(_name, "1")

from inventory.numerics import life  # noqa: E402
from inventory.numerics.measure_value import ASK_FROM, FINISH_LIMIT, reading_values  # noqa: E402
from inventory.numerics.wear import Segments, WearRecord  # noqa: E402
from tests.simulated import model, scores  # noqa: E402
from tests.simulated.records import wear_record  # noqa: E402
from tests.simulated.scenarios import shop_seed, variant  # noqa: E402
from tests.simulated.shops import READING_ERROR_MM, simulate  # noqa: E402

Floats = npt.NDArray[np.float64]
COST = FINISH_LIMIT / (1 - FINISH_LIMIT)


@dataclass(frozen=True)
class Cases:
    """Sets in service of all shops, (n,): shop, value said, width of the range, loss without and with a height."""

    shop: npt.NDArray[np.intp]
    value: Floats
    width: Floats
    without: Floats
    after: Floats


def with_heights(record: WearRecord, sets: npt.NDArray[np.intp], wear_mm: Floats) -> WearRecord:
    """The record with one more height of each of these sets."""
    seg = record.segments
    order = np.argsort(np.concatenate([seg.set_index, sets]), kind="stable")
    k, c = sets.size, len(record.classes)
    more = {
        "area_m2": np.zeros((k, c)),
        "square_m4": np.zeros((k, c, 4)),
        "wear_mm": np.maximum(wear_mm, -3 * READING_ERROR_MM),
        "error_mm": np.full(k, READING_ERROR_MM),
        "restart_mm": np.full(k, np.nan),
        "restart_error_mm": np.full(k, np.nan),
        "forget": np.zeros(k, dtype=np.bool_),
        "set_index": sets,
    }
    rows = {name: np.concatenate([getattr(seg, name), values])[order] for name, values in more.items()}
    return replace(record, segments=Segments(**rows))


def loss(chance: Floats, finishes: npt.NDArray[np.bool_]) -> Floats:
    """What deciding by this chance costs, given what then happens."""
    taken = chance >= FINISH_LIMIT
    return np.where(taken & ~finishes, COST, np.where(~taken & finishes, 1.0, 0.0))


def one_shop(worn: int, read: float, seed: int, number: int) -> list[tuple[Floats, ...]]:
    """Per tool type: value, width, loss without and with a height of its sets in service."""
    shop = simulate(shop_seed(seed, worn, number), variant("base", read_chance=read), worn)
    records = [wear_record(story) for story in shop.types]
    fitted = model.Fitted.of(records, shop.own_factors)
    dice = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(worn, number, 2)))
    out: list[tuple[Floats, ...]] = []
    for at, (story, record) in enumerate(zip(shop.types, records, strict=True)):
        type_fit = fitted.fit.per_type[at]
        assert type_fit is not None
        sets = np.array(story.running)
        area, true = np.ones(record.size), np.zeros(record.size)
        left = np.full(record.size, np.inf)
        for i, future in zip(sets, story.futures, strict=True):
            area[i] = fitted.factors.factor[future.kind[0]] * future.area_m2[0]
            true[i] = shop.true_factors[future.kind[0]] * future.area_m2[0]
            left[i] = future.true_m2
        known = fitted.lives(at)
        said = reading_values(known, type_fit, area)
        wear = np.array([story.sets[i].clock for i in sets]) + dice.normal(0, READING_ERROR_MM, sets.size)
        then = life.lives(with_heights(record, sets, wear), type_fit, fitted.factors, as_fitted=record)
        finishes = left >= true
        before = loss(life.chance_to_finish(known, area), finishes)[sets]
        after = loss(life.chance_to_finish(then, area), finishes)[sets]
        width = ((known.up_to_m2 - known.at_least_m2) / story.rated_m2)[sets]
        out.append((said.value[sets], width, before, after))
    return out


def run(worn: int, read: float, seed: int, shops: int) -> Cases:
    """All shops of one cell."""
    rows: list[tuple[Floats, ...]] = []
    owner: list[int] = []
    for number in range(shops):
        for one in one_shop(worn, read, seed, number):
            rows.append(one)
            owner += [number] * one[0].size
        sys.stderr.write(f"\r{number + 1}/{shops} shops ")
        sys.stderr.flush()
    sys.stderr.write("\n")
    value, width, without, after = (np.concatenate([row[k] for row in rows]) for k in range(4))
    return Cases(np.array(owner), value, width, without, after)


def policies(cases: Cases) -> dict[str, npt.NDArray[np.bool_]]:
    """Which sets each policy reads."""
    fifth = max(1, cases.value.size // 5)
    out = {name: np.zeros(cases.value.size, dtype=np.bool_) for name in ("all", "value", "width")}
    out["all"][:] = True
    out["value"][np.argsort(-cases.value, kind="stable")[:fifth]] = True
    out["width"][np.argsort(-cases.width, kind="stable")[:fifth]] = True
    out["asked"] = cases.value >= ASK_FROM
    return out


TITLES = {"all": "all sets", "value": "top fifth by value", "width": "widest fifth", "asked": "those asked for"}


def table(cases: Cases) -> list[str]:
    """The lines of the table."""
    lines = ["| read | sets read, % | loss saved per 100 sets (s.e.) | as said beforehand |", "|---|---|---|---|"]
    for name, read in policies(cases).items():
        saved = np.where(read, cases.without - cases.after, 0.0)
        error = scores.bootstrap_error(lambda v: float(v.mean()), saved, shop=cases.shop)
        said = np.where(read, cases.value, 0.0)
        share, gain, off, hoped = (100 * float(x) for x in (read.mean(), saved.mean(), error, said.mean()))
        lines.append(f"| {TITLES[name]} | {share:.0f} | {gain:.2f} ({off:.2f}) | {hoped:.2f} |")
    return lines


def main(arguments: list[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description="What heights are worth on simulated shops.")
    parser.add_argument("--shops", type=int, default=40)
    parser.add_argument("--seed", type=int, default=4)
    parser.add_argument("--worn", type=int, default=3)
    parser.add_argument("--read", type=float, default=0.15)
    given = parser.parse_args(arguments)
    if given.shops < 1 or given.worn < 1 or not 0 <= given.read <= 1:
        parser.error("Counts must be 1 or more, --read between 0 and 1.")
    cases = run(given.worn, given.read, given.seed, given.shops)
    without = 100 * cases.without.mean()
    sys.stdout.write(
        f"Seed {given.seed}, {given.shops} shops, {given.worn} worn-out sets, {given.read:.0%} of uses read, "
        f"{cases.value.size} sets in service; loss without any height {without:.2f} per 100 sets.\n\n"
    )
    sys.stdout.write("\n".join(table(cases)) + "\n")


if __name__ == "__main__":
    main()
