"""The rack: what it says of each set, in a constant number of queries, and its doors."""

from __future__ import annotations

import re
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory import hooks
from inventory.actions.ledger import NewLine
from inventory.estimate import SetLife
from inventory.lives_together import together
from inventory.models import SetState, ToolSet, ToolType
from inventory.queries.rack import rack_of
from inventory.queries.soak import conditioning_of
from inventory.rack_words import said_name
from tests.cast import hours, make_branch, make_cast, make_outing, make_person, make_place, make_set, make_type, write

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> SimpleNamespace:
    """A rack, a tub, an outing, a metal 30 and a resin 400."""
    cast, now = make_cast(), timezone.now()
    return SimpleNamespace(
        cast=cast,
        now=now,
        rack=make_place(cast.branch, name="Rack B"),
        tub=make_place(cast.branch, "tub", "Tub 1"),
        unknown=make_place(cast.branch, "unknown", "unknown"),
        outing=make_outing(cast.branch, leaves_at=now - hours(4), due_at=now + hours(8), made_at=now),
        metal=make_type("30", "metal", 1, soak_need="none"),
        resin=make_type("400", "resin", 6),
    )


def put(shop: SimpleNamespace, tool_type: ToolType, code: str = "", ago: float = 300) -> Any:
    return make_set(shop.cast, tool_type, shop.rack, at=shop.now - hours(ago), code=code)


def enter(shop: SimpleNamespace, tool_set: Any, kind: str, ago: float, **columns: Any) -> None:
    write(shop.cast, NewLine(kind, tool_set, None, columns), at=shop.now - hours(ago))


def one_of_each(shop: SimpleNamespace) -> dict[str, Any]:
    """Sets in every state a rack can show, by the word for it."""
    words = [
        "dry",
        "soaking",
        "soaked",
        "conditioned",
        "out",
        "aside",
        "glazed",
        "missing",
        "left in water",
        "dried out",
    ]
    found = {word: put(shop, shop.resin, f"GL-{number:06d}") for number, word in enumerate(words, 1)}
    enter(shop, found["soaking"], "soak_begun", 5, to_place=shop.tub)
    enter(shop, found["soaked"], "soak_begun", 80, to_place=shop.tub)
    for word, begun, ended in (("conditioned", 100, 2), ("left in water", 250, 170), ("dried out", 200, 100)):
        enter(shop, found[word], "soak_begun", begun, to_place=shop.tub)
        enter(shop, found[word], "soak_ended", ended, to_place=shop.rack)
        enter(shop, found[word], "conditioning_confirmed", ended - 0.1)
    enter(shop, found["left in water"], "seen", 165, left_how="in_water")
    enter(
        shop,
        found["out"],
        "scanned_out",
        3,
        outing=shop.outing,
        gate="passed",
        holder_kind="person",
        holder_person=shop.cast.dag,
    )
    enter(shop, found["aside"], "set_aside", 30, why="chipped piece")
    enter(shop, found["glazed"], "trouble", 30, trouble_kind="glazed")
    enter(shop, found["missing"], "moved", 50, to_place=shop.unknown)
    return found


def test_every_set_stands_in_its_group_with_its_water(shop: SimpleNamespace) -> None:
    sets = one_of_each(shop)
    rack = {one.set_id: one for one in rack_of(shop.cast.branch, shop.now).sets}
    said = {word: (rack[tool_set.pk].group, rack[tool_set.pk].conditioning.state) for word, tool_set in sets.items()}
    assert said == {
        "dry": ("here", "dry"),
        "soaking": ("in_water", "soaking"),
        "soaked": ("in_water", "soaked, not confirmed"),
        "conditioned": ("here", "conditioned"),
        "out": ("out", "dry"),
        "aside": ("aside", "dry"),
        "glazed": ("here", "dry"),
        "missing": ("missing", "dry"),
        "left in water": ("here", "conditioned"),
        "dried out": ("here", "dry"),
    }
    assert rack[sets["glazed"].pk].key == "glazed"


