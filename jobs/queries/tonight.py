"""Who leaves tonight with which sets, what state those are in, and what is to mend: a constant number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import F

from inventory import estimate
from inventory.ledger.conditioning import Conditioning
from inventory.models import Branch, Outing, SetState, ToolType
from inventory.models.choices import Face, Fitness, PlaceKind
from inventory.queries.soak import Waters, waters_of
from inventory.shop_settings import ShopSettings, settings_of
from inventory.times import zone_of
from jobs.models import PlanStep, PlanZone, Reservation
from jobs.numerics.enough import Enough, enough
from jobs.queries.plan import Night, tonight, zone_of_step
from jobs.queries.shift import closed_shifts, logged_on, outings_for, outings_of, sent_against
from jobs.queries.uses import asked_of, open_reservations, spoken_for, step_starts_at, steps_by_type

# States in which a set does not leave as it is.
TROUBLES = ("dry", "dries", "late", "no", "glazed", "missing", "elsewhere", "twice", "aside", "none")
# States in which nothing is left to do in the shop before the van leaves.
SETTLED = ("ready", "tight", "taken", "against", "done")
# A set that another job wants within so many days is not free for tonight (our assumption).
_SPOKEN_FOR = timedelta(days=2)


@dataclass(frozen=True)
class Cell:
    """A tool type of a shift of tonight and the set for it; several floors of a job share the set of a grit.

    step: the first of ``steps``; worked_m2, reference_m2: what all of them still ask, as planned less what is logged.

    key: ready, tight, soaking (ready in time), soaked (to confirm), taken (on its outing already), against (on it, sent
    against the gate), done (logged, or the shift is closed), or one of TROUBLES: dry, dries (wet through now, dry at
    the start unless it travels in water), late (soaks too long), no (short of life), glazed, missing, elsewhere (with
    somebody else), twice (meant for another job tonight), aside, none.
    second, second_key: the other set of two and its own state; it counts only if it will be ready itself.
    chance: of finishing; None when nothing can be said. instead: the best other set, ready and enough.
    """

    steps: tuple[PlanStep, ...]
    zones: tuple[PlanZone, ...]
    starts_at: datetime
    worked_m2: float
    reference_m2: float
    key: str
    state: SetState | None = None
    second: SetState | None = None
    conditioning: Conditioning | None = None
    life: estimate.SetLife | None = None
    chance: float | None = None
    reserved: bool = False
    instead: SetState | None = None
    instead_chance: float | None = None
    # A set that finishes the step together with the one that is short.
    beside: SetState | None = None
    beside_chance: float | None = None
    second_key: str = ""
    second_conditioning: Conditioning | None = None
    second_life: estimate.SetLife | None = None

    @property
    def zone(self) -> PlanZone:
        """The floor of the first step."""
        return self.zones[0]

    @property
    def step(self) -> PlanStep:
        """The first step it is for."""
        return self.steps[0]

    @property
    def trouble(self) -> bool:
        """Whether it does not leave as it is."""
        return self.key in TROUBLES

    @property
    def settled(self) -> bool:
        """Whether nothing is left to do in the shop for it; a second set that does not count waits for nobody."""
        return self.key in SETTLED and self.second_key in ("", *SETTLED, *TROUBLES)


@dataclass(frozen=True)
class Leaving:
    """A shift that leaves tonight. enough: yes, tight, no, or "" while the chances are not known."""

    night: Night
    leaves_at: datetime
    outing: Outing | None
    cells: tuple[Cell, ...]
    enough: str
    closed: bool = False

    @property
    def complete(self) -> bool:
        """Whether every step has a set that is ready or gone: soaking and unconfirmed ones are still to look at."""
        return all(cell.settled for cell in self.cells)


def evening(now: datetime, branch: Branch) -> tuple[datetime, datetime]:
    """What "tonight" spans: six in the morning to noon of the next day; before six it is still the night before."""
    local = (now - timedelta(hours=6)).astimezone(zone_of(branch))
    begins = local.replace(hour=6, minute=0, second=0, microsecond=0)
    return begins, begins + timedelta(hours=30)


def leaving_tonight(branch: Branch, now: datetime) -> list[Leaving]:
    """The shifts of tonight that have not ended, by leaving time, with a set for each step.

    A set goes to one step only: reserved ones first, then those out for it already, then the best that is free: ready,
    enough, and of those the one with the least life (a set that suffices alone goes alone, DESIGN 4).
    """
    since, until = evening(now, branch)
    nights = [night for night in tonight(branch, since, until) if night.shift.ends_at > now]
    if not nights:
        return []
    settings = settings_of(branch, today=since.astimezone(zone_of(branch)).date())
    outings = outings_for(nights, now)
    reserved = open_reservations({night.job.pk for night in nights})
    choice = Choice(branch, now, settings, nights)
    choice.against |= sent_against({outing.pk for outing in outings.values()})
    closed = closed_shifts([night.shift.key for night in nights])
    choice.hold(row.tool_set_id for rows in reserved.values() for row in rows)
    leaving = []
    for night in sorted(nights, key=lambda one: leaves_at_of(one, outings, settings)):
        leaves_at = leaves_at_of(night, outings, settings)
        outing = outings.get(night.shift.key)
        cells = tuple(
            choice.cell(
                night,
                steps,
                leaves_at,
                outing,
                [row for one in steps for row in reserved.get(one.key, [])],
                closed=night.shift.key in closed,
            )
            for steps in steps_by_type(night)
        )
        enough_word = _enough_of(cells, settings)
        leaving.append(Leaving(night, leaves_at, outing, cells, enough_word, night.shift.key in closed))
    return leaving


def without_outing(branch: Branch, now: datetime) -> list[tuple[Night, datetime]]:
    """The shifts of tonight that have not ended and have no outing yet, with when they leave; a constant number."""
    since, until = evening(now, branch)
    nights = [night for night in tonight(branch, since, until) if night.shift.ends_at > now]
    if not nights:
        return []
    settings = settings_of(branch, today=since.astimezone(zone_of(branch)).date())
    outings = outings_of(night.shift.key for night in nights)
    return [(night, leaves_at_of(night, outings, settings)) for night in nights if night.shift.key not in outings]


def leaves_at_of(night: Night, outings: Mapping[UUID, Outing], settings: ShopSettings) -> datetime:
    """When a shift's sets leave: with its outing, else the loading time (setting) before its start."""
    outing = outings.get(night.shift.key)
    planned = night.shift.starts_at - timedelta(hours=settings["loading_hours"])
    # An outing shared with an earlier night left then; tonight's sets leave for tonight.
    return outing.leaves_at if outing is not None and outing.leaves_at >= planned - timedelta(hours=12) else planned


