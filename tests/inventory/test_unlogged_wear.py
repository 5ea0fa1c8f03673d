"""A height that fell without work to fall by: believed, shown, asked about, judged, and settled by a later one.

That work was done and not logged is our assumption; no source outside.
"""

from __future__ import annotations

from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from inventory.actions import alarms
from inventory.actions.lives import refit, shop_settings
from inventory.actions.measure import HeightDoubted, Heights, measure
from inventory.estimate import all_lives
from inventory.ledger.line import Line
from inventory.life_curve import curve_rows
from inventory.life_record import curve_facts, model_of_set
from inventory.models import OddWear, SetState, ToolSet
from inventory.numerics.life import Lives, lives
from inventory.numerics.wear import FloorFactors
from inventory.numerics.wear_fit import fit
from inventory.numerics.wear_path import rate_range, wear_path
from inventory.shop_settings import settings_of
from inventory.units import Amount
from inventory.wear_rows import FELL, PASSED_OVER, falls_without_work, heights_doubted, scale_of
from tests.cast import NOW, TODAY, hours, make_cast, make_place, make_set, make_type, who
from tests.inventory.ledger.test_wear import BORN, line, worked
from tests.inventory.test_estimate import worked as logs
from tests.inventory.test_wear_rows import record, row_of, tool_type

KIND = tool_type()  # 12 mm new, 2 mm at the end, rated 6,000 m2: 1 mm for 600 m2


def read(hour: float, height_mm: float) -> Line:
    return line("measured", hour, lowest_height_mm=height_mm)


def seen(*lines: Line) -> dict[str, str]:
    """By height read, what is thought of it."""
    wear = row_of(*lines).wear
    doubted = heights_doubted(KIND, wear, scale_of(KIND))
    return {f"{one['read_mm']:g}": doubted[one["entry"]] for one in wear["stretches"] if one["entry"] in doubted}


def life(*lines: Line) -> tuple[Lives, float, tuple[float, float, float]]:
    """Life left of a set in a type nothing else is known of; its likely height; its rate: at least, likely, up to."""
    one = record(row_of(*lines))
    factors = FloorFactors.of_shop(one.classes, np.ones(len(one.classes)))
    fitted = fit([record()], factors).per_type[0]
    assert fitted is not None
    known = lives(one, fitted, factors, in_fit=False)
    path = wear_path(one, fitted, factors, in_fit=False)
    return known, 12.0 - float(path.wear_mm[-1, 1]), rate_range(known)


@pytest.mark.parametrize("since", [(), (worked(3, 40.0, visit_uuid="later"),)])
def test_the_newest_height_holds_where_no_work_or_hardly_any_could_wear_it_down(since: tuple[Line, ...]) -> None:
    lines = [BORN, worked(1, 1200.0), read(2, 10.0), *since, read(4, 5.0)]
    _known, height, _rate = life(*lines)
    assert height == pytest.approx(5.0, abs=0.1)  # halfway between the two heights before: 7.5
    assert seen(*lines) == {"5": FELL}


def test_such_a_fall_says_nothing_of_the_rate() -> None:
    lines = [BORN, worked(1, 1200.0), read(2, 10.0)]
    _known, _height, before = life(*lines)
    _known, _height, after = life(*lines, worked(3, 40.0, visit_uuid="later"), read(4, 5.0))
    # Only "it still runs at 5 mm" is new; taken for wear of 40 m2 it would be more than 70 times the rating.
    assert after == pytest.approx(before, rel=0.03)


def test_a_fall_that_the_logged_work_may_explain_is_wear() -> None:
    assert seen(BORN, worked(1, 1200.0), read(2, 10.0), worked(3, 300.0, visit_uuid="later"), read(4, 7.0)) == {}
    # Two heights of one calliper differ by less than three errors.
    assert seen(BORN, worked(1, 1200.0), read(2, 10.0), read(3, 9.0)) == {}


def test_a_later_height_that_rises_again_shows_that_the_fall_was_keyed_wrong() -> None:
    lines = [BORN, worked(1, 1200.0), read(2, 10.0), read(3, 5.0), read(4, 9.9)]
    assert seen(*lines) == {"5": PASSED_OVER}
    assert life(*lines)[1] == pytest.approx(life(*lines[:3], read(4, 9.9))[1], abs=1e-6)
    # And if that one was wrong after all, the newest holds again.
    assert life(*lines, read(5, 5.1))[1] == pytest.approx(5.1, abs=0.1)


