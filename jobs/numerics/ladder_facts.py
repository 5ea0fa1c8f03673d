"""What a ladder plan is asked with: floors, the shop's ladder, machines, supplies, settings (METHODS 2).

Pure: no queries, no clock. Areas in m2, lengths in m, volumes in L, hours in h; money as plain numbers of one currency.
Each dataclass refuses what cannot be: the parameter, its value, what is allowed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from inventory.mounts import same_mount
from jobs.numerics.passes import STEP_KINDS

JobKind = Literal["full", "refresh", "upkeep"]
Condition = Literal["sound", "light", "heavy"]
WaterUse = Literal["wet", "dry"]
Misfit = Literal["mount", "pieces", "hand", "water", "speed"]
Key = Any  # hashable: whatever names a floor, a step, a machine
Value = float | str | int | None

JOB_KINDS: tuple[JobKind, ...] = ("full", "refresh", "upkeep")
CONDITIONS: tuple[Condition, ...] = ("sound", "light", "heavy")
FINISH_LEVELS = (1, 2, 3, 4)
CUTTING_BONDS = ("metal", "hybrid")
M_PER_MIN_OF_MPH = 26.8224  # exact, REFERENCES U5
INCH_M = 0.0254  # exact, REFERENCES U6


class LadderRefused(ValueError):
    """A plan that cannot be made. code and values: for the page's own sentence; the text names parameter and value."""

    def __init__(self, code: str, text: str, **values: Value) -> None:
        super().__init__(text)
        self.code = code
        self.values = values


def _number(name: str, value: float | None, *, above: float = 0.0, at_least: bool = False, most: float = 1e9) -> None:
    """Refuse a number that is not finite, not above (or at least) a bound, or more than `most`. None passes."""
    if value is None:
        return
    fine = math.isfinite(value) and (value >= above if at_least else value > above) and value <= most
    if not fine:
        bound = f"{above:g} or more" if at_least else f"above {above:g}"
        end = f" and at most {most:g}" if most < 1e9 else ""
        raise LadderRefused(
            "not_a_number_here", f"`{name}` must be {bound}{end}; got {value!r}.", name=name, value=value
        )


@dataclass(frozen=True)
class FloorZone:
    """A floor to be worked.

    area_m2: above 0. edge_m: length worked by hand along walls. condition: sound, light (light soil) or heavy (heavy
    soil or roughness); None: guessed from surface and coating, and said so. section_m2: own size of a section. finest:
    key of the finest step this floor was last worked with (refresh and upkeep). steps: keys of the steps a person
    chose for this floor; None: chosen by rule.
    """

    key: Key
    area_m2: float
    edge_m: float = 0.0
    hardness: str = "unknown"
    surface: str = "raw"
    coating: str = "none"
    condition: Condition | None = None
    section_m2: float | None = None
    finest: Key | None = None
    steps: tuple[Key, ...] | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.area_m2) and self.area_m2 > 0):
            raise LadderRefused(
                "zone_of_no_area",
                f"`area_m2` of zone {self.key!r} must be above 0; got {self.area_m2!r}. Give the floor its area first.",
                value=self.area_m2,
            )
        _number("edge_m", self.edge_m, at_least=True)
        _number("section_m2", self.section_m2)
        if self.condition is not None and self.condition not in CONDITIONS:
            raise LadderRefused(
                "condition",
                f"`condition` must be one of {', '.join(CONDITIONS)}, or None; got {self.condition!r}.",
                value=self.condition,
            )

    def floor_class(self, water: str, step_kind: str) -> str:
        """The class its floor factor and its passes are kept for: hardness|surface|wet or dry|step kind."""
        return f"{self.hardness}|{self.surface}|{water}|{step_kind}"


