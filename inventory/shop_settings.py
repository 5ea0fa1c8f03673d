"""The shop's settings: every key, its start value, its unit and its source; asked as of any instant."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any

from django.db.models import DateField, Value
from django.utils.translation import gettext_lazy as _

from inventory.ledger.soak_facts import SoakSettings
from inventory.models import Branch, LearntFloors, Setting


@dataclass(frozen=True)
class Known:
    """One setting: how its text is read, its start value, its name, its unit, and where the start comes from."""

    read: Callable[[str], Any]
    start: str
    label: Any
    unit: str
    source: str


def _clock(text: str) -> time:
    return time.fromisoformat(text)


PAPERS = ("letter", "a4")


def _paper(text: str) -> str:
    if text.lower() not in PAPERS:
        raise ValueError(text)
    return text.lower()


KNOWN: dict[str, Known] = {
    "finish_limit": Known(float, "0.9", _("Chance of finishing from which a set is enough"), "share", "measured"),
    "tight_limit": Known(float, "0.6", _("Chance of finishing from which a set is tight"), "share", "our assumption"),
    "certainty": Known(float, "0.95", _("How sure the shop wants to be not to run short"), "share", "our assumption"),
    "leftover_limit": Known(
        float, "0.5", _("Chance of half its rating below which a set is a leftover"), "share", "measured"
    ),
    "retire_area_m2": Known(float, "60", _("Area a set must still manage"), "m2", "our assumption"),
    "vouch_hours": Known(float, "4", _("How long one water reading stands"), "h", "our assumption"),
    "thermostat_vouch_hours": Known(float, "14", _("The same in a tub held by a thermostat"), "h", "our assumption"),
    "interruption_minutes": Known(
        float, "30", _("How long a set may be lifted out of its soak"), "min", "our assumption"
    ),
    "loading_hours": Known(float, "2", _("Loading time before a shift"), "h", "our assumption"),
    "turn_days": Known(float, "3", _("Days until a set that needs soaking can work again"), "d", "our assumption"),
    "morning_until": Known(_clock, "12:00", _("Until when the home shows the morning"), "time", "our assumption"),
    "guess_at": Known(_clock, "12:00", _("When unanswered work is stored as guessed"), "time", "our assumption"),
    "height_spread_mm": Known(
        float, "1.0", _("Spread of heights above which a set is set aside"), "mm", "our assumption"
    ),
    "claim_share": Known(
        float,
        "0.5",
        _("Share of its rating below which a set that ended can be claimed for"),
        "share",
        "our assumption",
    ),
    "paper": Known(_paper, "letter", _("Paper of what is printed: Letter or A4"), "paper", "our assumption"),
    "section_m2": Known(float, "100", _("Area worked through before moving on"), "m2", "common practice"),
    "grit_ratio": Known(float, "2.5", _("Largest step of a ladder without a warning"), "ratio", "our assumption"),
    "sign_out_minutes": Known(float, "3", _("Shared tablet: signed out after"), "min", "our assumption"),
    # The ladder plan (METHODS 2): what machines do in an hour, what is drunk, picked up and used.
    "hole_ratio": Known(float, "6", _("Step of a ladder from which grits are missing"), "ratio", "our assumption"),
    "last_grit_flat": Known(float, "99", _("Finest grit for a flat finish"), "grit", "our assumption"),
    "last_grit_satin": Known(float, "400", _("Finest grit for a satin finish"), "grit", "our assumption"),
    "last_grit_polished": Known(float, "800", _("Finest grit for a polished finish"), "grit", "our assumption"),
    "work_speed": Known(float, "26.8224", _("Walking speed of a machine at work"), "m/min", "common practice"),
    "overlap_mm": Known(float, "38.1", _("Overlap of passes"), "width_mm", "common practice"),
    "efficiency": Known(float, "0.7", _("Share of the time a machine really runs"), "share", "our assumption"),
    "change_minutes": Known(float, "15", _("Time for a change of tools"), "min", "our assumption"),
    "refill_minutes": Known(float, "6", _("Time to fill a tank again"), "min", "our assumption"),
    "flow_l_per_min": Known(float, "3", _("Water a machine takes while it runs"), "L/min", "our assumption"),
    "cleaner_ratio": Known(float, "128", _("Parts of water to one part of cleaner"), "parts", "common practice"),
    "recovered_share": Known(float, "0.9", _("Share of the water that is picked up again"), "share", "our assumption"),
    "first_depth_mm": Known(float, "0.05", _("Concrete a first step takes off"), "depth_mm", "our assumption"),
    "later_depth_mm": Known(float, "0.01", _("Concrete a later step takes off"), "depth_mm", "our assumption"),
    "edge_width_mm": Known(float, "300", _("Width worked by hand along edges"), "width_mm", "our assumption"),
    "edge_m2_per_h": Known(float, "30", _("Edge area of one pass by hand in an hour"), "m2", "our assumption"),
    "area_spread": Known(
        float, "0.12", _("How far a floor may be from its planned area, one time in three"), "share", "our assumption"
    ),
    "densifier_l_per_m2": Known(float, "0", _("Densifier on a floor"), "L/m2", "not said yet"),
    "guard_l_per_m2": Known(float, "0", _("Guard on a floor"), "L/m2", "not said yet"),
    "edge_discs_per_m": Known(float, "0", _("Edge discs used along an edge"), "per m", "not said yet"),
    "horizon_weeks": Known(int, "26", _("Weeks the forecast looks ahead"), "weeks", "our assumption"),
    "plan_weeks": Known(int, "8", _("Weeks ahead for which sets are reserved"), "weeks", "measured"),
    "dice": Known(int, "20261", _("The shop's own start of the dice"), "", "our assumption"),
    # Floor factors: reference areas that one area of such a floor costs. The reference floor is medium, later step.
    "factor_soft": Known(float, "1.3", _("Floor factor of soft concrete"), "ratio", "our assumption"),
    "factor_medium": Known(float, "1.0", _("Floor factor of medium concrete"), "ratio", "reference"),
    "factor_hard": Known(float, "0.8", _("Floor factor of hard concrete"), "ratio", "our assumption"),
    "factor_first_cut": Known(
        float, "1.6", _("Floor factor of a first cut, raw or coated floor"), "ratio", "our assumption"
    ),
    "factor_dry": Known(float, "1.2", _("Floor factor of dry work"), "ratio", "our assumption"),
}


@dataclass(frozen=True)
class ShopSettings:
    """The settings of a branch as they stood at one instant.

    floors: by floor class, what the shop's own floor factor is multiplied by, as learnt from its record.
    """

    values: dict[str, Any]
    floors: Mapping[str, float] = field(default_factory=dict)

    def __getitem__(self, key: str) -> Any:
        return self.values[key]

    @property
    def soak(self) -> SoakSettings:
        """The settings the soak rules ask for."""
        return SoakSettings(self["vouch_hours"], self["thermostat_vouch_hours"], self["interruption_minutes"])


def settings_of(branch: Branch, *, today: date, known_by: datetime | None = None) -> ShopSettings:
    """The branch's settings valid on a day, with the floor factors learnt so far, one query.

    known_by: as they were known then, without anything learnt since (inventory.estimate.known_then learns it anew).
    """
    rows = Setting.objects.filter(branch=branch, valid_from__lte=today)
    if known_by is not None:
        rows = rows.filter(recorded_at__lte=known_by)
    read = rows.values_list("valid_from", "recorded_at", "pk", "key", "value")
    if known_by is None:
        # In the same query: what was learnt of floors, one row for the shop.
        read = read.union(
            LearntFloors.objects.values_list(
                Value(None, output_field=DateField()), "fitted_at", "pk", Value(""), "multipliers"
            ),
            all=True,
        )
    texts, learnt = {key: known.start for key, known in KNOWN.items()}, "{}"
    for _valid, _recorded, _pk, key, value in sorted(read, key=lambda row: (row[0] or date.min, *row[1:3])):
        if not key:
            learnt = value
        elif key in texts:
            texts[key] = value
    return ShopSettings({key: KNOWN[key].read(text) for key, text in texts.items()}, json.loads(learnt))


def own_factor(settings: ShopSettings, hardness: str, surface: str, wet_dry: str, step_kind: str) -> float:
    """How many reference areas one area of such a floor costs a set, by the shop's own settings."""
    factor: float = settings["factor_medium" if hardness == "unknown" else f"factor_{hardness}"]
    if step_kind == "first_cut" and surface in _FIRST_CUT_SURFACES:
        factor *= settings["factor_first_cut"]
    if wet_dry == "dry":
        factor *= settings["factor_dry"]
    return factor


