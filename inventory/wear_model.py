"""One tool type's wear model with its sets, and how models are fitted from rows. No queries, no clock."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from typing import Any
from uuid import UUID

import numpy as np

from inventory.models import LearntLife, ToolType
from inventory.numerics.life import Lives, lives, new_life
from inventory.numerics.life_curves import curves_of
from inventory.numerics.wear import Ended, FloorFactors, WearRecord
from inventory.numerics.wear_factors import fit_factors
from inventory.numerics.wear_fit import VERSION, TypeFit, fit, fit_again
from inventory.shop_settings import CLASSES_LEARNT, REFERENCE_CLASS, ShopSettings, floor_factor, own_factor
from inventory.wear_rows import SetRow, classes_of, part_of, record_of, scale_of

_SETS_AT_ONCE = 400  # bounds the memory of one answer


@dataclass(frozen=True, slots=True)
class LifeRow:
    """What is kept of one set's life (StoredLife): reference areas, m2; curves as LifeCurves.to_bytes gives them."""

    running: bool
    used_m2: float
    at_least_m2: float
    likely_m2: float
    up_to_m2: float
    remaining_share: float
    curves: bytes = b""


@dataclass(frozen=True)
class TypeModel:
    """A tool type's wear model: its sets' record, what was learnt of the type, and the floor factors gone by.

    rows: the sets, in the order of ``record``. rated_m2: the supplier's, or the mean of its bond's. kept_new_m2: life
    of a new set as it is kept; None: not yet worked out.
    """

    tool_type: ToolType
    rated_m2: float
    rows: tuple[SetRow, ...]
    record: WearRecord
    fit: TypeFit
    factors: FloorFactors
    kept_new_m2: tuple[float, float, float] | None = None

    @property
    def set_ids(self) -> tuple[UUID, ...]:
        """The sets, in the order of the record."""
        return tuple(row.set_id for row in self.rows)

    @cached_property
    def running(self) -> np.ndarray:
        """Positions of the sets that are not retired."""
        return np.flatnonzero([row.running for row in self.rows]).astype(np.int64)

    @property
    def worn_out(self) -> int:
        """How many sets of the type ended worn out, as far as the fit knows."""
        return self.fit.worn_out

    @cached_property
    def new(self) -> Lives:
        """Life of a new set."""
        return new_life(self.record, self.fit)

    @property
    def new_life_m2(self) -> tuple[float, float, float]:
        """At least, likely, up to of a new set, reference m2."""
        if self.kept_new_m2 is not None:
            return self.kept_new_m2
        return float(self.new.at_least_m2[0]), float(self.new.likely_m2[0]), float(self.new.up_to_m2[0])

    @cached_property
    def used_m2(self) -> np.ndarray:
        """Reference area behind each set, its believed past included."""
        area = self.record.segments.area_m2 @ self.factors.row(self.record.classes)
        here = np.bincount(self.record.segments.set_index, weights=area, minlength=self.record.size)
        past = np.maximum(self.record.start_mm, 0.0) / self.record.usable_mm * self.new_life_m2[1]
        return np.asarray(here + np.where(self.record.from_new, 0.0, past))

    def part(self, positions: np.ndarray) -> WearRecord:
        """The record of some of the sets."""
        return part_of(self.record, positions)

    def lives(self, positions: np.ndarray) -> Lives:
        """Life left of some of the sets, each by the record of the others and its own."""
        return lives(self.part(positions), self.fit, self.factors, as_fitted=self.before(positions))

    def before(self, positions: np.ndarray) -> WearRecord | None:
        """The record of some of the sets as they stood when the type was fitted; None: as they stand."""
        rows = [self.rows[place] for place in positions]
        if all(row.as_fitted is None for row in rows):
            return None
        scale = replace(scale_of(self.tool_type), usable_mm=self.record.usable_mm)
        return record_of(self.tool_type, [row.before for row in rows], scale)

    def as_read(self) -> WearRecord:
        """The record with every set's newest height as it stands, though it fell without work: as alarms judge it."""
        scale = replace(scale_of(self.tool_type), usable_mm=self.record.usable_mm)
        return record_of(self.tool_type, self.rows, scale, newest=False)

    def work_out(self, positions: Sequence[int] | None = None) -> list[LifeRow]:
        """What is to be kept of these sets (None: of all), in their order."""
        asked = list(range(len(self.rows))) if positions is None else list(positions)
        found = {place: LifeRow(False, float(self.used_m2[place]), 0.0, 0.0, 0.0, 0.0) for place in asked}
        running = [place for place in asked if self.rows[place].running]
        for begin in range(0, len(running), _SETS_AT_ONCE):
            some = np.array(running[begin : begin + _SETS_AT_ONCE], dtype=np.int64)
            known = self.lives(some)
            stored = curves_of(known, self.fit.tau).to_bytes()
            for number, place in enumerate(some.tolist()):
                found[place] = LifeRow(
                    True,
                    float(self.used_m2[place]),
                    float(known.at_least_m2[number]),
                    float(known.likely_m2[number]),
                    float(known.up_to_m2[number]),
                    float(known.remaining_share[number]),
                    stored[number],
                )
        return [found[place] for place in asked]

    def learnt(self) -> dict[str, Any]:
        """The columns of LearntLife that this fit gives."""
        low, likely, high = self.new_life_m2
        seg = self.record.segments
        return {
            "fit": self.fit.to_json(),
            "factors": dict(zip(self.factors.classes, self.factors.factor.tolist(), strict=True)),
            "rated_m2": self.rated_m2,
            "new_at_least_m2": low,
            "new_likely_m2": likely,
            "new_up_to_m2": high,
            "sets": self.record.size,
            "worn_out": int((self.record.ended == Ended.WORN).sum()),
            "with_readings": int(np.unique(seg.set_index[~np.isnan(seg.wear_mm)]).size),
            "readings": 0,
        }


