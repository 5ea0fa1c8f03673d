"""Doors of pieces, dressing, photos and claims: who may, what is refused, what the paper of a claim says."""

from __future__ import annotations

import io
import json
import random
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pypdfium2
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from inventory.actions.ledger import NewLine
from inventory.actions.photos import MOST_AT_ONCE
from inventory.codes import new_code
from inventory.models import Entry, Order, OrderLine, SetPhoto, SetState, Setting, ToolSet
from inventory.photos import KEPT_SIDE, photo_path, read_photo
from tests.cast import hours, make_branch, make_person, make_set, make_supplier, make_type, uuid, write
from tests.sure import sure_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _own_folder(settings: Any, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path


@pytest.fixture
def shop(custody_shop: SimpleNamespace) -> SimpleNamespace:
    """The shop of tests/inventory/conftest.py, with a second resin 400 and a set that failed early."""
    shop = custody_shop
    rng = random.Random(5)
    shop.second_code, shop.failed_code = new_code(rng), new_code(rng)
    early = shop.now - hours(100)
    shop.second = make_set(shop.cast, shop.dry.tool_type, shop.rack, at=early, code=shop.second_code)
    shop.failed = failed_set(shop, shop.failed_code)
    return shop


def failed_set(shop: SimpleNamespace, code: str, visits: int = 2) -> ToolSet:
    """Received on an order for $318, soaked and confirmed, worn after 2,400 of its rated 6,000 m2 of reference area."""
    cast, at = shop.cast, shop.now - hours(99)
    supplier = make_supplier(f"Quarrymead {code}")
    order = Order.objects.create(
        branch=cast.branch, supplier=supplier, number=f"O-{code}", made_at=at, made_by=cast.ruta
    )
    line = OrderLine.objects.create(
        order=order, tool_type=make_type("400"), sets=1, price=318, currency="USD", recorded_at=at
    )
    tool_set = make_set(cast, make_type("400"), at=at - hours(1))
    write(
        cast,
        NewLine("voided", tool_set, None, {"void_target": Entry.objects.get(tool_set=tool_set).pk, "why": "order"}),
        at=at,
    )
    write(
        cast,
        NewLine("received", tool_set, None, {"branch": cast.branch, "to_place": shop.rack, "order_line": line}),
        at=at,
    )
    write(cast, NewLine("soak_begun", tool_set, None, {"to_place": shop.tub}), at=at + hours(1))
    write(cast, NewLine("conditioning_confirmed", tool_set), at=at + hours(74))
    write(cast, NewLine("scanned_out", tool_set, None, {"outing": shop.outing, "gate": "passed"}), at=at + hours(75))
    for number in range(visits):
        floor = {
            "floor_uuid": uuid(number + 1),
            "visit_uuid": uuid(900 + number),
            "step_key": uuid(1),
            "area_m2": 2400 / visits / 3,
            "passes": 3,
            "hardness": "medium",
            "surface": "worn",
            "coating": "none",
            "wet_dry": "wet",
            "step_kind": "later",
            "basis": "measured",
        }
        write(cast, NewLine("worked", tool_set, None, floor), at=at + hours(76 + number))
    write(cast, NewLine("measured", tool_set, None, {"lowest_height_mm": 2.1}), at=at + hours(90))
    write(cast, NewLine("retired", tool_set, None, {"retired_why": "worn", "lowest_height_mm": 1.9}), at=at + hours(91))
    return tool_set


def opened_set(shop: SimpleNamespace, opening: str) -> ToolSet:
    """Of resin 400, opened as it hung there, without a receipt."""
    at = shop.now - hours(90)
    tool_set = ToolSet.objects.create(tool_type=make_type("400"), made_at=at)
    columns = {"branch": shop.cast.branch, "to_place": shop.rack, "opening_kind": opening}
    write(shop.cast, NewLine("opening", tool_set, None, columns), at=at)
    return tool_set


def picture(colour: str = "red", size: tuple[int, int] = (80, 60), **more: Any) -> SimpleUploadedFile:
    file = io.BytesIO()
    Image.new("RGB", size, colour).save(file, "JPEG", **more)
    return SimpleUploadedFile(f"{colour}.jpg", file.getvalue(), content_type="image/jpeg")


def act(shop: SimpleNamespace, name: str, tool_set: ToolSet | None = None) -> str:
    return reverse("inventory:set_act", args=[(tool_set or shop.dry).pk, name])


def state(tool_set: ToolSet) -> SetState:
    return SetState.objects.get(pk=tool_set.pk)


DOORS: dict[str, tuple[Callable[[SimpleNamespace], str], set[str], str]] = {
    "pieces": (lambda shop: act(shop, "pieces"), {"GET", "POST"}, "teo"),
    "join": (lambda shop: act(shop, "join"), {"GET", "POST"}, "dag"),
    "dress": (lambda shop: act(shop, "dress"), {"GET", "POST"}, "nils"),
    "photos": (lambda shop: reverse("inventory:set_photos", args=[shop.dry.pk]), {"GET", "POST"}, "nils"),
    "photo": (lambda shop: reverse("inventory:set_photo", args=[shop.dry.pk, one_photo(shop).pk]), {"GET"}, "nils"),
    "claim": (lambda shop: reverse("inventory:set_claim", args=[shop.failed.pk]), {"GET", "POST"}, "dag"),
}


def one_photo(shop: SimpleNamespace) -> SetPhoto:
    from inventory.actions.photos import keep_photos

    return keep_photos(shop.cast.ines, shop.dry, [read_photo(picture().read())], now=shop.now)[0]


@pytest.mark.parametrize("name", DOORS)
def test_a_door_opens_for_who_may_and_for_nobody_else(shop: SimpleNamespace, client: Client, name: str) -> None:
    address, methods, barred = DOORS[name]
    url = address(shop)
    answer = client.get(url)
    assert (answer.status_code, answer["Location"].startswith(reverse("inventory:sign_in"))) == (302, True)
    client.force_login(shop.cast.ines)
    assert client.get(url).status_code == 200
    assert client.put(url).status_code == 405
    assert client.post(url).status_code == (422 if "POST" in methods else 405)
    client.force_login(getattr(shop.cast, barred))
    assert client.get(url).status_code == 403
    client.force_login(make_person(make_branch("Quayside shop"), "ove", "Ove K.", "owner"))
    assert client.get(url).status_code == 404
    assert client.get(url.replace(url.split("/")[2], str(uuid4()))).status_code == 404


def test_a_photo_is_taken_away_by_who_added_it_or_settles(shop: SimpleNamespace, client: Client) -> None:
    photo = one_photo(shop)
    url = reverse("inventory:set_photo_remove", args=[shop.dry.pk, photo.pk])
    assert client.post(url)["Location"].startswith(reverse("inventory:sign_in"))
    client.force_login(shop.cast.dag)
    assert client.get(url).status_code == 405
    assert "Ask the shop manager" in client.post(url, follow=True).content.decode()
    assert SetPhoto.objects.filter(removed_at__isnull=True).count() == 1
    client.force_login(shop.cast.ines)
    assert "shown no more" in client.post(url, follow=True).content.decode()
    assert client.post(url).status_code == 404
    assert client.get(reverse("inventory:set_photo", args=[shop.dry.pk, photo.pk])).status_code == 404
    # Sent again it is back: the same picture is one.
    client.post(reverse("inventory:set_photos", args=[shop.dry.pk]), {"photos": picture()})
    assert SetPhoto.objects.get().removed_at is None


def test_pieces_are_changed_from_the_sets_page_and_said_there(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.ines)
    assert client.post(act(shop, "pieces"), {"out": "5", "new": "0"}).status_code == 422
    assert client.post(act(shop, "pieces"), {"out": "2", "new": "0", "act_id": uuid4()}).status_code == 302
    for address in ("set_phone", "toolset"):
        page = client.get(reverse(f"inventory:{address}", args=[shop.dry.pk])).content.decode()
        assert "Remnant: 1 of 3 pieces" in page
        assert "so each piece works 3 times the floor. The life shown counts that (our assumption" in page
    scanned = client.post(reverse("inventory:scan_in"), {"code": shop.dry_code})
    assert scanned.status_code == 200


def test_the_gate_names_a_remnant_and_a_glazed_set(shop: SimpleNamespace, client: Client) -> None:
    write(shop.cast, NewLine("pieces_changed", shop.metal, None, {"pieces": 2}), at=shop.now)
    write(shop.cast, NewLine("trouble", shop.metal, None, {"trouble_kind": "glazed"}), at=shop.now)
    client.force_login(shop.cast.ines)
    page = client.post(reverse("inventory:scan_out", args=[shop.outing.pk]), {"code": shop.metal_code}).content.decode()
    assert "Remnant: 2 of 3 pieces" in page
    assert "Glazed: dress it before it works" in page


def test_pieces_that_differ_are_asked_about_and_kept_when_said_to_be_right(
    shop: SimpleNamespace, client: Client
) -> None:
    client.force_login(shop.cast.ines)
    write(shop.cast, NewLine("measured", shop.dry, None, {"lowest_height_mm": 6.0}), at=shop.now - hours(1))
    form = {"out": "1", "new": "1", "new_height": "9 mm", "act_id": str(uuid4())}
    asked = client.post(act(shop, "pieces"), form)
    assert asked.status_code == 422
    assert "The pieces will differ by" in asked.content.decode()
    assert 'name="sure"' in asked.content.decode()
    assert client.post(act(shop, "pieces"), form | sure_of(asked)).status_code == 302
    assert (state(shop.dry).fitness, state(shop.dry).facts["pieces"]) == ("set_aside", 3)


def test_two_remnants_are_joined_by_code_and_undone_by_undo(shop: SimpleNamespace, client: Client) -> None:
    write(shop.cast, NewLine("pieces_changed", shop.dry, None, {"pieces": 2}), at=shop.now - hours(1))
    client.force_login(shop.cast.ines)
    page = client.get(act(shop, "join")).content.decode()
    assert f"{shop.second_code}, 3 of 3 pieces" in page
    assert shop.metal_code not in page
    form = {"moved": "1", "out": "0", "rest": "retired", "act_id": str(uuid4())}
    assert client.post(act(shop, "join"), form | {"code": shop.metal_code}).status_code == 422
    assert client.post(act(shop, "join"), form).status_code == 422
    assert client.post(act(shop, "join"), form | {"code": shop.second_code}).status_code == 302
    assert (state(shop.dry).facts["pieces"], state(shop.second).facts["pieces"]) == (3, 2)
    assert state(shop.second).fitness == "retired"

    entry = Entry.objects.filter(kind="pieces_changed", tool_set=shop.second).get()
    url = reverse("inventory:entry_correct", args=[shop.second.pk, entry.pk])
    assert client.get(url).status_code == 200
    said = {"moved": "1", "out": "0", "rest": "remnant", "why": "the rest is good", "act_id": str(uuid4())}
    assert client.post(url, said).status_code == 302
    assert (state(shop.second).facts["pieces"], state(shop.second).fitness) == (2, "usable")

    newest = Entry.objects.filter(kind="pieces_changed", tool_set=shop.dry).latest("act__recorded_at")
    void = reverse("inventory:entry_void", args=[shop.dry.pk, newest.pk])
    assert client.post(void, {"why": "another set", "act_id": uuid4()}).status_code == 302
    assert (state(shop.dry).facts["pieces"], state(shop.second).facts["pieces"]) == (2, 3)


def test_a_set_is_dressed_from_its_page_and_the_dressing_corrected_on_its_card(
    shop: SimpleNamespace, client: Client
) -> None:
    client.force_login(shop.cast.ines)
    write(shop.cast, NewLine("trouble", shop.metal, None, {"trouble_kind": "glazed"}), at=shop.now - hours(1))
    page = client.get(reverse("inventory:set_phone", args=[shop.metal.pk])).content.decode()
    assert "Dress it" in page
    first = client.get(act(shop, "dress", shop.metal)).content.decode()
    assert "Its face is glazed." in first
    assert "not known yet: measure before and after" in first
    form = {"medium": "block", "minutes": "10", "before": "8,0 mm", "height": "7.7 mm", "act_id": str(uuid4())}
    assert client.post(act(shop, "dress", shop.metal), form | {"height": "8.4 mm"}).status_code == 422
    asked = client.post(act(shop, "dress", shop.metal), form)  # no work is logged that wore so much
    assert client.post(act(shop, "dress", shop.metal), form | sure_of(asked)).status_code == 302
    assert (state(shop.metal).face, state(shop.metal).facts["dressed_mm"]) == ("open", 0.3)
    assert "took 0.01" in client.get(act(shop, "dress", shop.metal)).content.decode()  # inches

    entry = Entry.objects.get(kind="dressed")
    url = reverse("inventory:entry_correct", args=[shop.metal.pk, entry.pk])
    page = client.get(url).content.decode()
    assert 'value="7.7 mm"' in page
    said = {"medium": "sand", "minutes": "12", "before": "8 mm", "height": "7.7 mm", "why": "on sand"}
    assert client.post(url, said | {"act_id": str(uuid4())}).status_code == 302
    again = Entry.objects.filter(kind="dressed").latest("act__recorded_at")
    assert (again.dress_medium, again.lowest_height_mm, again.before_height_mm) == ("sand", 7.7, 8.0)


def test_heights_are_typed_one_by_one_or_lowest_and_mean(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.teo)
    page = client.get(act(shop, "measure") + "?each=1").content.decode()
    assert ("Piece 1" in page, "Piece 3" in page, "Piece 4" in page) == (True, True, False)
    form = {"each": "1", "height": "9 mm", "height_2": "8,6 mm", "height_3": "0.35 in", "act_id": str(uuid4())}
    asked = client.post(act(shop, "measure"), form)  # no work is logged that wore so much
    assert client.post(act(shop, "measure"), form | sure_of(asked)).status_code == 302
    entry = Entry.objects.get(kind="measured", tool_set=shop.dry)
    assert (entry.lowest_height_mm, entry.amount_value, entry.amount_unit) == (8.6, "8.6", "mm")
    assert list(entry.piece_rows.order_by("position").values_list("height_mm", flat=True)) == [9.0, 8.6, 8.89]

    form = {"height": "8.5 mm", "mean": "8.7 mm", "act_id": str(uuid4())}
    assert "Mean of all pieces" in client.get(act(shop, "measure")).content.decode()
    assert client.post(act(shop, "measure"), form).status_code == 302
    assert state(shop.dry).facts["mean_height_mm"] == 8.7
    # Corrected piece by piece, where it was typed so.
    client.force_login(shop.cast.ines)
    url = reverse("inventory:entry_correct", args=[shop.dry.pk, entry.pk])
    page = client.get(url).content.decode()
    assert ("Piece 3" in page, 'value="8.89 mm"' in page) == (True, True)


# --- photos ---


def test_photos_go_with_a_trouble_and_with_the_end(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.ines)
    form = {"trouble": "chipped", "act_id": str(uuid4()), "photos": [picture("red"), picture("blue")]}
    assert client.post(act(shop, "trouble"), form).status_code == 302
    assert SetPhoto.objects.filter(tool_set=shop.dry, act__entries__kind="trouble").count() == 2
    form = {"retired_why": "broken", "act_id": str(uuid4()), "photos": [picture("red"), picture("green")]}
    assert client.post(act(shop, "retire"), form).status_code == 302
    assert SetPhoto.objects.filter(tool_set=shop.dry).count() == 3
    page = client.get(reverse("inventory:set_photos", args=[shop.dry.pk])).content.decode()
    assert "3 photos" in page


def test_a_photo_is_kept_upright_small_and_without_its_place(shop: SimpleNamespace, client: Client) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # turned by a quarter
    exif.get_ifd(0x8769)[0x9003] = "2025:05:14 16:50:00"
    exif.get_ifd(0x8825)[1] = "N"
    client.force_login(shop.cast.teo)
    url = reverse("inventory:set_photos", args=[shop.dry.pk])
    assert client.post(url, {"photos": picture(size=(3000, 1000), exif=exif)}).status_code == 302
    row = SetPhoto.objects.get()
    assert (row.width, row.height) == (round(KEPT_SIDE / 3), KEPT_SIDE)
    assert row.taken_at is not None
    assert row.taken_at.isoformat() == "2025-05-14T21:50:00+00:00"  # Chicago's summer time
    with Image.open(photo_path(row.pk)) as kept:
        assert (kept.size, dict(kept.getexif())) == ((row.width, row.height), {})
    served = client.get(reverse("inventory:set_photo", args=[shop.dry.pk, row.pk]))
    assert (served["Content-Type"], served.content[:2]) == ("image/jpeg", b"\xff\xd8")
    assert (served["X-Content-Type-Options"], served["Cache-Control"]) == ("nosniff", "private, no-store")


def test_what_is_no_photo_or_too_many_is_refused(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.teo)
    url = reverse("inventory:set_photos", args=[shop.dry.pk])
    text = SimpleUploadedFile("a.jpg", b"not a photo", content_type="image/jpeg")
    assert "One of the files is no photo." in client.post(url, {"photos": text}).content.decode()
    many = [picture(size=(20 + number, 20)) for number in range(MOST_AT_ONCE + 1)]
    assert "9 photos were sent, at most 8 go at once." in client.post(url, {"photos": many}).content.decode()
    assert "Choose a file first" in client.post(url, {}).content.decode() or client.post(url, {}).status_code == 422
    assert not SetPhoto.objects.exists()
    assert not photo_path(uuid4()).parent.exists()


# --- claims ---


def claim(client: Client, tool_set: ToolSet, **more: Any) -> str:
    """The text of the PDF of a claim."""
    form = {"supplier": "Quarrymead", "asks": "A new set.\nOr part of the price.", "contact": "Ines O."} | more
    page = client.post(reverse("inventory:set_claim", args=[tool_set.pk]), form, follow=True).content.decode()
    assert "Open the PDF" in page
    answer = client.get(reverse("inventory:set_claim_pdf", args=[tool_set.pk]))
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    document = pypdfium2.PdfDocument(answer.content)
    text = "\n".join(page.get_textpage().get_text_bounded() for page in document)
    return " ".join(text.replace("\u00a0", " ").split())


def test_an_early_end_is_offered_on_its_page_and_card_and_nothing_else_is(
    shop: SimpleNamespace, client: Client
) -> None:
    client.force_login(shop.cast.ines)
    for address in ("set_phone", "toolset"):
        page = client.get(reverse(f"inventory:{address}", args=[shop.failed.pk])).content.decode()
        assert "Claim to its supplier" in page
        assert "It ended at 40\u00a0% of its rating" in page
        assert (
            "Claim to its supplier"
            not in client.get(reverse(f"inventory:{address}", args=[shop.dry.pk])).content.decode()
        )
    none = client.get(reverse("inventory:set_claim", args=[shop.dry.pk])).content.decode()
    assert "Nothing to claim here" in none
    assert "It is not retired: while it may go on, nothing has ended early." in none
    Setting.objects.create(
        branch=shop.cast.branch, key="claim_share", value="0.3", valid_from="2024-01-01", recorded_at=shop.now
    )
    page = client.get(reverse("inventory:toolset", args=[shop.failed.pk])).content.decode()
    assert "Claim to its supplier" not in page


def test_a_claim_says_what_the_ledger_says(shop: SimpleNamespace, client: Client) -> None:
    shop.cast.ines.units = "metric"
    shop.cast.ines.save()
    client.force_login(shop.cast.ines)
    text = claim(client, shop.failed, photos=[picture("red")])
    for words in (
        "Claim for tool set resin 400",
        "To Quarrymead",
        "Questions to Ines O.",
        "A new set. Or part of the price.",
        "polished 2,400 m² of worked area, which is area times passes. It is rated for 6,000 m². By worked area it did "
        "40 % of that; by reference area, which weighs each floor by what it costs a set, it did 2,400 m², or 40 %.",
        "It does not say why the set ended.",
        f"Order O-{shop.failed_code}",
        "Floor 1",
        "Floor 2",
        "medium, worn by traffic, wet",
        "In all 2,400 m² 2,400 m²",
        "2.1 mm",
        "1.9 mm",
        "Tub 1",
        "Its type asks for 72 h in cold water, or 31 h at or above 54.4 °C. It left the shop 1 time. "
        "1 time it was conditioned as asked.",
        "Retired: worn.",
        "1. added",
        "Page 1 of ",
        "Printed ",
        "Millrace shop",
    ):
        assert words in text, words
    assert "318" not in text  # Ines may not see money
    shop.cast.olga.units = "metric"
    shop.cast.olga.save()
    client.force_login(shop.cast.olga)
    assert "Price $318" in claim(client, shop.failed).replace(".00", "")


def test_a_claim_says_how_it_left_and_where_no_receipt_or_photo_is(shop: SimpleNamespace, client: Client) -> None:
    """Opened as new without a receipt, sent out once dry all the same and once without anybody asking."""
    cast, at = shop.cast, shop.now - hours(90)
    opened = opened_set(shop, "new")
    for number, gate in enumerate(("overridden", "not_asked")):
        out: dict[str, Any] = {"outing": shop.outing, "gate": gate, "why": "soaks on site"}
        if gate == "not_asked":
            del out["why"]
        write(cast, NewLine("scanned_out", opened, None, out), at=at + hours(2 + 4 * number))
        write(cast, NewLine("scanned_in", opened, None, {"to_place": shop.rack}), at=at + hours(4 + 4 * number))
    write(cast, NewLine("retired", opened, None, {"retired_why": "broken"}), at=at + hours(60))
    client.force_login(cast.ines)
    text = claim(client, opened)
    assert "no receipt is on record" in text
    left = "It left the shop 2 times. 1 time it was not, and was sent out all the same. 1 time nobody checked."
    assert left in text
    assert "Photos" not in text
    assert "By worked area it did 0 % of that" in text


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"retired_why": "changed_early"}, "It did not end worn or broken."),
        ({"retired_why": "worn", "rated_coverage_m2": None}, "Its tool type has no rating to compare with."),
        ({"retired_why": "worn", "opening": "unknown"}, "Its life before this shop"),
    ],
)
def test_why_there_is_nothing_to_claim_is_said(
    shop: SimpleNamespace, client: Client, facts: dict[str, Any], said: str
) -> None:
    if "opening" in facts:
        ended = opened_set(shop, facts["opening"])
    else:
        rating = {"rated_coverage_m2": facts["rated_coverage_m2"]} if "rated_coverage_m2" in facts else {}
        tool_type = make_type("800", ladder_place=7, **rating)
        ended = make_set(shop.cast, tool_type, shop.rack, at=shop.now - hours(50))
    write(shop.cast, NewLine("retired", ended, None, {"retired_why": facts["retired_why"]}), at=shop.now - hours(1))
    client.force_login(shop.cast.ines)
    assert said in client.get(reverse("inventory:set_claim", args=[ended.pk])).content.decode()


