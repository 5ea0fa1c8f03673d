"""A layout of items in bins that can be tried and taken back, and the three ways to fill bins (METHODS 3)."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence

import numpy as np

from jobs.numerics.reserve_board import FRONT, OUT, Board, bits
from jobs.numerics.reserve_task import HAIR

GRID = 512  # steps of a bin's capacity in the knapsack; areas are rounded up, so that no bin is overfilled
_SMALL = 6  # so many items or fewer are searched whole, exactly


class Layout:
    """Which item lies in which bin. `begin`, then `put` and `lift`, then `gain`, then nothing or `undo`."""

    def __init__(self, board: Board, bins: Sequence[int] | None = None) -> None:
        self.board = board
        self.bin = [item.bin for item in board.items] if bins is None else list(bins)
        self.content = [0] * len(board.capacity)
        self.used = [0.0] * len(board.capacity)
        self._bins: dict[int, tuple[int, float]] = {}
        self._items: dict[int, int] = {}
        for k, i in enumerate(self.bin):
            if i >= 0:
                self.content[i] |= 1 << k
        for i in range(len(self.content)):
            self._weigh(i)
        self._pair_cost = self.pair_cost()

    def put(self, k: int, i: int) -> None:
        """Lay item k into bin i."""
        self._remember(k, i)
        self.bin[k] = i
        self.content[i] |= 1 << k
        self._weigh(i)

    def lift(self, k: int) -> None:
        """Take item k out of its bin."""
        i = self.bin[k]
        self._remember(k, i)
        self.bin[k] = OUT
        self.content[i] &= ~(1 << k)
        self._weigh(i)

    def empty(self, i: int) -> int:
        """Take all that is not fixed out of bin i; it comes back."""
        out = self.content[i] & ~self.board.fixed
        self._bins.setdefault(i, (self.content[i], self.used[i]))
        for k in bits(out):
            self._items.setdefault(k, i)
            self.bin[k] = OUT
        self.content[i] &= self.board.fixed
        self._weigh(i)
        return out

    def has_room(self, k: int, i: int) -> bool:
        """Whether item k may go into bin i beside what lies there."""
        board = self.board
        return (
            bool(board.allowed[i] >> k & 1)
            and not self.content[i] & board.clash[k]
            and self.used[i] + board.area[k] <= board.capacity[i] + HAIR
        )

    def begin(self) -> None:
        """Start a try: what is done from here on can be undone."""
        self._bins.clear()
        self._items.clear()
        if self.board.pairs:
            self._pair_cost = self.pair_cost()

    def gain(self) -> float:
        """Cost now less cost at `begin`."""
        board = self.board
        change = 0.0
        for i, (before, _) in self._bins.items():
            change += board.bin_cost(i, self.content[i]) - board.bin_cost(i, before)
        for k, was in self._items.items():
            change += board.item_cost(k, self.bin[k]) - board.item_cost(k, was)
        return change + (self.pair_cost() - self._pair_cost if board.pairs else 0.0)

    def breaks_a_pair(self) -> bool:
        """Whether since `begin` a load has lost that two sets do it together."""
        return bool(self.board.pairs) and self.pair_cost() > self._pair_cost + HAIR

    def undo(self) -> None:
        """Take everything back to `begin`."""
        for i, (content, used) in self._bins.items():
            self.content[i], self.used[i] = content, used
        for k, was in self._items.items():
            self.bin[k] = was

    def touched(self) -> int:
        """The items that lie elsewhere than at `begin`."""
        return sum(1 << k for k, was in self._items.items() if self.bin[k] != was)

    def cost(self) -> float:
        """What the layout costs: METHODS 3's objective, without the bins that fixed items use anyway."""
        board = self.board
        bins = sum(board.bin_cost(i, content) for i, content in enumerate(self.content))
        items = sum(board.item_cost(k, i) for k, i in enumerate(self.bin) if not board.items[k].is_fixed)
        return bins + items + self.pair_cost()

    def bare_cost(self) -> float:
        """The cost with the bins that fixed items use, and without that of moving; leftovers put first cost nothing."""
        board = self.board
        front = sum(1 << k for k, item in enumerate(board.items) if item.part == FRONT)
        bins = sum(board.opened(i, content & ~front) for i, content in enumerate(self.content))
        return bins + sum(board.missing[k] for k, i in enumerate(self.bin) if i == OUT) + self.pair_cost()

    def pair_cost(self) -> float:
        """What loads in two halves cost that are not done by two sets together."""
        return sum(
            self.board.rules.left_out_cost * self.board.weight[pair[0]]
            for load, pair in self.board.pairs.items()
            if not self.pair_done(load)
        )

    def pair_done(self, load: int) -> bool:
        """Whether both halves lie in bins that do the load together, what they do earlier counted as done first."""
        board = self.board
        pair = board.pairs[load]
        one, other = self.bin[pair[0]], self.bin[pair[1]]
        if one < 0 or other < 0:
            return False
        begin = board.start[pair[0]]
        earlier = [k for i in (one, other) for k in bits(self.content[i]) if board.until[k] <= begin]
        return board.two_do(one, other, board.kind.loads[load].area_m2 + sum(board.area[k] for k in earlier))

    def out(self) -> int:
        """The items that have no bin."""
        return sum(1 << k for k, i in enumerate(self.bin) if i == OUT)

    def places(self, k: int) -> list[int]:
        """Bins worth a look for item k: its sets, bins to buy in use and the first that is not."""
        news = []
        for i in range(self.board.sets, len(self.content)):
            news.append(i)
            if not self.content[i]:
                break
        return self.board.choices[k] + news

    def insert(self, k: int, limit: float) -> bool:
        """Lay item k where it costs least, then where least room stays; not where it costs more than `limit`."""
        board = self.board
        best = (limit, math.inf, OUT)
        contents, used, capacity = self.content, self.used, board.capacity
        clash, area = board.clash[k], board.area[k] - HAIR
        for i in self.places(k):
            content = contents[i]
            if content & clash or used[i] + area > capacity[i] or not board.allowed[i] >> k & 1:
                continue
            cost = board.bin_cost(i, content | 1 << k) - board.bin_cost(i, content) + board.item_cost(k, i)
            best = min(best, (cost, board.capacity[i] - self.used[i], i))
        if best[2] != OUT:
            self.put(k, best[2])
        return best[2] != OUT

    def fill(self, i: int, pool: int, value: Sequence[float]) -> int:
        """Lay into bin i those items of the pool that have the highest value together; they come back."""
        board = self.board
        open_to = pool & board.allowed[i]
        if not open_to:
            return 0
        room = board.capacity[i] - self.used[i] + HAIR
        for k in bits(self.content[i]):
            open_to &= ~board.clash[k]
        able = [k for k in bits(open_to) if board.area[k] <= room]
        if not able:
            return 0
        stay = board.rules.moved_cost
        worth = [value[k] + stay if i in board.home[k] else value[k] for k in able]
        taken = _best_few(board, able, room, worth) if len(able) <= _SMALL else _best_many(board, able, room, worth)
        for k in bits(taken):
            self.bin[k] = i
            self._items.setdefault(k, OUT)
        if taken:
            self._bins.setdefault(i, (self.content[i], self.used[i]))
            self.content[i] |= taken
            self._weigh(i)
        return taken

    def _weigh(self, i: int) -> None:
        # Summed anew each time: sums that are added to and taken from drift, and the same plan must stay the same.
        total, mask, area = 0.0, self.content[i], self.board.area
        while mask:
            low = mask & -mask
            total += area[low.bit_length() - 1]
            mask ^= low
        self.used[i] = total

    def _remember(self, k: int, i: int) -> None:
        self._items.setdefault(k, self.bin[k])
        self._bins.setdefault(i, (self.content[i], self.used[i]))


