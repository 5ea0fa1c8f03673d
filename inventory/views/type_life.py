"""What is learnt of the lives of one tool type, against its rating; and the floor factors."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from inventory.models import ToolType
from inventory.views.catalogue import READ
from inventory.views.doors import PersonRequest, door
from inventory.views.floor_page import floors_context
from inventory.views.type_life_page import type_context


@door("GET")
def type_life(request: PersonRequest, type_id: int) -> HttpResponse:
    """How long a new set of the type lasts, how hopeful its rating is, and the lives that say so."""
    tool_type = get_object_or_404(ToolType.objects.select_related("learnt"), pk=type_id)
    return render(request, "inventory/life/type.html", type_context(tool_type, request.user, timezone.now()))


@door("GET", right=READ)
def floor_factors(request: PersonRequest) -> HttpResponse:
    """What one area of each kind of floor costs a set: the shop's own word, what its record says, what is in use."""
    return render(request, "inventory/life/floors.html", floors_context(request.user, timezone.now()))
