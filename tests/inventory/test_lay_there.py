"""A set labelled while it lies in a tub: since when it lies there can be said, though its ledger began later."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from inventory.actions.corrections import NotYourEntry
from inventory.actions.fitting import DoesNotFit
from inventory.actions.label import label_set
from inventory.actions.ledger import NewLine
from inventory.actions.soak import put_in, take_out
from inventory.ledger.facts import facts_from_json
from inventory.models import Entry, SetState, ToolSet
from inventory.queries.soak import conditioning_of
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, who, write

pytestmark = pytest.mark.django_db


@pytest.fixture
def lying() -> SimpleNamespace:
    """A set opened and labelled at nine by Ines, measured a little later."""
    import random

    cast = make_cast()
    tub, rack = make_place(cast.branch, "tub"), make_place(cast.branch)
    tool_set = ToolSet.objects.create(tool_type=make_type(), made_at=NOW)
    columns = {"opening_kind": "half", "branch": cast.branch, "to_place": rack}
    write(cast, NewLine("opening", tool_set, None, columns), at=NOW)
    label_set(who(cast.ines, cast.device), cast.branch, tool_set, now=NOW, rng=random.Random(1))
    return SimpleNamespace(cast=cast, tub=tub, rack=rack, tool_set=tool_set)


def put(shop: SimpleNamespace, person: str = "ines", *, since: float, at: float = 1) -> None:
    by = getattr(shop.cast, person)
    said = who(by, shop.cast.device, NOW + hours(at), happened_at=NOW + hours(since))
    put_in(said, shop.cast.branch, [shop.tool_set], shop.tub, now=NOW + hours(at))


def test_it_lies_there_since_before_its_label(lying: SimpleNamespace) -> None:
    put(lying, since=-2.5)
    answer = conditioning_of([lying.tool_set.pk], lying.cast.branch, at=NOW + hours(69.6))[lying.tool_set.pk]
    assert answer.state == "soaked, not confirmed"
    state = SetState.objects.get(pk=lying.tool_set.pk)
    assert (state.place_id, state.open_flags, state.opening) == (lying.tub.pk, 0, "half")
    assert state.code
    # Nothing is rewritten: the first opening stands there, voided, with why.
    first, second = Entry.objects.filter(kind="opening").order_by("act__recorded_at")
    assert (second.replaces, second.act.happened_at) == (first.pk, NOW - hours(2.5))
    assert Entry.objects.get(kind="voided").why == "It lay in water before its ledger began."


def test_only_the_first_soak_may_begin_before_the_ledger(lying: SimpleNamespace) -> None:
    put(lying, since=0.5)
    out = who(lying.cast.ines, lying.cast.device, NOW + hours(2))
    take_out(out, lying.cast.branch, [lying.tool_set], lying.rack, now=NOW + hours(2))
    with pytest.raises(DoesNotFit):
        put(lying, since=-1, at=3)
    assert Entry.objects.filter(kind="opening").count() == 1


def test_a_set_seen_elsewhere_since_is_refused_and_keeps_its_opening(lying: SimpleNamespace) -> None:
    seen = NewLine("seen", lying.tool_set, None, {"to_place": lying.rack})
    write(lying.cast, seen, at=NOW + hours(0.5))
    with pytest.raises(DoesNotFit):
        put(lying, since=-1)
    assert Entry.objects.filter(kind__in=("opening", "voided")).count() == 1


def test_somebody_who_may_not_void_the_opening_is_told_so(lying: SimpleNamespace) -> None:
    with pytest.raises(NotYourEntry):
        put(lying, "teo", since=-1)
    assert not facts_from_json(SetState.objects.get(pk=lying.tool_set.pk).facts).spells


def test_a_received_set_keeps_its_day() -> None:
    cast = make_cast()
    tub = make_place(cast.branch, "tub")
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    with pytest.raises(DoesNotFit):
        put(SimpleNamespace(cast=cast, tub=tub, tool_set=tool_set), since=-1000)
