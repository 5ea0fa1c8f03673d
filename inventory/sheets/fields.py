"""What a list can say: fields with their words and shapes, and what the shop already knows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal, get_args
from uuid import UUID

from inventory.units import Dimension, Units

from .words import nearest, squeezed

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

Shape = Literal[
    "text", "code", "grit", "bond", "count", "height", "state", "area", "length", "hours", "money", "date",
    "chance", "choice", "yes_no", "ladder",
]  # fmt: skip
# So many places one list box offers.
MOST_PLACES = 200
DateOrder = Literal["dmy", "mdy"]
NamedKind = Literal["places", "sites", "zones", "jobs", "sets", "people"]


@dataclass(frozen=True)
class Field:
    """One thing a column can say.

    `words` are headings that mean it (plain form: lower case, single spaces); `weak_words` only make a guess.
    `choices` maps what people write to what is kept, for the shape "choice"; `choice_names` names kept numbers.
    """

    name: str
    label: str | _StrPromise
    shape: Shape
    words: tuple[str, ...]
    weak_words: tuple[str, ...] = ()
    required: bool = False
    dimension: Dimension | None = None
    past: bool = False
    area_of: Literal["pass", "worked", "zone"] = "zone"
    choices: Mapping[str, str] = field(default_factory=dict)
    choice_names: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class KnownType:
    """A tool type of the shop; heights in mm, None where not known."""

    key: str
    name: str
    grit: str
    bond: str
    mount: str = ""
    new_height_mm: float | None = None
    retire_height_mm: float | None = None
    backing_mm: float = 0.0
    pieces_per_set: int = 1
    rated_coverage_m2: float | None = None


@dataclass(frozen=True)
class Thing:
    """Something the shop knows by name: a place, a site, a zone, a job, a set (`name` its code), a person."""

    key: str
    name: str
    kind: str = ""
    inside: str = ""  # the key of what it belongs to: a zone's site, a job's site
    tool_type: str = ""  # a set's type
    area_m2: float | None = None  # a zone's area
    says: str = ""  # a few words about where it is
    since: date | None = None  # a set's beginning on record
    opening: str = ""  # a set's beginning: received, new, height, three_quarters, half, quarter, unknown
    until: date | None = None  # the day a set was retired
    bought: date | None = None  # the day its list says it was bought


@dataclass(frozen=True)
class Known:
    """What the shop knows when a list is judged.

    `existing` maps keys as `Spec.key_of` makes them to a few words about what is there; `came_in` holds the ids of
    rows that came in before; `here` the keys of things the shop has, as its own tables write them. `units`,
    `date_order` and `currency` are the person's habits: hints, never evidence.
    """

    today: date
    units: Units = "us"
    date_order: DateOrder | None = None
    currency: str = "USD"
    tool_types: tuple[KnownType, ...] = ()
    places: tuple[Thing, ...] = ()
    sites: tuple[Thing, ...] = ()
    zones: tuple[Thing, ...] = ()
    jobs: tuple[Thing, ...] = ()
    sets: tuple[Thing, ...] = ()
    people: tuple[Thing, ...] = ()
    existing: Mapping[str, str] = field(default_factory=dict)
    came_in: frozenset[UUID] = frozenset()
    here: frozenset[str] = frozenset()

    def like(self, kind: Literal["places", "people"], text: str, cutoff: float) -> list[Thing]:
        """The things a text may mean, likeliest first: those with all its words in their name, then names like it."""
        form = squeezed(text)
        found = self.near.get((kind, form))
        if found is None:
            wanted, things = set(form.split()), getattr(self, kind)
            found = [thing for thing in things if wanted and wanted <= set(squeezed(thing.name).split())]
            for name in nearest(form, (thing.name for thing in things), cutoff):
                found += [thing for thing in self.named(kind, name)[:1] if thing not in found]
            self.near[kind, form] = found
        return found

    def named(self, kind: NamedKind, text: str) -> tuple[Thing, ...]:
        """The things of a kind that have a name, however it is written ("R-08" is "r 8")."""
        return self._by_name[kind].get(squeezed(text), ())

    @cached_property
    def place_answers(self) -> tuple[tuple[str, str], ...]:
        """Every place as an answer to where a set is, at most MOST_PLACES of them."""
        return tuple((f"place:{place.key}", place.name) for place in self.places[:MOST_PLACES])

    @cached_property
    def near(self) -> dict[tuple[str, ...], list[Thing]]:
        """What was found like a text before: lists repeat themselves, and comparing names takes time."""
        return {}

    @cached_property
    def _by_name(self) -> dict[str, dict[str, tuple[Thing, ...]]]:
        # Ten thousand sets times fifty thousand rows is too much to walk.
        index: dict[str, dict[str, tuple[Thing, ...]]] = {}
        for kind in get_args(NamedKind):
            forms: dict[str, tuple[Thing, ...]] = {}
            for thing in getattr(self, kind):
                form = squeezed(thing.name)
                forms[form] = (*forms.get(form, ()), thing)
            index[kind] = forms
        return index


@dataclass(frozen=True)
class Reading:
    """How a column is read: its unit, whether heights hold the backing, the order of its dates, its decimal mark."""

    unit: str = ""
    with_backing: bool = False
    date_order: DateOrder | None = None
    decimal_mark: str | None = None
