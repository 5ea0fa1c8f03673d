"""What a row of a list of sets says: which sets, how much is left, where they are."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.units import Amount, Money, from_si, judge_height, show_area, show_height, show_number, unit_for

from . import words
from .cells import Grit, Left, State, ladder
from .fields import KnownType, Thing
from .judging import Draft

MOST_SETS_IN_A_ROW = 60


@dataclass(frozen=True)
class SetRow:
    """One set as a list says it; heights in mm with the value and unit as entered, areas in m2.

    opening_kind: new, height, three_quarters, half, quarter, unknown. with_backing: the height holds the backing of
    the type (which is still in `lowest_height_mm`). place: key of a known place, or new_place (kind, name), or
    missing, or none of them. retired_why: "" , worn or broken. backing_mm: what is taken off a height with backing.
    trouble: "" or glazed.
    """

    tool_type: str
    type_name: str
    own_code: str = ""
    opening_kind: str = "unknown"
    lowest_height_mm: float | None = None
    with_backing: bool = False
    backing_mm: float = 0.0
    amount_value: str = ""
    amount_unit: str = ""
    pieces: int | None = None
    place: str = ""
    new_place: tuple[str, str] | None = None
    peg: str = ""
    missing: bool = False
    set_aside: bool = False
    trouble: str = ""
    retired_why: str = ""
    worked_m2: float | None = None
    bought_on: date | None = None
    price: Decimal | None = None
    currency: str = ""
    note: str = ""
    where: str = ""


def code_key(code: str) -> str:
    """A set's own code as it is compared: "R-08" and "r 8" are one."""
    return "set:" + words.squeezed(code)


def match_type(draft: Draft, grit: Grit, bond: str, name: str, mount: str = "") -> KnownType:
    """The tool type a row means; asks between several, refuses when there is none."""
    known = draft.known
    of_grit = [each for each in known.tool_types if each.grit.lower().lstrip("#") == grit.grit]
    fitting = [each for each in of_grit if not bond or each.bond == bond]
    whole = [each for each in fitting if words.squeezed(each.name) == words.squeezed(grit.text)]
    if mount:
        fitting = [
            each for each in fitting if words.squeezed(mount) in words.squeezed(f"{each.mount} {each.name}")
        ] or fitting
    fitting = whole or fitting
    if len(fitting) == 1:
        return fitting[0]
    if not known.tool_types:
        draft.refuse(name, _("Make your ladder of tool types first, then bring the list in."))
    if not fitting:
        likely = f"{of_grit[0].grit} {of_grit[0].bond}" if of_grit else ""
        draft.refuse(name, _("A tool type you have: %(types)s.") % {"types": ladder(known)}, likely)
    chosen = draft.ask(
        name,
        "type",
        _("Which %(text)s?") % {"text": grit.text},
        _("You have %(n)s tool types of this grit.") % {"n": len(fitting)},
        [(each.key, each.name) for each in fitting[:6]],
        like=f"type:{words.squeezed(grit.text)}:{bond}",
    )
    return next(each for each in fitting if each.key == chosen)


def split_codes(text: str) -> list[str]:
    """The codes in a cell: "R-31/32" and "R-31, R-32" are two, "A/12" is one."""
    parts = [part.strip() for part in re.split(r"\s*(?:[/,;&+]|\band\b|\by\b)\s*", text) if part.strip()]
    if len(parts) < 2 or not all(re.search(r"\d", part) for part in parts):
        return [text] if text else []
    first = parts[0]
    return [
        first[: -len(part)] + part
        if part.isdecimal() and len(part) < len(first) and first[-len(part) :].isdecimal()
        else part
        for part in parts
    ]


