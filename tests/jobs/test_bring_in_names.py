"""Names of places as lists write them: one place for one name, none of characters that nobody sees."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from inventory.models import Place
from jobs.actions.bring_in import take_back
from tests.cast import NOW, hours, make_cast

from .sheet_files import answer, come_in, draft_of, stock_shop

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> SimpleNamespace:
    found = make_cast()
    found.types = stock_shop(found)
    return found


def test_one_name_in_two_writings_makes_one_place(cast: SimpleNamespace) -> None:
    rows = [["Disc", "ID", "where"], ["400 resin", "A-1", "Annex shelf"], ["400 resin", "A-2", "annex  SHELF"]]
    draft = draft_of(cast.ines, rows)
    answer(draft, cast.ines, "“Annex shelf”", "new")
    come_in(cast, draft)
    assert list(Place.objects.filter(name__icontains="annex").values_list("name", flat=True)) == ["Annex shelf"]


def test_a_place_out_of_use_that_a_list_names_is_used_again_and_out_of_use_when_it_is_taken_back(
    cast: SimpleNamespace,
) -> None:
    old = Place.objects.create(branch=cast.branch, kind="rack", name="Annex Shelf", active=False)
    draft = draft_of(cast.ines, [["Disc", "ID", "where"], ["400 resin", "A-1", "annex shelf"]])
    answer(draft, cast.ines, "“annex shelf”", "new")
    come_in(cast, draft)
    old.refresh_from_db()
    assert (old.active, Place.objects.filter(name__iexact="annex shelf").count()) == (True, 1)
    assert [row.made_key for row in draft.rows.filter(made_kind="place")] == [str(old.pk)]
    take_back(cast.ines, cast.device, draft, now=NOW + hours(1))
    old.refresh_from_db()
    assert not old.active


def test_a_name_loses_the_characters_that_turn_what_is_read(cast: SimpleNamespace) -> None:
    draft = draft_of(cast.ines, [["Disc", "ID", "where"], ["400 resin", "A-1", "\u202eAnnex\u200b shelf"]])
    answer(draft, cast.ines, "“Annex shelf”", "new")
    come_in(cast, draft)
    assert Place.objects.filter(name="Annex shelf").count() == 1
