"""Life left is kept current: one set with its entry, a type after it, everything by `refit`."""

from __future__ import annotations

from io import StringIO
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from inventory.actions import lives as keeping
from inventory.actions.catalogue import save_tool_type
from inventory.actions.ledger import NewLine, NewPiece, void
from inventory.actions.lives import kept_later, refit, refit_due, refit_soon
from inventory.actions.shop import save_setting
from inventory.estimate import all_lives, models, wanting
from inventory.models import LearntFloors, LearntLife, SetState, StoredLife, ToolSet
from inventory.numerics.life import lives
from inventory.numerics.wear_fit import fit
from inventory.shop_settings import ShopSettings, floor_factor, own_factor, settings_of
from tests.cast import NOW, TODAY, hours, make_cast, make_place, make_set, make_type, write
from tests.inventory.test_estimate import wear_out, worked

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def nothing_due() -> Any:
    """What another test left due is not this one's."""
    keeping._due.clear()
    wanting()
    yield
    keeping._due.clear()
    wanting()


def settings(cast: SimpleNamespace) -> ShopSettings:
    return settings_of(cast.branch, today=TODAY)


def kept(tool_set: ToolSet) -> StoredLife:
    return StoredLife.objects.get(pk=tool_set.pk)


def test_an_entry_changes_its_set_at_once_and_a_scan_changes_nothing() -> None:
    cast = make_cast()
    rack = make_place(cast.branch)
    one, other = make_set(cast, make_type(), rack), make_set(cast, make_type(), rack)
    before = kept(one).likely_m2

    worked(cast, one, 2000, 1, 1)

    assert kept(one).likely_m2 < before - 1000
    assert kept(one).wear_stamp == SetState.objects.get(pk=one.pk).wear_stamp
    assert kept(other).likely_m2 == pytest.approx(before)
    row = StoredLife.objects.values().get(pk=one.pk)
    write(cast, NewLine("moved", one, None, {"to_place": make_place(cast.branch)}), at=NOW + hours(2))
    assert StoredLife.objects.values().get(pk=one.pk) == row


@pytest.mark.parametrize("sets", [1, 7])
def test_an_act_asks_as_much_for_many_sets_as_for_one(sets: int, django_assert_num_queries: Any) -> None:
    cast = make_cast()
    rack = make_place(cast.branch)
    known = [make_set(cast, make_type(), rack) for _number in range(sets)]
    heights = [NewLine("measured", one, None, {"lowest_height_mm": 11.0}) for one in known]
    moves = [NewLine("moved", one, None, {"to_place": rack}) for one in known]
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as moving:
        write(cast, *moves, at=NOW + hours(1))
    with CaptureQueriesContext(connection) as reading:
        write(cast, *heights, at=NOW + hours(2))

    # The states are saved one by one; the lives of all sets in four queries: sets, what is kept, count, write.
    assert len(reading) == len(moving) + 4
    stamps = dict(SetState.objects.values_list("pk", "wear_stamp"))
    assert dict(StoredLife.objects.values_list("pk", "wear_stamp")) == stamps


def test_until_the_next_fit_a_set_is_judged_by_the_others_record_and_its_own_exactly() -> None:
    cast = make_cast()
    used = make_set(cast, make_type(), make_place(cast.branch))
    worked(cast, used, 1500, 1, 1)
    for number in range(3):
        wear_out(cast, make_type(), 4000 + 500 * number, 10 + number)
    refit(now=NOW + hours(3))
    worked(cast, used, 1000, 4, 2)
    write(cast, NewLine("measured", used, None, {"lowest_height_mm": 7.9}), at=NOW + hours(5))

    # A fit that never saw this set, and the set as it stands: what leaving it out must come to (METHODS 1.1).
    model = models(settings(cast))[make_type().pk]
    place = model.set_ids.index(used.pk)
    others = [number for number in range(len(model.rows)) if number != place]
    without = fit([model.part(np.array(others))], model.factors).per_type[0]
    assert without is not None
    without = type(without)(**{**vars_of(without), "use_m2": model.fit.use_m2})
    alone = lives(model.part(np.array([place])), without, model.factors, in_fit=False)
    assert kept(used).likely_m2 == pytest.approx(float(alone.likely_m2[0]), rel=1e-6)
    assert kept(used).at_least_m2 == pytest.approx(float(alone.at_least_m2[0]), rel=1e-6)
    assert kept(used).as_fitted is not None
    refit(now=NOW + hours(6), floors=False)
    assert kept(used).as_fitted is None
    assert kept(used).likely_m2 == pytest.approx(float(alone.likely_m2[0]), rel=0.01)