def floor_factor(settings: ShopSettings, hardness: str, surface: str, wet_dry: str, step_kind: str) -> float:
    """The same as far as it is known by now: the shop's own, moved by its record of worn sets."""
    key = class_learnt(f"{hardness}|{surface}|{wet_dry}|{step_kind}")
    return own_factor(settings, hardness, surface, wet_dry, step_kind) * settings.floors.get(key, 1.0)


def class_learnt(floor_class: str) -> str:
    """The class under which a floor factor is learnt: only what the shop's own settings tell apart is kept apart.

    floor_class: "hardness|surface|wet or dry|step kind". Floors of which the surface makes no difference have "any".
    """
    hardness, surface, wet_dry, step_kind = floor_class.split("|")
    wet_dry = "dry" if wet_dry == "dry" else "wet"
    if step_kind == "first_cut" and surface in _FIRST_CUT_SURFACES:
        return f"{hardness}|{surface}|{wet_dry}|first_cut"
    return f"{hardness}|any|{wet_dry}|later"


_FIRST_CUT_SURFACES = ("raw", "coated")
# The floor that others are compared with: medium concrete, a later step, wet.
REFERENCE_CLASS = "medium|any|wet|later"
CLASSES_LEARNT = tuple(
    f"{hardness}|{cut[0]}|{wet_dry}|{cut[1]}"
    for wet_dry in ("wet", "dry")
    for cut in (("any", "later"), *((surface, "first_cut") for surface in _FIRST_CUT_SURFACES))
    for hardness in ("medium", "soft", "hard", "unknown")
)


def reference_area(settings: ShopSettings, worked: Mapping[str, float]) -> float:
    """Reference area, m2, of worked areas by "hardness|surface|wet or dry|step kind"."""
    return sum(area * floor_factor(settings, *key.split("|")) for key, area in worked.items())
