"""A set scanned out where it is not planned: warned; one that another van takes tonight is asked about first."""

from __future__ import annotations

import random
from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from inventory import hooks
from inventory.actions.ledger import NewLine
from inventory.codes import new_code
from inventory.hooks import NextUse
from inventory.models import Entry, Label
from tests.cast import hours, make_set, make_type, write
from tests.inventory.test_scan_plan import CODES, STEPS, scan, shop

__all__ = ["shop"]
pytestmark = pytest.mark.django_db


def meant_elsewhere(shop: SimpleNamespace, tool_set: object, hours_ahead: float = 3) -> None:
    words = "Marrow Street, tonight 20:30, step 6 of 6"
    leaves_at = shop.now + hours(hours_ahead)
    use = NextUse(words, uuid4(), "Marrow Street", leaves_at + hours(2), leaves_at, 500.0)
    hooks.register_next_use(lambda set_ids, at: {tool_set.pk: use} if tool_set.pk in set(set_ids) else {})  # type: ignore[attr-defined]


def test_a_type_no_step_here_asks_for_is_taken_with_a_warning(shop: SimpleNamespace, client: Client) -> None:
    other = make_set(shop.cast, make_type("120", "metal", 2, soak_need="none"), shop.rack, at=shop.now, code=CODES[2])
    client.force_login(shop.cast.teo)
    taken = scan(client, shop, "", set=str(other.pk))
    assert "Taken, not planned" in taken
    assert f"No step of {shop.outing.name} asks for: 120 {CODES[2]}." in taken
    assert Entry.objects.get(kind="scanned_out").tool_set == other
    # It is no part of what is planned: neither of the two that are.
    assert 'data-count="0/2"' in taken
    assert "And 1 set that is not planned here" in taken


def test_a_set_promised_to_another_van_tonight_is_asked_about_and_not_taken(
    shop: SimpleNamespace, client: Client
) -> None:
    other = make_set(shop.cast, make_type("1500", ladder_place=9, soak_need="none"), shop.rack, at=shop.now)
    meant_elsewhere(shop, other)
    client.force_login(shop.cast.teo)
    asked = scan(client, shop, "", set=str(other.pk))
    assert "It is meant for Marrow Street, tonight 20:30, step 6 of 6. Take it all the same?" in asked
    assert ("Leave it for Marrow Street" in asked, 'value="take_anyway"' in asked) == (True, True)
    assert not Entry.objects.filter(kind="scanned_out").exists()


def test_a_set_wanted_elsewhere_only_next_week_is_taken_with_a_warning(shop: SimpleNamespace, client: Client) -> None:
    other = make_set(shop.cast, make_type("1500", ladder_place=9, soak_need="none"), shop.rack, at=shop.now)
    meant_elsewhere(shop, other, hours_ahead=150)
    client.force_login(shop.cast.teo)
    assert "Taken, not planned" in scan(client, shop, "", set=str(other.pk))


def test_no_other_set_is_offered_for_a_grit_no_step_asks_for_or_that_is_taken(
    shop: SimpleNamespace, client: Client
) -> None:
    """A dry 3000 that nothing asks for, then a second dry 400 beside the planned one that is out."""
    fine = make_type("3000", ladder_place=10)
    dry, ready = (make_set(shop.cast, fine, shop.rack, at=shop.now - hours(200)) for _each in range(2))
    fourth, third = (make_set(shop.cast, shop.resin.tool_type, shop.rack, at=shop.now - hours(200)) for _ in range(2))
    for wet in (ready, third):
        write(shop.cast, NewLine("soak_begun", wet, None, {"to_place": shop.tub}), at=shop.now - hours(90))
        write(shop.cast, NewLine("conditioning_confirmed", wet), at=shop.now - hours(10))
    client.force_login(shop.cast.teo)
    refused = scan(client, shop, "", set=str(dry.pk))
    assert 'data-verdict="refused"' in refused
    assert f'value="{ready.pk}"' not in refused
    # While the 400 is still to come the one that is ready is offered; once it is out nothing more is.
    offered = scan(client, shop, "", set=str(fourth.pk))
    assert any(f'value="{one.pk}"' in offered for one in (third, shop.resin))
    scan(client, shop, CODES[1])
    again = scan(client, shop, "", set=str(fourth.pk))
    assert 'data-verdict="refused"' in again
    assert f'value="{third.pk}"' not in again


