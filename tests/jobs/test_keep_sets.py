"""Sets for jobs: what is proposed for the weeks ahead, kept whole, chosen by hand, taken back; constant queries."""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace
from typing import Any
from uuid import UUID

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory import estimate
from inventory.actions.ledger import NewLine
from inventory.models import Machine, ToolSet
from inventory.models.choices import PlaceKind, SoakNeed
from inventory.shop_settings import settings_of
from jobs.actions.keep_sets import by_hand, free_choice, keep_plan, last_change, lock_choice, undo_change
from jobs.actions.plan import mark
from jobs.actions.reservation import ReservationRefused, reserve, reserve_for_night
from jobs.actions.site import save_zone
from jobs.models import Reservation, Standing
from jobs.numerics.dice import Purpose
from jobs.numerics.reserve import Reason, ToBuy, Trouble
from jobs.plan_draft import ShiftDraft, StepDraft, ZoneDraft
from jobs.reserving import Proposal, digest_of, propose
from tests.cast import (
    NOW,
    TODAY,
    hours,
    make_cast,
    make_machine,
    make_outing,
    make_place,
    make_set,
    make_type,
    uuid,
    write,
)
from tests.jobs.plans import make_hall, make_planned

pytestmark = pytest.mark.django_db
SOON = NOW + hours(34)  # Thursday evening
LATER = NOW + hours(24 * 9 + 10)


@pytest.fixture
def shop() -> SimpleNamespace:
    """Two jobs that ask for 200 and 400 on two nights each, 4,000 m2 of reference area a step; types do not soak."""
    cast = make_cast()
    cast.rack = make_place(cast.branch, name="Rack A")
    cast.two = make_type("200", ladder_place=5, soak_need=SoakNeed.NONE, rated_coverage_m2=30_000.0)
    cast.four = make_type("400", ladder_place=6, soak_need=SoakNeed.NONE, rated_coverage_m2=30_000.0)
    cast.plan = make_planned(cast, first=SOON, starts_on=SOON.date())
    return cast


def sets(shop: SimpleNamespace, count: int = 1) -> list[ToolSet]:
    """So many fresh sets of each type; the 400s are given back."""
    for _ in range(count):
        make_set(shop, shop.two, shop.rack, at=NOW - hours(99))
    return [make_set(shop, shop.four, shop.rack, at=NOW - hours(99)) for _ in range(count)]


def second_job(shop: SimpleNamespace, first: Any = LATER, **more: Any) -> Any:
    return make_planned(shop, "Fennick store", site_name="Fennick Road", first=first, starts_on=first.date(), **more)


def load_of(proposal: Proposal, job: str, grit: str) -> UUID:
    """The one load of a job that asks for a grit."""
    (key,) = [
        key for key, load in proposal.loads.items() if load.job.name == job and load.steps[0].tool_type.grit == grit
    ]
    return key


def keep(shop: SimpleNamespace, now: Any = NOW) -> Any:
    proposal = propose(shop.branch, now=now)
    return keep_plan(shop.ines, shop.branch, digest_of(proposal.wanted()), now=now)


def open_rows() -> set[tuple[UUID, UUID, int, bool]]:
    rows = Reservation.objects.filter(ended_at__isnull=True)
    return set(rows.values_list("step_key", "tool_set_id", "order", "locked"))


# --- what is proposed ---


def test_a_proposal_writes_nothing_and_is_the_same_to_the_bit(shop: SimpleNamespace) -> None:
    sets(shop, 3)
    second_job(shop)
    one, other = propose(shop.branch, now=NOW), propose(shop.branch, now=NOW)
    assert one.plan.choices == other.plan.choices
    assert one.plan.costs == other.plan.costs
    assert one.wanted() == other.wanted()
    assert not Reservation.objects.exists()


def test_each_step_gets_a_set_with_area_times_and_chance(shop: SimpleNamespace) -> None:
    (four,) = sets(shop)
    proposal = propose(shop.branch, now=NOW)
    key = load_of(proposal, "Osprey Lane", "400")
    load, told = proposal.loads[key], proposal.told[key]
    # Five passes of 1,000 m2; the factor of a hard floor, a later step, wet, is the shop's own .8.
    assert load.reference_m2 == pytest.approx(4000)
    # Out from two hours (setting) before its night to two after it: 24 + 8 hours after the first night begins.
    assert told.until_h - told.start_h == pytest.approx(2 + 8 + 2)
    assert proposal.choices[key].seats == (four.pk,)
    assert proposal.chance(key) == pytest.approx(
        estimate.chances_to_finish(proposal.records, {four.pk: 4000.0})[four.pk]
    )


