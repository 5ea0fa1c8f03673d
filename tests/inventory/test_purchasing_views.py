"""The pages of buying: their doors, ordering and receiving through them, and that money stays with who may see it."""

from __future__ import annotations

import random
from datetime import timedelta
from decimal import Decimal
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory.actions.label import make_blank
from inventory.actions.purchasing import Wanted, place_order, receive
from inventory.models import Order, OrderEvent, PersonRight, Price, ReceiptLine, SetState, SupplierWord, ToolSet
from inventory.queries.purchasing import orders_now
from tests.cast import NOW, TODAY, hours, make_branch, make_cast, make_person, make_place, make_supplier, make_type, who

pytestmark = pytest.mark.django_db


def shop(lines: int = 1, sets: int = 3) -> SimpleNamespace:
    """A shop with one order on its way."""
    cast = make_cast()
    cast.rack, cast.supplier = make_place(cast.branch), make_supplier()
    cast.types = [make_type(f"{100 * n}", ladder_place=n) for n in range(1, lines + 1)]
    wanted = [Wanted(tool_type, sets, Decimal("310.00")) for tool_type in cast.types]
    cast.order = place_order(cast.ruta, cast.branch, cast.supplier, wanted, on_day=TODAY, now=NOW)
    cast.line = cast.order.lines.first()
    return cast


def signed_in(person: Any) -> Client:
    client = Client()
    client.force_login(person)
    return client


def addresses(cast: SimpleNamespace) -> dict[str, tuple[str, str]]:
    """Every address of this noun: what it is asked with, and itself."""
    pk, line = cast.order.pk, cast.line.pk
    return {
        "orders": ("get", reverse("inventory:orders")),
        "orders_csv": ("get", reverse("inventory:orders_csv")),
        "orders_xlsx": ("get", reverse("inventory:orders_xlsx")),
        "order_new": ("get", reverse("inventory:order_new")),
        "order": ("get", reverse("inventory:order", args=[pk])),
        "order_receive": ("post", reverse("inventory:order_receive", args=[pk, line])),
        "order_promise": ("post", reverse("inventory:order_promise", args=[pk])),
        "order_close": ("post", reverse("inventory:order_close", args=[pk])),
        "receive": ("get", reverse("inventory:receive")),
        "receive_undo": ("post", reverse("inventory:receive_undo", args=[uuid4()])),
    }


def test_every_door_asks_for_sign_in_and_the_right_to_buy() -> None:
    cast = shop()
    for name, (method, url) in addresses(cast).items():
        assert getattr(Client(), method)(url).status_code == 302, name
        for person in (cast.dag, cast.teo, cast.ines, cast.nils):
            assert getattr(signed_in(person), method)(url).status_code == 403, name


def test_every_door_refuses_the_wrong_method() -> None:
    cast = shop()
    client = signed_in(cast.ruta)
    for name, (method, url) in addresses(cast).items():
        wrong = "put" if name in ("order_new", "receive") else {"get": "post", "post": "get"}[method]
        assert getattr(client, wrong)(url).status_code == 405, name


def test_every_page_opens_for_the_purchaser() -> None:
    cast = shop()
    client = signed_in(cast.ruta)
    for name, (method, url) in addresses(cast).items():
        if method == "get":
            assert client.get(url).status_code == 200, name


def test_what_is_not_known_or_of_another_branch_is_not_there() -> None:
    cast = shop()
    other = make_person(make_branch("Kilnside shop"), "otto", "Otto V.", "owner")
    client, stranger = signed_in(cast.ruta), signed_in(other)

    assert client.get(reverse("inventory:order", args=[99_999])).status_code == 404
    assert client.post(reverse("inventory:order_receive", args=[cast.order.pk, 99_999])).status_code == 404
    assert client.post(reverse("inventory:receive_undo", args=[uuid4()])).status_code == 404
    for name in ("order", "order_receive", "order_promise", "order_close"):
        method, url = addresses(cast)[name]
        assert getattr(stranger, method)(url).status_code == 404, name
    assert "2025-001" not in stranger.get(reverse("inventory:orders")).content.decode()


