"""`manage.py makemessages -l es` collects the texts to translate, by this house's names for gettext and its habits."""

from typing import Any

from django.core.management.commands import makemessages

# A module that translates both at once and later calls the two by names of its own.
OUR_NAMES = ("_now", "_lazy")


class Command(makemessages.Command):
    help = "Collect the texts to translate into config/locale (needs the gettext tools)."

    def handle(self, *args: Any, **options: Any) -> None:
        """Leave out line numbers, so that a catalogue changes only when a text does, and what is not the program."""
        self.xgettext_options = [*self.xgettext_options, *(f"--keyword={name}" for name in OUR_NAMES)]
        options.update(no_location=True, no_wrap=True, no_obsolete=True)
        options["ignore_patterns"] = [*(options["ignore_patterns"] or ()), ".venv", "tests", ".local"]
        super().handle(*args, **options)
