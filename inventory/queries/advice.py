"""Which sets are at their end, and what to do with them: the rules of inventory.wear_advice on what is on record."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from uuid import UUID

from django.db.models import F, Q

from inventory import estimate, hooks
from inventory.hooks import NamedTonight, PlannedStep
from inventory.models import Branch, SetState
from inventory.models.choices import Fitness, PlaceKind
from inventory.queries.wet_in_time import wet_in_time
from inventory.shop_settings import settings_of
from inventory.times import zone_of
from inventory.wear_advice import (
    RETIRES,
    TONIGHT,
    WORN,
    Advice,
    Limits,
    Standing,
    pairs_of,
    retire_advice,
    run_outs,
)

# Of one tool type so many leftovers, sure sets behind them and steps are looked at together: bounds the work of a page.
_LEFTOVERS, _SURE, _STEPS, _TRIED = 8, 3, 4, 2


@dataclass(frozen=True)
class Advised:
    """One set's advice with what it names: the step, the other set, and which of them must be in water by when."""

    state: SetState
    advice: Advice
    step: PlannedStep | None = None
    other: SetState | None = None
    small_m2: float = 0.0
    water: tuple[tuple[SetState, datetime], ...] = ()
    tonight: NamedTonight | None = None


@dataclass(frozen=True)
class _Asked:
    """What leftovers are asked for. may(set, step): by when the set must be in water for the step; None: it cannot go.

    named: what the page of tonight says of sets; used: sets with a use of their own.
    """

    limits: Limits
    may: Callable[[UUID, PlannedStep], tuple[datetime | None] | None]
    named: Mapping[UUID, NamedTonight]
    used: Collection[UUID]


def advice_on(branch: Branch, now: datetime, *, only: SetState | None = None) -> list[Advised]:
    """Advice on every set in use at a branch, or on one: what retires, then leftovers, the soonest step first.

    Twenty queries and those of the plans, whatever the number of sets.

    Nothing is asked of the plans where no set is near its end. Sets that are out or missing are left out, and leftovers
    that are set aside. Two leftovers, or one with a set behind it, are named for a step only where they can be wet
    through by then and have no other use, and no two are meant for it
    already. A step of tonight is left to the page of tonight, and what that page names.
    """
    settings = settings_of(branch, today=now.astimezone(zone_of(branch)).date())
    limits = Limits(settings["finish_limit"], settings["leftover_limit"], settings["retire_area_m2"])
    lives = estimate.all_lives(settings, [only.tool_set.tool_type] if only is not None else None)
    near = _near_end(branch, lives, limits, only)
    if not near:
        return []
    of_type: dict[int, list[SetState]] = {}
    for state in near.values():
        of_type.setdefault(state.tool_set.tool_type_id, []).append(state)
    steps: dict[int, list[PlannedStep]] = {pk: [] for pk in of_type}
    for step in hooks.planned_steps(branch, now, list(of_type)) or []:
        if step.tonight or sum(not one.tonight for one in steps[step.tool_type_id]) < _STEPS:
            steps[step.tool_type_id].append(step)
    meant = {pk for some in steps.values() for step in some for pk in step.sets}
    behind = _behind(branch, lives, of_type, near, meant)
    every = [*near.values(), *(state for some in behind.values() for state in some)]
    records = estimate.records(settings, sets={state.pk for state in every})
    uses = hooks.next_use([state.pk for state in every], now)
    tonight = any(step.tonight for some in steps.values() for step in some)
    named = hooks.named_tonight(branch, now) if tonight else {}
    planned = [state for state in every if steps[state.tool_set.tool_type_id]]
    wet = wet_in_time(planned, branch, now) if planned else None

    @cache
    def able(pk: UUID, step: PlannedStep) -> tuple[datetime | None] | None:
        busy = pk in named or (pk in uses and pk not in step.sets)
        if step.tonight or busy or wet is None or len(step.sets) > 1:
            return None
        in_time, by = wet.of(pk, step)
        return (by,) if in_time else None

    asked = _Asked(limits, able, named, uses)
    answers: list[Advised] = []
    for type_id, some in of_type.items():
        answers += _of_type(records.get(type_id), some, behind.get(type_id, []), steps[type_id], asked)
    found = [one for one in answers if only is None or one.state.pk == only.pk]
    return sorted(found, key=_order)


