"""Tonight: a set for each step, its state in one word, what to mend with what; constant queries."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.actions.ledger import NewLine
from inventory.life_floor import life_floor
from inventory.models import ToolSet
from inventory.models.choices import PlaceKind, SoakNeed, Source
from inventory.shop_settings import settings_of
from jobs.actions.plan import save_plan
from jobs.actions.reservation import ReservationRefused, let_go, reserve, reserve_for_night
from jobs.actions.shift import WorkPart, close_shift, floor_even, log_work, outing_of_shift, undo_act
from jobs.actions.site import save_zone
from jobs.models import Reservation
from jobs.plan_draft import ZoneDraft, draft_of
from jobs.queries.forecast import steps_ahead
from jobs.queries.shift import even_steps
from jobs.queries.tonight import Cell, evening, leaving_tonight
from jobs.queries.uses import next_uses, plan_of_outing, spoken_for
from tests.cast import NOW, TODAY, hours, make_cast, make_outing, make_place, make_set, make_type, uuid, who, write
from tests.jobs.plans import LAST_NIGHT, make_planned

pytestmark = pytest.mark.django_db


def make_evening(**type_facts: Any) -> SimpleNamespace:
    """Tonight's shift asks for 400 in five passes of 1,000 m2 hard, worn floor: 4,000 m2 of reference area."""
    cast = make_cast()
    facts: dict[str, Any] = {"soak_need": SoakNeed.NONE, "rated_coverage_m2": 30_000.0} | type_facts
    four = make_type("400", ladder_place=6, **facts)
    plan = make_planned(cast)
    return SimpleNamespace(
        cast=cast,
        plan=plan,
        job=plan.job,
        four=four,
        rack=make_place(cast.branch, name="Rack B"),
        step=next(step for step in plan.steps.all() if step.tool_type == four),
        shift=plan.shifts.all()[1],
    )


def cell(night: SimpleNamespace) -> Cell:
    (leaving,) = leaving_tonight(night.cast.branch, NOW)
    (one,) = leaving.cells
    return one


def ahead(night: SimpleNamespace) -> set[Any]:
    settings = settings_of(night.cast.branch, today=TODAY)
    return {step.key for step in steps_ahead(night.cast.branch, settings, now=NOW).steps}


def one_set(night: SimpleNamespace, code: str, **more: Any) -> ToolSet:
    return make_set(night.cast, night.four, night.rack, code=code, at=NOW - hours(300), **more)


def worn(night: SimpleNamespace, tool_set: ToolSet, area_m2: float) -> None:
    work = {
        "floor_uuid": night.plan.zones.all()[0].zone_id, "visit_uuid": night.job.pk, "step_key": night.step.key,
        "area_m2": area_m2, "passes": 1, "hardness": "medium", "surface": "worn", "coating": "none", "wet_dry": "wet",
        "step_kind": "later", "basis": "measured",
    }  # fmt: skip
    write(night.cast, NewLine("worked", tool_set, None, work), at=NOW - hours(100))


def test_of_the_sets_that_are_enough_the_one_with_the_least_life_goes() -> None:
    night = make_evening()
    one_set(night, "GL-NEW")
    used = one_set(night, "GL-USED")
    worn(night, used, 3_000)
    found = cell(night)
    assert found.state is not None
    assert (found.key, found.state.code) == ("ready", "GL-USED")
    assert found.reference_m2 == pytest.approx(4000)
    (leaving,) = leaving_tonight(night.cast.branch, NOW)
    assert (leaving.enough, leaving.complete, leaving.leaves_at) == ("yes", True, LAST_NIGHT + hours(22))


