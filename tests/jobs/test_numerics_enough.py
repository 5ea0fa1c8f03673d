"""Yes, tight, no: thresholds and steps as DESIGN 2 states them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.numerics.enough import Enough, enough, shown_percent


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (1.0, Enough("yes", 95, True)),
        (0.95, Enough("yes", 95, True)),
        (0.9499, Enough("yes", 90, False)),
        (0.9, Enough("yes", 90, False)),
        (0.8999, Enough("tight", 85, False)),
        (0.6, Enough("tight", 60, False)),
        (0.1 + 0.2 + 0.3, Enough("tight", 60, False)),
        (0.5999, Enough("no", 55, False)),
        (0.15, Enough("no", 15, False)),
        (0.0499, Enough("no", 0, False)),
        (0.0, Enough("no", 0, False)),
    ],
)
def test_a_chance_is_said_as_the_design_says(chance, said):
    assert enough(chance) == said


def test_every_step_of_five_is_shown_as_itself():
    assert [shown_percent(k / 100) for k in range(0, 100, 5)] == list(range(0, 100, 5))


def test_the_shops_own_limit_counts():
    assert enough(0.85, limit=0.8).word == "yes"
    assert enough(0.55, limit=0.8, tight_from=0.5).word == "tight"


@given(st.floats(0, 1))
def test_shown_is_never_more_than_the_chance_and_less_than_a_step_below_it(chance):
    shown = shown_percent(chance)

    assert shown % 5 == 0
    assert shown <= 100 * chance + 1e-6
    assert shown == 95 or 100 * chance < shown + 5


@pytest.mark.parametrize("chance", [-0.01, 1.01, math.nan])
def test_a_chance_that_is_none_is_refused(chance):
    with pytest.raises(ValueError, match="`chance` must lie between 0 and 1"):
        enough(chance)


def test_limits_in_the_wrong_order_are_refused():
    with pytest.raises(ValueError, match=r"`tight_from` must lie between 0 and `limit`; got 0.9 and 0.6"):
        enough(0.5, limit=0.6, tight_from=0.9)