def _order(one: Advised) -> tuple[int, float, str]:
    if one.advice.kind in RETIRES:
        return 0, 0.0, one.state.code
    if one.step is not None:
        return 2, one.step.starts_at.timestamp(), one.state.code
    return (1 if one.advice.kind == TONIGHT else 3), 0.0, one.state.code


def _here(branch: Branch) -> Q:
    ours = Q(branch=branch, main_id=F("tool_set_id"), outing__isnull=True)
    return ours & ~Q(place__kind=PlaceKind.UNKNOWN) & ~Q(fitness=Fitness.RETIRED) & ~Q(opening="")


def _near_end(
    branch: Branch, lives: Mapping[UUID, estimate.SetLife], limits: Limits, only: SetState | None
) -> dict[UUID, SetState]:
    """Sets that may be at their end by what is kept of them: low by height, or about a leftover, least life first."""
    states = SetState.objects.filter(_here(branch)).select_related("tool_set__tool_type", "place")
    if only is not None:
        states = states.filter(tool_set__tool_type=only.tool_set.tool_type)
    rating = F("tool_set__tool_type__rated_coverage_m2")
    low = Q(lowest_height_mm__lte=F("tool_set__tool_type__retire_height_mm"))
    # A set whose likely life is well above half its rating does half of it with more than an even chance.
    states = states.filter(
        low
        | Q(tool_set__life__likely_m2__lt=0.65 * rating)
        | Q(tool_set__life__likely_m2__lt=4 * limits.retire_area_m2)
    )
    every = states.order_by("tool_set__life__likely_m2", "pk")
    found = {state.pk: state for state in every if state.pk in lives or _low(state)}
    return found if only is None or only.pk in found else {}


def _low(state: SetState) -> bool:
    """Whether its lowest height says that it is worn."""
    low, retire_mm = state.lowest_height_mm, state.tool_set.tool_type.retire_height_mm
    return low is not None and retire_mm is not None and low <= retire_mm


def _behind(
    branch: Branch,
    lives: Mapping[UUID, estimate.SetLife],
    of_type: Mapping[int, object],
    near: Collection[UUID],
    meant: Collection[UUID],
) -> dict[int, list[SetState]]:
    """Sets with life enough to go behind a leftover: those meant for a step, and of each type those with least life."""
    states = SetState.objects.filter(_here(branch), tool_set__tool_type_id__in=list(of_type), fitness=Fitness.USABLE)
    found: dict[int, list[SetState]] = {pk: [] for pk in of_type}
    ordered = states.exclude(pk__in=list(near)).select_related("tool_set__tool_type", "place")
    for state in ordered.order_by("tool_set__life__at_least_m2", "pk"):
        some = found[state.tool_set.tool_type_id]
        if state.pk in lives and (len(some) < _SURE or state.pk in meant):
            some.append(state)
    return found