def test_a_set_that_soaks_needs_its_turn_after_work_and_its_hours_before(shop: SimpleNamespace) -> None:
    soaked = make_type("800", ladder_place=7, rated_coverage_m2=30_000.0)
    tool_set = make_set(shop, soaked, shop.rack, at=NOW - hours(99))
    key, shift = uuid(77), shop.plan.shifts.all()[0]
    hall = make_hall(shop, "Pell Road")
    steps = (StepDraft(hall.pk, soaked, 5, shift_key=shift.key, key=key),)
    shifts = (ShiftDraft(LATER, LATER + hours(8), shop.dag, (), uuid(78)),)
    steps = (StepDraft(hall.pk, soaked, 5, shift_key=shifts[0].key, key=key),)
    make_planned(shop, "Pell", site_name="Pell Road", zones=(ZoneDraft(hall),), steps=steps, shifts=shifts)
    proposal = propose(shop.branch, now=NOW)
    told = proposal.told[key]
    # turn_days is 3 (setting), the way back two hours.
    assert told.turn_h == pytest.approx(3 * 24 + 2)
    (one,) = [one for kind in proposal.plan.types for one in kind.sets if one.set_id == tool_set.pk]
    # It is 09:50 on a Wednesday, somebody is there: 72 hours of cold water from then on.
    assert one.ready_h == pytest.approx(50 / 60 + 72)
    assert proposal.choices[key].seats == (tool_set.pk,)


def test_nights_that_follow_each_other_are_one_load_and_other_floors_share_it(shop: SimpleNamespace) -> None:
    hall = make_hall(shop, "Quay house")
    annex = save_zone(hall.site, name="Annex", area_m2=200, edge_m=10, hardness="hard", surface="worn")
    first = ShiftDraft(LATER, LATER + hours(8), shop.dag, (), uuid(81))
    other = ShiftDraft(LATER + hours(24), LATER + hours(32), shop.dag, (), uuid(82))
    steps = (
        StepDraft(hall.pk, shop.four, 2, shift_key=first.key, key=uuid(91)),
        StepDraft(annex.pk, shop.four, 5, shift_key=other.key, key=uuid(92)),
    )
    zones = (ZoneDraft(hall), ZoneDraft(annex))
    make_planned(shop, "Quay", site_name="Quay house", zones=zones, steps=steps, shifts=(first, other))
    proposal = propose(shop.branch, now=NOW)
    load = proposal.loads[load_of(proposal, "Quay", "400")]
    assert [step.key for step in load.steps] == [uuid(91), uuid(92)]
    assert load.reference_m2 == pytest.approx(0.8 * (2 * 1000 + 5 * 200))
    assert (load.leaves_at, load.ends_at) == (LATER - hours(2), LATER + hours(32))


def test_one_set_goes_to_one_of_two_jobs_at_a_time(shop: SimpleNamespace) -> None:
    (four,) = sets(shop)
    second_job(shop, SOON)
    proposal = propose(shop.branch, now=NOW)
    seats = [proposal.choices[load_of(proposal, job, "400")].seats for job in ("Osprey Lane", "Fennick store")]
    assert sorted(seats) == [(), (four.pk,)]


def test_a_bid_counts_by_its_award_chance_and_one_without_a_chance_not_at_all(shop: SimpleNamespace) -> None:
    second_job(shop, standing=Standing.BID, award_chance=0.4)
    proposal = propose(shop.branch, now=NOW)
    assert proposal.told[load_of(proposal, "Fennick store", "400")].weight == 0.4
    assert proposal.told[load_of(proposal, "Osprey Lane", "400")].weight == 1.0
    make_planned(
        shop,
        "Never",
        site_name="Nowhere",
        first=LATER,
        starts_on=LATER.date(),
        standing=Standing.BID,
        award_chance=0.0,
    )
    assert {load.job.name for load in propose(shop.branch, now=NOW).loads.values()} == {"Osprey Lane", "Fennick store"}


