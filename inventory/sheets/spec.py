"""A kind of list that can be brought in: its fields, and how a row of it is judged."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from .draft import Draft
from .fields import Field

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise


@dataclass(frozen=True)
class Spec:
    """A kind of list that can be brought in.

    `judge` turns a row whose cells were read into the things it says, asking and refusing through the draft.
    `key_of` names a thing for finding it twice (None: it has no name); `say` describes one in a few words.
    """

    kind: str
    fields: tuple[Field, ...]
    judge: Callable[[Draft], list[Any]]
    key_of: Callable[[Any], str | None]
    say: Callable[[Any], str]
    key_field: str
    twin_question: str | _StrPromise
    twin_choices: tuple[tuple[str, str | _StrPromise], ...]
    merge: Callable[[Any, Any], Any]

    def field(self, name: str) -> Field:
        """The field of a name. Raises KeyError."""
        for each in self.fields:
            if each.name == name:
                return each
        raise KeyError(name)

    def known_headings(self) -> set[str]:
        """All headings that this kind of list understands."""
        return {word for each in self.fields for word in (*each.words, *each.weak_words)}
