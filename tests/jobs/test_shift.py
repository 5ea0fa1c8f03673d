"""What happens on a shift: outing, work, the floor's look, how the sets are left, closing; each safe to repeat."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any
from uuid import UUID

import pytest

from inventory.actions.ledger import NewLine, SameKeyOtherContent
from inventory.actions.undo import LaterEntries, NotYours
from inventory.models import Entry, SetState, ToolSet
from inventory.models.choices import Basis, LeftHow, PlaceKind, Source
from jobs.actions.morning import guess_id
from jobs.actions.plan import save_plan
from jobs.actions.shift import (
    NoPassLogged,
    NotPlanned,
    ShiftAhead,
    ShiftClosed,
    ShiftRefused,
    WorkAsked,
    WorkPart,
    WorkRefused,
    close_shift,
    correct_work,
    floor_even,
    floor_reading,
    leave_sets,
    log_work,
    no_work,
    outing_of_shift,
    undo_act,
)
from jobs.models import JobPlan, ShiftEntry, ShiftOuting
from jobs.plan_draft import draft_of
from jobs.queries.my_job import running
from jobs.queries.plan import nights_of
from jobs.queries.shift import outings_for, standing_rows, work_logged
from tests.cast import NOW, hours, make_cast, make_place, make_set, uuid, who, write
from tests.jobs.plans import LAST_NIGHT, make_planned

pytestmark = pytest.mark.django_db


def make_night(**more: Any) -> SimpleNamespace:
    """Last night's shift of a planned job with two 200s out on it."""
    cast = make_cast()
    plan: JobPlan = make_planned(cast, **more)
    shift = plan.shifts.all()[0]
    step = next(step for step in plan.steps.all() if step.tool_type.grit == "200")
    rack = make_place(cast.branch)
    outing = outing_of_shift(plan.job, shift, now=LAST_NIGHT - hours(3))
    sets = [make_set(cast, step.tool_type, rack, at=LAST_NIGHT - hours(200), code=code) for code in ("GL-1", "GL-2")]
    for tool_set in sets:
        out = {"outing": outing, "gate": "passed", "step_key": step.key, "shift_uuid": shift.key}
        write(cast, NewLine("scanned_out", tool_set, None, out), at=LAST_NIGHT - hours(1))
    return SimpleNamespace(
        cast=cast, plan=plan, job=plan.job, shift=shift, step=step, outing=outing, sets=sets, rack=rack
    )


def by(night: SimpleNamespace, person: str, at: Any = LAST_NIGHT, **more: Any) -> Any:
    return who(getattr(night.cast, person), night.cast.device, at, **more)


def worked_m2(tool_set: ToolSet) -> float:
    return SetState.objects.get(pk=tool_set.pk).worked_m2


def test_work_carries_the_floor_as_planned_and_the_unit_as_entered() -> None:
    night = make_night()
    part = WorkPart(night.sets[0], 92.9, 3, night.shift.machine_rows.all()[0].machine, "1000", "ft2")
    kept = log_work(by(night, "dag"), night.job, night.shift.key, night.step.key, [part], now=LAST_NIGHT)
    entry = Entry.objects.get(pk=kept.entries[0].pk)
    assert (entry.hardness, entry.surface, entry.coating, entry.wet_dry) == ("hard", "worn", "none", "wet")
    assert (entry.amount_value, entry.amount_unit, entry.basis) == ("1000", "ft2", "measured")
    assert (entry.visit_uuid, entry.shift_uuid, entry.step_key) == (night.job.pk, night.shift.key, night.step.key)
    assert entry.outing_id == night.outing.pk
    assert worked_m2(night.sets[0]) == pytest.approx(278.7)


def test_a_set_changed_part_way_through_a_pass_is_a_line_of_its_own() -> None:
    night = make_night()
    parts = [WorkPart(night.sets[0], 1000, 4), WorkPart(night.sets[0], 600, 1), WorkPart(night.sets[1], 400, 1)]
    kept = log_work(by(night, "dag"), night.job, night.shift.key, night.step.key, parts, now=LAST_NIGHT)
    assert [entry.line_no for entry in kept.entries] == [1, 2, 3]
    assert [worked_m2(tool_set) for tool_set in night.sets] == [4600, 400]


