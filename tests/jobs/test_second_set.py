"""The second of two sets: it counts only if it will be ready itself, on Tonight, at the choice, at the gate."""

from __future__ import annotations

from types import SimpleNamespace
from unittest import mock

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.ledger import NewLine
from inventory.models import SetState, ToolSet
from inventory.models.choices import SoakNeed
from inventory.queries.soak import waters_of
from jobs.actions.reservation import reserve_for_night
from jobs.actions.shift import outing_of_shift
from jobs.queries.choice import options_of
from jobs.queries.plan import night_of
from jobs.queries.tonight import leaving_tonight
from tests.cast import NOW, hours, make_place, write
from tests.jobs.test_tonight import cell, make_evening, one_set

pytestmark = pytest.mark.django_db


def wet(night: SimpleNamespace, tool_set: ToolSet, *, back_on_rack: float | None = None) -> None:
    """Soaked through, confirmed; back on the rack so many hours before NOW, else still in its tub."""
    tub = make_place(night.cast.branch, "tub", f"Tub {tool_set.pk}")
    write(night.cast, NewLine("soak_begun", tool_set, None, {"to_place": tub}), at=NOW - hours(200))
    write(night.cast, NewLine("conditioning_confirmed", tool_set), at=NOW - hours(50))
    if back_on_rack is not None:
        write(night.cast, NewLine("moved", tool_set, None, {"to_place": night.rack}), at=NOW - hours(back_on_rack))


@pytest.fixture
def pair() -> SimpleNamespace:
    """Two 400s that finish tonight only together; the first is conditioned in its tub, the second is dry."""
    night = make_evening(soak_need=SoakNeed.REQUIRED, rated_coverage_m2=4_800.0)
    night.first, night.second = one_set(night, "GL-ONE"), one_set(night, "GL-TWO")
    wet(night, night.first)
    one = reserve_for_night
    one(night.cast.ines, night.job, night.shift.key, night.step.key, night.first, now=NOW, second=night.second)
    return night


def test_a_dry_second_set_does_not_count(pair: SimpleNamespace) -> None:
    found = cell(pair)
    assert (found.key, found.second_key) == ("no", "dry")
    (leaving,) = leaving_tonight(pair.cast.branch, NOW)
    assert (leaving.enough, leaving.complete) == ("no", False)


def test_a_second_set_that_is_conditioned_counts(pair: SimpleNamespace) -> None:
    wet(pair, pair.second)
    found = cell(pair)
    assert (found.key, found.second_key) == ("ready", "ready")
    assert found.chance is not None
    assert found.chance >= 0.9
    (leaving,) = leaving_tonight(pair.cast.branch, NOW)
    assert (leaving.enough, leaving.complete) == ("yes", True)


def test_a_second_set_that_waits_to_be_confirmed_keeps_the_job_open(pair: SimpleNamespace) -> None:
    tub = make_place(pair.cast.branch, "tub", "Tub 9")
    write(pair.cast, NewLine("soak_begun", pair.second, None, {"to_place": tub}), at=NOW - hours(200))
    assert (cell(pair).key, cell(pair).second_key) == ("ready", "soaked")
    (leaving,) = leaving_tonight(pair.cast.branch, NOW)
    assert (leaving.enough, leaving.complete) == ("yes", False)


def test_shop_day_draws_both_sets_and_says_why_the_second_does_not_count(pair: SimpleNamespace, client: Client) -> None:
    client.force_login(pair.cast.ines)
    with mock.patch("django.utils.timezone.now", return_value=NOW):
        page = client.get(reverse("jobs:shop_day") + "?show=tonight")
    tiles = page.context["lines"][0]["cells"]
    assert [(tile["code"], tile["word"]) for tile in tiles] == [("GL-ONE", "Short"), ("GL-TWO", "Dry")]
    (mend,) = page.context["mends"]
    assert "The second set, GL-TWO, does not count: Dry. Needs 72\xa0h in water." in mend["cause"]
    assert "all passes" in mend["cause"]


def test_a_dry_set_is_offered_as_second_only_while_it_can_still_be_soaked(pair: SimpleNamespace) -> None:
    spare = one_set(pair, "GL-SPARE")

    def offered(before: float) -> tuple[bool, float | None]:
        """What is said of the spare set so many hours before now."""
        night = night_of(pair.job, pair.shift.key)
        assert night is not None
        found = options_of(night, pair.step.key, NOW - hours(before))
        assert found is not None
        one = next(row for row in found.options if row.state.pk == spare.pk)
        return one.soak_first, one.with_first

    assert offered(0) == (False, None)
    ahead, chance = offered(90)
    assert ahead
    assert chance is not None
    assert chance >= 0.9


