"""Heights worth reading after sets came in: planned ones first, and a handful a day; a worn set is not cleared."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any
from unittest import mock

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.fitness import retire
from inventory.actions.ledger import NewLine
from inventory.queries import measuring
from inventory.queries.measuring import MOST_ASKED, worth_of_returns
from tests.cast import NOW, make_cast, make_place, make_set, make_type, who, write

pytestmark = pytest.mark.django_db


def worths(planned: int, others: int) -> dict[int, Any]:
    """As the worth of heights is ranked: the unplanned ones are worth more here."""
    rows = [SimpleNamespace(use=None) for _ in range(others)] + [SimpleNamespace(use="step 6") for _ in range(planned)]
    return dict(enumerate(rows))


def asked(cast: SimpleNamespace, planned: int, others: int) -> list[Any]:
    with mock.patch.object(measuring, "worth_measuring", return_value=worths(planned, others)):
        return [one.use for one in worth_of_returns(cast.branch, NOW)]


def test_planned_ones_come_first_and_the_others_fill_a_handful_of_the_day() -> None:
    cast = make_cast()
    rack = make_place(cast.branch)
    assert asked(cast, 2, 9) == ["step 6", "step 6", None, None, None]
    for number in range(4):
        tool_set = make_set(cast, make_type(), rack, at=NOW)
        write(cast, NewLine("measured", tool_set, None, {"lowest_height_mm": 9.0 - number}), at=NOW)
        # Each height read today takes a place of those no step waits for; none of a planned one.
        assert asked(cast, 2, 9) == ["step 6", "step 6", *[None] * max(0, 2 - number)]
    assert asked(cast, 9, 9) == ["step 6"] * MOST_ASKED


@pytest.mark.parametrize(("why", "offered"), [("worn", False), ("changed_early", True)])
def test_a_worn_set_offers_no_clearing_one_that_ended_otherwise_does_to_who_settles(
    client: Client, why: str, offered: bool
) -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type(), make_place(cast.branch), at=NOW)
    retire(who(cast.ines, cast.device), cast.branch, tool_set, why, now=NOW)
    url = reverse("inventory:set_phone", args=[tool_set.pk])
    for person, sees in ((cast.ines, offered), (cast.dag, False)):
        client.force_login(person)
        assert ("It still works: clear it" in client.get(url).content.decode()) is sees
