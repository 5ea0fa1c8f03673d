"""Lives of a type, floor factors and how life left is worked out, on a phone: nothing runs over, and what axe sees."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from inventory.actions.ledger import NewLine
from inventory.actions.lives import refit
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, write
from tests.inventory.test_estimate import wear_out, worked

pytestmark = pytest.mark.django_db(transaction=True)


def broken_rules(page: Any) -> list[str]:
    """The rules of WCAG 2.2 A and AA that axe-core finds broken on a page."""
    from axe_playwright_python.sync_playwright import Axe

    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": tags}})
    return [f"{rule['id']}: {rule['nodes'][0]['html'][:120]}" for rule in found.response["violations"]]


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_the_pages_of_lives_fit_a_phone_and_break_no_rule(
    live_server: Any, page: Any, sign_in: Callable[[Any], Any], mode: str
) -> None:
    cast, tool_type = make_cast(), make_type()
    for number in range(3):
        wear_out(cast, tool_type, 3500 + 300 * number, number + 1)
    used = make_set(cast, tool_type, make_place(cast.branch), code="GL-7K2M46")
    worked(cast, used, 900, 1, 60)
    write(cast, NewLine("measured", used, None, {"lowest_height_mm": 9.6}), at=NOW + hours(4))
    refit(now=NOW + hours(5))
    sign_in(cast.olga)
    page.emulate_media(color_scheme=mode)
    names = ("type_life", "how_life", "floor_factors", "refit")
    for name in names:
        url = reverse(f"inventory:{name}", args=[tool_type.pk] if name == "type_life" else [])
        page.goto(live_server.url + url)
        assert page.evaluate("document.documentElement.scrollWidth") == 390, name
        assert broken_rules(page) == [], name


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_the_pages_of_wear_pieces_photos_and_claims_fit_a_phone_and_break_no_rule(
    live_server: Any, page: Any, sign_in: Callable[[Any], Any], mode: str
) -> None:
    """A set that wears oddly, one to retire, a leftover, one that failed early: full pages, and refused forms."""
    cast, tool_type = make_cast(), make_type()
    rack = make_place(cast.branch)
    for number in range(6):
        wear_out(cast, tool_type, 5600 + 160 * number, 10 + number)
    used, failed, low = (make_set(cast, tool_type, rack, code=code) for code in ("GL-7K2M46", "GL-3BRCBQ", "GL-ZXH95V"))
    worked(cast, used, 4500, 3, 1)
    worked(cast, failed, 1500, 3, 2)
    write(cast, NewLine("retired", failed, None, {"retired_why": "worn"}), at=NOW + hours(9))
    write(cast, NewLine("measured", low, None, {"lowest_height_mm": 1.9}), at=NOW + hours(10))
    refit(now=NOW + hours(11))
    sign_in(cast.ines)
    page.emulate_media(color_scheme=mode)
    # So high that the bar at the foot lies over nothing: what is under it is scrolled to, and no rule is broken there.
    page.set_viewport_size({"width": 390, "height": 4000})
    addresses = [reverse("inventory:wear"), reverse("inventory:set_claim", args=[failed.pk])]
    addresses += [reverse("inventory:set_claim", args=[used.pk]), reverse("inventory:set_photos", args=[used.pk])]
    addresses += [reverse("inventory:set_act", args=[used.pk, name]) for name in ("pieces", "join", "dress", "measure")]
    addresses += [reverse("inventory:toolset", args=[one.pk]) for one in (used, low)]
    addresses += [reverse("inventory:set_phone", args=[low.pk])]
    for url in addresses:
        page.goto(live_server.url + url)
        assert page.evaluate("document.documentElement.scrollWidth") == 390, url
        assert broken_rules(page) == [], url
    for name in ("pieces", "join", "dress", "measure"):
        page.goto(live_server.url + reverse("inventory:set_act", args=[used.pk, name]))
        page.locator("main form button[type=submit], main form button.fill").last.click()
        page.wait_for_load_state()
        assert page.evaluate("document.documentElement.scrollWidth") == 390, name
        assert broken_rules(page) == [], name
