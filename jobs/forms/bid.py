"""The form of a bid: what is known of a floor on the telephone, and where the job would be."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.forms.amounts import AmountField, UnitsForm
from inventory.forms.shop_form import ShopForm
from inventory.models.choices import Coating, Condition, Hardness, Surface
from jobs.models import JobKind, Site
from jobs.plan_draft import FINISHES


class BidForm(UnitsForm):
    """Area and finish; the rest only where somebody knows it."""

    area_m2 = AmountField("area", label=_("Floor area"))
    finish_level = forms.TypedChoiceField(label=_("Finish"), choices=list(FINISHES.items()), coerce=int, initial=2)
    kind = forms.ChoiceField(label=_("Kind"), choices=JobKind.choices, initial=JobKind.FULL, required=False)
    condition = forms.ChoiceField(
        label=_("Condition"), choices=Condition.choices, initial=Condition.UNKNOWN, required=False
    )
    hardness = forms.ChoiceField(
        label=_("Hardness"), choices=Hardness.choices, initial=Hardness.UNKNOWN, required=False
    )
    surface = forms.ChoiceField(label=_("Surface"), choices=Surface.choices, initial=Surface.RAW, required=False)
    coating = forms.ChoiceField(label=_("Coating"), choices=Coating.choices, initial=Coating.NONE, required=False)
    edge_m = AmountField(
        "length", label=_("Edge length"), required=False, help_text=_("Empty: that of a square of this area.")
    )

    def filled(self) -> dict[str, Any]:
        """The answers, what was left out as its start value."""
        said = dict(self.cleaned_data)
        for name, field in self.fields.items():
            if said[name] == "" or (said[name] is None and field.initial is not None):
                said[name] = field.initial
        return said


class PlaceForm(ShopForm):
    """Where the job would be: a site there is, or the name of a new one."""

    site = forms.ModelChoiceField(label=_("Site"), queryset=Site.objects.none(), required=False, empty_label="—")
    new_site = forms.CharField(label=_("or a new site"), max_length=80, required=False)

    def __init__(self, *args: Any, branch: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        chosen = self.fields["site"]
        assert isinstance(chosen, forms.ModelChoiceField)
        chosen.queryset = Site.objects.filter(branch=branch, active=True).order_by("name")
