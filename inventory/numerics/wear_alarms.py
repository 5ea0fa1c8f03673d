"""Wear alarms: a set whose wear its own log, or its type on such floors, can hardly explain (METHODS 1.4).

Four statistics at each height read and at the worn-out end. Log: how far the height lies out of what the set's own
record let expect. Type: how far it lies out of what other sets of the type let expect. Change, faster and slower: how
much likelier the record is if the set went 1.8 times as fast, or half as fast, from some reading on (slower: from one
past the first quarter of its height). An alarm is never proof: sets honestly differ, and about one sound set in a
hundred is alarmed once in its life.

`shop_alarms` does it all. For one set after a new entry call `wear_alarms` with what `alarm_basis` learnt of the shop.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from inventory.numerics.alarm_limits import (
    CHANGE_FASTER_LIMIT,
    CHANGE_SLOWER_LIMIT,
    LOG_FASTER_LIMIT,
    LOG_SLOWER_LIMIT,
    RUN_IN_SHARE,
    TYPE_FASTER_LIMIT,
    TYPE_SLOWER_LIMIT,
    Surprises,
    Tails,
    own_surprises,
    stretched,
)
from inventory.numerics.alarm_record import Looks, looks_of
from inventory.numerics.lognormal import Floats, Ints
from inventory.numerics.wear import Ended, FloorFactors, Segments, WearRecord, factor_row, tables
from inventory.numerics.wear_fit import TypeFit, WearOptions, scaled_evidence
from inventory.numerics.wear_pooling import pool_spread

FASTER_PACE, SLOWER_PACE = 1.8, 0.5  # METHODS 1.4
MOST_LOOKS = 48  # readings of one set that the change tests look at; more are thinned evenly over its reference area
_ROWS_AT_ONCE = 1024  # bounds memory; the answer does not depend on it
_BLIND_MM = 1e5  # reading error that makes a reading say nothing
_LEAST = 1e-300
_LEAST_NOISE = 1e-6  # weight from which a noise of one use counts
_LOG_2PI = float(np.log(2 * np.pi))

LOG, TYPE, CHANGE = "log", "type", "change"
FASTER, SLOWER = "faster", "slower"
CONTRADICTS = "contradicts its log"


@dataclass(frozen=True)
class Alarm:
    """One alarm of one set.

    kind: LOG, TYPE or CHANGE. direction: FASTER (more wear than expected) or SLOWER. strength: the most it reached, -ln
    of a chance or of a likelihood ratio; limit: what it had to pass. reading: which of the set's readings first passed
    it, counted from 0; None at the worn-out end, or by running longer than it should. row: that reading's row of
    `record.segments`, None likewise. at_end: at the worn-out end. begins: CHANGE only, the reading after which the set
    most likely changed (-1: from new, or from where its record begins). standing: the newest look still passes the
    limit.
    """

    kind: str
    direction: str
    strength: float
    limit: float
    reading: int | None
    row: int | None
    at_end: bool
    begins: int | None = None
    standing: bool = True

    @property
    def times_rarer(self) -> float:
        """How many times rarer than usual: one in so many."""
        return float(np.exp(min(self.strength, 700.0)))


@dataclass(frozen=True)
class SetAlarms:
    """All alarms of one set, strongest over its limit first; empty for a set with nothing to say."""

    alarms: tuple[Alarm, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.alarms)

    @property
    def headline(self) -> str | None:
        """CONTRADICTS its log, FASTER or SLOWER; None without alarm.

        A height out of line with the set's own record is told first, for it is checked most easily; unless the record
        as a whole speaks of a change even more strongly.
        """
        if not self.alarms:
            return None
        return CONTRADICTS if self.alarms[0].kind == LOG else self.alarms[0].direction

    @property
    def direction(self) -> str | None:
        """FASTER or SLOWER, of the strongest alarm."""
        return self.alarms[0].direction if self.alarms else None

    @property
    def checks(self) -> tuple[str, ...]:
        """What to check, in this order (METHODS 1.4): keys "glazed", "height", "area", "label", "floor"."""
        if not self.alarms:
            return ()
        if self.headline == SLOWER:
            order = ("glazed", "height", "label", "floor")
        elif all(one.direction == SLOWER for one in self.alarms):
            order = ("height", "glazed", "label", "floor")
        else:
            order = ("height", "area", "label", "floor")
        unread = all(one.reading is None for one in self.alarms)
        return tuple(key for key in order if not (unread and key == "height"))


@dataclass(frozen=True)
class Strengths:
    """Every statistic at every look (a reading or the worn-out end), k looks in the order of `Looks`.

    log_slower, log_faster, type_slower, type_faster: (k,) -ln of the chance of wear at most, or at least, what was
    read. change_faster, change_slower: (k,) ln of the mean likelihood ratio, -inf where the look was thinned out.
    begins_faster, begins_slower: (k,) position among the looks at which the change most likely began. running: (n,)
    -ln of the chance that a set of the type still runs at this area; 0 for sets that ended.
    """

    looks: Looks
    log_slower: Floats
    log_faster: Floats
    type_slower: Floats
    type_faster: Floats
    change_faster: Floats
    change_slower: Floats
    begins_faster: Ints
    begins_slower: Ints
    running: Floats


USUAL_TAILS = Tails()
# kind, direction, name in `Strengths`, usual limit
STATISTICS = (
    (LOG, FASTER, "log_faster", LOG_FASTER_LIMIT),
    (LOG, SLOWER, "log_slower", LOG_SLOWER_LIMIT),
    (TYPE, FASTER, "type_faster", TYPE_FASTER_LIMIT),
    (TYPE, SLOWER, "type_slower", TYPE_SLOWER_LIMIT),
    (CHANGE, FASTER, "change_faster", CHANGE_FASTER_LIMIT),
    (CHANGE, SLOWER, "change_slower", CHANGE_SLOWER_LIMIT),
)


@dataclass(frozen=True)
class AlarmBasis:
    """What alarms are judged by; fits: one per tool type, noise and spread pooled over the shop, None where unknown."""

    fits: tuple[TypeFit | None, ...]
    tails: Tails


def alarm_basis(
    records: Sequence[WearRecord],
    fits: Sequence[TypeFit | None],
    factors: FloorFactors | npt.ArrayLike,
    *,
    options: WearOptions | None = None,
) -> AlarmBasis:
    """Learn from the whole shop what is usual; records: as the fits were made from, one per tool type.

    Raises: ValueError as `wear_pooling.pool_spread`.
    """
    pooled = tuple(None if one is None else _likely_noise(one) for one in pool_spread(fits, options))
    more, less = [np.zeros(0)], [np.zeros(0)]
    for record, one in zip(records, pooled, strict=True):
        if one is not None and record.size:
            looks = looks_of(record, factor_row(factors, record.classes))
            log, _, _ = _single(looks, one, prior_of_others(record, one, factors))
            less.append(log[0])
            more.append(log[1])
    return AlarmBasis(pooled, Tails(Surprises.of(np.concatenate(more)), Surprises.of(np.concatenate(less))))


def _likely_noise(type_fit: TypeFit) -> TypeFit:
    """The fit without noises that the record rules out: the filter then runs for one or two instead of five."""
    kept = type_fit.tau_weight > _LEAST_NOISE
    weight = type_fit.weight[kept]
    return replace(type_fit, tau=type_fit.tau[kept], weight=weight / weight.sum())


def shop_alarms(
    records: Sequence[WearRecord],
    fits: Sequence[TypeFit | None],
    factors: FloorFactors | npt.ArrayLike,
    *,
    options: WearOptions | None = None,
) -> tuple[tuple[SetAlarms, ...], ...]:
    """Alarms of every set of every tool type, in the order given; no alarms where a type has no fit."""
    basis = alarm_basis(records, fits, factors, options=options)
    return tuple(
        (SetAlarms(),) * record.size if one is None else wear_alarms(record, one, factors, tails=basis.tails)
        for record, one in zip(records, basis.fits, strict=True)
    )


def wear_alarms(
    record: WearRecord,
    type_fit: TypeFit,
    factors: FloorFactors | npt.ArrayLike,
    *,
    tails: Tails = USUAL_TAILS,
    in_fit: bool = True,
    as_fitted: WearRecord | None = None,
) -> tuple[SetAlarms, ...]:
    """Alarms of every set of a record, all of one tool type, one `SetAlarms` per set.

    type_fit, tails: of `alarm_basis`. in_fit, as_fitted: as `life.posterior`: a set is judged by the others.
    Raises: ValueError as `wear.check_record`.
    Limits: after more than half the pieces of a set were changed only what came since is judged. The change tests look
    at most at `MOST_LOOKS` readings, spread evenly over the set's area; the tests of single heights see them all.
    Sound sets alarmed in their life, and faults found: the table of `tests.simulated.alarms`.
    """
    if not record.size:
        return ()
    found = strengths(record, type_fit, factors, in_fit=in_fit, as_fitted=as_fitted)
    looks, known = found.looks, in_fit or as_fitted is not None
    stretch = {}
    for direction, log in ((FASTER, found.log_faster), (SLOWER, found.log_slower)):
        own = own_surprises(log, looks.owner, record.size) if known else (0.0, 0.0)
        stretch[direction] = np.broadcast_to(tails.of(direction).stretch(*own), (record.size,))
    alarms: list[list[Alarm]] = [[] for _ in range(record.size)]
    for kind, direction, name, usual in STATISTICS:
        limit = stretched(usual, stretch[direction])
        values = getattr(found, name)
        begins = getattr(found, f"begins_{direction}") if kind == CHANGE else None
        passed = np.flatnonzero(values > limit[looks.owner])
        for i in np.unique(looks.owner[passed]).tolist():
            mine = passed[looks.owner[passed] == i]
            alarms[i].append(_alarm(kind, direction, looks, values, begins, mine, float(limit[i])))
    limit = stretched(TYPE_SLOWER_LIMIT, stretch[SLOWER])
    for i in np.flatnonzero(found.running > limit).tolist():
        alarms[i].append(Alarm(TYPE, SLOWER, float(found.running[i]), float(limit[i]), None, None, False))
    return tuple(SetAlarms(tuple(sorted(one, key=lambda a: a.limit - a.strength))) for one in alarms)


def _alarm(
    kind: str, direction: str, looks: Looks, values: Floats, begins: Ints | None, passed: Ints, limit: float
) -> Alarm:
    """One alarm of one set; passed: the looks of the set beyond the limit, oldest first."""
    first, last = int(passed[0]), int(looks.last[looks.owner[passed[0]]])
    top = int(passed[np.argmax(values[passed])])
    at_end = bool(looks.reading[first] < 0)
    return Alarm(
        kind,
        direction,
        strength=float(values[top]),
        limit=limit,
        reading=None if at_end else int(looks.reading[first]),
        row=None if at_end else int(looks.row[first]),
        at_end=at_end,
        begins=None if begins is None else looks.reading_before(int(begins[top])),
        standing=bool(passed[-1] == last),
    )


def strengths(
    record: WearRecord,
    type_fit: TypeFit,
    factors: FloorFactors | npt.ArrayLike,
    *,
    in_fit: bool = True,
    as_fitted: WearRecord | None = None,
) -> Strengths:
    """All statistics behind `wear_alarms`, same arguments."""
    looks = looks_of(record, factor_row(factors, record.classes))
    log_prior = prior_of_others(record, type_fit, factors, in_fit=in_fit, as_fitted=as_fitted)
    log, kind, running = _single(looks, type_fit, log_prior)
    running[record.ended != Ended.RUNNING] = 0.0
    faster, slower = _changes(looks, type_fit, log_prior)
    return Strengths(looks, log[0], log[1], kind[0], kind[1], faster[0], slower[0], faster[1], slower[1], running)


def prior_of_others(
    record: WearRecord,
    type_fit: TypeFit,
    factors: FloorFactors | npt.ArrayLike,
    *,
    in_fit: bool = True,
    as_fitted: WearRecord | None = None,
) -> Floats:
    """Ln of what the other sets say of each set's rate and noise, (t, n, g), exp sums to 1 per set (leave-one-out)."""
    source = record if as_fitted is None else as_fitted
    if source.size != record.size:
        raise ValueError(f"`as_fitted` must hold the same {record.size} sets; got {source.size}.")
    found = None if record.from_new.all() else type_fit.found_rows
    logs = np.log(np.maximum(type_fit.flat_weight, _LEAST))[:, None, :]
    if in_fit or as_fitted is not None:
        part = tables(source, factors, type_fit.tau, type_fit.grid)
        _, top, evidence = scaled_evidence(part.ll + part.ll_service, type_fit.rows, found, record.from_new)
        logs = logs - np.log(evidence) - top[..., None]
    else:
        logs = np.broadcast_to(logs, (logs.shape[0], record.size, logs.shape[2]))
    share = np.exp(logs - logs.max(axis=(0, 2), keepdims=True))
    weight = share @ type_fit.rows
    if found is not None:
        weight[:, ~record.from_new] = share[:, ~record.from_new] @ found
    return np.asarray(np.log(np.maximum(weight / weight.sum(axis=(0, 2))[:, None], _LEAST)))