def test_the_same_act_twice_is_logged_once() -> None:
    night = make_night()
    dag = by(night, "dag")
    parts = [WorkPart(night.sets[0], 500, 2)]
    log_work(dag, night.job, night.shift.key, night.step.key, parts, now=LAST_NIGHT)
    again = log_work(dag, night.job, night.shift.key, night.step.key, parts, now=LAST_NIGHT)
    assert again.again
    assert worked_m2(night.sets[0]) == 1000


def test_areas_above_plausible_are_asked_and_above_possible_refused() -> None:
    night = make_night()

    def log(area_m2: float, passes: int = 1, **more: Any) -> Any:
        parts = [WorkPart(night.sets[0], area_m2, passes)]
        return log_work(by(night, "dag"), night.job, night.shift.key, night.step.key, parts, now=LAST_NIGHT, **more)

    with pytest.raises(WorkAsked) as asked:
        log(10_000)
    assert asked.value.sentence == "107,639\xa0ft² is 10 times this floor. Correct it, or keep it if right."
    assert asked.value.field == "area"
    for area, passes in ((0, 1), (-5, 1), (1e9, 1), (10, 0), (10, 500)):
        with pytest.raises(WorkRefused):
            log(area, passes, sure=True)
    assert not Entry.objects.filter(kind="worked").exists()
    log(10_000, sure=True)
    assert worked_m2(night.sets[0]) == 10_000


def test_a_retired_set_does_no_work_at_the_shop_but_a_phone_is_believed() -> None:
    night = make_night()
    write(night.cast, NewLine("retired", night.sets[0], None, {"retired_why": "worn"}), at=LAST_NIGHT - hours(0.5))
    parts = [WorkPart(night.sets[0], 10, 1)]
    with pytest.raises(WorkRefused, match="GL-1 is retired"):
        log_work(by(night, "dag"), night.job, night.shift.key, night.step.key, parts, now=LAST_NIGHT)
    phone = by(night, "dag", source=Source.PHONE)
    log_work(phone, night.job, night.shift.key, night.step.key, parts, now=LAST_NIGHT)
    state = SetState.objects.get(pk=night.sets[0].pk)
    assert (state.worked_m2, state.open_flags) == (10, 1)


def test_a_step_the_job_never_had_is_refused_and_an_old_version_still_knows_its_own() -> None:
    night = make_night()
    parts = [WorkPart(night.sets[0], 10, 1)]
    with pytest.raises(NotPlanned):
        log_work(by(night, "dag"), night.job, night.shift.key, uuid(99), parts, now=LAST_NIGHT)
    draft = draft_of(night.plan)
    save_plan(night.cast.ines, night.job, replace(draft, steps=draft.steps[1:]), now=LAST_NIGHT)
    log_work(by(night, "dag"), night.job, night.shift.key, night.step.key, parts, now=LAST_NIGHT)
    assert worked_m2(night.sets[0]) == 10


def test_a_correction_voids_and_replaces_in_one_act() -> None:
    night = make_night()
    parts = [WorkPart(night.sets[0], 500, 2)]
    kept = log_work(by(night, "dag"), night.job, night.shift.key, night.step.key, parts, now=LAST_NIGHT)
    fixed = correct_work(
        by(night, "dag"), night.job, kept.entries[0], WorkPart(night.sets[0], 400, 2), "typed wrong", now=LAST_NIGHT
    )
    assert [(entry.kind, entry.replaces) for entry in fixed.entries] == [
        ("voided", None),
        ("worked", kept.entries[0].pk),
    ]
    assert worked_m2(night.sets[0]) == 800
    assert [line.entry.area_m2 for line in work_logged(job=night.job)] == [400]


