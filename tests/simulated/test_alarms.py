"""The table of alarms: its parts, and a quick fixed-seed look at false alarms."""

import numpy as np

from tests.simulated.alarms import CELLS, RULES, Found, run, table
from tests.simulated.scenarios import variant
from tests.simulated.shops import OWN_FACTORS, WORN, _Dice
from tests.simulated.whole_lives import FAULTS, SOUND, one_life, simulate_lives


def test_few_sound_sets_are_alarmed_and_most_gross_errors_found():
    found = run(CELLS["base3"], 7, 2, {SOUND: 40, "mis_keyed": 8, "slow_later": 8})
    false, _, sets = found.share(RULES[0], SOUND)
    assert sets == 480
    assert false <= 0.015  # seed fixed; the table says how many it is in the long run
    assert found.share(RULES[0], "mis_keyed")[0] > 0.4
    assert found.share(RULES[0], "slow_later")[0] > 0.1


def test_faulty_lives_have_the_fault_they_are_said_to_have():
    scenario = variant("base", read_chance=0.4)

    def area(fault: str) -> float:
        dice = _Dice(np.random.default_rng(1), scenario, np.array([0.4, 0.3, 0.3]), 0.0)
        tools = [one_life(dice, scenario, np.log(12 / 5000), OWN_FACTORS, fault) for _ in range(400)]
        assert all(tool.ended == WORN and tool.from_new for tool in tools)
        return float(np.mean([tool.area_by_class() @ OWN_FACTORS for tool in tools]))

    sound = area(SOUND)
    # A share of 1/3 at the usual pace, the rest at another; the hole is a fifth, give or take a use.
    for fault, share in {
        "fast_new": 1 / 1.8,
        "slow_new": 2.0,
        "fast_later": 1 / 3 + 2 / 3 / 1.8,
        "slow_later": 1 / 3 + 4 / 3,
        "unlogged": 0.8,
    }.items():
        assert abs(area(fault) / sound - share) < 0.1 * share


def test_lives_of_a_rack_taken_over_begin_in_the_middle():
    shares = []
    for name in ("base", "open_unknown"):
        types = simulate_lives(np.random.SeedSequence(3), variant(name), 3, {SOUND: 60})
        shares.append(
            np.mean([(one.judged.segments.area_m2 @ OWN_FACTORS).sum() / one.judged.rated_m2 for one in types])
        )
    assert 0.4 < shares[1] / shares[0] < 0.7  # half a life, of sets that are met because they last
    for one in types:
        assert not one.judged.from_new.any()
        assert set(one.judged.start_mm.tolist()) == {6.0}


def test_cells_on_dressed_and_changed_sets_judge_such_sets_alone():
    for name, forgets in (("dressed", False), ("piece1", False), ("piece4", True)):
        for one in simulate_lives(np.random.SeedSequence(4), variant(name, read_chance=0.4), 3, {SOUND: 5}):
            seg = one.judged.segments
            anew = set(seg.set_index[np.isfinite(seg.restart_mm)].tolist())
            assert anew == set(range(5))
            assert bool(seg.forget.any()) == forgets
    for one in simulate_lives(np.random.SeedSequence(4), variant("lost2", read_chance=0.4), 3, {SOUND: 5}):
        seg = one.judged.segments
        assert seg.load is not None
        assert set(seg.set_index[seg.load == 1.5].tolist()) == set(range(5))


def test_a_mis_keyed_life_differs_by_3_mm_in_one_height():
    counts = {SOUND: 1, "mis_keyed": 3}
    for one in simulate_lives(np.random.SeedSequence(3), variant("base", read_chance=0.4), 3, counts):
        assert one.fault == (SOUND, "mis_keyed", "mis_keyed", "mis_keyed")
        seg = one.judged.segments
        for i in range(1, 4):
            assert np.isfinite(seg.wear_mm[seg.set_index == i]).any()


def test_the_table_has_a_row_for_each_rule_and_counts_its_sets():
    fault = np.array([SOUND] * 4 + list(FAULTS))
    said = {rule: np.arange(len(fault)) % 2 == 1 for rule in RULES}
    lines = list(table({"base3": Found(fault, np.arange(len(fault)) % 2, said, np.ones(2))}))
    assert len(lines) == 4
    assert "| 4 | now | 50.00 (" in lines[2]
    assert "METHODS 1.4" in lines[3]
    assert lines[2].count("of 1 |") == len(FAULTS)
