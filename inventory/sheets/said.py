"""What a cell can say: its values, the doubts with their answers, and refusals that say what would be right."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from inventory.units import Amount


@dataclass(frozen=True)
class Answer:
    """One answer to a question: its key, its words on the button, and the value it gives."""

    key: str
    label: str
    value: Any = None


class CellWrong(ValueError):
    """A cell that cannot be kept: `right` says what would be, `likely` is the text it should perhaps be.

    doubt: what is asked instead, where a row need not stay out for it.
    """

    def __init__(self, right: str, likely: str = "", doubt: CellDoubt | None = None) -> None:
        super().__init__(right)
        self.right = right
        self.likely = likely
        self.doubt = doubt


class CellDoubt(ValueError):
    """A cell with more than one honest reading; `answers`, likeliest first. `like` groups cells with one answer."""

    def __init__(
        self, topic: str, title: str, why: str, answers: tuple[Answer, ...], like: str, *, whole_column: bool = False
    ) -> None:
        super().__init__(title)
        self.topic = topic
        self.title = title
        self.why = why
        self.answers = answers
        self.like = like
        self.whole_column = whole_column


@dataclass(frozen=True)
class Grit:
    """What a cell says of a tool type: its grit label, its bond if said, and the whole text."""

    grit: str
    bond: str
    text: str
    mended: bool = False


@dataclass(frozen=True)
class Left:
    """What is left of a set, said in words: an opening kind, and whether it could also be read as a height."""

    kind: str
    text: str
    as_height: Amount | None = None


@dataclass(frozen=True)
class State:
    """What a state column says: what is left, how fit (usable, set_aside, broken, worn, missing), a trouble."""

    opening: str = ""
    fitness: str = ""
    trouble: str = ""
    soft: bool = False
    text: str = ""
