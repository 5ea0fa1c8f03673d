"""Life and chance of a few sets are what the estimate says of them among all."""

from __future__ import annotations

import pytest

from inventory import estimate
from inventory.queries.finishing import chance_for, lives_of
from inventory.shop_settings import settings_of
from tests.cast import NOW, TODAY, make_cast, make_set, make_type

pytestmark = pytest.mark.django_db


def test_one_set_asked_alone_has_the_life_it_has_among_all() -> None:
    cast = make_cast()
    sets = [make_set(cast, make_type("400")) for _number in range(4)]
    settings = settings_of(cast.branch, today=TODAY)
    everyone = estimate.lives(estimate.records(settings))
    assert lives_of(sets[:1], cast.branch, NOW) == {sets[0].pk: everyone[sets[0].pk]}


def test_two_sets_finish_more_than_one_and_no_question_has_no_answer() -> None:
    cast = make_cast()
    one, two = (make_set(cast, make_type("400")) for _number in range(2))
    alone = chance_for([one], 8000.0, cast.branch, NOW)
    both = chance_for([one, two], 8000.0, cast.branch, NOW)
    assert alone is not None
    assert both is not None
    assert alone < both
    assert chance_for([one], None, cast.branch, NOW) is None
    assert chance_for([], 8000.0, cast.branch, NOW) is None


def test_a_type_without_any_rating_says_nothing() -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type("70", "metal", 1, rated_coverage_m2=None))
    assert chance_for([tool_set], 10.0, cast.branch, NOW) is None
    assert lives_of([tool_set], cast.branch, NOW) == {}
