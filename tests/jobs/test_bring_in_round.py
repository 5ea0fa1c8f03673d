"""What goes out comes back in and adds nothing; sites, jobs and work come in and are undone."""

from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from inventory.models import Entry, SetState, SheetRow, ToolSet
from jobs.actions.bring_in import BroughtIn, TakenBack, start_draft, take_back
from jobs.models import Job, JobPlan, Site, Zone
from jobs.queries.plan import plan_of
from tests.cast import NOW, hours, make_cast, make_set
from tests.inventory.sheets.shop import told
from tests.jobs.plans import make_planned

from .sheet_files import answer, come_in, draft_of, looked, stock_shop

pytestmark = pytest.mark.django_db

SITES = [
    ["Site", "Address", "Zone", "Area (sq ft)", "Edge (ft)", "Hardness", "Surface"],
    ["Harrow Depot", "1 Mill Rd", "Aisles", "12,400", "320", "hard", "worn"],
    ["Harrow Depot", "", "Dock", "2,150", "", "soft", "bare"],
    ["Quill House", "", "", "", "", "", ""],
]
JOBS = [
    ["Job", "Site", "Zone", "Starts", "Status", "Chance", "Steps", "Nights"],
    ["Harrow spring", "Harrow Depot", "Aisles", "2025-06-02", "won", "", "30 metal, 100 resin, 400 resin", "3"],
    ["Quill bid", "Quill House", "", "2025-07-01", "bid", "60 %", "", ""],
]


@pytest.fixture
def cast() -> SimpleNamespace:
    found = make_cast()
    found.types = stock_shop(found)
    return found


def file_of(client: Client, person, table: str, fmt: str) -> bytes:
    client.force_login(person)
    reply = client.get(reverse("inventory:export", args=[table, fmt]))
    return reply.content if fmt == "xlsx" else b"".join(reply.streaming_content)


def test_sites_with_floors_come_in_once_and_are_closed_again(cast):
    draft = draft_of(cast.ines, SITES, "sites")
    assert come_in(cast, draft) == BroughtIn(3, {"zone": 2, "site": 2})
    aisles = Zone.objects.get(name="Aisles")
    assert (round(aisles.area_m2, 3), round(aisles.edge_m, 3), aisles.hardness, aisles.surface) == (
        1151.998, 97.536, "hard", "worn",
    )  # fmt: skip
    assert aisles.site.place.kind == "site"
    assert come_in(cast, draft_of(cast.ines, SITES, "sites")) == BroughtIn(0)

    assert take_back(cast.ines, cast.device, draft, now=NOW + hours(1)) == TakenBack(2, 0)
    assert not Zone.objects.filter(active=True).exists()
    assert not Site.objects.filter(active=True).exists()
    assert come_in(cast, draft).made["zone"] == 2
    assert (Zone.objects.filter(active=True).count(), Zone.objects.count()) == (2, 2)
    assert Site.objects.filter(active=True).count() == 2


def test_jobs_come_in_with_plan_steps_and_nights(cast):
    come_in(cast, draft_of(cast.ines, SITES, "sites"))
    draft = draft_of(cast.ines, JOBS, "jobs")
    assert come_in(cast, draft).made["job"] == 2

    plan = plan_of(Job.objects.get(name="Harrow spring"))
    assert (plan.standing, plan.award_chance, str(plan.starts_on)) == ("won", 1.0, "2025-06-02")
    assert [(step.tool_type.name, step.passes, step.step_kind) for step in plan.steps.all()] == [
        ("metal 30", 7, "first_cut"), ("resin 100", 5, "later"), ("resin 400", 5, "later"),
    ]  # fmt: skip
    assert [zone.zone.name for zone in plan.zones.all()] == ["Aisles"]
    assert [f"{shift.starts_at:%d %H:%M}" for shift in plan.shifts.all()] == ["03 01:00", "04 01:00", "05 01:00"]
    bid = plan_of(Job.objects.get(name="Quill bid"))
    assert (bid.standing, bid.award_chance) == ("bid", 0.6)
    assert come_in(cast, draft_of(cast.ines, JOBS, "jobs")) == BroughtIn(0)

    assert take_back(cast.ines, cast.device, draft, now=NOW + hours(1)) == TakenBack(2, 0)
    assert set(JobPlan.objects.filter(number=2).values_list("standing", flat=True)) == {"cancelled"}
    assert come_in(cast, draft).made["job"] == 2
    assert plan_of(Job.objects.get(name="Harrow spring")).standing == "won"
    assert Job.objects.count() == 2


def test_a_step_without_a_floor_is_not_lost(cast):
    rows = [
        ["Job", "Site", "Starts", "Status", "Steps"],
        ["Yard", "Yard hall", "2025-06-02", "won", "30 metal, 400 resin"],
    ]
    come_in(cast, draft_of(cast.ines, rows, "jobs"))

    plan = plan_of(Job.objects.get(name="Yard"))
    assert list(plan.steps.all()) == []
    assert plan.notes == "Steps of the list whose floor is not known: metal 30, resin 400."


WORKED = [
    ["Set", "Date", "Job", "Zone", "Area (sq ft)", "Passes", "Notes"],
    ["R-1", "2025-05-12", "Osprey Lane", "Hall", "10,000", "5", ""],
    ["R-1", "2025-05-13", "Osprey Lane", "Hall", "~5k", "5", "ran late"],
]


def opened(cast, **said) -> SetState:
    heads = ["Disc", "ID", *said]
    come_in(cast, draft_of(cast.ines, [heads, ["400 resin", "R-1", *said.values()]]))
    return SetState.objects.get(tool_set__own_code="R-1")


