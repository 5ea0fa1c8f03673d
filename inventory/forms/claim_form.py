"""What a person says with a claim to a supplier."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from inventory.claims import Said
from inventory.forms.photos_field import PhotosField
from inventory.forms.shop_form import ShopForm


class ClaimPaperForm(ShopForm):
    """To whom, what the shop asks for, who answers questions, and photos that are not on record yet."""

    supplier = forms.CharField(label=pgettext_lazy("letter", "To"), max_length=120)
    asks = forms.CharField(
        label=_("What do you ask for?"),
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 5}),
        help_text=_(
            "In your own words, such as: a new set, or a part of the price. Why it ended is not known: accuse nobody."
        ),
    )
    contact = forms.CharField(label=_("Who answers questions"), max_length=200)
    name_sites = forms.BooleanField(
        label=_("Name the sites and floors"),
        required=False,
        help_text=_("Left empty, floors are numbered and your customers are not named."),
    )
    photos = PhotosField(label=_("More photos"))

    def said(self) -> Said:
        """What was typed, as the claim takes it."""
        given = self.cleaned_data
        return Said(given["supplier"], given["asks"], given["contact"], given["name_sites"])
