"""Two sets that the last morning left to look at: one whose height was mistyped, one that is worn down and still hangs.

Planted, so that every demo shop has them whatever its year was like: the same for the same day and seed.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import F, Q

from inventory.actions.measure import Heights, measure
from inventory.models import SetState
from inventory.models.choices import Fitness, PlaceKind
from inventory.queries.measuring import measured_since
from inventory.units import Amount
from jobs.demo.shop import DemoShop
from jobs.models import Reservation

_MISTYPED_MM = 3.0  # 4.6 for 7.6: a digit


def leave_to_look_at(shop: DemoShop, now: datetime) -> None:
    """Measure the two, half an hour before ``now``: of the sets here that no job wants, the highest and the lowest."""
    at = now - timedelta(minutes=30)
    wanted = Reservation.objects.filter(ended_at__isnull=True).values("tool_set_id")
    here = SetState.objects.filter(
        Q(branch=shop.branch, main_id=F("tool_set_id"), fitness=Fitness.USABLE, outing__isnull=True),
        Q(place__kind=PlaceKind.RACK, lowest_height_mm__isnull=False),
        Q(tool_set__tool_type__retire_height_mm__isnull=False),
    )
    states = list(
        here.exclude(pk__in=wanted).select_related("tool_set__tool_type").order_by("-lowest_height_mm", "code")
    )
    known = [state for state in states if _room(state) > _MISTYPED_MM + 0.3 and measured_since(state.wear)]
    if known:
        _measure(shop, known[0], (known[0].lowest_height_mm or 0.0) - _MISTYPED_MM, at)
    low = min((state for state in states if state not in known[:1]), key=_room, default=None)
    if low is not None:
        _measure(shop, low, (low.tool_set.tool_type.retire_height_mm or 0.0) - 0.1, at)


def _room(state: SetState) -> float:
    """How far its lowest piece stands above the height at which it retires, mm."""
    return (state.lowest_height_mm or 0.0) - (state.tool_set.tool_type.retire_height_mm or 0.0)


def _measure(shop: DemoShop, state: SetState, height_mm: float, at: datetime) -> None:
    read = round(height_mm, 1)
    heights = Heights((Amount(read, Decimal(str(read)), "mm"),), sure=True)
    measure(shop.who("teo", at), shop.branch, state.tool_set, heights, now=at)
