"""A field for several photos, from the camera or from files."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from inventory.actions.photos import MOST_AT_ONCE, read_photos
from inventory.forms.shop_form import ShopForm
from inventory.photos import MOST_BYTES, Photo, PhotoRefused, too_large

# Named one by one: a phone that takes another kind of picture then sends a JPEG of it (as far as we know).
_ACCEPT = "image/jpeg,image/png,image/webp"


class _Several(forms.FileInput):
    allow_multiple_selected = True

    def value_from_datadict(self, data: Any, files: Any, name: str) -> Any:
        return files.getlist(name) if hasattr(files, "getlist") else files.get(name)


class PhotosField(forms.FileField):
    """Photos, read and made small; an empty list for none."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("label", _("Photos"))
        kwargs.setdefault("widget", _Several(attrs={"accept": _ACCEPT, "multiple": True}))
        kwargs.setdefault("required", False)
        words = format_lazy(_("Up to {most} at once. Where they were taken is not kept."), most=MOST_AT_ONCE)
        kwargs.setdefault("help_text", words)
        super().__init__(**kwargs)

    def clean(self, data: Any, initial: Any = None) -> list[Photo]:
        """Read every file. Raises ValidationError in the words of the reader."""
        given = [one for one in (data or []) if one]
        if not given and self.required:
            raise forms.ValidationError(self.error_messages["required"], code="required")
        try:
            if any(one.size > MOST_BYTES for one in given):
                raise too_large()  # before it is read
            return read_photos([one.read() for one in given])
        except PhotoRefused as refusal:
            raise forms.ValidationError(refusal.sentence) from refusal


class PhotosForm(ShopForm):
    """Photos of a set."""

    photos = PhotosField(required=True)
