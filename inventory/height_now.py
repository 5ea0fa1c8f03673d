"""The lowest piece of a set as it stands: what was read last and when, and what is likely today where it worked since.

The one answer for whoever compares, shows or asks heights. The likely height is the wear path's last point, the same
as on the set's card.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any
from uuid import UUID

import numpy as np
from django.utils.translation import gettext as _

from inventory import estimate
from inventory.life_curve import height_range
from inventory.life_record import height_today
from inventory.models import Branch, Person, SetState
from inventory.shop_settings import settings_of
from inventory.times import show_day, zone_of
from inventory.units import show_height


@dataclass(frozen=True)
class HeightNow:
    """Heights in mm. read_at: of the last reading, None: not known. worked: work is logged since it.

    likely_mm: low, likely, high today; None where nothing worked since, or nothing can be said.
    """

    read_mm: float
    read_at: datetime | None
    worked: bool
    likely_mm: tuple[float, float, float] | None = None

    @property
    def now_mm(self) -> float:
        """What it is today: as likely where it worked since the reading, else as it was read."""
        return self.likely_mm[1] if self.likely_mm is not None else self.read_mm


def last_reading(wear: Mapping[str, Any]) -> tuple[datetime | None, bool]:
    """When a set's lowest piece was read last (None: at its beginning, or never), and whether it worked since."""
    worked = False
    for one in reversed(wear.get("stretches", ())):
        restart = one["restart"]
        if one["at"] and (one["read_mm"] is not None or (restart is not None and restart["height_mm"] is not None)):
            return datetime.fromisoformat(one["at"]), worked
        worked = worked or any(area[0] > 0 for area in one["areas"].values())
    return None, worked


def heights_now(states: Iterable[SetState], branch: Branch, now: datetime) -> dict[UUID, HeightNow]:
    """The lowest piece of each of these sets (with their types loaded) that was read once, by set id.

    Three queries for the sets of a type that worked since their reading; none for the others.
    """
    found, asked = {}, {}
    for state in states:
        if state.lowest_height_mm is None:
            continue
        at, worked = last_reading(state.wear)
        found[state.pk] = HeightNow(state.lowest_height_mm, at, worked)
        if worked:
            asked[state.pk] = state
    if not asked:
        return found
    settings = settings_of(branch, today=now.astimezone(zone_of(branch)).date())
    types = {state.tool_set.tool_type_id for state in asked.values()}
    for model in estimate.models(settings, type_ids=types, sets=list(asked)).values():
        for place, set_id in enumerate(model.set_ids):
            if set_id not in asked:
                continue
            alone = np.array([place])
            one = replace(model, rows=(model.rows[place],), record=model.part(alone))
            point = height_today(one)
            if point is not None:
                known = (point.low_mm, point.likely_mm, point.high_mm)
                found[set_id] = replace(found[set_id], likely_mm=known)
    return found


def height_words(one: HeightNow | None, person: Person, today: date) -> dict[str, str]:
    """The same in words: read, day ("" where it is not known), likely and between ("" where nothing worked since)."""
    if one is None:
        return {}
    units: Any = person.units
    day = show_day(one.read_at.astimezone(zone_of(person.branch)).date(), today) if one.read_at is not None else ""
    words = {"read": show_height(one.read_mm, units), "day": day}
    if one.likely_mm is not None:
        low, likely, high = one.likely_mm
        words |= {"likely": show_height(likely, units), "between": height_range(low, high, units)}
    return words


def height_sentence(one: HeightNow | None, person: Person, today: date) -> str:
    """ "Its lowest piece was last read at 6.8 mm, 12 Apr. Likely 3.6 mm today, 3.2 to 4.0 mm."; "" if never read."""
    words = height_words(one, person, today)
    if not words:
        return ""
    said = _("Its lowest piece was last read at %(read)s, %(day)s.") if words["day"] else ""
    said = (said or _("Its lowest piece was last read at %(read)s.")) % words
    if "likely" not in words:
        return said
    likely = _("Likely %(likely)s today, %(between)s.") % words
    return f"{said} {likely}"
