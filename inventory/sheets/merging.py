"""Two rows about one thing made into one."""

from __future__ import annotations

from dataclasses import MISSING, fields, replace
from typing import Any


def merge_rows(old: Any, new: Any) -> Any:
    """Two rows (dataclasses of one class) about one thing: what the later one says holds, the rest stays.

    A value equal to its field's default says nothing.
    """
    said = {}
    for each in fields(new):
        value = getattr(new, each.name)
        if each.default is MISSING or value != each.default:
            said[each.name] = value
    return replace(old, **said)
