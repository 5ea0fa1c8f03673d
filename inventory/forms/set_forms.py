"""Forms of what one does with a set from its page."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.forms.photos_field import PhotosField
from inventory.forms.shop_form import ShopForm
from inventory.heights import Heights
from inventory.models import Person, Place, ToolType
from inventory.models.choices import OpeningKind, PlaceKind, RetiredWhy, TroubleKind
from inventory.said_text import trimmed
from inventory.units import Amount, AmountNotRead, from_si, read_height, show_number, unit_for
from inventory.units.factors import UNITS

_SHOP = (PlaceKind.RACK, PlaceKind.TUB, PlaceKind.BUCKET, PlaceKind.CRATE)


class HeightField(forms.CharField):
    """A tool height in the person's unit, or with a unit written behind; comma or point."""

    def __init__(self, *, units: str, decimal_mark: str = ".", **kwargs: Any) -> None:
        self.code = unit_for("height", units)  # type: ignore[arg-type]
        self.unit = UNITS[self.code].symbol
        self.decimal_mark = decimal_mark
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}))
        super().__init__(**kwargs)

    def clean(self, value: Any) -> Amount | None:
        text = super().clean(value)
        if not text:
            return None
        try:
            return read_height(text, self.code, self.decimal_mark)
        except AmountNotRead as problem:
            raise forms.ValidationError(problem.sentence) from problem


def mark_of(person: Person) -> str:
    """The decimal mark a person writes, by language."""
    return "," if person.language.startswith("es") else "."


def height_text(height_mm: float | None, units: str) -> str:
    """A height as a field holds it, in the person's unit without the unit's sign."""
    if height_mm is None:
        return ""
    code = unit_for("height", units)  # type: ignore[arg-type]
    return show_number(from_si(height_mm, code), 2 if code == "in" else 1)


# What is no answer that was asked about: the box itself, and words beside what was done.
_NOT_ASKED_OF = ("sure", "note", "why", "photos")


class SureForm(ShopForm):
    """A form that asks "is it right?" once something unlikely was typed: ``sure`` appears with ``ask_sure``.

    ask_sure carries the answers that were asked about: ticked for others, the box counts for nothing.
    """

    def ask_sure(self, label: Any = None) -> None:
        """Add the question as the last field, if it is to be asked."""
        if self.data.get("ask_sure"):
            self.fields["sure"] = forms.BooleanField(label=label or _("It is right: keep it"), required=False)

    @property
    def sure(self) -> bool:
        """Whether the person says that the unlikely is right, of exactly these answers."""
        return bool(self.cleaned_data.get("sure")) and self.data.get("ask_sure") == self.answers

    @property
    def answers(self) -> str:
        """What was typed, as the question is asked of it."""
        names = [name for name in self.fields if name not in _NOT_ASKED_OF]
        return "|".join(str(self.data.get(name, "")).strip() for name in names) or "1"

    def asked(self) -> Any:
        """The answers with the question asked of them, its box open."""
        data: Any = self.data.copy()  # type: ignore[attr-defined]  # what was posted is a QueryDict
        data["ask_sure"] = self.answers
        data.pop("sure", None)
        return data

    def backing(self, tool_type: ToolType) -> None:
        """Ask whether the backing was measured along, where the type has one."""
        if tool_type.backing_mm:
            words = _("The backing was measured along")
            self.fields["with_backing"] = forms.BooleanField(label=words, required=False)


