"""Forms of the ledger card: why an entry is voided, and what is right instead."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.forms.piece_forms import DressForm, JoinForm, PiecesForm
from inventory.forms.set_forms import MeasureForm, SureForm, mark_of
from inventory.forms.shop_form import ShopForm
from inventory.forms.soak import TimeOfDay, local_instant
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


class CorrectWorkForm(SureForm, VoidForm):
    """What was really worked; ``sure`` appears once something unlikely was typed."""

    def __init__(self, *args: Any, person: Person, entry: Entry, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        options = {"units": person.units, "decimal_mark": mark_of(person)}
        why = self.fields.pop("why")
        code = unit_for("area", person.units)  # type: ignore[arg-type]
        shown = show_number(from_si(entry.area_m2 or 0.0, code), 2)
        self.fields["area"] = AreaTyped(label=_("Area of one pass"), initial=shown, **options)
        self.fields["passes"] = forms.IntegerField(label=_("Passes"), initial=entry.passes, min_value=1)
        self.fields["why"] = why
        self.ask_sure()


def _as_said(height_mm: float | None, entry: Entry, person: Person) -> str:
    """A height in the unit it was entered in: shown so, and sent back untouched, it stays what it was."""
    if height_mm is None:
        return ""
    code = unit_for("height", person.units)  # type: ignore[arg-type]
    said = entry.amount_unit if entry.amount_unit in UNITS else code
    shown = show_number(from_si(height_mm, said), 4)
    return shown if said == code else f"{shown} {UNITS[said].symbol}"


def _ask_why(form: forms.Form) -> None:
    """What was wrong, as every correction asks it; what was unlikely stays the last question."""
    form.fields["why"] = deepcopy(VoidForm.base_fields["why"])
    if "sure" in form.fields:
        form.fields["sure"] = form.fields.pop("sure")


class CorrectHeightForm(MeasureForm):
    """What the pieces really read: one by one where they were typed so."""

    def __init__(self, *args: Any, person: Person, entry: Entry, **kwargs: Any) -> None:
        assert entry.tool_set is not None
        rows = list(entry.piece_rows.order_by("position").values_list("height_mm", flat=True))
        shown = {
            f"height_{number}" if number > 1 else "height": _as_said(height_mm, entry, person)
            for number, height_mm in enumerate(rows, start=1)
        } or {
            "height": _as_said(entry.lowest_height_mm, entry, person),
            "mean": _as_said(entry.mean_height_mm, entry, person),
        }
        tool_type, pieces = entry.tool_set.tool_type, len(rows) or None
        kwargs |= {"tool_type": tool_type, "pieces": pieces, "each": bool(rows), "initial": shown}
        super().__init__(*args, person=person, **kwargs)
        _ask_why(self)


class CorrectDressForm(DressForm):
    """How it was really dressed."""

    def __init__(self, *args: Any, person: Person, entry: Entry, **kwargs: Any) -> None:
        assert entry.tool_set is not None
        kwargs["initial"] = {
            "medium": entry.dress_medium,
            "minutes": entry.minutes,
            "before": _as_said(entry.before_height_mm, entry, person),
            "height": _as_said(entry.lowest_height_mm, entry, person),
            "note": entry.why or "",
        }
        super().__init__(*args, person=person, tool_set=entry.tool_set, **kwargs)
        _ask_why(self)


class CorrectPiecesForm(PiecesForm):
    """How many pieces really came out and went in."""

    def __init__(self, *args: Any, person: Person, entry: Entry, **kwargs: Any) -> None:
        assert entry.tool_set is not None
        rows = list(entry.piece_rows.values_list("from_set_id", "to_set_id", "height_mm"))
        fresh = [height for come, _go, height in rows if come is None]
        kwargs["initial"] = {
            "out": sum(1 for _come, go, _height in rows if go is None),
            "new": len(fresh),
            "new_height": _as_said(next((one for one in fresh if one is not None), None), entry, person),
            "height": _as_said(entry.lowest_height_mm, entry, person),
            "note": entry.why or "",
        }
        super().__init__(*args, person=person, tool_set=entry.tool_set, **kwargs)
        _ask_why(self)


class CorrectJoinForm(JoinForm):
    """How many pieces really came in from the other set. entry: the line of the set they went into."""

    def __init__(self, *args: Any, person: Person, entry: Entry, **kwargs: Any) -> None:
        assert entry.tool_set is not None
        rows = list(entry.piece_rows.values_list("from_set_id", "to_set_id"))
        retired = entry.act.entries.filter(kind="retired").exists()
        kwargs["initial"] = {
            "moved": sum(1 for come, _go in rows if come == entry.other_set_id),
            "out": sum(1 for _come, go in rows if go is None),
            "height": _as_said(entry.lowest_height_mm, entry, person),
            "rest": "retired" if retired else "remnant",
            "note": entry.why or "",
        }
        super().__init__(*args, person=person, tool_set=entry.tool_set, others=[], **kwargs)
        # Another set would be another act: that one is voided.
        del self.fields["other"], self.fields["code"]
        _ask_why(self)


def form_to_correct(entry: Entry) -> tuple[Callable[..., Any], Entry]:
    """The form that says an entry anew, and the line it starts from: of two sets the one the pieces went into."""
    if entry.kind == "pieces_changed" and entry.other_set_id is not None:
        first = entry.act.entries.filter(kind="pieces_changed").select_related("tool_set__tool_type", "act")
        return CorrectJoinForm, first.order_by("line_no")[0]
    return _TO_CORRECT[entry.kind], entry


_TO_CORRECT: dict[str, Callable[..., Any]] = {
    "worked": CorrectWorkForm,
    "measured": CorrectHeightForm,
    "dressed": CorrectDressForm,
    "pieces_changed": CorrectPiecesForm,
    "soak_begun": SoakTimeForm,
    "soak_ended": SoakTimeForm,
}
