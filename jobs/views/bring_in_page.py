"""What the page of a draft shows: its answer, its columns, the rows that need somebody."""

from __future__ import annotations

from collections import Counter
from typing import Any

from django.core.paginator import Paginator
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from inventory.models import SheetDraft
from inventory.sheets.columns import Match
from inventory.sheets.dates import TwoDates, read_date
from inventory.sheets.fields import Field
from inventory.sheets.outcome import Question, Refusal
from inventory.sheets.raw import Row, shown
from inventory.units import UNITS
from jobs.actions.bring_in import words_of
from jobs.queries.bring_in import Looked, heading_said, rows_in

ASKED_A_PAGE = 20
ROWS_A_PAGE = 50
_SHOWN_ROWS = 12
# So many dates of a column tell whether its order can be in doubt.
_DATES_LOOKED_AT = 500
# So much of a row stands in the choice of the heading row, in characters.
_ROW_WORDS = 60
_OF_DIMENSION = {
    "area": ("ft2", "m2", "yd2"),
    "height": ("in", "mm", "cm"),
    "length": ("ft", "m", "yd"),
    "hours": ("h",),
}
_KINDS = {
    "sets": (gettext_lazy("%(n)s set"), gettext_lazy("%(n)s sets")),
    "sites": (gettext_lazy("%(n)s floor"), gettext_lazy("%(n)s floors")),
    "jobs": (gettext_lazy("%(n)s job"), gettext_lazy("%(n)s jobs")),
    "work": (gettext_lazy("%(n)s line of work"), gettext_lazy("%(n)s lines of work")),
}
_SAID = {
    "sets": gettext_lazy(
        "What a list says is left, it says of today. What is bought, noted and worked before stands in words."
    ),
    "sites": "",
    "jobs": gettext_lazy(
        "Jobs without a word on it count as won, past ones as done; a bid without a chance counts 50 %. "
        "Nights without a time start at 20:00 for 8 h."
    ),
    "work": gettext_lazy(
        "Work before a set came on record moves its beginning; its height stays when it was measured."
    ),
}


def many(kind: str, n: int) -> str:
    """So many things of a kind of list: "94 sets"."""
    one, more = _KINDS[kind]
    return str(one if n == 1 else more) % {"n": f"{n:,}"}


def headline(looked: Looked) -> str:
    """The answer of the page: how many can come in, need somebody, are refused."""
    judged, kind = looked.judgement, looked.draft.kind
    if looked.sheet.heading_doubt:
        return _("Which row holds your headings?")
    if judged.missing:
        return _("No column says: %(fields)s") % {"fields": ", ".join(str(field.label) for field in judged.missing)}
    n = looked.can_come_in
    said: list[str] = []
    if n:
        said.append(ngettext("%(things)s can come in", "%(things)s can come in", n) % {"things": many(kind, n)})
    elif judged.already and not judged.accepted:
        rows = len(judged.already)
        said.append(
            ngettext("%(n)s row is in already", "All %(n)s rows are in already", rows) % {"n": f"{rows:,}"}
            if rows == len(looked.sheet.rows)
            else ngettext("%(n)s row is in", "%(n)s rows are in", rows) % {"n": f"{rows:,}"}
        )
    else:
        said.append(_("Nothing can come in yet"))
    if judged.asking_rows:
        asking = judged.asking_rows
        said.append(ngettext("%(n)s row needs you", "%(n)s rows need you", asking) % {"n": f"{asking:,}"})
    if judged.refused_rows:
        refused = judged.refused_rows
        said.append(ngettext("%(n)s is refused", "%(n)s are refused", refused) % {"n": f"{refused:,}"})
    return ", ".join(said)


def page(looked: Looked, number: str = "", refused_number: str = "") -> dict[str, Any]:
    """The context of a draft's page; questions and refusals twenty a page, never all rows."""
    judged, draft = looked.judgement, looked.draft
    alike = _alike(judged.questions)
    refused_alike = Counter(one.like for one in judged.refused)
    asks = Paginator(judged.questions, ASKED_A_PAGE).get_page(number)
    refusals = Paginator(judged.refused, ASKED_A_PAGE).get_page(refused_number)
    made = rows_in(draft) if draft.brought_in_at else {}
    return {
        "draft": draft,
        "headline": headline(looked),
        "where": _where(looked),
        "said": _SAID[draft.kind],
        "can": looked.can_come_in,
        "button": _("Bring in %(things)s") % {"things": many(draft.kind, looked.can_come_in)},
        "columns": [_column(looked, index, match) for index, match in enumerate(looked.columns.matches)],
        "guesses": looked.columns.guesses,
        "not_taken": _not_taken(looked),
        "rows": _rows(looked, list(asks), list(refusals)),
        "header_row": looked.sheet.header_row,
        "heading": _heading(looked),
        "sheets": [looked.sheet.name, *looked.sheet.other_sheets] if looked.sheet.other_sheets else [],
        "asks": asks,
        "questions": [_question(one, *alike[one.like]) for one in asks],
        "refusals": refusals,
        "refused_rows": [(one, refused_alike[one.like], _may_be_empty(looked, one)) for one in refusals],
        "asking": judged.asking_rows,
        "refused": judged.refused_rows,
        "waiting": len({*judged.asked, *(one.row for one in judged.refused)}),
        "left_out": len(judged.left_out),
        "already": len(judged.already),
        "in_words": words_of(made),
    }