def test_a_set_short_of_life_is_a_trouble_with_the_set_to_take_instead() -> None:
    night = make_evening()
    stub, whole = one_set(night, "GL-STUB"), one_set(night, "GL-NEW")
    worn(night, stub, 20_000)
    write(night.cast, NewLine("measured", stub, None, {"lowest_height_mm": 2.3}), at=NOW - hours(90))
    reserve(night.cast.ines, night.job, night.step.key, stub, now=NOW)
    found = cell(night)
    assert (found.key, found.reserved, found.instead.pk) == ("no", True, whole.pk)  # type: ignore[union-attr]
    reserve(night.cast.ines, night.job, night.step.key, whole, now=NOW)
    assert (cell(night).key, cell(night).state.code) == ("ready", "GL-NEW")  # type: ignore[union-attr]
    assert Reservation.objects.filter(ended_at__isnull=True).count() == 1


def test_a_dry_set_of_a_type_that_needs_soaking_is_said_to_be_dry() -> None:
    night = make_evening(soak_need=SoakNeed.REQUIRED)
    one_set(night, "GL-DRY")
    assert (cell(night).key, cell(night).instead) == ("dry", None)


def test_missing_out_and_set_aside_sets_are_told_apart() -> None:
    night = make_evening()
    assert cell(night).key == "none"
    only = one_set(night, "GL-ONE")
    reserve(night.cast.ines, night.job, night.step.key, only, now=NOW)
    other = make_outing(night.cast.branch, "Marrow Street")
    write(night.cast, NewLine("scanned_out", only, None, {"outing": other, "gate": "passed"}), at=NOW - hours(2))
    assert cell(night).key == "elsewhere"
    mine = outing_of_shift(night.job, night.shift, now=NOW)
    write(night.cast, NewLine("handed_over", only, None, {"outing": mine, "holder_kind": "crew"}), at=NOW - hours(1))
    assert cell(night).key == "taken"
    unknown = make_place(night.cast.branch, PlaceKind.UNKNOWN)
    write(night.cast, NewLine("moved", only, None, {"to_place": unknown}), at=NOW - hours(0.5))
    assert cell(night).key == "missing"


def test_reservations_refuse_other_types_and_sets_that_are_aside() -> None:
    night = make_evening()
    wrong = make_set(night.cast, make_type("200", ladder_place=5), night.rack)
    with pytest.raises(ReservationRefused, match="asks for resin 400"):
        reserve(night.cast.ines, night.job, night.step.key, wrong, now=NOW)
    chipped = one_set(night, "GL-CHIP")
    write(night.cast, NewLine("set_aside", chipped, None, {"why": "chipped"}), at=NOW)
    with pytest.raises(ReservationRefused, match="set aside or retired"):
        reserve(night.cast.ines, night.job, night.step.key, chipped, now=NOW)


def test_inventory_is_told_what_an_outing_asks_for_and_what_a_set_is_meant_for() -> None:
    night = make_evening()
    meant = one_set(night, "GL-ONE")
    row = reserve(night.cast.ines, night.job, night.step.key, meant, now=NOW)
    outing = outing_of_shift(night.job, night.shift, now=NOW)
    (use,) = plan_of_outing(outing.pk)
    assert (use.grit, use.sets, use.where, use.starts_at) == ("400", (meant.pk,), "step 1 of 1", night.shift.starts_at)
    found = next_uses([meant.pk], NOW)[meant.pk]
    assert found.words == "Osprey Lane, tonight 20:02, step 1 of 1"
    assert (found.outing, found.hardness) == (outing.pk, "hard")
    assert found.reference_m2 == pytest.approx(4000)
    let_go(row, now=NOW)
    assert next_uses([meant.pk], NOW) == {}


def test_a_set_whose_step_is_done_keeps_the_factor_of_the_floor_its_life_is_told_on() -> None:
    night = make_evening()
    one = one_set(night, "GL-ONE")
    dag = who(night.cast.dag, night.cast.device, NOW)
    reserve(night.cast.ines, night.job, night.step.key, one, now=NOW)
    log_work(dag, night.job, night.shift.key, night.step.key, [WorkPart(one, 1000, 5)], now=NOW, sure=True)
    use = next_uses([one.pk], NOW)[one.pk]
    assert use.reference_m2 == 0
    assert use.factor == pytest.approx(0.8)
    floor = life_floor(use, settings_of(night.cast.branch, today=TODAY))
    assert (floor.words, floor.factor, floor.medium) == ("on Hall", use.factor, False)


