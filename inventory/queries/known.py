"""What every set was at a past instant, by what was on record then: for questions asked as of a past Monday.

A walk through whole ledgers: dear beside the kept states, a constant number of queries for any number of sets.
"""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.db.models import F

from inventory.ledger.facts import SetFacts
from inventory.ledger.state import at_or_before, fold
from inventory.models import SetState
from inventory.queries.ledger import acts_voided_elsewhere, ledgers_of, same_sets


def facts_known(at: datetime) -> dict[UUID, SetFacts]:
    """The facts of every set that had begun at an instant, by what was recorded by then, by the main set's id.

    Of sets that were known to be the same, the one that stands for all today answers, else the first by id.
    """
    mains = set(SetState.objects.filter(main_id=F("tool_set_id")).values_list("tool_set_id", flat=True))
    every = list(SetState.objects.values_list("tool_set_id", flat=True))
    ledgers = ledgers_of(every, known_by=at)
    groups = set(same_sets(every, known_by=at).values())
    undone = acts_voided_elsewhere(every, known_by=at)
    found: dict[UUID, SetFacts] = {}
    for group in groups:
        lines = [line for member in group for line in ledgers.get(member, ())]
        if not lines:
            continue
        facts = fold(at_or_before(lines, at), voided_acts=undone)
        if facts.opening:
            found[min(group & mains or group)] = facts
    return found
