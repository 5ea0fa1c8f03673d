"""An empty shop of one's own: the code from the terminal, the ladder, the labels' address, how sets come in."""

from __future__ import annotations

from typing import Any, cast
from zoneinfo import ZoneInfo

from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import get_language
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters

from inventory.actions.first_run import begin_shop, confirm_address, refusals_of
from inventory.actions.people import PersonWords
from inventory.actions.starting_ladder import starting_ladder, take_ladder
from inventory.codes import only_this_computer
from inventory.context import address
from inventory.forms.people import FirstRunForm
from inventory.models import Person, ToolType
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.views.doors import device_of, door
from inventory.views.label_address import MAY_CONFIRM, address_square, proposed_address, reach_of, try_address

_BACKEND = "inventory.sign_in.PasswordBackend"


@login_not_required
@never_cache
@sensitive_post_parameters("password", "code")
@door("GET", "POST")
def first_run(request: HttpRequest) -> HttpResponse:
    """Make the shop and its first person with the one-time code, and sign that person in."""
    if Person.objects.exists():
        return redirect("inventory:sign_in")
    start = {"code": request.GET.get("code", ""), "time_zone": timezone.get_default_timezone_name()}
    form = FirstRunForm(
        request.POST if request.method == "POST" else None, initial=start | {"currency": "USD", "units": "us"}
    )
    if request.method == "POST" and _all_said(form):
        try:
            person = _begin(form.cleaned_data)
        except Refused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, refused.sentence)
        else:
            login(request, person, backend=_BACKEND)
            device_of(request)
            return redirect("inventory:first_shop")
    return render(request, "inventory/people/first_run.html", {"form": form}, status=422 if form.errors else 200)


@door("GET", right=Right.RUN_SHOP)
def first_shop(request: HttpRequest) -> HttpResponse:
    """The first ten minutes: ladder, address, how the sets come in; also later, as long as something is open."""
    return _shop_page(request)


@door("POST", right=Right.RUN_SHOP)
def first_ladder(request: HttpRequest) -> HttpResponse:
    """Take the ticked steps as tool types."""
    person = cast(Person, request.user)
    now = timezone.now()
    keys, figures = request.POST.getlist("steps"), request.POST.get("figures") == "1"
    today = now.astimezone(ZoneInfo(person.branch.time_zone)).date()
    try:
        take_ladder(person, keys, figures=figures, soak=False, valid_from=today, now=now)
    except Refused as refused:
        return _shop_page(request, refused=refused)
    return redirect("inventory:first_shop")


@door("POST", right=Right.RUN_SHOP)
def label_address(request: HttpRequest) -> HttpResponse:
    """Keep the address that a phone shall try."""
    try:
        try_address(request, request.POST.get("address", ""))
    except Refused as refused:
        return _shop_page(request, refused=refused, typed=request.POST.get("address", ""))
    return redirect("inventory:first_shop")


@door("GET", right=MAY_CONFIRM)
def label_address_state(request: HttpRequest) -> HttpResponse:
    """Whether a phone has come, for the page that waits for one."""
    branch = cast(Person, request.user).branch
    return render(request, "inventory/people/phone_waits.html", {"branch": branch})


@login_not_required
@never_cache
@door("GET")
def phone_here(request: HttpRequest, word: str) -> HttpResponse:
    """A phone opened the labels' address: that confirms it; the phone is told so and nothing else."""
    branch = confirm_address(word, now=timezone.now())
    if branch is None:
        raise Http404
    return render(request, "inventory/people/phone_here.html", {"here": request.get_host()})


def _all_said(form: FirstRunForm) -> bool:
    """Whether nothing is to mend; code and password are looked at along with the rest, so that one round says all."""
    whole = form.is_valid()
    said = form.cleaned_data
    if "code" in said:
        words = PersonWords(
            said.get("sign_in", ""), said.get("name", ""), frozenset(), password=said.get("password", "")
        )
        for refused in refusals_of(said["code"], words, now=timezone.now()):
            form.add_error(refused.field, refused.sentence)
    return whole and not form.errors


def _begin(said: dict[str, Any]) -> Person:
    owner = PersonWords(
        said["sign_in"],
        said["name"],
        frozenset(),
        password=said["password"],
        units=said["units"],
        language=(get_language() or "en")[:2],
    )
    return begin_shop(
        said["code"],
        shop=said["shop"],
        time_zone=said["time_zone"],
        currency=said["currency"],
        owner=owner,
        now=timezone.now(),
    )


def _shop_page(request: HttpRequest, *, refused: Refused | None = None, typed: str = "") -> HttpResponse:
    branch = cast(Person, request.user).branch
    proposed = proposed_address(request, branch)
    steps = [
        {"key": step.key, "place": place, "grit": step.facts["grit"], "bond": step.facts["bond"]}
        for place, step in enumerate(starting_ladder())
    ]
    context = {
        "branch": branch,
        "steps": steps,
        "step_count": len(steps),
        "types": ToolType.objects.filter(active=True).count(),
        "proposed": proposed,
        "typed": typed,
        "only_here": only_this_computer(proposed),
        "square": address_square(branch),
        "reach": reach_of(request, proposed),
        "refused": refused,
        "blank_labels": address("inventory:blank_labels") or address("inventory:labels"),
        "spreadsheet": address("jobs:bring_in") or address("inventory:bring_in"),
        "receive": address("inventory:orders"),
        "rack": address("inventory:rack") or "/",
    }
    return render(request, "inventory/people/first_shop.html", context, status=422 if refused else 200)