def test_the_rack_and_the_rules_say_the_same_of_every_sets_water(shop: SimpleNamespace) -> None:
    one_of_each(shop)
    put(shop, shop.metal)
    rack = rack_of(shop.cast.branch, shop.now).sets
    rules = conditioning_of([one.set_id for one in rack], shop.cast.branch, at=shop.now)
    assert {one.set_id: one.conditioning.state for one in rack} == {pk: said.state for pk, said in rules.items()}


def test_a_set_is_read_out_whole(shop: SimpleNamespace) -> None:
    sets = one_of_each(shop)
    rack = {one.set_id: one for one in rack_of(shop.cast.branch, shop.now).sets}

    def name(word: str) -> str:
        return said_name(rack[sets[word].pk], shop.cast.ines, shop.now)

    assert name("dry").startswith(
        "GL-000001, resin 400, dry. Needs 72\xa0h in water, Rack B, life left on a medium floor likely "
    )
    assert "square feet, at least " in name("dry")
    assert ", out: Dag P., Osprey Lane, " in name("out")
    assert ", set aside: chipped piece, Rack B, " in name("aside")
    assert ", missing since " in name("missing")


def test_several_sets_are_less_doubtful_together_than_each(shop: SimpleNamespace) -> None:
    life = SetLife(600.0, 1000.0, 1500.0, 0.0, 1000.0, 0)
    assert together([life]) == pytest.approx((600.0, 1000.0, 1500.0))
    low, likely, high = together([life] * 9)
    # Nine equal sets, no end on record: equally correlated parts are 9 w sqrt(rho + (1 - rho) / 9) wide together.
    assert high - low == pytest.approx(900 * 9 * (0.25 + 0.75 / 9) ** 0.5)
    # Their mean is 1,030 by Swanson's rule; the median of the sum lies between nine medians and nine means.
    assert 9000 < likely < 9 * 1030
    # The more sets of the type were seen to their end, the less of the doubt is common to all.
    ended = SetLife(600.0, 1000.0, 1500.0, 0.0, 1000.0, 16)
    assert together([ended] * 9)[2] - together([ended] * 9)[0] < 0.8 * (high - low)
    assert together([]) == (0.0, 0.0, 0.0)


def test_need_decides_whether_a_grit_is_covered(shop: SimpleNamespace, monkeypatch: pytest.MonkeyPatch) -> None:
    put(shop, shop.resin)

    def cover(need_m2: float) -> str:
        monkeypatch.setattr(hooks, "_need", [lambda branch, now: {shop.resin.pk: need_m2}])
        rows = rack_of(shop.cast.branch, shop.now).grits
        return next(row.cover for row in rows if row.tool_type == shop.resin)

    low, likely, high = next(row.life_m2 for row in rack_of(shop.cast.branch, shop.now).grits if row.sets)
    assert (cover(low * 0.99), cover(likely), cover(high * 1.01)) == ("covers", "may_run_short", "short")
    monkeypatch.setattr(hooks, "_need", [])
    assert {row.cover for row in rack_of(shop.cast.branch, shop.now).grits} == {""}


def test_types_of_one_grit_and_bond_share_a_row(shop: SimpleNamespace) -> None:
    other = make_type("400", "resin", 6, name="resin 400 thick")
    put(shop, shop.resin), put(shop, other)
    rows = [row for row in rack_of(shop.cast.branch, shop.now).grits if row.sets]
    assert [(len(row.types), len(row.sets)) for row in rows] == [(2, 2)]


def test_a_set_worn_out_without_any_work_on_record_stops_no_page(shop: SimpleNamespace, client: Client) -> None:
    enter(shop, put(shop, shop.resin), "retired", 5, retired_why="worn")
    put(shop, shop.resin)
    client.force_login(shop.cast.ines)
    assert client.get(reverse("inventory:rack")).status_code == 200


# --- the doors ---

URLS = ["rack", "list", "grit", "place"]


def url_of(shop: SimpleNamespace, name: str) -> str:
    return {
        "rack": reverse("inventory:rack"),
        "list": reverse("inventory:rack") + "?view=list",
        "grit": reverse("inventory:rack_grit", args=[shop.resin.pk]),
        "place": reverse("inventory:place_phone", args=[shop.rack.pk]),
    }[name]