class MeasureForm(SureForm):
    """The lowest piece and, if noted, the mean; or one height per piece (each); with the backing if taken along.

    pieces: how many the set has. With ``each`` the first field is piece 1, and any of them may be the lowest.
    """

    def __init__(
        self,
        *args: Any,
        person: Person,
        tool_type: ToolType,
        pieces: int | None = None,
        each: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        options = {"units": person.units, "decimal_mark": mark_of(person)}
        count = tool_type.pieces_per_set if pieces is None else pieces
        self.each = count > 1 and (each or bool(self.data.get("each")) or "height_2" in self.data)
        if self.each:
            for number in range(1, count + 1):
                label = _("Piece %(number)d") % {"number": number}
                name = "height" if number == 1 else f"height_{number}"
                self.fields[name] = HeightField(label=label, required=number == 1, **options)
        else:
            self.fields["height"] = HeightField(label=_("Lowest piece"), **options)
            if count > 1:
                self.fields["mean"] = HeightField(label=_("Mean of all pieces, if noted"), required=False, **options)
        self.backing(tool_type)
        self.ask_sure()
        self.count = count

    def clean(self) -> dict[str, Any]:
        """Refuse more heights than the set has pieces: none is dropped unsaid."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        numbers = [int(name[7:]) for name in self.data if re.fullmatch(r"height_[0-9]{1,4}", name)]
        more = [number for number in numbers if number > self.count and trimmed(self.data[f"height_{number}"])]
        if more:
            words = _("%(number)d heights were typed, the set has %(pieces)d pieces. Leave out what is none of its.")
            self.add_error("height", words % {"number": max(more), "pieces": self.count})
        return cleaned

    def heights(self) -> Heights:
        """What was typed, as the action takes it."""
        pieces = [self.cleaned_data.get(name) for name in self.fields if name.startswith("height")]
        given = tuple(piece for piece in pieces if piece is not None)
        return Heights(given, bool(self.cleaned_data.get("with_backing")), self.sure, self.cleaned_data.get("mean"))


class WhyForm(ShopForm):
    """A reason."""

    why = forms.CharField(label=_("What is wrong with it?"), max_length=400)


class ClearForm(ShopForm):
    """What was found by who looked."""

    why = forms.CharField(label=_("What was found?"), max_length=400, required=False)


class RetireForm(SureForm):
    """Why a set ends, and its last height."""

    retired_why = forms.ChoiceField(label=_("Why?"), choices=RetiredWhy.choices, widget=forms.RadioSelect)
    note = forms.CharField(label=_("More, if it matters"), max_length=400, required=False)

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        label, mark = _("Last height of the lowest piece, if measured"), mark_of(person)
        self.fields["height"] = HeightField(label=label, required=False, units=person.units, decimal_mark=mark)
        self.fields["photos"] = PhotosField(label=_("Photos, if it ended early"))
        self.ask_sure()

    def heights(self) -> Heights | None:
        """The last height as the action takes it, or None."""
        height = self.cleaned_data.get("height")
        return Heights((height,), sure=self.sure) if height is not None else None


class TroubleForm(ShopForm):
    """What happened to a set."""

    trouble = forms.ChoiceField(label=_("What happened?"), choices=TroubleKind.choices, widget=forms.RadioSelect)
    note = forms.CharField(label=_("More, if it matters"), max_length=400, required=False)
    photos = PhotosField(label=_("Photos, if they show it"))


class PlaceForm(ShopForm):
    """Where a set goes."""

    place = forms.ModelChoiceField(label=_("Where to"), queryset=Place.objects.none())
    peg = forms.CharField(label=_("Peg, if it has one"), max_length=12, required=False)

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        places = self.fields["place"]
        assert isinstance(places, forms.ModelChoiceField)
        places.queryset = Place.objects.filter(branch=person.branch, kind__in=_SHOP, active=True).order_by(
            "kind", "name"
        )


class ClaimForm(ShopForm):
    """A blank label becomes a set: opening, height, and where it hangs."""

    opening = forms.ChoiceField(choices=OpeningKind.choices)
    place = forms.ModelChoiceField(label=_("Where it hangs"), queryset=Place.objects.none(), required=False)
    peg = forms.CharField(label=_("Peg, if it has one"), max_length=12, required=False)

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["height"] = HeightField(
            label=_("Lowest piece"), required=False, units=person.units, decimal_mark=mark_of(person)
        )
        self.fields["sure"] = forms.BooleanField(label=_("It is right: keep it"), required=False)
        places = self.fields["place"]
        assert isinstance(places, forms.ModelChoiceField)
        places.queryset = Place.objects.filter(branch=person.branch, kind__in=_SHOP, active=True).order_by(
            "kind", "name"
        )

    def heights(self) -> Heights | None:
        """The height as the action takes it, or None."""
        height = self.cleaned_data.get("height")
        return Heights((height,), sure=bool(self.cleaned_data.get("sure"))) if height is not None else None
