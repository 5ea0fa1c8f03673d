"""Forms of the water: a reading with the time it was taken, sets to put in, sets to take out."""

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

# A reading is remembered for so many days; older ones change no soak that still goes on.
_DAYS = 7


def local_instant(day: date, clock: time, branch: Any) -> datetime:
    """The instant at which the branch's clock showed that time on that day, in UTC.

    Of a time that a clock change made happen twice the first is taken (RFC 5545 3.3.5, from memory).
    Raises ValidationError for a time that the clock change skipped.
    """
    wall = datetime.combine(day, clock, tzinfo=zone_of(branch))
    at = wall.astimezone(UTC)
    if at.astimezone(zone_of(branch)).replace(tzinfo=None) != wall.replace(tzinfo=None):
        raise ValidationError(
            _("There was no %(time)s on %(day)s: the clocks went forward. Write the time they showed then.")
            % {"time": f"{clock:%H:%M}", "day": show_day(day)}
        )
    return at


class ReadingForm(ShopForm):
    """A tub's temperature in the person's unit, and when it was read: now, or a time of one of the last days."""

    water = forms.CharField(
        label=_lazy("Temperature"), widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
    )
    at = forms.TimeField(
        label=_lazy("Read at"),
        required=False,
        input_formats=["%H:%M", "%H.%M", "%H%M", "%I:%M %p", "%H"],
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text=_lazy("Leave it empty if it is being read now."),
    )
    day = forms.ChoiceField(label=_lazy("Day"), required=False)
    sure = forms.BooleanField(label=_lazy("It is right, keep it"), required=False)

    def __init__(self, *args: Any, person: Person, now: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person, self.now = person, now
        self.unit_code = unit_for("temperature", person.units)  # type: ignore[arg-type]  # a closed choice of two
        self.fields["water"].unit = UNITS[self.unit_code].symbol  # type: ignore[attr-defined]
        today = now.astimezone(zone_of(person.branch)).date()
        days = [today - timedelta(days=back) for back in range(_DAYS)]
        words = [_("Today"), _("Yesterday")] + [show_day(day) for day in days[2:]]
        choices = [(day.isoformat(), label) for day, label in zip(days, words, strict=True)]
        self.fields["day"].choices = choices  # type: ignore[attr-defined]

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

    def clean(self) -> dict[str, Any]:
        """Put day and time together: ``happened_at`` is None for a reading of now."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        cleaned["happened_at"] = None
        clock = cleaned.get("at")
        if clock is not None and not self.errors:
            today = self.now.astimezone(zone_of(self.person.branch)).date()
            day = date.fromisoformat(cleaned["day"]) if cleaned.get("day") else today
            try:
                at = local_instant(day, clock, self.person.branch)
            except ValidationError as problem:
                self.add_error("at", problem)
                return cleaned
            if at > self.now:
                self.add_error("at", _("That time has not come yet. Choose an earlier day, or leave the time empty."))
            cleaned["happened_at"] = at
        return cleaned


class TakeOutForm(ShopForm):
    """Where sets go that are taken out of their tub: back to where each hung, or to one place and peg."""

    place = forms.ChoiceField(label=_lazy("To"))
    peg = forms.CharField(
        label=_lazy("Peg"), required=False, max_length=12, help_text=_lazy("Only if it is one set and hangs elsewhere.")
    )

    HOME = "home"

    def __init__(self, *args: Any, places: list[Place], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        home = (self.HOME, _("Where each hung before"))
        self.fields["place"].choices = [home, *((str(p.pk), p.name) for p in places)]  # type: ignore[attr-defined]
