"""Which steps of the shop's ladder a floor takes, first to last, and which grits are skipped (DESIGN 4, METHODS 2).

Every choice carries the code of the rule it came from; the page has the words. All rules are common practice of the
trade without a published source, or our assumption where said; the shop's ladder and a person's own steps win.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from jobs.numerics.ladder_facts import (
    FINISH_LEVELS,
    FloorZone,
    JobKind,
    Key,
    LadderRefused,
    LadderSettings,
    LadderStep,
)

FirstRule = Literal[
    "coating_starts_coarsest",
    "heavy_starts_coarsest",
    "light_starts_finer",
    "sound_starts_at_resin",
    "no_cutting_step",
    "no_resin_step",
    "refresh_one_coarser",
    "refresh_at_coarsest",
    "upkeep_finest_used",
    "own_steps",
]
LastRule = Literal["finish_by_grit", "finish_finest", "finest_used", "finest_by_finish", "own_steps"]
# Coatings that must come off first, and one that only soils: our assumption.
_HEAVY_COATINGS = ("paint", "epoxy", "glue")
_LIGHT_COATINGS = ("sealer",)
# What a surface lets expect where nobody said how the floor is: our assumption.
_EXPECTED = {"raw": "light", "worn": "light", "coated": "heavy", "ground": "sound", "polished": "sound"}


@dataclass(frozen=True)
class SkippedGrit:
    """Two neighbours of the chosen steps that lie further apart than the shop's ratio."""

    coarser: Key
    finer: Key
    ratio: float
    limit: float


@dataclass(frozen=True)
class ChosenSteps:
    """The steps of one floor, coarse to fine; kinds: first_cut, later or upkeep, one a step.

    condition_guessed: nobody said how the floor is, it was taken from surface and coating.
    """

    zone: Key
    steps: tuple[LadderStep, ...]
    kinds: tuple[str, ...]
    first_rule: FirstRule
    last_rule: LastRule
    condition_guessed: bool
    skipped: tuple[SkippedGrit, ...]


def checked_ladder(ladder: Sequence[LadderStep]) -> tuple[LadderStep, ...]:
    """The ladder in order, coarse to fine.

    Raises: LadderRefused when it is empty, two steps share a place or a key, or grits do not rise within one bond.
    """
    if not ladder:
        raise LadderRefused("no_ladder", "`ladder` must hold at least one step; got none. Add a tool type first.")
    ordered = tuple(sorted(ladder, key=lambda step: step.place))
    if len({step.key for step in ordered}) < len(ordered):
        raise LadderRefused("step_twice", "`ladder` must hold each step once; one key stands in it twice.")
    for before, after in pairwise(ordered):
        if before.place == after.place:
            raise LadderRefused(
                "place_twice",
                f"`place` must differ between steps; {before.key!r} and {after.key!r} both have {after.place}.",
                value=after.place,
                before=str(before.key),
                after=str(after.key),
            )
    for before, after in neighbours(ordered):
        if before.grit is not None and after.grit is not None and after.grit <= before.grit:
            raise LadderRefused(
                "ladder_not_rising",
                f"`ladder` must rise within one bond; {after.key!r} (grit {after.grit:g}) follows {before.key!r} "
                f"(grit {before.grit:g}).",
                value=after.grit,
                before=str(before.key),
                after=str(after.key),
            )
    return ordered


def neighbours(steps: Sequence[LadderStep]) -> list[tuple[LadderStep, LadderStep]]:
    """Pairs of following steps with one bond and a grit each: a change of bond may step back (REFERENCES P7)."""
    return [(a, b) for a, b in pairwise(steps) if a.bond == b.bond and a.grit is not None and b.grit is not None]


def skipped_grits(steps: Sequence[LadderStep], limit: float) -> tuple[SkippedGrit, ...]:
    """Neighbours of one bond whose grits lie further apart than `limit` [ratio] (advice: about 2, REFERENCES P7)."""
    return tuple(
        SkippedGrit(before.key, after.key, ratio, limit)
        for before, after in neighbours(steps)
        if (ratio := (after.grit or 0.0) / (before.grit or 1.0)) > limit
    )


