"""What judging a list gives, and what a person answers to it."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from .fields import Field


@dataclass
class Answers:
    """What a person answered, changed and typed so far; plain text, so that it can be kept as JSON.

    rows: question id -> answer key. like: group -> answer key ("same for rows like it"). cells: "88:D" -> what is
    typed instead ("Make it 0.275", "Type it"). out: rows that a person leaves out ("97").
    """

    rows: dict[str, str] = field(default_factory=dict)
    like: dict[str, str] = field(default_factory=dict)
    cells: dict[str, str] = field(default_factory=dict)
    out: list[str] = field(default_factory=list)

    def give(self, question: Question, key: str, *, for_all_like_it: bool = False) -> None:
        """Keep an answer: for its row, or for all rows like it; a whole-column question is always for all."""
        if question.whole_column or for_all_like_it:
            self.like[question.like] = key
        else:
            self.rows[question.id] = key

    def as_dict(self) -> dict[str, Any]:
        """The answers as JSON can keep them."""
        return {"rows": self.rows, "like": self.like, "cells": self.cells, "out": self.out}

    @classmethod
    def from_dict(cls, kept: Mapping[str, Any]) -> Answers:
        """Answers as they were kept; what is missing is empty."""
        return cls(
            rows=dict(kept.get("rows", {})),
            like=dict(kept.get("like", {})),
            cells=dict(kept.get("cells", {})),
            out=list(kept.get("out", [])),
        )


@dataclass(frozen=True)
class Question:
    """A doubt with its answers, likeliest first. `rows` has one row, or all that a whole-column question holds up.

    buttons: so many of the answers, the first, are worth a button; further ones stand in a list box.
    """

    id: str
    like: str
    rows: tuple[int, ...]
    field: str
    letter: str
    heading: str
    value: str
    title: str
    why: str
    answers: tuple[tuple[str, str], ...]
    whole_column: bool = False
    buttons: int = 0

    @property
    def row(self) -> int:
        """The first row it is about."""
        return self.rows[0]


@dataclass(frozen=True)
class Refusal:
    """A row that stays out: where, what stands there, what would be right, and the likely text if there is one."""

    row: int
    field: str
    letter: str
    heading: str
    value: str
    right: str
    likely: str = ""

    @property
    def cell(self) -> str:
        """The cell's key in `Answers.cells`."""
        return f"{self.row}:{self.letter}"

    @property
    def like(self) -> tuple[str, str, str]:
        """What refusals alike have in common: the field, what stands there, what would be right."""
        return (self.field, self.value, self.right)


@dataclass
class Accepted:
    """A row that can come in: its things, each with a stable id (the first one's is the row's `identity`).

    `joined_to`: the row whose thing this one speaks of too; its `identity` is to be kept all the same.
    """

    row: int
    identity: uuid.UUID
    ids: tuple[uuid.UUID, ...]
    items: tuple[Any, ...]
    joined_to: int | None = None


@dataclass
class Judgement:
    """A whole list judged. `already`: rows that came in before; `left_out`: rows a person leaves out."""

    accepted: list[Accepted] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    refused: list[Refusal] = field(default_factory=list)
    already: list[int] = field(default_factory=list)
    left_out: list[int] = field(default_factory=list)
    missing: tuple[Field, ...] = ()
    asked: set[int] = field(default_factory=set)

    @property
    def asking_rows(self) -> int:
        """How many rows need an answer."""
        return len(self.asked)

    @property
    def refused_rows(self) -> int:
        """How many rows are refused."""
        return len({refusal.row for refusal in self.refused})

    def refused_like(self, cell: str) -> list[Refusal]:
        """The refusal of a cell and all that stand there for the same; none when the cell is not refused."""
        one = next((refusal for refusal in self.refused if refusal.cell == cell), None)
        return [] if one is None else [refusal for refusal in self.refused if refusal.like == one.like]

    @property
    def things(self) -> list[Any]:
        """All things that can come in, in the order of the list."""
        return [item for row in self.accepted for item in row.items]
