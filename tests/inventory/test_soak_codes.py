"""The lanes of a tub say which sets they are, and long words keep off the gauges and drops."""

from __future__ import annotations

import re
from datetime import timedelta
from types import SimpleNamespace

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.soak import put_in
from inventory.models import ToolSet
from inventory.soak_picture import Lane, Scale, Water, vessel
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, who


def scale() -> Scale:
    start = NOW - timedelta(days=2)
    days = [(start + timedelta(days=n), f"day {n}", n == 2) for n in range(6)]
    return Scale(days, start + timedelta(days=6), NOW, "now")


def texts(drawing: str) -> list[tuple[str, float, float, str]]:
    """Class, x, y and words of each text."""
    found = re.findall(r'<text class="([^"]+)"[^>]*? x="([\d.]+)" y="([\d.]+)">([^<]*)</text>', drawing)
    return [(css, float(x), float(y), words) for css, x, y, words in found]


def test_words_of_a_soak_that_is_over_stand_right_of_its_drop_however_long_they_are() -> None:
    words = "Soaked Mon 23 Nov 20:00, back in water before it dried out, not confirmed by anybody"
    lane = Lane("3000", [], "soaked", NOW - hours(60), NOW - hours(40), words, "GL-7K2M46 · D-01")
    drawing = vessel([lane], Water(()), scale(), "")
    drop = float(re.findall(r'class="g-dh" transform="translate\(([\d.]+) ', drawing)[0])
    said = [one for one in texts(drawing) if "words-ready" in one[0] or "lane-codes" in one[0]]
    assert all(x > drop and x + 9.6 * len(text) < 640 for _css, x, _y, text in said)
    assert " ".join(text for _css, _x, _y, text in said) == f"{words} · GL-7K2M46 · D-01"


def test_words_that_do_not_fit_right_of_a_drop_stand_left_of_it_and_not_over_it() -> None:
    lane = Lane("200", [], "planned", NOW, NOW + hours(62), "Sat 01:22 if put in now", "GL-7K2M46")
    (bold,) = [one for one in texts(vessel([lane], Water(()), scale(), "")) if "bold" in one[0]]
    assert bold[1] < scale().x(NOW + hours(62)) - 9


@pytest.mark.django_db
def test_soak_names_the_sets_of_each_lane_by_what_is_read_on_them(client: Client) -> None:
    cast = make_cast()
    rack, tub = make_place(cast.branch), make_place(cast.branch, "tub", "Tub 1")
    sets: list[ToolSet] = [make_set(cast, make_type(), rack, at=NOW) for _ in range(5)]
    for number, one in enumerate(sets[:4]):
        ToolSet.objects.filter(pk=one.pk).update(own_code=f"R-{number}")
    put_in(who(cast.ines, cast.device), cast.branch, sets, tub, now=NOW)
    client.force_login(cast.ines)
    (shown,) = client.get(reverse("inventory:soak")).context["tubs"]
    shared: SimpleNamespace = shown.lanes[0]
    assert (shared.count, shared.codes) == (5, "R-0, R-1, R-2 and 1 more")
    assert "400, 5 sets, R-0, R-1, R-2 and 1 more: " in shown.drawing
    assert "R-0, R-1, R-2 and 1 more</text>" in shown.drawing
