"""Two people at once, each in a thread with a connection of its own: exactly one has the set, and nothing is lost."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from threading import Barrier, Thread
from typing import Any

import pytest
from django.db import connection, transaction

from inventory.actions.custody import Elsewhere, scan_out
from inventory.actions.ledger import NewLine, record, refold_states
from inventory.models import Act, Entry, Place, SetState
from inventory.models.choices import SoakNeed
from inventory.refusals import Refused
from tests.cast import NOW, hours, make_cast, make_outing, make_place, make_set, make_type, uuid, who

pytestmark = pytest.mark.django_db(transaction=True)
LATER = NOW + hours(1)


def at_once(*doings: Callable[[], Any]) -> Sequence[Any]:
    """Do these at the same moment; what each gave back or raised, in their order."""
    start = Barrier(len(doings), timeout=20)
    given: list[Any] = [None] * len(doings)

    def run(number: int) -> None:
        try:
            connection.ensure_connection()
            start.wait()
            given[number] = doings[number]()
        except Exception as problem:
            given[number] = problem
        finally:
            connection.close()

    threads = [Thread(target=run, args=(number,)) for number in range(len(doings))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
        assert not thread.is_alive()
    return given


def test_two_people_scan_one_set_out_at_once_and_exactly_one_has_it() -> None:
    cast = make_cast()
    rack = make_place(cast.branch)
    tool_type = make_type(soak_need=SoakNeed.NONE)
    outings = [make_outing(cast.branch, name) for name in ("Osprey Lane", "Cold store")]
    for _round in range(5):
        tool_set = make_set(cast, tool_type, rack)
        people = [who(person, cast.device, LATER) for person in (cast.dag, cast.ines)]

        given = at_once(
            *(
                lambda person=person, outing=outing, tool_set=tool_set: scan_out(
                    person, cast.branch, tool_set, outing, now=LATER
                )
                for person, outing in zip(people, outings, strict=True)
            )
        )

        refused = [answer for answer in given if isinstance(answer, Refused)]
        taken = [answer for answer in given if not isinstance(answer, Exception)]
        assert (len(taken), [type(refusal) for refusal in refused]) == (1, [Elsewhere]), given
        out = Entry.objects.filter(tool_set=tool_set, kind="scanned_out").get()
        assert SetState.objects.get(pk=tool_set.pk).outing_id == out.outing_id
        assert Act.objects.filter(pk__in=[person.act_id for person in people]).count() == 1


def test_one_act_sent_twice_at_once_is_written_once_and_both_are_answered_with_it() -> None:
    cast = make_cast()
    rack, crate = make_place(cast.branch), make_place(cast.branch, "crate")
    tool_set = make_set(cast, make_type(), rack)
    of_a_set = [NewLine("measured", tool_set, None, {"lowest_height_mm": 9.5}, uuid(70))]
    of_a_place = [NewLine("moved", None, crate, {"to_place": rack}, uuid(71))]
    for number, lines in enumerate((of_a_set, of_a_place)):
        person = who(cast.ines, cast.device, LATER, act_id=uuid(80 + number))

        given = at_once(*[lambda person=person, lines=lines: record(person, cast.branch, lines, now=LATER)] * 2)

        assert sorted(answer.again for answer in given) == [False, True], given
        assert Entry.objects.filter(act_id=person.act_id).count() == 1


def test_many_at_once_for_one_set_are_all_kept_and_its_state_is_the_fold_of_all() -> None:
    cast = make_cast()
    racks = [make_place(cast.branch) for _rack in range(2)]
    tool_set = make_set(cast, make_type(), racks[0])
    people = [who(cast.dag, cast.device, LATER + hours(number)) for number in range(8)]
    now = LATER + hours(9)

    given = at_once(
        *(
            lambda person=person, place=racks[number % 2]: record(
                person, cast.branch, [NewLine("seen", tool_set, None, {"to_place": place})], now=now
            )
            for number, person in enumerate(people)
        )
    )

    assert not [answer for answer in given if isinstance(answer, Exception)]
    assert Entry.objects.filter(tool_set=tool_set, kind="seen").count() == 8
    state = SetState.objects.get(pk=tool_set.pk)
    assert state.order_key.endswith(str(Entry.objects.get(act_id=_newest(people)).pk))
    assert Place.objects.get(states=state).pk == state.place_id
    with transaction.atomic():
        assert refold_states([tool_set.pk]) == 0


def _newest(people: Sequence[Any]) -> Any:
    """The act that happened last by the shop's clock, by the ledger's own order."""
    newest = Act.objects.filter(pk__in=[person.act_id for person in people]).order_by("-happened_at", "-device_seq")
    return newest.values_list("pk", flat=True)[0]
