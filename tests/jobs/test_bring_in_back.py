"""Taking a list back: what was changed by hand since stays and is named; and the list comes in again after it."""

from types import SimpleNamespace

import pytest
from django.test import Client
from django.urls import reverse

from inventory.models import SheetDraft
from jobs.actions.bring_in import BroughtIn, take_back
from jobs.actions.plan import mark, save_plan
from jobs.actions.site import save_site, save_zone
from jobs.models import Job, JobPlan, Site, Standing, Zone
from jobs.plan_draft import draft_of as plan_draft_of
from jobs.queries.plan import plan_of
from tests.cast import NOW, hours, make_cast

from .sheet_files import come_in, draft_of, looked, stock_shop

pytestmark = pytest.mark.django_db
LATER = NOW + hours(1)

JOBS = [
    ["Job", "Site", "Starts", "Status", "Area (sq ft)"],
    ["Harrow spring", "Harrow Depot", "2025-06-02", "won", "12,400"],
    ["Harrow dock", "Harrow Depot", "2025-06-09", "won", "2,150"],
    ["Quill hall", "Quill House", "2025-07-01", "bid", "8,000"],
]
SITES = [
    ["Site", "Address", "Zone", "Area (sq ft)", "Hardness"],
    ["Harrow Depot", "1 Mill Rd", "Aisles", "12,400", "hard"],
    ["Harrow Depot", "", "Dock", "2,150", "soft"],
    ["Quill House", "", "Hall", "8,000", ""],
]


@pytest.fixture
def cast() -> SimpleNamespace:
    found = make_cast()
    found.types = stock_shop(found)
    return found


def back(cast: SimpleNamespace, draft: SheetDraft):
    return take_back(cast.ines, cast.device, draft, now=LATER)


def replan(cast: SimpleNamespace, name: str) -> None:
    """The same person who brought the list in changes a plan by hand."""
    job = Job.objects.get(name=name)
    plan = plan_of(job)
    assert plan is not None
    changed = plan_draft_of(plan).__class__(**{**vars(plan_draft_of(plan)), "notes": "two nights are enough"})
    save_plan(cast.ines, job, changed, now=NOW + hours(0.5), sure=True)


def test_jobs_planned_by_hand_since_stay_and_are_named(cast):
    draft = draft_of(cast.ines, JOBS, "jobs")
    come_in(cast, draft)
    replan(cast, "Harrow spring")
    replan(cast, "Harrow dock")

    done = back(cast, draft)

    assert (done.undone, done.used, done.names) == (1, 2, ("Harrow dock", "Harrow spring"))
    standings = {plan.job.name: plan.standing for plan in JobPlan.objects.order_by("number")}
    assert standings == {"Harrow spring": "won", "Harrow dock": "won", "Quill hall": "cancelled"}
    # The floor the staying jobs stand on stays with them, the other one is closed with its site.
    assert list(Zone.objects.filter(active=True).values_list("site__name", flat=True)) == ["Harrow Depot"]
    assert list(Site.objects.filter(active=True).values_list("name", flat=True)) == ["Harrow Depot"]
    assert looked(draft, cast.ines).can_come_in == 1


def test_the_page_says_how_many_stay_and_which(cast):
    draft = draft_of(cast.ines, JOBS, "jobs")
    come_in(cast, draft)
    replan(cast, "Harrow spring")
    ines = Client()
    ines.force_login(cast.ines)
    url = reverse("jobs:bring_in_back", args=[draft.pk])
    page = ines.post(url, follow=True).content.decode()
    assert "2 taken back. 1 stays, changed or used since: Harrow spring." in page


def test_a_list_of_jobs_comes_in_again_after_it_was_taken_back(cast):
    draft = draft_of(cast.ines, JOBS, "jobs")
    assert come_in(cast, draft).made["job"] == 3
    assert back(cast, draft).undone == 3
    assert not Zone.objects.filter(active=True).exists()

    again = come_in(cast, draft)

    assert (again.rows, again.made["job"]) == (3, 3)
    assert Job.objects.count() == 3
    assert {plan_of(job).standing for job in Job.objects.all()} == {"won", "bid"}
    assert Zone.objects.filter(active=True).count() == 2
    assert back(cast, draft).undone == 3  # and goes back again
    assert not Site.objects.filter(active=True).exists()


