"""What people typed, without the characters nobody sees: control and format characters say nothing by themselves."""

from __future__ import annotations

import unicodedata

# Between letters they shape a script (Unicode 23.2): only at an end do they say nothing.
_JOINERS = "\u200c\u200d"


def trimmed(text: str) -> str:
    """A text without white space and unseen characters (Unicode categories Cc and Cf) at its ends."""
    start, end = 0, len(text)
    while start < end and _unseen(text[start]):
        start += 1
    while end > start and _unseen(text[end - 1]):
        end -= 1
    return text[start:end]


def plain_name(text: str) -> str:
    """A name on one line, its words one space apart, without characters that turn, hide or break what is read."""
    kept = "".join(
        character if character in _JOINERS or not _turns(character) else " " if character.isspace() else ""
        for character in text
    )
    return " ".join(trimmed(kept).split())


def _turns(character: str) -> bool:
    return unicodedata.category(character) in ("Cc", "Cf")


def _unseen(character: str) -> bool:
    return character.isspace() or _turns(character)
