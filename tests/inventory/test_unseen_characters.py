"""Texts of characters nobody sees are no texts: a reason of them is none, and names lose them."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.corrections import VoidRefused, void_entry
from inventory.actions.fitness import WhyMissing, report_trouble, set_aside
from inventory.forms.set_forms import WhyForm
from inventory.models import Entry
from inventory.said_text import plain_name, trimmed
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, who

UNSEEN = ["\u200b", "\u202e\u2066", "\ufeff \u200d", "\x07"]


def test_a_text_loses_unseen_ends_and_a_name_what_turns_it() -> None:
    assert [trimmed(text) for text in (*UNSEEN, " a\u200db \u200b")] == ["", "", "", "", "a\u200db"]
    assert plain_name("\u202eRack\t evil\u200b") == "Rack evil"


@pytest.mark.parametrize("why", UNSEEN)
def test_a_form_takes_a_reason_nobody_can_read_for_none(why: str) -> None:
    form = WhyForm({"why": why})
    assert (form.is_valid(), list(form.errors["why"])) == (False, ["This is needed: fill it in."])


@pytest.mark.django_db
@pytest.mark.parametrize("why", UNSEEN)
def test_an_act_takes_a_reason_nobody_can_read_for_none(why: str) -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    me, now = who(cast.ines, cast.device, NOW + hours(1)), NOW + hours(1)
    with pytest.raises(WhyMissing):
        set_aside(me, cast.branch, tool_set, why, now=now)
    with pytest.raises(WhyMissing):
        report_trouble(me, cast.branch, tool_set, "other", now=now, note=why)
    opening = Entry.objects.get(tool_set=tool_set)
    with pytest.raises(VoidRefused, match="says why"):
        void_entry(me, cast.branch, opening, why, now=now)


@pytest.mark.django_db
def test_forms_of_pieces_refuse_in_the_shops_words(client: Client) -> None:
    cast = make_cast()
    tool_set = make_set(cast, make_type(), make_place(cast.branch))
    client.force_login(cast.ines)
    sent = {
        "pieces": {"out": "-1", "new": "x"},
        "join": {"other": "nobody", "moved": "0", "out": "99", "rest": "?"},
        "dress": {"medium": "?", "minutes": "0"},
    }
    said: list[str] = []
    for act, words in sent.items():
        page = client.post(reverse("inventory:set_act", args=[tool_set.pk, act]), {**words, "act_id": str(uuid4())})
        assert page.status_code == 422
        said += [error for errors in page.context["form"].errors.values() for error in errors]
    assert {"At least 0 is needed.", "Write a whole number, such as 5.", "At least 1 is needed."} <= set(said)
    assert "That is not one of the choices. Take one of the list." in said
    assert not [words for words in said if "Ensure" in words or "valid" in words]
