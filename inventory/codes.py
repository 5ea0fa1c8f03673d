"""Codes printed on labels: one code space for sets, places, outings and crates.

A code is `GL-` and six characters, the last a check character by ISO 7064 MOD 37,36 over the five before it. The shop's
alphabet leaves out I, L, O and U, which people take for 1, 0 and V; whoever types them is understood all the same.

What the check character promises (ISO 7064, hybrid system MOD 37,36): every single wrong character is noticed. Two
neighbours swapped are noticed nearly always: within the shop's alphabet 28 of 17,856 pairs of swapped neighbours slip
through (counted over all of them, see the tests). `new_code` leaves out codes that have such a pair, so for printed
codes a swap of neighbours is always noticed too.
"""

from __future__ import annotations

import random
import re
import unicodedata
from ipaddress import ip_address
from urllib.parse import unquote, urlsplit

from django.utils.translation import gettext as _

PREFIX = "GL-"
ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
BODY_LENGTH = 5
CODE_LENGTH = len(PREFIX) + BODY_LENGTH + 1

# ISO 7064 gives the characters 0-9, A-Z the values 0 to 35, also those that the shop does not print.
_ISO_CHARACTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_LOOK_ALIKES = str.maketrans({"I": "1", "L": "1", "O": "0", "U": "V"})

# Characters of an alphanumeric QR code (ISO/IEC 18004); anything else would make the label's square larger.
QR_ALPHANUMERIC = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")


class CodeNotRead(ValueError):
    """What was scanned or typed is not a code; the message is a sentence for the person who scanned."""


# Names of hosts (RFC 1123 section 2.1, RFC 952): parts of 1 to 63 letters, digits and hyphens, none at either end; a
# name whose last part is all digits is a number of four parts, 0 to 255 (WHATWG URL standard, "ends in a number").
_PART = r"[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?"
_BYTE = r"(?:25[0-5]|2[0-4]\d|1\d\d|[1-9]?\d)"
_IS_HOST = re.compile(rf"(?:{_BYTE}\.){{3}}{_BYTE}|(?:{_PART}\.)*(?!\d+\.?$){_PART}\.?", re.IGNORECASE)


class AddressNotPrintable(ValueError):
    """The shop's address cannot stand in labels; the message is a sentence for the person setting it."""


def check_character(body: str) -> str:
    """Return the ISO 7064 MOD 37,36 check character that follows `body`.

    `body` holds characters 0-9 and A-Z, upper case, any number of them. The answer may be one of the four letters the
    shop does not print (I, L, O, U): `new_code` leaves such bodies out.
    Raises ValueError when a character is outside 0-9 and A-Z.
    Source: ISO/IEC 7064:2003, hybrid system MOD 37,36 (compared with python-stdnum in the tests).
    """
    product = 36
    for character in body:
        value = _ISO_CHARACTERS.find(character)
        if value < 0:
            raise ValueError(f"check_character: {character!r} is not one of 0-9, A-Z")
        product = ((product + value) % 36 or 36) * 2 % 37
    return _ISO_CHARACTERS[(1 - product) % 36]


def new_code(rng: random.Random) -> str:
    """Return a code drawn by `rng`, such as GL-7K2M46.

    About 29 million codes can be drawn; that one is free is for the caller to see (the database holds them unique).
    """
    while True:
        body = "".join(rng.choices(ALPHABET, k=BODY_LENGTH))
        check = check_character(body)
        if check in ALPHABET and not _has_unnoticed_swap(body + check):
            return PREFIX + body + check


def read_code(text: str) -> str:
    """Return the code that was scanned or typed, as printed: GL- and six characters.

    Takes a bare code in any case, with spaces or hyphens anywhere or nowhere, with or without the prefix, and a whole
    address of any host, with or without a query. Whether a set has the code is for the caller to ask.
    Raises CodeNotRead with a sentence for the person.
    """
    cleaned = _visible_upper(text)
    if not cleaned:
        raise CodeNotRead(_("Nothing was read. Scan a label, or type its code: GL- and six characters."))
    if cleaned.startswith("HTTP") or "/" in cleaned:
        return _read_address(cleaned)
    return _read_typed(cleaned)


def meant_as_printed(text: str) -> bool:
    """Whether this text is meant as a label's code or address, and no code that a shop gave a set itself.

    Nothing read, an address, what begins with GL, and six letters or digits: those are a code without its prefix.
    """
    cleaned = _visible_upper(text)
    if not cleaned or cleaned.startswith(("HTTP", "GL")) or "://" in cleaned:
        return True
    characters = _characters(cleaned)
    return len(characters) == BODY_LENGTH + 1 and all(c in _ISO_CHARACTERS for c in characters)


def code_address(base: str, code: str) -> str:
    """Return the address a label's square holds, in capitals: HTTPS://SHOP.EXAMPLE/S/GL-7K2M46.

    `base` is the shop's address: scheme and host, perhaps with a port ("https://shop.example").
    Raises AddressNotPrintable when `base` cannot stand in a label, CodeNotRead when `code` is none. That the whole
    fits a label's square is asked by `qr_symbol.symbol_version`.
    """
    return f"{label_base(base)}/S/{read_code(code)}"


def only_this_computer(address: str) -> bool:
    """Whether an address leads nowhere but to the computer that says it: localhost (RFC 6761) or a loopback number."""
    try:
        host = (urlsplit(address.lower()).hostname or "").rstrip(".")
    except ValueError:
        return False
    if host == "localhost" or host.endswith(".localhost"):
        return True
    try:
        number = ip_address(host)
    except ValueError:
        return False
    return number.is_loopback or number.is_unspecified