@dataclass(frozen=True)
class Floors:
    """Floor factors learnt: by class what the shop's own is multiplied by, and how much of that is record, 0 to 1.

    behind: by class, worked area behind it, m2, and the number of sets that worked it.
    """

    multipliers: dict[str, float]
    record: dict[str, float]
    sets: int
    behind: dict[str, tuple[float, int]] = field(default_factory=dict)


def factors_of(settings: ShopSettings) -> FloorFactors:
    """The floor factors of all classes as they are known: the shop's own, moved by what was learnt."""
    keys = [key.split("|") for key in CLASSES_LEARNT]
    own = np.array([own_factor(settings, *key) for key in keys])
    return replace(
        FloorFactors.of_shop(CLASSES_LEARNT, own), factor=np.array([floor_factor(settings, *key) for key in keys])
    )


def learn_floors(types: Iterable[ToolType], rows: Mapping[int, Sequence[SetRow]], settings: ShopSettings) -> Floors:
    """Learn the floor factors from all types' sets, around the shop's own (what was learnt before is passed over)."""
    every = list(types)
    # One order of classes for all types, with those alone that some set worked on.
    classes = classes_of(row for one in every for row in rows.get(one.pk, ()))
    records = [record_of(one, rows[one.pk], scale_of(one, every), classes=classes) for one in every if rows.get(one.pk)]
    own = np.array([own_factor(settings, *key.split("|")) for key in classes])
    if not records:
        return Floors({}, {}, 0)
    found = fit_factors(records, own, REFERENCE_CLASS)
    multipliers = {
        key: float(value) for key, value in zip(classes, found.factor / found.own, strict=True) if abs(value - 1) > 1e-9
    }
    known = {key: round(float(value), 4) for key, value in zip(classes, found.record, strict=True) if value > 0}
    return Floors(multipliers, known, sum(one.size for one in records), _behind(classes, records))


def _behind(classes: Sequence[str], records: Sequence[WearRecord]) -> dict[str, tuple[float, int]]:
    """Worked area, m2, and number of sets behind each floor class."""
    found: dict[str, tuple[float, int]] = {}
    for place, key in enumerate(classes):
        area = sum(float(one.segments.area_m2[:, place].sum()) for one in records)
        sets = sum(int(np.unique(one.segments.set_index[one.segments.area_m2[:, place] > 0]).size) for one in records)
        if area > 0:
            found[key] = (round(area, 3), sets)
    return found


def fit_models(
    types: Iterable[ToolType],
    rows: Mapping[int, Sequence[SetRow]],
    settings: ShopSettings,
    rated: Mapping[int, float],
) -> dict[int, TypeModel]:
    """Fit these types together (types of one bond share what they have in common), by type id."""
    every = list(types)
    factors = factors_of(settings)
    records = [record_of(one, rows.get(one.pk, ()), scale_of(one, every)) for one in every]
    fits = fit(records, factors).per_type
    return {
        one.pk: TypeModel(one, rated[one.pk], tuple(as_now(rows.get(one.pk, ()))), record, found, factors)
        for one, record, found in zip(every, records, fits, strict=True)
        if found is not None
    }


def unfitted_models(
    types: Iterable[ToolType],
    rows: Mapping[int, Sequence[SetRow]],
    settings: ShopSettings,
    rated: Mapping[int, float],
) -> dict[int, TypeModel]:
    """Models of types that were never fitted: the supplier's word, and of each set its own record; by type id.

    What their other sets say is learnt by the fit that is due; this costs no fit, whatever the number of sets.
    """
    every = list(types)
    found = fit_models(every, {}, settings, rated)
    return {
        one.pk: TypeModel(
            one,
            rated[one.pk],
            (own := tuple(replace(row, as_fitted={}) for row in rows.get(one.pk, ()))),
            record_of(one, own, scale_of(one, every)),
            found[one.pk].fit,
            found[one.pk].factors,
        )
        for one in every
        if one.pk in found
    }


def model_of(
    tool_type: ToolType,
    rows: Sequence[SetRow],
    learnt: LearntLife,
    rated_m2: float,
    types: Iterable[ToolType] = (),
) -> TypeModel:
    """A type's model from what is kept of its fit. rows: all of its sets or some."""
    found = TypeFit.from_json(learnt.fit)
    values = np.array([learnt.factors[key] for key in CLASSES_LEARNT])
    factors = FloorFactors.of_shop(CLASSES_LEARNT, values)
    scale = replace(scale_of(tool_type, types), usable_mm=found.usable_mm)
    new = (learnt.new_at_least_m2, learnt.new_likely_m2, learnt.new_up_to_m2)
    return TypeModel(tool_type, rated_m2, tuple(rows), record_of(tool_type, rows, scale), found, factors, new)


_FIT_NAMES = {field.name for field in fields(TypeFit)} | {"version"}


def readable(stored: Mapping[str, Any]) -> bool:
    """Whether a kept fit is of the form this program writes: after an upgrade an older one counts as none."""
    return stored.get("version") == VERSION and stored.keys() == _FIT_NAMES


def refit_alone(model: TypeModel, settings: ShopSettings) -> TypeModel:
    """One type fitted again with its record of now; what it shares with its bond stays as it was learnt."""
    factors = factors_of(settings)
    fitted = fit_again(model.record, factors, model.fit)
    return replace(model, rows=tuple(as_now(model.rows)), factors=factors, fit=fitted, kept_new_m2=None)


def as_now(rows: Iterable[SetRow]) -> list[SetRow]:
    """The sets as part of the fit as they stand."""
    return [replace(row, as_fitted=None) for row in rows]