def test_work_before_a_sets_beginning_moves_the_beginning_and_keeps_its_height(cast):
    make_planned(cast)
    before = opened(cast, **{"height (mm)": "6.4", "where": "A 2"})
    draft = draft_of(cast.ines, WORKED, "work")

    assert come_in(cast, draft) == BroughtIn(2, {"work": 2})

    state = SetState.objects.select_related("place").get(pk=before.pk)
    assert state.worked_m2 == pytest.approx((10_000 + 5_000) * 5 * 0.09290304)
    assert (state.opening, state.lowest_height_mm, state.place.name, state.peg) == ("unknown", 6.4, "Rack A", "2")
    # The height was read after all of that work: it says what is gone by then, and nothing is counted twice.
    assert (state.wear["opening"], state.wear["start_mm"]) == ("unknown", None)
    (stretch,) = state.wear["stretches"]
    assert sum(area[0] for area in stretch["areas"].values()) == pytest.approx(state.worked_m2)
    assert stretch["read_mm"] == 6.4
    assert state.open_flags == 0
    first, second = Entry.objects.filter(kind="worked").order_by("act__happened_at")
    assert (f"{first.act.happened_at:%Y-%m-%d %H:%M}", first.act.time_known) == ("2025-05-12 17:00", "day")
    assert (first.basis, second.basis, second.why) == ("section_done", "guessed", "ran late")
    assert (first.hardness, first.surface, first.amount_value, first.amount_unit) == ("hard", "worn", "10000", "ft2")
    plan = plan_of(Job.objects.get(name="Osprey Lane"))
    assert first.visit_uuid == plan.job_id
    assert first.step_key == next(step.key for step in plan.steps.all() if step.tool_type.grit == "400")

    assert come_in(cast, draft_of(cast.ines, WORKED, "work")) == BroughtIn(0)
    assert take_back(cast.ines, cast.device, draft, now=NOW + hours(1)) == TakenBack(2, 0)
    state.refresh_from_db()
    assert (state.worked_m2, state.lowest_height_mm) == (0, 6.4)
    assert come_in(cast, draft).made == {"work": 2}
    state.refresh_from_db()
    assert state.worked_m2 == pytest.approx((10_000 + 5_000) * 5 * 0.09290304)


def test_work_before_a_word_for_what_is_left_is_asked_about(cast):
    make_planned(cast)
    draft = draft_of(cast.ines, [["Disc", "ID", "height"], ["400 resin", "R-1", "half"]])
    answer(draft, cast.ines, "“half”", "half")
    come_in(cast, draft)
    work = draft_of(cast.ines, WORKED, "work")
    assert told(looked(work, cast.ines).judgement)[0] == (2, "Is this work in “about half left” already?")
    answer(work, cast.ines, "already", "in", all_like_it=True)

    assert come_in(cast, work).rows == 2
    assert Entry.objects.filter(kind="worked").count() == 0
    assert looked(work, cast.ines).judgement.already == [2, 3]


def test_work_of_a_set_received_later_is_refused_with_the_day(cast):
    make_planned(cast)
    tool_set = make_set(cast, cast.types["resin 400"], at=NOW)
    ToolSet.objects.filter(pk=tool_set.pk).update(own_code="R-1")
    refused = looked(draft_of(cast.ines, WORKED, "work"), cast.ines).judgement.refused
    assert [(one.row, one.right) for one in refused] == [
        (2, "A day from 14 May 2025 on: the set began new then."),
        (3, "A day from 14 May 2025 on: the set began new then."),
    ]


@pytest.mark.parametrize("fmt", ["csv", "xlsx"])
def test_what_goes_out_comes_back_in_and_adds_nothing(client, cast, fmt):
    make_planned(cast)
    come_in(cast, draft_of(cast.ines, SITES, "sites"))
    make_set(cast, cast.types["resin 400"], code="GL-7K2M46")
    make_set(cast, cast.types["resin 200"])
    opened(cast, **{"height (mm)": "6.4", "where": "A 2"})
    come_in(cast, draft_of(cast.ines, WORKED, "work"))
    counts = (ToolSet.objects.count(), Zone.objects.count(), Job.objects.count(), Entry.objects.count())

    for kind in ("sets", "sites", "jobs", "work"):
        data = file_of(client, cast.ines, kind, fmt)
        draft = start_draft(cast.ines, cast.branch, kind, f"{kind}.{fmt}", data, now=NOW, draft_id=uuid4())
        found = looked(draft, cast.ines)
        assert found.judgement.missing == ()
        assert (found.judgement.accepted, found.judgement.questions, found.judgement.refused) == ([], [], []), kind
        assert len(found.judgement.already) == len(found.sheet.rows) > 0
        assert come_in(cast, draft) == BroughtIn(0)
    assert counts == (ToolSet.objects.count(), Zone.objects.count(), Job.objects.count(), Entry.objects.count())


def test_a_set_that_goes_out_comes_into_another_shop_as_it_was(client, cast):
    opened(cast, **{"height (mm)": "6.4", "where": "A 2"})
    data = file_of(client, cast.ines, "sets", "csv")
    came = SetState.objects.get(tool_set__own_code="R-1")
    take_back(cast.ines, cast.device, SheetRow.objects.get(made_key=str(came.pk)).draft, now=NOW + hours(1))

    draft = start_draft(cast.ines, cast.branch, "sets", "sets.csv", data, now=NOW, draft_id=uuid4())
    (item,) = looked(draft, cast.ines).judgement.things
    assert (item.type_name, item.own_code, item.opening_kind, item.peg) == ("resin 400", "R-1", "height", "2")
    assert item.lowest_height_mm == pytest.approx(6.4, abs=0.02)
