"""The rack as a list: chosen by grit, place, state, fitness and flags, sorted by any column."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

import django_filters
import django_tables2 as tables
from django import forms
from django.db.models import F, QuerySet
from django.http import HttpRequest
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext_lazy as _
from django_tables2.data import TableListData

from inventory.forms.shop_form import speak
from inventory.models import Person, Place, SetState, ToolType
from inventory.models.choices import Fitness
from inventory.queries.labels import own_tags
from inventory.queries.rack import RackSet
from inventory.rack_words import life_words, place_words, shown_code, state_words
from inventory.templatetags import gritledger as tags
from inventory.times import when_for
from inventory.units import show_about

ROWS_A_PAGE = 50
# Asked of the state, which is worked out and not stored: chosen after the rows are read.
STATES = [
    ("conditioned", _("conditioned")),
    ("soaked", _("soaked, not confirmed")),
    ("soaking", _("soaking")),
    ("dry", _("dry")),
    ("out", _("out")),
    ("aside", _("set aside")),
    ("glazed", _("glazed")),
    ("missing", _("missing")),
    ("leaves", _("leaves tonight")),
]


class SetFilter(django_filters.FilterSet):
    """What can be asked of the list. The state is asked of the rows (``chosen_state``)."""

    grit = django_filters.ModelChoiceFilter(
        queryset=ToolType.objects.none(), field_name="tool_set__tool_type", label=_("Tool type"), empty_label=_("all")
    )
    place = django_filters.ModelChoiceFilter(queryset=Place.objects.none(), label=_("Place"), empty_label=_("all"))
    state = django_filters.ChoiceFilter(choices=STATES, label=_("State"), empty_label=_("all"), method="pass_on")
    fitness = django_filters.ChoiceFilter(choices=Fitness.choices, label=_("Fitness"), empty_label=_("in use"))
    flags = django_filters.BooleanFilter(
        label=_("With open questions"), method="with_flags", widget=forms.CheckboxInput()
    )

    class Meta:
        model = SetState
        fields: tuple[str, ...] = ()

    def __init__(self, data: Any, *, person: Person) -> None:
        states = SetState.objects.filter(branch=person.branch, main_id=F("tool_set_id"))
        super().__init__(data, queryset=states)
        self.filters["grit"].queryset = ToolType.objects.order_by("ladder_place", "name")
        self.filters["place"].queryset = Place.objects.filter(branch=person.branch).order_by("kind", "name")
        for field in self.form.fields.values():
            speak(field)

    def pass_on(self, states: QuerySet[SetState], name: str, value: str) -> QuerySet[SetState]:
        """Leave the state to ``chosen``."""
        return states

    def with_flags(self, states: QuerySet[SetState], name: str, value: bool) -> QuerySet[SetState]:
        """Only sets with a flag nobody has settled."""
        return states.filter(open_flags__gt=0) if value else states

    @property
    def states(self) -> QuerySet[SetState]:
        """The states asked for; without a word about fitness those in use."""
        chosen: QuerySet[SetState] = self.qs
        asked = self.form.cleaned_data.get("fitness") if self.form.is_valid() else ""
        return chosen if asked else chosen.exclude(fitness=Fitness.RETIRED)

    def chosen(self, rows: list[RackSet]) -> list[RackSet]:
        """Of the rows those whose state is the one asked for."""
        asked = self.form.cleaned_data.get("state") if self.form.is_valid() else ""
        if not asked:
            return rows
        return [one for one in rows if (one.leaves if asked == "leaves" else one.key == asked)]


def _far(value: Any) -> tuple[bool, Any]:
    """Sorts what is not known last."""
    return (value is None, value if value is not None else 0)


_KEYS: dict[str, Callable[[RackSet], Any]] = {
    "code": lambda one: one.code,
    "grit": lambda one: (one.tool_type.ladder_place, one.tool_type.name, one.code),
    "state": lambda one: (one.key, one.code),
    "place": lambda one: (place_words(one), one.code),
    "life": lambda one: _far(one.life.likely_m2 if one.life else None),
    "worked": lambda one: one.worked_m2,
    "last": lambda one: _far(one.last_at.timestamp() if one.last_at else None),
    "flags": lambda one: one.flags,
}


class RackData(TableListData):
    """Rows of RackSet, sorted by what the columns mean."""

    def order_by(self, aliases: Any) -> None:
        """Sort by these columns, the last one first, so that the first decides."""
        for alias in reversed(tuple(aliases)):
            key = _KEYS.get(str(alias).lstrip("-"))
            if key is not None:
                self.data.sort(key=key, reverse=str(alias).startswith("-"))


_KEEP = {"td": {"class": "keep"}}
_NUMBER = {"td": {"class": "num keep"}, "th": {"class": "num"}}


class SetTable(tables.Table):
    """One set a row."""

    code = tables.Column(verbose_name=_("Code"), empty_values=(), attrs={"td": {"class": "head keep"}})
    grit = tables.Column(verbose_name=_("Grit"), empty_values=(), attrs=_KEEP)
    state = tables.Column(verbose_name=_("State"), empty_values=())
    place = tables.Column(verbose_name=_("Place"), empty_values=())
    life = tables.Column(verbose_name=_("Life left on a medium floor, likely"), empty_values=(), attrs=_NUMBER)
    between = tables.Column(
        verbose_name=_("At least, up to, on a medium floor"), empty_values=(), orderable=False, attrs=_NUMBER
    )
    worked = tables.Column(verbose_name=_("Worked area"), empty_values=(), attrs=_NUMBER)
    last = tables.Column(verbose_name=_("Last seen"), empty_values=(), attrs=_KEEP)
    flags = tables.Column(verbose_name=_("Questions"), empty_values=(), attrs=_NUMBER)

    class Meta:
        empty_text = _("No set is like that. Take a choice away.")

    def __init__(self, rows: list[RackSet], request: HttpRequest, person: Person, now: datetime) -> None:
        self.person, self.now, self.tags = person, now, own_tags(person.branch)
        super().__init__(RackData(rows), order_by=_sorting(request))

    def render_code(self, record: RackSet) -> SafeString:
        url = reverse("inventory:toolset", args=[record.set_id])
        return format_html('<a href="{}">{}</a>', url, shown_code(record, self.tags))

    def render_grit(self, record: RackSet) -> SafeString:
        return format_html(
            "<span>{} {}</span>", tags.grit(record.tool_type, "stamp-s"), record.tool_type.get_bond_display()
        )

    def render_state(self, record: RackSet) -> Any:
        words = state_words(record, self.person, self.now)
        return tags.state(record.key, words) if record.key else words

    def render_place(self, record: RackSet) -> str:
        return place_words(record)

    def render_life(self, record: RackSet) -> str:
        return life_words(record, self.person)[0]

    def render_between(self, record: RackSet) -> str:
        return life_words(record, self.person)[1]

    def render_worked(self, record: RackSet) -> str:
        return show_about(record.worked_m2, self.person.units)  # type: ignore[arg-type]

    def render_last(self, record: RackSet) -> str:
        return when_for(self.person, record.last_at, self.now) if record.last_at else ""

    def render_flags(self, record: RackSet) -> str:
        return str(record.flags) if record.flags else ""


def _sorting(request: HttpRequest) -> tuple[str, ...]:
    asked = request.GET.get("sort", "")
    return (asked,) if asked.lstrip("-") in _KEYS else ("grit",)
