"""What the rack asks of the plans: need by tool type, what leaves tonight, names of work, closed shifts."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from inventory import hooks
from inventory.queries.rack import rack_of
from inventory.rack_words import cover_words, rack_answer
from jobs.actions.plan import make_job, save_plan
from jobs.actions.reservation import let_go, reserve
from jobs.actions.shift import close_shift, undo_act
from jobs.models import Standing
from jobs.plan_draft import PlanDraft, draft_of
from jobs.queries.rack_answers import (
    RACK_WEEKS,
    closed_shifts,
    leaves_tonight,
    names_of_work,
    need_by_type,
    said_of_shifts,
)
from tests.cast import NOW, TODAY, hours, make_place, make_set, uuid, who
from tests.jobs.plans import make_hall
from tests.jobs.test_tonight import make_evening

pytestmark = pytest.mark.django_db


def test_need_is_what_the_plans_ask_and_bids_count_by_their_chance() -> None:
    night = make_evening()
    # 1,000 m2 hard (0.8) in five passes; the 200 of last night has no work logged and its night is over.
    assert need_by_type(night.cast.branch, NOW) == {night.four.pk: pytest.approx(4000.0)}
    late = TODAY + timedelta(weeks=RACK_WEEKS - 1)
    draft = draft_of(night.plan)
    steps = tuple(replace(step, shift_key=None) for step in draft.steps)
    bid = replace(draft, standing=Standing.BID, award_chance=0.6, starts_on=late, shifts=(), steps=steps)
    save_plan(night.cast.ines, night.job, bid, now=NOW, sure=True)
    assert need_by_type(night.cast.branch, NOW)[night.four.pk] == pytest.approx(2400.0)
    save_plan(night.cast.ines, night.job, replace(bid, starts_on=late + timedelta(weeks=1)), now=NOW, sure=True)
    assert need_by_type(night.cast.branch, NOW) == {}


def test_jobs_without_steps_keep_the_rack_from_saying_that_all_is_covered() -> None:
    # Finding of a fresh user: "Every grit covers the next twelve weeks", "0 ft2, covers need", while jobs had no steps.
    night = make_evening()
    make_set(night.cast, night.four, make_place(night.cast.branch, "Rack Z"))
    site = make_hall(night.cast, "Kestrel Yard site", 500.0).site
    bare = PlanDraft(starts_on=TODAY + timedelta(days=5), standing=Standing.WON)
    rack = rack_of(night.cast.branch, NOW)
    assert "no steps" not in rack_answer(rack.grits, 1, rack.bare)

    make_job(night.cast.ines, night.cast.branch, site, "Kestrel Yard", bare, now=NOW, sure=True)
    rack = rack_of(night.cast.branch, NOW)
    said = rack_answer(rack.grits, 1, rack.bare)

    assert said.endswith("1 job has no steps yet, so what it needs is not in here: Kestrel Yard.")
    assert "Every grit covers" not in said
    unasked = [row for row in rack.grits if row.need_m2 == 0]
    assert {cover_words(row) for row in unasked} <= {"Nothing planned"}


def test_only_sets_reserved_for_tonight_leave_tonight() -> None:
    night = make_evening()
    tool_set = make_set(night.cast, night.four, night.rack, at=NOW - hours(300))
    assert leaves_tonight(night.cast.branch, NOW) == frozenset()
    row = reserve(
        night.cast.ines,
        night.job,
        night.step.key,
        tool_set,
        from_shift=night.shift.key,
        to_shift=night.shift.key,
        now=NOW,
    )
    assert leaves_tonight(night.cast.branch, NOW) == hooks.leaves_tonight(night.cast.branch, NOW) == {tool_set.pk}
    assert leaves_tonight(night.cast.branch, NOW + hours(30)) == frozenset()
    let_go(row, now=NOW)
    assert leaves_tonight(night.cast.branch, NOW) == frozenset()


def test_work_is_named_by_its_job_and_floor() -> None:
    night = make_evening()
    hall = night.plan.zones.all()[0].zone
    assert names_of_work([night.job.pk, hall.pk, uuid(1)]) == {night.job.pk: "Osprey Lane", hall.pk: "Hall"}


def test_a_closed_shift_is_closed_until_that_is_undone() -> None:
    night = make_evening()
    make_place(night.cast.branch)
    at = night.shift.starts_at
    dag = who(night.cast.dag, night.cast.device, at)
    assert closed_shifts([night.shift.key]) == frozenset()
    kept = close_shift(dag, night.job, night.shift.key, now=at)
    assert closed_shifts([night.shift.key, uuid(1)]) == {night.shift.key}
    assert said_of_shifts([kept.act.pk, uuid(1)]) == {kept.act.pk}
    undo_act(who(night.cast.dag, night.cast.device, at), night.cast.branch, kept.act, "too early", now=at)
    assert closed_shifts([night.shift.key]) == frozenset()
