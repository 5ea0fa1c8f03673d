"""How much a machine does in an hour, and what it drinks: production, speed, cleaner, tanks, edges (METHODS 2).

Pure. Production = (path - overlap) x speed x efficiency / passes: REFERENCES P15.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from inventory.numerics.lognormal import Floats
from jobs.numerics.ladder_facts import Key, LadderMachine, LadderRefused, LadderSettings, LadderStep, misfits


def production_m2_per_h(
    path_m: npt.ArrayLike,
    overlap_m: npt.ArrayLike,
    speed_m_per_min: npt.ArrayLike,
    efficiency: npt.ArrayLike,
    passes: npt.ArrayLike = 1,
) -> Floats:
    """Finished area an hour [m2/h]: (path - overlap) x speed x efficiency x 60 / passes, any shapes that broadcast.

    path_m, overlap_m [m]; speed [m/min]; efficiency [-], share of the time the machine really runs.
    Raises: ValueError for an overlap not below the path, or passes not above 0.
    Source: arithmetic, REFERENCES P15 (there the overlap is a share of the width).
    """
    path, overlap, count = (np.asarray(value, dtype=np.float64) for value in (path_m, overlap_m, passes))
    if not np.all(overlap < path):
        raise ValueError(f"`overlap_m` must be below `path_m`; got {overlap_m!r} of {path_m!r}.")
    if not np.all(count > 0):
        raise ValueError(f"`passes` must be above 0; got {passes!r}.")
    return np.asarray((path - overlap) * np.asarray(speed_m_per_min) * np.asarray(efficiency) * 60 / count)


def cleaner_l(water_l: npt.ArrayLike, ratio: float = 128.0) -> Floats:
    """Cleaner [L] for an amount of water [L]: one part to `ratio` parts (1:128 is 7.8125 mL a litre).

    Source: common practice, or the cleaner's label; one US fluid ounce a gallon, REFERENCES U4.
    """
    if not ratio > 0:
        raise ValueError(f"`ratio` must be above 0; got {ratio}.")
    return np.asarray(np.asarray(water_l, dtype=np.float64) / ratio)


def working_speed(machine: LadderMachine, settings: LadderSettings) -> tuple[float, str]:
    """The speed to plan with [m/min] and its rule: the working speed where the machine has it, else its middle."""
    if machine.speed_low_m_per_min <= settings.speed_m_per_min <= machine.speed_high_m_per_min:
        return settings.speed_m_per_min, "speed_working"
    return (machine.speed_low_m_per_min + machine.speed_high_m_per_min) / 2, "speed_middle"


def machine_for(step: LadderStep, machines: Sequence[LadderMachine], settings: LadderSettings) -> LadderMachine:
    """The machine that runs a step: of those that fit, the one that does most an hour; the first of equals.

    Raises: LadderRefused when nothing fits, with what stands in the way of each.
    """
    why: list[str] = []
    best: tuple[float, LadderMachine] | None = None
    for machine in machines:
        if machine.hand:
            continue
        wrong = misfits(step, machine)
        if wrong:
            why.append(f"{machine.key!r}: {', '.join(wrong)}")
            continue
        output = float(pass_output(machine, settings, machine.efficiency or settings.efficiency))
        if best is None or output > best[0]:
            best = output, machine
    if best is None:
        reasons = "; ".join(why) or "no machine goes along"
        raise LadderRefused(
            "no_machine_fits",
            f"`machines` must hold one that fits {step.key!r}; none does ({reasons}). Choose another machine or tool.",
            step=str(step.key),
            reasons=reasons,
        )
    return best[1]


def pass_output(machine: LadderMachine, settings: LadderSettings, efficiency: npt.ArrayLike) -> Floats:
    """Area of one pass an hour [m2/h]."""
    overlap = settings.overlap_m if machine.overlap_m is None else machine.overlap_m
    return production_m2_per_h(machine.path_m, overlap, working_speed(machine, settings)[0], efficiency)


def tank_loads(litres: Floats, tank_l: float | None, rule: str, unknown: str) -> tuple[Floats, str]:
    """How often a tank is filled (or emptied) for these litres, at least once where there are any."""
    if tank_l is None:
        return np.zeros_like(litres), unknown
    return np.ceil(litres / tank_l - 1e-9), rule


def edge_hours(
    machines: Sequence[LadderMachine], settings: LadderSettings, worked_m2: Floats, efficiency: Mapping[Key, Floats]
) -> tuple[Floats, str]:
    """Hours by hand along the edges: with the hand machine that does most, else at the shop's rate."""
    outputs = [
        (float(pass_output(machine, settings, 1.0)), place) for place, machine in enumerate(machines) if machine.hand
    ]
    if not outputs:
        return worked_m2 / settings.edge_m2_per_h, "edge_by_setting"
    machine = machines[max(outputs, key=lambda pair: (pair[0], -pair[1]))[1]]
    return worked_m2 / pass_output(machine, settings, efficiency[machine.key]), "edge_by_hand_machine"