def _single(looks: Looks, type_fit: TypeFit, log_prior: Floats) -> tuple[Floats, Floats, Floats]:
    """Tests of single heights: log and type as (2, k), lower tail and upper tail; still running, (n,)."""
    record = looks.record
    seg = record.segments
    log, kind = (np.full((2, seg.set_index.size), -np.inf) for _ in range(2))

    def tails(out: Floats, with_record: bool) -> Callable[[Ints, Floats, Floats, Floats], None]:
        def watch(rows: Ints, ll: Floats, mean: Floats, variance: Floats) -> None:
            logs = log_prior[:, seg.set_index[rows]] + (ll if with_record else 0.0)
            z = (seg.wear_mm[rows][:, None] - mean) / np.sqrt(variance + np.square(seg.error_mm[rows])[:, None])
            weight = np.exp(logs - logs.max(axis=(0, 2), keepdims=True))
            total = weight.sum(axis=(0, 2))
            for tail, side in zip(out, (z, -z), strict=True):
                tail[rows] = -np.log(np.maximum((weight * ndtr(side)).sum(axis=(0, 2)) / total, _LEAST))

        return watch

    one = np.ones(1)
    tables(record, one, type_fit.tau, type_fit.grid, watch=tails(log, True))
    blind = replace(record, segments=replace(seg, error_mm=np.full(seg.set_index.size, _BLIND_MM)))
    now = tables(blind, one, type_fit.tau, type_fit.grid, watch=tails(kind, False))
    z = (record.usable_mm - now.mean_mm) / np.sqrt(now.variance_mm2 + record.usable_error_mm**2)
    running = -np.log(np.maximum((np.exp(log_prior) * ndtr(z)).sum(axis=(0, 2)), _LEAST))
    return log[:, looks.at], kind[:, looks.at], np.maximum(np.asarray(running), 0.0)


