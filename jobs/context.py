"""What the pages of the work are given beyond the page itself: what the person may do."""

from __future__ import annotations

from typing import Any

from inventory.models import Person
from inventory.rights import Right
from inventory.units import Units


def units_of(person: Person) -> Units:
    """The units the person reads amounts in."""
    return "metric" if person.units == Person.Units.METRIC else "us"


def rights_of(person: Person) -> dict[str, Any]:
    """The rights that the pages of the work ask for, by the names their templates use."""
    return {
        "may_plan": person.can(Right.PLAN),
        "may_log": person.can(Right.LOG_WORK),
        "may_settle": person.can(Right.SETTLE),
        "may_scan": person.can(Right.SCAN),
    }
