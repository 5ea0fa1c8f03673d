"""The doors of the water: the soak page, a tub, readings, sets in and out."""

from __future__ import annotations

import random
from collections.abc import Iterator
from decimal import Decimal
from types import SimpleNamespace
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory import hooks
from inventory.actions.custody import NotConditioned, move, scan_out
from inventory.actions.fitness import report_trouble
from inventory.actions.ledger import NewLine
from inventory.actions.soak import confirm, put_in, read_water
from inventory.codes import new_code
from inventory.hooks import NextUse
from inventory.models import Entry, Label, SetState, ToolSet
from inventory.queries.soak import conditioning_of
from inventory.units import Amount
from tests.cast import NOW, hours, make_branch, make_cast, make_outing, make_place, make_set, make_type, who, write

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clock_at_now")]


@pytest.fixture
def uses() -> Iterator[dict[UUID, NextUse]]:
    """What `jobs` would answer about next uses; empty until a test fills it."""
    known: dict[UUID, NextUse] = {}
    before = hooks._next[:]
    hooks.register_next_use(lambda ids, now: {pk: known[pk] for pk in ids if pk in known})
    yield known
    hooks._next[:] = before


@pytest.fixture
def shop() -> SimpleNamespace:
    cast = make_cast()
    cast.rack = make_place(cast.branch, name="Rack A")
    cast.tub = make_place(cast.branch, "tub", "Tub 1", room_sets=4)
    cast.hot = make_place(cast.branch, "tub", "Tub 2", room_sets=8, thermostat=True)
    cast.resin = make_type()
    cast.sets = [make_set(cast, cast.resin, cast.rack, at=NOW - hours(200)) for _ in range(3)]
    return cast


def fahrenheit(value: float) -> Amount:
    return Amount((value - 32) / 1.8, Decimal(str(value)), "F")


def soaked(shop: SimpleNamespace, tool_set: ToolSet, begun: float, tub: Any = None) -> None:
    at = NOW - hours(begun)
    put_in(who(shop.ines, shop.device, at), shop.branch, [tool_set], tub or shop.tub, now=at)


def signed(client: Client, person: Any) -> Client:
    client.force_login(person)
    return client


def use_of(words: str = "Pell Road hall, Sat 17 May 14:00, step 6 of 6", leaves: float = 76) -> NextUse:
    return NextUse(words, None, "", NOW + hours(leaves + 2), NOW + hours(leaves))


# --- who may come in ---

DOORS: list[tuple[str, str, tuple[str, ...], str]] = [
    ("soak", "get", (), "teo"),
    ("soak_put", "get", (), "teo"),
    ("soak_put", "post", (), "teo"),
    ("soak_confirm", "post", (), "dag"),
    ("soak_undo", "post", (), "teo"),
    ("tub", "get", ("tub",), "teo"),
    ("tub_water", "get", ("tub",), "teo"),
    ("tub_water", "post", ("tub",), "teo"),
    ("tub_take_out", "post", ("tub",), "teo"),
    ("tub_void", "post", ("tub",), "teo"),
]


def address(shop: SimpleNamespace, name: str, args: tuple[str, ...]) -> str:
    return reverse(f"inventory:{name}", args=[getattr(shop, arg).pk for arg in args])


@pytest.mark.parametrize(("name", "method", "args", "_person"), DOORS)
def test_a_door_asks_who_one_is_and_what_one_may(
    shop: SimpleNamespace, client: Client, name: str, method: str, args: tuple[str, ...], _person: str
) -> None:
    url = address(shop, name, args)
    assert getattr(client, method)(url).status_code == 302
    assert getattr(signed(client, shop.nils), method)(url).status_code == 403
    assert signed(client, shop.ines).put(url).status_code == 405


@pytest.mark.parametrize("name", ["tub", "tub_water"])
def test_a_tub_of_another_branch_or_a_rack_is_not_there(shop: SimpleNamespace, client: Client, name: str) -> None:
    foreign = make_place(make_branch("Weir Street shop"), "tub")
    for place in (foreign, shop.rack):
        assert signed(client, shop.ines).get(reverse(f"inventory:{name}", args=[place.pk])).status_code == 404
    assert client.get(reverse(f"inventory:{name}", args=[uuid4()])).status_code == 404


