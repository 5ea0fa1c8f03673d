"""Labels of another branch's places and outings say whose they are; sets left in the van lie in that van."""

from __future__ import annotations

import random
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.custody import say_where, scan_out
from inventory.actions.ledger import NewLine
from inventory.codes import new_code
from inventory.models import Label, SetState
from inventory.queries.last_lines import last_lines
from tests.cast import NOW, hours, make_branch, make_cast, make_outing, make_place, make_set, make_type, who, write

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("opens", ["opens_place", "opens_outing"])
def test_a_label_of_another_branchs_place_or_outing_says_whose_it_is_and_what_to_do(client: Client, opens: str) -> None:
    cast, there = make_cast(), make_branch("Dockside shop")
    thing = make_place(there, name="Rack Q") if opens == "opens_place" else make_outing(there, "Quay night")
    code = new_code(random.Random(5))
    Label.objects.create(code=code, branch=there, made_at=NOW, **{opens: thing})
    client.force_login(cast.ines)
    words = f"{thing} belongs to Dockside shop, not to Millrace shop. Scan the sets that come from there one by one."
    outing = make_outing(cast.branch)
    pages: list[Any] = [
        client.get(reverse("inventory:opened", args=[code])),
        client.post(reverse("inventory:scan"), {"code": code}, follow=True),
        client.post(reverse("inventory:scan_out", args=[outing.pk]), {"code": code}),
        client.post(reverse("inventory:scan_in"), {"code": code}),
        client.get(reverse("inventory:find"), {"q": code}, follow=True),
    ]
    assert [words in page.content.decode() for page in pages] == [True] * 5


def test_sets_said_to_be_in_the_van_lie_in_the_van_of_their_outing() -> None:
    cast = make_cast()
    rack, van, site = make_place(cast.branch), make_place(cast.branch, "van", "Van 2"), make_place(cast.branch, "site")
    tool_set = make_set(cast, make_type(soak_need="none"), rack, at=NOW - hours(30))
    outing = make_outing(cast.branch, van=van)
    scan_out(who(cast.teo, cast.device), cast.branch, tool_set, outing, now=NOW)
    write(cast, NewLine("seen", tool_set, None, {"to_place": site, "left_how": "dry"}), at=NOW + hours(1))
    at = NOW + hours(2)
    say_where(who(cast.ines, cast.device, at), cast.branch, [tool_set], "in_van", now=at)
    state = SetState.objects.get(pk=tool_set.pk)
    assert (state.place, state.outing) == (van, outing)
    assert "Van 2" in last_lines(tool_set.pk, cast.ines, at)[0][0].words