def test_own_work_is_undone_until_the_shift_is_closed_and_then_by_the_shop_manager() -> None:
    night = make_night()
    parts = [WorkPart(night.sets[0], 500, 2)]
    kept = log_work(by(night, "dag"), night.job, night.shift.key, night.step.key, parts, now=LAST_NIGHT)
    with pytest.raises(NotYours):
        undo_act(by(night, "teo"), night.cast.branch, kept.act, "wrong", now=LAST_NIGHT)
    close_shift(by(night, "dag"), night.job, night.shift.key, now=LAST_NIGHT)
    with pytest.raises(ShiftClosed, match=r"Dag P\. closed this shift"):
        undo_act(by(night, "dag"), night.cast.branch, kept.act, "wrong", now=LAST_NIGHT)
    with pytest.raises(ShiftClosed):
        log_work(by(night, "dag"), night.job, night.shift.key, night.step.key, parts, now=LAST_NIGHT)
    undo_act(by(night, "ines"), night.cast.branch, kept.act, "wrong", now=LAST_NIGHT)
    assert worked_m2(night.sets[0]) == 0


def test_closing_twice_is_one_line_and_undoing_it_opens_the_shift() -> None:
    night = make_night()
    first = close_shift(by(night, "dag"), night.job, night.shift.key, now=LAST_NIGHT)
    again = close_shift(by(night, "dag"), night.job, night.shift.key, now=LAST_NIGHT)
    assert (again.again, again.act.pk) == (True, first.act.pk)
    undo_act(by(night, "dag"), night.cast.branch, first.act, "too early", now=LAST_NIGHT)
    assert standing_rows([night.shift.key]) == []


def test_how_the_sets_are_left_is_asked_once_and_said_of_each_set_still_out() -> None:
    night = make_night()
    kept = leave_sets(
        by(night, "dag"),
        night.job,
        night.shift.key,
        LeftHow.IN_WATER,
        now=LAST_NIGHT + hours(8),
        apart={night.sets[1].pk: LeftHow.DRY},
    )
    assert [(entry.kind, entry.left_how) for entry in kept.entries] == [("seen", "in_water"), ("seen", "dry")]
    (row,) = standing_rows([night.shift.key])
    assert (row.kind, row.left_how, row.act_id) == ("left", "in_water", kept.act.pk)
    states = {state.pk: state for state in SetState.objects.select_related("place")}
    assert states[night.sets[0].pk].place == night.job.site.place
    assert states[night.sets[0].pk].facts["left_how"] == "in_water"
    assert states[night.sets[0].pk].outing_id == night.outing.pk
    with pytest.raises(ShiftRefused):
        leave_sets(by(night, "dag"), night.job, night.shift.key, "on the roof", now=LAST_NIGHT)


def test_sets_in_a_bucket_stay_in_it_when_left_in_water() -> None:
    night = make_night()
    bucket = make_place(night.cast.branch, PlaceKind.BUCKET)
    write(night.cast, NewLine("moved", night.sets[0], None, {"to_place": bucket}), at=LAST_NIGHT)
    leave_sets(by(night, "dag"), night.job, night.shift.key, LeftHow.IN_WATER, now=LAST_NIGHT + hours(8))
    assert SetState.objects.get(pk=night.sets[0].pk).place_id == bucket.pk


def test_what_is_said_of_the_floor_stands_under_an_act_and_the_same_act_says_the_same() -> None:
    night = make_night()
    dag = by(night, "dag")
    said: Any = {"now": LAST_NIGHT, "why": "ground by hand"}
    with pytest.raises(NoPassLogged, match="No pass of 200 is logged on Hall"):
        floor_even(dag, night.job, night.shift.key, night.step.key, now=LAST_NIGHT, why=" ")
    floor_even(dag, night.job, night.shift.key, night.step.key, **said)
    assert floor_even(dag, night.job, night.shift.key, night.step.key, **said).again
    assert standing_rows([night.shift.key])[0].why == "ground by hand"
    zone = night.plan.zones.all()[0]
    with pytest.raises(SameKeyOtherContent):
        floor_reading(dag, night.job, night.shift.key, zone, "gloss", 40, now=LAST_NIGHT)
    floor_reading(by(night, "dag"), night.job, night.shift.key, zone, "gloss", 40, now=LAST_NIGHT)
    with pytest.raises(ShiftRefused, match="120 is no reading of a floor"):
        floor_reading(by(night, "dag"), night.job, night.shift.key, zone, "clarity", 120, now=LAST_NIGHT)
    no_work(by(night, "dag"), night.job, night.shift.key, now=LAST_NIGHT, why="power cut")
    assert [row.kind for row in standing_rows([night.shift.key])] == ["floor_even", "gloss", "no_work"]
    assert ShiftEntry.objects.count() == 3


