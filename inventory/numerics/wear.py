"""Random-rate wear model: what the record of one tool type says of each set's wear rate (METHODS 1.1).

Wear goes with reference area (worked area x floor factor). A set wears at its own rate, exp(theta) mm per reference m2;
given theta, the wear it has now is Gaussian with a mean and a variance. `tables` carries those two numbers, and the
log-likelihood of the set's record, through all sets of a type at once, for every theta of a grid and every noise tau.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

from inventory.numerics.lognormal import Bools, Floats, Ints

BASES = ("measured", "section_done", "planned", "guessed")
BASIS_ERROR: Floats = np.array([0.05, 0.10, 0.20, 0.50])  # relative, of an area by basis: our assumption, METHODS 0
READING_ERROR_MM = 0.3  # our assumption, METHODS 0
ABOVE_NEW = 3.0  # a height above new by more reading errors than this is refused, METHODS 1.7
MOST_MM = 1e6  # more wear than this is no height of a tool
MOST_M2 = 1e9  # more floor than this is no job, nor life
MOST_LOAD = 1e3  # a set has fewer pieces than this
LEAST = 1e-6  # mm or m2 below this are 0 to any shop
UNKNOWN_VARIANCE = 1e8  # start variance of a set whose new height nobody knows, METHODS 1.1
_LOG_2PI = float(np.log(2 * np.pi))
_SETS_AT_ONCE = 128  # what stays in a processor's cache; the answer does not depend on it


class Ended(IntEnum):
    """How a life stands; OTHER: lost, broken, changed early, written off (it says only "longer than that")."""

    RUNNING = 0
    WORN = 1
    OTHER = 2


@dataclass(frozen=True)
class Segments:
    """All stretches of wear of all sets of one tool type, k rows ordered by set, then time.

    set_index: (k,) position of the set. area_m2: (k, classes) area worked since the row before, by floor class.
    square_m4: (k, classes, 4) squares of that area summed over uses, by basis; one visit to one floor is one use
    (`use_squares`). wear_mm: (k,) new height - lowest height read at the row's end, NaN = none; error_mm: (k,) its SD.
    restart_mm, restart_error_mm: (k,) wear from which a new start is made after the row (dressing, pieces changed), NaN
    = none. forget: (k,) more than half the pieces were changed there: what was learnt of the rate is dropped.
    load: (k,) times the area that each piece worked, against a whole set's: with some of its pieces missing the others
    do their part too (our assumption: wear of a piece goes with the area it works). None: whole sets.
    """

    set_index: Ints
    area_m2: Floats
    square_m4: Floats
    wear_mm: Floats
    error_mm: Floats
    restart_mm: Floats
    restart_error_mm: Floats
    forget: Bools
    load: Floats | None = None

    @classmethod
    def none(cls, classes: int) -> Segments:
        """No stretch at all: sets that never worked."""
        empty = np.zeros(0)
        area, square = np.zeros((0, classes)), np.zeros((0, classes, len(BASES)))
        rows, flags = np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.bool_)
        return cls(rows, area, square, empty, empty, empty, empty, flags)


@dataclass(frozen=True)
class WearRecord:
    """The record of one tool type with n sets.

    rated_m2: supplier's rated coverage [m2], None if not given. usable_mm, usable_error_mm: new - retire height, and SD
    of the true end [mm]. classes: floor class keys, the order of the class axis of `segments`. start_mm,
    start_error_mm: (n,) wear a set began with here and its SD (0 and 0: new). from_new: (n,) False for sets found in
    service. ended: (n,) `Ended`. load_now: (n,) `Segments.load` of the work to come, None: whole sets.
    """

    rated_m2: float | None
    bond: str
    usable_mm: float
    usable_error_mm: float
    classes: tuple[str, ...]
    start_mm: Floats
    start_error_mm: Floats
    from_new: Bools
    ended: Ints
    segments: Segments
    load_now: Floats | None = None

    @property
    def size(self) -> int:
        return int(self.start_mm.shape[0])


def some_sets(record: WearRecord, begin: int, end: int) -> WearRecord:
    """The record of the sets at positions begin ... end - 1."""
    seg = record.segments
    rows = slice(*np.searchsorted(seg.set_index, [begin, end]).tolist())
    segments = Segments(
        seg.set_index[rows] - begin,
        seg.area_m2[rows],
        seg.square_m4[rows],
        seg.wear_mm[rows],
        seg.error_mm[rows],
        seg.restart_mm[rows],
        seg.restart_error_mm[rows],
        seg.forget[rows],
        seg.load if seg.load is None else seg.load[rows],
    )
    return replace(
        record,
        start_mm=record.start_mm[begin:end],
        start_error_mm=record.start_error_mm[begin:end],
        from_new=record.from_new[begin:end],
        ended=record.ended[begin:end],
        segments=segments,
        load_now=record.load_now if record.load_now is None else record.load_now[begin:end],
    )


@dataclass(frozen=True)
class FloorFactors:
    """How fast each floor class wears a tool, against the reference class.

    classes: (c) keys. factor: (c,) learnt. own: (c,) the shop's own. record: (c,) 0...1, how much record stands behind
    the learnt one (0: it is the shop's own; the reference class has 1 by definition and 0 here).
    """

    classes: tuple[str, ...]
    factor: Floats
    own: Floats
    record: Floats

    @classmethod
    def of_shop(cls, classes: Sequence[str], own: npt.ArrayLike) -> FloorFactors:
        """The shop's own factors, nothing learnt yet.

        Raises: ValueError for factors that are not above 0, or not one per class.
        """
        factor = np.asarray(own, dtype=np.float64)
        if factor.shape != (len(classes),):
            raise ValueError(f"`own` must have {len(classes)} values, one per class; got {factor.size}.")
        if not (np.isfinite(factor) & (factor > 0)).all():
            raise ValueError(f"`own` must be above 0; got {factor[~(np.isfinite(factor) & (factor > 0))][0]:g}.")
        return cls(tuple(classes), factor, factor.copy(), np.zeros(factor.shape))

    def row(self, classes: Sequence[str]) -> Floats:
        """Learnt factor of each of these classes.

        Raises: ValueError naming a class that has no factor.
        """
        known = dict(zip(self.classes, self.factor, strict=True))
        for key in classes:
            if key not in known:
                raise ValueError(f"`factors` has no factor for floor class {key!r}.")
        return np.array([known[key] for key in classes], dtype=np.float64)


@dataclass(frozen=True)
class SetTables:
    """What `tables` returns; grid: (g,) theta [ln(mm / reference m2)], tau: (t,); the others (t, n, g).

    ll: log-likelihood of the record without "it is still running"; ll_service: that part, apart (0 for worn-out sets).
    mean_mm, variance_mm2: the wear of the set now, given theta.
    """

    grid: Floats
    tau: Floats
    ll: Floats
    ll_service: Floats
    mean_mm: Floats
    variance_mm2: Floats


# Called before each reading is taken in: rows (k,) of `segments`, and ll, mean, variance (t, k, g) as predicted.
Watch = Callable[[Ints, Floats, Floats, Floats], None]


def theta_grid(centre: float, half_width: float = 1.8, points: int = 81) -> Floats:
    """Evenly spaced theta around a centre, (points,) [ln(mm / reference m2)]."""
    return np.linspace(centre - half_width, centre + half_width, points)


def use_squares(
    visit: npt.ArrayLike, floor_class: npt.ArrayLike, basis: npt.ArrayLike, area_m2: npt.ArrayLike
) -> dict[int, Floats]:
    """Squares of area by floor class, each (4,) by basis [m4], of one set's log entries (k,) within one stretch.

    visit: (k,) any integer naming the visit (job and floor); floor_class: (k,) position of the class; basis: (k,)
    position in BASES. Entries of one visit on one class are one use, however many logged it: their floor noise is the
    same, so their areas are summed before squaring (METHODS 1.1). Where they differ in basis the square is shared out
    by area.
    Raises: ValueError for an area below 0.
    """
    visits, classes, bases = (np.atleast_1d(np.asarray(a, dtype=np.int64)) for a in (visit, floor_class, basis))
    areas = np.atleast_1d(np.asarray(area_m2, dtype=np.float64))
    if areas.size and not (np.isfinite(areas) & (areas >= 0)).all():
        raise ValueError("`area_m2` must be 0 or more.")
    out: dict[int, Floats] = {}
    by_use: dict[tuple[int, int], Floats] = {}
    for v, c, b, a in zip(visits.tolist(), classes.tolist(), bases.tolist(), areas.tolist(), strict=True):
        by_use.setdefault((v, c), np.zeros(len(BASES)))[b] += a
    for (_, c), parts in by_use.items():
        out[c] = out.get(c, np.zeros(len(BASES))) + parts * parts.sum()
    return out


def check_record(record: WearRecord) -> None:
    """Refuse what no shop can have recorded.

    Raises: ValueError naming the field and its value: shapes that do not fit, areas or errors below 0, heights above
    new by more than three reading errors, rows out of order.
    """
    seg, n, c = record.segments, record.size, len(record.classes)
    k = seg.set_index.shape[0]
    if record.rated_m2 is not None and not LEAST <= record.rated_m2 <= MOST_M2:
        raise ValueError(f"`rated_m2` must be above 0 and at most {MOST_M2:g}; got {record.rated_m2}.")
    for name in ("usable_mm", "usable_error_mm"):
        value = getattr(record, name)
        if not LEAST <= value <= MOST_MM:
            raise ValueError(f"`{name}` must be above 0 and at most {MOST_MM:g}; got {value}.")
    for name in ("start_error_mm", "from_new", "ended"):
        if getattr(record, name).shape != (n,):
            raise ValueError(f"`{name}` must have {n} values, one per set; got {getattr(record, name).shape}.")
    shapes = {"area_m2": (k, c), "square_m4": (k, c, len(BASES))}
    for name in ("area_m2", "square_m4", "wear_mm", "error_mm", "restart_mm", "restart_error_mm", "forget"):
        if getattr(seg, name).shape != shapes.get(name, (k,)):
            raise ValueError(f"`{name}` must have shape {shapes.get(name, (k,))}; got {getattr(seg, name).shape}.")
    if k and (seg.set_index[0] < 0 or seg.set_index[-1] >= n or (np.diff(seg.set_index) < 0).any()):
        raise ValueError(f"`set_index` must rise from 0 to at most {n - 1}.")
    for name, values, most in (
        ("area_m2", seg.area_m2, MOST_M2),
        ("square_m4", seg.square_m4, MOST_M2**2),
        ("start_error_mm", record.start_error_mm, MOST_MM),
    ):
        fits = (values >= 0) & (values <= most)
        if not fits.all():
            raise ValueError(f"`{name}` must be 0 or more, at most {most:g}; got {values[~fits][0]:g}.")
    if not (np.abs(record.start_mm) <= MOST_MM).all():
        raise ValueError(f"`start_mm` must be finite, within {MOST_MM:g} mm.")
    for name, load, shape in (("load", seg.load, (k,)), ("load_now", record.load_now, (n,))):
        if load is not None and (load.shape != shape or not ((load >= 1) & (load <= MOST_LOAD)).all()):
            raise ValueError(f"`{name}` must have shape {shape}, each from 1 to {MOST_LOAD:g}.")
    read, again = ~np.isnan(seg.wear_mm), ~np.isnan(seg.restart_mm)
    for name, has, wear, error in (
        ("wear_mm", read, seg.wear_mm, seg.error_mm),
        ("restart_mm", again, seg.restart_mm, seg.restart_error_mm),
    ):
        wear, error = wear[has], error[has]
        fits = (error >= LEAST) & (error <= MOST_MM)
        if not fits.all():
            raise ValueError(f"The error of `{name}` must be above 0; got {error[~fits][0]:g}.")
        if (np.abs(wear) > MOST_MM).any():
            raise ValueError(f"`{name}` must lie within {MOST_MM:g} mm; got {wear[np.abs(wear) > MOST_MM][0]:g}.")
        above = wear < -ABOVE_NEW * error - 1e-9
        if above.any():
            worst = float(wear[above][0])
            raise ValueError(
                f"`{name}` must lie at most {ABOVE_NEW:g} reading errors above the new height; got {-worst:g} mm above."
            )


def factor_row(factors: FloorFactors | npt.ArrayLike, classes: Sequence[str]) -> Floats:
    """Factor of each class, (classes,), from learnt factors or from an array in the same order."""
    if isinstance(factors, FloorFactors):
        return factors.row(classes)
    return FloorFactors.of_shop(classes, factors).factor


@dataclass(frozen=True)
class Stretches:
    """Reference area and squares of the rows that matter: a row with neither reading nor restart joins the next.

    row: (k,) the row of `segments` each ends at. reference_m2: (k,) as a whole set would wear by it; square_m4: (k, 4)
    by basis, likewise. worked_m2: (k,) reference area as it was worked. first, count: (n,) where each set's stretches
    begin, and how many it has.
    """

    row: Ints
    reference_m2: Floats
    square_m4: Floats
    worked_m2: Floats
    first: Ints
    count: Ints


def stretches(record: WearRecord, factor: Floats) -> Stretches:
    """Reference area of each stretch between observations, from factors (classes,)."""
    seg = record.segments
    worked = reference = seg.area_m2 @ factor
    square = np.einsum("kcb,c->kb", seg.square_m4, np.square(factor))
    if seg.load is not None:
        reference, square = worked * seg.load, square * np.square(seg.load)[:, None]
    k = reference.shape[0]
    if k:
        last = np.append(seg.set_index[1:] != seg.set_index[:-1], True)
        ends = np.flatnonzero(last | ~np.isnan(seg.wear_mm) | ~np.isnan(seg.restart_mm))
        begins = np.append(0, ends[:-1] + 1)
        reference, square, worked = (np.add.reduceat(a, begins, axis=0) for a in (reference, square, worked))
    else:
        ends = np.zeros(0, dtype=np.int64)
    count = np.bincount(seg.set_index[ends], minlength=record.size).astype(np.int64)
    return Stretches(ends, reference, square, worked, np.append(0, np.cumsum(count)[:-1])[: record.size], count)


def usual_use(record: WearRecord, factor: Floats) -> tuple[float, float]:
    """Sum of reference area [m2] and of its squares over uses [m4] of one type: their ratio is its usual use."""
    seg = record.segments
    return float((seg.area_m2 @ factor).sum()), float(np.einsum("kcb,c->", seg.square_m4, np.square(factor)))


def tables(
    record: WearRecord,
    factors: FloorFactors | npt.ArrayLike,
    tau: npt.ArrayLike,
    grid: Floats,
    *,
    watch: Watch | None = None,
) -> SetTables:
    """Log-likelihood and present wear of every set at every theta of the grid.

    tau: relative noise of one use, one or several (t,) [-]. grid: (g,) theta.
    Raises: ValueError as `check_record`, and for a floor class without a factor.
    Limits: noise of uses and readings normal and independent; wear the same per area from new to worn. METHODS 1.1.
    """
    check_record(record)
    factor = factor_row(factors, record.classes)
    part = stretches(record, factor)
    taus = np.atleast_1d(np.asarray(tau, dtype=np.float64))
    noise = np.square(taus)[:, None] * part.square_m4.sum(axis=1) + part.square_m4 @ np.square(BASIS_ERROR)  # t k
    shape = (taus.size, record.size, grid.size)
    ll, service, mean, variance = (np.empty(shape) for _ in range(4))
    # Long histories first: then "the j-th stretch of all sets that have one" is a plain slice of the sets.
    order = np.argsort(-part.count, kind="stable")
    for begin in range(0, record.size, _SETS_AT_ONCE):
        sets = order[begin : begin + _SETS_AT_ONCE]
        state = _walk(record, part, noise, sets, np.exp(grid), watch)
        for whole, block in zip((ll, service, mean, variance), state, strict=True):
            whole[:, sets] = block
    return SetTables(grid, taus, ll, service, mean, variance)


def _walk(
    record: WearRecord, part: Stretches, noise: Floats, sets: Ints, rate: Floats, watch: Watch | None
) -> tuple[Floats, Floats, Floats, Floats]:
    """The filter for some sets, longest history first; ll, ll_service, mean, variance as (t, sets, g)."""
    seg = record.segments
    shape = (noise.shape[0], sets.size, rate.size)
    mean = np.broadcast_to(record.start_mm[sets][:, None], shape).copy()
    variance = np.broadcast_to(np.square(record.start_error_mm[sets])[:, None], shape).copy()
    ll = np.zeros(shape)
    rate_2 = np.square(rate)
    counts = part.count[sets]
    for j in range(int(counts[0]) if sets.size else 0):
        c = int(np.searchsorted(-counts, -j, side="left"))  # sets with more than j stretches
        at = part.first[sets[:c]] + j
        rows = part.row[at]
        mean[:, :c] += part.reference_m2[at][:, None] * rate
        variance[:, :c] += noise[:, at][..., None] * rate_2
        read = np.flatnonzero(~np.isnan(seg.wear_mm[rows]))
        if read.size:
            who: slice | Ints = slice(0, c) if read.size == c else read
            if watch is not None:
                watch(rows[read], ll[:, who], mean[:, who], variance[:, who])
            _take_reading(ll, mean, variance, who, seg.wear_mm[rows[read]], np.square(seg.error_mm[rows[read]]))
        again = np.flatnonzero(~np.isnan(seg.restart_mm[rows]))
        if again.size:
            mean[:, again] = seg.restart_mm[rows[again]][:, None]
            variance[:, again] = np.square(seg.restart_error_mm[rows[again]])[:, None]
            ll[:, again[seg.forget[rows[again]]]] = 0.0
    worn = np.flatnonzero(record.ended[sets] == Ended.WORN)
    if worn.size:
        end = np.full(worn.size, record.usable_mm)
        _take_reading(ll, mean, variance, worn, end, np.full(worn.size, record.usable_error_mm**2))
    service = log_ndtr((record.usable_mm - mean) / np.sqrt(variance + record.usable_error_mm**2))
    service[:, worn] = 0.0
    return ll, service, mean, variance


def _take_reading(ll: Floats, mean: Floats, variance: Floats, who: slice | Ints, wear: Floats, error_2: Floats) -> None:
    """Take a height into the state, in place (METHODS 1.1 item 2)."""
    error_2 = error_2[:, None]
    before = variance[:, who]
    total = before + error_2
    off = wear[:, None] - mean[:, who]
    ll[:, who] -= 0.5 * (_LOG_2PI + np.log(total) + off * off / total)
    gain = before / total
    mean[:, who] += gain * off
    variance[:, who] = gain * error_2  # = before (1 - gain), without the loss of digits
