"""The forms of a van sheet that is typed in: who signed it, a row a step, a row a set, a row a floor."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.forms.amounts import AmountField, UnitsForm
from inventory.forms.set_forms import HeightField
from inventory.forms.shop_form import ShopForm, speak
from inventory.models import Person
from inventory.models.choices import LeftHow, TroubleKind
from jobs.forms.work import SureBox

INSTEAD = (("", "—"), ("adds", _("the paper adds to it")), ("instead", _("the paper stands instead")))
# In the order of the paper.
LEFT = (
    ("", "—"),
    (LeftHow.IN_WATER, _("in water")),
    (LeftHow.IN_VAN, _("in the van")),
    (LeftHow.DRY, _("left dry")),
    (LeftHow.CAME_BACK, _("came back")),
)
_MOST_PASSES = 999


class PaperHeadForm(ShopForm):
    """Who signed the sheet, and whether the shift is over with it."""

    done_by = forms.ModelChoiceField(label=_("Signed by"), queryset=Person.objects.none())
    close = forms.BooleanField(label=_("Close the shift with it"), required=False)
    sure = forms.BooleanField(label=_("It is right so"), required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, people: Any, said: str = "", **kwargs: Any) -> None:
        """said: what the whole sheet says, that "it is right so" holds for and for nothing else."""
        super().__init__(*args, **kwargs)
        chosen = self.fields["done_by"]
        assert isinstance(chosen, forms.ModelChoiceField)
        chosen.queryset = people
        self.said = said

    def ask(self) -> None:
        """Show the box that says it is right."""
        self.fields["sure"].widget = SureBox(self.said)

    @property
    def is_sure(self) -> bool:
        """Whether this very sheet was asked about and said to be right."""
        return bool(self.said) and self.data.get(self.add_prefix("sure")) == self.said


class PaperStepForm(UnitsForm):
    """A step's row: passes by section or one number for all; a set changed part-way; how the floor looks."""

    tool_set = forms.ChoiceField(label=_("Set"), required=False)
    passes = forms.IntegerField(
        label=_("Passes, the same all over"), required=False, min_value=0, max_value=_MOST_PASSES
    )
    area = AmountField("area", label=_("over an area of"), required=False)
    second_set = forms.ChoiceField(label=_("Changed part-way to"), required=False)
    second_passes = forms.IntegerField(label=_("Its passes"), required=False, min_value=0, max_value=_MOST_PASSES)
    second_area = AmountField("area", label=_("over an area of"), required=False)
    instead = forms.ChoiceField(label=_("Beside what is logged"), choices=INSTEAD, required=False)
    even = forms.BooleanField(label=_("Floor looks even"), required=False)
    why = forms.CharField(label=_("Done without a pass, because"), max_length=400, required=False)

    def __init__(self, *args: Any, sets: list[tuple[str, str]], sections: int, **kwargs: Any) -> None:
        self.sections = sections if sections > 1 else 0
        super().__init__(*args, **kwargs)
        for name in ("tool_set", "second_set"):
            chosen = self.fields[name]
            assert isinstance(chosen, forms.ChoiceField)
            chosen.choices = sets
        for number in range(1, self.sections + 1):
            box = forms.IntegerField(label=str(number), required=False, min_value=0, max_value=_MOST_PASSES)
            box.widget.attrs["inputmode"] = "numeric"
            speak(box)
            self.fields[f"s{number}"] = box

    @property
    def boxes(self) -> list[forms.BoundField]:
        """The boxes of the sections, in the paper's order."""
        return [self[f"s{number}"] for number in range(1, self.sections + 1)]

    @property
    def rest(self) -> list[forms.BoundField]:
        """The fields beside set and boxes."""
        names = ("passes", "area", "instead", "even", "why")
        return [self[name] for name in names if name in self.fields]

    @property
    def second(self) -> list[forms.BoundField]:
        """The fields of a set changed part-way."""
        return [self[name] for name in ("second_set", "second_passes", "second_area")]

    @property
    def by_passes(self) -> dict[int, int]:
        """How many sections had so many passes, those with none left out."""
        found: dict[int, int] = {}
        for number in range(1, self.sections + 1):
            passes = self.cleaned_data.get(f"s{number}")
            if passes:
                found[passes] = found.get(passes, 0) + 1
        return found

    def entered(self, name: str) -> str:
        """An amount as it was typed."""
        return str(self.data.get(self.add_prefix(name), "")).strip()

    def unit_of(self, name: str) -> str:
        """The unit code in which an amount was asked."""
        amount = self.fields[name]
        assert isinstance(amount, AmountField)
        return amount.unit_code

    def clean(self) -> dict[str, Any]:
        """One way of saying the passes, and a set for what was done."""
        said = super().clean()
        if self.by_passes and said.get("passes"):
            self.add_error("passes", _("The sections say their passes already. Leave this empty, or the boxes."))
        if said.get("passes") and not said.get("area") and "area" not in self.errors:
            self.add_error("area", _("Type the area of one pass."))
        worked = bool(self.by_passes or said.get("passes"))
        if worked and not said.get("tool_set") and "tool_set" not in self.errors:
            self.add_error("tool_set", _("Choose the set that did the work."))
        second = [bool(said.get(name)) for name in ("second_set", "second_passes", "second_area")]
        if any(second) and not all(second):
            self.add_error("second_set", _("A set changed part-way needs the set, its passes and its area."))
        return said


class PaperSetForm(ShopForm):
    """A set's row: how it was left, its lowest height, trouble with it."""

    left = forms.ChoiceField(label=_("Left"), choices=LEFT, required=False)

    def __init__(self, *args: Any, units: str, decimal_mark: str, backing: bool, out: bool, **kwargs: Any) -> None:
        """backing: the type has a backing that may be measured along; out: the set is out still and may be left."""
        super().__init__(*args, **kwargs)
        if not out:
            del self.fields["left"]
        self.fields["height"] = HeightField(
            label=_("Lowest height"), required=False, units=units, decimal_mark=decimal_mark
        )
        if backing:
            self.fields["with_backing"] = forms.BooleanField(label=_("The backing was measured along"), required=False)
        trouble = forms.ChoiceField(label=_("Trouble"), choices=[("", "—"), *TroubleKind.choices], required=False)
        self.fields["trouble"] = trouble
        self.fields["note"] = forms.CharField(label=_("in words"), max_length=400, required=False)
        for field in self.fields.values():
            speak(field)


class PaperFloorForm(ShopForm):
    """A floor's row: its readings."""

    gloss = forms.FloatField(label=_("Gloss, gloss units"), required=False, min_value=0)
    clarity = forms.FloatField(label=_("Image clarity, %"), required=False, min_value=0)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.localize = True
            field.widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
