"""Forms of what is done with the pieces of a set: changed, joined from another set, dressed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.actions.dressing import Dressing
from inventory.actions.pieces import Change, Joining
from inventory.forms.set_forms import HeightField, SureForm, height_text, mark_of
from inventory.heights import Heights
from inventory.models import Person, ToolSet
from inventory.models.choices import DressMedium
from inventory.queries.opening import open_text

_NOTE = 400


class _PieceForm(SureForm):
    """What the forms here share: counts, heights in the person's unit, a note."""

    def _start(self, person: Person, tool_set: ToolSet) -> None:
        self.person, self.tool_set = person, tool_set
        self.options: dict[str, Any] = {"units": person.units, "decimal_mark": mark_of(person), "required": False}

    def _count(self, name: str, label: Any, *, initial: int = 0, least: int = 0) -> None:
        attrs = {"inputmode": "numeric", "autocomplete": "off"}
        self.fields[name] = forms.IntegerField(
            label=label,
            initial=initial,
            min_value=least,
            max_value=self.tool_set.tool_type.pieces_per_set,
            widget=forms.TextInput(attrs=attrs),
        )

    def _after(self) -> None:
        label = _("Lowest piece of the set afterwards, if measured")
        self.fields["height"] = HeightField(label=label, **self.options)
        self.backing(self.tool_set.tool_type)

    def _heights(self) -> Heights | None:
        given = self.cleaned_data
        height = given.get("height")
        return None if height is None else Heights((height,), bool(given.get("with_backing")), self.sure)

    def _note(self, label: Any) -> None:
        self.fields["note"] = forms.CharField(label=label, max_length=_NOTE, required=False)


class PiecesForm(_PieceForm):
    """How many pieces came out and how many new ones went in."""

    def __init__(self, *args: Any, person: Person, tool_set: ToolSet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._start(person, tool_set)
        self._count("out", _("Pieces taken out"), initial=1)
        self._count("new", _("New pieces put in"), initial=1)
        label = _("Height of a new piece, if measured")
        self.fields["new_height"] = HeightField(label=label, **self.options)
        self._after()
        self._note(_("Why, if it matters"))
        self.ask_sure(_("It is right: keep it"))

    def change(self) -> Change:
        """What was typed, as the action takes it."""
        given = self.cleaned_data
        return Change(
            given["out"], given["new"], given.get("new_height"), self._heights(), self.sure, given.get("note", "")
        )


class JoinForm(_PieceForm):
    """Which set the pieces come from, how many, and what becomes of the rest of it.

    others: (key, words) of the sets to choose from, the likeliest first.
    """

    def __init__(
        self, *args: Any, person: Person, tool_set: ToolSet, others: Sequence[tuple[str, str]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self._start(person, tool_set)
        self.fields["other"] = forms.ChoiceField(
            label=_("The set the pieces come from"), choices=[("", "–"), *others], required=False
        )
        self.fields["code"] = forms.CharField(label=_("Or its code"), max_length=200, required=False)
        self._count("moved", _("Pieces that come in"), initial=1, least=1)
        self._count("out", _("Pieces of its own taken out first"))
        self._after()
        rest = [("remnant", _("It stays a remnant")), ("retired", _("It is retired"))]
        self.fields["rest"] = forms.ChoiceField(
            label=_("What is left of the other set?"), choices=rest, widget=forms.RadioSelect, initial="remnant"
        )
        self._note(_("Why, if it matters"))
        self.ask_sure(_("It is right: keep it"))

    def clean(self) -> dict[str, Any]:
        """Find the other set: by its code where one was typed, else the one chosen."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        typed, chosen = cleaned.get("code", ""), cleaned.get("other", "")
        if typed:
            opened = open_text(typed, self.person.branch)
            cleaned["set"] = opened.tool_set
            if opened.tool_set is None:
                self.add_error("code", opened.sentence or _("That label is no set's. Scan the other set's own."))
            elif chosen and str(opened.tool_set.pk) != chosen:
                self.add_error("code", _("That is another set than the one chosen. Clear one of the two."))
        elif chosen:
            cleaned["set"] = ToolSet.objects.select_related("tool_type").get(pk=UUID(chosen))
        elif "other" in self.fields and "other" not in self.errors:
            self.add_error("other", _("Choose the set, or type its code."))
        return cleaned

    def joining(self) -> Joining:
        """What was typed, as the action takes it."""
        given = self.cleaned_data
        return Joining(
            given["moved"], given["out"], self._heights(), self.sure, given["rest"] == "retired", given.get("note", "")
        )


class DressForm(_PieceForm):
    """On what a set was dressed, how long, and its lowest piece before and after."""

    def __init__(
        self, *args: Any, person: Person, tool_set: ToolSet, before_mm: float | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self._start(person, tool_set)
        self.fields["medium"] = forms.ChoiceField(
            label=_("Dressed on"), choices=DressMedium.choices, widget=forms.RadioSelect
        )
        self.fields["minutes"] = forms.IntegerField(
            label=_("Minutes, if noted"),
            required=False,
            min_value=1,
            widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        )
        shown = height_text(before_mm, person.units)
        self.fields["before"] = HeightField(label=_("Lowest piece before"), initial=shown, **self.options)
        self.fields["height"] = HeightField(label=_("Lowest piece after"), **self.options)
        self.backing(tool_set.tool_type)
        self._note(_("More, if it matters"))
        self.ask_sure()

    def dressing(self) -> Dressing:
        """What was typed, as the action takes it."""
        given = self.cleaned_data
        return Dressing(
            given["medium"],
            given.get("minutes"),
            given.get("before"),
            given.get("height"),
            bool(given.get("with_backing")),
            self.sure,
            given.get("note", ""),
        )
