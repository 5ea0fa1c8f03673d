"""Somebody looked at a set that wears oddly."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.ledger import NewLine, Recorded, Who, already, lock_states, record
from inventory.flags import LOOKED, WEARS_ODDLY, looked_at
from inventory.models import Branch, OddWear, ToolSet
from inventory.refusals import Refused
from inventory.rights import Right


class NotOdd(Refused):
    """Nothing about the set's wear asks to be looked at, or not of this person."""

    code = "not_odd"


def look_at(who: Who, branch: Branch, tool_set: ToolSet, *, now: datetime) -> Recorded:
    """Keep that somebody looked at a set that wears oddly: it asks no more until its next reading. Void undoes it.

    Raises NotOdd without the right to settle, when nothing about it is odd, or somebody looked already.
    """
    if not (who.entered_by or who.done_by).can(Right.SETTLE):
        raise NotOdd(_("You may not settle what wears oddly."), _("Ask the shop manager; nothing is lost meanwhile."))
    with transaction.atomic():
        if (known := already(who.act_id)) is not None:
            return known
        state = lock_states([tool_set])[tool_set.pk]
        row = OddWear.objects.filter(pk=tool_set.pk).first()
        if row is None or looked_at(state.facts, row.reading):
            raise NotOdd(
                _("Nothing about this set's wear asks to be looked at any more."),
                _("Somebody looked, or what was odd was corrected; its card says more."),
            )
        columns = {"settles_target": row.reading, "flag_code": WEARS_ODDLY, "answer": LOOKED}
        return record(who, branch, [NewLine("settled", tool_set, None, columns)], now=now)
