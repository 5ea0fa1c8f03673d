"""The parts of the table of what heights are worth."""

import numpy as np
import pytest

from inventory.numerics.wear import check_record
from tests.simulated.measuring import Cases, loss, policies, table, with_heights
from tests.simulated.records import wear_record
from tests.simulated.scenarios import shop_seed, variant
from tests.simulated.shops import simulate


def test_a_dead_set_costs_nine_and_a_wasted_one_one():
    chance = np.array([0.95, 0.95, 0.5, 0.5])
    finishes = np.array([True, False, True, False])
    assert loss(chance, finishes).round(9).tolist() == [0.0, 9.0, 1.0, 0.0]


def test_each_set_gets_its_height_last():
    story = simulate(shop_seed(1, 3, 0), variant("base"), 3).types[0]
    record = wear_record(story)
    sets = np.array(story.running)
    more = with_heights(record, sets, np.full(sets.size, 5.0))
    check_record(more)
    assert more.segments.area_m2.sum() == pytest.approx(record.segments.area_m2.sum(), rel=1e-12)
    last = np.searchsorted(more.segments.set_index, sets, side="right") - 1
    assert more.segments.wear_mm[last].tolist() == [5.0] * sets.size
    assert more.segments.wear_mm.size == record.segments.wear_mm.size + sets.size


def test_the_table_adds_up_what_each_policy_saves():
    cases = Cases(
        shop=np.array([0, 0, 1, 1, 1]),
        value=np.array([0.5, 0.0, 0.02, 0.0, 0.0]),
        width=np.array([0.1, 0.9, 0.1, 0.1, 0.1]),
        without=np.array([9.0, 0.0, 1.0, 0.0, 0.0]),
        after=np.array([0.0, 1.0, 0.0, 0.0, 0.0]),
    )
    read = policies(cases)
    assert read["value"].tolist() == [True, False, False, False, False]
    assert read["width"].tolist() == [False, True, False, False, False]
    assert read["asked"].tolist() == [True, False, True, False, False]
    rows = [line.split("|")[1:4] for line in table(cases)[2:]]
    assert [(row[0].strip(), row[1].strip(), float(row[2].split()[0])) for row in rows] == [
        ("all sets", "100", 180.0),
        ("top fifth by value", "20", 180.0),
        ("widest fifth", "20", -20.0),
        ("those asked for", "40", 200.0),
    ]
