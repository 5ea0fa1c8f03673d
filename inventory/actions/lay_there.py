"""A set that lay in a tub before its ledger began: its opening is said anew, of the time it went in."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.utils.translation import gettext as _

from inventory.actions.corrections import check_may_void
from inventory.actions.entry_corrections import kept_columns
from inventory.actions.ledger import NewLine, Who, void
from inventory.ledger.facts import facts_from_json
from inventory.models import Entry, SetState
from inventory.models.choices import Kind


def beginnings_before(who: Who, states: Sequence[SetState]) -> list[NewLine]:
    """Lines that let ledgers begin by the time of this act, for sets whose opening was entered later than it.

    A shop's first week: a set is labelled while it lies in water since the morning. The opening is replaced by one of
    that time (a void and a new entry in the same act, so both stay to be read), only where it is the set's first soak
    and by whoever may void that opening. A set received on an order keeps its day: it cannot have lain there before.
    Raises NotYourEntry.
    """
    at: datetime | None = who.happened_at
    if at is None:
        return []
    fresh = [state.pk for state in states if not facts_from_json(state.facts).spells]
    late = Entry.objects.filter(tool_set__in=fresh, kind=Kind.OPENING, act__happened_at__gt=at)
    late = late.select_related("act", "tool_set").order_by("tool_set_id", "act__happened_at")
    voided = set(Entry.objects.filter(tool_set__in=fresh, kind=Kind.VOIDED).values_list("void_target", flat=True))
    lines: list[NewLine] = []
    for entry in late:
        if entry.pk in voided:
            continue
        check_may_void(who, entry, shift_closed=False)
        lines.append(void(entry, _("It lay in water before its ledger began.")))
        lines.append(NewLine("opening", entry.tool_set, None, kept_columns(entry) | {"replaces": entry.pk}))
    return lines
