"""Sets for jobs at the door: who comes in, what is said, one press keeps all, by hand with what follows."""

from __future__ import annotations

import re
from types import SimpleNamespace
from typing import Any
from uuid import UUID

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.models import Reservation
from jobs.plan_draft import ShiftDraft, StepDraft, ZoneDraft
from jobs.reserving import propose
from tests.cast import NOW, hours, make_cast, make_set, make_type, uuid
from tests.jobs.plans import make_hall, make_planned
from tests.jobs.test_keep_sets import LATER, SOON, load_of, second_job, sets
from tests.jobs.test_keep_sets import shop as shop

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clock_at_now")]
KEY = uuid(5)
READ = [reverse("jobs:sets_for_jobs"), reverse("jobs:sets_of_step", args=[KEY])]
WRITE = [
    reverse("jobs:sets_keep"),
    reverse("jobs:sets_undo"),
    reverse("jobs:sets_take", args=[KEY]),
    reverse("jobs:sets_free", args=[KEY]),
]


def signed_in(person: Any) -> Client:
    client = Client()
    client.force_login(person)
    return client


def page_of(client: Client, url: str = READ[0]) -> str:
    return client.get(url).content.decode()


def press(client: Client, url: str, **more: Any) -> str:
    """Post, and what the page then says."""
    return client.post(url, more, follow=True).content.decode()


def seen_on(body: str) -> str:
    found = re.search(r'name="seen" value="(\w+)"', body)
    assert found is not None
    return found[1]


@pytest.mark.parametrize("url", READ + WRITE)
def test_whoever_is_not_signed_in_is_asked_to(client: Client, url: str) -> None:
    make_cast()
    answer = client.get(url)
    assert answer.status_code == 302
    assert reverse("inventory:sign_in") in answer["Location"]


@pytest.mark.parametrize("url", READ + WRITE)
def test_only_who_plans_comes_in(url: str) -> None:
    cast = make_cast()
    for name in ("dag", "teo", "ruta", "nils"):
        client = signed_in(getattr(cast, name))
        assert (client.get(url) if url in READ else client.post(url)).status_code == 403


def test_reading_is_got_and_writing_is_posted() -> None:
    client = signed_in(make_cast().ines)
    assert [client.post(url).status_code for url in READ] == [405, 405]
    assert [client.get(url).status_code for url in WRITE] == [405, 405, 405, 405]


@pytest.mark.parametrize("url", [READ[1], WRITE[3]])
def test_a_step_that_no_plan_has_is_not_found(shop: SimpleNamespace, url: str) -> None:
    client = signed_in(shop.ines)
    assert (client.get(url) if url in READ else client.post(url)).status_code == 404


def test_an_empty_shop_is_told_what_comes_first() -> None:
    body = page_of(signed_in(make_cast().ines))
    assert "No planned step wants a set" in body
    assert "in the next 8 weeks" in body
    assert "Keep all of it" not in body


def test_who_plans_finds_it_from_shop_day_and_more(shop: SimpleNamespace) -> None:
    client = signed_in(shop.ines)
    assert f'href="{READ[0]}"' in page_of(client, reverse("jobs:shop_day") + "?show=tonight")
    assert f'href="{READ[0]}"' in page_of(client, reverse("inventory:rack"))
    assert READ[0] not in page_of(signed_in(shop.dag), reverse("inventory:rack"))


def test_every_step_stands_with_its_set_its_reason_and_how_sure(shop: SimpleNamespace) -> None:
    two = make_set(shop, shop.two, shop.rack, at=NOW - hours(99), code="GL-200000")
    four = make_set(shop, shop.four, shop.rack, at=NOW - hours(99), code="GL-400000")
    body = page_of(signed_in(shop.ines))
    assert "Every step has its set once this is kept" in body
    assert "If kept: 2 steps get a set." in body
    for one, code in ((two, "GL-200000"), (four, "GL-400000")):
        assert reverse("inventory:set_phone", args=[one.pk]) in body
        assert code in body
    assert body.count("A fresh one: no used set that surely finishes is free.") == 2
    assert "over 95" in body
    assert "Osprey Lane" in body


def test_one_press_keeps_all_and_undo_takes_it_back(shop: SimpleNamespace) -> None:
    sets(shop)
    client = signed_in(shop.ines)
    body = press(client, WRITE[0], seen=seen_on(page_of(client)))
    assert "2 choices are kept." in body
    assert "Every step has its set<" in body
    assert "Keep all of it" not in body
    at = re.search(r'name="at" value="([^"]+)"', body)
    assert at is not None
    assert "Taken back: sets are meant as before." in press(client, WRITE[1], at=at[1])
    assert not Reservation.objects.filter(ended_at__isnull=True).exists()
    assert "Keep all of it" in page_of(client)


def test_an_old_page_is_refused_in_words(shop: SimpleNamespace) -> None:
    sets(shop)
    client = signed_in(shop.ines)
    seen = seen_on(page_of(client))
    second_job(shop)
    body = press(client, WRITE[0], seen=seen)
    assert "Plans, sets or reservations have changed since this was shown." in body
    assert "Nothing was kept." in body
    assert not Reservation.objects.exists()
    assert "have changed since" in press(client, WRITE[0])


