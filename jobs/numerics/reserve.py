"""Which set for which load of which step, over all planned work at once (METHODS 3).

`reserve` plans anew, or keeps what is and changes little; `consequence` says what a change by hand would do;
`standing` says of every set how it stands to a load. Areas are reference areas [m2], times hours from one instant.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

from jobs.numerics.dice import Key, number_of
from jobs.numerics.reserve_board import Board, is_leftover, lay_out
from jobs.numerics.reserve_keep import (
    as_it_is,
    bins_of_loads,
    leftovers_first,
    move_few,
    numbered_by_use,
    placed_around,
)
from jobs.numerics.reserve_layout import Layout
from jobs.numerics.reserve_reasons import Reason, Trouble, WhyNone, reason_of, troubles_of, why_none
from jobs.numerics.reserve_rounds import best_layout, dice_of
from jobs.numerics.reserve_task import HAIR, LoadToPlan, PlanRules, Seat, SetToPlan, ToBuy, TypeToPlan, check, in_order

__all__ = [
    "Change",
    "Choice",
    "Consequence",
    "Effect",
    "LoadToPlan",
    "Plan",
    "PlanRules",
    "Reason",
    "Seat",
    "SetStanding",
    "SetToPlan",
    "ToBuy",
    "Trouble",
    "TypeToPlan",
    "WhyNone",
    "consequence",
    "reserve",
    "standing",
    "with_present",
]

MOST_CHANGES = 2  # other choices that one change may move, DESIGN 4


@dataclass(frozen=True)
class Choice:
    """What a load runs on.

    seats: none, one, or first and second. reason: why. why_none: where there is none. troubles: what is wrong with what
    a person fixed. was: what it ran on before, as it was told.
    """

    load_id: Key
    type_id: Key
    seats: tuple[Seat, ...]
    reason: Reason
    why_none: WhyNone | None
    troubles: tuple[Trouble, ...]
    was: tuple[Seat, ...]

    @property
    def changed(self) -> bool:
        """Whether it ran on something and now runs on something else, or in another order."""
        return bool(self.was) and self.seats != self.was


@dataclass(frozen=True)
class Plan:
    """A reservation of all loads.

    choices: by type, then by load, in the order of their keys. costs: by type METHODS 3's objective without what moving
    costs (no unit; leftovers put first cost nothing). to_buy: sets to be bought, by type.
    """

    choices: tuple[Choice, ...]
    costs: dict[Key, float]
    to_buy: dict[Key, int]
    types: tuple[TypeToPlan, ...] = field(repr=False)
    rules: PlanRules = field(repr=False)
    seed: int = field(repr=False)

    @property
    def cost(self) -> float:
        """The cost of all types."""
        return sum(self.costs.values())

    def choice(self, load_id: Key) -> Choice:
        """The choice for a load. Raises: ValueError when it is not in the plan."""
        for one in self.choices:
            if one.load_id == load_id:
                return one
        raise ValueError(f"`load_id` must be in the plan; got {load_id}.")


class Effect(StrEnum):
    """What a change does to another load."""

    LOSES = "loses"  # it has no set any more
    WORSE = "worse"  # a fresh set, one to buy or two instead of what is in service
    OTHER = "other"  # another set that surely finishes as well
    BETTER = "better"  # a set where there was none, or none to be opened any more


@dataclass(frozen=True)
class Change:
    """Another load that a change by hand touches."""

    load_id: Key
    before: tuple[Seat, ...]
    after: tuple[Seat, ...]
    effect: Effect


@dataclass(frozen=True)
class Consequence:
    """What happens when a person puts a set on a load.

    seats: what the load then runs on. troubles: what is wrong with it. changes: the other loads that get something
    else. extra_cost: change of the plan's cost. plan: the plan as it would be, of this type alone.
    """

    load_id: Key
    seats: tuple[Seat, ...]
    troubles: tuple[Trouble, ...]
    changes: tuple[Change, ...]
    extra_cost: float
    plan: Plan = field(repr=False)


@dataclass(frozen=True)
class SetStanding:
    """How a set stands to a load.

    troubles: why it would not do alone. ousts: the loads that have it at that time, or whose share of it is needed, few
    of them; is_free: it would do and ousts none. spare_m2: sure area it keeps beside all that stays on it, below 0 when
    short. is_wet: still wet from a job called off when the load starts.
    """

    set_id: Key
    troubles: tuple[Trouble, ...]
    ousts: tuple[Key, ...]
    spare_m2: float
    is_free: bool
    is_leftover: bool
    is_wet: bool


def reserve(
    types: Sequence[TypeToPlan],
    rules: PlanRules | None = None,
    *,
    seed: int = 0,
    most_changes: int | None = None,
) -> Plan:
    """Reserve sets for all loads of all tool types.

    types: each with its sets and loads, in any order. seed: the shop's stored integer. most_changes: None plans anew,
    each choice moved costs `moved_cost`; a number keeps what is: of the loads that ran on something and still can, at
    most so many get something else, over all types; new ones, and those whose sets cannot do it any more, are laid
    around them. What a person locked stays in both, and is reported where it does not fit.
    Returns: a Plan. Deterministic: same input, same plan; the order of sets, loads and types does not matter.
    Raises: ValueError naming the parameter.
    Limits: a load takes two sets at most. Sets that stand behind a locked one are never bought for it. A leftover put
    first is run to its end and gets nothing else in the plan; the sure set behind it is charged the whole area.
    Source: METHODS 3; wet bonus, weights, and the chance of two sets with what each does before (all earlier area of
    both is counted as done by both together, which is on the careful side): our assumptions.
    """
    rules = rules or PlanRules()
    check(types, rules, seed, most_changes)
    ordered = sorted((in_order(kind) for kind in types), key=lambda kind: number_of(kind.type_id))
    boards = [lay_out(kind, rules, keep_fronts=most_changes is not None) for kind in ordered]
    dice = [dice_of(seed, number_of(kind.type_id)) for kind in ordered]
    layouts: list[Layout] = []
    kept: list[int] = []
    for board, own in zip(boards, dice, strict=True):
        layout, stays = as_it_is(board)
        if stays or most_changes is not None:
            layout = placed_around(board, layout, stays, rules.placing_rounds, own)
        if most_changes is None:
            layout, stays = best_layout(board, [layout] if stays else [], rules.rounds, own), 0
        layouts.append(layout)
        kept.append(stays)
    left = 0
    if most_changes is None:
        layouts = [numbered_by_use(layout) for layout in layouts]
    else:
        left = move_few(layouts, kept, most_changes)
    choices: list[Choice] = []
    for layout, stays in zip(layouts, kept, strict=True):
        fronts, spent = leftovers_first(layout, stays, left)
        left -= spent
        choices += _choices(layout, fronts)
    costs = {layout.board.kind.type_id: layout.bare_cost() for layout in layouts}
    return Plan(tuple(choices), costs, _to_buy(choices), tuple(ordered), rules, seed)


def with_present(types: Sequence[TypeToPlan], plan: Plan) -> tuple[TypeToPlan, ...]:
    """The same types with what each load runs on by a plan as what it runs on now; loads new to it stay as they are."""
    seats = {choice.load_id: choice.seats for choice in plan.choices}
    return tuple(
        replace(
            kind,
            loads=tuple(replace(load, present=seats.get(load.load_id, load.present)) for load in kind.loads),
        )
        for kind in types
    )


def consequence(
    plan: Plan, load_id: Key, set_id: Key, *, in_place_of: Key | None = None, most_changes: int = MOST_CHANGES
) -> Consequence:
    """What happens when a person puts a set on a load: exactly what `reserve` does once it is locked there.

    in_place_of: which of two sets goes; None: the only one, or the second. A set that does not surely finish goes
    first, the one that was there stays behind it. Other loads of the tool type are kept but for `most_changes`, and for
    those that want the set.
    Raises: ValueError naming the parameter: a load that is not in the plan, a set that is not of its type.
    """
    kind = next((k for k in plan.types if any(load.load_id == load_id for load in k.loads)), None)
    if kind is None:
        raise ValueError(f"`load_id` must be in the plan; got {load_id}.")
    one = next((one for one in kind.sets if one.set_id == set_id), None)
    if one is None:
        raise ValueError(f"`set_id` must be a set of type {kind.type_id}; got {set_id}.")
    before = {choice.load_id: choice for choice in plan.choices if choice.type_id == kind.type_id}
    now = before[load_id].seats
    if in_place_of is not None and in_place_of not in now:
        raise ValueError(f"`in_place_of` must be what load {load_id} runs on; got {in_place_of}.")
    load = next(load for load in kind.loads if load.load_id == load_id)
    present, locked = _taken_by_hand(kind, load, one, now, in_place_of)
    (told,) = with_present([kind], plan)
    loads = tuple(
        replace(other, present=present, locked=locked) if other.load_id == load_id else other for other in told.loads
    )
    after = reserve([replace(told, loads=loads)], plan.rules, seed=plan.seed, most_changes=most_changes)
    changes = tuple(
        Change(
            choice.load_id, before[choice.load_id].seats, choice.seats, _effect(kind, before[choice.load_id], choice)
        )
        for choice in after.choices
        if choice.load_id != load_id and choice.seats != before[choice.load_id].seats
    )
    mine = after.choice(load_id)
    extra = after.cost - plan.costs[kind.type_id]
    return Consequence(load_id, mine.seats, mine.troubles, changes, extra, after)


def standing(plan: Plan, load_id: Key) -> tuple[SetStanding, ...]:
    """How each set of the type stands to a load, the free ones first, then by what stays in it.

    Raises: ValueError when the load is not in the plan.
    """
    kind = next((k for k in plan.types if any(load.load_id == load_id for load in k.loads)), None)
    if kind is None:
        raise ValueError(f"`load_id` must be in the plan; got {load_id}.")
    row = next(n for n, load in enumerate(kind.loads) if load.load_id == load_id)
    load = kind.loads[row]
    on: dict[Key, list[LoadToPlan]] = {one.set_id: [] for one in kind.sets}
    by_id = {other.load_id: other for other in kind.loads}
    for choice in plan.choices:
        for seat in choice.seats:
            if not isinstance(seat, ToBuy) and seat in on and choice.load_id != load_id:
                on[seat].append(by_id[choice.load_id])
    found = []
    for column, one in enumerate(kind.sets):
        ousted = [o for o in on[one.set_id] if o.start_h < load.until_h and load.start_h < o.until_h]
        staying = [o for o in on[one.set_id] if o not in ousted]
        spare = one.capacity_m2 - load.area_m2 - sum(_share(kind, o) for o in staying)
        # The smallest that makes room, else the largest first: few are ousted.
        while spare < -HAIR and staying and load.area_m2 <= one.capacity_m2 + HAIR:
            enough = [o for o in staying if _share(kind, o) >= -spare - HAIR]
            goes = min(enough or staying, key=lambda o: (_share(kind, o) * (1 if enough else -1), number_of(o.load_id)))
            staying.remove(goes)
            ousted.append(goes)
            spare += _share(kind, goes)
        troubles = []
        if kind.fits is not None and not kind.fits[row, column]:
            troubles.append(Trouble.NO_FIT)
        if one.ready_h > load.start_h:
            troubles.append(Trouble.NOT_READY)
        if one.capacity_m2 < load.area_m2 - HAIR:
            troubles.append(Trouble.SHORT)
        found.append(
            SetStanding(
                one.set_id,
                tuple(troubles),
                tuple(sorted((o.load_id for o in ousted), key=number_of)),
                spare,
                not troubles and not ousted,
                is_leftover(kind, column, plan.rules),
                one.wet_until_h is not None and one.wet_until_h >= load.start_h,
            )
        )
    return tuple(sorted(found, key=lambda s: (not s.is_free, bool(s.troubles), abs(s.spare_m2), number_of(s.set_id))))


def _share(kind: TypeToPlan, load: LoadToPlan) -> float:
    return load.area_m2 if load.area_m2 <= kind.new_capacity_m2 + HAIR else load.area_m2 / 2


def _taken_by_hand(
    kind: TypeToPlan, load: LoadToPlan, one: SetToPlan, now: tuple[Seat, ...], in_place_of: Key | None
) -> tuple[tuple[Seat, ...], tuple[Key, ...]]:
    """What the load is then told to run on, and which of it a person chose."""
    goes = in_place_of if in_place_of is not None else (now[-1] if now else None)
    stays = [seat for seat in now if seat not in (goes, one.set_id)]
    two = load.area_m2 > kind.new_capacity_m2 + HAIR
    if not two and one.capacity_m2 < load.area_m2 - HAIR:
        behind = [seat for seat in now[-1:] if seat != one.set_id]
        stays = behind
    present: tuple[Seat, ...] = (one.set_id, *stays[:1])
    if not two and one.capacity_m2 >= load.area_m2 - HAIR:
        present = (*stays[:1], one.set_id)
    locked = tuple(key for key in load.locked if key in present and key != one.set_id)
    return present, (one.set_id, *locked)


def _effect(kind: TypeToPlan, before: Choice, after: Choice) -> Effect:
    fresh = {one.set_id for one in kind.sets if one.is_fresh}

    def burden(choice: Choice) -> tuple[int, int, int]:
        new = sum(isinstance(seat, ToBuy) or seat in fresh for seat in choice.seats)
        return (not choice.seats, new, len(choice.seats) if choice.reason != Reason.LEFTOVER_FIRST else 1)

    if not after.seats:
        return Effect.LOSES
    if burden(after) == burden(before):
        return Effect.OTHER
    return Effect.WORSE if burden(after) > burden(before) else Effect.BETTER


def _choices(layout: Layout, fronts: dict[int, int]) -> list[Choice]:
    board: Board = layout.board
    out = []
    for n, bins in enumerate(bins_of_loads(layout, fronts)):
        load = board.kind.loads[n]
        gone = [key for key in load.present if key in load.locked]
        named = [board.seat_of(i) if i >= 0 else None for i in bins]
        # A locked set that is not here keeps the name it was told by.
        missing = iter([key for key in gone if key not in named])
        seats = tuple(name if name is not None else next(missing) for name in named)
        why = why_none(layout, n) if not bins else None
        troubles = troubles_of(layout, n, bins)
        out.append(
            Choice(
                load.load_id, board.kind.type_id, seats, reason_of(layout, n, bins, fronts), why, troubles, load.present
            )
        )
    return out


def _to_buy(choices: Sequence[Choice]) -> dict[Key, int]:
    numbers: dict[Key, set[int]] = {}
    for choice in choices:
        for seat in choice.seats:
            if isinstance(seat, ToBuy):
                numbers.setdefault(choice.type_id, set()).add(seat.number)
    return {key: len(found) for key, found in numbers.items()}
