"""What is said afterwards, of a time gone by, must fit what the ledger holds: else it is refused, nothing stands."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.gate import name_of
from inventory.actions.ledger import NewLine, Recorded, Who, record
from inventory.flags import flag_words
from inventory.ledger.facts import facts_from_json
from inventory.models import Branch, SetState
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.times import when_for


class DoesNotFit(Refused):
    """The time said contradicts what the ledger has of that time or after."""

    code = "does_not_fit"


def record_fitting(
    who: Who,
    branch: Branch,
    lines: Sequence[NewLine],
    before: Mapping[UUID, SetState],
    *,
    now: datetime,
    then: Callable[[SetState], bool],
) -> Recorded:
    """Record lines; where they are of a time gone by, only if they raise no flag and the sets end as they should.

    before: the sets' states under lock, as they are without these lines; then: whether a set is where the lines say.
    Raises DoesNotFit, and takes back what was written.
    """
    if who.happened_at is None:
        return record(who, branch, lines, now=now)
    with transaction.atomic():
        recorded = record(who, branch, lines, now=now)
        fresh = states_with_types(before)
        check_fits(before.values(), fresh, who, now)
        for state in fresh:
            if not then(state):
                raise DoesNotFit(
                    _("%(set)s was seen elsewhere after %(when)s.")
                    % {"set": name_of(state), "when": when_for(who.done_by, who.happened_at, now)},
                    _("Look at its card and choose a later time, or correct there what is wrong."),
                )
    return recorded


def check_fits(before: Iterable[SetState], after: Iterable[SetState], who: Who, now: datetime) -> None:
    """Refuse what raised a flag that was not there before. Flags of an entry that was replaced are gone with it.

    Raises DoesNotFit, naming the set and what does not fit.
    """
    known = {state.pk: _count(state) for state in before}
    for state in after:
        for code, count in _count(state).items():
            if count > known.get(state.pk, {}).get(code, 0):
                raise DoesNotFit(
                    _("%(set)s, %(when)s: that does not fit its ledger. %(flag)s")
                    % {
                        "set": name_of(state),
                        "when": when_for(who.done_by, who.happened_at or now, now),
                        "flag": flag_words(code).sentence,
                    },
                    _("Look at its card, and choose a time that fits what happened before and after."),
                )


def _count(state: SetState) -> dict[str, int]:
    """How many open flags of each kind a set has."""
    counted: dict[str, int] = {}
    for _entry, code in facts_from_json(state.facts).open_flags:
        counted[code] = counted.get(code, 0) + 1
    return counted
