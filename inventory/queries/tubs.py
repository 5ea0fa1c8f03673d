"""What lies in which water, what was read there, and which sets must go in by when; queries do not grow with sets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import F, Q, QuerySet

from inventory.calendar import NoWorkingDay, ShopCalendar, last_staffed
from inventory.hooks import NextUse, next_use
from inventory.ledger.conditioning import Conditioning
from inventory.ledger.soak import Projection, expected_ready_at
from inventory.ledger.soak_facts import Recipe
from inventory.models import Branch, Entry, Place, SetState, ToolType
from inventory.models.choices import Fitness, PlaceKind, SoakNeed
from inventory.queries.catalogue import shop_calendar
from inventory.queries.soak import Waters, standing_readings, states_with_types, waters_of
from inventory.times import zone_of

# Readings older than this say nothing about any soak that still goes on.
READINGS_FOR = timedelta(days=14)
# So many sets of a type are offered to be put in.
OFFERED = 60
# Whoever stands at a tub can have these in hand: on the rack, in a crate, still in a van or a bucket, left on a site.
_DRY_PLACES = (PlaceKind.RACK, PlaceKind.CRATE, PlaceKind.VAN, PlaceKind.BUCKET, PlaceKind.SITE)
_NOT_AT_HAND = (PlaceKind.UNKNOWN, PlaceKind.SUPPLIER)


@dataclass(frozen=True)
class WaterReading:
    """One reading of a tub as it stands. value, unit: as entered. voided: why it no longer counts, or ""."""

    entry_id: UUID
    at: datetime
    temperature_c: float
    value: str
    unit: str
    by: str
    recorded_at: datetime
    voided: str = ""


@dataclass(frozen=True)
class InWater:
    """One set in a tub. begun_at: of the soak it is in, None when nobody entered one. ahead: when it will be ready.

    back: it was soaked before and came back into water before it dried out; that soak counts.
    """

    state: SetState
    answer: Conditioning
    recipe: Recipe
    begun_at: datetime | None
    ahead: Projection | None
    back: bool = False

    @property
    def ready_at(self) -> datetime | None:
        """When it was or will be ready, None when nothing leads there."""
        return self.answer.ready_at or (self.ahead.ready_at if self.ahead else None)


@dataclass(frozen=True)
class Tub:
    """A tub with its sets, coarse to fine, and its readings of the last two weeks, the oldest first."""

    place: Place
    sets: tuple[InWater, ...]
    readings: tuple[WaterReading, ...]

    @property
    def room(self) -> int | None:
        """How many more sets it takes, None when its room was never said."""
        return None if self.place.room_sets is None else max(0, self.place.room_sets - len(self.sets))

    @property
    def last(self) -> WaterReading | None:
        """Its latest reading."""
        return self.readings[-1] if self.readings else None

    @property
    def done(self) -> list[InWater]:
        """Sets whose hours are done and that nobody has confirmed."""
        return [one for one in self.sets if one.answer.state == "soaked, not confirmed"]


@dataclass(frozen=True)
class WaterNeed:
    """A set that must be in water for its next use.

    by: last staffed time that suffices, None when nothing does any more. hot: only a hot soak is short enough.
    ready_at: when it would be ready if put in cold water now. in_water: it lies in water, and not long enough.
    keeps: it was soaked and has not dried out yet; put back in water by then, that soak goes on counting.
    """

    state: SetState
    use: NextUse
    by: datetime | None
    hours: float
    hot: bool
    ready_at: datetime
    in_water: bool
    keeps: bool = False


def tubs_of(branch: Branch, now: datetime, *, only: UUID | None = None) -> list[Tub]:
    """The shop's tubs, and its buckets with sets soaking in them, by name; eight queries for any number of sets."""
    wet_bucket = Q(kind=PlaceKind.BUCKET, states__soaking=True, states__outing__isnull=True)
    rows = Place.objects.filter(Q(kind=PlaceKind.TUB) | wet_bucket, branch=branch)
    rows = rows.filter(pk=only) if only is not None else rows.filter(Q(active=True) | Q(states__soaking=True))
    places = sorted(rows.distinct(), key=lambda place: (place.kind != PlaceKind.TUB, place.name))
    states = list(
        SetState.objects.filter(place__in=places, main_id=F("tool_set_id"))
        .exclude(fitness=Fitness.RETIRED)
        .select_related("tool_set__tool_type", "place", "outing")
        .order_by("tool_set__tool_type__ladder_place", "code", "pk")
    )
    waters = waters_of(states, branch, at=now)
    sets: dict[UUID, list[InWater]] = defaultdict(list)
    for state in states:
        if state.place_id is not None:
            sets[state.place_id].append(_in_water(state, waters, now))
    readings = readings_of([place.pk for place in places], now - READINGS_FOR)
    return [Tub(place, tuple(sets[place.pk]), tuple(readings.get(place.pk, []))) for place in places]


