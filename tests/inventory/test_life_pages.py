"""Lives of a tool type, floor factors, how life left is worked out, and working it out again: doors, words, numbers."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory import estimate, hooks
from inventory.actions import lives as keeping
from inventory.actions import refitting
from inventory.actions.ledger import NewLine
from inventory.actions.lives import refit
from inventory.life_example import example_of, made_up
from inventory.models import LearntLife, Price, RefitRun, SetState, StoredLife, ToolSet, ToolType
from inventory.shop_settings import settings_of
from inventory.views import refit as refit_views
from tests.cast import NOW, TODAY, hours, make_branch, make_cast, make_place, make_set, make_supplier, make_type, write
from tests.inventory.test_estimate import wear_out, worked

pytestmark = pytest.mark.django_db
EVERYBODY, READERS, RUNNERS = {"ines", "dag", "teo", "ruta", "olga", "nils"}, {"ines", "ruta", "olga"}, {"olga"}
DOORS = [
    ("type_life", EVERYBODY, "GET"),
    ("how_life", EVERYBODY, "GET"),
    ("floor_factors", READERS, "GET"),
    ("refit", READERS, "GET"),
    ("refit_state", READERS, "GET"),
    ("refit_all", RUNNERS, "POST"),
    ("refit_type", RUNNERS, "POST"),
]


@pytest.fixture(autouse=True)
def at_once(monkeypatch: pytest.MonkeyPatch) -> Any:
    """What goes on in a thread is done on the spot: a thread would not see this test's data."""
    keeping._due.clear()

    def here(work: Callable[[], Any]) -> bool:
        work()
        return True

    monkeypatch.setattr(refit_views, "_in_background", here)
    yield
    keeping._due.clear()


@pytest.fixture
def shop() -> SimpleNamespace:
    """A resin 400: three worn-out sets, one broken, one in use that was read; labelled."""
    cast = make_cast()
    tool_type = make_type()
    for number in range(3):
        wear_out(cast, tool_type, 3500 + 300 * number, number + 1)
    broken = make_set(cast, tool_type, make_place(cast.branch))
    worked(cast, broken, 900, 1, 50)
    write(cast, NewLine("retired", broken, None, {"retired_why": "broken"}), at=NOW + hours(3))
    used = make_set(cast, tool_type, make_place(cast.branch), code="GL-7K2M46")
    worked(cast, used, 800, 1, 60)
    worked(cast, used, 700, 2, 61, hardness="soft")
    write(cast, NewLine("measured", used, None, {"lowest_height_mm": 7.6}), at=NOW + hours(4))
    refit(now=NOW + hours(5))
    return SimpleNamespace(cast=cast, type=tool_type, used=used, broken=broken)


def address(name: str, tool_type: ToolType) -> str:
    return reverse(f"inventory:{name}", args=[tool_type.pk] if name in ("type_life", "refit_type") else [])


def read(client: Client, person: Any, url: str) -> str:
    client.force_login(person)
    answer = client.get(url)
    assert answer.status_code == 200
    return words_of(answer.content.decode())


def words_of(page: str) -> str:
    page = re.sub(r"(?s)<svg.*?</svg>", " ", page)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)).replace("\xa0", " "))


# --- doors ---


@pytest.mark.parametrize(("name", "allowed", "method"), DOORS)
def test_who_may_come_in(client: Client, name: str, allowed: set[str], method: str) -> None:
    cast, tool_type = make_cast(), make_type()
    for person in EVERYBODY:
        client.force_login(getattr(cast, person))
        answer = getattr(client, method.lower())(address(name, tool_type))
        good = {200} if method == "GET" else {302}
        assert answer.status_code in (good if person in allowed else {403}), (name, person)


@pytest.mark.parametrize(("name", "allowed", "method"), DOORS)
def test_only_its_method_is_let_in(client: Client, name: str, allowed: set[str], method: str) -> None:
    cast, tool_type = make_cast(), make_type()
    client.force_login(cast.olga)
    for other in {"GET", "POST", "PUT", "DELETE"} - {method}:
        assert getattr(client, other.lower())(address(name, tool_type)).status_code == 405