def order_form(cast: SimpleNamespace, **more: Any) -> dict[str, Any]:
    facts = {
        "supplier": cast.supplier.pk, "on_day": "2025-05-14", "number": "", "act_id": str(uuid4()),
        "line-TOTAL_FORMS": 2, "line-INITIAL_FORMS": 0, "line-0-tool_type": cast.types[0].pk, "line-0-sets": 4,
        "line-0-price": "298.50", "line-1-tool_type": "", "line-1-sets": "", "line-1-price": "",
    }  # fmt: skip
    return facts | more


def test_an_order_is_written_and_a_second_press_is_the_same_order() -> None:
    cast = shop()
    client, form = signed_in(cast.ruta), order_form(cast)

    first = client.post(reverse("inventory:order_new"), form)
    again = client.post(reverse("inventory:order_new"), form, follow=True)

    made = Order.objects.exclude(pk=cast.order.pk).get()
    assert first["Location"] == reverse("inventory:order", args=[made.pk])
    assert [(line.sets, line.price) for line in made.lines.all()] == [(4, Decimal("298.50"))]
    assert "Already ordered" in again.content.decode()


def test_the_reorder_page_fills_the_lines_with_the_price_that_stands() -> None:
    cast = shop()
    Price.objects.create(
        tool_type=cast.types[0], supplier=cast.supplier, price=Decimal("305.00"), currency="USD",
        valid_from=TODAY, recorded_at=NOW,
    )  # fmt: skip
    url = (
        reverse("inventory:order_new") + f"?supplier={cast.supplier.pk}&line={cast.types[0].pk}:4&line=x:1&line=9999:2"
    )

    body = signed_in(cast.ruta).get(url).content.decode()

    assert 'value="4"' in body
    assert 'value="305.00"' in body
    assert f'<option value="{cast.supplier.pk}" selected>' in body


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"line-0-tool_type": "", "line-0-sets": "", "line-0-price": ""}, "An order needs at least one line."),
        ({"line-0-sets": "0"}, "At least 1 is needed."),
        ({"line-0-sets": ""}, "How many? Write a whole number"),
        ({"line-0-tool_type": ""}, "Of which type?"),
        ({"line-0-price": "cheap"}, "is not an amount of money"),
        ({"line-0-price": "310 EUR"}, "the shop reckons in USD"),
        ({"line-0-sets": "100000"}, "At most 500 is allowed."),
        ({"on_day": "2199-01-01"}, "That day is still to come."),
        ({"supplier": ""}, "This is needed: fill it in."),
    ],
)
def test_an_order_that_makes_no_sense_is_refused_in_words_and_keeps_what_was_typed(
    more: dict[str, Any], words: str
) -> None:
    cast = shop()
    answer = signed_in(cast.ruta).post(reverse("inventory:order_new"), order_form(cast, **more))

    assert answer.status_code == 422
    assert words in answer.content.decode().replace("&#x27;", "'")
    assert Order.objects.count() == 1


def receipt(cast: SimpleNamespace, **more: Any) -> dict[str, Any]:
    return {"sets": 2, "place": cast.rack.pk, "price": "310.00", "blank": "", "act_id": str(uuid4())} | more


def test_sets_are_received_in_parts_under_scanned_and_new_labels() -> None:
    cast = shop()
    blank = make_blank(cast.branch, 1, made_by=cast.ruta, now=NOW, rng=random.Random(7))[0]
    client, url = signed_in(cast.ruta), addresses(cast)["order_receive"][1]

    answer = client.post(url, receipt(cast, blank=f"https://shop.example/S/{blank.code}"), follow=True)

    body = answer.content.decode()
    assert "2 of 3 sets are here, 1 still to come" in body
    assert "2 sets are here under labels" in body
    assert blank.code in body
    assert SetState.objects.filter(place=cast.rack, opening="new").exclude(code="").count() == 2
    assert ReceiptLine.objects.filter(price=Decimal("310.00")).count() == 2
    assert f"{reverse('inventory:labels')}?order={cast.order.pk}" in body


