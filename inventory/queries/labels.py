"""Labels to print: which sets lack one, which are new, which are still blank; and what stands on each."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from uuid import UUID

from django.db.models import F, QuerySet
from django.utils.translation import gettext as _

from inventory.labels import MARKS, LabelFace, code_address
from inventory.models import Branch, Label, Order, Outing, Place, SetState, ToolSet, ToolType
from inventory.models.choices import Fitness, SoakNeed
from inventory.queries.catalogue import ladder

# So many blank labels at once; more is taken for a slip of the finger.
MOST_BLANK = 1_000
# So many unlabelled sets of one type are offered for a blank label; a shop labels them one after the other.
MOST_UNLABELLED = 60


def unlabelled_sets(branch: Branch) -> list[ToolSet]:
    """Sets in use that have no code yet, coarse to fine."""
    return _sets(SetState.objects.filter(branch=branch, code="").exclude(fitness=Fitness.RETIRED))


def unlabelled_of_type(branch: Branch, tool_type: ToolType) -> list[SetState]:
    """The first sets of this type in use that have no code yet, by place and peg, places loaded. One query."""
    rows = SetState.objects.filter(branch=branch, code="", main_id=F("tool_set_id"), tool_set__tool_type=tool_type)
    rows = rows.exclude(fitness=Fitness.RETIRED).select_related("tool_set__tool_type", "place").defer("facts")
    return list(rows.order_by("place__name", "peg", "tool_set__made_at", "pk")[:MOST_UNLABELLED])


def sets_of_order(order: Order) -> list[ToolSet]:
    """Sets received on an order, coarse to fine; voided receipts have no state of their own and are left out."""
    states = SetState.objects.filter(
        tool_set__entries__kind="received", tool_set__entries__order_line__order=order, branch__isnull=False
    )
    return _sets(states.distinct())


def _sets(states: QuerySet[SetState]) -> list[ToolSet]:
    rows = states.filter(main_id=F("tool_set_id")).select_related("tool_set__tool_type").defer("facts")
    return [row.tool_set for row in rows.order_by("tool_set__tool_type__ladder_place", "tool_set__made_at", "pk")]


def unprinted(branch: Branch) -> QuerySet[Label]:
    """Labels of sets in use that were never sent to a printer and are still the newest of their set."""
    return Label.objects.filter(
        branch=branch, printed_at__isnull=True, opens_set__isnull=False, replaced_at__isnull=True
    ).exclude(opens_set__state__fitness=Fitness.RETIRED)


def still_blank(branch: Branch) -> QuerySet[Label]:
    """Blank labels nobody has claimed, the oldest first."""
    return Label.objects.filter(
        branch=branch, opens_set__isnull=True, opens_place__isnull=True, opens_outing__isnull=True
    ).order_by("made_at", "code")


def newest_labels(tool_sets: Iterable[ToolSet]) -> list[Label]:
    """The label each of these sets goes by, in their order; sets without one are left out. One query."""
    order = [tool_set.pk for tool_set in tool_sets]
    rows = Label.objects.filter(opens_set__in=order, replaced_at__isnull=True).select_related("opens_set__tool_type")
    by_set = {row.opens_set_id: row for row in rows}
    return [by_set[pk] for pk in order if pk in by_set]


def shown_codes(codes: Sequence[str]) -> list[str]:
    """These codes with the own tag of their set behind them, in the order given; one query."""
    rows = Label.objects.filter(pk__in=list(codes)).values_list("code", "opens_set__own_code")
    own = {code: tag for code, tag in rows if tag and tag.upper() != code}
    return [f"{code} · {own[code]}" if code in own else code for code in codes]


def own_tags(branch: Branch) -> dict[UUID, str]:
    """The shop's own tag of every set whose label says another code, by set; one query."""
    rows = ToolSet.objects.filter(state__branch=branch).exclude(own_code="").exclude(state__code="")
    found = rows.values_list("pk", "own_code", "state__code")
    return {pk: own for pk, own, code in found if own.upper() != code}


def faces(codes: Sequence[str], branch: Branch) -> list[LabelFace]:
    """What stands on the labels of these codes, in the order given; unknown codes are left out. Two queries.

    Raises AddressNotPrintable when the branch's address cannot stand in labels.
    """
    rows = Label.objects.filter(pk__in=list(codes), branch=branch).select_related(
        "opens_set__tool_type", "opens_place", "opens_outing"
    )
    by_code = {row.code: row for row in rows}
    places = ladder(branch)
    return [_face(by_code[code], branch, places) for code in codes if code in by_code]


def _face(label: Label, branch: Branch, places: dict[int, tuple[int, int]]) -> LabelFace:
    address = code_address(branch.label_address, label.code)
    if label.opens_set is not None:
        return _set_face(label.code, address, label.opens_set, places)
    if label.opens_place is not None:
        return _named(label.code, address, label.opens_place)
    if label.opens_outing is not None:
        return _named(label.code, address, label.opens_outing)
    return LabelFace(label.code, address, kind="blank")


def _set_face(code: str, address: str, tool_set: ToolSet, places: dict[int, tuple[int, int]]) -> LabelFace:
    tool_type = tool_set.tool_type
    place, count = places.get(tool_type.pk, (None, 0))
    size = (
        f"{tool_type.size_line} × {tool_type.pieces_per_set}"
        if tool_type.size_line
        else f"× {tool_type.pieces_per_set}"
    )
    if tool_type.soak_need == SoakNeed.REQUIRED:
        size = _("%(size)s, soak") % {"size": size}
    mark = tool_type.own_mark.removeprefix("own-")
    return LabelFace(
        code,
        address,
        grit=tool_type.grit,
        type_name=str(tool_type.get_bond_display()),
        size_line=size,
        mark=mark if mark in MARKS or len(mark) <= 2 else "",
        bond=tool_type.bond,
        ladder_place=place,
        ladder_count=count,
        own="" if tool_set.own_code.upper() == code else tool_set.own_code,
    )


def _named(code: str, address: str, thing: Place | Outing) -> LabelFace:
    return LabelFace(code, address, type_name=thing.name, size_line=str(thing.get_kind_display()), kind="place")
