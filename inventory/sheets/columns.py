"""Which column says what: guessed from headings and from the shapes of values, every guess open to change."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal, cast

from django.utils.translation import gettext as _

from inventory.units import UNITS, Amount, Dimension, find_unit, unit_for

from .cells import PARSERS, CellDoubt, CellWrong
from .dates import order_by_evidence
from .evidence import height_in_inches, mark_by_evidence
from .fields import DateOrder, Field, Known, Reading
from .raw import Cell, Sheet, shown
from .reading import plain
from .spec import Spec
from .words import says_nothing

_SAMPLE = 60
_NUMERIC = frozenset({"area", "length", "height", "money", "hours", "chance"})
_BACKING = re.compile(
    r"\b(with (?:the )?backing|w/? ?backing|incl\w*\.? (?:the )?backing|backing incl\w*|and backing|\+ ?backing|"
    r"overall|total height|calliper|caliper|"
    r"con base|con soporte|con respaldo|altura total)\b"
)


@dataclass(frozen=True)
class Match:
    """What one column is taken for.

    field: name of the field, "" when the column stays out. certain: "sure", or "guess" (show it hatched, ask to look
    once), or "chosen" by a person. why: what the guess rests on, in a few words. reading: unit and order.
    """

    letter: str
    heading: str
    field: str
    certain: Literal["sure", "guess", "chosen"]
    reading: Reading
    why: str = ""


@dataclass(frozen=True)
class ColumnMap:
    """The matches of all columns, and fields that must be there and are not."""

    matches: tuple[Match, ...]
    missing: tuple[Field, ...]

    def of(self, field: str) -> int | None:
        """The index of the column matched to a field."""
        for index, match in enumerate(self.matches):
            if match.field == field:
                return index
        return None

    @property
    def guesses(self) -> int:
        """How many columns are guesses."""
        return sum(match.certain == "guess" for match in self.matches)


def guess_columns(
    sheet: Sheet, spec: Spec, known: Known, chosen: Mapping[str, Mapping[str, Any]] | None = None
) -> ColumnMap:
    """Match the columns of a sheet to the fields of a kind of list.

    `chosen`: what a person changed, by column letter: {"D": {"field": "height", "unit": "in", "with_backing": True,
    "date_order": "dmy", "decimal_mark": ","}}; any of the keys may be missing, "field": "" leaves the column out.
    """
    chosen = chosen or {}
    samples = [sheet.column(index, _SAMPLE) for index in range(len(sheet.headings))]
    mark = _sheet_mark(sheet, samples)
    picked: dict[int, Field] = {}
    certain: dict[int, Literal["sure", "guess", "chosen"]] = {}
    why: dict[int, str] = {}
    fields = {field.name: field for field in spec.fields}
    for index, letter in enumerate(sheet.letters):
        name = chosen.get(letter, {}).get("field")
        if name is not None:
            certain[index] = "chosen"
            if name in fields and fields[name] not in picked.values():
                picked[index] = fields[name]
    scores: list[tuple[float, float, int, int, Field]] = []
    for index, heading in enumerate(sheet.headings):
        if index in certain:
            continue
        for order, field in enumerate(spec.fields):
            by_heading = _heading_score(heading, field)
            by_shape = _shape_score(samples[index], field, known, mark)
            if by_heading and by_shape is not None:
                # A heading that says a field whose values never fit it is still that field: its rows say why not.
                scores.append((by_heading * (0.5 + 0.5 * by_shape), by_shape, -order, index, field))
            elif by_shape is not None and by_shape >= 0.9 and samples[index] and _tells(samples[index], field, known):
                scores.append((0.2 * by_shape * _TELLING[field.shape], by_shape, -order, index, field))
    # A table that this program wrote says its columns itself: the others in it are only for reading.
    own_key = next((field for field in spec.fields if field.name == "key"), None)
    own = own_key is not None and any(plain(heading) in own_key.words for heading in sheet.headings)
    for score, by_shape, _order, index, field in sorted(scores, key=lambda each: each[:3], reverse=True):
        if index in picked or index in certain or field in picked.values() or (own and score < 0.7):
            continue
        picked[index] = field
        certain[index] = "sure" if score >= 0.7 and by_shape >= 0.5 else "guess"
        why[index] = _("by its heading") if score > 0.25 else _("by what stands in it")
    matches = []
    for index, letter in enumerate(sheet.letters):
        found = picked.get(index)
        reading, unit_guessed = Reading(), False
        if found is not None:
            reading, unit_guessed = _reading(sheet, samples[index], index, found, known, mark)
            reading = _changed(reading, chosen.get(letter, {}))
        how: Literal["sure", "guess", "chosen"] = certain.get(index, "sure")
        if how == "sure" and unit_guessed and not chosen.get(letter, {}).get("unit"):
            how = "guess"
            why[index] = _("no unit is written; the usual one is taken")
        matches.append(
            Match(letter, sheet.headings[index], found.name if found else "", how, reading, why.get(index, ""))
        )
    missing = tuple(field for field in spec.fields if field.required and field not in picked.values())
    return ColumnMap(tuple(matches), missing)


# Shapes that tell a column by its values alone, and how strongly.
_TELLING: dict[str, float] = {"grit": 0.9, "date": 1.0, "state": 0.9, "bond": 1.0, "height": 0.5}


def _tells(sample: list[Cell], field: Field, known: Known) -> bool:
    """Whether values alone may say that a column is a field: for grits only those of the shop's ladder do.

    Any whole number can be read as a grit, a price or an area too.
    """
    if field.shape == "grit" and known.tool_types:
        grits = {each.grit.lower().lstrip("#") for each in known.tool_types}
        on_ladder = sum(bool(grits & set(re.findall(r"(?<![\d.,])\d+(?![\d.,])", shown(cell)))) for cell in sample)
        return on_ladder >= 0.6 * len(sample)
    return field.shape in _TELLING


def _heading_score(heading: str, field: Field) -> float:
    """How well a heading says a field: 1 as it stands or without its unit, less when among other words."""
    text = plain(heading)
    bare = _without_unit(text, field.dimension)
    best = 0.0
    for words, worth in ((field.words, 1.0), (field.weak_words, 0.6)):
        for place, word in enumerate(words):
            if word in (text, bare):
                # Of two columns that a field could be, the one with its own name is it: "site" before "client".
                best = max(best, worth - 0.001 * place)
            elif re.search(rf"(?<!\w){re.escape(word)}(?!\w)", text):
                # The longer the part of the heading that is understood, the surer.
                best = max(best, worth * (0.6 + 0.35 * len(word) / len(text)))
    if not best and field.dimension == "area" and _heading_unit(text, "area"):
        best = 0.5  # "ft² done": some area, which one is worth a look
    return best


def _without_unit(text: str, dimension: Dimension | None) -> str:
    if dimension is None:
        return text
    found = _heading_unit(text, dimension)
    return text.replace(found[0], " ").strip() if found else text


def _heading_unit(text: str, dimension: Dimension) -> tuple[str, str] | None:
    """The words in a heading that are a unit, and its code: "height left (in)" -> ("in", "in")."""
    tokens = plain(text).split()
    for size in (3, 2, 1):
        for start in range(len(tokens) - size, -1, -1):
            part = " ".join(tokens[start : start + size])
            unit = find_unit(part, dimension)
            # "m" or "in" at the start of a heading is a word more often than a unit.
            if (
                unit
                and (start > 0 or size > 1 or len(part) > 1 or len(tokens) == 1)
                and not (part == "in" and start == 0)
            ):
                return part, unit
    return None


def _shape_score(sample: list[Cell], field: Field, known: Known, mark: str | None) -> float | None:
    """The share of a column's sample that its field can read; 0.5 for an empty column or a text."""
    if not sample:
        return 0.5
    if field.shape in {"text", "code"}:
        return 0.8
    reading = Reading(unit=_default_unit(field, known)[0], decimal_mark=mark, date_order=known.date_order)
    fitting = 0.0
    sample = [cell for cell in sample if not says_nothing(shown(cell), field.shape)] or sample
    for cell in sample:
        try:
            PARSERS[field.shape](cell, field, reading, known)
            fitting += 1
        except CellDoubt:
            fitting += 1
        except CellWrong as wrong:
            fitting += bool(wrong.likely) * 0.5
    return fitting / len(sample)


