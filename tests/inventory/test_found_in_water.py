"""A missing set that is found in a tub lies in water from then on; the time it was lost counts for nothing."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.custody import found
from inventory.actions.ledger import NewLine
from inventory.models import Entry, SetState
from inventory.queries.soak import conditioning_of
from inventory.queries.tubs import tubs_of
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, who, write

pytestmark = pytest.mark.django_db


def lost(begun: float, gone: float, **facts: Any):  # type: ignore[no-untyped-def]
    """A 400 (72 h cold) put in Tub 1 so many hours ago, missing since so many."""
    cast = make_cast()
    rack, cast.tub = make_place(cast.branch, name="Rack A"), make_place(cast.branch, "tub", "Tub 1")
    cast.set = make_set(cast, make_type("400", **facts), rack, at=NOW - hours(300))
    if begun:
        write(cast, NewLine("soak_begun", cast.set, None, {"to_place": cast.tub}), at=NOW - hours(begun))
    write(cast, NewLine("trouble", cast.set, None, {"trouble_kind": "lost"}), at=NOW - hours(gone))
    found(who(cast.ines, cast.device), cast.branch, cast.set, cast.tub, now=NOW)
    return cast


def state_of(cast) -> str:  # type: ignore[no-untyped-def]
    return conditioning_of([cast.set.pk], cast.branch, at=NOW)[cast.set.pk].state


def test_found_in_a_tub_it_soaks_from_then_on() -> None:
    cast = lost(begun=100, gone=60)
    assert SetState.objects.get(pk=cast.set.pk).soaking is True
    # 40 h before it was lost, 60 h of which nobody knows: the 72 h are not done.
    assert state_of(cast) == "soaking"
    (one,) = tubs_of(cast.branch, NOW)[0].sets
    assert one.begun_at == NOW
    assert one.ready_at == NOW + hours(72)


def test_a_soak_that_was_done_before_it_was_lost_counts_while_it_is_not_dried_out() -> None:
    assert state_of(lost(begun=100, gone=20)) == "soaked, not confirmed"


def test_after_the_dry_out_it_begins_anew() -> None:
    assert state_of(lost(begun=120, gone=30)) == "soaking"


def test_a_type_that_needs_no_water_is_only_found() -> None:
    cast = lost(begun=0, gone=5, soak_need="none")
    assert not Entry.objects.filter(tool_set=cast.set, kind="soak_begun").exists()


def test_a_missing_set_is_not_said_to_be_enough(client: Client) -> None:
    cast = make_cast()
    rack = make_place(cast.branch, name="Rack A")
    one = make_set(cast, make_type("70", "metal", 1, soak_need="none"), rack, at=NOW - hours(300))
    write(cast, NewLine("trouble", one, None, {"trouble_kind": "lost"}), at=NOW - hours(5))
    client.force_login(cast.ines)
    page = client.get(reverse("inventory:set_phone", args=[one.pk]))
    assert page.context["enough_words"] == ""
