"""Forms of the catalogue and the shop: tool types, recipes, prices, suppliers, machines, places, settings, hours."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import time
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from inventory.forms.amounts import AmountField, UnitsForm, decimal_mark
from inventory.forms.shop_form import ShopForm
from inventory.labels import MARKS
from inventory.models import Supplier, ToolType
from inventory.models.choices import Bond, MachineKind, PlaceKind, Rotation, SoakNeed, WetDry
from inventory.mounts import same_mount
from inventory.refusals import Refused
from inventory.units import AmountNotRead, read_money


class SuggestInput(forms.TextInput):
    """A text field with what is known already to choose from; anything else can be typed."""

    def __init__(self, known: Sequence[str], attrs: dict[str, Any] | None = None) -> None:
        super().__init__(attrs)
        self.known = known

    def render(self, name: str, value: Any, attrs: dict[str, Any] | None = None, renderer: Any = None) -> SafeString:
        """The field and its list."""
        listed = f"known-{name}"
        field = super().render(name, value, {**(attrs or {}), "list": listed}, renderer)
        options = format_html_join("", '<option value="{}">', ((one,) for one in self.known))
        return format_html('{}<datalist id="{}">{}</datalist>', field, listed, options)


WEEKDAYS = (_("Monday"), _("Tuesday"), _("Wednesday"), _("Thursday"), _("Friday"), _("Saturday"), _("Sunday"))
_DAY = {"type": "date"}


class KeepForm(UnitsForm):
    """A form whose refusals come back from the action; `sure` shows once something unlikely was asked about."""

    sure = forms.BooleanField(label=_("It is right: keep it"), required=False, widget=forms.HiddenInput)

    def refuse(self, refused: Refused) -> None:
        """Show why the action refused, beside its field; what is unlikely can then be ticked as right."""
        self.add_error(refused.field if refused.field in self.fields else None, refused.sentence)
        if refused.code == "unlikely":
            self.fields["sure"].widget = forms.CheckboxInput()

    def said(self) -> dict[str, Any]:
        """What was filled in, without `sure`."""
        return {name: value for name, value in self.cleaned_data.items() if name != "sure"}


class DatedForm(KeepForm):
    """Words that hold from a day on."""

    valid_from = forms.DateField(label=_("Holds from"), widget=forms.DateInput(attrs=_DAY, format="%Y-%m-%d"))


class ToolTypeForm(KeepForm):
    """All facts of a tool type."""

    name = forms.CharField(label=_("Name"), max_length=80, help_text=_("Such as Resin 400."))
    grit = forms.CharField(label=_("Grit, as it stands on the tool"), max_length=12)
    bond = forms.ChoiceField(label=_("Bond"), choices=[("", _("choose")), *Bond.choices])
    ladder_place = forms.IntegerField(
        label=_("Place on the ladder"),
        min_value=0,
        help_text=_("Coarse first; leave room between, such as 10, 20, 30."),
    )
    mount = forms.CharField(
        label=_("Mount"), max_length=40, required=False, help_text=_("As the machine's: 9 in. plate.")
    )
    size_line = forms.CharField(label=_("Size, as on the label"), max_length=40, required=False)
    rotation = forms.ChoiceField(label=_("Rotation"), choices=Rotation.choices, initial="either")
    wet_dry = forms.ChoiceField(label=_("Runs"), choices=WetDry.choices, initial="wet")
    pieces_per_set = forms.IntegerField(label=_("Pieces in a set"), min_value=1, max_value=999)
    pack_sets = forms.IntegerField(label=_("Sets in a pack"), min_value=1, max_value=999, initial=1)
    new_height_mm = AmountField("height", label=_("Height when new"), required=False)
    retire_height_mm = AmountField("height", label=_("Retired at"), required=False)
    backing_mm = AmountField(
        "height",
        label=_("Backing"),
        required=False,
        help_text=_("What a calliper measures along that wears not at all."),
    )
    rated_coverage_m2 = AmountField(
        "area",
        label=_("Rated coverage of a set"),
        required=False,
        help_text=_("Area × passes until it is worn, on a medium floor: a floor polished in 5 passes counts 5 times."),
    )
    soak_need = forms.ChoiceField(
        label=_("Soak"), choices=SoakNeed.choices, initial="unknown",
        help_text=_("“Not known” warns once and never blocks. A recipe makes it required."),
    )  # fmt: skip
    own_mark = forms.CharField(
        label=_("Own mark"), required=False, max_length=12,
        help_text=_("Two characters, or one of: diamond, disc, ring, square, wedge, plus, bow, bars."),
    )  # fmt: skip
    supplier = forms.ModelChoiceField(
        label=_("Supplier"), queryset=Supplier.objects.order_by("name"), required=False, empty_label=_("nobody yet")
    )
    active = forms.BooleanField(label=_("In use"), required=False, initial=True)

    def clean_backing_mm(self) -> float:
        """No backing said is none."""
        return float(self.cleaned_data["backing_mm"] or 0.0)

    def clean_own_mark(self) -> str:
        """One of our shapes, or two characters of the shop's own."""
        typed = str(self.cleaned_data["own_mark"]).strip()
        if typed.lower().removeprefix("own-") in MARKS:
            return "own-" + typed.lower().removeprefix("own-")
        if len(typed) > 2:
            raise ValidationError(
                _("“%(mark)s” is no mark. Take two characters, or one of the eight shapes."), params={"mark": typed}
            )
        return typed


