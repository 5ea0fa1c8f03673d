"""The sets on My job: a choice stays through a question, trouble is said, two go together, nothing is preselected."""

from __future__ import annotations

import re
from types import SimpleNamespace
from typing import Any
from unittest import mock

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.ledger import NewLine
from inventory.models import Entry, SetState, ToolSet
from inventory.models.choices import SoakNeed
from jobs.actions.reservation import reserve_for_night
from jobs.actions.shift import outing_of_shift
from tests.cast import NOW, hours, write
from tests.jobs.test_tonight import make_evening, one_set

pytestmark = pytest.mark.django_db


@pytest.fixture
def out() -> SimpleNamespace:
    """Two 400s out on tonight's shift, before it begins, and Dag who leads it."""
    return two_out(make_evening())


def two_out(night: SimpleNamespace) -> SimpleNamespace:
    night.one, night.two = one_set(night, "GL-AAA"), one_set(night, "GL-BBB")
    outing = outing_of_shift(night.job, night.shift, now=NOW)
    for tool_set in (night.one, night.two):
        write(night.cast, NewLine("scanned_out", tool_set, None, {"outing": outing, "gate": "passed"}), at=NOW)
    night.client = Client()
    night.client.force_login(night.cast.dag)
    night.args = [night.job.pk, night.shift.key]
    return night


def at(night: SimpleNamespace, url: str, data: dict[str, Any] | None = None, *, later: float = 0.1) -> Any:
    """The page so many hours after NOW; the shift begins ten hours after it."""
    with mock.patch("django.utils.timezone.now", return_value=NOW + hours(later)):
        return night.client.get(url) if data is None else night.client.post(url, data)


def page(night: SimpleNamespace, more: str = "") -> str:
    return str(at(night, reverse("jobs:shift", args=night.args) + more).content.decode())


def trouble(night: SimpleNamespace, tool_set: ToolSet, kind: str) -> str:
    url = reverse("jobs:shift_trouble", args=[*night.args, night.step.key])
    at(night, url, {"tool_set": str(tool_set.pk), "trouble": kind})
    return page(night, f"?step={night.step.key}")


def chosen(html: str) -> list[str]:
    return re.findall(r'<option value="([0-9a-f-]+)" selected>', html)


def words_of(night: SimpleNamespace, tool_set: ToolSet) -> dict[str, Any]:
    answer = at(night, reverse("jobs:shift", args=night.args))
    return next(one for one in answer.context["sets"] if one["state"].pk == tool_set.pk)


def test_the_set_chosen_stays_chosen_through_a_question_and_its_tick_logs_it(out: SimpleNamespace) -> None:
    log = reverse("jobs:shift_log", args=[*out.args, out.step.key])
    said = {"tool_set": str(out.two.pk), "passes": "4", "area": "2500"}
    asked = at(out, log, said)
    html = asked.content.decode()
    assert asked.status_code == 422
    assert "before the shift began" in html
    assert chosen(html) == [str(out.two.pk)]
    assert 'name="passes" value="4"' in html
    assert 'name="area" value="2500"' in html
    sure = re.search(r'name="sure" value="([^"]+)"', html)
    assert sure is not None
    assert at(out, log, said | {"tool_set": chosen(html)[0], "sure": sure[1]}).status_code == 302
    (worked,) = Entry.objects.filter(kind="worked")
    assert (worked.tool_set_id, worked.passes) == (out.two.pk, 4)


def test_a_chipped_set_is_set_aside_on_my_job_and_not_enough_for_tonight(out: SimpleNamespace) -> None:
    html = trouble(out, out.one, "chipped")
    assert "Set aside: chipped" in html
    words = words_of(out, out.one)
    assert (words["enough"], words["word"]) == ("", "")
    assert words["trouble"]["advice"] == "Take it off the floor; the shop manager looks at it."
    # The one that can work comes first, is preselected, and is judged by itself.
    assert chosen(html) == [str(out.two.pk)]
    assert words_of(out, out.two)["enough"].startswith("Enough for tonight: ")


@pytest.mark.parametrize(
    ("kind", "word", "what"), [("glazed", "Glazed", "dress it as its maker says"), ("ran_dry", "Ran dry", "wet it")]
)
def test_a_set_that_glazed_or_ran_dry_says_so_with_what_to_do(
    out: SimpleNamespace, kind: str, word: str, what: str
) -> None:
    trouble(out, out.one, kind)
    words = words_of(out, out.one)
    assert (words["trouble"]["words"], words["enough"]) == (word, "")
    assert what in str(words["trouble"]["advice"])


def test_a_set_that_ran_dry_works_on_once_it_is_logged_again(out: SimpleNamespace) -> None:
    trouble(out, out.one, "ran_dry")
    work = {
        "floor_uuid": out.plan.zones.all()[0].zone_id, "visit_uuid": out.job.pk, "step_key": out.step.key,
        "shift_uuid": out.shift.key, "area_m2": 100, "passes": 1, "hardness": "medium", "surface": "worn",
        "coating": "none", "wet_dry": "wet", "step_kind": "later", "basis": "measured",
    }  # fmt: skip
    write(out.cast, NewLine("worked", out.one, None, work), at=NOW + hours(0.2))
    assert words_of(out, out.one)["trouble"] is None


def test_a_lost_set_is_missing_on_my_job_until_it_is_found(out: SimpleNamespace) -> None:
    html = trouble(out, out.one, "lost")
    assert "GL-AAA" in html
    assert "Missing" in html
    assert html.count("The shop looks for it. Go on with another set.") >= 1
    write(out.cast, NewLine("found", out.one, None, {"to_place": out.rack}), at=NOW + hours(0.2))
    answer = at(out, reverse("jobs:shift", args=out.args))
    assert answer.context["lost"] == []


def test_of_two_that_go_together_each_says_so_and_the_first_is_preselected() -> None:
    night = two_out(make_evening(rated_coverage_m2=4_800.0))
    reserve_for_night(night.cast.ines, night.job, night.shift.key, night.step.key, night.two, now=NOW, second=night.one)
    first, second = words_of(night, night.two), words_of(night, night.one)
    assert (first["turn"], second["turn"]) == ("Goes first", "Goes second")
    assert first["enough"].startswith("Enough for tonight with GL-AAA: yes, ")
    assert second["enough"].startswith("Enough for tonight with GL-BBB: yes, ")
    assert chosen(page(night)) == [str(night.two.pk)]


def test_set_by_set_nothing_is_preselected_and_no_answer_counts_as_dry() -> None:
    night = two_out(make_evening(soak_need=SoakNeed.REQUIRED))
    html = page(night, "?leave=1")
    first = re.findall(r'<select id="left-[^>]*><option value="([^"]*)"', html)
    assert first == ["", ""]
    assert " selected" not in html
    leave = reverse("jobs:shift_leave", args=night.args)
    at(night, leave, {f"set-{night.one.pk}": "", f"set-{night.two.pk}": "in_water"}, later=12)
    left = {state.code: state.facts["left_how"] for state in SetState.objects.filter(outing__isnull=False)}
    assert left == {"GL-AAA": "unknown", "GL-BBB": "in_water"}


def test_a_set_that_needs_no_soak_is_not_asked_whether_it_lies_in_water(out: SimpleNamespace) -> None:
    html = page(out, "?leave=1")
    assert 'value="in_water"' not in html
    assert "At the site" in html[html.index("left-") :]


def test_floors_of_one_grit_are_one_step_as_the_card_counts_them(out: SimpleNamespace) -> None:
    assert "Step 1 of 1" in page(out)