def test_what_lies_beyond_the_weeks_of_the_setting_is_left_out(shop: SimpleNamespace) -> None:
    assert settings_of(shop.branch, today=TODAY)["plan_weeks"] == 8
    second_job(shop, NOW + timedelta(weeks=8, days=1))
    assert {load.job.name for load in propose(shop.branch, now=NOW).loads.values()} == {"Osprey Lane"}


def test_a_machine_that_does_not_take_the_type_leaves_the_step_without_a_set(shop: SimpleNamespace) -> None:
    sets(shop)
    machine = make_machine(shop.branch)
    second_job(shop, machine=machine)
    Machine.objects.filter(pk=machine.pk).update(mount="7 in. plate")  # changed since it was planned
    proposal = propose(shop.branch, now=NOW)
    choice = proposal.choices[load_of(proposal, "Fennick store", "400")]
    assert (choice.seats, choice.why_none) == ((), "no_fit")
    assert proposal.choices[load_of(proposal, "Osprey Lane", "400")].seats


def test_sets_aside_and_missing_are_left_out_and_one_out_is_ready_when_it_is_back(shop: SimpleNamespace) -> None:
    aside, missing, lent = sets(shop, 3)
    write(shop, NewLine("set_aside", aside, None, {"why": "spread"}), at=NOW - hours(3))
    write(shop, NewLine("trouble", missing, None, {"trouble_kind": "lost"}), at=NOW - hours(2))
    outing = make_outing(shop.branch, "Lent", due_at=SOON + hours(30))
    write(shop, NewLine("scanned_out", lent, None, {"outing": outing, "gate": "passed"}), at=NOW - hours(1))
    proposal = propose(shop.branch, now=NOW)
    told = {one.set_id: one for kind in proposal.plan.types for one in kind.sets}
    assert not {aside.pk, missing.pk} & set(told)
    # Back 30 hours after Thursday's start: too late for Friday's shift; and two hours to unload.
    assert told[lent.pk].ready_h == pytest.approx(50 / 60 + 34 + 30 + 2)
    key = load_of(proposal, "Osprey Lane", "400")
    assert lent.pk not in proposal.choices[key].seats


def test_what_is_out_with_its_job_stays_with_it(shop: SimpleNamespace) -> None:
    from jobs.actions.shift import outing_of_shift

    one, _other = sets(shop, 2)
    outing = outing_of_shift(shop.plan.job, shop.plan.shifts.all()[1], now=NOW)
    write(shop, NewLine("scanned_out", one, None, {"outing": outing, "gate": "passed"}), at=NOW)
    proposal = propose(shop.branch, now=NOW + hours(1))
    choice = proposal.choices[load_of(proposal, "Osprey Lane", "400")]
    assert (choice.seats, choice.reason) == ((one.pk,), Reason.YOUR_CHOICE)


def test_sets_soaked_for_a_job_called_off_are_told_as_wet(shop: SimpleNamespace) -> None:
    soaked = make_type("800", ladder_place=7, rated_coverage_m2=30_000.0)
    tub = make_place(shop.branch, kind=PlaceKind.TUB)
    wet, _dry = (make_set(shop, soaked, shop.rack, at=NOW - hours(200)) for _ in range(2))
    write(shop, NewLine("soak_begun", wet, None, {"to_place": tub}), at=NOW - hours(100))
    hall, shift = make_hall(shop, "Pell Road"), ShiftDraft(LATER, LATER + hours(8), shop.dag, (), uuid(78))
    steps = (StepDraft(hall.pk, soaked, 5, shift_key=shift.key, key=uuid(77)),)
    off = make_planned(shop, "Pell", site_name="Pell Road", zones=(ZoneDraft(hall),), steps=steps, shifts=(shift,))
    reserve(shop.ines, off.job, uuid(77), wet, now=NOW - hours(20))
    mark(shop.ines, off.job, Standing.CANCELLED, now=NOW - hours(10))
    again = ShiftDraft(LATER, LATER + hours(8), shop.dag, (), uuid(88))
    steps = (StepDraft(hall.pk, soaked, 5, shift_key=again.key, key=uuid(87)),)
    make_planned(shop, "Next", site_name="Pell Road", zones=(ZoneDraft(hall),), steps=steps, shifts=(again,))
    proposal = propose(shop.branch, now=NOW)
    told = {one.set_id: one.wet_until_h for kind in proposal.plan.types for one in kind.sets}
    assert told[wet.pk] is not None
    assert [pk for pk, until in told.items() if until is not None] == [wet.pk]
    choice = proposal.choices[uuid(87)]
    assert (choice.seats, choice.reason) == ((wet.pk,), Reason.WET_ALREADY)


