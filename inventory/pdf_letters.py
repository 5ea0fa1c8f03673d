"""What the built-in faces of a PDF can write: Windows-1252; every other letter is written as near to it as can be."""

from __future__ import annotations

import re
import unicodedata
from xml.sax.saxutils import escape

# Letters that do not come apart into a plain one and its mark, and signs a plainer one stands for. Our assumption.
_PLAIN = {
    "ł": "l", "Ł": "L", "đ": "d", "Đ": "D", "ħ": "h", "Ħ": "H", "ŧ": "t", "Ŧ": "T", "ı": "i", "ŋ": "n", "Ŋ": "N",
    "ƒ": "f", "ə": "e", "Ə": "E", "ẞ": "SS", "\u2044": "/", "\u2212": "-", "\u2010": "-", "\u2011": "-",
    "\u202f": "\u00a0", "\u2009": "\u00a0", "\u2007": "\u00a0", "→": "->", "←": "<-", "≤": "<=", "≥": ">=", "≈": "~",
    "μ": "µ", "″": '"', "′": "'",
}  # fmt: skip
UNKNOWN = "?"
# A fraction of one sign written out keeps off the whole number before it: 1⅝ is 1 5/8, not 15/8.
_AFTER_WHOLE = re.compile(r"(?<=\d)(?=[⅐-⅞])")


def printable(words: str) -> str:
    """Words as a PDF of ours can print them: letters lose marks the faces lack, fractions are written out.

    A letter of another script becomes "?": `lost` says which.
    """
    return "".join(_letter(character) for character in _AFTER_WHOLE.sub(" ", words))


def lost(words: str) -> str:
    """The letters of these words that cannot be printed at all, each once, in their order."""
    return "".join(dict.fromkeys(each for each in words if each != UNKNOWN and _letter(each) == UNKNOWN))


def _letter(character: str) -> str:
    if character in _PLAIN:
        return _PLAIN[character]
    if _written(character):
        return character
    if unicodedata.category(character) in ("Mn", "Cf", "Cc") and not character.isspace():
        return ""  # a mark of its own behind its letter, or nothing anybody sees
    apart = unicodedata.normalize("NFKD", character)
    plain = "".join(_PLAIN.get(part, part) for part in apart if unicodedata.category(part) != "Mn")
    return plain if plain and plain != character and all(_written(part) for part in plain) else UNKNOWN


def _written(character: str) -> bool:
    try:
        character.encode("cp1252")
    except UnicodeEncodeError:
        return False
    return True


def paragraph_text(words: str) -> str:
    """Words for a reportlab paragraph: in the letters that the built-in faces have, and nothing read as markup."""
    return escape(printable(words))
