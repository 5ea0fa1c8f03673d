"""Own codes at the scan: however they are written, and where two sets have one."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from django.test import Client

from inventory.models import SetState, ToolSet
from tests.inventory.test_custody_pages import scan

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(custody_shop: SimpleNamespace) -> SimpleNamespace:
    """The shop of tests/inventory/conftest.py."""
    return custody_shop


def test_an_own_code_opens_its_set_unless_two_have_it(shop: SimpleNamespace, client: Client) -> None:
    ToolSet.objects.filter(pk=shop.metal.pk).update(own_code="M-70/3")
    client.force_login(shop.cast.teo)
    assert 'data-verdict="taken"' in scan(client, shop, "m-70/3")
    ToolSet.objects.filter(pk=shop.dry.pk).update(own_code="M-70/3")
    assert "2 sets have the own code" in scan(client, shop, "m-70/3")


@pytest.mark.parametrize("text", ["K999", "k 999", "K-0999", " k.999 ", "K999\u00a0"])
def test_an_own_code_opens_its_set_however_it_is_written(shop: SimpleNamespace, client: Client, text: str) -> None:
    ToolSet.objects.filter(pk=shop.metal.pk).update(own_code="k 999")
    ToolSet.objects.filter(pk=shop.dry.pk).update(own_code="K 99 9")
    client.force_login(shop.cast.teo)
    assert 'data-verdict="taken"' in scan(client, shop, text)
    assert SetState.objects.get(pk=shop.metal.pk).outing_id == shop.outing.pk


def test_two_writings_of_one_own_code_are_two_sets_to_pick_from(shop: SimpleNamespace, client: Client) -> None:
    ToolSet.objects.filter(pk=shop.metal.pk).update(own_code="K999")
    ToolSet.objects.filter(pk=shop.dry.pk).update(own_code="k 999")
    client.force_login(shop.cast.teo)
    assert "2 sets have the own code" in scan(client, shop, "K999")
    assert "No set is called" in scan(client, shop, "K99")
