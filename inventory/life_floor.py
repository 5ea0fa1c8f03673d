"""The floor that life left is told on: the name a page shows and the factor its number is divided by, together."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from inventory.hooks import NextUse
from inventory.shop_settings import ShopSettings, floor_factor


@dataclass(frozen=True)
class LifeFloor:
    """A floor as life left is told on it. words: "on Bay north"; factor: its own; medium: the reference floor."""

    words: str
    factor: float
    medium: bool


def life_floor(use: NextUse | None, settings: ShopSettings) -> LifeFloor:
    """The floor a set works on next, by name; without one a medium floor, as the rack tells all its sets.

    A use whose step is not known counts by the hardness of its floor alone.
    """
    factor = None if use is None else use.factor
    if use is not None and factor is None and use.hardness:
        factor = floor_factor(settings, use.hardness, "worn", "wet", "later")
    if use is None or factor is None or not use.floor_words:
        return LifeFloor(_("on a medium floor"), 1.0, True)
    return LifeFloor(_("on %(floor)s") % {"floor": use.floor_words}, factor, False)
