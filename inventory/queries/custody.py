"""Who has what: sets of an outing, sets of a place, open outings, and which set could go instead."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Count, Exists, F, OuterRef, QuerySet

from inventory.hooks import NextUse, next_use
from inventory.models import Branch, Entry, Outing, Place, SetState, ToolType
from inventory.models.choices import Fitness, PlaceKind, SoakNeed
from inventory.queries.soak import waters_of

# So many sets of a type are looked at for one that could go instead; the rack's best are among them.
_LOOKED_AT = 40


def open_outings(branch: Branch, going_at: datetime | None = None) -> list[Outing]:
    """Open outings by leaving time, each with ``out_count`` and its van and holder loaded; one query.

    ``emptied``: sets left with it and none is out any more; those come last, another night may still take them along.

    going_at: leave out those that were due back before and have nothing out: they are over, though nobody closed them.
    """
    rows = Outing.objects.filter(branch=branch, closed_at__isnull=True)
    rows = rows.select_related("van", "holder_person").annotate(out_count=Count("states"))
    if going_at is not None:
        rows = rows.exclude(due_at__lt=going_at, out_count=0)
    left = Entry.objects.filter(outing=OuterRef("pk"), kind__in=("scanned_out", "handed_over"))
    found = list(rows.annotate(left=Exists(left)).order_by("leaves_at", "name"))
    for outing in found:
        outing.emptied = outing.left and outing.out_count == 0  # type: ignore[attr-defined]
    return sorted(found, key=lambda outing: outing.emptied)  # type: ignore[attr-defined]


def sets_of_outing(outing: Outing) -> list[SetState]:
    """States of the sets out with it, coarse to fine, types and places loaded."""
    return list(_loaded(SetState.objects.filter(outing=outing)))


def sets_in(place: Place) -> list[SetState]:
    """States of the sets that are in a place by the ledger, coarse to fine."""
    return list(_loaded(SetState.objects.filter(place=place)))


def _loaded(rows: QuerySet[SetState]) -> QuerySet[SetState]:
    return (
        rows.filter(main_id=F("tool_set_id"))
        .select_related("tool_set__tool_type", "place")
        .order_by("tool_set__tool_type__ladder_place", "code", "pk")
    )


@dataclass(frozen=True)
class Other:
    """A set that could leave now: its next use if that is soon, and whether its hours still want a name."""

    state: SetState
    use: NextUse | None
    confirmed: bool


def others_ready(
    tool_type: ToolType,
    branch: Branch,
    *,
    leaves_at: datetime,
    starts_at: datetime,
    now: datetime,
    without: Collection[UUID] = (),
) -> list[Other]:
    """Sets of this type that could leave now and are conditioned at the start; six queries.

    Free ones first (not reserved for the next two days), confirmed before those that only need a look, of those the
    least worked: whether a remnant would do as well is the plan's question. without: sets not to be named.
    """
    rows = list(
        SetState.objects.filter(
            tool_set__tool_type=tool_type,
            branch=branch,
            main_id=F("tool_set_id"),
            fitness=Fitness.USABLE,
            outing__isnull=True,
            place__kind__in=(PlaceKind.RACK, PlaceKind.TUB, PlaceKind.CRATE, PlaceKind.BUCKET),
        )
        .exclude(pk__in=list(without))
        .select_related("tool_set__tool_type", "place")
        .order_by("worked_m2", "pk")[:_LOOKED_AT]
    )
    if not rows:
        return []
    waters = waters_of(rows, branch, at=now)
    answers = {row.pk: waters.at_start(row.pk, leaves_at, starts_at, in_water=False) for row in rows}
    ready = [row for row in rows if answers[row.pk].passes or answers[row.pk].state == "soaked, not confirmed"]
    uses = next_use([row.pk for row in ready], now) if ready else {}
    others = [
        Other(row, use if (use := uses.get(row.pk)) and _soon(use, now) else None, answers[row.pk].passes)
        for row in ready
    ]
    return sorted(others, key=lambda other: (not other.confirmed, other.use is not None))


def will_be_ready(state: SetState, branch: Branch, *, leaves_at: datetime, starts_at: datetime, now: datetime) -> bool:
    """Whether a set, as it lies now, can leave then and count at the start: usable, at hand, wet through; four queries.

    One whose hours are done by then counts though nobody has confirmed it: that takes one tap.
    """
    at_hand = state.place is None or state.place.kind not in (PlaceKind.UNKNOWN, PlaceKind.SUPPLIER)
    if state.fitness != Fitness.USABLE or state.outing_id is not None or not at_hand:
        return False
    waters = waters_of([state], branch, at=now)
    leaves_at = max(leaves_at, now)
    in_water = state.place is not None and state.place.kind == PlaceKind.BUCKET
    answer = waters.at_start(state.pk, leaves_at, max(starts_at, leaves_at), in_water=in_water)
    return answer.passes or answer.state == "soaked, not confirmed"


def _soon(use: NextUse, now: datetime) -> bool:
    return use.starts_at < now + timedelta(days=2)


def roomiest_tub(branch: Branch) -> Place | None:
    """The tub with the most places left; tubs of unknown room count as having one. One query."""
    tubs = Place.objects.filter(branch=branch, kind=PlaceKind.TUB, active=True).annotate(lies=Count("states"))
    best: tuple[int, Place] | None = None
    for tub in tubs.order_by("name"):
        room = 1 if tub.room_sets is None else tub.room_sets - tub.lies
        if room > 0 and (best is None or room > best[0]):
            best = (room, tub)
    return best[1] if best else None


def places_for(branch: Branch, kinds: Sequence[str]) -> list[Place]:
    """Places in use of these kinds, by kind and name."""
    return list(Place.objects.filter(branch=branch, kind__in=kinds, active=True).order_by("kind", "name"))


def bucket_for(outing: Outing, set_ids: Collection[UUID], buckets: Sequence[Place]) -> Place | None:
    """The bucket an outing's sets travel in by default: its own, else one nobody is out with; None without wet sets.

    set_ids: the sets meant for it. Two queries.
    """
    wet = SetState.objects.filter(pk__in=list(set_ids), tool_set__tool_type__soak_need=SoakNeed.REQUIRED)
    if not buckets or not wet.exists():
        return None
    rows = SetState.objects.filter(place__in=list(buckets), outing__isnull=False).values_list("place_id", "outing_id")
    out: dict[UUID, set[UUID]] = {}
    for place_id, outing_id in rows:
        if place_id is not None and outing_id is not None:
            out.setdefault(place_id, set()).add(outing_id)
    own = next((bucket for bucket in buckets if outing.pk in out.get(bucket.pk, set())), None)
    return own or next((bucket for bucket in buckets if bucket.pk not in out), None)


def states_by_ids(set_ids: Sequence[UUID], branch: Branch) -> list[SetState]:
    """States of these sets of the branch, in the order given; unknown ids are left out."""
    rows = {row.pk: row for row in _loaded(SetState.objects.filter(pk__in=list(set_ids), branch=branch))}
    return [rows[set_id] for set_id in set_ids if set_id in rows]
