"""The day a set was bought, as its opening says it in words: an opening has no column for it."""

from __future__ import annotations

from datetime import date
from functools import lru_cache

from django.conf import settings
from django.utils import translation
from django.utils.translation import gettext as _

from .cells import show_date
from .dates import read_date


def bought_words(day: date) -> str:
    """ "bought 4 May 2026"."""
    return _("bought %(day)s") % {"day": show_date(day)}


def bought_on(words: str) -> date | None:
    """The day that words beginning as ``bought_words`` makes them, in any language here, say; None for others."""
    for before in _before() if words else ():
        if words.startswith(before):
            read = read_date(words.removeprefix(before).partition(";")[0].strip())
            return read if isinstance(read, date) else None
    return None


@lru_cache(maxsize=1)
def _before() -> tuple[str, ...]:
    """What stands before the day, in each language of the program."""
    found = []
    for code, _name in settings.LANGUAGES:
        with translation.override(code):
            found.append(_("bought %(day)s").partition("%(day)s")[0])
    return tuple(dict.fromkeys(found))
