"""Every flag the state function can raise has words for people."""

from __future__ import annotations

import ast
import re
from pathlib import Path

from hypothesis import given, settings

from inventory.flags import FLAG_WORDS, flag_words
from inventory.ledger import state, steps
from inventory.ledger.state import fold
from inventory.models.choices import ClockDoubt
from inventory.models.ledger import Entry
from tests.inventory.ledger.draw_lines import ledgers

# What stands in the places that a code leaves open.
OPEN = {"gate_": ["overridden", "not_asked"], "clock_": [doubt for doubt in ClockDoubt.values if doubt != "none"]}


def codes_in(node: ast.expr) -> set[str]:
    """The codes that an argument can be; an argument of a function is found where that one is called."""
    if isinstance(node, ast.Constant):
        return {str(node.value)}
    if isinstance(node, ast.IfExp):
        return codes_in(node.body) | codes_in(node.orelse)
    if isinstance(node, ast.JoinedStr):
        head = node.values[0]
        assert isinstance(head, ast.Constant)
        return {str(head.value) + rest for rest in OPEN[str(head.value)]}
    assert isinstance(node, ast.Name)
    assert node.id == "doubt"
    return set()


def codes_in_the_program() -> set[str]:
    """Every code that stands in a call that raises a flag, read from the code itself."""
    codes: set[str] = set()
    for module in (state, steps):
        for node in ast.walk(ast.parse(Path(module.__file__ or "").read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("flag", "_sight_at"):
                codes |= codes_in(node.args[2])
    return codes


def test_every_flag_the_program_can_raise_has_words_and_no_other() -> None:
    assert codes_in_the_program() == set(FLAG_WORDS)


@settings(max_examples=100, deadline=None)
@given(ledgers())
def test_no_ledger_raises_a_flag_without_words(ledger) -> None:
    assert {code for _entry, code in fold(ledger).flags} <= set(FLAG_WORDS)


def test_the_words_are_sentences_without_machine_words_and_the_codes_fit_their_column() -> None:
    longest = Entry._meta.get_field("flag_code").max_length
    assert longest is not None
    for code, words in FLAG_WORDS.items():
        assert len(code) <= longest
        for text in (str(words.sentence), str(words.next_step)):
            assert re.fullmatch(r"[A-Z][^_<>]+\.", text), text
            assert not re.search(r"\b(invalid|error|please|oops|fold|UUID|null)\b", text, re.IGNORECASE), text


def test_a_flag_of_a_newer_version_still_says_what_to_do() -> None:
    assert str(flag_words("from a newer version").next_step) == "Look through the set's ledger, then settle this."
