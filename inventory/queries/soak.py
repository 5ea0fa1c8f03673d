"""Whether sets are conditioned: facts of ledgers, readings of tubs and recipes, brought to the soak rules.

A constant number of queries (five) however many sets are asked about.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet

from inventory.ledger.conditioning import Conditioning, conditioned, conditioned_for
from inventory.ledger.facts import SetFacts, facts_from_json
from inventory.ledger.soak_facts import (
    Confirmation,
    Reading,
    Recipe,
    SoakFacts,
    SoakSettings,
    Spell,
    TubFacts,
    TubId,
    WetMoment,
)
from inventory.models import Branch, Entry, Place, SetState, ToolType
from inventory.models import Recipe as RecipeRow
from inventory.models.choices import SoakNeed
from inventory.shop_settings import settings_of

# A tub nobody named any more still is water, without readings.
_UNKNOWN_TUB = "unknown"


@dataclass(frozen=True)
class ThermostatWord:
    """Whether a thermostat holds a tub, as said for a day on and recorded at an instant."""

    valid_from: date
    recorded_at: datetime
    thermostat: bool


Dated = TypeVar("Dated", RecipeRow, ThermostatWord)


@dataclass(frozen=True)
class SetWater:
    """What the soak rules are asked with for one set."""

    facts: SoakFacts
    recipe: Recipe


@dataclass(frozen=True)
class Waters:
    """What is known of the water of some sets, read once; asked as often as one likes without a query."""

    sets: Mapping[UUID, SetWater]
    tubs: Mapping[TubId, TubFacts]
    settings: SoakSettings
    # When it was read: what is expected of a soak is told from there, whatever later hour is asked about.
    asked_at: datetime | None = None

    def now(self, set_id: UUID, at: datetime) -> Conditioning:
        """Whether the set is conditioned at an instant (which may lie ahead: the set then stays where it is)."""
        water = self.sets[set_id]
        return conditioned(water.facts, self.tubs, water.recipe, self.settings, at)

    def at_start(self, set_id: UUID, leaves_at: datetime, starts_at: datetime, *, in_water: bool) -> Conditioning:
        """Whether the set, leaving then, is conditioned at its step's start; in_water: carried in water."""
        water = self.sets[set_id]
        answer = conditioned_for(
            water.facts,
            self.tubs,
            water.recipe,
            self.settings,
            leaves_at=leaves_at,
            starts_at=starts_at,
            carried_in_water=in_water,
        )
        if answer.state != "soaking" or self.asked_at is None or leaves_at <= self.asked_at:
            return answer
        today = self.now(set_id, self.asked_at)
        if today.state != "soaking":
            return answer
        return replace(answer, why=today.why, expected_ready_at=today.expected_ready_at)


def waters_of(
    states: Iterable[SetState], branch: Branch, *, at: datetime, facts_of: Mapping[UUID, SetFacts] | None = None
) -> Waters:
    """Read the water of these sets: recipes, tub readings, settings; four queries.

    states: with ``facts``, ``tool_set`` and its ``tool_type`` loaded. facts_of: other facts (as of a past day).
    """
    rows = list(states)
    facts = {row.pk: (facts_of or {}).get(row.pk) or facts_from_json(row.facts) for row in rows}
    recipes = _recipes({row.tool_set.tool_type_id for row in rows})
    spells = [spell for known in facts.values() for spell in known.spells]
    settings = settings_of(branch, today=at.astimezone(ZoneInfo(branch.time_zone)).date()).soak
    sets = {}
    for row in rows:
        known = recipes[row.tool_set.tool_type_id]
        sets[row.pk] = SetWater(
            soak_facts(facts[row.pk], known, branch),
            _asked_with(row.tool_set.tool_type, recipe_at(known, at, branch)),
        )
    return Waters(sets, _tubs(spells, branch, settings), settings, at)


def conditioning_of(set_ids: Iterable[UUID], branch: Branch, *, at: datetime) -> dict[UUID, Conditioning]:
    """Whether each of these sets is conditioned at an instant, by set id; five queries for any number of sets."""
    waters = waters_of(states_with_types(set_ids), branch, at=at)
    return {set_id: waters.now(set_id, at) for set_id in waters.sets}


def recipes_for(types: Iterable[ToolType], branch: Branch, at: datetime) -> dict[int, Recipe]:
    """The recipe that holds at an instant of each of these types, by type id; one query."""
    rows = list(types)
    known = _recipes({row.pk for row in rows})
    return {row.pk: _asked_with(row, recipe_at(known[row.pk], at, branch)) for row in rows}


def states_with_types(set_ids: Iterable[UUID]) -> list[SetState]:
    """The states of these sets with facts, set, tool type and place: one query."""
    return list(
        SetState.objects.filter(pk__in=list(set_ids)).select_related(
            "tool_set__tool_type", "place", "outing", "outing__van", "holder_person"
        )
    )


def soak_facts(facts: SetFacts, rows: list[RecipeRow], branch: Branch) -> SoakFacts:
    """A set's facts as the soak rules read them; each spell with the recipe that stood when it began.

    rows: the recipes of the set's type, the oldest first.
    """
    spells = []
    for tub, begun_at, ended_at, named in facts.spells:
        begun = _instant(begun_at)
        row = next((row for row in rows if named is not None and str(row.pk) == named), None)
        ended = None if ended_at is None else _instant(ended_at)
        spells.append(Spell(tub or _UNKNOWN_TUB, begun, ended, _plain(row or recipe_at(rows, begun, branch))))
    return SoakFacts(
        spells=tuple(spells),
        confirmed_at=tuple(Confirmation(_instant(at), by) for at, by in facts.confirmed),
        left_water_at=None if facts.left_water_at is None else _instant(facts.left_water_at),
        last_wet_work_at=None if facts.last_wet_work_at is None else _instant(facts.last_wet_work_at),
        left_how=facts.left_how,  # type: ignore[arg-type]  # the state function keeps its words only
        left_how_at=None if facts.left_how_at is None else _instant(facts.left_how_at),
        wet_moments=tuple(WetMoment(_instant(at), kind) for at, kind in facts.wet_moments),  # type: ignore[arg-type]
    )


