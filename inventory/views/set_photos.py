"""The photos on record of a set: looked at, added, taken away. Served to signed-in people of its branch alone."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.photos import keep_photos, remove_photo
from inventory.forms.photos_field import PhotosForm
from inventory.models import SetPhoto, SetState
from inventory.photos import photo_path
from inventory.queries.photos import photos_of
from inventory.queries.soak import states_with_types
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.times import when_for
from inventory.views.doors import PersonRequest, door
from inventory.views.measuring import back_of


@door("GET", "POST", right=(Right.SCAN, Right.BUY, Right.SETTLE))
def set_photos(request: PersonRequest, set_id: UUID) -> HttpResponse:
    """The photos of a set, and a form for more."""
    get_object_or_404(SetState, pk=set_id, branch=request.user.branch)
    (state,) = states_with_types([set_id])
    person, now, posted = request.user, timezone.now(), request.method == "POST"
    form = PhotosForm(request.POST, request.FILES) if posted else PhotosForm()
    refused: Refused | None = None
    if posted and form.is_valid():
        try:
            kept = keep_photos(person, state.tool_set, form.cleaned_data["photos"], now=now)
        except Refused as refusal:
            refused = refusal
        else:
            words = ngettext("%(n)d photo is kept.", "%(n)d photos are kept.", len(kept)) % {"n": len(kept)}
            messages.success(request, words)
            return redirect(request.get_full_path())
    shown = [
        {"photo": photo, "when": when_for(person, photo.taken_at or photo.recorded_at, now)}
        for photo in photos_of([state.pk])
    ]
    context = {
        "state": state,
        "tool_type": state.tool_set.tool_type,
        "form": form,
        "refused": refused,
        "shown": shown,
        "may_remove": person.can(Right.SETTLE),
        "back_url": back_of(request, reverse("inventory:set_phone", args=[set_id])),
    }
    return render(request, "inventory/toolset/photos.html", context, status=422 if posted else 200)


@door("GET", right=(Right.SCAN, Right.BUY, Right.SETTLE))
def set_photo(request: PersonRequest, set_id: UUID, photo_id: UUID) -> HttpResponse:
    """One picture."""
    photo = _photo(request, set_id, photo_id)
    try:
        return HttpResponse(photo_path(photo.pk).read_bytes(), content_type="image/jpeg")
    except OSError as gone:
        raise Http404 from gone


@door("POST")
def set_photo_remove(request: PersonRequest, set_id: UUID, photo_id: UUID) -> HttpResponse:
    """Take a photo away: one's own, or any with the right to settle."""
    photo = _photo(request, set_id, photo_id)
    if photo.recorded_by_id != request.user.pk and not request.user.can(Right.SETTLE):
        words = _("%(person)s added that photo. Ask the shop manager to take it away.")
        messages.error(request, words % {"person": photo.recorded_by.name})
    else:
        remove_photo(request.user, photo, now=timezone.now())
        messages.success(request, _("The photo is shown no more. The same one sent again is back."))
    return redirect("inventory:set_photos", set_id)


def _photo(request: PersonRequest, set_id: UUID, photo_id: UUID) -> SetPhoto:
    return get_object_or_404(
        SetPhoto.objects.select_related("recorded_by"),
        pk=photo_id,
        tool_set_id=set_id,
        tool_set__state__branch=request.user.branch,
        removed_at__isnull=True,
    )
