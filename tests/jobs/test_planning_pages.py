"""What the pages of the work say beside the plan: sets wanted twice, closed days, jobs without steps, long mornings."""

from __future__ import annotations

import re
from dataclasses import replace
from types import SimpleNamespace

import pytest
from django.contrib.messages import get_messages
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory.actions.gate import name_of
from inventory.actions.ledger import NewLine
from inventory.actions.shop import save_closed_day
from inventory.chart import Chart
from inventory.models import Person, Recipe
from inventory.models.choices import SoakNeed
from inventory.times import zone_of
from jobs.actions.plan import save_plan
from jobs.actions.reservation import reserve
from jobs.actions.shift import outing_of_shift
from jobs.models import JobPlan, Reservation
from jobs.plan_draft import draft_of
from jobs.queries.clash import Wanted, set_clash, soak_turns, wanted_elsewhere
from jobs.queries.plan import nights_of
from jobs.queries.tonight import Leaving
from jobs.reorder_chart import _WIDEST, _within
from jobs.views.shop_day import MOST_QUESTIONS, _headline, _span
from tests.cast import hours, make_cast, make_outing, make_place, make_set, make_type, uuid, write
from tests.jobs.plans import make_planned

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> SimpleNamespace:
    """Two jobs with a night now plus four hours, at which both want a 400; the 400 needs 48 hours of water."""
    cast, now = make_cast(), timezone.now()
    make_type("200", ladder_place=5, soak_need=SoakNeed.NONE)
    four = make_type("400", ladder_place=6, soak_need=SoakNeed.REQUIRED)
    Recipe.objects.create(tool_type=four, valid_from=(now - hours(900)).date(), recorded_at=now, cold_hours=48)
    first = now - hours(20)  # each job's second night, that of the 400, starts a day later
    mine = make_planned(cast, first=first, now=now - hours(90))
    other = make_planned(cast, name="Tollgate", site_name="Tollgate", first=first, now=now - hours(90))
    rack = make_place(cast.branch, name="Rack B")
    sets = [make_set(cast, four, rack, code=f"GL-40000{n}", at=now - hours(300)) for n in range(2)]
    return SimpleNamespace(cast=cast, now=now, four=four, mine=mine, other=other, rack=rack, sets=sets)