def _may_be_empty(looked: Looked, one: Refusal) -> bool:
    """Whether a refused cell can be left empty instead: nothing needs it."""
    return bool(one.letter and one.value) and not looked.spec.field(one.field).required


def _where(looked: Looked) -> str:
    sheet, rows = looked.sheet, len(looked.sheet.rows)
    parts = [f"“{looked.draft.file_name}”"]
    if sheet.name and sheet.other_sheets:
        parts.append(_("sheet “%(name)s”") % {"name": sheet.name})
    parts.append(ngettext("%(n)s row", "%(n)s rows", rows) % {"n": f"{rows:,}"})
    return ", ".join(parts)


def _not_taken(looked: Looked) -> list[str]:
    """The headings of the columns that stay out though something stands in them."""
    matches = enumerate(looked.columns.matches)
    return [match.heading for index, match in matches if not match.field and looked.sheet.column(index, 1)]


def _alike(questions: list[Question]) -> dict[str, tuple[int, bool]]:
    """Of each group of questions that one answer may serve: how many rows, and whether they ask the very same."""
    groups: dict[str, list[Question]] = {}
    for one in questions:
        groups.setdefault(one.like, []).append(one)
    return {
        like: (sum(len(one.rows) for one in group), len({(one.title, one.value) for one in group}) == 1)
        for like, group in groups.items()
    }


def _question(one: Question, alike: int, same: bool) -> dict[str, Any]:
    return {
        "same": same,
        "one": one,
        "rows": _row_words(one.rows),
        "alike": 0 if one.whole_column else alike,
        "answers": [(key, label, number) for number, (key, label) in enumerate(one.answers[: one.buttons], start=1)],
        "more": one.answers[one.buttons :],
    }


def _row_words(rows: tuple[int, ...]) -> str:
    if len(rows) == 1:
        return str(rows[0])
    return _("%(first)s and %(n)s more") % {"first": rows[0], "n": f"{len(rows) - 1:,}"}


# --- the heading row ---


def _heading(looked: Looked) -> dict[str, Any]:
    """Which row holds the headings, which may, and what of the rows above is skipped."""
    sheet, said = looked.sheet, heading_said(looked.draft)
    above = len(sheet.above)
    skipped = ""
    if above:
        skipped = ngettext(
            "%(n)s row above it is skipped: %(rows)s", "%(n)s rows above it are skipped: %(rows)s", above
        ) % {"n": above, "rows": "; ".join(f"“{_words(row)}”" for row in sheet.above[:4]) + (" …" if above > 4 else "")}
    return {
        "now": sheet.header_row or 0,
        "doubt": sheet.heading_doubt,
        "rows": [(row.number, _words(row)) for row in sheet.top],
        "skipped": skipped,
        "none": sheet.header_row is None and not sheet.heading_doubt and said is None,
    }


def _words(row: Row) -> str:
    """The beginning of a row: "Disc, ID, Height left"."""
    words = ", ".join(text for cell in row.cells if (text := shown(cell)))
    return words if len(words) <= _ROW_WORDS else words[: _ROW_WORDS - 1].rstrip(" ,") + "…"


def chosen_heading(looked: Looked, said: str) -> int | None:
    """The heading row a person chose: its number, 0 for none; None when it is the one taken already."""
    numbers = {0, *(row.number for row in looked.sheet.top)}
    if said not in map(str, numbers):
        return None
    same = int(said) == (looked.sheet.header_row or 0) and not looked.sheet.heading_doubt
    return None if same else int(said)


# --- columns ---


def _column(looked: Looked, index: int, match: Match) -> dict[str, Any]:
    now = _value(match)
    options = [("", str(_("Leave it out")))]
    for field in looked.spec.fields:
        options += _options(field, _in_doubt(looked, index) or match.reading.date_order is not None)
    if now not in {value for value, _label in options}:
        options.append((now, _label(looked.spec.field(match.field), match)))
    sample = next((shown(row.cell(index)) for row in looked.sheet.rows[:50] if shown(row.cell(index))), "")
    return {
        "letter": match.letter,
        "heading": match.heading,
        "value": now,
        "options": options,
        "guess": match.certain == "guess",
        "why": match.why,
        "sample": sample,
        "mark": match.reading.decimal_mark or "",
        "numeric": bool(match.field) and looked.spec.field(match.field).dimension is not None,
    }


