"""The rack: every set in use with its place, its water and its life left, in a constant number of queries.

A set's whole facts (a JSON column) are read only where its water may say something but "dry": sets of types that need
soaking which lie in a tub, are out or in something that holds water, were left in water, or of which anything is on
record within the longest dry-out; and missing sets, for since when. Of every other set the cached columns say all.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import F, Max, Q, QuerySet

from inventory import hooks
from inventory.estimate import SetLife, all_lives
from inventory.ledger.conditioning import Conditioning, Why
from inventory.ledger.facts import facts_from_json
from inventory.lives_together import together
from inventory.models import Branch, Outing, Person, Place, Recipe, SetState, ToolType
from inventory.models.choices import Face, Fitness, HolderKind, PlaceKind, SoakNeed
from inventory.queries.catalogue import ladder_of, recipe_of
from inventory.queries.soak import waters_of
from inventory.shop_settings import ShopSettings, settings_of
from inventory.times import zone_of

# Where water is carried along or stands; a set elsewhere dries out by the clock.
_WET_PLACES = (PlaceKind.TUB, PlaceKind.BUCKET, PlaceKind.VAN, PlaceKind.SITE, PlaceKind.CRATE)
_COLUMNS = (
    "tool_set_id",
    "tool_set__tool_type_id",
    "code",
    "tool_set__own_code",
    "place_id",
    "peg",
    "outing_id",
    "holder_kind",
    "holder_person_id",
    "holder_name",
    "fitness",
    "fitness_why",
    "face",
    "soaking",
    "open_flags",
    "worked_m2",
    "last_at",
)


@dataclass(slots=True)
class RackSet:
    """One set as the rack knows it. group: here, in_water, out, aside, missing (trouble wins over place).

    missing_since: when it was lost sight of. life: reference area. leaves: it leaves tonight.
    """

    set_id: UUID
    tool_type: ToolType
    code: str
    place: str
    peg: str
    holder: str
    outing: str
    fitness: str
    fitness_why: str
    glazed: bool
    flags: int
    worked_m2: float
    last_at: datetime | None
    group: str
    conditioning: Conditioning
    life: SetLife | None
    leaves: bool = False
    missing_since: datetime | None = None

    @property
    def key(self) -> str:
        """The one word for its state, a key of inventory.gauge.STATES, or "" (here, and no soak asked for)."""
        if self.group in ("missing", "aside", "out"):
            return self.group
        if self.glazed:
            return "glazed"
        water = {"conditioned": "conditioned", "soaked, not confirmed": "soaked", "soaking": "soaking", "dry": "dry"}
        return water.get(self.conditioning.state, "")


@dataclass
class Grit:
    """One row of the rack: the types of one grit and bond at one place of the ladder, and their sets."""

    types: list[ToolType]
    ladder_place: int
    ladder_count: int
    sets: list[RackSet] = field(default_factory=list)
    need_m2: float | None = None

    @property
    def tool_type(self) -> ToolType:
        """The type that names the row."""
        return self.types[0]

    @property
    def working(self) -> list[RackSet]:
        """The sets of the row that work in the weeks to come, as Reorder counts them: here, in water, or out."""
        return [one for one in self.sets if one.group in ("here", "in_water", "out")]

    @property
    def life_m2(self) -> tuple[float, float, float]:
        """Reference area in these sets together: at least, likely, up to."""
        return together(one.life for one in self.working if one.life is not None)

    @property
    def cover(self) -> str:
        """Whether that covers the need of the next weeks: covers, may_run_short, short; "" while nobody plans."""
        if self.need_m2 is None:
            return ""
        low, _likely, high = self.life_m2
        return "covers" if self.need_m2 <= low else "may_run_short" if self.need_m2 <= high else "short"


@dataclass(frozen=True)
class Rack:
    """The rack as it stands: rows coarse to fine (types in use, or with sets), and the settings it was asked with.

    bare: jobs of the next weeks that have no steps yet, so that no row's need knows of them.
    """

    grits: tuple[Grit, ...]
    settings: ShopSettings
    bare: tuple[str, ...] = ()

    @property
    def sets(self) -> list[RackSet]:
        """Every set, row by row."""
        return [one for grit in self.grits for one in grit.sets]


def in_use(branch: Branch) -> QuerySet[SetState]:
    """The states of the branch's sets that are not retired."""
    return SetState.objects.filter(branch=branch, main_id=F("tool_set_id")).exclude(fitness=Fitness.RETIRED)


def rack_of(branch: Branch, now: datetime, *, states: QuerySet[SetState] | None = None) -> Rack:
    """The rack of a branch. states: only these (by default all in use); rows without such a set stay, if in use.

    At most 16 queries of our own for any number of sets, and those of the plans behind the two hooks.
    """
    types = list(ToolType.objects.order_by("ladder_place", "bond", "name", "pk"))
    settings = settings_of(branch, today=now.astimezone(zone_of(branch)).date())
    places = ladder_of(types)
    sets = rack_sets(branch, now, types, settings, in_use(branch) if states is None else states)
    need = hooks.need_by_type(branch, now)
    rows: dict[tuple[int, str, str], Grit] = {}
    for tool_type in types:
        found = sets.get(tool_type.pk, [])
        if not found and not tool_type.active:
            continue
        place, count = places[tool_type.pk]
        row = rows.setdefault((place, tool_type.bond, tool_type.grit), Grit([], place, count))
        row.types.append(tool_type)
        row.sets += found
        if need is not None:
            row.need_m2 = (row.need_m2 or 0.0) + need.get(tool_type.pk, 0.0)
    return Rack(tuple(sorted(rows.values(), key=lambda row: row.ladder_place)), settings, getattr(need, "bare", ()))


