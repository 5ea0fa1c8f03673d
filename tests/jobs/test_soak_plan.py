"""The soak plan: every dry set is answered, tubs never overfill, and the gate lets the planned sets out.

Rules of DESIGN 4 and METHODS 4; their hours are common practice or our assumption, no source.
"""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.calendar import ShopCalendar, is_staffed
from inventory.ledger.conditioning import conditioned_for
from inventory.ledger.soak_facts import Confirmation, Recipe, SoakFacts, SoakSettings, Spell, TubFacts
from jobs.numerics.soak_plan import plan_soaks
from jobs.numerics.soak_plan_facts import DrySet, Lying, Mend, Tub, WetSet
from jobs.numerics.soak_put_in import planned_readings

EXAMPLE = Recipe(72, 31, (130 - 32) * 5 / 9)  # METHODS 4; U8: 54.444 C
COLD = Recipe(72)
SHOP = SoakSettings()
WEEK = ShopCalendar("UTC", dict.fromkeys(range(5), ((time(7), time(17)),)))
MONDAY = datetime(2026, 11, 23, tzinfo=UTC)


def at(day, hour, minute=0):
    return MONDAY + timedelta(days=day, hours=hour, minutes=minute)


NOW = at(0, 8)
FRIDAY_NIGHT = at(4, 20)


def want(key, starts=FRIDAY_NIGHT, recipe=EXAMPLE, **said):
    return DrySet(key, recipe, starts, **said)


ONE_TUB = (Tub("tub 1", 2),)


def plan(*wants, tubs=ONE_TUB, now=NOW, **said):
    return plan_soaks(wants, tubs, WEEK, SHOP, now, **said)


def told(made):
    return [(line.key, line.tub, line.put_in_at, line.kind, line.rule) for line in made.lines]


def test_a_set_goes_in_at_the_last_staffed_hour_that_does():
    line = plan(want("resin 50")).lines[0]

    assert (line.tub, line.put_in_at, line.ready_at) == ("tub 1", at(1, 17), at(4, 17))
    # Loading takes 2 h before the start.
    assert (line.take_out_at, line.leaves_at, line.starts_at) == (at(4, 18), at(4, 18), FRIDAY_NIGHT)
    assert (line.kind, line.rule, line.read_at) == ("cold", "cold", ())
    assert (line.must_carry_in_water, line.scald_s) == (False, None)


def test_travel_is_taken_off_carried_in_water_or_not():
    # Moving a set out of its tub ends its soak: a bucket on the way earns nothing (DESIGN 4).
    dry, wet = (plan(want("a", travel_h=3, carried_in_water=carried)).lines[0] for carried in (False, True))

    assert dry.leaves_at == wet.leaves_at == at(4, 15)
    assert dry.put_in_at == wet.put_in_at == at(1, 15)


def test_a_way_longer_than_the_dry_out_needs_water_along():
    short = Recipe(24, dry_out_hours=4)
    far = plan(want("a", recipe=short, travel_h=2.5)).lines[0]

    assert far.must_carry_in_water
    assert not plan(want("a", recipe=short, travel_h=2)).lines[0].must_carry_in_water


def test_without_room_the_hot_recipe_comes_first_where_a_tub_can_be_read():
    tubs = (Tub("cold", 1), Tub("hot", 1, hot=True))
    made = plan(want("a"), want("b"), want("c"), tubs=(*tubs, Tub("hot 2", 1, hot=True)))

    # The third cold one finds the heated tubs' room as well: they hold cold soaks too.
    assert [line.rule for line in made.lines] == ["cold"] * 3
    busy = Lying("old", "cold", leaves_at=at(2, 8))
    made = plan(want("a"), tubs=tubs, lying=(busy, Lying("older", "hot", leaves_at=at(2, 8))))
    assert told(made) == [("a", "hot", at(2, 14), "hot", "hot_no_room")]
    assert made.lines[0].scald_s == 30  # REFERENCES S5: 130 F, 30 s
    assert made.lines[0].read_at[-1] == at(4, 17)


def test_too_late_for_cold_it_goes_hot_where_a_tub_can_be_read():
    made = plan(want("a"), tubs=(Tub("cold", 4), Tub("hot", 1, hot=True)), now=at(2, 8))

    assert told(made) == [("a", "hot", at(2, 14), "hot", "hot_in_time")]


def test_a_tub_on_a_thermostat_leaves_more_time():
    made = plan(want("a"), tubs=(Tub("hot", 1, hot=True, thermostat=True),), now=at(3, 8))

    assert told(made) == [("a", "hot", at(3, 10), "hot", "hot_in_time")]