def test_receiving_twice_by_a_double_press_is_once() -> None:
    cast = shop()
    client, url, form = signed_in(cast.ruta), addresses(cast)["order_receive"][1], receipt(cast)
    for _ in range(2):
        client.post(url, form)

    assert ToolSet.objects.count() == 2


def test_more_than_ordered_is_asked_and_kept_when_said_to_be_right() -> None:
    cast = shop()
    client, url = signed_in(cast.ruta), addresses(cast)["order_receive"][1]

    asked = client.post(url, receipt(cast, sets=5))
    assert asked.status_code == 422
    assert "5 came, but 3 sets of resin 100 are still open." in asked.content.decode()
    assert "More came than was ordered, and that is right" in asked.content.decode()
    assert ToolSet.objects.count() == 0

    client.post(url, receipt(cast, sets=5, sure="on"))
    assert ToolSet.objects.count() == 5


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"sets": "0"}, "At least 1 is needed."),
        ({"sets": "201"}, "At most 200 is allowed."),
        ({"sets": "two"}, "Write a whole number, such as 5."),
        ({"blank": "GL-000000"}, "GL-000000"),
        ({"price": "-3"}, "is below zero"),
        ({"place": str(uuid4())}, "That is not one of the choices."),
    ],
)
def test_a_receipt_that_makes_no_sense_leaves_nothing(more: dict[str, Any], words: str) -> None:
    cast = shop()
    answer = signed_in(cast.ruta).post(addresses(cast)["order_receive"][1], receipt(cast, **more))

    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert ToolSet.objects.count() == 0


def test_a_price_that_differs_is_shown_with_what_it_makes_in_all() -> None:
    cast = shop()
    client, (_method, url) = signed_in(cast.ruta), addresses(cast)["order_receive"]
    body = client.post(url, receipt(cast, price="318"), follow=True).content.decode()

    assert "paid $318, $16 more in all" in body


def test_a_receipt_is_taken_back_and_the_order_is_open_again() -> None:
    cast = shop()
    client = signed_in(cast.ruta)
    client.post(addresses(cast)["order_receive"][1], receipt(cast, sets=3))
    assert orders_now(cast.branch)[0].stage == "here"
    act = ToolSet.objects.first().entries.first().act  # type: ignore[union-attr]

    body = client.post(reverse("inventory:receive_undo", args=[act.pk]), follow=True).content.decode()

    assert "Taken back. The labels are blank again." in body
    assert orders_now(cast.branch)[0].stage == "sent"
    assert SetState.objects.exclude(code="").count() == 0


def test_a_promised_day_is_kept_and_shown_and_a_day_before_the_order_is_refused() -> None:
    cast = shop()
    client, url = signed_in(cast.ruta), addresses(cast)["order_promise"][1]
    SupplierWord.objects.create(
        supplier=cast.supplier, lead_working_days=9, valid_from=TODAY - timedelta(days=400), recorded_at=NOW - hours(9)
    )
    page = client.get(reverse("inventory:order", args=[cast.order.pk]))

    # The likely day is the program's guess and no promise: nothing stands in the field until somebody promised.
    assert page.context["promise_form"].initial["day"] is None
    assert any("likely" in stage["note"] for stage in page.context["stages"])
    assert "promised" in client.post(url, {"day": "2025-06-11"}, follow=True).content.decode()
    refused = client.post(url, {"day": "2025-01-01"}, follow=True).content.decode()
    unread = client.post(url, {"day": "soon"}, follow=True).content.decode()

    assert "lies before the order" in refused
    assert "Write a day, such as 2025-05-14." in unread
    assert orders_now(cast.branch)[0].promised_on == TODAY + timedelta(days=28)


