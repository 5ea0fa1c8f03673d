"""A layout made from nothing and bettered by ruin and recreate, in a fixed count of rounds (METHODS 3)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from jobs.numerics.dice import Purpose
from jobs.numerics.reserve_board import OUT, Board, bits
from jobs.numerics.reserve_layout import Layout, values_of
from jobs.numerics.reserve_moves import better_by_moves

_EMPTIED = (2, 6)  # bins emptied a round
_NEW_LIKELIER = 3.0
_BY_NEED = 0.25  # share of rounds that fill by what leaving an item out costs, not by area: our choice
_BUYS = 0.1  # share of rounds that try one more set to buy
_SPREAD = 0.1  # of the values a round fills by, log SD


def best_layout(board: Board, starts: Sequence[Layout], rounds: int, dice: np.random.Generator) -> Layout:
    """The best layout found: from the given starts, two fills and greedy best fit, then ruin and recreate.

    Never dearer than any start, nor than greedy best fit.
    """
    best = cheapest([*starts, filled(board, False), filled(board, True), greedy(board)])
    ruin_and_recreate(best, rounds, dice)
    better_by_moves(best)
    drop_what_is_not_worth_it(best)
    return best


def dice_of(seed: int, type_number: int) -> np.random.Generator:
    """The dice of one type: they depend on the seed and the type's number alone."""
    stream = np.random.SeedSequence(entropy=seed, spawn_key=(int(Purpose.RESERVE), type_number))
    return np.random.Generator(np.random.PCG64(stream))


def cheapest(layouts: Sequence[Layout]) -> Layout:
    """The first of the cheapest."""
    return min(layouts, key=lambda layout: round(layout.cost(), 9))


def filled(board: Board, richest_first: bool, bins: Sequence[int] | None = None) -> Layout:
    """Fill part-worn sets one after the other, then fresh ones, then sets to buy. bins: where items lie already."""
    layout = Layout(board, bins)
    value = values_of(board)
    order = sorted(
        range(len(board.capacity)),
        key=lambda i: (board.is_new[i], i >= board.sets, -board.capacity[i] if richest_first else board.capacity[i], i),
    )
    pool = layout.out()
    for i in order:
        if not pool:
            break
        pool &= ~layout.fill(i, pool, value)
    return layout


def greedy(board: Board, bins: Sequence[int] | None = None) -> Layout:
    """Best fit in the order of time: the set in service, or opened already, where least room stays; else a new one."""
    layout = Layout(board, bins)
    for k in sorted(bits(layout.out()), key=lambda k: (board.start[k], board.items[k].load)):
        fitting = [
            (
                board.is_new[i] and not layout.content[i],
                i >= board.sets and not layout.content[i],
                board.capacity[i] - layout.used[i],
                i,
            )
            for i in layout.places(k)
            if layout.has_room(k, i)
        ]
        if fitting:
            layout.put(k, min(fitting)[3])
    return layout


def ruin_and_recreate(layout: Layout, rounds: int, dice: np.random.Generator) -> None:
    """Empty a few bins, refill them and one or two idle ones in random order; keep what is no dearer."""
    board = layout.board
    free = ~board.fixed
    if not layout.board.items or (not any(content & free for content in layout.content) and not layout.out()):
        return
    lift_half_done(layout)
    by_area, by_need = np.asarray(values_of(board)), np.array([left_out(board, k) for k in range(len(board.items))])
    bins = len(board.capacity)
    for _ in range(rounds):
        used = [i for i in range(bins) if layout.content[i] & free]
        throw = dice.random(bins + 4).tolist()
        layout.begin()
        pool = layout.out()
        base = by_need if pool and throw[-4] < _BY_NEED else by_area
        value = (base * np.exp(_SPREAD * dice.standard_normal(base.size))).tolist()
        count = _EMPTIED[0] + int(throw[-1] * (_EMPTIED[1] - _EMPTIED[0] + 1))
        # The largest of u^(1/w) are a draw without replacement with weights w.
        emptied = sorted(used, key=lambda i: -(throw[i] ** (1 / _NEW_LIKELIER) if board.is_new[i] else throw[i]))
        chosen = emptied[:count]
        for i in chosen:
            pool |= layout.empty(i)
        idle = [i for i in range(board.sets) if not layout.content[i] and board.allowed[i] & pool and i not in chosen]
        if throw[-4] > 1 - _BUYS:
            idle = [i for i in range(board.sets, bins) if not layout.content[i] and i not in chosen][:1]
        for u in throw[-3:-1]:
            if idle:
                chosen.append(idle.pop(int(u * len(idle))))
        shuffled = np.argsort(dice.random(len(chosen)), kind="stable").tolist()
        for n in shuffled:
            if not pool:
                break
            pool &= ~layout.fill(chosen[n], pool, value)
        for i in chosen:
            content = layout.content[i] & free
            if content == layout.content[i] and board.opening[i] > sum(left_out(board, k) for k in bits(content)):
                pool |= layout.empty(i)  # not worth opening
        if board.pairs:
            pool |= lift_half_done(layout)
        insert_all(layout, pool)
        if layout.gain() > 1e-9:
            layout.undo()


def left_out(board: Board, k: int) -> float:
    """What it costs to leave item k out, a half counted as half its load."""
    share = 0.5 if board.paired >> k & 1 else 1.0
    moved = board.rules.moved_cost if board.home[k] else 0.0
    return share * board.rules.left_out_cost * board.weight[k] + moved


def insert_all(layout: Layout, pool: int) -> None:
    """Lay items where each costs least, the largest first; both halves of a load, or none."""
    board = layout.board
    for k in sorted(bits(pool), key=lambda k: (-board.area[k], k)):
        if layout.bin[k] == OUT:
            load = board.items[k].load
            halves = [j for j in board.pairs.get(load, (k,)) if layout.bin[j] == OUT]
            laid = [j for j in halves if layout.insert(j, left_out(board, j))]
            if load in board.pairs and not layout.pair_done(load):
                for j in laid:
                    layout.lift(j)


def lift_half_done(layout: Layout) -> int:
    """Take out the halves of loads that are not done by two sets together; they come back."""
    board = layout.board
    lifted = 0
    for load, pair in board.pairs.items():
        if not layout.pair_done(load):
            for k in pair:
                if layout.bin[k] != OUT and not board.fixed >> k & 1:
                    layout.lift(k)
                    lifted |= 1 << k
    return lifted


def drop_what_is_not_worth_it(layout: Layout) -> None:
    """Take out half-done loads, and empty bins that cost more than what lies in them."""
    board = layout.board
    lift_half_done(layout)
    for content in list(layout.content):
        if content and not content & (board.fixed | board.paired):
            layout.begin()
            for k in bits(content):
                layout.lift(k)
            if layout.gain() > -1e-9:
                layout.undo()
