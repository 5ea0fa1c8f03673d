"""An owner's first lists at the doors and in the ledger: the heading row, glazed sets, who did the work."""

from types import SimpleNamespace

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from inventory.models import Entry, Place, SetState, SheetDraft
from jobs.actions.bring_in import BringInRefused, keep_columns, take_back
from tests.cast import NOW, make_cast
from tests.inventory.sheets.shop import csv_file, told

from .sheet_files import answer, come_in, draft_of, looked, stock_shop, url, words

pytestmark = pytest.mark.django_db

SETS = [["Disc", "ID", "Height (mm)", "State"], ["400 resin", "R-17", "7", ""], ["30 metal", "M-02", "8", "glazed"]]
SITES = [["Site", "Zone", "Area (sq ft)"], ["Harrow Depot", "Aisles", "12,400"]]
WORK = [
    ["Set", "Date", "Site", "Zone", "Area (sq ft)", "Passes", "Who"],
    ["R-17", "2025-05-01", "Harrow Depot", "Aisles", "10000", "1", "Dag P."],
    ["R-17", "2025-05-01", "Harrow Depot", "Aisles", "5000", "1", "dag"],
    ["R-17", "2025-05-02", "Harrow Depot", "Aisles", "4000", "1", "Old Hand"],
    ["R-17", "2025-05-02", "Harrow Depot", "Aisles", "3000", "1", ""],
]
# Words alone: nothing tells the headings from the list.
WORDS = [["Scheibe", "Ort"], ["resin grob", "Regal"], ["resin fein", "Wanne"]]


@pytest.fixture
def cast() -> SimpleNamespace:
    found = make_cast()
    found.types = stock_shop(found)
    return found


@pytest.fixture
def ines(client: Client, cast: SimpleNamespace) -> Client:
    client.force_login(cast.ines)
    return client


# --- the heading row ---


def test_a_heading_row_in_doubt_is_asked_and_nothing_can_come_in_before(ines, cast):
    draft = draft_of(cast.ines, WORDS)
    page = ines.get(url("draft", draft))

    assert "<h1>Which row holds your headings?</h1>" in page.content.decode()
    assert "1: Scheibe, Ort" in words(page)
    assert reverse("jobs:bring_in_in", args=[draft.pk]) not in page.content.decode()

    ines.post(url("columns", draft), {"heading": "1"})

    page = ines.get(url("draft", draft))
    assert "No column says: Grit and bond" in words(page)
    assert '<option value="1" selected>1: Scheibe, Ort</option>' in page.content.decode()


def test_skipped_rows_are_counted_and_told_and_another_row_can_be_the_heading(ines, cast):
    rows = [["Shop discs", "2025"], ["as of May"], *SETS]
    draft = draft_of(cast.ines, rows)
    page = words(ines.get(url("draft", draft)))
    assert "Headings stand in row" in page
    assert "2 rows above it are skipped: “Shop discs, 2025”; “as of May”" in page

    ines.post(url("columns", draft), {"heading": "1", "c_A": "type|||"})

    draft.refresh_from_db()
    assert draft.columns == {"": {"heading": 1}}, "another heading row starts without matches"
    assert looked(draft, cast.ines).sheet.headings[:2] == ["Shop discs", "2025"]
    assert [row.number for row in looked(draft, cast.ines).sheet.rows] == [2, 3, 4, 5]


def test_the_heading_row_as_it_stands_changes_no_match(ines, cast):
    draft = draft_of(cast.ines, SETS)
    for said in ("1", "77", "-1", "x", ""):
        ines.post(url("columns", draft), {"heading": said, "c_C": "height|mm|1|"})
        draft.refresh_from_db()
        assert draft.columns == {"C": {"field": "height", "unit": "mm", "with_backing": True}}


def test_a_first_row_of_data_is_told_to_be_no_heading(ines, cast):
    draft = draft_of(cast.ines, [["400 resin", "R-1", "7"], ["30 metal", "R-2", "8"]])
    assert "The first row looks like data, so no row is taken for headings." in words(ines.get(url("draft", draft)))


def test_a_heading_row_with_nothing_below_is_refused_and_nothing_changes(cast):
    draft = draft_of(cast.ines, SETS)
    with pytest.raises(BringInRefused, match="a heading and no rows below it"):
        keep_columns(draft, {}, heading=3)
    draft.refresh_from_db()
    assert draft.columns == {}


def test_a_heading_row_with_nothing_below_says_so_at_the_door(ines, cast):
    draft = draft_of(cast.ines, SETS)
    answer = ines.post(url("columns", draft), {"heading": "3"}, follow=True)
    assert "a heading and no rows below it" in words(answer)


# --- refused rows alike, places in a list ---


def test_one_mending_serves_all_refused_alike(ines, cast):
    rows = [["Disc", "ID", "State"], *(["400 resin", f"R-{n}", "shiny"] for n in range(3)), ["400 resin", "R-9", "odd"]]
    draft = draft_of(cast.ines, rows)
    assert "same for all 3 like it" in words(ines.get(url("draft", draft)))

    ines.post(url("cell", draft), {"cell": "2:C", "text": "glazed", "same": "1"})

    assert looked(draft, cast.ines).can_come_in == 3
    ines.post(url("cell", draft), {"cell": "5:C", "text": "new"})
    assert looked(draft, cast.ines).can_come_in == 4


