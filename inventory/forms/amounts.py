"""A field for an amount: read in the person's units, fractions, comma or point; kept in SI."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import get_language

from inventory import units as quantities
from inventory.forms.shop_form import ShopForm
from inventory.units import UNITS, AmountNotRead, Dimension, Units, from_si, unit_for

READ = {
    "area": quantities.read_area,
    "height": quantities.read_height,
    "length": quantities.read_length,
    "temperature": quantities.read_temperature,
    "hours": quantities.read_hours,
    "volume": quantities.read_volume,
    "speed": quantities.read_speed,
}


def decimal_mark() -> str:
    """The decimal mark of the language the page is in."""
    return "," if (get_language() or "en").startswith("es") else "."


class AmountField(forms.CharField):
    """An amount of one dimension: shown and read in the person's units, SI (or None) as its value."""

    unit: str

    def __init__(self, dimension: Dimension, units: Units = "us", **more: Any) -> None:
        super().__init__(**{"widget": forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})} | more)
        self.dimension = dimension
        self.use_units(units)

    def use_units(self, units: Units) -> None:
        """Take the units of the person before the page."""
        self.unit_code = unit_for(self.dimension, units)
        self.unit = UNITS[self.unit_code].symbol

    def prepare_value(self, value: Any) -> Any:
        """SI as a text in the person's unit; what was typed stays as typed."""
        if isinstance(value, (int, float)):
            return f"{round(from_si(float(value), self.unit_code), 4):g}".replace(".", decimal_mark())
        return value

    def to_python(self, value: Any) -> Any:
        """SI, or None for nothing. Raises ValidationError in the words of the reader."""
        text = super().to_python(value)
        if not text:
            return None
        try:
            return float(READ[self.dimension](text, self.unit_code, decimal_mark()).si)
        except AmountNotRead as unread:
            raise ValidationError(unread.sentence) from unread


class UnitsForm(ShopForm):
    """A form with amounts: `units` of the person; an amount nobody touched keeps its exact value."""

    def __init__(self, *args: Any, units: Units = "us", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            if isinstance(field, AmountField):
                field.use_units(units)

    def clean(self) -> dict[str, Any]:
        """Give untouched amounts their exact initial value back."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        for name, field in self.fields.items():
            before = self.initial.get(name)
            if isinstance(field, AmountField) and isinstance(before, float) and name in cleaned:
                typed = field.widget.value_from_datadict(self.data, self.files, self.add_prefix(name))
                if typed == field.prepare_value(before):
                    cleaned[name] = before
        return cleaned