def _how_many(draft: Draft, tool_type: KnownType) -> tuple[list[str], int | None]:
    """The codes of the sets a row means ("" for one without), and the pieces of a set that lacks some."""
    count = draft.get("count")
    codes = split_codes(draft.get("code") or "")
    n = count if count is not None else max(1, len(codes))
    if n > MOST_SETS_IN_A_ROW:
        draft.refuse("count", _("At most %(most)s sets in one row.") % {"most": MOST_SETS_IN_A_ROW})
    if n == 1 and len(codes) <= 1:
        return codes or [""], None
    many = max(n, len(codes))
    codes_say = ngettext("there is %(n)s old code", "there are %(n)s old codes", len(codes)) % {"n": len(codes)}
    why = (
        _("The row says %(n)s, and %(codes)s.") % {"n": n, "codes": codes_say}
        if count is not None
        else _("The cell holds %(n)s codes.") % {"n": len(codes)}
    )
    sets = ("sets", ngettext("%(n)s set", "%(n)s sets", many) % {"n": many})
    one = ("one", _("One set"))
    answers = [one, sets] if n == tool_type.pieces_per_set and len(codes) < 2 else [sets, one]
    if n < tool_type.pieces_per_set:
        answers.append(("pieces", ngettext("%(n)s loose piece", "%(n)s loose pieces", n) % {"n": n}))
    name = "count" if count is not None else "code"
    chosen = draft.ask(
        name,
        "sets",
        _("One set or two?") if many == 2 else _("One set or %(n)s?") % {"n": many},
        why,
        answers,
        like=f"sets:{many}:{len(codes)}",
    )
    whole = draft.get("code") or ""
    if chosen == "one":
        return [whole], None
    if chosen == "pieces":
        return [whole], n
    return (codes + [""] * many)[:many], None


_SHARE_LEFT = {"three_quarters": 0.75, "half": 0.5, "quarter": 0.25}


def _left_answers(draft: Draft, tool_type: KnownType, kind: str) -> list[tuple[str, str]]:
    label = {
        "three_quarters": _("About three quarters"),
        "half": _("About half"),
        "quarter": _("About a quarter"),
    }[kind]
    if tool_type.new_height_mm is not None:
        worn_down = tool_type.new_height_mm - (tool_type.retire_height_mm or 0.0)
        middle = (tool_type.retire_height_mm or 0.0) + _SHARE_LEFT[kind] * worn_down
        # "About" is taken with a spread of 0.12 of the usable height; these are its 10 and 90 % ends. Our assumption.
        unit = unit_for("height", draft.known.units)
        low, high = (from_si(max(0.0, middle + sign * 0.154 * worn_down), unit) for sign in (-1, 1))
        places = 2 if unit == "in" else 1
        label += _(", %(low)s to %(high)s") % {"low": show_number(low, places), "high": show_number(high, places)}
    return [(kind, label), ("unknown", _("Measure later"))]


def _opening(draft: Draft, tool_type: KnownType) -> dict[str, Any]:
    """What a row says is left: the opening's columns."""
    height, state = draft.get("height"), draft.get("state")
    if isinstance(height, Amount):
        return _by_height(draft, tool_type, height)
    if isinstance(height, Left):
        return _by_words(draft, tool_type, height)
    if isinstance(state, State) and state.opening:
        if state.soft:
            kind = draft.ask(
                "state",
                "left",
                _("How much is left of “%(text)s”?") % {"text": state.text},
                _("A word like this is no measure."),
                _left_answers(draft, tool_type, state.opening),
                like=f"left:{state.text.lower()}",
            )
            return {"opening_kind": kind}
        return {"opening_kind": state.opening}
    return {"opening_kind": _by_area(draft, tool_type)}


def _by_area(draft: Draft, tool_type: KnownType) -> str:
    """What may be left of a set of which only the worked area is said: asked, by the supplier's rating."""
    worked, rated = draft.get("worked"), tool_type.rated_coverage_m2
    if not isinstance(worked, Amount) or not rated:
        return "unknown"
    left = 1 - worked.si / rated
    kind = "three_quarters" if left >= 0.625 else "half" if left >= 0.375 else "quarter"
    return draft.ask(
        "worked",
        "by_area",
        _("How much is left after %(area)s?") % {"area": show_area(worked.si, draft.known.units)},
        _("A set of %(type)s is rated at %(rated)s.")
        % {"type": tool_type.name, "rated": show_area(rated, draft.known.units)},
        _left_answers(draft, tool_type, kind),
        like=f"by_area:{kind}",
    )