def _changes(looks: Looks, type_fit: TypeFit, log_prior: Floats) -> tuple[tuple[Floats, Ints], tuple[Floats, Ints]]:
    """Change tests: per pace (faster, slower) the ln of the mean likelihood ratio (k,) and where it most likely began.

    The mean is over all looks up to the present one at which the change can have begun, from the stretch before the
    first on; slower only from `RUN_IN_SHARE` of the height on, for a new face may wear faster than what lies under it.
    One run of the filter per such beginning and pace, all of some sets at once.
    """
    thin = looks.thinned(MOST_LOOKS)
    k = looks.owner.size
    out = [(np.full(k, -np.inf), np.zeros(k, dtype=np.int64)) for _ in range(2)]
    counts = np.bincount(thin.owner, minlength=looks.record.size)
    run_in = thin.wear_before() >= RUN_IN_SHARE * looks.record.usable_mm
    for sets in _blocks(counts):
        some = np.flatnonzero(np.isin(thin.owner, sets))
        if not some.size:
            continue
        late = some[run_in[some]]
        origins = np.concatenate([some, late])
        owner = np.concatenate([sets, thin.owner[origins]])
        begin = np.concatenate([thin.first_row[sets], thin.begin_row[origins]])
        pace = np.concatenate([np.ones(sets.size), np.repeat([FASTER_PACE, SLOWER_PACE], [some.size, late.size])])
        run, row, evidence = _evidence(thin.record, type_fit, log_prior, owner, begin, pace)
        plain = np.full(thin.record.segments.set_index.size, np.nan)
        usual = run < sets.size
        plain[row[usual]] = evidence[usual]
        ratio = evidence - plain[row]
        first = sets.size + some.size
        look_of_row = np.full(plain.size, -1)
        look_of_row[thin.at] = np.arange(thin.at.size)
        for (mean, begins), mine in zip(out, ((run >= sets.size) & (run < first), run >= first), strict=True):
            origin, look = origins[run[mine] - sets.size], look_of_row[row[mine]]
            _average(ratio[mine], origin, look, thin, mean, begins)
    return out[0], out[1]