def test_the_gate_counts_a_second_set_only_if_it_will_be_ready(pair: SimpleNamespace, client: Client) -> None:
    outing = outing_of_shift(pair.job, pair.shift, now=NOW)
    client.force_login(pair.cast.ines)
    with mock.patch("django.utils.timezone.now", return_value=NOW):
        page = client.post(reverse("inventory:scan_out", args=[outing.pk]), {"set": str(pair.first.pk)})
    verdict = page.context["verdict"]
    assert verdict.kind == "short"
    assert "GL-TWO, meant to finish with it, would not be ready: it does not count" in verdict.lines


def test_the_page_of_the_first_set_leaves_a_dry_second_out(pair: SimpleNamespace, client: Client) -> None:
    client.force_login(pair.cast.ines)
    with mock.patch("django.utils.timezone.now", return_value=NOW):
        url = reverse("inventory:set_phone", args=[pair.first.pk])
        assert client.get(url).context["enough"] == "no"
        wet(pair, pair.second)
        assert client.get(url).context["enough"] == "yes"


def test_a_set_wet_now_and_dry_at_the_start_is_said_alike_everywhere(client: Client) -> None:
    """Back on the rack 20 h ago, dry-out 24 h: wet for four hours more, and the step starts tonight."""
    night = make_evening(soak_need=SoakNeed.REQUIRED)
    one = one_set(night, "GL-ONE")
    wet(night, one, back_on_rack=20)
    reserve_for_night(night.cast.ines, night.job, night.shift.key, night.step.key, one, now=NOW)
    assert cell(night).key == "dries"
    client.force_login(night.cast.ines)
    with mock.patch("django.utils.timezone.now", return_value=NOW):
        day = client.get(reverse("jobs:shop_day") + "?show=tonight")
        page = client.get(reverse("inventory:set_phone", args=[one.pk]))
        soak = client.get(reverse("inventory:soak"))
    (mend,) = day.context["mends"]
    assert mend["words"] == "Resin 400 dries out before it starts"
    assert "GL-ONE is wet through until 13:50" in mend["cause"]
    assert "It can travel in water, in a bucket." in mend["cause"]
    assert [way["label"] for way in mend["others"]] == ["Put it back in water"]
    assert page.context["band"]["words"] == "Conditioned until 13:50"
    assert page.context["use_water"].startswith("Dries out before that step starts")
    assert soak.context["headline"] == "1 set goes back in water by 13:50, before it dries out"


def test_a_van_that_should_have_left_is_not_said_to_leave_and_its_dry_set_is_named(client: Client) -> None:
    night = make_evening(soak_need=SoakNeed.REQUIRED)
    one = one_set(night, "GL-ONE")
    reserve_for_night(night.cast.ines, night.job, night.shift.key, night.step.key, one, now=NOW)
    client.force_login(night.cast.ines)
    # Tonight's shift starts at 20:02; its sets leave two hours before.
    with mock.patch("django.utils.timezone.now", return_value=night.shift.starts_at - hours(1)):
        day = client.get(reverse("jobs:shop_day") + "?show=tonight")
        soak = client.get(reverse("inventory:soak"))
    assert day.context["headline"].startswith("1 thing to mend; the van should have left at ")
    assert soak.context["headline"] == "1 set is too late for water"


def test_a_second_set_that_leaves_the_two_below_tight_is_not_offered(pair: SimpleNamespace, client: Client) -> None:
    """Two stubs: together they do not finish a tenth of the floor."""
    stub = one_set(pair, "GL-STUB")
    wet(pair, stub)
    for tool_set in (pair.first, stub):
        write(pair.cast, NewLine("measured", tool_set, None, {"lowest_height_mm": 2.1}), at=NOW - hours(40))
    client.force_login(pair.cast.ines)
    with mock.patch("django.utils.timezone.now", return_value=NOW):
        page = client.get(reverse("jobs:choose_set", args=[pair.job.pk, pair.shift.key, pair.step.key]))
    rows = {row["name"]: row for row in page.context["rows"]}
    assert rows["GL-STUB"]["option"].with_first is not None
    assert rows["GL-STUB"]["option"].with_first < 0.6
    assert rows["GL-STUB"]["pair"] == ""


def test_a_hot_soak_is_expected_at_one_hour_whoever_asks(pair: SimpleNamespace, client: Client) -> None:
    """In a hot tub read an hour ago: the rack, the set's page and the choice for tonight say the same end."""
    tub = make_place(pair.cast.branch, "tub", "Hot tub")
    write(pair.cast, NewLine("soak_begun", pair.second, None, {"to_place": tub}), at=NOW - hours(2))
    write(pair.cast, NewLine("water_read", None, tub, {"temperature_c": 60.0}), at=NOW - hours(1))
    states = list(SetState.objects.filter(pk=pair.second.pk).select_related("tool_set__tool_type", "place"))
    waters = waters_of(states, pair.cast.branch, at=NOW)
    rack = waters.now(pair.second.pk, NOW).expected_ready_at
    card = waters.at_start(pair.second.pk, NOW + hours(8), NOW + hours(10), in_water=False).expected_ready_at
    assert rack is not None
    assert rack == card == NOW + hours(30)