def test_many_jobs_and_sets_cost_no_more_queries_than_one(shop: SimpleNamespace) -> None:
    sets(shop)
    keep(shop)
    with CaptureQueriesContext(connection) as few:
        propose(shop.branch, now=NOW)
    sets(shop, 3)
    for number in range(3):
        near = LATER + hours(24 * number)
        make_planned(shop, f"Job {number}", site_name=f"Site {number}", first=near, starts_on=near.date())
    keep(shop, NOW + hours(0.1))
    with CaptureQueriesContext(connection) as many:
        assert len(propose(shop.branch, now=NOW + hours(0.2)).loads) == 8
    assert len(many) == len(few)


def test_its_dice_are_its_own() -> None:
    assert int(Purpose.RESERVE) == 7
    assert len({int(one) for one in Purpose}) == len(Purpose)


# --- what a set surely does ---


def test_what_a_set_surely_does_is_done_with_just_that_chance_and_more_with_less(shop: SimpleNamespace) -> None:
    (four,) = sets(shop)
    (record,) = estimate.records(settings_of(shop.branch, today=TODAY), types=[shop.four]).values()
    known = estimate.capacities(record, 0.9)
    assert estimate.chances_to_finish({0: record}, {four.pk: known[four.pk]})[four.pk] >= 0.9 - 1e-6
    assert estimate.chances_to_finish({0: record}, {four.pk: 1.3 * known[four.pk]})[four.pk] < 0.9
    assert estimate.capacities(record, 0.8)[four.pk] > known[four.pk]
    assert estimate.new_capacity(record, 0.9, known) == known[four.pk]
    # Without a fresh one: at .9 what a new set at least does, at .5 what it likely does.
    assert estimate.new_capacity(record, 0.9, {}) == pytest.approx(record.new_life_m2[0])
    assert estimate.new_capacity(record, 0.5, {}) == pytest.approx(record.new_life_m2[1])
    assert np.isfinite(known[four.pk])


# --- keeping it ---


def test_keeping_means_the_sets_and_keeping_again_changes_nothing(shop: SimpleNamespace) -> None:
    sets(shop)
    seen = digest_of(propose(shop.branch, now=NOW).wanted())
    kept = keep_plan(shop.ines, shop.branch, seen, now=NOW)
    assert (kept.made, kept.ended) == (2, 0)
    rows = list(Reservation.objects.order_by("pk"))
    again = keep_plan(shop.ines, shop.branch, seen, now=NOW + hours(0.1))
    assert (again.made, again.ended) == (0, 0)
    assert list(Reservation.objects.order_by("pk")) == rows
    assert all(row.made_by == shop.ines and not row.locked and row.from_shift == row.to_shift for row in rows)


def test_what_was_not_seen_is_not_kept(shop: SimpleNamespace) -> None:
    sets(shop)
    seen = digest_of(propose(shop.branch, now=NOW).wanted())
    second_job(shop)
    with pytest.raises(ReservationRefused, match="have changed since"):
        keep_plan(shop.ines, shop.branch, seen, now=NOW)
    assert not Reservation.objects.exists()


def test_what_comes_in_while_it_is_kept_is_seen(shop: SimpleNamespace, monkeypatch: pytest.MonkeyPatch) -> None:
    """Between working it out and writing, another job comes in: it is worked out again, and refused as stale."""
    from jobs.actions import keep_sets

    sets(shop)
    seen, real = digest_of(propose(shop.branch, now=NOW).wanted()), propose
    calls: list[Any] = []

    def slow(branch: Any, *, now: Any) -> Proposal:
        found = real(branch, now=now)
        if not calls:
            calls.append(second_job(shop))
        return found

    monkeypatch.setattr(keep_sets, "propose", slow)
    with pytest.raises(ReservationRefused):
        keep_plan(shop.ines, shop.branch, seen, now=NOW)
    assert not Reservation.objects.exists()


def test_a_job_more_leaves_what_is_kept_as_it_is(shop: SimpleNamespace) -> None:
    sets(shop, 3)
    keep(shop)
    before = open_rows()
    second_job(shop)
    kept = keep(shop, NOW + hours(1))
    assert kept.ended == 0
    assert before < open_rows()


