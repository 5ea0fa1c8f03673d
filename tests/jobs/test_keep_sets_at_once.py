"""Two people who keep sets for jobs at the same moment, each on a connection of their own: one plan, nothing twice."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from inventory.refusals import Refused
from jobs.actions.keep_sets import Kept, keep_plan, lock_choice
from jobs.actions.keep_sets import by_hand as shown_by_hand
from jobs.actions.reservation import reserve_for_night
from jobs.models import Reservation
from jobs.reserving import digest_of, propose
from tests.cast import NOW, hours
from tests.inventory.test_two_at_once import at_once
from tests.jobs.test_keep_sets import load_of, sets
from tests.jobs.test_keep_sets import shop as shop

pytestmark = pytest.mark.django_db(transaction=True)


def test_two_who_keep_the_same_at_once_keep_it_once(shop: SimpleNamespace) -> None:
    sets(shop, 2)
    seen = digest_of(propose(shop.branch, now=NOW).wanted())
    given = at_once(
        *(
            lambda person=person, at=at: keep_plan(person, shop.branch, seen, now=NOW + hours(at))
            for person, at in ((shop.ines, 0.1), (shop.olga, 0.2))
        )
    )
    assert sorted(given, key=str) == [Kept(0, 0), Kept(2, 0)]
    assert Reservation.objects.count() == 2


def test_one_who_keeps_all_and_one_who_chooses_by_hand_end_with_one_set_a_step(shop: SimpleNamespace) -> None:
    for number in range(3):
        one, other = sets(shop, 2)
        proposal = propose(shop.branch, now=NOW)
        key = load_of(proposal, "Osprey Lane", "400")
        shift = shop.plan.shifts.all()[1]
        chosen = other if one.pk in proposal.choices[key].seats else one
        seen, shown = digest_of(proposal.wanted()), shown_by_hand(proposal, key, chosen.pk)
        at = NOW + hours(number / 10)
        given = at_once(
            lambda seen=seen, at=at: keep_plan(shop.ines, shop.branch, seen, now=at),
            lambda key=key, chosen=chosen, shown=shown, at=at: lock_choice(
                shop.olga, shop.branch, key, chosen.pk, shown.digest, now=at + hours(0.01)
            ),
            lambda key=key, chosen=chosen, at=at, shift=shift: reserve_for_night(
                shop.dag, shop.plan.job, shift.key, key, chosen, now=at + hours(0.02)
            ),
        )
        assert all(not isinstance(one, Exception) or isinstance(one, Refused) for one in given), given
        rows = Reservation.objects.filter(step_key=key, ended_at__isnull=True)
        assert [(row.tool_set_id, row.order, row.locked) for row in rows] == [(chosen.pk, 1, True)]
        Reservation.objects.filter(ended_at__isnull=True).update(ended_at=NOW)
