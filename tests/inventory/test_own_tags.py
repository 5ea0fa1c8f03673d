"""The tag a set had before its label: on the label, beside the code on screens, and taken where codes are."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from django.test import Client
from django.urls import reverse

from inventory.labels import LabelFace, code_address, draw_roll, label_sizes
from inventory.models import SetState, ToolSet
from inventory.rack_picture import brief_names
from tests.cast import make_set
from tests.inventory.worn_print import printed_dots

pytestmark = pytest.mark.django_db

CODE = "GL-7K2M46"
ROLLS = [size for size in label_sizes().values() if size.kind == "roll"]


@pytest.fixture
def shop(custody_shop: SimpleNamespace) -> SimpleNamespace:
    """The shop of tests/inventory/conftest.py; its dry set has the own tag D-01."""
    ToolSet.objects.filter(pk=custody_shop.dry.pk).update(own_code="D-01")
    return custody_shop


def face(own: str) -> LabelFace:
    address = code_address("https://shop.example", CODE)
    return LabelFace(CODE, address, "3000", "metal", "3 in. × 9, soak", "", "metal", 2, 10, own=own)


def words_on(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    words: str = document[0].get_textpage().get_text_bounded()
    document.close()
    return words


@pytest.mark.parametrize("size", ROLLS, ids=[size.key for size in ROLLS])
def test_every_size_carries_the_own_tag_and_nothing_else_moves(size: Any) -> None:
    dpi = min(size.dots_per_module)
    without, with_tag = (draw_roll([face(own)], size, dpi) for own in ("", "D-01"))
    assert "D-01" in words_on(with_tag)
    assert "D-01" not in words_on(without)
    assert "3000" in words_on(with_tag)
    # Square, grit and code are dot for dot the same: what changed lies in the lowest part of the label.
    a, b = printed_dots(without, dpi, 0), printed_dots(with_tag, dpi, 0)
    lowest = int(np.argwhere((a != b).any(axis=1)).min())
    assert lowest > 0.65 * a.shape[0]
    square = int(0.45 * a.shape[1])
    assert (a[:, : square // 2] == b[:, : square // 2]).all()


def test_a_long_tag_keeps_its_end_and_lets_size_and_soak_stand() -> None:
    (size,) = (one for one in ROLLS if one.key == "roll-57x32")
    words = words_on(draw_roll([face("SHELF 7 / 2023-014b")], size, 203))
    assert "14b" in words
    assert "SHELF" not in words
    assert "× 9, soak" in words


def test_a_printed_label_shows_which_set_it_goes_on(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.teo)
    form = {"what": "chosen", "codes": "D-01", "size": "roll-57x32", "dpi": "203", "start_at": 1, "copies": 1}
    ready = client.post(reverse("inventory:labels"), form | {"act_id": str(uuid4())})
    assert ready.status_code == 302
    page = client.get(ready["Location"]).content.decode()
    assert shop.dry_code in page
    assert "D-01" in page
    pdf = client.get(ready["Location"] + "labels.pdf").getvalue()  # type: ignore[attr-defined]
    assert "D-01" in words_on(pdf)
    document = pypdfium2.PdfDocument(pdf)
    read = zxingcpp.read_barcode(document[0].render(scale=4).to_pil().convert("L"))
    assert read is not None
    assert read.text.endswith(shop.dry_code)
    document.close()


def test_a_chosen_set_without_a_label_gets_one_by_its_own_tag(shop: SimpleNamespace, client: Client) -> None:
    bare = make_set(shop.cast, shop.dry.tool_type, shop.rack, at=shop.now)
    ToolSet.objects.filter(pk=bare.pk).update(own_code="rack 7")
    client.force_login(shop.cast.teo)
    form = {"what": "chosen", "size": "roll-57x32", "dpi": "203", "start_at": 1, "copies": 1}
    sent = form | {"codes": f"rack 7\nD-01, {shop.metal_code}", "act_id": str(uuid4())}
    page = client.post(reverse("inventory:labels"), sent, follow=True).content.decode()
    code = SetState.objects.get(pk=bare.pk).code
    assert code
    assert page.index(code) < page.index(shop.dry_code) < page.index(shop.metal_code)
    assert "3 labels are ready" in page


def test_an_own_tag_nobody_or_two_have_is_refused_in_words(shop: SimpleNamespace, client: Client) -> None:
    ToolSet.objects.filter(pk=shop.metal.pk).update(own_code="d-01")
    client.force_login(shop.cast.teo)
    form = {"what": "chosen", "size": "roll-57x32", "dpi": "203", "start_at": 1, "copies": 1}
    for codes, words in (("D-01", "Several sets have the own tag “D-01”"), ("D-99", "own tag “D-99”. Look how")):
        answer = client.post(reverse("inventory:labels"), form | {"codes": codes, "act_id": str(uuid4())})
        assert answer.status_code == 422
        assert words in answer.content.decode()


def test_set_page_card_rack_list_and_soak_show_the_own_tag(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.ines)
    ToolSet.objects.filter(pk=shop.metal.pk).update(own_code="D-02")
    both = f"{shop.dry_code} · D-01"
    for address in (
        reverse("inventory:set_phone", args=[shop.dry.pk]),
        reverse("inventory:toolset", args=[shop.dry.pk]),
        reverse("inventory:rack") + "?view=list",
        reverse("inventory:rack_grit", args=[shop.dry.tool_type.pk]),
        reverse("inventory:soak_put"),
        reverse("inventory:find") + "?q=D-0",
    ):
        assert both in client.get(address).content.decode(), address


def test_a_code_that_is_its_own_tag_is_said_once(shop: SimpleNamespace) -> None:
    ToolSet.objects.filter(pk=shop.dry.pk).update(own_code=shop.dry_code.lower())
    state = SetState.objects.select_related("tool_set").get(pk=shop.dry.pk)
    assert state.shown_code == shop.dry_code


def test_under_a_gauge_stands_what_tells_the_sets_of_a_row_apart() -> None:
    rows = [("GL-45N7EN", "D-01"), ("GL-7K2M46", ""), ("M 70 / 12", "")]
    assert brief_names(rows) == ["D-01", "M46", "12"]
    # Own tags that end alike would say the same thing four times: the code's end is on the label too.
    alike = [("GL-45N7EN", "2023-00a"), ("GL-7K2M46", "2024-00a"), ("2025-00a", "")]
    assert brief_names(alike) == ["7EN", "M46", "00a"]
