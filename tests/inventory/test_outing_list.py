"""Open outings: one whose sets all came back says so, comes last and is not counted as open."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.custody import scan_in, scan_out
from inventory.queries.custody import open_outings
from inventory.units import show_span
from tests.cast import NOW, hours, make_cast, make_outing, make_place, make_set, make_type, who

pytestmark = pytest.mark.django_db


def test_an_outing_whose_sets_all_came_back_says_so_and_comes_last(client: Client) -> None:
    cast = make_cast()
    rack = make_place(cast.branch)
    tool_set = make_set(cast, make_type(soak_need="none"), rack, at=NOW - hours(30))
    back = make_outing(cast.branch, "Osprey Lane", leaves_at=NOW - hours(8), due_at=None)
    fresh = make_outing(cast.branch, "Pell Road", leaves_at=NOW + hours(3), due_at=None)
    scan_out(who(cast.teo, cast.device), cast.branch, tool_set, back, now=NOW)
    assert [(one.name, one.emptied) for one in open_outings(cast.branch)] == [
        ("Osprey Lane", False),
        (fresh.name, False),
    ]  # type: ignore[attr-defined]
    at = NOW + hours(1)
    scan_in(who(cast.teo, cast.device, at), cast.branch, tool_set, rack, now=at)
    assert [(one.name, one.emptied) for one in open_outings(cast.branch)] == [
        (fresh.name, False),
        ("Osprey Lane", True),
    ]  # type: ignore[attr-defined]
    client.force_login(cast.teo)
    page = client.get(reverse("inventory:scan")).content.decode()
    assert ("1 outing is open" in page, page.count("all back")) == (True, 1)


@pytest.mark.parametrize(
    ("span", "words"),
    [(5.9, "5\xa0h 54\xa0min"), (5.0, "5\xa0h"), (0.66, "40\xa0min"), (1.999, "2\xa0h"), (0.001, "0\xa0min")],
)
def test_a_span_is_said_in_hours_and_minutes(span: float, words: str) -> None:
    assert show_span(span) == words
