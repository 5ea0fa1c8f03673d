"""Reservations written a second time, slowly and differently: greedy best fit, all layouts, a linear programme.

For one tool type, without locks, present sets or leftovers put first; loads too large for one new set are two halves.
Nothing here is imported from the solver but what it is told and the words it answers with.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import optimize, sparse

from jobs.numerics.reserve_task import LoadToPlan, PlanRules, TypeToPlan

INF = math.inf


@dataclass(frozen=True)
class Piece:
    """What goes into one bin: a load or half of one."""

    load: LoadToPlan
    row: int
    area: float
    half: bool


@dataclass(frozen=True)
class Bin:
    """A set (column of `fits`), or one to buy (column None)."""

    column: int | None
    capacity: float
    ready: float
    cost: float
    new: bool


def pieces_of(kind: TypeToPlan) -> list[Piece]:
    """Return the loads, those over a new set's capacity cut into halves."""
    out = []
    for row, load in enumerate(kind.loads):
        if load.area_m2 > kind.new_capacity_m2:
            half = load.area_m2 / 2 if kind.pair_chance is None else min(load.area_m2 / 2, kind.new_capacity_m2)
            out += [Piece(load, row, half, True), Piece(load, row, half, True)]
        else:
            out.append(Piece(load, row, load.area_m2, False))
    return out


def bins_of(kind: TypeToPlan, to_buy: int, rules: PlanRules) -> list[Bin]:
    """Return the sets and so many to buy."""
    out = []
    for column, one in enumerate(kind.sets):
        worn = rules.worn_cost + rules.worn_share_cost * one.capacity_m2 / kind.new_capacity_m2
        out.append(Bin(column, one.capacity_m2, one.ready_h, rules.fresh_cost if one.is_fresh else worn, one.is_fresh))
    return out + [Bin(None, kind.new_capacity_m2, kind.buy_ready_h, rules.bought_cost, True)] * to_buy


def overlap(one: LoadToPlan, other: LoadToPlan) -> bool:
    """Whether two loads want a set at the same time, turn included."""
    return one.start_h < other.end_h + other.turn_h and other.start_h < one.end_h + one.turn_h


def may(kind: TypeToPlan, piece: Piece, one: Bin) -> bool:
    """Whether a piece may go into an empty bin."""
    if one.column is None:
        fits = kind.new_fits is None or bool(kind.new_fits[piece.row])
    else:
        fits = kind.fits is None or bool(kind.fits[piece.row, one.column])
    return fits and piece.load.start_h >= one.ready and piece.area <= one.capacity + 1e-9


def greedy_cost(kind: TypeToPlan, rules: PlanRules) -> float:
    """Cost of best fit in the order of time: in service or opened where least room stays, else fresh, else bought.

    No wet bonus, no pair chance.
    """
    pieces = sorted(pieces_of(kind), key=lambda p: (p.load.start_h, p.row))
    bins = bins_of(kind, len(pieces), rules)
    inside: list[list[Piece]] = [[] for _ in bins]
    served: dict[int, int] = {}
    for piece in pieces:
        best, best_rank = None, (INF, INF)
        for number, one in enumerate(bins):
            left = one.capacity - sum(p.area for p in inside[number]) - piece.area
            busy = any(overlap(p.load, piece.load) for p in inside[number])
            if not may(kind, piece, one) or busy or left < -1e-9:
                continue
            group = 0 if inside[number] or not one.new else 2 if one.column is None else 1
            if (group, left) < best_rank:
                best, best_rank = number, (group, left)
        if best is not None:
            inside[best].append(piece)
            served[piece.row] = served.get(piece.row, 0) + 1
    cost = sum(one.cost for one, held in zip(bins, inside, strict=True) if held)
    for row, load in enumerate(kind.loads):
        need = 2 if load.area_m2 > kind.new_capacity_m2 else 1
        cost += rules.left_out_cost * load.weight if served.get(row, 0) < need else 0.0
    return cost


