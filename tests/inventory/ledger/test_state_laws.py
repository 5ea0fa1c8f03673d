"""Laws of the state: what must hold of any ledger at all (DESIGN 3; LEDGER 14 to 19)."""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.ledger.facts import SetFacts, facts_from_json, facts_to_json
from inventory.ledger.line import Line, order_text
from inventory.ledger.state import META_KINDS, REFOLD_KINDS, apply, at_or_before, fold
from inventory.ledger.steps import STEPS
from inventory.models.choices import Kind
from tests.inventory.ledger.draw_lines import ACTS, SET_KINDS, START, ledgers, lines_of_kind

VOIDED_ACTS = st.frozensets(st.integers(0, len(ACTS) - 1).map("act-{}".format), max_size=1)
many = settings(max_examples=150, deadline=None)


def void_of(target: Line, number: int = 90) -> Line:
    """A void of this line in the same ledger, said long after."""
    return Line(
        id=f"void-{number}",
        act=f"void-act-{number}",
        kind="voided",
        at=START + timedelta(days=400),
        device="desk",
        device_seq=number,
        tool_set=target.tool_set,
        void_target=target.id,
    )


def test_every_kind_a_set_can_have_is_drawn_and_has_a_step_or_is_said_of_others() -> None:
    assert set(SET_KINDS) == set(Kind.values) - {"water_read"}
    assert set(STEPS) | META_KINDS == set(Kind.values)


@pytest.mark.parametrize("kind", SET_KINDS)
def test_every_kind_gives_a_state_in_any_ledger(kind: str) -> None:
    @settings(max_examples=20, deadline=None)
    @given(ledgers(6), lines_of_kind(kind, 13, len(ACTS)))
    def law(ledger: list[Line], line: Line) -> None:
        facts = fold([*ledger, line])
        assert facts_from_json(json.loads(json.dumps(facts_to_json(facts)))) == facts

    law()


@many
@given(ledgers(), st.randoms(use_true_random=False), VOIDED_ACTS)
def test_any_order_of_arrival_gives_the_same_state(ledger: list[Line], rng, acts: frozenset[str]) -> None:
    shuffled = list(ledger)
    rng.shuffle(shuffled)
    assert fold(shuffled, voided_acts=acts) == fold(ledger, voided_acts=acts)


@many
@given(ledgers(), st.data())
def test_what_arrives_twice_counts_once(ledger: list[Line], data: st.DataObject) -> None:
    again = data.draw(st.lists(st.sampled_from(ledger))) if ledger else []
    assert fold([*again, *ledger, *again]) == fold(ledger)


@many
@given(ledgers().filter(lambda ledger: any(line.kind != "voided" for line in ledger)), st.data())
def test_a_voided_line_is_as_if_it_had_never_been(ledger: list[Line], data: st.DataObject) -> None:
    target = data.draw(st.sampled_from([line for line in ledger if line.kind != "voided"]))
    gone = {target.id}
    if target.kind == "pieces_changed":
        # Such an act is one thing done to several sets: it goes as a whole.
        gone |= {line.id for line in ledger if line.act == target.act and line.kind not in ("voided", "settled")}
    # Other voids of the same would find nothing to void in the ledger that never had it.
    ledger = [line for line in ledger if line.void_target not in gone]
    never = [line for line in ledger if line.id not in gone]

    assert fold([*ledger, void_of(target)]) == fold(never)
    assert fold([void_of(target), *ledger, void_of(target, 91)]) == fold(never), "two voids equal one"


@many
@given(ledgers(), st.data())
def test_a_void_of_a_void_or_about_another_set_changes_nothing_but_a_flag(
    ledger: list[Line], data: st.DataObject
) -> None:
    if not ledger:
        return
    target = data.draw(st.sampled_from(ledger))
    void = void_of(target)
    if target.kind != "voided":
        void = replace(void, tool_set="set-3")
    with_void, without = fold([*ledger, void]), fold(ledger)

    code = "void_of_void" if target.kind == "voided" else "void_of_another_set"
    assert [void.id, code] in with_void.flags
    with_void.flags.remove([void.id, code])
    assert with_void == without


