"""Which sets are at their end, and what to do with them: the rules of inventory.wear_advice on what is on record."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import F, Q

from inventory import estimate, hooks
from inventory.hooks import PlannedStep
from inventory.models import Branch, SetState
from inventory.models.choices import Fitness, PlaceKind
from inventory.shop_settings import settings_of
from inventory.times import zone_of
from inventory.wear_advice import RETIRES, WORN, Advice, Limits, Standing, pairs_of, retire_advice, run_outs

# Of one tool type so many leftovers, sure sets behind them and steps are looked at together: bounds the work of a page.
_LEFTOVERS, _SURE, _STEPS, _TRIED = 8, 3, 4, 2


@dataclass(frozen=True)
class Advised:
    """One set's advice with what it names: the step, and the other set."""

    state: SetState
    advice: Advice
    step: PlannedStep | None = None
    other: SetState | None = None
    small_m2: float = 0.0


def advice_on(branch: Branch, now: datetime, *, only: SetState | None = None) -> list[Advised]:
    """Advice on every set in use at a branch, or on one: what retires first, then leftovers; ten queries and the plans.

    Nothing is asked of the plans where no set is near its end. Sets that are out or missing are left
    out, and leftovers that are set aside.
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
        if len(steps[step.tool_type_id]) < _STEPS:
            steps[step.tool_type_id].append(step)
    meant = {pk for some in steps.values() for step in some for pk in step.sets}
    behind = _behind(branch, lives, of_type, near, meant)
    records = estimate.records(settings, sets={*near, *(state.pk for some in behind.values() for state in some)})
    uses = hooks.next_use(near, now)
    paired = {pk for pk, use in uses.items() if use.companion is not None}
    answers: list[Advised] = []
    for type_id, some in of_type.items():
        answers += _of_type(records.get(type_id), some, behind.get(type_id, []), steps[type_id], limits, paired)
    found = [one for one in answers if only is None or one.state.pk == only.pk]
    return sorted(found, key=lambda one: (one.advice.kind not in RETIRES, one.advice.kind, one.state.code))


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
    limits: Limits,
    paired: Collection[UUID],
) -> list[Advised]:
    """Advice on the sets of one tool type."""
    if record is None:  # nothing can be said of its life: only its height can end it
        return [Advised(state, Advice(WORN, state.pk)) for state in near if _low(state)]
    states = {state.pk: state for state in [*near, *behind] if state.pk in record.rows}
    usable = {pk for pk, state in states.items() if state.fitness == Fitness.USABLE and pk not in paired}
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
    found = [advice for one in standing.values() if (advice := retire_advice(one, limits)) is not None]
    ends = {advice.set_id for advice in found}
    left = [one for pk, one in standing.items() if pk in usable - ends and one.leftover(limits)]
    pairs = pairs_of(_chances(record, left[-_LEFTOVERS:], areas, limits), alone, limits)
    found += pairs
    done, taken = {advice.set_id for advice in pairs}, {advice.step for advice in pairs}
    rest = [one for one in left if one.set_id not in done]
    sure = [state.pk for state in behind if state.pk in states]
    go_behind: dict[int, tuple[UUID, Mapping[UUID, float]]] = {}
    for place, step in enumerate(steps if rest else ()):
        # The set meant for the step goes behind if it is sure; two meant for it are such a pair already.
        able = [pk for pk in sure if alone[pk][place] >= limits.finish_limit]
        meant = [pk for pk in able if pk in step.sets]
        if able and place not in taken and len(step.sets) < 2:
            other = (meant or able)[0]
            others = [one.set_id for one in rest]
            go_behind[place] = other, estimate.chances_with(record, other, others, step.reference_m2)
    found += run_outs(rest, go_behind, limits)
    return [
        Advised(
            states[advice.set_id],
            advice,
            steps[advice.step] if advice.step is not None else None,
            states.get(advice.other) if advice.other is not None else None,
            limits.retire_area_m2,
        )
        for advice in found
    ]


def _chances(
    record: estimate.TypeRecord, left: Sequence[Standing], areas: Sequence[float], limits: Limits
) -> dict[tuple[int, UUID, UUID], float]:
    """The chance that two leftovers together finish a step, by (step, first, other).

    Of a step only the two with least life that may come to it by what is likely left are asked with the others: a
    chance of two takes some milliseconds.
    """
    found = {}
    likely = {one.set_id: record.rows[one.set_id].likely_m2 for one in left}
    for step, area in enumerate(areas):
        able = [one.set_id for one in left if one.steps[step] < limits.finish_limit]
        firsts = [pk for pk in able if any(likely[pk] + likely[other] >= area for other in able if other != pk)]
        for first in firsts[:_TRIED]:
            others = [pk for pk in able if pk != first and likely[pk] + likely[first] >= area]
            for other, chance in estimate.chances_with(record, first, others, area).items():
                found[step, first, other] = chance
    return found
