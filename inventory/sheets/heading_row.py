"""Which row of a file holds the headings: found where the rows say so, in doubt where they do not."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass

from inventory.units import find_unit

from .raw import Row, is_blank, shown

# A heading stands among the first rows; so many are looked at, and so many below it are compared. Our assumption.
HEADER_WITHIN = 15
_BELOW = 12
_NUMBER = re.compile(r"^[~≈$€£]?\s*[-+]?[\d.,' /½¼¾]+\s*(?:%|[a-zA-Z²\"″']{0,4})$")
_DIMENSIONS = ("area", "height", "length", "temperature", "hours")


def plain(text: str) -> str:
    """A heading as it is compared: lower case, words parted by single spaces, marks left out."""
    return " ".join(re.sub(r"[^\w²\"%#/]+", " ", text.lower().replace("_", " ")).split())


@dataclass(frozen=True)
class HeadingRow:
    """What was found: index of the heading row (None: the list has none), and whether a person is to say."""

    index: int | None
    doubt: bool = False


def find_heading_row(rows: list[Row], known: Collection[str]) -> HeadingRow:
    """The heading row of a table.

    `known`: headings that are understood, in `plain` form. A row is taken for the heading when one of its cells is a
    known heading, or when its cells look unlike the data below (words over numbers); a row like the rows below it is
    data whatever words stand in it. A first row that is data means a list without headings. Else in doubt, unless
    `known` is empty: then the first row of only words as wide as the table is taken.
    """
    words = set(known)
    width = max((_filled(row) for row in rows[:200]), default=0)
    least = min(2, width)
    best, best_score = None, 0.0
    first_wide: tuple[int, int] | None = None
    unlike_first: int | None = None
    for index, row in enumerate(rows[:HEADER_WITHIN]):
        filled = _filled(row)
        if filled < max(1, least):
            continue
        like, unlike = _compared(rows, index, words)
        wide = filled >= 0.6 * width
        if first_wide is None and wide:
            first_wide = (like, unlike)
        texts = _only_words(row)
        if like > unlike or len(texts) < filled or len({text.lower() for text in texts}) < len(texts):
            continue
        hits = sum(any(part in words for part in _parts(text)) for text in texts)
        if unlike and wide and unlike_first is None:
            unlike_first = index
        score = hits + (0.5 if wide else 0.0) + (0.25 if unlike else 0.0)
        if hits and score > best_score + 1e-9:
            best, best_score = index, score
    if best is not None and unlike_first is not None and unlike_first < best and best_score < 2:
        # One word that a heading may hold too, below a row that stands over numbers: that word is data.
        return HeadingRow(unlike_first)
    if best is not None or unlike_first is not None:
        return HeadingRow(best if best is not None else unlike_first)
    if first_wide is None or first_wide[0] > first_wide[1]:
        return HeadingRow(None)
    if words:
        return HeadingRow(None, doubt=True)
    wide_rows = (
        index
        for index, row in enumerate(rows[:HEADER_WITHIN])
        if _filled(row) >= max(1, least, 0.6 * width) and len(_only_words(row)) == _filled(row)
    )
    return HeadingRow(next(wide_rows, None))


def _filled(row: Row) -> int:
    return sum(not is_blank(cell) for cell in row.cells)


def _only_words(row: Row) -> list[str]:
    return [
        cell.strip()
        for cell in row.cells
        if isinstance(cell, str) and not is_blank(cell) and not _NUMBER.match(cell.strip())
    ]


def _parts(text: str) -> set[str]:
    words = plain(text).split()
    return {" ".join(words[start:end]) for start in range(len(words)) for end in range(start + 1, len(words) + 1)}


def _compared(rows: list[Row], index: int, known: set[str]) -> tuple[int, int]:
    """In how many columns a row is like the rows below it, and in how many unlike.

    Like: the same words stand below again, or figures stand in it and below. Unlike: words over figures, dates or
    native numbers, or a heading that is known as it stands.
    """
    like = unlike = 0
    for column, cell in enumerate(rows[index].cells):
        if is_blank(cell):
            continue
        below = [row.cell(column) for row in rows[index + 1 : index + 1 + _BELOW]]
        below = [other for other in below if not is_blank(other)]
        text = shown(cell)
        if plain(text) in known:
            unlike += 1
            continue
        if not below:
            continue
        figures = sum(not isinstance(other, str) or bool(re.search(r"[\d½¼¾]", other)) for other in below)
        if not isinstance(cell, str) or _has_figures(text, known):
            like += 2 * figures > len(below)
        elif text.lower() in {shown(other).lower() for other in below}:
            like += 1
        else:
            unlike += 2 * figures > len(below)
    return like, unlike


def _has_figures(text: str, known: set[str]) -> bool:
    """Whether figures stand in a cell that are no part of a unit or of a known heading ("m2", "ft²")."""
    return any(
        re.search(r"[\d½¼¾]", word) and word not in known and not any(find_unit(word, each) for each in _DIMENSIONS)  # type: ignore[arg-type]
        for word in plain(text).split() or [text]
    )