@many
@given(ledgers(), ledgers(), VOIDED_ACTS)
def test_one_step_after_the_other_equals_the_whole_ledger(
    before: list[Line], after: list[Line], acts: frozenset[str]
) -> None:
    # What comes last and speaks of nothing before it, as the writer takes it live (inventory.actions.keeping).
    last = [
        replace(line, id=f"later-{line.id}", act=f"later-{line.act}", at=line.at + timedelta(days=100))
        for line in after
        if line.kind not in REFOLD_KINDS and not line.held_back
    ]
    last.sort(key=lambda line: line.order)
    live = facts_from_json(json.loads(json.dumps(facts_to_json(fold(before, voided_acts=acts)))))
    for line in last:
        apply(live, line)

    assert live == fold([*before, *last], voided_acts=acts)


@many
@given(ledgers())
def test_the_order_as_text_is_the_order(ledger: list[Line]) -> None:
    assert sorted(ledger, key=order_text) == sorted(ledger, key=lambda line: line.order)


def standing(ledger: list[Line]) -> list[Line]:
    """The lines that count, worked out in another way than the program does: with sets, for ledgers of one set."""
    said = {(line.id, line.void_target) for line in ledger if line.kind == "voided"}
    kind_of = {line.id: line.kind for line in ledger}
    held = {line.id for line in ledger if line.held_back}
    sure = {target for void, target in said if void not in held and kind_of.get(target or "") != "voided"}
    accepted = {
        line.settles_target
        for line in ledger
        if line.kind == "settled" and line.flag_code == "held_back" and line.answer == "accept"
        if line.id not in held and line.id not in sure
    }
    acts = {line.id: line.act for line in ledger}
    voided = sure | {
        target
        for void, target in said
        if void in held and {void, acts[void]} & accepted and kind_of.get(target or "") not in ("voided", "settled")
    }
    whole = {line.act for line in ledger if line.kind == "pieces_changed" and line.id in voided}
    return [
        line
        for line in ledger
        if line.id not in voided
        and not (line.act in whole and line.kind not in ("voided", "settled"))
        and (line.id not in held or {line.id, line.act} & accepted)
    ]


@many
@given(ledgers())
def test_nothing_accepted_is_ever_missing(ledger: list[Line]) -> None:
    ledger = [replace(line, tool_set="set-1") for line in ledger]
    facts = fold(ledger)
    counts = {line.id: line for line in standing(ledger)}

    worked = {line_id: line for line_id, line in counts.items() if line.kind == "worked"}
    kept = {use.entry: use for uses in facts.uses.values() for use in uses}
    assert kept.keys() == worked.keys()
    assert {name: use.area_m2 for name, use in kept.items()} == {
        name: (line.area_m2 or 0) * (line.passes or 0) for name, line in worked.items()
    }
    flagged = {entry for entry, _code in facts.flags}
    voided = {line.void_target for line in counts.values() if line.kind == "voided"}
    for line in ledger:
        whole = any(other.act == line.act and other.id in voided for other in ledger if other.kind == "pieces_changed")
        assert line.id in counts or line.id in voided or whole or line.id in flagged
    codes = {line.code for line in counts.values() if line.kind == "labelled" and not line.label_lost}
    assert {code for code, _at in facts.codes} == codes


@many
@given(ledgers())
def test_of_one_key_only_the_strongest_work_counts(ledger: list[Line]) -> None:
    by_key = defaultdict(list)
    for line in sorted(standing([replace(line, tool_set="set-1") for line in ledger]), key=lambda line: line.order):
        if line.kind == "worked":
            by_key[(line.shift_uuid or line.visit_uuid, line.step_key, line.floor_uuid)].append(line)
    expected = 0.0
    for lines in by_key.values():
        stands_instead = [line for line in lines if line.stands_instead]
        logged = [line for line in lines if line.basis in ("measured", "section_done")]
        planned = [line for line in lines if line.basis == "planned"]
        if stands_instead:
            last = stands_instead[-1]
            later = lines[lines.index(last) + 1 :]
            counted = [line for line in stands_instead if line.act == last.act]
            counted += [line for line in later if line.stands_instead is False]
        else:
            counted = logged or planned or lines
        expected += sum((line.area_m2 or 0) * (line.passes or 0) for line in counted)

    facts = fold([replace(line, tool_set="set-1") for line in ledger])
    assert sum(facts.worked_by_class().values()) == pytest.approx(expected)


