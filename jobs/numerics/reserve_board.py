"""The reservation of one tool type as items and bins (METHODS 3): what may go where, and what a layout costs.

An item is what takes room in one bin for one stretch of time: a load, half of a load too large for one set, or what a
person fixed. A bin is a set, or one to buy. Items stand in the order in which they leave their bin; sets of items are
bits of a whole number, bit k for item k, since most questions ("does anything here overlap?") are then one operation.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

from jobs.numerics.reserve_task import HAIR, PlanRules, Seat, ToBuy, TypeToPlan

OUT = -1  # the bin of an item that has none
GONE = -2  # the bin of an item fixed on a set that is not here
WHOLE, HALF, BEHIND, FIXED, FRONT = "whole", "half", "behind", "fixed", "front"


@dataclass(frozen=True)
class Item:
    """load: its place among the loads. home: bins it is on now. bin: where a person or an older plan fixed it."""

    load: int
    part: str
    area_m2: float
    start_h: float
    until_h: float
    home: frozenset[int] = frozenset()
    bin: int = OUT

    @property
    def is_fixed(self) -> bool:
        """Whether no plan moves it."""
        return self.part in (FIXED, FRONT)


def bits(mask: int) -> Iterator[int]:
    """The places of the ones in a whole number, rising."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


@dataclass
class Board:
    """Items and bins of one type. The first `sets` bins are its sets, those behind them are to buy.

    clash: per item the items that overlap it in time. allowed: per bin the items that may go there, other items left
    aside. choices: per item the sets it may go to, cheapest first. pairs: loads cut in two halves, as their items.
    """

    kind: TypeToPlan
    rules: PlanRules
    items: list[Item]
    sets: int
    capacity: list[float]
    opening: list[float]
    is_new: list[bool]
    wet_until: list[float]
    clash: list[int]
    allowed: list[int]
    choices: list[list[int]]
    pairs: dict[int, tuple[int, int]]
    fixed: int
    pair_memory: dict[tuple[int, int, float], bool] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.area = [item.area_m2 for item in self.items]
        self.start = [item.start_h for item in self.items]
        self.until = [item.until_h for item in self.items]
        self.weight = [self.kind.loads[item.load].weight for item in self.items]
        self.home = [item.home for item in self.items]
        self.paired = sum(1 << k for pair in self.pairs.values() for k in pair)
        # A half left out costs nothing by itself: its load does, in `pair_cost`.
        self.missing = [
            0.0 if self.paired >> k & 1 else self.rules.left_out_cost * self.weight[k] for k in range(len(self.items))
        ]

    def bin_cost(self, i: int, content: int) -> float:
        """What using bin i with these items costs; nothing where a fixed item uses it anyway."""
        return 0.0 if content & self.fixed else self.opened(i, content)

    def opened(self, i: int, content: int) -> float:
        """What using bin i with these items costs, whoever put them there."""
        if not content:
            return 0.0
        if self.wet_until[i] > -math.inf and min(self.start[k] for k in bits(content)) <= self.wet_until[i]:
            return self.opening[i] - self.rules.wet_bonus
        return self.opening[i]

    def item_cost(self, k: int, i: int) -> float:
        """What item k in bin i costs beside the bin."""
        moved = self.rules.moved_cost if self.home[k] and i not in self.home[k] else 0.0
        return moved + (self.missing[k] if i == OUT else 0.0)

    def two_do(self, one: int, other: int, area_m2: float) -> bool:
        """Whether the sets of two bins do an area together with the limit."""
        if self.kind.pair_chance is None:
            return True
        key = (min(one, other), max(one, other), round(area_m2, 6))
        if key not in self.pair_memory:
            names = [self.kind.sets[i].set_id if i < self.sets else None for i in key[:2]]
            chance = self.kind.pair_chance(names[0], names[1], area_m2)
            self.pair_memory[key] = chance >= self.rules.finish_limit - HAIR
        return self.pair_memory[key]

    def seat_of(self, i: int) -> Seat:
        """The name of a bin."""
        return self.kind.sets[i].set_id if i < self.sets else ToBuy(i - self.sets + 1)


