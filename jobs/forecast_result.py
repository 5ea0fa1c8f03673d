"""What a forecast says, as plain values a page shows and a row of JSON keeps. Areas are reference areas, m2."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, is_dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from types import NoneType, UnionType
from typing import Any, Literal, TypeVar, get_args, get_origin, get_type_hints
from uuid import UUID

# Up to so many days ahead the day itself is shown, beyond it the week (METHODS 5.2).
SHOW_DAY_WITHIN = 15
# What is due within so many days belongs to the order of this week.
DUE_WITHIN = 7
T = TypeVar("T")


@dataclass(frozen=True)
class Gap:
    """Something that was missing: a code of jobs.forecast_words.GAPS, and what it is about."""

    code: str
    about: str = ""
    count: int = 0


@dataclass(frozen=True)
class WeekNeed:
    """Need at the end of a calendar week: reference area wanted since today (P10, P25, P50, P75, P90).

    week_m2: what that week wants on average. sets: fresh sets opened since today, on average. short: chance that by
    then a fresh set was wanted and none was there.
    """

    ends_on: date
    low_m2: float
    quarter_m2: float
    likely_m2: float
    three_quarters_m2: float
    high_m2: float
    week_m2: float
    sets: float
    short: float


@dataclass(frozen=True)
class Arrival:
    """Sets on order and the day they are expected; late: that day lay in the past and was put off."""

    order_id: int
    number: str
    day: date
    sets: int
    late: bool
    promised: bool


@dataclass(frozen=True)
class JobBehind:
    """A job that opens fresh sets: how many on average, in what share of worlds, and what it asks of the type."""

    name: str
    job_id: UUID | None
    standing: str
    award_chance: float
    starts_on: date | None
    area_m2: float
    sets: float
    weight: float


@dataclass(frozen=True)
class LeadSaid:
    """The lead time of a type's supplier, its working days, and where it comes from (word, orders here, orders open).

    minimum_sets: its smallest order.
    """

    supplier_id: int
    supplier: str
    low_days: float
    likely_days: float
    high_days: float
    sure_days: float
    word_days: int | None
    received: int
    still_open: int
    minimum_sets: int = 1


@dataclass(frozen=True)
class TypeForecast:
    """What to buy of one tool type.

    life_here_m2, life_after_m2: at least, likely, up to, of what is here and of that with what is on order and advised.
    order_by: the last working day that keeps the certainty, None: nothing to order. passed: that day is gone.
    sets: how many, None when the lead time is unknown. sure: the chance of no shortage that number really gives from
    its arrival on. early_on, early_chance: the day from which, and the chance that, it runs short before anything
    ordered today can be here (None: within what the certainty leaves open); early_jobs: the jobs that hits;
    rush: how many sets more, if they came at once, avert it (0: what is on order would, come early).
    cost: sets x price; only for people who may see money.
    """

    tool_type_id: int
    name: str
    fresh: int
    part_worn: int
    aside: int
    missing: int
    on_order: int
    life_here_m2: tuple[float, float, float]
    life_after_m2: tuple[float, float, float]
    new_life_m2: tuple[float, float, float]
    worn_out: int
    weeks: tuple[WeekNeed, ...]
    short_on: date | None
    short_chance: float
    order_by: date | None
    passed: bool
    sets: int | None
    sure: float | None
    arrives_on: date | None
    price: Decimal | None
    cost: Decimal | None
    currency: str
    lead: LeadSaid | None
    arrivals: tuple[Arrival, ...]
    behind: tuple[JobBehind, ...]
    gaps: tuple[Gap, ...]
    early_on: date | None
    early_chance: float
    early_jobs: tuple[JobBehind, ...]
    rush: int = 0

    @property
    def unsolved_on(self) -> date | None:
        """From when it may run short whatever is ordered now: before an order, or what is on order, can be here."""
        return self.early_on if self.sets != 0 else self.early_on or self.short_on

    @property
    def life_is_spread(self) -> bool:
        """Whether it may run short though at least as much life is here as is likely needed by then."""
        if self.short_on is None or not self.part_worn:
            return False
        week = next((week for week in self.weeks if week.ends_on >= self.short_on), None)
        come = sum(arrival.sets for arrival in self.arrivals if arrival.day <= self.short_on)
        return week is not None and week.high_m2 < self.life_here_m2[0] + come * self.new_life_m2[0]

    @property
    def waits_for_order(self) -> bool:
        """Whether what may run short is on order already and only comes too late."""
        return self.unsolved_on is not None and not self.rush and (self.on_order > 0 or self.early_on is None)

    @property
    def unsolved_chance(self) -> float:
        """How likely that is."""
        return self.early_chance if self.early_on is not None else self.short_chance

    @property
    def state(self) -> Literal["order", "late", "unknown", "nothing"]:
        """What there is to do: order, nothing that an order helps, lead time first, nothing at all."""
        if self.sets is None:
            return "unknown" if self.short_on is not None else "nothing"
        if self.sets:
            return "order"
        return "nothing" if self.unsolved_on is None else "late"

    def is_due(self, today: date) -> bool:
        """Whether it belongs to this week's order."""
        return bool(self.sets) and self.order_by is not None and self.order_by <= today + timedelta(days=DUE_WITHIN)


