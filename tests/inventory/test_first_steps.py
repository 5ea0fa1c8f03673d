"""Pages of an empty shop lead on; first-run refusals come in one round; a person's language; sizes in inches."""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory.actions.first_run import make_code
from inventory.label_sizes import label_size
from inventory.models import Person
from inventory.models.choices import PlaceKind
from jobs.models import Job
from tests.cast import make_cast, make_outing, make_place, make_set, make_type
from tests.jobs.plans import make_hall

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> SimpleNamespace:
    """People of an empty shop."""
    return make_cast()


@pytest.mark.parametrize("show", ["morning", "tonight"])
def test_the_home_of_an_empty_shop_shows_the_steps_that_are_open(client: Client, cast, show: str) -> None:
    client.force_login(cast.olga)
    url = reverse("jobs:shop_day") + f"?show={show}"
    page = client.get(url).content.decode()
    assert "Your shop is empty. This comes first:" in page
    assert page.count("Begin here") == 1
    assert f'href="{reverse("inventory:first_shop")}"' in page
    assert f'href="{reverse("inventory:labels_address")}"' in page
    kind = make_type()
    assert (
        page.index("Begin here")
        < page.index("Settle the address")
        < client.get(url).content.decode().index("Begin here")
    )
    make_set(cast, kind, make_place(cast.branch, kind=PlaceKind.RACK), at=timezone.now())
    assert "Your shop is empty" not in client.get(url).content.decode()


def test_empty_pages_link_to_the_very_next_step(client: Client, cast) -> None:
    client.force_login(cast.olga)
    for page, leads_to in (
        ("inventory:tool_types", reverse("inventory:first_shop")),
        ("inventory:soak", reverse("inventory:place_new") + "?kind=tub"),
        ("inventory:counts", reverse("inventory:place_new")),
        ("jobs:jobs", reverse("jobs:job_choose")),
    ):
        assert f'href="{leads_to}"' in client.get(reverse(page)).content.decode(), page
    soak = client.get(reverse("inventory:soak")).content.decode()
    assert "Put sets in" not in soak
    tub = client.get(reverse("inventory:place_new") + "?kind=tub").content.decode()
    assert 'value="tub"' in tub.split(" checked")[0].rpartition("<input")[2]


def test_jobs_that_stand_otherwise_are_one_link_away(client: Client, cast) -> None:
    Job.objects.create(branch=cast.branch, site=make_hall(cast).site, name="Mill", made_at=timezone.now())
    client.force_login(cast.ines)
    page = client.get(reverse("jobs:jobs")).content.decode()
    assert "Look at those that stand otherwise:" in page
    assert page.count('href="?standing=done"') == 2


def test_code_and_password_are_refused_in_one_round(client: Client) -> None:
    make_code(now=timezone.now())
    said = {"code": "AAAA-BBBB-CCCC", "shop": "Mill", "time_zone": "UTC", "currency": "USD", "units": "us"}
    said |= {"name": "Olga Z.", "sign_in": "olga", "password": "short"}
    answer = client.post(reverse("inventory:first_run"), said)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "is not the code of this start" in page
    assert "2 answers to mend" in page
    assert not Person.objects.exists()


def test_a_person_is_given_a_language_that_stays_when_none_is_said(client: Client, cast) -> None:
    client.force_login(cast.olga)
    said = {"name": "Jose R.", "sign_in": "jose", "bundle": "helper", "is_active": "on", "language": "es"}
    form = client.get(reverse("inventory:person_new")).content.decode()
    assert "leaves it as it is" not in form  # there is nothing yet
    assert "Take the PIN away" not in form
    assert client.post(reverse("inventory:person_new"), said).status_code == 302
    jose = Person.objects.get(sign_in="jose")
    assert jose.language == "es"
    del said["language"]
    assert client.post(reverse("inventory:person", args=[jose.pk]), said).status_code == 302
    jose.refresh_from_db()
    assert jose.language == "es"
    page = client.get(reverse("inventory:person", args=[jose.pk])).content.decode()
    assert 'value="es"' in page.split(" checked")[-2].rpartition("<input")[2] or "checked" in page


def test_label_sizes_are_said_in_inches_to_who_reads_feet() -> None:
    # 57 mm is 2.244 in., 32 mm 1.26 in.: to the nearest sixteenth 2 1/4 and 1 1/4.
    assert label_size("roll-57x32").name_in("us").startswith("2 1/4 × 1 1/4 in. (57 × 32 mm")
    assert label_size("roll-57x32").name_in("metric").startswith("57 × 32 mm")
    # 25 mm is 0.984 in., which is nearest to 16 sixteenths.
    assert label_size("roll-51x25").name_in("us").startswith("2 × 1 in.")


def test_an_outing_whose_last_set_is_back_is_over_once_it_was_due(client: Client, cast) -> None:
    now = timezone.now()
    make_outing(cast.branch, name="Last night", leaves_at=now - timedelta(hours=20), due_at=now - timedelta(hours=1))
    make_outing(cast.branch, name="Still to go", leaves_at=now - timedelta(hours=20), due_at=now + timedelta(hours=9))
    client.force_login(cast.teo)
    page = client.get(reverse("inventory:outings")).content.decode()
    assert "Still to go" in page
    assert "Last night" not in page
