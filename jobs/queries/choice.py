"""Which sets could do the steps of one tool type on a shift: for whoever plans to choose from; constant queries."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from uuid import UUID

from inventory import estimate
from inventory.ledger.conditioning import Conditioning
from inventory.models import SetState
from inventory.shop_settings import ShopSettings, settings_of
from inventory.times import zone_of
from jobs.models import PlanStep
from jobs.queries.clash import Wanted, set_clash, soak_turns, wanted_elsewhere
from jobs.queries.plan import Night
from jobs.queries.shift import outings_for, sent_against
from jobs.queries.tonight import TROUBLES, Choice, leaves_at_of
from jobs.queries.uses import Asked, asked_of, open_reservations, step_starts_at, steps_by_type

# So many sets are shown, the best first; for so many of them the chance of a pair is worked out.
_SHOWN, _PAIRED = 40, 6


@dataclass(frozen=True)
class Option:
    """A set that could go. key: as a tonight.Cell's; meant: 1 or 2 when it is reserved here, else 0.

    chance: of doing all of it alone; with_first: together with the set meant first, None where it would not be ready;
    soak_first: it counts only once it was put in water, and there is time for that; clash: the shift of another job
    that wants it at that time, or so near that it could not be soaked between.
    """

    state: SetState
    key: str
    conditioning: Conditioning
    life: estimate.SetLife | None
    chance: float | None
    with_first: float | None
    meant: int
    clash: Wanted | None
    soak_first: bool = False


@dataclass(frozen=True)
class Options:
    """What the steps of a tool type ask on a shift, and the sets to choose from, the best first."""

    night: Night
    steps: tuple[PlanStep, ...]
    asked: Asked
    leaves_at: datetime
    options: tuple[Option, ...]

    @property
    def first(self) -> SetState | None:
        """The set that is meant first."""
        return next((one.state for one in self.options if one.meant == 1), None)


def options_of(night: Night, step_key: UUID, now: datetime) -> Options | None:
    """The sets for the tool type of a step on a shift; None for a step that the shift does not have."""
    steps = next((group for group in steps_by_type(night) if step_key in {one.key for one in group}), None)
    if steps is None:
        return None
    branch = night.job.branch
    settings = settings_of(branch, today=now.astimezone(zone_of(branch)).date())
    outings = outings_for([night], now)
    outing, leaves_at = outings.get(night.shift.key), leaves_at_of(night, outings, settings)
    choice = Choice(branch, now, settings, [night], types=[steps[0].tool_type])
    choice.against |= sent_against({outing.pk} if outing else set())
    asked = asked_of(settings, night, steps, choice.logged)
    starts_at = max(min(step_starts_at(night, one) for one in steps), leaves_at)
    reserved = open_reservations([night.job.pk])
    rows = [row for one in steps for row in reserved.get(one.key, [])]
    meant = {set_id: n for n, set_id in enumerate(dict.fromkeys(row.tool_set_id for row in rows), start=1)}
    chances = choice.chances(steps[0], asked.reference_m2) if asked.reference_m2 > 0 else {}
    loading, turn = _times(settings, steps[0].tool_type_id, now.astimezone(zone_of(branch)).date())
    ends_at = night.shift.ends_at
    wanted = wanted_elsewhere(branch, [night.job.pk], leaves_at - turn, ends_at + loading + turn)
    found = []
    for state in choice.states:
        water = choice.water(state, leaves_at, starts_at)
        key, chance = choice.key(state, outing, water, chances.get(state.pk), leaves_at), chances.get(state.pk)
        clash = set_clash(wanted.get(state.pk, ()), leaves_at, ends_at, loading=loading, turn=turn)
        life = choice.lives.get(state.pk)
        soak_first = key in ("dry", "dries") and state.outing_id is None and leaves_at - now >= turn
        found.append(Option(state, key, water, life, chance, None, meant.get(state.pk, 0), clash, soak_first))
    found.sort(key=_order)
    first = next((set_id for set_id, n in meant.items() if n == 1), None)
    record = choice.records.get(steps[0].tool_type_id)
    if first is not None and record is not None and asked.reference_m2 > 0:
        found = _paired(found, record, first, asked.reference_m2)
    return Options(night, tuple(steps), asked, leaves_at, tuple(found[:_SHOWN]))


def _times(settings: ShopSettings, type_id: int, day: date) -> tuple[timedelta, timedelta]:
    """How long before a shift its sets leave, and how long a set of the type lies in water before it may."""
    turns = soak_turns([type_id], day)
    return timedelta(hours=settings["loading_hours"]), turns.get(type_id, timedelta(0))


def _order(one: Option) -> tuple[int, int, float, str]:
    """Those meant; ready and enough by least life (DESIGN 4); tight; in water; dry and short; not at hand."""
    ranks = {"taken": 0, "ready": 0, "tight": 1, "soaked": 2, "soaking": 2, "against": 2, "dries": 2, "dry": 3, "no": 3}
    rank = (ranks | {"late": 4}).get(one.key, 5) + (4 if one.clash else 0)
    chance = one.chance if one.chance is not None else 0.5
    return (one.meant or 3, rank, chance if rank == 0 else -chance, one.state.code)


def _paired(found: list[Option], record: estimate.TypeRecord, first: UUID, needs: float) -> list[Option]:
    """The chance together with the first for the best that will be ready themselves, in time."""
    known, pairs = set(record.set_ids), 0
    answer = []
    for one in found:
        ready = one.soak_first or one.key == "no" or one.key not in TROUBLES
        if ready and one.state.pk != first and pairs < _PAIRED and {first, one.state.pk} <= known:
            pairs += 1
            one = replace(one, with_first=estimate.chance_of_pair(record, first, one.state.pk, needs))
        answer.append(one)
    return answer
