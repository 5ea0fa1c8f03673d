"""Moves that change few choices: an item takes the place of one or two others, which go elsewhere."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from jobs.numerics.reserve_board import OUT, Board, bits
from jobs.numerics.reserve_layout import Layout
from jobs.numerics.reserve_task import HAIR

_MOST_OUSTED = 2


@dataclass(frozen=True)
class Move:
    """Item `item` into bin `bin`, out of which the items `ousted` go. gain: change of cost, below 0."""

    gain: float
    item: int
    bin: int
    ousted: int


def better_by_moves(layout: Layout) -> None:
    """Make the best moves until none helps."""
    while (move := best_move(layout, 0, math.inf)) is not None:
        make(layout, move)


def best_move(layout: Layout, kept: int, most: float) -> Move | None:
    """The move that saves most, of items that are left out or lie alone in new sets; None when none saves anything.

    kept: items of which at most `most` may be moved.
    """
    board = layout.board
    still = board.fixed | board.paired  # halves of a pair stay: their other half would have to agree
    best: Move | None = None
    for k in range(len(board.items)):
        i = layout.bin[k]
        # Something is only saved where a load gets a set, or a new set need not be opened.
        if still >> k & 1 or not (i == OUT or (board.is_new[i] and layout.content[i] == 1 << k)):
            continue
        own = kept >> k & 1
        if own > most:
            continue
        for target in layout.places(k):
            if target == i or not board.allowed[target] >> k & 1:
                continue
            for ousted in _ousted(layout, k, target, still):
                if own + (ousted & kept).bit_count() > most:
                    continue
                gain = _try(layout, Move(0.0, k, target, ousted))
                broken = layout.breaks_a_pair()
                layout.undo()
                if gain < -1e-6 and not broken and (best is None or gain < best.gain - 1e-9):
                    best = Move(gain, k, target, ousted)
    return best


def make(layout: Layout, move: Move) -> int:
    """Make a move; the items that lie elsewhere afterwards come back."""
    _try(layout, move)
    return layout.touched()


def _ousted(layout: Layout, k: int, i: int, still: int) -> Iterator[int]:
    """Sets of at most two items without which item k has room in bin i."""
    board = layout.board
    content = layout.content[i]
    must = content & board.clash[k]
    if must & still or must.bit_count() > _MOST_OUSTED:
        return
    missing = layout.used[i] + board.area[k] - board.capacity[i] - sum(board.area[j] for j in bits(must)) - HAIR
    if missing <= 0:
        yield must
        return
    others = list(bits(content & ~must & ~still))
    for n in range(1, _MOST_OUSTED + 1 - must.bit_count()):
        for few in combinations(others, n):
            if sum(board.area[j] for j in few) >= missing:
                yield must | sum(1 << j for j in few)


def _try(layout: Layout, move: Move) -> float:
    """Make a move and say what it changes of the cost."""
    board = layout.board
    layout.begin()
    if layout.bin[move.item] != OUT:
        layout.lift(move.item)
    for j in bits(move.ousted):
        layout.lift(j)
    layout.put(move.item, move.bin)
    for j in sorted(bits(move.ousted), key=lambda j: (-board.area[j], j)):
        layout.insert(j, _left_out(board, j))
    return layout.gain()


def _left_out(board: Board, k: int) -> float:
    return board.rules.left_out_cost * board.weight[k] + (board.rules.moved_cost if board.home[k] else 0.0)