def _instant(text: str | None) -> datetime:
    return datetime.fromisoformat(text or "")


def _recipes(type_ids: set[int]) -> dict[int, list[RecipeRow]]:
    """Every recipe of these types, the newest last; one query."""
    found: dict[int, list[RecipeRow]] = defaultdict(list)
    for row in RecipeRow.objects.filter(tool_type_id__in=type_ids).order_by("valid_from", "recorded_at", "pk"):
        found[row.tool_type_id].append(row)
    return found


def _asked_with(tool_type: ToolType, row: RecipeRow | None) -> Recipe:
    """The recipe a set is asked with today, and whether its type needs one at all.

    A type that needs soaking but has no recipe is asked about as "unknown": nobody has said how long (our assumption).
    """
    if tool_type.soak_need == SoakNeed.NONE:
        return Recipe(cold_hours=None, need="none")
    recipe = _plain(row) if tool_type.soak_need == SoakNeed.REQUIRED else None
    return recipe or Recipe(cold_hours=None, need="unknown")


def _plain(row: RecipeRow | None) -> Recipe | None:
    if row is None:
        return None
    return Recipe(row.cold_hours, row.hot_hours, row.hot_limit_c, row.mixed_credit, row.dry_out_hours)


def recipe_at(rows: Iterable[RecipeRow], at: datetime, branch: Branch) -> RecipeRow | None:
    """Of a type's recipes (oldest first) the one that stood at an instant: valid that day and recorded by then.

    None recorded by then (history brought in later): the newest valid that day, else the first there is.
    """
    return _stood_at(list(rows), at, branch)


def _stood_at(every: Sequence[Dated], at: datetime, branch: Branch) -> Dated | None:
    day = at.astimezone(ZoneInfo(branch.time_zone)).date()
    valid = [row for row in every if row.valid_from <= day]
    known = [row for row in valid if row.recorded_at <= at]
    found = known or valid or every[:1]
    return found[-1] if found else None


def _tubs(spells: list[list[str | None]], branch: Branch, settings: SoakSettings) -> dict[TubId, TubFacts]:
    """The readings that can matter to these spells, and when a thermostat held their tubs; two queries."""
    tub_ids = {spell[0] for spell in spells if spell[0] not in (None, _UNKNOWN_TUB)}
    begun = [_instant(spell[1]) for spell in spells]
    if not begun:
        return {}
    earliest = min(begun) - timedelta(hours=max(settings.vouch_hours, settings.thermostat_vouch_hours))
    readings = standing_readings([tub_id for tub_id in tub_ids if tub_id is not None], earliest)
    by_tub: dict[str, list[Reading]] = defaultdict(list)
    now, said = _thermostats(tub_ids)
    for place_id, at, temperature_c in readings.values_list("place_id", "act__happened_at", "temperature_c"):
        if temperature_c is not None:
            held = thermostat_at(said.get(str(place_id), ()), at, branch)
            by_tub[str(place_id)].append(Reading(at, temperature_c, held))
    return {pk: TubFacts(tuple(by_tub[pk]), thermostat) for pk, thermostat in now.items()}


def _thermostats(tub_ids: set[str]) -> tuple[dict[str, bool], dict[str, list[ThermostatWord]]]:
    """Which tubs a thermostat holds now, and all that was said of it, the oldest first, by tub; one query."""
    now: dict[str, bool] = {}
    said: dict[str, list[ThermostatWord]] = defaultdict(list)
    order = ("versions__valid_from", "versions__recorded_at", "versions__pk")
    rows = Place.objects.filter(pk__in=tub_ids).order_by(*order)
    for pk, held, valid_from, recorded_at, word in rows.values_list(
        "pk", "thermostat", "versions__valid_from", "versions__recorded_at", "versions__thermostat"
    ):
        now[str(pk)] = held
        if recorded_at is not None:
            said[str(pk)].append(ThermostatWord(valid_from, recorded_at, word))
    return now, said


def thermostat_at(words: Sequence[ThermostatWord], at: datetime, branch: Branch) -> bool | None:
    """Whether a thermostat held a tub at an instant, of all that was said of it; None when nobody said anything."""
    found = _stood_at(words, at, branch)
    return None if found is None else found.thermostat


def standing_readings(tub_ids: Iterable[object], since: datetime) -> QuerySet[Entry]:
    """The readings of these tubs from an instant on that count: not voided, and accepted where they were held back."""
    lines = Entry.objects.filter(place_id__in=list(tub_ids))
    voided = lines.filter(kind="voided", act__held_back="").values("void_target")
    settled = lines.filter(kind="settled", act__held_back="", flag_code="held_back", answer="accept")
    accepted = settled.values("settles_target")
    return (
        lines.filter(kind="water_read", act__happened_at__gte=since)
        .filter(Q(act__held_back="") | Q(pk__in=accepted) | Q(act_id__in=accepted))
        .exclude(pk__in=voided)
    )