def test_a_wet_set_stands_in_and_those_of_cancelled_jobs_go_first():
    wet = (
        WetSet("other size", frozenset({"b"})),
        WetSet("dries too soon", frozenset({"a"}), wet_until=at(4, 19)),
        WetSet("on the rack", frozenset({"a"}), wet_until=FRIDAY_NIGHT),
        WetSet("meant for another", frozenset({"a"}), reserved=True),
        WetSet("of a cancelled job", frozenset({"a", "b"}), cancelled=True),
    )
    made = plan(want("a"), now=at(3, 8), wet_sets=wet)
    assert [(one.key, one.wet_set, one.cancelled) for one in made.instead] == [("a", "of a cancelled job", True)]
    assert made.late == ()

    both = plan(want("a"), want("b"), now=at(3, 8), wet_sets=wet[1:])
    assert [(one.key, one.wet_set) for one in both.instead] == [("a", "of a cancelled job")]
    assert [(one.key, one.mends[0]) for one in both.late] == [("b", Mend("leave_later", at(6, 8), None))]


def test_a_set_that_is_ready_and_stays_wet_makes_room():
    # It lies until Friday 18:00 and is ready since Monday; out on Tuesday 17:00 it dries on Wednesday 17:00: too soon.
    # With 100 h of dry-out it reaches its start.
    there = Lying("old", "tub 1", at(4, 18), ready_at=at(0, 9), starts_at=at(4, 20))
    one_slot = (Tub("tub 1", 1),)

    made = plan(want("a", recipe=COLD), tubs=one_slot, lying=(replace(there, dry_out_h=100),))
    assert told(made) == [("a", "tub 1", at(1, 17), "cold", "another_out_earlier")]
    assert [(one.key, one.take_out_at, one.instead_of) for one in made.early_outs] == [("old", at(1, 17), at(4, 18))]

    refused = plan(want("a", recipe=COLD), tubs=one_slot, lying=(there,))
    assert refused.lines == refused.early_outs == ()
    assert [(one.key, one.why) for one in refused.late] == [("a", "no_room")]
    assert refused.late[0].mends == (Mend("find_room", at(1, 17), None),)


def test_a_set_that_only_waits_for_somebody_is_left_in_its_tub():
    unknown = Lying("old", "tub 1")

    made = plan(want("a", recipe=COLD), tubs=(Tub("tub 1", 1),), lying=(unknown,))

    assert [(one.key, one.why) for one in made.late] == [("a", "no_room")]


def test_a_hot_soak_is_not_taken_out_before_it_was_read_at_its_end():
    # Full on Thursday 21:00 with nobody there, read on Friday 8:00; "b" would go in at 7:40.
    half_past = ShopCalendar("UTC", dict.fromkeys(range(5), ((time(7, 30), time(17)),)))
    hot = want("a", starts=at(4, 10), recipe=Recipe(None, 12, 50.0))
    cold = want("b", starts=at(5, 9, 40), recipe=Recipe(24, dry_out_hours=1))

    made = plan_soaks((hot, cold), (Tub("hot", 1, hot=True),), half_past, SHOP, NOW)

    assert told(made) == [("a", "hot", at(3, 9), "hot", "hot_in_time")]
    assert (made.lines[0].ready_at, made.lines[0].read_at[-1]) == (at(3, 21), at(4, 8))
    assert [(one.key, one.why, one.mends) for one in made.late] == [
        ("b", "no_room", (Mend("find_room", at(4, 7, 40), None),))
    ]


def test_a_set_may_soak_earlier_and_come_out_before_the_tub_fills():
    slow = Recipe(48, dry_out_hours=24)
    later = want("later", starts=at(8, 20), recipe=Recipe(24))
    early = want("early", starts=at(8, 20), recipe=slow)
    # "early" lies from Friday 17:00 (48 h before Tuesday 18:00 is a Sunday), and out on Monday it would be dry on
    # Tuesday night. "later", due in on Monday 17:00, could soak before Friday, but is dry by Saturday.
    old = Lying("old", "tub 1", leaves_at=at(9, 8))
    made = plan(early, later, tubs=(Tub("tub 1", 1), Tub("tub 2", 1)), lying=(old,))
    assert [(line.key, line.tub, line.rule) for line in made.lines] == [("early", "tub 2", "cold")]
    assert [(one.key, one.why) for one in made.late] == [("later", "no_room")]

    longer = replace(later, recipe=Recipe(24, dry_out_hours=200))
    made = plan(early, longer, tubs=(Tub("tub 1", 1), Tub("tub 2", 1)), lying=(old,))
    assert [(line.key, line.tub, line.rule, line.take_out_at) for line in made.lines] == [
        ("later", "tub 2", "soaked_earlier", at(4, 17)),
        ("early", "tub 2", "cold", at(8, 18)),
    ]


