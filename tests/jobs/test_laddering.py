"""The bridge from rows to the ladder plan: what the shop has, learnt passes, floors, a kept plan; against numerics."""

from __future__ import annotations

from dataclasses import fields
from datetime import date
from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Act, Price, Setting
from inventory.models.choices import Basis, Bond, MachineKind, StepKind, WetDry
from inventory.shop_settings import KNOWN
from jobs.actions.plan import fits, ladder_warnings
from jobs.actions.shift import WorkPart, floor_even, log_work, void_work
from jobs.laddering import floor_of, grit_number, question_of, question_of_plan, shop_ladder, steps_for
from jobs.models import JobPlan
from jobs.numerics.ladder import plan_ladder
from jobs.numerics.ladder_facts import FloorZone, LadderRefused, LadderSettings, life_from_rating
from jobs.numerics.ladder_totals import zone_of_area
from jobs.plan_draft import StepDraft, ZoneDraft
from jobs.queries.passes import finished_steps
from jobs.queries.plan import plan_of
from tests.cast import (
    NOW,
    TODAY,
    hours,
    make_branch,
    make_cast,
    make_machine,
    make_place,
    make_set,
    make_supplier,
    make_type,
    uuid,
    who,
)
from tests.jobs.plans import LAST_NIGHT, make_hall, make_planned

pytestmark = pytest.mark.django_db

RUNGS = (("metal", "30", 1), ("metal", "70", 2), ("metal", "120", 3), ("resin", "50", 4), ("resin", "100", 5),
         ("resin", "200", 6), ("resin", "400", 7), ("resin", "800", 8))  # fmt: skip


def make_shop(**machine: object) -> SimpleNamespace:
    cast = make_cast()
    cast.types = {}
    for bond, grit, place in RUNGS:
        cast.types[bond, grit] = make_type(grit, Bond(bond), place, soak_need="none")
    cast.machine = make_machine(cast.branch, **({"path_m": 0.76, "tank_l": 75.0} | machine))
    return cast


def price(cast: SimpleNamespace, bond: str, grit: str, amount: str, since: date = TODAY) -> None:
    Price.objects.create(
        tool_type=cast.types[bond, grit],
        supplier=make_supplier(f"Quarrymead {uuid4()}"),
        price=amount,
        currency="USD",
        valid_from=since,
        recorded_at=NOW,
    )


def test_the_start_values_of_the_shop_are_those_of_the_numerics() -> None:
    numbers, start = shop_ladder(make_branch(), TODAY).numbers, LadderSettings()
    for one in fields(LadderSettings):
        mine, theirs = getattr(numbers, one.name), getattr(start, one.name)
        assert mine == (pytest.approx(theirs, rel=1e-12) if isinstance(theirs, float) else theirs), one.name


def test_a_tool_type_is_a_step_with_its_price_of_the_day_and_the_life_its_rating_lets_expect() -> None:
    cast = make_shop()
    price(cast, "resin", "200", "310.50")
    price(cast, "resin", "400", "400", since=date(2030, 1, 1))

    steps = {step.key: step for step in shop_ladder(cast.branch, TODAY).steps}

    assert [step.grit for step in steps.values()] == [30, 70, 120, 50, 100, 200, 400, 800]
    two = steps[cast.types["resin", "200"].pk]
    assert (two.price, two.bond, two.pieces, two.mount) == (310.5, "resin", 3, "9 in. plate")
    assert two.life_m2 == life_from_rating(6000)
    assert steps[cast.types["resin", "400"].pk].price is None  # not before 2030


def test_a_machine_without_a_path_is_named_and_left_out_one_without_speed_goes_at_the_shops() -> None:
    cast = make_shop()
    make_machine(cast.branch, name="Old one")
    make_machine(cast.branch, name="Edger", kind=MachineKind.EDGE, path_m=0.2)

    shop = shop_ladder(cast.branch, TODAY)

    assert shop.without_path == ("Old one",)
    assert [(one.path_m, one.speed_low_m_per_min, one.hand, one.tank_l) for one in shop.machines] == [
        (0.2, 26.8224, True, None),
        (0.76, 26.8224, False, 75.0),
    ]


def test_the_shops_own_settings_reach_the_plan() -> None:
    cast = make_shop()
    for key, value in (("efficiency", "0.5"), ("densifier_l_per_m2", "0.1"), ("overlap_mm", "50")):
        Setting.objects.create(branch=cast.branch, key=key, value=value, valid_from=TODAY, recorded_at=NOW)
    before = question_of(shop_ladder(make_branch("Other"), TODAY), [zone_of_area(500)], kind="full", finish_level=2)

    question = question_of(shop_ladder(cast.branch, TODAY), [zone_of_area(500)], kind="full", finish_level=2)

    assert (question.settings.efficiency, question.settings.overlap_m) == (0.5, 0.05)
    assert [one.key for one in question.supplies] == ["densifier"]
    assert plan_ladder(question).supplies[0].amount.likely == pytest.approx(50, rel=0.05)
    assert before.supplies == ()


