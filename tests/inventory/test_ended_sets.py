"""What a set that ended says: at what share of its rating, what a claim is for, and that nothing of it is left."""

from __future__ import annotations

import io
from types import SimpleNamespace
from uuid import uuid4

import pypdfium2
import pytest
from django.test import Client
from django.urls import reverse

from inventory.actions.fitness import NothingToClear, clear
from inventory.actions.ledger import NewLine
from inventory.claim_pdf import draw_claim
from inventory.claims import Claim, Said, Table
from inventory.models import SetState, ToolSet
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, uuid, who, write

pytestmark = pytest.mark.django_db


def ended(area_m2: float, why: str = "worn") -> SimpleNamespace:
    """A resin 400 seen from new, rated for 6,000 m2, that ended after this much reference area."""
    cast = make_cast()
    kind = make_type("400", rated_coverage_m2=6000.0)
    cast.set = make_set(cast, kind, make_place(cast.branch, name="Rack A"), at=NOW - hours(300), code="GL-000001")
    floor = {
        "floor_uuid": uuid(1), "visit_uuid": uuid(2), "step_key": uuid(3), "area_m2": area_m2, "passes": 1,
        "hardness": "medium", "surface": "worn", "coating": "none", "wet_dry": "wet", "step_kind": "later",
        "basis": "measured",
    }  # fmt: skip
    write(cast, NewLine("worked", cast.set, None, floor), at=NOW - hours(200))
    write(cast, NewLine("retired", cast.set, None, {"retired_why": why}), at=NOW - hours(100))
    return cast


def pages(client: Client, cast: SimpleNamespace) -> list[str]:
    addresses = [reverse(f"inventory:{name}", args=[cast.set.pk]) for name in ("toolset", "set_phone")]
    return [client.get(address).content.decode() for address in addresses]


def test_one_that_ended_before_its_rating_says_why_there_is_no_claim_with_the_way_to_the_rule(client: Client) -> None:
    cast = ended(3900)
    client.force_login(cast.ines)
    claim = reverse("inventory:set_claim", args=[cast.set.pk])
    for page in pages(client, cast):
        assert "It ended at 65\u00a0% of its rating. The shop claims from 50\u00a0% down, so there is no claim." in page
        assert f'<a href="{claim}">What a claim is for</a>' in page
    assert client.get(claim).status_code == 200
    client.force_login(cast.teo)
    assert claim not in pages(client, cast)[1]


def test_the_card_of_a_retired_set_does_not_lead_to_the_numbers_of_another(client: Client) -> None:
    cast = ended(3900)
    client.force_login(cast.ines)
    assert reverse("inventory:how_life") + "?set=" not in pages(client, cast)[0]


def test_one_that_ended_early_enough_leads_to_its_claim_from_the_sentence_that_says_so(client: Client) -> None:
    cast = ended(2400)
    client.force_login(cast.ines)
    claim = reverse("inventory:set_claim", args=[cast.set.pk])
    for page in pages(client, cast):
        assert "of its rating: its supplier may be asked." in page
        assert f'<a href="{claim}">Claim to its supplier</a>' in page


@pytest.mark.parametrize(("area_m2", "why"), [(6100, "worn"), (2400, "changed_early")])
def test_one_that_did_its_rating_or_was_changed_early_says_nothing_of_claims(
    client: Client, area_m2: float, why: str
) -> None:
    cast = ended(area_m2, why)
    client.force_login(cast.ines)
    for page in pages(client, cast):
        assert "of its rating" not in page.partition("Life curve")[0]
        assert "claim" not in page


def emptied() -> tuple[SimpleNamespace, ToolSet]:
    cast = ended(2400, "changed_early")
    write(cast, NewLine("pieces_changed", cast.set, None, {"pieces": 0}), at=NOW - hours(90))
    return cast, cast.set


def test_a_set_without_a_piece_is_not_offered_to_work_again_and_is_no_remnant(client: Client) -> None:
    cast, tool_set = emptied()
    client.force_login(cast.ines)
    for page in pages(client, cast):
        assert "It still works: clear it" not in page
        assert "Remnant: 0" not in page
        assert "No piece is left in it." in page
    answer = client.post(reverse("inventory:set_act", args=[tool_set.pk, "clear"]), {"act_id": str(uuid4())})
    assert answer.status_code == 422
    with pytest.raises(NothingToClear, match="has no piece left"):
        clear(who(cast.ines, cast.device), cast.branch, tool_set, now=NOW)
    assert SetState.objects.get(pk=tool_set.pk).fitness == "retired"


def test_no_heading_of_a_claim_stands_alone_at_the_foot_of_a_page() -> None:
    for rows in range(12, 60):
        table = Table("Floors", ("Day", "Floor", "Area"), tuple((f"{n}", "Hall", "1") for n in range(rows)))
        claim = Claim(
            title="Claim", shop="Millrace shop", date="14 May", lead=("x",), facts=(("Code", "GL-000001"),),
            tables=(table,), notes=("Three others of the type ended worn.",), photos=(), photo_words=(),
            printed="Printed", said=Said("Quarrymead", "", ""),
        )  # fmt: skip
        document = pypdfium2.PdfDocument(io.BytesIO(draw_claim(claim, [], "letter")))
        for page in document:
            text = page.get_textpage().get_text_bounded()
            assert ("Other sets of this type" in text) == ("Three others of the type" in text)