def test_what_is_late_says_the_missing_hours_and_what_can_still_be_done():
    wet = (WetSet("meant for another", frozenset({"a"}), reserved=True),)
    late = plan(want("a"), now=at(2, 8), wet_sets=wet).late[0]

    # From Wednesday 8:00 to Friday 18:00 are 58 h of 72.
    assert (late.why, late.missing_hours_cold) == ("no_time", 14)
    assert (late.next_put_in_at, late.ready_at) == (at(2, 8), at(5, 8))
    assert late.missing_hours_hot == 0  # a heated tub would still do
    assert late.mends == (
        Mend("heat_a_tub", at(2, 8), None),
        Mend("hand_over", None, "meant for another"),
        Mend("leave_later", at(5, 8), None),
    )
    later = plan(want("a"), now=at(3, 8)).late[0]
    # Thursday 8 to 21 and Friday 7 to 18 are 24 h of 31.
    assert (later.missing_hours_cold, later.missing_hours_hot) == (38, 7)
    assert [mend.code for mend in later.mends] == ["leave_later"]


@pytest.mark.parametrize(
    ("wants", "tubs", "now", "why"),
    [
        ([want("a", slots=3)], (Tub("tub 1", 2), Tub("tub 2", 1)), NOW, "tub_too_small"),
        ([want("a")], (), NOW, "no_tub"),
        ([want("a", starts=at(6, 20))], (Tub("tub 1", 2),), at(5, 8), "no_staffed_hour"),
        ([want("a", starts=at(0, 9))], (Tub("tub 1", 2),), NOW, "leaves_already"),
    ],
)
def test_what_no_water_can_help_says_why(wants, tubs, now, why):
    made = plan(*wants, tubs=tubs, now=now)

    assert [one.why for one in made.late] == [why]
    assert made.lines == ()


def test_a_set_that_nobody_can_soak_any_more_may_have_a_stand_in():
    made = plan(want("a", starts=at(0, 9)), wet_sets=(WetSet("wet", frozenset({"a"})),))

    assert ([one.wet_set for one in made.instead], made.late) == (["wet"], ())


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (
            lambda: plan(want("a", starts=at(0, 8))),
            "`starts_at` of 'a' must lie after 2026-11-23 08:00; got 2026-11-23 08:00",
        ),
        (lambda: plan(want("a"), want("a")), "`dry_sets` must name each once; got 'a' twice"),
        (lambda: plan(want("a"), tubs=(Tub("t", 1), Tub("t", 2))), "`tubs` must name each once; got 't' twice"),
        (lambda: plan(lying=(Lying("old", "gone"),)), "`tub` of 'old' must be one of `tubs`; got 'gone'"),
        (lambda: plan(want("a"), loading_hours=-1), "`loading_hours` must be 0 or more; got -1"),
        (lambda: plan(now=datetime(2026, 11, 23)), "`now` must carry a time zone"),
        (lambda: Tub("t", 0), "`slots` of tub 't' must be 1 or more; got 0"),
        (lambda: want("a", travel_h=-2), "`travel_h` of 'a' must be 0 h or more; got -2"),
        (lambda: want("a", starts=datetime(2026, 11, 27, 20)), "no time zone"),
    ],
)
def test_what_cannot_be_planned_is_refused_by_name_and_value(make, words):
    with pytest.raises(ValueError) as caught:
        make()
    assert words in str(caught.value)


# --- laws ---

RECIPES = [
    Recipe(24, dry_out_hours=24),
    Recipe(72, 31, 54.4),
    Recipe(48, 12, 50.0, mixed_credit=True, dry_out_hours=60),
    Recipe(30, dry_out_hours=6),
]


