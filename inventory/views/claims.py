"""Claims to a supplier, for sets that failed early."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.actions.photos import check_room, keep_photos
from inventory.claim_pdf import draw_claim
from inventory.claims import EarlyEnd, claim_of, early_end, share_words
from inventory.forms.claim_form import ClaimPaperForm
from inventory.models import Entry, Person, SetState
from inventory.photos import photo_path
from inventory.queries.photos import photos_of
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.shop_settings import ShopSettings, settings_of
from inventory.times import zone_of
from inventory.units import show_about
from inventory.views.doors import PersonRequest, door

# Who retires a set or buys the next one may claim for it.
MAY_CLAIM = (Right.SETTLE, Right.BUY)


@door("GET", "POST", right=MAY_CLAIM)
def set_claim(request: PersonRequest, set_id: UUID) -> HttpResponse:
    """Make the paper of a claim: ask what is to be said, then the PDF. Nothing of it is kept but added photos."""
    get_object_or_404(SetState, pk=set_id, branch=request.user.branch)
    (state,) = states_with_types([set_id])
    now, person, posted = timezone.now(), request.user, request.method == "POST"
    settings = settings_of(person.branch, today=now.astimezone(zone_of(person.branch)).date())
    early = early_end(state, settings)
    if early is None:
        return _page(request, state, None, settings, None)
    given: tuple[Any, ...] = (request.POST, request.FILES) if posted else ()
    form = ClaimPaperForm(*given, initial=_initial(state, person))
    if not (posted and form.is_valid()):
        return _page(request, state, early, settings, form)
    try:
        check_room(state.tool_set, form.cleaned_data["photos"])
        keep_photos(person, state.tool_set, form.cleaned_data["photos"], now=now)
    except Refused as refusal:
        return _page(request, state, early, settings, form, refusal)
    claim = claim_of(state, early, form.said(), settings, person, now)
    photos = [_picture(photo.pk) for photo in claim.photos]
    name = f"claim-{state.code or 'set'}-{now:%Y-%m-%d}.pdf"
    response = HttpResponse(draw_claim(claim, photos, settings["paper"]), content_type="application/pdf")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


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
    if early is not None:
        context |= {
            "share": share_words(early.share),
            "reference": show_about(early.reference_m2, units),
            "rated": show_about(early.rated_m2, units),
            "why": _("worn") if early.why == "worn" else _("broken"),
        }
    return render(request, "inventory/toolset/claim.html", context, status=422 if request.method == "POST" else 200)