# --- the page's answer ---


def test_the_headline_says_what_goes_in_by_when(
    shop: SimpleNamespace, client: Client, uses: dict[UUID, NextUse]
) -> None:
    uses[shop.sets[0].pk] = uses[shop.sets[1].pk] = use_of(leaves=76)

    page = signed(client, shop.ines).get(reverse("inventory:soak"))

    # 76 h before leaving less 72 h cold: 13:50 in Chicago, and the shop is staffed then.
    assert page.context["headline"] == "2 sets must be in water by 13:50"
    assert "resin 400, 2 sets: Rack A." in page.context["under"]
    assert page.context["put"]["label"] == "Put 2 sets in Tub 1"
    assert "Pell Road hall" in page.content.decode()


def test_sets_of_two_jobs_with_one_time_are_put_in_together_and_both_jobs_are_named(
    shop: SimpleNamespace, client: Client, uses: dict[UUID, NextUse]
) -> None:
    # Both leave after closing on Sunday or later that night: Thursday 17:00 is the last staffed time for either.
    uses[shop.sets[0].pk], uses[shop.sets[1].pk] = use_of("Osprey Lane", 107), use_of("Bellweather", 108)
    page = signed(client, shop.ines).get(reverse("inventory:soak"))
    assert page.context["headline"] == "2 sets must be in water by Thu 17:00"
    assert page.context["under"][:2] == ["For Osprey Lane.", "For Bellweather."]


def test_put_in_water_falls_back_to_the_last_staffed_time(
    shop: SimpleNamespace, client: Client, uses: dict[UUID, NextUse]
) -> None:
    # Leaves Sunday 20:50: 72 h before is Thursday 20:50, after closing at 17:00.
    uses[shop.sets[0].pk] = use_of(leaves=107)
    page = signed(client, shop.ines).get(reverse("inventory:soak"))
    assert page.context["headline"] == "1 set must be in water by Thu 17:00"


def test_what_is_too_late_for_cold_water_is_offered_the_hot_tub(
    shop: SimpleNamespace, client: Client, uses: dict[UUID, NextUse]
) -> None:
    # Leaves Friday 09:50, 48 h ahead: too late for 72 h; 31 h before is Thursday 02:50, last staffed today 17:00.
    uses[shop.sets[0].pk] = use_of(leaves=48)
    page = signed(client, shop.ines).get(reverse("inventory:soak"))
    assert page.context["headline"] == "1 set must be in water by 17:00"
    assert page.context["put"]["label"] == "Put 1 set in Tub 2"


def test_what_no_water_can_save_any_more_is_said(
    shop: SimpleNamespace, client: Client, uses: dict[UUID, NextUse]
) -> None:
    uses[shop.sets[0].pk] = use_of(leaves=10)
    page = signed(client, shop.ines).get(reverse("inventory:soak"))
    assert page.context["headline"] == "1 set is too late for water"
    assert any("Take conditioned sets instead" in line for line in page.context["under"])


def test_a_set_that_will_be_conditioned_asks_for_nothing(
    shop: SimpleNamespace, client: Client, uses: dict[UUID, NextUse]
) -> None:
    soaked(shop, shop.sets[0], 10)
    uses[shop.sets[0].pk] = use_of(leaves=76)
    page = signed(client, shop.ines).get(reverse("inventory:soak"))
    assert page.context["headline"] == "1 set lies in water"
    assert page.context["under"][0] == "The next is ready Fri 23:50."


def test_a_set_that_went_in_too_late_is_told_of(
    shop: SimpleNamespace, client: Client, uses: dict[UUID, NextUse]
) -> None:
    soaked(shop, shop.sets[0], 10)
    uses[shop.sets[0].pk] = use_of(leaves=24)
    page = signed(client, shop.ines).get(reverse("inventory:soak"))
    assert page.context["headline"] == "1 set will not be ready when it leaves"
    assert page.context["later"][0]["words"] == "Ready only Fri 23:50, after it leaves"


