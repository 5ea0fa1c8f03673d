"""Wear alarms: by hand, against a slow version written differently, and what a shop may expect of them."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import stats

from inventory.numerics import wear_alarms as alarms
from inventory.numerics.alarm_limits import (
    LOG_FASTER_LIMIT,
    LOG_SLOWER_LIMIT,
    Surprises,
    Tails,
    own_surprises,
    stretched,
)
from inventory.numerics.alarm_record import looks_of
from inventory.numerics.wear import BASIS_ERROR, Ended
from inventory.numerics.wear_fit import TypeFit, WearOptions, fit
from tests.inventory.numerics.wear_cases import NAN, OWN, OneSet, Stretch, random_sets, record

RATE = 12 / 5000
CENTRE = math.log(RATE)


def known_type(tau=(0.25,), sigma=(1e-4,), d=(0.0,), weight=None) -> TypeFit:
    """A type whose rate is known to the last digit, unless told otherwise."""
    shape = (len(tau), len(d), len(sigma))
    weights = np.full(shape, 1 / np.prod(shape)) if weight is None else np.asarray(weight)
    return TypeFit(
        rated_m2=5000.0,
        bond="",
        usable_mm=12.0,
        usable_error_mm=0.5,
        centre=CENTRE,
        half_width=1.8,
        points=81,
        beta=0.0,
        d=np.array(d, dtype=float),
        sigma=np.array(sigma, dtype=float),
        tau=np.array(tau, dtype=float),
        weight=weights,
        use_m2=500.0,
        sets=1,
        worn_out=0,
        readings=0,
        pooled=False,
        rating_doubtful=False,
    )


def at(area: float, wear: float = NAN, **more) -> Stretch:
    """So much area on the reference class, then a height."""
    return Stretch([area, 0.0, 0.0], wear, **more)


def usual_set(pace=1.0, steps=8, area=500.0, from_step=0) -> OneSet:
    """Heights just as the type lets expect, from some step on at another pace."""
    wear, rows = 0.0, []
    for k in range(steps):
        wear += RATE * area * (pace if k >= from_step else 1.0)
        rows.append(at(area, wear))
    return OneSet(rows)


@pytest.fixture(scope="module")
def shop():
    """A type with sixteen sets, learnt."""
    rng = np.random.default_rng(5)
    judged = record(random_sets(rng, 16), rated=5000.0)
    return judged, fit([judged], OWN).per_type[0]


def only(one: OneSet, type_fit: TypeFit) -> alarms.SetAlarms:
    return alarms.wear_alarms(record([one]), type_fit, OWN, in_fit=False)[0]


def test_one_reading_against_a_known_rate_by_hand():
    found = alarms.strengths(record([OneSet([at(1000.0, 3.6)])]), known_type(), OWN, in_fit=False)
    noise = (RATE * 1000) ** 2 * (0.25**2 + BASIS_ERROR[0] ** 2)
    upper = -stats.norm.logsf(3.6, 2.4, math.sqrt(noise + 0.09))
    lower = -stats.norm.logcdf(3.6, 2.4, math.sqrt(noise + 0.09))
    for name, value in (("log_faster", upper), ("type_faster", upper), ("log_slower", lower), ("type_slower", lower)):
        assert getattr(found, name) == pytest.approx([value], abs=1e-9)
    ratio = stats.norm.logpdf(3.6, 1.8 * 2.4, math.sqrt(1.8**2 * noise + 0.09)) - stats.norm.logpdf(
        3.6, 2.4, math.sqrt(noise + 0.09)
    )
    assert found.change_faster == pytest.approx([ratio], abs=1e-9)
    assert found.begins_faster.tolist() == [0]


def naive(rows, type_fit, factors=OWN):
    """All statistics of one new set from joint normals of its heights, in plain loops over rate and noise."""
    grid, tau = type_fit.grid, type_fit.tau
    prior = np.einsum("th,hg->tg", type_fit.flat_weight, type_fit.rows)
    own = np.array(factors)
    area = np.array([own @ np.asarray(row.area, dtype=float) for row in rows])
    square = np.array([(own * np.asarray(row.area, dtype=float)) @ (own * np.asarray(row.area)) for row in rows])
    wear = np.array([row.wear for row in rows])

    def joint(upto, begin, pace):
        """P(first `upto` heights) at each rate and noise, with mean and SD of the next one."""
        scale = np.where(np.arange(len(rows)) >= begin, pace, 1.0)
        total = 0.0
        for t, one_tau in enumerate(tau):
            for g, theta in enumerate(grid):
                mean = np.cumsum(math.exp(theta) * area * scale)[:upto]
                spread = np.cumsum(math.exp(2 * theta) * square * scale**2 * (one_tau**2 + BASIS_ERROR[0] ** 2))[:upto]
                cover = np.minimum.outer(spread, spread) + 0.09 * np.eye(upto)
                total += prior[t, g] * stats.multivariate_normal.pdf(wear[:upto], mean, cover)
        return math.log(total)

    out: dict[str, Any] = {"change_faster": [], "change_slower": []}
    for k in range(1, len(rows) + 1):
        usual = joint(k, 99, 1.0)
        # Slower only from where a quarter of 12 mm is gone: a new face may wear faster.
        late = [j for j in range(k) if j and wear[j - 1] >= 3.0]
        for name, pace, begins in (("change_faster", 1.8, range(k)), ("change_slower", 0.5, late)):
            ratios = [math.exp(joint(k, j, pace) - usual) for j in begins]
            out[name].append(math.log(sum(ratios) / len(ratios)) if ratios else -math.inf)
    # The last height against all before it, and against the type alone.
    log, kind = np.zeros(2), np.zeros(2)
    for t, one_tau in enumerate(tau):
        for g, theta in enumerate(grid):
            mean = np.cumsum(math.exp(theta) * area)
            spread = np.cumsum(math.exp(2 * theta) * square * (one_tau**2 + BASIS_ERROR[0] ** 2))
            cover = np.minimum.outer(spread, spread) + 0.09 * np.eye(len(rows))
            weight = 1.0
            past = slice(0, len(rows) - 1)
            solved = np.linalg.solve(cover[past, past], cover[past, -1])
            middle = mean[-1] + solved @ (wear[past] - mean[past])
            sd = math.sqrt(cover[-1, -1] - solved @ cover[past, -1])
            weight = stats.multivariate_normal.pdf(wear[past], mean[past], cover[past, past])
            log += prior[t, g] * weight * np.array([1.0, stats.norm.sf(wear[-1], middle, sd)])
            kind += prior[t, g] * np.array([1.0, stats.norm.sf(wear[-1], mean[-1], math.sqrt(cover[-1, -1]))])
    out["log_faster"] = -math.log(log[1] / log[0])
    out["type_faster"] = -math.log(kind[1] / kind[0])
    return out


def test_all_statistics_agree_with_a_slow_version_written_differently():
    type_fit = replace(
        known_type(tau=(0.16, 0.4), sigma=(0.2, 0.35), d=(-0.1, 0.2), weight=np.arange(1.0, 9).reshape(2, 2, 2) / 36),
        points=21,
    )
    rows = [
        Stretch([600.0, 200.0, 0.0], 2.1),
        Stretch([0.0, 0.0, 900.0], 3.0),
        Stretch([300.0, 500.0, 100.0], 7.2),
        Stretch([500.0, 0.0, 100.0], 7.9),
    ]
    found = alarms.strengths(record([OneSet(rows)]), type_fit, OWN, in_fit=False)
    wanted = naive(rows, type_fit)
    assert found.change_faster == pytest.approx(wanted["change_faster"], abs=1e-8)
    assert found.change_slower == pytest.approx(wanted["change_slower"], abs=1e-8)
    assert found.log_faster[-1] == pytest.approx(wanted["log_faster"], abs=1e-8)
    assert found.type_faster[-1] == pytest.approx(wanted["type_faster"], abs=1e-8)


def test_a_set_is_judged_by_the_others_alone(shop):
    judged, type_fit = shop
    seg = judged.segments
    others = np.flatnonzero(seg.set_index != 0)
    rest = replace(
        judged,
        start_mm=judged.start_mm[1:],
        start_error_mm=judged.start_error_mm[1:],
        from_new=judged.from_new[1:],
        ended=judged.ended[1:],
        segments=replace(
            seg,
            set_index=seg.set_index[others] - 1,
            **{
                name: getattr(seg, name)[others]
                for name in (
                    "area_m2", "square_m4", "wear_mm", "error_mm", "restart_mm", "restart_error_mm", "forget",
                )
            },
        ),
    )  # fmt: skip
    without = fit([rest], OWN).per_type[0]
    assert without is not None
    mine = alarms.prior_of_others(judged, type_fit, OWN)[:, :1]
    refitted = alarms.prior_of_others(judged, without, OWN, in_fit=False)[:, :1]
    assert np.exp(mine) == pytest.approx(np.exp(refitted), abs=1e-9)


def test_sets_do_not_touch_each_other(shop):
    _, type_fit = shop
    rng = np.random.default_rng(7)
    sets = [*random_sets(rng, 6), usual_set(pace=4.0)]
    forth = alarms.wear_alarms(record(sets), type_fit, OWN, in_fit=False)
    back = alarms.wear_alarms(record(sets[::-1]), type_fit, OWN, in_fit=False)
    alone = [only(one, type_fit) for one in sets]
    for a, b, c in zip(forth, back[::-1], alone, strict=True):
        assert [(x.kind, x.direction, x.reading, x.at_end) for x in a.alarms] == [
            (x.kind, x.direction, x.reading, x.at_end) for x in b.alarms
        ]
        assert [x.strength for x in a.alarms] == pytest.approx([x.strength for x in b.alarms])
        assert [x.strength for x in a.alarms] == pytest.approx([x.strength for x in c.alarms])
    assert forth[-1]


def test_a_stretch_written_in_two_rows_is_one_stretch(shop):
    _, type_fit = shop
    two = OneSet([at(300.0), at(300.0, 1.0), at(500.0, 9.0)])
    square = np.zeros((3, 4))
    square[0, 0] = 2 * 300.0**2
    one = OneSet([at(600.0, 1.0, square=square), at(500.0, 9.0)])
    a, b = only(two, type_fit), only(one, type_fit)
    assert a
    assert [(x.kind, x.reading, x.begins) for x in a.alarms] == [(x.kind, x.reading, x.begins) for x in b.alarms]
    assert [x.strength for x in a.alarms] == pytest.approx([x.strength for x in b.alarms])


def test_no_record_no_height_and_usual_heights_raise_no_alarm(shop):
    _, type_fit = shop
    for one in (OneSet(), OneSet([at(0.0)]), OneSet([at(3000.0)]), usual_set()):
        found = only(one, type_fit)
        assert not found
        assert (found.headline, found.direction, found.checks) == (None, None, ())
    assert alarms.wear_alarms(record([]), type_fit, OWN) == ()


def test_a_set_that_runs_far_beyond_its_type_is_told_without_any_height(shop):
    _, type_fit = shop
    found = only(OneSet([at(400.0)] * 75), type_fit)
    assert (found.headline, len(found.alarms)) == (alarms.SLOWER, 1)
    assert found.checks == ("glazed", "label", "floor")
    assert (found.alarms[0].reading, found.alarms[0].at_end) == (None, False)
    assert not only(OneSet([at(400.0)] * 75, ended=Ended.OTHER), type_fit)


@pytest.mark.parametrize("by", [3.0, -3.0])
def test_one_height_keyed_3_mm_wrong_contradicts_the_log(shop, by):
    _, type_fit = shop
    sound = usual_set()
    rows = list(sound.rows)
    rows[4] = replace(rows[4], wear=rows[4].wear + by)
    found = only(OneSet(rows), type_fit)
    assert found.headline == alarms.CONTRADICTS
    first = next(one for one in found.alarms if one.kind == alarms.LOG and one.reading == 4)
    assert first.row == 4
    assert first.direction == (alarms.FASTER if by > 0 else alarms.SLOWER)
    assert first.strength > min(LOG_FASTER_LIMIT, LOG_SLOWER_LIMIT)
    assert first.times_rarer > 1000
    assert found.checks[0] == "height"


def test_a_forgotten_area_alarms_as_too_much_wear(shop):
    _, type_fit = shop
    rows = list(usual_set().rows)
    rows[4] = replace(rows[4], area=[0.0, 0.0, 0.0])
    rows[5] = replace(rows[5], area=[0.0, 0.0, 0.0])  # 1,000 of 5,000 m2 never logged: 2.4 mm from nowhere
    found = only(OneSet(rows), type_fit)
    assert found.headline == alarms.CONTRADICTS
    assert {one.direction for one in found.alarms} == {alarms.FASTER}
    assert found.checks == ("height", "area", "label", "floor")


def test_a_set_that_slows_down_is_told_since_when(shop):
    _, type_fit = shop
    found = only(usual_set(pace=0.25, steps=16, from_step=6), type_fit)
    change = next(one for one in found.alarms if one.kind == alarms.CHANGE)
    assert (change.direction, change.standing) == (alarms.SLOWER, True)
    assert change.begins in (4, 5, 6)  # reading 5 is the last at the old pace
    assert change.reading is not None
    assert change.reading > (change.begins or 0)
    assert found.checks[0] == "glazed"


def test_a_new_face_that_wears_faster_than_what_lies_under_it_is_no_slowing_down(shop, monkeypatch):
    _, type_fit = shop
    # Twice as fast as its type in the first 1.5 mm, .7 times from there on: slow, but not slower than before.
    first, later = RATE * 2.0, RATE * 0.7
    area = 300.0 * np.arange(1, 15)
    wear = np.minimum(first * area, 1.5 + later * (area - 1.5 / first))
    rows = [at(300.0, float(one)) for one in wear]
    assert not only(OneSet(rows), type_fit)
    monkeypatch.setattr(alarms, "RUN_IN_SHARE", 0.0)
    assert {(one.kind, one.direction) for one in only(OneSet(rows), type_fit).alarms} == {("change", "slower")}


def test_wear_before_a_look_is_what_was_read_or_begun_from_last():
    found = OneSet([at(500.0, 1.2), at(500.0, 2.4, restart=3.0), at(500.0), at(500.0, 4.0)], start=0.5)
    looks = looks_of(record([found, usual_set(steps=2)]), OWN)
    assert looks.wear_before().tolist() == [0.5, 1.2, 3.0, 0.0, pytest.approx(RATE * 500)]


def test_a_set_that_speeds_up_is_told_since_when(shop):
    _, type_fit = shop
    found = only(usual_set(pace=2.5, steps=14, area=250.0, from_step=7), type_fit)
    change = next(one for one in found.alarms if one.kind == alarms.CHANGE)
    assert change.direction == alarms.FASTER
    assert change.begins in (5, 6, 7)
    assert "glazed" not in found.checks


def test_an_end_far_too_early_alarms_at_the_end(shop):
    _, type_fit = shop
    found = only(OneSet([at(300.0)] * 2, ended=Ended.WORN), type_fit)
    assert found.headline in (alarms.FASTER, alarms.CONTRADICTS)
    assert all(one.at_end and one.reading is None and one.row is None for one in found.alarms)
    assert "height" not in found.checks


def test_what_came_before_most_pieces_were_changed_is_left_alone(shop):
    _, type_fit = shop
    odd = [at(500.0, 9.0), at(500.0, 1.0)]
    assert only(OneSet(odd), type_fit)
    anew = at(0.0, restart=1.0, forget=True)
    after = [at(500.0, 2.2), at(500.0, 9.9)]
    assert not only(OneSet([*odd, anew, after[0]]), type_fit)
    found = only(OneSet([*odd, anew, *after]), type_fit)
    assert {one.reading for one in found.alarms} == {3}  # counted over the whole record


def test_ten_thousand_heights_are_thinned_for_the_change_tests_only(shop):
    _, type_fit = shop
    rows = [at(0.5, RATE * 0.5 * k) for k in range(1, 10_001)]
    rows[6000] = replace(rows[6000], wear=rows[6000].wear + 4)
    judged = record([OneSet(rows), usual_set()])
    looks = looks_of(judged, OWN)
    thin = looks.thinned(alarms.MOST_LOOKS)
    assert looks.owner.size == 10_008
    assert np.bincount(thin.owner).tolist() == [alarms.MOST_LOOKS, 8]
    assert thin.whole[alarms.MOST_LOOKS - 1] == 9_999
    gaps = np.diff(thin.whole[: alarms.MOST_LOOKS])
    assert gaps.min() > 0.9 * gaps.max()
    found = alarms.wear_alarms(judged, type_fit, OWN, in_fit=False)
    assert found[0].headline == alarms.CONTRADICTS
    assert any(one.kind == alarms.LOG and one.row == 6000 for one in found[0].alarms)
    assert not found[1]


def test_heights_without_area_between_them_stay_finite(shop):
    _, type_fit = shop
    rows = [at(0.0, 0.1 * (k % 3)) for k in range(200)]
    found = alarms.strengths(record([OneSet(rows)]), type_fit, OWN, in_fit=False)
    assert np.isfinite(found.log_faster).all()
    assert not only(OneSet(rows), type_fit)


def test_as_it_stood_at_the_fit_keeps_a_set_out_of_its_own_judgement(shop):
    judged, type_fit = shop
    newer = alarms.strengths(judged, type_fit, OWN, as_fitted=judged)
    same = alarms.strengths(judged, type_fit, OWN)
    assert newer.type_faster == pytest.approx(same.type_faster)
    with pytest.raises(ValueError, match="same 1 sets"):
        alarms.strengths(record([OneSet()]), type_fit, OWN, as_fitted=judged)


def test_limits_stretch_where_floors_surprise_more_than_is_usual():
    rng = np.random.default_rng(3)
    usual = rng.exponential(1.0, 400)
    assert Surprises().stretch() == 1.0
    assert Surprises.of(usual).stretch() < 1.2
    heavy = np.where(usual > 3, 3 + 2 * (usual - 3), usual)
    assert Surprises.of(heavy).stretch() > 1.3
    spoiled = Surprises.of(np.append(usual, 700.0))  # one height keyed 100 mm wrong does not still all alarms
    assert spoiled.stretch() < 1.25 * Surprises.of(usual).stretch()
    own = own_surprises(np.array([700.0, 1.0, 4.0]), np.array([1, 1, 2]), 3)
    assert [part.tolist() for part in own] == [[0.0, 1.0, 1.0], [0.0, 5.0, 1.0]]
    assert spoiled.stretch(own[0][1], own[1][1]) == pytest.approx(Surprises.of(usual).stretch())
    assert stretched(8.5, np.array([1.0, 2.0])).tolist() == [8.5, 15.0]


def test_stretched_limits_hold_alarms_back(shop):
    _, type_fit = shop
    odd = record([usual_set(pace=4.0)])
    wild = Surprises(100.0, 400.0)
    plain, held, other = (
        alarms.wear_alarms(odd, type_fit, OWN, tails=tails, in_fit=False)[0]
        for tails in (Tails(), Tails(faster=wild), Tails(slower=wild))
    )
    assert plain == other
    assert plain
    assert not held


def test_all_types_of_a_shop_at_once(shop):
    judged, _ = shop
    unknown = record([usual_set()], rated=None)
    wrong = usual_set()
    wrong.rows[4] = replace(wrong.rows[4], wear=12.0)
    odd = record([*random_sets(np.random.default_rng(9), 12), wrong])
    records = [judged, unknown, odd]
    fits = fit(records, OWN).per_type
    assert fits[1] is None
    found = alarms.shop_alarms(records, fits, OWN)
    assert [len(one) for one in found] == [16, 1, 13]
    assert not found[1][0]
    assert found[2][12].headline == alarms.CONTRADICTS
    basis = alarms.alarm_basis(records, fits, OWN)
    assert basis.fits[2] is not None
    again = alarms.wear_alarms(odd, basis.fits[2], OWN, tails=basis.tails)
    assert again == found[2]
    with pytest.raises(ValueError, match="other grids"):
        alarms.shop_alarms(records, fits, OWN, options=WearOptions(tau=(0.2, 0.3)))
