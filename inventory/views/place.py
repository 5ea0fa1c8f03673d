"""A place: what lies in it by the ledger, and what is done with a place."""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

from django.core.paginator import Paginator
from django.db.models import F
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.models import Label, Person, Place, SetState
from inventory.models.choices import PlaceKind
from inventory.queries.custody import places_for
from inventory.queries.labels import own_tags
from inventory.queries.rack import rack_of
from inventory.rights import Right
from inventory.views.doors import PersonRequest, door
from inventory.views.rack_page import set_line

_LINES_A_PAGE = 60
_COUNTED = (PlaceKind.RACK, PlaceKind.TUB, PlaceKind.BUCKET, PlaceKind.CRATE, PlaceKind.VAN)
_SCANNED_INTO = (PlaceKind.RACK, PlaceKind.TUB)


@door("GET")
def place_page(request: PersonRequest, place_id: UUID) -> HttpResponse:
    """What lies in a place; what its label opens."""
    person, now = request.user, timezone.now()
    place = get_object_or_404(Place.objects.select_related("inside"), pk=place_id, branch=person.branch)
    states = SetState.objects.filter(place=place, branch=person.branch, main_id=F("tool_set_id"))
    found = [(one, grit) for grit in rack_of(person.branch, now, states=states).grits for one in grit.sets]
    page = Paginator(found, _LINES_A_PAGE).get_page(request.GET.get("page"))
    moves = place.kind in (PlaceKind.BUCKET, PlaceKind.CRATE) and person.can(Right.SCAN)
    kinds = [PlaceKind.RACK, PlaceKind.VAN, PlaceKind.SITE]
    tags = own_tags(person.branch)
    context = {
        "place": place,
        "count": len(found),
        "lines": [{**set_line(one, grit, person, now, tags), "place": _peg(one.peg)} for one, grit in page],
        "page": page,
        "ids": ",".join(str(one.set_id) for one, _grit in found) if moves else "",
        "goes_to": places_for(person.branch, kinds) if moves else [],
        "label": Label.objects.filter(opens_place=place, replaced_at__isnull=True).order_by("-opened_at").first(),
        "act_id": uuid4(),
        **_acts(place, person),
    }
    return render(request, "inventory/place/page.html", context)


def _peg(peg: str) -> str:
    return _("peg %(peg)s") % {"peg": peg} if peg else ""


def _acts(place: Place, person: Person) -> dict[str, Any]:
    """The filled action, and the others beside it, by right and kind."""
    acts: list[dict[str, Any]] = []
    if place.kind in _SCANNED_INTO and person.can(Right.SCAN):
        url = reverse("inventory:scan_in") + f"?place={place.pk}"
        acts.append({"label": _("Scan in to it"), "url": url, "method": "get"})
    if place.kind == PlaceKind.TUB:
        acts.append({"label": _("Its water"), "url": reverse("inventory:tub", args=[place.pk]), "method": "get"})
    if place.kind in _COUNTED and person.can(Right.COUNT):
        hidden = {"place": str(place.pk)}
        acts.append({"label": _("Count it"), "url": reverse("inventory:counts"), "hidden": hidden})
    return {"first": {**acts[0], "kind": "fill"} if acts else None, "beside": acts[1:]}
