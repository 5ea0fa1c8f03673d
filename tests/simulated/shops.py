"""Simulated shops whose truth is known: sets wear, get read, lost, dressed, worn out; METHODS 1.6 "Generator".

Every number of the generator is our assumption. It shares no code with the model it judges: wear is added use by use
to each set's true height, and life left is found by going on along the set's own future uses until it is worn.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tests.simulated.scenarios import BASES_ERROR, Scenario, sets_in_service

Floats = npt.NDArray[np.float64]

RATED_M2 = (3000.0, 4000.0, 5000.0, 6000.0, 8000.0, 10000.0)
USABLE_MM, USABLE_SPREAD_MM = 12.0, 0.5
READING_ERROR_MM = 0.3
FLOOR_NOISE = 0.25  # tau
LOSS = 0.01  # a use
OWN_FACTORS = np.array([1.0, 1.3, 0.8, 1.6, 2.08, 1.28])
CLASSES = (
    "medium|ground|wet|later",
    "soft|ground|wet|later",
    "hard|ground|wet|later",
    "medium|raw|wet|first_cut",
    "soft|raw|wet|first_cut",
    "hard|raw|wet|first_cut",
)
FIRST_CUT = (0.6, 0.2, 0.0, 0.0, 0.0, 0.0)  # chance that a use of the type is a first cut on raw concrete
FLOOR_LIMIT = np.log(8.0)  # heavy tails: no floor wears a set more than 8 times, or less than 1/8, as usual
FAR = 4.5  # the future path reaches this many rated areas, beyond the furthest knot of the answers
# Wear that changes with height: rate 1.6 in the first 1.5 mm, .85 down to 8.5 mm, 1.15 from there on.
_CURVE_MM = np.array([0.0, 1.5, 8.5, 60.0])
_CURVE_CLOCK = np.concatenate([[0.0], np.cumsum(np.diff(_CURVE_MM) / np.array([1.6, 0.85, 1.15]))])

RUNNING, WORN, OTHER = 0, 1, 2


@dataclass
class Row:
    """A stretch of wear between two marks of one set: logged area by class, squares by class and basis.

    load: times the area that each piece worked, as the shop knows it: above 1 with pieces missing.
    """

    area_m2: Floats
    square_m4: Floats
    wear_mm: float = np.nan
    restart_mm: float = np.nan
    forget: bool = False
    load: float = 1.0


@dataclass
class ToolSet:
    """One set: what is true of it and what the shop wrote down."""

    ln_rate: float
    usable_mm: float
    clock: float = 0.0  # wear, mm, at an even rate; equals true wear unless wear changes with height
    from_new: bool = True
    ended: int = RUNNING
    start_mm: float = 0.0
    start_error_mm: float = 0.0
    dressed: int = 0
    changed: int = 0
    load: float = 1.0  # pieces of a whole set over pieces it has: each does that much of the floor
    known_load: float = 1.0  # the same as the shop knows it
    rows: list[Row] = field(default_factory=list)
    open_area_m2: Floats = field(default_factory=lambda: np.zeros(6))
    open_square_m4: Floats = field(default_factory=lambda: np.zeros((6, 4)))

    def log(self, kind: int, area_m2: float, basis: int) -> None:
        """Write a use down."""
        self.open_area_m2[kind] += area_m2
        self.open_square_m4[kind, basis] += area_m2**2

    def close(self, wear_mm: float = np.nan, restart_mm: float = np.nan, forget: bool = False) -> None:
        """End a stretch with what was read at its end."""
        row = Row(self.open_area_m2, self.open_square_m4, wear_mm, restart_mm, forget, self.known_load)
        self.rows.append(row)
        self.open_area_m2, self.open_square_m4 = np.zeros(6), np.zeros((6, 4))

    def area_by_class(self) -> Floats:
        """Return all logged area by class, (6,)."""
        return np.asarray(sum((row.area_m2 for row in self.rows), self.open_area_m2.copy()))


@dataclass(frozen=True)
class Future:
    """The uses that come after today: class index and worked area of each, and how much until the end.

    true_m2: reference area by the true factors to the end of the set. worked_m2: the worked area to there.
    """

    kind: npt.NDArray[np.intp]
    area_m2: Floats
    true_m2: float
    worked_m2: float


@dataclass(frozen=True)
class TypeStory:
    """All sets of one tool type up to today, and the future of those in service."""

    rated_m2: float
    mean_ln_rate: float
    sets: tuple[ToolSet, ...]
    running: tuple[int, ...]  # positions of sets in service
    futures: tuple[Future, ...]  # one for each of `running`


@dataclass(frozen=True)
class ShopStory:
    """One simulated shop."""

    true_factors: Floats  # (6,)
    own_factors: Floats  # (6,) what the shop believes at the start
    types: tuple[TypeStory, ...]


@dataclass(frozen=True)
class _Use:
    kind: int
    area_m2: float
    noise: float
    lost: bool
    read: bool
    reading_error_mm: float
    slot: float
    logged: float  # share of the area that is written down
    basis: int
    dressed: bool
    changed: bool
    extra: float  # uniform, for the size of a dressing or a change
    extra_error_mm: float


def height_from_clock(clock: float, scenario: Scenario) -> float:
    """True wear, mm, when the even-rate clock stands at `clock`."""
    return float(np.interp(clock, _CURVE_CLOCK, _CURVE_MM)) if scenario.height_curve else clock


def clock_from_height(wear_mm: float, scenario: Scenario) -> float:
    """The inverse of `height_from_clock`."""
    return float(np.interp(wear_mm, _CURVE_MM, _CURVE_CLOCK)) if scenario.height_curve else wear_mm


class _Dice:
    """Uses of one tool type, drawn in blocks."""

    def __init__(self, rng: np.random.Generator, scenario: Scenario, mix: Floats, first_cut: float) -> None:
        self.rng, self.scenario, self.mix, self.first_cut = rng, scenario, mix, first_cut
        self.uses = self._stream()

    def floors(self, n: int) -> tuple[npt.NDArray[np.intp], Floats, Floats]:
        """Draw n uses: class index, worked area (all passes), noise of the floor with mean 1."""
        rng = self.rng
        first_cut = (rng.random(n) < self.first_cut).astype(np.intp)
        kind = rng.choice(3, size=n, p=self.mix).astype(np.intp) + 3 * first_cut
        area = np.exp(rng.normal(np.log(250.0), 0.7, n)) * rng.integers(1, 4, n)
        if self.scenario.floor_noise == "student":
            ln_noise = np.clip(FLOOR_NOISE * rng.standard_t(2.5, n), -FLOOR_LIMIT, FLOOR_LIMIT)
        else:
            ln_noise = FLOOR_NOISE * rng.standard_normal(n)
        return kind, np.asarray(area), np.asarray(np.exp(ln_noise - FLOOR_NOISE**2 / 2))

    def _logged(self, n: int) -> tuple[Floats, npt.NDArray[np.intp]]:
        rng, scenario = self.rng, self.scenario
        share, basis = np.ones(n), np.zeros(n, dtype=np.intp)
        if scenario.under_reported:
            fate = rng.random(n)
            share = np.where(fate < 0.05, 0.0, np.where(fate < 0.35, rng.uniform(0.6, 0.95, n), 1.0))
        if scenario.basis_share is not None:
            basis = rng.choice(4, size=n, p=scenario.basis_share)
            error = np.array(BASES_ERROR)[basis]
            share = share * np.exp(error * rng.standard_normal(n) - error**2 / 2)
            share = np.where(basis == 3, share * scenario.guessed_bias, share)
        return share, basis

    def _stream(self, block: int = 128) -> Iterator[_Use]:
        rng, scenario = self.rng, self.scenario
        while True:
            kind, area, noise = self.floors(block)
            share, basis = self._logged(block)
            columns = (
                kind,
                area,
                noise,
                rng.random(block) < LOSS,
                rng.random(block) < scenario.read_chance,
                rng.normal(0, READING_ERROR_MM, block),
                rng.random(block),
                share,
                basis if scenario.basis_known else np.zeros(block, dtype=np.intp),
                rng.random(block) < scenario.dress_chance,
                rng.random(block) < (0.03 if scenario.pieces or scenario.lost else 0.0),
                rng.random(block),
                rng.normal(0, READING_ERROR_MM, block),
            )
            yield from (_Use(*row) for row in zip(*(column.tolist() for column in columns), strict=True))


def _ln_rates(rng: np.random.Generator, mean: float, scenario: Scenario) -> float:
    """One set's ln rate, mm per true reference m2."""
    if scenario.lives == "weibull":  # life ~ Weibull of shape 3, scaled so that the mean ln rate is `mean`
        return mean - (float(np.log(rng.weibull(3.0))) + np.euler_gamma / 3.0)
    return rng.normal(mean, scenario.rate_spread)