def test_with_no_demand_it_says_what_lies_in_water(shop: SimpleNamespace, client: Client) -> None:
    assert signed(client, shop.ines).get(reverse("inventory:soak")).context["headline"] == "No set is in water"
    soaked(shop, shop.sets[0], 100)
    page = client.get(reverse("inventory:soak"))
    assert page.context["headline"] == "1 set has its hours and waits to be confirmed"


def test_lanes_say_soaking_soaked_and_confirmed_by_whom(shop: SimpleNamespace, client: Client) -> None:
    for tool_set, begun in zip(shop.sets, (100, 90, 10), strict=True):
        soaked(shop, tool_set, begun)
    confirm(who(shop.dag, shop.device, NOW - hours(1)), shop.branch, [shop.sets[0]], now=NOW - hours(1))

    (tub, _hot) = signed(client, shop.ines).get(reverse("inventory:soak")).context["tubs"]

    assert [(lane.kind, lane.words) for lane in tub.lanes] == [
        ("conditioned", "Conditioned, confirmed 08:50 by Dag P."),
        ("soaked", "Soaked since Tue 15:50, not confirmed"),
        ("soaking", "Fri 23:50"),
    ]
    assert (tub.recipes, tub.read_words, tub.done_label) == (["cold, 72\u00a0h"], "No reading yet", "Confirm the 400")


def test_a_hot_tub_counts_its_hours_and_says_when_to_read(shop: SimpleNamespace, client: Client) -> None:
    soaked(shop, shop.sets[0], 20, shop.hot)
    for ago in (20, 8):
        at = NOW - hours(ago)
        read_water(who(shop.ines, shop.device, at), shop.branch, shop.hot, fahrenheit(131), now=at)

    hot = signed(client, shop.ines).get(reverse("inventory:soak")).context["tubs"][1]

    # Read at 20 h and 8 h ago on a thermostat (14 h): all 20 h are hot; that reading stands 6 h more.
    assert (hot.hot_lines, hot.due) == (["400: 20\u00a0h of 31\u00a0h were hot"], "Read it by 15:50")
    assert hot.recipes == ["hot, 31\u00a0h at 130\u00a0°F or above"]
    assert [lane.words for lane in hot.lanes] == ["20:50, read it then"]
    assert hot.scalds


def test_a_tub_that_cooled_says_so_and_what_it_means(shop: SimpleNamespace, client: Client) -> None:
    soaked(shop, shop.sets[0], 20, shop.hot)
    for ago, value in ((20, 131), (7, 118), (2, 116)):
        at = NOW - hours(ago)
        read_water(who(shop.ines, shop.device, at), shop.branch, shop.hot, fahrenheit(value), now=at)

    page = signed(client, shop.ines).get(reverse("inventory:soak"))

    told = page.context["tubs"][1].told
    assert told == ["Fell to 118\u00a0°F at 02:50: ready Fri 13:50 by the cold recipe."]


def test_a_full_tub_says_until_when_and_where_there_is_room(shop: SimpleNamespace, client: Client) -> None:
    small = make_place(shop.branch, "tub", "Tub 3", room_sets=1)
    soaked(shop, shop.sets[0], 50, small)
    page = signed(client, shop.ines).get(reverse("inventory:soak"))
    assert page.context["tubs"][2].full == "Tub 3 is full until Thu 07:50. Tub 2 has 8 places."


def test_who_may_not_confirm_sees_no_button_for_it(shop: SimpleNamespace, client: Client) -> None:
    soaked(shop, shop.sets[0], 100)
    words = signed(client, shop.teo).get(reverse("inventory:soak")).content.decode()
    assert "Confirm the 400" not in words
    assert "Waits for somebody who may confirm it." in words