def test_an_order_whose_day_has_passed_is_said_to_be_late() -> None:
    cast = shop()
    client = signed_in(cast.ruta)
    client.post(addresses(cast)["order_promise"][1], {"day": "2025-05-20"})

    assert "promised, late" in client.get(addresses(cast)["order"][1]).content.decode()


def test_an_order_is_closed_only_for_a_reason() -> None:
    cast = shop()
    client, url = signed_in(cast.ruta), addresses(cast)["order_close"][1]

    assert "Say why nothing more will come." in client.post(url, {"why": " "}, follow=True).content.decode()
    body = client.post(url, {"why": "out of make"}, follow=True).content.decode()

    assert "0 of 3 sets came, the order is closed" in body
    assert "out of make" in body
    assert OrderEvent.objects.filter(what="closed").count() == 1


def test_a_counter_purchase_needs_no_order() -> None:
    cast = shop()
    form = receipt(cast, tool_type=cast.types[0].pk, supplier=cast.supplier.pk, price="299")
    client = signed_in(cast.ruta)

    body = client.post(reverse("inventory:receive"), form, follow=True).content.decode()
    empty = client.post(reverse("inventory:receive"), receipt(cast))

    assert "2 sets are here under labels" in body
    assert f"{reverse('inventory:labels')}?codes=GL-" in body
    assert ReceiptLine.objects.filter(price=Decimal("299")).count() == 2
    assert empty.status_code == 422


def test_who_may_buy_but_not_see_money_sees_none_and_orders_at_the_price_that_stands() -> None:
    cast = shop()
    PersonRight.objects.filter(person=cast.ruta, right="see_money").delete()
    Price.objects.create(
        tool_type=cast.types[0], supplier=cast.supplier, price=Decimal("305.00"), currency="USD",
        valid_from=TODAY, recorded_at=NOW,
    )  # fmt: skip
    client = signed_in(cast.ruta)
    for name, (method, url) in addresses(cast).items():
        if method == "get" and name != "orders_xlsx":
            body = client.get(url).content.decode("utf-8-sig")
            assert "310.00" not in body, name
            assert ",310" not in body, name
            assert "$" not in body, name
            assert "USD" not in body, name

    client.post(reverse("inventory:order_new"), order_form(cast))
    client.post(addresses(cast)["order_receive"][1], receipt(cast, price="1"))

    assert Order.objects.exclude(pk=cast.order.pk).get().lines.get().price == Decimal("305.00")
    assert set(ReceiptLine.objects.values_list("price", flat=True)) == {Decimal("310.00")}


@pytest.mark.parametrize("many", [1, 5])
def test_lists_and_pages_ask_a_constant_number_of_questions(many: int, django_assert_num_queries: Any) -> None:
    cast = shop(lines=many)
    for number in range(many):
        place_order(
            cast.ruta, cast.branch, cast.supplier, [Wanted(cast.types[0], 2)], on_day=TODAY, now=NOW + hours(number)
        )
    client = signed_in(cast.ruta)
    client.post(addresses(cast)["order_receive"][1], receipt(cast, sets=2))
    client.get(reverse("inventory:orders"))

    with django_assert_num_queries(8):
        client.get(reverse("inventory:orders"))
    with django_assert_num_queries(18):
        client.get(reverse("inventory:order", args=[cast.order.pk]))


def test_the_day_of_a_receipt_is_the_branch_s_own() -> None:
    # 02:00 UTC on Thursday is Wednesday evening in Chicago.
    cast = shop()
    late = NOW.replace(hour=2) + timedelta(days=1)
    receive(
        who(cast.ruta, cast.device, late), cast.branch, cast.types[0], 1, now=late, rng=random.Random(1),
        order_line=cast.line,
    )  # fmt: skip

    assert orders_now(cast.branch)[0].days_came == [TODAY]
    assert timezone.localdate(late, timezone.get_fixed_timezone(0)) != TODAY