def _default_unit(field: Field, known: Known) -> tuple[str, bool]:
    if field.dimension is None:
        return "", False
    return unit_for(field.dimension, known.units), True


def _sheet_mark(sheet: Sheet, samples: list[list[Cell]]) -> str | None:
    """The decimal mark of a whole list: by columns of numbers that leave no doubt. A comma-parted file says nothing."""
    found = set()
    for sample in samples:
        numbers = [
            cell
            for cell in sample
            if isinstance(cell, str) and re.fullmatch(r"[~≈$€£]?\s*[\d.,' \u00a0\u202f]+\s*\D{0,6}", cell.strip())
        ]
        texts = [cell for cell in numbers if not re.fullmatch(r"\d{1,4}([./-])\d{1,2}\1\d{2,4}", str(cell).strip())]
        if (mark := mark_by_evidence(texts)) is not None:
            found.add(mark)
    return found.pop() if len(found) == 1 else None


def _reading(
    sheet: Sheet, sample: list[Cell], index: int, field: Field, known: Known, mark: str | None
) -> tuple[Reading, bool]:
    """How a column is to be read, and whether its unit is only a guess."""
    heading = sheet.headings[index]
    unit, guessed = "", False
    if field.dimension is not None:
        stated = _heading_unit(heading, field.dimension) or _heading_unit(
            " ".join(re.findall(r"[(\[](.*?)[)\]]", heading)), field.dimension
        )
        if stated:
            unit = stated[1]
        else:
            unit, guessed = _default_unit(field, known)
            if field.shape == "height":
                inches = height_in_inches(sample)
                unit, guessed = (unit, True) if inches is None else ("in" if inches else "mm", False)
            bare = any(
                not isinstance(cell, str) or re.fullmatch(r"[~≈]?\s*[\d.,' ]+[kK]?", cell.strip()) for cell in sample
            )
            guessed = guessed and bare and field.dimension != "hours"
            if not bare:
                # Every cell carries its unit: the column is called by the one that most of them have.
                unit = _written_unit(sample, field, unit, known) or unit
    order: DateOrder | None = None
    if field.shape == "date":
        evidence = order_by_evidence(sheet.column(index), past=field.past, today=known.today)
        order = evidence if evidence in ("dmy", "mdy") else None
    own_mark = mark_by_evidence(sheet.column(index)) if field.shape in _NUMERIC else None
    return (
        Reading(
            unit=unit,
            with_backing=bool(field.shape == "height" and _BACKING.search(plain(heading))),
            date_order=order,
            decimal_mark=own_mark or (mark if field.shape in _NUMERIC else None),
        ),
        guessed,
    )


def _written_unit(sample: list[Cell], field: Field, unit: str, known: Known) -> str:
    """The unit that most cells of a column carry themselves; "" where none can be read."""
    found: Counter[str] = Counter()
    for cell in sample:
        try:
            read = PARSERS[field.shape](cell, field, Reading(unit=unit, decimal_mark=mark_by_evidence([cell])), known)
        except (CellDoubt, CellWrong):
            continue
        if isinstance(read, Amount):
            found[read.unit] += 1
    return found.most_common(1)[0][0] if found else ""


def _changed(reading: Reading, chosen: Mapping[str, Any]) -> Reading:
    changes: dict[str, Any] = {}
    if chosen.get("unit") in UNITS:
        changes["unit"] = chosen["unit"]
    if "with_backing" in chosen:
        changes["with_backing"] = bool(chosen["with_backing"])
    if chosen.get("date_order") in ("dmy", "mdy"):
        changes["date_order"] = cast(DateOrder, chosen["date_order"])
    if chosen.get("decimal_mark") in (".", ","):
        changes["decimal_mark"] = chosen["decimal_mark"]
    return replace(reading, **changes)
