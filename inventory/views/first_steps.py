"""What an empty shop still has to do before its first scan, each step with where it is done."""

from __future__ import annotations

from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.models import Person, SetState, ToolType
from inventory.rights import Right


def first_steps(person: Person) -> list[dict[str, Any]]:
    """The first steps of a shop without sets, done or open, the next one marked; [] once a set is on record.

    url is "" where the person may not do it. Up to two queries.
    """
    branch = person.branch
    if SetState.objects.filter(branch=branch).exists():
        return []
    runs, plans = person.can(Right.RUN_SHOP), person.can(Right.PLAN) or person.can(Right.RUN_SHOP)
    begin = reverse("inventory:first_shop")
    steps: list[dict[str, Any]] = [
        {
            "words": _("Say which grits hang in your shop"),
            "done": ToolType.objects.exists(),
            "url": begin if runs else "",
        },
        {
            "words": _("Settle the address that goes into labels"),
            "done": branch.label_address_confirmed_at is not None,
            "url": reverse("inventory:labels_address") if plans else "",
        },
        {
            "words": _("Bring in the sets you have: on blank labels, or from a spreadsheet"),
            "done": False,
            "url": begin if runs else reverse("jobs:bring_in") if plans else "",
        },
    ]
    next(step for step in steps if not step["done"])["next"] = True
    return steps