def test_peoples_own_choices_stay_and_choosing_on_tonight_is_one(shop: SimpleNamespace) -> None:
    one, other, third = sets(shop, 3)
    shift = shop.plan.shifts.all()[1]
    step = next(step for step in shop.plan.steps.all() if step.tool_type == shop.four)
    for chosen in (one, other, third):
        reserve_for_night(shop.ines, shop.plan.job, shift.key, step.key, chosen, now=NOW)
        keep(shop)
        assert (step.key, chosen.pk, 1, True) in open_rows()
    free_choice(shop.branch, [step.key])
    assert (step.key, third.pk, 1, False) in open_rows()


def test_a_kept_set_that_does_not_surely_finish_stays_while_there_is_none_better(shop: SimpleNamespace) -> None:
    worn = sets(shop)[0]
    step = next(step for step in shop.plan.steps.all() if step.tool_type == shop.four)
    reserve(shop.ines, shop.plan.job, step.key, worn, now=NOW - hours(5))
    write(shop, NewLine("measured", worn, None, {"lowest_height_mm": 2.6, "mean_height_mm": 2.8}), at=NOW - hours(4))
    proposal = propose(shop.branch, now=NOW)
    key = load_of(proposal, "Osprey Lane", "400")
    assert not any(isinstance(seat, UUID) for seat in proposal.choices[key].seats)
    assert proposal.sets_of(key) == (worn.pk,)
    keep(shop)
    assert (step.key, worn.pk, 1, False) in open_rows()


# --- by hand ---


def test_a_set_taken_from_another_job_is_named_and_that_job_gets_another(shop: SimpleNamespace) -> None:
    sets(shop, 2)
    second_job(shop, SOON)
    keep(shop)
    proposal = propose(shop.branch, now=NOW + hours(1))
    mine, theirs = (load_of(proposal, job, "400") for job in ("Osprey Lane", "Fennick store"))
    (had,), (wanted,) = proposal.present(mine), proposal.present(theirs)
    shown = by_hand(proposal, mine, wanted)
    (change,) = shown.consequence.changes
    assert (change.load_id, change.before, change.after) == (theirs, (wanted,), (had,))
    assert Reservation.objects.filter(ended_at__isnull=False).count() == 0
    kept = lock_choice(shop.ines, shop.branch, mine, wanted, shown.digest, now=NOW + hours(2))
    assert (kept.made, kept.ended) == (2, 2)
    assert {(mine, wanted, 1, True), (theirs, had, 1, False)} <= open_rows()
    again = lock_choice(shop.ines, shop.branch, mine, wanted, shown.digest, now=NOW + hours(2.1))
    assert (again.made, again.ended) == (0, 0)
    # What is kept is what the next look proposes.
    assert keep(shop, NOW + hours(3)) == type(again)(0, 0)


def test_by_hand_only_what_was_shown_is_kept(shop: SimpleNamespace) -> None:
    sets(shop, 2)
    second_job(shop, SOON)
    keep(shop)
    proposal = propose(shop.branch, now=NOW)
    mine, theirs = (load_of(proposal, job, "400") for job in ("Osprey Lane", "Fennick store"))
    with pytest.raises(ReservationRefused, match="have changed since"):
        lock_choice(shop.ines, shop.branch, mine, proposal.present(theirs)[0], "something else", now=NOW)
    with pytest.raises(ReservationRefused, match="no usable one"):
        by_hand(proposal, mine, make_set(shop, shop.two, shop.rack).pk)
    with pytest.raises(ReservationRefused, match="no more"):
        by_hand(proposal, uuid(1), proposal.present(theirs)[0])


def test_a_short_set_by_hand_is_told_and_goes_first_with_a_sure_one_behind(shop: SimpleNamespace) -> None:
    sure, worn = sets(shop, 2)
    write(shop, NewLine("measured", worn, None, {"lowest_height_mm": 2.6, "mean_height_mm": 2.8}), at=NOW - hours(4))
    proposal = propose(shop.branch, now=NOW)
    shown = by_hand(proposal, load_of(proposal, "Osprey Lane", "400"), worn.pk)
    assert shown.consequence.seats == (worn.pk, sure.pk)
    assert Trouble.SHORT not in shown.consequence.troubles


# --- taking it back ---


