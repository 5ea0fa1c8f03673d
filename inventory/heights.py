"""Heights of a set as a person entered them."""

from __future__ import annotations

from dataclasses import dataclass

from inventory.units import Amount


@dataclass(frozen=True)
class Heights:
    """Heights of a set as entered: one (the lowest piece), that and the mean of all, or one per piece.

    with_backing: measured with the backing included (callipers); sure: the person keeps an unlikely value;
    mean: of all pieces, where only the lowest and the mean were noted.
    """

    pieces: tuple[Amount, ...]
    with_backing: bool = False
    sure: bool = False
    mean: Amount | None = None
