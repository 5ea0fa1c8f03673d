"""Who comes second under a set's lock is second in its ledger; and a soak said anew is not undone to nothing."""

from __future__ import annotations

from datetime import timedelta

import pytest

from inventory.actions.ledger import NewLine, record
from inventory.actions.soak import put_in
from inventory.actions.soak_tub import lay_in
from inventory.actions.undo import SaidAnew, undo
from inventory.models import Device, SetState
from inventory.models.choices import Source
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, who

pytestmark = pytest.mark.django_db
LATER = NOW + hours(1)
SOON = LATER + timedelta(milliseconds=40)


def test_the_second_of_two_who_put_one_set_into_tubs_at_once_has_it_whatever_its_clock_said() -> None:
    cast = make_cast()
    other = Device.objects.create(name="phone", branch=cast.branch, first_seen_at=NOW)
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    one, two = (make_place(cast.branch, "tub", name, room_sets=4) for name in ("Tub 1", "Tub 2"))
    put_in(who(cast.dag, cast.device, SOON), cast.branch, [tool_set], one, now=SOON)
    # Ines' press was read before Dag's, and had to wait for the set.
    put_in(who(cast.ines, other, LATER), cast.branch, [tool_set], two, now=LATER)
    state = SetState.objects.get(pk=tool_set.pk)
    assert (state.place, state.soaking) == (two, True)


def test_what_is_said_of_a_time_gone_by_or_by_a_phone_keeps_its_time() -> None:
    cast = make_cast()
    other = Device.objects.create(name="phone", branch=cast.branch, first_seen_at=NOW)
    racks = [make_place(cast.branch) for _number in range(2)]
    tool_set = make_set(cast, make_type(), racks[0])
    record(who(cast.dag, cast.device, SOON), cast.branch, [NewLine("seen", tool_set, None, {})], now=SOON)
    for more in ({"source": Source.PHONE}, {"happened_at": LATER}):
        me = who(cast.ines, other, LATER, sent_at=SOON, **more)
        done = record(me, cast.branch, [NewLine("seen", tool_set, None, {"to_place": racks[1]})], now=SOON)
        assert done.act.happened_at == LATER


def test_that_sets_lie_in_another_tub_is_not_undone_which_would_leave_them_dry() -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    one, two = (make_place(cast.branch, "tub", name, room_sets=4) for name in ("Tub 1", "Tub 2"))
    put_in(who(cast.dag, cast.device, LATER), cast.branch, [tool_set], one, now=LATER)
    lain = lay_in(who(cast.dag, cast.device, SOON), cast.branch, [tool_set], two, now=SOON)
    with pytest.raises(SaidAnew, match="in no water"):
        undo(who(cast.dag, cast.device, SOON), cast.branch, lain.act, "", now=SOON)
    state = SetState.objects.get(pk=tool_set.pk)
    assert (state.place, state.soaking) == (two, True)
