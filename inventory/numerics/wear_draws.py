"""Life left drawn at random, world by world, from uniforms alone (METHODS 5.1 item 5).

In one world a tool type has one true rate, spread and noise, shared by all its sets; then each set has its own wear
rate and its own true end. The same uniforms give the same lives, and a small change of the record moves them little.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, ndtri_exp

from inventory.numerics.life import fresh
from inventory.numerics.lognormal import Floats, Ints
from inventory.numerics.wear import Ended, FloorFactors, SetTables, WearRecord, tables
from inventory.numerics.wear_fit import TypeFit

_CELLS_AT_ONCE = 2_000_000  # bounds the memory of one block of draws
_EDGE = 1e-12


def choose_worlds(type_fit: TypeFit, uniform_type: Floats) -> tuple[Ints, Ints]:
    """Position of tau and of the row of `TypeFit.rows` in each draw, (d,) each, from uniforms (d,).

    Ordered by the type's rate, so that a little more record moves a draw to a neighbour.
    """
    t, s = type_fit.tau.size, type_fit.sigma.size
    weight = type_fit.weight.transpose(1, 2, 0).ravel()
    picked = np.minimum(np.searchsorted(np.cumsum(weight), uniform_type, side="right"), weight.size - 1)
    d, rest = np.divmod(picked, s * t)
    sigma, tau = np.divmod(rest, t)
    return tau, d * s + sigma


def draw_life_left(
    record: WearRecord,
    type_fit: TypeFit,
    factors: FloorFactors | npt.ArrayLike,
    uniform_type: Floats,
    uniform_theta: Floats,
    uniform_end: Floats,
) -> Floats:
    """Reference area left in each of n sets in each of d worlds, (n, d) [m2]; 0 for worn-out sets.

    uniform_type: (d,) chooses the type's truth, shared by its sets; uniform_theta (n, d) each set's rate; uniform_end
    (n, d) where in its range its end lies. Floor noise of the uses to come is not in it: the caller draws it per step.
    Raises: ValueError for uniforms of other shapes.
    Limits: the type's truth is weighed by the record it was fitted to; entries since then count for their own set only.
    """
    n, d = record.size, uniform_type.shape[0]
    for name, values in (("uniform_theta", uniform_theta), ("uniform_end", uniform_end)):
        if values.shape != (n, d):
            raise ValueError(f"`{name}` must have shape {(n, d)}; got {values.shape}.")
    if not n or not d:
        return np.zeros((n, d))
    part = tables(record, factors, type_fit.tau, type_fit.grid)
    left = _draw(part, record, type_fit, np.arange(n), uniform_type, uniform_theta, uniform_end)
    left[record.ended == Ended.WORN] = 0.0
    if record.load_now is not None:
        left /= record.load_now[:, None]
    return left


def draw_new_lives(
    record: WearRecord, type_fit: TypeFit, uniform_type: Floats, uniform_theta: Floats, uniform_end: Floats
) -> Floats:
    """Life of each of n new sets of the type `record` belongs to, (n, d) [m2], in the same worlds as `draw_life_left`.

    uniform_type: (d,); uniform_theta, uniform_end: (n, d).
    """
    one = fresh(record)
    part = tables(one, np.ones(len(record.classes)), type_fit.tau, type_fit.grid)
    rows = np.zeros(uniform_theta.shape[0], dtype=np.int64)
    return _draw(part, one, type_fit, rows, uniform_type, uniform_theta, uniform_end)


def _draw(
    part: SetTables,
    record: WearRecord,
    type_fit: TypeFit,
    rows: Ints,
    uniform_type: Floats,
    uniform_theta: Floats,
    uniform_end: Floats,
) -> Floats:
    """Lives left of the sets at `rows` (m,) of the tables, (m, d)."""
    full = part.ll + part.ll_service
    like = np.exp(full - full.max(axis=2, keepdims=True))
    tau, hyper = choose_worlds(type_fit, uniform_type)
    end = np.log(np.clip(uniform_end, _EDGE, 1 - _EDGE))
    out = np.empty(uniform_theta.shape)
    grid, step = part.grid, part.grid[1] - part.grid[0]
    block = max(1, _CELLS_AT_ONCE // (record.size * grid.size + rows.size * 8))
    found = ~record.from_new
    # Draws of one world share the work: sorted by it, each block holds few different ones.
    order = np.argsort(tau * type_fit.rows.shape[0] + hyper, kind="stable")
    for begin in range(0, order.size, block):
        draws = order[begin : begin + block]
        worlds, which = np.unique(tau[draws] * type_fit.rows.shape[0] + hyper[draws], return_inverse=True)
        t, h = np.divmod(worlds, type_fit.rows.shape[0])
        ladder = type_fit.rows[h][:, None, :] * like[t]  # worlds, sets, g
        if found.any():
            ladder[:, found] = type_fit.found_rows[h][:, None, :] * like[t][:, found]
        ladder = np.cumsum(ladder, axis=2)
        total = ladder[..., -1:]
        # A set whose record no such world allows takes the world's own rates.
        ladder = np.where(total > 0, ladder / np.maximum(total, 1e-300), np.cumsum(type_fit.rows[h], axis=1)[:, None])
        share = np.clip(uniform_theta[:, draws], _EDGE, 1 - _EDGE)
        place = _climb(ladder, which, rows, share)
        below = np.clip(np.floor(place).astype(np.int64), 0, grid.size - 2)
        part_up = np.clip(place - below, 0.0, 1.0)
        at, who = tau[draws][None, :], rows[:, None]
        mean, variance = (
            a[at, who, below] * (1 - part_up) + a[at, who, below + 1] * part_up
            for a in (part.mean_mm, part.variance_mm2)
        )
        sd = np.sqrt(variance + record.usable_error_mm**2)
        room = record.usable_mm - mean
        # Wear still to come: normal, cut at 0, for the set is still running.
        more = room - sd * ndtri_exp(end[:, draws] + log_ndtr(room / sd))
        out[:, draws] = np.maximum(more, 0.0) / np.exp(grid[0] + step * place)
    return out


def _climb(ladder: Floats, which: Ints, rows: Ints, share: Floats) -> Floats:
    """Place on the theta grid, in steps, where each cumulated ladder reaches its share: (m, draws).

    ladder: (worlds, sets, g) rising to 1; which: (draws,); rows: (m,); share: (m, draws). A grid point stands for the
    step around it, and the share left over says where in that step.
    """
    g = ladder.shape[2]
    low = np.zeros(share.shape, dtype=np.int64)
    high = np.full(share.shape, g - 1, dtype=np.int64)
    at, who = which[None, :], rows[:, None]
    for _ in range(int(np.ceil(np.log2(g)))):
        middle = (low + high) // 2
        short = ladder[at, who, middle] < share
        low, high = np.where(short, np.minimum(middle + 1, high), low), np.where(short, high, middle)
    top = ladder[at, who, low]
    bottom = np.where(low > 0, ladder[at, who, np.maximum(low - 1, 0)], 0.0)
    return np.asarray(low - 0.5 + np.clip((share - bottom) / np.maximum(top - bottom, 1e-300), 0.0, 1.0))
