"""Bringing in at its doors: files, columns, answers, corrections, the button, undo, the waiting rows."""

import csv
import io
import re
from types import SimpleNamespace
from uuid import uuid4

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import OperationalError
from django.test import Client
from django.urls import reverse

from inventory.models import Place, SetState, SheetDraft, ToolSet
from inventory.sheets import reading
from jobs.queries import bring_in as queries
from jobs.views import bring_in
from tests.cast import make_branch, make_cast
from tests.inventory.sheets.shop import csv_file, xlsx_file

from .sheet_files import HEADING, TOOLING, draft_of, stock_shop, url, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> SimpleNamespace:
    found = make_cast()
    found.types = stock_shop(found)
    return found


@pytest.fixture
def ines(client: Client, cast: SimpleNamespace) -> Client:
    client.force_login(cast.ines)
    return client


def send(client: Client, data: bytes, name: str = "tooling.csv", kind: str = "sets"):
    return client.post(reverse("jobs:bring_in"), {"kind": kind, "file": SimpleUploadedFile(name, data)})


def test_a_file_is_read_and_its_page_says_what_can_come_in(ines):
    answer = send(ines, csv_file(TOOLING))
    draft = SheetDraft.objects.get()

    assert (answer.status_code, answer.url) == (302, url("draft", draft))
    page = ines.get(answer.url)
    assert "<h1>3 sets can come in, 4 rows need you, 2 are refused</h1>" in page.content.decode()
    assert "Bring in 3 sets" in words(page)
    assert "One set or two?" in words(page)
    assert "275 looks likely" in words(page)
    assert "counts as known from the day it comes in" in words(page)
    assert ToolSet.objects.count() == 0, "nothing is kept before the button"


def test_the_button_grows_with_each_answer_and_brings_in_then_undo_takes_back(ines):
    send(ines, csv_file(TOOLING))
    draft = SheetDraft.objects.get()
    ines.post(url("answer", draft), {"question": "6:count:sets", "answer": "sets"})
    assert "Bring in 5 sets" in words(ines.get(url("draft", draft)))
    ines.post(url("cell", draft), {"cell": "10:D", "text": "0.275"})
    assert "Bring in 6 sets" in words(ines.get(url("draft", draft)))

    answer = ines.post(url("in", draft), follow=True)

    assert "6 sets came in." in words(answer)
    assert SetState.objects.exclude(opening="").count() == 6
    assert "3 rows need you, 1 is refused" in words(answer)
    answer = ines.post(url("back", draft), follow=True)
    assert "6 taken back." in words(answer)
    assert SetState.objects.exclude(opening="").count() == 0
    assert "Bring in 6 sets" in words(answer)


def test_one_answer_serves_all_rows_like_it(ines):
    rows = [["Disc", "ID", "height"], *(["400 resin", f"R-{n}", "half"] for n in range(3))]
    send(ines, csv_file(rows))
    draft = SheetDraft.objects.get()
    assert "same for all 3 like it" in words(ines.get(url("draft", draft)))

    ines.post(url("answer", draft), {"question": "2:height:left", "answer": "half", "same": "1"})

    assert "3 sets can come in" in words(ines.get(url("draft", draft)))


def test_the_same_for_all_is_ticked_where_all_ask_the_very_same(ines):
    rows = [["Disc", "ID", "height"], *(["400 resin", f"R-{n}", "half"] for n in range(3))]
    # Two sets of one code with two heights each: every question is about another set.
    rows += [["400 resin", f"M-{n}", height] for n in range(2) for height in ("0.3", "0.25")]
    send(ines, csv_file(rows))
    page = ines.get(url("draft", SheetDraft.objects.get())).content.decode()

    ticks = re.findall(r'<input type="checkbox" name="same" value="1"( checked)?><span>same for all (\d)', page)
    assert ticks == [(" checked", "3")] * 3 + [("", "2")] * 2


def test_columns_that_stay_out_are_named_on_the_page(ines):
    rows = [["Disc", "ID", "Colour of the lid", "Lid maker", "Empty"], ["400 resin", "R-1", "blue", "Zo", ""]]
    send(ines, csv_file(rows))

    assert "Not taken in: Colour of the lid, Lid maker." in words(ines.get(url("draft", SheetDraft.objects.get())))


