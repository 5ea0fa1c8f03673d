"""Forms of buying: an order and its lines, what came, a counter purchase, the promised day, closing."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from inventory.actions.purchasing import MOST_AT_ONCE
from inventory.codes import CodeNotRead, read_code
from inventory.forms.amounts import decimal_mark
from inventory.forms.shop_form import ShopForm
from inventory.models import Branch, Label, Place, Supplier, ToolType
from inventory.models.choices import PlaceKind
from inventory.units import AmountNotRead, read_money

MOST_SETS_A_LINE = 500
LONGEST_PRICE = 24
# Where new sets are put: nobody receives onto a van or a site.
RECEIVE_TO = (PlaceKind.RACK, PlaceKind.CRATE, PlaceKind.TUB, PlaceKind.BUCKET)


class MoneyField(forms.CharField):
    """A price in the branch's currency: Decimal, or None for nothing."""

    def __init__(self, **more: Any) -> None:
        super().__init__(**{"widget": forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})} | more)
        self.currency = "USD"

    def prepare_value(self, value: Any) -> Any:
        """The price as the language writes it; what was typed stays as typed."""
        return f"{value:.2f}".replace(".", decimal_mark()) if isinstance(value, Decimal) else value

    def to_python(self, value: Any) -> Any:
        """The price, in the reader's words when it cannot be read or is in another currency."""
        text = super().to_python(value)
        if not text:
            return None
        if len(text) > LONGEST_PRICE:
            raise ValidationError(_now("That is too long for a price. Type it like 310.50."))
        try:
            money = read_money(text, self.currency, decimal_mark())
        except AmountNotRead as unread:
            raise ValidationError(unread.sentence) from unread
        if money.currency != self.currency:
            raise ValidationError(
                _now("%(text)s is in %(other)s; the shop reckons in %(own)s. Write it in %(own)s.")
                % {"text": text, "other": money.currency, "own": self.currency}
            )
        if money.amount >= Decimal(10) ** 9:
            raise ValidationError(
                _now("%(text)s for one set is too much. Write the price of one set.") % {"text": text}
            )
        return money.amount