class _Rack:
    """The sets of one type while the story runs."""

    def __init__(
        self, rng: np.random.Generator, scenario: Scenario, mean: float, factors: Floats, dice: _Dice, slots: int
    ) -> None:
        self.rng, self.scenario, self.mean, self.factors, self.dice = rng, scenario, mean, factors, dice
        self.sets: list[ToolSet] = []
        self.slots = [self.fresh() for _ in range(slots)]

    def fresh(self) -> ToolSet:
        """Open a new set."""
        made = ToolSet(_ln_rates(self.rng, self.mean, self.scenario), self.rng.normal(USABLE_MM, USABLE_SPREAD_MM))
        self.sets.append(made)
        return made

    def use(self, slot: int, use: _Use) -> bool:
        """Let the set of a slot do one use; True when it ended worn. A set that ended is replaced by a new one."""
        tool = self.slots[slot]
        added = float(np.exp(tool.ln_rate)) * tool.load * self.factors[use.kind] * use.area_m2 * use.noise
        end = clock_from_height(tool.usable_mm, self.scenario)
        share = min(1.0, (end - tool.clock) / added)
        tool.clock += added * share
        tool.log(use.kind, use.area_m2 * share * use.logged, use.basis)
        worn = share < 1.0
        if worn or use.lost:
            tool.ended = WORN if worn else OTHER
            tool.close()
            self.slots[slot] = self.fresh()
            return worn
        self.after(tool, use)
        return False

    def after(self, tool: ToolSet, use: _Use) -> None:
        """What a use that a set outlived leaves in its record: dressed, pieces changed or lost, or a height read."""
        wear = height_from_clock(tool.clock, self.scenario)
        if use.dressed and wear + 1.0 < tool.usable_mm:
            self._dress(tool, wear, use)
        elif use.changed and wear > 3.0 and self.scenario.lost:
            self._lose(tool)
        elif use.changed and wear > 3.0:
            self._change(tool, wear, use)
        elif use.read:
            tool.close(wear_mm=wear + use.reading_error_mm)

    def _dress(self, tool: ToolSet, wear: float, use: _Use) -> None:
        """Glazed and opened on a dressing stone: .3 to 1 mm is lost without floor; read before and after."""
        after = wear + 0.3 + 0.7 * use.extra
        tool.clock = clock_from_height(after, self.scenario)
        tool.dressed += 1
        if self.scenario.dress_noted:
            tool.close(wear_mm=wear + use.reading_error_mm, restart_mm=after + use.extra_error_mm)
        else:
            tool.close(wear_mm=after + use.extra_error_mm)

    def _change(self, tool: ToolSet, wear: float, use: _Use) -> None:
        """Change the lowest pieces: the lowest height rises, the rate moves with the new pieces' share."""
        kept = 1 - self.scenario.pieces / 6
        after = wear * (0.3 + 0.5 * use.extra)
        other = _ln_rates(self.rng, self.mean, self.scenario)
        tool.ln_rate = float(np.log(kept * np.exp(tool.ln_rate) + (1 - kept) * np.exp(other)))
        tool.clock = clock_from_height(after, self.scenario)
        tool.changed += 1
        if self.scenario.pieces_noted:
            tool.close(restart_mm=after + use.extra_error_mm, forget=self.scenario.pieces > 3)
        elif use.read:
            tool.close(wear_mm=after + use.reading_error_mm)

    def _lose(self, tool: ToolSet) -> None:
        """Pieces break off for good; from then on the others do their part of the floor too."""
        if tool.changed:
            return
        tool.close()
        tool.changed += 1
        tool.load = 6 / (6 - self.scenario.lost)
        tool.known_load = tool.load if self.scenario.pieces_noted else 1.0

    def take_over(self) -> None:
        """The shop starts its ledger on a rack long in use: sets' past is forgotten, what is seen is entered."""
        for tool in self.slots:
            self.enter(tool)

    def enter(self, tool: ToolSet) -> None:
        """Enter one set that was long in use."""
        # Any moment of any life is as likely, so slow sets are met more often: mean mu - sigma^2 of the ln rate.
        tool.ln_rate = self.rng.normal(self.mean - self.scenario.rate_spread**2, self.scenario.rate_spread)
        wear = self.rng.uniform(0.0, tool.usable_mm)
        tool.clock = clock_from_height(wear, self.scenario)
        tool.from_new = self.scenario.opening == "as_new"
        tool.start_mm, tool.start_error_mm = self._seen(wear)

    def _seen(self, wear: float) -> tuple[float, float]:
        """What an opening entry says of the wear so far, with its SD (METHODS 1.1 item 7)."""
        match self.scenario.opening:
            case "height":
                return wear + self.rng.normal(0, READING_ERROR_MM), READING_ERROR_MM
            case "about":  # a quarter, half or three quarters worn, the nearest
                return USABLE_MM / 4 * float(np.clip(np.round(4 * wear / USABLE_MM), 1, 3)), 0.12 * USABLE_MM
            case "unknown":
                return USABLE_MM / 2, 0.33 * USABLE_MM
        return 0.0, 0.0

    def future(self, tool: ToolSet, reach_m2: float) -> Future:
        """Go on along the set's own future uses until it is worn, and some way beyond for the path."""
        step = float(np.exp(tool.ln_rate)) * tool.load
        left = clock_from_height(tool.usable_mm, self.scenario) - tool.clock
        kinds, areas, noises = (np.concatenate([column]) for column in self.dice.floors(64))
        while (
            step * (self.factors[kinds] * areas * noises).sum() < left or (self.factors[kinds] * areas).sum() < reach_m2
        ):
            more = self.dice.floors(64)
            kinds, areas, noises = (np.concatenate(pair) for pair in zip((kinds, areas, noises), more, strict=True))
        reference = np.concatenate([[0.0], np.cumsum(self.factors[kinds] * areas)])
        worn = np.concatenate([[0.0], np.cumsum(step * self.factors[kinds] * areas * noises)])
        worked = np.concatenate([[0.0], np.cumsum(areas)])
        return Future(kinds, areas, float(np.interp(left, worn, reference)), float(np.interp(left, worn, worked)))