def test_a_claim_takes_the_shops_paper_and_any_letters(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.ines)
    form = {"supplier": "Łódź & <b>Söhne</b>", "asks": "x" * 1990 + "\n漢字", "contact": "Ñandú"}
    url = reverse("inventory:set_claim", args=[shop.failed.pk])

    def size() -> tuple[int, int]:
        assert client.post(url, form).status_code == 302
        page = pypdfium2.PdfDocument(client.get(reverse("inventory:set_claim_pdf", args=[shop.failed.pk])).content)[0]
        return round(page.get_width()), round(page.get_height())

    # ANSI Letter 8.5 x 11 in and ISO 216 A4 210 x 297 mm, in points of 1/72 in.
    assert size() == (612, 792)
    Setting.objects.create(
        branch=shop.cast.branch, key="paper", value="a4", valid_from="2024-01-01", recorded_at=shop.now
    )
    assert size() == (595, 842)
    assert client.post(url, form | {"asks": ""}).status_code == 422


def test_a_claim_asks_the_database_as_often_for_a_long_life_as_for_a_short_one(
    shop: SimpleNamespace, client: Client
) -> None:
    client.force_login(shop.cast.olga)
    long = failed_set(shop, new_code(random.Random(77)), visits=12)
    claim(client, shop.failed)
    counts = []
    for tool_set in (shop.failed, long):
        with CaptureQueriesContext(
            connection,
        ) as caught:
            claim(client, tool_set)
        counts.append(len(caught))
    assert counts[0] == counts[1]
    assert counts[0] <= 40