def test_the_floor_factors_are_the_shops() -> None:
    question = question_of(
        shop_ladder(make_shop().branch, TODAY), [zone_of_area(500, hardness="soft")], kind="full", finish_level=2
    )

    assert question.factors["soft|raw|wet|first_cut"] == pytest.approx(1.3 * 1.6)  # settings' start values
    assert question.factors["soft|raw|dry|later"] == pytest.approx(1.3 * 1.2)


@pytest.mark.parametrize(
    ("condition", "finish", "grits"),
    [
        # DESIGN 4: heavy starts coarse, light finer, sound at the first resin step (common practice).
        ("heavy", 2, ["30", "70", "120", "50", "100", "200", "400"]),
        ("light", 2, ["70", "120", "50", "100", "200", "400"]),
        ("sound", 4, ["50", "100", "200", "400", "800"]),
        ("unknown", 2, ["70", "120", "50", "100", "200", "400"]),  # a raw floor counts as light soil: our assumption
    ],
)
def test_a_floor_gets_its_steps_by_condition_and_finish(condition: str, finish: int, grits: list[str]) -> None:
    cast = make_shop()
    hall = make_hall(cast)
    floor = floor_of(ZoneDraft(hall, condition=condition, surface="raw").filled())

    found = steps_for(shop_ladder(cast.branch, TODAY), floor, kind="full", finish_level=finish)

    assert [step.tool_type.grit for step in found.steps] == grits
    assert [step.passes for step in found.steps] == [7] + [5] * (len(grits) - 1)  # common practice
    assert found.steps[0].step_kind == StepKind.FIRST_CUT
    assert {step.wet_dry for step in found.steps} == {WetDry.WET}
    assert found.chosen.condition_guessed == (condition == "unknown")


def test_of_two_types_of_one_place_the_one_that_fits_a_machine_is_taken() -> None:
    cast = make_shop()
    make_type("200", Bond.RESIN, 6, name="Resin 200 small", mount="7 in. plate", soak_need="none")
    other = make_type("400", Bond.RESIN, 7, name="Resin 400 dear", soak_need="none")
    Price.objects.create(
        tool_type=other, supplier=make_supplier(), price=90, currency="USD", valid_from=TODAY, recorded_at=NOW
    )

    found = steps_for(
        shop_ladder(cast.branch, TODAY), FloorZone("f", 100, condition="sound"), kind="full", finish_level=2
    )

    assert [step.tool_type.name for step in found.steps] == ["resin 50", "resin 100", "resin 200", "Resin 400 dear"]


@pytest.mark.parametrize(
    ("change", "finish", "code"),
    [
        ({"mount": "3 pins"}, 2, "no_machine_fits"),
        ({}, 1, "finish_below_start"),
    ],
)
def test_what_cannot_be_planned_is_refused_with_its_code(change: dict[str, object], finish: int, code: str) -> None:
    cast = make_shop(**change)
    floor = FloorZone("f", 100, condition="sound")
    types = [t for (bond, grit), t in cast.types.items() if (bond, grit) in {("resin", "50"), ("resin", "100")}]
    if code == "finish_below_start":
        for one in types:
            one.ladder_place -= 4 if one.grit == "50" else 0
            one.active = False
            one.save()

    with pytest.raises(LadderRefused) as refused:
        steps_for(shop_ladder(cast.branch, TODAY), floor, kind="full", finish_level=finish)

    assert refused.value.code == code


def test_a_kept_plan_asks_with_its_own_steps_passes_and_machines() -> None:
    cast = make_shop()
    make_machine(cast.branch, name="Wide one", path_m=2.0)  # stays at home
    plan = plan_of(make_planned(cast, machine=cast.machine).job)
    assert plan is not None

    answer = plan_ladder(question_of_plan(shop_ladder(cast.branch, TODAY), plan), 3)

    assert [step.step for step in answer.steps] == [cast.types["resin", "200"].pk, cast.types["resin", "400"].pk]
    assert {step.machine for step in answer.steps} == {cast.machine.pk}
    assert {zone.passes.rule for step in answer.steps for zone in step.zones} == {"passes_own"}
    assert all(step.zones[0].planned_passes == 5 for step in answer.steps)
    # (0.76 - 0.0381) m x 26.8224 m/min x 60 x 0.7 / 5 passes: REFERENCES P15 and U5, by hand.
    assert answer.steps[0].production_m2_per_h.likely == pytest.approx(162.6, rel=0.03)


def test_a_tool_type_out_of_use_is_still_planned_in_an_older_plan() -> None:
    cast = make_shop()
    plan = plan_of(make_planned(cast, machine=cast.machine).job)
    assert plan is not None
    cast.types["resin", "400"].active = False
    cast.types["resin", "400"].save()

    answer = plan_ladder(question_of_plan(shop_ladder(cast.branch, TODAY), plan))

    assert answer.without_life == (cast.types["resin", "400"].pk,)