def test_a_job_that_a_list_names_by_its_site_gets_no_day_in_its_name(cast):
    nameless = [row[1:] for row in JOBS]
    come_in(cast, draft_of(cast.ines, nameless, "jobs"))
    assert set(Job.objects.values_list("name", flat=True)) == {"Harrow Depot", "Harrow Depot 2", "Quill House"}
    # A further one planned there by hand is offered the next name, and not one that is refused.
    client = Client()
    client.force_login(cast.ines)
    page = client.get(reverse("jobs:job_new", args=[Site.objects.get(name="Harrow Depot").pk]))
    assert page.context["form"]["name"].value() == "Harrow Depot 3"


def test_jobs_without_a_floors_name_share_the_main_floor_of_a_site_with_several(cast):
    come_in(cast, draft_of(cast.ines, SITES, "sites"))
    come_in(cast, draft_of(cast.ines, JOBS, "jobs"))
    assert set(Zone.objects.filter(site__name="Harrow Depot").values_list("name", flat=True)) == {
        "Aisles", "Dock", "Main floor",
    }  # fmt: skip


def test_a_job_taken_up_again_by_hand_after_the_take_back_is_there(cast):
    draft = draft_of(cast.ines, JOBS, "jobs")
    come_in(cast, draft)
    back(cast, draft)
    job = Job.objects.get(name="Quill hall")
    mark(cast.ines, job, Standing.WON, now=LATER)
    titles = [one.title for one in looked(draft, cast.ines).judgement.questions]
    assert titles == ["Is this the Quill hall you have?"]


def test_floors_and_sites_changed_by_hand_since_stay_and_are_named(cast):
    draft = draft_of(cast.ines, SITES, "sites")
    come_in(cast, draft)
    aisles = Zone.objects.get(name="Aisles")
    save_zone(aisles.site, name="Aisles", area_m2=aisles.area_m2, hardness="medium", zone=aisles, sure=True)
    quill = Site.objects.get(name="Quill House")
    save_site(cast.branch, name="Quill House", address="3 Ferry St", time_zone=quill.time_zone, site=quill)

    done = back(cast, draft)

    assert (done.undone, done.names) == (2, ("Harrow Depot, Aisles", "Quill House"))
    assert list(Zone.objects.filter(active=True).values_list("name", flat=True)) == ["Aisles"]
    assert set(Site.objects.filter(active=True).values_list("name", flat=True)) == {"Harrow Depot", "Quill House"}


def test_a_second_list_of_the_same_rows_says_that_they_came_in_before(cast):
    come_in(cast, draft_of(cast.ines, SITES, "sites"))
    again = draft_of(cast.ines, SITES, "sites")
    ines = Client()
    ines.force_login(cast.ines)
    page = ines.get(reverse("jobs:bring_in_draft", args=[again.pk])).content.decode()
    assert "All 3 rows are in already" in page
    assert "They came in before, with this list or another; it adds nothing new." in page
    assert "Nothing is kept yet" not in page
    assert come_in(cast, again) == BroughtIn(0)


def test_a_second_list_with_one_row_more_says_that_only_the_rest_is_not_kept(cast):
    come_in(cast, draft_of(cast.ines, SITES, "sites"))
    more = draft_of(cast.ines, [*SITES, ["Tern Works", *SITES[-1][1:]]], "sites")
    ines = Client()
    ines.force_login(cast.ines)
    page = ines.get(reverse("jobs:bring_in_draft", args=[more.pk])).content.decode()
    assert "The rest is not kept yet" in page
    assert "Nothing is kept yet" not in page


def test_a_bid_without_a_chance_counts_half_as_in_the_form(cast):
    come_in(cast, draft_of(cast.ines, JOBS, "jobs"))
    chances = {plan.job.name: plan.award_chance for plan in JobPlan.objects.all()}
    assert chances == {"Harrow spring": 1.0, "Harrow dock": 1.0, "Quill hall": 0.5}