def test_the_paper_opens_only_for_who_may_and_once_it_is_said_what_it_asks(
    shop: SimpleNamespace, client: Client
) -> None:
    url = reverse("inventory:set_claim_pdf", args=[shop.failed.pk])
    assert client.get(url)["Location"].startswith(reverse("inventory:sign_in"))
    client.force_login(shop.cast.dag)
    assert client.get(url).status_code == 403
    client.force_login(shop.cast.ines)
    assert client.post(url).status_code == 405
    asks = reverse("inventory:set_claim", args=[shop.failed.pk])
    assert client.get(url)["Location"] == asks
    assert client.get(reverse("inventory:set_claim_pdf", args=[uuid4()])).status_code == 404
    claim(client, shop.failed)
    # What was said stays in the form, to be said better.
    assert "Or part of the price." in client.get(asks).content.decode()
    client.force_login(make_person(make_branch("Quayside shop"), "ove", "Ove K.", "owner"))
    assert client.get(url).status_code == 404


def test_the_paper_setting_is_read_and_refused_in_words(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.olga)
    url = reverse("inventory:setting", args=["paper"])
    assert "Letter" in client.get(url).content.decode()
    day = "2025-01-01"
    refused = client.post(url, {"value": "A3", "valid_from": day})
    assert (refused.status_code, "cannot be read" in refused.content.decode()) == (422, True)
    assert client.post(url, {"value": "A4", "valid_from": day}).status_code == 302
    assert json.dumps(list(Setting.objects.values_list("value", flat=True))) == '["a4"]'