def test_a_second_press_says_that_all_is_in_and_adds_nothing(ines):
    send(ines, csv_file(TOOLING))
    draft = SheetDraft.objects.get()
    first = words(ines.post(url("in", draft), follow=True))
    sets = ToolSet.objects.count()
    assert "3 sets came in." in first
    assert "All that can come in is in already: nothing was added." in words(ines.post(url("in", draft), follow=True))
    assert ToolSet.objects.count() == sets


def test_a_press_while_another_one_writes_is_told_to_wait(ines, cast, monkeypatch):
    send(ines, csv_file(TOOLING))
    draft = SheetDraft.objects.get()

    def locked(*_arguments, **_more):
        raise OperationalError("database is locked")

    monkeypatch.setattr("jobs.actions.bring_in.bring_in", locked)
    answer = ines.post(url("in", draft))
    assert (answer.status_code, answer["Retry-After"]) == (503, "20")
    assert "A long list is coming in, and one writes at a time." in words(answer)
    assert ToolSet.objects.count() == 0


def test_a_press_before_the_answers_says_what_is_missing(ines, cast):
    draft = draft_of(cast.ines, [HEADING[:1], ["no such grit"]])
    assert "Nothing can come in yet: answer what is asked" in words(ines.post(url("in", draft), follow=True))
    assert ToolSet.objects.count() == 0


def test_an_answer_nobody_offered_changes_nothing(ines, cast):
    draft = draft_of(cast.ines, TOOLING)
    for said in ({"question": "6:count:sets", "answer": "seven"}, {"question": "99:x:y", "answer": "sets"}, {}):
        assert ines.post(url("answer", draft), said).status_code == 302
    draft.refresh_from_db()
    assert draft.answers == {}


def test_a_column_taken_for_something_else_changes_the_reading(ines, cast):
    rows = [["Disc", "ID", "thickness"], ["400 resin", "R-1", "9"], ["400 resin", "R-2", "8"]]
    draft = draft_of(cast.ines, rows)
    ines.post(url("columns", draft), {"c_A": "type|||", "c_B": "code|||", "c_C": "height|mm|1|"})
    ines.post(url("in", draft))

    assert sorted(SetState.objects.values_list("lowest_height_mm", flat=True)) == [5.0, 6.0]
    draft.refresh_from_db()
    assert draft.columns == {"C": {"field": "height", "unit": "mm", "with_backing": True}}


def test_dates_in_doubt_are_asked_and_the_answer_holds_for_the_column(ines, cast):
    rows = [["Disc", "ID", "bought"], ["400 resin", "R-1", "3/4/25"], ["400 resin", "R-2", "5/2/25"]]
    draft = draft_of(cast.ines, rows)
    page = words(ines.get(url("draft", draft)))
    assert "2 rows need you" in page
    ines.post(url("columns", draft), {"c_C": "bought|||dmy"})
    ines.post(url("in", draft))
    openings = ToolSet.objects.get(own_code="R-1").entries.get()
    assert openings.why == "bought 3 Apr 2025"


def test_the_order_of_dates_is_offered_only_where_it_can_matter(ines, cast):
    rows = [["Disc", "ID", "bought"], ["400 resin", "R-1", "2025-03-04"]]
    send(ines, csv_file(rows))
    assert "asked in doubt" not in words(ines.get(url("draft", SheetDraft.objects.get())))

    draft = draft_of(cast.ines, [*rows, ["400 resin", "R-2", "3/4/2025"]])
    assert "Bought on, asked in doubt" in words(ines.get(url("draft", draft)))


def test_decimal_commas_are_read_by_the_columns_own_evidence(ines, cast):
    rows = [["Disc", "ID", "height (mm)"], ["400 resin", "R-1", "6,9"], ["400 resin", "R-2", "7,25"]]
    draft = draft_of(cast.ines, rows)
    ines.post(url("in", draft))
    assert sorted(SetState.objects.values_list("lowest_height_mm", flat=True)) == [6.9, 7.25]


def test_a_row_can_be_left_out(ines, cast):
    draft = draft_of(cast.ines, TOOLING)
    ines.post(url("cell", draft), {"out": "11"})
    page = words(ines.get(url("draft", draft)))
    assert "1 is refused" in page
    assert "1 row is left out" in page


