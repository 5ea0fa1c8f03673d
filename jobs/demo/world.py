"""What the demo shop's people cannot see: how fast each set truly wears. Our own invention, drawn from seeded dice."""

from __future__ import annotations

import math
import random
from uuid import UUID

from inventory.models import ToolSet, ToolType
from inventory.shop_settings import ShopSettings, floor_factor

# Ratings are about 15 % hopeful, types differ by 15 %, sets of one type by 22 %, a floor's wear by 20 % (invented).
_HOPEFUL, _BY_TYPE, _BY_SET, _BY_FLOOR = 0.15, 0.15, 0.22, 0.20


class World:
    """The true height of every set, mm."""

    def __init__(self, rng: random.Random, settings: ShopSettings) -> None:
        self._rng, self._settings = rng, settings
        self._type_rate: dict[int, float] = {}
        self._rate: dict[UUID, float] = {}
        self.height_mm: dict[UUID, float] = {}

    def add(self, tool_set: ToolSet, share_left: float = 1.0) -> None:
        """A set comes into the world, new or with some share of its usable height left."""
        tool_type = tool_set.tool_type
        usable = self.usable_mm(tool_type)
        if tool_type.pk not in self._type_rate:
            self._type_rate[tool_type.pk] = math.exp(self._rng.gauss(_HOPEFUL, _BY_TYPE))
        per_m2 = usable / (tool_type.rated_coverage_m2 or 5000.0)
        self._rate[tool_set.pk] = per_m2 * self._type_rate[tool_type.pk] * math.exp(self._rng.gauss(0, _BY_SET))
        self.height_mm[tool_set.pk] = (tool_type.retire_height_mm or 0.0) + usable * share_left

    def usable_mm(self, tool_type: ToolType) -> float:
        """New height less retire height."""
        return (tool_type.new_height_mm or 12.0) - (tool_type.retire_height_mm or 2.0)

    def left_m2(self, tool_set: ToolSet, factor: float) -> float:
        """Worked area truly left in a set on a floor of this factor."""
        spare = self.height_mm[tool_set.pk] - (tool_set.tool_type.retire_height_mm or 0.0)
        return max(0.0, spare / (self._rate[tool_set.pk] * factor))

    def factor(self, hardness: str, surface: str, wet_dry: str, step_kind: str) -> float:
        """The true factor of one floor on one night: the shop's own, and chance."""
        own = floor_factor(self._settings, hardness, surface, wet_dry, step_kind)
        return own * math.exp(self._rng.gauss(-(_BY_FLOOR**2) / 2, _BY_FLOOR))

    def wear(self, tool_set: ToolSet, area_m2: float, factor: float) -> None:
        """Take off what a worked area costs."""
        self.height_mm[tool_set.pk] -= self._rate[tool_set.pk] * area_m2 * factor

    def worn(self, tool_set: ToolSet) -> bool:
        """Whether a set is at its retire height or below."""
        return self.height_mm[tool_set.pk] <= (tool_set.tool_type.retire_height_mm or 0.0) + 0.05

    def guess_mm(self, tool_type: ToolType, share_left: float) -> float:
        """What a gauge reads of a set that is about to come into the world, to a tenth."""
        return round((tool_type.retire_height_mm or 0.0) + self.usable_mm(tool_type) * share_left, 1)

    def read_mm(self, tool_set: ToolSet) -> float:
        """What a gauge reads of the lowest piece: the truth and 0.3 mm of error, to a tenth."""
        return round(max(0.1, self.height_mm[tool_set.pk] + self._rng.gauss(0, 0.3)), 1)
