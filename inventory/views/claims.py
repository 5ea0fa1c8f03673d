"""Claims to a supplier, for sets that failed early."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.actions.photos import check_room, keep_photos
from inventory.claim_pdf import draw_claim
from inventory.claims import Said, claim_of, share_words
from inventory.early_end import EarlyEnd, early_end, why_none
from inventory.forms.claim_form import ClaimPaperForm
from inventory.models import Entry, Person, SetState
from inventory.photos import photo_path
from inventory.queries.photos import photos_of
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.shop_settings import ShopSettings, settings_of
from inventory.times import zone_of
from inventory.units import show_about
from inventory.views.doors import PersonRequest, door
from inventory.views.set_page import MAY_CLAIM

# Claims being written that a browser keeps (our assumption).
_KEPT = 8


@door("GET", "POST", right=MAY_CLAIM)
def set_claim(request: PersonRequest, set_id: UUID) -> HttpResponse:
    """What a claim is to say: asked, kept in the browser's session, then the PDF is a link on the same page."""
    state, settings, now = _claimed(request, set_id)
    early, posted, person = early_end(state, settings), request.method == "POST", request.user
    if early is None:
        return _page(request, state, None, settings, None)
    given: tuple[Any, ...] = (request.POST, request.FILES) if posted else ()
    form = ClaimPaperForm(*given, initial=_initial(state, person) | _said(request, set_id))
    if not (posted and form.is_valid()):
        return _page(request, state, early, settings, form)
    try:
        check_room(state.tool_set, form.cleaned_data["photos"])
        keep_photos(person, state.tool_set, form.cleaned_data["photos"], now=now)
    except Refused as refusal:
        return _page(request, state, early, settings, form, refusal)
    kept = request.session.get("claims", {})
    request.session["claims"] = dict([*kept.items(), (str(set_id), asdict(form.said()))][-_KEPT:])
    return redirect("inventory:set_claim", set_id)


@door("GET", right=MAY_CLAIM)
def set_claim_pdf(request: PersonRequest, set_id: UUID) -> HttpResponse:
    """The paper of a claim, made of what the ledger says now and of what the person said last."""
    state, settings, now = _claimed(request, set_id)
    early, said = early_end(state, settings), _said(request, set_id)
    if early is None or not said:
        return redirect("inventory:set_claim", set_id)
    claim = claim_of(state, early, Said(**said), settings, request.user, now)
    photos = [_picture(photo.pk) for photo in claim.photos]
    response = HttpResponse(draw_claim(claim, photos, settings["paper"]), content_type="application/pdf")
    name = f"claim-{state.code or 'set'}-{now:%Y-%m-%d}.pdf"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _claimed(request: PersonRequest, set_id: UUID) -> tuple[SetState, ShopSettings, datetime]:
    """The set of the person's branch, the shop's settings, and when that is asked."""
    get_object_or_404(SetState, pk=set_id, branch=request.user.branch)
    (state,) = states_with_types([set_id])
    now, branch = timezone.now(), request.user.branch
    return state, settings_of(branch, today=now.astimezone(zone_of(branch)).date()), now


def _said(request: PersonRequest, set_id: UUID) -> dict[str, Any]:
    """What was said last of this claim in this browser; nothing before that."""
    found: dict[str, Any] = request.session.get("claims", {}).get(str(set_id), {})
    return found


def _picture(photo_id: UUID) -> bytes | None:
    try:
        return photo_path(photo_id).read_bytes()
    except OSError:
        return None


def _initial(state: SetState, person: Person) -> dict[str, str]:
    """The supplier it came from, and the person as the one to ask."""
    came = (
        Entry.objects.filter(tool_set_id=state.pk, kind="received")
        .select_related("supplier", "order_line__order__supplier")
        .order_by("act__happened_at")
        .first()
    )
    supplier = None
    if came is not None:
        supplier = came.supplier or (came.order_line.order.supplier if came.order_line else None)
    supplier = supplier or state.tool_set.tool_type.supplier
    return {"supplier": supplier.name if supplier else "", "contact": f"{person.name}, {person.branch.name}"}


def _page(
    request: PersonRequest,
    state: SetState,
    early: EarlyEnd | None,
    settings: ShopSettings,
    form: ClaimPaperForm | None,
    refused: Refused | None = None,
) -> HttpResponse:
    units: Any = request.user.units
    context: dict[str, Any] = {
        "state": state,
        "tool_type": state.tool_set.tool_type,
        "form": form,
        "refused": refused,
        "limit": share_words(settings["claim_share"]),
        "photos": photos_of([state.pk]),
        "back_url": reverse("inventory:toolset", args=[state.pk]),
        "paper": {"a4": "A4", "letter": "Letter"}[settings["paper"]],
    }
    if early is None:
        context["why_none"] = why_none(state, settings)
    else:
        ready = request.method == "GET" and bool(_said(request, state.pk))
        context |= {
            "pdf_url": reverse("inventory:set_claim_pdf", args=[state.pk]) if ready else "",
            "share": share_words(early.share),
            "reference": show_about(early.reference_m2, units),
            "rated": show_about(early.rated_m2, units),
            "why": _("worn") if early.why == "worn" else _("broken"),
        }
    return render(request, "inventory/toolset/claim.html", context, status=422 if request.method == "POST" else 200)