def _by_words(draft: Draft, tool_type: KnownType, left: Left) -> dict[str, Any]:
    if left.kind in {"new", "unknown"}:
        return {"opening_kind": left.kind}
    answers = _left_answers(draft, tool_type, left.kind)
    name = f"{tool_type.bond} {tool_type.grit}"
    why = ""
    if tool_type.new_height_mm is not None:
        why = _("A new %(type)s is %(height)s high.") % {
            "type": name,
            "height": show_height(tool_type.new_height_mm, draft.known.units),
        }
    fits = left.as_height is not None and (
        judge_height(
            left.as_height.si, draft.known.units, new_height_mm=tool_type.new_height_mm, retire_height_mm=0.0
        ).answer
        == "ok"
    )
    if fits and left.as_height is not None:
        answers = [("height", _("A height of %(height)s") % {"height": show_height(left.as_height.si, "us")}), *answers]
    kind = draft.ask(
        "height",
        "left",
        _("How high is “%(text)s”?") % {"text": left.text},
        why,
        answers,
        like=f"left:{left.text.lower()}:{tool_type.key if fits else ''}",
    )
    if kind == "height" and left.as_height is not None:
        return _by_height(draft, tool_type, left.as_height)
    return {"opening_kind": kind}


def _by_height(draft: Draft, tool_type: KnownType, amount: Amount) -> dict[str, Any]:
    units, backing = draft.known.units, tool_type.backing_mm
    name = f"{tool_type.bond} {tool_type.grit}"
    with_backing = draft.reading("height").with_backing
    if with_backing and not backing:
        draft.refuse(
            "height",
            _("The backing of %(type)s is not known. Say its height with the tool type, then bring this in.")
            % {"type": tool_type.name},
        )
    left_mm = amount.si - backing if with_backing else amount.si
    kept = {
        "opening_kind": "height",
        "lowest_height_mm": amount.si,
        "with_backing": with_backing,
        "backing_mm": backing if with_backing else 0.0,
        "amount_value": f"{amount.value:f}",
        "amount_unit": amount.unit,
    }
    judged = judge_height(
        left_mm,
        units,
        new_height_mm=tool_type.new_height_mm,
        retire_height_mm=tool_type.retire_height_mm,
        backing_mm=None if with_backing else backing or None,
    )
    if judged.answer == "refuse":
        right = judged.sentence
        if tool_type.new_height_mm is not None:
            unit = unit_for("height", units)
            right = _("%(low)s to %(high)s: a new %(type)s is %(new)s high.") % {
                "low": show_number(from_si(tool_type.retire_height_mm or 0.0, unit), 2),
                "high": show_height(tool_type.new_height_mm, units),
                "type": name,
                "new": show_height(tool_type.new_height_mm, units),
            }
        draft.refuse("height", right, _likely_height(amount, tool_type, backing if with_backing else 0.0))
    if judged.answer == "ask":
        higher = tool_type.new_height_mm is not None and left_mm > tool_type.new_height_mm
        answers = (
            [("backing", _("With the backing: %(h)s left") % {"h": show_height(left_mm - backing, units)})]
            if higher
            else [("keep", _("Keep it"))]
        )
        chosen = draft.ask(
            "height",
            "backing" if higher else "low",
            _("Was “%(text)s” measured with the backing?") % {"text": draft.text("height")}
            if higher
            else _("Is only %(height)s left?") % {"height": show_height(left_mm, units)},
            judged.sentence,
            [*answers, ("later", _("Measure later"))],
        )
        if chosen == "later":
            return {"opening_kind": "unknown"}
        if chosen == "backing":
            kept |= {"with_backing": True, "backing_mm": backing}
    return kept


def _likely_height(amount: Amount, tool_type: KnownType, backing: float) -> str:
    """The text a height was perhaps meant to be: the point slipped by one or two places, or the other unit."""
    if tool_type.new_height_mm is None:
        return ""
    low, high = (tool_type.retire_height_mm or 0.0) + backing, tool_type.new_height_mm + backing
    for shift in (-1, -2):
        if low <= amount.si * 10**shift <= high:
            return f"{amount.value.scaleb(shift).normalize():f}"
    if amount.unit == "in" and low <= float(amount.value) <= high:
        return f"{amount.value:f} mm"
    return ""