def lay_out(kind: TypeToPlan, rules: PlanRules, keep_fronts: bool) -> Board:
    """Cut the loads of a type, in the order of their keys, into items, and say what may go where.

    keep_fronts: leftovers that go first now stay so, as fixed items (they are run to their end: nothing else goes on
    them); else they are free like any set.
    """
    place: dict[Seat, int] = {one.set_id: i for i, one in enumerate(kind.sets)}
    numbers = [seat.number for load in kind.loads for seat in load.present if isinstance(seat, ToBuy)]
    free = sum(2 if load.area_m2 > kind.new_capacity_m2 else 1 for load in kind.loads)
    to_buy = 0 if math.isinf(kind.buy_ready_h) and kind.buy_ready_h > 0 else free
    to_buy = max([to_buy, *numbers])
    for number in range(1, to_buy + 1):
        place[ToBuy(number)] = len(kind.sets) + number - 1
    items = [item for n in range(len(kind.loads)) for item in _cut(kind, rules, n, place, keep_fronts)]
    items.sort(key=lambda item: (item.until_h, item.load))
    m = len(kind.sets)
    news = range(to_buy)
    fresh = rules.fresh_cost
    worn = [rules.worn_cost + rules.worn_share_cost * one.capacity_m2 / kind.new_capacity_m2 for one in kind.sets]
    pairs: dict[int, tuple[int, int]] = {}
    for n in range(len(kind.loads)):
        halves = [k for k, item in enumerate(items) if item.load == n and item.part in (HALF, FIXED)]
        if kind.loads[n].area_m2 > kind.new_capacity_m2 and any(not items[k].is_fixed for k in halves):
            pairs[n] = (halves[0], halves[1])
    board = Board(
        kind=kind,
        rules=rules,
        items=items,
        sets=m,
        capacity=[one.capacity_m2 for one in kind.sets] + [kind.new_capacity_m2 for _ in news],
        opening=[fresh if one.is_fresh else cost for one, cost in zip(kind.sets, worn, strict=True)]
        + [rules.bought_cost for _ in news],
        is_new=[one.is_fresh for one in kind.sets] + [True for _ in news],
        wet_until=[-math.inf if one.wet_until_h is None else one.wet_until_h for one in kind.sets]
        + [-math.inf for _ in news],
        clash=[_bits_where(items, k) for k in range(len(items))],
        allowed=[sum(1 << k for k, item in enumerate(items) if _may(kind, item, i)) for i in range(m + to_buy)],
        choices=[],
        pairs=pairs,
        fixed=sum(1 << k for k, item in enumerate(items) if item.is_fixed),
    )
    cheap = sorted(range(m), key=lambda i: (board.opening[i], board.capacity[i], i))
    board.choices = [[i for i in cheap if board.allowed[i] >> k & 1] for k in range(len(items))]
    return board


def is_leftover(kind: TypeToPlan, i: int, rules: PlanRules) -> bool:
    """Whether a set does half its rating with less than the leftover limit (DESIGN 2)."""
    one = kind.sets[i]
    return not one.is_fresh and one.half_rating_chance < rules.leftover_limit - HAIR


def _cut(kind: TypeToPlan, rules: PlanRules, n: int, place: dict[Seat, int], keep_fronts: bool) -> list[Item]:
    """The items of one load."""
    load = kind.loads[n]
    span = (load.start_h, load.until_h)
    bins = [place.get(seat, GONE) for seat in load.present]
    locked = [place.get(seat, GONE) for seat in load.present if seat in load.locked]
    home = frozenset(i for i in bins if i >= 0)
    if load.area_m2 > kind.new_capacity_m2 + HAIR:
        half = load.area_m2 / 2
        if kind.pair_chance is not None:
            # Two sets do more together than twice what each does surely; whether they do, the chance decides.
            half = min(half, kind.new_capacity_m2)
        kept = [Item(n, FIXED, half, *span, bin=i) for i in locked]
        home -= set(locked)
        return kept + [Item(n, HALF, half, *span, home=home) for _ in range(2 - len(kept))]

    def room(i: int) -> float:
        return kind.sets[i].capacity_m2 if 0 <= i < len(kind.sets) else load.area_m2

    if len(locked) == 2:
        # Whoever goes first is run as far as it goes; the one behind must be good for the whole.
        return [
            Item(n, FIXED, min(load.area_m2, room(locked[0])), *span, bin=locked[0]),
            Item(n, FIXED, load.area_m2, *span, bin=locked[1]),
        ]
    if locked:
        (own,) = locked
        others = home - {own}
        kept = [Item(n, FIXED, min(load.area_m2, room(own)), *span, bin=own)]
        if own != GONE and room(own) < load.area_m2 - HAIR:
            return [*kept, Item(n, BEHIND, load.area_m2, *span, home=others)]
        return kept + _front(kind, rules, n, others, keep_fronts)
    main = frozenset(i for i in bins[-1:] if i >= 0)
    return [Item(n, WHOLE, load.area_m2, *span, home=main), *_front(kind, rules, n, home - main, keep_fronts)]


def _front(kind: TypeToPlan, rules: PlanRules, n: int, bins: frozenset[int], keep: bool) -> list[Item]:
    """The leftover that goes first of two now, if it still can."""
    load = kind.loads[n]
    fits = kind.fits
    return [
        Item(n, FRONT, max(kind.sets[i].capacity_m2, HAIR), load.start_h, load.until_h, bin=i)
        for i in bins
        if keep
        and i < len(kind.sets)
        and is_leftover(kind, i, rules)
        and kind.sets[i].ready_h <= load.start_h
        and (fits is None or fits[n, i])
    ]


def _bits_where(items: list[Item], k: int) -> int:
    """The items that overlap item k in time."""
    one = items[k]
    return sum(
        1 << j for j, item in enumerate(items) if j != k and item.start_h < one.until_h and one.start_h < item.until_h
    )


def _may(kind: TypeToPlan, item: Item, i: int) -> bool:
    """Whether an item may go into a bin, all other items left aside."""
    if item.is_fixed:
        return False
    if i < len(kind.sets):
        one = kind.sets[i]
        there = one.ready_h <= item.start_h and item.area_m2 <= one.capacity_m2 + HAIR
        return there and (kind.fits is None or bool(kind.fits[item.load, i]))
    if item.part == BEHIND or item.start_h < kind.buy_ready_h:
        return False  # what stands behind a person's own choice is never bought for it
    return item.area_m2 <= kind.new_capacity_m2 + HAIR and (kind.new_fits is None or bool(kind.new_fits[item.load]))