def vars_of(fit: Any) -> dict[str, Any]:
    from dataclasses import fields

    return {field.name: getattr(fit, field.name) for field in fields(fit)}


def test_a_type_is_due_when_a_set_ends_and_after_ten_readings(django_capture_on_commit_callbacks: Any) -> None:
    cast = make_cast()
    used = make_set(cast, make_type(), make_place(cast.branch))
    refit(now=NOW)
    number = LearntLife.objects.get().number
    with django_capture_on_commit_callbacks(execute=True):
        for reading in range(9):
            write(
                cast, NewLine("measured", used, None, {"lowest_height_mm": 11 - reading / 4}), at=NOW + hours(reading)
            )
    assert refit_due(now=NOW) is None
    assert LearntLife.objects.get().readings == 9

    with django_capture_on_commit_callbacks(execute=True):
        write(cast, NewLine("measured", used, None, {"lowest_height_mm": 8.0}), at=NOW + hours(10))
    made = refit_due(now=NOW + hours(10))
    assert made is not None
    assert (made.types, made.sets) == (1, 1)
    assert refit_due(now=NOW) is None
    learnt = LearntLife.objects.get()
    assert (learnt.number, learnt.readings, learnt.fitted_at) == (number + 1, 0, NOW + hours(10))

    with django_capture_on_commit_callbacks(execute=True):
        wear_out(cast, make_type(), 3000, 1, 20)
    assert refit_due(now=NOW + hours(30)) is not None
    assert LearntLife.objects.get().worn_out == 1


def test_what_is_due_is_fitted_after_the_answer_has_gone_out(
    client: Client, django_capture_on_commit_callbacks: Any
) -> None:
    cast = make_cast()
    with django_capture_on_commit_callbacks(execute=True):
        make_set(cast, make_type(), make_place(cast.branch))
    assert LearntLife.objects.get().fitted_at is None
    client.get(reverse("inventory:sign_in"))
    assert LearntLife.objects.get().fitted_at is not None


def test_one_type_fitted_again_is_as_if_all_were(django_capture_on_commit_callbacks: Any) -> None:
    cast = make_cast()
    for grit in ("200", "400"):
        make_set(cast, make_type(grit), make_place(cast.branch))
        wear_out(cast, make_type(grit), 4000, int(grit))
    refit(now=NOW + hours(3), floors=False)
    with django_capture_on_commit_callbacks(execute=True):
        wear_out(cast, make_type("400"), 4100, 1, 5)
    refit_due(now=NOW + hours(9))
    again = {one.pk: one.new_likely_m2 for one in LearntLife.objects.all()}
    refit(now=NOW + hours(9), floors=False)
    # What the bond shares may have moved a little meanwhile.
    assert again == pytest.approx({one.pk: one.new_likely_m2 for one in LearntLife.objects.all()}, rel=0.05)


def test_a_changed_rating_and_a_changed_factor_are_fitted_anew(django_capture_on_commit_callbacks: Any) -> None:
    cast = make_cast()
    used = make_set(cast, make_type(), make_place(cast.branch))
    worked(cast, used, 1000, 1, 1)
    refit(now=NOW + hours(2))
    before = kept(used)
    with django_capture_on_commit_callbacks(execute=True):
        facts = {"rated_coverage_m2": 3000.0}
        save_tool_type(cast.olga, facts, tool_type=make_type(), valid_from=TODAY, now=NOW, sure=True)
    refit_due(now=NOW + hours(3))
    assert kept(used).likely_m2 < 0.6 * before.likely_m2
    assert kept(used).used_m2 == 1000
    with django_capture_on_commit_callbacks(execute=True):
        save_setting(cast.olga, cast.branch, "factor_medium", "2", valid_from=TODAY, now=NOW)
    refit_due(now=NOW + hours(4))
    assert kept(used).used_m2 == 2000


def test_a_button_learns_everything_once_its_answer_has_gone_out(django_capture_on_commit_callbacks: Any) -> None:
    cast = make_cast()
    wear_out(cast, make_type(), 4000, 1)
    with django_capture_on_commit_callbacks(execute=True):
        refit_soon()
    assert not LearntFloors.objects.exists()
    made = refit_due(now=NOW + hours(3))
    assert made is not None
    assert (made.types, LearntFloors.objects.get().sets) == (1, 1)