@many
@given(ledgers(), st.sampled_from([act["at"] for act in ACTS]))
def test_as_of_an_instant_is_the_ledger_without_what_came_later(ledger: list[Line], at) -> None:
    later = {line.id for line in ledger if line.at > at and line.kind not in META_KINDS}
    expected = fold([line for line in ledger if line.id not in later and line.void_target not in later])
    assert fold(at_or_before(ledger, at)) == expected


# --- LEDGER 16, 17, 19 by example ---


def line(kind: str, minute: int = 0, **columns) -> Line:
    """A line at a minute of the first night."""
    name = columns.pop("id", f"{kind}-{minute}")
    facts: dict[str, Any] = {
        "act": f"act of {name}",
        "device": "desk",
        "device_seq": minute,
        "by": "1",
        "tool_set": "set-1",
    }
    return Line(id=name, kind=kind, at=START + timedelta(minutes=minute), **(facts | columns))


def worked(minute: int, basis: str, area: float, **columns) -> Line:
    """Work of one step of one shift on one floor, one pass."""
    key: dict[str, Any] = {"shift_uuid": "shift", "step_key": "step", "floor_uuid": "floor", "visit_uuid": "visit"}
    floor: dict[str, Any] = {"hardness": "hard", "surface": "raw", "wet_dry": "wet", "step_kind": "later"}
    return line("worked", minute, basis=basis, area_m2=area, passes=1, **(key | floor | columns))


def total(*lines: Line) -> float:
    return sum(fold([line("received", 0), *lines]).worked_by_class().values())


@pytest.mark.parametrize(
    ("lines", "area"),
    [
        ([worked(10, "guessed", 900)], 900),
        ([worked(10, "guessed", 900), worked(20, "planned", 800)], 800),
        ([worked(10, "planned", 800), worked(20, "section_done", 300), worked(30, "section_done", 350)], 650),
        ([worked(20, "measured", 700), worked(10, "guessed", 900)], 700),
        ([worked(10, "guessed", 900), worked(20, "guessed", 500, shift_uuid="next shift")], 1400),
        # Paper that stands instead, of two lines, against a phone that uploads later and one that was there.
        (
            [
                worked(10, "section_done", 300),
                worked(20, "section_done", 250, id="p1", act="paper", stands_instead=True),
                worked(20, "section_done", 150, id="p2", act="paper", stands_instead=True),
                worked(30, "section_done", 500),
            ],
            400,
        ),
        # Paper that adds: beside what is there, and beside an earlier sheet that stood instead.
        ([worked(10, "section_done", 300), worked(20, "section_done", 100, stands_instead=False)], 400),
        (
            [
                worked(10, "section_done", 300),
                worked(20, "section_done", 280, stands_instead=True),
                worked(30, "section_done", 100, stands_instead=False),
            ],
            380,
        ),
        # A second sheet that stands instead stands instead of the first, too.
        (
            [
                worked(20, "section_done", 280, stands_instead=True),
                worked(30, "section_done", 260, stands_instead=True),
            ],
            260,
        ),
    ],
)
def test_work_said_twice_counts_once(lines: list[Line], area: float) -> None:
    assert total(*lines) == area
    assert total(*reversed(lines)) == area


def test_a_guess_answered_and_voided_comes_back_as_the_guess() -> None:
    logged = worked(20, "measured", 700)
    assert total(worked(10, "guessed", 900), logged, void_of(logged)) == 900


def test_five_nights_on_one_floor_are_five_lines_of_one_floor_and_visit() -> None:
    nights = [worked(night * 1440, "section_done", 100, shift_uuid=f"night {night}") for night in range(1, 6)]
    uses = fold([line("received"), *nights]).counted_uses()
    assert {(use.floor, use.visit) for use in uses} == {("floor", "visit")}
    assert sum(use.area_m2 for use in uses) == 500


def at_rack(facts: SetFacts) -> tuple[str | None, str | None]:
    return facts.place_kind, facts.outing


RACK: dict[str, Any] = {"to_place": "rack-1", "to_place_kind": "rack"}


