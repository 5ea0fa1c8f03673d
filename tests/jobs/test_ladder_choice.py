"""Which steps a floor takes: rules of common practice without a published source, unless a row is named."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.numerics.ladder_choice import checked_ladder, choose_steps, skipped_grits
from jobs.numerics.ladder_facts import FloorZone, LadderRefused, LadderSettings, LadderStep

SETTINGS = LadderSettings()
GRITS = [
    *(("metal", grit) for grit in (30, 70, 120)),
    *(("resin", grit) for grit in (50, 100, 200, 400, 800, 1500, 3000)),
]
LADDER = tuple(LadderStep(f"{bond} {grit}", place, grit, bond, 9) for place, (bond, grit) in enumerate(GRITS))


def floor(**said):
    return FloorZone("hall", 300.0, **said)


def steps(zone, level=4, kind="full", ladder=LADDER, settings=SETTINGS):
    return [str(step.key) for step in choose_steps(zone, kind, level, ladder, settings).steps]


@pytest.mark.parametrize(
    ("zone", "first", "rule", "guessed"),
    [
        (floor(condition="heavy"), "metal 30", "heavy_starts_coarsest", False),
        (floor(condition="light"), "metal 70", "light_starts_finer", False),
        (floor(condition="sound"), "resin 50", "sound_starts_at_resin", False),
        (floor(condition="sound", coating="epoxy"), "metal 30", "coating_starts_coarsest", False),
        (floor(condition="sound", coating="sealer"), "metal 70", "light_starts_finer", False),
        (floor(surface="coated"), "metal 30", "heavy_starts_coarsest", True),
        (floor(surface="raw"), "metal 70", "light_starts_finer", True),
        (floor(surface="worn"), "metal 70", "light_starts_finer", True),
        (floor(surface="ground"), "resin 50", "sound_starts_at_resin", True),
        (floor(surface="polished"), "resin 50", "sound_starts_at_resin", True),
    ],
)
def test_the_condition_chooses_the_first_cut(zone, first, rule, guessed):
    chosen = choose_steps(zone, "full", 4, LADDER, SETTINGS)

    assert (chosen.steps[0].key, chosen.first_rule, chosen.condition_guessed) == (first, rule, guessed)
    assert chosen.kinds == ("first_cut",) + ("later",) * (len(chosen.steps) - 1)


@pytest.mark.parametrize(("level", "last"), [(1, "resin 50"), (2, "resin 400"), (3, "resin 800"), (4, "resin 3000")])
def test_the_finish_chooses_the_last_step(level, last):
    # Start values near a superseded chart (REFERENCES P3: below 100, to 400, to 800, above); a setting, our assumption.
    assert steps(floor(condition="heavy"), level)[-1] == last


def test_a_full_polish_takes_every_step_between():
    assert steps(floor(condition="light"), 3) == [
        "metal 70",
        "metal 120",
        "resin 50",
        "resin 100",
        "resin 200",
        "resin 400",
        "resin 800",
    ]


def test_a_refresh_goes_one_step_coarser_and_back_up():
    zone = floor(surface="polished", finest="resin 800")
    chosen = choose_steps(zone, "refresh", 3, LADDER, SETTINGS)

    assert [step.key for step in chosen.steps] == ["resin 400", "resin 800"]
    assert chosen.kinds == ("later", "later")
    assert (chosen.first_rule, chosen.last_rule) == ("refresh_one_coarser", "finest_used")
    assert steps(replace(zone, finest="metal 30"), kind="refresh") == ["metal 30"]


def test_an_upkeep_run_takes_the_finest_step_used():
    chosen = choose_steps(floor(finest="resin 1500"), "upkeep", 4, LADDER, SETTINGS)

    assert ([step.key for step in chosen.steps], chosen.kinds) == (["resin 1500"], ("upkeep",))
    assert choose_steps(floor(), "upkeep", 2, LADDER, SETTINGS).last_rule == "finest_by_finish"
    assert steps(floor(), 2, "upkeep") == ["resin 400"]


def test_a_persons_own_steps_win_in_the_ladders_order():
    chosen = choose_steps(floor(steps=("resin 200", "metal 70", "resin 50")), "full", 1, LADDER, SETTINGS)

    assert [step.key for step in chosen.steps] == ["metal 70", "resin 50", "resin 200"]
    assert chosen.first_rule == chosen.last_rule == "own_steps"
    assert [(one.coarser, one.finer, one.ratio) for one in chosen.skipped] == [("resin 50", "resin 200", 4.0)]


def line(*grits, bond="metal"):
    return tuple(LadderStep(grit, place, grit, bond, 9) for place, grit in enumerate(grits))


@pytest.mark.parametrize(
    ("grits", "ratios"),
    # REFERENCES P7: 30-60-120, 50...3000 and 30-70-120-220 are the ladders it prints ratios of.
    [
        ((30, 60, 120), [2.0, 2.0]),
        ((50, 100, 200, 400, 800, 1500, 3000), [2, 2, 2, 2, 1.875, 2]),
        ((30, 70, 120, 220), [2.333, 1.714, 1.833]),
    ],
)
def test_the_published_ladders_skip_nothing(grits, ratios):
    assert [round(one.ratio, 3) for one in skipped_grits(line(*grits), 1.0)] == ratios
    assert skipped_grits(line(*grits), 2.5) == ()


def test_a_change_of_bond_may_step_back_or_leap():
    # REFERENCES P7: metal 150 to resin 100 is a deliberate step back (0.667).
    ladder = (*line(70, 150), LadderStep("resin 100", 5, 100, "resin", 9), LadderStep("resin 200", 6, 200, "resin", 9))

    assert checked_ladder(ladder) == ladder
    assert skipped_grits(ladder, 2.5) == ()


def test_a_skipped_grit_is_warned_about_with_the_shops_own_ratio():
    wide = line(30, 120)

    assert [(one.coarser, one.finer, one.ratio, one.limit) for one in skipped_grits(wide, 2.5)] == [(30, 120, 4.0, 2.5)]
    assert skipped_grits(wide, 4.0) == ()


def test_a_label_that_is_no_number_takes_no_part_in_ratios():
    ladder = (*line(30, 60), LadderStep("burnish", 9, None, "metal", 9))

    assert skipped_grits(ladder, 1.5)[0].finer == 60
    assert len(skipped_grits(ladder, 1.5)) == 1


def refusal(*given, **said):
    with pytest.raises(LadderRefused) as caught:
        choose_steps(*given, **said)
    return caught.value


def test_a_ladder_with_a_hole_is_refused():
    ladder = line(30, 240, bond="resin")

    said = refusal(floor(), "full", 4, ladder, SETTINGS)

    assert said.code == "ladder_with_a_hole"
    assert str(said) == (
        "`ladder` has a hole of 8 between 30 (grit 30) and 240 (grit 240); below 6 is allowed. Put a step between them."
    )


def test_a_finish_below_the_start_is_refused():
    said = refusal(
        floor(condition="sound"), "full", 1, LADDER, replace(SETTINGS, last_grit_by_level=(40, 400, 800, 9e9))
    )

    assert said.code == "finish_below_start"
    assert str(said).startswith(
        "`finish_level` 1 ends at 'metal 30', coarser than the start 'resin 50' of zone 'hall'."
    )


def test_steps_that_are_not_on_the_ladder_are_refused():
    assert refusal(floor(steps=("resin 60",)), "full", 4, LADDER, SETTINGS).values == {"value": "resin 60"}
    assert refusal(floor(finest="resin 60"), "upkeep", 4, LADDER, SETTINGS).code == "step_not_on_ladder"
    assert refusal(floor(steps=()), "full", 4, LADDER, SETTINGS).code == "no_steps"


@pytest.mark.parametrize("level", [0, 5, None])
def test_a_finish_off_the_chart_is_refused(level):
    # REFERENCES P1: levels 1 to 4.
    assert (
        str(refusal(floor(), "full", level, LADDER, SETTINGS)) == f"`finish_level` must be 1, 2, 3 or 4; got {level}."
    )


@pytest.mark.parametrize(
    ("ladder", "code"),
    [
        ((), "no_ladder"),
        (line(30, 70) + line(70, 30)[1:], "step_twice"),
        ((*line(30), LadderStep("other", 0, 60, "metal", 9)), "place_twice"),
        (line(70, 30), "ladder_not_rising"),
        ((*line(70), LadderStep("again", 4, 70, "metal", 9)), "ladder_not_rising"),
    ],
)
def test_a_ladder_out_of_order_is_refused(ladder, code):
    assert refusal(floor(), "full", 4, ladder, SETTINGS).code == code


@pytest.mark.parametrize("area", [0, -3, math.nan, math.inf])
def test_a_zone_of_no_area_is_refused(area):
    with pytest.raises(LadderRefused, match=r"`area_m2` of zone 'hall' must be above 0; got .*Give the floor its area"):
        FloorZone("hall", area)


@given(
    condition=st.sampled_from(["sound", "light", "heavy", None]),
    surface=st.sampled_from(["raw", "worn", "coated", "ground", "polished"]),
    coating=st.sampled_from(["none", "sealer", "paint", "epoxy", "glue"]),
    level=st.integers(2, 4),
    kind=st.sampled_from(["full", "refresh", "upkeep"]),
)
def test_chosen_steps_are_neighbours_of_the_ladder_and_a_worse_floor_never_starts_finer(
    condition, surface, coating, level, kind
):
    zone = floor(condition=condition, surface=surface, coating=coating)
    chosen = steps(zone, level, kind)
    keys = [str(step.key) for step in LADDER]
    start = keys.index(chosen[0])

    assert chosen == keys[start : start + len(chosen)]
    assert steps(zone, level, "upkeep") == steps(zone, level, "refresh")[-1:]
    worse = {"sound": "light", "light": "heavy", "heavy": "heavy"}
    if condition and kind == "full":
        assert keys.index(steps(replace(zone, condition=worse[condition]), level)[0]) <= start
