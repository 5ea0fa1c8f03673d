"""What a set's ledger adds up to: facts only, nothing that the clock or a model changes."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from datetime import UTC, datetime
from typing import Any

# Strength of worked lines that share one key (set, shift, step, floor): only the strongest there count (LEDGER 16).
RANK_GUESSED, RANK_PLANNED, RANK_LOGGED, RANK_INSTEAD = range(4)


@dataclass(slots=True)
class Use:
    """One worked line as it counts for wear. area_m2 is worked area: area of a pass times passes.

    adds: a paper line whose writer said that it adds to what is there.
    """

    rank: int
    area_m2: float
    at: str
    floor: str
    visit: str
    hardness: str
    surface: str
    wet_dry: str
    step_kind: str
    basis: str
    entry: str
    act: str = ""
    adds: bool = False


@dataclass(slots=True)
class Mark:
    """What was seen of a set's wear: a reading, a dressing, or pieces changed. Heights in mm, of the lowest piece.

    kind: read, dressed, pieces. height_mm: read; after dressing; after the change. before_mm: before dressing.
    changed, of: pieces that came in, pieces of the set from then on (None: not said).
    """

    kind: str
    at: str
    entry: str
    height_mm: float | None = None
    mean_mm: float | None = None
    before_mm: float | None = None
    changed: int | None = None
    of: int | None = None


@dataclass(slots=True)
class SetFacts:
    """The state of a set. Ids are strings, instants ISO 8601 text in UTC, so that it is kept as it is.

    uses: worked lines by key; see counted_uses. marks: what was seen of wear after its beginning.
    spells: [tub, from, to or None, recipe or None].
    wet_moments: [at, what] since the last two months of soaks, what = wet_work, left_water, or the answer to "How do
    you leave the sets?" (in_water, dry, in_van, came_back, unknown). heights: the newest reading.
    seen_place: where it last was seen; a set that then goes missing keeps it. born_set: whose opening holds.
    flags: [entry, code] in ledger order, settled ones included; settled: [entry, code].
    """

    born: bool = False
    born_at: str | None = None
    born_set: str | None = None
    opening: str | None = None
    branch: str | None = None
    place: str | None = None
    place_kind: str | None = None
    peg: str = ""
    place_since: str | None = None
    outing: str | None = None
    out_since: str | None = None
    step_key: str | None = None
    holder_kind: str = "shop"
    holder_person: str | None = None
    holder_name: str = ""
    fitness: str = "usable"
    fitness_why: str = ""
    fitness_at: str | None = None
    face: str = "unknown"
    pieces: int | None = None
    born_pieces: int | None = None  # how many it began with, where that was said
    lowest_height_mm: float | None = None
    mean_height_mm: float | None = None
    measured_at: str | None = None
    # Where wear began to be seen (None: at the type's new height), what dressing took, whether pieces were changed.
    start_height_mm: float | None = None
    dressed_mm: float = 0.0
    repieced: bool = False
    spells: list[list[str | None]] = field(default_factory=list)
    confirmed: list[list[str]] = field(default_factory=list)
    wet_moments: list[list[str]] = field(default_factory=list)
    left_water_at: str | None = None
    last_wet_work_at: str | None = None
    left_how: str | None = None
    left_how_at: str | None = None
    uses: dict[str, list[Use]] = field(default_factory=dict)
    marks: list[Mark] = field(default_factory=list)
    codes: list[list[str]] = field(default_factory=list)
    seen_at: str | None = None
    seen_by: str | None = None
    seen_place: str | None = None
    same_as: list[str] = field(default_factory=list)
    flags: list[list[str]] = field(default_factory=list)
    settled: list[list[str]] = field(default_factory=list)
    waiting_voids: list[str] = field(default_factory=list)

    @property
    def missing(self) -> bool:
        """Whether nobody knows where it is."""
        return self.place_kind == "unknown"

    @property
    def soaking(self) -> bool:
        """Whether it lies in a tub by the ledger."""
        return bool(self.spells) and self.spells[-1][2] is None

    @property
    def seen_from_new(self) -> bool:
        """Whether its whole life is on record."""
        return self.opening == "new"

    @property
    def code(self) -> str:
        """The newest code it goes by, or nothing."""
        return self.codes[-1][0] if self.codes else ""

    @property
    def open_flags(self) -> list[list[str]]:
        """Flags nobody has settled."""
        return [flag for flag in self.flags if flag not in self.settled]

    def counted_uses(self) -> list[Use]:
        """The worked lines that count, by key (set, shift, step, floor), LEDGER 16.

        Of a key only the strongest count: logged before planned before guessed. A paper line that stands instead
        counts in place of all of them, and of what was added before it; lines said to add after it count beside it.
        """
        counted: list[Use] = []
        for uses in self.uses.values():
            instead = [number for number, use in enumerate(uses) if use.rank == RANK_INSTEAD]
            if instead:
                last = instead[-1]
                counted += [use for use in uses if use.rank == RANK_INSTEAD and use.act == uses[last].act]
                counted += [use for use in uses[last + 1 :] if use.adds]
            else:
                best = max(use.rank for use in uses)
                counted += [use for use in uses if use.rank == best]
        return counted

    def worked_by_class(self, until: str | None = None) -> dict[str, float]:
        """Worked area, m2, by "hardness|surface|wet or dry|step kind"; with ``until`` only by that instant."""
        areas: dict[str, float] = {}
        for use in self.counted_uses():
            if until is not None and use.at > until:
                continue
            key = f"{use.hardness}|{use.surface}|{use.wet_dry}|{use.step_kind}"
            areas[key] = round(areas.get(key, 0.0) + use.area_m2, 6)
        return dict(sorted(areas.items()))


def wear_seen(facts: SetFacts) -> dict[str, Any]:
    """What the newest height says of wear: heights in mm, and the area worked by then; {} where it says nothing.

    After pieces were changed a height says nothing about the area worked before, until the model takes new starts.
    """
    if facts.lowest_height_mm is None or facts.measured_at is None or facts.repieced:
        return {}
    return {
        "start_height_mm": facts.start_height_mm,
        "lowest_height_mm": facts.lowest_height_mm,
        "dressed_mm": facts.dressed_mm,
        "worked": facts.worked_by_class(until=facts.measured_at),
    }


def facts_to_json(facts: SetFacts) -> dict[str, Any]:
    """The facts as plain data for a JSON column; facts_from_json gives them back equal."""
    data: dict[str, Any] = {}
    for name in _FACT_NAMES:
        value = getattr(facts, name)
        data[name] = (
            [list(row) if isinstance(row, list) else row for row in value] if isinstance(value, list) else value
        )
    data["uses"] = {
        key: [{name: getattr(use, name) for name in _USE_NAMES} for use in uses] for key, uses in facts.uses.items()
    }
    data["marks"] = [
        {name: value for name in _MARK_NAMES if (value := getattr(mark, name)) is not None} for mark in facts.marks
    ]
    return data


_FACT_NAMES = tuple(name.name for name in fields(SetFacts) if name.name not in ("uses", "marks"))
_USE_NAMES = tuple(name.name for name in fields(Use))
_MARK_NAMES = tuple(name.name for name in fields(Mark))


def facts_from_json(data: dict[str, Any]) -> SetFacts:
    """Facts from their plain data; columns unknown here are passed over, missing ones keep their start."""
    known = {name.name for name in fields(SetFacts)}
    facts = SetFacts(**{key: value for key, value in data.items() if key in known})
    facts.uses = {key: [Use(**use) for use in uses] for key, uses in data.get("uses", {}).items()}
    facts.marks = [Mark(**mark) for mark in data.get("marks", [])]
    return facts


def iso(at: datetime) -> str:
    """An instant as the text facts keep: UTC, microseconds always, so that text order is time order."""
    return at.astimezone(UTC).isoformat(timespec="microseconds")