def _enough_of(cells: Sequence[Cell], settings: ShopSettings) -> str:
    if any(cell.trouble for cell in cells):
        return "no"
    chances = [cell.chance for cell in cells if cell.key != "done"]
    if cells and not chances:
        return "yes"
    if not chances or any(chance is None for chance in chances):
        return ""
    words = {enough(chance, settings["finish_limit"], settings["tight_limit"]).word for chance in chances if chance}
    return "tight" if "tight" in words else "yes"


class Choice:
    """Picks a set for each step; everything is read once."""

    def __init__(
        self,
        branch: Branch,
        now: datetime,
        settings: ShopSettings,
        nights: list[Night],
        *,
        types: Iterable[ToolType] | None = None,
    ) -> None:
        """types: only these; else every tool type of the nights."""
        asked = (step.tool_type for night in nights for step in night.steps) if types is None else types
        wanted = {tool_type.pk: tool_type for tool_type in asked}
        self.states = list(
            SetState.objects.filter(branch=branch, main_id=F("tool_set_id"), tool_set__tool_type_id__in=wanted)
            .exclude(fitness=Fitness.RETIRED)
            .select_related("tool_set__tool_type", "place", "outing__van", "holder_person")
            .order_by("code", "pk")
        )
        self.by_id = {state.pk: state for state in self.states}
        self.waters: Waters = waters_of(self.states, branch, at=now)
        self.records = estimate.records(settings, types=wanted.values())
        self.lives = estimate.lives(self.records)
        self.logged = logged_on([night.shift.key for night in nights])
        self.settings, self.now = settings, now
        self.held: set[UUID] = set()
        self.given: set[UUID] = set()
        self.against: set[UUID] = set()
        self.spoken = spoken_for(branch, {night.job.pk for night in nights}, now, now + _SPOKEN_FOR)

    def hold(self, set_ids: Iterable[UUID]) -> None:
        """Keep sets for the steps they are reserved for."""
        self.held |= set(set_ids)

    def cell(
        self,
        night: Night,
        steps: list[PlanStep],
        leaves_at: datetime,
        outing: Outing | None,
        rows: list[Reservation],
        *,
        closed: bool = False,
    ) -> Cell:
        """The set for the steps of one tool type and the state it is in."""
        step = steps[0]
        starts_at = max(min(step_starts_at(night, one) for one in steps), leaves_at)
        floors = [(one, zone) for one in steps if (zone := zone_of_step(night.plan, one)) is not None]
        zones = tuple(zone for _one, zone in floors)
        asked = asked_of(self.settings, night, steps, self.logged)
        needs, worked = asked.reference_m2, asked.worked_m2
        done = closed or asked.done
        chances = self.chances(step, needs) if needs > 0 else {}
        ids = dict.fromkeys(row.tool_set_id for row in rows if row.tool_set_id in self.by_id)
        meant = [self.by_id[set_id] for set_id in ids]
        out = [
            state
            for state in self.states
            if outing is not None
            and state.outing_id == outing.pk
            and state.tool_set.tool_type_id == step.tool_type_id
            and state.facts.get("step_key") in (None, *(str(one.key) for one in steps))
        ]
        free = [] if done else self._free(step, chances, leaves_at, starts_at)
        go = self._go(meant, out)
        if done:
            first = (out or meant)[:1]
            return Cell(tuple(steps), zones, starts_at, worked, needs, "done", first[0] if first else None)
        chosen = go[0] if go else free[0] if free else None
        chosen = chosen or self._any(step, chances, leaves_at, starts_at)
        if chosen is None:
            return Cell(tuple(steps), zones, starts_at, worked, needs, "none")
        self.held.add(chosen.pk)
        second = go[1] if len(go) > 1 else None
        chance = chances.get(chosen.pk)
        second_key, second_water = "", None
        if second is not None:
            self.held.add(second.pk)
            second_water = self.water(second, leaves_at, starts_at)
            second_key = self._key_once(second, outing, second_water, None, leaves_at)
            # One that is not ready itself finishes nothing: it does not count.
            if second_key not in TROUBLES and needs > 0 and step.tool_type_id in self.records:
                chance = estimate.chance_of_pair(self.records[step.tool_type_id], chosen.pk, second.pk, needs)
        water = self.water(chosen, leaves_at, starts_at)
        key = self._key_once(chosen, outing, water, chance, leaves_at)
        self.given |= {one.pk for one in (chosen, second) if one is not None}
        mine = {chosen.pk, *([second.pk] if second is not None else [])}
        others = [one for one in free if one.pk not in {*mine, *self.spoken}] if key in TROUBLES else []
        instead = others[0] if others and self._is_enough(chances.get(others[0].pk)) else None
        alone = second is None or second_key in TROUBLES
        beside, both = (
            self._beside(step, chosen, others, needs) if alone and not instead and key == "no" else (None, None)
        )
        return Cell(
            tuple(steps),
            zones,
            starts_at,
            worked,
            needs,
            key,
            chosen,
            second,
            water,
            self.lives.get(chosen.pk),
            chance,
            bool(meant),
            instead,
            chances.get(instead.pk) if instead else None,
            beside,
            both,
            second_key,
            second_water,
            self.lives.get(second.pk) if second is not None else None,
        )

    def _go(self, meant: list[SetState], out: list[SetState]) -> list[SetState]:
        """The sets that go: those meant, and what is out beside them; where none of the meant is out, what is."""
        if out and not any(one in out for one in meant):
            return [one for one in out if one.pk not in self.held] or meant
        return meant + [one for one in out if one not in meant and one.pk not in self.held]

    def _key_once(
        self, state: SetState, outing: Outing | None, water: Conditioning, chance: float | None, leaves_at: datetime
    ) -> str:
        """``key``, and "twice" for a set that goes with another shift of tonight already."""
        key = self.key(state, outing, water, chance, leaves_at)
        return "twice" if state.pk in self.given and key not in ("missing", "aside", "elsewhere") else key

    def chances(self, step: PlanStep, needs: float) -> dict[UUID, float]:
        """The chance that each set of a step's type does so much reference area, m2, above 0."""
        record = self.records.get(step.tool_type_id)
        if record is None:
            return {}
        ids = [state.pk for state in self.states if state.tool_set.tool_type_id == step.tool_type_id]
        return estimate.chances_to_finish({step.tool_type_id: record}, dict.fromkeys(ids, needs))

    def _beside(
        self, step: PlanStep, first: SetState, others: list[SetState], needs: float
    ) -> tuple[SetState | None, float | None]:
        """A ready set that together with the first is enough; a set short of yes goes first of two (DESIGN 4)."""
        record = self.records.get(step.tool_type_id)
        for state in others[:8] if record is not None else []:
            assert record is not None
            chance = estimate.chance_of_pair(record, first.pk, state.pk, needs)
            if self._is_enough(chance):
                return state, chance
        return None, None

    def _is_enough(self, chance: float | None) -> bool:
        return chance is None or self._said(chance).word == "yes"

    def _said(self, chance: float) -> Enough:
        return enough(chance, self.settings["finish_limit"], self.settings["tight_limit"])

    def water(self, state: SetState, leaves_at: datetime, starts_at: datetime) -> Conditioning:
        """A set's water when its step starts, if it leaves then."""
        in_water = state.place is not None and state.place.kind == PlaceKind.BUCKET
        leaves = max(leaves_at, self.now)
        return self.waters.at_start(state.pk, leaves, max(starts_at, leaves), in_water=in_water)

    def _at_hand(self, step: PlanStep) -> list[SetState]:
        return [
            state
            for state in self.states
            if state.tool_set.tool_type_id == step.tool_type_id
            and state.pk not in self.held
            and state.outing_id is None
            and state.fitness == Fitness.USABLE
            and not (state.place is not None and state.place.kind == PlaceKind.UNKNOWN)
        ]

    def _free(
        self, step: PlanStep, chances: Mapping[UUID, float], leaves_at: datetime, starts_at: datetime
    ) -> list[SetState]:
        """Sets at hand that are ready in time: those that are enough by least life, then the others by most."""
        ready = [state for state in self._at_hand(step) if self.water(state, leaves_at, starts_at).passes]

        def order(state: SetState) -> tuple[int, float, str]:
            chance = chances.get(state.pk)
            if state.pk in self.spoken:
                return (3, 0.0, state.code)
            if chance is None:
                return (1, 0.0, state.code)
            return (0, chance, state.code) if self._is_enough(chance) else (2, -chance, state.code)

        return sorted(ready, key=order)

    def _any(
        self, step: PlanStep, chances: Mapping[UUID, float], leaves_at: datetime, starts_at: datetime
    ) -> SetState | None:
        """With no set ready: one that soaks or is to confirm, then a dry one, then one that is not at hand.

        Among alike ones first what would be enough, by least life, then what comes nearest to it.
        """
        ranks = {"soaked, not confirmed": 0, "soaking": 1, "dry": 2}

        def order(state: SetState) -> tuple[int, bool, float, str]:
            chance, rank = chances.get(state.pk, 0.0), ranks.get(self.water(state, leaves_at, starts_at).state, 3)
            enough_here = self._is_enough(chance)
            return (rank, not enough_here, chance if enough_here else -chance, state.code)

        if at_hand := self._at_hand(step):
            return min(at_hand, key=order)
        others = [
            state
            for state in self.states
            if state.tool_set.tool_type_id == step.tool_type_id and state.pk not in self.held
        ]
        return others[0] if others else None

    def key(
        self, state: SetState, outing: Outing | None, water: Conditioning, chance: float | None, leaves_at: datetime
    ) -> str:
        """The state of a set for a shift, a key of ``Cell``."""
        if state.place is not None and state.place.kind == PlaceKind.UNKNOWN:
            return "missing"
        if state.fitness != Fitness.USABLE:
            return "aside"
        if state.outing_id is not None and (outing is None or state.outing_id != outing.pk):
            return "elsewhere"
        word = self._said(chance).word if chance is not None else "yes"
        mine = outing is not None and state.outing_id == outing.pk
        against = mine and state.pk in self.against
        if not against and not water.passes and water.state == "dry":
            wet = self.waters.now(state.pk, self.now).state in ("conditioned", "soaked, not confirmed")
            return "dries" if wet else "dry"
        if word == "no":
            return "no"
        if state.face == Face.GLAZED:
            return "glazed"
        if against:
            return "against"
        if not water.passes:
            if water.state == "soaking":
                ready = water.expected_ready_at
                return "soaking" if ready is not None and ready <= leaves_at else "late"
            return "soaked"
        return "taken" if state.outing_id is not None else "tight" if word == "tight" else "ready"
