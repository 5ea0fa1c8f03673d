"""Logging, correcting and voiding work: the set follows the step, and what is unlikely is asked about by name."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory.actions.ledger import NewLine
from inventory.models import Entry, SetState, ToolSet
from inventory.models.choices import SoakNeed, Source
from jobs.actions.shift import WorkAsked, WorkPart, close_shift, floor_even, log_work, outing_of_shift
from jobs.queries.my_job import running
from jobs.queries.plan import night_of
from tests.cast import hours, make_cast, make_place, make_set, make_type, uuid, who, write
from tests.jobs.plans import make_planned

pytestmark = pytest.mark.django_db
FT2 = 0.09290304


@pytest.fixture
def world() -> SimpleNamespace:
    """A job whose first night (200) ended six hours ago and whose second (400) is tonight; both sets are out on it."""
    cast, now = make_cast(), timezone.now()
    types = [make_type(grit, ladder_place=place, soak_need=SoakNeed.NONE) for grit, place in (("200", 5), ("400", 6))]
    plan = make_planned(cast, first=now - hours(14), now=now - hours(100))
    rack = make_place(cast.branch, name="Rack B")
    outing = outing_of_shift(plan.job, plan.shifts.all()[0], now=now - hours(16))
    two, four = (make_set(cast, one, rack, code=f"GL-{one.grit}000", at=now - hours(200)) for one in types)
    for one in (two, four):
        write(cast, NewLine("scanned_out", one, None, {"outing": outing, "gate": "passed"}), at=now - hours(15))
    steps = {step.tool_type.grit: step for step in plan.steps.all()}
    return SimpleNamespace(
        cast=cast, now=now, plan=plan, job=plan.job, first=plan.shifts.all()[0], second=plan.shifts.all()[1], two=two,
        four=four, step2=steps["200"], step4=steps["400"], url=reverse("jobs:work", args=[plan.job.pk]), rack=rack,
    )  # fmt: skip


def client_of(person: Any) -> Client:
    client = Client()
    client.force_login(person)
    return client


def said(world: SimpleNamespace, **more: str) -> dict[str, str]:
    return {
        "shift": str(world.first.key), "step": str(world.step2.key), "tool_set": str(world.two.pk), "code": "",
        "area": "1,000", "passes": "3", "basis": "measured", "second_set": "", "second_area": "", "paper": "", **more,
    }  # fmt: skip


def box(page: str) -> str:
    """The value of the box that says it is right so."""
    return page.partition('type="checkbox" name="sure" value="')[2].partition('"')[0]


def log(world: SimpleNamespace, tool_set: Any, step: Any, *, at: Any = None, shift: Any = None, **more: Any) -> Any:
    night, when = shift or world.first, at or world.now
    source = more.pop("source", Source.DESK)
    part = [WorkPart(tool_set, 92.9, 1)]
    author = who(world.cast.dag, world.cast.device, when, source=source)
    return log_work(author, world.job, night.key, step.key, part, now=when, **more)


def test_the_set_follows_the_step(world: SimpleNamespace) -> None:
    dag = client_of(world.cast.dag)
    for step, tool_set in ((world.step2, world.two), (world.step4, world.four)):
        form = dag.get(world.url + f"?shift={world.first.key}&step={step.key}&pick=step").context["form"]
        assert form["tool_set"].value() == str(tool_set.pk)
        assert "step" not in form.known  # just chosen: it stays where it was


def test_a_set_of_another_type_than_the_steps_is_asked_about_by_name(world: SimpleNamespace) -> None:
    dag = client_of(world.cast.dag)
    wrong = said(world, tool_set=str(world.four.pk))
    asked = dag.post(world.url, wrong)
    page = asked.content.decode()
    assert asked.status_code == 422
    assert "GL-400000 is resin 400, the step is resin 200, Hall. Did it work there?" in page
    # A tick from an older form, and one given for other answers, count for nothing.
    assert dag.post(world.url, wrong | {"sure": "on"}).status_code == 422
    assert (
        dag.post(world.url, said(world, tool_set=str(world.four.pk), area="2,000", sure=box(page))).status_code == 422
    )
    assert not Entry.objects.filter(kind="worked").exists()
    assert dag.post(world.url, wrong | {"sure": box(page)}).status_code == 302
    assert Entry.objects.get(kind="worked").tool_set_id == world.four.pk


def test_all_that_is_unlikely_is_asked_at_once(world: SimpleNamespace) -> None:
    page = client_of(world.cast.dag).post(world.url, said(world, tool_set=str(world.four.pk), area="124000"))
    assert "GL-400000 is resin 400" in page.content.decode()
    assert "times this floor" in page.content.decode()


def test_a_phone_is_believed_with_a_set_of_another_type(world: SimpleNamespace) -> None:
    log(world, world.four, world.step2, source=Source.PHONE)
    assert Entry.objects.filter(kind="worked", tool_set=world.four).count() == 1


def test_work_keyed_before_its_shift_begins_is_asked_about(world: SimpleNamespace) -> None:
    starts = world.second.starts_at
    with pytest.raises(WorkAsked, match=r"before the shift began: it starts .*Was the work on it"):
        log(world, world.four, world.step4, at=starts - hours(0.1), shift=world.second)
    assert not Entry.objects.filter(kind="worked").exists()
    log(world, world.four, world.step4, at=starts - hours(0.1), shift=world.second, sure=True)
    log(world, world.four, world.step4, at=starts, shift=world.second)
    assert Entry.objects.filter(kind="worked").count() == 2


def logged_in_full(world: SimpleNamespace, tool_set: Any, step: Any, shift: Any) -> None:
    author = who(world.cast.dag, world.cast.device, shift.ends_at)
    parts = [WorkPart(tool_set, 1000.0, step.passes)]
    log_work(author, world.job, shift.key, step.key, parts, now=shift.ends_at, sure=True)


def test_a_step_logged_in_full_is_told_and_the_next_one_is_offered(world: SimpleNamespace) -> None:
    dag = client_of(world.cast.dag)
    assert dag.get(world.url).context["form"]["step"].value() == str(world.step2.key)
    logged_in_full(world, world.two, world.step2, world.first)
    again = dag.get(world.url + f"?shift={world.first.key}&step={world.step2.key}").content.decode()
    assert "This step is logged in full. What you keep here comes on top." in again
    for query in (f"?shift={world.second.key}", f"?shift={world.first.key}", ""):
        page = dag.get(world.url + query)
        assert page.context["form"]["step"].value() == str(world.step4.key), query
        assert page.context["form"]["passes"].value() == world.step4.passes, query
        assert "resin 200 · Hall · logged in full" in page.content.decode()
        assert "comes on top" not in page.content.decode()


def test_a_step_whose_floor_looked_even_is_not_offered_again(world: SimpleNamespace) -> None:
    dag = client_of(world.cast.dag)
    author = who(world.cast.dag, world.cast.device, world.now)
    floor_even(author, world.job, world.first.key, world.step2.key, now=world.now, why="not needed")
    page = dag.get(world.url)
    assert page.context["form"]["step"].value() == str(world.step4.key)
    assert "resin 200 · Hall · done, the floor looks even" in page.content.decode()
    assert "“not needed”" in dag.get(reverse("jobs:job", args=[world.job.pk])).content.decode()


def test_nothing_is_preselected_where_every_step_is_done(world: SimpleNamespace) -> None:
    logged_in_full(world, world.two, world.step2, world.first)
    logged_in_full(world, world.four, world.step4, world.second)
    page = client_of(world.cast.dag).get(world.url)
    assert page.context["form"]["step"].value() == ""
    assert page.context["form"]["area"].value() is None
    assert "Every step of this job is done. What you keep here comes on top." in page.content.decode()


def test_correct_changes_set_and_step_as_a_line_in_its_place(world: SimpleNamespace) -> None:
    dag = client_of(world.cast.dag)
    at = world.now - hours(7)
    old = log(world, world.four, world.step2, at=at, sure=True).entries[0]
    fix = reverse("jobs:work_correct", args=[world.job.pk, old.pk])
    assert {"step", "tool_set", "code", "area", "passes"} < set(dag.get(fix).context["form"].fields)
    sent = {"step": str(world.step4.key), "tool_set": str(world.two.pk), "code": "", "area": "1000", "passes": "1"}
    assert dag.post(fix, sent).status_code == 422  # a 200 in the 400's step
    right = {"step": str(world.step2.key), "tool_set": str(world.two.pk), "code": "", "area": "1000", "passes": "2"}
    assert dag.post(fix, right).status_code == 302
    new = Entry.objects.select_related("act").get(kind="worked", replaces=old.pk)
    assert (new.tool_set_id, new.step_key, new.act.happened_at) == (world.two.pk, world.step2.key, at)
    assert [SetState.objects.get(pk=one.pk).worked_m2 for one in (world.two, world.four)] == [
        pytest.approx(2000 * FT2), 0,
    ]  # fmt: skip
    assert dag.post(fix, right | {"passes": "1"}).status_code == 422  # voided already


def test_a_line_is_voided_on_the_jobs_page_with_its_reason(world: SimpleNamespace) -> None:
    dag = client_of(world.cast.dag)
    line = log(world, world.two, world.step2).entries[0]
    url = reverse("jobs:work_void", args=[world.job.pk, line.pk])
    assert url in dag.get(reverse("jobs:job", args=[world.job.pk])).content.decode()
    assert "GL-200000" in dag.get(url).content.decode()
    assert dag.post(url, {"why": ""}).status_code == 422
    assert dag.post(url, {"why": "wrong set"}).status_code == 302
    assert Entry.objects.get(kind="voided").why == "wrong set"
    assert SetState.objects.get(pk=world.two.pk).worked_m2 == 0


def test_a_line_of_somebody_else_or_of_a_closed_shift_is_the_shop_managers_to_void(world: SimpleNamespace) -> None:
    cast = world.cast
    line = log(world, world.two, world.step2).entries[0]
    url = reverse("jobs:work_void", args=[world.job.pk, line.pk])
    close_shift(who(cast.dag, cast.device, world.now), world.job, world.first.key, now=world.now)
    refused = client_of(cast.dag).post(url, {"why": "wrong set"})
    assert refused.status_code == 422
    assert "The shift of this entry is closed." in refused.content.decode()
    assert client_of(cast.ines).post(url, {"why": "wrong set"}).status_code == 302


def test_the_door_of_voiding_a_line(world: SimpleNamespace) -> None:
    line = log(world, world.two, world.step2).entries[0]
    url = reverse("jobs:work_void", args=[world.job.pk, line.pk])
    assert Client().get(url).status_code == 302
    assert client_of(world.cast.teo).get(url).status_code == 403
    assert client_of(world.cast.dag).put(url).status_code == 405
    gone = reverse("jobs:work_void", args=[world.job.pk, uuid(404)])
    assert client_of(world.cast.dag).get(gone).status_code == 404


def test_two_passes_over_half_a_floor_are_one_pass_over_it(world: SimpleNamespace) -> None:
    part = [WorkPart(world.two, 400.0, 2)]
    log_work(
        who(world.cast.dag, world.cast.device, world.now), world.job, world.first.key, world.step2.key, part,
        now=world.now,
    )  # fmt: skip
    night = night_of(world.job, world.first.key)
    assert night is not None
    doing = running(night, world.now).steps[0]
    assert (doing.passes_over, doing.passes_done, doing.logged_m2) == (0.8, 0, 800)
    page = client_of(world.cast.dag).get(reverse("jobs:shift", args=[world.job.pk, world.first.key])).content.decode()
    assert "0.8 of 5 passes over the floor" in page
    assert "8,611\xa0ft² of 53,820\xa0ft² worked" in page


def test_of_two_sets_with_one_own_code_the_form_asks_which_and_neither_is_taken(world: SimpleNamespace) -> None:
    twin = make_set(world.cast, world.two.tool_type, world.rack, code="GL-200001", at=world.now - hours(200))
    ToolSet.objects.filter(pk__in=[world.two.pk, twin.pk]).update(own_code="B-77")
    dag = client_of(world.cast.dag)
    page = dag.post(world.url, said(world, code="b-77"))
    asked = page.context["refused"]
    assert (page.status_code, asked.field) == (422, "code")
    assert asked.why == "2 sets have the own code “b-77”: GL-200000 · B-77; GL-200001 · B-77, Rack B."
    assert not Entry.objects.filter(kind="worked").exists()
    ToolSet.objects.filter(pk=twin.pk).update(own_code="B-78")
    dag.post(world.url, said(world, code="b 77"))
    assert [entry.tool_set_id for entry in Entry.objects.filter(kind="worked")] == [world.two.pk]