@dataclass(frozen=True)
class LadderStep:
    """One step of the shop's ladder: a tool type.

    place: order on the ladder, coarse to fine. grit: its number, None where the label is none (it takes no part in
    ratios). life_m2: reference area a new set lasts, at least (P10), likely (P50), up to (P90); None: nothing known.
    price: of one set; None: nobody said. pieces: of a set.
    """

    key: Key
    place: int
    grit: float | None
    bond: str
    pieces: int
    mount: str = ""
    rotation: str = "either"
    wet_dry: str = "wet"
    life_m2: tuple[float, float, float] | None = None
    price: float | None = None

    def __post_init__(self) -> None:
        _number("grit", self.grit)
        _number("pieces", self.pieces)
        _number("price", self.price, at_least=True)
        if self.life_m2 is not None:
            low, likely, high = self.life_m2
            if not (0 < low <= likely <= high < math.inf):
                raise LadderRefused(
                    "life",
                    f"`life_m2` of step {self.key!r} must rise from above 0: low, likely, high; got {self.life_m2}.",
                )

    @property
    def cuts(self) -> bool:
        """Whether its bond is one that cuts (metal, hybrid) rather than polishes."""
        return self.bond in CUTTING_BONDS


@dataclass(frozen=True)
class LadderMachine:
    """A machine that goes along.

    path_m: width of its path; pieces: of one load. overlap_m, flow_l_per_min, efficiency: its own, None: the shop's
    setting. tank_l, recovery_tank_l: None: fills or empties are not counted. hand: worked by hand along edges, never
    over the floor. rate_per_h: rent an hour, None: own.
    """

    key: Key
    path_m: float
    speed_low_m_per_min: float
    speed_high_m_per_min: float
    pieces: int
    mount: str = ""
    rotation: str = "either"
    wet_dry: str = "wet"
    overlap_m: float | None = None
    flow_l_per_min: float | None = None
    efficiency: float | None = None
    tank_l: float | None = None
    recovery_tank_l: float | None = None
    hand: bool = False
    rate_per_h: float | None = None

    def __post_init__(self) -> None:
        for name in ("path_m", "speed_low_m_per_min", "pieces", "tank_l", "recovery_tank_l"):
            _number(name, getattr(self, name))
        _number("speed_high_m_per_min", self.speed_high_m_per_min, above=self.speed_low_m_per_min, at_least=True)
        _number("flow_l_per_min", self.flow_l_per_min, at_least=True)
        _number("efficiency", self.efficiency, most=1.0)
        _number("rate_per_h", self.rate_per_h, at_least=True)
        _number("overlap_m", self.overlap_m, at_least=True)
        if self.overlap_m is not None and not self.overlap_m < self.path_m:
            raise LadderRefused(
                "overlap",
                f"`overlap_m` must be below the path of {self.path_m:g} m; got {self.overlap_m:g}.",
                value=self.overlap_m,
            )


@dataclass(frozen=True)
class Supply:
    """A thing counted, not lifed, used by area or by edge length: edge discs, hand pads, densifier, guard.

    per_m2: of floor; per_edge_m: of edge. step: used at that step only, None: once for the whole job.
    """

    key: Key
    per_m2: float = 0.0
    per_edge_m: float = 0.0
    price: float | None = None
    step: Key | None = None

    def __post_init__(self) -> None:
        for name in ("per_m2", "per_edge_m", "price"):
            _number(name, getattr(self, name), at_least=True)


