"""What labels to print, on what, from where on the sheet."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from inventory.codes import CodeNotRead, read_code
from inventory.forms.shop_form import ShopForm
from inventory.labels import label_sizes
from inventory.models import Branch, Label, Order, Place
from inventory.queries.labels import MOST_BLANK, still_blank, unlabelled_sets, unprinted

DPI = (("203", "203"), ("300", "300"))


class LabelsForm(ShopForm):
    """Which labels (new, chosen, of an order, blank, of places), size, first free label, copies, dots per inch."""

    what = forms.ChoiceField(label=_("Which labels"), widget=forms.RadioSelect)
    codes = forms.CharField(
        label=_("Codes of the chosen ones"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 3, "data-scan-keys": ""}),
    )
    order = forms.ModelChoiceField(label=_("Order"), queryset=Order.objects.none(), required=False)
    blank = forms.IntegerField(label=_("How many blank ones"), required=False, min_value=1, max_value=MOST_BLANK)
    places = forms.ModelMultipleChoiceField(label=_("Places"), queryset=Place.objects.none(), required=False)
    size = forms.ChoiceField(label=_("Size"))
    start_at = forms.IntegerField(label=_("First free label of the sheet"), min_value=1, initial=1)
    copies = forms.IntegerField(label=_("Copies of each"), min_value=1, max_value=20, initial=1)
    dpi = forms.ChoiceField(label=_("Printer's dots per inch"), choices=DPI, initial="300")

    def __init__(self, *args: Any, branch: Branch, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.branch = branch
        new = unprinted(branch).count() + len(unlabelled_sets(branch))
        left = still_blank(branch).filter(printed_at__isnull=False).count()
        choices = [
            (
                "new",
                ngettext("%(n)d set without a printed label", "%(n)d sets without a printed label", new) % {"n": new},
            ),
            ("chosen", _now("Chosen sets")),
            ("order", _now("All of an order")),
            ("blank", _now("Blank labels (%(n)d still unused)") % {"n": left}),
            ("places", _now("Places")),
        ]
        what, size, order, places = (self.fields[name] for name in ("what", "size", "order", "places"))
        assert isinstance(what, forms.ChoiceField)
        assert isinstance(size, forms.ChoiceField)
        assert isinstance(order, forms.ModelChoiceField)
        assert isinstance(places, forms.ModelMultipleChoiceField)
        what.choices = choices
        size.choices = [(key, one.name) for key, one in label_sizes().items()]
        order.queryset = Order.objects.filter(branch=branch).order_by("-made_at")
        places.queryset = (
            Place.objects.filter(branch=branch, active=True).exclude(kind="unknown").order_by("kind", "name")
        )

    def clean_codes(self) -> list[str]:
        """The codes typed or scanned, one a line or apart by spaces or commas; refused with the one that is none."""
        read: dict[str, None] = {}
        for word in self.cleaned_data["codes"].replace(",", " ").split():
            try:
                read[read_code(word)] = None
            except CodeNotRead as problem:
                raise forms.ValidationError(str(problem)) from problem
        known = set(Label.objects.filter(pk__in=read, branch=self.branch).values_list("pk", flat=True))
        if missing := [code for code in read if code not in known]:
            raise forms.ValidationError(_now("No set has the code %(code)s.") % {"code": missing[0]})
        return list(read)

    def clean(self) -> dict[str, Any]:
        """What was chosen must say which ones."""
        given = super().clean() or {}
        asked = {"chosen": "codes", "order": "order", "blank": "blank", "places": "places"}.get(
            given.get("what", ""), ""
        )
        if asked and asked not in self.errors and not given.get(asked):
            self.add_error(asked, _now("This is needed for what you chose above: fill it in."))
        return given