def test_refit_says_how_far_it_is_and_what_it_left_out() -> None:
    cast = make_cast()
    make_set(cast, make_type("70", "metal", 1, rated_coverage_m2=None), make_place(cast.branch))
    wear_out(cast, make_type(), 4000, 1)
    make_set(cast, make_type(), make_place(cast.branch))
    said = StringIO()

    call_command("refit", stdout=said)

    lines = said.getvalue().splitlines()
    assert lines[:3] == ["floor factors: 0 of 1", "floor factors: 1 of 1", "tool types: 1 of 1"]
    assert lines[3].startswith("1 tool types fitted, the life left of 2 sets worked out; ")
    assert lines[4] == "Without a rating, and none of their bond: metal 70."


def test_refit_of_an_empty_shop_does_nothing() -> None:
    said = StringIO()
    call_command("refit", stdout=said)
    assert "0 tool types fitted" in said.getvalue()


@pytest.mark.parametrize("sets", [1, 9])
def test_refit_asks_as_much_for_many_sets_as_for_one(sets: int, django_assert_max_num_queries: Any) -> None:
    cast = make_cast()
    for _number in range(sets):
        make_set(cast, make_type(), make_place(cast.branch))
    with django_assert_max_num_queries(26):  # fits, lives, and who wears oddly
        refit(now=NOW)


def test_floor_factors_are_learnt_around_the_shops_own_and_everything_goes_by_them() -> None:
    cast = make_cast()
    tool_type = make_type()
    # On soft concrete these sets last half as long as the shop's own factor of 1.3 says.
    for number in range(6):
        on_soft_floors = number % 2 == 0
        tool_set = make_set(cast, tool_type, make_place(cast.branch))
        work = {"hardness": "soft"} if on_soft_floors else {}
        for visit in range(8):
            worked(cast, tool_set, 5400 / 8 / (2.6 if on_soft_floors else 1.0), visit, 10 * number + visit, **work)
        write(cast, NewLine("retired", tool_set, None, {"retired_why": "worn"}), at=NOW + hours(20))
    on_soft = make_set(cast, tool_type, make_place(cast.branch))
    worked(cast, on_soft, 1000, 1, 999, hardness="soft")
    own = settings(cast)
    assert own.floors == {}

    refit(now=NOW + hours(30))

    learnt = settings(cast)
    soft = ("soft", "ground", "wet", "later")
    assert own_factor(learnt, *soft) == 1.3
    assert 1.5 < floor_factor(learnt, *soft) < 2.6
    assert kept(on_soft).used_m2 == pytest.approx(1000 * floor_factor(learnt, *soft))
    floors = LearntFloors.objects.get()
    assert floors.record["soft|any|wet|later"] > 0.3
    assert floors.sets == 7
    # The reference floor is what the others are compared with.
    assert floor_factor(learnt, "medium", "ground", "wet", "later") == 1.0


def test_rebuild_makes_lives_anew_and_gives_what_was_there() -> None:
    cast = make_cast()
    used = make_set(cast, make_type(), make_place(cast.branch))
    worked(cast, used, 1500, 1, 1)
    write(cast, NewLine("measured", used, None, {"lowest_height_mm": 9.0}), at=NOW + hours(2))
    refit(now=NOW + hours(3), floors=False)
    before = all_lives(settings(cast))
    states = list(SetState.objects.values("pk", "wear", "wear_stamp"))
    StoredLife.objects.all().delete()
    LearntLife.objects.all().delete()
    SetState.objects.update(wear={}, wear_stamp="")

    call_command("rebuild", stdout=StringIO())

    assert list(SetState.objects.values("pk", "wear", "wear_stamp")) == states
    assert all_lives(settings(cast)) == before
    call_command("rebuild", "--check", stdout=StringIO())


def test_work_that_arrives_late_counts_where_it_belongs() -> None:
    cast = make_cast()
    one, two = (make_set(cast, make_type(), make_place(cast.branch)) for _number in range(2))
    read = {"lowest_height_mm": 9.0}
    worked(cast, one, 1500, 1, 1)
    write(cast, NewLine("measured", one, None, read), at=NOW + hours(2))
    write(cast, NewLine("measured", two, None, read), at=NOW + hours(2))
    # Read worn though nobody logged work: life goes on from that height, 7 of 10 mm.
    assert kept(two).remaining_share == pytest.approx(0.7, abs=0.01)

    worked(cast, two, 1500, 1, 2)

    assert kept(two).likely_m2 == pytest.approx(kept(one).likely_m2, rel=1e-6)


