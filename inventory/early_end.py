"""Which sets ended so early that their supplier should hear of it."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from inventory.models import SetState
from inventory.models.choices import Fitness, OpeningKind, RetiredWhy
from inventory.shop_settings import ShopSettings, reference_area

# What ends a life too early for its supplier to hear of; changed early and written off are the shop's own doing.
_FAILED = (RetiredWhy.WORN, RetiredWhy.BROKEN)


@dataclass(frozen=True)
class EarlyEnd:
    """A set that ended at a small share of its rating. Areas are reference areas, m2; share from 0 to 1."""

    reference_m2: float
    rated_m2: float
    why: str

    @property
    def share(self) -> float:
        """What it did of its rating."""
        return self.reference_m2 / self.rated_m2


def failed_at(state: SetState, settings: ShopSettings) -> EarlyEnd | None:
    """At what share of its rating a set failed whose whole life is on record; None for every other set. No query."""
    rated = state.tool_set.tool_type.rated_coverage_m2
    if state.fitness != Fitness.RETIRED or state.fitness_why not in _FAILED or not rated:
        return None
    if state.opening != OpeningKind.NEW:
        return None
    return EarlyEnd(reference_area(settings, state.worked), rated, state.fitness_why)


def early_end(state: SetState, settings: ShopSettings) -> EarlyEnd | None:
    """How early a set failed, if it did by the shop's limit; None for every other set. No query.

    Only a set whose whole life is on record, that ended worn or broken, of a type with a rating.
    """
    found = failed_at(state, settings)
    return found if found is not None and found.share <= settings["claim_share"] else None


def why_none(state: SetState, settings: ShopSettings) -> str:
    """Why there is nothing to claim for a set, a sentence; for sets that ``early_end`` says None of."""
    if state.fitness != Fitness.RETIRED:
        return _("It is not retired: while it may go on, nothing has ended early.")
    if state.fitness_why not in _FAILED:
        return _("It did not end worn or broken.")
    if state.opening != OpeningKind.NEW:
        return _("Its life before this shop's record is not known, so nobody can say what it did in all.")
    if not state.tool_set.tool_type.rated_coverage_m2:
        return _("Its tool type has no rating to compare with.")
    return _("It did a larger part of its rating than a claim is for.")