def test_a_height_after_a_dressing_or_new_pieces_is_held_against_that_start() -> None:
    dressed = line("dressed", 3, before_height_mm=10.0, lowest_height_mm=8.6)
    assert seen(BORN, worked(1, 1200.0), read(2, 10.0), dressed, read(4, 8.5)) == {}
    assert seen(BORN, worked(1, 1200.0), read(2, 10.0), dressed, read(4, 4.0)) == {"4": FELL}


def test_a_type_rated_in_the_wrong_unit_still_learns_from_its_heights() -> None:
    # 6,000 square feet typed as square metres: every height falls 10.8 times as fast as the rating says.
    rate = 10.764 / 600
    lines, wear = [BORN], 0.0
    for number in range(1, 9):
        wear += rate * 60
        lines += [worked(2 * number, 60.0, visit_uuid=f"visit {number}"), read(2 * number + 1, 12.0 - wear)]
    assert seen(*lines) == {}


def test_without_a_rating_only_no_work_at_all_is_too_little() -> None:
    bare = tool_type(rated_coverage_m2=None)
    lines = [BORN, worked(1, 1200.0), read(2, 10.0)]
    assert falls_without_work(bare, row_of(*lines).wear, 5.0)
    assert not falls_without_work(bare, row_of(*lines, worked(3, 1.0, visit_uuid="later")).wear, 5.0)


# --- with a shop around it ---


@pytest.fixture
def world(db: Any) -> SimpleNamespace:
    cast = make_cast()
    used = make_set(cast, make_type(), make_place(cast.branch))
    logs(cast, used, 1000, 1, 1)
    return SimpleNamespace(cast=cast, used=used)


def take(world: SimpleNamespace, height_mm: float, hour: float, **more: Any) -> None:
    heights = Heights((Amount(height_mm, Decimal(str(height_mm)), "mm"),), **more)
    at = NOW + hours(hour)
    measure(who(world.cast.ines, world.cast.device, at), world.cast.branch, world.used, heights, now=at)


def state_of(tool_set: ToolSet) -> SetState:
    return SetState.objects.select_related("tool_set__tool_type").get(pk=tool_set.pk)


def test_a_height_that_fell_without_work_is_asked_about_and_kept_when_it_is_right(world: SimpleNamespace) -> None:
    take(world, 10.5, 2)
    with pytest.raises(HeightDoubted, match="work logged since cannot have worn so much") as asked:
        take(world, 5.0, 3)
    assert "log the work that is missing" in asked.value.next_step
    assert state_of(world.used).lowest_height_mm == 10.5
    take(world, 5.0, 3, sure=True)
    assert state_of(world.used).lowest_height_mm == 5.0
    take(world, 4.9, 4)  # the next one is held against it


def test_the_likely_height_the_curve_and_the_life_left_agree_with_the_height_shown(world: SimpleNamespace) -> None:
    take(world, 10.5, 2)
    refit(now=NOW + hours(2))
    before = all_lives(settings_of(world.cast.branch, today=TODAY))[world.used.pk]
    take(world, 5.0, 3, sure=True)
    settings = settings_of(world.cast.branch, today=TODAY)
    state, now = state_of(world.used), all_lives(settings)[world.used.pk]
    model = model_of_set(state, settings)
    assert model is not None
    facts = curve_facts(state, model, now, (3, 6), None)
    assert facts is not None
    assert facts.now.likely_mm == pytest.approx(5.0, abs=0.1)
    assert [(step.why, step.after_mm) for step in facts.steps] == [("unlogged", 5.0)]
    assert "work not logged" in {words for *_numbers, words in curve_rows(facts, "metric")}
    assert now.likely_m2 < 0.5 * before.likely_m2


def test_it_wears_oddly_until_a_second_height_bears_it_out(world: SimpleNamespace) -> None:
    take(world, 10.5, 2)
    take(world, 5.0, 3, sure=True)
    refit(now=NOW + hours(4))
    assert OddWear.objects.get().tool_set_id == world.used.pk
    take(world, 5.1, 5)
    refit(now=NOW + hours(6))
    assert not OddWear.objects.exists()


def test_work_logged_late_that_explains_a_height_settles_it_at_once(
    world: SimpleNamespace, django_capture_on_commit_callbacks: Any
) -> None:
    take(world, 10.5, 2)
    take(world, 5.0, 9, sure=True)
    refit(now=NOW + hours(10))
    assert OddWear.objects.exists()
    with django_capture_on_commit_callbacks(execute=True):
        logs(world.cast, world.used, 2700, 5, 2)  # worked before the height, written down after it
    now = NOW + hours(11)
    assert alarms.any_due()
    alarms.judge_due(shop_settings(now), now=now)
    assert not OddWear.objects.exists()