def choose_steps(
    zone: FloorZone,
    kind: JobKind,
    finish_level: int,
    ladder: Sequence[LadderStep],
    settings: LadderSettings,
) -> ChosenSteps:
    """The steps of one floor for a kind of job and a wanted finish.

    zone: its condition, surface and coating choose the first step; finish_level: 1 flat to 4 highly polished, chooses
    the last. Full polish: every step between. Refresh: one step coarser than the finest used, and back up to it.
    Upkeep run: the finest used. The finest used, where it is not said, is what the finish would end at.
    Raises: LadderRefused for a finish outside 1 to 4 or coarser than the start, for own steps that are not on the
    ladder, and for a hole in the ladder: neighbours of one bond `hole_ratio` apart or more.
    """
    ordered = checked_ladder(ladder)
    if finish_level not in FINISH_LEVELS:
        raise LadderRefused(
            "finish_level", f"`finish_level` must be 1, 2, 3 or 4; got {finish_level!r}.", value=finish_level
        )
    first: FirstRule
    last: LastRule
    guessed = False
    if zone.steps is not None:
        steps, first, last = _own(zone, ordered), "own_steps", "own_steps"
    elif kind == "full":
        steps, first, last, guessed = _full(zone, finish_level, ordered, settings)
    else:
        finest, last = _finest_used(zone, finish_level, ordered, settings)
        if kind == "upkeep":
            steps, first = ordered[finest : finest + 1], "upkeep_finest_used"
        else:
            steps = ordered[max(0, finest - 1) : finest + 1]
            first = "refresh_one_coarser" if finest else "refresh_at_coarsest"
    for before, after in neighbours(steps):
        ratio = (after.grit or 0.0) / (before.grit or 1.0)
        if ratio >= settings.hole_ratio:
            raise LadderRefused(
                "ladder_with_a_hole",
                f"`ladder` has a hole of {ratio:.2g} between {before.key!r} (grit {before.grit:g}) and {after.key!r} "
                f"(grit {after.grit:g}); below {settings.hole_ratio:g} is allowed. Put a step between them.",
                value=ratio,
                before=str(before.key),
                after=str(after.key),
            )
    if kind == "full":
        kinds = ("first_cut",) + ("later",) * (len(steps) - 1)
    else:
        kinds = ("upkeep" if kind == "upkeep" else "later",) * len(steps)
    return ChosenSteps(zone.key, steps, kinds, first, last, guessed, skipped_grits(steps, settings.grit_ratio))


def _own(zone: FloorZone, ordered: tuple[LadderStep, ...]) -> tuple[LadderStep, ...]:
    """The steps a person named, in the ladder's order."""
    by_key = {step.key: step for step in ordered}
    wanted = zone.steps or ()
    if not wanted:
        raise LadderRefused("no_steps", f"`steps` of zone {zone.key!r} must name at least one step; got none.")
    for key in wanted:
        if key not in by_key:
            raise LadderRefused(
                "step_not_on_ladder",
                f"`steps` of zone {zone.key!r} must be on the ladder; {key!r} is not. Add it, or choose another.",
                value=str(key),
            )
    return tuple(step for step in ordered if step.key in wanted)


def _full(
    zone: FloorZone, finish_level: int, ordered: tuple[LadderStep, ...], settings: LadderSettings
) -> tuple[tuple[LadderStep, ...], FirstRule, LastRule, bool]:
    start, first, guessed = _start(zone, ordered)
    end, last = _end(finish_level, ordered, settings)
    if end < start:
        raise LadderRefused(
            "finish_below_start",
            f"`finish_level` {finish_level} ends at {ordered[end].key!r}, coarser than the start "
            f"{ordered[start].key!r} of zone {zone.key!r}. Choose a higher finish, or name the steps yourself.",
            value=finish_level,
            start=str(ordered[start].key),
            end=str(ordered[end].key),
        )
    return ordered[start : end + 1], first, last, guessed


def _start(zone: FloorZone, ordered: tuple[LadderStep, ...]) -> tuple[int, FirstRule, bool]:
    """Place of the first step: heavy coarse, light finer, sound at the first resin step (common practice)."""
    if zone.coating in _HEAVY_COATINGS:
        return 0, "coating_starts_coarsest", False
    condition = zone.condition or ("light" if zone.coating in _LIGHT_COATINGS else _EXPECTED.get(zone.surface, "light"))
    guessed = zone.condition is None
    # A coating of a lighter kind is at least light soil, whatever else is sound below it.
    if condition == "sound" and zone.coating in _LIGHT_COATINGS:
        condition = "light"
    cutting = [place for place, step in enumerate(ordered) if step.cuts]
    polishing = [place for place, step in enumerate(ordered) if not step.cuts]
    if condition == "heavy":
        return 0, "heavy_starts_coarsest", guessed
    if condition == "light":
        # The middle one of those that cut: our assumption for "finer".
        return (
            (cutting[len(cutting) // 2], "light_starts_finer", guessed) if cutting else (0, "no_cutting_step", guessed)
        )
    if polishing:
        return polishing[0], "sound_starts_at_resin", guessed
    return cutting[-1], "no_resin_step", guessed


def _end(finish_level: int, ordered: tuple[LadderStep, ...], settings: LadderSettings) -> tuple[int, LastRule]:
    """Place of the last step: the last one not finer than the level's grit; the finest for the highest level."""
    if finish_level == FINISH_LEVELS[-1]:
        return len(ordered) - 1, "finish_finest"
    most = settings.last_grit_by_level[finish_level - 1]
    within = [place for place, step in enumerate(ordered) if step.grit is not None and step.grit <= most]
    return (within[-1] if within else 0), "finish_by_grit"


def _finest_used(
    zone: FloorZone, finish_level: int, ordered: tuple[LadderStep, ...], settings: LadderSettings
) -> tuple[int, LastRule]:
    if zone.finest is None:
        return _end(finish_level, ordered, settings)[0], "finest_by_finish"
    for place, step in enumerate(ordered):
        if step.key == zone.finest:
            return place, "finest_used"
    raise LadderRefused(
        "step_not_on_ladder",
        f"`finest` of zone {zone.key!r} must be on the ladder; {zone.finest!r} is not. Say which step it was.",
        value=str(zone.finest),
    )