def test_a_set_meant_for_another_job_names_that_job(shop: SimpleNamespace, client: Client) -> None:
    other = make_set(shop.cast, make_type("1500", ladder_place=9, soak_need="none"), shop.rack, at=shop.now)
    meant_elsewhere(shop, other)
    client.force_login(shop.cast.teo)
    taken = scan(client, shop, "", set=str(other.pk), do="take_anyway")
    assert 'data-verdict="short"' in taken
    assert "is meant for Marrow Street, tonight 20:30, step 6 of 6." in taken
    assert "Undo it if it is not to go." in taken


def test_a_set_of_a_grit_planned_here_that_is_meant_elsewhere_is_warned_about(
    shop: SimpleNamespace, client: Client
) -> None:
    spare = make_set(shop.cast, shop.metal.tool_type, shop.rack, at=shop.now - hours(9), code=CODES[2])
    meant_elsewhere(shop, spare)
    client.force_login(shop.cast.teo)
    taken = scan(client, shop, "", set=str(spare.pk), do="take_anyway")
    assert "Taken, not planned" in taken
    assert "No step of" not in taken


def test_a_refused_set_says_too_that_it_is_meant_elsewhere(shop: SimpleNamespace, client: Client) -> None:
    dry = make_set(shop.cast, shop.resin.tool_type, shop.rack, at=shop.now - hours(9), code=CODES[2])
    meant_elsewhere(shop, dry)
    client.force_login(shop.cast.teo)
    refused = scan(client, shop, "", set=str(dry.pk), do="take_anyway")
    assert ('data-verdict="refused"' in refused, "is meant for Marrow Street" in refused) == (True, True)


def test_what_is_planned_here_is_taken_without_a_warning(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.teo)
    assert "not planned" not in scan(client, shop, CODES[0])


def test_a_place_that_takes_its_sets_names_those_that_are_not_planned(shop: SimpleNamespace, client: Client) -> None:
    other = make_set(shop.cast, make_type("120", "metal", 2, soak_need="none"), shop.rack, at=shop.now, code=CODES[2])
    client.force_login(shop.cast.teo)
    taken = scan(client, shop, "", sets=",".join(str(one.pk) for one in [shop.metal, other]))
    assert taken.count(f"No step of {shop.outing.name} asks for: 120 {CODES[2]}.") == 1


def test_a_place_that_takes_its_sets_leaves_those_promised_to_another_van(
    shop: SimpleNamespace, client: Client
) -> None:
    other = make_set(shop.cast, make_type("120", "metal", 2, soak_need="none"), shop.rack, at=shop.now, code=CODES[2])
    meant_elsewhere(shop, other)
    client.force_login(shop.cast.teo)
    taken = scan(client, shop, "", sets=",".join(str(one.pk) for one in [shop.metal, other]))
    assert f"{CODES[2]} is meant elsewhere: scan it by itself." in taken
    assert [entry.tool_set_id for entry in Entry.objects.filter(kind="scanned_out")] == [shop.metal.pk]


def test_after_work_on_its_outing_a_set_comes_in_without_being_asked(shop: SimpleNamespace, client: Client) -> None:
    """The outing leaves in three hours by the plan; somebody worked with it already, so it has left."""
    client.force_login(shop.cast.teo)
    scan(client, shop, CODES[0])
    asked = client.post(reverse("inventory:scan_in"), {"set": str(shop.metal.pk)})
    assert asked.context["verdict"].word == "Take it back?"
    work = {
        "outing": shop.outing, "floor_uuid": uuid4(), "visit_uuid": uuid4(), "step_key": STEPS[0], "area_m2": 100,
        "passes": 1,
        "hardness": "medium", "surface": "worn", "coating": "none", "wet_dry": "wet", "step_kind": "later",
        "basis": "measured",
    }  # fmt: skip
    write(shop.cast, NewLine("worked", shop.metal, None, work), at=shop.now)
    done = client.post(reverse("inventory:scan_in"), {"set": str(shop.metal.pk)})
    assert done.context["verdict"].word == "In"


def test_an_open_question_keeps_a_button_when_one_scans_on(shop: SimpleNamespace, client: Client) -> None:
    client.force_login(shop.cast.dag)
    soaked = make_set(shop.cast, shop.resin.tool_type, shop.rack, at=shop.now - hours(99), code=CODES[2])
    write(shop.cast, NewLine("soak_begun", soaked, None, {"to_place": shop.tub}), at=shop.now - hours(90))
    scan(client, shop, "", set=str(soaked.pk))
    after = scan(client, shop, CODES[0])
    assert f'name="code" value="{CODES[2]}"' in after
    answered = scan(client, shop, "", set=str(soaked.pk), do="confirm")
    assert f'name="code" value="{CODES[2]}"' not in answered


