"""The switch between night and light colours, at its door."""

import pytest
from django.urls import reverse

from tests.cast import make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def ines(client):
    person = make_cast().ines
    client.force_login(person)
    return person


def test_night_is_kept_for_the_person_and_nothing_else_changes(client, ines):
    before = (ines.units, ines.language, ines.clock_24h, ines.sound)

    answer = client.post(reverse("inventory:theme"), {"theme": "night"})

    ines.refresh_from_db()
    assert answer.status_code == 204
    assert ines.theme == "night"
    assert (ines.units, ines.language, ines.clock_24h, ines.sound) == before


@pytest.mark.parametrize("theme", ["", "plum", "NIGHT"])
def test_a_mode_that_does_not_exist_changes_nothing(client, ines, theme):
    answer = client.post(reverse("inventory:theme"), {"theme": theme})

    ines.refresh_from_db()
    assert answer.status_code == 400
    assert ines.theme == "system"


def test_it_is_only_posted_to(client, ines):
    assert client.get(reverse("inventory:theme")).status_code == 405


def test_nobody_signed_in_is_asked_to_sign_in(client):
    answer = client.post(reverse("inventory:theme"), {"theme": "night"})

    assert answer.status_code == 302
    assert answer.url.endswith("?next=/me/theme/")
