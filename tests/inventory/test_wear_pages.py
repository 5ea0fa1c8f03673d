"""Alarms, what to measure and advice at the doors where people meet them."""

from __future__ import annotations

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any
from unittest import mock
from uuid import UUID, uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory import hooks
from inventory.actions import alarms
from inventory.actions.ledger import NewLine, void
from inventory.actions.lives import refit, shop_settings
from inventory.actions.looked import NotOdd, look_at
from inventory.hooks import NamedTonight, NextUse, PlannedStep
from inventory.models import AlarmBasis, Entry, OddWear, SetState, ToolSet
from inventory.queries.advice import advice_on
from inventory.queries.measuring import measured_since, worth_measuring
from inventory.queries.odd_wear import odd_sets
from inventory.views.measuring import why
from inventory.wear_advice import PAIR, RUN_OUT, TONIGHT, TOO_LITTLE, WORN
from tests.cast import NOW, hours, make_cast, make_outing, make_place, make_set, make_type, who, write
from tests.inventory.test_estimate import wear_out, worked

pytestmark = pytest.mark.django_db
LATER = NOW + hours(60)


@pytest.fixture(autouse=True)
def clock() -> Iterator[None]:
    with mock.patch("django.utils.timezone.now", return_value=LATER):
        yield


@pytest.fixture
def plans(monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """What the plans say, set by the test: next uses by set, and planned steps."""
    said = SimpleNamespace(uses={}, steps=[])
    monkeypatch.setattr(hooks, "_next", [lambda ids, now: {pk: said.uses[pk] for pk in ids if pk in said.uses}])
    monkeypatch.setattr(
        hooks, "_planned", [lambda branch, now, types: [s for s in said.steps if s.tool_type_id in types]]
    )
    return said


@pytest.fixture
def shop() -> SimpleNamespace:
    """A type with six lives of about 6,000 m2 behind it, and one set here that did 4,500."""
    cast = make_cast()
    cast.rack = make_place(cast.branch, name="Rack B")
    cast.type = make_type()
    for number in range(6):
        wear_out(cast, cast.type, 5600 + 160 * number, 10 + number)
    cast.used = make_set(cast, cast.type, cast.rack, code="GL-7K2M46")
    worked(cast, cast.used, 4500, 3, 1)
    refit(now=NOW + hours(4))
    return cast


def use(area_m2: float, words: str = "Osprey Lane, Thu 19:30, step 6 of 6", **more: Any) -> NextUse:
    return NextUse(words, None, "", LATER + hours(9), LATER + hours(7), reference_m2=area_m2, factor=1.0, **more)


def read(cast: SimpleNamespace, tool_set: ToolSet, height_mm: float, at: float) -> Any:
    return write(cast, NewLine("measured", tool_set, None, {"lowest_height_mm": height_mm}), at=NOW + hours(at))


def signed(client: Client, person: Any) -> Client:
    client.force_login(person)
    return client


def states(*sets: ToolSet) -> list[SetState]:
    rows = SetState.objects.filter(pk__in=[one.pk for one in sets]).select_related("tool_set__tool_type", "place")
    return list(rows.order_by("pk"))


# --- what to measure ---


def test_a_height_is_worth_it_where_it_may_turn_the_answer_and_says_why(
    shop: SimpleNamespace, plans: SimpleNamespace, client: Client
) -> None:
    plans.uses[shop.used.pk] = use(1200.0)
    page = signed(client, shop.dag).get(reverse("inventory:set_phone", args=[shop.used.pk]))
    (asked,) = page.context["measures"]
    assert asked["why"].startswith("Its next step, Osprey Lane, Thu 19:30, step 6 of 6, needs 12,900\u00a0ft²: now ")
    assert asked["why"] in page.content.decode()
    for sure in (20.0, 9000.0):
        plans.uses[shop.used.pk] = use(sure)
        assert worth_measuring(states(shop.used), shop.branch, LATER) == {}


def test_without_a_planned_step_the_usual_use_of_the_type_stands_in(
    shop: SimpleNamespace, plans: SimpleNamespace
) -> None:
    """A type whose sets wore out by uses of 750 m2 each: after 4,500 m2 another one is in doubt."""
    small = make_type("200", ladder_place=5)
    for number in range(3):
        one = make_set(shop, small, shop.rack)
        for visit in range(8):
            worked(shop, one, 750, 5 + visit, 200 + 10 * number + visit)
        write(shop, NewLine("retired", one, None, {"retired_why": "worn"}), at=NOW + hours(20))
    other = make_set(shop, small, shop.rack)
    for visit in range(6):
        worked(shop, other, 750, 5 + visit, 300 + visit)
    refit(now=NOW + hours(30))
    (usual,) = worth_measuring(states(other), shop.branch, LATER).values()
    assert usual.use is None
    assert usual.area_m2 == pytest.approx(750)
    assert why(usual, shop.ines).startswith("No step is planned for it. A usual one of its type takes ")
    plans.uses[shop.used.pk] = use(900.0)
    (worth,) = worth_measuring(states(shop.used), shop.branch, LATER).values()
    assert worth.use is not None
    assert worth.low <= worth.chance <= worth.high


def test_it_is_not_asked_for_what_was_just_measured_nor_for_a_new_retired_or_missing_set(
    shop: SimpleNamespace, plans: SimpleNamespace
) -> None:
    plans.uses[shop.used.pk] = use(1200.0)
    assert worth_measuring(states(shop.used), shop.branch, LATER)
    done = read(shop, shop.used, 4.2, 5)
    assert worth_measuring(states(shop.used), shop.branch, LATER) == {}
    write(shop, void(done.entries[0], "keyed wrong"), at=NOW + hours(6))
    assert worth_measuring(states(shop.used), shop.branch, LATER)
    write(shop, NewLine("retired", shop.used, None, {"retired_why": "broken"}), at=NOW + hours(7))
    assert worth_measuring(states(shop.used), shop.branch, LATER) == {}
    new = make_set(shop, shop.type, shop.rack)
    plans.uses[new.pk] = use(6000.0)
    assert worth_measuring(states(new), shop.branch, LATER) == {}


def test_a_pair_that_surely_finishes_is_not_asked_about(shop: SimpleNamespace, plans: SimpleNamespace) -> None:
    new = make_set(shop, shop.type, shop.rack)
    plans.uses[shop.used.pk] = use(1200.0)
    assert worth_measuring(states(shop.used), shop.branch, LATER)
    plans.uses[shop.used.pk] = use(1200.0, companion=new.pk)
    assert worth_measuring(states(shop.used), shop.branch, LATER) == {}


def test_a_reading_counts_as_long_as_nothing_was_worked_since() -> None:
    ends = {"at": "2025-05-14", "entry": "x", "read_mm": 5.0, "restart": None}
    open_end = {"at": "", "entry": "", "read_mm": None, "restart": None}
    pieces = {**ends, "read_mm": None, "restart": {"why": "pieces", "height_mm": None}}
    for stretches, opening, start, answer in (
        ([], "new", None, True),
        ([], "unknown", None, False),
        ([], "height", 7.0, True),
        ([ends], "new", None, True),
        ([ends, open_end], "new", None, False),
        ([pieces], "new", None, False),
        ([{**pieces, "restart": {"why": "pieces", "height_mm": 9.0}}], "new", None, True),
    ):
        assert measured_since({"opening": opening, "start_mm": start, "stretches": stretches}) is answer


def test_scanning_in_asks_and_never_stands_in_the_way_of_the_next_scan(
    shop: SimpleNamespace, plans: SimpleNamespace, client: Client
) -> None:
    plans.uses[shop.used.pk] = use(1200.0)
    elsewhere = make_place(shop.branch, name="Rack C")
    url = reverse("inventory:scan_in")
    signed(client, shop.teo)

    def scan(**sent: Any) -> Any:
        return client.post(url, {"place": str(sent.pop("place", shop.rack).pk), "act_id": str(uuid4()), **sent}).context

    write(shop, NewLine("moved", shop.used, None, {"to_place": elsewhere}), at=NOW + hours(6))
    verdict = scan(code="GL-7K2M46")["verdict"]
    assert (verdict.kind, verdict.short) == ("taken", "in, worth measuring")
    assert "needs 12,900" in verdict.ask["why"]
    # A label scanned while the height's field has the focus is a scan.
    again = scan(set=str(shop.used.pk), do="height", height="GL-7K2M46")["verdict"]
    assert (again.kind, again.word) == ("taken", "There already")
    wrong = scan(set=str(shop.used.pk), do="height", height="much")["verdict"]
    assert (wrong.kind, wrong.word, wrong.ask["typed"]) == ("refused", "Not kept", "much")
    rose = scan(set=str(shop.used.pk), do="height", height="15 mm")["verdict"]
    assert rose.kind == "refused"
    kept = scan(set=str(shop.used.pk), do="height", height="4.2 mm")
    assert (kept["verdict"].word, kept["verdict"].ask) == ("Measured", None)
    assert kept["count"] == 1
    assert SetState.objects.get(pk=shop.used.pk).lowest_height_mm == pytest.approx(4.2)


def test_not_now_is_kept_until_the_set_works_again(
    shop: SimpleNamespace, plans: SimpleNamespace, client: Client
) -> None:
    plans.uses[shop.used.pk] = use(1200.0)
    page, answer = (reverse(f"inventory:{name}", args=[shop.used.pk]) for name in ("set_phone", "measure_asked"))
    signed(client, shop.dag)
    assert client.post(answer, {"do": "not_now", "back": page})["Location"] == page
    assert client.get(page).context["measures"] == []
    assert not Entry.objects.filter(kind="measured").exists()
    worked(shop, shop.used, 100, 8, 3)
    assert len(client.get(page).context["measures"]) == 1


def test_a_height_answered_on_a_page_is_kept_refused_or_doubted(
    shop: SimpleNamespace, plans: SimpleNamespace, client: Client
) -> None:
    plans.uses[shop.used.pk] = use(1200.0)
    answer = reverse("inventory:measure_asked", args=[shop.used.pk])
    signed(client, shop.dag)
    page = client.post(answer, {"do": "height", "height": "much"}, follow=True)
    assert [message.level_tag for message in page.context["messages"]] == ["error"]
    page = client.post(answer, {"do": "height", "height": "4.2 mm", "back": "https://elsewhere.example/"}, follow=True)
    assert page.redirect_chain[-1][0] == reverse("inventory:set_phone", args=[shop.used.pk])
    assert page.context["measures"] == []
    back = reverse("inventory:counts")
    doubted = client.post(answer, {"do": "height", "height": "9 mm", "back": back})
    body = doubted.content.decode()
    assert doubted.status_code == 422
    assert "which was read last. Is it right?" in body
    assert 'value="9 mm"' in body
    assert SetState.objects.get(pk=shop.used.pk).lowest_height_mm == pytest.approx(4.2)
    # The button there says that it is right, and leads back to the page that asked: the count.
    assert 'name="do" value="sure"' in body
    kept = client.post(answer, {"do": "sure", "height": "9 mm", "back": back})
    assert kept["Location"] == back
    assert Entry.objects.filter(kind="measured", lowest_height_mm=9.0).count() == 1


# --- alarms ---


@pytest.fixture
def odd(shop: SimpleNamespace) -> SimpleNamespace:
    """A set read three times in line with its work, then keyed far too low."""
    shop.odd = make_set(shop, shop.type, shop.rack, code="GL-3QDA1Z")
    for number, (area, height) in enumerate(((600, 11.0), (600, 10.0), (600, 9.0), (100, 3.0))):
        worked(shop, shop.odd, area, 10 + 2 * number, 50 + number)
        read(shop, shop.odd, height, 11 + 2 * number)
    refit(now=NOW + hours(30))
    return shop


def test_a_height_that_contradicts_its_log_is_kept_with_what_to_check(odd: SimpleNamespace) -> None:
    row = OddWear.objects.get()
    assert (row.tool_set_id, row.headline, row.direction) == (odd.odd.pk, "contradicts", "faster")
    assert row.checks == ["height", "area", "label", "floor"]
    assert row.reading == Entry.objects.filter(tool_set=odd.odd, kind="measured").latest("act__happened_at").pk
    assert AlarmBasis.objects.count() == 1


def test_an_entry_that_measures_is_judged_once_its_answer_has_gone_out(
    shop: SimpleNamespace, client: Client, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        done = read(shop, shop.used, 11.6, 6)
    assert not OddWear.objects.exists()
    client.get(reverse("inventory:sign_in"))
    assert OddWear.objects.get().direction == "slower"
    with django_capture_on_commit_callbacks(execute=True):
        write(shop, void(done.entries[0], "another set"), at=NOW + hours(7))
    assert alarms.judge_due(shop_settings(LATER), now=LATER) == 0
    assert not OddWear.objects.exists()


def test_looked_at_it_quiets_until_the_next_reading_and_a_void_undoes_it(odd: SimpleNamespace) -> None:
    done = look_at(who(odd.ines, odd.device, LATER), odd.branch, odd.odd, now=LATER)
    entry = done.entries[0]
    assert (entry.kind, entry.flag_code, entry.answer) == ("settled", "wears_oddly", "looked")
    assert odd_sets(odd.branch, LATER) == []
    with pytest.raises(NotOdd):
        look_at(who(odd.ines, odd.device, LATER), odd.branch, odd.odd, now=LATER)
    write(odd, void(entry, "not yet"), at=LATER)
    assert [row.tool_set_id for row in odd_sets(odd.branch, LATER)] == [odd.odd.pk]
    look_at(who(odd.ines, odd.device, LATER), odd.branch, odd.odd, now=LATER)
    assert odd_sets(odd.branch, LATER) == []
    # What was settled is that reading: an alarm at another one asks anew.
    OddWear.objects.update(reading=read(odd, odd.odd, 2.9, 59).entries[0].pk)
    assert [row.tool_set_id for row in odd_sets(odd.branch, LATER)] == [odd.odd.pk]


def test_who_may_not_settle_may_not_quiet_it(odd: SimpleNamespace) -> None:
    with pytest.raises(NotOdd, match="You may not settle"):
        look_at(who(odd.teo, odd.device, LATER), odd.branch, odd.odd, now=LATER)
    with pytest.raises(NotOdd, match="Nothing about this set"):
        look_at(who(odd.ines, odd.device, LATER), odd.branch, odd.used, now=LATER)


def test_the_sets_page_and_card_show_what_to_check_in_order(odd: SimpleNamespace, client: Client) -> None:
    write(
        odd,
        NewLine("scanned_out", odd.odd, None, {"outing": make_outing(odd.branch), "gate": "passed"}),
        at=NOW + hours(20),
    )
    write(odd, NewLine("scanned_in", odd.odd, None, {"to_place": odd.rack}), at=NOW + hours(21))
    signed(client, odd.ines)
    for name in ("set_phone", "toolset"):
        page = client.get(reverse(f"inventory:{name}", args=[odd.odd.pk]))
        notice = page.context["odd"]
        assert notice["words"] == "Its height is lower than what is logged of it explains."
        assert [check["label"] for check in notice["checks"]] == [
            "Measure its height",
            "Its ledger",
            "Give it a new label",
            "Where it worked",
        ]
        assert "without any work logged from: Osprey Lane" in notice["checks"][1]["detail"]
        assert "Looked at it" in page.content.decode()
    helper = signed(client, odd.teo).get(reverse("inventory:set_phone", args=[odd.odd.pk]))
    assert "Looked at it" not in helper.content.decode()


# --- advice ---


def advice_of(cast: SimpleNamespace) -> dict[UUID, Any]:
    return {one.state.pk: one for one in advice_on(cast.branch, LATER)}


def step(cast: SimpleNamespace, area_m2: float, *sets: ToolSet, days: float = 7, tonight: bool = False) -> PlannedStep:
    """A step that starts so many days from now: in a week there is time for a soak of sixty hours."""
    at, ids = LATER + hours(24 * days), tuple(one.pk for one in sets)
    return PlannedStep(cast.type.pk, "Osprey Lane, Thu 15 May", at, area_m2, 1.0, ids, "/j", at - hours(2), tonight)


def test_a_set_at_its_retire_height_is_to_retire_as_worn(
    shop: SimpleNamespace, plans: SimpleNamespace, client: Client
) -> None:
    read(shop, shop.used, 1.9, 6)
    found = advice_of(shop)[shop.used.pk]
    assert found.advice.kind == WORN
    url = reverse("inventory:set_phone", args=[shop.used.pk])
    page = signed(client, shop.ines).get(url)
    (row,) = page.context["advice"]
    assert row["head"] == "Retire it: worn"
    assert row["words"] == "Its lowest piece, 0.07\u00a0in, is at the height where its type retires, 0.08\u00a0in."
    sent = {**row["answer"]["hidden"], "act_id": str(uuid4())}
    done = client.post(row["answer"]["url"], sent, follow=True)
    state = SetState.objects.get(pk=shop.used.pk)
    assert (state.fitness, state.fitness_why) == ("retired", "worn")
    assert done.redirect_chain[-1][0] == url
    (message,) = done.context["messages"]
    client.post(message.extra_tags)
    assert SetState.objects.get(pk=shop.used.pk).fitness == "usable"


def test_a_set_that_finishes_nothing_retires_as_changed_early_so_that_no_whole_life_is_claimed(
    shop: SimpleNamespace, plans: SimpleNamespace, client: Client
) -> None:
    """Of a type rated 800 m2, a tenth of a millimetre above its retire height: 60 m2 take more than that."""
    coarse = make_set(shop, make_type("70", "metal", 1, rated_coverage_m2=800.0, soak_need="none"), shop.rack)
    worked(shop, coarse, 700, 5, 2)
    read(shop, coarse, 2.1, 6)
    found = advice_of(shop)[coarse.pk]
    assert (found.advice.kind, found.advice.planned) == (TOO_LITTLE, False)
    sent = {"do": "retire", "why": "changed_early", "act_id": str(uuid4())}
    signed(client, shop.ines).post(reverse("inventory:wear_answer", args=[coarse.pk]), sent)
    assert SetState.objects.get(pk=coarse.pk).fitness_why == "changed_early"


def test_leftovers_pair_for_a_step_or_go_first_with_a_sure_set_behind(
    shop: SimpleNamespace, plans: SimpleNamespace
) -> None:
    other, sure = (make_set(shop, shop.type, shop.rack) for _number in range(2))
    worked(shop, other, 4400, 5, 2)
    assert {one.advice.kind for one in advice_of(shop).values()} == {RUN_OUT}
    plans.steps = [step(shop, 1500.0)]
    found = advice_of(shop)
    assert (found[shop.used.pk].advice.kind, found[shop.used.pk].other.pk) == (PAIR, other.pk)
    assert found[shop.used.pk].advice.chance >= 0.9
    plans.steps = [step(shop, 3500.0, sure)]
    found = advice_of(shop)
    first = [one for one in found.values() if one.step is not None]
    assert [(one.advice.kind, one.other.pk) for one in first] == [(RUN_OUT, sure.pk)]
    plans.steps = [step(shop, 3500.0, sure, other)]
    assert all(one.step is None for one in advice_of(shop).values())


def test_a_soaked_leftover_meant_for_weeks_ahead_goes_into_water_in_time_for_that_not_today(
    shop: SimpleNamespace, plans: SimpleNamespace
) -> None:
    other = make_set(shop, shop.type, shop.rack, code="GL-3BRCBQ")
    worked(shop, other, 4400, 5, 2)
    tub = make_place(shop.branch, "tub", "Tub 1")
    for one in (shop.used, other):
        write(shop, NewLine("soak_begun", one, None, {"to_place": tub}), at=LATER - hours(90))
        write(shop, NewLine("conditioning_confirmed", one), at=LATER - hours(10))
        write(shop, NewLine("soak_ended", one, None, {"to_place": shop.rack}), at=LATER - hours(3))
    plans.steps = [step(shop, 1500.0, days=28)]
    found = advice_of(shop)[shop.used.pk]
    assert found.advice.kind == PAIR
    leaves = plans.steps[0].leaves_at
    # Wet through until tomorrow: to put it back before that would keep it in water for a month.
    assert all(hours(72) <= leaves - by < hours(72 + 4 * 24) for _state, by in found.water)


def test_two_leftovers_are_named_only_for_a_step_they_can_be_wet_through_for_and_by_when(
    shop: SimpleNamespace, plans: SimpleNamespace, client: Client
) -> None:
    other = make_set(shop, shop.type, shop.rack, code="GL-3BRCBQ")
    worked(shop, other, 4400, 5, 2)
    plans.steps = [step(shop, 1500.0, days=1)]  # sixty hours of water do not fit in
    assert all(one.step is None for one in advice_of(shop).values())
    plans.steps = [step(shop, 1500.0, days=7)]
    found = advice_of(shop)[shop.used.pk]
    leaves = plans.steps[0].leaves_at
    assert found.advice.kind == PAIR
    assert {state.pk for state, _by in found.water} == {shop.used.pk, other.pk}
    assert all(hours(72) <= leaves - by < hours(72 + 4 * 24) for _state, by in found.water)
    page = signed(client, shop.ines).get(reverse("inventory:wear"))
    (row,) = page.context["left"]
    assert row["water"].startswith("Both into water by ")
    assert row["water"] in page.content.decode().replace("&nbsp;", "\u00a0")
    shop.type.soak_need = "none"
    shop.type.save()
    plans.steps = [step(shop, 1500.0, days=1)]
    assert advice_of(shop)[shop.used.pk].water == ()


def test_a_leftover_that_is_meant_elsewhere_is_named_for_no_other_step(
    shop: SimpleNamespace, plans: SimpleNamespace
) -> None:
    other = make_set(shop, shop.type, shop.rack)
    worked(shop, other, 4400, 5, 2)
    plans.steps = [step(shop, 1500.0)]
    plans.uses = {other.pk: use(900.0)}
    found = advice_of(shop)
    assert found[shop.used.pk].step is None
    assert other.pk not in found  # nor does it wait for a step
    plans.steps = [step(shop, 1500.0, other)]
    assert advice_of(shop)[other.pk].advice.kind == PAIR  # but of its own step it is short


def test_a_sure_set_goes_behind_one_leftover_only(shop: SimpleNamespace, plans: SimpleNamespace) -> None:
    other, sure = make_set(shop, shop.type, shop.rack), make_set(shop, shop.type, shop.rack)
    worked(shop, other, 4400, 5, 2)
    plans.steps = [step(shop, 3500.0, days=7), step(shop, 3500.0, days=14)]
    behind = [one for one in advice_of(shop).values() if one.step is not None]
    assert [one.other.pk for one in behind] == [sure.pk]


def test_what_tonights_page_names_is_said_in_its_words_and_no_other(
    shop: SimpleNamespace, plans: SimpleNamespace, monkeypatch: pytest.MonkeyPatch, client: Client
) -> None:
    other, sure = make_set(shop, shop.type, shop.rack), make_set(shop, shop.type, shop.rack)
    worked(shop, other, 4400, 5, 2)
    names = {
        shop.used.pk: NamedTonight("Bellweather hangar", "/tonight/", offered=True),
        other.pk: NamedTonight("Bellweather hangar", "/tonight/"),
    }
    monkeypatch.setattr(hooks, "_tonight", [lambda branch, now: names])
    plans.steps = [step(shop, 1500.0, days=0.2, tonight=True), step(shop, 3500.0, sure, days=7)]
    found = advice_of(shop)
    assert set(found) == {shop.used.pk}
    assert found[shop.used.pk].advice.kind == TONIGHT
    (row,) = signed(client, shop.ines).get(reverse("inventory:wear")).context["left"]
    assert row["words"] == "A leftover: the page of tonight offers it for Bellweather hangar."
    assert (row["step_url"], row["step_label"]) == ("/tonight/", "Tonight")
    names.clear()
    later = [one for one in advice_of(shop).values() if one.step is not None]
    assert [one.step for one in later] == [plans.steps[1]]  # the step of tonight itself is named to nobody here


# --- the list ---


def test_the_list_says_what_wears_oddly_retires_and_is_left_over(
    odd: SimpleNamespace, plans: SimpleNamespace, client: Client
) -> None:
    low = make_set(odd, odd.type, odd.rack)
    read(odd, low, 1.5, 30)
    page = signed(client, odd.ines).get(reverse("inventory:wear"))
    assert page.context["headline"].startswith("1 set wears oddly, 1 to retire")
    assert "Its height is lower than what is logged of it explains." in page.content.decode()
    sent = {**page.context["odd"][0]["answer"]["hidden"], "act_id": str(uuid4())}
    page = client.post(page.context["odd"][0]["answer"]["url"], sent, follow=True)
    assert page.context["odd"] == []
    assert "None is left to look at." in page.content.decode()
    assert "1 set wears oddly by its newest height and was looked at: it asks again" in page.content.decode()
    assert "Every set&#x27;s height fits" not in page.content.decode()
    assert "Every set's height fits" not in page.content.decode()
    assert Entry.objects.filter(flag_code="wears_oddly").count() == 1
    again = client.post(reverse("inventory:wear_answer", args=[odd.odd.pk]), {"do": "looked"}, follow=True)
    assert [message.level_tag for message in again.context["messages"]] == ["error"]


def test_an_empty_list_says_so(client: Client) -> None:
    page = signed(client, make_cast().ines).get(reverse("inventory:wear"))
    assert page.context["headline"] == "No set wears oddly, and none is at its end"
    assert "None. Every set" in page.content.decode()


def test_the_doors_of_the_list_and_the_answers(shop: SimpleNamespace, client: Client) -> None:
    listed, answer, height = (
        reverse("inventory:wear"),
        reverse("inventory:wear_answer", args=[shop.used.pk]),
        reverse("inventory:measure_asked", args=[shop.used.pk]),
    )
    assert client.get(listed).status_code == 302
    assert client.post(answer).status_code == 302
    signed(client, shop.teo)
    assert (client.get(listed).status_code, client.post(answer).status_code) == (403, 403)
    assert client.post(height, {"do": "not_now"}).status_code == 302
    signed(client, shop.nils)
    assert client.post(height).status_code == 403
    signed(client, shop.ines)
    assert (client.post(listed).status_code, client.get(answer).status_code, client.get(height).status_code) == (
        405,
    ) * 3
    for name in ("wear_answer", "measure_asked"):
        assert client.post(reverse(f"inventory:{name}", args=[uuid4()])).status_code == 404


@pytest.mark.parametrize("more", [0, 9])
def test_the_list_asks_as_much_for_many_sets_as_for_one(
    odd: SimpleNamespace, plans: SimpleNamespace, client: Client, more: int
) -> None:
    plans.steps = [step(odd, 1500.0)]
    for number in range(more):
        one = make_set(odd, odd.type, odd.rack)
        worked(odd, one, 4400 + 10 * number, 5, 100 + number)
    read(odd, make_set(odd, odd.type, odd.rack), 1.5, 30)
    signed(client, odd.ines)
    client.get(reverse("inventory:wear"))
    with CaptureQueriesContext(connection) as queries:
        client.get(reverse("inventory:wear"))
    assert len(queries) == 16