def test_nights_of_a_job_share_the_outing_that_is_still_open() -> None:
    night = make_night()
    second = night.plan.shifts.all()[1]
    shared = outing_of_shift(night.job, second, now=NOW)
    assert shared.pk == night.outing.pk
    assert shared.due_at == second.ends_at
    assert outing_of_shift(night.job, second, now=NOW).pk == shared.pk
    assert (shared.leaves_at, shared.holder_person) == (LAST_NIGHT - hours(2), night.cast.dag)


def test_planned_work_counts_only_until_a_phone_brings_the_measured_line() -> None:
    # LEDGER 16: work is keyed (set, shift, step, floor).
    night = make_night()
    args = (night.job, night.shift.key, night.step.key)
    log_work(by(night, "ines", NOW), *args, [WorkPart(night.sets[0], 1000, 5)], now=NOW, basis=Basis.PLANNED)
    assert worked_m2(night.sets[0]) == 5000
    phone = by(night, "dag", LAST_NIGHT + hours(2), sent_at=NOW + hours(1), source=Source.PHONE)
    log_work(phone, *args, [WorkPart(night.sets[0], 800, 5)], now=NOW + hours(1))
    assert worked_m2(night.sets[0]) == 4000
    assert [(line.entry.basis, line.counts) for line in work_logged(job=night.job)] == [
        ("measured", True),
        ("planned", False),
    ]


def test_the_id_of_a_guess_comes_from_its_key() -> None:
    key = (uuid(1), uuid(2), uuid(3), uuid(4))
    assert guess_id(*key) == guess_id(*key)
    assert guess_id(*key) != guess_id(*key, again=1)
    assert guess_id(*key) != guess_id(*key, of="act")
    assert isinstance(guess_id(*key), UUID)
    assert guess_id(*key).version == 5


def test_the_beginning_of_a_set_with_later_entries_is_not_undone() -> None:
    night = make_night()
    begun = Entry.objects.get(tool_set=night.sets[0], kind__in=("received", "opening"))
    with pytest.raises(LaterEntries, match="The set has later entries"):
        undo_act(by(night, "ines"), night.cast.branch, begun.act, "no", now=LAST_NIGHT)
    assert not Entry.objects.filter(kind="voided").exists()


def test_after_closing_only_who_settles_changes_how_the_sets_were_left_or_opens_the_shift_late() -> None:
    night = make_night()
    args = (night.job, night.shift.key)
    left = leave_sets(by(night, "dag"), *args, LeftHow.IN_WATER, now=LAST_NIGHT)
    closed = close_shift(by(night, "dag"), *args, now=LAST_NIGHT)
    with pytest.raises(ShiftClosed):
        leave_sets(by(night, "dag"), *args, LeftHow.DRY, now=LAST_NIGHT)
    with pytest.raises(ShiftClosed):
        undo_act(by(night, "dag"), night.cast.branch, left.act, "wrong", now=LAST_NIGHT)
    late = closed.act.recorded_at + hours(12.1)
    with pytest.raises(ShiftClosed):
        undo_act(by(night, "dag"), night.cast.branch, closed.act, "late", now=late)
    leave_sets(by(night, "ines"), *args, LeftHow.DRY, now=LAST_NIGHT)
    undo_act(by(night, "ines"), night.cast.branch, closed.act, "late", now=late)
    assert [row.left_how for row in standing_rows([night.shift.key])] == ["dry"]


def test_a_shift_no_plan_has_is_not_closed() -> None:
    night = make_night()
    with pytest.raises(NotPlanned, match="The plan has that shift no more"):
        close_shift(by(night, "dag"), night.job, uuid(99), now=LAST_NIGHT)
    with pytest.raises(NotPlanned):
        leave_sets(by(night, "dag"), night.job, uuid(99), LeftHow.DRY, now=LAST_NIGHT)
    with pytest.raises(NotPlanned):
        floor_even(by(night, "dag"), night.job, uuid(99), night.step.key, now=LAST_NIGHT)
    assert not ShiftEntry.objects.exists()