def least_cost(kind: TypeToPlan, rules: PlanRules) -> float:
    """Cost of the best of all layouts, by trying them; a set to buy is only opened after those before it."""
    pieces = pieces_of(kind)
    bins = bins_of(kind, len(pieces), rules)
    first_buy = len(kind.sets)
    best = INF

    def cost_of(inside: dict[int, list[Piece]]) -> float:
        total = 0.0
        for number, held in inside.items():
            total += bins[number].cost
            wet = None if number >= first_buy else kind.sets[number].wet_until_h
            if wet is not None and min(p.load.start_h for p in held) <= wet:
                total -= rules.wet_bonus
        for row, load in enumerate(kind.loads):
            need = 2 if load.area_m2 > kind.new_capacity_m2 else 1
            got = [n for n, held in inside.items() for p in held if p.row == row]
            done = len(got) == need
            if done and need == 2 and kind.pair_chance is not None:
                names = [kind.sets[n].set_id if n < first_buy else None for n in got]
                before = sum(p.area for n in got for p in inside[n] if p.load.end_h + p.load.turn_h <= load.start_h)
                done = kind.pair_chance(names[0], names[1], load.area_m2 + before) >= rules.finish_limit - 1e-9
            total += 0.0 if done else rules.left_out_cost * load.weight
        return total

    def go(at: int, inside: dict[int, list[Piece]]) -> None:
        nonlocal best
        if at == len(pieces):
            best = min(best, cost_of(inside))
            return
        piece = pieces[at]
        go(at + 1, inside)
        for number, one in enumerate(bins):
            held = inside.get(number, [])
            free = sum(p.area for p in held) + piece.area <= one.capacity + 1e-9
            if may(kind, piece, one) and free and not any(overlap(p.load, piece.load) for p in held):
                go(at + 1, {**inside, number: [*held, piece]})
            if number >= first_buy and number not in inside:
                break

    go(0, {})
    return best


@dataclass(frozen=True)
class Bound:
    """What the linear programme found in its time: its best cost, and a cost nothing can go below."""

    cost: float
    bound: float


def programme(kind: TypeToPlan, rules: PlanRules, to_buy: int, seconds: float) -> Bound:
    """HiGHS through scipy on the same choice: x[piece, bin], bin used, load left out; no wet bonus, no pair chance.

    to_buy: sets to buy it may use: as many as some known layout's cost pays for are enough.
    """
    pieces = pieces_of(kind)
    bins = bins_of(kind, to_buy, rules)
    able = [(p, b) for p, piece in enumerate(pieces) for b, one in enumerate(bins) if may(kind, piece, one)]
    x, y, z = len(able), len(bins), len(kind.loads)
    cost = np.array([0.0] * x + [one.cost for one in bins] + [rules.left_out_cost * one.weight for one in kind.loads])
    rows: list[dict[int, float]] = []
    low: list[float] = []
    high: list[float] = []

    def row(terms: dict[int, float], at_least: float, at_most: float) -> None:
        rows.append(terms)
        low.append(at_least)
        high.append(at_most)

    for p, piece in enumerate(pieces):  # in one bin, or its load is left out
        row({**{k: 1.0 for k, (q, _) in enumerate(able) if q == p}, x + y + piece.row: 1.0}, 1.0, INF)
        row({k: 1.0 for k, (q, _) in enumerate(able) if q == p}, 0.0, 1.0)
    for b, one in enumerate(bins):
        mine = {p: k for k, (p, c) in enumerate(able) if c == b}
        row({**{k: pieces[p].area for p, k in mine.items()}, x + b: -one.capacity}, -INF, 1e-9)
        for p in mine:  # all that are busy when piece p starts: one of them at most
            now = pieces[p].load.start_h
            at_once = [q for q in mine if pieces[q].load.start_h <= now < pieces[q].load.end_h + pieces[q].load.turn_h]
            row({**{mine[q]: 1.0 for q in at_once}, x + b: -1.0}, -INF, 0.0)
        if b > len(kind.sets):  # sets to buy are alike: opened one after the other
            row({x + b - 1: 1.0, x + b: -1.0}, 0.0, INF)
    matrix = sparse.lil_array((len(rows), x + y + z))
    for n, terms in enumerate(rows):
        for k, factor in terms.items():
            matrix[n, k] = factor
    found = optimize.milp(
        cost,
        integrality=np.ones(x + y + z),
        bounds=optimize.Bounds(0, 1),
        constraints=optimize.LinearConstraint(matrix.tocsr(), low, high),
        options={"time_limit": seconds, "mip_rel_gap": 1e-6},
    )
    return Bound(INF if found.fun is None else float(found.fun), float(found.mip_dual_bound))
