"""A bid in a minute: area and finish in, the price floor for tools, hours and steps out. No site needed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.models import Person
from inventory.models.choices import Condition
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.times import zone_of
from inventory.units import judge_area, show_area
from inventory.views.doors import PersonRequest, door
from jobs.actions.bid import place_bid
from jobs.context import rights_of, units_of
from jobs.forms.bid import BidForm, PlaceForm
from jobs.ladder_words import NoLadder, refused_words
from jobs.laddering import ShopLadder, question_of, shop_ladder
from jobs.numerics.ladder import plan_ladder
from jobs.numerics.ladder_facts import FloorZone, LadderRefused
from jobs.numerics.ladder_totals import zone_of_area
from jobs.views.ladder_page import plan_context


@door("GET", "POST", right=Right.PLAN)
def bid(request: PersonRequest) -> HttpResponse:
    """What a floor of this area and finish takes; POST makes it a job's draft."""
    person = request.user
    said = request.POST if request.method == "POST" else request.GET
    form = BidForm(_with_starts(said) if "area_m2" in said else None, units=units_of(person))
    place = PlaceForm(request.POST if request.method == "POST" else None, branch=person.branch)
    refused: Refused | None = None
    if request.method == "POST" and form.is_valid() and place.is_valid():
        try:
            return _make_job(request, person, form, place)
        except Refused as why:
            refused = why
    context = {"form": form, "place": place, "refused": refused, **rights_of(person)}
    if form.is_bound and form.is_valid():
        context |= _worked_out(person, form.filled())
    status = 422 if refused or context.get("no_ladder") or (form.is_bound and form.errors) else 200
    return render(request, "jobs/bid/page.html", context, status=status)


def _with_starts(said: QueryDict) -> QueryDict:
    """What was said, what was left out as the page shows it first: an address may name area and finish alone."""
    whole = said.copy()
    for name, field in BidForm.base_fields.items():
        if name not in whole and field.initial is not None:
            whole[name] = str(field.initial)
    return whole


def _floor(said: dict[str, Any]) -> FloorZone:
    floor = zone_of_area(said["area_m2"], hardness=said["hardness"], surface=said["surface"])
    edge_m = floor.edge_m if said["edge_m"] is None else said["edge_m"]
    condition = None if said["condition"] == Condition.UNKNOWN else said["condition"]
    return replace(floor, edge_m=edge_m, coating=said["coating"], condition=condition)


def _worked_out(person: Person, said: dict[str, Any]) -> dict[str, Any]:
    """The plan of the bid's floor in words, or why there is none."""
    units = units_of(person)
    judged = judge_area(said["area_m2"], units, of="zone")
    if judged.answer == "refuse":
        return {"no_ladder": NoLadder(judged.sentence)}
    shop = shop_ladder(person.branch, timezone.now().astimezone(zone_of(person.branch)).date())
    try:
        question = question_of(shop, [_floor(said)], kind=said["kind"], finish_level=said["finish_level"])
        plan = plan_ladder(question, int(shop.settings["dice"]))
    except LadderRefused as refused:
        return {"no_ladder": refused_words(refused, shop), "mend": _mend(refused, shop, person)}
    asked = {"answer": judged.sentence} if judged.answer == "ask" else {}
    return plan_context(plan, shop, person) | asked | {"area": show_area(said["area_m2"], units)}


def _mend(refused: LadderRefused, shop: ShopLadder, person: Person) -> dict[str, str] | None:
    """Where what stands in the way is mended, for who may."""
    if not person.can(Right.RUN_SHOP):
        return None
    if refused.code == "no_machine_fits":
        return {"url": reverse("inventory:machines"), "label": _("Machines")}
    if refused.code in ("no_ladder", "place_twice", "ladder_not_rising", "ladder_with_a_hole"):
        return {"url": reverse("inventory:tool_types"), "label": _("Tool types")}
    return None


def _make_job(request: HttpRequest, person: Person, form: BidForm, place: PlaceForm) -> HttpResponse:
    """The bid's site and floor kept, and the plan's form opened on them with kind, finish and the ladder proposed."""
    said = form.filled()
    kind, finish = said.pop("kind"), said.pop("finish_level")
    said["edge_m"] = _floor({**said, "finish_level": finish}).edge_m
    site, zone = place_bid(person.branch, **place.cleaned_data, **said, sure=True, units=units_of(person))
    if zone is None:
        messages.info(request, _("%(site)s has floors of its own: the draft takes those.") % {"site": site.name})
    query = urlencode({"kind": kind, "finish_level": finish, "propose": "1"})
    return redirect(f"{reverse('jobs:job_new', args=[site.pk])}?{query}")