def test_the_line_of_a_tub_carries_its_name(shop: SimpleNamespace, client: Client) -> None:
    code = new_code(random.Random(3))
    Label.objects.create(code=code, branch=shop.cast.branch, made_at=shop.now, opens_place=shop.tub)
    client.force_login(shop.cast.teo)
    url = reverse("inventory:scan_out", args=[shop.outing.pk])
    page = client.post(url, {"code": code})
    line = page.context["lines"][0]
    assert (line["code"], line["word"], line["mark"]) == ("Tub 1", "no set in it", "tick")


def test_what_is_not_planned_is_named_when_the_page_opens_again_and_can_be_undone(
    shop: SimpleNamespace, client: Client
) -> None:
    other = make_set(shop.cast, make_type("120", "metal", 2, soak_need="none"), shop.rack, at=shop.now, code=CODES[2])
    client.force_login(shop.cast.teo)
    scan(client, shop, "", sets=f"{shop.metal.pk},{other.pk}")
    again = Client()
    again.force_login(shop.cast.ines)
    url = reverse("inventory:scan_out", args=[shop.outing.pk])
    page = again.get(url)
    assert ([state.pk for state in page.context["not_planned"]], page.context["lines"]) == ([other.pk], [])
    assert "Not to go: undo" in page.content.decode()
    sent = {"set": str(other.pk), "do": "not_to_go", "act_id": str(uuid4())}
    for _twice in range(2):
        undone = again.post(url, sent)
        assert (undone.context["verdict"].word, undone.context["not_planned"]) == ("Undone", [])
    other.state.refresh_from_db()
    shop.metal.state.refresh_from_db()
    # The other set of the same act stays out; the entry stands in the ledger, voided.
    assert (other.state.outing_id, other.state.place, shop.metal.state.outing_id) == (None, shop.rack, shop.outing.pk)
    assert Entry.objects.filter(kind="voided", tool_set=other).count() == 1


def test_who_did_not_take_a_set_and_may_not_settle_does_not_undo_it(shop: SimpleNamespace, client: Client) -> None:
    other = make_set(shop.cast, make_type("120", "metal", 2, soak_need="none"), shop.rack, at=shop.now, code=CODES[2])
    client.force_login(shop.cast.ines)
    scan(client, shop, "", set=str(other.pk))
    client.force_login(shop.cast.teo)
    refused = scan(client, shop, "", set=str(other.pk), do="not_to_go")
    assert "Ask the shop manager to void it." in refused
    other.state.refresh_from_db()
    assert other.state.outing_id == shop.outing.pk


def test_a_set_promised_to_another_van_is_offered_instead_only_where_no_free_one_is_ready(
    shop: SimpleNamespace, client: Client
) -> None:
    """The promised one is confirmed, the free one only soaked: the free one goes."""
    dry = make_set(shop.cast, shop.resin.tool_type, shop.rack, at=shop.now - hours(9), code=CODES[2])
    promised, free = [
        make_set(shop.cast, shop.resin.tool_type, shop.rack, at=shop.now - hours(99)) for _number in range(2)
    ]
    for one in (promised, free):
        write(shop.cast, NewLine("soak_begun", one, None, {"to_place": shop.tub}), at=shop.now - hours(90))
    write(shop.cast, NewLine("conditioning_confirmed", promised), at=shop.now - hours(1))
    write(shop.cast, NewLine("set_aside", shop.resin, None, {"why": "chipped"}), at=shop.now)
    meant_elsewhere(shop, promised)
    client.force_login(shop.cast.teo)
    url = reverse("inventory:scan_out", args=[shop.outing.pk])

    def offered() -> list[str]:
        actions = client.post(url, {"set": str(dry.pk)}).context["verdict"].actions
        return [action["hidden"]["set"] for action in actions]

    assert offered() == [str(free.pk)]
    write(shop.cast, NewLine("set_aside", free, None, {"why": "chipped"}), at=shop.now)
    assert offered() == [str(promised.pk)]
    assert "Meant for Marrow Street, tonight 20:30" in client.post(url, {"set": str(dry.pk)}).content.decode()