def test_a_set_not_seen_by_a_count_is_missing_only_if_it_was_there_when_the_count_began() -> None:
    put = line("received", 0, branch="1", **RACK)
    unseen = line("counted", 60, seen=False, **RACK)
    out: dict[str, Any] = {"outing": "outing-1", "gate": "not_asked"}
    assert at_rack(fold([put, unseen])) == ("unknown", None)
    # A phone that was offline had scanned it out before the count began: no longer missing once that arrives.
    assert at_rack(fold([put, unseen, line("scanned_out", 50, **out)])) == (None, "outing-1")
    # Scanned out after the count began: the count did not see it while it should have been there; it is out now.
    assert at_rack(fold([put, unseen, line("scanned_out", 70, **out)])) == (None, "outing-1")
    # On another rack when the count began: not this count's business.
    elsewhere = line("moved", 50, to_place="rack-2", to_place_kind="rack")
    assert fold([put, unseen, elsewhere]).place == "rack-2"


def test_a_set_seen_by_a_count_is_here_its_outing_ends_and_that_is_flagged() -> None:
    facts = fold(
        [
            line("received", 0, branch="1", to_place="rack-2", to_place_kind="rack"),
            line("scanned_out", 10, outing="outing-1", gate="passed"),
            line("counted", 60, seen=True, lowest_height_mm=6.0, id="count", **RACK),
        ]
    )
    assert (facts.place, facts.outing, facts.holder_kind, facts.lowest_height_mm) == ("rack-1", None, "shop", 6.0)
    assert facts.flags == [["count", "counted_while_out"]]


def test_a_missing_set_keeps_where_it_last_was_seen() -> None:
    facts = fold(
        [line("received", 0, branch="1", **RACK), line("counted", 60, seen=False, **RACK), line("measured", 90)]
    )
    assert (facts.missing, facts.seen_place) == (True, "rack-1")
    assert facts.flags == [["measured-90", "used_while_missing"]]


def test_two_crews_with_one_set_the_latest_has_it_and_work_counts_for_both() -> None:
    facts = fold(
        [
            line("received", 0, branch="1", **RACK),
            line("scanned_out", 10, outing="outing-1", gate="passed"),
            worked(20, "section_done", 300, outing="outing-1", shift_uuid="one"),
            line("scanned_out", 30, outing="outing-2", gate="passed", id="second"),
            worked(40, "section_done", 200, outing="outing-2", shift_uuid="other"),
        ]
    )
    assert (facts.outing, facts.flags) == ("outing-2", [["second", "taken_by_two"]])
    assert sum(facts.worked_by_class().values()) == 500


def test_a_set_left_in_water_on_site_is_out_of_water_once_it_is_anywhere_else() -> None:
    facts = fold(
        [
            line("received", 0, branch="1", **RACK),
            line("scanned_out", 10, outing="outing-1", gate="passed"),
            line("seen", 500, left_how="in_water"),
            line("scanned_in", 900, **RACK),
        ]
    )
    assert facts.left_how is None
    assert [what for _at, what in facts.wet_moments] == ["in_water", "left_water"]


def test_a_guess_keeps_no_set_wet() -> None:
    assert fold([line("received"), worked(10, "guessed", 900)]).wet_moments == []
    assert fold([line("received"), worked(10, "planned", 900)]).wet_moments != []


def test_a_voided_answer_accepts_nothing() -> None:
    put = line("received", 0, branch="1", **RACK)
    held = line("moved", 10, held_back=True, to_place="rack-2", to_place_kind="rack")
    answer = line("settled", 20, settles_target=held.id, flag_code="held_back", answer="accept")
    assert fold([put, held, answer]).place == "rack-2"
    assert (facts := fold([put, held, answer, void_of(answer)])).place == "rack-1"
    assert facts.open_flags == [[held.id, "held_back"]]


@pytest.mark.parametrize(("place", "kind", "missing"), [("rack-1", "rack", False), ("van-1", "van", True)])
def test_a_set_out_with_a_crew_is_missing_only_where_the_crew_has_it(place: str, kind: str, missing: bool) -> None:
    here: dict[str, Any] = {"to_place": place, "to_place_kind": kind}
    out = line("scanned_out", 10, outing="outing-1", gate="passed", **here)
    facts = fold([line("received", 0, branch="1", **RACK), out, line("counted", 60, seen=False, **here)])
    assert (facts.missing, facts.outing) == (missing, None if missing else "outing-1")
