"""Advice on a set at its end: retire it, run it out, or put two leftovers together. Pure; chances are asked for.

The rules are METHODS 1.2 (retire) and 3 (leftovers): *yes goes alone; a set short of yes goes first of two with a yes
behind it, or waits for a smaller step*.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

WORN, TOO_LITTLE, RUN_OUT, PAIR, TONIGHT = "worn", "too_little", "run_out", "pair", "tonight"
RETIRES = (WORN, TOO_LITTLE)


@dataclass(frozen=True)
class Limits:
    """The shop's settings that advice goes by: finish_limit, leftover_limit as chances; retire_area_m2 [m2]."""

    finish_limit: float
    leftover_limit: float
    retire_area_m2: float


@dataclass(frozen=True)
class Standing:
    """How one set stands. lowest_mm: its lowest height, None if never read; retire_mm: of its type, None if none.

    small: chance that it does `retire_area_m2`; half: that it does half its rating (None: its type has no rating of
    its own kind to go by); steps: chance that it finishes each planned step of its type, in the order of the steps.
    """

    set_id: UUID
    lowest_mm: float | None
    retire_mm: float | None
    small: float | None = None
    half: float | None = None
    steps: tuple[float, ...] = ()

    def leftover(self, limits: Limits) -> bool:
        """Whether it finishes half its rating with less than an even chance (setting)."""
        return self.half is not None and self.half < limits.leftover_limit


@dataclass(frozen=True)
class Advice:
    """What to do with one set. kind: WORN and TOO_LITTLE retire it; RUN_OUT; PAIR; TONIGHT: the
    page of tonight offers it for a step.

    step: place of the planned step among those of its type, None without one; other: the set to go with (PAIR: a
    leftover; RUN_OUT: a sure one behind it), None if none is known; chance: that the two finish the step.
    """

    kind: str
    set_id: UUID
    step: int | None = None
    other: UUID | None = None
    chance: float | None = None
    planned: bool = False


def retire_advice(one: Standing, limits: Limits) -> Advice | None:
    """Whether a set should retire: worn by its height, or it does hardly anything and no planned step surely."""
    if one.lowest_mm is not None and one.retire_mm is not None and one.lowest_mm <= one.retire_mm:
        return Advice(WORN, one.set_id)
    finishes = any(chance >= limits.finish_limit for chance in one.steps)
    if one.small is not None and one.small < 0.5 and not finishes:
        return Advice(TOO_LITTLE, one.set_id, planned=bool(one.steps))
    return None


def pairs_of(
    chances: Mapping[tuple[int, UUID, UUID], float], alone: Mapping[UUID, Sequence[float]], limits: Limits
) -> list[Advice]:
    """Two leftovers for one step: the soonest steps first, of a step the pair that is surest; each set and step once.

    chances: that two sets together finish a step, by (its place, first, other); alone: of each set by itself. Only
    where neither does it alone at the shop's limit, and both together do.
    """
    found: list[Advice] = []
    used: set[UUID] = set()
    steps: set[int] = set()
    for (step, first, other), chance in sorted(chances.items(), key=lambda one: (one[0][0], -one[1], str(one[0][1:]))):
        if step in steps or {first, other} & used or chance < limits.finish_limit:
            continue
        if max(alone[first][step], alone[other][step]) >= limits.finish_limit:
            continue
        steps.add(step)
        used |= {first, other}
        # The one with less goes first and is run to its end.
        if alone[first][step] > alone[other][step]:
            first, other = other, first
        found += [Advice(PAIR, first, step, other, chance), Advice(PAIR, other, step, first, chance)]
    return found


def run_outs(
    left: Sequence[Standing], behind: Mapping[int, tuple[UUID, Mapping[UUID, float]]], limits: Limits
) -> list[Advice]:
    """Leftovers to run to their end first, one to a step, with a sure set behind; the others wait for a step.

    behind: by step, the sure set and the chance that each leftover before it and it together finish the step. Of a step
    the leftover goes that does most of it. A leftover that does every planned step alone needs no advice.
    """
    waiting = {one.set_id: one for one in left if not one.steps or min(one.steps) < limits.finish_limit}
    found = []
    for step, (other, together) in sorted(behind.items()):
        able = [one for pk, one in waiting.items() if pk in together and one.steps[step] < limits.finish_limit]
        if able:
            one = max(able, key=lambda one: (one.steps[step], str(one.set_id)))
            del waiting[one.set_id]
            found.append(Advice(RUN_OUT, one.set_id, step, other, together[one.set_id]))
    return found + [Advice(RUN_OUT, pk) for pk in waiting]