@pytest.mark.parametrize("name", URLS)
def test_everybody_signed_in_sees_the_rack_and_nobody_else(shop: SimpleNamespace, client: Client, name: str) -> None:
    put(shop, shop.resin, "GL-7K2M46")
    url = url_of(shop, name)
    assert client.get(url)["Location"].startswith(reverse("inventory:sign_in"))
    client.force_login(shop.cast.nils)
    assert client.get(url).status_code == 200
    assert client.post(url).status_code == 405
    assert b"GL-7K2M46" in client.get(url).content


def test_another_branchs_sets_and_places_are_not_here(shop: SimpleNamespace, client: Client) -> None:
    put(shop, shop.resin, "GL-7K2M46")
    client.force_login(make_person(make_branch("Quayside shop"), "ove", "Ove K.", "owner"))
    assert b"GL-7K2M46" not in client.get(url_of(shop, "list")).content
    assert client.get(url_of(shop, "place")).status_code == 404
    assert client.get(reverse("inventory:rack_grit", args=[987])).status_code == 404


def test_an_empty_shop_says_how_to_begin(client: Client) -> None:
    cast = make_cast()
    client.force_login(cast.olga)
    for url in (reverse("inventory:rack"), reverse("inventory:rack") + "?view=list"):
        page = client.get(url).content.decode()
        assert "No sets yet. Receive an order, or bring in a spreadsheet." in page


@pytest.mark.parametrize("name", [*URLS, "by life"])
def test_many_sets_cost_no_more_queries_than_one_of_each(shop: SimpleNamespace, client: Client, name: str) -> None:
    one_of_each(shop), put(shop, shop.metal)
    url = url_of(shop, name) if name != "by life" else url_of(shop, "list") + "&sort=-life&state=dry"
    client.force_login(shop.cast.ines)

    def asked() -> int:
        client.get(url)
        with CaptureQueriesContext(connection) as queries:
            assert client.get(url).status_code == 200
        return len(queries)

    few = asked()
    for _round in range(3):
        for _number in range(4):
            tool_set = put(shop, shop.resin)
            enter(shop, tool_set, "soak_begun", 80, to_place=shop.tub)
            put(shop, shop.metal)
    assert asked() == few


def test_the_list_is_chosen_and_sorted(shop: SimpleNamespace, client: Client) -> None:
    one_of_each(shop)
    client.force_login(shop.cast.ines)
    url = url_of(shop, "list")

    def codes(query: str) -> list[str]:
        page = client.get(url + query).content.decode()
        return re.findall(r">(GL-0000\d\d)</a>", page)

    assert len(codes("")) == 10
    assert codes("&state=missing") == ["GL-000008"]
    assert codes("&state=conditioned") == ["GL-000004", "GL-000009"]
    assert codes(f"&place={shop.tub.pk}&sort=-code") == ["GL-000003", "GL-000002"]
    assert codes("&fitness=set_aside") == ["GL-000006"]
    assert codes("&fitness=retired") == []
    assert codes("&sort=nothing&page=99") == codes("")
    assert "No set is like that" in client.get(url + "&fitness=retired").content.decode()


def test_a_crowded_row_folds_and_keeps_its_bytes_small(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.ines)
    now = shop.now
    sets = ToolSet.objects.bulk_create([ToolSet(tool_type=shop.resin, made_at=now) for _ in range(400)])
    SetState.objects.bulk_create(
        [
            SetState(
                tool_set=one, main=one, branch=shop.cast.branch, place=shop.rack, opening="new",
                last_at=now - timedelta(days=30), code=f"GL-{number:06d}",
            )
            for number, one in enumerate(sets)
        ]
    )  # fmt: skip
    page = client.get(url_of(shop, "rack")).content
    assert b"resin \xc2\xb7 400 sets" in page
    assert b"GL-000007" not in page
    assert len(page) < 60_000
    assert b"Page 1 of 7" in client.get(url_of(shop, "grit")).content
