"""Made-up shops to reserve for, and a checker of plans that shares nothing with the solver."""

from __future__ import annotations

import math

import numpy as np

from jobs.numerics.reserve import LoadToPlan, Plan, Seat, SetToPlan, ToBuy, TypeToPlan

RATED_M2 = (3000.0, 4000.0, 5000.0, 6000.0, 8000.0, 10000.0)  # METHODS 1.6's generator


def tiny_type(seed: int) -> TypeToPlan:
    """At most 4 sets and 6 loads; odd seeds have loads for two sets, half of these with a chance of the pair."""
    rng = np.random.default_rng(seed)
    m, n, large = int(rng.integers(1, 5)), int(rng.integers(1, 7)), seed % 2 == 1
    fresh = rng.random(m) < 0.25
    capacity = np.where(fresh, 1000.0, rng.integers(1, 11, m) * 100.0)
    wet = [float(rng.integers(0, 50)) if rng.random() < 0.3 else None for _ in range(m)]
    sets = tuple(
        SetToPlan(i + 1, float(capacity[i]), float(rng.integers(0, 30)), bool(fresh[i]), wet_until_h=wet[i])
        for i in range(m)
    )
    loads = []
    for number in range(1, n + 1):
        hundreds = rng.integers(11, 20) if large and rng.random() < 0.15 else rng.integers(1, 11)
        start = float(rng.integers(0, 60))
        end, turn = start + float(rng.integers(1, 20)), float(rng.integers(0, 10))
        weight = float(rng.choice([1.0, 1.0, 0.5, 0.1]))
        loads.append(LoadToPlan(number, float(hundreds * 100), start, end, turn, weight))
    return TypeToPlan(
        1,
        1000.0,
        sets,
        tuple(loads),
        fits=rng.random((n, m)) < 0.8,
        new_fits=rng.random(n) < 0.8,
        buy_ready_h=float(rng.choice([0.0, 0.0, 30.0, math.inf])),
        pair_chance=_pair_chance if large and rng.random() < 0.5 else None,
    )


def _pair_chance(_one: object, _other: object, area_m2: float) -> float:
    return min(1.0, 2.0 - area_m2 / 1500.0)


def shop(seed: int, sets: int = 300, jobs: int = 60, types: int = 6, larger: float = 1.0) -> list[TypeToPlan]:
    """A shop of several tool types; every job has one load of each, over eight weeks, uses as in METHODS 1.6."""
    rng = np.random.default_rng(seed)
    out = []
    for number in range(types):
        rated = RATED_M2[number % 6]
        new = 0.7 * rated
        sure = np.where(rng.random(sets // types) < 0.1, new, rng.uniform(0.02, 0.65, sets // types) * rated)
        own = tuple(
            SetToPlan(
                1000 * number + i + 1,
                float(c),
                ready_h=float(rng.choice([0, 0, 48, 72])),
                is_fresh=bool(c >= new),
                half_rating_chance=0.1 if c < 0.1 * rated else 0.95,
                likely_m2=float(1.3 * c),
            )
            for i, c in enumerate(sure)
        )
        loads = []
        for job in range(jobs):
            area = float(np.exp(rng.normal(np.log(250.0), 0.7)) * rng.integers(1, 4) * larger)
            start = 24.0 * float(rng.integers(0, 56))
            end = start + 24.0 * float(rng.integers(1, 4)) - 12.0
            loads.append(LoadToPlan(100_000 * number + job + 1, area, start, end, turn_h=72.0 if number >= 2 else 12.0))
        out.append(TypeToPlan(number + 1, new, own, tuple(loads)))
    return out


def faults_of(plan: Plan, types: list[TypeToPlan]) -> list[str]:
    """What in a plan cannot be: what no person fixed must fit, be ready, be alone at its time, and suffice."""
    out = []
    for kind in types:
        sets: dict[Seat, tuple[int, SetToPlan]] = {one.set_id: (column, one) for column, one in enumerate(kind.sets)}
        on: dict[Seat, list[tuple[LoadToPlan, float, bool]]] = {}
        for row, load in enumerate(kind.loads):
            choice = plan.choice(load.load_id)
            two = load.area_m2 > kind.new_capacity_m2
            if two and len(choice.seats) == 1 and not load.locked:
                out.append(f"{load.load_id}: one set for two")
            if len(set(choice.seats)) < len(choice.seats):
                out.append(f"{load.load_id}: one set twice")
            if not set(load.locked) <= set(choice.seats):
                out.append(f"{load.load_id}: lock lost")
            for place, seat in enumerate(choice.seats):
                fixed = seat in load.locked
                area = load.area_m2 / 2 if two else load.area_m2
                if two and kind.pair_chance is not None:
                    area = min(area, kind.new_capacity_m2)
                if not two and place < len(choice.seats) - 1:
                    area = 0.0  # it goes first and is run as far as it goes
                on.setdefault(seat, []).append((load, area, fixed))
                if fixed:
                    continue
                if isinstance(seat, ToBuy):
                    fits, ready = kind.new_fits is None or bool(kind.new_fits[row]), kind.buy_ready_h
                else:
                    column, one = sets[seat]
                    fits, ready = kind.fits is None or bool(kind.fits[row, column]), one.ready_h
                if not fits or ready > load.start_h:
                    out.append(f"{load.load_id}: {seat} does not fit or is not ready")
        for load in kind.loads:
            names = plan.choice(load.load_id).seats
            mine = [held for name in names for held in on[name]]
            if load.area_m2 <= kind.new_capacity_m2 or len(names) < 2 or any(fixed for _, _, fixed in mine):
                continue
            before = sum(area for other, area, _ in mine if other.end_h + other.turn_h <= load.start_h)
            known = [None if isinstance(name, ToBuy) else name for name in names]
            if (
                kind.pair_chance is not None
                and kind.pair_chance(known[0], known[1], load.area_m2 + before) < 0.9 - 1e-9
            ):
                out.append(f"{load.load_id}: two sets do not finish")
        for name, held in on.items():
            own = sets.get(name) if not isinstance(name, ToBuy) else None
            room = kind.new_capacity_m2 if isinstance(name, ToBuy) else own[1].capacity_m2 if own else 0.0
            if not all(fixed for _, _, fixed in held) and sum(
                area for _, area, fixed in held if not fixed
            ) > 1e-6 + max(0.0, room - sum(area for _, area, fixed in held if fixed)):
                out.append(f"{name}: overfilled")
            for a, (one_load, _, fixed) in enumerate(held):
                for other, _, other_fixed in held[a + 1 :]:
                    if fixed and other_fixed:
                        continue
                    if (
                        one_load.start_h < other.end_h + other.turn_h
                        and other.start_h < one_load.end_h + one_load.turn_h
                    ):
                        out.append(f"{name}: {one_load.load_id} and {other.load_id} at once")
    return out