def test_what_a_shop_has_is_read_in_as_many_queries_with_much_as_with_little() -> None:
    cast = make_shop()
    counts = []
    for _round in range(2):
        with CaptureQueriesContext(connection) as seen:
            shop_ladder(cast.branch, TODAY)
        counts.append(len(seen))
        for bond, grit, place in RUNGS:
            cast.types[bond, grit] = make_type(grit, Bond(bond), place, name=f"more {bond} {grit}", soak_need="none")
            price(cast, bond, grit, "100")
            make_machine(cast.branch, path_m=1.0)

    assert counts[0] == counts[1] <= 8


def test_grits_that_are_no_numbers_take_no_part_in_ratios() -> None:
    assert [grit_number(text) for text in ("400", "1500", "coarse", "0", "-3", "inf", "nan")] == [
        400, 1500, None, None, None, None, None,
    ]  # fmt: skip
    odd = make_type("coarse", ladder_place=1)
    fine = make_type("3000", ladder_place=9)
    assert ladder_warnings([StepDraft(uuid(1), odd, 5), StepDraft(uuid(1), fine, 5)], 2.5) == []


def test_fit_and_skipped_grits_are_said_in_words_from_the_one_rule() -> None:
    cast = make_shop()
    machine = make_machine(cast.branch, mount="3 pins", pieces_per_load=6, rotation="left")
    wrong = make_type("100", name="odd", rotation="right", wet_dry="dry")

    assert fits(wrong, cast.machine) == ["made for dry work"]
    assert fits(wrong, machine) == [
        "mount 9 in. plate, the machine takes 3 pins", "3 pieces, a load is 6", "made for the other hand",
        "made for dry work",
    ]  # fmt: skip
    steps = [StepDraft(uuid(1), cast.types["resin", grit], 5) for grit in ("50", "200", "400")]
    assert ladder_warnings(steps, 2.5) == ["From 50 to 200 skips a grit: more than 2.5 times finer."]
    assert ladder_warnings(steps, 4) == []


def test_every_ladder_setting_has_a_unit_and_a_source() -> None:
    for key in ("work_speed", "efficiency", "flow_l_per_min", "edge_m2_per_h", "hole_ratio", "last_grit_satin"):
        assert KNOWN[key].unit
        assert KNOWN[key].source


def test_a_shop_that_logged_nothing_has_learnt_nothing() -> None:
    assert finished_steps(make_cast().branch) == []


def log(cast: SimpleNamespace, plan: JobPlan, grit: str, *parts: tuple[float, int], basis: str = Basis.MEASURED) -> Act:
    """Log area and passes of a step of the first night, by a set of its type; returns the last act."""
    step = next(one for one in plan.steps.all() if one.tool_type.grit == grit)
    shift = next(one for one in plan.shifts.all() if one.key == step.shift_key)
    worked = make_set(cast, step.tool_type, make_place(cast.branch), at=NOW - hours(100))
    for number, (area, passes) in enumerate(parts):
        at = shift.starts_at + hours(3 + number)
        part = [WorkPart(worked, area, passes)]
        act = log_work(who(cast.dag, cast.device, at), plan.job, shift.key, step.key, part, basis=basis, now=at).act
    return act


def test_finished_steps_teach_their_passes_by_floor_class_and_others_teach_nothing() -> None:
    cast = make_shop()
    plan = make_planned(cast, machine=cast.machine)  # 1,000 m2, hard and worn; 200 and 400 in five passes each
    log(cast, plan, "200", (1000, 4), (1000, 2))

    assert finished_steps(cast.branch) == [("hard|worn|wet|later", 6)]
    shop = shop_ladder(cast.branch, TODAY)
    # (4 x practice + 1 of record) / 5, METHODS 2, by hand: 4 passes .16, 5 .48, 6 .16 + .2.
    assert shop.learnt["hard|worn|wet|later"].chances[3:6] == pytest.approx([0.16, 0.48, 0.36])

    other = make_planned(cast, "Second", machine=cast.machine, site_name="Second")
    log(cast, other, "200", (1000, 3))  # three of five passes: not done
    assert len(finished_steps(cast.branch)) == 1
    step = next(one for one in other.steps.all() if one.tool_type.grit == "200")
    at = LAST_NIGHT + hours(6)
    assert step.shift_key is not None
    floor_even(who(cast.dag, cast.device, at), other.job, step.shift_key, step.key, now=at)
    assert sorted(finished_steps(cast.branch)) == [("hard|worn|wet|later", 3), ("hard|worn|wet|later", 6)]


def test_what_was_only_planned_or_was_voided_teaches_nothing() -> None:
    cast = make_shop()
    plan = make_planned(cast, machine=cast.machine)
    log(cast, plan, "200", (1000, 5), basis=Basis.PLANNED)
    assert finished_steps(cast.branch) == []

    other = make_planned(cast, "Second", machine=cast.machine, site_name="Second")
    act = log(cast, other, "200", (1000, 5))
    assert len(finished_steps(cast.branch)) == 1
    entry = act.entries.get(kind="worked")
    void_work(who(cast.ines, cast.device, NOW), other.job, entry, "wrong job", now=NOW)
    assert finished_steps(cast.branch) == []
