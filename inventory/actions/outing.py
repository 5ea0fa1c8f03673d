"""Open, change and close outings: sets leaving together under one name, to a holder, due back."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID, uuid4

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.models import Branch, Outing, Person, Place
from inventory.models.choices import HolderKind, OutingKind, PlaceKind
from inventory.refusals import Refused


class OutingWrong(Refused):
    """The outing cannot be as it is written."""

    code = "outing_wrong"


# Further off is a slip of the hand, and the last years of the calendar overflow in other time zones (our assumption).
_FIRST_YEAR, _YEARS_AHEAD = 2000, 5


class StillOut(Refused):
    """Sets are still out with it."""

    code = "still_out"


def open_outing(
    branch: Branch,
    *,
    kind: str,
    name: str,
    leaves_at: datetime,
    now: datetime,
    due_at: datetime | None = None,
    holder_kind: str = HolderKind.CREW,
    holder_person: Person | None = None,
    holder_name: str = "",
    van: Place | None = None,
    outing_id: UUID | None = None,
) -> Outing:
    """Open an outing. outing_id: a key of the client's own makes a repeat the same outing.

    Raises OutingWrong.
    """
    holder_name = holder_name.strip()
    _check(branch, kind, name, leaves_at, due_at, holder_kind, holder_person, holder_name, van)
    _check_years(leaves_at, due_at, now)
    outing, _made = Outing.objects.get_or_create(
        pk=outing_id or uuid4(),
        defaults={
            "branch": branch,
            "kind": kind,
            "name": name.strip(),
            "holder_kind": holder_kind,
            "holder_person": holder_person,
            "holder_name": holder_name,
            "van": van,
            "leaves_at": leaves_at,
            "due_at": due_at,
            "made_at": now,
        },
    )
    return outing


def change_outing(
    outing: Outing,
    *,
    kind: str,
    name: str,
    leaves_at: datetime,
    due_at: datetime | None,
    holder_kind: str,
    holder_person: Person | None,
    holder_name: str,
    van: Place | None,
) -> Outing:
    """Change what an outing says; what left with it stays as the ledger has it.

    Raises OutingWrong.
    """
    holder_name = holder_name.strip()
    _check(outing.branch, kind, name, leaves_at, due_at, holder_kind, holder_person, holder_name, van)
    _check_years(leaves_at, due_at, outing.made_at)
    with transaction.atomic():
        outing = Outing.objects.select_for_update().get(pk=outing.pk)
        outing.kind, outing.name, outing.leaves_at, outing.due_at = kind, name.strip(), leaves_at, due_at
        outing.holder_kind, outing.holder_person, outing.holder_name = holder_kind, holder_person, holder_name
        outing.van = van
        outing.save()
    return outing


def close_outing(outing: Outing, *, now: datetime) -> Outing:
    """Close an outing whose sets are all back; closing twice changes nothing.

    Raises StillOut.
    """
    with transaction.atomic():
        outing = Outing.objects.select_for_update().get(pk=outing.pk)
        count = outing.states.count()
        if count:
            raise StillOut(
                ngettext(
                    "%(count)d set is still out with %(name)s.", "%(count)d sets are still out with %(name)s.", count
                )
                % {"count": count, "name": outing.name},
                _("Scan them in first, or say where they are."),
            )
        if outing.closed_at is None:
            outing.closed_at = now
            outing.save(update_fields=["closed_at"])
    return outing


def _check(
    branch: Branch,
    kind: str,
    name: str,
    leaves_at: datetime,
    due_at: datetime | None,
    holder_kind: str,
    holder_person: Person | None,
    holder_name: str,
    van: Place | None,
) -> None:
    if not name.strip():
        raise OutingWrong(_("An outing needs a name."), _("Type the job's or the borrower's name."), field="name")
    if len(name.strip()) > 80:
        raise OutingWrong(
            _("The name has %(count)d characters.") % {"count": len(name.strip())}, _("80 are allowed."), field="name"
        )
    if kind not in OutingKind.values or holder_kind not in HolderKind.values:
        raise OutingWrong(_("That kind is not one of the choices."), _("Take one of the list."), field="kind")
    if due_at is not None and due_at < leaves_at:
        raise OutingWrong(
            _("It would be due back before it leaves."), _("Correct one of the two times."), field="due_at"
        )
    if holder_kind == HolderKind.PERSON and holder_person is None:
        raise OutingWrong(_("Nobody is named to hold the sets."), _("Choose the person."), field="holder_person")
    if holder_kind in (HolderKind.FIRM, HolderKind.SUPPLIER) and not holder_name:
        raise OutingWrong(_("The firm has no name."), _("Type the firm's name."), field="holder_name")
    if van is not None and (van.branch_id != branch.pk or van.kind != PlaceKind.VAN):
        raise OutingWrong(_("%(place)s is no van of this shop.") % {"place": van.name}, _("Choose a van."), field="van")


def _check_years(leaves_at: datetime, due_at: datetime | None, made_at: datetime) -> None:
    """Refuse years far from the one the outing is made in."""
    for field, at in (("leaves_at", leaves_at), ("due_at", due_at)):
        if at is not None and not _FIRST_YEAR <= at.year <= made_at.year + _YEARS_AHEAD:
            raise OutingWrong(
                _("%(year)s is no year for an outing.") % {"year": at.year},
                _("Correct one of the two times."),
                field=field,
            )
