"""Life left is told on a floor that is named, and its number is divided by that floor's factor."""

from __future__ import annotations

from unittest import mock

import pytest
from django.test import Client
from django.urls import reverse

from inventory import hooks
from inventory.hooks import NextUse
from inventory.life_floor import life_floor
from inventory.queries.finishing import lives_of
from inventory.queries.tables import SETS
from inventory.shop_settings import settings_of
from inventory.units import show_about
from inventory.views.rack_list import SetTable
from tests.cast import NOW, TODAY, make_cast, make_set, make_type

pytestmark = pytest.mark.django_db


def use(**more: object) -> NextUse:
    facts = {"words": "Osprey Lane", "outing": None, "outing_name": "", "starts_at": NOW, "leaves_at": NOW}
    return NextUse(**facts, **more)  # type: ignore[arg-type]


def test_without_a_named_floor_number_and_name_are_those_of_a_medium_floor() -> None:
    settings = settings_of(make_cast().branch, today=TODAY)
    for one in (None, use(), use(factor=2.13), use(floor_words="Bay north")):
        floor = life_floor(one, settings)
        assert (floor.words, floor.factor, floor.medium) == ("on a medium floor", 1.0, True)


def test_a_named_floor_brings_its_factor_along() -> None:
    settings = settings_of(make_cast().branch, today=TODAY)
    floor = life_floor(use(floor_words="Bay north", factor=2.13), settings)
    assert (floor.words, floor.factor, floor.medium) == ("on Bay north", 2.13, False)
    assert life_floor(use(floor_words="Bay north", hardness="hard"), settings).factor == pytest.approx(0.8)


def test_card_phone_and_how_it_is_worked_out_tell_life_on_the_same_floor(client: Client) -> None:
    cast = make_cast()
    one = make_set(cast, make_type("400", rated_coverage_m2=9000.0))
    likely = lives_of([one], cast.branch, NOW)[one.pk].likely_m2
    there, medium = show_about(likely / 2.13, "us"), show_about(likely, "us")
    client.force_login(cast.ines)
    asked = {one.pk: use(floor_words="Bay north", factor=2.13)}
    with mock.patch.object(hooks, "_next", [lambda ids, now: asked]):
        pages = [client.get(reverse(f"inventory:{name}", args=[one.pk])) for name in ("toolset", "set_phone")]
        how = client.get(reverse("inventory:how_life"), {"set": str(one.pk)}).content.decode()
    for page in pages:
        said = page.content.decode()
        assert f"{there} likely" in said
        assert "on Bay north" in said
        assert f"{medium} on a medium floor, as the rack tells it" in said
    assert f"on Bay north, where it works next, factor 2.13: likely {there}." in how


def test_the_list_and_its_spreadsheet_say_on_which_floor_life_is_told() -> None:
    heads = [str(column.verbose_name) for column in SetTable.base_columns.values()]
    assert "Life left on a medium floor, likely" in heads
    assert "At least, up to, on a medium floor" in heads
    # When it was seen last, as the spreadsheet calls the same: what was noted of it since is no sighting.
    assert ("Last seen" in heads, "Last entry" in heads) == (True, False)
    told = [str(column.heading) for column in SETS.columns if "Life left" in str(column.heading)]
    assert len(told) == 3
    assert all("on a medium floor" in one for one in told)
