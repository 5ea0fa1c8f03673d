"""The switch between night and light colours."""

from __future__ import annotations

from typing import cast

from django.http import HttpRequest, HttpResponse, HttpResponseBadRequest

from inventory.actions.people import save_own
from inventory.models import Person
from inventory.views.doors import door


@door("POST")
def theme(request: HttpRequest) -> HttpResponse:
    """Keep light, night or as the device for this person; answers 204, for the page has changed already."""
    person, wanted = cast(Person, request.user), request.POST.get("theme", "")
    if wanted not in Person.Theme.values:
        return HttpResponseBadRequest()
    save_own(
        person,
        units=person.units,
        language=person.language,
        theme=wanted,
        clock_24h=person.clock_24h,
        sound=person.sound,
    )
    return HttpResponse(status=204)
