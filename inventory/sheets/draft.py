"""One row being judged, as a kind of list sees it: its values, and the ways to ask and to refuse."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NoReturn, Protocol

from .fields import Known, Reading
from .raw import Row


class RowWaits(Exception):
    """The row waits for an answer."""


class RowRefused(Exception):
    """The row is refused."""


class Engine(Protocol):
    """What judges the whole list: keeps questions and refusals, knows the answers."""

    known: Known

    def text(self, row: Row, name: str) -> str:
        """What stands in the cell of a field."""

    def has(self, name: str) -> bool:
        """Whether a column says the field."""

    def reading(self, name: str) -> Reading:
        """How the column of a field is read."""

    def answer(self, row: Row, name: str, topic: str, like: str, keys: set[str]) -> str | None:
        """The key answered to a question, None while nobody did."""

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
        """Keep a question."""

    def refuse(self, row: Row, name: str, right: str, likely: str = "") -> None:
        """Keep a refusal."""


class Draft:
    """One row being judged: its values read, and the way to ask and to refuse. Made by `judge`, used by specs."""

    def __init__(self, engine: Engine, row: Row, values: dict[str, Any]) -> None:
        self._engine = engine
        self._row = row
        self._values = values

    @property
    def known(self) -> Known:
        """What the shop knows."""
        return self._engine.known

    @property
    def row(self) -> int:
        """The row's number."""
        return self._row.number

    def get(self, name: str) -> Any:
        """The value of a field, None when its cell is empty or no column says it."""
        return self._values.get(name)

    def text(self, name: str) -> str:
        """What stands in the cell of a field."""
        return self._engine.text(self._row, name)

    def reading(self, name: str) -> Reading:
        """How the column of a field is read."""
        return self._engine.reading(name)

    def has(self, name: str) -> bool:
        """Whether a column says the field."""
        return self._engine.has(name)

    def ask(
        self,
        name: str,
        topic: str,
        title: str,
        why: str,
        answers: Sequence[tuple[str, str]],
        like: str = "",
        listed: Sequence[tuple[str, str]] = (),
        *,
        together: bool = False,
    ) -> str:
        """The answer's key to a question about a field; the row waits until there is one.

        `answers`: (key, words on the button), likeliest first; `listed`: further ones, for a list box. `like` groups
        rows that one answer may serve; `together`: it always serves all of them, and is asked once.
        """
        like = like or f"{topic}:{name}"
        found = self._engine.answer(self._row, name, topic, like, {key for key, _label in (*answers, *listed)})
        if found is not None:
            return found
        self._engine.question(self._row, name, topic, title, why, answers, like, whole_column=together, listed=listed)
        raise RowWaits

    def refuse(self, name: str, right: str, likely: str = "") -> NoReturn:
        """Refuse the row for a field, saying what would be right."""
        self._engine.refuse(self._row, name, right, likely)
        raise RowRefused
