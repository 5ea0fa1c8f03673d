"""Forms of the water: a reading, sets to put in, sets to take out; each with the time it was done."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from inventory.forms.amounts import decimal_mark
from inventory.forms.shop_form import ShopForm
from inventory.models import Person, Place
from inventory.times import show_day, zone_of
from inventory.units import UNITS, Amount, AmountNotRead, from_si, read_temperature, unit_for
from inventory.units.limits import EARLIEST_YEAR

# What was done with water is remembered for so many days; what is older changes no soak that still goes on.
_DAYS = 7
# Beyond it there may be no next day to reckon with.
_LATEST_YEAR = 9998


def local_instant(day: date, clock: time, branch: Any) -> datetime:
    """The instant at which the branch's clock showed that time on that day, in UTC.

    Of a time that a clock change made happen twice the first is taken (RFC 5545 3.3.5, from memory).
    Raises ValidationError for a time that the clock change skipped, and for a year that nothing here is of.
    """
    if not EARLIEST_YEAR <= day.year <= _LATEST_YEAR:
        raise ValidationError(_("Nothing on record is of the year %(year)s. Check it.") % {"year": day.year})
    wall = datetime.combine(day, clock, tzinfo=zone_of(branch))
    at = wall.astimezone(UTC)
    if at.astimezone(zone_of(branch)).replace(tzinfo=None) != wall.replace(tzinfo=None):
        raise ValidationError(
            _("There was no %(time)s on %(day)s: the clocks went forward. Write the time they showed then.")
            % {"time": f"{clock:%H:%M}", "day": show_day(day)}
        )
    return at


class TimeOfDay(forms.TimeField):
    """A time of day as the shop's clock shows it."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("input_formats", ["%H:%M", "%H.%M", "%H%M", "%I:%M %p", "%H"])
        kwargs.setdefault("widget", forms.TimeInput(attrs={"type": "time"}, format="%H:%M"))
        super().__init__(**kwargs)


class WhenForm(ShopForm):
    """When something was done: now, or a time of one of the last days, never a time to come."""

    at = TimeOfDay(label=_lazy("At"), required=False, help_text=_lazy("Leave it empty if it is now."))
    day = forms.ChoiceField(label=_lazy("Day"), required=False)

    def __init__(self, *args: Any, person: Person, now: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person, self.now = person, now
        days = self._days()
        words = [_("Today"), _("Yesterday")] + [show_day(day) for day in days[2:]]
        choices = [(day.isoformat(), label) for day, label in zip(days, words, strict=True)]
        self.fields["day"].choices = choices  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """Put day and time together: ``happened_at`` is None for what is done now."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        cleaned["happened_at"] = None
        clock = cleaned.get("at")
        if clock is not None and not self.errors:
            day = date.fromisoformat(cleaned["day"]) if cleaned.get("day") else self._days()[0]
            try:
                at = local_instant(day, clock, self.person.branch)
            except ValidationError as problem:
                self.add_error("at", problem)
                return cleaned
            if at > self.now:
                self.add_error("at", _("That time has not come yet. Choose an earlier day, or leave the time empty."))
            cleaned["happened_at"] = at
        elif cleaned.get("day", "") not in ("", self._days()[0].isoformat()) and "at" not in self.errors:
            self.add_error("at", _("That day needs a time. Write it, or choose today."))
        return cleaned

    def _days(self) -> list[date]:
        """The days to choose from, today first."""
        today = self.now.astimezone(zone_of(self.person.branch)).date()
        return [today - timedelta(days=back) for back in range(_DAYS)]


class ReadingForm(WhenForm):
    """A tub's temperature in the person's unit, and when it was read: now, or a time of one of the last days."""

    water = forms.CharField(
        label=_lazy("Temperature"), widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
    )
    at = TimeOfDay(label=_lazy("Read at"), required=False, help_text=_lazy("Leave it empty if it is being read now."))
    sure = forms.BooleanField(label=_lazy("It is right, keep it"), required=False)

    field_order = ["water", "at", "day", "sure"]

    def __init__(self, *args: Any, person: Person, now: datetime, **kwargs: Any) -> None:
        super().__init__(*args, person=person, now=now, **kwargs)
        self.unit_code = unit_for("temperature", person.units)  # type: ignore[arg-type]  # a closed choice of two
        self.fields["water"].unit = UNITS[self.unit_code].symbol  # type: ignore[attr-defined]

    def suggest(self, temperature_c: float | None) -> None:
        """Offer the last reading."""
        if temperature_c is not None:
            value = f"{round(from_si(temperature_c, self.unit_code)):g}"
            self.initial["water"] = value

    def clean_water(self) -> Amount:
        """The temperature, with value and unit as typed."""
        try:
            return read_temperature(self.cleaned_data["water"], self.unit_code, decimal_mark())
        except AmountNotRead as unread:
            raise ValidationError(unread.sentence) from unread


class PutInForm(WhenForm):
    """When sets went into their tub."""

    at = TimeOfDay(
        label=_lazy("Put in at"),
        required=False,
        help_text=_lazy(
            "Leave it empty if it is now. A set labelled today may lie there since earlier: say since when."
        ),
    )


class TakeOutForm(WhenForm):
    """Where sets go that are taken out of their tub: back to where each hung, or to one place and peg; and when."""

    at = TimeOfDay(label=_lazy("Taken out at"), required=False, help_text=_lazy("Leave it empty if it is now."))
    field_order = ["place", "peg", "at", "day"]

    place = forms.ChoiceField(label=_lazy("To"))
    peg = forms.CharField(
        label=_lazy("Peg"), required=False, max_length=12, help_text=_lazy("Only if it is one set and hangs elsewhere.")
    )

    HOME = "home"

    def __init__(self, *args: Any, places: list[Place], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        home = (self.HOME, _("Where each hung before"))
        self.fields["place"].choices = [home, *((str(p.pk), p.name) for p in places)]  # type: ignore[attr-defined]
