"""In a real browser: names of 80 letters without a blank break on a phone; the page never scrolls sideways."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from inventory.actions.ledger import NewLine
from inventory.models import Place, ToolType
from tests.cast import NOW, make_cast, make_machine, make_outing, make_place, make_set, make_supplier, make_type, write

pytestmark = pytest.mark.django_db(transaction=True)
LETTERS = "Diamantschleifscheibenaufbewahrungsregalbeschriftungsverantwortliche"


def long(first: str) -> str:
    """A name of 80 letters, as long as any may be."""
    return (first + LETTERS * 2)[:80]


@pytest.fixture
def cast(page: Any, sign_in: Callable[[Any], Any]) -> Any:
    """The cast under long names, its owner signed in on a phone."""
    cast = make_cast()
    for person in (cast.olga, cast.ines):
        person.name = long(person.sign_in)
        person.save(update_fields=["name"])
    cast.supplier = make_supplier(long("supplier"))
    cast.type = make_type(name=long("type"), supplier=cast.supplier)
    cast.rack, cast.tub = make_place(cast.branch, name=long("rack")), make_place(cast.branch, "tub", long("tub"))
    make_machine(cast.branch)
    cast.set = make_set(cast, cast.type, cast.rack)
    cast.outing = make_outing(cast.branch, long("outing"), leaves_at=NOW)
    in_water = make_set(cast, cast.type, cast.rack)
    write(cast, NewLine("soak_begun", in_water, None, {"to_place": cast.tub}))
    sign_in(cast.olga)
    page.set_viewport_size({"width": 390, "height": 844})
    return cast


def test_long_names_never_scroll_a_phone_sideways(page: Any, live_server: Any, cast: Any) -> None:
    paths = [
        reverse(f"inventory:{name}", args=args)
        for name, *args in (
            *(("shop",), ("people",), ("tool_types",), ("types_supplier",), ("suppliers",), ("machines",), ("places",)),
            *(("rack",), ("soak",), ("outings",), ("labels",), ("scan",), ("order_new",), ("counts",), ("me",)),
            *(("tool_type", cast.type.pk), ("supplier", cast.supplier.pk), ("person", cast.olga.pk)),
            *(("place", cast.rack.pk), ("place_phone", cast.rack.pk), ("tub", cast.tub.pk)),
            *(("toolset", cast.set.pk), ("set_phone", cast.set.pk), ("scan_out", cast.outing.pk)),
        )
    ]
    wide = {}
    for path in [*paths, "/find/?q=" + LETTERS, "/find/?q=" + "x" * 120]:
        assert page.goto(live_server.url + path).ok, path
        width = page.evaluate("document.documentElement.scrollWidth")
        if width > 390:
            wide[path] = width
    assert wide == {}
    assert ToolType.objects.get().name == long("type")
    assert Place.objects.filter(name=long("rack")).exists()


def test_at_the_desk_a_set_takes_the_desks_width(page: Any, live_server: Any, cast: Any) -> None:
    page.set_viewport_size({"width": 1280, "height": 800})
    page.goto(live_server.url + reverse("inventory:set_phone", args=[cast.set.pk]))
    who, part = (page.locator(css).first.bounding_box() for css in (".set-who", ".set-part"))
    assert part["x"] >= who["x"] + who["width"]
    assert abs(part["y"] - who["y"]) < 2
    assert part["x"] + part["width"] > 1200
    page.set_viewport_size({"width": 390, "height": 844})
    who, part = (page.locator(css).first.bounding_box() for css in (".set-who", ".set-part"))
    assert part["y"] >= who["y"] + who["height"]
