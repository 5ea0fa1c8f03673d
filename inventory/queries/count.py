"""What a count has come to: sets looked for, sets seen, and sets seen here though the ledger has them elsewhere."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, datetime
from uuid import UUID

from django.db.models import Count as NumberOf
from django.db.models import F, Max, OuterRef, Q, Subquery

from inventory.ledger.facts import iso
from inventory.models import Act, Branch, Count, Entry, Place, SetState, ToolSet
from inventory.models.choices import Fitness, PlaceKind

_NEVER = datetime.min.replace(tzinfo=UTC)
_STATE = ("tool_set__tool_type", "place", "outing", "outing__van", "holder_person")


@dataclass(frozen=True)
class Held:
    """A set seen here though the ledger had it elsewhere. answer: "" (waits), "accept" or "leave_out"."""

    entry_id: UUID
    act_id: UUID
    tool_set: ToolSet
    seen_at: datetime
    answer: str
    answered_by: str = ""


@dataclass(frozen=True)
class Looked:
    """One set that the ledger has in the place. seen: since the count began."""

    state: SetState
    seen: bool


@dataclass(frozen=True)
class Stranger:
    """A set seen here that the ledger has elsewhere, with the state it is in now."""

    state: SetState
    held: Held


@dataclass(frozen=True)
class CountPicture:
    """A count as it stands. looked: by peg, then coarse to fine; lost: missing sets last seen in this place.

    out: sets of a rack, tub, bucket or crate that a crew has out with it: nobody looks for them here.
    """

    count: Count
    looked: tuple[Looked, ...]
    strangers: tuple[Stranger, ...]
    lost: tuple[SetState, ...]
    out: tuple[SetState, ...] = ()

    @property
    def unseen(self) -> list[SetState]:
        """Sets that nobody has seen yet."""
        return [one.state for one in self.looked if not one.seen]

    @property
    def seen(self) -> list[SetState]:
        """Sets seen where the ledger has them."""
        return [one.state for one in self.looked if one.seen]

    @property
    def waiting(self) -> list[Stranger]:
        """Strangers that nobody has answered for."""
        return [one for one in self.strangers if not one.held.answer]


@dataclass(frozen=True)
class PlaceToCount:
    """A place, how many sets the ledger has there, when it was counted last, and the count of it that is open."""

    place: Place
    sets: int
    counted_at: datetime | None
    open: Count | None


def places_to_count(branch: Branch, kinds: Collection[str]) -> list[PlaceToCount]:
    """Places in use of these kinds: never counted first, then the longest ago; two queries.

    A site without a set is left out: most lie far away and have nothing to count.
    """
    here = Q(states__main_id=F("states__tool_set_id")) & ~Q(states__fitness=Fitness.RETIRED)
    here &= Q(states__outing__isnull=True) | Q(kind__in=(PlaceKind.VAN, PlaceKind.SITE))
    ended = Count.objects.filter(place=OuterRef("pk"), ended_at__isnull=False).order_by()
    last = ended.values("place").annotate(last=Max("ended_at")).values("last")
    places = list(
        Place.objects.filter(branch=branch, kind__in=list(kinds), active=True)
        .annotate(sets=NumberOf("states", filter=here), counted_at=Subquery(last))
        .order_by("kind", "name")
    )
    opened = {
        count.place_id: count
        for count in Count.objects.filter(branch=branch, ended_at__isnull=True).select_related("begun_by", "place")
    }
    rows = [
        PlaceToCount(place, place.sets, place.counted_at, opened.get(place.pk))
        for place in places
        if place.kind != PlaceKind.SITE or place.sets or place.pk in opened
    ]
    # Never counted first, in the order of their names; sorting keeps it.
    return sorted(rows, key=lambda row: (row.counted_at is not None, row.counted_at or _NEVER))


def held_of(count: Count) -> list[Held]:
    """What was seen in this count though the ledger had it elsewhere, voided scans left out; three queries."""
    rows = list(
        Entry.objects.filter(count=count, seen=True)
        .exclude(act__held_back="")
        .select_related("act", "tool_set__tool_type")
        .order_by("act__happened_at", "act_id", "line_no")
    )
    ids = [row.pk for row in rows]
    answers = list(
        Entry.objects.filter(kind="settled", flag_code="held_back", settles_target__in=ids, act__held_back="")
        .select_related("act__done_by")
        .order_by("act__recorded_at", "pk")
    )
    gone = _voided([*ids, *(answer.pk for answer in answers)])
    said = {answer.settles_target: answer for answer in answers if answer.pk not in gone}
    found = []
    for row in rows:
        if row.pk in gone or row.tool_set is None:
            continue
        answer = said.get(row.pk)
        found.append(
            Held(
                row.pk,
                row.act_id,
                row.tool_set,
                row.act.happened_at,
                (answer.answer or "") if answer else "",
                answer.act.done_by.name if answer else "",
            )
        )
    return found


def seen_ids(count: Count) -> set[UUID]:
    """Sets scanned in this count, here and from elsewhere, voided scans left out; two queries."""
    rows = dict(Entry.objects.filter(count=count, seen=True).values_list("pk", "tool_set_id"))
    gone = _voided(list(rows))
    return {set_id for pk, set_id in rows.items() if pk not in gone and set_id is not None}


def was_seen(state: SetState, count: Count, seen: Collection[UUID]) -> bool:
    """Whether a set of the place was seen since the count began: scanned in it, or by anything else anybody did."""
    at = state.facts.get("seen_at")
    return state.pk in seen or (at is not None and at >= iso(count.begun_at))


def is_out(state: SetState, place: Place) -> bool:
    """Whether a crew has the set, so that it is not looked for in a place of the shop that travels with them."""
    return state.outing_id is not None and place.kind not in (PlaceKind.VAN, PlaceKind.SITE)


def count_picture(count: Count) -> CountPicture:
    """The count as it stands; seven queries for any number of sets."""
    here = list(
        SetState.objects.filter(place=count.place, main_id=F("tool_set_id"))
        .exclude(fitness=Fitness.RETIRED)
        .select_related(*_STATE)
    )
    seen, held = seen_ids(count), held_of(count)
    others = {
        state.pk: state
        for state in SetState.objects.filter(pk__in=[one.tool_set.pk for one in held]).select_related(*_STATE)
    }
    lost = SetState.objects.filter(
        branch=count.branch_id,
        place__kind=PlaceKind.UNKNOWN,
        main_id=F("tool_set_id"),
        facts__seen_place=str(count.place_id),
    ).exclude(fitness=Fitness.RETIRED)
    strangers = tuple(Stranger(others[one.tool_set.pk], one) for one in held if one.tool_set.pk in others)
    known = {one.state.pk for one in strangers}
    looked = sorted((Looked(state, was_seen(state, count, seen)) for state in here), key=lambda one: _peg(one.state))
    looked = [one for one in looked if one.state.pk not in known]
    out = tuple(one.state for one in looked if not one.seen and is_out(one.state, count.place))
    return CountPicture(
        count,
        tuple(one for one in looked if one.state not in out),
        strangers,
        tuple(state for state in lost.select_related(*_STATE).order_by("code") if state.pk not in known),
        out,
    )


def finish_act(count: Count) -> Act | None:
    """The act that ended this count: that of its moment which holds its answers and its missing; one query."""
    if count.ended_at is None:
        return None
    held = Entry.objects.filter(count=count).exclude(act__held_back="").values("pk")
    mine = Q(entries__count=count, entries__seen=False) | Q(entries__settles_target__in=held)
    acts = Act.objects.filter(mine, branch=count.branch_id, recorded_at=count.ended_at, entered_by=count.ended_by)
    return acts.distinct().order_by("pk").first()


def _voided(ids: Collection[UUID]) -> set[UUID]:
    rows = Entry.objects.filter(kind="voided", void_target__in=list(ids), act__held_back="")
    return {target for target in rows.values_list("void_target", flat=True) if target is not None}


def _peg(state: SetState) -> tuple[bool, list[tuple[int, str]], int, str]:
    """Pegs in their order as people count: 2 before 10, sets without one last."""
    parts = [(int(part), "") if part.isdecimal() else (0, part) for part in re.findall(r"\d+|\D+", state.peg)]
    return (not state.peg, parts, state.tool_set.tool_type.ladder_place, state.code)
