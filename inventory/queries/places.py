"""Places as the shop lists them: without those that only a list named that was taken back."""

from __future__ import annotations

from django.db.models import Exists, OuterRef, QuerySet

from inventory.models import Branch, Entry, Place


def listed_places(branch: Branch) -> QuerySet[Place]:
    """The places of a branch but those that are gone with the list that made them."""
    return Place.objects.filter(branch=branch).exclude(pk__in=taken_back(branch).values("pk"))


def taken_back(branch: Branch) -> QuerySet[Place]:
    """Places out of use of which every entry is voided, and nothing ever lay in them: the ledger keeps their rows.

    One that nobody ever wrote an entry about was made by hand, and stays.
    """
    named = Entry.objects.filter(to_place=OuterRef("pk"))
    about = Entry.objects.filter(place=OuterRef("pk"))
    voids = Entry.objects.filter(kind="voided", void_target=OuterRef("pk"))
    unused = Place.objects.filter(branch=branch, active=False, states__isnull=True)
    return unused.filter(Exists(named)).exclude(Exists(named.exclude(Exists(voids)))).exclude(Exists(about))
