"""What a row of a list of sets says: which sets, how much is left, where they are."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.units import (
    Amount,
    Money,
    from_si,
    judge_height,
    show_area,
    show_entered,
    show_height,
    show_number,
    unit_for,
)

from . import words
from .cells import Grit, Left, State, ladder
from .draft import Draft
from .fields import KnownType
from .set_places import place_of

MOST_SETS_IN_A_ROW = 60


@dataclass(frozen=True)
class SetRow:
    """One set as a list says it; heights in mm with the value and unit as entered, areas in m2.

    opening_kind: new, height, three_quarters, half, quarter, unknown. with_backing: the height holds the backing of
    the type (which is still in `lowest_height_mm`). place: key of a known place, or new_place (kind, name), or
    missing, or none of them. retired_why: "" , worn or broken. backing_mm: what is taken off a height with backing.
    trouble: "" or glazed. pieces: of a set that lacks some. worked: the worked area as it was entered, in words.
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
    worked: str = ""
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
    said, pieces = _pieces(draft, tool_type, n)
    n = max(n, said)
    if n > MOST_SETS_IN_A_ROW:
        draft.refuse(
            "count" if said < n else "pieces", _("At most %(most)s sets in one row.") % {"most": MOST_SETS_IN_A_ROW}
        )
    if n == 1 and len(codes) <= 1:
        return codes or [""], pieces
    many = max(n, len(codes))
    codes_say = ngettext("there is %(n)s old code", "there are %(n)s old codes", len(codes)) % {"n": len(codes)}
    name = "count" if count is not None else "pieces" if said > 1 else "code"
    why = {
        "count": _("The row says %(n)s, and %(codes)s.") % {"n": n, "codes": codes_say},
        "pieces": _("The row says %(n)s pieces, and a set of %(type)s has %(whole)s.")
        % {"n": draft.get("pieces"), "type": tool_type.name, "whole": tool_type.pieces_per_set},
        "code": _("The cell holds %(n)s codes.") % {"n": len(codes)},
    }
    sets = ("sets", ngettext("%(n)s set", "%(n)s sets", many) % {"n": many})
    one = ("one", _("One set"))
    # Where a column says the pieces, a count is no count of pieces.
    of_pieces = pieces is None and said == 0
    answers = [one, sets] if of_pieces and n == tool_type.pieces_per_set and len(codes) < 2 else [sets, one]
    if of_pieces and n < tool_type.pieces_per_set:
        answers.append(("pieces", ngettext("%(n)s loose piece", "%(n)s loose pieces", n) % {"n": n}))
    chosen = draft.ask(
        name,
        "sets",
        _("One set or two?") if many == 2 else _("One set or %(n)s?") % {"n": many},
        why[name],
        answers,
        like=f"sets:{many}:{len(codes)}" + (f":{tool_type.key}" if name == "pieces" else ""),
    )
    whole = draft.get("code") or ""
    if chosen == "one":
        return [whole], pieces
    if chosen == "pieces":
        return [whole], n
    return (codes + [""] * many)[:many], pieces


def _pieces(draft: Draft, tool_type: KnownType, n: int) -> tuple[int, int | None]:
    """What a column of pieces says: of how many whole sets (0: nothing), and the pieces of a set that lacks some.

    n: how many sets the row speaks of. The pieces may be those of one set, or of all its sets together.
    """
    pieces, whole = draft.get("pieces"), tool_type.pieces_per_set
    if pieces is None:
        return 0, None
    if pieces in (whole, n * whole):
        return 1, None
    if pieces < whole:
        return 1, pieces
    if n == 1 and pieces % whole == 0:
        return pieces // whole, None
    draft.refuse(
        "pieces",
        ngettext("1 piece: that is a set of %(type)s.", "1 to %(n)s pieces: a set of %(type)s has %(n)s.", whole)
        % {"n": whole, "type": tool_type.name},
    )


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
        likely = _likely_height(amount, tool_type, backing if with_backing else 0.0)
        if likely and amount.unit != draft.reading("height").unit and not likely.endswith(" mm"):
            likely += (
                f" {amount.unit}"  # the cell carries a unit of its own: a bare number would be read in the column's
            )
        draft.refuse("height", right, likely)
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
    opening, place = _opening(draft, tool_type), place_of(draft)
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
        worked=show_entered(worked.value, worked.unit) if worked is not None else "",
        bought_on=draft.get("bought"),
        price=price.amount if price is not None else None,
        currency=price.currency if price is not None else "",
        note=(draft.get("note") or "")[:400],
        **{**opening, **place},
    )
    if fitness == "missing":
        base = replace(base, missing=True, place="", new_place=None, peg="", where=_("missing"))
    return [replace(base, own_code=code) for code in codes]
