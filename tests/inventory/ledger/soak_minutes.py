"""A slow second opinion on the soak rules: a clerk who looks at the set once a minute and keeps tallies.

Written without looking at intervals: every instant is a whole minute since a start, every question is asked of one
minute. Used by test_soak.py and test_conditioning.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

# (tub, from minute, to minute or None); (minute, degrees C)
Stay = tuple[str, int, int | None]
Look = tuple[int, float]


def tub_at(stays: Sequence[Stay], minute: int) -> str | None:
    """Return the tub the set lies in during [minute, minute + 1), the stay that began last winning."""
    where = None
    for tub, begun, ended in sorted(stays, key=lambda stay: stay[1]):
        if begun <= minute:
            where = tub if ended is None or minute < ended else None
    return where


def looks_hot(looks: Sequence[Look], minute: int, vouch: int, limit_c: float) -> bool:
    """Return whether the last look at or before this minute still stands and was hot."""
    past = [look for look in looks if look[0] <= minute]
    if not past:
        return False
    last = max(look[0] for look in past)
    return minute - last < vouch and min(look[1] for look in past if look[0] == last) >= limit_c


def last_soak(
    stays: Sequence[Stay],
    looks: dict[str, list[Look]],
    *,
    cold: int | None,
    hot: int | None,
    limit_c: float,
    mixed: bool,
    vouch: int,
    interruption: int,
    until: int,
) -> tuple[int | None, int, int]:
    """Return (minute the last soak was ready or None, its hot minutes, its minutes in water) as known at `until`."""
    tub: str | None = None
    out_for = 0
    wet_minutes = hot_minutes = 0
    credit = Fraction(0)
    cold_ready = mixed_ready = hot_full = hot_ready = None
    cooled = False
    for minute in range(until + 1):
        # What is so at the stroke of this minute, before it runs.
        if tub is not None:
            known = [look for look in looks.get(tub, []) if look[0] == minute]
            if hot is not None and hot_full is None and hot_minutes >= hot:
                hot_full = minute
            lies = tub in (tub_at(stays, minute - 1), tub_at(stays, minute))
            may_look = lies if cooled else out_for < interruption or out_for == 0
            if hot_full is not None and hot_ready is None and known and may_look:
                if min(look[1] for look in known) >= limit_c:
                    hot_ready = minute if cooled else hot_full
                else:
                    cooled = True
            if cold is not None and cold_ready is None and wet_minutes >= cold:
                cold_ready = minute
            if mixed and mixed_ready is None and credit >= 1:
                mixed_ready = minute
        if minute == until:
            break
        here = tub_at(stays, minute)
        if here is None:
            out_for += 1
            continue
        if here != tub or (out_for >= interruption and out_for > 0):
            tub = here
            wet_minutes = hot_minutes = 0
            credit = Fraction(0)
            cold_ready = mixed_ready = hot_full = hot_ready = None
            cooled = False
        out_for = 0
        wet_minutes += 1
        if hot is not None and looks_hot(looks.get(here, []), minute, vouch, limit_c):
            hot_minutes += 1
            credit += Fraction(1, hot)
        elif cold is not None:
            credit += Fraction(1, cold)
    ready = [at for at in (cold_ready, hot_ready, mixed_ready) if at is not None]
    return min(ready, default=None), hot_minutes, wet_minutes


def dried_at(ready: int, stays: Sequence[Stay], wet_work: Sequence[int], *, dry_out: int, until: int) -> int | None:
    """Return the minute a set ready at `ready` had dried out by, or None while it still counts at `until`."""
    left = dry_out
    for minute in range(ready, until + 1):
        if left < 0:
            return minute
        just_left = minute > ready and tub_at(stays, minute - 1) is not None
        if just_left or tub_at(stays, minute) is not None or minute in wet_work:
            left = dry_out
        left -= 1
    return None