class SupplierOfTypesForm(KeepForm):
    """One supplier for many tool types; those that have none are ticked."""

    supplier = forms.ModelChoiceField(
        label=_("Supplier"), queryset=Supplier.objects.filter(active=True).order_by("name"), empty_label=_("choose")
    )
    types = forms.TypedMultipleChoiceField(
        label=_("Tool types"), coerce=int, widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("No tool type is ticked. Tick those that this supplier sells.")},
    )  # fmt: skip

    def __init__(self, *args: Any, types: list[ToolType], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        bare = _now("no supplier")
        self.fields["types"].choices = [  # type: ignore[attr-defined]
            (row.pk, f"{row.name} · {row.supplier.name if row.supplier else bare}") for row in types
        ]
        self.fields["types"].initial = [row.pk for row in types if row.supplier_id is None]


class RecipeForm(DatedForm):
    """How long, how warm, and how long it lasts out of water."""

    cold_hours = AmountField("hours", label=_("Hours in cold water"))
    hot_hours = AmountField("hours", label=_("Hours in hot water"), required=False)
    hot_limit_c = AmountField("temperature", label=_("Hot from"), required=False)
    mixed_credit = forms.BooleanField(label=_("Hot and cold hours add up"), required=False)
    dry_out_hours = AmountField("hours", label=_("Stays conditioned out of water"), initial=24.0)
    field_order = ("cold_hours", "hot_hours", "hot_limit_c", "mixed_credit", "dry_out_hours", "valid_from")


class PriceForm(DatedForm):
    """What one set costs."""

    supplier = forms.ModelChoiceField(label=_("Supplier"), queryset=Supplier.objects.order_by("name"))
    price = forms.CharField(label=_("Price of one set"), widget=forms.TextInput(attrs={"inputmode": "decimal"}))
    field_order = ("supplier", "price", "valid_from")

    def __init__(self, *args: Any, currency: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.currency = currency
        self.fields["price"].unit = currency  # type: ignore[attr-defined]

    def said(self) -> dict[str, Any]:
        """Price and currency apart."""
        words = super().said()
        money = words.pop("price")
        return words | {"price": money.amount, "currency": money.currency}

    def clean_price(self) -> Any:
        """Read the money as written. Raises ValidationError in the reader's words."""
        try:
            return read_money(self.cleaned_data["price"], self.currency, decimal_mark())
        except AmountNotRead as unread:
            raise ValidationError(unread.sentence) from unread


class SupplierForm(DatedForm):
    """A supplier and what they say of delivery."""

    name = forms.CharField(label=_("Name"), max_length=80)
    email = forms.EmailField(
        label=_("E-mail"), required=False, error_messages={"invalid": _("Write it like ana@firm.example.")}
    )
    lead_working_days = forms.IntegerField(label=_("They deliver within, working days"), required=False, min_value=0)
    minimum_sets = forms.IntegerField(label=_("Smallest order, sets"), min_value=1, max_value=9999, initial=1)
    active = forms.BooleanField(label=_("In use"), required=False, initial=True)
    field_order = ("name", "email", "lead_working_days", "minimum_sets", "valid_from", "active")


class MachineForm(KeepForm):
    """All facts of a machine."""

    name = forms.CharField(label=_("Name"), max_length=80)
    kind = forms.ChoiceField(label=_("Kind"), choices=MachineKind.choices)
    heads = forms.IntegerField(label=_("Heads"), min_value=1, max_value=99)
    mount = forms.CharField(
        label=_("Mount"),
        max_length=40,
        help_text=_("What its plates take; sets whose mount is another one do not fit it."),
    )
    rotation = forms.ChoiceField(label=_("Rotation"), choices=Rotation.choices, initial="either")
    pieces_per_load = forms.IntegerField(label=_("Pieces in a load"), min_value=1, max_value=999)
    path_m = AmountField("length", label=_("Path width"), required=False, help_text=_("Such as 36 in or 90 cm."))
    speed_low_m_per_min = AmountField("speed", label=_("Slowest speed"), required=False)
    speed_high_m_per_min = AmountField("speed", label=_("Fastest speed"), required=False)
    tank_l = AmountField("volume", label=_("Water tank"), required=False)
    recovery_tank_l = AmountField("volume", label=_("Recovery tank"), required=False)
    wet_dry = forms.ChoiceField(label=_("Runs"), choices=WetDry.choices, initial="wet")
    rented_from = forms.DateField(
        label=_("Rented from"), required=False, widget=forms.DateInput(attrs=_DAY, format="%Y-%m-%d")
    )
    rented_to = forms.DateField(
        label=_("Rented to"), required=False, widget=forms.DateInput(attrs=_DAY, format="%Y-%m-%d")
    )
    active = forms.BooleanField(label=_("In use"), required=False, initial=True)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = ToolType.objects.filter(active=True).exclude(mount="").order_by("ladder_place")
        self.mounts = list(dict.fromkeys(rows.values_list("mount", flat=True)))
        self.fields["mount"].widget = SuggestInput(self.mounts, {"maxlength": 40})

    def clean_mount(self) -> str:
        """The mount as the tool types write it, where they have this one; else as typed."""
        typed = " ".join(str(self.cleaned_data["mount"]).split())
        return next((known for known in self.mounts if same_mount(known, typed)), typed)


class PlaceForm(KeepForm):
    """A rack, tub, bucket, crate or van."""

    kind = forms.ChoiceField(
        label=_("Kind"),
        choices=[(kind.value, kind.label) for kind in PlaceKind if kind not in ("site", "supplier", "unknown")],
        widget=forms.RadioSelect,
    )
    name = forms.CharField(
        label=_("Name"), max_length=80, help_text=_("As it is called and written on it: Rack B, Tub 3.")
    )
    room_sets = forms.IntegerField(label=_("Room for sets"), required=False, min_value=1)
    thermostat = forms.BooleanField(
        label=_("A thermostat holds its water warm (tub)"), required=False,
        help_text=_("Counts for readings from now on; earlier ones keep what was said then."),
    )  # fmt: skip
    active = forms.BooleanField(label=_("In use"), required=False, initial=True)


class SettingForm(DatedForm):
    """One setting; its unit stands in the field."""

    value = forms.CharField(label=_("Value"), widget=forms.TextInput(attrs={"autocomplete": "off"}))
    field_order = ("value", "valid_from")


class BranchForm(KeepForm):
    """The shop's name, zone and currency."""

    name = forms.CharField(label=_("Name"), max_length=80)
    time_zone = forms.CharField(label=_("Time zone"), max_length=64)
    currency = forms.CharField(label=_("Currency, three letters"), max_length=3)


class HoursForm(DatedForm):
    """The staffed hours of a week: "7:00-12:00, 13:00-17:00"; empty is a free day."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for number, name in enumerate(WEEKDAYS):
            self.fields[f"day{number}"] = forms.CharField(label=name, required=False, max_length=60)
        self.order_fields([f"day{number}" for number in range(7)])

    def clean(self) -> dict[str, Any]:
        """Read every day's spans."""
        cleaned = super().clean()
        week: dict[int, list[tuple[time, time]]] = {}
        for number in range(7):
            try:
                spans = read_spans(str(cleaned.get(f"day{number}", "")))
            except ValueError as unread:
                self.add_error(f"day{number}", str(unread))
                continue
            if spans:
                week[number] = spans
        cleaned["week"] = week
        return cleaned


class ClosedDayForm(ShopForm):
    """A day nobody is there."""

    day = forms.DateField(label=_("Closed on"), widget=forms.DateInput(attrs=_DAY, format="%Y-%m-%d"))
    name = forms.CharField(label=_("Why"), required=False, max_length=80)


def read_spans(text: str) -> list[tuple[time, time]]:
    """Spans of a day as people write them: "7-12, 13:00-17:30", "22-6" past midnight, "16-24" until midnight.

    Raises ValueError with a sentence.
    """
    spans = []
    for part in filter(None, (piece.strip() for piece in re.split(r"[,;]", text))):
        clocks = re.fullmatch(r"(\d{1,2})(?:[:.](\d{2}))?\s*[-–]\s*(\d{1,2})(?:[:.](\d{2}))?", part)
        try:
            if clocks is None:
                raise ValueError(part)
            from_h, from_m, to_h, to_m = (int(number or 0) for number in clocks.groups())
            spans.append((time(from_h, from_m), time(0) if (to_h, to_m) == (24, 0) else time(to_h, to_m)))
        except ValueError as unread:
            raise ValueError(
                _now("“%(text)s” cannot be read as hours. Write them like 7:00-12:00, 13:00-17:00.") % {"text": part}
            ) from unread
    return spans


def show_spans(spans: Any) -> str:
    """Spans of a day as one writes them."""
    return ", ".join(f"{opens:%H:%M}-{'24:00' if closes == time(0) else f'{closes:%H:%M}'}" for opens, closes in spans)
