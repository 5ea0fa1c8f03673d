"""Forms about people: signing in, the first run, a person, oneself."""

from __future__ import annotations

from functools import lru_cache
from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from inventory.forms.shop_form import ShopForm
from inventory.models import Person
from inventory.rights import BUNDLES, Bundle, Right

PASSWORD = {"autocomplete": "new-password"}
PIN = {"inputmode": "numeric", "maxlength": "4", "autocomplete": "off", "pattern": "[0-9]*"}


@lru_cache
def zone_choices() -> list[tuple[str, str]]:
    """Every time zone that a place on earth is in, by name."""
    areas = ("Africa/", "America/", "Asia/", "Atlantic/", "Australia/", "Europe/", "Indian/", "Pacific/")
    names = sorted(name for name in available_timezones() if name.startswith(areas))
    return [(name, name.replace("_", " ")) for name in names] + [("UTC", "UTC")]


class SignInForm(ShopForm):
    """A name and a password, for whoever is not among the names shown."""

    username = forms.CharField(
        label=_("Sign-in name"),
        max_length=40,
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}),
    )
    password = forms.CharField(
        label=_("Password"), strip=False, widget=forms.PasswordInput(attrs={"autocomplete": "current-password"})
    )


class FirstRunForm(ShopForm):
    """What an empty shop is asked before it begins."""

    code = forms.CharField(
        label=_("The code from the terminal"),
        max_length=20,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}),
    )
    shop = forms.CharField(label=_("The shop's name"), max_length=80)
    time_zone = forms.ChoiceField(label=_("Its time zone"), choices=zone_choices)
    currency = forms.CharField(
        label=_("Its currency"), max_length=3, initial="USD", help_text=_("Three letters, such as USD or EUR.")
    )
    units = forms.ChoiceField(
        label=_("Units"),
        choices=[("us", _("ft, gal, °F")), ("metric", _("m, L, °C"))],
        initial="us",
        widget=forms.RadioSelect,
    )
    name = forms.CharField(label=_("Your name"), max_length=80, help_text=_("The ledger writes it beside what you do."))
    sign_in = forms.CharField(
        label=_("Your sign-in name"), max_length=40, widget=forms.TextInput(attrs={"autocapitalize": "none"})
    )
    password = forms.CharField(
        label=_("Your password"),
        strip=False,
        widget=forms.PasswordInput(attrs=PASSWORD),
        help_text=_("Ten characters or more."),
    )


class PersonForm(ShopForm):
    """A person: names, rights, how they sign in."""

    name = forms.CharField(label=_("Name"), max_length=80, help_text=_("As the ledger writes it, such as Ines O."))
    sign_in = forms.CharField(
        label=_("Sign-in name"), max_length=40, widget=forms.TextInput(attrs={"autocapitalize": "none"})
    )
    bundle = forms.ChoiceField(
        label=_("Work"),
        choices=[("", _("as ticked below")), *Bundle.choices],
        required=False,
        help_text=_("Gives the usual rights of that work instead of the ticks."),
    )
    rights = forms.MultipleChoiceField(
        label=pgettext_lazy("rights", "May"), choices=Right.choices, required=False, widget=forms.CheckboxSelectMultiple
    )
    password = forms.CharField(
        label=_("New password"),
        required=False,
        strip=False,
        widget=forms.PasswordInput(attrs=PASSWORD),
        help_text=_("For desk and phone; ten characters or more. Empty leaves it as it is."),
    )
    pin = forms.CharField(
        label=_("New PIN"),
        required=False,
        max_length=4,
        widget=forms.PasswordInput(attrs=PIN),
        help_text=_("Four digits, for the shop's shared tablets only. Empty leaves it as it is."),
    )
    no_pin = forms.BooleanField(label=_("Take the PIN away"), required=False)
    language = forms.ChoiceField(
        label=_("Language"), choices=settings.LANGUAGES, initial="en", required=False, widget=forms.RadioSelect
    )
    is_active = forms.BooleanField(label=_("Works here"), required=False, initial=True)

    def for_somebody_new(self) -> None:
        """There is no password, PIN or place here yet to leave as it is or to take away."""
        password, pin = self.fields["password"], self.fields["pin"]
        password.label, pin.label = _("Password"), _("PIN")
        password.help_text = _("For desk and phone; ten characters or more.")
        pin.help_text = _("Four digits, for the shop's shared tablets only. With neither they cannot sign in yet.")
        del self.fields["no_pin"], self.fields["is_active"]

    def rights_said(self) -> frozenset[str]:
        """The rights of the chosen work, or those ticked."""
        bundle = self.cleaned_data["bundle"]
        return frozenset(map(str, BUNDLES[bundle])) if bundle else frozenset(self.cleaned_data["rights"])


class MyForm(ShopForm):
    """How pages look and sound to the person before them."""

    language = forms.ChoiceField(label=_("Language"), choices=settings.LANGUAGES, widget=forms.RadioSelect)
    units = forms.ChoiceField(
        label=_("Units"),
        choices=[("us", _("ft, gal, °F")), ("metric", _("m, L, °C"))],
        widget=forms.RadioSelect,
    )
    theme = forms.ChoiceField(label=_("Colours"), choices=Person.Theme.choices, widget=forms.RadioSelect)
    clock_24h = forms.TypedChoiceField(
        label=_("Clock"),
        choices=[("1", "16:50"), ("0", _("4:50 p.m."))],
        coerce=lambda text: text == "1",
        widget=forms.RadioSelect,
    )
    sound = forms.BooleanField(label=_("Sound at a scan"), required=False)


class MySecretsForm(ShopForm):
    """A new password or PIN of one's own."""

    now_is = forms.CharField(
        label=_("Password until now"),
        strip=False,
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    password = forms.CharField(
        label=_("New password"), strip=False, required=False, widget=forms.PasswordInput(attrs=PASSWORD)
    )
    pin = forms.CharField(
        label=_("New PIN"),
        required=False,
        max_length=4,
        widget=forms.PasswordInput(attrs=PIN),
        help_text=_("Four digits, for the shop's shared tablets only; everywhere else your password signs you in."),
    )

    def clean(self) -> dict[str, Any]:
        """Ask for something to change."""
        cleaned = super().clean() or self.cleaned_data
        if not cleaned.get("password") and not cleaned.get("pin"):
            self.add_error(None, _("Nothing new was typed. Write a new password or a new PIN."))
        return cleaned


class DeviceForm(ShopForm):
    """What a device is called and who uses it."""

    name = forms.CharField(label=_("Name"), max_length=80, required=False, help_text=_("Such as Tablet at rack B."))
    shared = forms.BooleanField(
        label=_("A shared tablet: names and PINs, signed out when nobody touches it"), required=False
    )
    withdrawn = forms.BooleanField(label=_("Withdrawn: lost, sold or broken"), required=False)