def test_the_last_change_is_taken_back_and_nothing_is_removed(shop: SimpleNamespace) -> None:
    one, other = sets(shop, 2)
    keep(shop)
    before = open_rows()
    proposal = propose(shop.branch, now=NOW + hours(1))
    key = load_of(proposal, "Osprey Lane", "400")
    (had,) = proposal.present(key)
    new = other.pk if had == one.pk else one.pk
    at = NOW + hours(2)
    lock_choice(shop.dag, shop.branch, key, new, by_hand(proposal, key, new).digest, now=at)
    change = last_change(shop.branch, NOW + hours(3))
    assert change is not None
    assert (change.at, change.by, change.made) == (at, "Dag P.", 1)
    undo_change(shop.ines, shop.branch, at, now=NOW + hours(3))
    assert open_rows() == before
    assert Reservation.objects.count() == 4
    again = undo_change(shop.ines, shop.branch, at, now=NOW + hours(3.1))
    assert (again.made, again.ended) == (0, 0)
    assert open_rows() == before


def test_what_was_changed_since_is_not_taken_back(shop: SimpleNamespace) -> None:
    sets(shop, 2)
    keep(shop)
    second_job(shop)
    keep(shop, NOW + hours(1))
    with pytest.raises(ReservationRefused, match="Something was changed since"):
        undo_change(shop.ines, shop.branch, NOW, now=NOW + hours(2))
    assert last_change(shop.branch, NOW + hours(30)) is None
    assert len(open_rows()) == 4


def test_a_new_set_to_buy_is_no_row(shop: SimpleNamespace) -> None:
    from tests.jobs.test_forecast import sell

    sell(shop.four, days=2)
    second_job(shop)
    proposal = propose(shop.branch, now=NOW)
    choice = proposal.choices[load_of(proposal, "Fennick store", "400")]
    assert choice.seats == (ToBuy(1),)
    assert proposal.wanted() == []


def test_a_step_of_two_nights_is_meant_from_the_first_to_the_last_and_stays_so_between_them(
    shop: SimpleNamespace,
) -> None:
    make_set(shop, shop.four, shop.rack, at=NOW - hours(99))
    hall = make_hall(shop, "Quay house")
    shifts = tuple(
        ShiftDraft(LATER + hours(24 * n), LATER + hours(24 * n + 8), shop.dag, (), uuid(81 + n)) for n in range(2)
    )
    steps = (StepDraft(hall.pk, shop.four, 5, key=uuid(91)),)
    make_planned(shop, "Quay", site_name="Quay house", zones=(ZoneDraft(hall),), steps=steps, shifts=shifts)
    keep(shop)
    row = Reservation.objects.get(step_key=uuid(91))
    assert (row.from_shift, row.to_shift) == (uuid(81), uuid(82))
    between = LATER + hours(12)
    proposal = propose(shop.branch, now=between)
    assert [night.shift.key for night in proposal.loads[uuid(91)].nights] == [uuid(82)]
    # Half of the floor is planned for each night.
    assert proposal.loads[uuid(91)].reference_m2 == pytest.approx(2000)
    assert keep(shop, between).made == 0
    assert Reservation.objects.get(step_key=uuid(91)) == row


def test_more_than_one_new_set_does_is_cut_by_nights_each_with_a_set_of_its_own(shop: SimpleNamespace) -> None:
    small = make_type("100", ladder_place=4, soak_need=SoakNeed.NONE, rated_coverage_m2=6000.0)
    sets_of_it = {make_set(shop, small, shop.rack, at=NOW - hours(99)).pk for _ in range(2)}
    hall = make_hall(shop, "Quay house")
    shifts = tuple(
        ShiftDraft(LATER + hours(24 * n), LATER + hours(24 * n + 8), shop.dag, (), uuid(81 + n)) for n in range(2)
    )
    steps = tuple(StepDraft(hall.pk, small, 3, shift_key=uuid(81 + n), key=uuid(91 + n)) for n in range(2))
    make_planned(shop, "Quay", site_name="Quay house", zones=(ZoneDraft(hall),), steps=steps, shifts=shifts)
    proposal = propose(shop.branch, now=NOW)
    # 2,400 m2 a night; a new set of 6,000 surely does more than that, and less than twice that.
    assert [proposal.loads[uuid(91 + n)].reference_m2 for n in range(2)] == pytest.approx([2400, 2400])
    assert {seat for n in range(2) for seat in proposal.choices[uuid(91 + n)].seats} == sets_of_it
