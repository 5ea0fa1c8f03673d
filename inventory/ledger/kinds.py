"""Which columns an entry of each kind must and may carry: the one table behind checks, constraints and docs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

SET = "tool_set"
PLACE = "place"

# Every typed column of an entry beyond its subject; nullable, empty = None.
COLUMNS: tuple[str, ...] = (
    "to_place",
    "peg",
    "outing",
    "holder_kind",
    "holder_person",
    "holder_name",
    "gate",
    "code",
    "branch",
    "supplier",
    "order_line",
    "opening_kind",
    "recipe",
    "left_how",
    "temperature_c",
    "lowest_height_mm",
    "mean_height_mm",
    "before_height_mm",
    "with_backing",
    "pieces",
    "floor_uuid",
    "visit_uuid",
    "shift_uuid",
    "step_key",
    "machine",
    "area_m2",
    "passes",
    "hardness",
    "surface",
    "coating",
    "wet_dry",
    "step_kind",
    "basis",
    "stands_instead",
    "amount_value",
    "amount_unit",
    "dress_medium",
    "minutes",
    "trouble_kind",
    "retired_why",
    "count",
    "seen",
    "acts_at",
    "void_target",
    "replaces",
    "settles_target",
    "flag_code",
    "answer",
    "other_set",
    "why",
)


@dataclass(frozen=True)
class KindRule:
    """What one kind of entry must and may carry, and about what it speaks."""

    needs: frozenset[str]
    may: frozenset[str]
    subjects: frozenset[str] = frozenset({SET})

    @property
    def allowed(self) -> frozenset[str]:
        return self.needs | self.may


def _rule(needs: str = "", may: str = "", subjects: Iterable[str] = (SET,)) -> KindRule:
    return KindRule(frozenset(needs.split()), frozenset(may.split()) | {"why", "replaces"}, frozenset(subjects))


_HEIGHTS = "lowest_height_mm mean_height_mm with_backing amount_value amount_unit"
_HOLDER = "holder_kind holder_person holder_name"

RULES: Mapping[str, KindRule] = {
    "opening": _rule("opening_kind branch", f"to_place peg {_HEIGHTS} pieces"),
    "received": _rule("branch", "to_place peg supplier order_line pieces"),
    "labelled": _rule("code", "", (SET, PLACE)),
    "scanned_out": _rule("outing gate", f"to_place {_HOLDER} step_key shift_uuid"),
    "scanned_in": _rule("to_place", f"peg outing branch left_how {_HEIGHTS}"),
    "seen": _rule("", "to_place peg left_how shift_uuid"),
    "moved": _rule("to_place", "peg left_how", (SET, PLACE)),
    "handed_over": _rule("holder_kind", "holder_person holder_name outing to_place gate"),
    "soak_begun": _rule("to_place", "recipe peg"),
    "soak_ended": _rule("", "to_place peg left_how"),
    "conditioning_confirmed": _rule(),
    "water_read": _rule("temperature_c", "amount_value amount_unit", (PLACE,)),
    "worked": _rule(
        "floor_uuid visit_uuid step_key area_m2 passes hardness surface coating wet_dry step_kind basis",
        "shift_uuid outing machine stands_instead amount_value amount_unit",
    ),
    "measured": _rule("lowest_height_mm", "mean_height_mm with_backing amount_value amount_unit"),
    "pieces_changed": _rule(
        "pieces", "lowest_height_mm mean_height_mm with_backing amount_value amount_unit other_set"
    ),
    "dressed": _rule("dress_medium", f"minutes before_height_mm {_HEIGHTS}"),
    "trouble": _rule("trouble_kind", "shift_uuid step_key outing"),
    "set_aside": _rule("why", ""),
    "cleared": _rule("", ""),
    "retired": _rule("retired_why", _HEIGHTS),
    "found": _rule("to_place", "peg"),
    "counted": _rule("count seen to_place", "peg acts_at lowest_height_mm amount_value amount_unit with_backing"),
    "voided": _rule("void_target why", "", (SET, PLACE)),
    "settled": _rule("settles_target flag_code answer", "", (SET, PLACE)),
    "same_as": _rule("other_set", ""),
}


class EntryNotWhole(ValueError):
    """An entry lacks a column its kind needs, carries one it may not, or speaks of the wrong thing."""


def check(kind: str, subject: str, columns: Mapping[str, Any]) -> None:
    """Hold one line against the table.

    kind: an entry kind; subject: "tool_set" or "place"; columns: the typed columns that are not None.
    Raises EntryNotWhole naming the kind and the columns. Values are checked by the database's constraints.
    """
    rule = RULES.get(kind)
    if rule is None:
        raise EntryNotWhole(f"“{kind}” is no kind of entry.")
    if subject not in rule.subjects:
        raise EntryNotWhole(f"An entry “{kind}” cannot be about a {subject.replace('_', ' ')}.")
    given = {name for name, value in columns.items() if value is not None}
    if missing := rule.needs - given:
        raise EntryNotWhole(f"An entry “{kind}” needs {', '.join(sorted(missing))}.")
    if extra := given - rule.allowed:
        raise EntryNotWhole(f"An entry “{kind}” does not carry {', '.join(sorted(extra))}.")
