"""The verdict and the counter stay on the screen, however many codes are typed one after the other."""

from __future__ import annotations

import random
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone
from pytest_django.live_server_helper import LiveServer

from inventory.actions.count import begin_count
from inventory.actions.ledger import NewLine
from inventory.codes import new_code
from inventory.models import Label, SetState
from tests.cast import hours, make_cast, make_outing, make_place, make_set, make_type, who, write

pytestmark = pytest.mark.django_db(transaction=True)
SIZES = [(390, 700), (1280, 700)]


@pytest.fixture
def ten() -> SimpleNamespace:
    """Ten metals on a rack, and an outing that leaves soon."""
    now, rng = timezone.now(), random.Random(11)
    cast = make_cast()
    rack = make_place(cast.branch, name="Rack B")
    metal = make_type("70", "metal", 1, soak_need="none")
    codes = [new_code(rng) for _number in range(10)]
    sets = [make_set(cast, metal, rack, at=now - hours(100), code=code) for code in codes]
    outing = make_outing(
        cast.branch, "Osprey Lane", leaves_at=now + hours(3), due_at=now + hours(15), made_at=now - hours(1)
    )
    return SimpleNamespace(cast=cast, rack=rack, codes=codes, sets=sets, outing=outing, now=now)


def type_scan(page: Any, text: str) -> None:
    done = int(page.evaluate("document.documentElement.dataset.scans || 0"))
    page.keyboard.type(text, delay=5)
    page.keyboard.press("Enter")
    page.wait_for_selector(f"html[data-scans='{done + 1}']")


def in_view(page: Any, selector: str) -> bool:
    """Whether the upper edge of what is shown lies on the screen, above the bar at its foot."""
    top, foot = page.evaluate(
        "s => [document.querySelector(s).getBoundingClientRect().top,"
        " document.querySelector('.scan-foot').getBoundingClientRect().top]",
        selector,
    )
    return bool(-1 <= top < foot)


def check_scans(page: Any, url: str, codes: list[str], *seen: str) -> None:
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        page.goto(url)
        for code in codes[:10]:
            type_scan(page, code)
            where = page.evaluate("window.scrollY")
            assert where == 0, (width, code, where)
            assert all(in_view(page, selector) for selector in seen), (width, code)
            assert page.evaluate("document.activeElement.id") == "code"


def test_ten_codes_typed_out_keep_the_verdict_and_the_counter_in_view(
    ten: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    page = sign_in(ten.cast.teo)
    check_scans(page, live_server.url + reverse("inventory:scan_out", args=[ten.outing.pk]), ten.codes,
                ".verdict", "[data-scan-count]")  # fmt: skip


def test_ten_codes_typed_in_keep_the_verdict_and_the_counter_in_view(
    ten: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    page = sign_in(ten.cast.teo)
    check_scans(page, live_server.url + reverse("inventory:scan_in"), ten.codes, ".verdict", "[data-scan-count]")


def test_ten_codes_counted_keep_the_last_scan_in_view(
    ten: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    count = begin_count(who(ten.cast.ines, ten.cast.device), ten.cast.branch, ten.rack, now=ten.now)
    page = sign_in(ten.cast.ines)
    check_scans(page, live_server.url + reverse("inventory:count", args=[count.pk]), ten.codes, ".count-last")


def test_a_racks_label_scanned_after_another_place_was_chosen_takes_the_next_sets(
    ten: SimpleNamespace, live_server: LiveServer, sign_in: Callable[[Any], Any]
) -> None:
    """The page was opened for one rack; the label of the other holds from its scan on, and through a reload."""
    attic, code = make_place(ten.cast.branch, name="Rack C"), new_code(random.Random(5))
    Label.objects.create(code=code, branch=ten.cast.branch, made_at=ten.now)
    write(ten.cast, NewLine("labelled", None, attic, {"code_id": code}), at=ten.now)
    page = sign_in(ten.cast.teo)
    page.goto(live_server.url + reverse("inventory:scan_in") + f"?place={ten.rack.pk}")
    type_scan(page, code)
    assert page.locator("h1").inner_text() == "Rack C"
    type_scan(page, ten.codes[0])
    assert SetState.objects.get(pk=ten.sets[0].pk).place_id == attic.pk
    page.reload()
    assert page.locator("h1").inner_text() == "Rack C"