def is_host(name: str) -> bool:
    """Whether this can be a host's name or number (RFC 1123)."""
    return _IS_HOST.fullmatch(name) is not None


def label_base(base: str) -> str:
    """Return the shop's address as it stands in labels, in capitals and without a closing slash.

    Capitals, because small letters would need a larger square; scheme and host do not mind, a path would.
    Raises AddressNotPrintable.
    """
    typed = base.strip()
    try:
        parts = urlsplit(typed)
        host = (parts.hostname or "").encode("idna").decode("ascii")
        port = parts.port
    except ValueError:
        parts, host, port = urlsplit(""), "", None
    if port == 0:
        raise AddressNotPrintable(
            _("“%(address)s” names port 0, and nothing answers there. Write the port a browser shows, or none.")
            % {"address": _shortened(typed)}
        )
    if parts.scheme not in ("http", "https") or not host:
        raise AddressNotPrintable(
            _("“%(address)s” cannot be printed in labels. Give it like https://shop.example, with the host's name.")
            % {"address": _shortened(typed)}
        )
    if parts.path.strip("/") or parts.query or parts.fragment or parts.username is not None:
        raise AddressNotPrintable(
            _("“%(address)s” goes on after the host. Labels need the address to end there: %(shorter)s.")
            % {"address": _shortened(typed), "shorter": f"{parts.scheme}://{parts.netloc.rpartition('@')[2]}"}
        )
    if not _IS_HOST.fullmatch(host) and ":" not in host and "_" not in host:
        raise AddressNotPrintable(
            _(
                "“%(host)s” is no host's name: letters, digits, dots and hyphens make one, and no part begins or ends "
                "with a hyphen. Give it like shop.example or 192.168.1.20:8000."
            )
            % {"host": _shortened(parts.hostname or "")}
        )
    printed = f"{parts.scheme}://{host}{f':{port}' if port is not None else ''}".upper()
    strange = sorted(set(printed) - QR_ALPHANUMERIC) or (["[", "]"] if ":" in host else [])
    if strange:
        raise AddressNotPrintable(
            _("“%(address)s” holds %(strange)s, which a label's square cannot. Letters, digits, dots and hyphens can.")
            % {"address": _shortened(typed), "strange": " ".join(strange)}
        )
    return printed


def _visible_upper(text: str) -> str:
    """Capitals without ends, controls and marks nobody sees; full-width and other compatible forms made plain."""
    plain = unicodedata.normalize("NFKC", text).upper()
    return "".join(c for c in plain if unicodedata.category(c) not in ("Cc", "Cf")).strip()


def _read_address(address: str) -> str:
    if "/" not in address:
        # A hand scanner set to another country's keyboard types other signs for ":", "/" and "-", but never other
        # letters there: the end of the address still says which code it was.
        ending = re.search(r"GL[^0-9A-Z]?([0-9A-Z]{6})$", address)
        if ending:
            return _read_typed(ending[1])
    path = re.split(r"[?#]", address, maxsplit=1)[0]
    last = unquote(path.rstrip("/").rpartition("/")[2]).strip()
    if len(_without_prefix(_characters(last))) != BODY_LENGTH + 1:
        raise CodeNotRead(
            _("“%(address)s” is not the address of a label. Scan the label again, or type the code printed on it.")
            % {"address": _shortened(address)}
        )
    return _read_typed(last)


def _read_typed(typed: str) -> str:
    if typed.startswith(PREFIX):
        characters = _characters(typed.removeprefix(PREFIX))
    else:
        characters = _without_prefix(_characters(typed))
    strange = next((c for c in characters if c not in _ISO_CHARACTERS), None)
    if strange is not None:
        raise CodeNotRead(
            _("“%(typed)s” is not a code: “%(strange)s” stands in none. A code is GL- and six letters or digits.")
            % {"typed": _shortened(typed), "strange": strange}
        )
    if len(characters) < BODY_LENGTH + 1:
        raise CodeNotRead(
            _("“%(typed)s” is too short. A code is GL- and six characters: type those that are missing.")
            % {"typed": _shortened(typed)}
        )
    if len(characters) > BODY_LENGTH + 1:
        raise CodeNotRead(
            _("“%(typed)s” is too long. A code is GL- and six characters: look which ones stand there twice.")
            % {"typed": _shortened(typed)}
        )
    plain = characters.translate(_LOOK_ALIKES)
    if check_character(plain[:-1]) != plain[-1]:
        raise CodeNotRead(_("No set has this code. The last character does not fit: check it."))
    return PREFIX + plain


def _characters(typed: str) -> str:
    """What is left without spaces, hyphens and dashes, underscores and dots."""
    return "".join(c for c in typed if unicodedata.category(c) not in ("Zs", "Pd", "Pc") and c not in ".−")


def _without_prefix(characters: str) -> str:
    # Six characters are a code by themselves, even if they begin with G1 (a look-alike of GL).
    if len(characters) != BODY_LENGTH + 1 and re.match("G[L1I]", characters):
        return characters[2:]
    return characters


def _has_unnoticed_swap(characters: str) -> bool:
    for i in range(len(characters) - 1):
        first, second = characters[i], characters[i + 1]
        swapped = characters[:i] + second + first + characters[i + 2 :]
        if first != second and check_character(swapped[:-1]) == swapped[-1]:
            return True
    return False


def _shortened(text: str, most: int = 40) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"