def _average(ratio: Floats, origin: Ints, look: Ints, thin: Looks, mean: Floats, begins: Ints) -> None:
    """Write the mean ratio over beginnings at or before each look, and the greatest one's beginning, in place."""
    before = origin <= look
    ratio, origin, look = ratio[before], origin[before], look[before]
    order = np.lexsort((origin, look))
    ratio, origin, look = ratio[order], origin[order], look[order]
    start = np.flatnonzero(np.diff(look, prepend=-1))
    if not start.size:
        return
    top = np.maximum.reduceat(ratio, start)
    group = np.repeat(np.arange(start.size), np.diff(np.append(start, ratio.size)))
    total = np.add.reduceat(np.exp(ratio - top[group]), start)
    count = np.diff(np.append(start, ratio.size))
    whole = thin.whole[look[start]]
    mean[whole] = top + np.log(total / count)
    best = np.flatnonzero(ratio == top[group])[::-1]
    choice = np.zeros(start.size, dtype=np.int64)
    choice[group[best]] = origin[best]  # the earliest of equals is written last
    begins[whole] = thin.whole[choice]


def _evidence(
    record: WearRecord, type_fit: TypeFit, log_prior: Floats, owner: Ints, begin: Ints, pace: Floats
) -> tuple[Ints, Ints, Floats]:
    """Ln evidence of a set's record up to each look, were its rate `pace` times as high from row `begin` on.

    owner, begin, pace: (h,) one per run of the filter. Returns run, row and ln evidence of every look of every run.
    """
    seg = record.segments
    start = np.searchsorted(seg.set_index, np.arange(record.size + 1))
    count = np.diff(start)[owner]
    run = np.repeat(np.arange(owner.size), count)
    row = start[owner][run] + np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    scale = np.where(row >= begin[run], pace[run], 1.0)
    changed = Segments(
        run,
        seg.area_m2[row] * scale[:, None],
        seg.square_m4[row] * np.square(scale)[:, None, None],
        *(a[row] for a in (seg.wear_mm, seg.error_mm, seg.restart_mm, seg.restart_error_mm, seg.forget)),
    )
    runs = replace(
        record,
        start_mm=record.start_mm[owner],
        start_error_mm=record.start_error_mm[owner],
        from_new=record.from_new[owner],
        ended=np.full(owner.size, int(Ended.OTHER)),
        segments=changed,
    )
    out = np.full(row.size, np.nan)

    def watch(rows: Ints, ll: Floats, mean: Floats, variance: Floats) -> None:
        total = variance + np.square(changed.error_mm[rows])[:, None]
        off = changed.wear_mm[rows][:, None] - mean
        logs = ll + log_prior[:, owner[run[rows]]] - 0.5 * (_LOG_2PI + np.log(total) + off * off / total)
        top = logs.max(axis=(0, 2))
        out[rows] = np.log(np.exp(logs - top[:, None]).sum(axis=(0, 2))) + top

    tables(runs, np.ones(1), type_fit.tau, type_fit.grid, watch=watch)
    seen = ~np.isnan(out)
    return run[seen], row[seen], out[seen]


def _blocks(counts: Ints) -> Iterator[Ints]:
    """Sets in blocks of about `_ROWS_AT_ONCE` runs of the filter; sets with no look are left out."""
    sets = np.flatnonzero(counts)
    runs = np.cumsum(1 + 2 * counts[sets])
    block = runs // _ROWS_AT_ONCE
    for b in np.unique(block).tolist():
        yield sets[block == b]