@pytest.mark.parametrize(("name", "allowed", "method"), DOORS)
def test_nobody_sees_them_before_signing_in(client: Client, name: str, allowed: set[str], method: str) -> None:
    answer = getattr(client, method.lower())(address(name, make_type()))
    assert answer.status_code == 302
    assert "/sign-in/" in answer["Location"]


def test_unknown_types_and_codes_are_not_found(client: Client) -> None:
    cast = make_cast()
    client.force_login(cast.olga)
    assert client.get(reverse("inventory:type_life", args=[999])).status_code == 404
    assert client.post(reverse("inventory:refit_type", args=[999])).status_code == 404
    for text in ("GL-7K2M46", "nothing", "00000000-0000-0000-0000-000000000009", "x" * 3000):
        assert client.get(reverse("inventory:how_life"), {"set": text}).status_code == 404


@pytest.mark.parametrize("many", [1, 12])
def test_pages_ask_as_much_for_many_sets_as_for_one(client: Client, many: int) -> None:
    cast, tool_type = make_cast(), make_type()
    for number in range(many):
        wear_out(cast, tool_type, 3000 + 50 * number, number + 1)
        used = make_set(cast, tool_type, make_place(cast.branch))
        worked(cast, used, 500, 1, 100 + number, hardness="soft" if number % 2 else "hard")
        write(cast, NewLine("measured", used, None, {"lowest_height_mm": 10.0}), at=NOW + hours(2))
    refit(now=NOW + hours(9))
    client.force_login(cast.olga)
    counts = {}
    urls = {name: address(name, tool_type) for name in ("type_life", "how_life", "floor_factors", "refit")}
    urls |= {"shop": reverse("inventory:shop")}
    for name, url in urls.items():
        client.get(url)
        with CaptureQueriesContext(connection) as asked:
            assert client.get(url).status_code == 200
        counts[name] = len(asked)
    # The same for 1 and for 12 sets, session and person included.
    assert counts == {"type_life": 9, "how_life": 9, "floor_factors": 5, "refit": 7, "shop": 7}


# --- a tool type's lives ---


def test_the_page_of_a_type_says_its_life_against_its_rating_and_what_stands_behind(
    client: Client, shop: SimpleNamespace
) -> None:
    learnt = LearntLife.objects.get(pk=shop.type.pk)
    page = read(client, shop.cast.olga, address("type_life", shop.type))
    less = round((1 - learnt.new_likely_m2 / 6000) * 100)
    assert f"A new set lasts likely {estimate_words(learnt.new_likely_m2)}," in page
    assert f"The rating is hopeful: a set lasts likely {less} % less." in page
    assert "Worn-out sets behind it 3 of 5 sets on record" in page
    assert "Heights behind it 1 read on 1 set" in page
    assert page.count("worn out") >= 3
    assert "ended otherwise" in page
    assert "GL-7K2M46" in page


def estimate_words(area_m2: float) -> str:
    from inventory.units import show_about

    return show_about(area_m2, "us").replace("\xa0", " ")


def test_the_picture_has_a_square_for_each_worn_out_set_a_ring_for_the_others_and_the_rating(
    client: Client, shop: SimpleNamespace
) -> None:
    client.force_login(shop.cast.ines)
    page = client.get(address("type_life", shop.type)).content.decode()
    svg = page[page.index('<svg class="chart') :].split("</svg>")[0]
    assert svg.count("h12v12h-12z") == 3
    assert svg.count("<circle") == 1
    assert svg.count('fill="url(#h') == 1
    assert svg.count('class="rated"') == 1


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"rated_coverage_m2": None}, "Nothing can be said of its life yet"),
        ({"rated_coverage_m2": 6000.0}, "Its life is worked out with its first set."),
    ],
)
def test_a_type_without_sets_or_without_a_rating_says_so(client: Client, facts: dict[str, Any], said: str) -> None:
    cast = make_cast()
    page = read(client, cast.olga, address("type_life", make_type(**facts)))
    assert said in page
    assert "Each set against the rating" not in page


def test_a_type_with_no_worn_out_set_says_that_it_goes_by_the_rating(client: Client) -> None:
    cast = make_cast()
    make_set(cast, make_type(), make_place(cast.branch))
    page = read(client, cast.dag, address("type_life", make_type()))
    assert "No set of this type has worn out or been measured here" in page
    assert "Worn-out sets behind it 0 of" in page


