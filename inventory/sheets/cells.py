"""One cell -> one value by the shape of its field; a doubt has its answers, a refusal what would be right."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from inventory.units import (
    Amount,
    AmountNotRead,
    Doubt,
    Money,
    NumberDoubt,
    judge_area,
    judge_past_date,
    read_area,
    read_count,
    read_height,
    read_hours,
    read_length,
    read_money,
    read_number,
    show_entered,
    show_length,
)

from . import words
from .dates import TwoDates, read_date
from .fields import Field, Known, Reading
from .grit_cells import ladder, parse_grit, parse_ladder
from .raw import Cell, shown
from .said import Answer, CellDoubt, CellWrong, Grit, Left, State

__all__ = [
    "PARSERS", "Answer", "CellDoubt", "CellWrong", "Grit", "Left", "State", "ladder", "parse_grit", "show_date",
]  # fmt: skip

# Of two readings of an area [m2] or an edge [m] the one below this is not meant. Our assumption.
_LEAST = {"worked": 150.0, "pass": 20.0, "zone": 20.0, "length": 1.5}


def show_date(day: date) -> str:
    """A date as it stands in questions: "14 May 2024"."""
    return date_format(day, "j M Y")


def _amount(cell: Cell, read: Callable[[], Amount], fits: Callable[[Amount], bool]) -> Amount:
    try:
        return read()
    except Doubt as doubt:
        fitting = [amount for amount in doubt.readings if fits(amount)]
        if len(fitting) == 1:
            return fitting[0]
        raise CellDoubt(
            "mark",
            _("Is “%(text)s” %(whole)s or %(part)s?")
            % {
                "text": shown(cell),
                "whole": show_entered(doubt.readings[0].value, doubt.readings[0].unit),
                "part": show_entered(doubt.readings[1].value, doubt.readings[1].unit),
            },
            _("Nothing else in this list says whether points or commas part the decimals."),
            tuple(
                Answer(key, show_entered(amount.value, amount.unit), amount)
                for key, amount in zip(("whole", "part"), doubt.readings, strict=True)
            ),
            "mark",
            whole_column=True,
        ) from None
    except AmountNotRead as refusal:
        raise CellWrong(refusal.sentence, _mended_number(shown(cell))) from None


def _mended_number(text: str) -> str:
    """A text with letters typed for digits put right, when that makes it a number; else ""."""
    # Only where letters stand within or beside digits: "4oo", "1l0", never "pool".
    mended = re.sub(
        r"(?<![^\W\d_])[oOlI\d.,]*\d[oOlI\d.,]*(?![^\W\d_])",
        lambda found: found[0].translate(str.maketrans("oOlI", "0011")),
        text,
    )
    if mended == text:
        return ""
    try:
        read_number(re.sub(r"\s*[a-zA-Z²\"]+$", "", mended), ".")
    except AmountNotRead:
        return ""
    return mended


def _typed(cell: Cell) -> str | int | float | Decimal:
    if isinstance(cell, int | float | Decimal) and not isinstance(cell, bool):
        return cell
    return shown(cell)


def parse_area(cell: Cell, field: Field, reading: Reading, known: Known) -> Amount:
    """An area, judged by what is possible."""
    unit = reading.unit or "m2"
    amount = _amount(
        cell, lambda: read_area(_typed(cell), unit, reading.decimal_mark), lambda each: each.si >= _LEAST[field.area_of]
    )
    judged = judge_area(amount.si, known.units, field.area_of)
    if judged.answer == "refuse":
        raise CellWrong(judged.sentence)
    if judged.answer == "ask":
        raise CellDoubt(
            "size",
            _("Is it really %(area)s?") % {"area": show_entered(amount.value, amount.unit)},
            judged.sentence,
            (Answer("keep", _("Keep it"), amount), Answer("leave", _("Leave it empty"), None)),
            f"size:{field.name}",
        )
    return amount


def parse_length(cell: Cell, field: Field, reading: Reading, known: Known) -> Amount:
    """A length, zero or more."""
    unit = reading.unit or "m"
    amount = _amount(
        cell, lambda: read_length(_typed(cell), unit, reading.decimal_mark), lambda each: each.si >= _LEAST["length"]
    )
    if not 0 <= amount.si <= 100_000:
        raise CellWrong(_("A length from zero to %(most)s.") % {"most": show_length(100_000, known.units)})
    return amount


def parse_hours(cell: Cell, field: Field, reading: Reading, known: Known) -> Amount:
    """A span of hours, zero or more."""
    amount = _amount(cell, lambda: read_hours(_typed(cell), "h", reading.decimal_mark), lambda each: each.si <= 24)
    if amount.si < 0:
        raise CellWrong(_("Hours, zero or more."))
    return amount


def parse_height(cell: Cell, field: Field, reading: Reading, known: Known) -> Amount | Left:
    """A tool height as it was entered, or what is left said in words ("half", "3/4", "new", "?")."""
    if isinstance(cell, date):
        # Typed into a spreadsheet program, 3/8 becomes the eighth of March.
        raise CellWrong(
            _("A height; a spreadsheet program took a fraction here for a date."), f"{cell.month}/{cell.day}"
        )
    text = shown(cell)
    left = words.opening_of(text)
    unit = reading.unit or "mm"
    try:
        amount = read_height(_typed(cell), unit, reading.decimal_mark)
    except AmountNotRead as refusal:
        if left:
            return Left(left, text)
        likely = _mended_number(text)
        raise CellWrong(refusal.sentence, likely, None if likely else _no_measure(text)) from None
    if left:
        return Left(left, text, amount)
    if amount.si < 0:
        raise CellWrong(_("A height of zero or more."))
    return amount


def _no_measure(text: str) -> CellDoubt | None:
    """What is asked of a height said in a word that is none ("thick"); None where a number is meant."""
    if any(char.isdigit() for char in text):
        return None
    return CellDoubt(
        "left",
        _("How high is “%(text)s”?") % {"text": text},
        _("A word like this is no measure."),
        (
            Answer("unknown", _("Measure later"), Left("unknown", text)),
            Answer("new", _("As high as new"), Left("new", text)),
        ),
        f"left:{text.lower()}",
    )


def parse_state(cell: Cell, field: Field, reading: Reading, known: Known) -> State:
    """A state: what is left, or how fit it is."""
    text = shown(cell)
    word = text.lower().strip(" .")
    if isinstance(cell, float | int) and not isinstance(cell, bool) and 0 < cell <= 1:
        word = {1: "100%", 0.75: "75%", 0.5: "50%", 0.25: "25%"}.get(float(cell), word)
    whole = _state(word, text)
    if whole is not None:
        return whole
    parts = [_state(part.strip(" ."), text) for part in re.split(r"[,;+&]|\band\b|\by\b", word) if part.strip(" .")]
    said = [part for part in parts if part is not None]
    if len(said) == len(parts) > 1:
        # "half, glazed": what is left, and what is wrong; two words for one thing are not put together.
        joined = {name: [value for each in said if (value := getattr(each, name))] for name in _STATE_PARTS}
        if all(len(values) <= 1 for values in joined.values()):
            first = {name: values[0] if values else "" for name, values in joined.items()}
            return State(**first, soft=any(each.soft for each in said), text=text)
    raise CellWrong(
        _("New, 3/4, half, 1/4, ? for not known, set aside, glazed, worn, broken or lost."), _near_word(word)
    )


_STATE_PARTS = ("opening", "fitness", "trouble")


def _state(word: str, text: str) -> State | None:
    """What one word of a state column says; None when it is not known."""
    if word in words.FITNESS:
        return State(fitness=words.FITNESS[word], text=text)
    if word in words.TROUBLES:
        return State(trouble=words.TROUBLES[word], text=text)
    opening = words.opening_of(word)
    if opening:
        return State(opening=opening, soft=word in words.SOFT_OPENINGS, text=text)
    return None


@lru_cache(maxsize=2_000)
def _near_word(word: str) -> str:
    found = words.nearest(word, [*words.OPENINGS, *words.FITNESS, *words.TROUBLES], 0.75)
    return found[0] if found else ""


# "6 of 9", "6/9 pieces", "Remnant: 6 of 9 pieces", in both languages.
_PART = re.compile(
    r"^(?:[^\W\d_]+:?\s+)?(\d{1,3})\s*(?:of|de|/)\s*(\d{1,3})(?:\s+(?:pieces?|pcs?\.?|piezas?))?$", re.IGNORECASE
)


def parse_bond(cell: Cell, field: Field, reading: Reading, known: Known) -> str:
    """A bond: metal, hybrid or resin."""
    word = shown(cell).lower().strip(" .")
    if word in words.BONDS:
        return words.BONDS[word]
    raise CellWrong(_("Metal, hybrid or resin."), next(iter(words.nearest(word, ["metal", "hybrid", "resin"])), ""))


def parse_count(cell: Cell, field: Field, reading: Reading, known: Known) -> int:
    """A whole number, 1 or more; of pieces also "6 of 9", as this program says it itself."""
    part = _PART.match(shown(cell)) if field.name == "pieces" else None
    if part is not None and 1 <= int(part[1]) <= int(part[2]):
        return int(part[1])
    try:
        count = read_count(_typed(cell))
    except AmountNotRead as refusal:
        raise CellWrong(refusal.sentence, _mended_number(shown(cell))) from None
    if count < 1 or count > 10_000:
        raise CellWrong(_("A whole number from 1 to 10,000."))
    return count


def parse_money(cell: Cell, field: Field, reading: Reading, known: Known) -> Money:
    """A price; three digits after one mark are thousands, since no price has parts of a cent."""
    try:
        return read_money(_typed(cell), known.currency, reading.decimal_mark)
    except NumberDoubt as doubt:
        return Money(round(doubt.readings[0], 2), known.currency)
    except AmountNotRead as refusal:
        raise CellWrong(refusal.sentence, _mended_number(shown(cell))) from None


def parse_date(cell: Cell, field: Field, reading: Reading, known: Known) -> date | None:
    """A date; in doubt about day and month, by the column's evidence or its answer."""
    read = read_date(cell)
    if read is None:
        raise CellWrong(_("A day with month and year, like 14 May 2024 or 2024-05-14."))
    if isinstance(read, TwoDates):
        by_order = {"dmy": read.day_first, "mdy": read.month_first}
        if reading.date_order is None:
            first = known.date_order or "mdy"
            second = "dmy" if first == "mdy" else "mdy"
            raise CellDoubt(
                "order",
                _("Is “%(text)s” %(one)s or %(other)s?")
                % {"text": shown(cell), "one": show_date(by_order[first]), "other": show_date(by_order[second])},
                _("The dates in this column do not settle whether the day or the month stands first."),
                tuple(
                    Answer(order, _("Month first") if order == "mdy" else _("Day first"), by_order[order])
                    for order in (first, second)
                ),
                f"order:{field.name}",
                whole_column=True,
            )
        read = by_order[reading.date_order]
    if field.past:
        judged = judge_past_date(read, known.today)
        if judged.answer == "refuse":
            raise CellWrong(judged.sentence)
        if judged.answer == "ask":
            raise CellDoubt(
                "long_ago",
                _("Is it really %(day)s?") % {"day": show_date(read)},
                judged.sentence,
                (Answer("keep", _("Keep it"), read), Answer("leave", _("Leave it empty"), None)),
                f"long_ago:{field.name}",
            )
    elif not 1990 <= read.year <= known.today.year + 20:
        raise CellWrong(_("A day within the next 20 years; check the year."))
    return read


