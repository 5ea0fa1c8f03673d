"""The table of entry kinds and states in DEVELOPERS.md says what the state function does, cell by cell."""

from __future__ import annotations

import pytest

from inventory.ledger.state import fold
from tests.inventory.ledger.table import DEVELOPERS, ENTRIES, STATES, put_into, result, table, table_in


def rows_in_developers() -> dict[str, list[str]]:
    """The table's rows in DEVELOPERS.md by their first cell."""
    rows = {}
    for line in table_in(DEVELOPERS.read_text(encoding="utf-8")).splitlines():
        if line.startswith("|"):
            name, *cells = [cell.strip() for cell in line.strip("|").split("|")]
            rows[name] = cells
    return rows


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry[1])
def test_the_cell_in_the_docs_says_what_happens(entry, state: str) -> None:
    rows = rows_in_developers()
    assert rows["entry"] == list(STATES)
    assert rows[entry[1]][list(STATES).index(state)] == result(state, entry)


def test_the_docs_hold_this_table_and_no_other_row() -> None:
    text = DEVELOPERS.read_text(encoding="utf-8")
    assert table_in(text) == table(), "python -m tests.inventory.ledger.table --write puts the new one there"
    assert put_into(text) == text


def test_the_states_are_what_they_are_called() -> None:
    facts = {name: fold(lines) for name, lines in STATES.items()}
    assert [name for name, one in facts.items() if not one.born] == ["not known yet"]
    assert [name for name, one in facts.items() if one.outing] == ["out", "in the bucket, out"]
    assert [name for name, one in facts.items() if one.soaking] == ["soaking"]
    assert [name for name, one in facts.items() if one.confirmed] == ["after soak"]
    assert [name for name, one in facts.items() if one.missing] == ["missing"]
    assert {name: one.fitness for name, one in facts.items() if one.fitness != "usable"} == {
        "set aside": "set_aside",
        "retired": "retired",
    }
    assert not any(one.flags for one in facts.values())


# What DESIGN 3 and 4 say of some cells, written down by hand: the table must not drift from the rules.
@pytest.mark.parametrize(
    ("entry", "state", "said"),
    [
        ("scanned out, gate passed", "out", "out tomorrow; ! taken_by_two"),
        ("scanned out, gate not asked", "on the rack", "out tomorrow; in the van; ! gate_not_asked"),
        ("moved to the other rack", "soaking", "in the other rack; out of the water"),
        ("counted here, not seen", "on the rack", "missing"),
        ("counted here, not seen", "out", "–"),
        ("counted here, seen", "out", "outing ends; in the rack; ! counted_while_out"),
        ("set aside", "retired", "! set_aside_while_retired"),
        ("cleared", "set aside", "usable"),
        ("found on the other rack", "missing", "in the other rack"),
        ("voided: the newest entry", "missing", "in the rack"),
        ("voided: nothing known", "on the rack", "! void_target_missing"),
        ("trouble: lost", "out", "outing ends; missing"),
        ("received", "on the rack", "! received_twice"),
        ("worked, section done", "not known yet", "work; ! before_received"),
        ("pieces changed, two left", "on the rack", "2 pieces"),
    ],
)
def test_the_rules_hold_in_the_table(entry: str, state: str, said: str) -> None:
    assert result(state, next(one for one in ENTRIES if one[1] == entry)) == said
