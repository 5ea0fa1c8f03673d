"""A height read long ago is not today's: what is likely after the work since then is said, compared and joined by."""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal
from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory.actions.ledger import NewLine
from inventory.actions.pieces import Change, PiecesDiffer, change_pieces
from inventory.height_now import heights_now
from inventory.models import Entry, SetState, ToolSet
from inventory.queries.joining import donors
from inventory.queries.soak import states_with_types
from inventory.times import show_day, zone_of
from inventory.units import Amount
from inventory.views.measuring import field
from tests.cast import hours, make_cast, make_place, make_set, make_type, uuid, who, write

pytestmark = pytest.mark.django_db
WORK = {
    "floor_uuid": uuid(11), "step_key": uuid(12), "passes": 1, "hardness": "medium", "surface": "worn",
    "coating": "none", "wet_dry": "wet", "step_kind": "later", "basis": "measured",
}  # fmt: skip


@pytest.fixture
def shop() -> SimpleNamespace:
    """Three sets read 200 days ago at 9.5 mm of 12: one has worked 3,000 m2 of 5,000 since, two hang there."""
    cast = make_cast()
    cast.now = timezone.now()
    rack = make_place(cast.branch, name="Rack A")
    kind = make_type("400", new_height_mm=12, retire_height_mm=2, rated_coverage_m2=5000.0, soak_need="none")
    at = cast.now - timedelta(days=300)
    cast.used, cast.idle, cast.third = (make_set(cast, kind, rack, at=at, code=f"GL-00000{n}") for n in range(3))
    for one in (cast.used, cast.idle, cast.third):
        work(cast, one, 900.0, days=250)
        write(cast, NewLine("measured", one, None, {"lowest_height_mm": 9.5}), at=cast.now - timedelta(days=200))
    work(cast, cast.used, 3000.0, days=100)
    return cast


def work(cast: SimpleNamespace, tool_set: ToolSet, area_m2: float, days: float) -> None:
    line = NewLine("worked", tool_set, None, WORK | {"area_m2": area_m2, "visit_uuid": uuid4()})
    write(cast, line, at=cast.now - timedelta(days=days))


def state(tool_set: ToolSet) -> SetState:
    return states_with_types([tool_set.pk])[0]


def page(shop: SimpleNamespace, client: Client, name: str, tool_set: ToolSet) -> str:
    client.force_login(shop.ines)
    return client.get(reverse("inventory:set_act", args=[tool_set.pk, name])).content.decode()


def test_a_set_that_worked_since_it_was_read_stands_where_its_card_says(shop: SimpleNamespace, client: Client) -> None:
    found = heights_now([state(shop.used), state(shop.idle)], shop.branch, shop.now)
    used, idle = found[shop.used.pk], found[shop.idle.pk]
    assert (idle.read_mm, idle.worked, idle.likely_mm, idle.now_mm) == (9.5, False, None, 9.5)
    assert (used.read_mm, used.worked) == (9.5, True)
    assert 2.5 < used.now_mm < 6
    shop.ines.units = "metric"
    shop.ines.save()
    client.force_login(shop.ines)
    for address in ("toolset", "set_phone"):
        said = client.get(reverse(f"inventory:{address}", args=[shop.used.pk])).content.decode()
        assert f"Likely {used.now_mm:.1f}\u00a0mm today" in said
        assert "Lowest piece 9.5\u00a0mm, read " in said
        said = client.get(reverse(f"inventory:{address}", args=[shop.idle.pk])).content.decode()
        assert re.search(r"Likely [0-9.]+\xa0mm today", said) is None


def test_where_a_height_is_asked_for_the_last_one_says_its_day(shop: SimpleNamespace) -> None:
    found = field(state(shop.used), shop.ines, "/")
    at = (shop.now - timedelta(days=200)).astimezone(zone_of(shop.branch)).date()
    assert (found["last"], found["last_day"]) == ("0.37", show_day(at, shop.now.date()))


def test_many_sets_cost_no_more_queries_than_one(shop: SimpleNamespace) -> None:
    counts = []
    for sets in ([shop.used], [shop.used, shop.third]):
        if len(sets) == 2:
            work(shop, shop.third, 2000.0, days=50)
        states = [state(one) for one in sets]
        with CaptureQueriesContext(connection) as queries:
            assert all(one.likely_mm for one in heights_now(states, shop.branch, shop.now).values())
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 4


def test_pieces_are_compared_as_they_stand_today(shop: SimpleNamespace) -> None:
    new = Amount(9.3, Decimal("9.3"), "mm")  # as the set was read, not as it stands
    change = Change(1, 1, new_height=new)
    with pytest.raises(PiecesDiffer, match="as they stand today"):
        change_pieces(who(shop.ines, shop.device, shop.now), shop.branch, shop.used, change, now=shop.now)
    change_pieces(who(shop.ines, shop.device, shop.now), shop.branch, shop.idle, change, now=shop.now)
    assert SetState.objects.get(pk=shop.idle.pk).fitness == "usable"


def test_donors_are_offered_by_the_height_of_today(shop: SimpleNamespace, client: Client) -> None:
    write(shop, NewLine("measured", shop.third, None, {"lowest_height_mm": 9.0}), at=shop.now - hours(5))
    assert [one.pk for one, _height in donors(state(shop.idle), shop.branch, shop.now)] == [shop.third.pk, shop.used.pk]
    said = page(shop, client, "join", shop.idle)
    assert "0.37\u00a0in read " in said
    assert " today, Rack A" in said


def test_no_old_height_is_filled_in_for_measuring_or_dressing(shop: SimpleNamespace, client: Client) -> None:
    for name, box_name in (("measure", "height"), ("dress", "before")):
        for one in (shop.used, shop.idle):
            said = page(shop, client, name, one)
            box = said.partition(f'name="{box_name}"')[2].partition(">")[0]
            assert "value=" not in box
            assert "Its lowest piece was last read at 0.37\u00a0in, " in said
    assert "Likely 0." in page(shop, client, "dress", shop.used)


def test_the_height_before_dressing_is_filled_in_where_it_was_read_today(shop: SimpleNamespace, client: Client) -> None:
    write(shop, NewLine("measured", shop.idle, None, {"lowest_height_mm": 9.4}), at=timezone.now())
    assert 'name="before" value="0.37"' in page(shop, client, "dress", shop.idle)
    assert "value=" not in page(shop, client, "measure", shop.idle).partition('name="height"')[2].partition(">")[0]


@pytest.mark.parametrize("name", ["measure", "dress", "pieces", "join"])
def test_a_missing_set_is_said_to_be_found_before_anything_is_done_with_it(
    shop: SimpleNamespace, client: Client, name: str
) -> None:
    write(shop, NewLine("trouble", shop.idle, None, {"trouble_kind": "lost"}), at=shop.now)
    client.force_login(shop.ines)
    url = reverse("inventory:set_act", args=[shop.idle.pk, name])
    for answer in (client.get(url), client.post(url, {"medium": "block", "act_id": str(uuid4())})):
        assert answer["Location"] == reverse("inventory:set_act", args=[shop.idle.pk, "found"])
    assert (
        "It is missing. If you have it in hand, say first where it is." in client.get(url, follow=True).content.decode()
    )
    assert not Entry.objects.filter(kind="dressed").exists()
