"""The doors of labels: what prints, what decodes, what is refused before anything is printed."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pypdfium2
import pytest
import zxingcpp
from django.test import Client
from django.urls import reverse

from inventory.actions.ledger import NewLine
from inventory.models import Label, Order, OrderLine, SetState, ToolSet
from tests.cast import (
    make_set,
    make_supplier,
    write,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(custody_shop: SimpleNamespace) -> SimpleNamespace:
    """The shop of tests/inventory/conftest.py."""
    return custody_shop


def make_labels(client: Client, **form: Any) -> Any:
    given = {"what": "new", "size": "roll-57x32", "dpi": "203", "start_at": 1, "copies": 1, "act_id": str(uuid4())}
    follow = form.pop("follow", False)
    answer = client.post(reverse("inventory:labels"), given | form, follow=follow)
    return answer.content.decode() if follow else answer


def test_labels_of_sets_print_and_decode_to_their_sets(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.teo)
    bare = make_set(shop.cast, shop.dry.tool_type, shop.rack, at=shop.now)
    ready = make_labels(client)["Location"]
    pdf = client.get(ready + "labels.pdf")
    assert (pdf.status_code, pdf["Content-Type"]) == (200, "application/pdf")
    document = pypdfium2.PdfDocument(pdf.getvalue())
    texts = {
        zxingcpp.read_barcode(page.render(scale=4).to_pil().convert("L")).text  # type: ignore[union-attr]
        for page in document
    }
    codes = {shop.dry_code, shop.metal_code, SetState.objects.get(pk=bare.pk).code}
    assert texts == {f"HTTPS://SHOP.EXAMPLE/S/{code}" for code in codes}
    assert not Label.objects.filter(pk__in=codes, printed_at=None).exists()
    document.close()


def test_retired_sets_want_no_label(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.ines)
    url = reverse("inventory:labels")
    assert "2 sets without a printed label" in client.get(url).content.decode()
    write(shop.cast, NewLine("retired", shop.metal, None, {"retired_why": "worn"}), at=shop.now)
    assert "1 set without a printed label" in client.get(url).content.decode()
    ready = client.get(make_labels(client)["Location"]).content.decode()
    assert shop.dry_code in ready
    assert shop.metal_code not in ready


def test_all_labels_of_an_order_and_of_places_are_printed(shop: SimpleNamespace, client: Client) -> None:
    cast, now = shop.cast, shop.now
    order = Order.objects.create(
        branch=cast.branch, supplier=make_supplier(), number="2025-017", made_at=now, made_by=cast.ruta
    )
    line = OrderLine.objects.create(order=order, tool_type=shop.dry.tool_type, sets=2, recorded_at=now)
    for _number in range(2):
        fresh = ToolSet.objects.create(tool_type=shop.dry.tool_type, made_at=now)
        write(cast, NewLine("received", fresh, None, {"branch": cast.branch, "order_line": line}), at=now)
    client.force_login(cast.teo)
    assert "2 labels are ready" in make_labels(client, what="order", order=order.pk, follow=True)
    assert Label.objects.filter(opens_set__entries__order_line=line).distinct().count() == 2
    places = [str(shop.rack.pk), str(shop.tub.pk)]
    assert "2 labels are ready" in make_labels(client, what="places", places=places, follow=True)
    first = set(Label.objects.filter(opens_place__isnull=False).values_list("pk", flat=True))
    make_labels(client, what="places", places=places)
    assert set(Label.objects.filter(opens_place__isnull=False).values_list("pk", flat=True)) == first


def test_blank_labels_are_made_once_for_one_press(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.teo)
    key = str(uuid4())
    for _number in range(2):
        assert make_labels(client, what="blank", blank=20, act_id=key).status_code == 302
    assert Label.objects.filter(opens_set=None, opens_place=None).count() == 21


def test_what_labels_cannot_be_is_refused(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.teo)
    for form, words in (
        ({"what": "blank"}, "This is needed for what you chose above"),
        ({"what": "blank", "blank": 5000}, "At most 1000 is allowed."),
        ({"what": "chosen", "codes": "GL-7K2M47"}, "The last character does not fit"),
        ({"what": "blank", "blank": 3, "size": "a4-70x36", "start_at": 25}, "label 25 is not on it"),
    ):
        answer = make_labels(client, **form)
        assert answer.status_code == 422
        assert words in answer.content.decode()
    assert Label.objects.count() == 3
    assert client.get(reverse("inventory:labels_pdf", args=[uuid4()])).status_code == 404


def test_nothing_prints_before_a_phone_has_opened_the_address(shop: SimpleNamespace, client: Client) -> None:
    shop.cast.branch.label_address_confirmed_at = None
    shop.cast.branch.save()
    client.force_login(shop.cast.teo)
    ready = make_labels(client)["Location"]
    assert client.get(ready + "labels.pdf").status_code == 302
    page = client.get(ready).content.decode()
    assert "No phone has opened https://shop.example yet" in page
    # A helper is told who settles it, and is offered nothing that a door would refuse.
    assert "The shop manager confirms it once" in page
    assert reverse("inventory:labels_address") not in page


def test_the_shop_manager_prints_all_the_same_from_where_the_labels_wait(shop: SimpleNamespace, client: Client) -> None:
    shop.cast.branch.label_address, shop.cast.branch.label_address_confirmed_at = "HTTP://127.0.0.1:8000", None
    shop.cast.branch.save()
    client.force_login(shop.cast.ines)
    ready = make_labels(client)["Location"]
    page = client.get(ready).content.decode()
    assert "Only this computer can open labels with this address." in page
    assert "Print all the same" in page
    sent = {"do": "take", "address": "HTTP://127.0.0.1:8000", "then": ready}
    assert client.post(reverse("inventory:labels_address"), sent)["Location"] == ready
    assert client.get(ready + "labels.pdf")["Content-Type"] == "application/pdf"
    # It prints, and goes on saying whom the labels lead nowhere.
    assert "Only this computer can open labels with this address." in client.get(ready).content.decode()
    elsewhere = client.post(reverse("inventory:labels_address"), sent | {"then": "https://elsewhere.example/"})
    assert elsewhere["Location"] == reverse("inventory:labels")
