"""Which sets the page of tonight names: those that go, and those it offers where one does not suffice."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.urls import reverse

from inventory.hooks import NamedTonight
from inventory.models import Branch
from jobs.queries.tonight import leaving_tonight


def named_tonight(branch: Branch, now: datetime) -> dict[UUID, NamedTonight]:
    """Each set that tonight's page names, with the job; a set that goes is not offered elsewhere; constant queries."""
    goes: dict[UUID, NamedTonight] = {}
    offered: dict[UUID, NamedTonight] = {}
    url = reverse("jobs:shop_day")
    for leaving in leaving_tonight(branch, now):
        name = leaving.night.job.name
        for cell in leaving.cells:
            if leaving.closed or cell.key == "done":
                continue
            goes |= {one.pk: NamedTonight(name, url) for one in (cell.state, cell.second) if one is not None}
            for one in (cell.instead, cell.beside) if cell.trouble else ():
                if one is not None:
                    offered.setdefault(one.pk, NamedTonight(name, url, offered=True))
    return offered | goes