@pytest.mark.parametrize(("sets", "readings"), [(0, 0), (14, 30)])
def test_the_pages_take_the_same_queries_for_any_number_of_sets(
    shop: SimpleNamespace, client: Client, uses: dict[UUID, NextUse], sets: int, readings: int
) -> None:
    tub = make_place(shop.branch, "tub", "Tub 9")
    soaked(shop, shop.sets[0], 100, tub)
    confirm(who(shop.dag, shop.device, NOW - hours(1)), shop.branch, [shop.sets[0]], now=NOW - hours(1))
    uses[shop.sets[1].pk] = use_of()
    for number in range(sets):
        soaked(shop, make_set(shop, shop.resin, shop.rack, at=NOW - hours(150)), 10 + number, tub)
        uses[make_set(shop, shop.resin, shop.rack, at=NOW - hours(150)).pk] = use_of()
    for number in range(readings + 1):
        at = NOW - hours(1 + number)
        read_water(who(shop.ines, shop.device, at), shop.branch, tub, fahrenheit(70), now=at)
    signed(client, shop.ines)
    counted = []
    for url in (
        reverse("inventory:soak"),
        reverse("inventory:soak_put"),
        reverse("inventory:tub", args=[tub.pk]),
        reverse("inventory:tub_water", args=[tub.pk]),
    ):
        with CaptureQueriesContext(connection) as queries:
            assert client.get(url).status_code == 200
        counted.append(len(queries))
    assert counted == QUERIES


# Soak, put, tub, water; sign-in's own two or three among them.
QUERIES = [19, 16, 17, 11]


# --- what people do there ---


def test_sets_chosen_go_into_the_tub_and_undo_takes_them_out(shop: SimpleNamespace, client: Client) -> None:
    signed(client, shop.teo)
    form = {"set": [str(one.pk) for one in shop.sets[:2]], "tub": str(shop.tub.pk), "act_id": str(uuid4())}
    for _press in range(2):
        assert client.post(reverse("inventory:soak_put"), form).status_code == 302
    assert SetState.objects.filter(place=shop.tub, soaking=True).count() == 2
    assert Entry.objects.filter(kind="soak_begun").count() == 2
    page = client.get(reverse("inventory:soak")).content.decode()
    assert "2 sets are in Tub 1. Ready Sat 09:50." in page

    act = Entry.objects.filter(kind="soak_begun").first().act_id  # type: ignore[union-attr]
    client.post(f"{reverse('inventory:soak_undo')}?act={act}")
    assert SetState.objects.filter(place=shop.rack, soaking=False).count() == 3


def test_a_hand_scanners_codes_choose_sets_and_the_tub(shop: SimpleNamespace, client: Client) -> None:
    """Each code is Enter's too: nothing is put in before the button is pressed, and what was ticked stays ticked."""
    codes = [new_code(random.Random(seed)) for seed in (3, 4)]
    Label.objects.create(code=codes[0], branch=shop.branch, made_at=NOW)
    write(shop, NewLine("labelled", shop.sets[0], None, {"code_id": codes[0]}))
    Label.objects.create(code=codes[1], branch=shop.branch, made_at=NOW)
    write(shop, NewLine("labelled", None, shop.hot, {"code_id": codes[1]}))
    url, ticked = reverse("inventory:soak_put"), [str(shop.sets[1].pk)]
    page = signed(client, shop.teo).post(url, {"code": codes[0], "set": ticked, "tub": str(shop.tub.pk)})
    rows = {row["state"].pk: row["chosen"] for group in page.context["groups"] for row in group["sets"]}
    # Those that are chosen stand on top, apart from the others.
    assert (rows, {row["state"].pk for row in page.context["picked"]}) == (
        {shop.sets[2].pk: False},
        {shop.sets[0].pk, shop.sets[1].pk},
    )
    assert f'value="{shop.tub.pk}" selected' in page.content.decode()
    page = client.post(url, {"code": codes[1], "set": ticked, "tub": str(shop.tub.pk)})
    assert f'value="{shop.hot.pk}" selected' in page.content.decode()
    page = client.post(url, {"code": "GL-7K2M47", "set": ticked, "tub": str(shop.tub.pk)})
    assert page.status_code == 422
    assert "or a tub" in page.content.decode()
    assert not Entry.objects.filter(kind="soak_begun").exists()


def test_a_tub_without_room_refuses_and_keeps_what_was_chosen(shop: SimpleNamespace, client: Client) -> None:
    small = make_place(shop.branch, "tub", "Tub 3", room_sets=1)
    form = {"set": [str(one.pk) for one in shop.sets[:2]], "tub": str(small.pk)}
    page = signed(client, shop.teo).post(reverse("inventory:soak_put"), form)
    assert page.status_code == 422
    assert "Tub 3 has 1 place left, for 2 sets." in page.content.decode()
    assert {row["state"].pk for row in page.context["picked"]} == {one.pk for one in shop.sets[:2]}
    assert not Entry.objects.filter(kind="soak_begun").exists()