def test_a_type_without_a_rating_beside_a_rated_one_of_its_bond_says_what_stands_in(client: Client) -> None:
    cast = make_cast()
    make_set(cast, make_type(), make_place(cast.branch))
    bare = make_type("800", ladder_place=7, rated_coverage_m2=None)
    make_set(cast, bare, make_place(cast.branch))
    refit(now=NOW)
    page = read(client, cast.olga, address("type_life", bare))
    assert "It has no rating: the mean of its bond stands in" in page
    assert "64,600 ft² stands in, from its bond" in page


def test_a_rating_in_another_unit_is_doubted_aloud(client: Client) -> None:
    cast = make_cast()
    tool_type = make_type(rated_coverage_m2=60000.0)
    for number in range(6):
        wear_out(cast, tool_type, 5000 + 100 * number, number + 1)
    refit(now=NOW)
    page = read(client, cast.olga, address("type_life", tool_type))
    assert "The rating looks like another unit: check it." in page
    assert "Check the rating" in page
    assert "Check the rating" not in read(client, cast.dag, address("type_life", tool_type))


def test_sets_of_another_branch_count_and_are_not_shown(client: Client, shop: SimpleNamespace) -> None:
    other = make_cast_elsewhere()
    theirs = make_set(other, shop.type, make_place(other.branch), code="GL-9B0KTP")
    refit(now=NOW + hours(6))
    page = read(client, shop.cast.olga, address("type_life", shop.type))
    assert "GL-9B0KTP" not in page
    assert "1 set of another branch counts as well." in page
    client.force_login(shop.cast.olga)
    assert client.get(reverse("inventory:how_life"), {"set": str(theirs.pk)}).status_code == 404


def make_cast_elsewhere() -> SimpleNamespace:
    from inventory.models import Device
    from inventory.rights import Bundle
    from tests.cast import make_person

    branch = make_branch("Kiln Street shop")
    person = make_person(branch, "bo", "Bo N.", Bundle.OWNER)
    device = Device.objects.create(name="desk", branch=branch, first_seen_at=NOW)
    return SimpleNamespace(branch=branch, ines=person, device=device)


def test_money_is_nowhere_on_these_pages(client: Client, shop: SimpleNamespace) -> None:
    Price.objects.create(
        tool_type=shop.type, supplier=make_supplier(), price=431, currency="USD", valid_from=TODAY, recorded_at=NOW
    )
    for name in ("type_life", "how_life", "floor_factors", "refit"):
        page = read(client, shop.cast.olga, address(name, shop.type))
        assert "$" not in page
        assert "431" not in page


# --- floor factors ---


def test_floor_factors_show_the_shops_own_the_learnt_and_how_much_record_stands_behind(
    client: Client, shop: SimpleNamespace
) -> None:
    from inventory.models import LearntFloors
    from inventory.shop_settings import floor_factor

    settings = settings_of(shop.cast.branch, today=TODAY)
    used = floor_factor(settings, "soft", "ground", "wet", "later")
    share = LearntFloors.objects.get().record["soft|any|wet|later"]
    page = read(client, shop.cast.olga, address("floor_factors", shop.type))
    row = page[page.index("soft, wet") :][:200]
    assert row.startswith(f"soft, wet 1.3 {round(used, 2):g} ")
    moved = round(100 * abs(used / 1.3 - 1))
    beside = "the same" if not moved else f"{moved} % {'more' if used > 1.3 else 'less'}"
    assert f" {beside} {int(share * 100) // 10 * 10} % 7,530 ft² 1 " in row
    assert "medium, wet 1 1 – – – " in page
    assert page.count("show by their heights and ends") == 1  # said once for all
    assert "On 22 other kinds of floor nobody has worked yet" in page


def test_an_empty_shop_has_floor_factors_of_its_own(client: Client) -> None:
    cast = make_cast()
    page = read(client, cast.olga, address("floor_factors", make_type()))
    assert "Floor factors are the shop's own word so far" in page
    assert (
        reverse("inventory:setting", args=["factor_soft"])
        in client.get(address("floor_factors", make_type())).content.decode()
    )
    client.force_login(cast.ines)
    assert (
        reverse("inventory:setting", args=["factor_soft"])
        not in client.get(address("floor_factors", make_type())).content.decode()
    )