@dataclass(frozen=True)
class Forecast:
    """The whole answer: by order-by date, what needs none last."""

    today: date
    made_at: datetime
    certainty: float
    jobs: int
    bids: int
    types: tuple[TypeForecast, ...]
    gaps: tuple[Gap, ...]

    @property
    def due(self) -> tuple[TypeForecast, ...]:
        """What belongs to this week's order."""
        return tuple(one for one in self.types if one.is_due(self.today))

    @property
    def later(self) -> tuple[TypeForecast, ...]:
        """What is to be ordered, but not this week."""
        return tuple(one for one in self.types if one.order_by is not None and not one.is_due(self.today))

    @property
    def unsolved(self) -> tuple[TypeForecast, ...]:
        """What may run short whatever is ordered now, the most likely first (to whole percents), then the soonest."""
        found = [one for one in self.types if one.unsolved_on is not None and one.sets is not None]
        return tuple(sorted(found, key=lambda one: (-round(one.unsolved_chance, 2), one.unsolved_on, one.name)))

    def of_type(self, tool_type_id: int) -> TypeForecast | None:
        """The answer about one type."""
        return next((one for one in self.types if one.tool_type_id == tool_type_id), None)


def total_cost(types: tuple[TypeForecast, ...]) -> Decimal | None:
    """What these orders cost together; None when a price is missing."""
    costs = [one.cost for one in types]
    if not costs or None in costs:
        return None
    return sum((cost for cost in costs if cost is not None), Decimal(0))


def to_plain(forecast: Forecast) -> dict[str, Any]:
    """The forecast as plain data for a JSON column."""
    plain: dict[str, Any] = _plain(asdict(forecast))
    return plain


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, Decimal | UUID):
        return str(value)
    return value


def from_plain(data: Mapping[str, Any]) -> Forecast:
    """The forecast from its plain data. Raises KeyError, TypeError or ValueError when it is of another make."""
    return _revive(Forecast, data)


def _revive(kind: Any, value: Any) -> Any:
    if get_origin(kind) is UnionType:
        if value is None:
            return None
        return _revive(next(one for one in get_args(kind) if one is not NoneType), value)
    if get_origin(kind) is tuple:
        inner = get_args(kind)
        if inner[-1] is Ellipsis:
            return tuple(_revive(inner[0], each) for each in value)
        return tuple(_revive(one, each) for one, each in zip(inner, value, strict=True))
    if isinstance(kind, type) and is_dataclass(kind):
        hints = get_type_hints(kind)
        return kind(**{field.name: _revive(hints[field.name], value[field.name]) for field in fields(kind)})
    if kind in (date, datetime):
        return kind.fromisoformat(value)
    return kind(value)
