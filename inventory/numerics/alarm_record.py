"""A wear record as the alarms read it: reference area, one row per stretch, and the worn-out end as a last reading."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from inventory.numerics.lognormal import Bools, Floats, Ints
from inventory.numerics.wear import BASES, Ended, Segments, WearRecord, stretches


@dataclass(frozen=True)
class Looks:
    """All looks of all sets (readings, and the end of worn-out sets), k in all, ordered by set, then time.

    record: classes ("reference",), rows as the looks need them; a worn-out set counts as ended for other reasons, for
    its end is a reading here. owner: (k,) set. at: (k,) row of `record`. begin_row: (k,) first row of the stretch that
    ends at the look. row: (k,) row of the segments it came from, -1 at the worn-out end. reading: (k,) which reading of
    the set, from 0, -1 at the worn-out end. whole: (k,) position among all looks, where these were thinned. first_row,
    last: (n,) first row of each set in `record`, and its last look (-1: none).
    """

    record: WearRecord
    owner: Ints
    at: Ints
    begin_row: Ints
    row: Ints
    reading: Ints
    whole: Ints
    first_row: Ints
    last: Ints

    def reading_before(self, look: int) -> int:
        """The reading at which the stretch before a look began, -1 where the set's record begins."""
        if look == 0 or self.owner[look - 1] != self.owner[look]:
            return int(self.reading[look]) - 1 if self.reading[look] >= 0 else -1
        return int(self.reading[look - 1])

    def wear_before(self) -> Floats:
        """(k,) wear [mm] as read, or as a new start was made, where the stretch that ends at each look begins."""
        seg, start = self.record.segments, self.record.start_mm[self.owner]
        seen = np.where(np.isnan(seg.restart_mm), seg.wear_mm, seg.restart_mm)
        return np.where(self.begin_row == self.first_row[self.owner], start, seen[self.begin_row - 1])

    def thinned(self, most: int) -> Looks:
        """The same with at most so many looks a set, spread evenly over its reference area, the last one kept.

        Heights left out are not seen by the filter either; rows where a new start was made keep theirs.
        """
        count = np.bincount(self.owner, minlength=self.record.size)
        if (count <= most).all():
            return self
        seg = self.record.segments
        area = np.cumsum(seg.area_m2[:, 0])
        keep = np.ones(self.owner.size, dtype=np.bool_)
        for i in np.flatnonzero(count > most):
            own = np.flatnonzero(self.owner == i)
            age = area[self.at[own]]
            wanted = np.linspace(age[0], age[-1], most)
            chosen = np.unique(np.append(np.searchsorted(age, wanted), own.size - 1).clip(max=own.size - 1))
            if chosen.size > most:
                chosen = np.delete(chosen, 0)
            if age[-1] <= age[0]:
                chosen = np.linspace(0, own.size - 1, most).astype(np.int64)
            keep[own] = False
            keep[own[chosen]] = True
        dropped = self.at[~keep]
        wear = seg.wear_mm.copy()
        wear[dropped[np.isnan(seg.restart_mm[dropped])]] = np.nan
        fewer = replace(self.record, segments=replace(seg, wear_mm=wear))
        return _looks(fewer, self.at[keep], self.row[keep], self.reading[keep], np.flatnonzero(keep))


def looks_of(record: WearRecord, factor: Floats) -> Looks:
    """Put a record of one tool type into this form; factor: (classes,) of its floor classes.

    What came before more than half the pieces of a set were changed is left out: the set starts anew there.
    """
    part, seg = stretches(record, factor), record.segments
    owner = seg.set_index[part.row]
    read = ~np.isnan(seg.wear_mm[part.row])
    before = np.cumsum(read) - read
    reading = before - before[np.searchsorted(owner, owner)]  # counted from the set's own first
    start, start_error, kept = _since_forgotten(record, part.row, owner)
    worn = np.flatnonzero(record.ended == Ended.WORN)
    nothing = np.full(worn.size, np.nan)
    order = np.argsort(np.concatenate([owner[kept], worn]), kind="stable")

    def joined(rows: npt.NDArray[np.generic], ends: npt.NDArray[np.generic]) -> npt.NDArray[np.generic]:
        return np.concatenate([rows[kept], ends])[order]

    segments = Segments(
        joined(owner, worn).astype(np.int64),
        joined(part.reference_m2[:, None], np.zeros((worn.size, 1))).astype(np.float64),
        joined(part.square_m4[:, None, :], np.zeros((worn.size, 1, len(BASES)))).astype(np.float64),
        joined(seg.wear_mm[part.row], np.full(worn.size, record.usable_mm)).astype(np.float64),
        joined(seg.error_mm[part.row], np.full(worn.size, record.usable_error_mm)).astype(np.float64),
        joined(seg.restart_mm[part.row], nothing).astype(np.float64),
        joined(seg.restart_error_mm[part.row], nothing).astype(np.float64),
        joined(seg.forget[part.row], np.zeros(worn.size, dtype=np.bool_)).astype(np.bool_),
    )
    none = np.full(worn.size, -1)
    plain = replace(
        record,
        classes=("reference",),
        start_mm=start,
        start_error_mm=start_error,
        ended=np.where(record.ended == Ended.WORN, int(Ended.OTHER), record.ended),
        segments=segments,
        load_now=None,
    )
    rows, readings = (joined(a, none).astype(np.int64) for a in (part.row, reading))
    at = np.flatnonzero(~np.isnan(segments.wear_mm))
    return _looks(plain, at, rows[at], readings[at], np.arange(at.size))


def _since_forgotten(record: WearRecord, row: Ints, owner: Ints) -> tuple[Floats, Floats, Bools]:
    """Start and its error of each set (n,) after the last restart at which its rate was forgotten; rows after it."""
    seg = record.segments
    start, error = record.start_mm.copy(), record.start_error_mm.copy()
    anew = np.full(record.size, -1)
    forgotten = np.flatnonzero(seg.forget[row] & ~np.isnan(seg.restart_mm[row]))
    anew[owner[forgotten]] = forgotten  # the last of each set is written last
    again = anew >= 0
    start[again] = seg.restart_mm[row[anew[again]]]
    error[again] = seg.restart_error_mm[row[anew[again]]]
    return start, error, np.arange(row.size) > anew[owner]


def _looks(record: WearRecord, at: Ints, row: Ints, reading: Ints, whole: Ints) -> Looks:
    """Put looks at rows `at` of the record together."""
    owner = record.segments.set_index[at]
    first_row = np.searchsorted(record.segments.set_index, np.arange(record.size))
    begin = first_row[owner]
    same = np.flatnonzero(np.diff(owner) == 0) + 1
    begin[same] = at[same - 1] + 1
    last = np.full(record.size, -1, dtype=np.int64)
    last[owner] = np.arange(at.size)
    return Looks(record, owner, at, begin, row, reading, whole, first_row, last)
