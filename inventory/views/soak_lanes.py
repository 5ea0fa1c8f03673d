"""Sets of a tub as lanes: those of one type together; where a tub is crowded, told by type and state."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.gauge import GaugeFace
from inventory.models import Person, SetState
from inventory.soak_picture import LaneKind
from inventory.times import when_for

# A tub with more lanes than this is told by type and state; of single lines so many are said.
_LANES_SHOWN, _LINES_SAID = 10, 4
# So many codes are written on a lane.
_CODES_SAID = 3


@dataclass
class LaneShown:
    """Sets of one type in a tub since the same moment, as the page says them."""

    grit: str
    count: int
    faces: list[GaugeFace]
    kind: LaneKind
    words: str
    state: str
    begun_at: datetime | None
    ready_at: datetime | None
    sets: list[SetState] = field(default_factory=list)

    @property
    def codes(self) -> str:
        """What a person reads on the sets: "GL-7K2M46 · D-01, GL-QPB529"; of many the first, and how many more."""
        codes = sorted(filter(None, (state.shown_code for state in self.sets)))
        more = len(codes) - _CODES_SAID
        said = ", ".join(codes[:_CODES_SAID])
        return said if more <= 0 else _("%(codes)s and %(n)s more") % {"codes": said, "n": more}


def folded(lanes: list[LaneShown], person: Person, now: datetime) -> list[LaneShown]:
    """The lanes as they are, or, where a tub is crowded, one for each type and state with its first and last time."""
    if len(lanes) <= _LANES_SHOWN:
        return lanes
    groups: dict[tuple[str, int, str], list[LaneShown]] = {}
    for lane in lanes:
        groups.setdefault((lane.grit, lane.sets[0].tool_set.tool_type_id, lane.kind), []).append(lane)
    found = []
    for (grit, _type_id, _kind), some in groups.items():
        if len(some) == 1:
            found += some
            continue
        begun = [lane.begun_at for lane in some if lane.begun_at is not None]
        ready = [lane.ready_at for lane in some if lane.ready_at is not None]
        faces = [face for lane in some for face in lane.faces]
        sets = [state for lane in some for state in lane.sets]
        words = _folded_words(some[0].kind, ready, person, now)
        first = (min(begun, default=None), min(ready, default=None))
        found.append(LaneShown(grit, len(sets), faces, some[0].kind, words, some[0].state, *first, sets))
    places = {lane.grit: number for number, lane in enumerate(lanes)}
    return sorted(found, key=lambda lane: (lane.sets[0].tool_set.tool_type.ladder_place, places[lane.grit], lane.kind))


def _folded_words(kind: LaneKind, ready: list[datetime], person: Person, now: datetime) -> str:
    """ "Fri 04:00 to Sat 10:00" of sets that soak, else what they are, since when."""
    first = when_for(person, min(ready), now) if ready else ""
    last = when_for(person, max(ready), now) if ready else ""
    if kind == "soaking":
        if not ready:
            return _("No end in sight: heat the tub and read it")
        return _("%(first)s to %(last)s") % {"first": first, "last": last} if first != last else first
    if kind == "soaked":
        return _("Soaked, not confirmed, the first since %(when)s") % {"when": first}
    if kind == "conditioned":
        return _("Conditioned and confirmed")
    return _("Lie here; soak need or times not known")


def some_lines(lines: list[str]) -> list[str]:
    """The first lines, and how many more there are."""
    more = len(lines) - _LINES_SAID
    if more <= 0:
        return lines
    return [*lines[:_LINES_SAID], ngettext("And %(n)s more set.", "And %(n)s more sets.", more) % {"n": more}]