def client_of(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def step_of(plan: JobPlan, grit: str) -> object:
    return next(step for step in plan.steps.all() if step.tool_type.grit == grit)


def moved(world: SimpleNamespace, by_hours: float) -> JobPlan:
    """The other job's plan with its nights moved by so many hours."""
    draft = draft_of(world.other)
    by = hours(by_hours)
    shifts = tuple(replace(one, starts_at=one.starts_at + by, ends_at=one.ends_at + by) for one in draft.shifts)
    return save_plan(world.cast.ines, world.other.job, replace(draft, shifts=shifts), now=world.now).plan


def choose(world: SimpleNamespace) -> str:
    shift, step = world.mine.shifts.all()[1], step_of(world.mine, "400")
    url = reverse("jobs:choose_set", args=[world.mine.job_id, shift.key, step.key])  # type: ignore[attr-defined]
    return client_of(world.cast.ines).get(url).content.decode()


def test_a_set_another_job_wants_is_named_where_one_chooses_and_taking_it_is_allowed(world: SimpleNamespace) -> None:
    one, two = world.sets
    step = step_of(world.mine, "400")
    reserve(world.cast.ines, world.other.job, step_of(world.other, "400").key, one, now=world.now)  # type: ignore[attr-defined]
    page = choose(world)
    assert len(re.findall(r"Meant for Tollgate, [^<]*, at that time too\.", page)) == 1
    # The one nobody else wants comes first.
    assert page.index("GL-400001") < page.index("GL-400000")
    ines = client_of(world.cast.ines)
    take = reverse("jobs:take_instead", args=[world.mine.job_id, step.key])  # type: ignore[attr-defined]
    said = {"shift": str(world.mine.shifts.all()[1].key), "to": "job", "tool_set": str(one.pk)}
    answer = ines.post(take, said)
    told = [str(message) for message in get_messages(answer.wsgi_request)]
    assert told[0] == "GL-400000 is meant for resin 400, Osprey Lane."
    assert told[1].startswith("GL-400000: Meant for Tollgate, ")
    assert Reservation.objects.filter(tool_set=one, ended_at__isnull=True).count() == 2
    job = ines.get(reverse("jobs:job", args=[world.mine.job_id])).content.decode()
    assert "GL-400000: Meant for Tollgate, " in job
    answer = ines.post(take, said | {"tool_set": str(two.pk)})
    assert [str(message) for message in get_messages(answer.wsgi_request)][
        -1
    ] == "GL-400001 is meant for resin 400, Osprey Lane."
    assert "Meant for Tollgate" not in ines.get(reverse("jobs:job", args=[world.mine.job_id])).content.decode()


def test_a_set_wanted_too_soon_to_be_soaked_between_is_named_too(world: SimpleNamespace) -> None:
    reserve(world.cast.ines, world.other.job, step_of(world.other, "400").key, world.sets[0], now=world.now)  # type: ignore[attr-defined]
    moved(world, 24)
    assert len(re.findall(r"Meant for Tollgate, [^<]*: no time between to soak it again\.", choose(world))) == 1
    moved(world, 8 + 48 + 8 + 1)  # our night, the soak, the loading time, and an hour to spare
    assert "Meant for Tollgate" not in choose(world)
    moved(world, 24)
    world.four.soak_need = SoakNeed.NONE
    world.four.save()
    assert "Meant for Tollgate" not in choose(world)


def test_a_set_meant_for_several_nights_is_wanted_on_each_of_them(world: SimpleNamespace) -> None:
    step = step_of(world.other, "400")
    first, last = world.other.shifts.all()
    row = {"from_shift": first.key, "to_shift": last.key}
    reserve(world.cast.ines, world.other.job, step.key, world.sets[0], now=world.now, **row)  # type: ignore[attr-defined]
    span = (world.cast.branch, [world.mine.job_id], first.starts_at - hours(1), last.ends_at)
    assert [one.shift.key for one in wanted_elsewhere(*span)[world.sets[0].pk]] == [first.key, last.key]
    assert wanted_elsewhere(world.cast.branch, [world.other.job_id], *span[2:]) == {}


def test_the_shorter_way_of_a_recipe_is_the_soak_turn_and_touching_shifts_do_not_clash(world: SimpleNamespace) -> None:
    day = world.now.date()
    assert soak_turns([world.four.pk], day) == {world.four.pk: hours(48)}
    facts = {"cold_hours": 60, "hot_hours": 24, "hot_limit_c": 50}
    Recipe.objects.create(tool_type=world.four, valid_from=day, recorded_at=world.now, **facts)
    assert soak_turns([world.four.pk], day) == {world.four.pk: hours(24)}
    shift = world.other.shifts.all()[1]
    wanted, none = [Wanted("Tollgate", shift)], hours(0)
    begin, end = shift.starts_at, shift.ends_at
    assert set_clash(wanted, begin - hours(8), begin - hours(2), loading=hours(2), turn=none) is None
    assert set_clash(wanted, begin - hours(8), begin - hours(1.9), loading=hours(2), turn=none) == wanted[0]
    assert set_clash(wanted, end, end + hours(8), loading=hours(2), turn=none) is None
    near = set_clash(wanted, end + hours(23), end + hours(30), loading=hours(2), turn=hours(24))
    assert near == replace(wanted[0], soak=True)
    assert set_clash(wanted, end + hours(24), end + hours(30), loading=hours(2), turn=hours(24)) is None


def test_a_coming_shift_on_a_closed_day_says_so_on_the_jobs_page(world: SimpleNamespace) -> None:
    shift = nights_of(world.mine)[1].shift
    day = shift.starts_at.astimezone(zone_of(world.cast.branch)).date()
    save_closed_day(world.cast.ines, world.cast.branch, day, name="Stocktaking", now=world.now)
    page = client_of(world.cast.ines).get(reverse("jobs:job", args=[world.mine.job_id])).content.decode()
    assert page.count(": Stocktaking.") == 1


def test_jobs_without_steps_say_so_with_the_mend(world: SimpleNamespace) -> None:
    ines = client_of(world.cast.ines)
    url = reverse("jobs:jobs")
    assert "No ladder steps yet" not in ines.get(url).content.decode()
    save_plan(world.cast.ines, world.mine.job, replace(draft_of(world.mine), steps=()), now=world.now)
    page = ines.get(url).content.decode()
    assert (page.count("No ladder steps yet"), "1 job has no ladder steps yet" in page) == (1, True)
    assert f'href="{reverse("jobs:plan", args=[world.mine.job_id])}">Plan its steps' in page
    assert "Plan its steps" not in client_of(world.cast.nils).get(url).content.decode()


def test_a_won_job_shows_its_chance_and_the_form_keeps_what_was_chosen(world: SimpleNamespace) -> None:
    ines = client_of(world.cast.ines)
    assert "won, 100 %" in ines.get(reverse("jobs:jobs")).content.decode()
    url = reverse("jobs:plan", args=[world.mine.job_id])
    form = ines.get(url).context["form"]
    sent = {f"{prefix}-count": "0" for prefix in ("zones", "steps", "shifts")}
    sent |= {name: str(form[name].value() or "") for name in form.fields}
    sent |= {"starts_on": "2031-03-03", "ladder_from": str(world.four.pk), "ladder_to": str(world.four.pk)}
    page = ines.post(url, sent | {"add": "shifts"})
    (row,) = page.context["tables"]["shifts"]
    usual = nights_of(world.other)[1].shift.starts_at.astimezone(zone_of(world.cast.branch))
    assert (row["day"].value(), row["starts"].value()) == ("2031-03-03", f"{usual:%H:%M}")
    assert row["lead"].value() == world.cast.dag.pk
    ladder = page.content.decode().partition('id="ladder_from"')[2].partition('name="propose"')[0]
    assert ladder.count(f'<option value="{world.four.pk}" selected>') == ladder.count(" selected>") == 2


def test_a_page_with_nothing_on_it_leads_to_what_comes_first() -> None:
    cast = make_cast()
    client = client_of(cast.olga)
    for name, ways in {
        "jobs:sites": ("site_new", "bring_in"),
        "jobs:job_choose": ("site_new", "bring_in"),
        "jobs:jobs": ("job_choose", "bring_in"),
        "jobs:reorder": ("job_choose",),
    }.items():
        empty = client.get(reverse(name)).content.decode().partition('<div class="empty">')[2].partition("</div>")[0]
        for way in ways:
            assert f'href="{reverse(f"jobs:{way}")}"' in empty, (name, way)


def test_hundreds_of_open_flags_come_in_leaves(world: SimpleNamespace) -> None:
    ines, url = client_of(world.cast.ines), reverse("jobs:shop_day") + "?show=morning"
    first, second = make_outing(world.cast.branch, "First"), make_outing(world.cast.branch, "Second")
    for number in range(MOST_QUESTIONS + 5):
        one = make_set(world.cast, world.four, world.rack, code=f"GL-{number:06d}", at=world.now - hours(200))
        for outing, at in ((first, 3), (second, 2)):
            out = {"outing": outing, "gate": "passed"}
            write(world.cast, NewLine("scanned_out", one, None, out), at=world.now - hours(at))
    page = ines.get(url)
    count = page.context["count"]
    assert count >= MOST_QUESTIONS + 5
    assert f"{count} answers missing" in page.content.decode()
    assert len(page.context["questions"]) == MOST_QUESTIONS
    assert "Page 1 of 2" in page.content.decode()
    rest = ines.get(url + "&page=2")
    assert len(rest.context["questions"]) == count - MOST_QUESTIONS
    assert not any(question["first"] for question in rest.context["questions"])
    # An answer of the second leaf comes back to it.
    action = next(one for one in rest.context["questions"][-1]["answers"] if one.get("method") != "get")
    assert action["url"].endswith("?page=2")
    back = ines.post(action["url"], action["hidden"])
    assert back["Location"] == url + "&page=2"
    assert ines.get(url).context["count"] == count - 1


def test_step_by_step_asks_only_the_area_and_the_passes(world: SimpleNamespace) -> None:
    shift, step = world.mine.shifts.all()[0], step_of(world.mine, "200")
    outing = outing_of_shift(world.mine.job, shift, now=world.now - hours(21))
    two = make_set(world.cast, step.tool_type, world.rack, code="GL-200000", at=world.now - hours(200))  # type: ignore[attr-defined]
    write(world.cast, NewLine("scanned_out", two, None, {"outing": outing, "gate": "passed"}), at=world.now - hours(20))
    dag, url = client_of(world.cast.dag), reverse("jobs:work", args=[world.mine.job_id])
    page = dag.get(f"{url}?shift={shift.key}&step={step.key}")  # type: ignore[attr-defined]
    form = page.context["form"]
    assert [field.name for field in form.asked if not field.is_hidden] == ["area", "passes"]
    assert len(form.folded) == 9
    # What is left of the step: 1,000 m2 in five passes, in the person's whole square feet.
    assert (form["area"].value(), form["passes"].value()) == ("10764", 5)
    assert "resin 200 · Hall · 200 · GL-200000" in page.content.decode()
    assert '<details class="whole">' in page.content.decode()
    sent = {name: str(form[name].value() or "") for name in form.fields}
    sent |= {"area": "10,764", "passes": "2", "sure": ""}
    assert dag.post(f"{url}?shift={shift.key}&step={step.key}", sent).status_code == 302  # type: ignore[attr-defined]
    left = dag.get(f"{url}?shift={shift.key}&step={step.key}").context["form"]  # type: ignore[attr-defined]
    assert left["passes"].value() == 3
    # Without a shift in the address the desk is asked for shift and step too; a wrong answer within opens the fold.
    form = dag.get(url).context["form"]
    assert {"shift", "step", "area", "passes"} <= {field.name for field in form.asked}
    wrong = dag.post(url, sent | {"second_area": "many"})
    assert wrong.status_code == 422
    assert '<details class="whole" open>' in wrong.content.decode()


def test_sets_with_an_own_code_only_are_called_by_it_on_the_pages_of_a_job(world: SimpleNamespace) -> None:
    shift, step = world.mine.shifts.all()[0], step_of(world.mine, "200")
    outing = outing_of_shift(world.mine.job, shift, now=world.now - hours(21))
    bare = make_set(world.cast, step.tool_type, world.rack, at=world.now - hours(200))  # type: ignore[attr-defined]
    bare.own_code = "K143"
    bare.save()
    assert name_of(bare.state) == "K143"
    write(
        world.cast, NewLine("scanned_out", bare, None, {"outing": outing, "gate": "passed"}), at=world.now - hours(20)
    )
    reserve(world.cast.ines, world.mine.job, step.key, bare, now=world.now)  # type: ignore[attr-defined]
    ines = client_of(world.cast.ines)
    job = ines.get(reverse("jobs:job", args=[world.mine.job_id])).content.decode()
    assert "1 set out: K143" in job
    assert str(bare.pk) not in job.replace("/sets/", "")
    mine = ines.get(reverse("jobs:shift", args=[world.mine.job_id, shift.key])).content.decode()
    assert '<span class="stamp-s">K143</span>' in mine


def test_a_shop_that_works_by_day_reads_which_day_its_vans_leave(world: SimpleNamespace) -> None:
    since = world.now.astimezone(zone_of(world.cast.branch)).replace(hour=6, minute=0, second=0, microsecond=0)
    night = nights_of(world.mine)[1]

    def leaving(*at_hours: float) -> list[Leaving]:
        return [Leaving(night, since + hours(at), None, (), "no") for at in at_hours]

    assert _span(leaving(12.5), since) == "Leaving tonight"
    assert _span(leaving(0.5), since) == "Leaving today"
    assert _span(leaving(0.5, 12.5), since) == "Leaving today and tonight"
    assert _span(leaving(12.5, 24.5), since) == "Leaving tonight and tomorrow morning"
    # At ten the van of 06:30 is gone: there is time until 18:30, and until tomorrow's with its day.
    ten, ines = since + hours(4), world.cast.ines
    assert _headline(leaving(0.5, 12.5), 2, ines, ten).endswith("before the first van leaves at 18:30")
    tomorrow = (since + hours(24)).strftime("%a")
    assert _headline(leaving(0.5, 24.5), 2, ines, ten).endswith(f"before the first van leaves at {tomorrow} 06:30")


def test_a_morning_shift_of_tomorrow_counts_as_tomorrow(world: SimpleNamespace) -> None:
    ines, url = client_of(world.cast.ines), reverse("jobs:shop_day") + "?show=tonight"
    before = ines.get(url).context["tomorrow"]
    zone = zone_of(world.cast.branch)
    begins = (world.now - hours(6)).astimezone(zone).replace(hour=6, minute=0, second=0, microsecond=0)
    draft = draft_of(world.other)
    day = replace(draft.shifts[1], starts_at=begins + hours(26.5), ends_at=begins + hours(34), key=uuid(909))
    save_plan(world.cast.ines, world.other.job, replace(draft, shifts=(*draft.shifts, day)), now=world.now)
    page = ines.get(url)
    assert page.context["tomorrow"] == before + 1
    assert f"{(begins + hours(24)):%a}" in page.context["lines"][-1]["leaves"]


def test_the_words_of_the_chart_stay_on_the_drawing_of_a_phone() -> None:
    chart = Chart(358, 300, (0, 100), (0, 10), left=54, right=8)
    words = "may run short from week of 28 Dec"
    for x in (60.0, 120.0, 200.0, 340.0):
        for late in (False, True):
            anchor, dx = _within(chart, x, words, late=late)
            begins = x + dx - (len(words) * _WIDEST if anchor == "end" else 0.0)
            if len(words) * _WIDEST <= chart.right - chart.left:
                assert begins + len(words) * _WIDEST <= chart.width or late, (x, late)
                assert begins >= chart.left or not late, (x, late)
    # Where there is room the words stand beside their leader.
    assert _within(chart, 60.0, "short", late=False) == ("start", 4.0)
    assert _within(chart, 340.0, "short", late=True) == ("end", -4.0)
