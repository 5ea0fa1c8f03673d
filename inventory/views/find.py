"""Find by code, own code, or the name of an outing, a place, a job or a site."""

from __future__ import annotations

from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.actions.gate import where_of
from inventory.hooks import Found, find_more
from inventory.models import Outing, Person, Place, SetState
from inventory.models.choices import Fitness
from inventory.queries.opening import open_text
from inventory.times import show_day, when_for, zone_of
from inventory.views.doors import PersonRequest, door

_MOST = 20
_LONGEST = 200


@door("GET")
def find(request: PersonRequest) -> HttpResponse:
    """Open what was typed or scanned, or list what holds it."""
    text = " ".join(request.GET.get("q", "").split())
    if len(text) > _LONGEST:
        sentence = _("That is %(count)d characters; at most %(most)d are looked for. Write a part of the name or code.")
        words = sentence % {"count": len(text), "most": _LONGEST}
        return render(request, "inventory/find/found.html", {"text": "", "found": [], "sentence": words}, status=422)
    if not text:
        return render(request, "inventory/find/found.html", {"text": "", "found": []})
    thing = open_text(text, request.user.branch)
    if thing.label is not None:
        return redirect("inventory:opened", thing.label.code)
    if thing.tool_set is not None:
        return redirect("inventory:set_phone", thing.tool_set.pk)
    found = _named(text, request.user)
    if len(found) == 1:
        return redirect(found[0].url)
    sentence = thing.sentence if not found else ""
    return render(request, "inventory/find/found.html", {"text": text, "found": found, "sentence": sentence})


def _named(text: str, person: Person) -> list[Found]:
    """Jobs, sites, outings, places and sets whose name or code holds the text, each kind at most twenty."""
    branch, now = person.branch, timezone.now()
    found = list(find_more(text, branch.pk))[:_MOST]
    outings = Outing.objects.filter(branch=branch, name__icontains=text).order_by("-leaves_at")[:_MOST]
    found += [
        Found(
            one.name,
            _("leaves %(when)s") % {"when": when_for(person, one.leaves_at, now)},
            reverse("inventory:outing_change", args=[one.pk]),
        )
        for one in outings
    ]
    places = Place.objects.filter(branch=branch, active=True, name__icontains=text).order_by("name")[:_MOST]
    found += [
        Found(one.name, str(one.get_kind_display()), reverse("inventory:place_phone", args=[one.pk])) for one in places
    ]
    by_name = (
        Q(code__icontains=text) | Q(tool_set__own_code__icontains=text) | Q(tool_set__tool_type__grit__iexact=text)
    )
    sets = SetState.objects.filter(by_name, branch=branch).select_related("tool_set__tool_type", "place").defer("facts")
    for state in sets.order_by("tool_set__tool_type__ladder_place", "code")[:_MOST]:
        tool_set = state.tool_set
        words = f"{tool_set.tool_type.grit} · {state.shown_code}"
        # What tells apart sets that go by one own code: type, where each is, and since when it is here.
        since = show_day(tool_set.made_at.astimezone(zone_of(branch)).date(), now.astimezone(zone_of(branch)).date())
        detail = [tool_set.tool_type.name, where_of(state), _("here since %(day)s") % {"day": since}]
        if state.fitness != Fitness.USABLE:
            detail.insert(1, str(state.get_fitness_display()))
        url = reverse("inventory:set_phone", args=[state.pk])
        found.append(Found(words, ", ".join(filter(None, detail)), url))
    return found