def _value(match: Match) -> str:
    """What a column is taken for, as the value of its list: field|unit|backing|order."""
    if not match.field:
        return ""
    reading = match.reading
    return "|".join((match.field, reading.unit, "1" if reading.with_backing else "", reading.date_order or ""))


def _in_doubt(looked: Looked, index: int) -> bool:
    """Whether day and month of some date of a column could change places."""
    return any(isinstance(read_date(cell), TwoDates) for cell in looked.sheet.column(index, _DATES_LOOKED_AT))


def _options(field: Field, in_doubt: bool) -> list[tuple[str, str]]:
    """What a column may be taken for as a field; in_doubt: whether the order of its dates can matter."""
    label = str(field.label)
    if field.dimension is not None:
        found = []
        for unit in _OF_DIMENSION[field.dimension]:
            found.append((f"{field.name}|{unit}||", f"{label}, {UNITS[unit].symbol}"))
            if field.shape == "height":
                words = _("%(label)s with backing, %(unit)s") % {"label": label, "unit": UNITS[unit].symbol}
                found.append((f"{field.name}|{unit}|1|", words))
        return found
    if field.shape == "date" and in_doubt:
        return [
            (f"{field.name}|||", _("%(label)s, asked in doubt") % {"label": label}),
            (f"{field.name}|||mdy", _("%(label)s, month first") % {"label": label}),
            (f"{field.name}|||dmy", _("%(label)s, day first") % {"label": label}),
        ]
    return [(f"{field.name}|||", label)]


def _label(field: Field, match: Match) -> str:
    unit = match.reading.unit
    return f"{field.label}, {UNITS[unit].symbol}" if unit in UNITS else str(field.label)


def chosen_columns(looked: Looked, said: dict[str, str]) -> dict[str, dict[str, Any]]:
    """What a person chose in the lists, as drafts keep it; columns left as guessed stay guesses.

    said: the posted fields; "c_D" a column's value, "m_D" its decimal mark.
    """
    chosen = {letter: dict(words) for letter, words in looked.draft.columns.items() if letter}
    for match in looked.columns.matches:
        value = said.get(f"c_{match.letter}")
        if value is not None and value != _value(match):
            field, unit, backing, order = [*value.split("|"), "", "", ""][:4]
            words: dict[str, Any] = {"field": field}
            if unit:
                words |= {"unit": unit, "with_backing": backing == "1"}
            if order:
                words["date_order"] = order
            chosen[match.letter] = words
        mark = said.get(f"m_{match.letter}")
        if mark in (".", ",") and mark != match.reading.decimal_mark:
            chosen.setdefault(match.letter, {})["decimal_mark"] = mark
    return chosen


# --- rows ---


def _rows(looked: Looked, asks: list[Question], refusals: list[Refusal]) -> list[dict[str, Any]]:
    """Some rows as they stand in the file: the first two, then those asked about or refused on this page."""
    doubts = {(one.row, one.letter): "ask" for one in asks} | {(one.row, one.letter): "refused" for one in refusals}
    wanted = {row.number for row in looked.sheet.rows[:2]} | set(sorted({row for row, _letter in doubts})[:_SHOWN_ROWS])
    letters = looked.sheet.letters
    return [
        {
            "number": row.number,
            "cells": [
                (_cell(looked, row, index), doubts.get((row.number, letter), ""))
                for index, letter in enumerate(letters)
            ],
        }
        for row in looked.sheet.rows
        if row.number in wanted
    ]


def _cell(looked: Looked, row: Row, index: int) -> str:
    typed = looked.draft.answers.get("cells", {}).get(f"{row.number}:{looked.sheet.letters[index]}")
    return str(typed) if typed is not None else shown(row.cell(index))[:80]


def things_page(looked: Looked, number: str) -> dict[str, Any]:
    """The things that can come in, fifty a page, in words."""
    leaf = Paginator(
        [(row.row, item) for row in looked.judgement.accepted for item in row.items], ROWS_A_PAGE
    ).get_page(number)
    rows = [
        [
            {"label": _("Row"), "words": row, "num": True},
            {"label": _("What comes in"), "words": looked.spec.say(item), "head": True},
        ]
        for row, item in leaf
    ]
    return {
        "draft": looked.draft,
        "headline": _("%(things)s can come in") % {"things": many(looked.draft.kind, looked.can_come_in)},
        "heads": [{"label": _("Row"), "num": True}, {"label": _("What comes in")}],
        "rows": rows,
        "leaf": leaf,
    }


def draft_words(draft: SheetDraft) -> str:
    """A draft in a list of drafts: what it is and how it stands."""
    made = rows_in(draft) if draft.brought_in_at else {}
    return words_of(made) or _("not in yet")
