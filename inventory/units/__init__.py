"""The edge between people's units and SI: factors, reading, showing, and what is plausible.

Inside everything is SI (m2, mm, m, degC, h, L, m/min); the person's units ("us" or "metric") exist only here.
"""

from .factors import UNITS, Dimension, Unit, Units, from_si, to_si, unit_for
from .limits import (
    Judged,
    judge_area,
    judge_height,
    judge_hours,
    judge_passes,
    judge_past_date,
    judge_temperature,
)
from .numbers import AmountNotRead, Number, NumberDoubt, read_number
from .reading import (
    Amount,
    Doubt,
    Money,
    find_unit,
    read_area,
    read_count,
    read_height,
    read_hours,
    read_length,
    read_money,
    read_speed,
    read_temperature,
    read_volume,
)
from .showing import (
    NBSP,
    show_about,
    show_area,
    show_entered,
    show_height,
    show_hours,
    show_length,
    show_money,
    show_number,
    show_range,
    show_span,
    show_speed,
    show_temperature,
    show_volume,
)

__all__ = [
    "NBSP", "UNITS", "Amount", "AmountNotRead", "Dimension", "Doubt", "Judged", "Money", "Number", "NumberDoubt",
    "Unit", "Units", "find_unit", "from_si", "judge_area", "judge_height", "judge_hours", "judge_passes",
    "judge_past_date", "judge_temperature", "read_area", "read_count", "read_height", "read_hours", "read_length",
    "read_money", "read_number", "read_speed", "read_temperature", "read_volume", "show_about", "show_area",
    "show_entered", "show_height", "show_hours", "show_length", "show_money", "show_number", "show_range",
    "show_span", "show_speed", "show_temperature", "show_volume", "to_si", "unit_for",
]  # fmt: skip