def rack_sets(
    branch: Branch, now: datetime, types: Iterable[ToolType], settings: ShopSettings, states: QuerySet[SetState]
) -> dict[int, list[RackSet]]:
    """The sets of these states by tool type id."""
    by_type = {one.pk: one for one in types}
    rows = list(states.order_by().values_list(*_COLUMNS, named=True))
    if not rows:
        return {}
    lives = all_lives(settings, by_type.values())
    places = {place.pk: place for place in Place.objects.filter(branch=branch)}
    outings = {one.pk: one for one in Outing.objects.filter(pk__in=states.order_by().values("outing_id"))}
    people = dict(Person.objects.values_list("pk", "name"))
    today = now.astimezone(zone_of(branch)).date()
    recipes = recipe_of(by_type, today)
    waters, since = _waters(branch, now, states)
    leaving = hooks.leaves_tonight(branch, now)
    dry = {pk: _without_facts(one, recipes.get(pk)) for pk, one in by_type.items()}
    found: dict[int, list[RackSet]] = {}
    for row in rows:
        place, outing = places.get(row.place_id), outings.get(row.outing_id)
        type_id = row.tool_set__tool_type_id
        found.setdefault(type_id, []).append(
            RackSet(
                row.tool_set_id,
                by_type[type_id],
                row.code or row.tool_set__own_code,
                place.name if place is not None and place.kind != PlaceKind.UNKNOWN else "",
                row.peg,
                _holder(row, people, outing, places),
                outing.name if outing else "",
                row.fitness,
                row.fitness_why,
                row.face == Face.GLAZED,
                row.open_flags,
                row.worked_m2,
                row.last_at,
                _group(row, place),
                waters.get(row.tool_set_id) or dry[type_id],
                lives.get(row.tool_set_id),
                row.tool_set_id in leaving,
                since.get(row.tool_set_id),
            )
        )
    return found


def _group(row: Any, place: Place | None) -> str:
    if place is not None and place.kind == PlaceKind.UNKNOWN:
        return "missing"
    if row.fitness != Fitness.USABLE:
        return "aside"
    if row.outing_id is not None or row.holder_kind != HolderKind.SHOP:
        return "out"
    return "in_water" if row.soaking else "here"


def _holder(row: Any, people: Mapping[int, str], outing: Outing | None, places: Mapping[UUID, Place]) -> str:
    """Who has it: "Dag P., van 3"; the same words as actions.gate.holder_of."""
    parts = []
    if row.holder_person_id is not None:
        parts.append(people.get(row.holder_person_id, ""))
    elif row.holder_kind != HolderKind.SHOP and row.holder_name:
        parts.append(row.holder_name)
    if outing is not None:
        if not parts:
            parts.append(outing.name)
        if outing.van_id is not None and outing.van_id in places:
            parts.append(places[outing.van_id].name)
    return ", ".join(part for part in parts if part)


def _without_facts(tool_type: ToolType, recipe: Recipe | None) -> Conditioning:
    """What the soak rules say of a set that lies in no water and has been left alone for longer than any dry-out."""
    if tool_type.soak_need == SoakNeed.NONE:
        return Conditioning("not needed", Why("not_needed"))
    if tool_type.soak_need != SoakNeed.REQUIRED or recipe is None:
        return Conditioning("unknown need", Why("unknown_need"))
    return Conditioning("dry", Why("never_soaked", {"cold_hours": recipe.cold_hours}))


def may_be_wet(now: datetime) -> Q:
    """Sets of which more than the cached columns must be asked; one query for the longest dry-out there is."""
    longest = Recipe.objects.aggregate(hours=Max("dry_out_hours"))["hours"] or 0.0
    return Q(tool_set__tool_type__soak_need=SoakNeed.REQUIRED) & (
        Q(soaking=True)
        | Q(outing__isnull=False)
        | Q(last_at__gte=now - timedelta(hours=longest))
        | Q(place__kind__in=_WET_PLACES)
        | Q(facts__left_how="in_water")
    )


def _waters(
    branch: Branch, now: datetime, states: QuerySet[SetState]
) -> tuple[dict[UUID, Conditioning], dict[UUID, datetime]]:
    """Conditioning of the sets that may be wet, and since when the missing ones are; six queries."""
    asked = states.filter(may_be_wet(now) | Q(place__kind=PlaceKind.UNKNOWN)).order_by()
    rows = list(asked.select_related("tool_set__tool_type").only("facts", "tool_set__tool_type"))
    # What it worked is no matter here, and most of the facts.
    facts = {row.pk: facts_from_json({**row.facts, "uses": {}}) for row in rows}
    since = {
        pk: datetime.fromisoformat(known.place_since)
        for pk, known in facts.items()
        if known.missing and known.place_since is not None
    }
    waters = waters_of(rows, branch, at=now, facts_of=facts)
    return {row.pk: waters.now(row.pk, now) for row in rows}, since
