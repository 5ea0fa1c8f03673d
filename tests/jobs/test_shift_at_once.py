"""A shift at the desk of two people: at once, too early, answered twice; one line stands, and the other hears why."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from inventory.actions.corrections import VoidRefused
from inventory.actions.undo import NothingToUndo
from inventory.models import Entry
from inventory.models.choices import LeftHow, Source
from jobs.actions.shift import (
    ShiftAhead,
    ShiftRefused,
    WorkPart,
    close_shift,
    correct_work,
    floor_even,
    leave_sets,
    log_work,
    void_work,
)
from jobs.models import ShiftEntry
from jobs.queries.shift import standing_rows, work_logged
from tests.cast import hours
from tests.inventory.test_two_at_once import at_once
from tests.jobs.plans import LAST_NIGHT
from tests.jobs.test_shift import by, make_night

pytestmark = pytest.mark.django_db(transaction=True)


def kinds(night: Any) -> list[tuple[str, Any]]:
    return [(row.kind, row.left_how) for row in standing_rows([night.shift.key])]


def test_of_two_corrections_of_one_line_at_once_one_stands_and_the_other_hears_it_is_voided() -> None:
    night = make_night()
    for area in (100.0, 110.0, 120.0):
        parts = [WorkPart(night.sets[0], area, 1)]
        kept = log_work(by(night, "dag"), night.job, night.shift.key, night.step.key, parts, now=LAST_NIGHT)
        line = Entry.objects.get(pk=kept.entries[0].pk)
        people = [by(night, person) for person in ("ines", "dag")]

        given = at_once(
            *(
                lambda person=person, area=area, line=line: correct_work(
                    person, night.job, line, WorkPart(night.sets[0], area, 2), "", now=LAST_NIGHT
                )
                for person, area in zip(people, (area + 1, area + 2), strict=True)
            )
        )

        refused = [answer for answer in given if isinstance(answer, Exception)]
        assert [(type(one), "voided already" in str(one)) for one in refused] == [(NothingToUndo, True)], given
        assert Entry.objects.filter(replaces=line.pk).count() == 1


def test_of_a_correction_and_a_void_at_once_one_stands_and_the_other_hears_of_it() -> None:
    night = make_night()
    for _round in range(3):
        parts = [WorkPart(night.sets[0], 100.0, 1)]
        kept = log_work(by(night, "dag"), night.job, night.shift.key, night.step.key, parts, now=LAST_NIGHT)
        line = Entry.objects.get(pk=kept.entries[0].pk)
        ines, dag = by(night, "ines"), by(night, "dag")

        given = at_once(
            lambda ines=ines, line=line: correct_work(
                ines, night.job, line, WorkPart(night.sets[0], 50, 1), "", now=LAST_NIGHT
            ),
            lambda dag=dag, line=line: void_work(dag, night.job, line, "wrong set", now=LAST_NIGHT),
        )

        refused = [answer for answer in given if isinstance(answer, Exception)]
        assert [type(one) in (NothingToUndo, VoidRefused) for one in refused] == [True], given
        assert Entry.objects.filter(kind="voided", void_target=line.pk).count() == 1
        stand = [one for one in work_logged(job=night.job) if one.entry.replaces == line.pk]
        assert len(stand) == (1 if isinstance(given[1], Exception) else 0)


def test_a_shift_closed_from_two_places_at_once_is_closed_once() -> None:
    night = make_night()
    people = [by(night, person) for person in ("ines", "dag")]
    at = LAST_NIGHT + hours(1)

    given = at_once(
        *(lambda person=person: close_shift(person, night.job, night.shift.key, now=at) for person in people)
    )

    assert sorted(answer.again for answer in given) == [False, True], given
    assert ShiftEntry.objects.filter(kind="closed").count() == 1


def test_two_answers_at_once_to_how_the_sets_are_left_leave_one_standing() -> None:
    night = make_night()
    people = [by(night, person) for person in ("ines", "dag")]

    given = at_once(
        *(
            lambda person=person, how=how: leave_sets(person, night.job, night.shift.key, how, now=LAST_NIGHT)
            for person, how in zip(people, (LeftHow.DRY, LeftHow.IN_WATER), strict=True)
        )
    )

    assert [kind for kind, _how in kinds(night)] == ["left"], given
    assert all(answer is not None and not isinstance(answer, TypeError) for answer in given)


def test_how_the_sets_are_left_is_said_once_changed_by_who_said_it_and_by_no_other_crew_lead() -> None:
    night = make_night()
    args = (night.job, night.shift.key)
    first = leave_sets(by(night, "dag"), *args, LeftHow.IN_WATER, now=LAST_NIGHT)
    again = leave_sets(by(night, "dag"), *args, LeftHow.IN_WATER, now=LAST_NIGHT)
    assert (again.again, again.act.pk) == (True, first.act.pk)
    leave_sets(by(night, "dag"), *args, LeftHow.DRY, now=LAST_NIGHT)
    assert kinds(night) == [("left", "dry")]
    with pytest.raises(ShiftRefused, match=r"Dag P\. has said how the sets are left: left dry"):
        leave_sets(by(night, "teo"), *args, LeftHow.IN_WATER, now=LAST_NIGHT)
    leave_sets(by(night, "ines"), *args, LeftHow.IN_VAN, now=LAST_NIGHT)
    assert kinds(night) == [("left", "in_van")]


def test_of_a_shift_ahead_nothing_is_said_that_belongs_after_it() -> None:
    night = make_night()
    before = night.shift.starts_at - timedelta(minutes=5)
    args = (night.job, night.shift.key)
    me = by(night, "dag", before)
    with pytest.raises(ShiftAhead, match="This shift is still ahead"):
        close_shift(me, *args, now=before)
    with pytest.raises(ShiftAhead) as ahead:
        leave_sets(me, *args, LeftHow.DRY, now=before)
    assert "Say it when it has begun" in ahead.value.next_step
    with pytest.raises(ShiftAhead):
        floor_even(me, *args, night.step.key, now=before, why="looked")
    assert not ShiftEntry.objects.exists()


def test_a_crew_that_began_early_and_a_phone_without_signal_say_how_it_went() -> None:
    night = make_night()
    before = night.shift.starts_at - timedelta(minutes=5)
    args = (night.job, night.shift.key)
    leave_sets(by(night, "dag", before, source=Source.PHONE), *args, LeftHow.DRY, now=before)
    parts = [WorkPart(night.sets[0], 100.0, 1)]
    log_work(by(night, "dag", before), *args, night.step.key, parts, now=before, sure=True)
    floor_even(by(night, "dag", before), *args, night.step.key, now=before)
    close_shift(by(night, "dag", before), *args, now=before)
    assert [kind for kind, _how in kinds(night)] == ["left", "floor_even", "closed"]
