"""What an action says when it will not do what was asked."""

from __future__ import annotations


class Refused(Exception):
    """An action refuses: nothing was written. Each module subclasses it per kind of refusal.

    why: one sentence in the user's words, naming the set, the value and the limit.
    next_step: one sentence saying what to do now, or "".
    field: the form field it belongs to, or "".
    """

    code = "refused"

    def __init__(self, why: str, next_step: str = "", *, field: str = "") -> None:
        super().__init__(why)
        self.why = str(why)
        self.next_step = str(next_step)
        self.field = field

    @property
    def sentence(self) -> str:
        """Why and what next, as one text."""
        return f"{self.why} {self.next_step}".strip()