class _Priced(ShopForm):
    """A form with a price that is there only for people who may see money."""

    price: MoneyField

    def __init__(self, *args: Any, branch: Branch, money: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields.get("price")
        if not money:
            self.fields.pop("price", None)
        elif isinstance(field, MoneyField):
            field.currency = branch.currency
            field.unit = branch.currency  # type: ignore[attr-defined]


class OrderForm(ShopForm):
    """From whom, on which day, under which number."""

    supplier = forms.ModelChoiceField(
        label=_("Supplier"), queryset=Supplier.objects.none(), empty_label=_("choose one")
    )
    on_day = forms.DateField(label=_("Ordered on"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    number = forms.CharField(
        label=_("Number"), max_length=24, required=False, help_text=_("The shop's own. Empty: the next of the year.")
    )

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        field = self.fields["supplier"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Supplier.objects.filter(active=True).order_by("name")

    def clean_on_day(self) -> date:
        """An order lies today or behind."""
        day: date = self.cleaned_data["on_day"]
        if day > self.today:
            raise ValidationError(_now("That day is still to come. Write the day the order went out."))
        return day


class OrderLineForm(_Priced):
    """One line of an order; an empty one is left out."""

    tool_type = forms.ModelChoiceField(
        label=_("Tool type"), queryset=ToolType.objects.none(), required=False, empty_label=_("none")
    )
    sets = forms.IntegerField(label=_("Sets"), min_value=1, max_value=MOST_SETS_A_LINE, required=False)
    price = MoneyField(label=_("Price of a set"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["tool_type"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = ToolType.objects.filter(active=True).order_by("ladder_place", "name")

    def clean(self) -> dict[str, Any]:
        """A line has both a type and a number, or nothing."""
        cleaned = super().clean() or self.cleaned_data
        if self.errors:
            return cleaned
        if cleaned.get("tool_type") and not cleaned.get("sets"):
            self.add_error("sets", _now("How many? Write a whole number, such as 4."))
        if cleaned.get("sets") and not cleaned.get("tool_type"):
            self.add_error("tool_type", _now("Of which type? Take one of the list."))
        return cleaned


class ReceiveForm(_Priced):
    """How many came, where they go, under which blank labels, at which price."""

    sets = forms.IntegerField(label=_("Sets that came"), min_value=1, max_value=MOST_AT_ONCE)
    place = forms.ModelChoiceField(label=_("Put them in"), queryset=Place.objects.none(), required=False)
    price = MoneyField(label=_("Price of a set"), required=False)
    blank = forms.CharField(
        label=_("Blank labels stuck on, scan each"),
        required=False,
        max_length=20_000,
        widget=forms.Textarea(attrs={"rows": 3, "autocapitalize": "characters", "spellcheck": "false"}),
        help_text=_("One a line. Sets without one get a new code to print."),
    )
    sure = forms.BooleanField(label=_("More came than was ordered, and that is right"), required=False)

    def __init__(self, *args: Any, branch: Branch, money: bool, **kwargs: Any) -> None:
        super().__init__(*args, branch=branch, money=money, **kwargs)
        self.branch = branch
        field = self.fields["place"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Place.objects.filter(branch=branch, active=True, kind__in=RECEIVE_TO).order_by("kind", "name")
        field.empty_label = _now("not said")

    def clean_blank(self) -> list[Label]:
        """The blank labels that were scanned, in order, each once; codes or whole addresses."""
        texts = [text for text in self.cleaned_data["blank"].replace(",", "\n").split() if text]
        codes: dict[str, str] = {}
        for text in texts:
            try:
                codes.setdefault(read_code(text), text)
            except CodeNotRead as unread:
                raise ValidationError(f"{text}: {unread}") from unread
        found = {label.code: label for label in Label.objects.filter(pk__in=codes, branch=self.branch)}
        labels = []
        for code in codes:
            label = found.get(code)
            if label is None:
                raise ValidationError(
                    _now("%(code)s is no label of this shop. Take it out, or scan again.") % {"code": code}
                )
            if not label.blank:
                raise ValidationError(
                    _now("%(code)s belongs to something already. Scan a blank label.") % {"code": label.code}
                )
            labels.append(label)
        return labels

    def clean(self) -> dict[str, Any]:
        """No more labels than sets."""
        cleaned = super().clean() or self.cleaned_data
        labels, sets = cleaned.get("blank") or [], cleaned.get("sets")
        if sets is not None and len(labels) > sets:
            self.add_error(
                "blank",
                _now("%(labels)d labels for %(sets)d sets. Take some out, or count the sets again.")
                % {"labels": len(labels), "sets": sets},
            )
        return cleaned


class CounterForm(ReceiveForm):
    """The same without an order: what was bought over a counter, and where."""

    tool_type = forms.ModelChoiceField(
        label=_("Tool type"), queryset=ToolType.objects.none(), empty_label=_("choose one")
    )
    supplier = forms.ModelChoiceField(
        label=_("Bought from"), queryset=Supplier.objects.none(), required=False, empty_label=_("not said")
    )
    field_order = ("tool_type", "sets", "supplier", "price", "place", "blank")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["sure"]
        types, suppliers = self.fields["tool_type"], self.fields["supplier"]
        assert isinstance(types, forms.ModelChoiceField)
        assert isinstance(suppliers, forms.ModelChoiceField)
        types.queryset = ToolType.objects.filter(active=True).order_by("ladder_place", "name")
        suppliers.queryset = Supplier.objects.filter(active=True).order_by("name")


class PromiseForm(ShopForm):
    """The day the supplier promises."""

    day = forms.DateField(label=_("Promised for"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))


class CloseForm(ShopForm):
    """Why nothing more will come."""

    why = forms.CharField(label=_("Why nothing more will come"), max_length=200)