def test_no_set_chosen_is_said(shop: SimpleNamespace, client: Client) -> None:
    page = signed(client, shop.teo).post(reverse("inventory:soak_put"), {"tub": str(shop.tub.pk)})
    assert page.status_code == 422
    assert "No set is chosen." in page.content.decode()


def test_one_tap_confirms_all_whose_hours_are_done(shop: SimpleNamespace, client: Client) -> None:
    for tool_set in shop.sets[:2]:
        soaked(shop, tool_set, 100)
    (tub, _hot) = signed(client, shop.dag).get(reverse("inventory:soak")).context["tubs"]
    client.post(reverse("inventory:soak_confirm"), {"sets": tub.done_ids})
    answers = conditioning_of([one.pk for one in shop.sets[:2]], shop.branch, at=NOW)
    assert {answer.state for answer in answers.values()} == {"conditioned"}
    assert "2 sets confirmed by Dag P." in client.get(reverse("inventory:soak")).content.decode()


def test_a_set_not_done_is_not_confirmed(shop: SimpleNamespace, client: Client) -> None:
    soaked(shop, shop.sets[0], 10)
    page = signed(client, shop.dag).post(reverse("inventory:soak_confirm"), {"sets": str(shop.sets[0].pk)}, follow=True)
    assert "Only a set whose hours are done" in page.content.decode()
    assert not Entry.objects.filter(kind="conditioning_confirmed").exists()


def test_a_reading_is_taken_in_the_persons_unit(shop: SimpleNamespace, client: Client) -> None:
    url = reverse("inventory:tub_water", args=[shop.hot.pk])
    assert signed(client, shop.teo).post(url, {"water": "131"}).status_code == 302
    entry = Entry.objects.get(kind="water_read")
    assert (round(entry.temperature_c or 0, 3), entry.amount_value, entry.amount_unit) == (55.0, "131", "F")
    assert entry.act.happened_at == NOW


def test_a_reading_of_last_night_changes_every_set_that_lay_in_the_tub(shop: SimpleNamespace, client: Client) -> None:
    """The hot hours ended at 02:50; nobody wrote the reading down until the morning."""
    for tool_set in shop.sets[:2]:
        soaked(shop, tool_set, 38, shop.hot)
    for ago in (38, 25, 12):
        at = NOW - hours(ago)
        read_water(who(shop.ines, shop.device, at), shop.branch, shop.hot, fahrenheit(131), now=at)
    ids = [one.pk for one in shop.sets[:2]]
    assert {a.state for a in conditioning_of(ids, shop.branch, at=NOW).values()} == {"soaking"}

    url = reverse("inventory:tub_water", args=[shop.hot.pk])
    page = signed(client, shop.teo).post(url, {"water": "131", "at": "02:50", "day": "2025-05-14"})

    assert page.status_code == 302
    assert Entry.objects.filter(kind="water_read").latest("act__recorded_at").act.happened_at == NOW - hours(7)
    answers = conditioning_of(ids, shop.branch, at=NOW)
    assert {(a.state, a.ready_at) for a in answers.values()} == {("soaked, not confirmed", NOW - hours(7))}


def test_voiding_a_wrong_reading_takes_the_hours_back_from_every_set(shop: SimpleNamespace, client: Client) -> None:
    for tool_set in shop.sets[:2]:
        soaked(shop, tool_set, 32, shop.hot)
    for ago in (32, 20, 8, 0.5):
        at = NOW - hours(ago)
        read_water(who(shop.teo, shop.device, at), shop.branch, shop.hot, fahrenheit(131), now=at)
    ids = [one.pk for one in shop.sets[:2]]
    assert {a.state for a in conditioning_of(ids, shop.branch, at=NOW).values()} == {"soaked, not confirmed"}
    last = Entry.objects.filter(kind="water_read").latest("act__happened_at")

    page = signed(client, shop.teo).post(
        reverse("inventory:tub_void", args=[shop.hot.pk]), {"entry": str(last.pk), "why": "misread"}, follow=True
    )

    assert {a.state for a in conditioning_of(ids, shop.branch, at=NOW).values()} == {"soaking"}
    words = page.content.decode()
    assert "misread" in words
    assert words.count("Void it") == 3


