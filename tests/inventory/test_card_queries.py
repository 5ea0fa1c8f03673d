"""What the card of a set asks of the database: as much beside many sets as beside one, however the set stands."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.actions.ledger import NewLine
from inventory.actions.lives import refit
from inventory.models import OddWear, ToolSet
from inventory.queries.advice import advice_on
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, write
from tests.inventory.test_estimate import wear_out, worked

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("stands", "worked_m2", "height_mm", "odd", "advised", "more"),
    [
        # Where it worked.
        ("plain", 300, 11.5, False, False, 2),
        # That, the lives and sets of its type and the plans that want them; of an odd one when it was out without work.
        ("odd and a leftover", 300, 6.0, True, True, 10),
        ("a leftover", 4500, None, False, True, 10),
        ("worn", 4500, 1.0, False, True, 7),
    ],
)
def test_the_card_asks_as_much_beside_one_set_as_beside_many_that_stand_so(
    client: Client, stands: str, worked_m2: float, height_mm: float | None, odd: bool, advised: bool, more: int
) -> None:
    cast, tool_type = make_cast(), make_type()
    rack = make_place(cast.branch)
    bare = make_set(cast, make_type("200", ladder_place=5), rack)
    client.force_login(cast.olga)
    made: list[ToolSet] = []

    def like_it() -> None:
        """One more set that stands so."""
        made.append(make_set(cast, tool_type, rack))
        worked(cast, made[-1], worked_m2, 1, 1000 + len(made))
        if height_mm is not None:
            write(cast, NewLine("measured", made[-1], None, {"lowest_height_mm": height_mm}), at=NOW + hours(3))

    def asked_for(tool_set: ToolSet) -> int:
        address = reverse("inventory:toolset", args=[tool_set.pk])
        client.get(address)  # what is worked out once and kept
        with CaptureQueriesContext(connection) as asked:
            assert client.get(address).status_code == 200
        return len(asked)

    like_it()
    counts = []
    for others, worn in ((1, 1), (6, 5)):
        for number in range(worn):
            wear_out(cast, tool_type, 5600 + 50 * number, 10 * worn + number)
        for _ in range(others):
            like_it()
        refit(now=NOW + hours(99))
        assert OddWear.objects.filter(pk=made[0].pk).exists() == odd, stands
        assert any(one.state.pk == made[0].pk for one in advice_on(cast.branch, NOW + hours(99))) == advised, stands
        counts.append(asked_for(made[0]))
    # more: than the card of a set that did nothing yet.
    assert counts == [asked_for(bare) + more] * 2