def simulate_type(
    rng: np.random.Generator,
    scenario: Scenario,
    worn: int,
    rated_m2: float,
    mean: float,
    factors: Floats,
    mix: Floats,
    first_cut: float,
) -> TypeStory:
    """Run one tool type until `worn` sets have ended worn; then look at those in service."""
    dice = _Dice(rng, scenario, mix, first_cut)
    slots = sets_in_service(worn, scenario)
    rack = _Rack(rng, scenario, mean, factors, dice, slots)
    if scenario.opening:
        rack.take_over()
    ended = 0
    while ended < worn:
        use = next(dice.uses)
        ended += rack.use(int(use.slot * slots), use)
    sets = tuple(rack.sets)
    for tool in sets:
        if tool.ended == RUNNING and tool.open_area_m2.any():
            tool.close()
    running = tuple(i for i, tool in enumerate(sets) if tool.ended == RUNNING)
    futures = tuple(rack.future(sets[i], FAR * rated_m2) for i in running)
    return TypeStory(rated_m2, mean, sets, running, futures)


def simulate(seed: np.random.SeedSequence, scenario: Scenario, worn: int) -> ShopStory:
    """Make one shop of six tool types of one bond, each with `worn` worn-out sets on record."""
    rng = np.random.default_rng(seed)
    factors = OWN_FACTORS * np.exp(rng.normal(0, 1, 6) * scenario.factor_spread)
    factors[0] = 1.0  # the reference class is the unit
    mix = rng.dirichlet((2.0, 1.2, 1.2))
    shift = rng.normal(0.15, 0.2) + scenario.hopeful
    types = tuple(
        simulate_type(
            rng, scenario, worn, rated, np.log(USABLE_MM / rated) + shift + rng.normal(0, 0.2), factors, mix, first
        )
        for rated, first in zip(RATED_M2, FIRST_CUT, strict=True)
    )
    return ShopStory(factors, OWN_FACTORS.copy(), types)
