"""What labels to print, on what, from where on the sheet."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from inventory.codes import CodeNotRead, meant_as_printed, read_code
from inventory.forms.shop_form import ShopForm
from inventory.labels import label_sizes
from inventory.models import Branch, Label, Order, Place, ToolSet
from inventory.queries.labels import MOST_BLANK, still_blank, unlabelled_sets, unprinted

# Before the key of a chosen set that has no code yet; no code begins like that.
BARE = "set:"

DPI = (("203", "203"), ("300", "300"))


class LabelsForm(ShopForm):
    """Which labels (new, chosen, of an order, blank, of places), size, first free label, copies, dots per inch."""

    what = forms.ChoiceField(label=_("Which labels"), widget=forms.RadioSelect)
    codes = forms.CharField(
        label=_("Codes or own tags of the chosen ones"),
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

    def __init__(self, *args: Any, branch: Branch, units: str = "metric", **kwargs: Any) -> None:
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
        size.choices = [(key, one.name_in(units)) for key, one in label_sizes().items()]
        order.queryset = Order.objects.filter(branch=branch).order_by("-made_at", "-number")
        places.queryset = (
            Place.objects.filter(branch=branch, active=True).exclude(kind="unknown").order_by("kind", "name")
        )

    def clean_codes(self) -> list[str]:
        """The codes or own tags typed or scanned; refused with the first that names no set.

        One a line, or apart by commas; by spaces too, unless the line as it stands is an own tag ("rack 7").
        """
        read: dict[str, None] = {}
        self.bare: dict[str, ToolSet] = {}
        for line in self.cleaned_data["codes"].replace(",", "\n").splitlines():
            whole = " ".join(line.split())
            if not whole:
                continue
            for word in [whole] if self._own(whole) else whole.split():
                self._read(word, read)
        known = set(Label.objects.filter(pk__in=read, branch=self.branch).values_list("pk", flat=True))
        if missing := [code for code in read if code not in known and code not in self.bare]:
            raise forms.ValidationError(_now("No set has the code %(code)s.") % {"code": missing[0]})
        return list(read)

    def _own(self, typed: str) -> list[ToolSet]:
        rows = ToolSet.objects.filter(own_code__iexact=typed, state__branch=self.branch).exclude(own_code="")
        return list(rows.select_related("state")[:2])

    def _read(self, word: str, read: dict[str, None]) -> None:
        """Keep what this word names: a code, or the set of this own tag (a label is made for it where it has none)."""
        sets = [] if Label.objects.filter(pk=word.upper()).exists() else self._own(word)
        if len(sets) > 1:
            raise forms.ValidationError(
                _now("Several sets have the own tag “%(tag)s”. Take them by their codes.") % {"tag": word}
            )
        if sets:
            code = sets[0].state.code or f"{BARE}{sets[0].pk}"
            read[code] = None
            if not sets[0].state.code:
                self.bare[code] = sets[0]
            return
        try:
            read[read_code(word)] = None
        except CodeNotRead as problem:
            if meant_as_printed(word):
                raise forms.ValidationError(str(problem)) from problem
            raise forms.ValidationError(
                _now("No set has the code or the own tag “%(tag)s”. Look how it is written.") % {"tag": word}
            ) from problem

    def clean(self) -> dict[str, Any]:
        """What was chosen must say which ones."""
        given = super().clean() or {}
        asked = {"chosen": "codes", "order": "order", "blank": "blank", "places": "places"}.get(
            given.get("what", ""), ""
        )
        if asked and asked not in self.errors and not given.get(asked):
            self.add_error(asked, _now("This is needed for what you chose above: fill it in."))
        return given