def test_somebody_elses_reading_is_not_voided_by_a_helper(shop: SimpleNamespace, client: Client) -> None:
    read_water(who(shop.ines, shop.device), shop.branch, shop.hot, fahrenheit(131), now=NOW)
    entry = Entry.objects.get(kind="water_read")
    page = signed(client, shop.teo).post(
        reverse("inventory:tub_void", args=[shop.hot.pk]), {"entry": str(entry.pk)}, follow=True
    )
    assert "Ines O. entered this, not you." in page.content.decode()
    assert not Entry.objects.filter(kind="voided").exists()
    foreign = reverse("inventory:tub_void", args=[shop.tub.pk])
    assert client.post(foreign, {"entry": str(entry.pk)}).status_code == 404


def test_sets_taken_out_go_back_to_where_each_hung(shop: SimpleNamespace, client: Client) -> None:
    other = make_place(shop.branch, name="Rack B")
    at = NOW - hours(120)
    for tool_set, rack, peg in zip(shop.sets, (shop.rack, other, other), ("3", "7", "9"), strict=True):
        move(who(shop.ines, shop.device, at), shop.branch, tool_set, rack, now=at, peg=peg)
        soaked(shop, tool_set, 100)
    url = reverse("inventory:tub_take_out", args=[shop.tub.pk])

    form = {"set": [str(one.pk) for one in shop.sets[:2]], "place": "home"}
    assert signed(client, shop.teo).post(url, form).status_code == 302
    client.post(url, {"set": str(shop.sets[2].pk), "place": str(shop.rack.pk), "peg": "12"})

    states = [SetState.objects.get(pk=one.pk) for one in shop.sets]
    assert [(state.place_id, state.peg, state.soaking) for state in states] == [
        (shop.rack.pk, "3", False),
        (other.pk, "7", False),
        (shop.rack.pk, "12", False),
    ]


def test_a_set_said_to_lie_in_water_since_days_ago_has_its_hours(shop: SimpleNamespace, client: Client) -> None:
    """Put in three days ago, said only now: no earlier soak is spoken of, there was none."""
    sent = {"set": str(shop.sets[0].pk), "tub": str(shop.tub.pk), "at": "02:50", "day": "2025-05-11"}
    page = signed(client, shop.ines).post(reverse("inventory:soak_put"), sent, follow=True).content.decode()
    assert "The hours are done." in page
    assert "earlier soak" not in page


def test_taking_out_none_or_one_that_lies_elsewhere_is_refused(shop: SimpleNamespace, client: Client) -> None:
    url = reverse("inventory:tub_take_out", args=[shop.tub.pk])
    page = signed(client, shop.teo).post(url, {"place": "home"})
    assert (page.status_code, "No set is chosen." in page.content.decode()) == (422, True)
    page = client.post(url, {"set": str(shop.sets[0].pk), "place": "home"})
    assert (page.status_code, "lies in no tub." in page.content.decode()) == (422, True)


# --- wet through still, and missing ---


def test_a_set_wet_through_still_goes_back_before_it_dries_out(
    shop: SimpleNamespace, uses: dict[UUID, NextUse], client: Client
) -> None:
    """Out of the water for 10 h of its 24 h dry-out, it leaves in 30 h: back in by then, the soak it had counts."""
    (wet, *_others) = shop.sets
    soaked(shop, wet, 100)
    at = NOW - hours(10)
    move(who(shop.dag, shop.device, at), shop.branch, wet, shop.rack, now=at)
    uses[wet.pk] = use_of(leaves=30)
    page = signed(client, shop.ines).get(reverse("inventory:soak")).content.decode()
    assert "1 set goes back in water by" in page
    assert "that soak still counts" in page
    assert "Put in now, ready" not in page
    kept = client.post(reverse("inventory:soak_put"), {"sets": str(wet.pk), "tub": str(shop.tub.pk)}, follow=True)
    words = kept.content.decode()
    assert "Not dried out yet: its earlier soak still counts." in words
    assert "back in water before it dried out, not confirmed" in words
    card = client.get(reverse("inventory:toolset", args=[wet.pk])).content.decode()
    assert ("its earlier soak counts" in card, "not yet" in card) == (True, False)