# --- how it is worked out ---


def test_the_worked_example_takes_a_set_of_the_shop_and_ends_at_its_life_left(
    client: Client, shop: SimpleNamespace
) -> None:
    life = StoredLife.objects.get(pk=shop.used.pk)
    page = read(client, shop.cast.dag, address("how_life", shop.type))
    assert "resin 400, GL-7K2M46" in page
    low, likely, high = (estimate_words(one) for one in (life.at_least_m2, life.likely_m2, life.up_to_m2))
    assert f"At least {low}, likely {likely}, up to {high} of reference area." in page
    assert f"Together {estimate_words(life.used_m2)} of reference area." in page
    assert "Its lowest piece was read once: 0.3 in." in page
    assert "3 sets of the type wore out" in page
    chosen = read(client, shop.cast.dag, address("how_life", shop.type) + "?set=GL-7K2M46")
    assert "GL-7K2M46" in chosen


def test_its_numbers_follow_from_one_another(shop: SimpleNamespace) -> None:
    state = SetState.objects.select_related("tool_set__tool_type").get(pk=shop.used.pk)
    settings = settings_of(shop.cast.branch, today=TODAY)
    example = example_of(state, settings)
    assert example is not None
    assert sum(one.worked_m2 for one in example.floors) == pytest.approx(1500)
    assert sum(one.reference_m2 for one in example.floors) == pytest.approx(example.used_m2)
    stored = StoredLife.objects.get(pk=shop.used.pk)
    assert example.left_m2 == pytest.approx((stored.at_least_m2, stored.likely_m2, stored.up_to_m2))
    low, likely, high = example.own_m2
    assert low < likely < high
    # Height left at its own pace is about what is left.
    assert example.left_m2[1] == pytest.approx((example.today_mm[1] - 2) / 10 * likely, rel=0.1)
    found = estimate.records(settings, types=[shop.type])
    asked = example.left_m2[1] * 0.6
    kept = estimate.chances_to_finish(found, {shop.used.pk: asked})[shop.used.pk]
    assert example.step_of(asked).chance == pytest.approx(kept, abs=0.02)


def test_a_shop_without_sets_is_shown_one_that_is_made_up(client: Client) -> None:
    cast = make_cast()
    page = read(client, cast.nils, address("how_life", make_type()))
    assert "these numbers are made up" in page
    example = made_up(settings_of(cast.branch, today=TODAY))
    low, likely, high = (estimate_words(one) for one in example.left_m2)
    assert f"At least {low}, likely {likely}, up to {high} of reference area." in page
    assert example.worn_out == 3
    assert 3000 < example.own_m2[1] < 7000


def test_a_retired_set_is_no_example_and_another_stands_in(client: Client, shop: SimpleNamespace) -> None:
    page = read(client, shop.cast.olga, address("how_life", shop.type) + f"?set={shop.broken.pk}")
    assert "That set is retired" in page
    assert "GL-7K2M46" in page


