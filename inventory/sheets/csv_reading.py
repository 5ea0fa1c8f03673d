"""CSV as people and programs write it: sniffed encoding and delimiter, row by row."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator
from itertools import islice

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from .raw import MAX_COLUMNS, MAX_ROWS, Row, SheetNotRead, is_blank

DELIMITERS = (";", "\t", "|", ",")
_SAMPLE_ROWS = 60
_UNSEEN = re.compile(r"[\x00-\x08\x0e-\x1f]")
_NAMES = {
    b"%PDF": gettext_noop("a PDF document"),
    b"\x89PNG": gettext_noop("a picture"),
    b"\xff\xd8\xff": gettext_noop("a picture"),
    b"GIF8": gettext_noop("a picture"),
    b"{\\rtf": gettext_noop("a text document"),
}


def decode(data: bytes) -> tuple[str, str]:
    """The text of a CSV file and the name of its encoding (utf-8, utf-16 or cp1252).

    Raises SheetNotRead when the bytes are no text.
    """
    if data.startswith(b"\xef\xbb\xbf"):
        tries = ["utf-8-sig"]
    elif data.startswith((b"\xff\xfe", b"\xfe\xff")):
        tries = ["utf-16"]
    elif _looks_utf16(data[:2000]):
        tries = ["utf-16-le" if data[1::2][:1000].count(0) > data[::2][:1000].count(0) else "utf-16-be"]
    else:
        tries = ["utf-8", "cp1252"]
    for encoding in tries:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if not _binary(text[:20_000]):
            _refuse_unseen(text)
            return text.removeprefix("\ufeff"), encoding
    raise SheetNotRead(_not_a_table(_("what is in it is not text")))


def _looks_utf16(head: bytes) -> bool:
    if len(head) < 8:
        return False
    even, odd = head[::2], head[1::2]
    return max(even.count(0) / len(even), odd.count(0) / len(odd)) > 0.6 and min(even.count(0), odd.count(0)) < 3


def _binary(text: str) -> bool:
    """Whether so much of a text is no letter that it is none at all; a stray sign is told by its row."""
    return len(_UNSEEN.findall(text)) > len(text) / 100


def _refuse_unseen(text: str) -> None:
    """Raise SheetNotRead for signs that no text holds: databases do not keep them, and nobody sees where they are."""
    found = _UNSEEN.search(text)
    if found is not None:
        raise SheetNotRead(
            _("Line %(line)s holds a sign that is no letter (code %(code)s). Take it out, or save your list anew.")
            % {"line": f"{text.count(chr(10), 0, found.start()) + 1:,}", "code": ord(found[0])}
        )


def _not_a_table(why: str) -> str:
    return _("This file is no table: %(why)s. Save your list as CSV or XLSX and bring that.") % {"why": why}


def refuse_other_kinds(data: bytes) -> None:
    """Raise SheetNotRead for files that are known to be something else than a table."""
    for magic, name in _NAMES.items():
        if data.startswith(magic):
            raise SheetNotRead(_not_a_table(_("it is %(kind)s") % {"kind": _(name)}))
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise SheetNotRead(
            _("This is a spreadsheet in the old form, or one with a password. Save it as XLSX or CSV and bring that.")
        )
    head = data[:1000].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if head.startswith((b"<!doctype", b"<html", b"<?xml", b"<table", b"<head", b"<svg")):
        raise SheetNotRead(_not_a_table(_("it is a web page or a marked-up text")))
    if head.startswith((b"{", b"[{", b"[\n")):
        raise SheetNotRead(_not_a_table(_("it is data for programs")))


def read_csv(data: bytes) -> tuple[list[Row], str, str]:
    """The rows of a CSV file that hold something, its delimiter and its encoding.

    Row numbers count as a spreadsheet program would, blank rows included. Raises SheetNotRead.
    """
    text, encoding = decode(data)
    text, told = _told_delimiter(text)
    delimiter = told or _sniff(text)
    first = 2 if told else 1
    rows: list[Row] = []
    try:
        for number, cells in enumerate(_records(text, delimiter), first):
            if all(is_blank(cell) for cell in cells):
                continue
            if len(cells) > MAX_COLUMNS:
                raise SheetNotRead(
                    _("Row %(row)s has %(n)s columns. At most %(most)s can be read.")
                    % {"row": number, "n": len(cells), "most": MAX_COLUMNS}
                )
            if any("\n" in cell and cell.count("\n") > 30 for cell in cells):
                raise SheetNotRead(
                    _("In row %(row)s a quotation mark opens and is never closed. Take it out or close it.")
                    % {"row": number}
                )
            rows.append(Row(number, tuple(cells)))
            if len(rows) > MAX_ROWS + 20:
                break
    except csv.Error:
        raise SheetNotRead(_not_a_table(_("one of its cells never ends"))) from None
    return rows, delimiter, encoding


def _records(text: str, delimiter: str) -> Iterator[list[str]]:
    return csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)


def _told_delimiter(text: str) -> tuple[str, str]:
    """Some programs write "sep=;" as the first line."""
    line, _mark, rest = text.partition("\n")
    line = line.strip()
    if line.lower().startswith("sep=") and len(line) == 5:
        return rest, line[4]
    return text, ""


def _sniff(text: str) -> str:
    """The delimiter that parts the first rows most evenly.

    Raises SheetNotRead when nothing parts them and the lines read like prose.
    """
    best, best_score, endless = "", 0.0, 0
    for delimiter in DELIMITERS:
        try:
            sample = [cells for cells in islice(_records(text, delimiter), 400) if any(c.strip() for c in cells)]
        except csv.Error:
            endless += 1
            continue
        sample = sample[:_SAMPLE_ROWS]
        widths = Counter(len(cells) for cells in sample)
        wide = {width: n for width, n in widths.items() if width > 1}
        if not wide:
            continue
        width, count = max(wide.items(), key=lambda pair: (pair[1], pair[0]))
        score = count / len(sample)
        # A decimal comma parts rows too, but unevenly, and never the heading.
        if len(sample[0]) < 2 and len(sample) > 1 and len(sample[1]) < 2:
            score *= 0.5
        if score > best_score + 1e-9 or (score > best_score - 0.02 and width > 2 and not best):
            best, best_score = delimiter, score
    if endless == len(DELIMITERS):
        raise SheetNotRead(_not_a_table(_("one of its cells never ends")))
    lines = [line for line in text.splitlines()[:_SAMPLE_ROWS] if line.strip()]
    if best and (best_score >= 0.5 or len(lines) <= 2) and not _prose(lines, best):
        return best
    if lines and not _prose(lines, None) and best_score < 0.5:
        return best or ","
    raise SheetNotRead(_not_a_table(_("its lines have no columns")))


def _prose(lines: list[str], delimiter: str | None) -> bool:
    """Whether lines read like sentences: long, many words, delimiter followed by a space."""
    words = sum(len(line.split()) for line in lines) / max(1, len(lines))
    if delimiter is None:
        return words > 5 or max(map(len, lines)) > 120
    if delimiter == ",":
        marks = sum(line.count(",") for line in lines)
        spaced = sum(line.count(", ") for line in lines)
        return marks > 0 and words > 7 and spaced / marks > 0.8
    return False
