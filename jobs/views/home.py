"""Where somebody starts: by rights, Shop day, My job, Reorder or the Rack."""

from __future__ import annotations

from typing import cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from inventory.context import address
from inventory.models import Person
from inventory.rights import Right
from inventory.views.doors import door

# The first of these that the person may and that stands is home (DESIGN 6).
HOMES = (
    ("jobs:shop_day", (Right.PLAN,)),
    ("jobs:my_job", (Right.LOG_WORK,)),
    ("jobs:reorder", (Right.BUY,)),
    ("inventory:rack", ()),
)


@door("GET")
def home(request: HttpRequest) -> HttpResponse:
    """Lead to the person's home."""
    person = cast(Person, request.user)
    for name, rights in HOMES:
        url = address(name)
        if url and (not rights or any(person.can(right) for right in rights)):
            return redirect(url)
    return render(request, "jobs/home.html")