def _in_water(state: SetState, waters: Waters, now: datetime) -> InWater:
    water = waters.sets[state.pk]
    spell = water.facts.spells[-1] if water.facts.spells and water.facts.spells[-1].ended_at is None else None
    recipe = (spell.recipe if spell else None) or water.recipe
    answer = waters.now(state.pk, now)
    ahead = None
    if answer.state == "soaking":
        ahead = expected_ready_at(water.facts.spells, waters.tubs, water.recipe, waters.settings, now)
    back = spell is not None and answer.ready_at is not None and answer.ready_at < spell.begun_at
    begun_at = None
    if spell is not None:
        begun_at = spell.begun_at if back else answer.soak.begun_at or spell.begun_at
    return InWater(state, answer, recipe, begun_at, ahead, back)


def readings_of(tub_ids: Iterable[UUID], since: datetime) -> dict[UUID, list[WaterReading]]:
    """The readings that count of each tub from an instant on, the oldest first; one query."""
    found: dict[UUID, list[WaterReading]] = defaultdict(list)
    rows = standing_readings(tub_ids, since).select_related("act__done_by").order_by("act__happened_at", "pk")
    for row in rows:
        if row.place_id is not None:
            found[row.place_id].append(_reading(row))
    return found


def every_reading(tub: Place, since: datetime) -> list[WaterReading]:
    """All readings of a tub from an instant on, the newest first, voided ones with why; three queries."""
    rows = Entry.objects.filter(place=tub, kind="water_read", act__happened_at__gte=since)
    standing = set(standing_readings([tub.pk], since).values_list("pk", flat=True))
    voids = Entry.objects.filter(place=tub, kind="voided").values_list("void_target", "why")
    why = {target: words or "" for target, words in voids}
    return [
        _reading(row, "" if row.pk in standing else why.get(row.pk) or "–")
        for row in rows.select_related("act__done_by").order_by("-act__happened_at", "-pk")
    ]


def _reading(row: Entry, voided: str = "") -> WaterReading:
    return WaterReading(
        row.pk,
        row.act.happened_at,
        float(row.temperature_c or 0.0),
        row.amount_value or "",
        row.amount_unit or "",
        row.act.done_by.name,
        row.act.recorded_at,
        voided,
    )


def water_needs(branch: Branch, tubs: Iterable[Tub], now: datetime) -> list[WaterNeed]:
    """Sets with a next use that are not conditioned at its start, the most urgent first; about a dozen queries.

    A set still wet through is put back before it dries out. Else put in by the last staffed time that gives the cold
    hours before the set leaves; when that is past, the hot hours in a tub held by a thermostat, if somebody is there
    to read it at their end. Confirming is asked elsewhere; a missing set is not named.
    """
    ids = list(
        SetState.objects.filter(
            branch=branch,
            main_id=F("tool_set_id"),
            fitness=Fitness.USABLE,
            outing__isnull=True,
            tool_set__tool_type__soak_need=SoakNeed.REQUIRED,
        )
        # A missing set cannot be put anywhere; somebody finds it first.
        .exclude(place__kind=PlaceKind.UNKNOWN)
        .values_list("pk", flat=True)
    )
    # A van that should have left still waits for a set that hangs here; steps that are done ask for nothing.
    uses = {set_id: use for set_id, use in next_use(ids, now).items() if use.reference_m2 != 0}
    if not uses:
        return []
    states = states_with_types(uses)
    waters = waters_of(states, branch, at=now)
    calendar = shop_calendar(branch, now.astimezone(zone_of(branch)).date())
    heated = any(tub.place.thermostat and tub.room != 0 for tub in tubs)
    needs = [
        need for state in states if (need := _need(state, uses[state.pk], waters, calendar, heated, now)) is not None
    ]
    return sorted(needs, key=lambda need: (need.by or need.use.leaves_at, need.state.code, need.state.pk))


