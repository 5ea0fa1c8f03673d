"""A set that a count sees in a tub lies in water from its answer on, as one found there does; the end names it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.count import answer_seen, begin_count, count_seen, finish, reopen
from inventory.actions.custody import move
from inventory.models import Entry, SetState
from inventory.queries.soak import conditioning_of
from inventory.queries.tubs import tubs_of
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, who

pytestmark = pytest.mark.django_db


def counted(**facts: Any) -> SimpleNamespace:
    """A set that the ledger has in Rack A, scanned an hour ago in a count of Tub 2."""
    cast = make_cast()
    cast.rack, cast.tub = make_place(cast.branch, name="Rack A"), make_place(cast.branch, "tub", "Tub 2")
    cast.set = make_set(cast, make_type("400", **facts), cast.rack, at=NOW - hours(300), code="GL-000001")
    at = NOW - hours(1)
    cast.count = begin_count(who(cast.ines, cast.device, at), cast.branch, cast.tub, now=at)
    count_seen(who(cast.ines, cast.device, at), cast.branch, cast.count, cast.set, now=at)
    return cast


def answer(cast: SimpleNamespace, *, is_here: bool = True) -> SetState:
    answer_seen(who(cast.ines, cast.device), cast.branch, cast.count, cast.set, is_here=is_here, now=NOW)
    return SetState.objects.get(pk=cast.set.pk)


def test_said_to_be_here_in_a_tub_it_lies_in_water_on_card_and_tub_alike() -> None:
    cast = counted()
    state = answer(cast)
    assert (state.place_id, state.soaking) == (cast.tub.pk, True)
    assert conditioning_of([cast.set.pk], cast.branch, at=NOW)[cast.set.pk].state == "soaking"
    (one,) = tubs_of(cast.branch, NOW)[0].sets
    assert (one.begun_at, one.ready_at) == (NOW, NOW + hours(72))


def test_approved_at_the_end_it_lies_in_water_too_and_the_way_back_takes_it_out() -> None:
    cast = counted()
    finish(who(cast.ines, cast.device), cast.branch, cast.count, here=[cast.set.pk], missing=[], now=NOW)
    assert SetState.objects.get(pk=cast.set.pk).soaking
    later = NOW + hours(0.1)
    reopen(who(cast.ines, cast.device, later), cast.branch, cast.count, now=later)
    state = SetState.objects.get(pk=cast.set.pk)
    assert (state.place_id, state.soaking) == (cast.rack.pk, False)


def test_left_out_or_needing_no_water_it_begins_no_soak() -> None:
    cast = counted(soak_need="none")
    state = answer(cast)
    assert (state.place_id, state.soaking) == (cast.tub.pk, False)
    other = make_set(cast, make_type("800", ladder_place=7), cast.rack, at=NOW - hours(300))
    count_seen(who(cast.ines, cast.device), cast.branch, cast.count, other, now=NOW)
    answer_seen(who(cast.ines, cast.device), cast.branch, cast.count, other, is_here=False, now=NOW)
    assert not Entry.objects.filter(kind="soak_begun").exists()


def test_moved_to_a_rack_after_the_scan_it_begins_no_soak() -> None:
    cast = counted()
    at, shelf = NOW - hours(0.5), make_place(cast.branch, name="Rack B")
    move(who(cast.ines, cast.device, at), cast.branch, cast.set, shelf, now=at)
    state = answer(cast)
    assert (state.place_id, state.soaking) == (shelf.pk, False)
    assert not Entry.objects.filter(tool_set=cast.set, kind="soak_begun").exists()


def test_the_count_says_that_it_counts_as_in_water_and_its_end_names_the_set(client: Client) -> None:
    cast = counted()
    client.force_login(cast.ines)
    url = reverse("inventory:count", args=[cast.count.pk])
    assert "it counts as in water from the answer on" in client.get(url).content.decode()
    said = client.post(url, {"set": str(cast.set.pk), "do": "here"}).content.decode()
    assert "it is here, in water from now on" in said
    assert "In water since then; if it went in earlier, correct that on its card." in said
    client.post(reverse("inventory:count_finish", args=[cast.count.pk]))
    page = client.get(url).content.decode()
    assert "Tub 2 counted: 1 here after all" in page
    assert "GL-000001" in page
    assert "now in Tub 2, in water from then on" in " ".join(page.replace('<span class="note">', "").split())