def test_another_sheet_of_a_workbook_is_read(ines, cast):
    book = openpyxl.Workbook()
    book.active.title = "Notes"
    book.active.append(["Site", "x"])
    book.active.append(["abc", "y"])
    discs = book.create_sheet("Discs")
    discs.append(["Disc", "ID"])
    discs.append(["400 resin", "R-1"])
    out = io.BytesIO()
    book.save(out)
    send(ines, out.getvalue(), "tools.xlsx")
    draft = SheetDraft.objects.get()

    ines.post(url("columns", draft), {"sheet": "Discs"})

    assert "1 set can come in" in words(ines.get(url("draft", draft)))


@pytest.mark.parametrize(
    ("data", "name", "says"),
    [
        (b"%PDF-1.7 not a list", "list.csv", "PDF"),
        (b"\x89PNG\r\n\x1a\n" + bytes(200), "list.csv", "picture"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "list.xls", "XLSX"),
        (b"", "list.csv", "empty"),
        (b"Disc,ID\r\n", "list.csv", "no rows"),
    ],
)
def test_a_file_that_is_no_table_is_refused_in_words_and_nothing_is_kept(ines, data, name, says):
    answer = send(ines, data, name)

    assert answer.status_code == 422
    assert says.lower() in words(answer).lower()
    assert SheetDraft.objects.count() == 0


def test_a_file_too_large_is_refused_before_it_is_taken_into_memory(ines, monkeypatch):
    monkeypatch.setattr(reading, "MAX_BYTES", 1024**2)
    monkeypatch.setattr(bring_in.actions, "start_draft", lambda *_args, **_more: pytest.fail("it was read"))

    page = send(ines, b"Disc,ID\n" + b"400 resin,R-1\n" * 200_000)

    assert page.status_code == 422
    assert "“tooling.csv” has 2 MB. At most 1 MB can be read" in words(page)
    assert not SheetDraft.objects.exists()


def test_formulas_without_a_result_are_refused_by_their_cell(ines):
    send(ines, xlsx_file([["Disc", "ID", "height (mm)"], ["400 resin", "R-1", "=A1+2"], ["400 resin", "R-2", 7]]))
    page = words(ines.get(url("draft", SheetDraft.objects.get())))

    assert "1 set can come in, 1 is refused" in page
    assert "Cell C2 holds a formula without its result" in page


def test_a_missing_column_is_named(ines, cast):
    draft = draft_of(cast.ines, [["ID", "Notes"], ["R-1", "good"]])
    assert "No column says: Grit and bond" in words(ines.get(url("draft", draft)))


@pytest.mark.parametrize("fmt", ["csv", "xlsx"])
def test_the_waiting_rows_are_saved_with_their_reasons(ines, cast, fmt):
    draft = draft_of(cast.ines, TOOLING)
    answer = ines.get(url("waiting", draft, fmt))

    assert answer["Content-Disposition"] == f'attachment; filename="waiting.{fmt}"'
    if fmt == "csv":
        rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    else:
        sheet = openpyxl.load_workbook(io.BytesIO(answer.content)).active
        rows = [[str(cell or "") for cell in row] for row in sheet.values]
    assert rows[0] == ["Row", *HEADING, "Why"]
    assert [row[0] for row in rows[1:]] == ["6", "7", "8", "9", "10", "11"]
    assert "0.275 looks likely." in rows[5][-1]


def test_waiting_rows_in_another_format_are_not_found(ines, cast):
    assert ines.get(url("waiting", draft_of(cast.ines, TOOLING), "pdf")).status_code == 404


def test_what_can_come_in_can_be_looked_at(ines, cast):
    page = words(ines.get(url("things", draft_of(cast.ines, TOOLING))))
    assert "3 sets can come in" in page
    assert "resin 400, R-17, rack B, peg 14" in page


def test_a_draft_nobody_wants_is_left_and_one_with_rows_in_stays(ines, cast):
    gone, stays = draft_of(cast.ines, TOOLING), draft_of(cast.ines, [["Disc", "ID"], ["400 resin", "R-1"]])
    ines.post(url("in", stays))

    assert ines.post(url("leave", gone)).url == reverse("jobs:bring_in")
    assert "Take them back first" in words(ines.post(url("leave", stays), follow=True))
    assert list(SheetDraft.objects.all()) == [stays]


