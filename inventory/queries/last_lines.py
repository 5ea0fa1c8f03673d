"""The last entries of a set as short lines: when, what, by whom."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from inventory.models import Entry, Person
from inventory.times import when_for
from inventory.units import show_height

# How a set was left, as it stands in a short line.
LEFT_WORDS = {
    "in_water": _lazy("left in water"),
    "dry": _lazy("left dry"),
    "in_van": _lazy("left in the van"),
}


@dataclass(frozen=True)
class LastLine:
    """One entry: when it happened, what, and whether it was voided since."""

    when: str
    words: str
    voided: bool


def last_lines(set_id: UUID, person: Person, now: datetime, count: int = 3) -> tuple[list[LastLine], int]:
    """The newest entries of a set and how many it has in all; three queries."""
    entries = Entry.objects.filter(tool_set_id=set_id)
    rows = list(
        entries.exclude(kind__in=("voided", "settled"))
        .select_related("act__done_by", "to_place", "outing", "code")
        .order_by("-act__happened_at", "-act__device_seq", "-line_no")[:count]
    )
    voids = Entry.objects.filter(kind="voided", void_target__in=[row.pk for row in rows])
    voided = set(voids.values_list("void_target", flat=True))
    lines = [
        LastLine(when_for(person, row.act.happened_at, now), _words(row, person), row.pk in voided) for row in rows
    ]
    return lines, entries.count()


def _words(entry: Entry, person: Person) -> str:
    """ "Scanned out to Osprey Lane. Dag P." """
    what = str(entry.get_kind_display())
    what = what[:1].upper() + what[1:]
    if entry.outing is not None and entry.kind in ("scanned_out", "handed_over"):
        what = _("%(what)s: %(name)s") % {"what": what, "name": entry.outing.name}
    elif entry.to_place is not None:
        what = _("%(what)s: %(name)s") % {"what": what, "name": entry.to_place.name}
    elif entry.lowest_height_mm is not None:
        height = show_height(entry.lowest_height_mm, person.units)  # type: ignore[arg-type]
        what = _("%(what)s: %(name)s") % {"what": what, "name": height}
    elif entry.trouble_kind:
        what = _("%(what)s: %(name)s") % {"what": what, "name": entry.get_trouble_kind_display()}
    elif entry.code is not None:
        what = _("%(what)s: %(name)s") % {"what": what, "name": entry.code.code}
    how = LEFT_WORDS.get(entry.left_how or "")
    if how is not None and entry.kind in ("seen", "moved", "scanned_in"):
        what = f"{what}, {how}"
    if entry.why:
        what = f"{what}, {entry.why}"
    return f"{what}. {entry.act.done_by.name}"
