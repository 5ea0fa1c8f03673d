"""The words of Tonight's mends: what still helps a set that soaks too long, why another set goes, one rounding."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any
from unittest import mock

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.ledger import NewLine
from inventory.models.choices import PlaceKind, SoakNeed
from inventory.queries.count import places_to_count
from inventory.queries.measuring import Worth
from inventory.views.measuring import why
from jobs.actions.reservation import reserve
from tests.cast import NOW, hours, make_place, write
from tests.jobs.test_tonight import make_evening, one_set, worn

pytestmark = pytest.mark.django_db


def tonight(night: SimpleNamespace, client: Client) -> Any:
    client.force_login(night.cast.ines)
    with mock.patch("django.utils.timezone.now", return_value=NOW):
        return client.get(reverse("jobs:shop_day") + "?show=tonight")


def test_a_set_that_soaks_too_long_can_start_later_and_it_is_said_when(client: Client) -> None:
    night = make_evening(soak_need=SoakNeed.REQUIRED)
    tub = make_place(night.cast.branch, "tub", "Tub 1")
    write(night.cast, NewLine("soak_begun", one_set(night, "GL-WET"), None, {"to_place": tub}), at=NOW - hours(2))
    (mend,) = tonight(night, client).context["mends"]
    later = mend["others"][0]
    # 70 h from Wednesday 09:50 in Chicago.
    assert later["label"] == "Start later: it is ready Sat 07:50"
    assert later["url"] == reverse("jobs:plan", args=[night.job.pk])


def test_another_set_that_is_offered_says_why_it_and_not_a_fuller_one(client: Client) -> None:
    night = make_evening()
    stub, used, _full = (one_set(night, code) for code in ("GL-STUB", "GL-USED", "GL-FULL"))
    worn(night, used, 3_000)
    write(night.cast, NewLine("measured", stub, None, {"lowest_height_mm": 2.3}), at=NOW - hours(90))
    reserve(night.cast.ines, night.job, night.step.key, stub, now=NOW)
    (mend,) = tonight(night, client).context["mends"]
    assert mend["action"]["label"] == "Take GL-USED instead"
    assert "Of those that are enough it has the least left" in mend["action"]["detail"]


def test_a_floor_is_rounded_alike_on_tonight_and_on_its_jobs_page(client: Client) -> None:
    night = make_evening()
    one_set(night, "GL-NEW")
    said = tonight(night, client).context["lines"][0]["area"]
    assert said == "10,764\xa0ft²"
    page = client.get(reverse("jobs:job", args=[night.job.pk])).content.decode()
    assert said in page


def test_one_trouble_or_two_show_their_reasons_on_a_phone_without_a_press(client: Client) -> None:
    night = make_evening(soak_need=SoakNeed.REQUIRED)
    one_set(night, "GL-DRY")
    assert [mend["folded"] for mend in tonight(night, client).context["mends"]] == [False]


def test_a_count_offers_no_site_without_a_set() -> None:
    night = make_evening()
    full = make_place(night.cast.branch, PlaceKind.SITE, "Marrow Street")
    make_place(night.cast.branch, PlaceKind.SITE, "Pell Road")
    write(night.cast, NewLine("moved", one_set(night, "GL-ONE"), None, {"to_place": full}), at=NOW)
    rows = places_to_count(night.cast.branch, [PlaceKind.SITE, PlaceKind.RACK])
    assert [row.place.name for row in rows if row.place.kind == PlaceKind.SITE] == ["Marrow Street"]


@pytest.mark.parametrize(
    ("chance", "then"),
    [
        (0.25, "A height may show that it is enough."),
        (0.75, "A height makes it yes or no."),
        (0.93, "A height may show that it falls short."),
    ],
)
def test_a_height_makes_yes_or_no_only_of_what_is_tight(chance: float, then: str) -> None:
    night = make_evening()
    state = one_set(night, "GL-ONE").state
    worth = Worth(state, 0.2, chance, 0.05, 0.97, 900.0, None, finish_limit=0.9, tight_limit=0.6)
    assert why(worth, night.cast.ines).endswith(then)
