"""Labels: blank ones, labels of sets, places and outings, and a blank one that becomes a set."""

from __future__ import annotations

import random
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.gate import NotReceived
from inventory.actions.ledger import NewLine, Recorded, Who, already, lock_states, record
from inventory.actions.measure import Heights, height_columns
from inventory.codes import new_code
from inventory.models import Branch, Label, Outing, Person, Place, ToolSet, ToolType
from inventory.models.choices import OpeningKind
from inventory.queries.labels import MOST_BLANK
from inventory.refusals import Refused


class LabelTaken(Refused):
    """The code belongs to something already."""

    code = "label_taken"


class LabelsWrong(Refused):
    """So many labels cannot be made."""

    code = "labels_wrong"


def make_blank(branch: Branch, count: int, *, made_by: Person | None, now: datetime, rng: random.Random) -> list[Label]:
    """Make so many blank labels with codes nobody has had, in the order they were drawn.

    Raises LabelsWrong outside 1 to 1,000.
    """
    if not 1 <= count <= MOST_BLANK:
        raise LabelsWrong(
            _("%(count)d blank labels cannot be made at once.") % {"count": count},
            _("1 to %(most)d can.") % {"most": MOST_BLANK},
            field="blank",
        )
    with transaction.atomic():
        codes: dict[str, None] = {}
        while len(codes) < count:
            drawn = [new_code(rng) for _number in range(count - len(codes))]
            known = set(Label.objects.filter(pk__in=drawn).values_list("pk", flat=True))
            codes |= dict.fromkeys(code for code in drawn if code not in known)
        return Label.objects.bulk_create(
            Label(code=code, branch=branch, made_at=now, made_by=made_by) for code in codes
        )


def label_set(
    who: Who, branch: Branch, tool_set: ToolSet, *, now: datetime, rng: random.Random, label: Label | None = None
) -> tuple[Recorded, Label]:
    """Give a set a label: a blank one that was scanned, or a new code. Its older labels still open it.

    Raises LabelTaken, NotReceived.
    """
    with transaction.atomic():
        state = lock_states([tool_set])[tool_set.pk]
        if (known := already(who.act_id)) is not None:
            return known, _label_of(known)
        if not state.facts.get("born"):
            raise NotReceived(_("This set has no beginning in the ledger yet."), _("Receive it first."))
        label = _free(label, branch, who, now, rng)
        return record(who, branch, [NewLine("labelled", tool_set, None, {"code": label})], now=now), label


def label_sets(
    who: Who, branch: Branch, tool_sets: list[ToolSet], *, now: datetime, rng: random.Random
) -> Recorded | None:
    """Give each of these sets that has no label a new code, in one act; None when all have one.

    Sets without a beginning are left out.
    """
    with transaction.atomic():
        states = lock_states(tool_sets)
        if (known := already(who.act_id)) is not None:
            return known
        bare = [s for s in tool_sets if states[s.pk].facts.get("born") and not states[s.pk].code]
        if not bare:
            return None
        labels = make_blank(branch, len(bare), made_by=who.done_by, now=now, rng=rng)
        lines = [
            NewLine("labelled", tool_set, None, {"code": label}) for tool_set, label in zip(bare, labels, strict=True)
        ]
        return record(who, branch, lines, now=now)


def label_place(
    who: Who, branch: Branch, place: Place, *, now: datetime, rng: random.Random, label: Label | None = None
) -> tuple[Recorded, Label]:
    """Give a place (tub, van, rack, crate) a label.

    Raises LabelTaken.
    """
    with transaction.atomic():
        if (known := already(who.act_id)) is not None:
            return known, _label_of(known)
        label = _free(label, branch, who, now, rng)
        return record(who, branch, [NewLine("labelled", None, place, {"code": label})], now=now), label


def label_outing(outing: Outing, *, made_by: Person, now: datetime, rng: random.Random) -> Label:
    """The label of an outing, for its van sheet: made when first asked for, the same ever after."""
    with transaction.atomic():
        known = Label.objects.filter(opens_outing=outing).order_by("made_at").first()
        if known is not None:
            return known
        (label,) = make_blank(outing.branch, 1, made_by=made_by, now=now, rng=rng)
        label.opens_outing, label.opened_at = outing, now
        label.save(update_fields=["opens_outing", "opened_at"])
        return label


def claim_blank(
    who: Who,
    branch: Branch,
    label: Label,
    tool_type: ToolType,
    *,
    opening: str,
    now: datetime,
    heights: Heights | None = None,
    place: Place | None = None,
    peg: str = "",
    set_id: UUID | None = None,
) -> tuple[Recorded, ToolSet]:
    """Make a set of a blank label: opening, place and label in one act.

    opening: an OpeningKind; "height" goes with heights. set_id: the client's own key for the set.
    Raises LabelTaken, HeightRefused, HeightDoubted, Refused without a height that is asked for.
    """
    columns: dict[str, Any] = {"opening_kind": opening, "branch": branch, "to_place": place, "peg": peg or None}
    if opening not in OpeningKind.values:
        raise Refused(_("That is not one of the answers."), _("Take one of the list."), field="opening")
    if opening == OpeningKind.HEIGHT:
        columns |= height_columns(heights or Heights(()), tool_type, who.entered_by or who.done_by)
    with transaction.atomic():
        label = Label.objects.select_for_update().get(pk=label.pk)
        if (known := already(who.act_id)) is not None:
            tool_set = known.entries[0].tool_set
            assert tool_set is not None
            return known, tool_set
        _check_blank(label, branch)
        made = {"tool_type": tool_type, "made_at": now}
        tool_set = ToolSet.objects.create(**made) if set_id is None else ToolSet.objects.create(pk=set_id, **made)
        lines = [
            NewLine("opening", tool_set, None, columns),
            NewLine("labelled", tool_set, None, {"code": label}),
        ]
        return record(who, branch, lines, now=now), tool_set


def mark_printed(labels: list[Label], *, now: datetime) -> None:
    """Keep when labels were first sent to a printer."""
    Label.objects.filter(pk__in=[label.pk for label in labels], printed_at__isnull=True).update(printed_at=now)


def _label_of(known: Recorded) -> Label:
    return Label.objects.get(pk=known.entries[0].code_id)


def _free(label: Label | None, branch: Branch, who: Who, now: datetime, rng: random.Random) -> Label:
    """The blank label to use, locked: the one scanned, or a new one."""
    if label is None:
        return make_blank(branch, 1, made_by=who.done_by, now=now, rng=rng)[0]
    label = Label.objects.select_for_update().get(pk=label.pk)
    _check_blank(label, branch)
    return label


def _check_blank(label: Label, branch: Branch) -> None:
    if label.branch_id != branch.pk:
        raise LabelTaken(_("%(code)s was printed for another branch.") % {"code": label.code}, _("Take one of ours."))
    if not label.blank:
        raise LabelTaken(
            _("%(code)s belongs to something already.") % {"code": label.code},
            _("Scan a blank label, or let one be made."),
        )
