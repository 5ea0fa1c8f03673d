"""Mounts of tools and machines: the same one written in several ways. Pure."""

from __future__ import annotations

import re
import unicodedata

# An inch as people write it after a number; two single quotes are an inch mark typed on a phone.
_INCH = re.compile(r"(?<=\d)\s*-?\s*(?:''|[\"”″]|inches\b|inch\b|ins?\b\.?)", re.IGNORECASE)
_MILLIMETRE = re.compile(r"(?<=\d)\s*-?\s*mm\b\.?", re.IGNORECASE)


def mount_key(mount: str) -> str:
    """What two spellings of one mount have in common: 9" plate, 9 in. plate and 9-inch Plate give the same.

    Case, spaces, hyphens and full stops do not count, nor how an inch is written; words and numbers do.
    Limits: a mount in inches and the same one in millimetres stay two.
    """
    plain = unicodedata.normalize("NFKC", mount.replace("″", '"')).casefold()
    plain = _MILLIMETRE.sub(" mm ", _INCH.sub(" in ", plain))
    plain = re.sub(r"(?<=\d),(?=\d)", ".", plain)
    return " ".join(re.findall(r"\d+(?:\.\d+)?|[^\W\d_]+|[+/&]", plain))


def same_mount(one: str, other: str) -> bool:
    """Whether two spellings mean one mount."""
    return mount_key(one) == mount_key(other)