def test_no_work_and_readings_are_of_a_planned_open_shift_that_has_begun() -> None:
    night = make_night()
    zone, ahead = night.plan.zones.all()[0], night.plan.shifts.all()[1]
    dag = night.cast.dag

    def me(person: Any = dag) -> Any:
        return who(person, night.cast.device, NOW)

    with pytest.raises(NotPlanned, match="The plan has that shift no more"):
        no_work(me(), night.job, uuid(404), now=NOW)
    with pytest.raises(NotPlanned, match="has no such step"):
        no_work(me(), night.job, night.shift.key, now=NOW, step_key=uuid(404))
    with pytest.raises(NotPlanned, match="The plan has that shift no more"):
        floor_reading(me(), night.job, uuid(404), zone, "gloss", 60.0, now=NOW)
    with pytest.raises(ShiftAhead) as early:
        no_work(me(), night.job, ahead.key, now=NOW)
    assert early.value.sentence == (
        "This shift is still ahead: it starts Wed 14 May 20:02. If nobody will go, take it out of the job's plan."
    )
    close_shift(me(), night.job, night.shift.key, now=NOW)
    for late in (
        lambda: no_work(me(), night.job, night.shift.key, now=NOW),
        lambda: floor_reading(me(), night.job, night.shift.key, zone, "gloss", 60.0, now=NOW),
    ):
        with pytest.raises(ShiftClosed, match=r"Dag P\. closed this shift"):
            late()
    assert ShiftEntry.objects.exclude(kind="closed").count() == 0
    no_work(me(night.cast.ines), night.job, night.shift.key, now=NOW)
    floor_reading(me(night.cast.ines), night.job, night.shift.key, zone, "gloss", 60.0, now=NOW)
    assert ShiftEntry.objects.exclude(kind="closed").count() == 2


def test_the_next_night_knows_the_sets_that_stayed_out_on_site() -> None:
    night = make_night()
    first, second = nights_of(night.plan)
    leave_sets(who(night.cast.dag, night.cast.device, NOW - hours(6)), night.job, first.shift.key, "in_water", now=NOW)
    at = second.shift.starts_at + hours(1)
    # No row joins the second shift to the outing yet: nobody scanned again.
    assert not ShiftOuting.objects.filter(shift_uuid=second.shift.key).exists()
    assert outings_for([second], at) == {second.shift.key: night.outing}
    run = running(second, at)
    assert [one.state.pk for one in run.sets] == [one.pk for one in night.sets]
    dag = night.cast.dag
    kept = leave_sets(who(dag, night.cast.device, at), night.job, second.shift.key, "dry", now=at)
    assert {entry.tool_set_id for entry in kept.entries} == {one.pk for one in night.sets}
    part = [WorkPart(night.sets[0], 10, 1)]
    step = night.plan.steps.all()[1]
    logged = log_work(who(dag, night.cast.device, at), night.job, second.shift.key, step.key, part, now=at, sure=True)
    assert logged.entries[0].outing_id == night.outing.pk
    # A night that is over has no outing but its own, and a closed outing is over too.
    assert outings_for([second], second.shift.ends_at + hours(1)) == {}
    night.outing.closed_at = at
    night.outing.save()
    assert outings_for([second], at) == {}


def test_no_work_said_again_under_another_key_is_said_once() -> None:
    night = make_night()
    first = no_work(by(night, "dag"), night.job, night.shift.key, now=LAST_NIGHT)
    for _again in range(3):
        answer = no_work(who(night.cast.dag, night.cast.device, LAST_NIGHT), night.job, night.shift.key, now=LAST_NIGHT)
        assert (answer.again, answer.act) == (True, first.act)
    assert [row.kind for row in standing_rows([night.shift.key])] == ["no_work"]
    step = no_work(by(night, "dag"), night.job, night.shift.key, now=LAST_NIGHT, step_key=night.step.key)
    assert not step.again