def test_two_floors_of_a_job_share_the_set_of_a_grit() -> None:
    night = make_evening()
    whole = one_set(night, "GL-NEW")
    aisles = save_zone(night.job.site, name="Aisles", area_m2=500, hardness="medium", surface="worn")
    draft = draft_of(night.plan)
    more = replace(draft.steps[1], zone_key=aisles.pk, key=uuid(77))
    both = replace(draft, zones=(*draft.zones, ZoneDraft(aisles)), steps=(*draft.steps, more))
    save_plan(night.cast.ines, night.job, both, now=NOW)
    found = cell(night)
    # 1,000 m2 hard (factor 0.8) and 500 m2 medium (1.0), five passes each.
    assert (len(found.steps), found.worked_m2) == (2, 7500)
    assert found.reference_m2 == pytest.approx(4000 + 2500)
    reserve_for_night(night.cast.ines, night.job, night.shift.key, night.step.key, whole, now=NOW)
    assert set(night.job.reservations.values_list("step_key", flat=True)) == {night.step.key, uuid(77)}
    assert cell(night).reserved


def test_a_set_short_of_life_gets_a_second_one_beside_it() -> None:
    night = make_evening(rated_coverage_m2=4_800.0)
    first, second = one_set(night, "GL-ONE"), one_set(night, "GL-TWO")
    found = cell(night)
    assert found.state is not None
    assert (found.key, found.instead) == ("no", None)
    assert found.beside is not None
    assert {found.state.pk, found.beside.pk} == {first.pk, second.pk}
    assert found.beside_chance is not None
    assert found.beside_chance >= 0.9
    reserve_for_night(night.cast.ines, night.job, night.shift.key, night.step.key, first, now=NOW, second=second)
    after = cell(night)
    assert after.key == "ready"
    assert after.second is not None
    assert after.second.pk == second.pk
    assert after.chance == pytest.approx(found.beside_chance)


def test_what_is_logged_is_asked_no_more_and_a_closed_shift_is_done() -> None:
    night = make_evening()
    one = one_set(night, "GL-ONE")
    dag = who(night.cast.dag, night.cast.device, NOW)
    # Two of five passes of the 1,000 m2 hard, worn floor: 3,000 m2 x 0.8 are left, on every page the same.
    reserve(night.cast.ines, night.job, night.step.key, one, now=NOW)
    outing = outing_of_shift(night.job, night.shift, now=NOW)
    log_work(dag, night.job, night.shift.key, night.step.key, [WorkPart(one, 1000, 2)], now=NOW, sure=True)
    assert cell(night).worked_m2 == 3000
    assert cell(night).reference_m2 == pytest.approx(2400)
    (use,) = plan_of_outing(outing.pk)
    assert use.reference_m2 == next_uses([one.pk], NOW)[one.pk].reference_m2 == pytest.approx(2400)
    assert use.factor == pytest.approx(0.8)
    # What is left is within rounding: 3,229 of 3,229.17 ft2.
    more = who(night.cast.dag, night.cast.device, NOW)
    log_work(more, night.job, night.shift.key, night.step.key, [WorkPart(one, 999.9, 3)], now=NOW, sure=True)
    assert cell(night).key == "done"
    plan = make_planned(night.cast, name="Marrow Street", site_name="Marrow Street")
    close_shift(
        who(night.cast.dag, night.cast.device, NOW, source=Source.PHONE), plan.job, plan.shifts.all()[1].key, now=NOW
    )
    closed = next(one for one in leaving_tonight(night.cast.branch, NOW) if one.night.job == plan.job)
    assert (closed.closed, closed.complete, {cell.key for cell in closed.cells}) == (True, True, {"done"})