def test_a_dried_out_set_is_offered_a_whole_soak(
    shop: SimpleNamespace, uses: dict[UUID, NextUse], client: Client
) -> None:
    (dry, *_others) = shop.sets
    soaked(shop, dry, 150)
    at = NOW - hours(40)
    move(who(shop.dag, shop.device, at), shop.branch, dry, shop.rack, now=at)
    uses[dry.pk] = use_of(leaves=30)
    page = signed(client, shop.ines).get(reverse("inventory:soak")).content.decode()
    assert "goes back in water" not in page
    assert "1 set is too late for water" in page


def test_a_missing_set_is_never_offered_for_water(
    shop: SimpleNamespace, uses: dict[UUID, NextUse], client: Client
) -> None:
    lost = shop.sets[0]
    report_trouble(who(shop.dag, shop.device), shop.branch, lost, "lost", now=NOW)
    uses[lost.pk] = use_of()
    page = signed(client, shop.ines).get(reverse("inventory:soak")).content.decode()
    assert str(lost.pk) not in page
    assert "Nothing must go into water now." in page


def test_a_set_asked_about_an_hour_ahead_is_not_said_to_have_dried_already(shop: SimpleNamespace) -> None:
    """Lifted out now, unconfirmed, with a dry-out of 24 h: at a start in 30 h it will have dried out."""
    wet = shop.sets[0]
    soaked(shop, wet, 100)
    move(who(shop.dag, shop.device), shop.branch, wet, shop.rack, now=NOW)
    outing = make_outing(shop.branch, leaves_at=NOW + hours(28), due_at=None)
    with pytest.raises(NotConditioned) as told:
        scan_out(who(shop.teo, shop.device), shop.branch, wet, outing, now=NOW, start_at=NOW + hours(30))
    assert told.value.why.startswith("It will have dried out when its step starts")
    assert told.value.words.line == "Dries out Thu 09:50"
    assert told.value.words.sentence == "Back in water before that, its soak still counts."


@pytest.mark.parametrize("text", ["²", "9" * 30, "٣", "-1", "1.5"])
def test_a_type_that_is_no_number_of_ours_shows_all_types(shop: SimpleNamespace, client: Client, text: str) -> None:
    assert signed(client, shop.ines).get(reverse("inventory:soak_put"), {"type": text}).status_code == 200


def test_a_temperature_of_thirty_digits_is_refused_in_words(shop: SimpleNamespace, client: Client) -> None:
    url = reverse("inventory:tub_water", args=[shop.tub.pk])
    answer = signed(client, shop.ines).post(url, {"water": "9" * 30, "act_id": str(uuid4())})
    assert (answer.status_code, "is more than anything here can be" in answer.content.decode()) == (422, True)
    assert not Entry.objects.filter(kind="water_read").exists()


def test_a_set_goes_from_one_tub_into_another_on_the_page_and_never_by_a_third_ones_address(
    shop: SimpleNamespace, client: Client
) -> None:
    soaked(shop, shop.sets[0], 10)
    words = {"set": str(shop.sets[0].pk), "place": "home", "act_id": str(uuid4())}
    wrong = signed(client, shop.teo).post(reverse("inventory:tub_take_out", args=[shop.hot.pk]), words)
    assert (wrong.status_code, "does not lie in Tub 2: Tub 1" in wrong.content.decode()) == (422, True)

    words = words | {"place": str(shop.hot.pk), "act_id": str(uuid4())}
    kept = client.post(reverse("inventory:tub_take_out", args=[shop.tub.pk]), words, follow=True)
    assert "1 set is in Tub 2." in kept.content.decode()
    state = SetState.objects.get(pk=shop.sets[0].pk)
    assert (state.place_id, state.soaking, state.open_flags) == (shop.hot.pk, True, 0)
