"""Lists as shops keep them, and a made-up shop they come into. Everything is invented."""

from __future__ import annotations

import re
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Person, SheetDraft, ToolType
from jobs.actions.bring_in import BroughtIn, bring_in, keep_answer, start_draft
from jobs.queries.bring_in import Looked, look
from tests.cast import NOW, make_place, make_type
from tests.inventory.sheets.shop import csv_file

HEADING = ["Disc", "qty", "ID", "Height left (in)", "where", "SF run", "bought", "Notes"]
# Mixed units, a fraction, a blank row, a code twice, a word for a height, an unknown place, two wrong rows.
TOOLING: list[list[Any]] = [
    HEADING,
    ["400 resin", "1", "R-17", "0.27", "B14", "96000", "1/12/25", ""],
    ["30 metal", "1", "M-02", "8.4 mm", "A 2", "~40k", "3/4/25", "good"],
    ["200 resin", "1", "R-08", "3/8", "A3", "71000", "2/28/25", ""],
    [],
    ["400 resin", "2", "R-31/32", "0.28", "tub1", "", "4/9/25", "pair"],
    ["200 resin", "1", "R-08", "0.22", "van 2", "71000", "2/2/25", "Dag has it"],
    ["70 metal", "1", "M-11", "half", "A 5", "110k", "4/3/25", ""],
    ["200 resin", "1", "R-24", "0.30", "shelf?", "", "", ""],
    ["200 resin", "1", "R-20", "2.75", "B02", "62000", "", "lowest pc"],
    ["4oo resin", "1", "R-40", "0.19", "B11", "18000", "4/2/25", ""],
]


def stock_shop(cast: SimpleNamespace) -> dict[str, ToolType]:
    """Tool types and places: metal 30 and 70, resin 100 to 400, racks A and B, tub 1, van 2."""
    types = {
        f"{bond} {grit}": make_type(
            grit, bond, ladder_place=place, new_height_mm=10.0, backing_mm=3.0, rated_coverage_m2=12_000.0
        )
        for place, (bond, grit) in enumerate(
            [("metal", "30"), ("metal", "70"), ("resin", "100"), ("resin", "200"), ("resin", "400")]
        )
    }
    for kind, name in (("rack", "Rack A"), ("rack", "Rack B"), ("tub", "Tub 1"), ("van", "Van 2")):
        make_place(cast.branch, kind, name)
    return types


def draft_of(person: Person, rows: list[list[Any]], kind: str = "sets", name: str = "list.csv") -> SheetDraft:
    """A list started as a draft."""
    return start_draft(person, person.branch, kind, name, csv_file(rows), now=NOW, draft_id=uuid4())


def looked(draft: SheetDraft, person: Person) -> Looked:
    """The draft as it is on record, judged."""
    return look(SheetDraft.objects.get(pk=draft.pk), person, NOW)


def answer(draft: SheetDraft, person: Person, title: str, key: str, *, all_like_it: bool = False) -> None:
    """Answer the first question with this title."""
    question = next(one for one in looked(draft, person).judgement.questions if title in one.title)
    assert key in dict(question.answers), question.answers
    keep_answer(draft, lambda answers: answers.give(question, key, for_all_like_it=all_like_it))


def come_in(cast: SimpleNamespace, draft: SheetDraft, person: Person | None = None) -> BroughtIn:
    """Everything that can come in does."""
    return bring_in(person or cast.ines, cast.device, draft, now=NOW)


def url(name: str, draft: SheetDraft, *more: str) -> str:
    """The address of a page of bringing in."""
    return reverse(f"jobs:bring_in_{name}", args=[draft.pk, *more])


def words(answer: HttpResponse) -> str:
    """What a page says, without its markup."""
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).replace("\u00a0", " ").split())
