"""What a ladder plan refuses, and in which words: the parameter, its value, what next."""

import math
from dataclasses import replace
from typing import Any

import pytest

from jobs.numerics.ladder import plan_ladder
from jobs.numerics.ladder_facts import (
    FloorZone,
    LadderMachine,
    LadderRefused,
    LadderSettings,
    LadderStep,
    Supply,
    misfits,
)
from jobs.numerics.ladder_production import cleaner_l, machine_for, production_m2_per_h
from tests.jobs.test_ladder import HALL, LADDER, RIDE_ON, ask

UNKNOWN: Any = "bad"  # a word that is no condition


def refusal(question, **said):
    with pytest.raises(LadderRefused) as caught:
        plan_ladder(question, **said)
    return caught.value


def test_a_machine_nothing_fits_is_refused_with_what_stands_in_the_way():
    small = replace(RIDE_ON, key="small", pieces=6, mount="7 in. plate")
    ladder = tuple(replace(step, mount='9" plate') for step in LADDER)

    said = refusal(ask(machines=(small,), ladder=ladder))

    assert said.code == "no_machine_fits"
    assert str(said) == (
        "`machines` must hold one that fits 'metal 70'; none does ('small': mount, pieces). "
        "Choose another machine or tool."
    )
    assert "no machine goes along" in str(refusal(ask(machines=())))


def test_what_does_not_fit_is_named_by_mount_pieces_hand_and_water():
    step = LadderStep("a", 1, 50, "resin", 9, mount="9 in. plate", rotation="left", wet_dry="wet")
    machine = LadderMachine("m", 1, 20, 30, 9, mount='9" Plate', rotation="left", wet_dry="either")

    assert misfits(step, machine) == ()
    assert misfits(step, replace(machine, mount="")) == ()
    assert misfits(replace(step, rotation="either"), replace(machine, rotation="right")) == ()
    # A one-handed load: only left sets, a machine that turns right.
    assert misfits(step, replace(machine, rotation="right", wet_dry="dry", pieces=12, mount="7 in.")) == (
        "mount",
        "pieces",
        "hand",
        "water",
    )


def test_the_machine_that_does_most_runs_the_step_and_a_hand_machine_never_does():
    narrow = replace(RIDE_ON, key="narrow", path_m=0.7)
    hand = replace(RIDE_ON, key="hand", path_m=3.0, hand=True)
    order = (narrow, hand, RIDE_ON, replace(RIDE_ON, key="twin"))

    assert machine_for(LADDER[0], order, LadderSettings()).key == "ride-on"
    with pytest.raises(LadderRefused, match="`machines` must hold one that fits"):
        machine_for(LADDER[0], (hand,), LadderSettings())


@pytest.mark.parametrize(
    ("question", "code"),
    [
        (replace(ask(), zones=()), "no_zone"),
        (ask(HALL, HALL), "zone_twice"),
        (ask(kind="half"), "kind"),
        (ask(shift_h=0), "shift"),
        (ask(shift_h=math.nan), "shift"),
        (replace(ask(), factors={}), "factor"),
        (ask(factor=0.0), "not_a_number_here"),
        (ask(own_passes={("hall", "metal 70"): 0}), "own_passes"),
        (ask(own_passes={("hall", "metal 70"): 13}), "own_passes"),
        (ask(own_passes={("hall", "metal 70"): 2.5}), "own_passes"),
        (ask(finish_level=5), "finish_level"),
        (ask(ladder=()), "no_ladder"),
    ],
)
def test_a_plan_is_whole_or_refused(question, code):
    assert refusal(question).code == code


def test_a_refusal_names_the_parameter_and_its_value():
    assert str(refusal(ask(shift_h=-1))) == "`shift_h` must be above 0; got -1."
    assert str(refusal(ask(own_passes={("hall", "metal 70"): 13}))) == (
        "`own_passes` of 'metal 70' on zone 'hall' must be 1 to 12, whole; got 13."
    )
    assert str(refusal(replace(ask(), factors={}))) == (
        "`factors` must hold every floor class; 'medium|raw|wet|first_cut' is not among them."
    )


@pytest.mark.parametrize(
    ("make", "named"),
    [
        (lambda: FloorZone("z", 10, -1), "`edge_m` must be 0 or more; got -1"),
        (lambda: FloorZone("z", 10, section_m2=0), "`section_m2` must be above 0; got 0"),
        (
            lambda: FloorZone("z", 10, condition=UNKNOWN),
            "`condition` must be one of sound, light, heavy, or None; got 'bad'",
        ),
        (lambda: replace(LADDER[0], grit=-30), "`grit` must be above 0; got -30"),
        (lambda: replace(LADDER[0], price=-1), "`price` must be 0 or more; got -1"),
        (lambda: replace(LADDER[0], life_m2=(5, 4, 6)), "`life_m2` of step 'metal 30' must rise from above 0"),
        (lambda: replace(RIDE_ON, path_m=0), "`path_m` must be above 0; got 0"),
        (lambda: replace(RIDE_ON, overlap_m=1.0), "`overlap_m` must be below the path of 1 m; got 1"),
        (lambda: replace(RIDE_ON, speed_high_m_per_min=10), "`speed_high_m_per_min` must be 20 or more; got 10"),
        (lambda: replace(RIDE_ON, efficiency=1.2), "`efficiency` must be above 0 and at most 1; got 1.2"),
        (lambda: replace(RIDE_ON, tank_l=math.inf), "`tank_l` must be above 0; got inf"),
        (lambda: Supply("tape", per_m2=-0.1), "`per_m2` must be 0 or more; got -0.1"),
        (lambda: LadderSettings(cleaner_ratio=0), "`cleaner_ratio` must be above 0; got 0"),
        (lambda: LadderSettings(grit_ratio=1), "`grit_ratio` must be above 1; got 1"),
    ],
)
def test_a_fact_that_cannot_be_is_refused_by_its_name(make, named):
    with pytest.raises(LadderRefused) as caught:
        make()
    assert str(caught.value).startswith(named)


def test_arithmetic_and_dice_refuse_what_they_cannot_take():
    with pytest.raises(ValueError, match=r"`overlap_m` must be below `path_m`; got 0\.8 of 0\.7"):
        production_m2_per_h(0.7, 0.8, 20, 0.7)
    with pytest.raises(ValueError, match="`passes` must be above 0; got 0"):
        production_m2_per_h(0.7, 0.1, 20, 0.7, 0)
    with pytest.raises(ValueError, match="`ratio` must be above 0; got 0"):
        cleaner_l(1.0, 0)
    with pytest.raises(ValueError, match="`seed` must be 0 or more; got -1"):
        plan_ladder(ask(), -1)
    with pytest.raises(ValueError, match="`draws` must be 1 or more; got 0"):
        plan_ladder(ask(), draws=0)