def test_the_next_use_is_the_step_that_is_asked(
    client: Client, shop: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    use = hooks.NextUse(
        words="Osprey Lane, tonight 19:30",
        outing=None,
        outing_name="",
        starts_at=NOW,
        leaves_at=NOW,
        reference_m2=500.0,
    )
    monkeypatch.setattr(hooks, "_next", [lambda ids, now: dict.fromkeys(ids, use)])
    page = read(client, shop.cast.dag, address("how_life", shop.type))
    assert "Its next use, Osprey Lane, tonight 19:30, asks 5,380 ft² of reference area of it." in page
    assert "over 95 % sure" in page


# --- the card ---


def test_the_card_says_the_height_read_with_its_day_and_what_is_likely_today(
    client: Client, shop: SimpleNamespace
) -> None:
    url = reverse("inventory:toolset", args=[shop.used.pk])
    page = read(client, shop.cast.dag, url)
    assert "Lowest piece 0.3 in, read Wed 14 May" in page
    # Nothing was worked since: the reading is what is known of today.
    assert "Likely" not in page[page.index("Lowest piece 0.3 in") :][:60]
    assert "From 1 reading and 3 worn-out sets of this type." in page
    worked(shop.cast, shop.used, 900, 20, 99)
    page = read(client, shop.cast.dag, url)
    assert re.search(r"Lowest piece 0\.3 in, read Wed 14 May( 2025)? Likely 0\.[12]\d? in today, 0\.", page)
    assert reverse("inventory:type_life", args=[shop.type.pk]) in client.get(url).content.decode()


def test_without_readings_the_card_says_whose_word_it_goes_by(client: Client, shop: SimpleNamespace) -> None:
    fresh = make_set(shop.cast, shop.type, make_place(shop.cast.branch))
    page = read(client, shop.cast.dag, reverse("inventory:toolset", args=[fresh.pk]))
    assert "From the supplier's word and 3 worn-out sets of this type." in page


def test_a_retired_set_keeps_its_curve(client: Client, shop: SimpleNamespace) -> None:
    client.force_login(shop.cast.dag)
    page = client.get(reverse("inventory:toolset", args=[shop.broken.pk])).content.decode()
    assert 'aria-label="Retired after ' in page


# --- working it out again ---


def test_working_a_type_out_again_learns_it_and_says_so(client: Client, shop: SimpleNamespace) -> None:
    before = LearntLife.objects.get(pk=shop.type.pk).number
    client.force_login(shop.cast.olga)
    answer = client.post(address("refit_type", shop.type), follow=True)
    assert "Worked out anew." in words_of(answer.content.decode())
    assert LearntLife.objects.get(pk=shop.type.pk).number == before + 1
    run = RefitRun.objects.get()
    assert (run.whole, run.types, run.failure, run.asked_by) == (False, 1, "", shop.cast.olga)
    assert run.ended_at is not None


def test_everything_is_worked_out_again_and_the_shop_page_says_when(client: Client, shop: SimpleNamespace) -> None:
    client.force_login(shop.cast.olga)
    answer = client.post(address("refit_all", shop.type), follow=True)
    page = words_of(answer.content.decode())
    assert "Every tool type is worked out" in page
    assert "by Olga M.; 1 tool type and 5 sets in" in page
    assert "Everything was worked out last: " in words_of(client.get(reverse("inventory:shop")).content.decode())


def test_a_changed_rating_is_due(client: Client, shop: SimpleNamespace) -> None:
    ToolType.objects.filter(pk=shop.type.pk).update(rated_coverage_m2=4000.0)
    page = read(client, shop.cast.ines, address("refit", shop.type))
    assert "1 tool type is due" in page
    assert "Due resin 400" in page


def test_while_a_run_goes_on_another_is_refused_and_the_page_shows_how_far_it_is(
    client: Client, shop: SimpleNamespace
) -> None:
    now = timezone.now()
    run = refitting.begin_run(asked_by=shop.cast.olga, whole=True, now=now - timedelta(seconds=20))
    RefitRun.objects.update(what="types", done=2, of=8, seen_at=now)
    client.force_login(shop.cast.olga)
    answer = client.post(address("refit_all", shop.type), follow=True)
    page = words_of(answer.content.decode())
    assert "It is being worked out already." in page
    assert "Tool type 2 of 8" in page
    assert "about 60 s left" in page
    assert "You may leave this page" in page
    assert "Work everything out again" not in page
    state = client.get(address("refit_state", shop.type))
    assert "HX-Refresh" not in state
    refitting.work_off(run, clock=timezone.now)
    assert client.get(address("refit_state", shop.type))["HX-Refresh"] == "true"


def test_a_run_that_died_with_its_process_is_said_and_another_may_begin(client: Client, shop: SimpleNamespace) -> None:
    long_ago = timezone.now() - timedelta(hours=2)
    refitting.begin_run(asked_by=None, whole=True, now=long_ago)
    RefitRun.objects.update(what="types", done=2, of=8)
    assert "stopped on its way, after 2 of 8" in read(client, shop.cast.olga, address("refit", shop.type))
    assert refitting.begin_run(asked_by=None, whole=True, now=timezone.now()).begun_at > long_ago


def test_a_run_that_fails_keeps_what_was_learnt_and_says_so(
    client: Client, shop: SimpleNamespace, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    before = list(LearntLife.objects.values())

    def broken(**_more: Any) -> None:
        raise ValueError("no numbers today")

    monkeypatch.setattr(refitting, "refit", broken)
    client.force_login(shop.cast.olga)
    page = words_of(client.post(address("refit_all", shop.type), follow=True).content.decode())
    assert "It could not be worked out. What was learnt before holds." in page
    assert "ValueError: no numbers today" in page
    assert list(LearntLife.objects.values()) == before
    with pytest.raises(CommandError, match="what was learnt before holds"):
        call_command("refit")
    assert "no numbers today" in caplog.text


def test_the_command_leaves_it_to_a_run_that_goes_on(capsys: pytest.CaptureFixture[str]) -> None:
    make_cast()
    refitting.begin_run(asked_by=None, whole=True, now=timezone.now())
    call_command("refit")
    assert capsys.readouterr().out == "Another run is at it; left to that one.\n"


def test_work_in_the_background_has_a_second_to_be_done(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    from threading import Event

    held = Event()
    monkeypatch.setattr(refit_views, "WAITED_SECONDS", 0.05)
    try:
        assert refit_views._in_background(held.wait) is False
    finally:
        held.set()
    assert refit_views._in_background(lambda: None) is True


# --- odd records ---


def odd(cast: SimpleNamespace, kind: str) -> ToolSet:
    """A set whose record is not as one would wish."""
    facts: dict[str, Any] = {
        "heights": {"new_height_mm": None, "retire_height_mm": None},
        "top": {"new_height_mm": None},
    }
    tool_type = make_type(**facts.get(kind, {}))
    if kind == "half":
        found = ToolSet.objects.create(tool_type=tool_type, made_at=NOW)
        said = {"opening_kind": "half", "branch": cast.branch, "lowest_height_mm": 7.0}
        write(cast, NewLine("opening", found, None, said))
        return found
    found = make_set(cast, tool_type, make_place(cast.branch), code="GL-7K2M46")
    heights = {"many": [12 - number / 100 for number in range(700)], "rising": [6.0, 9.0, 11.0], "above": [12.6]}
    for number, height in enumerate(heights.get(kind, [])):
        write(cast, NewLine("measured", found, None, {"lowest_height_mm": height}), at=NOW + hours(number * 9 + 1))
        if number > 20:
            break
    if kind == "far":
        worked(cast, found, 900_000, 1, 1)
    if kind == "dressed":
        worked(cast, found, 900, 1, 1)
        dressing = {"dress_medium": "block", "minutes": 9, "before_height_mm": 10.0, "lowest_height_mm": 9.5}
        write(cast, NewLine("dressed", found, None, dressing), at=NOW + hours(2))
    if kind == "pieces":
        worked(cast, found, 4000, 1, 1)
        write(cast, NewLine("pieces_changed", found, None, {"pieces": 3}), at=NOW + hours(2))
    if kind in ("heights", "top"):
        worked(cast, found, 900, 1, 1)
        write(cast, NewLine("measured", found, None, {"lowest_height_mm": 6.0}), at=NOW + hours(3))
    return found


KINDS = ["plain", "heights", "top", "half", "many", "rising", "above", "far", "dressed", "pieces"]


@pytest.mark.parametrize("kind", KINDS)
def test_pages_stand_whatever_the_record_says(client: Client, kind: str) -> None:
    cast = make_cast()
    found = odd(cast, kind)
    client.force_login(cast.olga)
    urls = [
        reverse("inventory:toolset", args=[found.pk]),
        reverse("inventory:how_life") + f"?set={found.pk}",
        reverse("inventory:type_life", args=[found.tool_type_id]),
    ]
    for url in urls:
        answer = client.get(url)
        assert answer.status_code == 200
        page = answer.content.decode()
        assert not re.search(r"\bnan\b|\binf\b", page), url
    drawn = kind not in ("heights", "top")
    assert ('aria-label="Lowest piece likely ' in client.get(urls[0]).content.decode()) is drawn


def test_of_very_many_readings_the_newest_are_drawn_and_all_are_counted(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    from inventory import life_record

    monkeypatch.setattr(life_record, "MOST_DRAWN", 5)
    cast = make_cast()
    found = odd(cast, "many")
    client.force_login(cast.olga)
    page = client.get(reverse("inventory:toolset", args=[found.pk])).content.decode()
    assert page.count('<circle class="point"') == 2 * 5
    assert "From 22 readings; no set of this type has worn out here yet." in page