def test_a_large_list_says_how_far_its_checking_is_and_its_page_stays_small(ines, cast):
    rows = [["Disc", "ID", "height"], *(["400 resin", f"R-{n}", "half" if n % 2 else "5 mm"] for n in range(5000))]
    draft = draft_of(cast.ines, rows)

    checking = b"".join(ines.get(url("draft", draft)).streaming_content).decode()
    assert "Checking row 1,000 of 5,000" in checking
    assert 'content="0;url=' in checking
    page = ines.get(url("draft", draft))
    assert "2,500 sets can come in, 2,500 rows need you" in words(page)
    assert len(page.content) < 90_000


def test_the_page_asks_the_database_as_often_for_many_rows(ines, cast, django_assert_max_num_queries):
    few = draft_of(cast.ines, [["Disc", "ID"], ["400 resin", "R-1"]])
    many = draft_of(cast.ines, [["Disc", "ID"], *(["400 resin", f"S-{n}"] for n in range(600))])
    for draft in (few, many):
        with django_assert_max_num_queries(14):
            ines.get(url("draft", draft))


def test_what_the_shop_knows_now_is_asked_for_every_page(ines, cast):
    draft = draft_of(cast.ines, [["Disc", "ID", "where"], ["400 resin", "R-1", "drying room"]])
    assert "Which place is “drying room”?" in words(ines.get(url("draft", draft)))
    Place.objects.create(branch=cast.branch, kind="rack", name="Drying room")
    assert "1 set can come in" in words(ines.get(url("draft", draft)))
    assert len(queries._judged) <= 4


# --- doors ---

DOORS = [
    ("draft", (), "GET"), ("columns", (), "POST"), ("answer", (), "POST"), ("cell", (), "POST"), ("in", (), "POST"),
    ("back", (), "POST"), ("leave", (), "POST"), ("things", (), "GET"), ("waiting", ("csv",), "GET"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "more", "method"), DOORS)
def test_doors_of_a_draft(client, cast, name, more, method):
    draft = draft_of(cast.ines, [["Disc", "ID"], ["400 resin", "R-1"]])
    address = url(name, draft, *more)
    ask = client.get if method == "GET" else client.post
    assert ask(address).url.startswith("/sign-in/")
    for person in (cast.dag, cast.teo, cast.ruta, cast.nils):
        client.force_login(person)
        assert ask(address).status_code == 403
    client.force_login(cast.olga)
    wrong = client.post if method == "GET" else client.get
    assert wrong(address).status_code == 405
    assert ask(address).status_code in (200, 302)
    assert ask(reverse(f"jobs:bring_in_{name}", args=[uuid4(), *more])).status_code == 404


def test_the_door_of_choosing(client, cast):
    address = reverse("jobs:bring_in")
    assert client.get(address).url.startswith("/sign-in/")
    client.force_login(cast.dag)
    assert client.get(address).status_code == 403
    client.force_login(cast.ines)
    assert client.get(address).status_code == 200
    assert client.put(address).status_code == 405
    answer = client.post(address, {"kind": "sets"})
    assert answer.status_code == 422
    assert "This is needed" in words(answer)


def test_a_draft_of_another_branch_is_not_found(client, cast):
    draft = draft_of(cast.ines, [["Disc", "ID"], ["400 resin", "R-1"]])
    other = make_branch("Quarry shop")
    from tests.cast import make_person

    stranger = make_person(other, "ari", "Ari K.", "owner")
    client.force_login(stranger)
    assert client.get(url("draft", draft)).status_code == 404


@pytest.mark.parametrize("text", ["²", "9" * 5000, "-3"])
def test_a_row_or_a_heading_that_is_no_number_changes_nothing(ines, cast, text):
    draft = draft_of(cast.ines, TOOLING)
    assert ines.post(url("cell", draft), {"cell": "4:C", "out": text}).status_code == 302
    assert ines.post(url("columns", draft), {"heading": text}).status_code == 302
    draft.refresh_from_db()
    assert (draft.answers.get("out", []), "" in draft.columns) == ([], False)
