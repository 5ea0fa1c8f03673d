"""When sets went into water and came out: said afterwards on the pages, and corrected on the ledger card."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.corrections import NotYourEntry, VoidRefused
from inventory.actions.entry_corrections import correct_soak_time
from inventory.actions.fitting import DoesNotFit
from inventory.actions.ledger import NewLine
from inventory.actions.soak import confirm, put_in, take_out
from inventory.models import Entry, SetState
from inventory.queries.soak import conditioning_of
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, who, write

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clock_at_now")]
TODAY, YESTERDAY = "2025-05-14", "2025-05-13"


@pytest.fixture
def shop() -> SimpleNamespace:
    cast = make_cast()
    cast.rack = make_place(cast.branch, name="Rack A")
    cast.tub = make_place(cast.branch, "tub", "Tub 1", room_sets=4)
    cast.set = make_set(cast, make_type(), cast.rack, at=NOW - hours(200), code="GL-7K2M46")
    return cast


def put(client: Client, shop: SimpleNamespace, **more: str) -> Any:
    data = {"set": str(shop.set.pk), "tub": str(shop.tub.pk), "act_id": str(uuid4()), **more}
    return client.post(reverse("inventory:soak_put"), data)


def soaked(shop: SimpleNamespace, ago: float, by: Any = None) -> Entry:
    at = NOW - hours(ago)
    done = put_in(who(by or shop.ines, shop.device, at), shop.branch, [shop.set], shop.tub, now=at)
    return done.entries[0]


def correct_url(shop: SimpleNamespace, entry: Entry) -> str:
    return reverse("inventory:entry_correct", args=[shop.set.pk, entry.pk])


# --- put in and taken out, said afterwards ---


def test_a_set_put_in_last_evening_is_logged_this_morning(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.dag)
    assert put(client, shop, at="17:00", day=YESTERDAY).status_code == 302
    entry = Entry.objects.get(kind="soak_begun")
    # 17:00 in Chicago on 13 May, summer time, is 22:00 UTC; it was written now.
    assert entry.act.happened_at == datetime(2025, 5, 13, 22, 0, tzinfo=UTC)
    assert (entry.act.recorded_at, entry.act.done_by) == (NOW, shop.dag)
    water = conditioning_of([shop.set.pk], shop.branch, at=NOW)[shop.set.pk]
    assert water.expected_ready_at == entry.act.happened_at + timedelta(hours=72)


def test_without_a_time_it_is_now(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.dag)
    assert put(client, shop).status_code == 302
    assert Entry.objects.get(kind="soak_begun").act.happened_at == NOW


@pytest.mark.parametrize(
    ("when", "words"),
    [
        ({"at": "10:30", "day": TODAY}, "That time has not come yet."),
        ({"at": "soon", "day": TODAY}, "Write a time, such as 16:50."),
        ({"at": "", "day": YESTERDAY}, "That day needs a time."),
        ({"at": "09:00", "day": "2024-01-01"}, "That is not one of the choices."),
    ],
)
def test_a_time_that_cannot_be_is_refused_beside_its_field(
    shop: SimpleNamespace, client: Client, when: dict[str, str], words: str
) -> None:
    client.force_login(shop.dag)
    answer = put(client, shop, **when)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert words in page
    # What was chosen stays chosen.
    assert f'value="{shop.set.pk}" checked' in page
    assert Entry.objects.filter(kind="soak_begun").count() == 0


def test_a_set_seen_elsewhere_since_then_is_not_put_in_before_it(shop: SimpleNamespace, client: Client) -> None:
    attic = make_place(shop.branch, name="Rack C")
    write(shop, NewLine("moved", shop.set, None, {"to_place": attic}), at=NOW - hours(2))
    client.force_login(shop.dag)
    answer = put(client, shop, at="06:00", day=TODAY)
    assert answer.status_code == 422
    assert "GL-7K2M46 was seen elsewhere after 06:00." in answer.content.decode()
    assert (Entry.objects.filter(kind="soak_begun").count(), SetState.objects.get().place_id) == (0, attic.pk)


def test_a_time_before_the_set_was_received_is_refused_with_what_does_not_fit(
    shop: SimpleNamespace, client: Client
) -> None:
    new = make_set(shop, make_type(), shop.rack, at=NOW - hours(1), code="GL-QPB529")
    client.force_login(shop.dag)
    answer = put(client, shop, set=str(new.pk), at="06:00", day=TODAY)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "that does not fit its ledger. Something was entered for a time before the set was received" in page
    assert SetState.objects.get(pk=new.pk).open_flags == 0


def test_a_set_taken_out_earlier_is_logged_with_its_time(shop: SimpleNamespace, client: Client) -> None:
    soaked(shop, 80)
    client.force_login(shop.dag)
    url = reverse("inventory:tub_take_out", args=[shop.tub.pk])
    data = {"set": str(shop.set.pk), "place": "home", "at": "07:15", "day": TODAY, "act_id": str(uuid4())}
    assert client.post(url, data).status_code == 302
    assert Entry.objects.get(kind="soak_ended").act.happened_at == NOW - timedelta(hours=2, minutes=35)
    assert SetState.objects.get().soaking is False


def test_a_set_is_not_taken_out_before_it_was_put_in(shop: SimpleNamespace, client: Client) -> None:
    soaked(shop, 2)
    client.force_login(shop.dag)
    url = reverse("inventory:tub_take_out", args=[shop.tub.pk])
    data = {"set": str(shop.set.pk), "place": "home", "at": "06:00", "day": TODAY}
    answer = client.post(url, data)
    assert answer.status_code == 422
    assert "that does not fit its ledger" in answer.content.decode()
    assert (Entry.objects.filter(kind="soak_ended").count(), SetState.objects.get().soaking) == (0, True)


# --- corrected on the card ---


def test_the_card_corrects_when_a_soak_began(shop: SimpleNamespace, client: Client) -> None:
    entry = soaked(shop, 10, by=shop.dag)
    client.force_login(shop.dag)
    page = client.get(reverse("inventory:toolset", args=[shop.set.pk])).content.decode()
    assert correct_url(shop, entry) in page
    asked = client.get(correct_url(shop, entry)).content.decode()
    assert ('value="2025-05-13"' in asked, 'value="23:50"' in asked) == (True, True)

    answer = client.post(correct_url(shop, entry), {"day": YESTERDAY, "at": "19:50", "why": "logged late"})

    assert answer.status_code == 302
    new = Entry.objects.get(replaces=entry.pk)
    assert (new.kind, new.to_place_id, new.act.happened_at) == ("soak_begun", shop.tub.pk, NOW - hours(14))
    assert Entry.objects.get(kind="voided").void_target == entry.pk
    spell = SetState.objects.get().facts["spells"]
    assert [(tub, datetime.fromisoformat(begun)) for tub, begun, _end, _recipe in spell] == [
        (str(shop.tub.pk), NOW - hours(14))
    ]
    water = conditioning_of([shop.set.pk], shop.branch, at=NOW)[shop.set.pk]
    assert water.expected_ready_at == NOW + hours(58)


def test_the_card_corrects_when_a_soak_ended(shop: SimpleNamespace, client: Client) -> None:
    soaked(shop, 100)
    at = NOW - hours(1)
    out = take_out(who(shop.ines, shop.device, at), shop.branch, [shop.set], shop.rack, now=at).entries[0]
    client.force_login(shop.ines)
    answer = client.post(correct_url(shop, out), {"day": TODAY, "at": "04:50", "why": "came out before dawn"})
    assert answer.status_code == 302
    assert SetState.objects.get().facts["spells"][-1][2].startswith("2025-05-14T09:50")
    assert SetState.objects.get().place_id == shop.rack.pk


@pytest.mark.parametrize(
    ("day", "at", "words"),
    [
        (TODAY, "10:00", "That time has not come yet."),
        (TODAY, "09:40", "that does not fit its ledger"),
        ("2025-05-01", "09:00", "before the set was received"),
        ("2025-03-09", "02:30", "There was no 02:30 on Sun 9 Mar: the clocks went forward."),
        ("", "09:00", "This is needed: fill it in."),
    ],
)
def test_a_corrected_time_that_cannot_be_is_refused(
    shop: SimpleNamespace, client: Client, day: str, at: str, words: str
) -> None:
    """It was put in 100 h ago, confirmed, and taken out an hour ago."""
    begun = soaked(shop, 100)
    confirm(who(shop.ines, shop.device, NOW - hours(20)), shop.branch, [shop.set], now=NOW - hours(20))
    late = NOW - hours(1)
    take_out(who(shop.ines, shop.device, late), shop.branch, [shop.set], shop.rack, now=late)
    client.force_login(shop.ines)
    answer = client.post(correct_url(shop, begun), {"day": day, "at": at, "why": "misread"})
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert Entry.objects.filter(kind="voided").count() == 0


def test_a_corrected_time_that_would_move_the_set_is_refused(shop: SimpleNamespace) -> None:
    """Put in, then moved to the rack without a flag: a later put-in would leave it in the tub."""
    begun = soaked(shop, 10)
    write(shop, NewLine("moved", shop.set, None, {"to_place": shop.rack}), at=NOW - hours(5))
    by = who(shop.ines, shop.device, NOW, happened_at=NOW - hours(2))
    with pytest.raises(DoesNotFit, match="would not be where it is by its ledger"):
        correct_soak_time(by, shop.branch, begun, "later", now=NOW)
    assert SetState.objects.get().place_id == shop.rack.pk


def test_only_ones_own_soak_is_corrected_and_only_a_soak(shop: SimpleNamespace) -> None:
    begun = soaked(shop, 10)
    by = who(shop.teo, shop.device, NOW, happened_at=NOW - hours(11))
    with pytest.raises(NotYourEntry):
        correct_soak_time(by, shop.branch, begun, "earlier", now=NOW)
    received = Entry.objects.get(kind="received")
    with pytest.raises(VoidRefused, match="no soak"):
        correct_soak_time(by, shop.branch, received, "earlier", now=NOW)


def test_a_correction_sent_twice_is_one(shop: SimpleNamespace) -> None:
    begun = soaked(shop, 10)
    by = who(shop.ines, shop.device, NOW, happened_at=NOW - hours(11))
    first = correct_soak_time(by, shop.branch, begun, "earlier", now=NOW)
    again = correct_soak_time(by, shop.branch, begun, "earlier", now=NOW)
    assert (first.again, again.again, again.act) == (False, True, first.act)
    assert Entry.objects.filter(kind="voided").count() == 1


@pytest.mark.parametrize(("day", "at"), [("9999-12-31", "23:59"), ("0001-01-01", "00:00"), ("1989-12-31", "12:00")])
def test_a_soak_is_not_corrected_to_a_year_that_nothing_here_is_of(
    shop: SimpleNamespace, client: Client, day: str, at: str
) -> None:
    entry = soaked(shop, 10)
    client.force_login(shop.ines)
    answer = client.post(correct_url(shop, entry), {"day": day, "at": at, "why": "x", "act_id": str(uuid4())})
    assert answer.status_code == 422
    assert f"Nothing on record is of the year {int(day[:4])}." in answer.content.decode()
    assert Entry.objects.filter(kind="soak_begun").count() == 1