def _best_few(board: Board, able: list[int], room: float, worth: Sequence[float]) -> int:
    """The most valuable items that fit one bin, by trying all."""
    sets = [(0.0, 0, 0, 0.0)]  # value, items, what clashes with them, area
    best, chosen = 0.0, 0
    for k, own in zip(able, worth, strict=True):
        for total, items, clash, area in list(sets):
            if clash >> k & 1 or area + board.area[k] > room:
                continue
            more = (total + own, items | 1 << k, clash | board.clash[k], area + board.area[k])
            sets.append(more)
            if more[0] > best:
                best, chosen = more[0], more[1]
    return chosen


def _best_many(board: Board, able: list[int], room: float, worth: Sequence[float]) -> int:
    """The most valuable items that fit one bin: a knapsack over time, areas rounded up to a grid.

    f[j+1, g] = max(f[j, g], f[pred(j), g - w_j] + v_j), pred(j) = how many items have left when j starts.
    """
    ends = [board.until[k] for k in able]
    before = [bisect_right(ends, board.start[k], 0, n) for n, k in enumerate(able)]
    weight = [max(1, math.ceil(board.area[k] * GRID / room - HAIR)) for k in able]
    table = np.zeros((len(able) + 1, GRID + 1))
    rows = list(table)
    for n, w in enumerate(weight):
        row = rows[n + 1]
        row[w:] = rows[before[n]][: GRID + 1 - w]
        row[w:] += worth[n]
        np.maximum(row, rows[n], out=row)
    chosen, n, g = 0, len(able), GRID
    while n:
        if table[n, g] > table[n - 1, g]:
            chosen |= 1 << able[n - 1]
            g -= weight[n - 1]
            n = before[n - 1]
        else:
            n -= 1
    # What the rounding kept out.
    area = sum(board.area[k] for k in bits(chosen))
    for k in able:
        if not (chosen >> k & 1 or chosen & board.clash[k]) and area + board.area[k] <= room:
            chosen |= 1 << k
            area += board.area[k]
    return chosen


def values_of(board: Board) -> list[float]:
    """What laying an item down is worth when one bin is filled: new sets' worth of area, and staying at home."""
    new = board.kind.new_capacity_m2
    return [area / new * weight for area, weight in zip(board.area, board.weight, strict=True)]
