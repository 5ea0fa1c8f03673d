"""Count a place by scanning: what is there is seen, what does not turn up goes missing, what is too many is asked of.

A set that the ledger has in the place is counted at once. One that it has elsewhere is written down as seen, but held
back until somebody with the right to count approves it: no helper's slip ends an outing. A set that nobody saw goes
missing as of the count's start, and only if the ledger then has it in the place (LEDGER 19): what a phone without
signal had taken before stays with its crew, whenever that phone speaks up.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.custody import locked_states
from inventory.actions.gate import NeedsRight, check_ours
from inventory.actions.ledger import NewLine, Recorded, Who, already, record
from inventory.actions.measure import Heights, height_columns
from inventory.actions.undo import NothingToUndo, undo
from inventory.models import Act, Branch, Count, Place, SetState, ToolSet
from inventory.models.choices import PlaceKind, SoakNeed
from inventory.queries.count import Held, finish_act, held_of, is_out, seen_ids, was_seen
from inventory.refusals import Refused
from inventory.rights import Right

COUNTABLE = (PlaceKind.RACK, PlaceKind.TUB, PlaceKind.BUCKET, PlaceKind.CRATE, PlaceKind.VAN, PlaceKind.SITE)


class NotCounted(Refused):
    """The place is none that is counted."""

    code = "not_counted"


class CountEnded(Refused):
    """The count is over; what is seen now belongs to another one."""

    code = "count_ended"


class NotAsked(Refused):
    """Nothing about this set waits for an answer in this count."""

    code = "not_asked"


@dataclass(frozen=True)
class Counted:
    """What one scan in a count came to.

    how: "here" (as the ledger says), "stranger" (the ledger has it elsewhere: waits for an answer), "again" (counted
    before, nothing written). before: the set's state as it was.
    """

    how: str
    before: SetState
    recorded: Recorded | None


@dataclass(frozen=True)
class Finished:
    """What a count changed. missing: sets gone missing; here: sets that are here after all.

    moved: sets named as unseen that were seen, moved or taken along meanwhile, so left alone.
    """

    recorded: Recorded | None
    missing: tuple[UUID, ...]
    here: tuple[UUID, ...]
    moved: tuple[UUID, ...] = ()


def begin_count(who: Who, branch: Branch, place: Place, *, now: datetime) -> Count:
    """Begin to count a place, or join the count of it that is open.

    Raises NeedsRight, NotCounted.
    """
    _check_right(who)
    if place.kind not in COUNTABLE or place.branch_id != branch.pk:
        raise NotCounted(
            _("%(place)s is not counted.") % {"place": place.name}, _("Choose a rack, tub, bucket, crate, van or site.")
        )
    with transaction.atomic():
        Place.objects.select_for_update().get(pk=place.pk)
        known = Count.objects.filter(pk=who.act_id).first()
        known = known or Count.objects.filter(place=place, ended_at__isnull=True).order_by("begun_at").first()
        if known is not None:
            return known
        return Count.objects.create(
            id=who.act_id, branch=branch, place=place, begun_at=now, begun_by=who.entered_by or who.done_by
        )


def count_seen(
    who: Who, branch: Branch, count: Count, tool_set: ToolSet, *, now: datetime, heights: Heights | None = None
) -> Counted:
    """Say that a set is in the place being counted; one that the ledger has elsewhere waits for an answer.

    Raises CountEnded, NotReceived, OtherBranch, HeightRefused, HeightDoubted.
    """
    person = who.entered_by or who.done_by
    with transaction.atomic():
        count = Count.objects.select_for_update().select_related("place").get(pk=count.pk)
        state = locked_states([tool_set])[tool_set.pk]
        if (known := already(who.act_id)) is not None:
            stranger = bool(known.act.held_back)
            return Counted("stranger" if stranger else "here", state, known)
        _check_open(count)
        check_ours(state, branch)
        if tool_set.pk in seen_ids(count):
            return Counted("again", state, None)
        columns = {"count": count, "seen": True, "to_place": count.place}
        if heights is not None:
            columns |= height_columns(heights, tool_set.tool_type, person)
        here = state.place_id == count.place_id
        if not here:
            who = replace(who, held_back=_("Counted in %(place)s, waits for an answer") % {"place": count.place.name})
        recorded = record(who, branch, [NewLine("counted", tool_set, None, columns)], now=now)
        return Counted("here" if here else "stranger", state, recorded)


def answer_seen(who: Who, branch: Branch, count: Count, tool_set: ToolSet, *, is_here: bool, now: datetime) -> Recorded:
    """Answer for one set that was seen here though the ledger has it elsewhere: it is here, or leave that out.

    Raises NeedsRight, NotAsked.
    """
    _check_right(who)
    with transaction.atomic():
        count = Count.objects.select_for_update().select_related("place").get(pk=count.pk)
        if (known := already(who.act_id)) is not None:
            return known
        waiting = [held for held in held_of(count) if held.tool_set.pk == tool_set.pk and not held.answer]
        states = locked_states([held.tool_set for held in waiting])
        lines = [line for held in waiting for line in _answer(held, count, states[tool_set.pk], is_here=is_here)]
        if not lines:
            raise NotAsked(_("Nothing waits for an answer about that set."), _("Look at the count as it is now."))
        return record(who, branch, lines, now=now)


def finish(
    who: Who, branch: Branch, count: Count, *, here: Collection[UUID], missing: Collection[UUID], now: datetime
) -> Finished:
    """End a count with the differences that are approved; all others are left as the ledger has them.

    here: sets seen here though the ledger has them elsewhere: they are here, their outing ends. missing: sets that
    nobody saw: they are missing as of the count's start. Of those named as missing, whoever was seen since or has left
    the place since then is left alone and given back. A count that has ended already stays as it is.
    Raises NeedsRight.
    """
    _check_right(who)
    with transaction.atomic():
        count = Count.objects.select_for_update().select_related("place").get(pk=count.pk)
        if count.ended_at is not None:
            return _finished(count)
        named = list(ToolSet.objects.filter(pk__in=list(missing)))
        waiting = [held for held in held_of(count) if not held.answer]
        states = locked_states([*named, *(held.tool_set for held in waiting)])
        seen = seen_ids(count)
        gone = [
            tool_set
            for tool_set in named
            if states[tool_set.pk].place_id == count.place_id
            and not was_seen(states[tool_set.pk], count, seen)
            and not is_out(states[tool_set.pk], count.place)
        ]
        lines = []
        for held in waiting:
            key = held.tool_set.pk
            lines += _answer(held, count, states[key], is_here=key in here)
        lines += [
            NewLine(
                "counted",
                tool_set,
                None,
                {"count": count, "seen": False, "to_place": count.place, "acts_at": count.begun_at},
            )
            for tool_set in gone
        ]
        recorded = record(who, branch, lines, now=now) if lines else None
        count.ended_at, count.ended_by = now, who.entered_by or who.done_by
        count.save(update_fields=["ended_at", "ended_by"])
    missed = {tool_set.pk for tool_set in gone}
    return Finished(
        recorded,
        tuple(missed),
        tuple(held.tool_set.pk for held in waiting if held.tool_set.pk in here),
        tuple(tool_set.pk for tool_set in named if tool_set.pk not in missed),
    )


def reopen(who: Who, branch: Branch, count: Count, *, now: datetime) -> Recorded | None:
    """Undo the end of a count: what it changed is voided, and the count is open again.

    A count of the same place begun since then stays; a count that is open already is left as it is.
    Raises NeedsRight, NotYours (somebody else's, without the right to settle).
    """
    _check_right(who)
    with transaction.atomic():
        count = Count.objects.select_for_update().get(pk=count.pk)
        if (known := already(who.act_id)) is not None:
            return known
        if count.ended_at is None:
            return None
        act: Act | None = finish_act(count)
        voided = None
        if act is not None:
            try:
                voided = undo(who, branch, act, _("The count goes on"), now=now)
            except NothingToUndo:
                # Every line of it was voided by hand: there is nothing left to take back.
                voided = None
        count.ended_at = count.ended_by = None
        count.save(update_fields=["ended_at", "ended_by"])
        return voided


def _finished(count: Count) -> Finished:
    act = finish_act(count)
    if act is None:
        return Finished(None, (), ())
    entries = tuple(act.entries.order_by("line_no"))
    missing = tuple(e.tool_set_id for e in entries if e.kind == "counted" and e.tool_set_id is not None)
    here = tuple(e.tool_set_id for e in entries if e.answer == "accept" and e.tool_set_id is not None)
    return Finished(Recorded(act, entries, again=True), missing, here)


def _answer(held: Held, count: Count, state: SetState, *, is_here: bool) -> list[NewLine]:
    """The answer about one set. One that is here in a tub lies in water from now on, as one that is found there does.

    What it lay there before counts for nothing until somebody says since when; one that was seen elsewhere after this
    count saw it lies there no more, and no soak begins.
    """
    columns = {
        "settles_target": held.entry_id,
        "flag_code": "held_back",
        "answer": "accept" if is_here else "leave_out",
    }
    lines = [NewLine("settled", held.tool_set, None, columns)]
    seen_at = state.facts.get("seen_at")
    since = seen_at is not None and datetime.fromisoformat(seen_at) > held.seen_at
    soaks = count.place.kind == PlaceKind.TUB and held.tool_set.tool_type.soak_need != SoakNeed.NONE
    if is_here and soaks and not since:
        lines.append(NewLine("soak_begun", held.tool_set, None, {"to_place": count.place}))
    return lines


def _check_right(who: Who) -> None:
    person = who.entered_by or who.done_by
    if not person.can(Right.COUNT):
        raise NeedsRight(
            _("%(person)s may not begin or end a count.") % {"person": person.name},
            _("Scan on; the shop manager ends it."),
        )


def _check_open(count: Count) -> None:
    if count.ended_at is not None:
        raise CountEnded(
            _("This count of %(place)s is over.") % {"place": count.place.name}, _("Begin a new one and scan it again.")
        )
