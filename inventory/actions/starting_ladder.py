"""The ladder a new shop may start from: read from `fixtures/starting_ladder.json`, taken over, then edited."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.catalogue import CatalogueRefused, save_recipe, save_tool_type
from inventory.models import Person, ToolType
from inventory.models.choices import SoakNeed

SOURCES = ("common practice", "our assumption")
# What is asked of the tool's own sheet: left out unless the shop takes our figures for a start.
FIGURES = ("new_height_mm", "retire_height_mm", "rated_coverage_m2")


@dataclass(frozen=True)
class StartStep:
    """One step of the starting ladder: facts of its tool type, its recipe, and where each value comes from."""

    key: str
    facts: dict[str, Any]
    recipe: dict[str, Any] | None
    sources: dict[str, str]


@lru_cache
def starting_ladder() -> tuple[StartStep, ...]:
    """The steps of the starting ladder, coarse to fine."""
    path = Path(settings.BASE_DIR) / "fixtures" / "starting_ladder.json"
    steps = json.loads(path.read_text(encoding="utf-8"))["steps"]
    return tuple(_step(step) for step in steps)


def take_ladder(
    by: Person | None,
    keys: Iterable[str],
    *,
    figures: bool,
    soak: bool,
    valid_from: date,
    now: datetime,
) -> list[ToolType]:
    """Make a tool type of each of these steps, unless one of its name is there already: that one is left as it is.

    figures: take our heights and coverage for a start, else they stay empty. soak: take soak need and recipe (the
    demo does), else the soak is "not known", which never blocks.
    Safe to repeat. Raises CatalogueRefused for an unknown key.
    """
    wanted = set(keys)
    steps = [step for step in starting_ladder() if step.key in wanted]
    if unknown := wanted - {step.key for step in steps}:
        raise CatalogueRefused(
            _("The starting ladder has no step %(key)s.") % {"key": ", ".join(sorted(unknown))},
            _("Add it as a tool type of your own."),
            field="steps",
        )
    with transaction.atomic():
        there = {row.name.lower(): row for row in ToolType.objects.all()}
        return [
            there.get(step.facts["name"].lower()) or _take(by, step, figures, soak, valid_from, now) for step in steps
        ]


def _take(by: Person | None, step: StartStep, figures: bool, soak: bool, valid_from: date, now: datetime) -> ToolType:
    facts = dict(step.facts)
    if not figures:
        facts |= dict.fromkeys(FIGURES)
    if not soak:
        facts["soak_need"] = SoakNeed.UNKNOWN
    tool_type = save_tool_type(by, facts, valid_from=valid_from, now=now, sure=True)
    if soak and step.recipe is not None:
        save_recipe(by, tool_type, **step.recipe, valid_from=valid_from, now=now)
    return tool_type


def _step(row: dict[str, Any]) -> StartStep:
    recipe = row["recipe"]
    cells = {**row["facts"], **(recipe or {})}
    return StartStep(
        key=row["key"],
        facts={name: cell["value"] for name, cell in row["facts"].items()},
        recipe=None if recipe is None else {name: cell["value"] for name, cell in recipe.items()},
        sources={name: cell["source"] for name, cell in cells.items()},
    )