def test_an_undo_of_nothing_or_of_no_time_changes_nothing(shop: SimpleNamespace) -> None:
    client = signed_in(shop.ines)
    assert "Something was changed since" in press(client, WRITE[1], at=NOW.isoformat())
    for odd in ("", "yesterday", "2025-05-14T10:00", "9" * 5000):
        assert client.post(WRITE[1], {"at": odd}).status_code == 302


def test_what_follows_is_shown_before_it_is_kept(shop: SimpleNamespace) -> None:
    sets(shop, 2)
    second_job(shop, SOON)
    client = signed_in(shop.ines)
    press(client, WRITE[0], seen=seen_on(page_of(client)))
    proposal = propose(shop.branch, now=NOW)
    mine, theirs = (load_of(proposal, job, "400") for job in ("Osprey Lane", "Fennick store"))
    (wanted,) = proposal.present(theirs)
    url = reverse("jobs:sets_of_step", args=[mine])
    assert "Goes with Fennick store, " in page_of(client, url)
    body = page_of(client, f"{url}?take={wanted}")
    assert "It takes it from Fennick store, " in body
    assert " instead.</p>" in body
    assert not Reservation.objects.filter(locked=True).exists()
    take = reverse("jobs:sets_take", args=[mine])
    assert "Kept: your own choice stays" in press(client, take, set=wanted, seen=seen_on(body))
    (row,) = Reservation.objects.filter(locked=True, ended_at__isnull=True)
    assert row.tool_set_id == wanted
    assert "Let the plan choose" in page_of(client, url)
    body = press(client, reverse("jobs:sets_free", args=[mine]))
    assert "The plan chooses for it again." in body
    assert not Reservation.objects.filter(locked=True).exists()


def test_a_hand_made_set_is_refused_in_words(shop: SimpleNamespace) -> None:
    sets(shop)
    client, key = signed_in(shop.ines), load_of(propose(shop.branch, now=NOW), "Osprey Lane", "400")
    other = make_set(shop, shop.two, shop.rack)
    url, take = (reverse(f"jobs:{name}", args=[key]) for name in ("sets_of_step", "sets_take"))
    for odd in (other.pk, uuid(99)):
        assert "no usable one of the step" in page_of(client, f"{url}?take={odd}")
        assert "no usable one of the step" in press(client, take, set=odd)
    assert client.get(f"{url}?take=none").status_code == 200
    assert client.post(take, {"set": "none"}).status_code == 302
    assert not Reservation.objects.exists()


def test_where_none_is_free_it_says_what_then(shop: SimpleNamespace) -> None:
    body = page_of(signed_in(shop.ines))
    assert "2 steps have no set that surely finishes" in body
    assert f"{reverse('jobs:reorder')}?type={shop.four.pk}#why" in body
    assert "See what to order" in body


def test_another_shop_sees_and_changes_nothing(shop: SimpleNamespace) -> None:
    from tests.cast import make_branch, make_person

    sets(shop)
    branch = make_branch("Quarry shop")
    other = signed_in(make_person(branch, "zoe", "Zoe Q.", "shop_manager"))
    assert "Osprey Lane" not in page_of(other)
    key = load_of(propose(shop.branch, now=NOW), "Osprey Lane", "400")
    assert other.get(reverse("jobs:sets_of_step", args=[key])).status_code == 404
    assert other.post(reverse("jobs:sets_free", args=[key])).status_code == 404


def test_many_jobs_and_sets_cost_no_more_queries_than_one(shop: SimpleNamespace) -> None:
    sets(shop)
    client = signed_in(shop.ines)
    press(client, WRITE[0], seen=seen_on(page_of(client)))

    def cost(url: str) -> int:
        with CaptureQueriesContext(connection) as caught:
            assert client.get(url).status_code == 200
        return len(caught)

    key: UUID = load_of(propose(shop.branch, now=NOW), "Osprey Lane", "400")
    urls = [READ[0], reverse("jobs:sets_of_step", args=[key])]
    few = [cost(url) for url in urls]
    sets(shop, 3)
    for number in range(3):
        near = LATER + hours(24 * number)
        make_planned(shop, f"Job {number}", site_name=f"Site {number}", first=near, starts_on=near.date())
    press(client, WRITE[0], seen=seen_on(page_of(client)))
    assert [cost(url) for url in urls] == few


def test_what_cannot_be_planned_is_named(shop: SimpleNamespace) -> None:
    facts: dict[str, Any] = {"soak_need": "none", "rated_coverage_m2": None}
    unrated = make_type("3000", bond="hybrid", ladder_place=10, name="Hybrid 3000", **facts)
    hall = make_hall(shop, "Quay house")
    shift = ShiftDraft(LATER, LATER + hours(8), shop.dag, (), uuid(81))
    steps = (StepDraft(hall.pk, unrated, 5, shift_key=shift.key, key=uuid(91)),)
    zones = (ZoneDraft(hall),)
    make_planned(shop, "Quay", site_name="Quay house", zones=zones, steps=steps, shifts=(shift,))
    loose = (StepDraft(hall.pk, shop.four, 5, key=uuid(92)),)
    make_planned(
        shop, "No night yet", site_name="Quay house", zones=zones, steps=loose, shifts=(), starts_on=LATER.date()
    )
    body = page_of(signed_in(shop.ines))
    assert "Nothing can be said of the life of Hybrid 3000: give the type a rated coverage." in body
    assert "Without a shift no set can be meant: No night yet." in body
