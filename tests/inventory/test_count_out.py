"""Sets that a crew has out are not looked for where their bucket stood, and never go missing by a count of it."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.count import begin_count, count_seen, finish
from inventory.actions.ledger import NewLine
from inventory.models import SetState
from inventory.models.choices import PlaceKind
from inventory.queries.count import count_picture, places_to_count
from tests.cast import NOW, hours, make_cast, make_outing, make_place, make_set, make_type, who, write

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> SimpleNamespace:
    """Bucket 1 with two sets: one is out with Dag, who took it along in that bucket; the other hangs there."""
    cast = make_cast()
    cast.bucket, cast.van = make_place(cast.branch, "bucket", "Bucket 1"), make_place(cast.branch, "van", "Van 2")
    resin = make_type()
    cast.out, cast.here = (make_set(cast, resin, cast.bucket, at=NOW - hours(99)) for _ in range(2))
    outing = make_outing(cast.branch, van=cast.van)
    columns = {"outing": outing, "gate": "passed", "to_place": cast.bucket, "holder_kind": "crew"}
    write(cast, NewLine("scanned_out", cast.out, None, columns), at=NOW - hours(20))
    cast.count = begin_count(who(cast.ines, cast.device), cast.branch, cast.bucket, now=NOW)
    return cast


def test_a_set_that_is_out_is_not_looked_for_in_its_bucket(shop: SimpleNamespace) -> None:
    picture = count_picture(shop.count)
    assert [state.pk for state in picture.unseen] == [shop.here.pk]
    assert [state.pk for state in picture.out] == [shop.out.pk]
    (row,) = places_to_count(shop.branch, [PlaceKind.BUCKET])
    assert row.sets == 1


def test_it_is_named_with_who_has_it(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.ines)
    page = client.get(reverse("inventory:count", args=[shop.count.pk]))
    assert page.context["out"] == ["1 set of it is out: Osprey Lane, Van 2."]
    assert page.context["headline"] == "Look for 1 set in Bucket 1"


def test_even_named_as_unseen_it_does_not_go_missing(shop: SimpleNamespace) -> None:
    at = NOW + hours(0.2)
    who_ends = who(shop.ines, shop.device, at)
    done = finish(who_ends, shop.branch, shop.count, here=[], missing=[shop.out.pk, shop.here.pk], now=at)
    assert (done.missing, done.moved) == ((shop.here.pk,), (shop.out.pk,))
    assert SetState.objects.get(pk=shop.out.pk).outing is not None


def test_seen_there_after_all_it_counts_as_seen(shop: SimpleNamespace) -> None:
    at = NOW + hours(0.1)
    count_seen(who(shop.teo, shop.device, at), shop.branch, shop.count, shop.out, now=at)
    picture = count_picture(shop.count)
    assert ([state.pk for state in picture.seen], picture.out) == ([shop.out.pk], ())
