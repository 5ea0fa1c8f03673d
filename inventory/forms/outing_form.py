"""The form of an outing."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext_lazy as _

from inventory.forms.shop_form import ShopForm
from inventory.forms.soak import local_instant
from inventory.models import Branch, Person, Place
from inventory.models.choices import HolderKind, OutingKind, PlaceKind


class LocalTime(forms.DateTimeInput):
    """A day and a time of the branch, as browsers ask for them."""

    input_type = "datetime-local"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%dT%H:%M")


class ShopTimeField(forms.DateTimeField):
    """A day and a time by the shop's clock; of an hour that a clock change made happen twice the first is taken."""

    branch: Branch

    def to_python(self, value: Any) -> Any:
        """The instant. Raises ValidationError in our words for a time the clock change skipped."""
        try:
            return super().to_python(value)
        except forms.ValidationError as problem:
            wall = parse_datetime(str(value).strip()) if problem.code == "ambiguous_timezone" else None
            if wall is None:
                raise
        return local_instant(wall.date(), wall.time(), self.branch)


class OutingForm(ShopForm):
    """Kind, name, holder, van, leaves and due; times are the branch's."""

    kind = forms.ChoiceField(label=_("Kind"), choices=OutingKind.choices, widget=forms.RadioSelect)
    name = forms.CharField(label=_("Name"), max_length=80, help_text=_("The job's site, or who borrows."))
    holder_kind = forms.ChoiceField(label=_("Held by"), choices=HolderKind.choices)
    holder_person = forms.ModelChoiceField(label=_("Person"), queryset=Person.objects.none(), required=False)
    holder_name = forms.CharField(label=_("Crew or firm"), max_length=80, required=False)
    van = forms.ModelChoiceField(label=_("Van"), queryset=Place.objects.none(), required=False)
    leaves_at = ShopTimeField(label=_("Leaves"), widget=LocalTime())
    due_at = ShopTimeField(label=_("Due back"), widget=LocalTime(), required=False)

    def __init__(self, *args: Any, branch: Branch, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("leaves_at", "due_at"):
            self.fields[name].branch = branch  # type: ignore[attr-defined]
        people, vans = self.fields["holder_person"], self.fields["van"]
        assert isinstance(people, forms.ModelChoiceField)
        assert isinstance(vans, forms.ModelChoiceField)
        people.queryset = Person.objects.filter(branch=branch, is_active=True).order_by("name")
        vans.queryset = Place.objects.filter(branch=branch, kind=PlaceKind.VAN, active=True).order_by("name")