def _of_type(
    record: estimate.TypeRecord | None,
    near: Sequence[SetState],
    behind: Sequence[SetState],
    steps: Sequence[PlannedStep],
    asked: _Asked,
) -> list[Advised]:
    """Advice on the sets of one tool type."""
    if record is None:  # nothing can be said of its life: only its height can end it
        return [Advised(state, Advice(WORN, state.pk)) for state in near if _low(state)]
    limits = asked.limits
    states = {state.pk: state for state in [*near, *behind] if state.pk in record.rows}
    usable = {pk for pk, state in states.items() if state.fitness == Fitness.USABLE}
    areas = [step.reference_m2 for step in steps]
    alone = {pk: [0.0] * len(areas) for pk in states}
    for place, area in enumerate(areas):
        for pk, chance in estimate.chances_to_finish({0: record}, dict.fromkeys(states, area)).items():
            alone[pk][place] = chance
    small = estimate.chances_to_finish({0: record}, dict.fromkeys(states, limits.retire_area_m2))
    half = estimate.chances_to_finish({0: record}, dict.fromkeys(states, record.rated_m2 / 2))
    standing = {
        state.pk: Standing(
            state.pk,
            state.lowest_height_mm,
            state.tool_set.tool_type.retire_height_mm,
            small.get(state.pk),
            half.get(state.pk),
            tuple(alone[state.pk]),
        )
        for state in near
        if state.pk in states
    }
    ends = [advice for one in standing.values() if (advice := retire_advice(one, limits)) is not None]
    # What tonight counts on does not retire before: but by its height it is worn.
    found = [one for one in ends if one.kind == WORN or one.set_id not in asked.named]
    ended = {advice.set_id for advice in ends}
    left = [one for pk, one in standing.items() if pk in usable - ended and one.leftover(limits)]
    offers = [one.set_id for one in left if one.set_id in asked.named and asked.named[one.set_id].offered]
    found += [Advice(TONIGHT, pk) for pk in offers]
    left = [one for one in left if one.set_id not in asked.named]
    pairs = pairs_of(_chances(record, left[-_LEFTOVERS:], steps, asked), alone, limits)
    found += pairs
    done, taken = {advice.set_id for advice in pairs}, {advice.step for advice in pairs}
    rest = [one for one in left if one.set_id not in done]
    sure = [state.pk for state in behind if state.pk in states]
    go_behind: dict[int, tuple[UUID, Mapping[UUID, float]]] = {}
    gone: set[UUID] = set()
    for place, step in enumerate(steps if rest else ()):
        # The set meant for the step goes behind if it is sure.
        able = [pk for pk in sure if alone[pk][place] >= limits.finish_limit and pk not in gone]
        able = [pk for pk in able if asked.may(pk, step) is not None]
        meant = [pk for pk in able if pk in step.sets]
        others = [one.set_id for one in rest if asked.may(one.set_id, step) is not None]
        if able and others and place not in taken:
            other = (meant or able)[0]
            gone.add(other)
            go_behind[place] = other, estimate.chances_with(record, other, others, step.reference_m2)
    # A set with a use of its own waits for none.
    runs = run_outs(rest, go_behind, limits)
    found += [one for one in runs if one.step is not None or one.set_id not in asked.used]
    return [_advised(advice, states, steps, asked) for advice in found]


def _advised(advice: Advice, states: Mapping[UUID, SetState], steps: Sequence[PlannedStep], asked: _Asked) -> Advised:
    """One set's advice with the rows it names."""
    step = steps[advice.step] if advice.step is not None else None
    mine = [pk for pk in (advice.set_id, advice.other) if pk is not None]
    dry = [(pk, may[0]) for pk in mine if step is not None and (may := asked.may(pk, step)) is not None]
    return Advised(
        states[advice.set_id],
        advice,
        step,
        states.get(advice.other) if advice.other is not None else None,
        asked.limits.retire_area_m2,
        tuple((states[pk], by) for pk, by in dry if by is not None),
        asked.named.get(advice.set_id) if advice.kind == TONIGHT else None,
    )


def _chances(
    record: estimate.TypeRecord, left: Sequence[Standing], steps: Sequence[PlannedStep], asked: _Asked
) -> dict[tuple[int, UUID, UUID], float]:
    """The chance that two leftovers together finish a step, by (step, first, other).

    Of a step only the two with least life that may come to it by what is likely left are asked with the others.
    """
    found = {}
    likely = {one.set_id: record.rows[one.set_id].likely_m2 for one in left}
    for place, step in enumerate(steps):
        area = step.reference_m2
        able = [one.set_id for one in left if one.steps[place] < asked.limits.finish_limit]
        able = [pk for pk in able if asked.may(pk, step) is not None]
        firsts = [pk for pk in able if any(likely[pk] + likely[other] >= area for other in able if other != pk)]
        for first in firsts[:_TRIED]:
            others = [pk for pk in able if pk != first and likely[pk] + likely[first] >= area]
            for other, chance in estimate.chances_with(record, first, others, area).items():
                found[place, first, other] = chance
    return found