@dataclass(frozen=True)
class LadderSettings:
    """The numbers of METHODS 2, each the shop's to change. cp: common practice without a source; a: our assumption.

    last_grit_by_level: the finest grit that finish levels 1 to 4 end at: a start value near a superseded chart
    (REFERENCES P3); a level is a result, not a grit (P4).
    """

    speed_m_per_min: float = M_PER_MIN_OF_MPH  # cp: about 1 mph
    overlap_m: float = 1.5 * INCH_M  # cp: 1 to 2 in
    efficiency: float = 0.70  # a: no table was found (P16); learnt from logged hours
    efficiency_sd: float = 0.10  # a, relative
    change_h: float = 0.25  # a
    refill_h: float = 0.1  # a
    flow_l_per_min: float = 3.0  # a
    cleaner_ratio: float = 128.0  # cp: 1:128, one fluid ounce a gallon (U4); the label of the cleaner wins
    recovered_share: float = 0.9  # a: of the water, picked up again
    first_depth_mm: float = 0.05  # a: removed by the first step
    later_depth_mm: float = 0.01  # a
    solids_kg_per_l: float = 2.4  # a: density of concrete
    edge_width_m: float = 0.3  # a
    edge_m2_per_h: float = 30.0  # a: hand tool, one pass, when no hand machine goes along
    edge_alongside: bool = True  # a: one person does the edges while the machine runs
    section_m2: float = 100.0  # inside the cp range of 750 to 1,500 ft2
    area_bias: float = 1.0  # learnt: mean of logged over planned area
    area_sd: float = 0.12  # a, relative
    upkeep_area_sd: float = 0.05  # a
    grit_ratio: float = 2.5  # a: REFERENCES P7 advises about 2
    hole_ratio: float = 6.0  # a: from here two steps or more of a doubling ladder are missing, not one
    finish_limit: float = 0.9  # chance at which the sets that go along are enough (METHODS 3)
    crew_per_h: float | None = None  # what the crew costs an hour, all of it
    last_grit_by_level: tuple[float, float, float, float] = (99.0, 400.0, 800.0, math.inf)  # a

    def __post_init__(self) -> None:
        for name in (
            *("overlap_m", "efficiency_sd", "change_h", "refill_h", "flow_l_per_min", "first_depth_mm"),
            *("later_depth_mm", "solids_kg_per_l", "edge_width_m", "area_sd", "upkeep_area_sd", "crew_per_h"),
        ):
            _number(name, getattr(self, name), at_least=True)
        for name in ("speed_m_per_min", "cleaner_ratio", "edge_m2_per_h", "section_m2", "area_bias"):
            _number(name, getattr(self, name))
        for name in ("efficiency", "recovered_share", "finish_limit"):
            _number(name, getattr(self, name), most=1.0)
        for name in ("grit_ratio", "hole_ratio"):
            _number(name, getattr(self, name), above=1.0)


def life_from_rating(rated_m2: float) -> tuple[float, float, float]:
    """Reference area a new set lasts (P10, P50, P90) [m2] where nothing but the supplier's rating is known.

    Raises: LadderRefused for a rating not above 0.
    Source: the wear model's start values, METHODS 1.1: ratings 10 % hopeful, ln rate spread .35 (type) and .30 (set).
    """
    _number("rated_m2", rated_m2)
    likely, reach = rated_m2 * math.exp(-0.10), 1.2815515655446004 * math.hypot(0.35, 0.30)
    return likely * math.exp(-reach), likely, likely * math.exp(reach)


def misfits(step: LadderStep, machine: LadderMachine) -> tuple[Misfit, ...]:
    """Why a step's sets do not fit a machine: mount, pieces, hand, water (DESIGN 4); () when all fit.

    A mount that one of the two does not say stands in nobody's way. Both hands fit "either".
    """
    wrong: list[Misfit] = []
    if step.mount.strip() and machine.mount.strip() and not same_mount(step.mount, machine.mount):
        wrong.append("mount")
    if step.pieces != machine.pieces:
        wrong.append("pieces")
    if "either" not in (step.rotation, machine.rotation) and step.rotation != machine.rotation:
        wrong.append("hand")
    if "either" not in (step.wet_dry, machine.wet_dry) and step.wet_dry != machine.wet_dry:
        wrong.append("water")
    return tuple(wrong)


def floor_classes(zones: Sequence[FloorZone]) -> list[str]:
    """Every floor class a plan over these zones may ask a factor for, sorted."""
    return sorted({zone.floor_class(water, kind) for zone in zones for water in ("wet", "dry") for kind in STEP_KINDS})


def check_factors(factors: Mapping[str, float], classes: Sequence[str]) -> None:
    """Refuse floor factors that lack a class asked for, or are not above 0."""
    for name in classes:
        if name not in factors:
            raise LadderRefused("factor", f"`factors` must hold every floor class; {name!r} is not among them.")
        _number(f"factors[{name}]", factors[name])
