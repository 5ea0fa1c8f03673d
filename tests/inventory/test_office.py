"""The office: every row to read, none to write, behind our own sign-in."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from django.test import Client, RequestFactory
from django.urls import reverse

from inventory.admin import branch_path, office
from inventory.models import Entry, Person, PersonRight, Price, ToolSet
from tests.cast import NOW, TODAY, make_branch, make_cast, make_place, make_set, make_supplier, make_type

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    return make_cast()


def test_only_whoever_runs_the_shop_comes_in(client: Client, cast) -> None:
    assert client.get("/office/", follow=True).redirect_chain[-1][0] == "/sign-in/?next=/office/"
    client.force_login(cast.ines)
    for page in ("/office/", reverse("admin:inventory_entry_changelist")):
        assert client.get(page, follow=True).redirect_chain[-1][0] == "/me/"
    client.force_login(cast.olga)
    assert client.get("/office/").status_code == 200


def test_every_model_of_both_apps_shows_its_rows_and_takes_none(client: Client, cast) -> None:
    make_set(cast, make_type(), make_place(cast.branch), code="GL-7K2M46")
    client.force_login(cast.olga)
    assert {model._meta.app_label for model in office._registry} == {"inventory", "jobs"}
    for model in office._registry:
        name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
        assert client.get(reverse(f"{name}_changelist")).status_code == 200, name
        assert client.get(reverse(f"{name}_add")).status_code == 403, name
        if (row := model._base_manager.first()) is not None:
            page = reverse(f"{name}_change", args=[row.pk])
            assert client.get(page).status_code == 200, name
            assert client.post(page, {}).status_code == 403, name
            assert client.post(reverse(f"{name}_delete", args=[row.pk]), {"post": "yes"}).status_code == 403, name
    assert Entry.objects.count() == 2


def test_no_password_or_pin_is_shown(client: Client, cast) -> None:
    client.force_login(cast.olga)
    text = client.get(reverse("admin:inventory_person_change", args=[cast.teo.pk])).content.decode()
    assert cast.teo.name in text
    assert Person.objects.get(pk=cast.teo.pk).pin not in text
    assert "md5$" not in text


def test_prices_are_shown_to_those_who_see_money(client: Client, cast) -> None:
    price = Price.objects.create(
        tool_type=make_type(),
        supplier=make_supplier(),
        price=318,
        currency="USD",
        valid_from=TODAY,
        recorded_at=NOW,
    )
    page = reverse("admin:inventory_price_change", args=[price.pk])
    client.force_login(cast.olga)
    assert client.get(page).status_code == 200
    cast.olga.right_rows.filter(right="see_money").delete()
    assert client.get(page).status_code == 403
    assert client.get(reverse("admin:inventory_price_changelist")).status_code == 403


def test_another_branch_is_not_shown(client: Client, cast) -> None:
    other = make_cast_elsewhere()
    client.force_login(cast.olga)
    text = client.get(reverse("admin:inventory_place_changelist")).content.decode()
    assert other.name not in text


def test_every_row_but_the_catalogues_leads_to_its_branch(client: Client, cast) -> None:
    shared = {model._meta.model_name for model in office._registry if not branch_path(model)}
    catalogue = {"supplier", "supplierword", "tooltype", "tooltypeversion", "recipe", "price"}
    assert shared == catalogue | {"learntlife", "learntfloors", "alarmbasis", "refitrun", "firstruncode"}
    away = make_branch("Another shop")
    theirs = Person.objects.create_person("noor", "Noor K.", away, bundle="helper")
    there = SimpleNamespace(branch=away, ines=theirs, device=cast.device)
    make_set(there, make_type(), make_place(away, name="Far"), code="GL-7K2M46")
    for who, sets, rights in ((cast.olga, 0, 0), (theirs, 1, 1)):
        request = RequestFactory().get("/office/")
        request.user = who
        assert office._registry[ToolSet].get_queryset(request).count() == sets
        assert office._registry[PersonRight].get_queryset(request).filter(person=theirs).count() == rights
        for model, page in office._registry.items():
            assert page.get_queryset(request).count() >= 0, model  # every path is one the database knows


def make_cast_elsewhere():
    return make_place(make_branch("Another shop"), name="Rack far away")
