"""Names of tool types in the reader's language, and short lines that say how a set was left."""

from __future__ import annotations

import pytest
from django.utils import translation

from inventory.actions.custody import say_where
from inventory.queries.last_lines import last_lines
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, who

pytestmark = pytest.mark.django_db


def test_a_name_of_bond_and_grit_is_said_in_the_readers_language() -> None:
    plain, own = make_type("50", name="Resin 50"), make_type("100", name="Dock pads 100")
    with translation.override("es"):
        assert (plain.said_name, own.said_name) == ("Resina 50", "Dock pads 100")
    with translation.override("en"):
        assert plain.said_name == "Resin 50"


def test_left_in_the_van_is_said_in_the_last_lines() -> None:
    cast = make_cast()
    one = make_set(cast, make_type(), make_place(cast.branch), at=NOW - hours(9))
    say_where(who(cast.dag, cast.device), cast.branch, [one], "in_van", now=NOW)
    lines, _count = last_lines(one.pk, cast.ines, NOW)
    assert lines[0].words == "Seen, left in the van. Dag P."