@st.composite
def shops(draw):
    wants = [
        DrySet(
            f"set {number}",
            draw(st.sampled_from(RECIPES)),
            at(draw(st.integers(1, 8)), draw(st.sampled_from([6, 14, 20, 22]))),
            draw(st.sampled_from([0.0, 1.5, 5.0])),
            draw(st.booleans()),
            draw(st.sampled_from([1, 1, 1, 2])),
        )
        for number in range(draw(st.integers(1, 7)))
    ]
    tubs = [
        Tub(f"tub {number}", draw(st.integers(1, 3)), draw(st.booleans()), draw(st.booleans()))
        for number in range(draw(st.integers(1, 3)))
    ]
    lying = [
        Lying(
            f"old {number}",
            draw(st.sampled_from(tubs)).key,
            draw(st.sampled_from([None, at(1, 15), at(3, 18)])),
            draw(st.sampled_from([None, at(0, 9)])),
            draw(st.sampled_from([None, at(3, 20)])),
            draw(st.sampled_from([24.0, 80.0])),
        )
        for number in range(draw(st.integers(0, 2)))
    ]
    return wants, tubs, lying


@settings(max_examples=80, deadline=None)
@given(shop=shops())
def test_every_set_is_answered_once_and_the_gate_lets_out_what_was_planned(shop):
    wants, tubs, lying = shop
    made = plan_soaks(wants, tubs, WEEK, SHOP, NOW, lying=lying)
    by_key = {one.key: one for one in wants}

    answered = [line.key for line in made.lines] + [one.key for one in made.late]
    assert sorted(answered) == sorted(by_key)
    for line in made.lines:
        one, tub = by_key[line.key], next(tub for tub in tubs if tub.key == line.tub)
        assert NOW <= line.put_in_at < line.ready_at <= line.take_out_at <= line.leaves_at
        assert is_staffed(WEEK, line.put_in_at)
        assert line.take_out_at == line.leaves_at or is_staffed(WEEK, line.take_out_at)
        assert not line.read_at or tub.hot
        # The gate's own question, about the facts this plan will have made: put in, read, taken out, confirmed.
        readings = planned_readings(WEEK, one.recipe, line.put_in_at, line.leaves_at) if line.read_at else ()
        kept = tuple(reading for reading in readings if reading.at in line.read_at)
        facts = SoakFacts((Spell(tub.key, line.put_in_at, line.take_out_at),), (Confirmation(line.take_out_at),))
        gate = conditioned_for(
            facts,
            {tub.key: TubFacts(kept, tub.thermostat)},
            one.recipe,
            SHOP,
            leaves_at=line.leaves_at,
            starts_at=line.starts_at,
            carried_in_water=one.carried_in_water or line.must_carry_in_water,
        )
        assert gate.passes, (line, gate.why)


@settings(max_examples=80, deadline=None)
@given(shop=shops())
def test_no_tub_ever_holds_more_than_it_can(shop):
    wants, tubs, lying = shop
    made = plan_soaks(wants, tubs, WEEK, SHOP, NOW, lying=lying)
    slots = {one.key: one.slots for one in wants}
    out = {one.key: one.take_out_at for one in made.early_outs}

    for tub in tubs:
        if sum(one.slots for one in lying if one.tub == tub.key) > tub.slots:
            continue  # it was too full before anything was planned
        for quarter in range(4 * 24 * 9):
            moment = NOW + timedelta(minutes=15 * quarter + 7)
            there = sum(
                slots[line.key]
                for line in made.lines
                if line.tub == tub.key and line.put_in_at <= moment < line.take_out_at
            )
            there += sum(
                one.slots
                for one in lying
                if one.tub == tub.key and (one.leaves_at is None or moment < out.get(one.key, one.leaves_at))
            )
            assert there <= tub.slots


@settings(max_examples=60, deadline=None)
@given(
    starts=st.lists(st.integers(4 * 24, 8 * 24), min_size=1, max_size=8),
    hours=st.lists(st.integers(5, 60), min_size=8, max_size=8),
    rooms=st.lists(st.integers(1, 2), min_size=1, max_size=3),
)
def test_cold_soaks_all_find_room_if_never_more_lie_than_there_are_slots(starts, hours, rooms):
    always = ShopCalendar("UTC", dict.fromkeys(range(7), ((time(0), time(0)),)))
    wants = [
        DrySet(f"set {number}", Recipe(long, dry_out_hours=2), at(0, start))
        for number, (start, long) in enumerate(zip(starts, hours, strict=False))
    ]
    made = plan_soaks(wants, [Tub(f"tub {k}", room) for k, room in enumerate(rooms)], always, SHOP, NOW)

    spans = [(start - 2 - long, start - 2) for start, long in zip(starts, hours, strict=False)]
    most = max(sum(1 for begun, ended in spans if begun <= hour < ended) for hour in range(200))
    if most <= sum(rooms):
        assert [line.rule for line in made.lines] == ["cold"] * len(wants)
        assert made.late == ()
    else:
        assert made.late or made.early_outs or any(line.rule != "cold" for line in made.lines)
