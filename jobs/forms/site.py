"""The forms of a site and of its floors."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.forms.amounts import AmountField, UnitsForm
from inventory.forms.shop_form import ShopForm
from inventory.models.choices import Coating, Condition, Hardness, Surface


class SiteForm(ShopForm):
    """A site: name, address, time zone, notes."""

    name = forms.CharField(label=_("Name"), max_length=80, help_text=_("What your crews call it."))
    address = forms.CharField(label=_("Address"), max_length=200, required=False)
    time_zone = forms.CharField(
        label=_("Time zone"),
        max_length=64,
        required=False,
        help_text=_("Such as America/Denver. Empty: the shop's own."),
    )
    notes = forms.CharField(
        label=_("Notes"), required=False, widget=forms.Textarea, help_text=_("Gate code, water, power, where to park.")
    )


class ZoneForm(UnitsForm):
    """A floor of a site: what decides how it wears sets."""

    name = forms.CharField(label=_("Floor"), max_length=80, help_text=_("Such as “Hall” or “Aisles 1 to 4”."))
    area_m2 = AmountField("area", label=_("Floor area"))
    edge_m = AmountField("length", label=_("Edge length"), required=False)
    hardness = forms.ChoiceField(label=_("Hardness"), choices=Hardness.choices)
    surface = forms.ChoiceField(label=_("Surface"), choices=Surface.choices)
    coating = forms.ChoiceField(label=_("Coating"), choices=Coating.choices)
    condition = forms.ChoiceField(
        label=_("Condition"),
        choices=Condition.choices,
        initial=Condition.UNKNOWN,
        required=False,
        help_text=_("Chooses the first step: heavy soil starts coarse, a sound floor at the first resin step."),
    )
    section_m2 = AmountField(
        "area", label=_("Section"), required=False, help_text=_("Worked through before moving on. Empty: the usual.")
    )
    notes = forms.CharField(label=_("Notes"), required=False, widget=forms.Textarea)
    sure = forms.BooleanField(label=_("The area is right"), required=False, widget=forms.HiddenInput)

    def ask(self) -> None:
        """Show the box that says the area is right."""
        self.fields["sure"].widget = forms.CheckboxInput()
