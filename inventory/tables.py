"""Tables that go out as files: what each holds, for whom, in which words; `jobs` registers its own when it is ready."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.utils.functional import Promise

from inventory.models import Branch, Person
from inventory.rights import Right
from inventory.times import zone_of
from inventory.units import UNITS, from_si, unit_for

if TYPE_CHECKING:
    from inventory.units import Dimension

# Decimals of amounts in files: fine enough that they read back as the same amount.
_PLACES = {"area": 2, "height": 3, "length": 2, "temperature": 1, "volume": 2}
OFFICE = (Right.PLAN, Right.BUY, Right.COUNT, Right.RUN_SHOP)


@dataclass(frozen=True)
class For:
    """For whom a table is written, and of which days (both included; None: without end)."""

    person: Person
    today: date
    since: date | None = None
    until: date | None = None

    @property
    def branch(self) -> Branch:
        """The person's branch."""
        return self.person.branch

    @cached_property
    def zone(self) -> ZoneInfo:
        """The branch's time zone."""
        return zone_of(self.branch)

    def amount(self, dimension: Dimension, si: float | None) -> float | None:
        """An amount in the person's unit."""
        if si is None:
            return None
        units = self.person.units
        return round(from_si(si, unit_for(dimension, units)), _PLACES[dimension])  # type: ignore[arg-type]

    def area(self, m2: float | None) -> float | None:
        """An area in the person's unit."""
        return self.amount("area", m2)

    def height(self, mm: float | None) -> float | None:
        """A height in the person's unit."""
        return self.amount("height", mm)

    def length(self, m: float | None) -> float | None:
        """A length in the person's unit."""
        return self.amount("length", m)

    def when(self, at: datetime | None) -> datetime | None:
        """An instant as the branch's clock shows it, without its zone: files know none."""
        return None if at is None else at.astimezone(self.zone).replace(tzinfo=None)

    def span(self, name: str) -> dict[str, datetime]:
        """Filter of a column of instants by the days asked for."""
        found = {}
        if self.since is not None:
            found[f"{name}__gte"] = datetime.combine(self.since, time(0), self.zone)
        if self.until is not None:
            found[f"{name}__lt"] = datetime.combine(self.until + timedelta(days=1), time(0), self.zone)
        return found


Heading = str | Promise


@dataclass(frozen=True)
class Column:
    """One column: its heading ("Area (%(area)s)" takes the person's unit) and the value of a row."""

    heading: Heading
    value: Callable[[Any, For], Any]
    money: bool = False


@dataclass(frozen=True)
class Table:
    """A table that can be saved. rows: its rows, read as they are written. spans: can be cut by days."""

    name: str
    label: Heading
    says: Heading
    columns: Sequence[Column]
    rows: Callable[[For], Iterable[Any]]
    rights: tuple[str, ...] = OFFICE
    spans: bool = False

    def open_to(self, person: Person) -> bool:
        """Whether this person may have it."""
        return any(map(person.can, self.rights))

    def _columns(self, person: Person) -> list[Column]:
        return [column for column in self.columns if not column.money or person.can(Right.SEE_MONEY)]

    def headings(self, person: Person) -> list[str]:
        """The headings, with the person's units; money only with its right."""
        units = {
            name: UNITS[unit_for(name, person.units)].symbol  # type: ignore[arg-type]
            for name in ("area", "height", "length", "temperature", "volume")
        }
        return [str(column.heading) % units for column in self._columns(person)]

    def cells(self, asked: For) -> Iterator[list[Any]]:
        """The rows as plain values, one after the other."""
        columns = self._columns(asked.person)
        for row in self.rows(asked):
            yield [column.value(row, asked) for column in columns]


_registered: dict[str, Table] = {}


def register(tables: Iterable[Table]) -> None:
    """Make tables known, in the order in which they are listed."""
    _registered.update({table.name: table for table in tables})


def tables_for(person: Person) -> list[Table]:
    """The tables that a person may have."""
    return [table for table in _registered.values() if table.open_to(person)]


def table_named(name: str) -> Table | None:
    """A table by its name, if there is one."""
    return _registered.get(name)