def _need(
    state: SetState, use: NextUse, waters: Waters, calendar: ShopCalendar, heated: bool, now: datetime
) -> WaterNeed | None:
    recipe = waters.sets[state.pk].recipe
    leaves_at = max(use.leaves_at, now)
    at_start = waters.at_start(state.pk, leaves_at, max(use.starts_at, leaves_at), in_water=False)
    if at_start.passes or at_start.state == "soaked, not confirmed" or recipe.cold_hours is None:
        return None
    ahead = waters.now(state.pk, now)
    if ahead.state in ("conditioned", "soaked, not confirmed") and ahead.until is not None:
        staffed = _staffed(calendar, ahead.until)
        back_by = staffed if staffed is not None and staffed >= now else ahead.until
        return WaterNeed(
            state, use, back_by, recipe.cold_hours, False, ahead.ready_at or now, state.soaking, keeps=True
        )
    by, hot = water_by(recipe, use.leaves_at, calendar, heated=heated, now=now, said=use.water_by)
    ready_at = ahead.expected_ready_at or now + timedelta(hours=recipe.cold_hours)
    return WaterNeed(state, use, by, recipe.cold_hours, hot, ready_at, state.soaking)


def water_by(
    recipe: Recipe,
    leaves_at: datetime,
    calendar: ShopCalendar,
    *,
    heated: bool,
    now: datetime,
    said: datetime | None = None,
) -> tuple[datetime | None, bool]:
    """The last staffed time at which a dry set must go into water, and whether only a hot soak is short enough then.

    heated: a tub on a thermostat has room; said: a time that the plan itself names. None where nothing suffices.
    """
    by = said or _staffed(calendar, leaves_at - timedelta(hours=recipe.cold_hours or 0.0))
    if (by is None or by < now) and heated and recipe.hot_hours is not None:
        # Somebody must read the tub at the end of a hot soak: it ends when the shop is last staffed before leaving.
        end = _staffed(calendar, leaves_at)
        soonest = _staffed(calendar, end - timedelta(hours=recipe.hot_hours)) if end is not None else None
        if soonest is not None and soonest >= now:
            return soonest, True
    return by, False


def _staffed(calendar: ShopCalendar, instant: datetime) -> datetime | None:
    try:
        return last_staffed(calendar, instant)
    except NoWorkingDay:
        return None


@dataclass(frozen=True)
class DryType:
    """A tool type with so many sets on the rack that water would do good to, by the ledger."""

    tool_type: ToolType
    sets: int


def dry_types(branch: Branch) -> list[DryType]:
    """Types with sets at hand outside of water that may need a soak, coarse to fine; two queries."""
    counted: dict[int, int] = defaultdict(int)
    for type_id in _outside(branch).values_list("tool_set__tool_type_id", flat=True):
        counted[type_id] += 1
    types = ToolType.objects.filter(pk__in=list(counted)).order_by("ladder_place", "name")
    return [DryType(tool_type, counted[tool_type.pk]) for tool_type in types]


def dry_sets(branch: Branch, now: datetime, *, type_id: int | None = None) -> list[tuple[SetState, Conditioning]]:
    """Sets outside of water that are dry now (of one type, or of all), at most 60, the least worked first."""
    rows = _outside(branch)
    if type_id is not None:
        rows = rows.filter(tool_set__tool_type_id=type_id)
    states = list(
        rows.select_related("tool_set__tool_type", "place").order_by(
            "tool_set__tool_type__ladder_place", "worked_m2", "pk"
        )[: OFFERED * 2]
    )
    waters = waters_of(states, branch, at=now)
    answers = [(state, waters.now(state.pk, now)) for state in states]
    return [(state, answer) for state, answer in answers if answer.state in ("dry", "unknown need")][:OFFERED]


def not_at_hand(branch: Branch, *, type_id: int | None = None) -> list[SetState]:
    """Sets that may need a soak and cannot be put in: missing, or at a supplier; at most 60; one query."""
    rows = _soaked_types(branch).filter(place__kind__in=_NOT_AT_HAND)
    if type_id is not None:
        rows = rows.filter(tool_set__tool_type_id=type_id)
    rows = rows.select_related("tool_set__tool_type", "place")
    return list(rows.order_by("tool_set__tool_type__ladder_place", "code", "pk")[:OFFERED])


def _outside(branch: Branch) -> QuerySet[SetState]:
    at_hand = Q(place__kind__in=_DRY_PLACES) | Q(place__isnull=True)
    return _soaked_types(branch).filter(at_hand, soaking=False)


def _soaked_types(branch: Branch) -> QuerySet[SetState]:
    """Usable sets that are with nobody, of types that water may do good to."""
    return SetState.objects.filter(
        branch=branch,
        main_id=F("tool_set_id"),
        fitness=Fitness.USABLE,
        outing__isnull=True,
        tool_set__tool_type__soak_need__in=(SoakNeed.REQUIRED, SoakNeed.UNKNOWN),
    )
