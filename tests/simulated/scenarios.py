"""The cells of the table: which assumption of the wear model each simulated shop breaks, and by how much.

Every figure here is our assumption (METHODS 1.6); none comes from a shop's record.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

BASES_ERROR = (0.05, 0.10, 0.20, 0.50)  # relative error of measured, section done, planned, guessed areas


@dataclass(frozen=True)
class Scenario:
    """One kind of simulated shop.

    rate_spread: SD of ln wear rate over the sets of a type. lives: "normal" or "weibull" (shape 3) wear rates.
    floor_noise: "lognormal" or "student" (t with 2.5 degrees of freedom). hopeful: added to every mean ln rate.
    factor_spread: SD of ln (true floor factor / the shop's own). opening: how sets already half worn were entered.
    basis_share: share of uses by basis of area, None = exact areas. pieces: of six changed at a change (0: never).
    lost: of six broken off for good, the set runs on with the rest. pieces_noted: whether either is written down.
    scored: which sets in service are scored. chances: chances of finishing steps are asked and scored as well. worn:
    worn-out sets per type, one row part each. band: which acceptance band holds: "base", "wrong",
    "range" (coverage and the simple rules only: METHODS sets these cells no bound against the oracle), "" (none).
    """

    name: str
    title: str
    rate_spread: float = 0.25
    lives: str = "normal"
    floor_noise: str = "lognormal"
    hopeful: float = 0.0
    factor_spread: float = 0.2
    under_reported: bool = False
    height_curve: bool = False
    read_chance: float = 0.15
    opening: str | None = None
    basis_share: tuple[float, float, float, float] | None = None
    basis_known: bool = True
    guessed_bias: float = 1.0
    dress_chance: float = 0.0
    dress_noted: bool = True
    pieces: int = 0
    lost: int = 0
    pieces_noted: bool = True
    scored: str = "all"
    chances: bool = False
    worn: tuple[int, ...] = (3, 10, 30)
    band: str = "wrong"


def sets_in_service(worn: int, scenario: Scenario) -> int:
    """Sets in service per type: 6, 8 or 12 for 3, 10 or 30 worn-out sets (METHODS 1.6); 8 in a rack taken over."""
    if scenario.opening:
        return 8
    return 6 if worn <= 3 else 8 if worn <= 10 else 12


_BASE = Scenario("base", "base", chances=True, band="base")
_MIX = (0.20, 0.40, 0.20, 0.20)  # measured, section done, planned, guessed
_HALF_GUESSED = (0.125, 0.25, 0.125, 0.50)
_FEW = (3, 10)
_TAKEN = (0, 3, 10)

CELLS: dict[str, Scenario] = {
    cell.name: cell
    for cell in (
        _BASE,
        Scenario("weibull", "Weibull lives", lives="weibull"),
        Scenario("heavy", "heavy tails per floor", floor_noise="student"),
        Scenario("unlogged", "area under-reported", under_reported=True),
        Scenario("hopeful", "rating 65 % too hopeful", hopeful=0.5),
        Scenario("factors", "floor factors wrong", factor_spread=0.5),
        Scenario("height", "wear changes with height", height_curve=True),
        Scenario("spread", "rates spread .45", rate_spread=0.45),
        Scenario("no_readings", "base, no readings", read_chance=0.0),
        Scenario("read40", "base, 40 % of uses read", read_chance=0.40),
        Scenario("open_unknown", "opening entries, wear unknown", opening="unknown", worn=_TAKEN, band="range"),
        Scenario("open_about", 'opening entries, "about"', opening="about", worn=_TAKEN, band="range"),
        Scenario("open_height", "opening entries, a height", opening="height", worn=_TAKEN, band="range"),
        Scenario("open_as_new", "opening entries taken for new", opening="as_new", worn=_TAKEN, band=""),
        Scenario("guessed", "20 % guessed, 20 planned, 40 section", basis_share=_MIX, worn=_FEW, band="range"),
        Scenario("guessed_plain", "the same, basis not told", basis_share=_MIX, basis_known=False, worn=_FEW, band=""),
        Scenario("guessed_half", "half guessed", basis_share=_HALF_GUESSED, worn=_FEW, band="range"),
        Scenario("guessed_high", "guesses 15 % too high", basis_share=_MIX, guessed_bias=1.15, worn=_FEW, band="range"),
        Scenario("dressed", "dressed sets", dress_chance=0.03, scored="dressed", worn=_FEW, band="range"),
        Scenario(
            "dressed_wear",
            "dressing loss taken for wear",
            dress_chance=0.03,
            dress_noted=False,
            scored="dressed",
            worn=_FEW,
            band="",
        ),
        Scenario("piece1", "1 of 6 pieces changed", pieces=1, scored="pieces", worn=_FEW, band="range"),
        Scenario("piece4", "4 of 6 pieces changed", pieces=4, scored="pieces", worn=_FEW, band="range"),
        Scenario(
            "piece4_plain",
            "4 of 6 pieces changed, not noted",
            pieces=4,
            pieces_noted=False,
            scored="pieces",
            worn=_FEW,
            band="",
        ),
        Scenario("lost2", "2 of 6 pieces lost", lost=2, scored="pieces", worn=_FEW, band="range"),
        Scenario(
            "lost2_plain",
            "2 of 6 pieces lost, not noted",
            lost=2,
            pieces_noted=False,
            scored="pieces",
            worn=_FEW,
            band="",
        ),
    )
}
MAIN_CELLS = tuple(list(CELLS)[:10])


def shop_seed(seed: int, worn: int, shop: int) -> np.random.SeedSequence:
    """Return the dice of one shop: the same shop number throws the same dice in every cell, so cells compare."""
    return np.random.SeedSequence(entropy=seed, spawn_key=(worn, shop))


def variant(name: str, **changes: object) -> Scenario:
    """Return a cell with some figures changed, for tests."""
    return replace(CELLS[name], **changes)  # type: ignore[arg-type]
