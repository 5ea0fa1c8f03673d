"""Plans that keep what is: present choices first, new loads around them, few others moved; leftovers put first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from jobs.numerics.reserve_board import BEHIND, FRONT, HALF, OUT, WHOLE, Board, bits, is_leftover
from jobs.numerics.reserve_layout import Layout
from jobs.numerics.reserve_moves import Move, best_move, make
from jobs.numerics.reserve_rounds import (
    cheapest,
    drop_what_is_not_worth_it,
    filled,
    greedy,
    ruin_and_recreate,
)
from jobs.numerics.reserve_task import HAIR


def as_it_is(board: Board) -> tuple[Layout, int]:
    """Lay every item where it is now, as far as that is still possible; the items so kept come back as well.

    Where not all fit any more, as many as can stay do.
    """
    layout = Layout(board)
    wanted: dict[int, int] = {}
    taken: dict[int, list[int]] = {}
    for k, item in enumerate(board.items):
        homes = sorted(item.home - set(taken.get(item.load, [])))
        if homes:
            taken.setdefault(item.load, []).append(homes[0])
            wanted[homes[0]] = wanted.get(homes[0], 0) | 1 << k
    # Twice: a pair that loses one half gives the other one's room back.
    for _ in range(2):
        for i, items in sorted(wanted.items()):
            _keep(layout, i, items & layout.out())
        for load, pair in board.pairs.items():
            if not layout.pair_done(load):
                for k in pair:
                    if layout.bin[k] != OUT and not board.items[k].is_fixed:
                        layout.lift(k)
                    wanted = {i: items & ~(1 << k) for i, items in wanted.items()}
    return layout, sum(1 << k for k, i in enumerate(layout.bin) if i >= 0) & ~board.fixed


def _keep(layout: Layout, i: int, items: int) -> None:
    board = layout.board
    for k in bits(items):
        if layout.has_room(k, i):
            layout.put(k, i)
    if items & ~layout.content[i]:  # not all of them: then as many as can stay, the weightier first
        layout.begin()
        for k in bits(items & layout.content[i]):
            layout.lift(k)
        layout.fill(i, items, [1.0 + weight / 1024 for weight in board.weight])


def placed_around(board: Board, layout: Layout, kept: int, rounds: int, dice: np.random.Generator) -> Layout:
    """Lay the items that have no bin around the kept ones, which stay."""
    if not layout.out():
        return layout
    held = replace(board, fixed=board.fixed | kept)
    best = cheapest(
        [filled(held, False, layout.bin), filled(held, True, layout.bin), greedy(held, layout.bin)],
    )
    ruin_and_recreate(best, rounds, dice)
    drop_what_is_not_worth_it(best)
    # A pair that stays must not lose its chance to new work that goes before it on one of its sets.
    for load, pair in board.pairs.items():
        if all((kept | board.fixed) >> k & 1 for k in pair) and not best.pair_done(load):
            for i in {best.bin[k] for k in pair if best.bin[k] >= 0}:
                best.empty(i)
    return Layout(board, best.bin)


def move_few(layouts: Sequence[Layout], kept: Sequence[int], most: int) -> int:
    """Make the best moves over all types that move at most `most` kept items; what is left of them comes back."""
    moves: dict[int, Move | None] = {n: best_move(layout, kept[n], most) for n, layout in enumerate(layouts)}
    while helpful := [(move.gain, n, move) for n, move in moves.items() if move is not None]:
        _, n, move = min(helpful, key=lambda one: one[:2])
        spent = (make(layouts[n], move) & kept[n]).bit_count()
        most -= spent
        for other in moves if spent else (n,):
            moves[other] = best_move(layouts[other], kept[other], most)
    return most


def leftovers_first(layout: Layout, kept: int, most: float) -> tuple[dict[int, int], int]:
    """Put idle leftovers first on loads that a sure set does, the poorest first: bins by load, and changes made.

    Each goes where it goes now; else to the earliest load as long as what it likely does, so that it runs to its end;
    else to the longest. Not before a leftover, nor before a person's own choice. kept: items whose loads are changed at
    most `most` times by it.
    """
    board, kind = layout.board, layout.board.kind
    fronts = {item.load: item.bin for item in board.items if item.part == FRONT}
    spent = 0
    idle = [i for i in range(board.sets) if not layout.content[i] and is_leftover(kind, i, board.rules)]
    for i in sorted(idle, key=lambda i: (board.capacity[i], i)):
        one = kind.sets[i]
        if max(one.capacity_m2, one.likely_m2) <= 0:
            continue
        best: tuple[tuple[bool, bool, float, float, int], int] | None = None
        for k, item in enumerate(board.items):
            main, load = layout.bin[k], kind.loads[item.load]
            if item.part != WHOLE or main < 0 or item.load in fronts or load.locked:
                continue
            if main < board.sets and is_leftover(kind, main, board.rules):
                continue
            if one.ready_h > load.start_h or not (kind.fits is None or kind.fits[item.load, i]):
                continue
            if kept >> k & 1 and spent + 1 > most:
                continue
            here = len(load.present) == 2 and load.present[0] == one.set_id
            long = load.area_m2 >= one.likely_m2 - HAIR
            rank = (not here, not long, load.start_h if long else -load.area_m2, load.start_h, k)
            if best is None or rank < best[0]:
                best = (rank, k)
        if best is not None:
            k = best[1]
            fronts[board.items[k].load] = i
            spent += kept >> k & 1
    return fronts, spent


def numbered_by_use(layout: Layout) -> Layout:
    """The same layout with the sets to buy numbered in the order in which they are first needed."""
    board = layout.board
    used = [i for i in range(board.sets, len(board.capacity)) if layout.content[i]]
    if any(i >= board.sets for home in board.home for i in home):
        return layout  # somebody knows them by number
    used.sort(key=lambda i: (min(board.start[k] for k in bits(layout.content[i])), i))
    number = {i: board.sets + n for n, i in enumerate(used)}
    return Layout(board, [number.get(i, i) for i in layout.bin])


def bins_of_loads(layout: Layout, fronts: dict[int, int]) -> list[tuple[int, ...]]:
    """The bins of each load in the order of use; none where nothing does it and nobody chose anything.

    Of two halves the one in the poorer set goes first, unless the load runs on both already.
    """
    board = layout.board
    out: list[tuple[int, ...]] = []
    for n, load in enumerate(board.kind.loads):
        mine = [(item, layout.bin[k]) for k, item in enumerate(board.items) if item.load == n and item.part != FRONT]
        own = [i for item, i in mine if item.is_fixed]
        rest = [i for item, i in mine if not item.is_fixed and i >= 0]
        if n in board.pairs and not layout.pair_done(n):
            rest = []
        if any(item.part in (HALF, BEHIND, WHOLE) for item, _ in mine) and not rest and not own:
            out.append(())
            continue
        if any(item.part == HALF for item, _ in mine):
            bins = sorted([*own, *rest], key=lambda i: (board.capacity[i] if i >= 0 else 0.0, i))
            now = {load.present[0]: 0, load.present[-1]: 1} if len(load.present) == 2 else {}
            if all(i >= 0 and board.seat_of(i) in now for i in bins):
                bins.sort(key=lambda i: now[board.seat_of(i)])
            out.append(tuple(bins))
        else:
            front = [fronts[n]] if n in fronts else []
            out.append((*front, *own, *rest))
    return out
