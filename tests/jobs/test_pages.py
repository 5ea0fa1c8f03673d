"""The doors of the pages of the work: who may come in, what a wrong method or key gets, and constant queries."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
from django.contrib.messages import get_messages
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory.actions.ledger import NewLine
from inventory.models import Entry, Outing, Person, SetState, ToolSet
from inventory.models.choices import SoakNeed
from inventory.units import from_si
from jobs.actions.plan import save_plan
from jobs.actions.reservation import reserve
from jobs.actions.shift import WorkPart, log_work, outing_of_shift
from jobs.models import Job, JobPlan, ShiftEntry, ShiftOuting, Site, Zone
from jobs.plan_draft import draft_of
from jobs.queries.clash import clashes_of
from jobs.queries.my_job import running
from jobs.queries.plan import nights_of, plan_of
from jobs.queries.uses import plan_of_outing
from tests.cast import (
    hours,
    make_branch,
    make_cast,
    make_outing,
    make_person,
    make_place,
    make_set,
    make_type,
    uuid,
    who,
    write,
)
from tests.jobs.plans import make_planned

pytestmark = pytest.mark.django_db
NOBODY = uuid(404)


@pytest.fixture
def world() -> SimpleNamespace:
    """A job whose first night ended six hours ago, a 200 out on it since, and a 400 on the rack for tonight."""
    cast = make_cast()
    now = timezone.now()
    make_type("200", ladder_place=5, soak_need=SoakNeed.NONE)
    make_type("400", ladder_place=6, soak_need=SoakNeed.NONE)
    plan = make_planned(cast, first=now - hours(14), now=now - hours(100))
    rack = make_place(cast.branch, name="Rack B")
    steps = {step.tool_type.grit: step for step in plan.steps.all()}
    shift = plan.shifts.all()[0]
    outing = outing_of_shift(plan.job, shift, now=now - hours(16))
    two = make_set(cast, steps["200"].tool_type, rack, code="GL-200000", at=now - hours(200))
    four = make_set(cast, steps["400"].tool_type, rack, code="GL-400000", at=now - hours(200))
    out = {"outing": outing, "gate": "passed", "step_key": steps["200"].key}
    write(cast, NewLine("scanned_out", two, None, out), at=now - hours(15))
    return SimpleNamespace(
        cast=cast, now=now, plan=plan, job=plan.job, shift=shift, second=plan.shifts.all()[1], two=two, four=four,
        rack=rack, outing=outing, step=steps["200"], step4=steps["400"],
    )  # fmt: skip


def pages(world: SimpleNamespace) -> list[tuple[str, str, str, str]]:
    """Every view: address, method, somebody who may, somebody who may not ("" when everybody may)."""
    job, shift, step = world.job.pk, world.shift.key, world.step.key
    site, zone = world.job.site_id, world.plan.zones.all()[0].zone_id
    act = world.outing.pk
    return [
        ("/", "get", "ines", ""),
        (reverse("jobs:shop_day"), "get", "ines", "dag"),
        (reverse("jobs:answer", args=["take"]), "post", "ines", "dag"),
        (reverse("jobs:take_instead", args=[job, step]), "post", "ines", "dag"),
        (reverse("jobs:scan_tonight"), "post", "ines", "nils"),
        (reverse("jobs:choose_set", args=[job, shift, step]), "get", "ines", "dag"),
        (reverse("jobs:my_job"), "get", "dag", "teo"),
        (reverse("jobs:shift", args=[job, shift]), "get", "dag", "teo"),
        (reverse("jobs:shift_leave", args=[job, shift]), "post", "dag", "teo"),
        (reverse("jobs:shift_close", args=[job, shift]), "post", "dag", "teo"),
        (reverse("jobs:shift_log", args=[job, shift, step]), "post", "dag", "teo"),
        (reverse("jobs:shift_even", args=[job, shift, step]), "post", "dag", "teo"),
        (reverse("jobs:shift_trouble", args=[job, shift, step]), "post", "dag", "teo"),
        (reverse("jobs:sites"), "get", "nils", ""),
        (reverse("jobs:site_new"), "get", "ines", "dag"),
        (reverse("jobs:site", args=[site]), "get", "nils", ""),
        (reverse("jobs:site_change", args=[site]), "get", "ines", "dag"),
        (reverse("jobs:zone_new", args=[site]), "get", "ines", "dag"),
        (reverse("jobs:zone_change", args=[site, zone]), "get", "ines", "dag"),
        (reverse("jobs:job_new", args=[site]), "get", "ines", "dag"),
        (reverse("jobs:jobs"), "get", "nils", ""),
        (reverse("jobs:job_choose"), "get", "ines", "dag"),
        (reverse("jobs:job", args=[job]), "get", "nils", ""),
        (reverse("jobs:plan", args=[job]), "get", "ines", "dag"),
        (reverse("jobs:job_mark", args=[job]), "post", "ines", "dag"),
        (reverse("jobs:job_outing", args=[job, shift]), "post", "teo", "nils"),
        (reverse("jobs:work", args=[job]), "get", "dag", "teo"),
        (reverse("jobs:work_correct", args=[job, act]), "get", "dag", "teo"),
        (reverse("jobs:undo", args=[act]), "post", "dag", "teo"),
    ]


def client_of(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def test_every_door_lets_in_who_may_and_nobody_else(world: SimpleNamespace) -> None:
    for url, method, may, may_not in pages(world):
        inside = client_of(getattr(world.cast, may))
        answer = getattr(inside, method)(url)
        assert answer.status_code in (200, 302, 404, 422), (url, answer.status_code)
        other = inside.delete(url)
        assert other.status_code == 405, url
        if may_not:
            assert getattr(client_of(getattr(world.cast, may_not)), method)(url).status_code == 403, url
        outside = getattr(Client(), method)(url)
        assert (outside.status_code, "sign-in" in outside["Location"]) == (302, True), url


def test_an_unknown_key_and_another_branch_are_not_found(world: SimpleNamespace) -> None:
    ines = client_of(world.cast.ines)
    names: list[tuple[str, list[Any]]] = [
        ("jobs:job", [NOBODY]),
        ("jobs:plan", [NOBODY]),
        ("jobs:work", [NOBODY]),
        ("jobs:site", [9999]),
    ]
    names += [("jobs:shift", [world.job.pk, NOBODY]), ("jobs:work_correct", [world.job.pk, NOBODY])]
    for name, args in names:
        assert ines.get(reverse(name, args=args)).status_code == 404, name
    stranger = make_person(make_branch("Far shop"), "sol", "Sol M.", "owner")
    assert client_of(stranger).get(reverse("jobs:job", args=[world.job.pk])).status_code == 404


def test_home_is_by_rights(world: SimpleNamespace) -> None:
    homes = {name: client_of(getattr(world.cast, name)).get("/") for name in ("ines", "dag", "olga")}
    assert {name: answer["Location"] for name, answer in homes.items()} == {
        "ines": "/jobs/day/", "dag": "/jobs/mine/", "olga": "/jobs/day/",
    }  # fmt: skip


def plan_data(page: Any) -> dict[str, Any]:
    """What the plan form would send back untouched."""
    context = page.context
    data: dict[str, Any] = {}
    forms = [context["form"], *(form for table in context["tables"].values() for form in table)]
    for form in forms:
        for bound in form:
            value = bound.value()
            shown = bound.field.prepare_value(value) if value is not None else ""
            if value is True:
                data[bound.html_name] = "on"
            elif value is not False and shown not in (None, "", []):
                data[bound.html_name] = shown
    for prefix, table in context["tables"].items():
        data[f"{prefix}-count"] = len(table)
    return data


def test_a_plan_sent_back_untouched_changes_nothing_and_a_change_is_a_version(world: SimpleNamespace) -> None:
    ines, url = client_of(world.cast.ines), reverse("jobs:plan", args=[world.job.pk])
    data = plan_data(ines.get(url))
    assert ines.post(url, data).status_code == 302
    assert JobPlan.objects.filter(job=world.job).count() == 1
    data["steps-0-passes"] = 6
    assert ines.post(url, data).status_code == 302
    newest = plan_of(world.job)
    assert newest is not None
    assert (newest.number, newest.steps.all()[0].passes) == (2, 6)
    stale = ines.post(url, data | {"steps-0-passes": 8})
    assert stale.status_code == 422
    assert "kept version 2 meanwhile" in stale.content.decode()
    page = ines.get(reverse("jobs:job", args=[world.job.pk])).content.decode()
    assert "11 passes in all, was 10" in page


def test_row_counts_and_versions_that_are_no_numbers_keep_the_plan(world: SimpleNamespace) -> None:
    ines, url = client_of(world.cast.ines), reverse("jobs:plan", args=[world.job.pk])
    data = plan_data(ines.get(url))
    for name in ("steps-count", "shifts-count", "zones-count"):
        for text in ("-1", "abc", "NaN", "²", ""):
            answer = ines.post(url, data | {name: text})
            assert answer.status_code == 422, (name, text)
            assert "One answer does not read." in answer.content.decode()
    for text in ("²", "abc", "9" * 30):
        assert ines.post(url, data | {"edited_from": text, "steps-0-passes": 6}).status_code == 422, text
    assert ines.post(url, data | {"drop": "steps-²"}).status_code == 302  # the plan as it was
    assert JobPlan.objects.filter(job=world.job).count() == 1


def test_days_of_a_mistyped_year_are_refused(world: SimpleNamespace) -> None:
    ines, url = client_of(world.cast.ines), reverse("jobs:plan", args=[world.job.pk])
    data = plan_data(ines.get(url))
    for name in ("starts_on", "shifts-0-day"):
        for day, words in (
            ("0001-01-01", "before any of this"), ("1999-12-30", "before any of this"),
            ("2099-05-20", "more than 5 years ahead"), ("9999-12-30", "more than 5 years ahead"),
            ("9999-12-31", "more than 5 years ahead"),
        ):  # fmt: skip
            answer = ines.post(url, data | {name: day, "sure": "on"})
            assert (answer.status_code, words in answer.content.decode()) == (422, True), (name, day)
    assert ines.post(url, data | {"shifts-1-day": "9999-12-31", "add": "shifts"}).status_code == 200
    assert JobPlan.objects.filter(job=world.job).count() == 1


def test_a_new_job_is_planned_with_the_proposed_ladder(world: SimpleNamespace) -> None:
    ines, url = client_of(world.cast.ines), reverse("jobs:job_new", args=[world.job.site_id])
    day = f"{world.now.year + 1}-05-20"
    data = plan_data(ines.get(url)) | {"name": "Second visit", "starts_on": day, "award_percent": "60"}
    proposed = ines.post(url, data | {"propose": "1"})
    assert proposed.status_code == 200
    data = plan_data(proposed)
    assert [data["steps-0-passes"], data["steps-1-passes"]] == [7, 5]  # common practice: 6 to 8, then about 5
    added = ines.post(url, data | {"add": "shifts"})
    data = plan_data(added) | {"shifts-0-day": day, "shifts-0-starts": "20:00", "shifts-0-ends": "04:00"}
    kept = ines.post(url, data)
    assert kept.status_code == 302
    plan = plan_of(Job.objects.get(name="Second visit"))
    assert plan is not None
    assert [(step.tool_type.grit, step.passes, step.step_kind) for step in plan.steps.all()] == [
        ("200", 7, "first_cut"), ("400", 5, "later"),
    ]  # fmt: skip
    (shift,) = plan.shifts.all()
    assert shift.ends_at - shift.starts_at == hours(8)
    assert ines.post(url, data).status_code == 302  # a second press
    assert Job.objects.filter(name="Second visit").count() == 1


def test_a_site_and_a_floor_are_kept_and_a_huge_floor_is_asked_about(world: SimpleNamespace) -> None:
    ines = client_of(world.cast.ines)
    kept = ines.post(reverse("jobs:site_new"), {"name": "Tollgate depot", "address": "", "time_zone": "", "notes": ""})
    site = Site.objects.get(name="Tollgate depot")
    assert kept["Location"] == reverse("jobs:site", args=[site.pk])
    floor = {"name": "Bay 4", "area_m2": "124000", "hardness": "hard", "surface": "raw", "coating": "none"}
    url = reverse("jobs:zone_new", args=[site.pk])
    assert ines.post(url, floor | {"area_m2": "0"}).status_code == 422
    assert ines.post(url, floor | {"area_m2": "9000000"}).status_code == 422
    assert not Zone.objects.filter(site=site).exists()
    assert ines.post(url, floor).status_code == 302
    assert Zone.objects.get(site=site).area_m2 == pytest.approx(11519.98, abs=0.01)  # 124,000 x 0.09290304 (exact)


def test_work_is_logged_at_the_desk_in_the_persons_unit_with_undo(world: SimpleNamespace) -> None:
    dag, url = client_of(world.cast.dag), reverse("jobs:work", args=[world.job.pk])
    data = {
        "shift": str(world.shift.key), "step": str(world.step.key), "tool_set": str(world.two.pk), "code": "",
        "area": "1,000", "passes": "3", "basis": "measured", "second_set": "", "second_area": "", "paper": "",
    }  # fmt: skip
    assert dag.post(url, data | {"area": "124000"}).status_code == 422
    assert dag.post(url, data | {"passes": "0"}).status_code == 422
    assert dag.post(url, data | {"tool_set": "", "code": "GL-XXXXXX"}).status_code == 422
    assert dag.post(url, data).status_code == 302
    entry = Entry.objects.get(kind="worked")
    assert entry.area_m2 == pytest.approx(92.90304)
    assert (entry.amount_value, entry.amount_unit) == ("1,000", "ft2")
    page = dag.get(reverse("jobs:job", args=[world.job.pk])).content.decode()
    assert "GL-200000" in page
    fix = reverse("jobs:work_correct", args=[world.job.pk, entry.pk])
    assert dag.get(fix).status_code == 200
    assert dag.post(fix, {"area": "500", "passes": "3"}).status_code == 302
    assert SetState.objects.get(pk=world.two.pk).worked_m2 == pytest.approx(500 * 3 * 0.09290304)
    newest = Entry.objects.filter(kind="worked").latest("act__recorded_at")
    assert dag.post(reverse("jobs:undo", args=[newest.act_id])).status_code == 302
    assert SetState.objects.get(pk=world.two.pk).worked_m2 == 0


def test_step_by_step_offers_the_sets_out_and_goes_on_to_the_next_step(world: SimpleNamespace) -> None:
    dag, shift = client_of(world.cast.dag), str(world.shift.key)
    draft = draft_of(world.plan)
    two_steps = replace(draft, steps=tuple(replace(step, shift_key=world.shift.key) for step in draft.steps))
    save_plan(world.cast.ines, world.job, two_steps, now=world.now)
    url = reverse("jobs:work", args=[world.job.pk]) + f"?shift={shift}&step={world.step.key}"
    form = dag.get(url).context["form"]
    # The 200 that is out is chosen; the 400 on the rack is not a 200 and not offered.
    assert form.initial["tool_set"] == str(world.two.pk)
    assert [key for key, _words in form.fields["tool_set"].choices] == ["", str(world.two.pk)]
    data = {
        "shift": shift, "step": str(world.step.key), "tool_set": str(world.two.pk), "code": "", "area": "1,000",
        "passes": "3", "basis": "measured", "second_set": "", "second_area": "", "paper": "",
    }  # fmt: skip
    following = dag.post(url, data)["Location"]
    assert following == reverse("jobs:work", args=[world.job.pk]) + f"?shift={shift}&step={world.step4.key}"
    data |= {"step": str(world.step4.key), "tool_set": str(world.four.pk)}
    assert dag.post(following, data)["Location"] == reverse("jobs:job", args=[world.job.pk])


def test_my_job_goes_from_passes_to_even_to_left_to_closed(world: SimpleNamespace) -> None:
    dag = client_of(world.cast.dag)
    args = [world.job.pk, world.shift.key]
    page = reverse("jobs:shift", args=args)
    first = dag.get(page).content.decode()
    assert "GL-200000" in first
    assert "0 of 5 passes over the floor" in first
    # A photo of trouble goes to the set's photos, and those lead back here.
    photos = reverse("inventory:set_photos", args=[world.two.pk]) + f"?back={page}"
    assert f'href="{photos}"' in first
    assert f'<a href="{page}">Back to the job</a>' in dag.get(photos).content.decode()
    log = reverse("jobs:shift_log", args=[*args, world.step.key])
    asked = dag.post(log, {"passes": "5", "area": "124000", "tool_set": str(world.two.pk)})
    assert asked.status_code == 422
    assert "times this floor" in asked.content.decode()
    # 3 ft2 short of 10,763.91 in five passes: rounding, not a pass to come.
    dag.post(log, {"passes": "5", "area": "10763", "tool_set": str(world.two.pk)})
    assert "5 of 5 passes over the floor" in dag.get(page).content.decode()
    assert "Does the floor look even?" in dag.get(page).content.decode()
    dag.post(
        reverse("jobs:shift_trouble", args=[*args, world.step.key]),
        {"tool_set": str(world.two.pk), "trouble": "glazed"},
    )
    assert SetState.objects.get(pk=world.two.pk).face == "glazed"
    assert "dress it as its maker says" in dag.get(page).content.decode()
    dag.post(reverse("jobs:shift_even", args=[*args, world.step.key]))
    assert "How do you leave the sets?" in dag.get(page).content.decode()
    dag.post(reverse("jobs:shift_leave", args=args), {"how": "in_water"})
    assert "Close the shift" in dag.get(page).content.decode()
    dag.post(reverse("jobs:shift_close", args=args))
    assert set(ShiftEntry.objects.values_list("kind", flat=True)) == {"floor_even", "left", "closed"}
    closed = dag.get(page).content.decode()
    assert "closed this shift" in closed
    for gone in ("Log it", "Step done", "Glazed", "#log"):
        assert gone not in closed, gone


def test_a_step_without_a_pass_is_asked_about_and_a_yes_is_kept_with_its_reason(world: SimpleNamespace) -> None:
    dag, args = client_of(world.cast.dag), [world.job.pk, world.shift.key]
    even = reverse("jobs:shift_even", args=[*args, world.step.key])
    asked = dag.get(reverse("jobs:shift", args=args) + f"?step={world.step.key}&even=1").content.decode()
    assert "No pass of 200 is logged on Hall. Is the step done all the same?" in asked
    assert "Yes, even" not in asked
    refused = dag.post(even, {"why": "  "})
    assert refused.status_code == 422
    assert "Log what the set did, or say why the step is done without it." in refused.content.decode()
    assert not ShiftEntry.objects.exists()
    assert dag.post(even, {"why": "ground by hand"}).status_code == 302
    assert ShiftEntry.objects.get().why == "ground by hand"


def test_my_job_answers_garbled_sets_and_shifts_no_plan_has_in_words(world: SimpleNamespace) -> None:
    dag, args = client_of(world.cast.dag), [world.job.pk, world.shift.key]

    def said(name: str, where: list[Any], data: dict[str, str]) -> str:
        answer = dag.post(reverse(name, args=where), data)
        assert answer.status_code == 302
        return " ".join(str(one) for one in get_messages(answer.wsgi_request))

    before = Entry.objects.count()
    trouble = {"tool_set": str(world.two.pk), "trouble": "glazed"}
    assert "No set was named." in said("jobs:shift_trouble", [*args, world.step.key], trouble | {"tool_set": "garbage"})
    assert "has no such step" in said("jobs:shift_trouble", [*args, NOBODY], trouble)
    assert "has that shift no more" in said("jobs:shift_trouble", [world.job.pk, NOBODY, world.step.key], trouble)
    assert "has that shift no more" in said("jobs:shift_close", [world.job.pk, NOBODY], {})
    assert (Entry.objects.count(), ShiftEntry.objects.count()) == (before, 0)
    assert "Sets left" in said("jobs:shift_leave", args, {"how": "dry", "set-garbage": "in_water"})
    assert SetState.objects.get(pk=world.two.pk).facts["left_how"] == "dry"


def test_my_job_shows_tonights_shift_and_not_last_nights_settled_one(world: SimpleNamespace) -> None:
    dag = client_of(world.cast.dag)
    # Last night ended six hours ago; tonight's begins in ten, with no set out yet and one meant for it.
    reserve(world.cast.ines, world.job, world.step4.key, world.four, now=world.now)
    page = dag.get(reverse("jobs:my_job"))
    assert page.context["night"].shift.key == world.second.key
    text = page.content.decode()
    assert reverse("jobs:shift", args=[world.job.pk, world.shift.key]) in text  # last night's, one tap away
    assert "Meant: GL-400000" in text
    out = {"outing": outing_of_shift(world.job, world.second, now=world.now), "gate": "passed"}
    write(world.cast, NewLine("scanned_out", world.four, None, out), at=world.now)
    page = dag.get(reverse("jobs:my_job"))
    # The whole floor is proposed, not a thousand: 1,000 m2 = 10,764 ft2.
    assert from_si(page.context["form"].initial["area"], "ft2") == pytest.approx(10764, abs=0.01)
    (one,) = [one for one in running(page.context["night"], world.now).sets if one.state.pk == world.four.pk]
    assert one.needs_m2 == pytest.approx(plan_of_outing(out["outing"].pk)[-1].reference_m2)


def test_the_morning_asks_and_one_tap_answers_with_undo(world: SimpleNamespace) -> None:
    ines, url = client_of(world.cast.ines), reverse("jobs:shop_day") + "?show=morning"
    page = ines.get(url)
    assert "2 answers missing from last night" in page.content.decode()
    assert "Take 53,820" in page.content.decode()  # 1,000 m2 x 5 passes
    key = {"job": str(world.job.pk), "shift": str(world.shift.key), "step": str(world.step.key)}
    ines.post(reverse("jobs:answer", args=["take"]), key)
    ines.post(reverse("jobs:answer", args=["left"]), key | {"how": "in_water"})
    done = ines.get(url).content.decode()
    assert "Last night is complete. 1 on site in water." in done
    assert "Sets left: in water" in done
    assert SetState.objects.get(pk=world.two.pk).worked_m2 == pytest.approx(5000)
    taken = Entry.objects.get(kind="worked")
    ines.post(reverse("jobs:undo", args=[taken.act_id]))
    assert "1 answer missing from last night" in ines.get(url).content.decode()
    assert ines.post(reverse("jobs:answer", args=["take"]), {}).status_code == 302
    assert ines.post(reverse("jobs:answer", args=["nonsense"]), key).status_code == 302


def test_where_are_the_sets_and_overrides_are_answered_on_the_morning_page(world: SimpleNamespace) -> None:
    ines, url = client_of(world.cast.ines), reverse("jobs:shop_day") + "?show=morning"
    loan = make_outing(world.cast.branch, "Neighbour", leaves_at=world.now - hours(50), due_at=world.now - hours(1))
    out = {"outing": loan, "gate": "overridden", "why": "spare is in van 5"}
    write(world.cast, NewLine("scanned_out", world.four, None, out), at=world.now - hours(49))
    page = ines.get(url).content.decode()
    assert "answers missing from last night" in page
    assert "Some of them came back" not in page
    assert "0 of 1 back. Where is 400?" in page
    assert "spare is in van 5" in page
    flag = Entry.objects.get(gate="overridden")
    ines.post(
        reverse("jobs:answer", args=["settle"]),
        {"set": str(world.four.pk), "entry": str(flag.pk), "code": "gate_overridden", "answer": "seen"},
    )
    ines.post(reverse("jobs:answer", args=["back"]), {"sets": str(world.four.pk), "outing": str(loan.pk)})
    state = SetState.objects.get(pk=world.four.pk)
    assert (state.open_flags, state.outing_id, state.place_id) == (0, None, world.rack.pk)


def test_some_sets_back_and_an_override_of_today_are_told_apart_from_last_night(world: SimpleNamespace) -> None:
    ines, url = client_of(world.cast.ines), reverse("jobs:shop_day") + "?show=morning"
    loan = make_outing(world.cast.branch, "Neighbour", leaves_at=world.now - hours(50), due_at=world.now - hours(1))
    other = make_set(world.cast, world.step4.tool_type, world.rack, code="GL-400001", at=world.now - hours(200))
    for tool_set in (world.four, other):
        write(world.cast, NewLine("scanned_out", tool_set, None, {"outing": loan, "gate": "passed"}), at=world.now)
    page = ines.get(url).content.decode()
    assert "Some of them came back" in page
    assert "answers missing from last night" in page
    late = make_set(world.cast, world.step4.tool_type, world.rack, code="GL-400002", at=world.now - hours(200))
    against = {"outing": loan, "gate": "overridden", "why": "spare is in van 5"}
    write(world.cast, NewLine("scanned_out", late, None, against), at=timezone.now())
    assert "answers missing from last night" not in ines.get(url).content.decode()


def test_tonight_shows_the_matrix_and_takes_another_set(world: SimpleNamespace) -> None:
    ines, url = client_of(world.cast.ines), reverse("jobs:shop_day") + "?show=tonight"
    page = ines.get(url).content.decode()
    assert "Osprey Lane" in page
    assert "GL-400000" in page
    instead = reverse("jobs:take_instead", args=[world.job.pk, world.step4.key])
    ines.post(instead, {"tool_set": str(world.four.pk), "shift": str(world.second.key)})
    assert world.job.reservations.get().tool_set_id == world.four.pk
    ines.post(
        instead, {"tool_set": str(world.two.pk), "shift": str(world.second.key)}
    )  # another type: refused in words, nothing changes
    assert world.job.reservations.filter(ended_at__isnull=True).get().tool_set_id == world.four.pk


def test_scanning_out_tonight_makes_the_outings_of_its_shifts_once(world: SimpleNamespace) -> None:
    ines, url = client_of(world.cast.ines), reverse("jobs:scan_tonight")
    make_planned(world.cast, name="Tollgate", site_name="Tollgate", first=world.now - hours(14), now=world.now)
    before = Outing.objects.count()
    assert ines.post(url)["Location"] == reverse("inventory:scan")
    assert ines.post(url).status_code == 302
    assert Outing.objects.count() == before + 1  # Osprey Lane goes on with the one of its first night
    (row,) = ShiftOuting.objects.filter(shift_uuid=world.second.key)
    assert row.outing_id == world.outing.pk


def test_the_scan_page_offers_tonights_jobs_and_no_outing_that_is_over(world: SimpleNamespace) -> None:
    teo = client_of(world.cast.teo)
    over = make_outing(
        world.cast.branch, "Long over", leaves_at=world.now - hours(50), due_at=world.now - hours(40)
    )  # nothing is out with it
    plan = make_planned(world.cast, name="Tollgate", site_name="Tollgate", first=world.now - hours(14), now=world.now)
    page = teo.get(reverse("inventory:scan")).content.decode()
    make = reverse("jobs:job_outing", args=[plan.job_id, plan.shifts.all()[1].key])
    assert make in page
    assert over.name not in page
    assert "Long over" not in teo.get(reverse("inventory:outings")).content.decode()
    made = teo.post(make)["Location"]
    page = teo.get(reverse("inventory:scan")).content.decode()
    assert make not in page
    assert made in page


def test_whoever_plans_chooses_a_set_a_second_one_or_none(world: SimpleNamespace) -> None:
    ines = client_of(world.cast.ines)
    args = [world.job.pk, world.second.key, world.step4.key]
    other = make_set(
        world.cast, world.step4.tool_type, world.rack, code="GL-400001", at=world.now - hours(200)
    )  # a second one
    url = reverse("jobs:choose_set", args=args)
    page = ines.get(url).content.decode()
    assert "Which resin 400 set goes?" in page
    assert "Hall: 53,820" in page  # 1,000 m2 x 5 passes
    assert page.index("GL-400000") < page.index("GL-400001")
    take = reverse("jobs:take_instead", args=[world.job.pk, world.step4.key])
    said = {"shift": str(world.second.key), "to": "job"}
    back = ines.post(take, said | {"tool_set": str(other.pk)})
    assert back["Location"] == reverse("jobs:job", args=[world.job.pk])
    page = ines.get(url).content.decode()
    assert page.index("GL-400001") < page.index("GL-400000")
    assert "As second" in page
    ines.post(take, said | {"tool_set": str(other.pk), "second": str(world.four.pk)})
    held = world.job.reservations.filter(ended_at__isnull=True)
    assert dict(held.values_list("tool_set_id", "order")) == {other.pk: 1, world.four.pk: 2}
    ines.post(take, said | {"tool_set": str(other.pk), "second": str(other.pk)})  # refused in words
    assert held.count() == 2
    ines.post(take, said | {"tool_set": str(world.four.pk)})  # the second becomes the first: it is not both
    assert dict(held.values_list("tool_set_id", "order")) == {world.four.pk: 1}
    ines.post(take, said)
    assert not held.exists()
    assert ines.get(reverse("jobs:choose_set", args=[*args[:2], NOBODY])).status_code == 404


def test_one_lead_or_machine_on_two_shifts_at_once_is_said(world: SimpleNamespace) -> None:
    ines = client_of(world.cast.ines)
    nights = nights_of(world.plan)
    assert clashes_of(world.cast.branch, nights) == {}
    plan = make_planned(world.cast, name="Tollgate", site_name="Tollgate", first=world.now - hours(14), now=world.now)
    found = clashes_of(world.cast.branch, nights)
    machine = world.shift.machine_rows.all()[0].machine.name
    assert {clash.who for clash in found[world.second.key]} == {"Dag P.", machine}
    assert {clash.other.plan.job_id for clash in found[world.second.key]} == {plan.job_id}
    for url in (reverse("jobs:shop_day") + "?show=tonight", reverse("jobs:job", args=[world.job.pk])):
        assert "Dag P. is on Tollgate at that time too" in ines.get(url).content.decode(), url


def test_pages_take_the_same_queries_for_one_and_for_many_jobs(world: SimpleNamespace) -> None:
    ines = client_of(world.cast.ines)
    urls = [
        reverse("jobs:jobs"), reverse("jobs:sites"), reverse("jobs:job", args=[world.job.pk]),
        reverse("jobs:shop_day") + "?show=morning", reverse("jobs:shop_day") + "?show=tonight",
        reverse("jobs:shift", args=[world.job.pk, world.shift.key]), reverse("jobs:work", args=[world.job.pk]),
        reverse("jobs:plan", args=[world.job.pk]),
        reverse("jobs:choose_set", args=[world.job.pk, world.shift.key, world.step.key]),
    ]  # fmt: skip

    def counts() -> dict[str, int]:
        found = {}
        for url in urls:
            ines.get(url)
            with CaptureQueriesContext(connection) as queries:
                assert ines.get(url).status_code == 200
            found[url] = len(queries)
        return found

    def log(tool_set: ToolSet) -> None:
        log_work(
            who(world.cast.dag, world.cast.device, world.now - hours(10)),
            world.job,
            world.shift.key,
            world.step.key,
            [WorkPart(tool_set, 10, 1)],
            now=world.now - hours(10),
        )

    log(world.two)
    few = counts()
    for number in range(6):
        plan = make_planned(
            world.cast,
            name=f"Job {number}",
            site_name=f"Site {number}",
            first=world.now - hours(14),
            now=world.now - hours(90),
        )
        outing_of_shift(plan.job, plan.shifts.all()[0], now=world.now - hours(15))
        one = make_set(
            world.cast, world.step.tool_type, world.rack, code=f"GL-20000{number + 1}", at=world.now - hours(99)
        )
        log(one)
    many = counts()
    assert many == few
    assert max(many.values()) <= 45, many
