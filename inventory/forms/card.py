"""Forms of the ledger card: why an entry is voided, and what is right instead."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.forms.set_forms import HeightField, height_text, mark_of
from inventory.forms.shop_form import ShopForm
from inventory.forms.soak import TimeOfDay, local_instant
from inventory.heights import Heights
from inventory.models import Entry, Person
from inventory.times import zone_of
from inventory.units import UNITS, Amount, AmountNotRead, from_si, read_area, show_number, unit_for


class VoidForm(ShopForm):
    """Why an entry is void."""

    why = forms.CharField(label=_("What was wrong with it?"), max_length=400, help_text=_("Such as: keyed twice."))


class AreaTyped(forms.CharField):
    """An area in the person's unit, or with a unit written behind; as typed and in SI."""

    def __init__(self, *, units: str, decimal_mark: str = ".", **kwargs: Any) -> None:
        self.code = unit_for("area", units)  # type: ignore[arg-type]
        self.unit = UNITS[self.code].symbol
        self.decimal_mark = decimal_mark
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}))
        super().__init__(**kwargs)

    def clean(self, value: Any) -> Amount:
        text = super().clean(value)
        try:
            return read_area(text, self.code, self.decimal_mark)
        except AmountNotRead as problem:
            raise forms.ValidationError(problem.sentence) from problem


class SoakTimeForm(VoidForm):
    """When a set really went into water, or came out: a time gone by."""

    day = forms.DateField(label=_("Day"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    at = TimeOfDay(label=_("At"))

    field_order = ["day", "at", "why"]

    def __init__(self, *args: Any, person: Person, entry: Entry, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person
        local = entry.act.happened_at.astimezone(zone_of(person.branch))
        self.initial.update(day=local.date(), at=local.time())

    def clean(self) -> dict[str, Any]:
        """Put day and time together."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if "day" in cleaned and "at" in cleaned:
            try:
                self.happened_at = local_instant(cleaned["day"], cleaned["at"], self.person.branch)
            except forms.ValidationError as problem:
                self.add_error("at", problem)
        return cleaned


class CorrectForm(VoidForm):
    """What is right instead; ``sure`` appears once something unlikely was typed."""

    def __init__(self, *args: Any, person: Person, entry: Entry, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        options = {"units": person.units, "decimal_mark": mark_of(person)}
        why = self.fields.pop("why")
        if entry.kind == "worked":
            code = unit_for("area", person.units)  # type: ignore[arg-type]
            shown = show_number(from_si(entry.area_m2 or 0.0, code), 2)
            self.fields["area"] = AreaTyped(label=_("Area of one pass"), initial=shown, **options)
            self.fields["passes"] = forms.IntegerField(label=_("Passes"), initial=entry.passes, min_value=1)
        else:
            shown = height_text(entry.lowest_height_mm, person.units)
            self.fields["height"] = HeightField(label=_("Lowest piece"), initial=shown, **options)
            if entry.tool_set is not None and entry.tool_set.tool_type.backing_mm:
                label = _("The backing was measured along")
                self.fields["with_backing"] = forms.BooleanField(label=label, required=False)
        self.fields["why"] = why
        if args and args[0] is not None and args[0].get("ask_sure"):
            self.fields["sure"] = forms.BooleanField(label=_("It is right: keep it"), required=False)

    @property
    def sure(self) -> bool:
        """Whether the person says that the unlikely is right."""
        return bool(self.cleaned_data.get("sure"))

    def heights(self) -> Heights:
        """The height as the action takes it."""
        return Heights((self.cleaned_data["height"],), bool(self.cleaned_data.get("with_backing")), self.sure)