_PEG = re.compile(
    r"^(?:rack|estante)?\s*([a-z]{1,2})\s*[-.,/ ]*\s*(?:peg|no\.?|#|gancho)?\s*0*(\d{1,3})$", re.IGNORECASE
)
_LOST = frozenset({"?", "??", "lost", "missing", "unknown", "perdido", "perdida", "desconocido"})


def _place(draft: Draft) -> dict[str, Any]:
    """Where a row says the set is: a known place, a new one whose kind is plain, or a question."""
    text = draft.get("place")
    if not text:
        return {}
    if text.lower().strip(" .") in _LOST:
        return {"missing": True, "where": _("missing")}
    form = words.squeezed(text)
    for here in draft.known.named("places", text):
        return {"place": here.key, "where": here.name}
    peg = _PEG.match(text)
    if peg:
        rack = _rack(draft.known.places, peg[1])
        where = _("rack %(rack)s, peg %(peg)s") % {"rack": peg[1].upper(), "peg": peg[2]}
        if rack is not None:
            return {"place": rack.key, "peg": peg[2], "where": where}
        return {"new_place": ("rack", _("Rack %(rack)s") % {"rack": peg[1].upper()}), "peg": peg[2], "where": where}
    kind = words.PLACES.get(form.split()[0], "") if form else ""
    if kind and re.fullmatch(r"[^\W\d_]+ (?:\d{1,3}|[^\W\d_])", form):
        name = form[:1].upper() + form[1:]
        return {"new_place": (kind, name), "where": name}
    near = draft.known.like("places", text, 0.5)[:3]
    if not near and kind:
        near = [place for place in draft.known.places if place.kind == kind][:3]
    answers = [(f"place:{place.key}", place.name) for place in near]
    others = [each for each in draft.known.place_answers if each not in answers]
    chosen = draft.ask(
        "place",
        "place",
        _("Which place is “%(text)s”?") % {"text": text},
        _("No place has this name."),
        [*answers, ("new", _("A new place")), ("missing", _("Missing, look for it"))],
        like=f"place:{form}",
        listed=others,
    )
    if chosen == "missing":
        return {"missing": True, "where": _("missing")}
    if chosen == "new":
        return {"new_place": (kind or "rack", text[:80].strip(" ?")), "where": text}
    key = chosen.removeprefix("place:")
    return {"place": key, "where": next(place.name for place in draft.known.places if place.key == key)}


def _rack(places: tuple[Thing, ...], name: str) -> Thing | None:
    forms = {words.squeezed(name), words.squeezed(f"rack {name}")}
    return next((place for place in places if place.kind == "rack" and words.squeezed(place.name) in forms), None)


def judge_set(draft: Draft) -> list[SetRow]:
    """The sets a row of a list of sets means."""
    grit: Grit = draft.get("type")
    bond = grit.bond or draft.get("bond") or ""
    if grit.bond and draft.get("bond") and grit.bond != draft.get("bond"):
        draft.refuse(
            "bond", _("The same bond in both cells; “%(text)s” says another.") % {"text": grit.text}, grit.bond
        )
    tool_type = match_type(draft, grit, bond, "type", draft.get("mount") or "")
    codes, pieces = _how_many(draft, tool_type)
    opening, place = _opening(draft, tool_type), _place(draft)
    state: State | None = draft.get("state")
    fitness = state.fitness if state is not None else ""
    worked: Amount | None = draft.get("worked")
    price: Money | None = draft.get("price")
    base = SetRow(
        tool_type=tool_type.key,
        type_name=tool_type.name,
        pieces=pieces,
        set_aside=fitness == "set_aside",
        trouble=state.trouble if state is not None else "",
        retired_why=fitness if fitness in {"worn", "broken"} else "",
        worked_m2=worked.si if worked is not None else None,
        bought_on=draft.get("bought"),
        price=price.amount if price is not None else None,
        currency=price.currency if price is not None else "",
        note=(draft.get("note") or "")[:400],
        **{**opening, **place},
    )
    if fitness == "missing":
        base = replace(base, missing=True, place="", new_place=None, peg="", where=_("missing"))
    return [replace(base, own_code=code) for code in codes]
