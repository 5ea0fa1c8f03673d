"""Readings typed in: what is refused, asked about and kept; and the picture of a tub."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from types import SimpleNamespace
from typing import Any
from unittest import mock
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.soak import read_water
from inventory.models import Entry
from inventory.queries.tubs import tubs_of
from inventory.soak_picture import Lane, Scale, Water, vessel
from inventory.units import Amount
from tests.cast import NOW, hours, make_cast, make_place, who

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> SimpleNamespace:
    cast = make_cast()
    cast.hot = make_place(cast.branch, "tub", "Tub 2", thermostat=True)
    return cast


def post(client: Client, shop: SimpleNamespace, typed: dict[str, str], now: datetime = NOW) -> Any:
    """Send a reading of the hot tub as Teo, at the shop's clock."""
    with mock.patch("django.utils.timezone.now", return_value=now):
        client.force_login(shop.teo)
        return client.post(reverse("inventory:tub_water", args=[shop.hot.pk]), typed)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"water": "250"}, "is steam"),
        ({"water": "-4"}, "is ice"),
        ({"water": "warm"}, "warm"),
        ({"water": ""}, "This is needed"),
        ({"water": "70", "at": "23:00", "day": "2025-05-14"}, "That time has not come yet."),
        ({"water": "70", "at": "25:00"}, "Write a time"),
        ({"water": "70", "at": "10:00", "day": "2025-01-01"}, "not one of the choices"),
        ({"water": "180"}, "scalds at once"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_with_what_would_be_right(
    shop: SimpleNamespace, client: Client, typed: dict[str, str], words: str
) -> None:
    page = post(client, shop, typed)
    assert page.status_code == 422
    assert words in page.content.decode()
    assert not Entry.objects.filter(kind="water_read").exists()


def test_an_unlikely_reading_is_kept_once_somebody_says_it_is_right(shop: SimpleNamespace, client: Client) -> None:
    asked = post(client, shop, {"water": "180"})
    assert 'name="sure"' in asked.content.decode()
    assert post(client, shop, {"water": "180", "sure": "on"}).status_code == 302
    assert Entry.objects.filter(kind="water_read").count() == 1


def test_a_time_that_the_clock_change_skipped_is_refused(shop: SimpleNamespace, client: Client) -> None:
    """2026-03-08 02:30 did not happen in Chicago (IANA tz database)."""
    morning = datetime(2026, 3, 8, 14, 50, tzinfo=UTC)
    page = post(client, shop, {"water": "60", "at": "02:30", "day": "2026-03-08"}, morning)
    assert page.status_code == 422
    assert "There was no 02:30 on Sun 8 Mar: the clocks went forward." in page.content.decode()


def test_of_a_time_that_happened_twice_the_first_is_taken(shop: SimpleNamespace, client: Client) -> None:
    """2025-11-02 01:30 happened twice in Chicago, first at 06:30 UTC (IANA tz database)."""
    morning = datetime(2025, 11, 2, 15, 0, tzinfo=UTC)
    post(client, shop, {"water": "60", "at": "01:30", "day": "2025-11-02"}, morning)
    assert Entry.objects.get(kind="water_read").act.happened_at == datetime(2025, 11, 2, 6, 30, tzinfo=UTC)


# --- the picture ---


def test_a_day_with_a_clock_change_is_an_hour_shorter_in_the_picture() -> None:
    """29 to 30 March 2025 in Madrid has 23 h (IANA tz database)."""
    zone = ZoneInfo("Europe/Madrid")
    days = [datetime(2025, 3, day, tzinfo=zone) for day in (29, 30, 31)]
    scale = Scale([(day, "", False) for day in days[:2]], days[2], days[0], "")
    first, second = scale.x(days[1]) - scale.x(days[0]), scale.x(days[2]) - scale.x(days[1])
    # 24 h, then 23 h of the night in which the clocks go forward.
    assert round(first / second, 4) == round(24 / 23, 4)


def test_the_vessel_says_all_of_it_in_one_sentence_and_draws_a_wave_and_a_drop() -> None:
    days = [NOW + timedelta(days=n) for n in range(3)]
    scale = Scale([(day, "", False) for day in days[:2]], days[2], NOW, "now")
    lane = Lane("400", [], "soaking", NOW, NOW + hours(20), "Thu 05:50")
    drawn = vessel([lane], Water(()), scale, "Tub 1: 400, 1 set: Thu 05:50")
    assert 'aria-label="Tub 1: 400, 1 set: Thu 05:50"' in drawn
    assert drawn.count('class="wave deep"') == 1
    assert drawn.count('class="g-dh"') == 1
    confirmed = vessel([Lane("400", [], "conditioned", NOW, NOW, "x")], Water(()), scale, "")
    assert 'class="g-d"' in confirmed


def test_a_tubs_readings_stand_in_order_of_when_they_were_read(shop: SimpleNamespace) -> None:
    for ago, value in ((1, 70), (3, 68), (2, 69)):
        amount = Amount((value - 32) / 1.8, Decimal(value), "F")
        person = who(shop.ines, shop.device, NOW, happened_at=NOW - hours(ago))
        read_water(person, shop.branch, shop.hot, amount, now=NOW)
    tub = tubs_of(shop.branch, NOW, only=shop.hot.pk)[0]
    assert [reading.value for reading in tub.readings] == ["68", "69", "70"]
