"""A count of pieces builds on the one before it: what came earlier is not taken from under a later change."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.utils.translation import gettext as _

from inventory.models import Entry, SetState
from inventory.queries.ledger import same_sets, standing
from inventory.refusals import Refused
from inventory.times import when_for


class LaterPieces(Refused):
    """The pieces of the set were changed again later; that is voided first."""

    code = "later_pieces"


def check_no_later_pieces(targets: Iterable[Entry], now: datetime) -> None:
    """Refuse to take a change of pieces away, or to say it anew, while a later change of one of its sets stands.

    Each such line says how many pieces the set then had, counted on from the one before. targets: lines with their
    acts, of any kind. Raises LaterPieces naming the set and the later change.
    """
    changes = [entry for entry in targets if entry.kind == "pieces_changed" and entry.tool_set_id is not None]
    if not changes:
        return
    groups = same_sets({entry.tool_set_id for entry in changes if entry.tool_set_id is not None})
    every = {member for group in groups.values() for member in group}
    others = Entry.objects.filter(kind="pieces_changed", tool_set_id__in=every)
    others = others.exclude(act_id__in={entry.act_id for entry in changes})
    rows = list(others.filter(pk__in=standing(others)).select_related("act__done_by"))
    for entry in changes:
        assert entry.tool_set_id is not None
        mine = groups[entry.tool_set_id]
        later = [one for one in rows if one.tool_set_id in mine and _order(one) > _order(entry)]
        if later:
            newest = max(later, key=_order)
            state = SetState.objects.select_related("tool_set__tool_type").get(pk=entry.tool_set_id)
            raise LaterPieces(
                _("The pieces of %(set)s were changed again %(when)s; that count builds on this one.")
                % {
                    "set": state.shown_code or state.tool_set.tool_type.name,
                    "when": when_for(newest.act.done_by, newest.act.happened_at, now),
                },
                _("Void the later change first, then this one, and enter anew what was right."),
            )


def _order(entry: Entry) -> tuple[datetime, str, int, str]:
    """The place of an entry's act in a ledger, as ``Line.order`` has it."""
    return (entry.act.happened_at, str(entry.act.device_id), entry.act.device_seq, str(entry.act_id))
