"""The soak list: what goes in water by when, today first; its door, and that it does not cost more with more sets."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory.models import SetState
from jobs.actions.plan import save_plan
from jobs.actions.reservation import reserve
from jobs.plan_draft import StepDraft, draft_of
from tests.cast import hours, make_cast, make_place, make_set, make_type, uuid
from tests.jobs.plans import make_planned

pytestmark = pytest.mark.django_db
URL = "inventory:soak_list"


@pytest.fixture
def world() -> SimpleNamespace:
    """A dry 400 for a shift in ten days, a dry 200 for one tomorrow that its 72 h do not reach."""
    cast, now = make_cast(), timezone.now()
    make_place(cast.branch, "tub", name="Tub 2")
    rack = make_place(cast.branch, name="Rack B")
    plan = make_planned(cast, first=now + timedelta(days=1), now=now - hours(5))
    draft = draft_of(plan)
    late = draft.shifts[1]
    moved = SimpleNamespace(starts_at=now + timedelta(days=10), ends_at=now + timedelta(days=10, hours=8))

    shifts = (draft.shifts[0], replace(late, starts_at=moved.starts_at, ends_at=moved.ends_at))
    plan = save_plan(cast.ines, plan.job, replace(draft, shifts=shifts), now=now, sure=True).plan
    sets = {}
    for step in plan.steps.all():
        grit = step.tool_type.grit
        sets[grit] = make_set(cast, step.tool_type, rack, at=now - hours(200), code=f"GL-{grit}000")
        reserve(cast.ines, plan.job, step.key, sets[grit], now=now)
    return SimpleNamespace(cast=cast, job=plan.job, plan=plan, rack=rack, now=now, sets=sets)


def page_of(world: SimpleNamespace, name: str = "ines") -> str:
    client = Client()
    client.force_login(getattr(world.cast, name))
    answer = client.get(reverse(URL))
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", answer.content.decode())


def test_what_is_late_stands_under_today_and_what_has_time_below(world: SimpleNamespace) -> None:
    text = page_of(world)
    today, then = text.split("<h2>Then</h2>")
    assert "1 line for today" in today
    assert "GL-200000" in today
    assert "Too late for water" in today
    assert "GL-400000" not in today
    assert "GL-400000" in then
    assert "In water by" in then
    assert "Rack B" in then
    assert "Hot water scalds" in then


def test_a_shop_without_needs_says_so() -> None:
    cast = make_cast()
    assert "Nothing must go into water today" in page_of(SimpleNamespace(cast=cast))


def test_its_door(world: SimpleNamespace) -> None:
    client, url = Client(), reverse(URL)
    assert "sign-in" in client.get(url)["Location"]
    client.force_login(world.cast.nils)
    assert client.get(url).status_code == 403
    client.force_login(world.cast.teo)
    assert (client.get(url).status_code, client.post(url).status_code) == (200, 405)
    assert url in client.get(reverse("inventory:soak")).content.decode()


def test_its_queries_do_not_grow_with_sets(world: SimpleNamespace) -> None:
    client, counts = Client(), []
    client.force_login(world.cast.ines)
    for _round in range(2):
        with CaptureQueriesContext(connection) as caught:
            client.get(reverse(URL))
        counts.append(len(caught))
        if _round == 0:
            _more(world)
    assert SetState.objects.count() == 7
    assert counts[0] == counts[1], counts


def _more(world: SimpleNamespace) -> None:

    draft: Any = draft_of(world.plan)
    types = [make_type(f"{500 + n}", ladder_place=6) for n in range(5)]
    steps = tuple(
        StepDraft(draft.zones[0].zone.pk, one, 4, shift_key=draft.shifts[1].key, key=uuid(9200 + n))
        for n, one in enumerate(types)
    )
    save_plan(world.cast.ines, world.job, replace(draft, steps=(*draft.steps, *steps)), now=world.now, sure=True)
    for one, step in zip(types, steps, strict=True):
        tool_set = make_set(world.cast, one, world.rack, at=world.now - hours(200))
        reserve(world.cast.ines, world.job, step.key, tool_set, now=world.now)