def parse_chance(cell: Cell, field: Field, reading: Reading, known: Known) -> float:
    """A chance as a share of 1: "60%", 60, 0.6, "yes"."""
    text = shown(cell).lower()
    right = _("A chance from 0 to 100 %.")
    if text in {"won", "sure", "yes", "ganado", "sí"}:
        return 1.0
    try:
        number = read_number(text.removesuffix("%").strip(), reading.decimal_mark or ".").value
    except AmountNotRead:
        raise CellWrong(right) from None
    if text.endswith("%") or number > 1:
        number = number / 100
    elif number == 1 and not isinstance(cell, float | int):
        # "1" in a column of per cents would be one per cent; as a native number it is a whole.
        raise CellDoubt(
            "chance",
            _("Is a chance of “1” certain, or 1 %?"),
            "",
            (Answer("whole", _("Certain"), 1.0), Answer("percent", "1 %", 0.01)),
            "chance",
            whole_column=True,
        )
    if not 0 <= number <= 1:
        raise CellWrong(right)
    return float(number)


def parse_choice(cell: Cell, field: Field, reading: Reading, known: Known) -> str:
    """One of a few words, in English or Spanish."""
    word = shown(cell).lower().strip(" .").replace("-", " ").replace("_", " ")
    if word in field.choices:
        return field.choices[word]
    if field.name == "hardness" and re.fullmatch(r"(?:mohs )?(10|[1-9])(?:[.,]\d)?(?: mohs)?", word):
        raise _mohs(shown(cell), int(re.findall(r"\d+", word)[0]))
    first = list(dict.fromkeys(field.choices.values()))
    names = [f"{each} {field.choice_names[each]}" if each in field.choice_names else each for each in first]
    raise CellWrong(
        _("One of: %(words)s.") % {"words": ", ".join(each.replace("_", " ") for each in names)},
        next(iter(words.nearest(word, field.choices, 0.7)), ""),
    )