def test_all_refused_alike_are_left_out_at_once(ines, cast):
    rows = [["Disc", "ID", "State"], *(["400 resin", f"R-{n}", "shiny"] for n in range(3)), ["400 resin", "R-9", "odd"]]
    draft = draft_of(cast.ines, rows)

    ines.post(url("cell", draft), {"cell": "3:C", "out": "3", "same": "1"})

    judgement = looked(draft, cast.ines).judgement
    assert (judgement.left_out, [one.row for one in judgement.refused]) == ([2, 3, 4], [5])


def test_a_place_is_chosen_from_the_list_of_all_places(ines, cast):
    draft = draft_of(cast.ines, [["Disc", "ID", "Place"], ["400 resin", "R-1", "behind the door"]])
    van = Place.objects.get(name="Van 2")
    page = ines.get(url("draft", draft)).content.decode()
    assert f'<option value="place:{van.pk}">Van 2</option>' in page

    ines.post(url("answer", draft), {"question": "2:place:place", "answer": "", "other": f"place:{van.pk}"})
    ines.post(url("in", draft))

    assert SetState.objects.get(tool_set__own_code="R-1").place == van


# --- glazed ---


def test_a_glazed_set_comes_in_usable_with_its_face_glazed_in_one_act(cast):
    come_in(cast, draft_of(cast.ines, SETS))

    state = SetState.objects.get(tool_set__own_code="M-02")
    assert (state.opening, state.lowest_height_mm, state.face, state.fitness) == ("height", 8.0, "glazed", "usable")
    entries = Entry.objects.filter(tool_set__own_code="M-02").order_by("line_no")
    assert [entry.kind for entry in entries] == ["opening", "trouble"]
    assert len({entry.act_id for entry in entries}) == 1
    assert SetState.objects.get(tool_set__own_code="R-17").face != "glazed"


def test_a_glazed_set_is_taken_back_whole(cast):
    draft = draft_of(cast.ines, SETS)
    come_in(cast, draft)
    back = take_back(cast.ines, cast.device, draft, now=NOW)

    assert (back.undone, back.used) == (2, 0)
    assert SetState.objects.exclude(opening="").count() == 0


# --- who did the work ---


@pytest.fixture
def work(cast) -> SheetDraft:
    for rows, kind in ((SETS, "sets"), (SITES, "sites")):
        come_in(cast, draft_of(cast.ines, rows, kind))
    return draft_of(cast.ines, WORK, "work")


def test_a_person_column_is_found_and_a_name_nobody_has_in_full_is_asked_about(cast, work):
    judgement = looked(work, cast.ines).judgement

    assert told(judgement) == [(3, "Who is “dag”?"), (4, "Who is “Old Hand”?")]
    assert judgement.questions[0].answers[0] == (f"person:{cast.dag.pk}", "Dag P.")
    assert judgement.questions[1].answers[0] == ("words", "Nobody here: keep the name as a note")
    assert [item.person for item in judgement.things] == [str(cast.dag.pk), ""]


def test_work_is_done_by_whom_the_list_names_and_entered_by_who_brings_it(cast, work):
    answer(work, cast.ines, "dag", f"person:{cast.dag.pk}")
    answer(work, cast.ines, "Old Hand", "words")

    assert come_in(cast, work).made == {"work": 4}

    lines = Entry.objects.filter(kind="worked").select_related("act").order_by("-amount_value")
    said = {line.amount_value: (line.act.done_by, line.act.entered_by, line.why) for line in lines}
    assert said == {
        "10000": (cast.dag, cast.ines, None),
        "5000": (cast.dag, cast.ines, None),
        "4000": (cast.ines, cast.ines, "done by: Old Hand"),
        "3000": (cast.ines, cast.ines, None),
    }
    assert come_in(cast, draft_of(cast.ines, WORK, "work")).rows == 0, "the same list again adds nothing"


def test_no_more_queries_with_many_people_in_a_list(cast, work, django_assert_max_num_queries):
    many = [*WORK, *(["R-17", "2025-05-03", "Harrow Depot", "Aisles", "3000", "1", f"Hand {n}"] for n in range(40))]
    draft = SheetDraft.objects.get(pk=draft_of(cast.ines, many, "work").pk)
    with django_assert_max_num_queries(13):
        looked(draft, cast.ines)


def test_a_file_with_a_heading_in_another_language_is_read_at_the_door(ines):
    rows = [["Scheibe", "Nummer", "Höhe in mm"], ["resin 400", "R-1", "8,5"], ["resin 200", "R-2", "7,5"]]
    ines.post(reverse("jobs:bring_in"), {"kind": "sets", "file": SimpleUploadedFile("liste.csv", csv_file(rows, ";"))})
    page = words(ines.get(url("draft", SheetDraft.objects.get())))
    assert "“liste.csv”, 2 rows" in page
