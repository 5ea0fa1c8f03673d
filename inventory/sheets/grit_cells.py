"""Cells that name tool types by grit and bond: one, or the steps of a ladder."""

from __future__ import annotations

import re

from django.utils.translation import gettext as _

from . import words
from .fields import Field, Known, Reading
from .raw import Cell, shown
from .said import Answer, CellDoubt, CellWrong, Grit

_GRIT = re.compile(r"(?<![\d.])#?\s*(\d{1,5})(?:\s*/\s*\d{1,5})?\s*#?(?:grit|grano|g)?", re.IGNORECASE)


_TWO_GRITS = re.compile(
    r"(?<![\d.])#?(\d{1,5})\s*(?:/|\+|&|-|\band\b|\by\b|\bor\b|,)\s*#?(\d{1,5})(?![\d.])", re.IGNORECASE
)
_MIXED = re.compile(r"\b(?:mix|mixed|mixto|mixta|mezclado|mezclada|both|ambos)\b", re.IGNORECASE)


def _two_grits(text: str, known: Known) -> tuple[str, ...]:
    """The two grits that a text names, when both are on the shop's ladder or it says that they are mixed; else none.

    "30/40" with no 40 on the ladder is one grit, said as a range of grain sizes.
    """
    found = _TWO_GRITS.search(text)
    if found is None:
        return ()
    two = (str(int(found[1])), str(int(found[2])))
    ladder_grits = {each.grit.lstrip("#") for each in known.tool_types}
    if two[0] == two[1] or f"{two[0]}/{two[1]}" in ladder_grits:
        return ()
    return two if _MIXED.search(text) or ladder_grits.issuperset(two) else ()


def parse_grit(cell: Cell, field: Field, reading: Reading, known: Known) -> Grit:
    """What a cell says of a tool type: "400 resin", "resin 400", "#400", "100 res", or a tool type's whole name."""
    text = shown(cell)
    for each in known.tool_types:
        if words.squeezed(each.name) == words.squeezed(text):
            return Grit(each.grit, each.bond, text)
    bond, mended = "", ""
    rest = text
    two = _two_grits(text, known)
    for part in re.findall(r"[^\W\d_]+", text.lower()):
        if len(part) > 1 and part in words.BONDS and not bond:
            bond = words.BONDS[part]
    found = _GRIT.search(text)
    if found and not re.match(r"[oOlI]", text[found.end(1) :]):
        grit = str(int(found[1]))
        tail = re.match(r"\s*([mhrMHR])\b", text[found.end(1) :])
        if tail and not bond:
            bond = words.BONDS[tail[1].lower()]
        if two:
            raise CellDoubt(
                "grits",
                _("Which grit is “%(text)s”?") % {"text": text},
                _("It names two, and a set has one. Sort the pieces first, or take the one most of them are."),
                tuple(Answer(each, each, Grit(each, bond, text)) for each in two),
                f"grits:{words.squeezed(text)}",
            )
        return Grit(grit, bond, text)
    typo = re.search(r"(?<![^\W\d_])[\doOlI]*\d[\doOlI]*(?![^\W\d_])", rest)
    if typo:
        mended = re.sub(r"[lI]", "1", re.sub(r"[oO]", "0", typo[0]))
    if mended:
        letters = sum(character in "oOlI" for character in typo[0]) if typo else 0
        raise CellWrong(
            _("A grit of your ladder; this holds %(n)s letters among its digits.") % {"n": letters},
            text.replace(typo[0], mended) if typo else "",
        )
    raise CellWrong(
        _("A grit of your ladder, and its bond: %(grits)s.") % {"grits": ladder(known)},
        next(iter(words.nearest(text, [each.name for each in known.tool_types])), ""),
    )


def ladder(known: Known) -> str:
    """The shop's tool types in a few words, for a refusal."""
    names = list(dict.fromkeys(f"{each.bond} {each.grit}" for each in known.tool_types))
    return ", ".join(names[:12]) or "400 resin"


def parse_ladder(cell: Cell, field: Field, reading: Reading, known: Known) -> tuple[Grit, ...]:
    """Several steps in one cell: "30, 70, 120, resin 100, 200" or "metal 30-70-120"; a bond holds until the next."""
    text = shown(cell)
    grits: list[Grit] = []
    bond = ""
    for part in re.split(r"[,;>/→+\n-]+|\s{2,}", text):
        for word in re.findall(r"[^\W\d_]+", part.lower()):
            bond = words.BONDS.get(word, bond)
        for number in re.findall(r"\d+", part):
            grits.append(Grit(str(int(number)), bond, part.strip()))
    if not grits:
        raise CellWrong(_("The steps as grits, coarse to fine: metal 30, 70, resin 100, 200."))
    return tuple(grits)
