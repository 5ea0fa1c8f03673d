"""What the soak rules are asked about: readings, recipes, spells in water (plain facts, in UTC).

Pure: no queries, no clock. Times come in with any zone and are kept in UTC, so that a clock change in the night
neither gives nor takes an hour. Hours, temperatures and vouching times are common practice or our assumption; no
published standard for soaking diamond tools was found. The tool's own sheet wins.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Literal

TubId = Any  # hashable: the id of a place
Need = Literal["none", "required", "unknown"]
Kind = Literal["cold", "hot", "mixed"]
LeftHow = Literal["in_water", "wet", "dry", "in_van", "came_back", "unknown"]
MomentKind = Literal["wet_work", "left_water", "in_water", "wet", "dry", "in_van", "came_back", "unknown"]


def utc(instant: datetime) -> datetime:
    """Return the instant in UTC.

    Two local times of one zone subtract as wall clocks do, which is an hour wrong across a clock change; UTC never is.

    Raises: ValueError when the instant carries no time zone.
    """
    if instant.tzinfo is None:
        raise ValueError(f"{instant.isoformat()} has no time zone; a time with its zone is needed.")
    return instant.astimezone(UTC)


@dataclass(frozen=True)
class Reading:
    """One look at a tub's thermometer: when, and the water's temperature in degrees Celsius.

    thermostat: whether one held the tub when it was read; None leaves it to what the tub is said to be.
    """

    at: datetime
    temperature_c: float
    thermostat: bool | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "at", utc(self.at))


@dataclass(frozen=True)
class TubFacts:
    """A tub's readings (kept in order of time) and whether a thermostat holds it.

    Of two readings at one instant the colder is kept: the cautious one (our assumption).
    """

    readings: tuple[Reading, ...] = ()
    thermostat: bool = False
    _times: tuple[datetime, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        coldest: dict[datetime, Reading] = {}
        for reading in self.readings:
            known = coldest.get(reading.at)
            if known is None or reading.temperature_c < known.temperature_c:
                coldest[reading.at] = reading
        ordered = tuple(coldest[at] for at in sorted(coldest))
        object.__setattr__(self, "readings", ordered)
        object.__setattr__(self, "_times", tuple(reading.at for reading in ordered))

    def from_on(self, at: datetime) -> tuple[Reading, ...]:
        """Return the readings at or after an instant."""
        return self.readings[bisect_left(self._times, at) :]

    def last_until(self, at: datetime) -> Reading | None:
        """Return the latest reading at or before an instant, None when there is none."""
        place = bisect_right(self._times, at)
        return self.readings[place - 1] if place else None


@dataclass(frozen=True)
class Recipe:
    """What a tool type asks of the water, as it stood when the soak began (the caller passes that version).

    cold_hours: hours in water of any temperature, None when only a hot soak counts. hot_hours at or above
    hot_limit_c: None when there is no hot recipe. mixed_credit: hours of both kinds add up in proportion.
    dry_out_hours: how long the set still counts after leaving water or wet work (24, our assumption).

    Raises: ValueError when an hour count is not above zero, or hot_hours and hot_limit_c are not given together.
    """

    cold_hours: float | None
    hot_hours: float | None = None
    hot_limit_c: float | None = None
    mixed_credit: bool = False
    dry_out_hours: float = 24.0
    need: Need = "required"

    def __post_init__(self) -> None:
        for name, hours in (("cold", self.cold_hours), ("hot", self.hot_hours)):
            if hours is not None and not hours > 0:
                raise ValueError(f"A {name} soak of {hours} h is not possible; give more than 0 h, or leave it empty.")
        if not self.dry_out_hours >= 0:
            raise ValueError(f"A dry-out of {self.dry_out_hours} h is not possible; give 0 h or more.")
        if (self.hot_hours is None) != (self.hot_limit_c is None):
            raise ValueError("A hot soak needs both its hours and its temperature; give both or neither.")


@dataclass(frozen=True)
class SoakSettings:
    """The shop's soak settings: how long one reading vouches, and for how long a set may be lifted out (DESIGN 4)."""

    vouch_hours: float = 4.0
    thermostat_vouch_hours: float = 14.0
    interruption_minutes: float = 30.0

    def vouch(self, tub: TubFacts, reading: Reading) -> timedelta:
        """Return how long a reading of this tub stands when no later one is taken: as the tub was when it was read."""
        held = tub.thermostat if reading.thermostat is None else reading.thermostat
        return timedelta(hours=self.thermostat_vouch_hours if held else self.vouch_hours)

    @property
    def interruption(self) -> timedelta:
        """Return the time out of water from which a soak starts again."""
        return timedelta(minutes=self.interruption_minutes)


@dataclass(frozen=True)
class Spell:
    """One stay of a set in one tub (a bucket is a tub too).

    ended_at None: still in it. recipe: as it was when this stay began; None leaves it to the recipe that is asked
    with. Of the stays that make up one soak the first one's recipe holds.
    """

    tub_id: TubId
    begun_at: datetime
    ended_at: datetime | None = None
    recipe: Recipe | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "begun_at", utc(self.begun_at))
        if self.ended_at is not None:
            object.__setattr__(self, "ended_at", utc(self.ended_at))


Run = tuple[Spell, ...]


@dataclass(frozen=True)
class Confirmation:
    """Somebody (by: whatever names the person) looked at the set and said it is wet through."""

    at: datetime
    by: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "at", utc(self.at))


@dataclass(frozen=True)
class WetMoment:
    """One moment that says something about a set's wetness outside recorded spells.

    wet_work: it worked wet. left_water: it was taken out of water. The others are the answer to "How do you leave the
    sets?" given at that moment. in_water: it stays wet until the next moment or spell. wet: still wet then, its
    dry-out starts there (our assumption). dry, in_van, came_back, unknown: nothing new, the dry-out runs from when it
    last was wet; no answer counts as dry.
    """

    at: datetime
    kind: MomentKind

    def __post_init__(self) -> None:
        object.__setattr__(self, "at", utc(self.at))


@dataclass(frozen=True)
class SoakFacts:
    """What a set's ledger says of water (LEDGER 18).

    left_how is the answer that still stands and left_how_at when it was given; without that time the latest of the
    other facts is taken. wet_moments: all such moments that are known; last_wet_work_at, left_water_at and left_how
    alone forget the nights before the last, over which a set may have been kept wet, so a caller that has the history
    passes it.
    """

    spells: tuple[Spell, ...] = ()
    confirmed_at: tuple[Confirmation, ...] = ()
    left_water_at: datetime | None = None
    last_wet_work_at: datetime | None = None
    left_how: LeftHow | None = None
    left_how_at: datetime | None = None
    wet_moments: tuple[WetMoment, ...] = ()

    def __post_init__(self) -> None:
        for name in ("left_water_at", "last_wet_work_at", "left_how_at"):
            instant = getattr(self, name)
            if instant is not None:
                object.__setattr__(self, name, utc(instant))