def test_pieces_changed_say_how_many_came_in_and_begin_the_wear_anew() -> None:
    cast = make_cast()
    rack = make_place(cast.branch)
    one, remnant = make_set(cast, make_type(), rack), make_set(cast, make_type(), rack)
    worked(cast, one, 5000, 1, 1)
    before = kept(one).likely_m2
    pieces = tuple(NewPiece(number, 11.0, remnant, one) for number in (1, 2))
    done = write(
        cast,
        NewLine(
            "pieces_changed",
            one,
            None,
            {"pieces": 3, "lowest_height_mm": 10.5},
            pieces=(NewPiece(3, 10.5, one, one), *pieces),
        ),
        at=NOW + hours(2),
    )
    state = SetState.objects.get(pk=one.pk)
    restart = state.wear["stretches"][-1]["restart"]
    assert (restart["changed"], restart["of"], restart["height_mm"]) == (2, 3, 10.5)
    assert kept(one).likely_m2 > before
    write(cast, void(done.entries[0], "not this set"), at=NOW + hours(3))
    assert kept(one).likely_m2 == pytest.approx(before, rel=1e-6)


def test_sets_that_turn_out_to_be_one_have_one_life() -> None:
    cast = make_cast()
    rack = make_place(cast.branch)
    one, other = make_set(cast, make_type(), rack), make_set(cast, make_type(), rack, at=NOW + hours(1))
    worked(cast, one, 1000, 2, 1)
    worked(cast, other, 2000, 3, 2)
    write(cast, NewLine("same_as", one, None, {"other_set": other}), at=NOW + hours(4))
    answer = all_lives(settings(cast))
    assert set(answer) == {one.pk}
    assert answer[one.pk].used_m2 == 3000
    refit(now=NOW + hours(5))
    assert set(StoredLife.objects.values_list("pk", flat=True)) == {one.pk}


def test_an_import_or_demo_works_lives_out_at_its_end() -> None:
    cast = make_cast()
    with kept_later():
        tool_set = make_set(cast, make_type(), make_place(cast.branch))
        worked(cast, tool_set, 1000, 1, 1)
    assert not StoredLife.objects.exists()
    assert all_lives(settings(cast))[tool_set.pk].used_m2 == 1000
    refit(now=NOW + hours(2))
    assert kept(tool_set).used_m2 == 1000


def test_no_page_fits_anything(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type(), make_place(cast.branch), code="GL-7K2M46")
    refit(now=NOW)

    def refuse(*args: Any, **kwargs: Any) -> Any:
        raise AssertionError("a page fitted something")

    for where in ("inventory.wear_model.fit", "inventory.wear_model.fit_again", "inventory.wear_model.fit_factors"):
        monkeypatch.setattr(where, refuse)
    monkeypatch.setattr("inventory.wear_model.lives", refuse)
    client.force_login(cast.olga)
    for address in (reverse("inventory:rack"), reverse("inventory:toolset", args=[tool_set.pk])):
        assert client.get(address).status_code == 200


def test_a_type_never_fitted_answers_by_its_rating_and_is_due_once_a_page_asked() -> None:
    cast = make_cast()
    with kept_later():
        tool_set = make_set(cast, make_type(), make_place(cast.branch))
        worked(cast, tool_set, 1000, 1, 1)
        for number in range(4):
            wear_out(cast, make_type(), 2000 + 100 * number, 10 + number)
    life = all_lives(settings(cast))[tool_set.pk]
    assert life.worn_out == 0  # nothing was learnt of the four for it
    assert not LearntLife.objects.exists()
    assert refit_due(now=NOW + hours(9)) is not None
    assert LearntLife.objects.get().worn_out == 4
    assert all_lives(settings(cast))[tool_set.pk].likely_m2 < life.likely_m2 - 1000
    assert refit_due(now=NOW + hours(10)) is None


@pytest.mark.parametrize("hostile", ["readings", "dressings"])
def test_a_set_with_thousands_of_readings_stops_nothing(hostile: str) -> None:
    cast = make_cast()
    used = make_set(cast, make_type(), make_place(cast.branch))
    kind, columns = ("measured", {}) if hostile == "readings" else ("dressed", {"dress_medium": "block"})
    lines = [
        NewLine(kind, used, None, {"lowest_height_mm": 12 - number % 90 / 10, **columns}) for number in range(2000)
    ]
    write(cast, *lines, at=NOW + hours(1))
    worked(cast, used, 500, 2, 1)
    refit(now=NOW + hours(3))
    life = all_lives(settings(cast))[used.pk]
    assert 0 <= life.at_least_m2 <= life.likely_m2 <= life.up_to_m2 < 10**6