def test_of_sets_that_all_are_dry_the_one_that_comes_nearest_is_offered() -> None:
    night = make_evening(soak_need=SoakNeed.REQUIRED)
    used, fuller = one_set(night, "GL-AAA"), one_set(night, "GL-BBB")
    worn(night, used, 29_000)
    worn(night, fuller, 25_000)

    assert cell(night).state is not None
    assert cell(night).state.pk == fuller.pk


def test_a_floor_that_looked_even_leaves_nothing_of_its_step_on_any_page() -> None:
    night = make_evening()
    one = one_set(night, "GL-ONE")
    reserve(night.cast.ines, night.job, night.step.key, one, now=NOW)
    outing = outing_of_shift(night.job, night.shift, now=NOW)
    assert night.step.key in ahead(night)
    assert cell(night).worked_m2 == 5000

    dag = who(night.cast.dag, night.cast.device, NOW, source=Source.PHONE)
    said = floor_even(dag, night.job, night.shift.key, night.step.key, now=NOW, why="looked at")

    assert (cell(night).key, cell(night).worked_m2) == ("done", 0.0)
    assert [use.reference_m2 for use in plan_of_outing(outing.pk)] == [0.0]
    assert night.step.key not in ahead(night)
    assert even_steps([night.step.key], known_by=NOW - hours(1)) == {}
    undo_act(who(night.cast.dag, night.cast.device, NOW), night.cast.branch, said.act, "a mistake", now=NOW)
    assert cell(night).worked_m2 == 5000


def test_a_set_sent_against_the_gate_says_so_and_a_glazed_one_wants_mending() -> None:
    night = make_evening(soak_need=SoakNeed.REQUIRED)
    dry = one_set(night, "GL-DRY")
    outing = outing_of_shift(night.job, night.shift, now=NOW)
    assert cell(night).key == "dry"
    out = {"outing": outing, "gate": "overridden", "why": "customer cannot move the night"}
    write(night.cast, NewLine("scanned_out", dry, None, out), at=NOW)
    assert (cell(night).key, cell(night).trouble) == ("against", False)
    write(night.cast, NewLine("trouble", dry, None, {"trouble_kind": "glazed"}), at=NOW + hours(0.1))
    assert (cell(night).key, cell(night).trouble) == ("glazed", True)


def test_one_set_meant_for_two_jobs_of_a_night_is_a_trouble_and_not_offered_elsewhere() -> None:
    night = make_evening()
    one = one_set(night, "GL-ONE")
    reserve(night.cast.ines, night.job, night.step.key, one, now=NOW)
    other = make_planned(night.cast, name="Marrow Street", site_name="Marrow Street")
    step = next(step for step in other.steps.all() if step.tool_type == night.four)
    reserve(night.cast.ines, other.job, step.key, one, now=NOW)
    keys = {leaving.night.job.name: leaving.cells[0].key for leaving in leaving_tonight(night.cast.branch, NOW)}
    assert sorted(keys.values()) == ["ready", "twice"]
    assert spoken_for(night.cast.branch, [other.job.pk], NOW, NOW + hours(48)) == {one.pk: "Osprey Lane"}


def test_the_night_goes_on_after_midnight() -> None:
    night = make_cast()
    assert evening(NOW, night.branch)[0].isoformat() == "2025-05-14T06:00:00-05:00"
    assert evening(NOW + hours(17), night.branch)[0].isoformat() == "2025-05-14T06:00:00-05:00"


def test_tonight_takes_the_same_queries_for_one_and_for_eight_jobs() -> None:
    night = make_evening()
    one_set(night, "GL-0")
    counts = []
    for number in range(8):
        plan = make_planned(night.cast, name=f"Job {number}", site_name=f"Site {number}")
        outing_of_shift(plan.job, plan.shifts.all()[1], now=NOW)
        one_set(night, f"GL-{number + 1}")
        if number in (0, 7):
            with CaptureQueriesContext(connection) as queries:
                assert len(leaving_tonight(night.cast.branch, NOW)) == number + 2
            counts.append(len(queries))
    assert counts[0] == counts[1] <= 22
