"""Enough for tonight: yes, tight or no, and how sure, as people read it (DESIGN 2)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

FINISH_LIMIT = 0.90  # measured to serve planning and the shown yes alike, METHODS 3
TIGHT_FROM = 0.60  # our assumption, METHODS 1.2

Word = Literal["yes", "tight", "no"]
_HAIR = 1e-9  # 0.9 typed and 0.9 computed are the same chance


@dataclass(frozen=True)
class Enough:
    """word: yes, tight or no. percent: chance in steps of 5, rounded down, 0...95. over_95: read "over 95 % sure"."""

    word: Word
    percent: int
    over_95: bool


def enough(chance: float, limit: float = FINISH_LIMIT, tight_from: float = TIGHT_FROM) -> Enough:
    """Say whether a chance of finishing [-] is enough: yes from `limit` on, tight from `tight_from`, no below.

    Raises: ValueError when a chance lies outside 0 to 1 or `tight_from` above `limit`.
    """
    if not 0 <= chance <= 1:
        raise ValueError(f"`chance` must lie between 0 and 1; got {chance}.")
    if not 0 <= tight_from <= limit <= 1:
        raise ValueError(f"`tight_from` must lie between 0 and `limit`; got {tight_from} and {limit}.")
    word: Word = "yes" if chance >= limit - _HAIR else "tight" if chance >= tight_from - _HAIR else "no"
    percent = shown_percent(chance)
    return Enough(word, percent, percent >= 95)


def shown_percent(chance: float) -> int:
    """A chance as the percentage shown: steps of 5, rounded down, 95 at the most (read as "over 95 % sure").

    Raises: ValueError when the chance lies outside 0 to 1.
    """
    if not 0 <= chance <= 1:
        raise ValueError(f"`chance` must lie between 0 and 1; got {chance}.")
    return min(95, 5 * math.floor(chance * 20 + _HAIR))
