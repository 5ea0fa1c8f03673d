"""Where a row of a list of sets says its sets are: a place of the shop, a new one when somebody says so, or missing."""

from __future__ import annotations

import re
from typing import Any

from django.utils.translation import gettext as _

from inventory.said_text import plain_name

from . import words
from .draft import Draft
from .fields import Thing

_PEG = re.compile(
    r"^(?:rack|estante)?\s*([a-z]{1,2})\s*[-.,/ ]*\s*(?:peg|no\.?|#|gancho)?\s*0*(\d{1,3})$", re.IGNORECASE
)
_LOST = frozenset({"?", "??", "lost", "missing", "unknown", "perdido", "perdida", "desconocido"})


def place_of(draft: Draft) -> dict[str, Any]:
    """The columns of a row that say where its set is; a place the shop does not have is asked about once a name."""
    text = plain_name(draft.get("place") or "")
    if not text:
        return {}
    if text.lower().strip(" .") in _LOST:
        return {"missing": True, "where": _("missing")}
    form = words.squeezed(text)
    for here in draft.known.named("places", text):
        return {"place": here.key, "where": here.name}
    peg = _PEG.match(text)
    if peg:
        return _on_peg(draft, text, peg[1].upper(), peg[2])
    kind = words.PLACES.get(form.split()[0], "") if form else ""
    plain = bool(kind) and re.fullmatch(r"[^\W\d_]+ (?:\d{1,3}|[^\W\d_])", form) is not None
    first, _space, last = form.partition(" ")
    name = f"{first.capitalize()} {last.upper()}" if plain else text[:80].strip(" ?")
    near = draft.known.like("places", text, 0.5)[:3]
    if not near and kind:
        near = [place for place in draft.known.places if place.kind == kind][:3]
    chosen = _asked(draft, _("Which place is “%(text)s”?") % {"text": text}, form, near, name if plain else "")
    if chosen == "new":
        return {"new_place": (kind or "rack", name), "where": name}
    return _known(draft, chosen)


def _on_peg(draft: Draft, text: str, rack: str, peg: str) -> dict[str, Any]:
    """A rack's letter with the number of a peg: "B14", "rack A peg 2"."""
    forms = {words.squeezed(rack), words.squeezed(f"rack {rack}")}
    racks = [place for place in draft.known.places if place.kind == "rack"]
    there = next((place for place in racks if words.squeezed(place.name) in forms), None)
    where = _("rack %(rack)s, peg %(peg)s") % {"rack": rack, "peg": peg}
    if there is not None:
        return {"place": there.key, "peg": peg, "where": where}
    name = _("Rack %(rack)s") % {"rack": rack}
    title = _("Which rack is “%(rack)s”, as in “%(text)s”?") % {"rack": rack, "text": text}
    chosen = _asked(draft, title, f"rack {rack.lower()}", racks[:3], name)
    if chosen == "new":
        return {"new_place": ("rack", name), "peg": peg, "where": where}
    found = _known(draft, chosen)
    return found if "missing" in found else {**found, "peg": peg, "where": f"{found['where']} {peg}"}


def _asked(draft: Draft, title: str, like: str, near: list[Thing], new_name: str) -> str:
    """The answer to which place a name is, for all rows with it; new_name: a new one's, where that is likeliest."""
    answers = [(f"place:{place.key}", place.name) for place in near]
    others = [each for each in draft.known.place_answers if each not in answers]
    new = ("new", _("Make %(name)s") % {"name": new_name} if new_name else _("A new place"))
    return draft.ask(
        "place",
        "place",
        title,
        _("No place has this name."),
        [*([new] if new_name else []), *answers, *([] if new_name else [new]), ("missing", _("Missing, look for it"))],
        like=f"place:{like}",
        listed=others,
        together=True,
    )


def _known(draft: Draft, chosen: str) -> dict[str, Any]:
    if chosen == "missing":
        return {"missing": True, "where": _("missing")}
    key = chosen.removeprefix("place:")
    return {"place": key, "where": next(place.name for place in draft.known.places if place.key == key)}
