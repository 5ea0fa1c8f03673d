"""The forms of work: what a set polished, and the short one of My job."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.forms.amounts import AmountField, UnitsForm
from inventory.models import Machine
from inventory.models.choices import Basis

BASES = ((Basis.MEASURED, _("measured")), (Basis.SECTION_DONE, _("section done")))
# What only some lines of work need: a typed code, a set changed part-way, another machine, paper.
SELDOM = ("code", "second_set", "second_area", "machine", "basis", "paper")
# The answers an unlikely line is asked about: "it is right so" holds for exactly these, and for no others.
ASKED_OF = ("shift", "step", "tool_set", "code", "area", "passes", "second_set", "second_area")
PAPER = (("", _("logged now")), ("adds", _("from paper, adds to it")), ("instead", _("from paper, stands instead")))


class SureBox(forms.CheckboxInput):
    """A box whose value is the answers it was shown for: ticked for others it counts for nothing."""

    def __init__(self, answers: str) -> None:
        super().__init__(check_test=lambda value: value == answers)
        self.answers = answers

    def format_value(self, value: Any) -> str:
        """The answers, whatever was sent before."""
        return self.answers


class SureForm(UnitsForm):
    """A form of work that asks back what is unlikely."""

    sure = forms.BooleanField(label=_("It is right so"), required=False, widget=forms.HiddenInput)

    def ask(self) -> None:
        """Show the box that says it is right."""
        self.fields["sure"].widget = SureBox(self._answers)

    @property
    def is_sure(self) -> bool:
        """Whether these answers, as they are now, were asked about and said to be right."""
        return bool(self._answers.strip("|")) and self.data.get(self.add_prefix("sure")) == self._answers

    @property
    def _answers(self) -> str:
        return "|".join(str(self.data.get(self.add_prefix(name), "")).strip() for name in ASKED_OF)


class WorkForm(SureForm):
    """One set's work in one step of one shift; the second set is for one changed part-way through."""

    shift = forms.ChoiceField(label=_("Shift"), required=False)
    step = forms.ChoiceField(label=_("Step"))
    tool_set = forms.ChoiceField(label=_("Set"), required=False)
    code = forms.CharField(label=_("or its code"), max_length=40, required=False)
    area = AmountField("area", label=_("Area of a pass"))
    passes = forms.IntegerField(label=_("Passes"), initial=1)
    second_set = forms.ChoiceField(label=_("Changed part-way to"), required=False)
    second_area = AmountField("area", label=_("Area with that one"), required=False)
    machine = forms.ModelChoiceField(
        label=_("Machine"), queryset=Machine.objects.none(), required=False, empty_label="—"
    )
    basis = forms.ChoiceField(label=_("Basis"), choices=BASES, initial=Basis.MEASURED, widget=forms.RadioSelect)
    paper = forms.ChoiceField(label=_("Where it comes from"), choices=PAPER, required=False)
    field_order = (
        "shift", "step", "tool_set", "code", "area", "passes", "second_set", "second_area", "machine", "basis", "paper",
    )  # fmt: skip

    def __init__(self, *args: Any, options: dict[str, Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("shift", "step", "tool_set", "second_set"):
            chosen = self.fields[name]
            assert isinstance(chosen, forms.ChoiceField)
            chosen.choices = options[name]
        machine = self.fields["machine"]
        assert isinstance(machine, forms.ModelChoiceField)
        machine.queryset = options["machines"]
        self.known: tuple[str, ...] = ()

    def folds(self, name: str) -> bool:
        """Whether a field waits under *More*: it is seldom needed, or the ledger knows its answer."""
        return name in self.known or name in SELDOM

    @property
    def asked(self) -> list[forms.BoundField]:
        """The fields that are asked at once."""
        return [field for field in self if not self.folds(field.name)]

    @property
    def folded(self) -> list[forms.BoundField]:
        """The fields under *More*."""
        return [field for field in self if self.folds(field.name)]

    @property
    def unfolded(self) -> bool:
        """Whether *More* is open: one of its answers does not read."""
        return any(field.errors for field in self.folded)

    def entered(self, name: str) -> str:
        """An amount as it was typed."""
        return str(self.data.get(self.add_prefix(name), "")).strip()

    def unit_of(self, name: str) -> str:
        """The unit code in which an amount was asked."""
        amount = self.fields[name]
        assert isinstance(amount, AmountField)
        return amount.unit_code


class PassForm(SureForm):
    """What is logged on the floor: how many passes over which area, by which set."""

    passes = forms.IntegerField(label=_("Passes"), initial=1)
    area = AmountField("area", label=_("Area of a pass"))
    tool_set = forms.UUIDField(widget=forms.HiddenInput)