def _mohs(text: str, number: int) -> CellDoubt:
    """What is asked of a hardness by the scratch scale; the likeliest class first (our assumption)."""
    answers = [
        Answer("soft", pgettext("hardness", "Soft"), "soft"),
        Answer("medium", pgettext("hardness", "Medium"), "medium"),
        Answer("hard", pgettext("hardness", "Hard"), "hard"),
    ]
    likely = 0 if number <= 4 else 1 if number <= 6 else 2
    return CellDoubt(
        "mohs",
        _("Is a floor of Mohs %(text)s soft, medium or hard?") % {"text": text},
        _("Floors are kept in three classes of hardness."),
        (answers[likely], *(each for each in answers if each is not answers[likely])),
        f"mohs:{number}",
    )


def parse_yes_no(cell: Cell, field: Field, reading: Reading, known: Known) -> bool:
    """Yes or no."""
    if isinstance(cell, bool):
        return cell
    word = shown(cell).lower().strip(" .")
    if word in words.YES:
        return True
    if word in words.NO:
        return False
    raise CellWrong(_("Yes or no."))


def parse_text(cell: Cell, field: Field, reading: Reading, known: Known) -> str:
    """A text as it stands."""
    return shown(cell)


def parse_code(cell: Cell, field: Field, reading: Reading, known: Known) -> str:
    """A code of the shop's own, at most 40 characters."""
    text = shown(cell)
    if len(text) > 40:
        raise CellWrong(_("A code of at most 40 characters."))
    return text


PARSERS: dict[str, Callable[[Cell, Field, Reading, Known], Any]] = {
    "text": parse_text, "code": parse_code, "grit": parse_grit, "bond": parse_bond, "count": parse_count,
    "height": parse_height, "state": parse_state, "area": parse_area, "length": parse_length, "hours": parse_hours,
    "money": parse_money, "date": parse_date, "chance": parse_chance, "choice": parse_choice,
    "yes_no": parse_yes_no, "ladder": parse_ladder,
}  # fmt: skip
