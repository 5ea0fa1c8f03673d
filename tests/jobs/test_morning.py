"""The morning: what is asked, how one tap answers it, and that a late phone leaves the worked area single."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.actions.corrections import settle_flag
from inventory.actions.custody import say_where, scan_in
from inventory.actions.ledger import NewLine
from inventory.models import Entry, SetState
from inventory.models.choices import Basis, LeftHow, Source
from jobs.actions.morning import give_back, store_guesses, take_planned
from jobs.actions.plan import save_plan
from jobs.actions.shift import ShiftRefused, WorkPart, leave_sets, log_work, no_work, outing_of_shift, undo_act
from jobs.plan_draft import draft_of
from jobs.queries.morning import Flagged, HowLeft, Morning, NotBack, NoWork, morning_of
from jobs.views.asked import complete_words
from tests.cast import NOW, hours, make_outing, make_set, make_type, write
from tests.jobs.plans import LAST_NIGHT, make_planned
from tests.jobs.test_shift import by, make_night, worked_m2

pytestmark = pytest.mark.django_db
DAY_BEGAN = NOW - hours(9.8)


def ask(night: Any, at: Any = NOW) -> Morning:
    return morning_of(night.cast.branch, at, DAY_BEGAN)


def test_a_step_without_work_is_asked_and_one_tap_takes_what_was_planned_shared_over_the_sets() -> None:
    night = make_night()
    (work,) = [one for one in ask(night).asked if isinstance(one, NoWork)]
    assert (work.step.tool_type.grit, work.area_m2, work.worked_m2, len(work.sets)) == ("200", 1000, 5000, 2)
    taken = take_planned(by(night, "ines", NOW), night.cast.branch, night.shift.key, night.step.key, now=NOW)
    assert [entry.basis for entry in taken.entries] == ["planned", "planned"]
    assert [worked_m2(tool_set) for tool_set in night.sets] == [2500, 2500]
    after = ask(night)
    assert not [one for one in after.asked if isinstance(one, NoWork)]
    assert [one.act.pk for one in after.answered] == [taken.act.pk]


def test_two_people_who_take_it_write_it_once_and_undo_asks_again() -> None:
    night = make_night()
    args = (night.cast.branch, night.shift.key, night.step.key)
    taken = take_planned(by(night, "ines", NOW), *args, now=NOW)
    with pytest.raises(ShiftRefused, match="answered already"):
        take_planned(by(night, "olga", NOW), *args, now=NOW)
    undo_act(by(night, "ines", NOW), night.cast.branch, taken.act, "no", now=NOW)
    assert [worked_m2(tool_set) for tool_set in night.sets] == [0, 0]
    again = take_planned(by(night, "ines", NOW), *args, now=NOW)
    assert not again.again
    assert [worked_m2(tool_set) for tool_set in night.sets] == [2500, 2500]


def test_a_phone_that_uploads_after_the_answer_leaves_the_worked_area_single() -> None:
    night = make_night()
    take_planned(by(night, "ines", NOW), night.cast.branch, night.shift.key, night.step.key, now=NOW)
    phone = by(night, "dag", LAST_NIGHT + hours(3), sent_at=NOW + hours(1), source=Source.PHONE)
    parts = [WorkPart(night.sets[0], 900, 5)]
    log_work(phone, night.job, night.shift.key, night.step.key, parts, now=NOW + hours(1))
    # The set the phone speaks of counts as measured; the other keeps what was planned for it.
    assert [worked_m2(tool_set) for tool_set in night.sets] == [4500, 2500]


def test_unanswered_work_is_stored_as_guessed_once_after_the_shops_hour() -> None:
    night = make_night()
    branch = night.cast.branch
    assert store_guesses(branch, now=NOW) == []  # 09:50 at the branch; the hour is noon
    noon = NOW + hours(3)
    (stored,) = store_guesses(branch, now=noon)
    assert {entry.basis for entry in stored.entries} == {"guessed"}
    assert (stored.act.done_by, stored.act.entered_by, stored.act.time_known) == (
        night.cast.dag,
        night.cast.ines,
        "shift",
    )
    assert stored.act.happened_at == LAST_NIGHT + timedelta(seconds=1)  # planned start + the step's number in seconds
    assert store_guesses(branch, now=noon) == []
    assert [worked_m2(tool_set) for tool_set in night.sets] == [2500, 2500]
    log_work(
        by(night, "ines", noon),
        night.job,
        night.shift.key,
        night.step.key,
        [WorkPart(night.sets[0], 1000, 5)],
        now=noon,
    )
    assert [worked_m2(tool_set) for tool_set in night.sets] == [5000, 2500]


def test_all_steps_of_a_shift_are_taken_in_one_act() -> None:
    night = make_night()
    draft = draft_of(night.plan)
    both = tuple(replace(step, shift_key=night.shift.key) for step in draft.steps)
    save_plan(night.cast.ines, night.job, replace(draft, steps=both), now=LAST_NIGHT - hours(5))
    four = make_set(night.cast, both[1].tool_type, night.rack, code="GL-4", at=LAST_NIGHT - hours(99))
    out = {"outing": night.outing, "gate": "passed"}
    write(night.cast, NewLine("scanned_out", four, None, out), at=LAST_NIGHT - hours(1))
    taken = take_planned(by(night, "ines", NOW), night.cast.branch, night.shift.key, now=NOW)
    assert {entry.step_key for entry in taken.entries} == {step.key for step in both}
    assert [worked_m2(tool_set) for tool_set in (*night.sets, four)] == [2500, 2500, 5000]
    undo_act(by(night, "ines", NOW), night.cast.branch, taken.act, "no", now=NOW)
    assert len([one for one in ask(night).asked if isinstance(one, NoWork)]) == 2


def test_flags_of_long_ago_wait_apart() -> None:
    night = make_night()
    later = NOW + hours(24 * 9)
    other = make_outing(night.cast.branch, "Marrow Street")
    over = NewLine("scanned_out", night.sets[1], None, {"outing": other, "gate": "overridden", "why": "spare"})
    write(night.cast, over, at=NOW)
    assert not ask(night).older
    found = ask(night, later)
    assert [one.code for one in found.older] == ["gate_overridden", "taken_by_two"]
    assert not [one for one in found.asked if isinstance(one, Flagged)]


def test_no_work_is_an_answer() -> None:
    night = make_night()
    no_work(by(night, "ines", NOW), night.job, night.shift.key, now=NOW, step_key=night.step.key)
    assert not [one for one in ask(night).asked if isinstance(one, NoWork)]
    assert store_guesses(night.cast.branch, now=NOW + hours(3)) == []


def test_sets_that_stay_for_tomorrow_are_asked_how_they_were_left_not_where_they_are() -> None:
    night = make_night()
    asked = ask(night).asked
    assert [type(one) for one in asked] == [NoWork, HowLeft]
    (left,) = [one for one in asked if isinstance(one, HowLeft)]
    assert [state.code for state in left.states] == ["GL-1", "GL-2"]
    kept = leave_sets(by(night, "ines", NOW), night.job, night.shift.key, LeftHow.IN_WATER, now=NOW)
    after = ask(night)
    assert [type(one) for one in after.asked] == [NoWork]
    assert (after.back, after.in_water, after.elsewhere) == (0, 2, 0)
    assert kept.act.pk in [one.act.pk for one in after.answered]


def test_after_the_last_night_sets_not_back_are_asked_for() -> None:
    night = make_night(first=LAST_NIGHT - hours(24))
    last = night.plan.shifts.all()[1]
    outing_of_shift(night.job, last, now=LAST_NIGHT)
    rack = night.rack
    scan_in(by(night, "ines", NOW), night.cast.branch, night.sets[0], rack, now=NOW)
    (back,) = [one for one in ask(night).asked if isinstance(one, NotBack)]
    assert ([state.code for state in back.states], back.of) == (["GL-2"], 2)
    say_where(by(night, "ines", NOW), night.cast.branch, [night.sets[1]], LeftHow.IN_VAN, now=NOW, shift_uuid=last.key)
    after = ask(night)
    assert not [one for one in after.asked if isinstance(one, NotBack)]
    assert (after.back, after.in_water, after.elsewhere) == (1, 0, 1)
    assert [entry.kind for one in after.answered for entry in one.entries] == ["seen"]


def test_a_loan_that_is_overdue_is_asked_for_too() -> None:
    night = make_night()
    loan = make_outing(night.cast.branch, "Neighbour", due_at=NOW - hours(1), leaves_at=NOW - hours(50))
    lent = make_set(night.cast, make_type("70", "metal", 1), night.rack, code="GL-3", at=NOW - hours(60))
    write(night.cast, NewLine("scanned_out", lent, None, {"outing": loan, "gate": "passed"}), at=NOW - hours(49))
    (back,) = [one for one in ask(night).asked if isinstance(one, NotBack)]
    assert (back.outing, back.night, back.of) == (loan, None, 1)


def test_overrides_and_clashes_are_asked_until_they_are_settled() -> None:
    night = make_night()
    other = make_outing(night.cast.branch, "Marrow Street")
    over = NewLine(
        "scanned_out", night.sets[1], None, {"outing": other, "gate": "overridden", "why": "spare is in van 5"}
    )
    write(night.cast, over, at=NOW - hours(3))
    flags = [one for one in ask(night).asked if isinstance(one, Flagged)]
    assert [one.code for one in flags] == ["gate_overridden", "taken_by_two"]
    clash = flags[1]
    assert clash.before is not None
    assert (clash.before.outing, clash.entry.outing) == (night.outing, other)
    branch, second = night.cast.branch, night.sets[1]
    settle_flag(by(night, "ines", NOW), branch, second, flags[0].entry.pk, "gate_overridden", "seen", "", now=NOW)
    settled = give_back(by(night, "ines", NOW), branch, second, clash.entry, "taken_by_two", now=NOW)
    assert not [one for one in ask(night).asked if isinstance(one, Flagged)]
    assert SetState.objects.get(pk=night.sets[1].pk).outing_id == night.outing.pk
    undo_act(by(night, "ines", NOW), night.cast.branch, settled.act, "no", now=NOW)
    assert [one.code for one in ask(night).asked if isinstance(one, Flagged)] == ["taken_by_two"]
    with pytest.raises(ShiftRefused, match="may not settle"):
        give_back(by(night, "dag", NOW), branch, second, clash.entry, "taken_by_two", now=NOW)


def test_a_complete_night_asks_nothing() -> None:
    night = make_night()
    parts = [WorkPart(tool_set, 500, 5) for tool_set in night.sets]
    log_work(by(night, "dag"), night.job, night.shift.key, night.step.key, parts, now=LAST_NIGHT)
    leave_sets(by(night, "dag"), night.job, night.shift.key, LeftHow.IN_WATER, now=LAST_NIGHT + hours(8))
    found = ask(night)
    assert (found.asked, found.answered, found.in_water) == ((), (), 2)


def test_the_morning_takes_the_same_queries_for_one_and_for_eight_jobs() -> None:
    night = make_night()
    counts = []
    for number in range(8):
        plan = make_planned(night.cast, name=f"Job {number}", site_name=f"Site {number}")
        shift = plan.shifts.all()[0]
        outing = outing_of_shift(plan.job, shift, now=LAST_NIGHT)
        tool_set = make_set(night.cast, make_type("200", ladder_place=5), night.rack, at=LAST_NIGHT - hours(100))
        out = {"outing": outing, "gate": "not_asked"}
        write(night.cast, NewLine("scanned_out", tool_set, None, out), at=LAST_NIGHT - hours(1))
        if number in (0, 7):
            with CaptureQueriesContext(connection) as queries:
                assert len(ask(night).asked) >= 3
            counts.append(len(queries))
    assert counts[0] == counts[1] <= 22
    assert Entry.objects.filter(basis=Basis.GUESSED).count() == 0


def test_the_morning_speaks_of_answers_and_never_says_that_nothing_is_open() -> None:
    nothing: Any = Morning((), (), (), ())
    assert complete_words(nothing) == "Nothing ran last night, and no answer is missing."
    assert complete_words(replace(nothing, older=(None,))) == "Nothing ran last night. Older answers are missing."
