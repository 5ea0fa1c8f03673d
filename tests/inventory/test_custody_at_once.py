"""Several people at the scanner at the same instant: one has the set, no scan is lost. On both databases."""

from __future__ import annotations

import threading
from collections.abc import Callable
from uuid import UUID

import pytest
from django.db import connection

from inventory.actions.custody import AlreadyThere, Elsewhere, scan_out
from inventory.models import Entry, Outing, Person, SetState, ToolSet
from tests.cast import NOW, make_cast, make_outing, make_place, make_set, make_type, who

pytestmark = pytest.mark.django_db(transaction=True)


def together(*jobs: Callable[[], str]) -> list[str]:
    """Run these at once, each on its own connection; their answers in order."""
    answers = [""] * len(jobs)
    ready = threading.Barrier(len(jobs))

    def run(number: int, job: Callable[[], str]) -> None:
        try:
            ready.wait(timeout=20)
            answers[number] = job()
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(number, job)) for number, job in enumerate(jobs)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return answers


def test_one_act_sent_twice_at_once_is_one_act() -> None:
    cast = make_cast()
    metal = make_set(cast, make_type("70", "metal", 1, soak_need="none"), make_place(cast.branch))
    outing, person = make_outing(cast.branch), who(cast.ines, cast.device)

    def send() -> str:
        return str(scan_out(person, cast.branch, metal, outing, now=NOW).recorded.act.pk)

    assert set(together(send, send, send)) == {str(person.act_id)}
    assert Entry.objects.filter(kind="scanned_out").count() == 1


def test_of_two_crews_exactly_one_has_the_set_and_the_other_is_told_who() -> None:
    cast = make_cast()
    metal = make_set(cast, make_type("70", "metal", 1, soak_need="none"), make_place(cast.branch))
    outings = [make_outing(cast.branch, name) for name in ("Osprey Lane", "Bellweather")]

    def take(person: Person, outing: Outing) -> Callable[[], str]:
        by = who(person, cast.device)

        def job() -> str:
            try:
                scan_out(by, cast.branch, ToolSet.objects.get(pk=metal.pk), outing, now=NOW)
            except Elsewhere as refusal:
                return refusal.holder
            return "taken"

        return job

    answers = together(take(cast.ines, outings[0]), take(cast.dag, outings[1]))

    winner = answers.index("taken")
    assert answers[1 - winner] == outings[winner].name
    assert SetState.objects.get(pk=metal.pk).outing_id == outings[winner].pk
    assert SetState.objects.get(pk=metal.pk).facts["flags"] == []


def test_eight_scanners_at_once_lose_no_scan() -> None:
    cast = make_cast()
    metal = make_type("70", "metal", 1, soak_need="none")
    rack, outing = make_place(cast.branch), make_outing(cast.branch)
    sets = [make_set(cast, metal, rack).pk for _number in range(16)]

    def scanner(mine: list[UUID]) -> Callable[[], str]:
        people = [who(cast.teo, cast.device) for _one in mine]

        def job() -> str:
            for person, set_id in zip(people, mine, strict=True):
                try:
                    scan_out(person, cast.branch, ToolSet.objects.get(pk=set_id), outing, now=NOW)
                except AlreadyThere:
                    return "there already"
            return "done"

        return job

    assert together(*(scanner(sets[number::8]) for number in range(8))) == ["done"] * 8
    assert SetState.objects.filter(outing=outing).count() == 16
