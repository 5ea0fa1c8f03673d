"""What a soak plan is asked with and what it answers: dry sets, tubs, lines of the plan (METHODS 4).

Pure; instants come in with any zone and are kept in UTC. Hours are our assumption where no recipe says them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from inventory.ledger.soak_facts import Kind, Recipe, utc
from jobs.numerics.soak_tubs import Key

LOADING_HOURS = 2.0  # before a start, our assumption, METHODS 4

SoakRule = Literal["cold", "hot_in_time", "hot_no_room", "another_out_earlier", "soaked_earlier"]
LateWhy = Literal["no_time", "no_room", "no_tub", "tub_too_small", "no_staffed_hour", "leaves_already"]
MendCode = Literal["heat_a_tub", "find_room", "hand_over", "leave_later"]

# Water that burns an adult's skin to the third degree: degF and seconds (REFERENCES S5, read in copies of the text).
_SCALDS_F_S = ((150.0, 2.0), (140.0, 6.0), (130.0, 30.0), (120.0, 300.0))


def scald_seconds(temperature_c: float) -> float | None:
    """Seconds in which water of this temperature [degC] scalds badly; None below 120 F (48.9 C), where it takes longer.

    Between two published temperatures the time of the hotter one is said; above 150 F that of 150 F.
    Raises: ValueError for a temperature that is not liquid water's.
    Source: REFERENCES S5; U8 for the degrees.
    """
    if not 0 <= temperature_c <= 100:
        raise ValueError(f"`temperature_c` must lie between 0 and 100; got {temperature_c}.")
    fahrenheit = temperature_c * 9 / 5 + 32
    if fahrenheit < _SCALDS_F_S[-1][0] - 0.1:
        return None
    above = [seconds for degrees, seconds in _SCALDS_F_S if degrees >= fahrenheit - 0.1]
    return max(above, default=_SCALDS_F_S[0][1])


def _slots(name: str, key: Key, slots: int) -> None:
    if slots < 1:
        raise ValueError(f"`slots` of {name} {key!r} must be 1 or more; got {slots}.")


def _hours(name: str, key: Key, hours: float) -> None:
    if not 0 <= hours < 10_000:
        raise ValueError(f"`{name}` of {key!r} must be 0 h or more; got {hours}.")


@dataclass(frozen=True)
class DrySet:
    """A set that will be dry and must be conditioned at a start.

    recipe: what its type asks for. starts_at: planned start of its step. travel_h: from the shop to the site.
    carried_in_water: on the way. slots: how much of a tub it takes.
    """

    key: Key
    recipe: Recipe
    starts_at: datetime
    travel_h: float = 0.0
    carried_in_water: bool = False
    slots: int = 1

    def __post_init__(self) -> None:
        object.__setattr__(self, "starts_at", utc(self.starts_at))
        _slots("set", self.key, self.slots)
        _hours("travel_h", self.key, self.travel_h)

    def leaves_at(self, loading_hours: float) -> datetime:
        """When it leaves its tub: loading and travel before the start."""
        return self.starts_at - timedelta(hours=loading_hours + self.travel_h)

    @property
    def dry_out(self) -> timedelta:
        """How long it counts out of water."""
        return timedelta(hours=self.recipe.dry_out_hours)


@dataclass(frozen=True)
class Tub:
    """slots: how many sets (or pieces) it holds. hot: it can be heated and somebody reads it. thermostat: holds it."""

    key: Key
    slots: int
    hot: bool = False
    thermostat: bool = False

    def __post_init__(self) -> None:
        _slots("tub", self.key, self.slots)


@dataclass(frozen=True)
class Lying:
    """A set that is in a tub now. leaves_at: when it goes, None until somebody takes it.

    ready_at, starts_at: when its soak is done and when it must be wet; None where not known, and then it is left there.
    """

    key: Key
    tub: Key
    leaves_at: datetime | None = None
    ready_at: datetime | None = None
    starts_at: datetime | None = None
    dry_out_h: float = 24.0
    carried_in_water: bool = False
    slots: int = 1

    def __post_init__(self) -> None:
        for name in ("leaves_at", "ready_at", "starts_at"):
            if (at := getattr(self, name)) is not None:
                object.__setattr__(self, name, utc(at))
        _slots("set", self.key, self.slots)
        _hours("dry_out_h", self.key, self.dry_out_h)

    @property
    def dry_out(self) -> timedelta:
        """How long it counts out of water."""
        return timedelta(hours=self.dry_out_h)


@dataclass(frozen=True)
class WetSet:
    """A conditioned set that could stand in: for which dry sets (keys), wet until when (None: it lies in water).

    cancelled: of a cancelled job. reserved: meant for another job; offered to be handed over, never just taken.
    """

    key: Key
    fits: frozenset[Key]
    wet_until: datetime | None = None
    cancelled: bool = False
    reserved: bool = False

    def __post_init__(self) -> None:
        if self.wet_until is not None:
            object.__setattr__(self, "wet_until", utc(self.wet_until))


@dataclass(frozen=True)
class SoakLine:
    """One set's soak. put_in_at: by then, the latest; take_out_at: leaves_at, or earlier to make room.

    kind: recipe that makes it ready. rule: why so (hot_in_time: cold is too late). read_at: when the tub must be read.
    must_carry_in_water: its dry-out does not reach from take-out to the start. scald_s: hot water's caution.
    """

    key: Key
    tub: Key
    put_in_at: datetime
    ready_at: datetime
    take_out_at: datetime
    leaves_at: datetime
    starts_at: datetime
    kind: Kind
    rule: SoakRule
    read_at: tuple[datetime, ...]
    must_carry_in_water: bool
    scald_s: float | None


@dataclass(frozen=True)
class EarlyOut:
    """A set to be taken out of its tub earlier than it leaves, so that another can go in."""

    key: Key
    tub: Key
    take_out_at: datetime
    instead_of: datetime


@dataclass(frozen=True)
class WetInstead:
    """A wet set that stands in for a dry one."""

    key: Key
    wet_set: Key
    cancelled: bool


@dataclass(frozen=True)
class Mend:
    """What can still be done: heat a tub now (at), find room in any water by then (at), hand over a set of another job
    (what), leave later (at)."""

    code: MendCode
    at: datetime | None
    what: Key | None


@dataclass(frozen=True)
class LateSoak:
    """A set that will not be ready. missing hours: of each recipe if put in at next_put_in_at and left till it leaves.

    ready_at: when it would be by time alone. None: no such recipe, or nobody there.
    """

    key: Key
    why: LateWhy
    missing_hours_cold: float | None
    missing_hours_hot: float | None
    next_put_in_at: datetime | None
    ready_at: datetime | None
    mends: tuple[Mend, ...]


@dataclass(frozen=True)
class SoakPlan:
    """lines: by put-in; instead: wet sets; late: what is not in time; early_outs: taken out before they leave."""

    lines: tuple[SoakLine, ...]
    instead: tuple[WetInstead, ...]
    late: tuple[LateSoak, ...]
    early_outs: tuple[EarlyOut, ...]
