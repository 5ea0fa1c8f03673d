"""What may lie in water: types that need it, sets that still work, tubs with room. Checks only; others write."""

from __future__ import annotations

from collections.abc import Set
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.gate import name_of
from inventory.ledger.state import at_or_before, fold
from inventory.models import Entry, Person, Place, SetState
from inventory.models.choices import Fitness, PlaceKind, SoakNeed
from inventory.queries.ledger import acts_voided_elsewhere, ledgers_of, standing
from inventory.refusals import Refused
from inventory.times import when_for


class TubFull(Refused):
    """The tub has not so many places left."""

    code = "tub_full"


class NeedsNoSoak(Refused):
    """The tool type asks for no water, or the set is retired."""

    code = "needs_no_soak"


def check_soakable(state: SetState, tub: Place) -> None:
    """Refuse a set that water would do no good to, or that lies in this tub already.

    Raises NeedsNoSoak.
    """
    if state.fitness == Fitness.RETIRED:
        raise NeedsNoSoak(
            _("%(set)s is retired.") % {"set": name_of(state)},
            _("If it still works, the shop manager clears it first."),
        )
    if state.tool_set.tool_type.soak_need == SoakNeed.NONE:
        raise NeedsNoSoak(
            _("%(set)s, %(type)s, needs no water.") % {"set": name_of(state), "type": state.tool_set.tool_type.name},
            _("If its sheet says otherwise, change its tool type first."),
        )
    if state.soaking and state.place_id == tub.pk:
        raise NeedsNoSoak(
            _("%(set)s is in %(tub)s already.") % {"set": name_of(state), "tub": tub.name}, _("Scan the next one.")
        )


def room_left(tub: Place) -> int | None:
    """How many more sets a tub takes; None when its room was never said."""
    if tub.room_sets is None:
        return None
    return max(0, tub.room_sets - SetState.objects.filter(place=tub).exclude(fitness=Fitness.RETIRED).count())


def check_room(tub: Place, coming: int) -> None:
    """Refuse more sets than the tub has places left; the caller holds the tub's row.

    Raises TubFull, naming a tub that has room.
    """
    room = room_left(tub)
    if room is None or coming <= room:
        return
    others = [
        other.name
        for other in Place.objects.filter(branch_id=tub.branch_id, kind=PlaceKind.TUB, active=True).exclude(pk=tub.pk)
        if (left := room_left(other)) is None or left >= coming
    ]
    next_step = _("%(tub)s has room.") % {"tub": others[0]} if others else _("Take a set out first, or put in fewer.")
    raise TubFull(
        ngettext(
            "%(tub)s has %(room)s place left, for %(wanted)s sets.",
            "%(tub)s has %(room)s places left, for %(wanted)s sets.",
            room,
        )
        % {"tub": tub.name, "room": room, "wanted": coming},
        next_step,
    )


def check_room_since(tub: Place, coming: Set[UUID], at: datetime, person: Person, now: datetime) -> None:
    """Refuse sets that are said to have gone into a tub at a time gone by when, then or later, it had no room for them.

    coming: the sets. How full it was is folded from the ledgers of the sets that lay in it and were seen since.
    Raises TubFull, naming the time.
    """
    if tub.room_sets is None:
        return
    into = Entry.objects.filter(to_place=tub, tool_set__state__last_at__gte=at)
    others = set(into.values_list("tool_set_id", flat=True)) - {None} - set(coming)
    still = set(SetState.objects.filter(place=tub).values_list("pk", flat=True)) - set(coming)
    sets = {pk for pk in others | still if pk is not None}
    ledgers, undone = ledgers_of(sets), acts_voided_elsewhere(sets)
    begun = Entry.objects.filter(to_place=tub, act__happened_at__gt=at, tool_set__in=sets)
    begun = begun.filter(pk__in=standing(begun))
    for moment in sorted({at, *begun.values_list("act__happened_at", flat=True)}):
        facts = [fold(at_or_before(lines, moment), voided_acts=undone) for lines in ledgers.values()]
        held = sum(one.place == str(tub.pk) and one.fitness != Fitness.RETIRED for one in facts)
        if held + len(coming) > tub.room_sets:
            raise TubFull(
                _("%(tub)s held %(held)s sets %(when)s, and has room for %(room)s.")
                % {"tub": tub.name, "held": held, "when": when_for(person, moment, now), "room": tub.room_sets},
                _("Choose the time it really was, or say first when the others came out."),
            )
