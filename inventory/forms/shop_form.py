"""Forms that refuse in the shop's words: every form of the program starts from `ShopForm`."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.said_text import trimmed

WORDS = {
    "required": _("This is needed: fill it in."),
    "invalid_choice": _("That is not one of the choices. Take one of the list."),
    "invalid_list": _("Take one or more of the list."),
    "invalid_pk_value": _("That is not one of the list. Take one of the list."),
    "max_length": _("That is %(show_value)d characters; %(limit_value)d are allowed. Make it shorter."),
    "min_length": _("That is %(show_value)d characters; at least %(limit_value)d are needed."),
    "max_value": _("At most %(limit_value)s is allowed."),
    "min_value": _("At least %(limit_value)s is needed."),
    "missing": _("Choose a file first."),
    "empty": _("This file is empty. Choose another one."),
}
UNREAD = {
    # Django's number fields with decimals descend from its whole-number field: they come first.
    forms.FloatField: _("Write a number, such as 6.8."),
    forms.DecimalField: _("Write a number, such as 6.8."),
    forms.IntegerField: _("Write a whole number, such as 5."),
    forms.DateField: _("Write a day, such as 2025-05-14."),
    forms.DateTimeField: _("Write a day and a time, such as 2025-05-14 16:50."),
    forms.TimeField: _("Write a time, such as 16:50."),
    forms.UUIDField: _("That address is not complete. Open the page again."),
    forms.FileField: _("Choose a file of your own first."),
}


def speak(field: forms.Field) -> None:
    """Give a field the shop's words, except where the form said its own."""
    usual = [getattr(kind, "default_error_messages", {}) for kind in type(field).__mro__]
    own = {
        code: words
        for code, words in field.error_messages.items()
        if not any(words is messages.get(code) for messages in usual)
    }
    standard: dict[str, Any] = {code: words for code, words in WORDS.items() if code in field.error_messages}
    for kind, words in UNREAD.items():
        if isinstance(field, kind) and "invalid" in field.error_messages:
            standard["invalid"] = words
            break
    field.error_messages.update(standard)
    for validator in field.validators:
        code = getattr(validator, "code", "")
        if code in WORDS:
            field.error_messages.setdefault(str(code), WORDS[str(code)])
    field.error_messages.update(own)


class ShopForm(forms.Form):
    """A form whose fields refuse in the shop's words; `unit` on a field shows inside its end."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            speak(field)

    def full_clean(self) -> None:
        """Fields that a form added after it was begun speak the shop's words, too."""
        for field in self.fields.values():
            speak(field)
        super().full_clean()

    def _widget_data_value(self, widget: forms.Widget, html_name: str) -> Any:
        """What was sent for a field; a text of nothing but unseen characters is no answer."""
        value = super()._widget_data_value(widget, html_name)  # type: ignore[misc]
        if isinstance(value, str) and not isinstance(widget, forms.PasswordInput) and not trimmed(value):
            return ""
        return value
