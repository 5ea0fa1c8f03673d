"""Rows of a list -> those that can come in, those that need an answer, those that are refused; for any kind of list."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from django.utils.translation import gettext as _

from .cells import PARSERS, Answer, CellDoubt, CellWrong
from .columns import ColumnMap
from .draft import Draft, RowRefused, RowWaits
from .fields import Field, Known, Reading
from .outcome import Accepted, Answers, Judgement, Question, Refusal
from .raw import Row, Sheet, is_blank, letter, shown, unusable
from .spec import Spec
from .words import says_nothing

# The namespace of row identities; it must never change, or rows that came in would come in again.
_NAMESPACE = uuid.UUID("5d0c8a3e-6b52-4f0e-9a53-8f6d2f1c7b11")


_UNUSABLE = object()  # a cell with a formula without result, or the trace of one that failed


def judge(
    sheet: Sheet,
    spec: Spec,
    columns: ColumnMap,
    known: Known,
    answers: Answers | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Judgement:
    """Judge every row of a list; pure: the same arguments give the same judgement.

    `progress(done, total)` is called every thousand rows. Nothing is accepted while a required field has no column or
    nobody said which row holds the headings.
    """
    engine = _Engine(sheet, spec, columns, known, answers or Answers())
    return engine.run(progress)


def row_identity(kind: str, cells: Sequence[str], ordinal: int) -> uuid.UUID:
    """The stable id of a row: by the kind of list, what stands in it, and which of its equals it is (from 0)."""
    return uuid.uuid5(_NAMESPACE, "\x1f".join([kind, str(ordinal), *cells]))


class _Engine:
    def __init__(self, sheet: Sheet, spec: Spec, columns: ColumnMap, known: Known, answers: Answers) -> None:
        self.sheet, self.spec, self.columns, self.known, self.answers = sheet, spec, columns, known, answers
        self.result = Judgement(missing=columns.missing)
        self._index = {match.field: index for index, match in enumerate(columns.matches) if match.field}
        self._fields = [(name, index, spec.field(name)) for name, index in self._index.items()]
        self._out = set(answers.out)
        self._typed: dict[int, dict[int, str]] = {}
        letters = {match.letter: index for index, match in enumerate(columns.matches)}
        for address, text in answers.cells.items():
            number, _mark, column = address.partition(":")
            if number.isdecimal() and column in letters:
                self._typed.setdefault(int(number), {})[letters[column]] = text
        self._read: dict[tuple[str, Any, Any], Any] = {}
        self._whole: dict[str, int] = {}
        self._whole_rows: dict[int, list[int]] = {}

    # What specs see through Draft

    def text(self, row: Row, name: str) -> str:
        index = self._index.get(name)
        return shown(self._cell(row, index)) if index is not None else ""

    def has(self, name: str) -> bool:
        return name in self._index

    def reading(self, name: str) -> Reading:
        index = self._index.get(name)
        return self.columns.matches[index].reading if index is not None else Reading()

    def answer(self, row: Row, name: str, topic: str, like: str, keys: set[str]) -> str | None:
        for found in (self.answers.rows.get(f"{row.number}:{name}:{topic}"), self.answers.like.get(like)):
            if found in keys:
                return found
        return None

    def question(
        self,
        row: Row,
        name: str,
        topic: str,
        title: str,
        why: str,
        answers: Sequence[tuple[str, str]],
        like: str,
        *,
        whole_column: bool = False,
        listed: Sequence[tuple[str, str]] = (),
    ) -> None:
        self.result.asked.add(row.number)
        if whole_column and like in self._whole:
            self._whole_rows[self._whole[like]].append(row.number)
            return
        column, heading = self._where(name)
        if whole_column:
            self._whole[like] = len(self.result.questions)
            self._whole_rows[len(self.result.questions)] = [row.number]
        self.result.questions.append(
            Question(
                id=f"{row.number}:{name}:{topic}",
                like=like,
                rows=(row.number,),
                field=name,
                letter=column,
                heading=heading,
                value=self.text(row, name),
                title=title,
                why=why,
                answers=tuple((key, str(label)) for key, label in (*answers, *listed)),
                buttons=len(answers),
                whole_column=whole_column,
            )
        )

    def refuse(self, row: Row, name: str, right: str, likely: str = "") -> None:
        column, heading = self._where(name)
        self.result.refused.append(Refusal(row.number, name, column, heading, self.text(row, name), right, likely))

    # The rows

    def run(self, progress: Callable[[int, int], None] | None) -> Judgement:
        result, total = self.result, len(self.sheet.rows)
        if self.columns.missing or self.sheet.heading_doubt:
            return result
        ordinals: dict[tuple[str, ...], list[int]] = {}
        keys: dict[str, tuple[int, int]] = {}
        by_row: dict[int, Accepted] = {}
        for done, row in enumerate(self.sheet.rows):
            if progress is not None and done % 1000 == 0:
                progress(done, total)
            content = self._content(row)
            equals = ordinals.setdefault(content, [])
            identity = row_identity(self.spec.kind, content, len(equals))
            first_equal = equals[0] if equals else None
            equals.append(row.number)
            if identity in self.known.came_in or self._here(row):
                result.already.append(row.number)
                continue
            if str(row.number) in self._out:
                result.left_out.append(row.number)
                continue
            accepted = self._one(row, identity, first_equal, keys, by_row)
            if accepted is not None:
                result.accepted.append(accepted)
                by_row[row.number] = accepted
        for index, rows in self._whole_rows.items():
            old = result.questions[index]
            result.questions[index] = replace(old, rows=tuple(rows))
        if progress is not None:
            progress(total, total)
        return result

    def _here(self, row: Row) -> bool:
        """Whether the row is of a table that the shop itself wrote out, about a thing it still has."""
        index = self._index.get("key")
        return index is not None and shown(self._cell(row, index)) in self.known.here

    def _one(
        self,
        row: Row,
        identity: uuid.UUID,
        first_equal: int | None,
        keys: dict[str, tuple[int, int]],
        by_row: dict[int, Accepted],
    ) -> Accepted | None:
        values = self._values(row)
        if values is None:
            return None
        draft = Draft(self, row, values)
        try:
            items = self.spec.judge(draft)
            fresh: list[Any] = []
            joined: int | None = None
            for item in items:
                key = self.spec.key_of(item)
                if key is not None and key in keys:
                    other_row, position = keys[key]
                    if self._same(draft, item, other_row, by_row[other_row].items[position]):
                        other = by_row[other_row]
                        merged = list(other.items)
                        merged[position] = self.spec.merge(merged[position], item)
                        other.items = tuple(merged)
                        joined = other_row
                        continue
                elif key is not None and key in self.known.existing:
                    if self._same_as_known(draft, item, self.known.existing[key]):
                        continue
                elif key is None and first_equal is not None and not self._twin(draft, first_equal):
                    joined = first_equal
                    continue
                fresh.append(item)
        except (RowWaits, RowRefused):
            return None
        if items and not fresh and joined is None:
            self.result.already.append(row.number)
            return None
        for position, item in enumerate(fresh):
            key = self.spec.key_of(item)
            if key is not None:
                keys.setdefault(key, (row.number, position))
        ids = tuple(uuid.uuid5(identity, str(position)) if position else identity for position in range(len(fresh)))
        return Accepted(row.number, identity, ids, tuple(fresh), joined)

    def _same(self, draft: Draft, item: Any, other_row: int, other: Any) -> bool:
        name = self.text(draft._row, self.spec.key_field) or self.spec.say(item)
        return (
            draft.ask(
                self.spec.key_field,
                "same",
                _("Is this the %(name)s of row %(row)s?") % {"name": name, "row": other_row},
                _("Row %(row)s: %(other)s. This one: %(this)s.")
                % {"row": other_row, "other": self.spec.say(other), "this": self.spec.say(item)},
                (("same", _("The same, as this row says")), ("two", _("Two different ones"))),
            )
            == "same"
        )

    def _same_as_known(self, draft: Draft, item: Any, there: str) -> bool:
        name = self.text(draft._row, self.spec.key_field) or self.spec.say(item)
        return (
            draft.ask(
                self.spec.key_field,
                "known",
                _("Is this the %(name)s you have?") % {"name": name},
                _("Here already: %(there)s. This row: %(this)s.") % {"there": there, "this": self.spec.say(item)},
                (("same", _("The same, leave it as it is")), ("two", _("Another one"))),
            )
            == "same"
        )

    def _twin(self, draft: Draft, first: int) -> bool:
        """Whether a row that says the same as an earlier one speaks of another thing."""
        return (
            draft.ask(
                self.spec.key_field,
                "twin",
                str(self.spec.twin_question),
                _("Row %(row)s says the same, word for word.") % {"row": first},
                tuple((key, str(label)) for key, label in self.spec.twin_choices),
            )
            == "two"
        )

    # Cells

    def _cell(self, row: Row, index: int) -> Any:
        typed = self._typed.get(row.number)
        if typed is not None and index in typed:
            return typed[index]
        return row.cell(index)

    def _where(self, name: str) -> tuple[str, str]:
        index = self._index.get(name)
        if index is None:
            return "", str(self.spec.field(name).label)
        return letter(index), self.columns.matches[index].heading

    def _content(self, row: Row) -> tuple[str, ...]:
        cells = [shown(cell) for cell in row.cells]
        while cells and not cells[-1]:
            cells.pop()
        return tuple(cells)

    def _values(self, row: Row) -> dict[str, Any] | None:
        """The values of a row by field; None when a cell is refused or waits for an answer."""
        values: dict[str, Any] = {}
        stopped = False
        for name, index, field in self._fields:
            cell = self._cell(row, index)
            if is_blank(cell) or (not field.required and says_nothing(shown(cell), field.shape)):
                if field.required:
                    self.refuse(row, name, _("Something here: %(label)s.") % {"label": field.label})
                    stopped = True
                continue
            read = self._parse(field, index, cell)
            if isinstance(read, CellWrong) and read.doubt is not None:
                read = read.doubt
            if read is _UNUSABLE:
                self.refuse(row, name, unusable(cell, f"{letter(index)}{row.number}"))
                stopped = True
            elif isinstance(read, CellWrong):
                self.refuse(row, name, read.right, read.likely)
                stopped = True
            elif isinstance(read, CellDoubt):
                given = self._answered(row, name, read)
                if given is None:
                    stopped = True
                    self.question(
                        row,
                        name,
                        read.topic,
                        read.title,
                        read.why,
                        [(each.key, each.label) for each in read.answers],
                        read.like,
                        whole_column=read.whole_column,
                    )
                else:
                    values[name] = given.value
            else:
                values[name] = read
        return None if stopped else values

    def _answered(self, row: Row, name: str, doubt: CellDoubt) -> Answer | None:
        key = self.answer(row, name, doubt.topic, doubt.like, {each.key for each in doubt.answers})
        return next((each for each in doubt.answers if each.key == key), None)

    def _parse(self, field: Field, index: int, cell: Any) -> Any:
        # Lists repeat themselves: the same text in the same column is read once.
        memory: tuple[str, Any, Any] = (field.name, type(cell), cell)
        if memory in self._read:
            return self._read[memory]
        if unusable(cell, ""):
            self._read[memory] = _UNUSABLE
            return _UNUSABLE
        value: Any
        try:
            value = PARSERS[field.shape](cell, field, self.columns.matches[index].reading, self.known)
        except (CellWrong, CellDoubt) as stop:
            value = stop
        if len(self._read) < 200_000:
            self._read[memory] = value
        return value
