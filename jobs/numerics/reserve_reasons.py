"""Why a load runs on what it runs on, why one has nothing, and what is wrong with what a person fixed (METHODS 3)."""

from __future__ import annotations

from enum import StrEnum

from jobs.numerics.reserve_board import FIXED, GONE, HALF, WHOLE, Board, Item, bits
from jobs.numerics.reserve_layout import Layout
from jobs.numerics.reserve_task import HAIR, LoadToPlan


class Reason(StrEnum):
    """Why a load runs on what it runs on."""

    SMALLEST = "smallest"  # the smallest free set that surely finishes
    ONLY_READY = "only_ready"  # the others that would finish are not ready in time
    YOUR_CHOICE = "your_choice"
    KEPT = "kept"  # as it was
    SHARES = "shares"  # goes on with a set that other work uses anyway
    TOGETHER = "together"  # best for all work together
    FRESH = "fresh"  # no part-worn one is free that finishes
    LEFTOVER_FIRST = "leftover_first"  # a leftover is run to its end, a sure set behind it
    TWO_SETS = "two_sets"  # one is not enough
    WET_ALREADY = "wet_already"
    TO_BUY = "to_buy"  # none is free
    NONE = "none"  # none does it: see WhyNone


class WhyNone(StrEnum):
    """Why a load has no set; the first of these that is so."""

    TOO_LARGE = "too_large"  # even two new sets would not finish
    NO_FIT = "no_fit"  # no set of the type fits the machine
    NOT_READY = "not_ready"  # none that fits is ready in time, nor can one be had by then
    SHORT = "short"  # none that is ready surely finishes
    TAKEN = "taken"  # all that would do are with other work then
    UNLIKELY = "unlikely"  # a set would have to be opened for work of little weight


class Trouble(StrEnum):
    """What is wrong with a set that a person fixed on a load; it is kept all the same."""

    GONE = "gone"  # not among the sets
    NO_FIT = "no_fit"
    NOT_READY = "not_ready"
    SHORT = "short"  # does not surely finish, and nothing stands behind it
    CLASH = "clash"  # fixed on other work at the same time


def reason_of(layout: Layout, n: int, bins: tuple[int, ...], fronts: dict[int, int]) -> Reason:
    """Why load n runs on these bins."""
    board = layout.board
    if board.kind.loads[n].locked:
        return Reason.YOUR_CHOICE
    if not bins:
        return Reason.NONE
    if any(i >= board.sets for i in bins):
        return Reason.TO_BUY
    if n in fronts:
        return Reason.LEFTOVER_FIRST
    if len(bins) == 2:
        return Reason.TWO_SETS
    (i,) = bins
    k = next(k for k, item in enumerate(board.items) if item.load == n and item.part == WHOLE)
    if board.wet_until[i] >= board.start[k]:
        return Reason.WET_ALREADY
    able = board.choices[k]
    if able == [i] and any(_would_do(board, board.items[k], other) for other in range(board.sets) if other != i):
        return Reason.ONLY_READY
    used = layout.used[i] - board.area[k]
    free = [j for j in able if j != i and layout.has_room(k, j)]
    if board.is_new[i]:
        if not any(not board.is_new[j] for j in free):
            return Reason.FRESH
    elif all(board.is_new[j] or board.capacity[j] - layout.used[j] >= board.capacity[i] - used - HAIR for j in free):
        return Reason.SMALLEST
    if layout.content[i] != 1 << k:
        return Reason.SHARES
    return Reason.KEPT if i in board.home[k] else Reason.TOGETHER


def why_none(layout: Layout, n: int) -> WhyNone:
    """Why load n, which nobody fixed, has nothing."""
    board, kind = layout.board, layout.board.kind
    load = kind.loads[n]
    k = next(k for k, item in enumerate(board.items) if item.load == n and item.part in (WHOLE, HALF))
    area = board.area[k]
    new = board.sets  # the first bin to buy, were there one
    if k in [half for pair in board.pairs.values() for half in pair] and (
        area > kind.new_capacity_m2 + HAIR or not board.two_do(new, new + 1, load.area_m2)
    ):
        return WhyNone.TOO_LARGE
    fitting = [i for i in range(board.sets) if kind.fits is None or kind.fits[n, i]]
    new_fits = kind.new_fits is None or bool(kind.new_fits[n])
    if not fitting and not new_fits:
        return WhyNone.NO_FIT
    ready = [i for i in fitting if kind.sets[i].ready_h <= load.start_h]
    in_time = new_fits and kind.buy_ready_h <= load.start_h
    if not ready and not in_time:
        return WhyNone.NOT_READY
    able = [i for i in ready if area <= kind.sets[i].capacity_m2 + HAIR]
    if not able and not in_time:
        return WhyNone.SHORT
    little = board.rules.left_out_cost * load.weight < max(board.rules.fresh_cost, board.rules.bought_cost)
    return WhyNone.UNLIKELY if little and any(layout.has_room(k, i) for i in layout.places(k)) else WhyNone.TAKEN


def troubles_of(layout: Layout, n: int, bins: tuple[int, ...]) -> tuple[Trouble, ...]:
    """What is wrong with the sets a person fixed on load n."""
    board, kind = layout.board, layout.board.kind
    load = kind.loads[n]
    found = set()
    fixed = [(k, item) for k, item in enumerate(board.items) if item.load == n and item.part == FIXED]
    for k, item in fixed:
        i = item.bin
        if i == GONE:
            found.add(Trouble.GONE)
            continue
        if kind.fits is not None and not kind.fits[n, i]:
            found.add(Trouble.NO_FIT)
        if kind.sets[i].ready_h > load.start_h:
            found.add(Trouble.NOT_READY)
        others = [j for j in bits(layout.content[i]) if j != k and board.fixed >> j & 1]
        if any(board.clash[k] >> j & 1 for j in others):
            found.add(Trouble.CLASH)
        before = sum(board.area[j] for j in others if (board.start[j], j) < (board.start[k], k))
        covered = len(bins) == 2 and i != bins[-1] and load.area_m2 <= kind.new_capacity_m2 + HAIR
        if before + item.area_m2 > board.capacity[i] + HAIR and not covered:
            found.add(Trouble.SHORT)
    if fixed and all(item.bin != GONE for _, item in fixed) and _short(board, load, bins):
        found.add(Trouble.SHORT)
    return tuple(sorted(found))


def _short(board: Board, load: LoadToPlan, bins: tuple[int, ...]) -> bool:
    """Whether a load that a person fixed is not surely finished by what it runs on."""
    if len(bins) == 1:
        return board.capacity[bins[0]] < load.area_m2 - HAIR
    if load.area_m2 > board.kind.new_capacity_m2 + HAIR:
        halves = board.kind.pair_chance is None and min(board.capacity[i] for i in bins) < load.area_m2 / 2 - HAIR
        return halves or not board.two_do(bins[0], bins[1], load.area_m2)
    if board.kind.pair_chance is not None:
        return not board.two_do(bins[0], bins[1], load.area_m2)
    return max(board.capacity[i] for i in bins) < load.area_m2 - HAIR


def _would_do(board: Board, item: Item, i: int) -> bool:
    """Whether a set fits and finishes, ready or not."""
    fits = board.kind.fits is None or bool(board.kind.fits[item.load, i])
    return fits and item.area_m2 <= board.capacity[i] + HAIR
